"""How far a valve spring's own frequency stands above that of its cam."""

from __future__ import annotations

import math

from kitwright.solver.registry import figure


@figure(
    "surge_order",
    unit="",
    group="at speed",
    meaning="how many times the spring surges in one turn of the cam, at the rev ceiling",
    formula="spring surge / (rev ceiling / 120), the ceiling in rpm: the cam turns at half the crank's speed",
    source="definition",
    inputs=("spring_surge", "plan.rev_ceiling"),
    step=0.5,
)
def surge_order(surge: float, speed: float) -> float:
    """Surge frequency over the cam's turns a second, 4π f / ω, without unit; f in Hz, ω of the crank in rad/s.

    The higher, the weaker the harmonic of the lift that the spring answers to. Valid for a four-stroke engine.

    Source: definition; the cam turns at half the crank's speed.

    >>> round(surge_order(434.64, 4500 * math.pi / 30), 3)
    11.59
    """
    return 4 * math.pi * surge / speed
