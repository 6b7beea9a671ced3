"""What may go into each slot: the catalogue narrowed by pins, avoided parts, shelf and the kinds that are searched."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations_with_replacement

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import cut_amounts, rebores
from kitwright.solver.parts import KINDS, Gasket, Part
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import Quantity
from kitwright.solver.result import PartOut
from kitwright.solver.rules import FITS, NEAR_SIZE, SAME_SIZE, FitRule, carries_tag
from kitwright.solver.stopping import room_for, tick

_BYTES_A_STACK = 320
"""What a stack takes as a tuple and as a row of the search, at least."""

_AT_A_TIME = 4_000
"""Stacks that are made between two looks at the clock."""

BOTTOM = ("block", "crank", "rod", "piston")
"""The kinds of the short block, in order."""


@dataclass(frozen=True)
class Candidates:
    """Options of every slot that is searched.

    ``slots`` maps a kind (without gaskets) to its parts by id, with None first where the kind may be left out. A kind
    that is not a key dropped out of the search. ``gaskets`` is None where gaskets dropped out.
    """

    plan: Plan
    slots: dict[str, tuple[Part | None, ...]]
    gaskets: tuple[Gasket, ...] | None
    parts_out: tuple[PartOut, ...]

    @cached_property
    def stacks(self) -> tuple[tuple[Gasket, ...], ...]:
        """Every stack that allowance, shelf and pins leave; the empty one where gaskets dropped out.

        Raises:
            OutOfTimeError: the time is up, or the stacks are more than there is memory for.
        """
        if self.gaskets is None:
            return ((),)
        pinned = self.plan.use.get("gasket", ())
        if len(pinned) > 1:
            by_id = {each.id: each for each in self.gaskets}
            wanted = [tuple(sorted((by_id[name] for name in pinned if name in by_id), key=lambda each: each.id))]
            found = [stack for stack in wanted if len(stack) == len(pinned) <= self.plan.gaskets]
        else:
            found = [(each,) for each in self.gaskets]
            stackable = [each for each in self.gaskets if each.stackable]
            # what each takes here, and as numbers and columns of a row; the shelf leaves as many as are counted
            room_for(_BYTES_A_STACK * self.stack_count)
            for layers in range(2, self.plan.gaskets + 1):
                for stack in combinations_with_replacement(stackable, layers):
                    if len(found) % _AT_A_TIME == 0:
                        tick()
                    if self._on_shelf(stack):
                        found.append(stack)
        if "gasket" in self.plan.shelf_only:
            found = [stack for stack in found if self._on_shelf(stack)]
        if "gasket" in self.plan.optional:
            found.insert(0, ())
        return tuple(found)

    def _on_shelf(self, stack: tuple[Gasket, ...]) -> bool:
        """Whether the shelf holds a stack, where it has to."""
        if "gasket" not in self.plan.shelf_only:
            return True
        return all(each.on_shelf >= count for each, count in Counter(stack).items())

    @cached_property
    def stack_count(self) -> int:
        """How many :attr:`stacks` there are, counted without making them."""
        if self.gaskets is None or len(self.plan.use.get("gasket", ())) > 1:
            return len(self.stacks)
        shelf, most = "gasket" in self.plan.shelf_only, self.plan.gaskets
        ways = [1] + [0] * most  # by layers: of no gasket yet, then of one more each time
        for gasket in self.gaskets:
            if gasket.stackable:
                own = min(gasket.on_shelf, most) if shelf else most
                ways = [sum(ways[layers - n] for n in range(min(own, layers) + 1)) for layers in range(most + 1)]
        single = sum(gasket.on_shelf > 0 or not shelf for gasket in self.gaskets)
        return single + sum(ways[2:]) + ("gasket" in self.plan.optional)

    @property
    def empty_kinds(self) -> tuple[str, ...]:
        """Kinds that were emptied: nothing fits then."""
        empty = [kind for kind, parts in self.slots.items() if not parts]
        return (*empty, *(() if self.stack_count else ("gasket",)))

    def cuts(self, part: Part | None, operation: str) -> tuple[Fraction, ...]:
        """Amounts of mill, relieve or deck cut that may be used on a part, 0 first, in SI."""
        none = (Fraction(0),)
        if part is None or operation not in self.plan.machining:
            return none
        return none + cut_amounts(part, operation)

    def bores(self, block: Part | None) -> tuple[Quantity | None, ...]:
        """Rebores of a block that may be used; None, first, leaves the bore as it is."""
        if block is None or "rebore" not in self.plan.machining:
            return (None,)
        return (None, *rebores(block))

    @property
    def possible(self) -> int:
        """Raw number of combinations, before anything is asked whether it fits."""
        total = self.stack_count
        for kind, parts in self.slots.items():
            ways = 0
            for part in parts:
                if kind == "head":
                    ways += len(self.cuts(part, "mill")) * len(self.cuts(part, "relieve"))
                elif kind == "block":
                    ways += len(self.cuts(part, "deck_cut")) * len(self.bores(part))
                else:
                    ways += 1
            total *= ways
        return total


def candidates(catalogue: Catalogue, plan: Plan) -> Candidates:
    """Narrow a catalogue to what a plan lets into each slot.

    A kind that the catalogue does not hold, or that ``plan.kinds`` leaves out and no pin brings back, drops out. Parts
    that can be in no combination (no journal, pin, bore or block for them) are named in ``parts_out`` and left out.
    """
    out: list[PartOut] = []
    slots: dict[str, tuple[Part | None, ...]] = {}
    gaskets: tuple[Gasket, ...] | None = None
    for kind in KINDS:
        held = catalogue.of_kind(kind)
        if not held or (plan.kinds is not None and kind not in plan.kinds and kind not in plan.use):
            continue
        kept = []
        for part in held:
            why = _left_out(part, plan)
            if why:
                out.append(PartOut(part.id, why))
            else:
                kept.append(part)
        if kind == "gasket":
            gaskets = tuple(part for part in kept if isinstance(part, Gasket))
        else:
            slots[kind] = ((None, *kept) if kind in plan.optional else tuple(kept)) or ()
    found = Candidates(plan, slots, gaskets, ())
    ids = {each.id for each in out}
    gone = [part for part in catalogue if part.id in ids]
    lonely = {} if found.empty_kinds else _without_partner(found, gone)  # where a kind is emptied, that is the reason
    slots = {
        kind: tuple(part for part in parts if part is None or part.id not in lonely) for kind, parts in slots.items()
    }
    if gaskets is not None:
        gaskets = tuple(part for part in gaskets if part.id not in lonely)
    out += [PartOut(name, why, follows) for name, (why, follows) in lonely.items()]
    return Candidates(plan, slots, gaskets, tuple(sorted(out, key=lambda each: each.id)))


def _left_out(part: Part, plan: Plan) -> str:
    pinned = plan.use.get(part.kind)
    if pinned is not None and part.id not in pinned:
        return f"{' + '.join(pinned)} is pinned"
    if part.id in plan.avoid:
        return "avoided"
    if part.kind in plan.shelf_only and part.on_shelf < 1:
        return "not on the shelf"
    return ""


def _without_partner(found: Candidates, gone: Sequence[Part]) -> dict[str, tuple[str, bool]]:
    """Parts that no candidate of another kind goes with, by id: why, and if only for want of others that are out.

    Where a part would go with one that the plan put out (``gone``), the reason says so: none *that is left*.
    """
    lonely: dict[str, tuple[str, bool]] = {}
    while True:
        before = len(lonely)
        alive = {
            kind: [part for part in parts if part is not None and part.id not in lonely]
            for kind, parts in (*found.slots.items(), ("gasket", found.gaskets or ()))
        }
        for rule in FITS:
            for mine, theirs, forward in ((rule.first, rule.second, True), (rule.second, rule.first, False)):
                others = alive.get(theirs.kind, [])
                may_be_absent = theirs.kind not in found.slots or None in found.slots[theirs.kind]
                if theirs.kind == "gasket":
                    may_be_absent = found.gaskets is None or "gasket" in found.plan.optional
                if may_be_absent:
                    continue
                near = [*others, *(part for part in gone if part.kind == theirs.kind)]
                reach = {size for other in others for size in _sizes_of(other, theirs.field, found)}
                out = {
                    size for part in gone if part.kind == theirs.kind for size in _sizes_of(part, theirs.field, found)
                }
                for part in alive.get(mine.kind, []):
                    own = _sizes_of(part, mine.field, found)
                    if part.id not in lonely and not _goes(rule, forward, own, reach):
                        left = " that is left" if before or _goes(rule, forward, own, out) else ""
                        size = "" if theirs.words == mine.words else f" for a {mine.words}"
                        why = f"no {theirs.kind}{left} has a {theirs.words}{size} of {_mm(own)}"
                        lonely[part.id] = why + _misses(rule, own, near, theirs.field, found), bool(before)
        blocks = alive.get("block", [])
        barred = [part for part in gone if part.kind == "block"]
        if "block" in found.slots and None not in found.slots["block"]:
            for kind, parts in alive.items():
                for part in parts:
                    if kind != "block" and part.fits and not any(carries_tag(part, block) for block in blocks):
                        left = " that is left" if before or any(carries_tag(part, each) for each in barred) else ""
                        lonely.setdefault(part.id, (f"no block{left} carries {' or '.join(part.fits)}", bool(before)))
        if len(lonely) == before:
            return lonely


def _goes(rule: FitRule, forward: bool, own: Iterable[float], others: Iterable[float]) -> bool:
    """Whether any of a part's sizes goes with any of the others; it is the rule's first where ``forward``."""
    return any(rule.holds(*((a, b) if forward else (b, a))) for a in own for b in others)


def _misses(rule: FitRule, own: Sequence[float], others: Iterable[Part], name: str, found: Candidates) -> str:
    """Name the part whose size a part's own misses by so little that it may be the same size written otherwise."""
    if rule.compare != "equal":
        return ""
    near = [(abs(a - b), part.id) for part in others for b in _sizes_of(part, name, found) for a in own]
    off, nearest = min(near, default=(math.inf, ""))
    if not SAME_SIZE < off < NEAR_SIZE:
        return ""
    return f" ({nearest} misses it by {1000 * off:.2g} mm: the same size in both?)"


def _sizes_of(part: Part, name: str, found: Candidates) -> list[float]:
    own: Quantity = getattr(part, name)
    if part.kind == "block" and name == "bore":
        return [own.si, *(bore.si for bore in found.bores(part) if bore is not None)]
    return [own.si]


def _mm(values: list[float]) -> str:
    return " or ".join(f"{1000 * value:.10g} mm" for value in values)


def magnitude(count: int) -> str:
    """A count of combinations as people say it.

    >>> magnitude(12345), magnitude(10**13)
    ('12,345', '1.0e13')
    """
    return f"{count:,}" if count < 10**9 else f"{count / 10 ** int(math.log10(count)):.1f}e{int(math.log10(count))}"


def combinations_possible(count: int) -> str:
    """A count of combinations in a sentence.

    >>> combinations_possible(12345), combinations_possible(1)
    ('12,345 possible combinations', '1 possible combination')
    """
    return f"{magnitude(count)} possible combination{'' if count == 1 else 's'}"
