"""What an explanation claims, held against the plain check and the exhaustive twin: every difference as a line."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from kitwright.solver import Catalogue, Goal, Plan, check, find
from kitwright.solver.check import View, judge
from kitwright.solver.combination import Combination
from kitwright.solver.conflicts import Oracle
from kitwright.solver.explain import explain
from kitwright.solver.guards import CLEARANCES, guards
from kitwright.solver.plan import TOLERANCES
from kitwright.solver.registry import FIGURES
from kitwright.solver.requirements import bound_of, moved
from kitwright.solver.result import Checked, Conflict, Explanation, WayOut, WouldFit
from kitwright.solver.search import witness
from kitwright.solver.stackup import Spreads
from kitwright.solver.stopping import Clock
from kitwright.solver.ways_out import careful
from kitwright.solver.wording import digit
from tests.twin import closest, everything

SECONDS = 600.0
MOST = 1200
"""Combinations up to which the twin looks at all of them; beyond, the search's word is taken that there is none."""

Question = Callable[..., tuple[Catalogue, Plan]]


def opens(catalogue: Catalogue, plan: Plan) -> bool:
    """Whether anything fits, by the twin where it can; what is found is held against the plain check."""
    found = witness(catalogue, plan, SECONDS)
    if found is not None:
        return check(found, plan, spreads=False).fits
    few = sum(1 for _ in zip(range(MOST + 1), everything(catalogue, plan), strict=False)) <= MOST
    return few and bool(closest(catalogue, plan))


@lru_cache(maxsize=500)
def refused(question: Question, seed: int, most: int = 120) -> tuple[Catalogue, Plan] | None:
    """A random question that asks too much: bounds that one combination or another keeps, until none keeps them all.

    Where the parts do not fit one another, or one combination has the best of everything, it is None.
    """
    rng = random.Random(seed * 31 + 7)
    catalogue, plan = question(seed, most=most)
    if rng.random() < 0.2:  # as it is: pins, shelf and parts that do not fit
        return None if closest(catalogue, plan) else (catalogue, plan)
    plan = plan.but(goals={}, rev_ceiling=None, tolerance=rng.choice(TOLERANCES))
    fitting = [combination for _, combination in closest(catalogue, plan)]
    known: Spreads = {}
    goals: dict[str, Goal] = {}
    if not fitting:
        return None
    for name in rng.sample(WANTED, len(WANTED)) * 3:
        if not fitting:
            return catalogue, plan.but(goals=goals)
        values = [View(each, plan).value(name) for each in fitting]
        values = [each for each in values if math.isfinite(each)]
        if len(values) < len(fitting) or (max(values) == min(values) and name in goals):
            continue
        step, side = FIGURES[name].step, rng.choice(("minimum", "maximum"))
        kept = rng.choice(values)
        room = step * rng.choice((1, 0.5, 0, -0.5))
        bound = round((kept + room if side == "maximum" else kept - room) / step * 2) * step / 2
        if name in goals and getattr(goals[name], side) is not None:
            continue
        old = goals.get(name, Goal(name, step=step))
        goal = replace(old, **{side: bound})
        if goal.minimum is not None and goal.maximum is not None and goal.minimum > goal.maximum:
            continue
        goals[name] = goal
        asked = plan.but(goals=goals)
        fitting = [each for each in fitting if judge(each, asked, known).fits]
    return None if fitting else (catalogue, plan.but(goals=goals))


WANTED = (
    "compression",
    "quench",
    "valve_lift",
    "coil_bind_margin",
    "retainer_margin",
    "displacement",
    "rod_ratio",
    "skirt_to_counterweight",
    "mean_piston_speed",
    "rev_limit",
    "clearance_volume",
    "cost",
)


def differences(question: Question, seed: int, most: int = 120) -> Iterator[str]:
    """What is wrong with the explanation of one random question that asks too much."""
    asked = refused(question, seed, most)
    if asked is None:
        return
    catalogue, plan = asked
    found = explain(catalogue, plan, find, witness, SECONDS)
    for line in claims(catalogue, plan, found):
        yield f"seed {seed}: {line}"


def claims(catalogue: Catalogue, plan: Plan, found: Explanation) -> Iterator[str]:
    """Hold every claim of an explanation of a plan without answer against the twin."""
    conflict = found.answer.conflict
    if not found.complete or conflict is None:
        yield "not explained"
        return
    oracle = Oracle(catalogue, plan, find, Clock(math.inf), witness)
    for each in (conflict, *found.other_conflicts):
        yield from _irreducible(oracle, each)
    for other in found.other_conflicts:
        if len(other.requirements) < len(conflict.requirements):
            yield f"{other.requirements} is smaller than {conflict.requirements}"
    for way in conflict.ways_out:
        yield from _way(catalogue, plan, way)
    may_open = False
    for name in conflict.requirements:
        rest = oracle.plans_with(set(oracle.all) - {name})
        may = any(opens(catalogue, careful(each)) for each in rest) and not touches(oracle, name)
        may_open = may_open or may
        told = any(way.requirement == name for way in conflict.ways_out)
        if not told and may:
            yield f"nothing is said of {name}, which opens"
    for each in found.together:
        yield from _together(catalogue, plan, each.changes, each.combination.combination)
    if conflict.requirements and not conflict.ways_out and not found.together and may_open:
        yield "no way out at all"
    for part in found.parts_that_would_fit:
        yield from _part(catalogue, plan, part)


def _irreducible(oracle: Oracle, conflict: Conflict) -> Iterator[str]:
    wanted = conflict.requirements
    if any(opens(oracle.catalogue, each) for each in oracle.plans_with(wanted)):
        yield f"{wanted} has an answer"
    for name in wanted:
        rest = set(wanted) - {name}
        if not any(opens(oracle.catalogue, each) for each in oracle.plans_with(rest)):
            yield f"{wanted} without {name} has no answer"
    for near in conflict.closest:
        if near.value is not None and near.figure is not None and not math.isfinite(near.value):
            yield f"{near.requirement} comes to {near.value}"


def _way(catalogue: Catalogue, plan: Plan, way: WayOut) -> Iterator[str]:
    opened = moved(plan, way.requirement, way.to)
    checked = check(way.combination.combination, opened, spreads=False)
    if not checked.fits or checked.cost != way.price:
        yield f"{way.change} does not open {way.combination.combination.ids} at {way.price}"
    if too_near(checked, opened):
        yield f"{way.change} leaves less than a step: {way.combination.combination.ids}"
    if way.loosens_guard is not guards(plan, way.requirement):
        yield f"{way.change} is marked {way.loosens_guard}"
    best = find(catalogue, careful(opened), top=1, seconds=SECONDS).combinations
    if not best or best[0].key > checked.key:
        yield f"{way.change} gives no answer as close as the one that is named"
    less = one_less(plan, way)
    if less is not None and opens(catalogue, careful(less)):
        yield f"less than {way.change} opens as well"


def too_near(checked: Checked, plan: Plan) -> bool:
    """Whether a clearance that a physical rule keeps above 0 is less than one step."""
    for limit in checked.limits:
        if limit.kind == "rule" and limit.figure in CLEARANCES and limit.value is not None:
            step = plan.goals[limit.figure].step if limit.figure in plan.goals else FIGURES[limit.figure].step
            if limit.value < step - 1e-9:
                return True
    return False


def touches(oracle: Oracle, name: str) -> bool:
    """Whether a bound on a guarded clearance opens only within one step of contact."""
    bound = bound_of(oracle.plan, name)
    if bound is None or bound[0] not in CLEARANCES or bound[1] != "min" or not guards(oracle.plan, name):
        return False
    step = oracle.plan.goals[bound[0]].step
    return not opens(oracle.catalogue, careful(moved(oracle.plan, name, step)))


def one_less(plan: Plan, way: WayOut) -> Plan | None:
    """The plan with a requirement moved one last digit (one gasket, one mode) less far; None for what has no less."""
    bound = bound_of(plan, way.requirement)
    if bound is not None:
        if way.to is None:
            return None
        figure, side, _ = bound
        one = digit(FIGURES[figure].unit, plan.units)
        steps = round(Fraction(way.to) / one) + (1 if side == "min" else -1)
        return moved(plan, way.requirement, float(steps * one))
    if way.requirement == "gaskets":
        return moved(plan, "gaskets", way.to - 1)
    if way.requirement == "tolerance":
        return moved(plan, "tolerance", TOLERANCES[TOLERANCES.index(way.to) + 1])
    return None


def _together(catalogue: Catalogue, plan: Plan, changes: tuple[WayOut, ...], combination: Combination) -> Iterator[str]:
    opened = plan
    for way in changes:
        opened = moved(opened, way.requirement, way.to)
    said = ", ".join(way.change for way in changes)
    if not check(combination, opened, spreads=False).fits:
        yield f"{said} do not open {combination.ids}"
    for left in changes:
        less = plan
        for way in changes:
            less = less if way is left else moved(less, way.requirement, way.to)
        if opens(catalogue, careful(less)):
            yield f"{said}: {left.change} is not needed"


def _part(catalogue: Catalogue, plan: Plan, part: WouldFit) -> Iterator[str]:
    said = f"{part.kind} with {part.field} {part.value} in place of {part.like}"
    if not check(part.combination.combination, plan, spreads=False).fits:
        yield f"{said} does not fit"
    if not part.low <= part.value <= part.high:
        yield f"{said} is not from {part.low} to {part.high}"
    new = next((each for each in part.combination.combination.different_parts if each.id == f"{part.like}*"), None)
    if new is None:
        yield f"{said} is not in the combination"
    elif witness(Catalogue.of([*catalogue, new]), plan, SECONDS) is None:
        yield f"{said} opens nothing where it is in the catalogue"
