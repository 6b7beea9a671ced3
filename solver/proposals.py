"""From solutions of a model to the list: classes expanded to combinations, and these put to the plain check."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby, islice, product
from operator import itemgetter
from typing import Any

from kitwright.solver.alike import MOST_KEPT, Alike
from kitwright.solver.check import judge
from kitwright.solver.classes import Choice, Facets, combine
from kitwright.solver.combination import Combination
from kitwright.solver.engine import Model
from kitwright.solver.plan import Plan
from kitwright.solver.ranking import Best, cost_of, leading
from kitwright.solver.stopping import Clock

_AT_A_TIME = 500
"""Choices that are written out between two looks at the clock."""

Solution = tuple[dict[str, int], dict[str, int]]
"""Facet to class, and key to value."""

Proposed = tuple[tuple[Any, ...], Combination, list[list[Choice]]]
"""A lower bound of a combination's key, the first of them by id, and what stands behind each of its rows."""


@dataclass
class Proposals:
    """What the solver proposes, on its way into the list of the best."""

    facets: Facets
    plan: Plan
    best: Best
    clock: Clock
    counts: dict[str, int]
    alike: Alike
    _choices: dict[tuple[str, int], list[Choice]] = field(default_factory=dict)

    def take(self, model: Model, found: list[Solution]) -> None:
        """Check what can still be among the best and take what fits: least first, so that most need no check.

        What is no better than the list by its first keys is not even expanded.
        """
        for least, alike in groupby(sorted(found, key=_first_keys), _first_keys):
            if self.best.closed(least):
                return
            for key, first, choices in sorted(self._expanded(model, alike), key=itemgetter(0)):
                if self.best.closed(key):
                    break
                self._offer(first, choices)

    def take_any(self, model: Model, found: list[Solution]) -> None:
        """Take the first that fits, however close."""
        for _, first, _ in self._expanded(model, found):
            if self._offer(first, []):
                return

    def _offer(self, first: Combination, choices: list[list[Choice]]) -> bool:
        """Check a combination and take it, if it fits, with those of ``choices`` that differ from it by ids alone.

        Rows of one class may differ in what the model rounds, so each choice of rows is checked; parts behind one row
        are equal in all that the plan can see, so that one verdict serves them all, and of them only the first by id
        can be among those wanted.
        """
        self.counts["checked"] += 1
        self.clock.check()
        self.alike.trim()
        verdict = judge(first, self.plan, alike=self.alike)
        if not verdict.fits:
            return False
        if not choices:
            self.best.offer(verdict.key, first)
        for some in leading(choices, self.best.wanted) if choices else ():
            self.clock.check()
            combination = combine(some)
            key = (*verdict.key[:5], *combination.tie_key())
            if not self.best.closed(key):
                self.best.offer(key, combination)
        return True

    def _expanded(self, model: Model, found: Iterable[Solution]) -> Iterator[Proposed]:
        """All choices of rows of each choice of classes, but for those that can not be among the best any more."""
        for picked, keys in found:
            least = _first_keys((picked, keys))
            rows = [[(each, row) for row in model.classes[each][number].tolist()] for each, number in picked.items()]
            for chosen in product(*rows):
                choices = [self._behind(each, row) for each, row in chosen]
                first = combine([some[0] for some in choices])
                key = (*least, *first.tie_key())
                self.clock.check()
                if not self.best.closed(key):
                    yield key, first, choices

    def _behind(self, facet: str, row: int) -> list[Choice]:
        """What stands behind a row, the first by id first."""
        if len(self._choices) > MOST_KEPT:
            self._choices.clear()
        if (facet, row) not in self._choices:
            self._choices[facet, row] = self._first_behind(facet, row)
        return self._choices[facet, row]

    def _first_behind(self, facet: str, row: int) -> list[Choice]:
        """The first by id of what stands behind a row, no more than can be listed: there may be millions."""
        found: list[Choice] = []
        for choice in islice(self.facets.facets[facet].expand(row), self.best.wanted):
            found.append(choice)
            if len(found) % _AT_A_TIME == 0:
                self.clock.check()
        return found


def _first_keys(found: Solution) -> tuple[Any, ...]:
    """Lower bounds of the check's first keys, from a solution of a model."""
    _, keys = found
    money = (keys["unknown_cost"], 0.0 if keys["unknown_cost"] else cost_of(keys["cost"]))
    return keys["unproved"], keys["closeness"], money, keys["layers"], keys["operations"]
