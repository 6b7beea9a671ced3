"""Figures of the moving valve: room to the piston over the whole cycle, spring forces, surge, float."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, lru_cache
from typing import Any

import numpy as np

from kitwright.solver.formulas import springs
from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.cam_curve import LobeCurve, lobe_curve, piston_to_valve, valve_gap
from kitwright.solver.formulas.kinematics import column, least_over_angle
from kitwright.solver.formulas.valve_gear import least, valve_lift_of
from kitwright.solver.registry import Slack, figure

_CURVE = "Rothbart (ed.), Cam Design Handbook, 2004, §4.7 (curve); "
_CHUNK = 2000


def _lobe_inputs(valve: str) -> tuple[str, ...]:
    return (
        f"cam.{valve}_lobe_lift",
        f"cam.{valve}_duration",
        "cam.seat_lift",
        f"cam.{valve}_duration_at.duration",
        f"cam.{valve}_duration_at.lift",
    )


def _ratio(valve: str) -> str:
    return "rocker.ratio" if valve == "intake" else "rocker.exhaust_ratio"


@lru_cache(maxsize=4096)
def _one_lobe(lift: float, seat: float, seat_lift: float, check: float, check_lift: float) -> LobeCurve:
    return lobe_curve(lift, seat, seat_lift, check, check_lift)


def _lobe(lift: Any, seat: Any, seat_lift: Any, check: Any, check_lift: Any) -> LobeCurve:
    """The lobe's curve; a scan of one cam's tolerances comes back to the same lobes again and again."""
    given = (lift, seat, seat_lift, check, check_lift)
    if all(np.ndim(each) == 0 for each in given):
        return _one_lobe(*(float(each) for each in given))
    return lobe_curve(*given)


def chase_of(nose_sign: float) -> Callable[..., Any]:
    """The formula of a valve's chase, for +1 (intake) or −1 (exhaust): see :func:`_intake_chase`. Source: geometry.

    >>> chase_of(1.0)(0.06, 0.1, 0.0, 0.2, 0.007, 4.7, 0.0, 3.8, 0.001, 1.0, 0.0, 1.8, 0.0) < 0
    True
    """

    @lru_cache(maxsize=65536)
    def one(*values: float) -> float:
        return float(many(*values))

    def many(
        stroke: Any,
        rod_length: Any,
        pin_offset: Any,
        angle: Any,
        lift: Any,
        seat: Any,
        seat_lift: Any,
        check: Any,
        check_lift: Any,
        ratio: Any,
        lash: Any,
        centreline: Any,
        separation: Any,
    ) -> Any:
        curve = _lobe(lift, seat, seat_lift, check, check_lift)
        nose = centreline if nose_sign > 0 else centreline - 2 * separation
        plain = (stroke, rod_length, pin_offset, angle, ratio, lash, nose, curve.max_lift, curve.half_span, curve.power)
        wide = np.broadcast_arrays(*plain)
        flat = [np.ravel(each).astype(float) for each in wide]
        found = np.empty(flat[0].shape)
        for start in range(0, len(found), _CHUNK):
            some: list[Any] = [each[start : start + _CHUNK] for each in flat]
            lobe = LobeCurve(some[7], some[8], some[9])
            lean = np.cos(some[3])
            reach = piston_to_valve(0.0, some[0], some[1], some[2], some[3], lobe, some[4], some[5], some[6])[0]
            found[start : start + _CHUNK] = reach / lean
        return found.reshape(wide[0].shape)

    def chase(*values: Any) -> Any:
        if all(np.ndim(each) == 0 for each in values):
            return one(*(float(each) for each in values))
        return many(*values)

    return chase


def _intake_chase(
    stroke: float,
    rod_length: float,
    pin_offset: float,
    angle: float,
    lift: float,
    seat: float,
    seat_lift: float,
    check: float,
    check_lift: float,
    ratio: float,
    lash: float,
    centreline: float,
) -> float:
    """How far the intake valve reaches past the piston's crown plane, at the worst crank angle, in metres, ≤ 0.

    min over θ of (s(θ) − L_v(θ) / cos α), along the cylinder; lengths in m, angles in rad of the crank, seat and check
    durations with the lobe lifts that they belong to. Valid for parallel faces and a rigid train. Source: geometry.

    >>> float(_intake_chase(0.06, 0.1, 0.0, 0.2, 0.007, 4.7, 0.0, 3.8, 0.001, 1.0, 0.0, 1.8)) < 0
    True
    """
    chase: float = _chase("intake")(
        stroke,
        rod_length,
        pin_offset,
        angle,
        lift,
        seat,
        seat_lift,
        check,
        check_lift,
        ratio,
        lash,
        centreline,
        0.0,
    )
    return chase


@cache
def _chase(valve: str) -> Callable[..., Any]:
    return chase_of(1.0 if valve == "intake" else -1.0)


def _exhaust_chase(
    stroke: float,
    rod_length: float,
    pin_offset: float,
    angle: float,
    lift: float,
    seat: float,
    seat_lift: float,
    check: float,
    check_lift: float,
    ratio: float,
    lash: float,
    centreline: float,
    separation: float,
) -> float:
    """How far the exhaust valve reaches past the piston's crown plane, at the worst crank angle, in metres, ≤ 0.

    As for the intake; the exhaust's centreline is 2 × lobe separation − intake centreline before the overlap's top dead
    centre (separation in rad of the cam, which counts once for each crank degree either side). Source: geometry.

    >>> float(_exhaust_chase(0.06, 0.1, 0.0, 0.2, 0.007, 4.7, 0.0, 3.8, 0.001, 1.0, 0.0, 1.8, 1.85)) < 0
    True
    """
    chase: float = _chase("exhaust")(
        stroke,
        rod_length,
        pin_offset,
        angle,
        lift,
        seat,
        seat_lift,
        check,
        check_lift,
        ratio,
        lash,
        centreline,
        separation,
    )
    return chase


def valve_room_of(drop: float, mill: float, quench: float, pocket: float) -> float:
    """Shut valve to piston along the cylinder at top dead centre, drop − mill + quench + pocket, in metres; all in m.

    Source: geometry.

    >>> round(1000 * valve_room_of(0.003, 0.0005, 0.001, 0.002), 6)
    5.5
    """
    return drop - mill + quench + pocket


def piston_to_valve_of(drop: float, mill: float, quench: float, pocket: float, angle: float, chase: float) -> float:
    """Least distance of piston and valve over a full cycle, square to the valve's face, in metres.

    Gap at top dead centre with the valve shut, plus the chase × cos α; lengths in m, α in rad. Parallel faces, rigid
    train. Source: geometry.

    >>> round(1000 * float(piston_to_valve_of(0.003, 0.0005, 0.001, 0.002, np.radians(60), -0.0025)), 6)
    1.5
    """
    least_room: float = valve_gap(drop, mill, quench, pocket, angle) + chase * np.cos(angle)
    return least_room


def _valve_at_least(valve: str) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...]]:
    def at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
        def lean(angle: float) -> float:
            return bound / np.cos(angle)  # type: ignore[no-any-return]

        return (
            Slack(-1.0, f"valve_room_{valve}"),
            Slack(-1.0, f"valve_chase_{valve}"),
            Slack(1.0, "", lean, ("head.valve_angle",)),
        )

    return at_least


for _valve, _function in (("intake", _intake_chase), ("exhaust", _exhaust_chase)):
    figure(
        f"valve_room_{_valve}",
        unit="mm",
        group="valve gear",
        meaning=f"shut {_valve} valve to piston along the cylinder at top dead centre",
        formula="valve drop − mill + quench + pocket depth",
        source="geometry",
        inputs=("head.valve_drop", "machining.mill", "quench", f"piston.pocket_depth_{_valve}"),
        shape="additive",
        public=False,
    )(valve_room_of)
    figure(
        f"valve_chase_{_valve}",
        unit="mm",
        group="valve gear",
        meaning=f"how far the {_valve} valve reaches towards the piston along the cylinder, at the worst crank angle",
        formula="least over a full cycle of piston drop − valve lift / cos(valve angle)",
        source=_CURVE + "geometry",
        inputs=(
            "crank.stroke",
            "rod.length",
            "piston.pin_offset",
            "head.valve_angle",
            *_lobe_inputs(_valve),
            _ratio(_valve),
            f"cam.lash_{_valve}",
            "cam.intake_centreline",
            *(("cam.lobe_separation",) if _valve == "exhaust" else ()),
        ),
        public=False,
    )(_function)
    figure(
        f"piston_to_valve_{_valve}",
        unit="mm",
        group="valve gear",
        meaning=f"least distance of piston and {_valve} valve over a full cycle",
        formula="least of (valve drop − mill + quench + pocket depth) × cos(valve angle) "
        "+ piston drop × cos(valve angle) − valve lift",
        source=_CURVE + "geometry",
        inputs=(
            "head.valve_drop",
            "machining.mill",
            "quench",
            f"piston.pocket_depth_{_valve}",
            "head.valve_angle",
            f"valve_chase_{_valve}",
        ),
        at_least=_valve_at_least(_valve),
    )(piston_to_valve_of)


# Springs.


@figure(
    "spring_rate",
    unit="N_mm",
    group="valve gear",
    meaning="spring rate: the maker's, or from wire, coil diameter and active coils",
    formula="G × wire⁴ / (8 × coil diameter³ × active coils)",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 10; EN 13906-1:2013 (from memory)",
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

    Source: Shigley, ch. 10; EN 13906-1:2013 (from memory).

    >>> nan = float("nan")
    >>> round(float(spring_rate(nan, 77.2e9, 0.0032, 0.0228, nan, 7.0)))
    17075
    """
    coils = where(np.isnan(active), springs.active_from_total(total), active)
    return where(np.isnan(given), springs.spring_rate(shear, wire, diameter, coils), given)


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
    source="EN 13906-1:2013 (from memory); linear spring",
    inputs=("spring_rate", "spring.free_length", "installed_spring_height"),
    step=5.0,
    at_least=_seat_at_least,
)
def spring_seat(rate: float, free: float, installed: float) -> float:
    """Force with the valve shut, k (L0 − h), in N; k in N/m, lengths in m. Linear spring.

    Source: EN 13906-1:2013 (from memory).

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
    source="EN 13906-1:2013 (from memory); linear spring",
    inputs=("spring_rate", "spring.free_length", "installed_spring_height", "valve_lift"),
    step=5.0,
    at_least=_open_at_least,
)(springs.spring_force)


@figure(
    "spring_surge",
    unit="Hz",
    group="valve gear",
    meaning="lowest surge frequency of the spring",
    formula="3560 × wire / (active coils × coil diameter²) × √(shear modulus / density)",
    source="EN 13906-1:2013 (from memory)",
    inputs=(
        "spring.wire",
        "spring.coil_diameter",
        "spring.active_coils?",
        "spring.total_coils?",
        "spring.shear_modulus",
        "spring.density",
    ),
    wants=("spring.active_coils",),
)
def spring_surge(wire: float, diameter: float, active: float, total: float, shear: float, density: float) -> float:
    """Lowest surge frequency, in Hz, of a spring seated at both ends; m, Pa, kg/m³ (closed ends: n = total − 2).

    Source: EN 13906-1:2013 (from memory).

    >>> round(float(spring_surge(0.0032, 0.0228, 5.0, 7.0, 77.2e9, 7850.0)), 2)
    434.64
    """
    coils = where(np.isnan(active), springs.active_from_total(total), active)
    return springs.surge_frequency_en(wire, diameter, coils, shear, density)


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
) -> float:
    """Lowest crank speed at which a valve leaves its cam, in rad/s, scanned over the whole lobe.

    ω² = least of F(θ) / (m R |L″(θ)|) where the lobe decelerates; N/m, m, kg, rad of the crank. Rigid train, surge
    ignored. Source: Norton, Design of Machinery, lumped models (from memory).

    >>> lobe = (0.0065, np.radians(300), 0.0, np.radians(242), 0.001)
    >>> speed = float_speed_of(17074.7, 0.045, 0.038, 0.118031, *lobe, 1.5, 0.0001)
    >>> round(float(speed) * 30 / np.pi)
    6597
    """
    curve = _lobe(lift, seat, seat_lift, check, check_lift)
    return springs.float_speed(rate, free, installed, mass, curve, ratio, lash)[0]


def _float_at_least(valve: str) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...] | None]:
    def at_least(speed: float, constants: Mapping[str, Any]) -> tuple[Slack, ...] | None:
        if speed <= 0:
            return None

        def held(rate: Any, free: Any, mass: Any, *lobe: Any) -> Any:
            """−(greatest spring height at which the valve still follows)."""
            *shape, ratio, lash = lobe
            curve = _lobe(*shape)
            given = (rate, mass, ratio, lash, curve.max_lift, curve.half_span, curve.power)
            wide = [column(each) for each in np.broadcast_arrays(*given)]
            laid = LobeCurve(wide[4], wide[5], wide[6])

            def spare(angle: Any) -> Any:
                bend = wide[2] * laid.bend(angle)
                lifted = valve_lift_of(laid.lift(angle), wide[2], wide[3])
                need = wide[1] * np.maximum(-bend, 0.0) * speed**2 / wide[0]
                return np.where(bend < 0, lifted - need, np.inf)

            low = np.zeros(np.broadcast_shapes(*(np.shape(each) for each in given)))
            return -(free + least_over_angle(spare, low, low + curve.half_span)[0])

        inputs = ("spring_rate", "spring.free_length", "spring.moving_mass", *_lobe_inputs(valve), _ratio(valve))
        return Slack(1.0, "installed_spring_height"), Slack(1.0, "", held, (*inputs, f"cam.lash_{valve}"))

    return at_least


for _valve in ("intake", "exhaust"):
    figure(
        f"float_speed_{_valve}",
        unit="rpm",
        group="at speed",
        meaning=f"speed at which the {_valve} valve leaves its cam",
        formula="least over the lobe of √(spring force / (moving mass × valve acceleration per ω²))",
        source=_CURVE + "Norton, Design of Machinery, lumped models (from memory)",
        inputs=(
            "spring_rate",
            "spring.free_length",
            "installed_spring_height",
            "spring.moving_mass",
            *_lobe_inputs(_valve),
            _ratio(_valve),
            f"cam.lash_{_valve}",
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
    "√(spring force / (moving mass × valve acceleration per ω²))",
    source=_CURVE + "Norton, Design of Machinery, lumped models (from memory)",
    inputs=("float_speed_intake", "float_speed_exhaust"),
    extreme="min",
)(least)
