"""Limits, rules and aims as whole numbers a row: what the CP-SAT model is made of, and what rows are pruned by.

Lengths count in 0.1 µm, volumes in 0.001 mm³. What is not a whole number is rounded outward, so that no combination is
lost: a limit here lets through at least all that the plain check lets through, and a closeness here is never above the
plain check's. An additive figure is a sum of one term a facet. A figure with ``at_least`` is turned into such a sum for
each bound. A figure of one facet is exact. A figure of few distinct values is a table. What is none of these is left
to the plain check alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import product
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from kitwright.solver.check import FINE, NEAR
from kitwright.solver.classes import Facets
from kitwright.solver.quantity import LENGTH, MONEY, VOLUME
from kitwright.solver.registry import FIGURES

if TYPE_CHECKING:
    from kitwright.solver.joint import Joint

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

_NOISE = 2e-12
"""What the rounding of floats, and to the check's decimals, may make of a value, in its unit (relative above 1)."""

SNAP = 1e-7
"""Distance from a whole number, in model units, that is float rounding."""

MONEY_UNIT = 1e-4
BIG = 1 << 50
"""No term may reach this: sums of a dozen stay far inside 64 bits."""


MOST_POINTS = 1 << 30
"""Greatest closeness that one figure of one row has in the model, before its weight."""


class TooLargeError(ValueError):
    """A value too large for the model's integers."""


@contextmanager
def naming(goal: str) -> Iterator[None]:
    """Say of which goal a value is too large.

    Raises:
        TooLargeError: with the goal's name.

    """
    try:
        yield
    except TooLargeError as error:
        raise TooLargeError(f"the goal `{goal}`: {error}; give it a bound, aim or step of an engine's size") from None


def up(values: Any) -> Ints:
    """Round up to whole numbers; what is within ``SNAP`` of one is that one.

    >>> [int(each) for each in up(np.array([1.0000000001, 1.2, -1.2]))]
    [1, 2, -1]
    """
    values = np.asarray(values, dtype=float)
    whole = np.rint(values)
    rounded = np.where(np.abs(values - whole) < SNAP, whole, np.ceil(values))
    if not np.all(np.abs(rounded) < BIG):
        raise TooLargeError(f"a value of {np.nanmax(np.abs(rounded)):.3g} model units is beyond any engine")
    whole_numbers: Ints = rounded.astype(np.int64)
    return whole_numbers


def cents(paid: Any) -> Ints:
    """Money in whole model units, rounded down where it is finer.

    >>> [int(each) for each in cents(np.array([12.0, 0.00019]))]
    [120000, 1]
    """
    scaled = np.asarray(paid, dtype=float) / MONEY_UNIT
    whole = np.rint(scaled)
    rounded = np.where(np.abs(scaled - whole) < 1e-6, whole, np.floor(scaled))
    if not np.all(np.abs(rounded) < BIG):
        raise TooLargeError(f"a price of {np.nanmax(np.abs(paid)):.3g} is beyond any engine")
    whole_numbers: Ints = rounded.astype(np.int64)
    return whole_numbers


def nearest(values: Any, rounding: float = SNAP) -> tuple[Ints, bool]:
    """Nearest whole numbers, and whether they are exact but for rounding."""
    values = np.asarray(values, dtype=float)
    whole = np.rint(values)
    if not np.all(np.abs(whole) < BIG):
        raise TooLargeError(f"a value of {np.nanmax(np.abs(whole)):.3g} model units is beyond any engine")
    return whole.astype(np.int64), bool(np.all(np.abs(values - whole) < rounding))


def no_shorter(step: float) -> int:
    """A step in model units as a whole number that is no shorter, but for rounding of floats: no more are counted.

    Raises:
        TooLargeError: the step is beyond any engine.
    """
    if not step < BIG:
        raise TooLargeError(f"a value of {step:.3g} model units is beyond any engine")
    return max(1, math.ceil(step * (1 - 1e-12)))


def unit_of(name: str) -> float:
    """Model unit of a figure, in SI (money: in the catalogue's money)."""
    dimension = FIGURES[name].dimension
    if dimension is LENGTH:
        return 1e-7
    if dimension is VOLUME:
        return 1e-12
    return MONEY_UNIT if dimension is MONEY else FIGURES[name].factor * 1e-6


def misses(compared: Any, side: Literal["min", "max"], bound: float) -> Mask:
    """Where a bound is missed; what is unknown misses nothing."""
    slack = NEAR * max(1.0, abs(bound))
    with np.errstate(invalid="ignore"):
        missed: Mask = compared < bound - slack if side == "min" else compared > bound + slack
    return missed


def points_of(value: Any, aim: float, step: float) -> Ints:
    """:func:`kitwright.solver.check.points` on arrays; 0 where the figure is unknown."""
    away = np.abs(value - aim)
    if step < FINE:  # what floats add up to: never more points than the check counts
        away = np.maximum(away - _NOISE * np.maximum(1.0, np.abs(value)), 0.0)
    quotient = np.minimum(away / step, float(MOST_POINTS))
    whole = np.rint(quotient)
    counted = np.where(np.abs(quotient - whole) < NEAR, whole, np.floor(quotient))
    whole_numbers: Ints = np.nan_to_num(counted, nan=0.0).astype(np.int64)
    return whole_numbers


@dataclass
class SumTable:
    """A term of a sum that several facets decide together: one value a cell, one index a row of each facet."""

    index: dict[str, Ints]
    values: Ints


@dataclass
class Linear:
    """Σ terms (+ the tables' cells) ≥ 0 over the chosen rows, unless one of them is in ``skip``."""

    name: str
    terms: dict[str, Ints]
    skip: dict[str, Mask] = field(default_factory=dict)
    tables: list[SumTable] = field(default_factory=list)

    @property
    def facets(self) -> set[str]:
        """Facets that the sum depends on."""
        return set(self.terms) | {each for table in self.tables for each in table.index}

    def least(self, rows: Mapping[str, Any]) -> int:
        """A lower bound of the sum over some rows (masks or indices) of each facet."""
        total = sum(int(values[rows[each]].min()) for each, values in self.terms.items())
        return total + sum(least_cells(table, rows) for table in self.tables)


def least_cells(table: SumTable, rows: Mapping[str, Any]) -> int:
    """The least cell of a table over some rows of each facet."""
    return int(table.values[np.ix_(*(np.unique(index[rows[each]]) for each, index in table.index.items()))].min())


@dataclass
class Square:
    """(Σ terms)² ≥ Σ variances over the chosen rows (Σ terms ≥ 0 is a :class:`Linear` beside it)."""

    name: str
    terms: dict[str, Ints]
    variances: dict[str, Ints]
    skip: dict[str, Mask]


@dataclass
class Table:
    """A figure of few distinct values: which cells (one index a facet) are allowed, and their points."""

    name: str
    index: dict[str, Ints]
    allowed: Mask
    points: Ints | None


@dataclass
class AimSum:
    """weight × floor(max(0, |Σ terms| − error) / step)."""

    name: str
    terms: dict[str, Ints]
    step: int
    error: int
    weight: int
    skip: dict[str, Mask]


Level = Callable[[Literal["min", "max"], int, "dict[str, Ints]"], "tuple[Linear, Linear] | None"]
"""Side, level and rows of each facet to what is kept: a sum in two parts, over the rows; None where it always is."""


@dataclass
class AimLevels:
    """weight × (levels that are missed), for a figure with ``at_least``: level i is within (i + 1) steps of the aim.

    ``most`` is how many levels below and above the aim the limits leave; ``columns`` are what rows must have alike to
    be one class.
    """

    name: str
    level: Level
    columns: dict[str, list[Any]]
    weight: int
    most: tuple[int, int]
    skip: dict[str, Mask]


@dataclass
class Lack:
    """A goal that is not established where a chosen row is flagged, or always; or where ``proof`` is below 0.

    ``proof`` is the sum of a figure that is the least that a size can be, less the minimum that it may prove.
    """

    name: str
    flags: dict[str, Mask]
    always: bool
    proof: Linear | None = None


@dataclass
class Terms:
    """Everything that the plan and the rules ask of the facets' rows."""

    facets: Facets
    alive: dict[str, Mask]
    linear: list[Linear] = field(default_factory=list)
    square: list[Square] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    sums: list[AimSum] = field(default_factory=list)
    levels: list[AimLevels] = field(default_factory=list)
    points: dict[str, Ints] = field(default_factory=dict)
    lacks: list[Lack] = field(default_factory=list)
    projections: dict[str, list[Ints]] = field(default_factory=dict)
    lazy: list[str] = field(default_factory=list)
    joints: list[Joint] = field(default_factory=list)
    asked: tuple[dict[str, Mask], dict[str, int]] | None = None
    """The rows that were asked about last, and the fewest points that they come to."""


def cells(table: Table, keep: dict[str, Mask]) -> list[tuple[int, ...]]:
    """Allowed cells of a table, as far as their indices are still alive."""
    alive = [sorted(set(table.index[each][keep[each]].tolist())) for each in table.index]
    return [cell for cell in product(*alive) if table.allowed[cell]]
