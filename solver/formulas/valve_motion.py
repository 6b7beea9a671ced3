"""Figures of the moving valve: its room to the piston over the whole cycle."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.cam_curve import Curve, LobeCurve, lobe_curve, piston_to_valve, valve_gap
from kitwright.solver.formulas.measured_cam import MeasuredCurve, numbered
from kitwright.solver.formulas.valve_gear import ratio_of
from kitwright.solver.registry import FIGURES, Slack, figure

CURVE = "Rothbart (ed.), Cam Design Handbook, 2004, §4.7 (curve); "
_CHUNK = 2000
NAN = float("nan")


def lobe_inputs(valve: str) -> tuple[str, ...]:
    """Leaves that a lobe's shape takes, in the order of :func:`lobe_of`. Source: definition.

    >>> lobe_inputs("intake")[0]
    'cam.intake_lobe_lift'
    """
    return (
        f"cam.{valve}_lobe_lift",
        f"cam.{valve}_duration",
        "cam.seat_lift",
        f"cam.{valve}_duration_at.duration",
        f"cam.{valve}_duration_at.lift",
    )


def curve_along(read: MeasuredCurve | None, max_lift: Any, half_span: Any, power: Any) -> Curve:
    """A degree wheel's curve raised to a greatest lift in m, or the polynomial lobe (rad) where there is none.

    Source: definition.

    >>> curve_along(None, 0.0065, 2.6, 20.0).max_lift
    0.0065
    """
    return LobeCurve(max_lift, half_span, power) if read is None else read.lifted_to(max_lift)


@lru_cache(maxsize=4096)
def _one_fit(*durations: float) -> LobeCurve:
    return lobe_curve(*durations)


def fitted_lobe(lift: Any, seat: Any, seat_lift: Any, check: Any, check_lift: Any) -> LobeCurve:
    """The polynomial lobe of lift (m), seat duration (rad) and its lift, checking duration and its lift.

    Floats are kept: a scan of one cam's tolerances comes back to the same lobes again and again. Source: Rothbart
    (ed.), Cam Design Handbook, 2004, §4.7.

    >>> round(float(fitted_lobe(0.0065, 5.236, 0.0, 4.2237, 0.001).power), 2)
    19.88
    """
    given = (lift, seat, seat_lift, check, check_lift)
    return lobe_curve(*given) if any(np.ndim(each) for each in given) else _one_fit(*map(float, given))


def lobe_of(lift: float, seat: float, seat_lift: float, check: float, check_lift: float, number: float) -> Curve:
    """One lobe: along a degree wheel's readings where the number stands for some, else :func:`fitted_lobe`.

    Lifts in m, durations in rad of the crank, NaN for no readings. Source: as :func:`fitted_lobe`.

    >>> float(lobe_of(0.0065, 5.236, 0.0, 4.2237, 0.001, NAN).max_lift)
    0.0065
    """
    if number == number:
        return numbered(number).lifted_to(lift)
    return fitted_lobe(lift, seat, seat_lift, check, check_lift)


def by_curve(numbers: Any, values: tuple[Any, ...], work: Callable[[MeasuredCurve | None, list[Any]], Any]) -> Any:
    """Work over flat rows in chunks, those of one lobe's readings (or without any: None) at a time.

    The result has the broadcast rows' shape, behind what axes the work puts before its rows. Source: definition.

    >>> float(by_curve(NAN, (np.float64(2.0), 3.0), lambda curve, rows: rows[0] * rows[1]))
    6.0
    """
    wide = np.broadcast_arrays(*values, numbers)
    flat = [np.ravel(each).astype(float) for each in wide]
    found: Any = None
    for number in np.unique(flat[-1]):
        rows = np.flatnonzero(np.isnan(flat[-1]) if np.isnan(number) else flat[-1] == number)
        curve = None if np.isnan(number) else numbered(number)
        for start in range(0, len(rows), _CHUNK):
            some = rows[start : start + _CHUNK]
            made = np.asarray(work(curve, [each[some] for each in flat[:-1]]))
            if found is None:
                found = np.empty((*made.shape[:-1], flat[0].size))
            found[..., some] = made
    return found.reshape((*found.shape[:-1], *wide[0].shape))


def _scan(
    stroke: Any,
    rod_length: Any,
    pin_offset: Any,
    angle: Any,
    floor: Any,
    lift: Any,
    seat: Any,
    seat_lift: Any,
    check: Any,
    check_lift: Any,
    ratio: Any,
    lash: Any,
    nose: Any,
    number: Any,
) -> Any:
    """Chase and crank angle of the nearest point, one behind the other along the first axis."""
    lobe = fitted_lobe(lift, seat, seat_lift, check, check_lift)
    plain = (stroke, rod_length, pin_offset, angle, floor, ratio, lash, nose, lobe.max_lift, lobe.half_span, lobe.power)

    def reach(read: MeasuredCurve | None, rows: list[Any]) -> Any:
        throw, rod, offset, lean, flat, rocker, play, centre, *shape = rows
        curve = curve_along(read, *shape)
        least, place = piston_to_valve(0.0, throw, rod, offset, lean, curve, rocker, play, centre, flat)
        return np.stack((least / square(lean, flat), place))

    return by_curve(number, plain, reach)


@lru_cache(maxsize=65536)
def _one_scan(*values: float) -> tuple[float, float]:
    """Scan for one combination, kept: chase and angle are asked for one after the other, and tolerances come back."""
    chase, where = _scan(*values[:13], *(values[13:] or (NAN,)))
    return float(chase), float(where)


def _scanned(values: tuple[Any, ...]) -> Any:
    if any(np.ndim(each) for each in values):
        return _scan(*values)
    plain = [float(each) for each in values]
    return _one_scan(*plain[:13], *(each for each in plain[13:] if each == each))  # NaN is not equal to itself


def valve_chase(
    stroke: float,
    rod_length: float,
    pin_offset: float,
    angle: float,
    floor: float,
    lift: float,
    seat: float,
    seat_lift: float,
    check: float,
    check_lift: float,
    ratio: float,
    lash: float,
    nose: float,
    number: float = NAN,
) -> float:
    """How far a valve reaches past the piston's crown plane, at the worst crank angle, in metres, ≤ 0.

    min over θ of (s(θ) − L_v(θ) / cos α) along the cylinder over a pocket whose floor is parallel to the valve's face
    (floor 0), of (s(θ) − L_v(θ) cos α) over one square to the cylinder (floor 1); :func:`piston_to_valve` of
    ``cam_curve`` derives both. Lengths in m, angles in rad of the crank, seat and check
    durations with the lobe lifts that they belong to, the nose after the overlap's top dead centre (below 0: before
    it); the number stands for a degree wheel's readings, NaN for none. Valid for a rigid train.
    Source: geometry.

    >>> float(valve_chase(0.06, 0.1, 0.0, 0.2, 0.0, 0.007, 4.7, 0.0, 3.8, 0.001, 1.0, 0.0, 1.8)) < 0
    True
    """
    plain = (stroke, rod_length, pin_offset, angle, floor, lift, seat, seat_lift, check, check_lift)
    chase: float = _scanned((*plain, ratio, lash, nose, number))[0]
    return chase


def nearest_at(
    stroke: float,
    rod_length: float,
    pin_offset: float,
    angle: float,
    floor: float,
    lift: float,
    seat: float,
    seat_lift: float,
    check: float,
    check_lift: float,
    ratio: float,
    lash: float,
    nose: float,
    number: float = NAN,
) -> float:
    """Crank angle at which a valve comes nearest the piston, rad after the overlap's top dead centre; below 0: before.

    The angle of the least that :func:`valve_chase` scans for, with its arguments and units. Source: geometry.

    >>> 0 < float(nearest_at(0.06, 0.1, 0.0, 0.2, 0.0, 0.007, 4.7, 0.0, 3.8, 0.001, 1.0, 0.0, 1.8)) < 0.5
    True
    """
    plain = (stroke, rod_length, pin_offset, angle, floor, lift, seat, seat_lift, check, check_lift)
    where: float = _scanned((*plain, ratio, lash, nose, number))[1]
    return where


def valve_room_of(drop: float, mill: float, quench: float, pocket: float) -> float:
    """Shut valve to piston along the cylinder at top dead centre, drop − mill + quench + pocket, in metres; all in m.

    Source: geometry.

    >>> round(1000 * valve_room_of(0.003, 0.0005, 0.001, 0.002), 6)
    5.5
    """
    return drop - mill + quench + pocket


def square(angle: float, floor: float) -> float:
    """What a distance along the cylinder is square to the pocket's floor: cos α where that is parallel to the valve.

    α, the valve against the cylinder, in rad; floor 0: parallel to the valve's face, 1: square to the cylinder, where
    it is 1. Without unit. Source: geometry.

    >>> round(float(square(np.radians(60.0), 0.0)), 6), float(square(np.radians(60.0), 1.0))
    (0.5, 1.0)
    """
    return where(floor > 0, 1.0, np.cos(angle))


def piston_to_valve_of(
    drop: float, mill: float, quench: float, pocket: float, angle: float, floor: float, chase: float
) -> float:
    """Least distance of piston and valve over a full cycle, square to the pocket's floor, in metres.

    Gap at top dead centre with the valve shut and the chase, both × cos α where the floor is parallel to the valve's
    face (floor 0), as they are where it is square to the cylinder (floor 1); lengths in m, α in rad. The first is never
    more than the second. Rigid train. Source: geometry.

    >>> round(1000 * float(piston_to_valve_of(0.003, 0.0005, 0.001, 0.002, np.radians(60), 0.0, -0.0025)), 6)
    1.5
    >>> round(1000 * float(piston_to_valve_of(0.003, 0.0005, 0.001, 0.002, np.radians(60), 1.0, -0.0025)), 6)
    3.0
    """
    least_room: float = valve_gap(drop, mill, quench, pocket, angle, floor) + chase * square(angle, floor)
    return least_room


def _valve_at_least(valve: str) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...]]:
    def at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
        floor = constants.get("piston.pocket_floor")

        def lean(angle: float, flat: float) -> float:
            return bound / square(angle, flat)

        def leaning(angle: float) -> float:
            return lean(angle, floor or 0.0)

        if floor is None:  # pistons of both kinds: head and piston decide together
            along = Slack(1.0, "", lean, ("head.valve_angle", "piston.pocket_floor"))
        else:
            along = Slack(1.0, "", leaning, ("head.valve_angle",))
        return Slack(-1.0, f"valve_room_{valve}"), Slack(-1.0, f"valve_chase_{valve}"), along

    return at_least


for _valve in ("intake", "exhaust"):
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
        formula="least over a full cycle of piston drop − valve lift / cos(valve angle); over a flat pocket floor of "
        "piston drop − valve lift × cos(valve angle)",
        source=CURVE + "geometry",
        inputs=(
            "crank.stroke",
            "rod.length",
            "piston.pin_offset",
            "head.valve_angle",
            "piston.pocket_floor",
            *lobe_inputs(_valve),
            ratio_of(_valve),
            f"cam.lash_{_valve}",
            f"{_valve}_nose",
            f"cam.{_valve}_curve?",
        ),
        public=False,
    )(valve_chase)
    figure(
        f"piston_to_valve_{_valve}",
        unit="mm",
        group="valve gear",
        meaning=f"least distance of piston and {_valve} valve over a full cycle",
        formula="least of (valve drop − mill + quench + pocket depth) × cos(valve angle) "
        "+ piston drop × cos(valve angle) − valve lift; over a flat pocket floor, at the valve's lowest edge, of valve "
        "drop − mill + quench + pocket depth + piston drop − valve lift × cos(valve angle)",
        source=CURVE + "geometry",
        inputs=(
            "head.valve_drop",
            "machining.mill",
            "quench",
            f"piston.pocket_depth_{_valve}",
            "head.valve_angle",
            "piston.pocket_floor",
            f"valve_chase_{_valve}",
        ),
        at_least=_valve_at_least(_valve),
    )(piston_to_valve_of)
    figure(
        f"piston_to_valve_{_valve}_at",
        unit="deg",
        group="valve gear",
        meaning=f"crank angle after the overlap's top dead centre at which piston and {_valve} valve are nearest",
        formula="angle of the least of piston drop − valve lift / cos(valve angle) over a full cycle; over a flat "
        "pocket floor × in place of /",
        source=CURVE + "geometry",
        inputs=FIGURES[f"valve_chase_{_valve}"].inputs,
    )(nearest_at)
