"""Figures whose spread says nothing, because no dimension that they are made of has a ±."""

from __future__ import annotations

import math
from collections.abc import Iterable

from kitwright.solver.check import View
from kitwright.solver.combination import Combination
from kitwright.solver.parts import KINDS
from kitwright.solver.registry import leaves_of
from kitwright.solver.swap import is_dimension, spec_of


def without_tolerances(view: View, names: Iterable[str]) -> frozenset[str]:
    """Those of some figures that are made of dimensions none of which has a ±: nobody knows how far they stray.

    A figure that no dimension goes into, as the number of gaskets or the cost, is not among them.
    """
    found = set()
    for name in names:
        leaves = leaves_of(name)
        view.reader.read(leaves)
        if any(leaf in view.reader.tolerances for leaf in leaves):
            continue
        if any(_is_measurable(view, leaf) for leaf in leaves):
            found.add(name)
    return frozenset(found)


def _is_measurable(view: View, leaf: str) -> bool:
    """Whether a leaf is a known dimension, of a part or measured, that could have a ±."""
    owner, _, path = leaf.partition(".")
    if owner == "measured":
        return not math.isnan(view.reader[leaf])
    kind = "gasket" if owner == "gaskets" else owner
    return kind in KINDS and _is_given(view.combination, kind, path)


def _is_given(combination: Combination, kind: str, path: str) -> bool:
    part = next((each for each in combination.different_parts if each.kind == kind), None)
    if part is None or not is_dimension(path) or spec_of(part, path) is None:
        return False
    outer, _, inner = path.partition(".")
    value = getattr(part, outer)
    return value is not None and (not inner or getattr(value, inner) is not None)
