"""Why nothing fits: the smallest set of requirements that cannot hold together, and the ways out.

The search is the oracle: a set of requirements holds if the plan that keeps them, and drops the others, has an answer.
The smallest conflict comes from the duality of conflicts and corrections: a smallest set that hits every correction
found so far either is infeasible, and then it is a smallest conflict, or grows into a greatest feasible set whose
complement is one more correction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import NEAR, View
from kitwright.solver.engine import Clock, OutOfTimeError
from kitwright.solver.plan import IMPLIED_AIMS, MACHINING, MOST_GASKETS, REV_CEILING, Goal, Plan
from kitwright.solver.registry import FIGURES, UNITS
from kitwright.solver.result import Answer, Checked, Closest, Conflict, WayOut

Find = Callable[[Catalogue, Plan, int, float], Answer]
Fits = Callable[[Catalogue, Plan, float], bool]

FINE = 200
"""Steps of a goal are cut this fine when the nearest value to a bound is looked for."""


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
            yield Requirement(f"{name}.min", _without_bound(name, "minimum"))
        if goal.maximum is not None:
            yield Requirement(f"{name}.max", _without_bound(name, "maximum"))


def _without_bound(name: str, side: str) -> Callable[[Plan], Plan]:
    def drop(plan: Plan) -> Plan:
        goal = plan.goals[name]
        limits = {"minimum": goal.minimum, "maximum": goal.maximum} | {side: None}
        changed = Goal(name, goal.ranked_by, limits["minimum"], limits["maximum"], goal.step, goal.weight)
        return plan.but(goals={**plan.goals, name: changed})

    return drop


def _without_avoided(part: str) -> Callable[[Plan], Plan]:
    return lambda plan: plan.but(avoid=plan.avoid - {part})


def _without_pin(kind: str) -> Callable[[Plan], Plan]:
    return lambda plan: plan.but(use={each: ids for each, ids in plan.use.items() if each != kind})


class Oracle:
    """Whether sets of requirements hold, remembered."""

    def __init__(self, catalogue: Catalogue, plan: Plan, find: Find, clock: Clock, fits: Fits | None = None) -> None:
        self.catalogue = catalogue
        self.plan = plan
        self.find = find
        self.fits = fits or (lambda some, asked, seconds: bool(find(some, asked, 1, seconds).combinations))
        self.clock = clock
        self.all = {each.name: each for each in requirements(plan)}
        self._known: dict[frozenset[str], Answer] = {}
        self._holds: dict[frozenset[str], bool] = {}

    def plan_with(self, kept: Iterable[str]) -> Plan:
        """The plan with only some of its requirements."""
        keep = set(kept)
        changed = self.plan
        for name, each in self.all.items():
            if name not in keep:
                changed = each.drop(changed)
        return changed

    def answer(self, kept: Iterable[str]) -> Answer:
        """The best answer that keeps some of the requirements."""
        key = frozenset(kept)
        if key not in self._known:
            self._known[key] = self.ask(self.plan_with(key))
        return self._known[key]

    def ask(self, plan: Plan) -> Answer:
        """The best answer to a plan; raises where it is not proved in time."""
        self.clock.check()
        answer = self.find(self.catalogue, plan, 1, self.clock.left)
        if answer.status == "incomplete":
            raise OutOfTimeError
        return answer

    def holds(self, kept: Iterable[str]) -> bool:
        """Whether some requirements have an answer together: what holds together holds in any part of it."""
        key = frozenset(kept)
        if key not in self._holds:
            if any(known and key <= other for other, known in self._holds.items()):
                self._holds[key] = True
            elif any(not known and other <= key for other, known in self._holds.items()):
                self._holds[key] = False
            else:
                self.clock.check()
                plan = self.plan_with(key)
                limits = {name: Goal(name, None, goal.minimum, goal.maximum) for name, goal in plan.goals.items()}
                self._holds[key] = self.fits(self.catalogue, plan.but(goals=limits), self.clock.left)
        return self._holds[key]


def smallest_conflict(oracle: Oracle) -> tuple[str, ...]:
    """A smallest set of requirements that has no answer, the first by name among equally small ones.

    Empty where even a plan without requirements has none: then it is the parts that do not fit one another.
    """
    names = sorted(oracle.all)
    corrections: list[frozenset[str]] = []
    while True:
        hitting = _first_hitting(names, corrections)
        if not oracle.holds(hitting):
            return hitting
        grown = set(hitting)
        for name in names:
            if name not in grown and oracle.holds(grown | {name}):
                grown.add(name)
        corrections.append(frozenset(names) - grown)


def _first_hitting(names: list[str], corrections: list[frozenset[str]]) -> tuple[str, ...]:
    for size in range(len(names) + 1):
        for some in combinations(names, size):
            if all(correction & set(some) for correction in corrections):
                return some
    return tuple(names)


def conflict(catalogue: Catalogue, plan: Plan, find: Find, fits: Fits, seconds: float) -> Conflict | None:
    """Why a plan that has no answer has none; None where time runs out before that is proved."""
    oracle = Oracle(catalogue, plan, find, Clock(seconds), fits)
    try:
        wanted = smallest_conflict(oracle)
        closest = tuple(_closest(oracle, wanted))
        ways = sorted(_ways_out(oracle, closest), key=_cheapest)
        because = _because(oracle, wanted, closest, ways)
    except OutOfTimeError:
        return None
    return Conflict(wanted, because, closest, tuple(ways))


def _cheapest(way: WayOut) -> tuple[bool, float, tuple[int, ...], str]:
    ranks = tuple(way.combination.key[:1])
    return way.price is None, way.price or 0.0, ranks, way.requirement


def _closest(oracle: Oracle, wanted: tuple[str, ...]) -> Iterator[Closest]:
    """Per requirement, the best that can be had of it while all the others hold."""
    for name in wanted:
        rest = set(oracle.all) - {name}
        if not oracle.holds(rest):
            continue
        figure, dot, side = name.partition(".")
        if (not dot and name != REV_CEILING) or figure in ("use", "avoid"):
            yield Closest(name, None, None, oracle.answer(rest).combinations[0])
            continue
        measured = "rev_limit" if name == REV_CEILING else figure
        nearest = _nearest(oracle, rest, name, measured, "min" if name == REV_CEILING else side)
        yield Closest(name, measured, corner(nearest, oracle.plan, measured, side or "min"), nearest)


def corner(checked: Checked, plan: Plan, figure: str, side: str) -> float:
    """The value of a figure that a bound is compared with, in the plan's tolerance mode."""
    low, high = View(checked.combination, plan).spread(figure, plan.tolerance)
    return low if side == "min" else high


def _nearest(oracle: Oracle, rest: set[str], name: str, figure: str, side: str) -> Checked:
    """The answer whose figure comes nearest to a bound that is dropped, by the others' bounds alone.

    In a tolerance mode the bound concerns a corner; the nearest corner is closed in on by asking for more, again and
    again, until there is none.
    """
    plan = oracle.plan_with(rest)
    bound = oracle.plan.rev_ceiling if name == REV_CEILING else _bound(oracle.plan.goals[figure], side)
    assert bound is not None
    step = FIGURES[figure].step if name == REV_CEILING else oracle.plan.goals[figure].step
    goals = {each: Goal(each, None, goal.minimum, goal.maximum) for each, goal in plan.goals.items()}
    own = goals.get(figure, Goal(figure))
    goals = {each: _unranked(goal) for each, goal in goals.items()}
    limits = {"minimum": own.minimum, "maximum": own.maximum}
    best: Checked | None = None
    while True:
        goals[figure] = Goal(figure, bound, limits["minimum"], limits["maximum"], step / FINE)
        asked = plan.but(goals=goals)
        if name == REV_CEILING:
            asked = asked.but(rev_ceiling=None)
        answer = oracle.ask(asked)
        if not answer.combinations:
            break
        best = answer.combinations[0]
        value = corner(best, oracle.plan, figure, side)
        if oracle.plan.tolerance == "nominal" or not math.isfinite(value):
            break
        better = value + step / FINE if side == "min" else value - step / FINE
        limits["minimum" if side == "min" else "maximum"] = better
    assert best is not None
    return best


def _unranked(goal: Goal) -> Goal:
    """A goal's limits as they are, with an aim that ranks nothing (an implied aim would)."""
    if goal.figure in IMPLIED_AIMS:
        middle = goal.minimum if goal.minimum is not None else goal.maximum
        return Goal(goal.figure, middle, goal.minimum, goal.maximum, step=1e9)
    return goal


def _bound(goal: Goal, side: str) -> float | None:
    return goal.minimum if side == "min" else goal.maximum


DIGITS = {
    "": 2,
    "money": 2,
    "mm": 3,
    "cc": 2,
    "rpm": 0,
    "m_s": 2,
    "m_s2": 0,
    "g": 1,
    "N": 0,
    "N_mm": 2,
    "kPa": 1,
    "Hz": 1,
    "deg": 1,
}
"""Decimals that a bound is shown with, by unit."""


def outward(value: float, side: str, unit: str) -> float:
    """A bound rounded outward to the digit that is shown, so that it does open.

    >>> outward(9.98225, "max", ""), outward(0.49604, "min", "mm")
    (9.99, 0.496)
    """
    scale: float = 10.0 ** DIGITS[unit]
    near = round(value * scale)
    if abs(value * scale - near) < NEAR * scale:
        return near / scale
    return (math.ceil(value * scale) if side == "max" else math.floor(value * scale)) / scale


def _ways_out(oracle: Oracle, closest: Iterable[Closest]) -> Iterator[WayOut]:
    """One change each that opens an answer."""
    nearest = {each.requirement: each for each in closest}
    for name in oracle.all:
        rest = set(oracle.all) - {name}
        if name in nearest and nearest[name].value is not None:
            yield _moved(oracle, nearest[name])
        elif oracle.holds(rest):
            best = oracle.answer(rest).combinations[0]
            change, to = _dropped(name, best)
            yield WayOut(name, change, to, best.cost, best)


def _moved(oracle: Oracle, nearest: Closest) -> WayOut:
    figure, _, side = nearest.requirement.partition(".")
    assert nearest.value is not None
    ceiling = nearest.requirement == REV_CEILING
    unit = FIGURES["rev_limit" if ceiling else figure].unit
    to = outward(nearest.value, side or "min", unit)
    opened = _with_bound(oracle.plan, nearest.requirement, to)
    best = oracle.ask(opened).combinations
    found = best[0] if best else nearest.combination
    words = "rev ceiling" if ceiling else f"{figure.replace('_', ' ')} {'at least' if side == 'min' else 'at most'}"
    shown = "" if unit in ("", "money") else f" {UNITS[unit][1]}"
    return WayOut(nearest.requirement, f"{words} {to:.10g}{shown}", to, found.cost, found)


def _with_bound(plan: Plan, requirement: str, to: float) -> Plan:
    if requirement == REV_CEILING:
        return plan.but(rev_ceiling=to)
    name, _, side = requirement.partition(".")
    goal = plan.goals[name]
    low, high = (to, goal.maximum) if side == "min" else (goal.minimum, to)
    return plan.but(goals={**plan.goals, name: Goal(name, goal.ranked_by, low, high, goal.step, goal.weight)})


def _dropped(name: str, best: Checked) -> tuple[str, object]:
    ids = best.combination.ids
    if name == "shelf_only":
        bought = ", ".join(part.id for part, _ in best.combination.to_buy())
        return f"buy {bought}", False
    if name == "gaskets":
        layers = len(best.combination.gaskets)
        return f"a stack of {layers} gaskets", layers
    if name == "machining":
        return ", ".join(_work(best)) or "allow machining", True
    if name == "tolerance":
        return "fits nominally, not in the tolerance mode that is asked for", "nominal"
    if name.startswith("use."):
        kind = name.removeprefix("use.")
        chosen = ids.get("gaskets" if kind == "gasket" else kind)
        return f"{kind.replace('_', ' ')} {' + '.join(chosen) if isinstance(chosen, list) else chosen}", chosen
    if name.startswith("avoid."):
        return f"use {name.removeprefix('avoid.')} after all", name.removeprefix("avoid.")
    return f"without `{name}`", None


def _told(each: Closest) -> str:
    assert each.figure is not None and each.value is not None
    unit = FIGURES[each.figure].unit
    number = f"{each.value:.{DIGITS[unit]}f}"
    return f"{each.figure.replace('_', ' ')} {number}" + ("" if unit in ("", "money") else f" {UNITS[unit][1]}")


_WORK = {"mill": "mill {head} by", "relieve": "relieve {head} by", "deck_cut": "cut the deck of {block} by"}


def _work(best: Checked) -> Iterator[str]:
    """Machining in words: ``relieve h230 by 3.5 cc``."""
    for key, value in best.combination.machining.items():
        operation, _, unit = key.rpartition("_")
        words = _WORK.get(operation, "bore {block} out to").format_map(best.combination.ids)
        yield f"{words} {value:.10g} {unit}"


def _because(oracle: Oracle, wanted: tuple[str, ...], closest: tuple[Closest, ...], ways: list[WayOut]) -> str:
    if not wanted:
        return "no parts of the catalogue fit one another: see which parts dropped out, and why"
    both = " and ".join([", ".join(wanted[:-1]), wanted[-1]] if len(wanted) > 1 else wanted)
    if len(wanted) == 1:
        text = f"{both} cannot be had with these parts, whatever else is given up"
    else:
        text = f"{both} cannot hold together"
    values = [each for each in closest if each.value is not None and each.figure is not None]
    if values:
        told = [_told(each) for each in values]
        text += f"; with all the others kept, the nearest are {', '.join(told)}"
    if not ways:
        text += "; no single change opens an answer"
    return text
