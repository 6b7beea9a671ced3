"""What a part would have to measure: one dimension of one part solved for, everything else of a near miss kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from kitwright.solver.check import View, check, judge
from kitwright.solver.combination import Combination, specs_of
from kitwright.solver.parts import Gasket, Part
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import ANGLE, LENGTH, RATIO, ROTATION, VOLUME, Dimension, Quantity, unit_factor
from kitwright.solver.registry import leaves_of
from kitwright.solver.result import Limit, WouldFit

SOLVED = {
    "rod.length": ("mm", ("1", "0.5", "0.1")),
    "piston.compression_height": ("mm", ("0.5", "0.1", "0.05")),
    "gaskets.thickness": ("mm", ("0.1", "0.05", "0.01")),
    "spacer.thickness": ("mm", ("0.5", "0.1", "0.05")),
    "crank.stroke": ("mm", ("1", "0.5", "0.1")),
    "piston.dish": ("cc", ("1", "0.5", "0.1")),
    "piston.dome": ("cc", ("1", "0.5", "0.1")),
    "head.chamber": ("cc", ("1", "0.5", "0.1")),
    "piston.skirt_below_pin": ("mm", ("1", "0.5", "0.1")),
    "piston.pocket_depth_intake": ("mm", ("0.5", "0.1")),
    "piston.pocket_depth_exhaust": ("mm", ("0.5", "0.1")),
    "cam.intake_lobe_lift": ("mm", ("0.5", "0.1", "0.01")),
    "cam.exhaust_lobe_lift": ("mm", ("0.5", "0.1", "0.01")),
    "cam.base_radius": ("mm", ("0.5", "0.1")),
    "rocker.ratio": ("", ("0.1", "0.05", "0.01")),
    "spring.solid_height": ("mm", ("0.5", "0.1")),
    "spring.max_lift": ("mm", ("0.5", "0.1")),
    "retainer.height_gain": ("mm", ("0.5", "0.1", "0.05")),
    "spring_shim.thickness": ("mm", ("0.1", "0.05")),
    "pushrod.length": ("mm", ("1", "0.5", "0.1")),
    "crank.max_rpm": ("rpm", ("500", "100")),
    "rod.max_rpm": ("rpm", ("500", "100")),
    "cam.max_rpm": ("rpm", ("500", "100")),
    "spring.max_rpm": ("rpm", ("500", "100")),
    "flywheel.max_rpm": ("rpm", ("500", "100")),
}
"""Dimensions that another part of the kind is sold or made with, and the grids of their sizes, coarsest first.

The grids are those of catalogues and of a turned or ground part: common practice, no source.
"""

_INCH_GRIDS = ("0.05", "0.01", "0.005", "0.001")
_INCH = Fraction(254, 10)

_MOST = 6
"""Parts that are told."""

_PER_KIND = 2

_DIMENSIONS: dict[str, Dimension] = {"mm": LENGTH, "cc": VOLUME, "rpm": ROTATION, "": RATIO, "deg": ANGLE}

_REACH = 0.35
"""Share of a dimension by which it is changed at most; what is further off is another engine."""

_FROM_NOTHING = {"mm": 3.0, "cc": 8.0}
"""How far a dimension that is small or not there is changed."""

_SCANNED = 32
"""Places at which a figure is looked at for where it crosses a bound, before that is halved down to."""

_HALVINGS = 50

_EITHER = {"dish": "dome", "dome": "dish"}
"""A piston has one of them at most."""


@dataclass(frozen=True, slots=True)
class Dimensioned:
    """One dimension of one part of a combination, to be tried at other values (in its unit)."""

    combination: Combination
    kind: str
    layer: int
    field: str
    unit: str
    part: Part

    @property
    def value(self) -> float:
        """Value as it is; 0 where absent stands for that."""
        quantity = getattr(self.part, self.field)
        return 0.0 if quantity is None else float(quantity.exact / self._factor)

    @property
    def _factor(self) -> Fraction:
        return unit_factor(self.unit, _DIMENSIONS[self.unit]) if self.unit else Fraction(1)

    def at(self, value: float | Fraction) -> Combination:
        """The combination with the dimension at another value; its ± is kept, and the part is there for nothing."""
        before: Quantity | None = getattr(self.part, self.field)
        exact = Fraction(value).limit_denominator(10**9)
        quantity = Quantity(
            exact * self._factor,
            before.tolerance if before is not None else 0.0,
            before.stated if before is not None else False,
            _DIMENSIONS[self.unit],
            f"{float(exact):.10g} {self.unit}".strip(),
        )
        part = stand_in(self.part, {self.field: quantity})
        if isinstance(part, Gasket):
            layers = list(self.combination.gaskets)
            layers[self.layer] = part
            return replace(self.combination, gaskets=tuple(layers))
        return replace(self.combination, parts={**self.combination.parts, self.kind: part})

    @property
    def leaf(self) -> str:
        """What formulas read it as."""
        return f"{'gaskets' if self.kind == 'gasket' else self.kind}.{self.field}"

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest value that is tried."""
        spec = specs_of(type(self.part))[self.field]
        reach = max(_REACH * abs(self.value), _FROM_NOTHING.get(self.unit, 0.0))
        low = -math.inf if spec.low is None else spec.low
        high = math.inf if spec.high is None else spec.high
        if self.unit == "rpm":
            reach = self.value
        return max(low, self.value - reach), min(high, self.value + reach)

    def grids(self, units: str) -> list[Fraction]:
        """Grids of sizes that can be bought or made, coarsest first."""
        if self.unit == "mm" and units == "in":
            return [Fraction(each) * _INCH for each in _INCH_GRIDS]
        return [Fraction(each) for each in SOLVED[self.leaf][1]]


def stand_in(part: Part, changed: dict[str, Quantity]) -> Part:
    """A part that is as another but for some dimensions; it is there for nothing, so that its price is left open."""
    fields: dict[str, Any] = {**changed, "id": f"{part.id}*", "price": 0.0, "on_shelf": 10_000}
    return replace(part, **fields)


def parts_that_would_fit(near: Iterable[Combination], plan: Plan) -> list[WouldFit]:
    """Parts with which a near miss would fit, closest and cheapest first, a few.

    Args:
        near: combinations that miss some limits of the plan.
        plan: the plan, whose limits all hold with the part, in its tolerance mode.
    """
    found: dict[Any, WouldFit] = {}
    for combination in near:
        for each in _dimensions(combination, plan):
            fitting = _solved(each, plan)
            if fitting is not None:
                found.setdefault((fitting.kind, fitting.field, fitting.value, fitting.low, fitting.high), fitting)
    ordered = sorted(found.values(), key=lambda each: (each.combination.key[:2], each.price is None, each.price or 0.0))
    few: list[WouldFit] = []
    for part in ordered:
        same = [other for other in few if other.kind == part.kind]
        if len(same) < _PER_KIND and not any(other.field == part.field for other in same) and len(few) < _MOST:
            few.append(part)
    return few


def _dimensions(combination: Combination, plan: Plan) -> Iterator[Dimensioned]:
    """Dimensions of a combination's parts that every missed limit depends on."""
    missed = [limit for limit in check(combination, plan, spreads=False).limits if limit.holds is False]
    if not missed or not all(limit.figure for limit in missed):
        return
    fed = [set(leaves_of(limit.figure)) for limit in missed]
    for leaf, (unit, _) in SOLVED.items():
        owner, _, name = leaf.partition(".")
        kind = "gasket" if owner == "gaskets" else owner
        if kind in plan.use or not all(leaf in each for each in fed):
            continue
        if kind == "gasket":
            layers: dict[str, int] = {}
            for number, gasket in enumerate(combination.gaskets):
                layers.setdefault(gasket.id, number)
            owners = [(number, combination.gaskets[number]) for number in layers.values()]
        else:
            owners = [(0, combination.parts[kind])] if kind in combination.parts else []  # type: ignore[list-item]
        for number, part in owners:
            known = getattr(part, name) is not None or specs_of(type(part))[name].absent is not None
            other = getattr(part, _EITHER[name]) if name in _EITHER else None
            if known and (other is None or other.exact == 0):
                yield Dimensioned(combination, kind, number, name, unit, part)


def _solved(asked: Dimensioned, plan: Plan) -> WouldFit | None:
    """The nearest range of a dimension in which every limit holds, and a round figure in it."""
    here = check(asked.at(asked.value), plan, spreads=False)
    if any(limit.holds is False and (not limit.figure or limit.value is None) for limit in here.limits):
        return None
    limits = [limit for limit in here.limits if limit.figure and limit.value is not None]
    limits = [limit for limit in limits if asked.leaf in leaves_of(limit.figure)]
    low_end, high_end = asked.ends
    best: tuple[float, float, float] | None = None
    for end in (low_end, high_end):
        span = _range(asked, plan, limits, end)
        if span is not None and (best is None or abs(span[0] - asked.value) < abs(best[0] - asked.value)):
            best = (*span, end)
    if best is None:
        return None
    first, last, end = best
    return _rounded(asked, plan, first, None if last == end else last, high_end == end)


def _range(asked: Dimensioned, plan: Plan, limits: list[Limit], end: float) -> tuple[float, float] | None:
    """From where to where, going one way from the value as it is, every limit holds."""

    def spare(limit: Limit) -> Callable[[float], float]:
        def at(value: float) -> float:
            low, high = View(asked.at(value), plan).spread(limit.figure, plan.tolerance)
            assert limit.bound is not None
            return low - limit.bound if limit.limit == "min" else limit.bound - high

        return at

    first, last = asked.value, end
    for limit in limits:
        if limit.holds is False:
            risen = _crossing(spare(limit), asked.value, end, up=True)
            if risen is None:
                return None
            first = risen if abs(risen - asked.value) > abs(first - asked.value) else first
    for limit in limits:
        margin = spare(limit)
        if margin(first) < -1e-6:
            return None
        fallen = _crossing(margin, first, last, up=False)
        last = last if fallen is None else fallen
    return first, last


def _crossing(margin: Callable[[float], float], start: float, end: float, up: bool) -> float | None:
    """Where a margin first rises to 0 (or falls below it) on the way from one value to another; None where nowhere."""

    def beyond(value: float) -> bool:
        spare = margin(value)
        return spare >= 0 if up else spare < -1e-9

    before = start
    for step in range(1, _SCANNED + 1):
        here = start + (end - start) * (step / _SCANNED) ** 2  # finely at first: what is near counts most
        if beyond(here):
            for _ in range(_HALVINGS):
                middle = (before + here) / 2
                before, here = (before, middle) if beyond(middle) else (middle, here)
            return here if up else before
        before = here
    return None


def _rounded(asked: Dimensioned, plan: Plan, first: float, last: float | None, upward: bool) -> WouldFit | None:
    grids = asked.grids(plan.units)
    far = last if last is not None else (asked.ends[1] if upward else asked.ends[0])
    low, high = min(first, far), max(first, far)
    fits = [each for each in _multiples(low, high, grids[-1]) if judge(asked.at(each), plan).fits]
    if not fits:
        return None
    open_ended = last is None
    chosen = (fits[0] if upward else fits[-1]) if open_ended else _round(asked, plan, low, high)
    if chosen is None:
        return None
    checked = check(asked.at(chosen), plan, spreads=False)
    budget = plan.goals["cost"].maximum if "cost" in plan.goals else None
    return WouldFit(
        asked.kind,
        asked.part.id,
        asked.field,
        asked.unit,
        float(chosen),
        -math.inf if open_ended and not upward else float(fits[0]),
        math.inf if open_ended and upward else float(fits[-1]),
        checked.cost,
        None if budget is None or checked.cost is None else budget - checked.cost,
        checked,
    )


def _round(asked: Dimensioned, plan: Plan, low: float, high: float) -> Fraction | None:
    """The size on the coarsest grid that has one in a range: the closest to the aims, then to the size as it is."""
    for grid in asked.grids(plan.units):
        verdicts = [(judge(asked.at(each), plan), each) for each in _multiples(low, high, grid)]
        good = [(verdict.closeness, abs(float(each) - asked.value), each) for verdict, each in verdicts if verdict.fits]
        if good:
            return min(good)[2]
    return None


def _multiples(low: float, high: float, grid: Fraction) -> list[Fraction]:
    """Multiples of a grid from low to high: all of a few, else some from both ends."""
    first, last = math.ceil(low / float(grid) - 1e-9), math.floor(high / float(grid) + 1e-9)
    if last - first < _SCANNED:
        numbers = list(range(first, last + 1))
    else:
        half = _SCANNED // 2
        numbers = [*range(first, first + half), *range(last - half + 1, last + 1)]
    return [number * grid for number in numbers]
