"""The closest that can be had, and the changes that open an answer: how far each bound must move, to the last digit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from kitwright.solver.check import UNASKED, View, check, rule_limits
from kitwright.solver.combination import Combination
from kitwright.solver.conflicts import Oracle, corrections
from kitwright.solver.guards import CLEARANCES, guards, one_step
from kitwright.solver.plan import MOST_GASKETS, REV_CEILING, TOLERANCES, Goal, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.requirements import bound_of, moved, turns_with_speed
from kitwright.solver.result import Checked, Closer, Closest, Together, WayOut
from kitwright.solver.wording import bound_words, digit, outward, steps_outward, words, work

_PAIRS = 3
"""Sets of changes that are told where no single change opens an answer."""


def corner(combination: Combination, plan: Plan, figure: str, side: str) -> float:
    """The value of a figure that a bound is compared with, in the plan's tolerance mode."""
    low, high = View(combination, plan).spread(figure, plan.tolerance)
    return low if side == "min" else high


def closest(oracle: Oracle, wanted: Iterable[str], kept: Iterable[str]) -> Iterator[Closest]:
    """Per requirement, the best that can be had of it while all the others that are kept hold."""
    kept = set(kept)
    for name in wanted:
        rest = kept - {name}
        if not oracle.holds(rest):
            continue
        bound = bound_of(oracle.plan, name)
        nearest = None if bound is None else _nearest(oracle, kept, name)
        if nearest is not None and bound is not None:
            yield Closest(name, bound[0], *nearest)
            continue
        best = oracle.answer(rest)
        if best is not None:
            yield Closest(name, None, None, best)


def _nearest(oracle: Oracle, kept: set[str], name: str) -> tuple[float, Checked] | None:
    """The value nearest to a bound that the requirements that are kept allow, with the cheapest that has it.

    Nearest to the last digit that is shown: to rank within it would make the search prove what nobody can read. The
    combination keeps of the other requirements what can be kept beside, the settings first.

    None where there is no such value: what opens is to know nothing of the figure, or only to let go of the bound.
    """
    plan = oracle.plan_with(kept)
    to = least(oracle, plan, name)
    if to is None:
        return None
    beside = set(kept)
    for other in sorted(set(oracle.all) - kept, key=lambda each: (bound_of(oracle.plan, each) is not None, each)):
        tighter = moved(oracle.plan_with(beside | {other}), name, to)
        if oracle.some(tighter) is not None:
            beside.add(other)
    plan = oracle.plan_with(beside)
    figure, side, _ = bound_of(plan, name) or ("", "", 0.0)
    opened = moved(plan, name, to)
    best = oracle.ask(_unranked(opened))
    if best is None:
        return None
    value = to if name == REV_CEILING and turns_with_speed(plan) else corner(best.combination, opened, figure, side)
    return value, check(best.combination, opened, spreads=False)


def least(oracle: Oracle, plan: Plan, name: str) -> float | None:
    """A bound moved just so far, in whole last digits, that the plan has an answer; None where no bound does it.

    The answer is exact: the bound opens an answer, and one of its last digit less does not.
    """
    bound = bound_of(plan, name)
    if bound is None:
        return None
    figure, side, at = bound
    outwards = 1 if side == "max" else -1
    one = digit(FIGURES[figure].unit, plan.units)

    def opens(steps: int) -> int | None:
        """How many steps a combination needs that a bound of so many lets in; None where it lets none in."""
        found = oracle.some(moved(plan, name, float(steps * one)))
        if found is None:
            return None
        if speed and name == REV_CEILING:
            return steps
        return steps_outward(corner(found, plan, figure, side), side, one)

    speed = name == REV_CEILING and turns_with_speed(plan)
    if speed:
        far = _slowest(plan, at, lambda steps: opens(steps) is not None)
    else:
        free = oracle.some(moved(plan, name, None))
        value = math.nan if free is None else corner(free, plan, figure, side)
        far = steps_outward(value, side, one) if math.isfinite(value) else None
        if far is not None and name == REV_CEILING and opens(far) is None:
            far = None
    if far is None:
        return None
    shut = steps_outward(at, "min" if side == "max" else "max", one)
    ask, halved = far - outwards, False  # the combination that is there is often the best already
    while (far - shut) * outwards > 1:
        reached = opens(ask)
        if reached is None:
            shut = ask
        else:
            far = reached if (ask - reached) * outwards > 0 else ask
        halved = not halved
        ask = (far + shut) // 2 if halved else far - outwards
    return float(far * one)


def _slowest(plan: Plan, ceiling: float, opens: Any) -> int | None:
    """A lower rev ceiling that opens an answer: half, a quarter … of it."""
    speed = int(ceiling) // 2
    while speed >= 100:
        if opens(speed):
            return speed
        speed //= 2
    return None


def _unranked(plan: Plan) -> Plan:
    """A plan's limits as they are, ranking nothing: what is asked of it is the cheapest."""
    goals = {name: replace(goal, aim=None, unaimed=True) for name, goal in plan.goals.items()}
    if "pushrod" in plan.reference:  # aimed at unasked
        goals.setdefault(UNASKED, Goal(UNASKED, unaimed=True))
    return plan.but(goals=goals)


def ways_out(oracle: Oracle, nearest: Iterable[Closest], deep: bool = False) -> list[WayOut]:
    """One change each that opens an answer, cheapest first; those that loosen a guard last, cheapest first too.

    None is told that leaves a guarded clearance with less than one step.

    Args:
        oracle: the plan and what is known of it.
        nearest: the closest that can be had of each requirement.
        deep: whether the cheapest combination behind a setting is told, too, where it is not the closest.
    """
    found: list[WayOut] = []
    for each in nearest:
        way = _way(oracle, careful(oracle.plan), each.requirement)
        if way is None:
            continue
        found.append(way)
        if deep and each.value is None:
            found += _cheaper(oracle, way)
    return sorted(found, key=_cheapest)


def _cheapest(way: WayOut) -> tuple[bool, bool, float, tuple[int, ...], str]:
    return (
        way.loosens_guard,
        way.price is None,
        way.price or 0.0,
        tuple(way.combination.key[:2]),
        way.requirement,
    )


def _way(oracle: Oracle, plan: Plan, name: str) -> WayOut | None:
    """The least change of one requirement that gives a plan an answer."""
    guard = guards(plan, name)
    for to in _settings(oracle, plan, name):
        if guard and touches(plan, name, to):
            continue
        best = oracle.ask(moved(plan, name, to))
        if best is not None:
            best = as_planned(best, moved(plan, name, to))
            if name == "machining":
                to = list(best.combination.operations)
            elif name.startswith("use."):
                kind = name.removeprefix("use.")
                to = best.combination.ids.get("gaskets" if kind == "gasket" else kind)
            change = change_words(plan, name, to, best.combination)
            return WayOut(name, change, to, best.cost, best, guard)
    return None


def careful(plan: Plan) -> Plan:
    """The plan with every guarded clearance a step off contact, where it can be computed: what an offer has to keep."""
    return plan.but(step_clear=True)


def as_planned(found: Checked, plan: Plan) -> Checked:
    """A combination that was found with care, as the plan without it has it checked."""
    return check(found.combination, plan.but(step_clear=False), spreads=False) if plan.step_clear else found


def stands_too_close(combination: Combination, plan: Plan) -> bool:
    """Whether some clearance that a rule keeps above 0 is less than one step."""
    view = View(combination, careful(plan))
    return any(limit.holds is False for limit in rule_limits(view, plan.tolerance))


def touches(plan: Plan, name: str, to: Any) -> bool:
    """Whether a bound on a guarded clearance, moved so far, leaves it less than one step."""
    bound = bound_of(plan, name)
    if bound is None or bound[0] not in CLEARANCES or bound[1] != "min":
        return False
    return not isinstance(to, int | float) or to < one_step(plan, bound[0])


def _settings(oracle: Oracle, plan: Plan, name: str) -> Iterator[Any]:
    """What a requirement can be loosened to, the least first."""
    if bound_of(plan, name) is not None:
        yield least(oracle, plan, name)
    elif name == "gaskets":
        yield from range(plan.gaskets + 1, MOST_GASKETS + 1)
    elif name == "tolerance":
        yield from reversed(TOLERANCES[: TOLERANCES.index(plan.tolerance)])
    elif name == "machining":
        yield ("mill", "relieve", "deck_cut", "rebore")
    elif name == "shelf_only":
        yield False
    elif name.startswith("avoid."):
        yield name.removeprefix("avoid.")
    else:
        yield None


def change_words(plan: Plan, name: str, to: Any, opened: Combination) -> str:
    """A change in words: ``quench at most 2.10 mm``, ``buy p274-dish``."""
    ids = opened.ids
    if bound_of(plan, name) is not None:
        return f"let go of {bound_words(plan, name)}" if to is None else bound_words(plan, name, to)
    if name == "shelf_only":
        bought = [f"{count} × {part.id}" if count > 1 else part.id for part, count in opened.to_buy()]
        return f"buy {', '.join(bought)}" if bought else "look beyond the shelf"
    if name == "gaskets":
        return f"a stack of {to} gaskets"
    if name == "machining":
        return ", ".join(work(opened)) or "allow machining"
    if name == "tolerance":
        mode = "nominally" if to == "nominal" else "statistically (about 92 % of builds)"
        return f"accept that it fits {mode} and not at {_MODE[plan.tolerance]}"
    if name.startswith("use."):
        kind = name.removeprefix("use.")
        chosen = ids.get("gaskets" if kind == "gasket" else kind)
        taken = " + ".join(chosen) if isinstance(chosen, list) else chosen or "none"
        return f"{words(kind)} {taken} instead of {' + '.join(plan.use[kind])}"
    if name.startswith("avoid."):
        return f"use {name.removeprefix('avoid.')} after all"
    return "search every kind of part" if name == "kinds" else f"without `{name}`"


_MODE = {"statistical": "the statistical limits", "worst_case": "worst case"}


def _cheaper(oracle: Oracle, way: WayOut) -> Iterator[WayOut]:
    """The cheapest combination that a setting opens, where it costs less than the closest."""
    opened = moved(oracle.plan, way.requirement, way.to if way.requirement != "machining" else _ALL_WORK)
    best = oracle.ask(careful(_unranked(opened)))
    if best is None or best.cost is None or (way.price is not None and best.cost >= way.price):
        return
    to: Any = list(best.combination.operations) if way.requirement == "machining" else way.to
    if way.requirement.startswith("use."):
        kind = way.requirement.removeprefix("use.")
        to = best.combination.ids.get("gaskets" if kind == "gasket" else kind)
    checked = check(best.combination, opened, spreads=False)
    yield WayOut(
        way.requirement,
        change_words(oracle.plan, way.requirement, to, best.combination),
        to,
        best.cost,
        checked,
        way.loosens_guard,
    )


_ALL_WORK = ("mill", "relieve", "deck_cut", "rebore")


def together(oracle: Oracle, known: Iterable[tuple[str, ...]]) -> Iterator[Together]:
    """Changes that open an answer together, where no single one does; each as small as the others allow."""
    for names in corrections(oracle, known, _PAIRS):
        plan, settled = careful(oracle.plan), []
        for place, name in enumerate(names):  # the later ones let go of, the earlier ones in their place
            loose = plan
            for later in names[place + 1 :]:
                loose = _let_go(loose, later)
            way = _way(oracle, loose, name)
            if way is None:
                break
            settled.append(way)
            plan = moved(plan, name, way.to)
        best = oracle.ask(plan) if len(settled) == len(names) else None
        if best is not None:
            best = as_planned(best, plan)
            ways = tuple(
                replace(
                    way,
                    change=change_words(oracle.plan, way.requirement, way.to, best.combination),
                    price=best.cost,
                    combination=best,
                )
                for way in settled
            )
            yield Together(ways, best.cost, best)


def _let_go(plan: Plan, name: str) -> Plan:
    if name == "gaskets":
        return moved(plan, name, MOST_GASKETS)
    if name == "machining":
        return moved(plan, name, _ALL_WORK)
    return moved(plan, name, "nominal" if name == "tolerance" else None)


def closer(oracle: Oracle, best: Checked) -> Iterator[Closer]:
    """Requirements whose loosening, alone, brings a closer answer than the best that fits."""
    for name in oracle.all:
        other = oracle.answer(set(oracle.all) - {name})
        if other is not None and other.key[:2] < best.key[:2] and stands_too_close(other.combination, oracle.plan):
            loose = careful(oracle.plan_with(set(oracle.all) - {name}))
            other = oracle.ask(loose)
            other = as_planned(other, loose) if other is not None else None
        if other is None or other.key[:2] >= best.key[:2]:
            continue
        bound = bound_of(oracle.plan, name)
        to: Any = None
        if bound is not None:
            figure, side, at = bound
            value = corner(other.combination, oracle.plan, figure, side)
            to = outward(value, side, FIGURES[figure].unit, oracle.plan.units) if math.isfinite(value) else None
            if to is not None and (to >= at if side == "min" else to <= at):
                continue  # as asked: it is only proved no more, and to let go of it brings nothing
        elif name == "gaskets":
            to = len(other.combination.gaskets)
        elif name == "machining":
            to = sorted(set(other.combination.operations) - oracle.plan.machining)
        elif name == "tolerance":
            to = "nominal"
        elif name.startswith("use."):
            kind = name.removeprefix("use.")
            to = other.combination.ids.get("gaskets" if kind == "gasket" else kind)
        elif name == "shelf_only":
            to = False
        elif name.startswith("avoid."):
            to = name.removeprefix("avoid.")
        change = change_words(oracle.plan, name, to, other.combination)
        guard = guards(oracle.plan, name)
        if guard and touches(oracle.plan, name, to):
            continue
        way = WayOut(name, change, to, other.cost, other, guard)
        yield Closer(way, other.closeness, best.closeness - other.closeness)
