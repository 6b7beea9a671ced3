"""How far a figure can stray within the tolerances: at the worst corner, and statistically."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import reduce
from itertools import product
from typing import Any, Literal

import numpy as np

from kitwright.solver.combination import BATCH
from kitwright.solver.evaluate import Kept, compute, shifted
from kitwright.solver.formulas.arrays import greater, some, where
from kitwright.solver.plan import Tolerance
from kitwright.solver.registry import FIGURES, leaves_of, tree_of

Variable = tuple[str, int | None, Any]
"""Leaf, gasket layer (None for a part's field), tolerance in SI."""

Target = Callable[[Mapping[str, Any]], Any]
"""What strays: leaves to an SI value."""

_RELATIVE_STEP = 1e-5

_TOGETHER = 5
"""Most leaves without slope whose ends are tried all together (2⁵ corners)."""


def variables(leaves: Iterable[str], tolerances: Mapping[str, Any]) -> Iterator[Variable]:
    """The toleranced ones of some leaves; every gasket layer is one of its own."""
    for leaf in leaves:
        tolerance = tolerances.get(leaf)
        if tolerance is None:
            continue
        if isinstance(tolerance, tuple):
            yield from ((leaf, layer, each) for layer, each in enumerate(tolerance) if some(each > 0))
        elif some(tolerance > 0):
            yield leaf, None, tolerance


def derivative(target: Target, leaves: Mapping[str, Any], variable: Variable) -> Any:
    """∂target/∂variable at nominal by a central difference (relative step 1e-5, so exact to some ten digits)."""
    leaf, layer, tolerance = variable
    at = leaves[leaf] if layer is None else leaves[leaf][layer]
    step = greater(np.abs(at) * _RELATIVE_STEP, greater(tolerance, 1e-9) * 1e-3)
    above = target(shifted(leaves, leaf, layer, step))
    below = target(shifted(leaves, leaf, layer, -step))
    return (above - below) / (2 * step)


def with_batch(names: Collection[str]) -> Collection[str]:
    """Leaves, and with those of gaskets what says which layers come from one batch."""
    return {*names, BATCH} if any(leaf.startswith("gaskets.") for leaf in names) else names


def variance(
    target: Target, leaves: Mapping[str, Any], moving: Iterable[Variable], tolerances: Mapping[str, Any] | None = None
) -> Any:
    """Σ (∂f/∂x · t)² over the moving leaves, in SI squared; gasket layers of one batch add up before they are squared.

    ``tolerances`` say which layers those are.
    """
    batch = (tolerances or {}).get(BATCH)
    total: Any = 0.0
    before: list[tuple[str, int, Any]] = []
    for variable in moving:
        leaf, layer, tolerance = variable
        effect = derivative(target, leaves, variable) * tolerance
        total = total + effect**2
        if batch is None or layer is None:
            continue
        for other, place, its in before:
            if other == leaf:
                total = total + 2 * where(batch[place] == batch[layer], effect * its, 0.0)
        before.append((leaf, layer, effect))
    return total


def corners(target: Target, leaves: Mapping[str, Any], moving: Iterable[Variable]) -> tuple[Any, Any]:
    """Lowest and highest value of a target that is monotone in each leaf alone; signs at nominal say which corner."""
    moving = list(moving)
    slopes = [derivative(target, leaves, each) for each in moving]
    low, high = cornered(target, leaves, moving, -1, slopes), cornered(target, leaves, moving, 1, slopes)
    return target(low), target(high)


def cornered(
    target: Target,
    leaves: Mapping[str, Any],
    moving: Iterable[Variable],
    sign: Literal[-1, 1],
    slopes: Sequence[Any] | None = None,
) -> Mapping[str, Any]:
    """The leaves at the corner where a target is lowest (sign −1) or highest (1).

    The slopes at nominal say which way each leaf goes. Then each leaf's other end (or both, where a slope is 0: a
    turning point, the lesser of two valves) is tried once with all the others at theirs, and those without slope once
    all together: a lobe and a ratio that do not lift the lesser valve past the other alone may do so at once.
    ``slopes`` are those of ``moving``, where they are known.
    """
    moving = list(moving)
    if slopes is None:
        slopes = [derivative(target, leaves, each) for each in moving]
    found = leaves
    places = []
    level = []
    for (leaf, layer, tolerance), slope in zip(moving, slopes, strict=True):
        places.append(sign * where(np.isnan(slope), 0.0, np.sign(slope)) * tolerance)
        found = shifted(found, leaf, layer, places[-1])
        if some(slope == 0):
            level.append(len(places) - 1)
    best: Any = sign * np.asarray(target(found))
    for number, (leaf, layer, tolerance) in enumerate(moving):
        for end in (tolerance, -tolerance):
            by = where(places[number] == end, 0.0, end - places[number])
            if not some(by):
                continue
            value = sign * np.asarray(target(shifted(found, leaf, layer, by)))
            better = value > best
            if some(better):
                step = where(better, by, 0.0)
                found = shifted(found, leaf, layer, step)
                places[number] = places[number] + step
                best = where(better, value, best)
    if 2 <= len(level) <= _TOGETHER:
        for ends in product((1, -1), repeat=len(level)):
            there = found
            for number, end in zip(level, ends, strict=True):
                leaf, layer, tolerance = moving[number]
                there = shifted(there, leaf, layer, end * tolerance - places[number])
            value = sign * np.asarray(target(there))
            better = value > best
            if some(better):
                for number, end in zip(level, ends, strict=True):
                    leaf, layer, tolerance = moving[number]
                    step = where(better, end * tolerance - places[number], 0.0)
                    found = shifted(found, leaf, layer, step)
                    places[number] = places[number] + step
                best = where(better, value, best)
    return found


def _by_branch(
    name: str, inner: str, leaves: Mapping[str, Any], moving: Sequence[Variable], tolerances: Mapping[str, Any]
) -> tuple[Any, Any]:
    """The statistical spread of a figure that the greater (or lesser) of two branches goes into.

    Each branch in its place has a spread of its own, which may reach further than that of the one that decides at
    nominal: the figure's is the greatest or least of theirs, whichever the figure itself is of theirs.
    """
    lows, highs, values = [], [], []
    for each in FIGURES[inner].inputs:
        branch = each.rstrip("?")

        def target(some: Mapping[str, Any], branch: str = branch) -> Any:
            return compute(name, some, {inner: compute(branch, some)})

        value = target(leaves)
        width = np.sqrt(variance(target, leaves, moving, tolerances))
        values.append(value)
        lows.append(value - width)
        highs.append(value + width)
    pick = FIGURES[inner].function
    inner_values = [compute(each.rstrip("?"), leaves) for each in FIGURES[inner].inputs]
    step = greater(np.abs(pick(*inner_values)), 1e-9) * _RELATIVE_STEP
    above = compute(name, leaves, {inner: pick(*inner_values) + step})
    rises = above >= compute(name, leaves, {inner: pick(*inner_values) - step})
    greatest = rises if FIGURES[inner].extreme == "max" else ~np.asarray(rises)
    low = where(greatest, reduce(np.maximum, lows), reduce(np.minimum, lows))
    high = where(greatest, reduce(np.maximum, highs), reduce(np.minimum, highs))
    return low, high


Spreads = dict[tuple[Any, ...], tuple[Any, Any]]
"""Spreads that are already worked out, by figure, mode, values and tolerances; filled by :func:`spread`."""


def spread(
    name: str, leaves: Mapping[str, Any], tolerances: Mapping[str, Any], mode: Tolerance, known: Spreads | None = None
) -> tuple[Any, Any]:
    """Lowest and highest value of a figure, in SI.

    ``worst_case``: at the corners of all ±. Every figure is monotone in each variable alone, so the extremes lie at
    corners; the signs at nominal say which. ``statistical``: nominal ± √Σ(∂f/∂x · t)², every part and every gasket
    layer independent, layers of one batch alike. ``nominal``: the value itself. Works on arrays that broadcast. A
    figure that is the greatest or least of branches takes it of the branches' spreads, and so, statistically, does one
    that such a figure goes into. ``known`` keeps what was worked out for other combinations (of floats, not of arrays):
    many of them share most of their dimensions.

    Source: Shigley's Mechanical Engineering Design, 9th ed., p. 21 (worst case and root sum of squares).

    >>> leaves = {"crank.journal_width": 0.0222, "rod.width": 0.022}
    >>> low, high = spread("rod_side_clearance", leaves, {"rod.width": 0.0001}, "worst_case")
    >>> float(round(1000 * low, 6)), float(round(1000 * high, 6))
    (0.1, 0.3)
    """
    entry = FIGURES[name]
    if mode == "nominal":
        value = compute(name, leaves)
        return value, value
    if entry.extreme is not None:
        pairs = [spread(each.rstrip("?"), leaves, tolerances, mode, known) for each in entry.inputs]
        return entry.function(*(low for low, _ in pairs)), entry.function(*(high for _, high in pairs))

    if known is not None:
        needed = leaves_of(name)
        widths = (tolerances.get(leaf) for leaf in (*needed, BATCH))
        key = (name, mode, *(leaves[leaf] for leaf in needed), *widths)
        if key not in known:
            known[key] = spread(name, leaves, tolerances, mode)
        return known[key]

    def target(some: Mapping[str, Any]) -> Any:
        return compute(name, some)

    moving = list(variables(leaves_of(name), tolerances))
    leaves = Kept({leaf: leaves[leaf] for leaf in leaves_of(name)})
    inner = [each for each in tree_of(name)[1:] if FIGURES[each].extreme is not None]
    if mode == "statistical" and inner:
        return _by_branch(name, inner[0], leaves, moving, tolerances)
    if mode == "statistical":
        value = target(leaves)
        width = np.sqrt(variance(target, leaves, moving, tolerances))
        return value - width, value + width
    return corners(target, leaves, moving)
