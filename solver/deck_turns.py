"""The decks of one short block at which one gasket does.

The four parts of the short block are held, their deck is taken as measured and let vary; head, machining, valve gear
and the gasket (one) stay free. Limits on figures that the deck moves each hold from a deck on, or up to one: for every
choice of the parts that such figures read, that is one range of decks, solved with the formulas themselves. Whether the
limits that the deck does not move can be kept with a choice is asked of the search, and only of those that widen what
is known so far.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from kitwright.solver.candidates import BOTTOM, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import NEAR, implied_goals
from kitwright.solver.classes import facet_of
from kitwright.solver.evaluate import compute, in_unit
from kitwright.solver.plan import Goal, MeasuredDeck, Plan
from kitwright.solver.quantity import parse_deck
from kitwright.solver.regions import Search
from kitwright.solver.registry import leaves_of, tree_of
from kitwright.solver.rules import PHYSICAL, rules_of
from kitwright.solver.slack import pick
from kitwright.solver.stackup import spread, with_batch
from kitwright.solver.stopping import Clock
from kitwright.solver.terms import Floats, Ints, Mask

FURTHEST = 50.0
"""Decks are looked at from this far up to this far down, in mm."""

MEASURED = "measured.deck"

TOUCHING = 1e-8
"""Ranges closer than this, in mm, are one."""


@dataclass(frozen=True, slots=True)
class DeckRange:
    """Decks (mm, positive below) from ``low`` to ``high`` at which one gasket does; None where no limit ends it."""

    gasket: str
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class _Limit:
    figure: str
    side: Literal["min", "max"]
    bound: float


def deck_ranges(catalogue: Catalogue, plan: Plan, short_block: Mapping[str, str], clock: Clock) -> list[DeckRange]:
    """Where one gasket does, by gasket, for one short block and everything else free.

    Args:
        catalogue: the parts.
        plan: what is wanted, with one gasket allowed.
        short_block: block, crank, rod and piston to their ids.
        clock: the time that is left.

    Raises:
        OutOfTimeError: the time was up first.
    """
    return list(_Turning(catalogue, plan, short_block, clock).ranges())


def turns(ranges: list[DeckRange]) -> tuple[float, ...]:
    """The decks in mm, ascending, at which the answer turns: the ends of all ranges together.

    >>> turns([DeckRange("a", 0.0, 0.25), DeckRange("b", 0.25, 0.5), DeckRange("c", 1.0, None)])
    (0.0, 0.5, 1.0)
    """
    ends = [(-np.inf if each.low is None else each.low, np.inf if each.high is None else each.high) for each in ranges]
    merged = _merged(ends)
    return tuple(end for pair in merged for end in pair if np.isfinite(end))


def _merged(ends: list[tuple[float, float]]) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = []
    for low, high in sorted(ends):
        if found and low <= found[-1][1] + TOUCHING:
            found[-1] = (found[-1][0], max(found[-1][1], high))
        else:
            found.append((low, high))
    return found


def _of_the_cam(figure: str) -> bool:
    """Whether a figure follows the cam, which takes long to work out at every corner of its tolerances."""
    return any(facet_of(leaf) == "gear" for leaf in leaves_of(figure))


class _Turning:
    """One short block, whose deck varies."""

    def __init__(self, catalogue: Catalogue, plan: Plan, short_block: Mapping[str, str], clock: Clock) -> None:
        self.plan = _held(plan, short_block)
        # below the end of the clearance volume there is no compression to speak of; what is quickly worked out is next
        self.limits = sorted(
            _deck_limits(self.plan), key=lambda each: (each.figure != "clearance_volume", len(leaves_of(each.figure)))
        )
        slow = [limit for limit in self.limits if self.plan.tolerance != "nominal" and _of_the_cam(limit.figure)]
        self.early = [limit for limit in self.limits if limit not in slow]
        self.late = slow
        """Limits that are worked out for a choice only when it comes to it."""
        options = candidates(catalogue, _still(self.plan))
        self.gaskets = options.gaskets or ()
        self.search = None if options.empty_kinds else Search(options, _still(self.plan), 1, clock, None)
        self.clock = clock
        self.index: dict[str, Ints] = {}
        self.picks: dict[str, Ints] = {}
        self.rows: Ints = np.empty(0, dtype=np.int64)
        self._cores: list[dict[str, int]] = []

    def ranges(self) -> Iterator[DeckRange]:
        """The ranges of every gasket, by its id and then by deck."""
        if self.search is None or self.search.empty:
            return
        self._choices()
        stack = self.search.facets.facets["stack"]
        low, high = self._bounds()
        for number, row in enumerate(self.rows.tolist()):
            ((_, layers, _),) = list(stack.expand(row))
            for ends_of in self._of_gasket(number, low[number], high[number]):
                ends = [None if abs(end) >= FURTHEST else round(end, 9) + 0.0 for end in ends_of]
                yield DeckRange(layers[0].id, *ends)

    def _choices(self) -> None:
        """Rows of each facet that figures of the deck can tell apart."""
        assert self.search is not None
        names = {leaf for limit in self.limits for leaf in leaves_of(limit.figure)}
        for each in self.search.facets.facets:
            if each == "stack" or not any(facet_of(leaf) == each for leaf in names):
                continue
            index, picks = self.search.maker.project(each, names)
            kept = np.unique(index[self.search.alive[each]])  # rows that no other limit rules out
            renumbered = np.full(len(picks), -1, dtype=np.int64)
            renumbered[kept] = np.arange(len(kept))
            self.index[each] = np.where(self.search.alive[each], renumbered[index], -1)
            self.picks[each] = picks[kept]
        self.rows = np.nonzero(self.search.alive["stack"])[0]

    def _of_gasket(self, number: int, low: Floats, high: Floats) -> list[tuple[float, float]]:
        """Ranges of decks in mm for one gasket, merged, of the range of each choice.

        What is known is widened by the choice that reaches furthest on from its end, or begins first beyond it.
        """
        lows, highs, shape = low.reshape(-1).copy(), high.reshape(-1).copy(), low.shape
        pending = np.nonzero(lows <= highs + TOUCHING / 10)[0]
        exact: set[int] = set()
        found: list[tuple[float, float]] = []
        end = -np.inf
        while True:
            pending = pending[highs[pending] > end + TOUCHING] if found else pending
            if not len(pending):
                return found
            touching = pending[lows[pending] <= end + TOUCHING] if found else pending[:0]
            if len(touching):
                best = int(touching[np.argmax(highs[touching])])
            else:
                first = pending[lows[pending] <= lows[pending].min()]
                best = int(first[np.argmax(highs[first])])
            place = np.unravel_index(best, shape)
            if self.late and best not in exact:
                exact.add(best)
                before = lows[best], highs[best]
                lows[best], highs[best] = self._late((number, *place), *before)
                if lows[best] > highs[best] + TOUCHING / 10:
                    pending = pending[pending != best]
                if before != (lows[best], highs[best]):
                    continue
            row = int(self.rows[number])
            choice = {"stack": row, **{each: int(at) for each, at in zip(self.picks, place, strict=True)}}
            core = self._core(choice)
            if core is not None:
                pending = pending[~self._covered(core, pending, shape)]
                continue
            if len(touching):
                found[-1] = (found[-1][0], float(highs[best]))
            else:
                found.append((float(lows[best]), float(highs[best])))
            end = float(highs[best])

    def _late(self, place: tuple[Any, ...], low: float, high: float) -> tuple[float, float]:
        """The range of decks of one choice, narrowed by the limits that were left for later."""
        picks = {"stack": self.rows, **self.picks}
        rows = {each: int(some[at]) for (each, some), at in zip(picks.items(), place, strict=True)}
        leaves, tolerances = self._leaves(rows)  # numbers, whose lobes are remembered
        lowest, highest = np.array(low), np.array(high)
        for limit in self.late:
            lowest, highest = self._narrowed(limit, leaves, tolerances, lowest, highest)
        return float(lowest), float(highest)

    def _covered(self, core: Mapping[str, int], pending: Ints, shape: tuple[int, ...]) -> Mask:
        """Which choices have all of a core."""
        covered = np.ones(len(pending), dtype=bool)
        for each, places in zip(self.picks, np.unravel_index(pending, shape), strict=True):
            if each in core:
                covered &= places == core[each]
        return covered

    def _core(self, choice: dict[str, int]) -> dict[str, int] | None:
        """Rows of a choice that no others go with inside the limits that the deck does not move; None if some do."""
        for core in self._cores:
            if all(choice[each] == number for each, number in core.items()):
                return core
        if self._possible(choice):
            return None
        core = dict(choice)
        for each in choice:
            less = {name: number for name, number in core.items() if name != each}
            if not self._possible(less):
                core = less
        self._cores.append(core)
        return core

    def _possible(self, choice: Mapping[str, int]) -> bool:
        assert self.search is not None
        self.clock.check()
        rows: dict[str, Mask] = {}
        for each, number in choice.items():
            size = self.search.facets.facets[each].size
            rows[each] = np.arange(size) == number if each == "stack" else self.index[each] == number
        return self.search.any_of(rows)

    # the range of one choice

    def _bounds(self) -> tuple[Floats, Floats]:
        """Lowest and highest deck in mm for every gasket (first axis) and choice of the other facets' rows."""
        shape = (len(self.rows), *(len(each) for each in self.picks.values()))
        leaves, tolerances = self._leaves({"stack": self.rows, **self.picks})
        low, high = np.full(shape, -FURTHEST), np.full(shape, FURTHEST)
        for limit in self.early:
            low, high = self._narrowed(limit, leaves, tolerances, low, high)
        return low, high

    def _leaves(self, picks: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
        assert self.search is not None
        names = {leaf for limit in self.limits for leaf in leaves_of(limit.figure)}
        leaves: dict[str, Any] = {leaf: self.search.maker.neutral(leaf) for leaf in names}
        tolerances: dict[str, Any] = {}
        read = with_batch(names)
        for place, (each, rows) in enumerate(picks.items()):
            facet = self.search.facets.facets[each]
            shape = [1] * len(picks)
            shape[place] = -1
            for source, into in ((facet.leaves, leaves), (facet.tolerances, tolerances)):
                for leaf, values in source.items():
                    if leaf in read and facet_of(leaf) == each:
                        into[leaf] = pick(values, rows, shape) if np.ndim(rows) else _one(values, rows)
        return leaves, tolerances

    def _narrowed(
        self, limit: _Limit, leaves: dict[str, Any], tolerances: dict[str, Any], low: Floats, high: Floats
    ) -> tuple[Floats, Floats]:
        """Ranges of decks in mm, narrowed to where one limit holds; every figure of the deck rises or falls with it."""
        shape = low.shape
        still: dict[str, Any] = {}  # what the deck does not move is worked out once
        if self.plan.tolerance == "nominal":
            for each in tree_of(limit.figure):
                if MEASURED not in leaves_of(each):
                    compute(each, leaves, still)

        def margin(deck: Floats) -> Floats:
            self.clock.check()
            moved = leaves | {MEASURED: deck / 1000}
            with np.errstate(all="ignore"):
                if self.plan.tolerance == "nominal":
                    value = in_unit(limit.figure, compute(limit.figure, moved, dict(still)))
                else:
                    ends = spread(limit.figure, moved, tolerances, self.plan.tolerance)
                    value = in_unit(limit.figure, ends[0] if limit.side == "min" else ends[1])
            away = value - limit.bound if limit.side == "min" else limit.bound - value
            return np.broadcast_to(np.asarray(away, dtype=float), shape)

        slack = NEAR * max(1.0, abs(limit.bound))

        def at(deck: Floats) -> Floats:
            away = margin(deck)
            return np.where((away < 0) & (away >= -slack), 0.0, away)

        near = np.minimum(low + np.where(low > -FURTHEST, 1e-10, 0.0), high)
        at_near, at_far = at(near), at(high)
        some = low <= high + TOUCHING
        never = some & (at_near < 0) & (at_far < 0)
        rises, falls = some & (at_near < 0) & (at_far >= 0), some & (at_near >= 0) & (at_far < 0)
        root = _root(margin, near, high, at_near, at_far, rises | falls)
        return np.where(never, np.inf, np.where(rises, root, low)), np.where(falls, root, high)


def _one(values: Any, row: int) -> Any:
    """A leaf of one row, as a number (or a tuple of them, one a layer)."""
    return tuple(float(each[row]) for each in values) if isinstance(values, tuple) else float(values[row])


def _root(margin: Any, a: Floats, b: Floats, at_a: Floats, at_b: Floats, wanted: Mask) -> Floats:
    """Where a monotone function crosses 0 between a and b, by secants and halving in turn."""
    root, open_ = a, wanted
    for turn in range(200):
        if not np.any(open_):
            break
        with np.errstate(all="ignore"):
            secant = (a * at_b - b * at_a) / (at_b - at_a)
        inside = np.isfinite(secant) & (secant >= np.minimum(a, b)) & (secant <= np.maximum(a, b))
        root = np.where(open_, np.where(inside & (turn % 3 != 2), secant, (a + b) / 2), root)
        at = margin(root)
        left = (at < 0) == (at_a < 0)
        a, at_a = np.where(left, root, a), np.where(left, at, at_a)
        b, at_b = np.where(left, b, root), np.where(left, at_b, at)
        open_ = open_ & (np.abs(at) >= 1e-11) & (np.abs(b - a) >= 1e-12)
    return root


def _held(plan: Plan, short_block: Mapping[str, str]) -> Plan:
    """The plan with the short block pinned and its deck measured; a measurement that is there lends its ±."""
    given = next((each for each in reversed(plan.measured_decks) if dict(each.parts) == dict(short_block)), None)
    deck = given or MeasuredDeck(parse_deck("0 mm down"), dict(short_block))
    pins = {kind: (short_block[kind],) for kind in BOTTOM}
    return plan.but(use={**plan.use, **pins}, measured_decks=(deck,))


def _deck_limits(plan: Plan) -> list[_Limit]:
    """Limits of goals and physical rules on figures that the deck moves."""
    found: list[_Limit] = []
    for goal in implied_goals(plan).values():
        if MEASURED in leaves_of(goal.figure):
            sides: tuple[tuple[Literal["min", "max"], float | None], ...] = (
                ("min", goal.minimum),
                ("max", goal.maximum),
            )
            found += [_Limit(goal.figure, side, bound) for side, bound in sides if bound is not None]
    rules = rules_of(plan)
    return found + [_Limit(rule.figure, "min", bound) for rule, bound in rules if MEASURED in leaves_of(rule.figure)]


def _still(plan: Plan) -> Plan:
    """The plan without the limits that the deck moves, and without aims: what a choice has to keep at any deck."""
    goals = {}
    for name, goal in plan.goals.items():
        moved = MEASURED in leaves_of(goal.figure)
        low, high = (None, None) if moved else (goal.minimum, goal.maximum)
        goals[name] = Goal(goal.figure, None, low, high, goal.step)
    rules = {rule.id for rule in PHYSICAL if MEASURED in leaves_of(rule.figure)}
    return plan.but(goals=goals, waived=plan.waived | rules)
