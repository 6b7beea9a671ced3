"""What must hold whatever is wanted: parts that fit one another, and clearances that physics asks for.

A fit compares nominal sizes; a physical rule is a limit on a figure, in the plan's tolerance mode, and is silent where
the figure cannot be computed. The limit is 0, or what the plan makes of it. A new rule is one entry here: the search,
the check and the explanations read the tables.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from kitwright.solver.combination import Combination
from kitwright.solver.guards import CLEARANCES, one_step
from kitwright.solver.parts import Block, Part
from kitwright.solver.plan import Plan

SAME_SIZE = 1e-7
"""Difference in metres within which two nominal sizes are equal: 0.1 µm."""

NEAR_SIZE = 0.05e-3
"""Metres within which two sizes that differ look like one, written in mm here and in inches there."""

_ROUNDING = 1e-12
"""What float arithmetic may add to a difference of lengths."""


@dataclass(frozen=True, slots=True)
class Size:
    """A size of one kind of part that another has to match: ``field`` of ``kind``."""

    kind: str
    field: str
    words: str


@dataclass(frozen=True, slots=True)
class FitRule:
    """Two sizes that must be equal (or, for a gasket, at least as large), by nominal size."""

    id: str
    first: Size
    second: Size
    compare: Literal["equal", "at least"]
    sentence: str

    def holds(self, first: float, second: float) -> bool:
        """Whether the second size (m) goes with the first (m)."""
        if self.compare == "equal":
            return abs(second - first) <= SAME_SIZE + _ROUNDING
        return second - first >= -SAME_SIZE - _ROUNDING


FITS = (
    FitRule(
        "journal_to_big_end",
        Size("crank", "journal", "journal"),
        Size("rod", "big_end", "big end"),
        "equal",
        "the rod's big end must be made for the crank's journal",
    ),
    FitRule(
        "pin_to_pin",
        Size("rod", "pin", "pin"),
        Size("piston", "pin", "pin"),
        "equal",
        "rod and piston must take the same pin",
    ),
    FitRule(
        "piston_to_bore",
        Size("block", "bore", "bore"),
        Size("piston", "bore", "bore"),
        "equal",
        "the piston must be made for the bore",
    ),
    FitRule(
        "gasket_bore_to_bore",
        Size("block", "bore", "bore"),
        Size("gasket", "bore", "gasket bore"),
        "at least",
        "the gasket's bore must not be smaller than the cylinder's",
    ),
)


class Leaves(Protocol):
    """Anything that gives the value of a leaf by name."""

    def __getitem__(self, name: str, /) -> Any: ...


def _nought(_: Plan) -> float | None:
    return 0.0


def _float_bound(plan: Plan) -> float | None:
    """Speed in rpm that valve float has to stay above; None without a rev ceiling."""
    return None if plan.rev_ceiling is None else plan.conditions.float_margin * plan.rev_ceiling


@dataclass(frozen=True, slots=True)
class PhysicalRule:
    """A lower limit on a figure, 0 unless ``least`` says otherwise; ``strict`` where the limit itself is too little.

    ``only_with`` names leaves without which the rule has nothing to say: a limit that only some parts carry.
    """

    id: str
    figure: str
    strict: bool
    sentence: str
    least: Callable[[Plan], float | None] = _nought
    only_with: tuple[str, ...] = ()

    def bound(self, plan: Plan) -> float | None:
        """The limit in the figure's unit; None where the plan makes the rule ask for nothing, or waives it."""
        return None if self.id in plan.waived else self.least(plan)

    def concerns(self, leaves: Leaves) -> bool:
        """Whether the rule has something to say of a combination whose leaves these are."""
        return all(leaves[each] == leaves[each] for each in self.only_with)


PHYSICAL = (
    PhysicalRule("quench_positive", "quench", True, "the piston must not touch the head"),
    PhysicalRule("clearance_volume_positive", "clearance_volume", True, "there must be volume above the piston"),
    PhysicalRule("coil_bind", "coil_bind_margin", True, "the spring's coils must not touch at full lift"),
    PhysicalRule("retainer_to_guide", "retainer_margin", False, "the retainer must not meet the guide"),
    PhysicalRule("rod_side_clearance", "rod_side_clearance", False, "the big end must go between the journal's cheeks"),
    PhysicalRule(
        "head_lift",
        "head_lift_margin",
        False,
        "the valve must not lift further than the head takes",
        only_with=("head.max_valve_lift",),
    ),
    PhysicalRule("intake_to_piston", "piston_to_valve_intake", True, "the intake valve must not touch the piston"),
    PhysicalRule("exhaust_to_piston", "piston_to_valve_exhaust", True, "the exhaust valve must not touch the piston"),
    PhysicalRule(
        "pushrod_shortest",
        "pushrod_over_shortest",
        False,
        "the blank must cut down to the pushrod needed",
        only_with=("pushrod.cut_to.min",),
    ),
    PhysicalRule(
        "pushrod_longest",
        "pushrod_under_longest",
        False,
        "the blank must be as long as the pushrod needed",
        only_with=("pushrod.cut_to.max",),
    ),
    PhysicalRule(
        "spring_lift",
        "spring_lift_margin",
        False,
        "the valve must not lift further than the spring takes",
        only_with=("spring.max_lift",),
    ),
    PhysicalRule(
        "pushrod_mismatch",
        "adjuster_left",
        False,
        "the rocker's adjuster must make up for the pushrod",
        only_with=("rocker.adjuster.longer",),
    ),
    PhysicalRule("spring_seat", "spring_seat", True, "the spring must press on the shut valve"),
    PhysicalRule(
        "spring_stress_open",
        "spring_yield_margin",
        False,
        "the spring's wire must not yield at the greater lift",
    ),
    PhysicalRule(
        "ring_to_deck",
        "ring_to_deck",
        True,
        "the top ring must stay inside the bore",
        only_with=("piston.top_land.height",),
    ),
    PhysicalRule(
        "skirt_to_counterweight",
        "skirt_to_counterweight",
        True,
        "the piston's skirt must not touch the counterweight",
    ),
    PhysicalRule("counterweight_to_case", "counterweight_to_case", True, "the counterweight must turn inside the case"),
    PhysicalRule("rod_to_case", "rod_to_case", True, "the rod's big end must turn inside the case"),
    PhysicalRule("rod_to_core", "rod_to_core", True, "the rod's big end must pass the cam's core"),
    PhysicalRule("lobe_to_barrel", "lobe_to_barrel", True, "the cam's lobes must pass the barrel's foot"),
    PhysicalRule(
        "float_speed",
        "float_speed",
        False,
        "the valves must follow their cam at the rev ceiling, with the plan's margin",
        _float_bound,
    ),
)

OF_OFFERS = (PhysicalRule("quench_at_speed", "quench_at_speed", True, "the piston must not touch the head at speed"),)
"""What an offer keeps beside the rules: a clearance that guards and that no rule asks of a build that was asked for."""


def rules_of(plan: Plan) -> Iterator[tuple[PhysicalRule, float]]:
    """The physical rules that hold under a plan, each with its limit in the figure's unit."""
    for rule in (*PHYSICAL, *(OF_OFFERS if plan.step_clear else ())):
        bound = rule.bound(plan)
        if bound is None:
            continue
        if plan.step_clear and rule.figure in CLEARANCES:
            yield replace(rule, strict=False), max(bound, one_step(plan, rule.figure))
        else:
            yield rule, bound


def carries_tag(part: Part, block: Part | None) -> bool:
    """Whether a part goes on a block by its tags: it names none, or one that the block carries."""
    return not part.fits or not isinstance(block, Block) or bool(set(part.fits) & set(block.tags))


def bore_of(combination: Combination) -> float | None:
    """The cylinder bore, after any rebore, in metres."""
    block = combination.parts.get("block")
    if not isinstance(block, Block):
        return None
    return (combination.rebore or block.bore).si


def sizes(combination: Combination, rule: FitRule) -> list[tuple[float, float, Part]]:
    """The pairs of sizes (m) that a fit compares in a combination, each with the part of the second."""
    if rule.first.kind == "block":
        first = bore_of(combination)
    else:
        owner = combination.parts.get(rule.first.kind)
        first = getattr(owner, rule.first.field).si if owner is not None else None
    if first is None:
        return []
    others: list[Part] = []
    if rule.second.kind == "gasket":
        others.extend({each.id: each for each in combination.gaskets}.values())
    elif rule.second.kind in combination.parts:
        others.append(combination.parts[rule.second.kind])
    return [(first, getattr(other, rule.second.field).si, other) for other in others]


def fits_together(combination: Combination) -> bool:
    """Whether all fits and tags of a combination hold."""
    if not all(rule.holds(first, second) for rule in FITS for first, second, _ in sizes(combination, rule)):
        return False
    block = combination.parts.get("block")
    return all(carries_tag(part, block) for part in (*combination.parts.values(), *combination.gaskets))
