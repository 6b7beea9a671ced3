"""Closeness against money: the combinations that no other beats on both."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.combination import Combination
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.regions import Progress
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked
from kitwright.solver.search import DEFAULT_SECONDS, find
from kitwright.solver.stopping import Clock, Reason
from kitwright.solver.terms import MONEY_UNIT

BEYOND = 1e8
"""A price that no budget reaches, and that the model's integers still hold."""

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
    with Clock(seconds) as clock:
        return _traded(catalogue, plan, seconds, progress, clock)


def _traded(catalogue: Catalogue, plan: Plan, seconds: float, progress: Progress | None, clock: Clock) -> TradeOff:
    first = find(catalogue, plan, 1, seconds, progress, why=True)
    if first.status != "complete":
        return TradeOff(first)
    found = [first.combinations[0]]
    status: Literal["complete", "incomplete"] = "complete"
    stopped_by: Reason | None = None
    priced = _priced(catalogue)
    while True:
        cost = found[-1].cost
        asked = _below(plan, BEYOND / 2 if cost is None else cost)
        if clock.left <= 0:
            status, stopped_by = "incomplete", clock.reason
            break
        cheaper = find(priced, asked, 1, clock.left, progress)
        if cheaper.status == "incomplete":
            status, stopped_by = "incomplete", cheaper.stopped_by
            break
        if cheaper.status == "nothing_fits":
            break
        # the catalogue's own parts, judged by the plan as it was asked
        found.append(check(_as_they_are(cheaper.combinations[0].combination, catalogue), plan, spreads=False))
    proven = ""
    if status == "incomplete":
        known = found[-1].cost
        proven = "nothing that costs more than the last of these is missing" if known is not None else ""
    answer = Answer(plan, status, tuple(found), first.considered, None, proven, clock.spent, first.counts, stopped_by)
    return TradeOff(answer, tuple(_more(catalogue, plan, found[0], clock)) if status == "complete" else ())


def _priced(catalogue: Catalogue) -> Catalogue:
    """The catalogue with a price that no limit reaches for parts without one: they serve where they are not bought."""
    parts = [replace(part, price=BEYOND) if part.price is None else part for part in catalogue]
    return Catalogue.of(parts, catalogue.folder)


def _as_they_are(combination: Combination, catalogue: Catalogue) -> Combination:
    """The same combination of the catalogue's own parts."""

    def own(part: Any) -> Any:
        return catalogue.get(part.id)

    parts = {kind: own(part) for kind, part in combination.parts.items()}
    return replace(combination, parts=parts, gaskets=tuple(map(own, combination.gaskets)))


def _below(plan: Plan, cost: float) -> Plan:
    given = plan.goals.get("cost", Goal("cost", step=FIGURES["cost"].step))
    most = min(cost - MONEY_UNIT, math.inf if given.maximum is None else given.maximum)
    return plan.but(goals={**plan.goals, "cost": replace(given, maximum=most)})


def _more(catalogue: Catalogue, plan: Plan, best: Checked, clock: Clock) -> list[tuple[float, Checked | None]]:
    """What a larger budget would bring; as far as the time goes."""
    goal = plan.goals.get("cost")
    if goal is None or goal.maximum is None:
        return []
    found: list[tuple[float, Checked | None]] = []
    for more in MORE:
        if clock.left <= 0:
            break
        wider = replace(goal, maximum=goal.maximum + more)
        answer = find(catalogue, plan.but(goals={**plan.goals, "cost": wider}), 1, clock.left)
        if answer.status != "complete":
            break
        closest = answer.combinations[0]
        found.append((more, closest if closest.key[:2] < best.key[:2] else None))
    return found
