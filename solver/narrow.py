"""Fewer parts to look at: those that a limit alone rules out, those too dear or not established for a first look.

The short blocks of a large catalogue number millions, and most are in no list of the closest. A first look takes the
cheap parts alone. What it finds are combinations of the whole catalogue, so that its list bounds the last one's key:
where no part that was left out can bring a smaller key the list is final, and else that bound says which rows of the
whole catalogue are needed at all.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from math import prod
from typing import Any, Literal

import numpy as np

from kitwright.solver.candidates import BOTTOM, Candidates
from kitwright.solver.check import implied_goals
from kitwright.solver.classes import Classes, facet_of, leaf_value
from kitwright.solver.combination import Combination, Reader
from kitwright.solver.evaluate import in_unit
from kitwright.solver.parts import Part
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.rules import rules_of
from kitwright.solver.stackup import spread
from kitwright.solver.terms import Mask, misses

LARGE = 1_000_000
"""Pairings of a short block's parts, whether they fit one another or not, from which on a catalogue is large."""

FIRST_WAYS, MOST_WAYS = 4_000_000, 16_000_000
"""Pairings in the first and in the widest first look."""

Bound = tuple[str, Literal["min", "max"], float]


def ways(options: Candidates) -> int:
    """Pairings of the short block's parts, whether they fit one another or not."""
    return prod(max(len(options.slots.get(kind, ())), 1) for kind in BOTTOM)


def bounds(plan: Plan) -> Iterator[Bound]:
    """Every limit of goals and rules on a figure; those on the least or greatest of several, on each of them."""
    for goal in implied_goals(plan).values():
        if goal.minimum is not None and FIGURES[goal.figure].bound != "low":
            yield from _branches(goal.figure, "min", goal.minimum)
        if goal.maximum is not None:
            yield from _branches(goal.figure, "max", goal.maximum)
    for rule, bound in rules_of(plan):
        yield from _branches(rule.figure, "min", bound)


def _branches(figure: str, side: Literal["min", "max"], bound: float) -> Iterator[Bound]:
    entry = FIGURES[figure]
    if entry.extreme != side:
        yield figure, side, bound
        return
    for each in entry.inputs:
        yield from _branches(each.rstrip("?"), side, bound)


def decided_by(figure: str) -> str | None:
    """The kind of part that a figure depends on where it is one alone; a bore may be bored out."""
    names = leaves_of(figure)
    owners = {leaf.partition(".")[0] for leaf in names if facet_of(leaf) is not None}
    return owners.pop() if len(owners) == 1 and "block.bore" not in names else None


def keeping(classes: Classes, plan: Plan) -> Mask:
    """Classes of one kind that keep every limit on what they alone decide, as a rating does the rev ceiling."""
    keep = np.ones(len(classes.members), dtype=bool)
    reader = Reader(Combination({}), plan)
    for figure, side, bound in bounds(plan):
        if decided_by(figure) != classes.kind:
            continue
        names = leaves_of(figure)
        leaves: dict[str, Any] = {}
        tolerances: dict[str, Any] = {}
        for leaf in names:
            if facet_of(leaf) is None:
                leaves[leaf] = reader[leaf]
                continue
            leaves[leaf], widths = classes.leaf(leaf)
            if widths.any():
                tolerances[leaf] = widths
        with np.errstate(all="ignore"):
            low, high = spread(figure, leaves, tolerances, plan.tolerance)
        keep &= ~misses(np.broadcast_to(in_unit(figure, low if side == "min" else high), len(keep)), side, bound)
    return keep


def usable(options: Candidates) -> Candidates:
    """Candidates without the parts that break a limit which they alone decide."""
    slots = {}
    for kind, parts in options.slots.items():
        keep = keeping(Classes(kind, [(part,) for part in parts]), options.plan)
        slots[kind] = tuple(part for part, kept in zip(parts, keep, strict=True) if kept)
    return replace(options, slots=slots)


def established(options: Candidates) -> tuple[Candidates, int]:
    """Candidates without the parts that alone leave a goal not established, and how many goals no part establishes."""
    plan = options.plan
    gone: dict[str, set[str]] = {}
    never = 0
    for goal in implied_goals(plan).values():
        entry = FIGURES[goal.figure]
        if entry.bound_without and goal.minimum is None and goal.ranked_by is None:
            continue
        unknown: dict[str, set[str]] = {}
        always = False
        for leaf in (*leaves_of(goal.figure, optional=False), *entry.bound_without):
            kind, _, _ = leaf.partition(".")
            if kind not in options.slots:
                continue
            without = [part for part in options.slots[kind] if np.isnan(leaf_value(part, leaf)[0])]
            always |= len(without) == len(options.slots[kind])
            unknown.setdefault(kind, set()).update(part.id if part is not None else "" for part in without)
        never += always
        for kind, names in unknown.items() if not always else ():
            gone.setdefault(kind, set()).update(names)
    slots = {kind: _without(parts, gone.get(kind, set())) for kind, parts in options.slots.items()}
    return replace(options, slots=slots), never


def _without(parts: tuple[Part | None, ...], gone: set[str]) -> tuple[Part | None, ...]:
    return tuple(part for part in parts if (part.id if part is not None else "") not in gone)


def _price(part: Part | None) -> float:
    """What a part adds to the cost at least; infinite where that is not known."""
    if part is None or part.on_shelf:
        return 0.0
    return np.inf if part.price is None else float(part.price)


def least_cost(options: Candidates, but: Collection[str] = ()) -> float:
    """No combination costs less: the cheapest part of every slot; infinite where a slot has no known price.

    Without some kinds, the least that the others cost.
    """
    stack = 0.0 if options.gaskets is None or "gasket" in options.plan.optional else _cheapest(options.gaskets)
    return stack + sum(_cheapest(parts) for kind, parts in options.slots.items() if kind not in but)


def _cheapest(parts: tuple[Part | None, ...]) -> float:
    return min(map(_price, parts), default=0.0)


def affordable(options: Candidates, cost: float) -> Candidates:
    """Candidates without the parts of a short block that no combination of a cost (or less) can have.

    The other kinds stay whole: they are few, and a closer cam or head may be the dearer one.
    """
    spare = cost - least_cost(options) + 1e-6
    slots = dict(options.slots)
    for kind in BOTTOM:
        if kind in slots:
            dearest = _cheapest(slots[kind]) + spare
            slots[kind] = tuple(part for part in slots[kind] if _price(part) <= dearest)
    return replace(options, slots=slots)


def cheap(options: Candidates, most: int) -> float | None:
    """The highest cost that leaves no more than so many pairings; None where even the cheapest parts are more or none.

    A cost that leaves all is given as infinite.
    """
    least = least_cost(options)
    if not np.isfinite(least) or not all(options.slots.values()):
        return None
    if ways(options) <= most:
        return float("inf")
    above = []
    for kind in BOTTOM:
        prices = np.array([_price(part) for part in options.slots.get(kind, (None,))])
        above.append(np.sort(prices - prices.min()))
    steps = np.unique(np.concatenate(above))
    numbers = np.prod([np.searchsorted(each, steps, side="right").astype(float) for each in above], axis=0)
    fitting = steps[np.isfinite(steps) & (numbers <= most)]
    return least + float(fitting.max()) if len(fitting) else None
