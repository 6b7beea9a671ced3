"""Facets, their rows and the classes of equal parts that the rows are made of."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from kitwright.solver.candidates import BOTTOM
from kitwright.solver.combination import BATCH, NAN, WITHOUT_PART, Combination, batch_of, field_value
from kitwright.solver.parts import Gasket, Part
from kitwright.solver.quantity import Quantity

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Choice = tuple[dict[str, Part], tuple[Gasket, ...], dict[str, Any]]
"""What a row stands for: parts by kind, gaskets, and fields of :class:`Combination` for machining."""

SINGLE = ("spring", "retainer", "spring_shim", "pushrod", "flywheel")
FACET_OF = {
    **dict.fromkeys((*BOTTOM, "measured"), "short"),
    "spacer": "base",
    "gaskets": "stack",
    "head": "top",
    "cam": "gear",
    "rocker": "gear",
    **{kind: kind for kind in SINGLE},
}
"""Owner of a leaf to its facet."""

MACHINING_FACET = {"machining.mill": "top", "machining.relieve": "top", "machining.deck_cut": "base"}


@cache
def facet_of(leaf: str) -> str | None:
    """The facet that brings a leaf; None for what the plan gives (ceiling, conditions, reference)."""
    return MACHINING_FACET.get(leaf) or FACET_OF.get(leaf.partition(".")[0])


@dataclass
class Classes:
    """Options of one kind, equal ones together: members by id, leaves one value a class."""

    kind: str
    members: list[tuple[Part | None, ...]]

    @property
    def first(self) -> list[Part | None]:
        """One member of each class."""
        return [group[0] for group in self.members]

    def leaf(self, name: str) -> tuple[Floats, Floats]:
        """Values and tolerances of a leaf, one a class, SI; NaN where unknown."""
        pairs = [leaf_value(part, name) for part in self.first]
        return np.array([value for value, _ in pairs]), np.array([tolerance for _, tolerance in pairs])

    def ranks(self) -> tuple[Ints, list[str]]:
        """Rank of each class by its smallest id (none at all comes first), and the ids by rank."""
        names = [group[0].id if group[0] is not None else "" for group in self.members]
        order = sorted(range(len(names)), key=names.__getitem__)
        ranks = np.empty(len(names), dtype=np.int64)
        ranks[order] = np.arange(len(names))
        return ranks, sorted(names)

    def money(self) -> tuple[Floats, Floats, Floats]:
        """Price to pay (0 where unknown), whether it is unknown, and how many to buy, one a class: the least of any."""
        columns = [np.array([_money(part) for part in group]).min(axis=0) for group in self.members]
        paid, unknown, bought = np.array(columns).reshape(-1, 3).T
        return paid, unknown, bought


def ranks_of(
    tables: Mapping[str, Classes], index: Mapping[str, Ints], kinds: Sequence[str]
) -> dict[str, tuple[Ints, list[Any]]]:
    """Rank of each row's id of some kinds, from the ranks of their classes, and the ids by rank."""
    found = {}
    for kind in kinds:
        ranks, names = tables[kind].ranks()
        found[kind] = ranks[index[kind]], names
    return found


def batches_of(stacks: Sequence[tuple[Gasket, ...]], deepest: int) -> dict[str, tuple[Ints, ...]]:
    """Which layers of stacks come from one batch, one column a layer of the deepest; empty where none do."""
    alike = [batch_of(stack) for stack in stacks]
    if not any(alike):
        return {}
    numbers = np.tile(np.arange(deepest), (len(stacks), 1))
    for row, some in enumerate(alike):
        numbers[row, : len(some)] = some
    return {BATCH: tuple(numbers.T)}


def _money(part: Part | None) -> tuple[float, bool, bool]:
    """Price to pay for a part (0 where unknown), whether it is unknown, and whether it has to be bought."""
    if part is None or part.on_shelf > 0:
        return 0.0, False, False
    return part.price or 0.0, part.price is None, True


def leaf_value(part: Part | None, name: str) -> tuple[float, float]:
    """SI value and tolerance of a leaf of a part; without the part, what that stands for."""
    if part is None:
        return WITHOUT_PART.get(name, NAN), 0.0
    return field_value(part, name.partition(".")[2])


@dataclass
class Facet:
    """Rows of one facet.

    ``leaves`` and ``tolerances`` hold arrays of one value a row (tuples of arrays for gasket layers). ``paid``,
    ``unknown``, ``bought`` and ``operations`` are what a row adds to cost, unknown cost, parts to buy and machining
    operations; ``layers`` to the number of gaskets. ``blocks`` is the block class of a row where it has one, ``state``
    its bore state; ``tags`` the class of blocks that it may go on (-1: any).
    """

    name: str
    size: int
    leaves: dict[str, Any]
    tolerances: dict[str, Any]
    expand: Callable[[int], Iterator[Choice]]
    paid: Floats
    unknown: Floats
    bought: Floats
    operations: Floats
    layers: Floats
    state: Ints
    tags: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    ranked: Callable[[], dict[str, tuple[Ints, list[Any]]]] = dict
    """What gives :attr:`ranks`: few searches come to ask for them."""
    made_of: dict[str, Ints] = field(default_factory=dict)
    """Owner of leaves to the class of each row: rows of one class have those leaves alike. Empty where not said."""

    @cached_property
    def ranks(self) -> dict[str, tuple[Ints, list[Any]]]:
        """Kind to the rank of each row's smallest id (gaskets: ids), and the ids by rank: what ties are broken by."""
        return self.ranked()


@dataclass
class BoreState:
    """A block class with its bore or a rebore."""

    block: int
    rebore: Quantity | None
    value: float
    tolerance: float
    labour: float


@dataclass
class Facets:
    """All facets of a search, and what links them."""

    facets: dict[str, Facet]
    states: list[BoreState]
    tag_sets: list[npt.NDArray[np.bool_]]
    """Tag class to the bore states that its parts may go on."""
    sums: dict[Any, dict[str, Floats]] = field(default_factory=dict)
    """Weighted sums over the rows that were worked out before, under one plan's conditions."""

    def combinations(self, rows: dict[str, int]) -> list[list[Choice]]:
        """The choices of each facet's row, in the order of the facets."""
        return [list(self.facets[name].expand(row)) for name, row in rows.items()]


def combine(choices: Sequence[Choice]) -> Combination:
    """One combination from a choice of each facet."""
    parts: dict[str, Part] = {}
    gaskets: tuple[Gasket, ...] = ()
    amounts: dict[str, Any] = {}
    for some, stack, fields in choices:
        parts |= some
        gaskets += stack
        amounts |= fields
    return Combination(parts, gaskets, **amounts)
