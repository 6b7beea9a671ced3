"""Lift over crank angle: a polynomial lobe from two durations, and what can be asked of any lobe.

Angles in rad of the crank, counted from the lobe's nose. Lobe lifts in metres, before any rocker. What uses a
curve (velocities, areas, piston to valve, float) takes this lobe or one's own readings (``measured_cam``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol

import numpy as np

from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.kinematics import column, drop_after_top, least_over_angle, root_between
from kitwright.solver.formulas.valve_gear import valve_lift_of

LEAST_POWER, GREATEST_POWER = 4.0, 1e5
"""Powers between which the polynomial is sought: (1 − x²)⁴ at 4, practically a parabola at the other end."""


class Curve(Protocol):
    """A lobe's lift over the crank angle from its nose."""

    @property
    def max_lift(self) -> Any:
        """Greatest lobe lift, m."""

    @property
    def spans(self) -> tuple[Any, Any]:
        """Crank angles from the first lift to the nose, and from there to the last, rad."""

    def lift(self, angle: Any) -> Any:
        """Lobe lift at an angle, m."""

    def slope(self, angle: Any) -> Any:
        """First derivative by the crank angle, m/rad."""

    def bend(self, angle: Any) -> Any:
        """Second derivative by the crank angle, m/rad²."""

    def columns(self) -> Curve:
        """Return the curve with its values laid out for a scan along a last axis."""


def lobe_coefficients(power: float) -> tuple[float, float, float, float]:
    """Coefficients C₂, C_p, C_{p+2}, C_{p+4} of the polynomial lobe, dimensionless.

    C₂ = −(p+4)/(p−2), C_p = (p+2)(p+4)/(4(p−2)), C_{p+2} = −(p+4)/2, C_{p+4} = p/4: lift and its first three
    derivatives vanish at the seat. Their signs change three times and the slope has a triple root at the
    seat, so by Descartes' rule it has no other: the lobe only falls from the nose on, whatever the power.

    Args:
        power: p, at least 4.

    Source: Rothbart (ed.), Cam Design Handbook, 2004, §4.7, eq. 4.9 for the powers; coefficients derived from
    the end conditions.

    >>> [round(each, 4) for each in lobe_coefficients(4.0)]
    [-4.0, 6.0, -4.0, 1.0]

    """
    return (
        -(power + 4) / (power - 2),
        (power + 2) * (power + 4) / (4 * (power - 2)),
        -(power + 4) / 2,
        power / 4,
    )


def _derivative(angle: Any, max_lift: Any, half_span: Any, power: Any, order: int) -> Any:
    """Differentiate the polynomial lobe by the distance from the nose, 0 to 2 times."""
    x = np.abs(angle) / half_span
    inside = np.minimum(x, 1.0)
    total = np.ones_like(inside) if order == 0 else np.zeros_like(inside)
    for coefficient, exponent in zip(lobe_coefficients(power), (2.0, power, power + 2, power + 4), strict=True):
        factor = coefficient
        for lower in range(order):
            factor = factor * (exponent - lower)
        total = total + factor * inside ** (exponent - order)
    value = max_lift * total / half_span**order
    return np.where(x >= 1.0, 0.0 * value, value)


@dataclass(frozen=True, slots=True)
class LobeCurve:
    """The symmetric polynomial lobe of 1 and the powers 2, p, p + 2, p + 4.

    L/Lmax = 1 + C₂x² + C_p x^p + C_{p+2} x^{p+2} + C_{p+4} x^{p+4} with x = |θ|/β; 0 beyond the seat.

    Attributes:
        max_lift: Lmax, m.
        half_span: β, crank angle from nose to seat, rad.
        power: p, real, at least 4; NaN where no such lobe has the durations asked for.

    """

    max_lift: Any
    half_span: Any
    power: Any

    @property
    def spans(self) -> tuple[Any, Any]:
        """Crank angles from seat to nose and from nose to seat, rad."""
        return self.half_span, self.half_span

    def lift(self, angle: Any) -> Any:
        """Lobe lift at an angle, m."""
        return _derivative(angle, self.max_lift, self.half_span, self.power, 0)

    def slope(self, angle: Any) -> Any:
        """First derivative by the crank angle, m/rad."""
        return np.sign(angle) * _derivative(angle, self.max_lift, self.half_span, self.power, 1)

    def bend(self, angle: Any) -> Any:
        """Second derivative by the crank angle, m/rad²."""
        return _derivative(angle, self.max_lift, self.half_span, self.power, 2)

    def columns(self) -> LobeCurve:
        """Return the curve with its values laid out for a scan along a last axis."""
        return LobeCurve(column(self.max_lift), column(self.half_span), column(self.power))


def lobe_exists(max_lift: float, half_span: float, check_duration: float, check_lift: float) -> bool:
    """Whether a polynomial lobe with p ≥ 4 has a duration at a checking lift; dimensionless.

    It has where (1 − x²)⁴ ≤ lift / Lmax < 1 − x².

    Args:
        max_lift: Lmax, m.
        half_span: β, rad.
        check_duration: crank angle above the checking lift, rad; x is half of it over β.
        check_lift: lobe lift, m.

    Source: limits of the polynomial for p = 4 and p → ∞.

    >>> bool(lobe_exists(0.0065, np.radians(150), np.radians(242), 0.001))
    True

    """
    square = 1 - np.minimum(check_duration / 2 / half_span, 1.0) ** 2
    share = check_lift / max_lift
    exists: bool = (square**4 <= share) & (share < square)
    return exists


def lobe_power(max_lift: float, half_span: float, check_duration: float, check_lift: float) -> float:
    """Real power p of the polynomial lobe that has a duration at a checking lift, dimensionless.

    Args:
        max_lift: Lmax, m.
        half_span: β, crank angle from nose to seat, rad.
        check_duration: crank angle above the checking lift, rad.
        check_lift: lobe lift at which it was taken, m.

    NaN where no lobe with 4 ≤ p ≤ 100 000 has it (:func:`lobe_exists`).

    Source: Rothbart (ed.), Cam Design Handbook, 2004, §4.7 for the curve; the fit is derived.

    >>> float(round(lobe_power(0.0065, np.radians(150), np.radians(242), 0.001), 4))
    19.8807

    """
    share, place = np.broadcast_arrays(check_lift / np.asarray(max_lift), check_duration / 2 / half_span)

    def miss(log_power: Any) -> Any:
        return _derivative(place, 1.0, 1.0, np.exp(log_power), 0) - share

    power: float = np.exp(root_between(miss, np.log(LEAST_POWER), np.log(GREATEST_POWER)))
    return power


def lobe_curve(
    max_lift: float, seat_duration: float, seat_lift: float, check_duration: float, check_lift: float
) -> LobeCurve:
    """Fit the polynomial lobe to two durations, each with the lobe lift at which it was taken.

    With a seat lift of 0 the seat duration is the whole span; otherwise span and power are found together.

    Args:
        max_lift: m.
        seat_duration: crank angle above the seat lift, rad.
        seat_lift: lobe lift, m.
        check_duration: crank angle above the checking lift, rad.
        check_lift: lobe lift, m; above the seat lift.

    Returns:
        The curve; its span (rad) and power are NaN where no such lobe has both durations.

    Source: Rothbart (ed.), Cam Design Handbook, 2004, §4.7 for the curve; the fit is derived.

    >>> curve = lobe_curve(0.00762, np.radians(262), 0.0001524, np.radians(226), 0.00127)
    >>> round(float(np.degrees(curve.half_span)), 3), round(float(curve.power), 4)
    (146.402, 14.8816)

    """
    given: Any = np.broadcast_arrays(max_lift, seat_duration, seat_lift, check_duration, check_lift)
    lift, seat, seat_at, check, check_at = (each.astype(float) for each in given)
    span: Any = seat / 2
    if np.any(seat_at != 0):
        share, edge = check_at / lift, (GREATEST_POWER - 2) / (GREATEST_POWER + 4)
        with np.errstate(invalid="ignore"):
            low = np.maximum(seat / 2, check / 2 / np.sqrt((1 - share) * edge) * (1 + 1e-12))
            high = check / 2 / np.sqrt(1 - share**0.25) * (1 - 1e-12)

        def miss(half: Any) -> Any:
            return _derivative(seat / 2, lift, half, lobe_power(lift, half, check, check_at), 0) - seat_at

        span = np.where(seat_at == 0, span, root_between(miss, low, high))
    return LobeCurve(lift[()], span[()], lobe_power(lift, span, check, check_at))


def is_monotone(curve: Curve, points: int = 721) -> bool:
    """Whether a curve rises to its nose and falls from it; dips below 1/10 000 of the lift do not count.

    Source: definition.

    >>> is_monotone(LobeCurve(0.0065, np.radians(150), 19.88))
    True
    """
    laid = curve.columns()
    part = np.linspace(0.0, 1.0, points)
    slack = 1e-4 * np.max(np.asarray(curve.max_lift)) / points
    up = np.diff(laid.lift(-column(curve.spans[0]) * (1 - part)), axis=-1)
    down = np.diff(laid.lift(column(curve.spans[1]) * part), axis=-1)
    return bool(np.all(up >= -slack) and np.all(down <= slack))


def _above(curve: Curve, lobe_lift: Any, sign: float, place: Any) -> Any:
    return curve.lift(sign * place) - lobe_lift


def crossing(curve: Curve, lobe_lift: float) -> tuple[float, float]:
    """Crank angles before and after the nose at which the lobe passes a lift, both positive, in rad.

    Args:
        curve: of the lobe; monotone on each flank.
        lobe_lift: m; for a running valve the lash over the rocker ratio.

    NaN where the lobe never reaches the lift; the whole span for a lift of 0.

    Source: definition.

    >>> before, after = crossing(LobeCurve(0.0065, np.radians(150), 19.8807), 0.001)
    >>> round(float(np.degrees(before)), 3), round(float(np.degrees(after)), 3)
    (121.0, 121.0)

    """
    found = []
    for sign, span in zip((-1.0, 1.0), curve.spans, strict=True):
        place = root_between(partial(_above, curve, lobe_lift, sign), 0.0 * np.asarray(span), span)
        found.append(np.where(np.asarray(lobe_lift) == 0, span, place)[()])
    return found[0], found[1]


def duration_at(curve: Curve, lobe_lift: float) -> float:
    """Crank angle during which the lobe stands above a lift, in rad.

    Args:
        curve: of the lobe; monotone on each flank.
        lobe_lift: m; for a running valve the lash over the rocker ratio.

    NaN where the lobe never reaches the lift.

    Source: definition.

    >>> round(float(np.degrees(duration_at(LobeCurve(0.0065, np.radians(150), 19.8807), 0.0001 / 1.5))), 3)
    278.449

    """
    before, after = crossing(curve, lobe_lift)
    return before + after


def lift_area(curve: Curve, ratio: float, lash: float) -> float:
    """Area under the valve's lift, ∫ (R L − lash) dθ while it is open, in m·rad of the crank.

    Args:
        curve: of the lobe.
        ratio: R, valve over lobe.
        lash: at the valve, m.

    Simpson's rule over a thousand steps; rigid train, constant ratio.

    Source: definition; the lift is common practice, no source.

    >>> area = lift_area(LobeCurve(0.0065, np.radians(150), 19.8807), 1.5, 0.0001)
    >>> round(float(np.degrees(1000 * area)), 2)
    1675.77

    """
    before, after = crossing(curve, lash / ratio)
    steps = 1000
    weights = np.ones(steps + 1)
    weights[1:-1:2], weights[2:-1:2] = 4.0, 2.0
    places = column(-before) + column(before + after) * np.linspace(0.0, 1.0, steps + 1)
    lifts = column(ratio) * curve.columns().lift(places) - column(lash)
    area: float = (before + after) / steps / 3 * np.sum(weights * lifts, axis=-1)
    return area


def valve_gap(drop: float, mill: float, quench: float, pocket: float, valve_angle: float, flat: float = 0.0) -> float:
    """Gap between shut valve and piston at top dead centre, square to the pocket's floor, in metres.

    (valve drop − mill + quench + pocket depth) × cos α over a floor parallel to the valve's face, without the cosine
    over one square to the cylinder. Along the cylinder both floors are as far from the face's lowest point. A parallel
    floor is everywhere as far from the face, and square to both that is × cos α. A flat floor is nearest to the lowest
    point, and along the cylinder is square to it.

    Args:
        drop: lowest point of the valve's face below the head's face along the cylinder, before milling, m.
        mill: taken off the head, m.
        quench: piston to head's flat, m.
        pocket: depth of the piston's pocket along the cylinder, under the valve's lowest point, m.
        valve_angle: α, valve against cylinder, rad.
        flat: 1 where the floor is square to the cylinder, 0 where it is parallel to the valve's face.

    Room beside the valve is another matter.

    Source: geometry.

    >>> round(1000 * float(valve_gap(0.0030, 0.0005, 0.0010, 0.0020, np.radians(60))), 6)
    2.75

    """
    along: float = drop - mill + quench + pocket
    return along * where(flat > 0, 1.0, np.cos(valve_angle))


def piston_to_valve(
    gap: float,
    stroke: float,
    rod_length: float,
    pin_offset: float,
    valve_angle: float,
    curve: Curve,
    ratio: float,
    lash: float,
    nose: float,
    flat: float = 0.0,
) -> tuple[float, float]:
    """Least distance of piston and valve over a cycle, in metres, and where, in rad after the overlap's top.

    With L_v = max(0, R L − lash): over a floor parallel to the valve's face c(θ) = gap + s(θ) cos α − L_v, square to
    both; the piston goes away along the cylinder, of which cos α is square to the face, and the valve comes by all of
    its lift. Over a floor square to the cylinder c(θ) = gap + s(θ) − L_v cos α, the least over the valve's edge: every
    point of the face comes down by L_v cos α, so that the lowest stays the lowest, and from it the floor is as far as
    along the cylinder. For one and the same room along the cylinder the first is never more than the second: they
    differ by (room + s + L_v)(1 − cos α). While the valve is shut c is at least the gap, so that the open part is
    scanned (and refined) and the gap itself stands for the rest.

    Args:
        gap: at top dead centre with the valve shut, square to the floor, m; see :func:`valve_gap`.
        stroke: m.
        rod_length: m.
        pin_offset: m.
        valve_angle: α, rad.
        curve: of the lobe.
        ratio: R.
        lash: at the valve, m.
        nose: crank angle of the nose after the overlap's top dead centre, rad: the intake's centreline, or
            less the exhaust's.
        flat: 1 where the pocket's floor is square to the cylinder, 0 where it is parallel to the valve's face.

    Valid for a rigid train; sideways room is another matter.

    Source: geometry.

    >>> flat = LobeCurve(0.0, np.radians(150), 10.0)
    >>> least, angle = piston_to_valve(0.004, 0.06, 0.1, 0.0, 0.2, flat, 1.0, 0.0, np.radians(104))
    >>> float(least), float(angle)
    (0.004, 0.0)

    """
    along, across = (where(flat > 0, *ends) for ends in ((1.0, np.cos(valve_angle)), (np.cos(valve_angle), 1.0)))
    plain = (gap, stroke, rod_length, pin_offset, along, across, ratio, lash, nose)
    shape = np.broadcast_shapes(*(np.shape(each) for each in (*plain, curve.max_lift, *curve.spans)))
    wide = [column(np.broadcast_to(np.asarray(each, dtype=float), shape)) for each in plain]
    room, travel, rod, offset, of_drop, of_lift, rocker, play, centre = wide
    laid = curve.columns()

    def clearance(angle: Any) -> Any:
        drop: Any = drop_after_top(angle, travel, rod, offset)
        return room + drop * of_drop - of_lift * valve_lift_of(rocker * laid.lift(angle - centre), 1.0, play)

    start, end = (np.broadcast_to(nose + each, shape) for each in (-curve.spans[0], curve.spans[1]))
    open_least, open_angle = least_over_angle(clearance, start, end)
    shut = np.broadcast_to(np.asarray(gap, dtype=float), shape) <= open_least + 1e-12
    least: Any = np.where(shut, gap, open_least)
    angle: Any = np.where(shut, 0.0, open_angle)
    return least[()], angle[()]
