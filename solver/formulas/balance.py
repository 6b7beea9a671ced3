"""Balance of a single: what the counterweight takes over and what stays. Masses are those of one cylinder."""

from __future__ import annotations

import numpy as np


def counterweight_mass(rotating: float, reciprocating: float, factor: float) -> float:
    """Counterweight needed at the crank pin's radius, m_rot + B m_rec, in kg.

    Args:
        rotating: crank pin and rod's big end, kg.
        reciprocating: piston, pin, rings and rod's small end, kg.
        factor: balance factor B, the share of the reciprocating mass that is countered.

    Valid for the rod taken as two masses.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(counterweight_mass(0.210, 0.370, 0.55), 6)
    0.4135

    """
    return rotating + factor * reciprocating


def counterweight_moment(stroke: float, rotating: float, reciprocating: float, factor: float) -> float:
    """Moment that a counterweight needs for a balance factor, M = r (m_rot + B m_rec), in kg m.

    Args:
        stroke: twice the throw r, m.
        rotating: m_rot, rod's big end, kg; the crank pin's own moment is not counted in M.
        reciprocating: m_rec, piston, pin, rings and rod's small end, kg.
        factor: balance factor B.

    Valid for the rod taken as two masses, in one plane. The inverse of :func:`balance_factor`.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(1e6 * counterweight_moment(0.070, 0.210, 0.370, 0.55), 3)
    14472.5

    """
    return stroke / 2 * counterweight_mass(rotating, reciprocating, factor)


def balance_factor(moment: float, stroke: float, rotating: float, reciprocating: float) -> float:
    """Share of the reciprocating mass that the counterweight takes over, B = (M / r − m_rot) / m_rec.

    Args:
        moment: M, the counterweight's mass times the radius of its centre, kg·m; of all that belongs to one
            cylinder.
        stroke: twice the throw r, m.
        rotating: m_rot, kg.
        reciprocating: m_rec, kg.

    Returns:
        B, dimensionless; usually 0.50 to 0.65.

    Valid for the rod taken as two masses and the moment counted without the crank pin's own.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(balance_factor(0.4135 * 0.035, 0.070, 0.210, 0.370), 6)
    0.55

    """
    return (moment / (stroke / 2) - rotating) / reciprocating


def primary_force(reciprocating: float, stroke: float, speed: float) -> float:
    """Amplitude of the first-order force of the reciprocating mass, m r ω², in N.

    Args:
        reciprocating: m, kg.
        stroke: twice the throw r, m.
        speed: crank speed ω, rad/s.

    Valid without pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> float(round(primary_force(0.37, 0.070, 7500 * np.pi / 30), 2))
    7988.21

    """
    return reciprocating * stroke / 2 * speed**2


def residual_axial_force(primary: float, factor: float) -> float:
    """Amplitude of the first-order force left along the cylinder, (1 − B) F, in N; F in N.

    Valid without pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(residual_axial_force(7988.21, 0.55), 2)
    3594.69
    """
    return (1.0 - factor) * primary


def residual_cross_force(primary: float, factor: float) -> float:
    """Amplitude of the force that the counterweight makes across the cylinder, B F, in N; F in N.

    Valid without pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(residual_cross_force(7988.21, 0.55), 2)
    4393.52
    """
    return factor * primary


def secondary_force(primary: float, stroke: float, rod_length: float) -> float:
    """Amplitude of the second-order force, F r / l, twice a turn, in N.

    No counterweight on the crank touches it.

    Args:
        primary: F, N.
        stroke: twice the throw r, m.
        rod_length: l, m.

    Valid for two harmonics and no pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> round(secondary_force(7988.21, 0.070, 0.1105), 2)
    2530.2

    """
    return primary * (stroke / 2) / rod_length


def axial_force(angle: float, primary: float, secondary: float, factor: float) -> float:
    """Shaking force along the cylinder, (1 − B) F cos θ + F₂ cos 2θ, in N; positive towards the head.

    Args:
        angle: crank angle θ from top dead centre, rad.
        primary: F, N.
        secondary: F₂, N.
        factor: B.

    Valid for two harmonics and no pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> float(round(axial_force(np.pi / 4, 7988.21, 2530.2, 0.55), 2))
    2541.83

    """
    force: float = residual_axial_force(primary, factor) * np.cos(angle) + secondary * np.cos(2 * angle)
    return force


def cross_force(angle: float, primary: float, factor: float) -> float:
    """Shaking force across the cylinder, −B F sin θ, in N; positive to the side of the falling crank pin.

    Args:
        angle: crank angle θ from top dead centre, rad.
        primary: F, N.
        factor: B.

    Valid for two harmonics and no pin offset.

    Source: Norton, Design of Machinery, engine dynamics (recalled, recomputed).

    >>> float(round(cross_force(np.pi / 4, 7988.21, 0.55), 1))
    -3106.7

    """
    force: float = -residual_cross_force(primary, factor) * np.sin(angle)
    return force
