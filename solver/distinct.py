"""Rows of a facet that a figure cannot tell apart: worked out once, however many rows there are.

A short block is one of millions, but what a figure reads of it (rod length, stroke, compression height) has few values.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from kitwright.solver.classes import Facet, Ints
from kitwright.solver.stopping import tick

FEW = 2_000
"""Rows that are worked out as they are: to find the equal ones would take longer."""

WORTH = 2
"""Rows for each that differs from which on the equal ones are put together."""

DENSE = 8
"""Cells for each row up to which equal rows are found by a table of all cells, not by sorting."""


def alike(facet: Facet, names: Collection[str]) -> tuple[Facet, Ints | None]:
    """A facet of one row for all that are equal in some leaves, and which of them each row is.

    The facet itself, and None, where it is small or does not say what its rows are made of.
    """
    if facet.size <= FEW or not facet.made_of:
        return facet, None
    key = np.zeros(facet.size, dtype=np.int64)
    cells = 1
    for owner, index in facet.made_of.items():
        values = _values(facet, owner, index, names)
        if values is not None:
            kinds, number = values
            key = key * kinds + number[index]
            cells *= kinds
    first, place = _first(key, cells)
    if WORTH * len(first) > facet.size:
        return facet, None
    leaves = {leaf: facet.leaves[leaf][first] for leaf in names if leaf in facet.leaves}
    tolerances = {leaf: facet.tolerances[leaf][first] for leaf in names if leaf in facet.tolerances}
    return replace(facet, size=len(first), leaves=leaves, tolerances=tolerances, state=facet.state[first]), place


def _values(facet: Facet, owner: str, index: Ints, names: Collection[str]) -> tuple[int, Ints] | None:
    """How many classes of one owner differ in some leaves, and the number of each class; None where it has none."""
    own = [leaf for leaf in facet.leaves if leaf in names and leaf.partition(".")[0] == owner]
    if not own:
        return None
    row = np.zeros(int(index.max()) + 1, dtype=np.int64)
    row[index] = np.arange(len(index))  # any row of each class: they are equal
    columns: list[Any] = [
        np.nan_to_num(source[leaf][row], nan=-1e9)
        for source in (facet.leaves, facet.tolerances)
        for leaf in own
        if leaf in source
    ]
    first, number = unique_rows(columns)
    return len(first), number


def unique_rows(columns: Sequence[Any]) -> tuple[Ints, Ints]:
    """Of rows given as columns, the first place of each that differs, in the order of their values, and which each is.

    The same as ``np.unique`` along an axis, column by column: that takes a tenth of the time, and the clock is looked
    at in between. No value may be NaN.
    """
    number: Ints = np.zeros(len(columns[0]), dtype=np.int64)
    first: Ints = np.zeros(min(len(columns[0]), 1), dtype=np.int64)
    for column in columns:
        tick()
        values, code = np.unique(column, return_inverse=True)
        if len(values) > 1:
            _, first, number = np.unique(
                number * len(values) + code.reshape(-1), return_index=True, return_inverse=True
            )
            number = number.reshape(-1)
    return first, number


def _first(key: Ints, cells: int) -> tuple[Ints, Ints]:
    """One place of each value of a key, and which of the values each place has."""
    if cells > DENSE * len(key):
        _, first, place = np.unique(key, return_index=True, return_inverse=True)
        return first, place.reshape(-1)
    there = np.zeros(cells, dtype=np.int64)
    there[key] = np.arange(len(key))
    used = np.zeros(cells, dtype=bool)
    used[key] = True
    number = np.cumsum(used) - 1
    return there[used], number[key]
