"""Many builds drawn at random within the tolerances: how large a share of them keeps every limit."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Literal

import numpy as np

from kitwright.solver.check import View, broken_branch, reaches
from kitwright.solver.combination import BATCH
from kitwright.solver.evaluate import compute, in_unit, shifted
from kitwright.solver.parts import Block
from kitwright.solver.registry import FIGURES, leaves_of, public_figures, tree_of
from kitwright.solver.result import Checked, Limit
from kitwright.solver.stackup import Variable, variables

Shape = Literal["rectangular", "normal"]

PERCENTILES = (1.0, 2.5, 5.0, 50.0, 95.0, 97.5, 99.0)

MOST_SAMPLES = 1_000_000

_OF_GASKETS = ("gaskets.thickness", "gaskets.bore")

_OF_VALVES = tuple(f"{name}_{valve}" for name in ("valve_chase", "float_speed") for valve in ("intake", "exhaust"))
SCANNED = (*_OF_VALVES, "peak_piston_speed", "cranking_torque")
"""Figures that scan a whole turn for every build: a fitted surface stands in for them, where it is close enough."""

_CLOSE = 0.02
"""Share of a figure's step by which the surface may miss the figure itself."""

_TRIED = 128

_NORMAL_95 = 1.959963984540054
"""Two-sided 95 % quantile of the standard normal distribution."""


@dataclass(frozen=True, slots=True)
class Distribution:
    """How dimensions are taken to lie within their ±.

    ``rectangular``: anywhere between both ends, all alike; the ± is the half width. ``normal``: heaped in the middle;
    the ± is ``sigmas`` standard deviations, so that some lie outside.
    """

    shape: Shape = "rectangular"
    sigmas: float = 3.0

    def draw(self, tolerance: float, count: int, random: np.random.Generator) -> Any:
        """So many deviations from nominal, in the tolerance's unit."""
        if self.shape == "rectangular":
            return random.uniform(-tolerance, tolerance, count)
        return random.normal(0.0, tolerance / self.sigmas, count)


@dataclass(frozen=True, slots=True)
class Strayed:
    """A figure over all builds, in its own unit; ``percentiles`` by the share (in %) of builds at or below."""

    mean: float
    deviation: float
    percentiles: Mapping[float, float]


@dataclass(frozen=True, slots=True)
class Held:
    """How many builds keep a limit (or, with none named, all of them), with the 95 % interval of their share."""

    limit: Limit | None
    kept: int
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Sampled:
    """What a number of builds drawn at random shows."""

    count: int
    seed: int
    distribution: Distribution
    all: Held
    limits: tuple[Held, ...]
    figures: Mapping[str, Strayed]
    uncounted: int = 0
    """Limits that are not established, and count neither way."""
    exact: tuple[str, ...] = ()
    """Scanned figures for which no surface was close enough, so that each build was scanned."""
    cylinders: int = 1
    """Cylinders that were drawn: a build keeps a limit where each of them does. ``figures`` are those of one."""
    one_batch: bool = False
    """Whether gasket layers of one batch were drawn alike."""
    alone: Held | None = None
    """Of several cylinders: how many builds keep every limit in the first, whatever the others do."""


def wilson(kept: int, count: int) -> tuple[float, float]:
    """95 % interval of a share of which ``kept`` of ``count`` were seen.

    (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n). Source: E. B. Wilson, Journal of the American Statistical
    Association 22 (1927), 209-212 (recalled, recomputed).

    >>> [round(end, 4) for end in wilson(90, 100)]
    [0.8256, 0.9448]
    """
    share, square = kept / count, _NORMAL_95**2 / count
    middle = share + square / 2
    half = math.sqrt(square * (share * (1 - share) + square / 4))
    low, high = (middle - half) / (1 + square), (middle + half) / (1 + square)
    return (0.0 if kept == 0 else low), (1.0 if kept == count else high)


OWN = frozenset(("rod", "piston", "rocker", "spring", "retainer", "spring_shim", "pushrod"))
"""Kinds of which every cylinder has its own: what else there is, the cylinders share."""


def is_own(leaf: str) -> bool:
    """Whether every cylinder has a part of its own with this leaf.

    >>> is_own("rod.length"), is_own("gaskets.thickness"), is_own("head.chamber"), is_own("crank.stroke")
    (True, False, False, False)
    """
    return leaf.partition(".")[0] in OWN


def drawn(
    moving: Iterable[Variable], count: int, seed: int, distribution: Distribution, cylinder: int = 0
) -> dict[tuple[str, int], Any]:
    """Deviations by leaf and layer (0 for a part's field); each depends on the seed and its own name alone.

    What the cylinders share is the same whichever ``cylinder`` is asked for, what each has of its own is not.
    """
    found = {}
    for leaf, layer, tolerance in moving:
        named = [seed, zlib.crc32(leaf.encode()), layer or 0]
        stream = np.random.default_rng([*named, cylinder] if cylinder and is_own(leaf) else named)
        found[leaf, layer or 0] = distribution.draw(tolerance, count, stream)
    return found


@dataclass(frozen=True, slots=True)
class _Builds:
    """Leaves as they are written and as they are drawn, SI."""

    nominal: Mapping[str, Any]
    tolerances: Mapping[str, Any]
    deviations: Mapping[tuple[str, int], Any]
    leaves: Mapping[str, Any]


def _builds(
    view: View, wanted: tuple[str, ...], count: int, seed: int, distribution: Distribution, cylinder: int = 0
) -> _Builds:
    view.reader.read(wanted)
    nominal, tolerances = dict(view.reader.values), dict(view.reader.tolerances)
    moving = list(variables(wanted, tolerances))
    deviations = drawn(moving, count, seed, distribution, cylinder)
    for place, first in enumerate(tolerances.get(BATCH, ())):
        for leaf in _OF_GASKETS:
            if (leaf, place) in deviations:
                deviations[leaf, place] = deviations[leaf, first]
    leaves: Mapping[str, Any] = nominal
    for leaf, layer, _ in moving:
        leaves = shifted(leaves, leaf, layer, deviations[leaf, layer or 0])
    return _Builds(nominal, tolerances, deviations, leaves)


def figure_samples(view: View, name: str, count: int, seed: int, distribution: Distribution) -> Any:
    """One figure of drawn builds, in its own unit, to be drawn as a histogram; empty where it is not established."""
    if math.isnan(view.value(name)):
        return np.empty(0)
    builds = _builds(view, leaves_of(name), count, seed, distribution)
    with np.errstate(all="ignore"):
        return np.broadcast_to(in_unit(name, compute(name, builds.leaves)), (count,)).astype(float)


def sample(checked: Checked, view: View, count: int, seed: int, distribution: Distribution) -> Sampled:
    """Draw builds of one combination and put each through its limits and figures.

    Every part's dimension and every gasket layer is drawn by itself, layers of one batch as one. Of several cylinders
    each has its own of the kinds in :data:`OWN`; what else there is they share, and every one has to keep a limit. A
    figure that is not established stays out. The limits are those that ``checked`` lists, whatever the plan's
    tolerance mode.

    Raises:
        ValueError: no samples, or too many.
    """
    if not 1 <= count <= MOST_SAMPLES:
        raise ValueError(f"{count} samples: from 1 to {MOST_SAMPLES:,} can be drawn")
    limits = [each for each in checked.limits if each.figure and each.bound is not None and each.holds is not None]
    names = [name for name in public_figures() if not math.isnan(view.value(name))]
    compared = {each: _compared(view, each) for each in limits}
    names += [name for name in dict.fromkeys(compared.values()) if name not in names]
    wanted = tuple(dict.fromkeys(leaf for name in names for leaf in leaves_of(name)))
    block = view.combination.parts.get("block")
    cylinders = block.cylinders if isinstance(block, Block) else 1
    fits = all(each.holds is not False for each in checked.limits if not each.figure)
    kept_by = {each: np.ones(count, dtype=bool) for each in limits}
    values: dict[str, Any] = {}
    exact: list[str] = []
    alone = None
    for cylinder in range(cylinders):
        builds = _builds(view, wanted, count, seed, distribution, cylinder)
        if cylinder and not any(is_own(leaf) for leaf, _ in builds.deviations):
            break  # all of them are alike
        these, scanned = _values(builds, names, count)
        values, exact = values or these, exact + scanned
        for limit in limits:
            assert limit.bound is not None
            kept_by[limit] &= np.asarray(reaches(these[compared[limit]], limit.limit, limit.bound, limit.strict))
        if not cylinder and cylinders > 1:
            alone = _held(None, _all_kept(kept_by, fits, count), count)
    held = [_held(limit, int(kept_by[limit].sum()), count) for limit in limits]
    figures = {
        name: _strayed(values[name])
        for name in names
        if FIGURES[name].public and np.ptp(values[name]) > 0 and np.all(np.isfinite(values[name]))
    }
    every = _held(None, _all_kept(kept_by, fits, count), count)
    uncounted = sum(each.holds is None for each in checked.limits)
    one_batch = BATCH in view.reader.tolerances
    named, shown = tuple(dict.fromkeys(exact)), tuple(held)
    return Sampled(count, seed, distribution, every, shown, figures, uncounted, named, cylinders, one_batch, alone)


def _all_kept(kept: Mapping[Limit, Any], fits: bool, count: int) -> int:
    """In how many builds every limit is kept."""
    every = np.full(count, fits)
    for each in kept.values():
        every &= each
    return int(every.sum())


def _values(builds: _Builds, names: Sequence[str], count: int) -> tuple[dict[str, Any], list[str]]:
    """Figures of drawn builds, in their own units, and the scanned ones that no surface stood in for."""
    memo: dict[str, Any] = {}
    exact = []
    with np.errstate(all="ignore"):
        for name in SCANNED:
            if any(name in tree_of(each) for each in names) and not math.isnan(compute(name, builds.nominal)):
                memo[name], close = _scanned(
                    name, builds.nominal, builds.leaves, builds.tolerances, builds.deviations, count
                )
                exact += [] if close else [name]
        values = {n: np.broadcast_to(in_unit(n, compute(n, builds.leaves, memo)), (count,)) for n in names}
    return values, exact


def _compared(view: View, limit: Limit) -> str:
    """The figure that a limit compares: where it is not known, the one of its branches that breaks it."""
    if limit.bound is None or not math.isnan(view.value(limit.figure)):
        return limit.figure
    known = broken_branch(view, limit.figure, limit.limit, limit.bound, view.plan.tolerance, limit.strict)
    return known[0] if known is not None else limit.figure


def _held(limit: Limit | None, kept: int, count: int) -> Held:
    return Held(limit, kept, kept / count, *wilson(kept, count))


def _strayed(values: Any) -> Strayed:
    ends = np.percentile(values, PERCENTILES)
    deviation = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    return Strayed(float(np.mean(values)), deviation, dict(zip(PERCENTILES, map(float, ends), strict=True)))


def _scanned(
    name: str,
    nominal: Mapping[str, Any],
    leaves: Mapping[str, Any],
    tolerances: Mapping[str, Any],
    deviations: Mapping[tuple[str, int], Any],
    count: int,
) -> tuple[Any, bool]:
    """A scanned figure of every build: by a surface of second order where that is close enough, else scanned itself.

    The surface goes through nominal, both ends of each ± and the upper corners of each two; it is tried on the first
    builds and on those where it is lowest and highest.
    """
    moving = list(variables(leaves_of(name), tolerances))
    if not moving or count <= 4 * _TRIED:
        return compute(name, leaves), True
    surface = _surface(name, nominal, moving)([deviations[leaf, layer or 0] for leaf, layer, _ in moving])
    order = np.argsort(surface)
    tried = np.unique(np.concatenate([np.arange(_TRIED), order[: _TRIED // 4], order[-_TRIED // 4 :]]))
    some: Mapping[str, Any] = nominal
    for leaf, layer, _ in moving:
        some = shifted(some, leaf, layer, deviations[leaf, layer or 0][tried])
    missed = np.max(np.abs(compute(name, some) - surface[tried]))
    if missed <= _CLOSE * FIGURES[name].step * FIGURES[name].factor:
        return surface, True
    return compute(name, leaves), False


def _surface(name: str, nominal: Mapping[str, Any], moving: list[Variable]) -> Any:
    """The surface of second order of a figure, as a function of the deviations (one array a variable)."""
    number = len(moving)
    pairs = list(combinations(range(number), 2))
    places = np.zeros((1 + 2 * number + len(pairs), number))
    for each in range(number):
        places[1 + each, each], places[1 + number + each, each] = 1.0, -1.0
    for row, (first, second) in enumerate(pairs, 1 + 2 * number):
        places[row, [first, second]] = 1.0
    leaves: Mapping[str, Any] = nominal
    for column, (leaf, layer, tolerance) in enumerate(moving):
        leaves = shifted(leaves, leaf, layer, tolerance * places[:, column])
    found = np.asarray(compute(name, leaves))
    middle, above, below = found[0], found[1 : 1 + number], found[1 + number : 1 + 2 * number]
    slopes, bends = (above - below) / 2, (above + below) / 2 - middle
    twists = [
        found[row] - above[first] - above[second] + middle for row, (first, second) in enumerate(pairs, 1 + 2 * number)
    ]

    def surface(deviations: list[Any]) -> Any:
        units = [each / tolerance for each, (_, _, tolerance) in zip(deviations, moving, strict=True)]
        total = middle
        for unit, slope, bend in zip(units, slopes, bends, strict=True):
            total = total + unit * (slope + bend * unit)
        for (first, second), twist in zip(pairs, twists, strict=True):
            total = total + twist * units[first] * units[second]
        return total

    return surface
