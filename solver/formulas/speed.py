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
    source="Heywood, Internal Combustion Engine Fundamentals, eq. 2.9 (from memory)",
    inputs=("piston_travel", "plan.rev_ceiling"),
)
def mean_piston_speed(travel: float, speed: float) -> float:
    """Mean piston speed, 2 s N, in m/s; piston travel in m, crank speed in rad/s (N = ω / 2π).

    Source: Heywood, Internal Combustion Engine Fundamentals, eq. 2.9 (from memory).

    >>> round(mean_piston_speed(0.070, 7500 * 2 * np.pi / 60), 6)
    17.5
    """
    return 2 * travel * speed / (2 * np.pi)


RATED = ("crank", "rod", "cam", "spring", "flywheel")
"""Kinds whose rating a rev ceiling has to be proved by."""


def rated_speed(rating: float) -> float:
    """A part's own speed limit, in rad/s; NaN where it has none. Source: definition, the limit is the maker's.

    >>> rated_speed(700.0)
    700.0
    """
    return rating


for _kind in RATED:
    figure(
        f"{_kind}_rating",
        unit="rpm",
        group="at speed",
        meaning=f"speed limit of the {_kind}",
        formula="the maker's",
        source="definition; the limit is the maker's",
        inputs=(f"{_kind}.max_rpm?",),
        public=False,
    )(rated_speed)


@figure(
    "rev_limit",
    unit="rpm",
    group="at speed",
    meaning="the lowest of all ratings; parts without one prove nothing",
    formula="min of the speed limits of crank, rod, cam, spring and flywheel, as far as known",
    source="definition; the limits are the makers'",
    inputs=tuple(f"{kind}_rating?" for kind in RATED),
    extreme="min",
    bound_without=tuple(f"{kind}.max_rpm" for kind in RATED),
)
def rev_limit(crank: float, rod: float, cam: float, spring: float, flywheel: float) -> float:
    """Lowest known speed limit, in rad/s, of limits in rad/s (NaN where unknown); NaN where none is known.

    Source: definition.

    >>> nan = float("nan")
    >>> float(rev_limit(700.0, nan, nan, 650.0, nan))
    650.0
    """
    lowest: float = np.fmin(np.fmin(np.fmin(crank, rod), np.fmin(cam, spring)), flywheel)
    return lowest
