"""Figures with ``at_least`` as sums: what is ≤ 0 exactly where a figure reaches a bound, term by term.

A term is additive (a column a facet), of one facet (a column), of several facets (a table of few cells) or constant. At
the worst corner the additive terms stand at theirs together; another term stands at the worst of what it alone depends
on, and at the best of what it shares with other terms, so that the sum never claims more than the truth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from math import prod
from typing import Any, Literal, Protocol

import numpy as np

from kitwright.solver.classes import Facet, facet_of
from kitwright.solver.evaluate import compute
from kitwright.solver.registry import FIGURES, Slack, leaves_of
from kitwright.solver.stackup import cornered, variables
from kitwright.solver.stopping import tick
from kitwright.solver.terms import BIG, Floats, Ints, Linear, Mask, SumTable, nearest, unit_of, up

LARGEST_TABLE = 30_000
"""Cells that a table may have; beyond, a figure is left to the plain check."""

Side = Literal["min", "max"]


class Source(Protocol):
    """What a sum reads of the search's facets."""

    facets: dict[str, Facet]

    def neutral(self, leaf: str) -> Any:
        """A leaf while another facet is looked at."""

    def contributions(self, weights: Mapping[str, float], corner: Literal["", "low", "high"] = "") -> dict[str, Floats]:
        """Additive figures, one column a facet."""

    def project(self, facet: str, names: Iterable[str]) -> tuple[Ints, Ints]:
        """Rows that are equal in some leaves as one."""

    def constants(self) -> Mapping[str, Any]:
        """What the plan gives."""


_HIGHEST = 1e9
"""A bound, in a figure's unit, that nothing reaches."""


_FURTHEST = float(BIG - 1)
"""A term as far off as the solver's integers go."""


def _within(values: Any) -> Ints:
    """Terms rounded up, the furthest off at the ends of the solver's integers.

    A bound may be such that a spring would have to be kilometres longer: what is beyond every sum of real parts is as
    much beyond it at the end of the integers, so that the sign of the sum, which alone is asked, stays.
    """
    return up(np.clip(values, -_FURTHEST, _FURTHEST))


class TooManyCellsError(Exception):
    """A term would need a larger table than is worth it."""


@dataclass(frozen=True, slots=True)
class Term:
    """A term that is not additive: the leaves it reads and its value in SI, weight included."""

    leaves: tuple[str, ...]
    value: Callable[[Mapping[str, Any]], Any]


class SlackSum:
    """The sum of one figure, for any bound."""

    def __init__(self, source: Source, figure: str) -> None:
        self.source = source
        self.entry = FIGURES[figure]
        self._fixed: dict[Any, Any] = {}

    def terms(self, bound: float) -> tuple[Slack, ...] | None:
        """The figure's terms for a bound in its own unit; None where it always is reached."""
        assert self.entry.at_least is not None
        return self.entry.at_least(bound * self.entry.factor, self.source.constants())

    def samples(self) -> list[tuple[Slack, ...]]:
        """The terms at two bounds; at the lowest ones a figure may have none, as a pressure below the air's has."""
        found: list[tuple[Slack, ...]] = []
        bound = 2.0 / max(self.entry.factor, 1.0)
        while len(found) < 2 and bound < _HIGHEST:
            terms = self.terms(bound)
            if terms is not None:
                found.append(terms)
            bound *= 1.5
        return found

    def limit(self, name: str, side: Side, bound: float, worst: bool, skip: dict[str, Mask]) -> Linear | None:
        """A limit as a sum ≥ 0; None where it always holds."""
        terms = self.terms(bound)
        if terms is None:
            return None if side == "min" else self.impossible(name, skip)
        sign = -1.0 if side == "min" else 1.0
        additive, others = self._split(terms)
        corner: Literal["", "low", "high"] = ("high" if side == "min" else "low") if worst else ""
        unit = unit_of(next(iter(additive)))
        total = {each: sign * values for each, values in self.source.contributions(additive, corner).items()}
        linear = Linear(name, {}, skip)
        names = [leaf for each in additive for leaf in leaves_of(each)]
        for place, term in enumerate(others):
            shared = set(names) | {leaf for at, other in enumerate(others) if at != place for leaf in other.leaves}
            self._add(total, linear, term, sign, unit, shared if worst else None, "high" if side == "min" else "low")
        linear.terms = {each: _within(values / unit) for each, values in total.items()}
        return linear

    def impossible(self, name: str, skip: dict[str, Mask]) -> Linear:
        """A sum that never is ≥ 0."""
        first = next(iter(self.source.facets))
        return Linear(name, {first: np.full(self.source.facets[first].size, -1, dtype=np.int64)}, skip)

    def level(
        self, aim: float, step: float, side: Side, index: int, rows: dict[str, Ints]
    ) -> tuple[Linear, Linear] | None:
        """Whether the figure is within (index + 1) steps of an aim on one side, over some rows of each facet.

        The first sum is the same at every level, and empty where none keeps it; None where the level always is kept.
        """
        sign = -1.0 if side == "min" else 1.0
        tick()
        terms = self.terms(aim + sign * (index + 1) * step)
        if terms is None:  # no value is so low: a lower end always is kept, an upper one never
            owner = next(iter(rows))
            return None if side == "min" else (Linear("", {}), Linear("", {owner: np.full(len(rows[owner]), -1)}))
        first, *others = terms
        unit = unit_of(first.figure)
        # whole numbers that both sides (and figures with the same first term) share, eased by what rounding may take
        same: dict[str, Ints] = {}
        eased = 0
        for each, values in self._column(first.figure).items():
            if each in rows:
                whole, exact = nearest(values[rows[each]] / unit)
                same[each] = int(sign * first.weight) * whole
                eased += not exact
        rest: dict[str, Floats] = {}
        linear = Linear("", {})
        for slack in others:
            if slack.figure and FIGURES[slack.figure].shape == "additive":
                for each, values in self._column(slack.figure).items():
                    if each in rows:
                        rest[each] = rest.get(each, 0.0) + sign * slack.weight * values[rows[each]]
                continue
            value = self._evaluated(slack)
            if isinstance(value, SumTable):
                scaled = _within(sign * slack.weight * value.values / unit)
                linear.tables.append(
                    SumTable({each: column[rows[each]] for each, column in value.index.items()}, scaled)
                )
            else:
                for each, values in value.items():
                    rest[each] = rest.get(each, 0.0) + sign * slack.weight * values[rows[each]]
        linear.terms = {each: _within(values / unit) for each, values in rest.items()}
        if eased:
            owner = next(iter(linear.terms), next(iter(same)))
            linear.terms[owner] = linear.terms.get(owner, np.zeros_like(same.get(owner, 0))) + eased
        return Linear("", same), linear

    def columns(self) -> dict[str, list[Any]]:
        """What rows must have alike to be one class at every level.

        Raises:
            TooManyCellsError: a term's table is too large, or has to be made anew at every level.
        """
        found: dict[str, list[Any]] = {}
        for terms in self.samples():
            for slack in terms:
                if slack.figure and FIGURES[slack.figure].shape == "additive":
                    for each, values in self._column(slack.figure).items():
                        found.setdefault(each, []).append(np.round(values, 15))
                    continue
                term = self._term(slack)
                scope = self._scope(term.leaves)
                if slack.function is not None and len(scope) > 1:
                    raise TooManyCellsError
                if len(scope) > 1:
                    value = self._evaluated(slack)
                    for each, index in value.index.items():
                        found.setdefault(each, []).append(index)
                else:
                    for each in scope:
                        found.setdefault(each, []).append(self.source.project(each, term.leaves)[0])
        return found

    # terms

    def _column(self, figure: str) -> dict[str, Floats]:
        if figure not in self._fixed:
            self._fixed[figure] = self.source.contributions({figure: 1.0})
        found: dict[str, Floats] = self._fixed[figure]
        return found

    def _evaluated(self, slack: Slack) -> Any:
        """A term that is not additive, nominal and without its weight: a table, or a column a facet."""
        if slack.figure and slack.figure in self._fixed:
            return self._fixed[slack.figure]
        bare = Slack(1.0, slack.figure, slack.function, slack.inputs)
        total: dict[str, Floats] = {}
        linear = Linear("", {})
        table = self._add(total, linear, self._term(bare), 1.0, None, None, "high")
        value: Any = table if table is not None else total
        if slack.figure:
            self._fixed[slack.figure] = value
        return value

    def _split(self, terms: Iterable[Slack]) -> tuple[dict[str, float], list[Term]]:
        additive: dict[str, float] = {}
        others = []
        for slack in terms:
            if slack.figure and FIGURES[slack.figure].shape == "additive":
                additive[slack.figure] = additive.get(slack.figure, 0.0) + slack.weight
            else:
                others.append(self._term(slack))
        return additive, others

    def _term(self, slack: Slack) -> Term:
        inputs = (slack.figure,) if slack.figure else tuple(each.rstrip("?") for each in slack.inputs)
        leaves = tuple(
            dict.fromkeys(leaf for each in inputs for leaf in (leaves_of(each) if each in FIGURES else (each,)))
        )

        def value(some: Mapping[str, Any]) -> Any:
            memo: dict[str, Any] = {}
            read = [compute(each, some, memo) if each in FIGURES else some[each] for each in inputs]
            return slack.weight * (slack.function(*read) if slack.function is not None else read[0])

        return Term(leaves, value)

    def _scope(self, leaves: Iterable[str]) -> list[str]:
        found = {facet_of(leaf) for leaf in leaves}
        return [each for each in self.source.facets if each in found]

    def _add(
        self,
        total: dict[str, Floats],
        linear: Linear,
        term: Term,
        sign: float,
        unit: float | None,
        shared: set[str] | None,
        towards: Literal["low", "high"],
    ) -> SumTable | None:
        """Add a term to a sum: to a column of its facet (or of any, if it is constant), or as a table."""
        scope = self._scope(term.leaves)
        facets = self.source.facets
        picks: dict[str, Ints] = {}
        index: dict[str, Ints] = {}
        if len(scope) > 1:
            for each in scope:
                index[each], picks[each] = self.source.project(each, term.leaves)
            if prod(len(each) for each in picks.values()) > LARGEST_TABLE:
                raise TooManyCellsError
        leaves: dict[str, Any] = {leaf: self.source.neutral(leaf) for leaf in term.leaves}
        tolerances: dict[str, Any] = {}
        for place, each in enumerate(scope):
            shape = [1] * len(scope)
            shape[place] = -1
            for origin, into in ((facets[each].leaves, leaves), (facets[each].tolerances, tolerances)):
                for leaf, values in origin.items():
                    if leaf in term.leaves and facet_of(leaf) == each:
                        into[leaf] = pick(values, picks[each], shape) if picks else values
        with np.errstate(all="ignore"):
            value = self._at_corner(term, leaves, tolerances, shared, towards)
        if len(scope) > 1:
            sizes = [len(picks[each]) for each in scope]
            cells = np.broadcast_to(np.asarray(value, dtype=float) * sign, sizes)
            if unit is None:
                table = SumTable(index, np.where(np.isfinite(cells), cells, 0.0))
            else:  # what cannot be computed is not limited
                table = SumTable(index, _within(np.where(np.isfinite(cells), cells / unit, 1e12)))
                linear.tables.append(table)
            return table
        owner = scope[0] if scope else next(iter(facets))
        column = np.broadcast_to(np.asarray(value, dtype=float) * sign, facets[owner].size)
        total[owner] = total.get(owner, 0.0) + np.nan_to_num(column, nan=0.0, posinf=1e3, neginf=-1e3)
        return None

    @staticmethod
    def _at_corner(
        term: Term,
        leaves: Mapping[str, Any],
        tolerances: Mapping[str, Any],
        shared: set[str] | None,
        towards: Literal["low", "high"],
    ) -> Any:
        if shared is None or not tolerances:
            return term.value(leaves)
        own = list(variables([leaf for leaf in term.leaves if leaf not in shared], tolerances))
        common = list(variables([leaf for leaf in term.leaves if leaf in shared], tolerances))
        worse: Literal[-1, 1] = 1 if towards == "high" else -1
        better: Literal[-1, 1] = -1 if towards == "high" else 1
        return term.value(cornered(term.value, cornered(term.value, leaves, own, worse), common, better))


def pick(values: Any, rows: Ints, shape: list[int]) -> Any:
    """Some rows of a leaf (of each layer of it), laid out for a table."""
    if isinstance(values, tuple):
        return tuple(each[rows].reshape(shape) for each in values)
    return values[rows].reshape(shape)
