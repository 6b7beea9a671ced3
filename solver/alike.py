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
from kitwright.solver.registry import leaves_of
from kitwright.solver.stackup import Spreads

_OF_THE_PLAN = {"plan", "conditions", "reference"}

MOST_KEPT = 20_000
"""Sets of parts, and ranges, that are kept: some ten megabytes."""

Owners = tuple[str, ...]
"""Kinds, ``gaskets`` and ``machining``, as far as a figure reads them."""

Known = dict[Any, Any]
"""Figures to their values in SI and in their own units, and with a tolerance mode to their ranges."""


@dataclass(slots=True)
class Alike:
    """What is known of combinations of one catalogue under one plan; not for parts that are changed under their ids."""

    by_parts: dict[tuple[Owners, tuple[Any, ...]], Known] = field(default_factory=dict)
    by_value: Spreads = field(default_factory=dict)
    """Ranges by dimensions: different parts may have the same."""

    def trim(self) -> None:
        """Forget what is known where it becomes too much: a long search judges many thousands."""
        for kept in (self.by_parts, self.by_value):
            if len(kept) > MOST_KEPT:
                kept.clear()


class InCommon:
    """What is known of one combination from others that have the parts too."""

    def __init__(self, combination: Combination, alike: Alike) -> None:
        self._by_parts = alike.by_parts
        self._known: dict[Owners, Known] = {}
        marks: dict[str, Any] = dict.fromkeys(KINDS)
        marks |= {kind: part.id for kind, part in combination.parts.items()}
        if combination.rebore is not None:
            marks["block"] = marks["block"], combination.rebore
        marks["gaskets"] = tuple(each.id for each in combination.gaskets)
        marks["machining"] = float(combination.mill), float(combination.relieve), float(combination.deck_cut)
        self._marks = marks

    def of(self, figure: str) -> Known | None:
        """What is known of figures that read the same parts as this one, to be added to; None where it is not kept."""
        owners = _owners(figure)
        if owners is None:
            return None
        if owners not in self._known:
            key = owners, tuple([self._marks[each] for each in owners])
            self._known[owners] = self._by_parts.setdefault(key, {})
        return self._known[owners]


@cache
def _owners(figure: str) -> Owners | None:
    owners = {leaf.partition(".")[0] for leaf in leaves_of(figure)} - _OF_THE_PLAN
    if "measured" in owners:  # a deck is measured with four parts together
        owners = owners - {"measured"} | {*BOTTOM}
    return tuple(sorted(owners)) if owners <= {*KINDS, "gaskets", "machining"} else None
