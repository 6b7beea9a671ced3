"""A lobe as one's own degree wheel and dial gauge have read it, instead of the polynomial from two durations.

Readings carry the dial's rounding, and its second derivative would be noise: 0.01 mm in readings every 5 degrees halves
the computed float speed. So the curve is the smoothest one that stays as near to the readings as their last digit says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from kitwright.solver.formulas.kinematics import column, least_over_angle

LEAST_READINGS = 7
"""Readings that a curve takes at least, with the two at no lift."""

_DEGREE = 4
_BEYOND = 4
_TRIES = 12


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredCurve:
    """A smooth curve along readings: a spline of the fourth degree with three continuous derivatives.

    Attributes:
        knots: ends of its pieces, crank angle from the nose, rad.
        pieces: coefficients of each piece by the distance from its first knot, highest power first, m/radⁿ.
        seats: crank angles of the first and the last reading, from the nose, rad.
        nose: where the nose stands on the scale of the readings, rad.
        peak: greatest lift, m.
        scale: what every lift is multiplied by; may be an array.

    """

    knots: Any
    pieces: Any
    seats: tuple[float, float]
    nose: float
    peak: float
    scale: Any = 1.0

    @property
    def max_lift(self) -> Any:
        """Greatest lobe lift, m."""
        return self.peak * self.scale

    @property
    def spans(self) -> tuple[float, float]:
        """Crank angles from the first reading to the nose, and from there to the last, rad."""
        return -self.seats[0], self.seats[1]

    def _read(self, angle: Any, order: int) -> Any:
        place = np.asarray(angle, dtype=float)
        index = np.clip(np.searchsorted(self.knots, place, side="right") - 1, 0, len(self.knots) - 2)
        along = place - self.knots[index]
        value = np.zeros(place.shape)
        for power, coefficients in zip(range(_DEGREE, -1, -1), self.pieces, strict=True):
            if power >= order:
                factor = float(np.prod(np.arange(power - order + 1, power + 1)))
                value = value * along + factor * coefficients[index]
        outside = (place < self.seats[0]) | (place > self.seats[1])
        return np.where(outside, 0.0, value)

    def lift(self, angle: Any) -> Any:
        """Lift at an angle, m; 0 beyond the readings, and where the curve would dip below."""
        return (self.scale * np.maximum(self._read(angle, 0), 0.0))[()]

    def slope(self, angle: Any) -> Any:
        """First derivative by the crank angle, m/rad."""
        return (self.scale * self._read(angle, 1))[()]

    def bend(self, angle: Any) -> Any:
        """Second derivative by the crank angle, m/rad²."""
        return (self.scale * self._read(angle, 2))[()]

    def columns(self) -> MeasuredCurve:
        """Return the curve with its scale laid out for a scan along a last axis."""
        return replace(self, scale=column(self.scale))

    def lifted_to(self, max_lift: Any) -> MeasuredCurve:
        """Return the same shape with another greatest lift, in m."""
        return replace(self, scale=np.asarray(max_lift) / self.peak)


def measured_curve(angles: Sequence[float], lifts: Sequence[float], resolution: float = 0.0) -> MeasuredCurve:
    """Lay a smooth curve along a degree wheel's readings and count its angles from the nose.

    Args:
        angles: crank angles of the readings, rad, rising.
        lifts: lift at each, m, on the lobe (or the lifter); 0 at the first and the last.
        resolution: last digit of the readings, m: they are taken to be rounded to it. With 0 the curve passes
            through them.

    Valid for readings close enough to show the shape: every 5 to 10 degrees.

    Raises:
        ValueError: fewer than seven readings, angles that do not rise, negative lifts, or a lobe that is not
            read from seat to seat.

    Source: smoothing spline, Dierckx, Curve and Surface Fitting with Splines, 1993; a rounded reading strays by
    resolution / √12, JCGM 100, rectangular distribution (recalled, recomputed).

    >>> lifts = [0.0, 0.0005, 0.002, 0.004, 0.005, 0.004, 0.002, 0.0005, 0.0]
    >>> curve = measured_curve(np.radians(np.arange(0, 270, 30)), lifts)
    >>> round(1000 * float(curve.max_lift), 6), round(float(np.degrees(curve.nose)), 6)
    (5.0, 120.0)

    """
    knots, values = np.asarray(angles, dtype=float), np.asarray(lifts, dtype=float)
    if knots.shape != values.shape or knots.ndim != 1 or knots.size < LEAST_READINGS:
        raise ValueError(f"a cam curve takes at least {LEAST_READINGS} readings, each an angle and a lift")
    if not np.all(np.diff(knots) > 0):
        raise ValueError("the angles of a cam curve have to rise from reading to reading")
    if not np.all(values >= 0) or values[0] != 0 or values[-1] != 0 or not np.any(values > 0):
        raise ValueError("a cam curve has to start and end at no lift: read on to the seat")
    lifted = np.flatnonzero(values)
    knots, values = (each[lifted[0] - 1 : lifted[-1] + 2] for each in (knots, values))
    breaks, pieces = _spline(knots, values, resolution)
    raw = MeasuredCurve(breaks, pieces, (float(knots[0]), float(knots[-1])), 0.0, 1.0)
    least, nose = least_over_angle(lambda x: -raw.lift(x), knots[0], knots[-1], 40 * knots.size)
    seats = float(knots[0] - nose), float(knots[-1] - nose)
    return MeasuredCurve(breaks - nose, pieces, seats, float(nose), -float(least))


def _spline(knots: Any, values: Any, resolution: float) -> tuple[Any, Any]:
    """Pieces of the smoothest spline that is as near as rounding says; at rest beyond the seats."""
    from scipy.interpolate import PPoly, splrep  # takes a while, and few cams come with readings

    rest = np.arange(1, _BEYOND + 1)
    before, after = knots[0] - rest[::-1] * (knots[1] - knots[0]), knots[-1] + rest * (knots[-1] - knots[-2])
    places = np.concatenate((before, knots, after))
    heights = np.concatenate((np.zeros(_BEYOND), values, np.zeros(_BEYOND)))
    allowed = len(places) * resolution**2 / 12
    for _ in range(_TRIES):
        spline, _, trouble, _ = splrep(places, heights, k=_DEGREE, s=allowed, full_output=1, quiet=1)
        if trouble <= 0:
            break
        allowed = max(2 * allowed, 1e-18)
    found = PPoly.from_spline(spline)
    distinct = np.diff(found.x) > 0
    return np.append(found.x[:-1][distinct], found.x[-1]), found.c[:, distinct]


_CURVES: list[MeasuredCurve] = []


@cache
def number_of(angles: tuple[float, ...], lifts: tuple[float, ...], resolution: float) -> float:
    """Number that stands for a curve among the floats that formulas take; the same readings have the same number.

    Args:
        angles: rad, as :func:`measured_curve`.
        lifts: m.
        resolution: m.

    Raises:
        ValueError: as :func:`measured_curve`.

    Source: definition.

    >>> lifts = (0.0, 0.0005, 0.002, 0.004, 0.005, 0.004, 0.002, 0.0005, 0.0)
    >>> angles = tuple(np.radians(np.arange(0, 270, 30)))
    >>> numbered(number_of(angles, lifts, 0.0)) is numbered(number_of(angles, lifts, 0.0))
    True
    """
    _CURVES.append(measured_curve(angles, lifts, resolution))
    return float(len(_CURVES) - 1)


def numbered(number: float) -> MeasuredCurve:
    """Curve that a number stands for. Source: definition.

    >>> numbered(number_of((0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0), (0.0, 1e-3, 3e-3, 4e-3, 3e-3, 1e-3, 0.0), 0.0)).spans
    (1.5, 1.5)
    """
    return _CURVES[int(number)]
