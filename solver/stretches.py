"""Over which measured values which combination of a pool is the best: every stretch is proved, none is sampled.

Over an interval of measured values each limit's corner and each aimed figure goes one way, as it does in each dimension
alone. What a limit misses at both ends it misses between them, and closeness lies between bounds that the ends tell. An
interval in which one combination is the best by these bounds, whatever the others do, needs no further look; any other
is halved, until it is as narrow as a turning value is told.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from kitwright.solver.check import View, aims_of, every_limit, points, rest_of_key
from kitwright.solver.combination import Combination
from kitwright.solver.plan import Plan
from kitwright.solver.stackup import Spreads

PLACES = 9
"""Values over a ± that are looked at first."""

_NARROWEST = 2.0**-27
"""Share of a ± to within which a turning value is found."""

Setting = Callable[[Combination, float], tuple[Combination, Plan]]
"""A combination and its plan with a value measured."""

Key = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """What one combination comes to at one measured value."""

    broken: frozenset[tuple[str, str]]
    """Limits that are missed, by name and side."""
    unproved: int
    scores: tuple[tuple[float, float, float, int], ...]
    """Of each aimed figure its value, aim, step and weight; the value is NaN where it cannot be computed."""
    rest: Key
    """The order's key from cost on, which no measurement changes."""

    @property
    def closeness(self) -> int:
        """Closeness, as the plain check finds it."""
        return sum(weight * points(at, aim, step) for at, aim, step, weight in self.scores if not math.isnan(at))

    @property
    def key(self) -> Key:
        """The order's key."""
        return self.unproved, self.closeness, *self.rest


def look(combination: Combination, plan: Plan, known: Spreads | None = None) -> Look:
    """A combination through the plain check: what it misses, and what it is ranked by; ``known`` keeps spreads."""
    view = View(combination, plan, known=known)
    limits, unproved = every_limit(view)
    broken = frozenset((each.name, each.limit) for each in limits if each.holds is False)
    scores = tuple(
        (view.value(goal.figure), goal.ranked_by, goal.step, goal.weight)
        for goal in aims_of(plan).values()
        if goal.ranked_by is not None
    )
    return Look(broken, len(unproved), scores, rest_of_key(view))


def _bounds(one: Look, other: Look) -> tuple[Key, Key] | None:
    """The least and the greatest key between two looks; None where a limit is missed all the way."""
    if one.broken & other.broken:
        return None
    least, most = 0.0, 0.0
    for (first, aim, step, weight), (second, *_) in zip(one.scores, other.scores, strict=True):
        if math.isnan(first) and math.isnan(second):
            continue
        if math.isnan(first) or math.isnan(second):
            most = math.inf
            continue
        ends = points(first, aim, step), points(second, aim, step)
        crossed = (first - aim) * (second - aim) <= 0
        least += 0 if crossed else weight * min(ends)
        most += weight * max(ends)
    unproved = sorted((one.unproved, other.unproved))
    return (unproved[0], least, *one.rest), (unproved[1], most, *one.rest)


class Stretches:
    """The best of a pool over the values that a measurement may have."""

    def __init__(
        self,
        pool: Sequence[Combination],
        base: Mapping[int, Look],
        touched: Sequence[int],
        setting: Setting,
        tick: Callable[[], None] = lambda: None,
    ) -> None:
        """``base`` are the looks before anything is measured, ``touched`` those that the measurement changes.

        ``tick`` is called before each look; it raises where the time is up.
        """
        self.pool = pool
        self.setting = setting
        self.tick = tick
        self.touched = tuple(touched)
        others = [number for number in base if number not in set(touched)]
        fitting = [number for number in others if not base[number].broken]
        self.other = min(fitting, key=lambda number: base[number].key, default=None)
        self.base = base
        self._looks: dict[tuple[int, float], Look] = {}
        self._known: Spreads = {}

    def at(self, number: int, value: float) -> Look:
        """One combination at one measured value."""
        if (number, value) not in self._looks:
            self.tick()
            self._looks[number, value] = look(*self.setting(self.pool[number], value), self._known)
        return self._looks[number, value]

    def over(self, low: float, high: float) -> list[tuple[float, int | None]]:
        """Where each stretch begins, ascending, and which of the pool is the best in it; None where none fits."""
        self._found: list[tuple[float, int | None]] = []
        values = [low + (high - low) * step / (PLACES - 1) for step in range(PLACES)]
        for left, right in pairwise(values):
            self._within(left, right, self.touched, (high - low) * _NARROWEST)
        (_, first), *rest = self._found
        return [(low, first), *rest]

    def _within(self, low: float, high: float, some: Sequence[int], narrow: float) -> None:
        contenders, best = self._contenders(low, high, some)
        if not contenders or (len(contenders) == 1 and contenders[0] == best):
            if not self._found or self._found[-1][1] != best:
                self._found.append((low, best))
            return
        if high - low <= narrow:
            return  # it turns here
        middle = (low + high) / 2
        left = [number for number in contenders if number != self.other]
        self._within(low, middle, left, narrow)
        self._within(middle, high, left, narrow)

    def _contenders(self, low: float, high: float, some: Sequence[int]) -> tuple[list[int], int | None]:
        """Those that may be the best somewhere between two values, and the one that is sure to be the least."""
        keys: dict[int, tuple[Key, Key]] = {}
        sure: dict[int, Key] = {}
        for number in some:
            one, other = self.at(number, low), self.at(number, high)
            found = _bounds(one, other)
            if found is not None:
                keys[number] = found
                if not one.broken and not other.broken:
                    sure[number] = found[1]
        if self.other is not None:
            key = self.base[self.other].key
            keys[self.other] = key, key
            sure[self.other] = key
        best = min(sure, key=lambda number: sure[number], default=None)
        if best is None:
            return list(keys), None
        return [number for number, (least, _) in keys.items() if number == best or least < sure[best]], best
