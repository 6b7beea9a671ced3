"""A cam whose lobes were read with a degree wheel: its readings stand before what its data sheet says."""

from __future__ import annotations

import math
from functools import lru_cache

from kitwright.solver.fields import DurationAt, Readings
from kitwright.solver.formulas.cam_curve import crossing
from kitwright.solver.formulas.measured_cam import MeasuredCurve, number_of, numbered
from kitwright.solver.parts import Cam
from kitwright.solver.quantity import Quantity

CURVES = ("cam.intake_curve", "cam.exhaust_curve")
"""Leaves that stand for a lobe's readings by a number, NaN without any."""

SKEWS = ("cam.intake_skew", "cam.exhaust_skew")
"""Leaves for how far the middle of a lobe's seat duration stands after its nose, rad; NaN without readings."""

OFF_READINGS = (*CURVES, *SKEWS)
"""Leaves that only readings bring."""

NAN = math.nan


def curve_of(readings: Readings) -> MeasuredCurve:
    """The curve along readings.

    Raises:
        ValueError: the readings are no lobe.
    """
    return numbered(number_of(readings.angles, readings.lifts, readings.resolution))


def read_off(cam: Cam, path: str) -> tuple[float, float] | None:
    """A leaf of a cam and its tolerance, in SI, where readings decide it; None where the data sheet does.

    Lobe lift, durations (at the sheet's lobe lifts) and the place of the nose come off the readings, and as any
    measurement without ± they count as exact. The exhaust's place goes into the lobe separation, for which there is no
    other word.
    """
    intake, exhaust = cam.intake_readings, cam.exhaust_readings
    if intake is None and exhaust is None:
        return (NAN, 0.0) if f"cam.{path}" in OFF_READINGS else None
    if path == "intake_centreline" and intake is not None:
        return curve_of(intake).nose, 0.0
    if path == "lobe_separation" and exhaust is not None:
        centreline = _si(cam.intake_centreline) if intake is None else curve_of(intake).nose
        return (centreline - curve_of(exhaust).nose) / 2, 0.0
    valve, _, what = path.partition("_")
    readings: Readings | None = {"intake": intake, "exhaust": exhaust}.get(valve)
    seat_lift = cam.seat_lift.si if cam.seat_lift is not None else 0.0
    if what in ("curve", "skew") and readings is None:
        return NAN, 0.0
    if readings is None:
        return None
    if what == "curve":
        return number_of(readings.angles, readings.lifts, readings.resolution), 0.0
    if what == "skew":
        return skew_at(readings, seat_lift), 0.0
    curve = curve_of(readings)
    at: DurationAt | None = getattr(cam, f"{valve}_duration_at")
    checking = at.lift.si if at is not None else curve.peak / 2
    if what == "lobe_lift":
        return curve.peak, 0.0
    if what == "duration":
        return duration_of(readings, seat_lift), 0.0
    if what == "duration_at.lift":
        return checking, 0.0
    if what == "duration_at.duration":
        return duration_of(readings, checking), 0.0
    return None


def _si(quantity: Quantity | None) -> float:
    return NAN if quantity is None else quantity.si


def duration_of(readings: Readings, lift: float) -> float:
    """Crank angle in rad above a lobe lift in m; NaN where the lobe does not reach it."""
    return float(sum(_crossing(readings, lift)))


def skew_at(readings: Readings, lift: float) -> float:
    """How far the middle of the time above a lobe lift (m) stands after the nose, in rad; 0 for flanks alike."""
    before, after = _crossing(readings, lift)
    return (after - before) / 2


@lru_cache(maxsize=4096)
def _crossing(readings: Readings, lift: float) -> tuple[float, float]:
    before, after = crossing(curve_of(readings), lift)
    return float(before), float(after)
