"""Loads on the rod at speed, and what heat and stretch leave of the quench."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kitwright.solver.formulas.kinematics import top_acceleration


def reciprocating_mass(piston: float, small_end: float) -> float:
    """Mass that goes up and down, in kg: piston with pin, rings and clips, plus the rod's small end.

    Args:
        piston: with pin, rings and clips, kg.
        small_end: of the rod, weighed level, kg.

    Valid for the rod taken as two masses at its ends.

    Source: Norton, Design of Machinery, two-mass rod (recalled, recomputed).

    >>> round(reciprocating_mass(0.280, 0.090), 6)
    0.37

    """
    return piston + small_end


def inertia_load(mass: float, acceleration: float) -> float:
    """Pull of the reciprocating mass on the rod, F = m a, in N.

    Args:
        mass: reciprocating mass, kg.
        acceleration: of the piston, m/s²; that of top dead centre for the greatest pull.

    Valid without gas pressure (the exhaust stroke's top) and without the mass of the rod's shank.

    Source: Newton's second law.

    >>> round(inertia_load(0.37, 28428.1), 1)
    10518.4

    """
    return mass * acceleration


def speed_at_load(load: float, mass: float, stroke: float, rod_length: float, pin_offset: float) -> float:
    """Crank speed at which the pull at top dead centre reaches a load, √(F / (m a₁)), in rad/s.

    a₁ is the acceleration at top dead centre for ω = 1 rad/s.

    Args:
        load: F, N.
        mass: reciprocating mass m, kg.
        stroke: m.
        rod_length: m.
        pin_offset: m.

    Valid where :func:`~kitwright.solver.formulas.kinematics.top_acceleration` is.

    Source: Newton's second law; geometry.

    >>> float(round(speed_at_load(10518.4, 0.37, 0.070, 0.1105, 0.0) * 30 / np.pi))
    7500.0

    """
    speed: float = np.sqrt(load / (mass * top_acceleration(stroke, rod_length, pin_offset, 1.0)))
    return speed


def rod_stress(load: float, area: float) -> float:
    """Mean tension in the rod's least section, F / A, in Pa; load in N, section in m².

    Valid away from fillets and bolts, which stand more.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 3 (recalled, recomputed).

    >>> round(rod_stress(10518.4, 95e-6) / 1e6, 2)
    110.72
    """
    return load / area


def rod_stretch(load: float, length: float, area: float, elasticity: float) -> float:
    """How much the rod stretches, δ = F l / (A E), in metres.

    Args:
        load: F, N.
        length: l, centre to centre, m.
        area: A, the shank's section, m².
        elasticity: E, Young's modulus, Pa.

    Valid below the yield point, for one section from end to end; the least section gives too much rather than
    too little.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled, recomputed).

    >>> round(1000 * rod_stretch(10518.4, 0.1105, 95e-6, 207e9), 6)
    0.059104

    """
    return load * length / (area * elasticity)


def load_at_stretch(stretch: float, length: float, area: float, elasticity: float) -> float:
    """Load that stretches the rod by a given amount, F = δ A E / l, in N; the inverse of :func:`rod_stretch`.

    Args:
        stretch: δ, m.
        length: l, m.
        area: A, m².
        elasticity: E, Pa.

    Valid below the yield point.

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled, recomputed).

    >>> round(load_at_stretch(59.1042e-6, 0.1105, 95e-6, 207e9), 1)
    10518.4

    """
    return stretch * area * elasticity / length


def thermal_growth(length: float, expansion: float, rise: float) -> float:
    """How much a length grows with heat, δ = α L ΔT, in metres.

    Args:
        length: L, cold, m.
        expansion: α, 1/K.
        rise: ΔT, K, the same all over the part.

    Valid for uniform temperatures near room temperature; α grows with it.

    Source: Callister, Materials Science and Engineering, app. B.6.

    >>> round(1000 * thermal_growth(0.100, 12.3e-6, 100.0), 3)
    0.123

    """
    return length * expansion * rise


def bearing_take_up(diametral_clearances: Sequence[float]) -> float:
    """How far the piston rises as its bearings are pulled to one side, in metres.

    Half the sum of their clearances.

    The clearances are diametral, in m: main bearing, big end, pin. Valid for the cold measurement having been
    taken with every bearing centred.

    Source: common practice, no source.

    >>> round(1000 * float(bearing_take_up([0.00004, 0.000015, 0.00003])), 6)
    0.0425
    """
    total: float = sum(diametral_clearances[1:], start=diametral_clearances[0])
    return total / 2


def quench_at_speed(quench: float, stretch: float, outer_growth: float, inner_growth: float, take_up: float) -> float:
    """Piston to head when hot and turning, in metres.

    Quench + growth outside − growth inside − stretch − take-up.

    Args:
        quench: cold and at rest, m.
        stretch: of the rod, m.
        outer_growth: of barrel and case, which move the head away, m.
        inner_growth: of throw, rod and piston, which move the crown up, m.
        take_up: of the bearings, m.

    Valid without piston rock, which comes off besides; pass 0 for what is left out.

    Source: geometry; the budget is common practice, no source.

    >>> round(1000 * quench_at_speed(0.001, 59.1042e-6, 257.023e-6, 289.89e-6, 42.5e-6), 5)
    0.86553

    """
    return quench + outer_growth - inner_growth - stretch - take_up
