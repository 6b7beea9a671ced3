"""Aims that hang on one sum: what they cost together, and where that sum must lie for a greatest closeness.

Static and dynamic compression, say, are both decided by the clearance volume, once the short block and the cam are
chosen: no volume may bring both near their aims. The model counts the levels of each figure by itself and would find
this out by trial. Here it is worked out for each cell of the facets that decide the rest, over every value of the sum
that is common, so that rows go before a model is made and the solver sees at once what no volume mends.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, NamedTuple

import numpy as np

from kitwright.solver.distinct import unique_rows
from kitwright.solver.slack import LARGEST_TABLE
from kitwright.solver.terms import BIG, AimLevels, Ints, Linear, Mask, SumTable

LARGEST_JOINT = 1 << 22
"""Cells times levels that are worth it."""


class Threshold(NamedTuple):
    """A level in each cell: what the common sum must at least (or at most) be there, and the points if it is not."""

    side: Literal["least", "most"]
    values: Ints
    weight: int


class Joint:
    """Aims on one sum, over the cells of the facets that decide the rest."""

    def __init__(
        self, names: list[str], same: dict[str, Ints], index: dict[str, Ints], thresholds: list[Threshold]
    ) -> None:
        """``same`` is the sum that is common, a column a facet; ``index`` the cell of each row of each facet."""
        self.names = names
        self.same = same
        self.index = index
        upper = np.array([each.side == "most" for each in thresholds])
        weights = np.array([each.weight for each in thresholds])
        # a sum that stands at a threshold keeps it: of equal values, the lower ones come first
        events = np.array([2 * each.values for each in thresholds]) + upper.reshape(-1, *[1] * len(index))
        order = np.argsort(events, axis=0, kind="stable")
        self._upper = upper[order]
        self._at = np.take_along_axis(events, order, axis=0) >> 1
        lower_weight, upper_weight = weights * ~upper, weights * upper
        before = np.cumsum(upper_weight[order], axis=0) - upper_weight[order]
        self._below_all, self._above_all = int(lower_weight.sum()), int(upper_weight.sum())
        self._points = self._below_all - np.cumsum(lower_weight[order], axis=0) + before
        """Points of each cell with the sum at each threshold, thresholds in order."""
        self._limits: dict[int, list[Linear]] = {}

    def least(self) -> SumTable:
        """The fewest points of each cell, whatever the sum is."""
        return SumTable(self.index, np.minimum(self._points.min(axis=0), min(self._below_all, self._above_all)))

    def limits(self, most: int) -> list[Linear]:
        """Where the sum must lie so that these aims cost at most so many points: two sums ≥ 0."""
        if most not in self._limits:
            within = self._points <= most
            low = np.where(within & ~self._upper, self._at, BIG).min(axis=0)
            high = np.where(within & self._upper, self._at, -BIG).max(axis=0)
            if self._below_all <= most:
                low = np.full_like(low, -BIG)
            if self._above_all <= most:
                high = np.full_like(high, BIG)
            first, last = (sum(int(end(values)) for values in self.same.values()) for end in (np.min, np.max))
            low, high = np.clip(low, first, last + 1), np.clip(high, first - 1, last)
            name = " with ".join(self.names)
            turned = {each: -values for each, values in self.same.items()}
            self._limits[most] = [
                Linear(f"{name}: least", self.same, tables=[SumTable(self.index, -low)]),
                Linear(f"{name}: most", turned, tables=[SumTable(self.index, high)]),
            ]
        return self._limits[most]


def joints(aims: list[AimLevels], alive: dict[str, Mask]) -> list[Joint]:
    """The groups of aims that share a sum, as far as they are small enough to be worked out."""
    rows = {each: np.nonzero(mask)[0] for each, mask in alive.items()}
    if not all(map(len, rows.values())):
        return []
    groups: dict[bytes, tuple[dict[str, Ints], list[AimLevels]]] = {}
    for aim in aims:
        for same, *_ in _levels(aim, rows):
            key = b"".join(each.encode() + values.tobytes() for each, values in sorted(same.items()))
            groups.setdefault(key, (same, []))[1].append(aim)
            break
    found = []
    for same, members in groups.values():
        joint = _Layout(members, rows).joint(same, alive) if len(members) > 1 else None
        if joint is not None:
            found.append(joint)
    return found


def _levels(aim: AimLevels, rows: dict[str, Ints]) -> Iterator[tuple[dict[str, Ints], int, Linear]]:
    """Each level of an aim as common sum, its sign, and the rest: sign × sum + rest ≥ 0 where the level is kept."""
    sides: list[tuple[Literal["min", "max"], int]] = [("min", aim.most[0]), ("max", aim.most[1])]
    for side, count in sides:
        for number in range(count):
            level = aim.level(side, number, rows)
            if level is None:
                break
            same, rest = level
            if not same.terms:  # never kept, whatever the sum is
                continue
            varying = [column for _, column in sorted(same.terms.items()) if column.any()]
            sign = int(np.sign(varying[0][np.nonzero(varying[0])[0][0]])) if varying else 1
            yield {each: sign * column for each, column in same.terms.items()}, sign, rest


class _Layout:
    """The cells of some aims: rows of a facet that are alike in the rest of every level are one index."""

    def __init__(self, aims: list[AimLevels], rows: dict[str, Ints]) -> None:
        self.aims = aims
        self.rows = rows
        self.levels = [(sign, rest, aim) for aim in aims for _, sign, rest in _levels(aim, rows)]
        columns: dict[str, list[Any]] = {}
        for _, rest, aim in self.levels:
            for each, values in rest.terms.items():
                columns.setdefault(each, []).append(values)
            for table in rest.tables:
                for each, index in table.index.items():
                    columns.setdefault(each, []).append(index)
            for each, mask in aim.skip.items():
                columns.setdefault(each, []).append(mask[rows[each]])
        self.index: dict[str, Ints] = {}
        self.first: dict[str, Ints] = {}
        for each in sorted(columns):
            self.first[each], self.index[each] = unique_rows(
                [np.asarray(some, dtype=np.int64) for some in columns[each]]
            )
        self.sizes = [len(first) for first in self.first.values()]

    def joint(self, same: dict[str, Ints], alive: dict[str, Mask]) -> Joint | None:
        """The aims together; None where the cells are too many."""
        cells = int(np.prod([float(size) for size in self.sizes]))
        if not self.index or cells > LARGEST_TABLE or cells * len(self.levels) > LARGEST_JOINT:
            return None
        thresholds = [self._threshold(*level) for level in self.levels]
        return Joint([aim.name for aim in self.aims], self._all(same, alive), self._all(self.index, alive), thresholds)

    def _threshold(self, sign: int, rest: Linear, aim: AimLevels) -> Threshold:
        total = np.zeros(self.sizes, dtype=np.int64)
        for each, values in rest.terms.items():
            total += self._along([each], values[self.first[each]])
        for table in rest.tables:
            picked = table.values[np.ix_(*(index[self.first[each]] for each, index in table.index.items()))]
            total += self._along(list(table.index), picked)
        for each, mask in aim.skip.items():  # what is skipped asks nothing
            total[np.broadcast_to(self._along([each], mask[self.rows[each]][self.first[each]]), self.sizes)] = BIG
        if sign > 0:
            return Threshold("least", np.maximum(-total, -BIG), aim.weight)
        return Threshold("most", np.minimum(total, BIG), aim.weight)

    def _along(self, facets: list[str], values: Any) -> Any:
        """Values over some facets, laid out over all of them."""
        order = sorted(range(len(facets)), key=lambda place: list(self.first).index(facets[place]))
        own = {facets[place]: values.shape[place] for place in order}
        return np.transpose(values, order).reshape([own.get(each, 1) for each in self.first])

    def _all(self, columns: dict[str, Ints], alive: dict[str, Mask]) -> dict[str, Ints]:
        """Columns over the rows that are alive, as columns over all rows."""
        found = {}
        for each, values in columns.items():
            found[each] = np.zeros(len(alive[each]), dtype=np.int64)
            found[each][self.rows[each]] = values
        return found
