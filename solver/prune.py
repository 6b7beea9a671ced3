"""Rows that cannot be in any answer, dropped before a model is made."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from kitwright.solver.joint import Joint
from kitwright.solver.stopping import tick
from kitwright.solver.terms import Ints, Linear, Mask, SumTable, Terms, least_cells

Rows = dict[str, Ints]
"""Rows that are left of each facet."""

_ANY_SUM = 1 << 60
"""More than any sum of a dozen terms can be, each below ``BIG``, and still room in 64 bits."""


def prune(terms: Terms, alive: dict[str, Mask], more: Iterable[Linear] = ()) -> dict[str, Mask]:
    """Drop rows that no choice of the other facets' rows can bring inside every limit."""
    rows = {each: np.flatnonzero(mask) for each, mask in alive.items()}
    if not all(map(len, rows.values())):
        return _masks(rows, alive)
    limits = [_Limit(linear, rows) for linear in (*terms.linear, *_roots(terms, alive), *more)]
    for _ in range(6):
        before = sum(map(len, rows.values()))
        for limit in limits:
            if not all(map(len, rows.values())):
                return _masks(rows, alive)
            tick()
            limit.prune(rows)
        _link(terms, rows)
        if sum(map(len, rows.values())) == before:
            break
    return _masks(rows, alive)


def _masks(rows: Rows, alive: dict[str, Mask]) -> dict[str, Mask]:
    found = {}
    for each, mask in alive.items():
        found[each] = np.zeros_like(mask)
        found[each][rows[each]] = True
    return found


class _Limit:
    """One sum that is to be 0 at least, and the rows that it was last asked about."""

    def __init__(self, linear: Linear, rows: Rows) -> None:
        self.linear = linear
        self.facets = [each for each in rows if each in linear.facets]
        self.reads = [each for each in rows if each in linear.facets or each in linear.skip]
        self.seen: list[int] = []

    def prune(self, rows: Rows) -> None:
        """Drop rows that cannot bring the sum to 0, whatever the other facets choose; in place."""
        left = [len(rows[each]) for each in self.reads]
        if left == self.seen:
            return  # none of its rows went since: it would say the same again
        self.seen = left
        linear = self.linear
        skips = {each: linear.skip[each][rows[each]] for each in self.reads if each in linear.skip}
        skipped = {each for each, mask in skips.items() if mask.any()}
        if any(each not in self.facets for each in skipped):
            return
        reach: dict[str, Any] = {}
        best: dict[str, Any] = {}
        for each, values in linear.terms.items():
            reach[each] = values[rows[each]]
            best[each] = np.inf if each in skipped else int(reach[each].max())
        whole = [_most(table, rows) for table in linear.tables]
        for each in self.facets:
            if skipped - {each}:
                continue
            others = sum(value for name, value in best.items() if name != each)
            own: Any = reach.get(each, 0)
            for table, most in zip(linear.tables, whole, strict=True):
                if each in table.index:
                    own = own + _most_by(table, each, rows)[table.index[each][rows[each]]]
                else:
                    own = own + most
            keep = own + others >= 0
            if each in skipped:
                keep = keep | skips[each]
            if not keep.all():
                rows[each] = rows[each][keep]


def _most(table: SumTable, rows: Rows) -> float:
    found = table.values[np.ix_(*(np.unique(index[rows[each]]) for each, index in table.index.items()))]
    return float(found.max()) if found.size else -np.inf


def _most_by(table: SumTable, facet: str, rows: Rows) -> Any:
    """Greatest cell for each index of one facet, over what is left of the others."""
    places = [
        np.arange(table.values.shape[axis]) if each == facet else np.unique(index[rows[each]])
        for axis, (each, index) in enumerate(table.index.items())
    ]
    axes = tuple(axis for axis, each in enumerate(table.index) if each != facet)
    found = table.values[np.ix_(*places)]
    return found.max(axis=axes) if found.size else np.full(table.values.shape[list(table.index).index(facet)], -np.inf)


def _link(terms: Terms, rows: Rows) -> None:
    """Keep only bore states that both short block and base still have."""
    if "base" not in rows:
        return
    short, base = terms.facets.facets["short"].state, terms.facets.facets["base"].state
    rows["short"] = rows["short"][np.isin(short[rows["short"]], base[rows["base"]])]
    rows["base"] = rows["base"][np.isin(base[rows["base"]], short[rows["short"]])]


def at_most(name: str, columns: Mapping[str, Ints], highest: int) -> Linear:
    """A sum of one column a facet that does not exceed a bound."""
    turned = {each: -column for each, column in columns.items()}
    first = next(iter(turned))
    turned[first] = turned[first] + highest
    return Linear(name, turned)


def caps(terms: Terms, most: int, alive: dict[str, Mask]) -> list[Linear]:
    """What a greatest closeness means for single figures, as limits to prune by.

    What the other figures cost at least is not left for one to cost.
    """
    rows = {each: np.arange(len(mask)) for each, mask in alive.items()}
    least = _least_points(terms, alive)
    spare = max(most - sum(least.values()), -_ANY_SUM)  # less than nothing is not to be had, however much less
    found = [at_most(f"points within {most}", terms.points, spare + least[""])]
    for aim in terms.sums:
        reach = ((spare + least[aim.name]) // aim.weight + 1) * aim.step - 1 + aim.error
        reach = min(max(reach, -_ANY_SUM), _ANY_SUM)
        for sign in (1, -1):
            moved = {each: sign * values for each, values in aim.terms.items()}
            first = next(iter(moved))
            moved[first] = moved[first] + reach
            found.append(Linear(f"{aim.name} within {most}", moved, aim.skip))
    left = budgets(terms, most, alive)
    for levels in terms.levels:
        index = left[levels.name] // levels.weight
        for side, count in (("min", levels.most[0]), ("max", levels.most[1])):
            level = levels.level(side, index, rows) if index < count else None  # type: ignore[arg-type]
            if level is not None:
                same, rest = level
                both = {each: same.terms.get(each, 0) + rest.terms.get(each, 0) for each in same.terms | rest.terms}
                found.append(Linear(levels.name, both, levels.skip, rest.tables))  # type: ignore[arg-type]
    for joint in terms.joints:
        found += joint.limits(max(spare + least[_named(joint)], 0))
    return found


def least_closeness(terms: Terms, alive: dict[str, Mask]) -> int:
    """A closeness that no combination of these rows is below."""
    return sum(_least_points(terms, alive).values())


def budgets(terms: Terms, most: int, alive: dict[str, Mask]) -> dict[str, int]:
    """The points that each aim counted in levels may cost within a greatest closeness, as the others cost theirs."""
    least = _least_points(terms, alive)
    spare = most - sum(least.values())
    shared = {name: joint for joint in terms.joints for name in joint.names}
    own = {each.name: least[_named(shared[each.name])] if each.name in shared else 0 for each in terms.levels}
    return {name: max(spare + points, 0) for name, points in own.items()}


def _named(joint: Joint) -> str:
    return " with ".join(joint.names)


def _least_points(terms: Terms, alive: dict[str, Mask]) -> dict[str, int]:
    """What :func:`_least` says of these rows, worked out once while they are asked about again and again."""
    if terms.asked is None or terms.asked[0] is not alive:
        terms.asked = alive, _least(terms, alive)
    return terms.asked[1]


def _least(terms: Terms, alive: dict[str, Mask]) -> dict[str, int]:
    """The fewest points of what rows bring by themselves (""), of each sum and of each group of aims on one sum."""
    if not all(mask.any() for mask in alive.values()):
        return {"": 0} | {aim.name: 0 for aim in terms.sums} | {_named(joint): 0 for joint in terms.joints}
    least = {"": sum(int(points[alive[each]].min()) for each, points in terms.points.items())}
    for joint in terms.joints:
        least[_named(joint)] = int(least_cells(joint.least(), alive))
    limits = [*terms.linear, *_roots(terms, alive)]
    limits = [each for each in limits if not each.tables and not _skipped(each.skip, alive)]
    for aim in terms.sums:
        away = 0
        if not _skipped(aim.skip, alive):
            low, high = _range_of(aim.terms, limits, alive)
            away = max(low, -high, 0)
        least[aim.name] = aim.weight * (max(away - aim.error, 0) // aim.step)
    return least


def _range_of(values: dict[str, Ints], limits: list[Linear], alive: dict[str, Mask]) -> tuple[int, int]:
    """Bounds of a sum: those of its columns, and those that a limit gives which runs with it.

    With a limit L ≥ 0, a sum S is at least what S − L is and at most what S + L is: at worst case S, L and the
    tolerances between them.
    """
    low = high = None
    left = {each: column[alive[each]] for each, column in values.items()}
    for limit in (None, *limits):
        tick()
        below = above = 0
        for each in values.keys() | (limit.terms.keys() if limit is not None else set()):
            column = left.get(each, 0)
            other = limit.terms[each][alive[each]] if limit is not None and each in limit.terms else 0
            below += int(np.min(column - other))
            above += int(np.max(column + other))
        low = below if low is None else max(low, below)
        high = above if high is None else min(high, above)
    start, grid = _grid(left)
    low, high = low or 0, high or 0
    return (low + (start - low) % grid, high - (high - start) % grid) if grid else (low, high)


def _grid(values: dict[str, Ints]) -> tuple[int, int]:
    """A value of a sum, and the greatest step that all its values are whole numbers of steps away: standard sizes."""
    start = grid = 0
    for some in values.values():
        start += int(some[0])
        grid = math.gcd(grid, int(np.gcd.reduce(some - some[0])))
    return start, grid


def _skipped(skip: Mapping[str, Mask], alive: dict[str, Mask]) -> bool:
    return any(bool(np.any(mask & alive[each])) for each, mask in skip.items())


def _roots(terms: Terms, alive: dict[str, Mask]) -> list[Linear]:
    """What squares ask at least: a sum that is not negative is no less than the root of the least variances."""
    found = []
    for square in terms.square:
        least = sum(int(values[alive[each]].min()) for each, values in square.variances.items())
        first = next(iter(square.terms))
        moved = dict(square.terms) | {first: square.terms[first] - math.isqrt(least)}
        found.append(Linear(square.name, moved, square.skip))
    return found
