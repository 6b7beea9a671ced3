"""Figures of combinations that have parts in common: what hangs on the same parts is worked out once.

The combinations of one list differ in few parts, so that nine in ten of their figures are one another's. A figure is
known by the parts and the machining that it reads; what reads money is not kept.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

from kitwright.solver.candidates import BOTTOM
from kitwright.solver.combination import Combination
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Tolerance
from kitwright.solver.registry import leaves_of
from kitwright.solver.stackup import Spreads

_OF_THE_PLAN = {"plan", "conditions", "reference"}

MOST_KEPT = 50_000
"""Values of one sort that are kept: some ten megabytes."""

Marks = dict[str, Any]
"""Owner of leaves to what makes two of it the same."""


@dataclass(slots=True)
class Alike:
    """What is known of combinations of one catalogue under one plan; not for parts that are changed under their ids."""

    figures: dict[tuple[Any, ...], float] = field(default_factory=dict)
    """SI values, by figure and marks."""
    spreads: dict[tuple[Any, ...], tuple[float, float]] = field(default_factory=dict)
    """Ranges in a figure's own unit, by figure, tolerance mode and marks."""
    by_value: Spreads = field(default_factory=dict)
    """Ranges by dimensions: different parts may have the same."""

    def trim(self) -> None:
        """Forget what is known where it becomes too much: a long search judges many thousands."""
        for kept in (self.figures, self.spreads, self.by_value):
            if len(kept) > MOST_KEPT:
                kept.clear()


def marks(combination: Combination) -> Marks:
    """What tells the owners of leaves in this combination from those in another."""
    found: Marks = dict.fromkeys(KINDS)
    found |= {kind: part.id for kind, part in combination.parts.items()}
    if combination.rebore is not None:
        found["block"] = found["block"], combination.rebore
    found["gaskets"] = tuple(each.id for each in combination.gaskets)
    found["machining"] = float(combination.mill), float(combination.relieve), float(combination.deck_cut)
    return found


def key(name: str, some: Marks, mode: Tolerance | None = None) -> tuple[Any, ...] | None:
    """By what a figure (its range in a tolerance mode) is known; None where it is not kept."""
    owners = _owners(name)
    return None if owners is None else (name, mode, *[some[each] for each in owners])


@cache
def _owners(name: str) -> tuple[str, ...] | None:
    owners = {leaf.partition(".")[0] for leaf in leaves_of(name)} - _OF_THE_PLAN
    if "measured" in owners:  # a deck is measured with four parts together
        owners = owners - {"measured"} | {*BOTTOM}
    return tuple(sorted(owners)) if owners <= {*KINDS, "gaskets", "machining"} else None
