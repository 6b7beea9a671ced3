"""The pushrod length that a stack, a mill and a cam ask for, and whether the chosen one has it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.pushrods import cup_rise, needed_pushrod, rocker_sweep
from kitwright.solver.formulas.valve_gear import least
from kitwright.solver.registry import Slack, figure

_SOURCE = "geometry (law of cosines)"


@figure(
    "pushrod_rise",
    unit="mm",
    group="valve gear",
    meaning="how far the rocker's cup has moved away from the lifter since the reference",
    formula="(stack − reference stack) + spacer − (deck cut − reference's) − (mill − reference's) "
    "+ (reference base radius − base radius)",
    source="geometry",
    inputs=(
        "gasket_stack",
        "spacer.thickness",
        "machining.deck_cut",
        "machining.mill",
        "cam.base_radius",
        "reference.gasket_stack",
        "reference.deck_cut",
        "reference.mill",
        "reference.base_radius",
    ),
    shape="additive",
    public=False,
)
def pushrod_rise(
    stack: float,
    spacer: float,
    deck_cut: float,
    mill: float,
    base_radius: float,
    reference_stack: float,
    reference_cut: float,
    reference_mill: float,
    reference_radius: float,
) -> float:
    """Distance that the rocker's cup has moved away from the lifter, in metres; all in m.

    Valid for lifter and cylinder on parallel axes and a rocker stand that sits on the head. Source: geometry.

    >>> round(1000 * pushrod_rise(0.0015, 0.0, 0.0, 0.00025, 0.0115, 0.001, 0.0, 0.0, 0.012), 6)
    0.75
    """
    return cup_rise(
        stack + spacer - reference_stack,
        deck_cut - reference_cut,
        mill - reference_mill,
        reference_radius - base_radius,
    )


def rise_for(length: float, reference: float, angle: float) -> float:
    """The rise (m) at which a pushrod of ``length`` is the one that is needed; −1 m where none is that short.

    Δ = −L cos φ + √(c² − L² sin² φ), the inverse of :func:`kitwright.solver.formulas.pushrods.needed_pushrod` for
    lengths c and L in m and φ in rad. Source: geometry (law of cosines).

    >>> round(1000 * float(rise_for(0.1415, 0.141, 0.0)), 6)
    0.5
    """
    under = length**2 - (reference * np.sin(angle)) ** 2
    root = np.sqrt(np.maximum(under, 0.0))
    return where((length > 0) & (under >= 0), root - reference * np.cos(angle), -1.0)


def _length_at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(reference: float, angle: float) -> float:
        return rise_for(bound, reference, angle)

    return Slack(-1.0, "pushrod_rise"), Slack(1.0, "", rise, ("reference.pushrod", "reference.pushrod_angle"))


figure(
    "pushrod_length",
    unit="mm",
    group="valve gear",
    meaning="pushrod length that is needed",
    formula="√(L² + Δ² + 2 L Δ cos φ): L the reference length, Δ the rise of the rocker's cup, φ the pushrod's angle",
    source=_SOURCE,
    inputs=("reference.pushrod", "pushrod_rise", "reference.pushrod_angle"),
    at_least=_length_at_least,
)(needed_pushrod)


@figure(
    "pushrod_given",
    unit="mm",
    group="valve gear",
    meaning="length of the chosen pushrod; 0 for a blank, which is cut to what is needed",
    formula="pushrod length, or 0 for a blank",
    source="definition",
    inputs=("pushrod.length?", "pushrod.cut_to.min?"),
    wants=("pushrod.length",),
    public=False,
)
def pushrod_given(length: float, shortest: float) -> float:
    """Length of the chosen pushrod, in metres: 0 for a blank, whose shortest length (m) is then known; NaN for neither.

    Source: definition.

    >>> float(pushrod_given(float("nan"), 0.130))
    0.0
    """
    return where(np.isnan(length), where(np.isnan(shortest), np.nan, 0.0), length)


def _mismatch_at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(given: float, reference: float, angle: float) -> float:
        cut = where(bound <= 0, 1.0, -1.0)  # a blank is cut to the length that is needed
        return where(np.asarray(given) == 0, cut, rise_for(given - bound, reference, angle))

    return Slack(1.0, "pushrod_rise"), Slack(
        -1.0, "", rise, ("pushrod_given", "reference.pushrod", "reference.pushrod_angle")
    )


@figure(
    "pushrod_mismatch",
    unit="mm",
    group="valve gear",
    meaning="chosen pushrod less the length that is needed; a blank is cut to it",
    formula="pushrod length − needed length (0 for a blank that is cut to length)",
    source=_SOURCE,
    inputs=("pushrod_given", "pushrod_length"),
    at_least=_mismatch_at_least,
)
def pushrod_mismatch(given: float, needed: float) -> float:
    """Length of the chosen pushrod less what is needed, in metres; 0 for a blank (given 0), which is cut to it.

    Both in m. Source: definition.

    >>> round(1000 * float(pushrod_mismatch(0.1415, 0.141)), 6)
    0.5
    """
    return where(np.asarray(given) == 0, 0.0 * needed, given - needed)


def _shorter_at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(given: float, reach: float, reference: float, angle: float) -> float:
        blank = where(np.asarray(reach) >= bound, 1.0, -1.0)  # cut to the length that is needed
        return where(np.asarray(given) == 0, blank, rise_for(given + reach - bound, reference, angle))

    inputs = ("pushrod_given", "rocker.adjuster.shorter", "reference.pushrod", "reference.pushrod_angle")
    return Slack(1.0, "pushrod_rise"), Slack(-1.0, "", rise, inputs)


@figure(
    "adjuster_left_shorter",
    unit="mm",
    group="valve gear",
    meaning="what the rocker's adjuster has left for a shorter pushrod",
    formula="adjuster.shorter + pushrod mismatch",
    source="definition",
    inputs=("rocker.adjuster.shorter", "pushrod_mismatch"),
    at_least=_shorter_at_least,
)
def adjuster_left_shorter(reach: float, mismatch: float) -> float:
    """How much shorter the pushrod could still be, reach + mismatch, in metres; both in m. Source: definition.

    >>> round(1000 * adjuster_left_shorter(0.001, -0.0003), 6)
    0.7
    """
    return reach + mismatch


def _longer_at_least(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(given: float, reach: float, reference: float, angle: float) -> float:
        blank = where(np.asarray(reach) >= bound, -1.0, 1.0)
        return where(np.asarray(given) == 0, blank, rise_for(given - reach + bound, reference, angle))

    inputs = ("pushrod_given", "rocker.adjuster.longer", "reference.pushrod", "reference.pushrod_angle")
    return Slack(-1.0, "pushrod_rise"), Slack(1.0, "", rise, inputs)


@figure(
    "adjuster_left_longer",
    unit="mm",
    group="valve gear",
    meaning="what the rocker's adjuster has left for a longer pushrod",
    formula="adjuster.longer − pushrod mismatch",
    source="definition",
    inputs=("rocker.adjuster.longer", "pushrod_mismatch"),
    at_least=_longer_at_least,
)
def adjuster_left_longer(reach: float, mismatch: float) -> float:
    """How much longer the pushrod could still be, reach − mismatch, in metres; both in m. Source: definition.

    >>> round(1000 * adjuster_left_longer(0.001, 0.0003), 6)
    0.7
    """
    return reach - mismatch


figure(
    "adjuster_left",
    unit="mm",
    group="valve gear",
    meaning="travel that the rocker's adjuster has left on its nearer side, the chosen pushrod made up for",
    formula="min(adjuster.shorter + pushrod mismatch, adjuster.longer − pushrod mismatch)",
    source="definition",
    inputs=("adjuster_left_shorter", "adjuster_left_longer"),
    extreme="min",
    public=False,  # one mismatch moves both against each other: its spread is right at the low end alone, as rules ask
)(least)


def _over_shortest(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(shortest: float, reference: float, angle: float) -> float:
        return rise_for(shortest + bound, reference, angle)

    inputs = ("pushrod.cut_to.min", "reference.pushrod", "reference.pushrod_angle")
    return Slack(-1.0, "pushrod_rise"), Slack(1.0, "", rise, inputs)


@figure(
    "pushrod_over_shortest",
    unit="mm",
    group="valve gear",
    meaning="needed pushrod length less the shortest that the blank can be cut to",
    formula="needed length − cut_to.min",
    source="definition",
    inputs=("pushrod_length", "pushrod.cut_to.min"),
    at_least=_over_shortest,
    public=False,
)
def pushrod_over_shortest(needed: float, shortest: float) -> float:
    """Needed length less the shortest cut, in metres; both in m. Source: definition.

    >>> round(1000 * pushrod_over_shortest(0.141, 0.130), 6)
    11.0
    """
    return needed - shortest


def _under_longest(bound: float, constants: Mapping[str, Any]) -> tuple[Slack, ...]:
    def rise(longest: float, reference: float, angle: float) -> float:
        return rise_for(longest - bound, reference, angle)

    inputs = ("pushrod.cut_to.max", "reference.pushrod", "reference.pushrod_angle")
    return Slack(1.0, "pushrod_rise"), Slack(-1.0, "", rise, inputs)


@figure(
    "pushrod_under_longest",
    unit="mm",
    group="valve gear",
    meaning="the longest that the blank can be cut to less the needed pushrod length",
    formula="cut_to.max − needed length",
    source="definition",
    inputs=("pushrod_length", "pushrod.cut_to.max"),
    at_least=_under_longest,
    public=False,
)
def pushrod_under_longest(needed: float, longest: float) -> float:
    """Longest cut less the needed length, in metres; both in m. Source: definition.

    >>> round(1000 * pushrod_under_longest(0.141, 0.150), 6)
    9.0
    """
    return longest - needed


@figure(
    "rocker_sweep",
    unit="mm",
    group="valve gear",
    meaning="least sweep of the rocker over the valve's tip at the greater lift: its arm set square at half lift",
    formula="valve arm − √(valve arm² − (valve lift / 2)²)",
    source="geometry of a point contact; the half-lift rule is common practice, no source",
    inputs=("rocker.valve_arm", "valve_lift"),
    step=0.02,
)
def least_rocker_sweep(arm: float, lift: float) -> float:
    """How far the rocker slides over the valve's tip with its arm square to it at half lift, in metres; both in m.

    Less is not to be had with this arm and lift; a pushrod of another length makes it more. Valid for a point contact
    and half a lift below the arm, NaN outside. Source: geometry; the half-lift rule is common practice, no source.

    >>> round(1000 * float(least_rocker_sweep(0.032, 0.00965)), 6)
    0.365851
    """
    return rocker_sweep(arm, lift / 2, lift / 2)
