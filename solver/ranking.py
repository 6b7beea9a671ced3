"""The list of the best so far, by the order's key, and what its keys are bounded by."""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from kitwright.solver.classes import Choice
from kitwright.solver.combination import Combination
from kitwright.solver.parts import KINDS
from kitwright.solver.terms import MONEY_UNIT

_AFTER_ALL = chr(0x10FFFF)


@dataclass
class Best:
    """The best combinations so far, by the order's key."""

    wanted: int
    keys: list[tuple[Any, ...]] = field(default_factory=list)
    found: list[Combination] = field(default_factory=list)
    floor: tuple[int, int] | None = None
    """Goals not established and closeness: whatever is less than these is in the list; None before that is proved."""

    within: str = ""
    """What is known of a part of all combinations, as long as nothing is known of all."""

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

    @property
    def settled(self) -> int:
        """How many at the head of the list are in their place: those before the least that is left."""
        return 0 if self.floor is None else bisect.bisect_left(self.keys, self.floor)

    @property
    def proven(self) -> str:
        """What is known where the search is stopped: of what is listed, and of what is not."""
        if self.floor is None:
            return self.within or "nothing yet"
        unproved, closeness = self.floor
        before = self.settled
        text = f"no {'other ' if before else ''}combination is closer than {closeness}"
        if unproved:
            text += f" with {unproved} goal{'s' if unproved > 1 else ''} not established"
        if before:
            head = f"first {before} listed are the closest, in order" if before > 1 else "first listed is the closest"
            text = f"the {head}; {text}"
        return text


def cost_of(value: int) -> float:
    """A cost of the model as a lower bound of the check's: to six places exact, where a float has so many."""
    return round(value * MONEY_UNIT, 6) if value < 10**12 else value * MONEY_UNIT * (1 - 1e-12)


def lower_key(orders: Mapping[str, list[Any]], name: str, value: int, unknown: int) -> tuple[Any, ...]:
    """A key's value in the model as a lower bound of the check's key.

    ``orders`` are the ids of each kind by rank. Kinds that the search has not are empty in the check's key: those
    before this one come with it. ``unknown`` is 1 where the cost is not known.
    """
    if name == "unknown_cost":
        return ((value, 0.0),)
    if name == "cost":
        return ((unknown, 0.0 if unknown else cost_of(value)),)
    names = orders.get(name)
    if names is None:
        return (value,)
    before = list(KINDS)[: list(KINDS).index(name)]
    since = max((before.index(kind) + 1 for kind in orders if kind in before), default=0)
    after_all = (_AFTER_ALL,) if name == "gasket" else _AFTER_ALL
    return (*("" for _ in before[since:]), names[value] if value < len(names) else after_all)


def leading(choices: list[list[Choice]], wanted: int) -> Iterator[list[Choice]]:
    """Of all ways to take one of each (each sorted), those that fewer than ``wanted`` others surely come before."""
    if not choices:
        yield []
        return
    for place, choice in enumerate(choices[0][:wanted]):
        for rest in leading(choices[1:], wanted // (place + 1)):
            yield [choice, *rest]
