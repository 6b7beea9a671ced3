"""The smallest single change that mends a missed limit: another part, another amount of machining, another dimension.

Every mend is put through the plain check before it is named, and says which other limits it would break. None is named
that leaves a guarded clearance with less than one step.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import NEAR, View, every_limit, reaches
from kitwright.solver.combination import MACHINING_UNITS, Combination, cut_amounts, rebores
from kitwright.solver.compose import OWNER
from kitwright.solver.faults import faults_of
from kitwright.solver.guards import leaves_no_step, one_step
from kitwright.solver.parts import KINDS, Gasket, Part
from kitwright.solver.plan import MACHINING, Plan
from kitwright.solver.quantity import BARE, LENGTH, VOLUME, Quantity, unit_factor
from kitwright.solver.registry import leaves_of
from kitwright.solver.result import Checked, Limit
from kitwright.solver.roots import root
from kitwright.solver.rules import OF_OFFERS
from kitwright.solver.stackup import Spreads
from kitwright.solver.swap import (
    Place,
    is_dimension,
    pinned,
    place_of,
    quantity,
    spec_of,
    with_dimension,
    with_gaskets,
    with_part,
)

Sort = Literal["part", "machining", "dimension"]

GRIDS = {
    "mm": Fraction(1, 100),
    "in": Fraction(1, 1000),
    "cc": Fraction(1, 10),
    "deg": Fraction(1, 2),
    "cm2": Fraction(1, 10),
    "g": Fraction(1),
    "rpm": Fraction(50),
    "N/mm": Fraction(1, 10),
}
"""Smallest difference in which a wanted dimension is named, by unit; 0.01 of any other."""

_FARTHEST = Fraction(5, 1000)
"""Metres by which a length may differ from the part's and still be worth looking for."""

_NO_MEND = ("pin_offset", "valve_angle", "seat_lift", "chamber_area")
"""Fields that move a figure and that nobody would choose a part by for its sake."""

_EASY = ("gasket", "spring_shim", "spacer", "retainer", "pushrod", "piston", "rod")
"""Kinds that are easily had in another size, easiest first."""

_BEYOND = 3
"""Grid steps past the computed place that are tried where rounding stands in the way."""


@dataclass(frozen=True, slots=True)
class Mend:
    """One change that makes a missed limit hold.

    Attributes:
        limit: the limit as it is missed.
        sort: another part, another amount of machining, or a dimension that would do.
        kind: kind of part; the operation for machining.
        part: the id that comes in, empty where a gasket goes; for machining and a dimension, the part that is changed.
        replaces: the id that goes out, empty where a gasket is added.
        field: for a dimension, the field.
        old: amount or dimension before, in ``unit``.
        new: after.
        after: the limit as it then is.
        breaks: limits that held before and are then missed.
        combination: what the change makes.
        fits: whether every limit holds then.
        cost: money still to be spent then, None where a price is missing.

    """

    limit: Limit
    sort: Sort
    kind: str
    part: str
    after: Limit
    breaks: tuple[Limit, ...]
    combination: Combination
    fits: bool
    cost: float | None
    replaces: str = ""
    field: str = ""
    old: float = 0.0
    new: float = 0.0
    unit: str = ""

    @property
    def change(self) -> float:
        """Size of a change of machining or dimension, in its unit."""
        return abs(self.new - self.old)


@dataclass(frozen=True, slots=True)
class _Trial:
    """What the plain check says of a changed combination."""

    combination: Combination
    limits: tuple[Limit, ...]
    broken: tuple[Limit, ...]

    def mend(self, limit: Limit, sort: Sort, kind: str, part: str, **more: Any) -> Mend:
        same = [each for each in self.limits if same_limit(each, limit)]
        after = same[0] if same else replace(limit, value=None, bound=None, holds=True)
        fits = all(each.holds is not False for each in self.limits)
        cost = self.combination.to_spend()
        spent = None if math.isnan(cost) else cost
        return Mend(limit, sort, kind, part, after, self.broken, self.combination, fits, spent, **more)


def same_limit(one: Limit, other: Limit) -> bool:
    """Whether two limits of different combinations are the same one."""
    return (one.kind, one.name, one.limit) == (other.kind, other.name, other.limit)


def mends(checked: Checked, plan: Plan, catalogue: Catalogue) -> dict[Limit, tuple[Mend, ...]]:
    """Single changes by missed limit: parts cheapest first, then machining, then dimensions of what is easily had.

    Parts are those of the catalogue that the plan does not avoid, that may be bought where it says so, and that go
    together with the rest; the plan's pins give way, for they are what is asked about. Of machining and of each
    dimension it is the smallest change that breaks no other limit; where there is none, the smallest that mends.
    """
    work = _Work(checked, plan, catalogue)
    return {limit: work.mends(limit) for limit in checked.limits if limit.holds is False}


class _Work:
    """One combination that misses limits, and the trials of changes to it."""

    def __init__(self, checked: Checked, plan: Plan, catalogue: Catalogue) -> None:
        self.checked = checked
        self.combination = checked.combination
        self.plan = plan
        self.catalogue = catalogue
        self.missed = [each for each in checked.limits if each.holds is False]
        self.known: Spreads = {}
        self.tried: dict[tuple[object, ...], _Trial] = {}

    def mends(self, limit: Limit) -> tuple[Mend, ...]:
        parts = sorted(self._parts(limit), key=_cheapest)
        cuts = [each for work in MACHINING if (each := self._machining(limit, work)) is not None]
        sizes = sorted(self._dimensions(limit), key=_smallest)
        return (*parts, *cuts, *sizes)

    # trials

    def _view(self, changed: Combination, plan: Plan) -> View:
        return View(changed, plan, known=self.known)

    def may_hold(self, changed: Combination, limit: Limit) -> bool:
        """Whether a limit holds, by that figure alone; of one without a figure only the check knows."""
        if not limit.figure or limit.bound is None:
            return True
        view = self._view(changed, self.plan)
        if math.isnan(view.value(limit.figure)) or not reaches(
            view.value(limit.figure), limit.limit, limit.bound, limit.strict
        ):
            return False  # what fails at nominal fails at every corner
        low, high = view.spread(limit.figure, self.plan.tolerance)
        return reaches(low if limit.limit == "min" else high, limit.limit, limit.bound, limit.strict)

    def trial(self, changed: Combination, limit: Limit) -> _Trial | None:
        """The plain check of a changed combination; None where the limit is still missed."""
        if not self.may_hold(changed, limit):
            return None
        key = (*changed.tie_key(), *(each.text for part in changed.different_parts for _, each in part.quantities()))
        if key not in self.tried:
            limits, _ = every_limit(self._view(changed, pinned(self.plan, changed)))
            missed = [each for each in limits if each.holds is False]
            broken = tuple(each for each in missed if not any(same_limit(each, other) for other in self.missed))
            self.tried[key] = _Trial(changed, tuple(limits), broken)
        found = self.tried[key]
        same = [each for each in found.limits if same_limit(each, limit)]
        if any(each.holds is not True for each in same) or (not same and limit.figure):
            return None
        if any(leaves_no_step(each, self.plan) for each in found.limits if each.holds or each in found.broken):
            return None  # near contact, or in it where it was clear before
        if any(self._too_near(changed, rule.figure) for rule in OF_OFFERS):
            return None
        return found

    def _too_near(self, changed: Combination, figure: str) -> bool:
        """Whether a clearance, where it is known, comes within one step of contact."""
        low, _ = self._view(changed, self.plan).spread(figure, self.plan.tolerance)
        return low < one_step(self.plan, figure) - NEAR

    # another part

    def _parts(self, limit: Limit) -> Iterator[Mend]:
        for part, replaces, changed in self._swaps():
            tried = self.trial(changed, limit)
            if tried is not None and all(each.figure for each in tried.broken):
                kind, part_id = (part.kind, part.id) if part is not None else ("gasket", "")
                yield tried.mend(limit, "part", kind, part_id, replaces=replaces)

    def _swaps(self) -> Iterator[tuple[Part | None, str, Combination]]:
        """Each other part in its place, each other gasket for a layer, one gasket more, one less."""
        for kind in KINDS:
            if kind == "gasket":
                yield from self._stacks()
                continue
            old = self.combination.parts.get(kind)
            if old is None:
                continue
            for part in self.catalogue.of_kind(kind):
                if part.id != old.id and self._allowed(part):
                    yield part, old.id, with_part(self.combination, part)

    def _stacks(self) -> Iterator[tuple[Part | None, str, Combination]]:
        stack = self.combination.gaskets
        held = [each for each in self.catalogue.of_kind("gasket") if isinstance(each, Gasket) and self._allowed(each)]
        for out in dict.fromkeys(stack):
            rest = list(stack)
            rest.remove(out)
            if rest:
                yield None, out.id, with_gaskets(self.combination, tuple(rest))
            for each in held:
                if each.id != out.id:
                    yield each, out.id, with_gaskets(self.combination, (*rest, each))
        if stack and len(stack) < self.plan.gaskets:
            for each in held:
                yield each, "", with_gaskets(self.combination, (*stack, each))

    def _allowed(self, part: Part) -> bool:
        return part.id not in self.plan.avoid and (part.kind not in self.plan.shelf_only or part.on_shelf > 0)

    # machining

    def _machining(self, limit: Limit, work: str) -> Mend | None:
        owner = self.combination.parts.get(OWNER[work])
        if owner is None:
            return None
        unit = MACHINING_UNITS[work]
        factor = unit_factor(unit, VOLUME if unit == "cc" else LENGTH)
        now = self.combination.amount(work)
        if work == "rebore":
            bores: list[Quantity | None] = [None, *rebores(owner)]
            choices: list[tuple[Fraction, Combination]] = [
                (bore.exact if bore else Fraction(0), _machined(self.combination, work, bore)) for bore in bores
            ]
        else:
            amounts = (Fraction(0), *cut_amounts(owner, work))
            choices = [(amount, _machined(self.combination, work, amount)) for amount in amounts]
        choices = sorted((each for each in choices if each[0] != now), key=lambda each: (abs(each[0] - now), each[0]))
        fallback = None
        for amount, changed in choices:
            tried = self.trial(changed, limit)
            if tried is None:
                continue
            old, new = float(now / factor), float(amount / factor)
            mend = tried.mend(limit, "machining", work, owner.id, old=old, new=new, unit=unit)
            if not mend.breaks:
                return mend
            fallback = fallback or mend
        return fallback

    # a dimension that would do

    def _dimensions(self, limit: Limit) -> Iterator[Mend]:
        if not limit.figure or limit.bound is None or limit.figure == "cost":
            return
        seen = set()
        for leaf in leaves_of(limit.figure):
            owner = leaf.partition(".")[0]
            if owner not in (*KINDS, "gaskets"):
                continue
            if owner == "gaskets" and not self.combination.gaskets:
                continue
            if owner != "gaskets" and owner not in self.combination.parts:
                continue
            if leaf == "block.bore" and self.combination.rebore is not None:
                continue
            for layer in range(len(self.combination.gaskets)) if owner == "gaskets" else (None,):
                place = place_of(self.combination, leaf, layer)
                place = Place(place.kind, place.part, place.field)
                if place not in seen and is_dimension(place.field) and place.field not in _NO_MEND:
                    seen.add(place)
                    mend = self._dimension(limit, place)
                    if mend is not None:
                        yield mend

    def _dimension(self, limit: Limit, place: Place) -> Mend | None:
        """The nearest value on the bench's grid that mends, either way."""
        part = self._owner(place)
        spec = spec_of(part, place.field)
        outer, _, inner = place.field.partition(".")
        if spec is None or spec.dimension is None:
            return None
        held = getattr(part, outer)
        old: Quantity | None = getattr(held, inner) if inner and held is not None else held
        if old is None and (inner or spec.absent is None):
            return None
        unit = _bench_unit(spec.dimension.likely, self.plan.units)
        factor = Fraction(1) if spec.dimension in BARE else unit_factor(unit, spec.dimension)
        wide = Fraction(1) if spec.dimension in BARE else unit_factor(spec.dimension.likely[0], spec.dimension)
        grid = GRIDS.get(unit, Fraction(1, 100)) * factor
        now = old.exact if old is not None else Fraction(spec.absent or 0)
        tolerance = old.tolerance if old is not None else 0.0
        dimension = spec.dimension

        def changed(value: Fraction) -> Combination | None:
            new = quantity(value, tolerance, dimension, unit, old.stated if old is not None else False)
            combination = with_dimension(self.combination, place, new)
            owners = [*combination.parts.values(), *combination.gaskets]
            faulty = any(any(faults_of(each)) for each in owners if each.id == place.part)
            return None if faulty else combination

        found = []
        for end in (Fraction(spec.low) * wide, Fraction(spec.high) * wide):
            if dimension is LENGTH:
                end = min(max(end, now - _FARTHEST), now + _FARTHEST)
            tried = self._towards(limit, changed, now, end, grid)
            if tried is not None and not any(each.kind == "rule" for each in tried[1].broken):
                sizes = {"old": float(now / factor), "new": float(tried[0] / factor), "unit": unit}
                found.append(tried[1].mend(limit, "dimension", place.kind, part.id, field=place.field, **sizes))
        return min(found, key=lambda each: (bool(each.breaks), each.change), default=None)

    def _towards(
        self,
        limit: Limit,
        changed: Callable[[Fraction], Combination | None],
        now: Fraction,
        end: Fraction,
        grid: Fraction,
    ) -> tuple[Fraction, _Trial] | None:
        """The first value on the grid, from now on towards one end of what is plausible, at which the limit holds."""
        sign = 1 if end > now else -1
        margin = self._margin(limit, changed)
        far = end
        for _ in range(8):  # what is plausible of a part alone may be impossible in this engine
            at_far = margin(far)
            if math.isfinite(at_far) and at_far >= 0:
                break
            if math.isfinite(at_far):
                return None
            far = now + (far - now) / 4
        else:
            return None
        here = margin(now)
        if not math.isfinite(here):
            return None
        by = 0.0
        if here < 0:
            by = root(lambda each: margin(now + sign * Fraction(each)), 0.0, float(abs(far - now)), float(grid) / 64)
        exact = now + sign * Fraction(by)
        steps = exact / grid
        start = (math.ceil(steps) if sign > 0 else math.floor(steps)) - sign
        for number in range(_BEYOND + 2):
            value = (start + sign * number) * grid
            if sign * (value - now) <= 0 or sign * (end - value) < 0:
                continue
            combination = changed(value)
            tried = self.trial(combination, limit) if combination is not None else None
            if tried is not None:
                return value, tried
        return None

    def _margin(self, limit: Limit, changed: Callable[[Fraction], Combination | None]) -> Callable[[Fraction], float]:
        def margin(value: Fraction) -> float:
            combination = changed(value)
            if combination is None or limit.bound is None:
                return math.nan
            low, high = self._view(combination, self.plan).spread(limit.figure, self.plan.tolerance)
            return low - limit.bound if limit.limit == "min" else limit.bound - high

        return margin

    def _owner(self, place: Place) -> Part:
        if place.kind == "gasket":
            return next(each for each in self.combination.gaskets if each.id == place.part)
        return self.combination.parts[place.kind]


def _machined(combination: Combination, work: str, amount: Fraction | Quantity | None) -> Combination:
    return replace(combination, **{work: amount})  # type: ignore[arg-type]


def _bench_unit(likely: tuple[str, ...], units: str) -> str:
    if not likely:
        return ""
    return "in" if units == "in" and "in" in likely else likely[0]


def _cheapest(mend: Mend) -> tuple[bool, bool, float, bool, str]:
    return bool(mend.breaks), mend.cost is None, mend.cost or 0.0, not mend.fits, mend.part


def _smallest(mend: Mend) -> tuple[bool, int, bool, float, str]:
    easy = _EASY.index(mend.kind) if mend.kind in _EASY else len(_EASY)
    return bool(mend.breaks), easy, mend.unit not in ("mm", "in"), mend.change, mend.field
