"""Pushrod length after the head has moved, and the rocker's sweep over the valve's tip."""

from __future__ import annotations

import numpy as np


def cup_rise(stack: float, deck_cut: float, mill: float, base_circle_loss: float) -> float:
    """How far the rocker's cup moves away from the lifter, in metres.

    Δ = stack − deck cut − milling + base circle loss, each against the reference for which a length is known.

    Args:
        stack: change of the gasket stack against the reference (spacers under the barrel too), m.
        deck_cut: change of the metal off the deck, m.
        mill: change of the metal off the head, m.
        base_circle_loss: reference base radius less the cam's, m.

    Valid for lifter and cylinder on parallel axes and a rocker stand that sits on the head.

    Source: geometry.

    >>> round(1000 * cup_rise(0.0005, 0.0, 0.00025, 0.0005), 6)
    0.75

    """
    return stack - deck_cut - mill + base_circle_loss


def pushrod_change(length: float, rise: float, angle: float) -> float:
    """By how much the pushrod has to be longer, √(L² + Δ² + 2 L Δ cos φ) − L, in metres.

    Args:
        length: L, known to be right for the reference, m.
        rise: Δ along the cylinder, m.
        angle: φ between pushrod and cylinder, rad.

    Exact, written as Δ (Δ + 2 L cos φ) / (needed + L) to keep its digits; near Δ cos φ for small Δ.

    Source: geometry (law of cosines).

    >>> float(pushrod_change(3.0, 4.0, np.pi / 2))
    2.0

    """
    both = needed_pushrod(length, rise, angle) + length
    change: float = rise * (rise + 2 * length * np.cos(angle)) / both
    return change


def needed_pushrod(length: float, rise: float, angle: float) -> float:
    """Pushrod length that is needed, √(L² + Δ² + 2 L Δ cos φ), in metres.

    Args:
        length: L, known to be right for the reference, m.
        rise: Δ along the cylinder, m.
        angle: φ between pushrod and cylinder, rad.

    Exact.

    Source: geometry (law of cosines).

    >>> float(needed_pushrod(3.0, 4.0, np.pi / 2))
    5.0

    """
    needed: float = np.sqrt(length**2 + rise**2 + 2 * length * rise * np.cos(angle))
    return needed


def rocker_sweep(arm: float, below: float, above: float) -> float:
    """How far the rocker's contact slides across the valve tip, l − √(l² − h²), in metres.

    h is the larger travel either side of the position in which the arm stands square to the valve.

    Args:
        arm: l, rocker shaft to valve tip, m.
        below: lift at which the arm stands square, m.
        above: lift from there to the greatest, m.

    Valid for a point contact and h < l, NaN outside; least where the arm is square at half lift.

    Source: geometry; the half-lift rule is common practice, no source.

    >>> round(1000 * float(rocker_sweep(0.032, 0.004825, 0.004825)), 6)
    0.365851

    """
    travel = np.maximum(np.abs(below), np.abs(above))
    with np.errstate(invalid="ignore"):
        sweep: float = arm - np.sqrt(arm**2 - travel**2)
    return sweep
