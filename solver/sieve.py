"""Short blocks of a large catalogue that can be closer than a list's last: sifted by few sizes first, then by more.

Millions of short blocks have few decks and strokes. The plan is eased to the figures that read few of their sizes, and
all that are equal in those are looked at as one, at the least price of any. What is eased lets through at least all
that the plan lets through, and counts no point that the plan does not count: where even so nothing is close enough, no
short block of those sizes is needed, however many there are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from math import prod

import numpy as np

from kitwright.solver import narrow, windows
from kitwright.solver.candidates import BOTTOM, Candidates
from kitwright.solver.check import UNASKED, aims_of, implied_goals
from kitwright.solver.classes import Classes, Facet, Facets, facet_of, leaf_value
from kitwright.solver.facets import Builder
from kitwright.solver.pairing import Rows, batches
from kitwright.solver.parts import Part
from kitwright.solver.plan import REV_CEILING, Plan
from kitwright.solver.prune import prune
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.rules import OF_OFFERS, PHYSICAL, rules_of
from kitwright.solver.terms import Mask
from kitwright.solver.translate import Maker, wanted_leaves

MOST_CELLS = 1 << 24
"""Cells of a table of sizes: a byte each."""

FEWER = 2
"""A step is worth it where the next has at least so many times its cells."""


class Sieve:
    """Short blocks that can be in a combination of a greatest closeness, goals established as far as they can be."""

    def __init__(self, options: Candidates, most: int, tick: Callable[[], None] = lambda: None) -> None:
        """``options`` are without parts that break a limit or leave a goal not established by themselves.

        Raises what ``tick`` raises, which is called now and then.
        """
        self.most = most
        self.steps: list[_Step] = []
        if most < 0:
            return
        others: dict[str, Facet] = {}
        for plan, leaves in eased(options):
            step = _Step(replace(options, plan=plan), leaves, self.steps[-1] if self.steps else None)
            others = others or step.builder.others()  # the blocks of each step are the same, and so are their tags
            step.builder.tag_sets = self.steps[0].builder.tag_sets if self.steps else step.builder.tag_sets
            step.sift(others, most, tick)
            self.steps.append(step)
            if not step.needed.any():
                break

    @property
    def empty(self) -> bool:
        """Whether it is shown that no short block can be so close."""
        return self.most < 0 or (bool(self.steps) and not self.steps[-1].needed.any())

    def keeps(self, builder: Builder, tables: Mapping[str, Classes], rows: Rows) -> Mask:
        """Which rows, made of some classes of parts, are not sifted out."""
        if not self.steps:
            return np.full(len(rows[0]), not self.empty)
        return self.steps[-1].keeps(builder, tables, rows)


class _Step:
    """One eased plan: a table of bore state, crank, rod and piston by the sizes that it reads."""

    def __init__(self, options: Candidates, leaves: set[str], before: _Step | None) -> None:
        self.before = before
        self.builder = Builder(options, leaves, sizes_only=True)
        self.tables = self.builder.tables()
        self.number = {
            kind: {_id(part): number for number, group in enumerate(self.tables[kind].members) for part in group}
            for kind in BOTTOM[1:]
        }
        self.state = {
            (_id(part), each.rebore): number
            for number, each in enumerate(self.builder.states)
            for part in self.builder.blocks.members[each.block]
        }
        shape = (len(self.builder.states), *(len(self.tables[kind].members) for kind in BOTTOM[1:]))
        self.needed = np.zeros(shape, dtype=bool)

    def sift(self, others: dict[str, Facet], most: int, tick: Callable[[], None]) -> None:
        """Find what can be close enough, of what the step before left."""
        pieces = self.builder.join(self.tables)
        for rows in batches(self._left(pieces)):
            tick()
            short = self.builder.short_of(self.tables, *rows)
            facets = Facets({"short": short, **others}, self.builder.states, self.builder.tag_sets)
            terms = Maker(facets, self.builder.plan, tick).make(tables=False)
            alive = windows.established(terms, prune(terms, terms.alive))
            close = windows.within(terms, alive, {"closeness": (0, most)})["short"]
            self.needed[tuple(column[close] for column in rows)] = True

    def _left(self, pieces: Iterator[Rows]) -> Iterator[Rows]:
        for rows in pieces:
            if self.before is None:
                yield rows
            else:
                keep = self.before.keeps(self.builder, self.tables, rows)
                yield tuple(column[keep] for column in rows)  # type: ignore[misc]

    def keeps(self, builder: Builder, tables: Mapping[str, Classes], rows: Rows) -> Mask:
        """Rows of other classes by the table: parts of one class are equal in all that this step reads.

        A part that the step does not know is of no use.
        """
        states = [(_id(builder.blocks.first[each.block]), each.rebore) for each in builder.states]
        numbers = [[self.state.get(each, -1) for each in states]]
        numbers += [[self.number[kind].get(_id(part), -1) for part in tables[kind].first] for kind in BOTTOM[1:]]
        places = [np.array(number, dtype=np.int64)[column] for number, column in zip(numbers, rows, strict=True)]
        keep: Mask = np.min(places, axis=0) >= 0
        keep[keep] = self.needed[tuple(place[keep] for place in places)]
        return keep


def _id(part: Part | None) -> str:
    return part.id if part is not None else ""


class Needed:
    """Short blocks that can still come into a list that is full and established as far as can be."""

    def __init__(self, options: Candidates, closer: Sieve, cost: float | None) -> None:
        """``closer`` are those closer than the list's last, ``cost`` what that costs; None where this is not known.

        Of those as close as the last, only what is no dearer can come before it; with an unknown cost, ``closer`` has
        to let through what is as close, too.
        """
        self.closer = closer
        self.spare = None if cost is None else cost - narrow.least_cost(options, but=BOTTOM) + 1e-6

    def __call__(self, builder: Builder, tables: dict[str, Classes], rows: Rows) -> Mask:
        """Which rows may be needed."""
        keep = self.closer.keeps(builder, tables, rows)
        if self.spare is not None:
            money = [tables[kind].money() for kind in BOTTOM]
            index = (np.array([each.block for each in builder.states])[rows[0]], *rows[1:])
            paid = np.sum([each[0][column] for each, column in zip(money, index, strict=True)], axis=0)
            unknown = np.sum([each[1][column] for each, column in zip(money, index, strict=True)], axis=0)
            paid = paid + np.array([each.labour for each in builder.states])[rows[0]]
            keep |= (unknown == 0) & (paid <= self.spare)
        return keep


def eased(options: Candidates) -> Iterator[tuple[Plan, set[str]]]:
    """Plans that ask less, each more than the one before, and the leaves of the short block that they can see.

    Each is made for the sizes that one aim reads, fewest different short blocks first.
    """
    plan = options.plan
    asked = {goal.figure for goal in (*implied_goals(plan).values(), *aims_of(plan).values())}
    asked |= {rule.figure for rule, _ in rules_of(plan)}
    read = {figure: frozenset(_sizes(figure)) for figure in asked}
    aimed = {read[goal.figure] for goal in aims_of(plan).values() if read[goal.figure]}
    seen = {leaf for figure in asked for leaf in read[figure] if leaf.startswith("block.")}
    beside = {leaf for leaf in wanted_leaves(plan) if facet_of(leaf) != "short"}
    found: list[tuple[int, set[str]]] = []
    for own in sorted(aimed, key=lambda each: (_cells(options, each), sorted(each))):
        seen = seen | own
        found.append((_cells(options, seen), seen))
    for place, (cells, sizes) in enumerate(found):
        after = (
            found[place + 1][0]
            if place + 1 < len(found)
            else prod(len(options.slots.get(kind, (None,))) for kind in BOTTOM)
        )
        if cells <= MOST_CELLS and FEWER * cells <= after:
            yield _only(plan, {figure for figure in asked if read[figure] <= sizes}), sizes | beside


def _sizes(figure: str) -> set[str]:
    """Leaves of the short block that a figure reads, without what a plan measures."""
    leaves = (*leaves_of(figure), *FIGURES[figure].bound_without)
    return {leaf for leaf in leaves if facet_of(leaf) == "short" and leaf != "measured.deck"}


def _cells(options: Candidates, leaves: Collection[str]) -> int:
    """Short blocks that differ in some leaves, whether their parts fit one another or not."""
    total = 1
    for kind in BOTTOM:
        own = [leaf for leaf in sorted(leaves) if leaf.partition(".")[0] == kind]
        total *= len(
            {tuple(map(str, (leaf_value(part, leaf) for leaf in own))) for part in options.slots.get(kind, (None,))}
        )
    return total


def _only(plan: Plan, figures: set[str]) -> Plan:
    """The plan with goals and rules on some figures alone; money is asked for only as far as less is better."""
    goals = {
        name: goal
        for name, goal in plan.goals.items()
        if goal.figure in figures
        and (FIGURES[goal.figure].group != "money" or (goal.minimum is None and goal.ranked_by is None))
    }
    waived = {rule.id for rule in (*PHYSICAL, *OF_OFFERS) if rule.figure not in figures}
    if "rev_limit" not in figures:
        waived.add(REV_CEILING)
    reference = dict(plan.reference)
    if UNASKED not in figures:
        reference.pop("pushrod", None)
    return plan.but(goals=goals, waived=plan.waived | waived, reference=reference)
