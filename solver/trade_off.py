"""Closeness against money: the combinations that no other beats on both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.engine import Clock
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked
from kitwright.solver.search import DEFAULT_SECONDS, Progress, find
from kitwright.solver.terms import MONEY_UNIT

MORE = (10.0, 20.0)
"""Money on top of a budget that is asked about."""


@dataclass(frozen=True)
class TradeOff:
    """What ``find --trade-off`` answers.

    Attributes:
        answer: the combinations that nobody beats on both, from the closest to the cheapest; ``incomplete`` where time
            ran out, and then ``proven`` says down to which cost nothing is missing.
        more: for a plan with a greatest cost, money on top of it and the closest combination with that; None for
            nothing closer.
    """

    answer: Answer
    more: tuple[tuple[float, Checked | None], ...] = ()


def trade_off(
    catalogue: Catalogue, plan: Plan, seconds: float = DEFAULT_SECONDS, progress: Progress | None = None
) -> TradeOff:
    """The combinations that no other beats on both closeness and money, proven complete.

    One is beaten by another that is as close and cheaper, or closer and no dearer. As in the order of a list, a goal
    that is not established weighs more than any closeness, and an unknown cost comes after every known one: a
    combination of unknown cost is listed only where nothing of known cost is as close. Of several with one closeness
    and one cost the first in the order stands for all. Costs within 0.0001 are one.

    Args:
        catalogue: the parts, as ``kitwright.catalogs.load`` reads them.
        plan: what is wanted.
        seconds: time limit; when it is reached the answer is ``incomplete``.
        progress: called with a line of text now and then.
    """
    clock = Clock(seconds)
    first = find(catalogue, plan, 1, seconds, progress, why=True)
    if first.status != "complete":
        return TradeOff(first)
    found = [first.combinations[0]]
    status: Literal["complete", "incomplete"] = "complete"
    priced = _priced(catalogue, plan)
    while True:
        cost = found[-1].cost
        asked = priced if cost is None else _below(priced, cost)
        if clock.left <= 0:
            status = "incomplete"
            break
        cheaper = find(catalogue, asked, 1, clock.left, progress)
        if cheaper.status == "incomplete":
            status = "incomplete"
            break
        if cheaper.status == "nothing_fits" or cheaper.combinations[0].cost is None:
            break
        found.append(check(cheaper.combinations[0].combination, plan, spreads=False))  # by the plan as it was asked
    proven = ""
    if status == "incomplete":
        known = found[-1].cost
        proven = "nothing that costs more than the last of these is missing" if known is not None else ""
    answer = Answer(plan, status, tuple(found), first.considered, None, proven, clock.spent, first.counts)
    return TradeOff(answer, tuple(_more(catalogue, plan, found[0], clock)) if status == "complete" else ())


def _priced(catalogue: Catalogue, plan: Plan) -> Plan:
    """The plan without parts that would leave the cost unknown; what is pinned stays."""
    pinned = {part for ids in plan.use.values() for part in ids}
    unknown = {part.id for part in catalogue if part.price is None and part.on_shelf < 1} - pinned
    return plan.but(avoid=plan.avoid | unknown)


def _below(plan: Plan, cost: float) -> Plan:
    given = plan.goals.get("cost", Goal("cost", step=FIGURES["cost"].step))
    limit = Goal("cost", given.aim, given.minimum, cost - MONEY_UNIT, given.step, given.weight)
    return plan.but(goals={**plan.goals, "cost": limit})


def _more(catalogue: Catalogue, plan: Plan, best: Checked, clock: Clock) -> list[tuple[float, Checked | None]]:
    """What a larger budget would bring; as far as the time goes."""
    goal = plan.goals.get("cost")
    if goal is None or goal.maximum is None:
        return []
    found: list[tuple[float, Checked | None]] = []
    for more in MORE:
        if clock.left <= 0:
            break
        wider = Goal("cost", goal.aim, goal.minimum, goal.maximum + more, goal.step, goal.weight)
        answer = find(catalogue, plan.but(goals={**plan.goals, "cost": wider}), 1, clock.left)
        if answer.status != "complete":
            break
        closest = answer.combinations[0]
        found.append((more, closest if closest.key[:2] < best.key[:2] else None))
    return found
