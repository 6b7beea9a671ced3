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

_SCANNED = 24
"""Places at which a figure is looked at for where it crosses a bound, before that is halved down to."""

_PROBED = (0.02, 0.3, 1.0)
"""Shares of the way at which a change must help somewhere, before it is looked at closely."""

_FINER = 50
"""Share of the finest grid down to which it is halved."""

_TRIED = 6
"""Sizes of a grid that are tried, over the whole range, for the closest."""

_ENDS = 3
"""Sizes that are tried at either end of a range, inward: rounding has moved the end by one at most."""

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


def parts_that_would_fit(near: Iterable[Combination], plan: Plan, tick: Callable[[], None]) -> list[WouldFit]:
    """Parts with which a near miss would fit, closest and cheapest first, a few.

    Args:
        near: combinations that miss some limits of the plan.
        plan: the plan, whose limits all hold with the part, in its tolerance mode.
        tick: called now and then; raises when the time is up.
    """
    found: dict[Any, WouldFit] = {}
    for combination in near:
        for each in _dimensions(combination, plan):
            tick()
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
    if asked.field == "max_rpm":  # a rating is compared with the ceiling as it stands: nothing to look for
        quantity = getattr(asked.part, asked.field)
        wanted = max(limit.bound or 0.0 for limit in limits) + quantity.tolerance_in("rpm")
        return _rounded(asked, plan, wanted, None, True) if asked.value < wanted <= high_end else None
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

    fine = float(asked.grids(plan.units)[-1]) / _FINER
    first, last = asked.value, end
    for limit in limits:
        if limit.holds is False:
            margin = spare(limit)
            here = margin(asked.value)
            if not any(margin(asked.value + (end - asked.value) * part) > here for part in _PROBED):
                return None  # it does not help, or the wrong way round
            risen = _crossing(margin, asked.value, end, True, fine)
            if risen is None:
                return None
            first = risen if abs(risen - asked.value) > abs(first - asked.value) else first
    for limit in limits:
        margin = spare(limit)
        if margin(first) < -1e-6:
            return None
        fallen = _crossing(margin, first, last, False, fine)
        last = last if fallen is None else fallen
    return first, last


def _crossing(margin: Callable[[float], float], start: float, end: float, up: bool, fine: float) -> float | None:
    """Where a margin first rises to 0 (or falls below it) on the way from one value to another; None where nowhere."""

    def beyond(value: float) -> bool:
        spare = margin(value)
        return spare >= 0 if up else spare < -1e-9

    before = start
    for step in range(1, _SCANNED + 1):
        here = start + (end - start) * (step / _SCANNED) ** 2  # finely at first: what is near counts most
        if beyond(here):
            while abs(here - before) > fine:
                middle = (before + here) / 2
                before, here = (before, middle) if beyond(middle) else (middle, here)
            return here if up else before
        before = here
    return None


def _rounded(asked: Dimensioned, plan: Plan, first: float, last: float | None, upward: bool) -> WouldFit | None:
    far = last if last is not None else (asked.ends[1] if upward else asked.ends[0])
    low, high = min(first, far), max(first, far)
    first_of, last_of = _ends(asked, plan, low, high)
    if first_of is None or last_of is None:
        return None
    open_ended = last is None
    chosen = (first_of if upward else last_of) if open_ended else _round(asked, plan, low, high)
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
        -math.inf if open_ended and not upward else float(first_of),
        math.inf if open_ended and upward else float(last_of),
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


def _ends(asked: Dimensioned, plan: Plan, low: float, high: float) -> tuple[Fraction | None, Fraction | None]:
    """Least and greatest size of the finest grid that fit, in a range."""
    numbers = _numbers(low, high, grid := asked.grids(plan.units)[-1])

    def fitting(some: Iterable[int]) -> Fraction | None:
        return next((n * grid for n in some if judge(asked.at(n * grid), plan).fits), None)

    return fitting(numbers[:_ENDS]), fitting(numbers[::-1][:_ENDS])


def _numbers(low: float, high: float, grid: Fraction) -> range:
    """Whole numbers of a grid from low to high; a size that lies on an end is in, which the check has to confirm."""
    return range(math.ceil(low / float(grid) - 1.01 / _FINER), math.floor(high / float(grid) + 1.01 / _FINER) + 1)


def _multiples(low: float, high: float, grid: Fraction) -> list[Fraction]:
    """Multiples of a grid from low to high, a few over the whole range."""
    numbers = _numbers(low, high, grid)
    stride = max(1, -(-len(numbers) // _TRIED))
    return [number * grid for number in numbers[::stride]]
