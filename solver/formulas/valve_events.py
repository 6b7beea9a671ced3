"""Figures of the cam's timing: when the valves open and close, by the durations at the cam's seat lift."""

from __future__ import annotations

import numpy as np

from kitwright.solver.formulas import gas
from kitwright.solver.formulas.arrays import where
from kitwright.solver.registry import figure

_SOURCE = "geometry of symmetric lobes; common practice, no source"
_GROUP = "cam timing"


@figure(
    "intake_nose",
    unit="deg",
    group=_GROUP,
    meaning="crank angle of the intake's greatest lift after the overlap's top dead centre",
    formula="intake centreline",
    source="definition",
    inputs=("cam.intake_centreline",),
    public=False,
)
def intake_nose(centreline: float) -> float:
    """Crank angle of the intake's greatest lift after the overlap's top dead centre, in rad. Source: definition.

    >>> intake_nose(1.8)
    1.8
    """
    return centreline


@figure(
    "exhaust_nose",
    unit="deg",
    group=_GROUP,
    meaning="crank angle of the exhaust's greatest lift after the overlap's top dead centre; before it: below 0",
    formula="intake centreline − 2 × lobe separation",
    source=_SOURCE,
    inputs=("cam.lobe_separation", "cam.intake_centreline"),
    public=False,
)
def exhaust_nose(separation: float, centreline: float) -> float:
    """Crank angle of the exhaust's greatest lift after the overlap's top dead centre, ICL − 2 LSA, in rad; below 0.

    Separation in rad of the cam, which counts once for each crank degree either side; centreline in rad of the crank.
    Source: geometry, common practice.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(exhaust_nose(*radians([106.0, 104.0])))), 6)
    -108.0
    """
    return -gas.exhaust_centreline(separation, centreline)


def opens_of(duration: float, nose: float, skew: float) -> float:
    """Crank angle after the overlap's top dead centre at which a valve opens, nose + skew − duration / 2, in rad.

    It belongs to the lobe lift at which the duration was taken, rad of the crank. The skew is how far the middle of the
    duration stands after the nose, rad: NaN, for no readings of the lobe, counts as 0. Source: geometry, common
    practice.

    >>> from numpy import degrees, nan, radians
    >>> round(float(degrees(opens_of(*radians([268.0, 104.0]), nan))), 6)
    -30.0
    """
    return nose + where(np.isnan(skew), 0.0, skew) - duration / 2


def closes_of(duration: float, nose: float, skew: float) -> float:
    """Crank angle after the overlap's top dead centre at which a valve closes, nose + skew + duration / 2, in rad.

    As :func:`opens_of`. Source: geometry, common practice.

    >>> from numpy import degrees, nan, radians
    >>> round(float(degrees(closes_of(*radians([268.0, 104.0]), nan))), 6)
    238.0
    """
    return nose + where(np.isnan(skew), 0.0, skew) + duration / 2


def intake_opens(duration: float, nose: float, skew: float) -> float:
    """Crank angle before top dead centre at which the intake opens, in rad; arguments as :func:`opens_of`.

    Source: geometry, common practice.

    >>> from numpy import degrees, nan, radians
    >>> round(float(degrees(intake_opens(*radians([268.0, 104.0]), nan))), 6)
    30.0
    """
    return -opens_of(duration, nose, skew)


def intake_closes(duration: float, nose: float, skew: float) -> float:
    """Crank angle after bottom dead centre at which the intake closes, in rad; arguments as :func:`opens_of`.

    Bottom is half a turn after top, as on a degree wheel. Source: geometry, common practice.

    >>> from numpy import degrees, nan, radians
    >>> round(float(degrees(intake_closes(*radians([268.0, 104.0]), nan))), 6)
    58.0
    """
    return closes_of(duration, nose, skew) - np.pi


def exhaust_opens(duration: float, nose: float, skew: float) -> float:
    """Crank angle before bottom dead centre at which the exhaust opens, in rad; arguments as :func:`opens_of`.

    Source: geometry, common practice.

    >>> from numpy import degrees, nan, radians
    >>> round(float(degrees(exhaust_opens(*radians([272.0, -108.0]), nan))), 6)
    64.0
    """
    return -np.pi - opens_of(duration, nose, skew)


for _valve, _name, _meaning, _formula, _function in (
    ("intake", "opens", "opening before top dead centre", "duration / 2 − centreline", intake_opens),
    ("intake", "closes", "closing after bottom dead centre", "centreline + duration / 2 − 180°", intake_closes),
    (
        "exhaust",
        "opens",
        "opening before bottom dead centre",
        "2 × lobe separation − intake centreline + duration / 2 − 180°",
        exhaust_opens,
    ),
    (
        "exhaust",
        "closes",
        "closing after top dead centre",
        "duration / 2 − (2 × lobe separation − intake centreline)",
        closes_of,
    ),
):
    figure(
        f"{_valve}_{_name}",
        unit="deg",
        group=_GROUP,
        meaning=f"{_valve} {_meaning}, at the cam's seat lift; negative: on its other side",
        formula=_formula.replace("duration", f"{_valve} seat duration", 1)
        + "; the centreline moved by half of what a flank that was read is longer than the other",
        source=_SOURCE,
        inputs=(f"cam.{_valve}_duration", f"{_valve}_nose", f"cam.{_valve}_skew?"),
    )(_function)


@figure(
    "overlap",
    unit="deg",
    group=_GROUP,
    meaning="crank angle with both valves open, at the cam's seat lift; negative: there is none",
    formula="intake opening before top + exhaust closing after top",
    source=_SOURCE,
    inputs=("intake_opens", "exhaust_closes"),
)
def overlap(intake_opening: float, exhaust_closing: float) -> float:
    """Crank angle during which both valves are open, in rad: the opening before top and the closing after it, added.

    Both in rad. Source: definition.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(overlap(*radians([30.0, 28.0])))), 6)
    58.0
    """
    return intake_opening + exhaust_closing
