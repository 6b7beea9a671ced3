"""What to measure next: the dimensions whose measurement could settle whether a combination holds, and where it turns.

The question is always asked at worst case: a build that holds at every corner of all ± needs no measuring, one that
fails at every corner is past measuring, and between the two a measured dimension takes its own ± out of the sum.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kitwright.solver.candidates import BOTTOM
from kitwright.solver.check import View, every_limit, reaches
from kitwright.solver.combination import Combination
from kitwright.solver.evaluate import shifted
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.result import Limit
from kitwright.solver.roots import root
from kitwright.solver.stackup import Spreads, spread, variables
from kitwright.solver.swap import Place, is_dimension, place_of

DECK = Place("measured", None, "deck")
"""The deck of the four parts of the short block, measured as one thing."""

_WIDTH = 1e-9
"""Share of a ± to within which a turning value is found."""

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Measurement:
    """One dimension to measure. Values are in SI: metres (or what its dimension has).

    Attributes:
        place: whose dimension; :data:`DECK` for the deck with all four parts.
        nominal: as it is written (the deck: as it is computed).
        low: lower end of its ±.
        high: upper end.
        holds: measured values with which every limit then holds at the worst corner of all the rest; None for none.
        fails: measured values with which a limit is missed whatever the rest is.
        settles: share of the ± in which the answer is then settled, one way or the other.
        width: how much of the range of the limits in question is its own, between 0 and 1.
        limits: the limits in question that it moves.

    """

    place: Place
    nominal: float
    low: float
    high: float
    holds: Interval | None
    fails: tuple[Interval, ...]
    settles: float
    width: float
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True)
class MeasureNext:
    """What measuring could do for one combination.

    Attributes:
        answer: ``holds`` at every corner of all ±, ``fails`` at every corner, or ``open`` between the two.
        limits: the limits in question (``open``), or those that are missed at every corner (``fails``).
        measurements: those that could decide, most deciding first.
        enough: the fewest found that together make it hold if each measures as it is written; empty where none do.

    """

    answer: str
    limits: tuple[Limit, ...]
    measurements: tuple[Measurement, ...] = ()
    enough: tuple[Place, ...] = ()


@dataclass(frozen=True, slots=True)
class _Item:
    """Something to measure: the leaf that takes the value, and the leaves whose ± it takes away."""

    place: Place
    leaf: str
    layer: int | None
    nominal: float
    tolerance: float
    covers: tuple[tuple[str, int | None], ...]


def measure_next(combination: Combination, plan: Plan) -> MeasureNext:
    """Which dimensions, once measured, could settle whether a combination holds at worst case.

    A measured value counts as exact; what the measurement itself is unsure of moves the turning value by as much.
    Ratings are no dimensions and are not measured. Goals that are not established stay so and decide nothing.
    """
    view = View(combination, plan.but(tolerance="worst_case"))
    limits, _ = every_limit(view)
    missed = [each for each in limits if each.holds is False]
    if not missed:
        return MeasureNext("holds", ())
    past = tuple(each for each in missed if not each.figure or not _could_hold(view, each))
    if past:
        return MeasureNext("fails", past)
    work = _Work(view, missed)
    found = [each for each in map(work.measurement, work.items()) if each is not None]
    found.sort(key=lambda each: (-each.settles, -each.width, each.place.kind, each.place.field))
    return MeasureNext("open", tuple(missed), tuple(found), work.enough())


def _could_hold(view: View, limit: Limit) -> bool:
    low, high = view.spread(limit.figure, "worst_case")
    assert limit.bound is not None
    return reaches(high if limit.limit == "min" else low, limit.limit, limit.bound, limit.strict)


class _Work:
    """One combination at worst case, and the limits that it may or may not hold."""

    def __init__(self, view: View, missed: list[Limit]) -> None:
        self.view = view
        self.combination = view.combination
        self.missed = missed
        names = tuple(dict.fromkeys(leaf for each in missed for leaf in leaves_of(each.figure)))
        view.reader.read((*names, "measured.deck"))
        self.leaves: Mapping[str, Any] = dict(view.reader.values)
        self.tolerances: Mapping[str, Any] = dict(view.reader.tolerances)
        self.names = names
        self.known: Spreads = {}

    def items(self) -> Iterator[_Item]:
        """The deck where it is not measured yet, then every dimension with a ±."""
        deck = self._deck()
        if deck is not None:
            yield deck
        for leaf, layer, tolerance in variables(self.names, self.tolerances):
            place = place_of(self.combination, leaf, layer)
            if not is_dimension(place.field):
                continue
            nominal = self.leaves[leaf] if layer is None else self.leaves[leaf][layer]
            yield _Item(place, leaf, layer, float(nominal), float(tolerance), ((leaf, layer),))

    def _deck(self) -> _Item | None:
        if "measured.deck" not in self.names or not math.isnan(self.leaves["measured.deck"]):
            return None
        parts = deck_parts(self.combination)
        if len(parts) < len(BOTTOM):
            return None
        four = Combination({kind: self.combination.parts[kind] for kind, _ in parts})
        nominal, tolerance = deck_range(four, self.view.plan)
        if not tolerance:
            return None
        fields = [leaf for leaf in leaves_of("deck") if leaf.partition(".")[0] in BOTTOM]
        return _Item(DECK, "measured.deck", None, nominal, tolerance, tuple((leaf, None) for leaf in fields))

    def measured(self, item: _Item, value: float) -> tuple[Mapping[str, Any], Mapping[str, Any]]:
        """Leaves and tolerances once an item is measured."""
        if item.place == DECK:  # the four parts' own ± stay in what else depends on them
            return {**self.leaves, "measured.deck": value}, self.tolerances
        leaves = self.leaves
        for leaf, layer in item.covers:
            leaves = shifted(leaves, leaf, layer, value - item.nominal)
        return leaves, without(self.tolerances, item.covers)

    def margins(self, item: _Item, limit: Limit, value: float) -> tuple[float, float]:
        """Margin of a limit at the worst and at the best corner of all the rest, in the figure's SI."""
        leaves, tolerances = self.measured(item, value)
        return self._margins(limit, leaves, tolerances)

    def _margins(self, limit: Limit, leaves: Mapping[str, Any], tolerances: Mapping[str, Any]) -> tuple[float, float]:
        assert limit.bound is not None
        with np.errstate(all="ignore"):
            low, high = map(float, spread(limit.figure, leaves, tolerances, "worst_case", self.known))
        bound = limit.bound * FIGURES[limit.figure].factor
        return (low - bound, high - bound) if limit.limit == "min" else (bound - high, bound - low)

    def measurement(self, item: _Item) -> Measurement | None:
        """What one measurement could decide; None where it moves no limit in question."""
        ends = (item.nominal - item.tolerance, item.nominal + item.tolerance)
        holds: Interval | None = ends
        fails: list[Interval] = []
        moved: list[Limit] = []
        widths = []
        for limit in self.missed:
            now = self._margins(limit, self.leaves, self.tolerances)
            worst = [self.margins(item, limit, end)[0] for end in ends]
            best = [self.margins(item, limit, end)[1] for end in ends]
            own = abs(worst[1] - worst[0]) / (now[1] - now[0]) if now[1] > now[0] else 0.0
            if own < _WIDTH:
                holds = None
                continue
            moved.append(limit)
            widths.append(min(own, 1.0))
            holds = _both(holds, self._where(item, limit, 0, worst))
            fails += self._not(item, self._where(item, limit, 1, best))
        if not moved:
            return None
        length = ends[1] - ends[0]
        settled = _length(([holds] if holds else []) + fails)
        return Measurement(
            item.place, item.nominal, *ends, holds, _joined(fails), settled / length, max(widths), tuple(moved)
        )

    def _where(self, item: _Item, limit: Limit, corner: int, at_ends: list[float]) -> Interval | None:
        """Measured values at which a margin is not negative: it falls or rises over the whole ±."""
        low, high = item.nominal - item.tolerance, item.nominal + item.tolerance
        if min(at_ends) >= 0:
            return low, high
        if max(at_ends) < 0:
            return None
        turn = root(lambda value: self.margins(item, limit, value)[corner], low, high, item.tolerance * _WIDTH)
        return (low, turn) if at_ends[0] >= 0 else (turn, high)

    def _not(self, item: _Item, kept: Interval | None) -> list[Interval]:
        low, high = item.nominal - item.tolerance, item.nominal + item.tolerance
        if kept is None:
            return [(low, high)]
        return [each for each in ((low, kept[0]), (kept[1], high)) if each[1] > each[0]]

    def enough(self) -> tuple[Place, ...]:
        """Measurements that make every limit hold if each is as written: greatest ± first, then any too many dropped.

        The deck stands for its four parts.
        """
        items = list(self.items())
        if items and items[0].place == DECK:
            covered = set(items[0].covers)
            items = [items[0], *(each for each in items[1:] if each.covers[0] not in covered)]
        now = {limit: self._margins(limit, self.leaves, self.tolerances)[0] for limit in self.missed}

        def gain(item: _Item) -> float:
            after = {limit: self._after([item], limit) for limit in self.missed}
            return sum(after[limit] - now[limit] for limit in self.missed if now[limit] < 0)

        ordered = sorted(items, key=lambda each: -gain(each))
        chosen: list[_Item] = []
        for item in ordered:
            chosen.append(item)
            if self._hold(chosen):
                break
        else:
            return ()
        for item in list(chosen):
            rest = [each for each in chosen if each is not item]
            if rest and self._hold(rest):
                chosen = rest
        return tuple(each.place for each in chosen)

    def _hold(self, items: Iterable[_Item]) -> bool:
        items = list(items)
        return all(self._after(items, limit) >= 0 for limit in self.missed)

    def _after(self, items: Iterable[_Item], limit: Limit) -> float:
        leaves, tolerances = self.leaves, self.tolerances
        for item in items:
            if item.place == DECK:
                leaves = {**leaves, "measured.deck": item.nominal}
            else:
                tolerances = without(tolerances, item.covers)
        return self._margins(limit, leaves, tolerances)[0]


def deck_parts(combination: Combination) -> tuple[tuple[str, str], ...]:
    """Kind and id of the parts of a combination that a deck is measured with."""
    return tuple((kind, combination.parts[kind].id) for kind in BOTTOM if kind in combination.parts)


def deck_range(four: Combination, plan: Plan) -> tuple[float, float]:
    """Deck of a short block alone, before any cut or spacer, and how far it strays either way at worst; in metres."""
    view = View(four, plan)
    view.reader.read(leaves_of("deck"))
    low, high = map(float, spread("deck", view.reader.values, view.reader.tolerances, "worst_case"))
    return (low + high) / 2, (high - low) / 2


def without(tolerances: Mapping[str, Any], covers: Iterable[tuple[str, int | None]]) -> dict[str, Any]:
    """The tolerances with some of them taken as measured."""
    found = dict(tolerances)
    for leaf, layer in covers:
        if layer is None:
            found.pop(leaf, None)
        else:
            found[leaf] = tuple(0.0 if number == layer else each for number, each in enumerate(found[leaf]))
    return found


def _both(one: Interval | None, other: Interval | None) -> Interval | None:
    if one is None or other is None:
        return None
    low, high = max(one[0], other[0]), min(one[1], other[1])
    return (low, high) if low < high else None


def _joined(some: Iterable[Interval]) -> tuple[Interval, ...]:
    found: list[Interval] = []
    for low, high in sorted(some):
        if found and low <= found[-1][1]:
            found[-1] = (found[-1][0], max(high, found[-1][1]))
        else:
            found.append((low, high))
    return tuple(found)


def _length(some: Iterable[Interval]) -> float:
    return sum(high - low for low, high in _joined(some))
