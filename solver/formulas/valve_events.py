"""Figures of the cam's timing: when the valves open and close, by the durations at the cam's seat lift."""

from __future__ import annotations

from kitwright.solver.formulas import gas
from kitwright.solver.registry import figure

_SOURCE = "geometry of symmetric lobes; common practice, no source"
_GROUP = "cam timing"


@figure(
    "intake_opens",
    unit="deg",
    group=_GROUP,
    meaning="intake opening before top dead centre, at the cam's seat lift; negative: after it",
    formula="intake seat duration / 2 − intake centreline",
    source=_SOURCE,
    inputs=("cam.intake_duration", "cam.intake_centreline"),
)
def intake_opens(duration: float, centreline: float) -> float:
    """Crank angle before top dead centre at which the intake opens, Di/2 − ICL, in rad; both in rad of the crank.

    It belongs to the lobe lift at which the duration was taken. Exact for symmetric lobes. Source: geometry, common
    practice.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(intake_opens(*radians([268.0, 104.0])))), 6)
    30.0
    """
    return gas.valve_events(duration, 0.0, 0.0, centreline, 0.0).intake_opens_before_top


@figure(
    "intake_closes",
    unit="deg",
    group=_GROUP,
    meaning="intake closing after bottom dead centre, at the cam's seat lift; negative: before it",
    formula="intake centreline + intake seat duration / 2 − 180°",
    source=_SOURCE,
    inputs=("cam.intake_duration", "cam.intake_centreline"),
)
def intake_closes(duration: float, centreline: float) -> float:
    """Crank angle after bottom dead centre at which the intake closes, ICL + Di/2 − π, in rad; both in rad.

    It belongs to the lobe lift at which the duration was taken; bottom is half a turn after top, as on a degree wheel.
    Exact for symmetric lobes. Source: geometry, common practice.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(intake_closes(*radians([268.0, 104.0])))), 6)
    58.0
    """
    return gas.valve_events(duration, 0.0, 0.0, centreline, 0.0).intake_closes_after_bottom


@figure(
    "exhaust_opens",
    unit="deg",
    group=_GROUP,
    meaning="exhaust opening before bottom dead centre, at the cam's seat lift; negative: after it",
    formula="2 × lobe separation − intake centreline + exhaust seat duration / 2 − 180°",
    source=_SOURCE,
    inputs=("cam.exhaust_duration", "cam.lobe_separation", "cam.intake_centreline"),
)
def exhaust_opens(duration: float, separation: float, centreline: float) -> float:
    """Crank angle before bottom dead centre at which the exhaust opens, 2 LSA − ICL + De/2 − π, in rad.

    Duration and centreline in rad of the crank, separation in rad of the cam (which counts twice). It belongs to the
    lobe lift at which the duration was taken. Exact for symmetric lobes. Source: geometry, common practice.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(exhaust_opens(*radians([272.0, 106.0, 104.0])))), 6)
    64.0
    """
    return gas.valve_events(0.0, duration, separation, centreline, 0.0).exhaust_opens_before_bottom


@figure(
    "exhaust_closes",
    unit="deg",
    group=_GROUP,
    meaning="exhaust closing after top dead centre, at the cam's seat lift; negative: before it",
    formula="exhaust seat duration / 2 − (2 × lobe separation − intake centreline)",
    source=_SOURCE,
    inputs=("cam.exhaust_duration", "cam.lobe_separation", "cam.intake_centreline"),
)
def exhaust_closes(duration: float, separation: float, centreline: float) -> float:
    """Crank angle after top dead centre at which the exhaust closes, De/2 − (2 LSA − ICL), in rad.

    Duration and centreline in rad of the crank, separation in rad of the cam (which counts twice). It belongs to the
    lobe lift at which the duration was taken. Exact for symmetric lobes. Source: geometry, common practice.

    >>> from numpy import degrees, radians
    >>> round(float(degrees(exhaust_closes(*radians([272.0, 106.0, 104.0])))), 6)
    28.0
    """
    return gas.valve_events(0.0, duration, separation, centreline, 0.0).exhaust_closes_after_top


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
