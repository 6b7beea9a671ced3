"""The requirements of a plan, one by one: what each is called, the plan without it, the plan with it moved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from kitwright.solver.plan import MACHINING, MOST_GASKETS, REV_CEILING, Plan
from kitwright.solver.registry import leaves_of
from kitwright.solver.rules import rules_of


@dataclass(frozen=True, slots=True)
class Requirement:
    """One requirement of a plan: its name as the plan writes it, and the plan without it."""

    name: str
    drop: Callable[[Plan], Plan]


def requirements(plan: Plan) -> list[Requirement]:
    """Every requirement of a plan that can be dropped, by name."""
    found = list(_of_goals(plan))
    found += [Requirement(f"avoid.{part}", _without_avoided(part)) for part in plan.avoid]
    found += [Requirement(f"use.{kind}", _without_pin(kind)) for kind in plan.use]
    if plan.rev_ceiling is not None:
        found.append(Requirement(REV_CEILING, lambda some: some.but(rev_ceiling=None)))
    if plan.shelf_only:
        found.append(Requirement("shelf_only", lambda some: some.but(shelf_only=frozenset())))
    if plan.kinds is not None:
        found.append(Requirement("kinds", lambda some: some.but(kinds=None)))
    if plan.gaskets < MOST_GASKETS:
        found.append(Requirement("gaskets", lambda some: some.but(gaskets=MOST_GASKETS)))
    if plan.machining != frozenset(MACHINING):
        found.append(Requirement("machining", lambda some: some.but(machining=frozenset(MACHINING))))
    if plan.tolerance != "nominal":
        found.append(Requirement("tolerance", lambda some: some.but(tolerance="nominal")))
    return sorted(found, key=lambda each: each.name)


def _of_goals(plan: Plan) -> Iterator[Requirement]:
    for name, goal in plan.goals.items():
        if goal.minimum is not None:
            yield Requirement(f"{name}.min", _without_bound(f"{name}.min"))
        if goal.maximum is not None:
            yield Requirement(f"{name}.max", _without_bound(f"{name}.max"))


def _without_bound(name: str) -> Callable[[Plan], Plan]:
    return lambda plan: moved(plan, name, None)


def _without_avoided(part: str) -> Callable[[Plan], Plan]:
    return lambda plan: plan.but(avoid=plan.avoid - {part})


def _without_pin(kind: str) -> Callable[[Plan], Plan]:
    return lambda plan: plan.unpinned((kind,))


def without(plan: Plan, names: Iterable[str]) -> Plan:
    """The plan without some of its requirements."""
    gone = set(names)
    for each in requirements(plan):
        if each.name in gone:
            plan = each.drop(plan)
    return plan


def bound_of(plan: Plan, name: str) -> tuple[str, str, float] | None:
    """Figure, side (``min``, ``max``) and bound of a requirement that is a number; None for a setting."""
    if name == REV_CEILING:
        return None if plan.rev_ceiling is None else ("rev_limit", "min", plan.rev_ceiling)
    figure, dot, side = name.partition(".")
    if not dot or figure not in plan.goals or side not in ("min", "max"):
        return None
    goal = plan.goals[figure]
    bound = goal.minimum if side == "min" else goal.maximum
    return None if bound is None else (figure, side, bound)


def moved(plan: Plan, name: str, to: Any) -> Plan:
    """The plan with one requirement moved to a new bound or setting; the aims stay what they were.

    ``to`` is what :class:`~kitwright.solver.result.WayOut` holds: a number for a bound (None: no bound), the layers of
    a stack, the machining that is allowed beside what the plan allows, a tolerance mode; a pin, an avoided part, the
    shelf and the kinds are let go of whatever it is.
    """
    figure, _, side = name.partition(".")
    if name == REV_CEILING:
        return plan.but(rev_ceiling=to)
    if figure in plan.goals and side in ("min", "max"):
        goal = plan.goals[figure]  # a limit that is an aim as well goes on ranking
        changed = replace(goal, aim=goal.ranked_by, **{"minimum" if side == "min" else "maximum": to})
        return plan.but(goals={**plan.goals, figure: changed})
    if name == "gaskets":
        return plan.but(gaskets=to)
    if name == "machining":
        return plan.but(machining=plan.machining | frozenset(to))
    if name == "tolerance":
        return plan.but(tolerance=to)
    return without(plan, (name,))


def turns_with_speed(plan: Plan) -> bool:
    """Whether a limit of the plan, or a rule, is on a figure that the rev ceiling goes into."""
    limited = {name for name, goal in plan.goals.items() if goal.minimum is not None or goal.maximum is not None}
    return any("plan.rev_ceiling" in leaves_of(name) for name in limited | {rule.figure for rule, _ in rules_of(plan)})
