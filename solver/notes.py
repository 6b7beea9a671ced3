"""What stands beside the figures of one combination: timing by its lift, the pushrod to take, balance old and new.

None of it is a verdict, and nothing of it goes into the search.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import Combination, Reader, field_value
from kitwright.solver.degree_wheel import skew_at
from kitwright.solver.evaluate import compute
from kitwright.solver.fields import Decompressor
from kitwright.solver.formulas.firing import gas_load
from kitwright.solver.formulas.materials import UnknownMaterialError, material
from kitwright.solver.formulas.valve_events import closes_of, opens_of
from kitwright.solver.parts import Cam, Part, Pushrod
from kitwright.solver.plan import Advice, Plan
from kitwright.solver.quantity import unit_factor
from kitwright.solver.registry import FIGURES, UNITS
from kitwright.solver.result import Checked
from kitwright.solver.rules import carries_tag

EVENTS = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes", "overlap")
VALVES = ("intake", "exhaust")
BALANCE = ("reciprocating_mass", "rotating_mass", "balance_factor")
ABSENT = "absent"
"""What ``when`` asks of a field that must not be there."""
OR, NOT = " or ", "not "
"""Between words of which one has to be so, and before those of which none may be."""
MATERIAL = "material"
_MM = 1e-3
_NEAR = 1e-9
"""A value this share beside the end of a range is at it."""


@dataclass(frozen=True, slots=True)
class Timing:
    """Valve events, in degrees by the figure's name, and the lobe lift in mm that they belong to.

    ``seat`` where they are those of the seat durations, as the figures are.
    """

    lobe_lift: float
    seat: bool
    events: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Stocked:
    """A pushrod of the catalogue: its length and how much longer it is than what is needed, in mm."""

    id: str
    length: float
    over: float
    on_shelf: int


@dataclass(frozen=True, slots=True)
class PushrodNeed:
    """The pushrod length that is needed, in mm, and what the catalogue has for it.

    ``nearest`` is the nearest of all, ``on_shelf`` the nearest of those on the shelf; ``blanks`` can be cut to it.
    """

    needed: float
    nearest: Stocked | None
    on_shelf: Stocked | None
    blanks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BalanceChange:
    """Masses in g and balance factor by figure, as the plan's reference has them and as they are now.

    ``wanted`` is the counterweight moment that would keep the old factor and ``given`` the crank's own, in g·mm; None
    where unknown.
    """

    before: Mapping[str, float]
    now: Mapping[str, float]
    wanted: float | None
    given: float | None


@dataclass(frozen=True, slots=True)
class Remark:
    """A figure that is known, in its own unit, and the ranges that go with it."""

    figure: str
    value: float
    ranges: tuple[Advice, ...]

    @property
    def within(self) -> tuple[Advice, ...]:
        """The ranges that the value lies in, ends included."""
        return tuple(each for each in self.ranges if not _under(self.value, each) and not _over(self.value, each))

    @property
    def below(self) -> Advice | None:
        """The nearest range that the value has not reached."""
        above = [each for each in self.ranges if _under(self.value, each)]
        return min(above, key=lambda each: each.minimum or 0.0, default=None)

    @property
    def above(self) -> Advice | None:
        """The nearest range that the value has passed."""
        passed = [each for each in self.ranges if _over(self.value, each)]
        return max(passed, key=lambda each: each.maximum or 0.0, default=None)


@dataclass(frozen=True, slots=True)
class GasEstimate:
    """What the gas may load the rod with where the plan gives no peak pressure: an estimate, in no limit.

    ``pressure`` in kPa, ``load`` and ``net`` in N: on the piston, and less the inertia load where that is known.
    """

    pressure: float
    load: float
    net: float | None


@dataclass(frozen=True, slots=True)
class Notes:
    """Everything that :func:`notes` finds; what is unknown is empty or None."""

    timing: tuple[Timing, ...]
    pushrod: PushrodNeed | None
    balance: BalanceChange | None
    remarks: tuple[Remark, ...]
    gas: GasEstimate | None = None
    decompressor: Decompressor | None = None
    """What is known of the cam's, where it has one."""


def notes(
    checked: Checked,
    plan: Plan,
    catalogue: Catalogue | None = None,
    usual: Mapping[str, tuple[Advice, ...]] | None = None,
) -> Notes:
    """What stands beside the figures of a combination.

    Args:
        checked: the combination with its figures.
        plan: its reference and the builder's own ranges.
        catalogue: where other pushrods are looked for; without one only the needed length is known.
        usual: ranges of common practice by figure; the plan's own take their place.
    """
    return Notes(
        tuple(_timing(checked, plan)),
        _pushrod(checked, plan, catalogue),
        _balance(checked, plan),
        tuple(_remarks(checked, {**(usual or {}), **plan.advice})),
        _gas(checked, plan),
        _decompressor(checked),
    )


def _remarks(checked: Checked, advice: Mapping[str, tuple[Advice, ...]]) -> Iterator[Remark]:
    for name, ranges in advice.items():
        fitting = tuple(each for each in ranges if applies(each, checked.combination))
        if name in checked.figures and fitting:
            yield Remark(name, checked.figures[name], fitting)


def _under(value: float, advice: Advice) -> bool:
    return advice.minimum is not None and value < advice.minimum - _NEAR * abs(advice.minimum)


def _over(value: float, advice: Advice) -> bool:
    return advice.maximum is not None and value > advice.maximum + _NEAR * abs(advice.maximum)


def applies(advice: Advice, combination: Combination) -> bool:
    """Whether a range is for these parts; a field that is not given rules nothing out.

    A material is the one of that name, or one whose name begins with it: ``steel`` is ``steel 4340``, too. ``a or b``
    wants one of them, ``not a or b`` none.
    """
    return all(_is_so(combination.parts.get(field.partition(".")[0]), field, wanted) for field, wanted in advice.when)


def _is_so(part: Part | None, field: str, wanted: str) -> bool:
    if part is None:
        return True
    value = getattr(part, field.partition(".")[2])
    if wanted == ABSENT:
        return value is None or value is False
    if value is None:
        return True
    known = str(value)
    if field.endswith(MATERIAL):
        try:
            known = material(known).name
        except UnknownMaterialError:
            return True
    return any(f"{known} ".startswith(f"{each} ") for each in wanted.removeprefix(NOT).split(OR)) is not (
        wanted.startswith(NOT)
    )


def _gas(checked: Checked, plan: Plan) -> GasEstimate | None:
    reader = Reader(checked.combination, plan)
    with np.errstate(all="ignore"):
        pressure = float(compute("peak_pressure_estimate", reader))
    load = gas_load(pressure, reader["block.bore"])
    if plan.conditions.peak_pressure is not None or math.isnan(load):
        return None
    inertia = checked.figures.get("rod_load")
    return GasEstimate(pressure / FIGURES["peak_pressure_estimate"].factor, load, load - inertia if inertia else None)


def _decompressor(checked: Checked) -> Decompressor | None:
    cam = checked.combination.parts.get("cam")
    return (cam.decompressor or None) if isinstance(cam, Cam) else None


def _timing(checked: Checked, plan: Plan) -> Iterator[Timing]:
    """Events at the seat lift, then at each checking lift, the lowest first."""
    seat = {name: checked.figures[name] for name in EVENTS if name in checked.figures}
    reader = Reader(checked.combination, plan)
    if seat:
        yield Timing(reader["cam.seat_lift"] / _MM, True, seat)
    at: dict[float, dict[str, float]] = {}
    for valve in VALVES:
        lift = reader[f"cam.{valve}_duration_at.lift"]
        if lift == lift:
            at.setdefault(lift, {})[valve] = reader[f"cam.{valve}_duration_at.duration"]
    for lift, durations in sorted(at.items()):
        sides = {valve: _open_at(checked, reader, valve, lift, durations.get(valve, math.nan)) for valve in VALVES}
        found = (-sides["intake"][0], sides["intake"][1] - math.pi, -math.pi - sides["exhaust"][0], sides["exhaust"][1])
        named = dict(zip(EVENTS, (*found, found[0] + found[3]), strict=True))
        known = {name: math.degrees(value) for name, value in named.items() if value == value}
        if known:
            yield Timing(lift / _MM, False, known)


def _open_at(checked: Checked, reader: Reader, valve: str, lift: float, duration: float) -> tuple[float, float]:
    """Crank angles in rad after the overlap's top between which a valve's lobe stands above a lift in m."""
    nose = compute(f"{valve}_nose", reader)
    cam = checked.combination.parts.get("cam")
    readings = getattr(cam, f"{valve}_readings", None)
    skew = math.nan if readings is None else skew_at(readings, lift)
    return opens_of(duration, nose, skew), closes_of(duration, nose, skew)


def _pushrod(checked: Checked, plan: Plan, catalogue: Catalogue | None) -> PushrodNeed | None:
    needed = checked.figures.get("pushrod_length")
    if needed is None:
        return None
    block = checked.combination.parts.get("block")
    stocked: list[Stocked] = []
    blanks = []
    for part in catalogue.of_kind("pushrod") if catalogue is not None else ():
        if part.id in plan.avoid or not carries_tag(part, block) or not isinstance(part, Pushrod):
            continue
        length = field_value(part, "length")[0] / _MM
        if length == length:
            stocked.append(Stocked(part.id, length, length - needed, part.on_shelf))
        elif part.cut_to is not None and part.cut_to.min.si / _MM <= needed <= part.cut_to.max.si / _MM:
            blanks.append(part.id)
    stocked.sort(key=lambda each: (abs(each.over), each.on_shelf < 1, each.id))
    shelf = next((each for each in stocked if each.on_shelf > 0), None)
    return PushrodNeed(needed, stocked[0] if stocked else None, shelf, tuple(blanks))


def _balance(checked: Checked, plan: Plan) -> BalanceChange | None:
    before = {
        name: float(plan.reference[name].exact) / FIGURES[name].factor for name in BALANCE if name in plan.reference
    }
    now = {name: checked.figures[name] for name in BALANCE if name in checked.figures}
    if not before.keys() & now.keys() and "counterweight_wanted" not in checked.figures:
        return None
    moment = Reader(checked.combination, plan)["crank.counterweight_moment"]
    dimension, unit = UNITS["g_mm"]
    given = moment / float(unit_factor(unit, dimension)) if moment == moment else None
    return BalanceChange(before, now, checked.figures.get("counterweight_wanted"), given)
