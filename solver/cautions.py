"""What has to be said beside a computed combination, because somebody's engine and hands depend on it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kitwright.solver.combination import Reader
from kitwright.solver.evaluate import compute
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked

MEASURE = "Computed clearances are nominal until they are measured on the engine itself."
TURN_BY_HAND = "Turn the build by hand through two full crank turns before it is started."
SHEET_FIRST = "The maker's sheet and a qualified machinist come before anything that is computed here."
LOCAL_RULES = "Local codes and the rules of the class apply."
AT_SPEED = "Quench is computed cold and at rest; rod stretch, heat, bearing play and piston rock take from it."
STATIC_ONLY = "Static compression misleads with a long cam: judge fuel, heat and starting by more than that."
STACKED = "{count} gaskets are {more} that can leak; where one gasket does it, one is better."
PROUD = "The piston stands proud of the deck: its crown has to pass inside every gasket's bore."
CAM_TURNS = (
    "Big end to cam is negative: whether they pass each other depends on the cam's phase and on where they "
    "lie side by side. Measure it at mock-up, through two full turns."
)
CORE_TURNS = (
    "Big end to the cam's core is negative: they pass each other only where they lie side by side. Measure it at "
    "mock-up, through two full turns."
)
YIELD_UNKNOWN = (
    "Whether the spring's wire yields at full lift is not established: its material, or a wire of its size, is not in "
    "the table. Ask the spring's maker what stress it stands."
)
RATES_DIFFER = (
    "The rate given for the spring is {share:.0f} % {way} what its wire, coils and material come to. The given one is "
    "used, for force, float and surge alike: have the spring measured."
)
OVER_SPEED = (
    "Rim stress of a flywheel grows with the square of speed. A governor that is taken off and a flywheel "
    "that runs over its rating can kill: stay under the lowest rating, behind a guard, with a kill switch."
)
UNRATED = "No speed is proved for parts without a rating; a rev ceiling is not to be set by hope."
CAUTION_GUARD = (
    "This loosens a limit that keeps parts apart or in one piece. Measure at mock-up and ask a qualified machinist "
    "before you take it."
)
FUEL = "Fuel, exhaust gas and hot parts: air the place, let it cool, keep flame away."
KICKBACK = "Compression kicks back through the rope: see to decompressor, timing and grip before the first pull."

HAZARDS = (
    "Governor: leave it on. Without it a small engine runs away as soon as its load comes off.",
    "Flywheel: never over its rating. Rim stress grows with the square of speed, and a cast rim that bursts can kill; "
    "keep the guard on and a kill switch within reach.",
    "Fuel: fill it cold and outside, wipe up what is spilled, no flame and no cigarette near it.",
    "Exhaust gas: it kills unseen and unsmelled. Run the engine outside, never in a closed room.",
    "Kickback: compression kicks back through the rope. See to decompressor, timing and grip before the first pull.",
    "Hot parts: head, barrel and exhaust burn skin and light fuel long after the engine has stopped.",
)
"""What can hurt whoever builds and starts an engine, a line each; every build sheet carries all of them."""


def sheet_cautions(checked: Checked, plan: Plan) -> tuple[str, ...]:
    """Sentences of a build sheet: those of :func:`cautions`, with a line for each hazard in place of the short ones."""
    short = {OVER_SPEED, FUEL, KICKBACK}
    chosen = [each for each in cautions(checked, plan) if each not in short]
    return (*chosen[:2], *HAZARDS, *chosen[2:])


def cautions(checked: Checked, plan: Plan) -> tuple[str, ...]:
    """Sentences that belong beside a combination, chosen by what it has.

    Args:
        checked: the combination with its figures.
        plan: what was asked; a rev ceiling brings the cautions about speed.

    """
    return tuple(_chosen(checked, plan))


RATES_APART = 0.05
"""Share by which a given spring rate and that of its wire may differ before it is said. Common practice, no source."""


def _rates_differ(checked: Checked, plan: Plan) -> str:
    reader = Reader(checked.combination, plan)
    with np.errstate(all="ignore"):
        given, by_wire = (np.float64(compute(name, reader)) for name in ("spring_rate", "spring_rate_by_wire"))
        share = float(given / by_wire - 1.0)
    if not abs(share) > RATES_APART:
        return ""
    return RATES_DIFFER.format(share=100 * abs(share), way="above" if share > 0 else "below")


def _chosen(checked: Checked, plan: Plan) -> Iterator[str]:
    combination, figures = checked.combination, checked.figures
    yield MEASURE
    yield TURN_BY_HAND
    if "quench" in figures:
        yield AT_SPEED
    if figures.get("deck", 0.0) < 0:
        yield PROUD
    if figures.get("rod_to_cam", 0.0) < 0:
        yield CAM_TURNS
    if figures.get("rod_to_core", 0.0) < 0:
        yield CORE_TURNS
    if "spring_stress_open" in figures and "spring_yield" not in figures:
        yield YIELD_UNKNOWN
    differs = _rates_differ(checked, plan)
    if differs:
        yield differs
    joints = len(combination.gaskets)
    if joints > 1:
        more = "two more joints" if joints == 2 else f"{joints} more joints"
        yield STACKED.format(count={2: "Two", 3: "Three", 4: "Four"}.get(joints, str(joints)), more=more)
    if "compression" in figures:
        yield STATIC_ONLY
        yield KICKBACK
    if plan.rev_ceiling is not None or "flywheel" in combination.parts or "rev_limit" in figures:
        yield OVER_SPEED
    if any(gap.goal == "rev_ceiling" for gap in checked.not_established):
        yield UNRATED
    yield FUEL
    yield SHEET_FIRST
    yield LOCAL_RULES
