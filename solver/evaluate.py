"""Figures from leaves: the registered formulas, one after the other, on floats or on arrays of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np

from kitwright.solver import formulas as _formulas  # noqa: F401  (fills the registry)
from kitwright.solver.registry import FIGURES, depends_on, formula_of


class Leaves(Protocol):
    """Anything that gives the value of a leaf by name: a dict, or a ``combination.Reader``."""

    def __getitem__(self, name: str, /) -> Any: ...


class Kept(dict[str, Any]):
    """Leaves that keep the figures computed from them.

    A spread asks for one figure with now this leaf moved, now that: what does not depend on the leaf is not computed
    anew.
    """

    __slots__ = ("memo",)

    def __init__(self, leaves: Mapping[str, Any], memo: dict[str, Any] | None = None) -> None:
        super().__init__(leaves)
        self.memo: dict[str, Any] = {} if memo is None else memo


def compute(name: str, leaves: Leaves, memo: dict[str, Any] | None = None) -> Any:
    """SI value of a figure; NaN where an input that it needs is unknown.

    Args:
        name: a registered figure.
        leaves: values of the fields that it depends on, SI floats or arrays that broadcast (tuples of them for layers).
        memo: figures that are already computed from the same leaves; it is filled on the way.

    >>> compute("rod_ratio", {"rod.length": 0.114, "crank.stroke": 0.057})
    2.0
    """
    if memo is None:
        memo = leaves.memo if isinstance(leaves, Kept) else {}
    if name in memo:
        return memo[name]
    function, feeds = formula_of(name)
    arguments = []
    for each, is_figure, needed in feeds:
        value = compute(each, leaves, memo) if is_figure else leaves[each]
        if needed and isinstance(value, float) and value != value:
            memo[name] = np.nan  # something that must be known is not
            return np.nan
        arguments.append(value)
    memo[name] = function(*arguments)
    return memo[name]


def in_unit(name: str, value: Any) -> Any:
    """A figure's SI value in the figure's own unit, as floats (or arrays)."""
    if isinstance(value, float):
        return float(value) / FIGURES[name].factor
    scaled = np.asarray(value, dtype=float) / FIGURES[name].factor
    return scaled if scaled.ndim else float(scaled)


def shifted(leaves: Mapping[str, Any], name: str, layer: int | None, by: Any) -> dict[str, Any]:
    """The leaves with one of them (one gasket layer of it) moved by ``by``."""
    changed: dict[str, Any]
    if isinstance(leaves, Kept):
        changed = Kept(leaves, {each: value for each, value in leaves.memo.items() if name not in depends_on(each)})
    else:
        changed = dict(leaves)
    if layer is None:
        changed[name] = leaves[name] + by
    else:
        layers = list(leaves[name])
        layers[layer] = layers[layer] + by
        changed[name] = tuple(layers)
    return changed
