"""Guards: limits that keep parts apart or in one piece, and how near to contact an offer may come.

What loosens a guard is told last, with a caution, and never as a command; nothing is offered that leaves a guarded
clearance with less than one step.
"""

from __future__ import annotations

from kitwright.solver.plan import REV_CEILING, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Limit

CLEARANCES = (
    "quench",
    "quench_at_speed",
    "piston_to_valve_intake",
    "piston_to_valve_exhaust",
    "coil_bind_margin",
    "retainer_margin",
    "rod_side_clearance",
    "skirt_to_counterweight",
    "rod_to_cam",
    "rod_to_core",
    "rod_to_case",
    "counterweight_to_case",
    "lobe_to_barrel",
    "lever_to_counterweight",
    "ring_to_deck",
)
"""Figures that are the room between two parts: their least value guards, and 0 is contact."""

LEAST = (*CLEARANCES, "spring_seat", "spring_yield_margin", "spring_safety", "float_speed", "float_ratio")
"""Figures whose least value guards."""

MOST = (
    "rod_load",
    "rod_stress",
    "spring_stress_seat",
    "spring_stress_open",
    "cranking_pressure",
    "cranking_gauge_pressure",
    "cranking_torque",
)
"""Figures whose greatest value guards."""


def guards(plan: Plan, requirement: str) -> bool:
    """Whether a requirement of a plan (``quench.min``, ``rev_ceiling``, ``tolerance``) is a guard.

    ``guard: true`` on a goal makes one of each of its limits, ``guard: false`` of none.

    >>> from kitwright.solver.plan import Goal
    >>> plan = Plan(goals={"quench": Goal("quench", minimum=0.8, maximum=1.1)})
    >>> guards(plan, "quench.min"), guards(plan, "quench.max"), guards(plan, "cost.max")
    (True, False, False)
    """
    if requirement == REV_CEILING:
        return plan.ceiling_guards
    if requirement == "tolerance":
        return True
    figure, _, side = requirement.partition(".")
    goal = plan.goals.get(figure)
    if goal is None or side not in ("min", "max"):
        return False
    if goal.guard is not None:
        return goal.guard
    return figure in (LEAST if side == "min" else MOST)


def one_step(plan: Plan, figure: str) -> float:
    """The smallest difference that matters of a figure, in its unit: the plan's step, else the figure's."""
    goal = plan.goals.get(figure)
    return goal.step if goal is not None else FIGURES[figure].step


def leaves_no_step(limit: Limit, plan: Plan) -> bool:
    """Whether a limit is on a guarded clearance that comes within one step of contact."""
    if limit.figure not in CLEARANCES or limit.limit != "min" or limit.value is None:
        return False
    return limit.value < one_step(plan, limit.figure) - 1e-9
