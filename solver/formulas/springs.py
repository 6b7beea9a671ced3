"""Valve springs: rate, stress, forces and surge, and the crank speed at which the valve leaves its cam."""

from __future__ import annotations

from typing import Any

import numpy as np

from kitwright.solver.formulas.cam_curve import Curve, LobeCurve
from kitwright.solver.formulas.kinematics import column, least_over_angle
from kitwright.solver.formulas.valve_gear import valve_lift_of

EN_SURGE = 3560e-3 * np.sqrt(1e-3)
"""Constant of EN 13906-1, 3560 with mm, N/mm² and kg/dm³, turned to SI; exactly it would be 1 / (2π√2)."""


def spring_rate(shear_modulus: float, wire: float, coil_diameter: float, active_coils: float) -> float:
    """Rate of a helical spring, k = G d⁴ / (8 D³ Na), in N/m.

    Args:
        shear_modulus: G, Pa.
        wire: d, m.
        coil_diameter: D, mean, m.
        active_coils: Na.

    Valid for round wire, index 4 to 12 and 3 to 15 active coils.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 10, eqs. 10-18 and 10-19 for the range.

    >>> round(spring_rate(77.2e9, 0.0032, 0.0228, 5.0) / 1000, 4)
    17.0747

    """
    return shear_modulus * wire**4 / (8 * coil_diameter**3 * active_coils)


def spring_index(wire: float, coil_diameter: float) -> float:
    """Index of a spring, C = D / d, dimensionless; both in m.

    Usual from 4 to 12.

    Source: Shigley's Mechanical Engineering Design, 9th ed., eq. 10-18.

    >>> round(spring_index(0.0032, 0.0228), 6)
    7.125
    """
    return coil_diameter / wire


def bergstraesser_factor(index: float) -> float:
    """Stress factor for curvature and shear, K_B = (4C + 2) / (4C − 3), dimensionless.

    The same as EN 13906-1's (w + ½) / (w − ¾).

    Valid for an index C of 4 to 12.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 10; EN 13906-1:2013 (recalled, recomputed).

    >>> round(bergstraesser_factor(7.125), 5)
    1.19608
    """
    return (4 * index + 2) / (4 * index - 3)


def wahl_factor(index: float) -> float:
    """Wahl's stress factor, K_W = (4C − 1) / (4C − 4) + 0.615 / C, dimensionless.

    Valid for an index C of 4 to 12.

    Source: Mechanical Engineer's Data Handbook, §1.5.

    >>> round(wahl_factor(7.125), 5)
    1.20876
    """
    return (4 * index - 1) / (4 * index - 4) + 0.615 / index


def spring_stress(force: float, wire: float, coil_diameter: float, factor: float) -> float:
    """Shear stress at the coil's inside, τ = K 8 F D / (π d³), in Pa.

    Args:
        force: F, N.
        wire: d, m.
        coil_diameter: D, mean, m.
        factor: K, by :func:`bergstraesser_factor` or :func:`wahl_factor`.

    Valid for round wire, elastic.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 10 (recalled, recomputed).

    >>> round(spring_stress(284.293, 0.0032, 0.0228, 1.19608) / 1e6, 1)
    602.5

    """
    return factor * 8 * force * coil_diameter / (np.pi * wire**3)


def solid_height(wire: float, total_coils: float) -> float:
    """Height with the coils touching, Nt d, in metres; wire diameter d in m.

    Valid for closed and ground ends; with ends that are not ground one wire comes on top.

    Source: Machinery's Handbook, 31st ed., p. 319.

    >>> round(1000 * solid_height(0.0032, 7.0), 6)
    22.4
    """
    return total_coils * wire


def active_from_total(total_coils: float) -> float:
    """Active coils of a spring with closed ends, Na = Nt − 2, dimensionless.

    Source: Shigley's Mechanical Engineering Design, 9th ed., table 10-1 (recalled, recomputed).

    >>> active_from_total(7.0)
    5.0
    """
    return total_coils - 2.0


def closed_pitch(free_length: float, wire: float, active_coils: float) -> float:
    """Pitch of a spring with closed ends that are not ground, (L0 − 3 d) / Na, in metres.

    Args:
        free_length: L0, m.
        wire: d, m.
        active_coils: Na.

    Valid for a spring of even pitch.

    Source: Shigley's Mechanical Engineering Design, 9th ed., table 10-1 (recalled, recomputed).

    >>> round(1000 * closed_pitch(0.0525, 0.00094, 10.5), 4)
    4.7314

    """
    return (free_length - 3 * wire) / active_coils


def stable_length(coil_diameter: float, end_constant: float) -> float:
    """Free length from which a steel spring can buckle, 2.63 D / α, in metres.

    Args:
        coil_diameter: D, mean, m.
        end_constant: α, ½ between flat, parallel seats.

    Valid for steels.

    Source: Shigley's Mechanical Engineering Design, 9th ed., eq. 10-12 and table 10-2 (recalled, recomputed).

    >>> round(1000 * stable_length(0.0228, 0.5), 3)
    119.928

    """
    return 2.63 * coil_diameter / end_constant


def spring_force(rate: float, free_length: float, installed: float, lift: float) -> float:
    """Force of the spring at a lift, k (L0 − h + lift), in N; at no lift it is the seat's.

    Args:
        rate: k, N/m.
        free_length: L0, m.
        installed: h, installed height with retainer and shims, m.
        lift: at the valve, m.

    Valid for a linear spring down to its solid height.

    Source: geometry, common practice.

    >>> round(spring_force(17074.7, 0.045, 0.038, 0.00965), 2)
    284.29

    """
    return rate * (free_length - installed + lift)


def wire_mass(wire: float, coil_diameter: float, coils: float, density: float) -> float:
    """Mass of a number of coils, ρ (π/4) d² π D N, in kg.

    Args:
        wire: d, m.
        coil_diameter: D, mean, m.
        coils: N: the active ones for surge, all for the spring's own mass.
        density: ρ, kg/m³.

    Valid for a pitch that is small beside the coil.

    Source: geometry.

    >>> round(1000 * wire_mass(0.0032, 0.0228, 5.0, 7850.0), 4)
    22.6107

    """
    return density * np.pi**2 / 4 * wire**2 * coil_diameter * coils


def surge_frequency(rate: float, active_mass: float) -> float:
    """Lowest surge frequency with both ends seated, f = ½ √(k / m), in Hz.

    The same as d / (2π D² Na) √(G / 2ρ).

    Args:
        rate: k, N/m.
        active_mass: m of the active coils, kg.

    Valid for a spring of even pitch.

    Source: Shigley's Mechanical Engineering Design, 9th ed., §10-8 (recalled, recomputed).

    >>> round(float(surge_frequency(17074.7, 0.0226107)), 2)
    434.5

    """
    frequency: float = 0.5 * np.sqrt(rate / active_mass)
    return frequency


def surge_frequency_en(
    wire: float, coil_diameter: float, active_coils: float, shear_modulus: float, density: float
) -> float:
    """Lowest surge frequency by EN 13906-1, 3560 d / (n D²) √(G / ρ) with mm, N/mm² and kg/dm³, in Hz.

    Args:
        wire: d, m.
        coil_diameter: D, mean, m.
        active_coils: n.
        shear_modulus: G, Pa.
        density: ρ, kg/m³.

    The rounded constant makes it 0.03 % more than :func:`surge_frequency`. Valid for a spring of even pitch,
    both ends seated.

    Source: EN 13906-1:2013 (recalled, recomputed).

    >>> round(float(surge_frequency_en(0.0032, 0.0228, 5.0, 77.2e9, 7850.0)), 2)
    434.64

    """
    frequency: float = EN_SURGE * wire / (active_coils * coil_diameter**2) * np.sqrt(shear_modulus / density)
    return frequency


def effective_mass(
    valve_side: float, spring: float, inertia: float, valve_arm: float, cam_side: float, ratio: float
) -> float:
    """Mass that the spring has to follow, seen at the valve, in kg.

    Valve, retainer and keys + spring/3 + I / l² + (pushrod + lifter) / R².

    Args:
        valve_side: valve, retainer and keys, kg.
        spring: whole spring, kg.
        inertia: I of the rocker about its shaft, kg·m²; 0 without a rocker.
        valve_arm: l, rocker shaft to valve tip, m.
        cam_side: pushrod and lifter, kg.
        ratio: R, valve over lobe.

    Valid for a rigid train.

    Source: Rayleigh's third of the spring; Norton, Design of Machinery, lumped models (recalled, recomputed).

    >>> round(1000 * effective_mass(0.065, 0.031655, 8e-6, 0.032, 0.078, 1.5), 3)
    118.031

    """
    return valve_side + spring / 3 + inertia / valve_arm**2 + cam_side / ratio**2


def valve_velocity(angle: float, curve: Curve, ratio: float, speed: float) -> float:
    """Velocity of the valve, R (dL/dθ) ω, in m/s; negative while it closes.

    Args:
        angle: crank angle from the nose, rad.
        curve: of the lobe.
        ratio: R.
        speed: crank speed ω, rad/s.

    Rigid train, constant ratio, lash taken up.

    Source: Rothbart (ed.), Cam Design Handbook, 2004.

    >>> curve = LobeCurve(0.0065, np.radians(150), 19.8807)
    >>> round(float(valve_velocity(np.radians(111.187), curve, 1.5, 7500 * np.pi / 30)), 3)
    -5.407

    """
    velocity: float = ratio * curve.slope(angle) * speed
    return velocity


def valve_acceleration(angle: float, curve: Curve, ratio: float, speed: float) -> float:
    """Acceleration of the valve, R (d²L/dθ²) ω², in m/s²; negative over the nose.

    Args:
        angle: crank angle from the nose, rad.
        curve: of the lobe.
        ratio: R.
        speed: crank speed ω, rad/s.

    Rigid train, constant ratio, lash taken up.

    Source: Rothbart (ed.), Cam Design Handbook, 2004.

    >>> curve = LobeCurve(0.0065, np.radians(150), 19.8807)
    >>> round(float(valve_acceleration(0.0, curve, 1.5, 7500 * np.pi / 30)), 1)
    -2343.9

    """
    acceleration: float = ratio * curve.bend(angle) * speed**2
    return acceleration


def fastest_closing(curve: Curve, ratio: float, speed: float) -> tuple[float, float]:
    """Greatest closing velocity of the valve (negative), in m/s, and its crank angle from the nose, in rad.

    Args:
        curve: of the lobe.
        ratio: R.
        speed: crank speed, rad/s.

    Source: Rothbart (ed.), Cam Design Handbook, 2004; scanned and refined.

    >>> _, angle = fastest_closing(LobeCurve(0.0065, np.radians(150), 19.8807), 1.5, 785.398)
    >>> round(float(np.degrees(angle)), 3)
    111.187

    """
    span = np.asarray(curve.spans[1], dtype=float)
    least, angle = least_over_angle(curve.columns().slope, 0.0 * span, span)
    return ratio * least * speed, angle


def greatest_acceleration(curve: Curve, ratio: float, speed: float) -> tuple[float, float]:
    """Greatest acceleration of the valve on the closing flank, in m/s², and its angle from the nose, in rad.

    Args:
        curve: of the lobe.
        ratio: R.
        speed: crank speed, rad/s.

    Source: Rothbart (ed.), Cam Design Handbook, 2004; scanned and refined.

    >>> _, angle = greatest_acceleration(LobeCurve(0.0065, np.radians(150), 19.8807), 1.5, 785.398)
    >>> round(float(np.degrees(angle)), 3)
    136.259

    """
    laid, span = curve.columns(), np.asarray(curve.spans[1], dtype=float)
    least, angle = least_over_angle(lambda x: -laid.bend(x), 0.0 * span, span)
    return -ratio * least * speed**2, angle


def nose_float_speed(open_force: float, mass: float, curve: Curve, ratio: float) -> float:
    """Crank speed at which the spring no longer holds the valve on the nose, √(F / (m R |L″|)), in rad/s.

    An upper bound: the valve may leave the flank sooner, see :func:`float_speed`.

    Args:
        open_force: F at full lift, N.
        mass: m, effective at the valve, kg.
        curve: of the lobe.
        ratio: R.

    Valid for a rigid train, surge ignored.

    Source: Norton, Design of Machinery, lumped models (recalled, recomputed).

    >>> curve = LobeCurve(0.0065, np.radians(150), 19.8807)
    >>> float(round(nose_float_speed(284.293, 0.118031, curve, 1.5) * 30 / np.pi, 1))
    7602.9

    """
    with np.errstate(divide="ignore"):
        speed: float = np.sqrt(np.maximum(open_force, 0.0) / (mass * ratio * np.abs(curve.bend(0.0))))
    return speed


def float_speed(
    rate: float, free_length: float, installed: float, mass: float, curve: Curve, ratio: float, lash: float
) -> tuple[float, float]:
    """Lowest crank speed at which the valve leaves its cam, in rad/s, and where, in rad from the nose.

    Over every θ with a negative acceleration: ω² = F(θ) / (m R |L″(θ)|), F = k (L0 − h + max(0, R L − lash)).

    Args:
        rate: k, N/m.
        free_length: L0, m.
        installed: h, m.
        mass: m, effective at the valve, kg.
        curve: of the lobe.
        ratio: R.
        lash: at the valve, m.

    Valid for a rigid train, surge ignored; 0 where the spring is slack. Where both flanks are
    alike, the angle is that of the closing one.

    Source: Norton, Design of Machinery, lumped models (recalled, recomputed); scanned and refined.

    >>> curve = LobeCurve(0.0065, np.radians(150), 19.8807)
    >>> speed, angle = float_speed(17074.7, 0.045, 0.038, 0.118031, curve, 1.5, 0.0001)
    >>> float(round(speed * 30 / np.pi, 1)), float(round(np.degrees(angle), 2))
    (6596.9, 90.29)

    """
    plain = (rate, free_length, installed, mass, ratio, lash)
    shape = np.broadcast_shapes(*(np.shape(each) for each in (*plain, curve.max_lift, *curve.spans)))
    wide = [column(np.broadcast_to(np.asarray(each, dtype=float), shape)) for each in plain]
    stiffness, free, height, moving, rocker, play = wide
    laid = curve.columns()

    def square(angle: Any) -> Any:
        force = spring_force(stiffness, free, height, valve_lift_of(laid.lift(angle), rocker, play))
        bend = rocker * laid.bend(angle)
        with np.errstate(divide="ignore", invalid="ignore"):
            held = np.maximum(force, 0.0) / (moving * -bend)
        return np.where(bend >= 0, np.inf, held)

    low, high = (np.broadcast_to(np.asarray(each, dtype=float), shape) for each in curve.spans)
    after, after_angle = least_over_angle(square, np.zeros(shape), high)
    if isinstance(curve, LobeCurve):
        return np.sqrt(after)[()], after_angle
    before, before_angle = least_over_angle(lambda x: square(-x), np.zeros(shape), low)
    sooner = before < after
    least = np.where(sooner, before, after)
    angle: Any = np.where(sooner, -before_angle, after_angle)
    return np.sqrt(least)[()], angle[()]
