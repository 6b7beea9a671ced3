"""What happens at the rev ceiling, and how high the ceiling may be."""

from __future__ import annotations

import numpy as np

from kitwright.solver.registry import figure


@figure(
    "mean_piston_speed",
    unit="m_s",
    group="at speed",
    meaning="mean piston speed at the rev ceiling",
    formula="2 × stroke × revolutions per second",
    source="Heywood, Internal Combustion Engine Fundamentals, eq. 2.9 (recalled)",
    inputs=("piston_travel", "plan.rev_ceiling"),
)
def mean_piston_speed(travel: float, speed: float) -> float:
    """Mean piston speed, 2 s N, in m/s; piston travel in m, crank speed in rad/s (N = ω / 2π).

    Source: Heywood, Internal Combustion Engine Fundamentals, eq. 2.9 (recalled, recomputed).

    >>> round(mean_piston_speed(0.070, 7500 * 2 * np.pi / 60), 6)
    17.5
    """
    return 2 * travel * speed / (2 * np.pi)
