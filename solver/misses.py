"""The combination that misses least where nothing fits: fewest limits, then least by sum of steps, then the order.

Limits are the plan's ``min`` and ``max``, its rev ceiling and the physical rules, each one limit. Parts that do not fit
one another, and what the plan allows, pins or avoids, are the background and are never given up; nor is the volume that
there must be above the piston, without which there is no compression to speak of.

The search is the oracle. Sets of limits that cannot be kept together are found first; the smallest sets that hit them
all are the fewest limits that have to be missed. For each of these the least sum is closed in on by asking for less,
again and again, until nothing is left. What the search answers is measured by the plain check.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import NEAR, check, step_of
from kitwright.solver.combination import Combination
from kitwright.solver.plan import IMPLIED_AIMS, REV_CEILING, Goal, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked, Limit
from kitwright.solver.rules import PHYSICAL
from kitwright.solver.stopping import Clock, OutOfTimeError

BACKGROUND = "clearance_volume_positive"
"""The physical rule that is never given up."""

SAME = 1e-6
"""Difference between two sums of steps that is none."""

_RULES = {rule.id: rule for rule in PHYSICAL if rule.id != BACKGROUND}

Find = Callable[[Catalogue, Plan, int, float], Answer]
Some = Callable[[Catalogue, Plan, float], Combination | None]


@dataclass(frozen=True, slots=True)
class Miss:
    """A limit that is missed, and by how many of the steps that matter."""

    limit: Limit
    steps: float


def misses(checked: Checked, plan: Plan) -> tuple[Miss, ...]:
    """The limits of goals and physical rules that a combination misses, in the plan's tolerance mode."""
    return tuple(
        Miss(limit, -(limit.margin or 0.0) / step_of(limit, plan))
        for limit in checked.limits
        if limit.holds is False and limit.figure
    )


def total(missed: Iterable[Miss]) -> float:
    """Sum of misses in steps."""
    return math.fsum(each.steps for each in missed)


def name_of(limit: Limit) -> str:
    """A limit's name as a plan writes it: ``quench.min``, ``rev_ceiling``; of a physical rule, its id."""
    if limit.kind == "rule" or limit.name == REV_CEILING:
        return limit.name
    return f"{limit.name}.{limit.limit}"


def limit_names(plan: Plan) -> tuple[str, ...]:
    """Every limit that can be missed, by name."""
    found = [REV_CEILING] if plan.rev_ceiling is not None else []
    for name, goal in plan.goals.items():
        found += [f"{name}.min"] if goal.minimum is not None else []
        found += [f"{name}.max"] if goal.maximum is not None else []
    rules = (name for name, rule in _RULES.items() if rule.bound(plan) is not None)
    return tuple(sorted([*found, *rules]))


def eased(plan: Plan, steps: Mapping[str, float]) -> Plan:
    """The plan with some limits moved outward by so many of their steps; infinitely many drop the limit."""
    goals = {
        name: replace(goal, aim=goal.ranked_by) if goal.figure in IMPLIED_AIMS else goal
        for name, goal in plan.goals.items()
    }
    waived = set(plan.waived)
    for name, by in steps.items():
        figure, _, side = name.rpartition(".")
        if figure in goals:
            goal = goals[figure]
            moved = -math.inf if math.isinf(by) else by * goal.step
            if side == "min" and goal.minimum is not None:
                goals[figure] = replace(goal, minimum=None if math.isinf(by) else goal.minimum - moved)
            elif side == "max" and goal.maximum is not None:
                goals[figure] = replace(goal, maximum=None if math.isinf(by) else goal.maximum + moved)
            continue
        waived.add(name)
        if not math.isinf(by):
            bound, figure = _lowest(name, plan)
            goals[f"rule {name}"] = Goal(figure, minimum=bound - by * FIGURES[figure].step, unaimed=True)
    return plan.but(goals=goals, waived=frozenset(waived))


def _lowest(name: str, plan: Plan) -> tuple[float, str]:
    """Bound and figure of a rule or of the rev ceiling."""
    if name == REV_CEILING:
        return plan.rev_ceiling or 0.0, "rev_limit"
    return _RULES[name].bound(plan) or 0.0, _RULES[name].figure


class Nearest:
    """The combination of one plan that misses least."""

    def __init__(self, catalogue: Catalogue, plan: Plan, find: Find, some: Some, clock: Clock) -> None:
        self.catalogue = catalogue
        self.plan = plan
        self.find = find
        self.some = some
        self.clock = clock
        self.names = limit_names(plan)
        self._seen: list[dict[str, float]] = []
        """What witnesses miss, and by how many steps: whoever keeps none of it can have that witness."""
        self._cores: list[frozenset[str]] = []

    def best(self) -> Checked | None:
        """The combination that misses least, fitting or not; None where no parts go together at all.

        Raises:
            OutOfTimeError: the time was up before that was proved.
        """
        if self._holds(frozenset(self.names)):
            return self._first(self.plan)
        if not self._holds(frozenset()):
            return None
        found: list[tuple[float, Any, Checked]] = []
        for names in self._fewest():
            found += self._least(tuple(sorted(names)), min((each[0] for each in found), default=math.inf))
        least = min(each[0] for each in found)
        return min((each for each in found if each[0] <= least + SAME), key=lambda each: each[1])[2]

    # fewest limits

    def _holds(self, kept: frozenset[str]) -> bool:
        """Whether some limits can be kept together."""
        if any(not kept & missed.keys() for missed in self._seen):
            return True
        if any(core <= kept for core in self._cores):
            return False
        witness = self._ask({name: math.inf for name in self.names if name not in kept})
        if witness is None:
            return False
        self._seen.append({name_of(each.limit): each.steps for each in misses(witness, self.plan)})
        return True

    def _fewest(self) -> list[frozenset[str]]:
        """All smallest sets of limits without which the rest can be kept."""
        everything = frozenset(self.names)
        found: list[frozenset[str]] = []
        for size in range(len(self.names) + 1):
            for some in map(frozenset, combinations(self.names, size)):
                if not all(core & some for core in self._cores):
                    continue
                if self._holds(everything - some):
                    found.append(some)
                else:
                    self._cores.append(self._core(everything - some))
            if found:
                break
        return found

    def _core(self, kept: frozenset[str]) -> frozenset[str]:
        """Limits among some that cannot be kept together, none of which is idle."""
        if not self._holds(kept - _RULES.keys()):
            kept -= _RULES.keys()
        for name in sorted(kept):
            if not self._holds(kept - {name}):
                kept -= {name}
        return kept

    # least sum of steps

    def _least(self, names: tuple[str, ...], least: float) -> Iterator[tuple[float, Any, Checked]]:
        """The best by the order for each way to share the least sum of misses between some limits.

        Nothing, where no sum is as small as the ``least`` that is known already.
        """
        vectors = {
            tuple(seen[name] for name in names) for seen in self._seen if seen.keys() == set(names)
        }  # witnesses of before: somewhere to start from
        least = min(least, min(map(math.fsum, vectors), default=math.inf))
        boxes = [(math.inf,) * len(names)]
        while boxes:
            box = tuple(min(edge, least + SAME) for edge in boxes.pop())
            known = [at for at in vectors if all(map(operator.le, at, box))]
            at = min(known, key=math.fsum) if known else self._better(names, box)
            if at is None:
                continue
            vectors.add(at)
            least = min(least, math.fsum(at))
            # whoever does better, or shares out the same sum in another way, misses one limit by less
            for place, edge in enumerate(at):
                less = list(box)
                less[place] = edge - self._tick(names[place], edge)
                boxes.append(tuple(less))
        for at in vectors:
            if math.fsum(at) <= least + SAME:
                steps = {name: edge + SAME / 10 for name, edge in zip(names, at, strict=True)}
                closest = self._first(eased(self.plan, steps))
                if closest is not None:
                    yield math.fsum(self._vector(closest, names)), closest.key, closest

    def _better(self, names: tuple[str, ...], box: tuple[float, ...]) -> tuple[float, ...] | None:
        """Misses of some combination that misses each of some limits by no more than so many steps."""
        if min(box) < 0:
            return None
        witness = self._ask(dict(zip(names, box, strict=True)))
        return None if witness is None else self._vector(witness, names)

    def _bound(self, name: str) -> tuple[float, str, float]:
        """Bound, figure and step of a limit."""
        key, _, side = name.rpartition(".")
        if not key:
            bound, figure = _lowest(name, self.plan)
            return bound, figure, FIGURES[figure].step
        goal = self.plan.goals[key]
        chosen = goal.minimum if side == "min" else goal.maximum
        assert chosen is not None
        return chosen, goal.figure, goal.step

    def _tick(self, name: str, edge: float) -> float:
        """How much less, in steps, is less for the check too."""
        bound, _, step = self._bound(name)
        return max(SAME, 4 * NEAR * max(1.0, abs(bound) + edge * step) / step)

    def _vector(self, checked: Checked, names: tuple[str, ...]) -> tuple[float, ...]:
        """By how many steps a combination misses each of some limits."""
        missed = {name_of(each.limit): each.steps for each in misses(checked, self.plan)}
        return tuple(missed.get(name, 0.0) for name in names)

    # the oracle

    def _ask(self, steps: Mapping[str, float]) -> Checked | None:
        """Any combination that keeps the plan with some limits moved."""
        self.clock.check()
        found = self.some(self.catalogue, eased(self.plan, steps), self.clock.left)
        return None if found is None else check(found, self.plan, spreads=False)

    def _first(self, plan: Plan) -> Checked | None:
        """The first combination by a plan's order, as the question's own plan sees it."""
        self.clock.check()
        answer = self.find(self.catalogue, plan, 1, self.clock.left)
        if answer.status == "incomplete":
            raise OutOfTimeError
        return check(answer.combinations[0].combination, self.plan, spreads=False) if answer.combinations else None
