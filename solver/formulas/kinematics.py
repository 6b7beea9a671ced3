"""Exact motion of the slider-crank, pin offset included.

The crank angle θ counts from the throw lying along the cylinder's axis, in the direction of rotation. With a
pin offset e the piston turns round a little beside that line: :func:`top_dead_centre` says where, and what is
timed with a degree wheel (zero where the piston stops) has to be shifted by it. Pin offset and cylinder
offset are the same thing here. Everything holds for rod > throw + |offset|; outside, and for unknown (NaN)
inputs, the answer is NaN.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import kept

ZOOMS = 3
"""Rounds of refinement after the coarse scan, each eight times finer than the one before."""


def column(value: Any) -> Any:
    """Return the value with one more axis at the end, for a scan to run along. Dimension and unit stay.

    Source: definition.

    >>> column([1.0, 2.0]).shape
    (2, 1)
    """
    return np.asarray(value, dtype=float)[..., None]


def least_over_angle(function: Callable[[Any], Any], low: Any, high: Any, points: int = 361) -> tuple[Any, Any]:
    """Find the least value of a smooth function between two angles, and the angle at which it takes it.

    A dense scan, then three rounds of closer looks round the best point, then the vertex of the parabola
    through the last three points. Of equal minima the first is taken. Valid where the function has no two
    dips within one step of the scan.

    Args:
        function: takes angles in rad, laid along the last axis, and gives values alike; NaN anywhere gives
            NaN.
        low: start of the scan, rad.
        high: end of the scan, rad.
        points: points of the first scan.

    Returns:
        The least value, in the function's unit, and its angle in rad.

    Source: definition.

    >>> value, angle = least_over_angle(lambda x: (x - 0.3) ** 4 - 1.0, -1.0, 1.0)
    >>> float(round(value, 9)), float(round(angle, 3))
    (-1.0, 0.3)

    """
    start, end = column(low), column(high)
    angles = start + (end - start) * np.linspace(0.0, 1.0, points)
    values = function(angles)
    best, least = _lowest(angles, values)
    step = (end - start) / (points - 1)
    for _ in range(ZOOMS):
        angles = np.clip(best + step * np.linspace(-1.0, 1.0, 17), start, end)
        best, least = _lowest(angles, function(angles))
        step = step / 8
    before, after = function(np.maximum(best - step, start)), function(np.minimum(best + step, end))
    with np.errstate(invalid="ignore", divide="ignore"):
        curvature = before - 2 * least + after
        shift = 0.5 * step * (before - after) / curvature
        below = 0.125 * (before - after) ** 2 / curvature
    inside = (best - step >= start) & (best + step <= end) & (np.abs(shift) <= step) & np.isfinite(curvature)
    where = best + np.where(inside, shift, 0.0)
    least = least - np.where(inside, below, 0.0)
    return least[..., 0][()], np.where(np.isnan(least), np.nan, where)[..., 0][()]


def _lowest(angles: Any, values: Any) -> tuple[Any, Any]:
    shape = np.broadcast_shapes(np.shape(angles), np.shape(values))
    index = np.argmin(np.broadcast_to(values, shape), axis=-1)[..., None]
    found = np.take_along_axis(np.broadcast_to(angles, shape), index, axis=-1)
    return found, np.take_along_axis(np.broadcast_to(values, shape), index, axis=-1)


def root_between(function: Callable[[Any], Any], low: Any, high: Any, rounds: int = 60) -> Any:
    """Find where a continuous function changes its sign, elementwise; in the unit of the two ends.

    Args:
        function: takes and gives arrays alike.
        low: one end.
        high: the other end.
        rounds: most rounds to try.

    NaN where the function has the same sign at both ends, or is NaN there.

    Source: Chandrupatla, Advances in Engineering Software 28 (1997), 145–149 (recalled, recomputed).

    >>> float(root_between(lambda x: x**2 - 2.0, 0.0, 2.0)) == 2.0**0.5
    True

    """
    a, b = (np.array(each, dtype=float) for each in np.broadcast_arrays(high, low))
    fa, fb = function(a), function(b)
    fa, fb, a, b = (np.array(each, dtype=float) for each in np.broadcast_arrays(fa, fb, a, b))
    bracketed = fa * fb <= 0
    c, fc, share = a.copy(), fa.copy(), np.full(a.shape, 0.5)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(rounds):
            tried = a + share * (b - a)
            value = function(tried)
            same = np.sign(value) == np.sign(fa)
            c, fc = np.where(same, a, b), np.where(same, fa, fb)
            b, fb = np.where(same, b, a), np.where(same, fb, fa)
            a, fa = tried, value
            best = np.where(np.abs(fa) < np.abs(fb), a, b)
            limit = 4e-16 * np.abs(best) / np.abs(b - c)
            if np.all((limit > 0.5) | (fa == 0) | ~bracketed):
                break
            xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
            curved = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
            inverse = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
            share = np.where(curved, inverse, 0.5)
            least = np.minimum(limit, 0.5)
            share = np.clip(np.where(np.isfinite(share), share, 0.5), least, 1 - least)
    return np.where(bracketed, np.where(fa == 0, a, best), np.nan)[()]


def top_dead_centre(stroke: float, rod_length: float, pin_offset: float) -> float:
    """Crank angle of top dead centre, asin(e / (l + r)), in rad.

    Args:
        stroke: twice the throw r, m.
        rod_length: l, centre to centre, m.
        pin_offset: e, m; positive towards the side that the throw moves to after the top.

    Valid for l > r + |e|; NaN outside.

    Source: geometry of the offset slider-crank in Norton, Design of Machinery (recalled, recomputed).

    >>> float(round(np.degrees(top_dead_centre(0.070, 0.1105, 0.001)), 6))
    0.393789

    """
    with np.errstate(invalid="ignore"):
        angle: float = np.arcsin(_valid(stroke, rod_length, pin_offset) / (rod_length + stroke / 2))
    return angle


def bottom_dead_centre(stroke: float, rod_length: float, pin_offset: float) -> float:
    """Crank angle of bottom dead centre, π + asin(e / (l − r)), in rad.

    Args:
        stroke: twice the throw r, m.
        rod_length: l, centre to centre, m.
        pin_offset: e, m; sign as in :func:`top_dead_centre`.

    Valid for l > r + |e|; NaN outside.

    Source: geometry of the offset slider-crank in Norton, Design of Machinery (recalled, recomputed).

    >>> float(round(np.degrees(bottom_dead_centre(0.070, 0.1105, 0.001)), 4))
    180.7589

    """
    with np.errstate(invalid="ignore"):
        angle: float = np.pi + np.arcsin(_valid(stroke, rod_length, pin_offset) / (rod_length - stroke / 2))
    return angle


def _valid(stroke: Any, rod_length: Any, pin_offset: Any) -> Any:
    """Return the offset, NaN where the crank could not go round."""
    offset: Any = np.where(rod_length > stroke / 2 + np.abs(pin_offset), pin_offset, np.nan)
    return offset


def pin_height(angle: float, stroke: float, rod_length: float, pin_offset: float) -> float:
    """Height of the piston pin above the crank's centre, y = r cos θ + √(l² − (r sin θ − e)²), in metres.

    Args:
        angle: crank angle θ, rad.
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m.

    Exact; valid for l > r + |e|, NaN outside.

    Source: Heywood, Internal Combustion Engine Fundamentals, eqs. 2.4–2.6 for e = 0 (recalled, recomputed); geometry.

    >>> round(float(pin_height(np.pi / 2, 6.0, 5.0, 0.0)), 9)
    4.0

    """
    throw, offset = stroke / 2, _valid(stroke, rod_length, pin_offset)
    with np.errstate(invalid="ignore"):
        height: float = throw * np.cos(angle) + np.sqrt(rod_length**2 - (throw * np.sin(angle) - offset) ** 2)
    return height


def piston_drop(angle: float, stroke: float, rod_length: float, pin_offset: float) -> float:
    """How far the piston stands below its top dead centre, s = √((l + r)² − e²) − y(θ), in metres.

    Args:
        angle: crank angle θ, rad.
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m.

    Exact; valid for l > r + |e|, NaN outside.

    Source: Heywood, Internal Combustion Engine Fundamentals, eqs. 2.4–2.6 for e = 0 (recalled, recomputed); geometry.

    >>> round(float(piston_drop(np.pi / 2, 6.0, 5.0, 0.0)), 9)
    4.0

    """
    with np.errstate(invalid="ignore"):
        top = np.sqrt((rod_length + stroke / 2) ** 2 - pin_offset**2)
    drop: float = top - pin_height(angle, stroke, rod_length, pin_offset)
    return drop


def drop_after_top(after: float, stroke: float, rod_length: float, pin_offset: float) -> float:
    """How far the piston stands below its top dead centre, at an angle after it, in metres.

    s(θ_top + angle); 0 at angle 0 whatever the offset, as on a degree wheel.

    Args:
        after: crank angle after top dead centre, rad.
        stroke: m.
        rod_length: m.
        pin_offset: m.

    Exact; valid for l > r + |e|, NaN outside.

    Source: geometry.

    >>> round(float(drop_after_top(0.0, 0.070, 0.1105, 0.001)), 12)
    0.0

    """
    shift = top_dead_centre(stroke, rod_length, pin_offset)
    return piston_drop(after + shift, stroke, rod_length, pin_offset)


def _rates(angle: Any, stroke: Any, rod_length: Any, pin_offset: Any) -> tuple[Any, Any]:
    """First and second derivative of the piston's drop by the crank angle, m/rad and m/rad²."""
    throw = stroke / 2
    across, along = throw * np.sin(angle), throw * np.cos(angle)
    side = across - _valid(stroke, rod_length, pin_offset)
    with np.errstate(invalid="ignore"):
        reach = np.sqrt(rod_length**2 - side**2)
    first = across + side * along / reach
    second = along + (along**2 - side * across) / reach + (side * along) ** 2 / reach**3
    return first, second


def piston_speed(angle: float, stroke: float, rod_length: float, pin_offset: float, speed: float) -> float:
    """Piston speed, ω ds/dθ, in m/s; positive on the way down.

    ds/dθ = r sin θ + (r sin θ − e) r cos θ / √(l² − (r sin θ − e)²). For e = 0 that is
    Sp / S̄p = (π/2) sin θ [1 + cos θ / √(R² − sin² θ)], R = l / r.

    Args:
        angle: crank angle θ, rad.
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m.
        speed: crank speed ω, rad/s, constant.

    Exact; valid for l > r + |e|, NaN outside.

    Source: Heywood, Internal Combustion Engine Fundamentals, eq. 2.11 for e = 0; geometry.

    >>> float(round(piston_speed(np.radians(73.1753), 4.0, 6.0, 0.0, 0.5), 5))
    1.05464

    """
    first, _ = _rates(angle, stroke, rod_length, pin_offset)
    value: float = first * speed
    return value


def piston_acceleration(angle: float, stroke: float, rod_length: float, pin_offset: float, speed: float) -> float:
    """Piston acceleration, ω² d²s/dθ², in m/s²; positive towards the crank, as at top dead centre.

    With u = r sin θ − e and q = √(l² − u²): d²s/dθ² = r cos θ + (r² cos² θ − u r sin θ)/q + (u r cos θ)²/q³.

    Args:
        angle: crank angle θ, rad.
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m.
        speed: crank speed ω, rad/s, constant.

    Exact; valid for l > r + |e|, NaN outside.

    Source: geometry; for e = 0 r ω² (1 + r/l) at the top (HELM Workbook 12.2, engineering example 4: r 150, l
    375 mm).

    >>> float(round(piston_acceleration(0.0, 0.300, 0.375, 0.0, 1.0), 6))
    0.21

    """
    _, second = _rates(angle, stroke, rod_length, pin_offset)
    value: float = second * speed**2
    return value


def two_harmonic_acceleration(angle: float, stroke: float, rod_length: float, speed: float) -> float:
    """Piston acceleration by its first two harmonics, r ω² (cos θ + (r/l) cos 2θ), in m/s².

    Args:
        angle: crank angle θ, rad.
        stroke: twice the throw r, m.
        rod_length: l, m.
        speed: crank speed ω, rad/s.

    An approximation without offset, off by 1.7 % of r ω² at most where l/r is 3.16; exact at both dead
    centres.

    Source: HELM Workbook 12.2, engineering example 4.

    >>> float(round(two_harmonic_acceleration(np.arccos(-5 / 8), 0.300, 0.375, 1.0), 6))
    -0.106875

    """
    throw = stroke / 2
    value: float = throw * speed**2 * (np.cos(angle) + throw / rod_length * np.cos(2 * angle))
    return value


def top_acceleration(stroke: float, rod_length: float, pin_offset: float, speed: float) -> float:
    """Piston acceleration at its top dead centre, in m/s²; r ω² (1 + r/l) where there is no offset.

    With the offset, rod and throw lie in one line at the angle asin(e / (l + r)), and the exact acceleration
    there is r ω² (1 + r/l) / cos of that angle.

    Args:
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m.
        speed: crank speed ω, rad/s.

    Exact; valid for l > r + |e|, NaN outside.

    Source: geometry.

    >>> float(round(top_acceleration(0.070, 0.1105, 0.0, 7500 * np.pi / 30), 1))
    28428.1

    """
    throw = stroke / 2
    lean = np.cos(top_dead_centre(stroke, rod_length, pin_offset))
    value: float = throw * speed**2 * (1 + throw / rod_length) / lean
    return value


def peak_piston_speed(stroke: float, rod_length: float, pin_offset: float, speed: float) -> float:
    """Greatest piston speed of a turn, either way, in m/s.

    Args:
        stroke: m.
        rod_length: m.
        pin_offset: m.
        speed: crank speed, rad/s, constant.

    The exact speed, scanned and refined; valid for l > r + |e|, NaN outside.

    Source: geometry; worked case rod 6, throw 2 of the encyclopedia article on piston motion equations.

    >>> float(round(peak_piston_speed(4.0, 6.0, 0.0, 0.5), 5))
    1.05464

    """
    least, _ = _fastest(stroke, rod_length, pin_offset)
    value: float = -least * speed
    return value


def peak_piston_speed_angle(stroke: float, rod_length: float, pin_offset: float) -> float:
    """Crank angle θ at which the piston is fastest, in rad; the one on the way down where both are alike.

    Args:
        stroke: m.
        rod_length: m.
        pin_offset: m.

    Scanned and refined; valid for l > r + |e|, NaN outside.

    Source: geometry; worked case rod 6, throw 2 of the encyclopedia article on piston motion equations.

    >>> float(round(np.degrees(peak_piston_speed_angle(4.0, 6.0, 0.0)), 4))
    73.1753

    """
    _, angle = _fastest(stroke, rod_length, pin_offset)
    value: float = angle
    return value


@kept
def _fastest(stroke: Any, rod_length: Any, pin_offset: Any) -> tuple[Any, Any]:
    given = tuple(column(each) for each in np.broadcast_arrays(stroke, rod_length, pin_offset))
    shape = given[0].shape[:-1]
    down, down_angle = least_over_angle(lambda x: -_rates(x, *given)[0], np.zeros(shape), np.pi, 181)
    up, up_angle = least_over_angle(lambda x: _rates(x, *given)[0], np.full(shape, np.pi), 2 * np.pi, 181)
    upward = up < down - 1e-12 * np.abs(down)
    return np.where(upward, up, down)[()], np.where(upward, up_angle, down_angle)[()]


def peak_piston_acceleration(stroke: float, rod_length: float, pin_offset: float, speed: float) -> float:
    """Greatest piston acceleration of a turn, in m/s².

    Without offset it is that of top dead centre, r ω² (1 + r/l).

    Args:
        stroke: twice the throw r, m.
        rod_length: l, m.
        pin_offset: e, m; with one, the exact acceleration is scanned and refined.
        speed: crank speed, rad/s, constant.

    Valid for l > 1.2 r and l > r + |e|, NaN where the crank cannot go round; with rods still shorter the peak
    would leave the top.

    Source: geometry.

    >>> float(round(peak_piston_acceleration(0.070, 0.1105, 0.0, 7500 * np.pi / 30), 1))
    28428.1

    """
    if np.all(np.asarray(pin_offset) == 0):
        return top_acceleration(stroke, rod_length, pin_offset, speed)
    given = tuple(column(each) for each in np.broadcast_arrays(stroke, rod_length, pin_offset))
    quarter = np.full(given[0].shape[:-1], np.pi / 2)
    least, _ = least_over_angle(lambda x: -_rates(x, *given)[1], -quarter, quarter, 181)
    value: float = -least * speed**2
    return value
