"""The list of the best so far, by the order's key, and what its keys are bounded by."""

from __future__ import annotations

import bisect
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from kitwright.solver.classes import Choice
from kitwright.solver.combination import Combination
from kitwright.solver.terms import MONEY_UNIT


@dataclass
class Best:
    """The best combinations so far, by the order's key."""

    wanted: int
    keys: list[tuple[Any, ...]] = field(default_factory=list)
    found: list[Combination] = field(default_factory=list)

    def offer(self, key: tuple[Any, ...], combination: Combination) -> None:
        """Take a fitting combination into the list, if it is among the best."""
        place = bisect.bisect_left(self.keys, key)
        if place >= self.wanted or (place < len(self.keys) and self.keys[place] == key):
            return
        self.keys.insert(place, key)
        self.found.insert(place, combination)
        del self.keys[self.wanted :], self.found[self.wanted :]

    @property
    def full(self) -> bool:
        """Whether as many as wanted have been found."""
        return len(self.keys) >= self.wanted

    def closed(self, lower: tuple[Any, ...]) -> bool:
        """Whether nothing from ``lower`` on (a prefix of the key, as a lower bound) can enter the list any more."""
        return self.full and self.keys[-1][: len(lower)] < lower


def cost_of(value: int) -> float:
    """A cost of the model as a lower bound of the check's: to six places exact, where a float has so many."""
    return round(value * MONEY_UNIT, 6) if value < 10**12 else value * MONEY_UNIT * (1 - 1e-12)


def leading(choices: list[list[Choice]], wanted: int) -> Iterator[list[Choice]]:
    """Of all ways to take one of each (each sorted), those that fewer than ``wanted`` others surely come before."""
    if not choices:
        yield []
        return
    for place, choice in enumerate(choices[0][:wanted]):
        for rest in leading(choices[1:], wanted // (place + 1)):
            yield [choice, *rest]
