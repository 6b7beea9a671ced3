"""A cam whose lobes were read with a degree wheel: its readings stand before what its data sheet says."""

from __future__ import annotations

import math
from functools import lru_cache

from kitwright.solver.fields import DurationAt, Readings
from kitwright.solver.formulas.cam_curve import duration_at
from kitwright.solver.formulas.measured_cam import MeasuredCurve, number_of, numbered
from kitwright.solver.parts import Cam
from kitwright.solver.quantity import Quantity

CURVES = ("cam.intake_curve", "cam.exhaust_curve")
"""Leaves that stand for a lobe's readings by a number, NaN without any."""

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
        return (NAN, 0.0) if f"cam.{path}" in CURVES else None
    if path == "intake_centreline" and intake is not None:
        return curve_of(intake).nose, 0.0
    if path == "lobe_separation" and exhaust is not None:
        centreline = _si(cam.intake_centreline) if intake is None else curve_of(intake).nose
        return (centreline - curve_of(exhaust).nose) / 2, 0.0
    valve, _, what = path.partition("_")
    readings: Readings | None = {"intake": intake, "exhaust": exhaust}.get(valve)
    if what == "curve":
        if readings is None:
            return NAN, 0.0
        return number_of(readings.angles, readings.lifts, readings.resolution), 0.0
    if readings is None:
        return None
    curve = curve_of(readings)
    at: DurationAt | None = getattr(cam, f"{valve}_duration_at")
    checking = at.lift.si if at is not None else curve.peak / 2
    if what == "lobe_lift":
        return curve.peak, 0.0
    if what == "duration":
        return _duration(readings, cam.seat_lift.si if cam.seat_lift is not None else 0.0), 0.0
    if what == "duration_at.lift":
        return checking, 0.0
    if what == "duration_at.duration":
        return _duration(readings, checking), 0.0
    return None


def _si(quantity: Quantity | None) -> float:
    return NAN if quantity is None else quantity.si


@lru_cache(maxsize=4096)
def _duration(readings: Readings, lift: float) -> float:
    return float(duration_at(curve_of(readings), lift))
