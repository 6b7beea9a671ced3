"""Figures whose spread says nothing, because no dimension that moves them has a ±."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from kitwright.solver.check import View
from kitwright.solver.combination import Combination
from kitwright.solver.evaluate import Kept, compute
from kitwright.solver.parts import KINDS
from kitwright.solver.registry import leaves_of
from kitwright.solver.result import Checked
from kitwright.solver.stackup import derivative
from kitwright.solver.swap import is_dimension, spec_of


def without_tolerances(checked: Checked, view: View) -> frozenset[str]:
    """Figures that do not stray and are moved by dimensions: nobody has said how far those are off.

    A figure that no dimension moves, as the number of gaskets, the cost or a rating, is not among them, nor is any
    where the spreads were not worked out.
    """
    found = set()
    for name, modes in checked.spread.items():
        low, high = modes.get("worst_case", (0.0, 1.0))
        if low == high and _is_moved(view, name):
            found.add(name)
    return frozenset(found)


def _is_moved(view: View, name: str) -> bool:
    view.reader.read(leaves_of(name))
    leaves = Kept({leaf: view.reader.values[leaf] for leaf in leaves_of(name)})

    def target(some: Mapping[str, Any]) -> Any:
        return compute(name, some)

    with np.errstate(all="ignore"):
        for leaf in leaves:
            if not _is_measurable(view, leaf):
                continue
            layer = 0 if isinstance(leaves[leaf], tuple) else None
            slope = float(derivative(target, leaves, (leaf, layer, 0.0)))
            if math.isfinite(slope) and slope:
                return True
    return False


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
