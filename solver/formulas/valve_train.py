"""Figures of spring and valve train: forces, surge, and the speed at which a valve leaves its cam."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from kitwright.solver.formulas import springs
from kitwright.solver.formulas.arrays import kept, where
from kitwright.solver.formulas.kinematics import column, least_over_angle
from kitwright.solver.formulas.measured_cam import MeasuredCurve
from kitwright.solver.formulas.valve_gear import greatest, least, ratio_of, valve_lift_of
from kitwright.solver.formulas.valve_motion import (
    CURVE,
    NAN,
    by_curve,
    curve_along,
    fitted_lobe,
    lobe_inputs,
    lobe_of,
)
from kitwright.solver.registry import Slack, figure


@figure(
    "spring_rate",
    unit="N_mm",
    group="valve gear",
    meaning="spring rate: the maker's, or from wire, coil diameter and active coils",
    formula="G × wire⁴ / (8 × coil diameter³ × active coils)",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 10; EN 13906-1:2013 (recalled)",
    inputs=(
        "spring.rate?",
        "spring.shear_modulus?",
        "spring.wire?",
        "spring.coil_diameter?",
        "spring.active_coils?",
        "spring.total_coils?",
    ),
    wants=("spring.rate",),
    public=False,
)
def spring_rate(given: float, shear: float, wire: float, diameter: float, active: float, total: float) -> float:
    """Spring rate in N/m: the given one, else G d⁴ / (8 D³ n) (Pa, m; closed and ground ends: n = total − 2).

    Source: Shigley, ch. 10; EN 13906-1:2013 (recalled, recomputed).

    >>> nan = float("nan")
    >>> round(float(spring_rate(nan, 77.2e9, 0.0032, 0.0228, nan, 7.0)))
    17075
    """
    coils = where(np.isnan(active), springs.active_from_total(total), active)
    return where(np.isnan(given), springs.spring_rate(shear, wire, diameter, coils), given)


@figure(
    "spring_rate_by_wire",
    unit="N_mm",
    group="valve gear",
    meaning="spring rate from wire, coil diameter and active coils, whatever the maker gives",
    formula="G × wire⁴ / (8 × coil diameter³ × active coils)",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 10; EN 13906-1:2013 (recalled)",
    inputs=(
        "spring.shear_modulus",
        "spring.wire",
        "spring.coil_diameter",
        "spring.active_coils?",
        "spring.total_coils?",
    ),
    wants=("spring.active_coils",),
    public=False,
)
def spring_rate_by_wire(shear: float, wire: float, diameter: float, active: float, total: float) -> float:
    """Spring rate in N/m by G d⁴ / (8 D³ n) alone (Pa, m; closed and ground ends: n = total − 2).

    Source: Shigley, ch. 10; EN 13906-1:2013 (recalled, recomputed).

    >>> round(float(spring_rate_by_wire(77.2e9, 0.0032, 0.0228, 5.0, 7.0)))
    17075
    """
    return spring_rate(float("nan"), shear, wire, diameter, active, total)


@figure(
    "installed_spring_height",
    unit="mm",
    group="valve gear",
    meaning="height of the spring, valve shut",
    formula="installed height + retainer gain − shims",
    source="geometry",
    inputs=("head.installed_height", "retainer.height_gain", "spring_shim.thickness"),
    shape="additive",
    public=False,
)
def installed_spring_height(installed: float, gain: float, shim: float) -> float:
    """Spring height with the valve shut, installed + gain − shim, in metres; all in m. Source: geometry.

    >>> round(1000 * installed_spring_height(0.033, 0.001, 0.0005), 6)
    33.5
    """
    return installed + gain - shim


def _seat_at_least(force: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def short_of(free: float, rate: float) -> float:
        return force / rate - free

    return Slack(1.0, "installed_spring_height"), Slack(1.0, "", short_of, ("spring.free_length", "spring_rate"))


@figure(
    "spring_seat",
    unit="N",
    group="valve gear",
    meaning="spring force, valve shut",
    formula="spring rate × (free length − installed spring height)",
    source="EN 13906-1:2013 (recalled); linear spring",
    inputs=("spring_rate", "spring.free_length", "installed_spring_height"),
    step=5.0,
    at_least=_seat_at_least,
)
def spring_seat(rate: float, free: float, installed: float) -> float:
    """Force with the valve shut, k (L0 − h), in N; k in N/m, lengths in m. Linear spring.

    Source: EN 13906-1:2013 (recalled, recomputed).

    >>> round(spring_seat(17074.7, 0.045, 0.038), 2)
    119.52
    """
    return springs.spring_force(rate, free, installed, 0.0)


def _open_at_least(force: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    return *_seat_at_least(force, constants), Slack(-1.0, "valve_lift")


figure(
    "spring_open",
    unit="N",
    group="valve gear",
    meaning="spring force at the greater lift",
    formula="spring rate × (free length − installed spring height + valve lift)",
    source="EN 13906-1:2013 (recalled); linear spring",
    inputs=("spring_rate", "spring.free_length", "installed_spring_height", "valve_lift"),
    step=5.0,
    at_least=_open_at_least,
)(springs.spring_force)


@figure(
    "spring_surge",
    unit="Hz",
    group="valve gear",
    meaning="lowest surge frequency of the spring",
    formula="½ √(spring rate / mass of the active coils) by the maker's rate; without one 3560 × wire / (active coils "
    "× coil diameter²) × √(shear modulus / density)",
    source="Shigley's Mechanical Engineering Design, 9th ed., §10-8; EN 13906-1:2013 (recalled)",
    inputs=(
        "spring.rate?",
        "spring.wire",
        "spring.coil_diameter",
        "spring.active_coils?",
        "spring.total_coils?",
        "spring.shear_modulus?",
        "spring.density",
    ),
    wants=("spring.active_coils", "spring.shear_modulus"),
)
def spring_surge(
    rate: float, wire: float, diameter: float, active: float, total: float, shear: float, density: float
) -> float:
    """Lowest surge frequency, in Hz, of a spring seated at both ends; N/m, m, Pa, kg/m³ (closed ends: n = total − 2).

    The given rate k goes before the wire's shear modulus: f = ½ √(k / m) with the mass m of the active coils; without
    one (NaN) EN 13906-1's formula, whose rounded constant makes 0.03 % more.

    Source: Shigley, §10-8; EN 13906-1:2013 (recalled, recomputed).

    >>> nan = float("nan")
    >>> round(float(spring_surge(nan, 0.0032, 0.0228, 5.0, 7.0, 77.2e9, 7850.0)), 2)
    434.64
    >>> round(float(spring_surge(17074.7, 0.0032, 0.0228, 5.0, 7.0, nan, 7850.0)), 2)
    434.5
    """
    coils = where(np.isnan(active), springs.active_from_total(total), active)
    by_rate = springs.surge_frequency(rate, springs.wire_mass(wire, diameter, coils, density))
    return where(np.isnan(rate), springs.surge_frequency_en(wire, diameter, coils, shear, density), by_rate)


_MASS_SOURCE = "virtual work; Norton, Design of Machinery, lumped models (recalled)"


@figure(
    "rocker_mass",
    unit="g",
    group="valve gear",
    meaning="mass of the rocker as the valve feels it; 0 where its inertia is not given",
    formula="inertia / valve arm²",
    source=_MASS_SOURCE,
    inputs=("rocker.inertia?", "rocker.valve_arm?"),
    wants=("rocker.valve_arm",),
    public=False,
)
def rocker_mass(inertia: float, arm: float) -> float:
    """Mass of the rocker reduced to the valve, J / a², in kg; inertia in kg·m² about the shaft, arm in m.

    0 where no inertia is given (NaN): the spring's moving mass then holds it. NaN with an inertia and no arm.
    Source: virtual work; Norton, Design of Machinery, lumped models (recalled, recomputed).

    >>> round(1000 * float(rocker_mass(8e-6, 0.032)), 4)
    7.8125
    """
    return where(np.isnan(inertia), 0.0, np.asarray(inertia) / np.asarray(arm) ** 2)


def mass_at_valve(valve_side: float, rocker: float, pushrod: float, ratio: float) -> float:
    """Mass that the spring has to follow, seen at the valve, m + rocker + pushrod / R², in kg; masses in kg.

    The valve side holds valve, retainer, keys and a third of the spring, and whatever no other row weighs; a pushrod's
    mass that is not given (NaN) adds nothing. Rigid train, constant ratio R.

    Source: virtual work (∂T/∂v of ½ m v² over the linkage); Norton, Design of Machinery, lumped models (recalled,
    recomputed).

    >>> round(1000 * float(mass_at_valve(0.0755517, 0.0078125, 0.078, 1.5)), 3)
    118.031
    """
    return valve_side + rocker + where(np.isnan(pushrod), 0.0, pushrod / np.asarray(ratio) ** 2)


for _valve in ("intake", "exhaust"):
    figure(
        f"effective_mass_{_valve}",
        unit="g",
        group="valve gear",
        meaning=f"mass that the spring has to follow, as the {_valve} valve feels it",
        formula="moving mass of the spring's row + rocker's inertia / valve arm² + pushrod / ratio²",
        source=_MASS_SOURCE,
        inputs=("spring.moving_mass", "rocker_mass", "pushrod.mass?", ratio_of(_valve)),
        public=False,
    )(mass_at_valve)

figure(
    "effective_mass",
    unit="g",
    group="valve gear",
    meaning="mass that the spring has to follow at the valve, the greater of both valves'",
    formula="moving mass of the spring's row + rocker's inertia / valve arm² + pushrod / ratio²",
    source=_MASS_SOURCE,
    inputs=("effective_mass_intake", "effective_mass_exhaust"),
    extreme="max",
)(greatest)


@kept
def float_speed_of(
    rate: float,
    free: float,
    installed: float,
    mass: float,
    lift: float,
    seat: float,
    seat_lift: float,
    check: float,
    check_lift: float,
    ratio: float,
    lash: float,
    number: float = NAN,
) -> float:
    """Lowest crank speed at which a valve leaves its cam, in rad/s, scanned over the whole lobe.

    ω² = least of F(θ) / (m R |L″(θ)|) where the lobe decelerates; N/m, m, kg, rad of the crank; the number stands for a
    degree wheel's readings, NaN for none. Rigid train, surge ignored.

    Source: Norton, Design of Machinery, lumped models (recalled, recomputed).

    >>> lobe = (0.0065, np.radians(300), 0.0, np.radians(242), 0.001)
    >>> speed = float_speed_of(17074.7, 0.045, 0.038, 0.118031, *lobe, 1.5, 0.0001)
    >>> round(float(speed) * 30 / np.pi)
    6597
    """
    if not any(np.ndim(each) for each in (lift, seat, seat_lift, check, check_lift, number)):
        curve = lobe_of(lift, seat, seat_lift, check, check_lift, number)
        return springs.float_speed(rate, free, installed, mass, curve, ratio, lash)[0]
    lobe = fitted_lobe(lift, seat, seat_lift, check, check_lift)

    def speed(read: MeasuredCurve | None, rows: list[Any]) -> Any:
        stiffness, length, height, moving, rocker, play, *shape = rows
        return springs.float_speed(stiffness, length, height, moving, curve_along(read, *shape), rocker, play)[0]

    given = (rate, free, installed, mass, ratio, lash, lobe.max_lift, lobe.half_span, lobe.power)
    found: float = by_curve(number, given, speed)[()]
    return found


def _float_at_least(valve: str) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...] | None]:
    def at_least(speed: float, constants: Mapping[str, Any]) -> tuple[Slack, ...] | None:
        if speed <= 0:
            return None

        def held(rate: Any, free: Any, mass: Any, *lobe: Any) -> Any:
            """−(greatest spring height at which the valve still follows)."""
            *shape, ratio, lash, number = lobe
            fitted = fitted_lobe(*shape)

            def height(read: MeasuredCurve | None, rows: list[Any]) -> Any:
                stiffness, length, moving, rocker, play, *fit = rows
                curve = curve_along(read, *fit)
                laid = curve.columns()

                def spare(angle: Any) -> Any:
                    bend = column(rocker) * laid.bend(angle)
                    lifted = valve_lift_of(laid.lift(angle), column(rocker), column(play))
                    need = column(moving) * np.maximum(-bend, 0.0) * speed**2 / column(stiffness)
                    return np.where(bend < 0, lifted - need, np.inf)

                before, after = (np.broadcast_to(each, length.shape) for each in curve.spans)
                start = 0.0 * after if read is None else -before  # the polynomial's flanks are alike
                return -(length + least_over_angle(spare, start, after)[0])

            given = (rate, free, mass, ratio, lash, fitted.max_lift, fitted.half_span, fitted.power)
            return by_curve(number, given, height)

        inputs = ("spring_rate", "spring.free_length", f"effective_mass_{valve}", *lobe_inputs(valve), ratio_of(valve))
        more = (f"cam.lash_{valve}", f"cam.{valve}_curve?")
        return Slack(1.0, "installed_spring_height"), Slack(1.0, "", held, (*inputs, *more))

    return at_least


for _valve in ("intake", "exhaust"):
    figure(
        f"float_speed_{_valve}",
        unit="rpm",
        group="at speed",
        meaning=f"speed at which the {_valve} valve leaves its cam",
        formula="least over the lobe of √(spring force / (effective mass × valve acceleration per ω²))",
        source=CURVE + "Norton, Design of Machinery, lumped models (recalled)",
        inputs=(
            "spring_rate",
            "spring.free_length",
            "installed_spring_height",
            f"effective_mass_{_valve}",
            *lobe_inputs(_valve),
            ratio_of(_valve),
            f"cam.lash_{_valve}",
            f"cam.{_valve}_curve?",
        ),
        at_least=_float_at_least(_valve),
        public=False,
    )(float_speed_of)

figure(
    "float_speed",
    unit="rpm",
    group="at speed",
    meaning="speed at which the first valve leaves its cam",
    formula="the lower of the intake's and the exhaust's: least over the lobe of "
    "√(spring force / (effective mass × valve acceleration per ω²))",
    source=CURVE + "Norton, Design of Machinery, lumped models (recalled)",
    inputs=("float_speed_intake", "float_speed_exhaust"),
    extreme="min",
)(least)


@figure(
    "float_ratio",
    unit="",
    group="at speed",
    meaning="speed at which the first valve leaves its cam, over the rev ceiling",
    formula="float speed / rev ceiling",
    source="definition",
    inputs=("float_speed", "plan.rev_ceiling"),
    step=0.01,
)
def float_ratio(speed: float, ceiling: float) -> float:
    """Float speed over the rev ceiling, without unit; both in rad/s. Below 1 a valve leaves its cam.

    Source: definition.

    >>> float_ratio(690.0, 600.0)
    1.15
    """
    return speed / ceiling


def float_limit(speed: float, margin: float) -> float:
    """Speed that valve float leaves to the engine, in rad/s: float speed (rad/s) over the plan's margin.

    Source: definition.

    >>> float_limit(690.0, 1.15)
    600.0
    """
    return speed / margin


def _limit_at_least(valve: str) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...] | None]:
    follows = _float_at_least(valve)
    return lambda speed, constants: follows(speed * constants["conditions.float_margin"], constants)


for _valve in ("intake", "exhaust"):
    figure(
        f"float_limit_{_valve}",
        unit="rpm",
        group="at speed",
        meaning=f"speed at which the {_valve} valve leaves its cam, over the plan's float margin",
        formula=f"float speed of the {_valve} valve / float margin",
        source="definition",
        inputs=(f"float_speed_{_valve}", "conditions.float_margin"),
        at_least=_limit_at_least(_valve),
        public=False,
    )(float_limit)
