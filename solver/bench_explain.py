"""Why no allotment to several engines holds, and what would open one; or what one more of a part would bring."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from kitwright.solver.bench import Allotment, BenchAnswer, Lists, find_for_bench
from kitwright.solver.bench_shares import on_money
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.guards import guards
from kitwright.solver.plan import REV_CEILING, Bench, Plan
from kitwright.solver.regions import Progress
from kitwright.solver.registry import FIGURES
from kitwright.solver.requirements import bound_of, moved, requirements, without
from kitwright.solver.stopping import STOPS, Clock, OutOfTimeError, Reason
from kitwright.solver.ways_out import as_planned, careful, corner, touches
from kitwright.solver.wording import digit, outward

BUDGET = "budget"

_FINE = 200
"""Steps of a goal are cut this fine when the nearest value to a bound is looked for."""

_BEFORE_ALL = 1000
"""Weight of the bound that is moved, before what the engines aim at."""


@dataclass(frozen=True, slots=True, order=True)
class BenchRequirement:
    """A requirement of a bench: of one engine's plan, that a part is there as often as it is, or the budget.

    ``engine`` is empty for what concerns all; ``name`` is the plan's word (``quench.min``), a part's id, or
    ``budget``.
    """

    engine: str
    name: str


@dataclass(frozen=True, slots=True)
class BenchWay:
    """One requirement let go of or moved, and the closest allotment that it opens.

    ``to`` is the bound that is enough: of a figure of an engine, or of the budget; None where the requirement is let go
    of, or where one more of a part is had.
    """

    requirement: BenchRequirement
    to: float | None
    allotment: Allotment
    loosens_guard: bool = False
    """Whether it loosens what keeps parts apart or in one piece."""


@dataclass(frozen=True)
class BenchExplanation:
    """Why nothing fits, or where something does, what one more of each contested part would bring.

    Attributes:
        answer: the closest allotment, or none.
        hopeless: engines that nothing fits even with the whole shelf and budget to themselves; ``kitwright explain``
            with ``--engine`` says why.
        conflict: requirements that cannot hold together; each of them is needed for that.
        ways: changes that open an allotment, or bring a closer one, each verified by the search.
        priceless: contested parts that have no price, so that none can be bought again.
        complete: False where time ran out before everything was looked at.
        stopped_by: what ended it, then.
    """

    answer: BenchAnswer
    hopeless: tuple[str, ...] = ()
    conflict: tuple[BenchRequirement, ...] = ()
    ways: tuple[BenchWay, ...] = ()
    priceless: tuple[str, ...] = ()
    complete: bool = True
    stopped_by: Reason | None = None


def explain_bench(
    catalogue: Catalogue, bench: Bench, seconds: float = 120.0, progress: Progress | None = None
) -> BenchExplanation:
    """Why no allotment holds and what would open one; or, where one holds, what stands in the way of a closer one.

    Args:
        catalogue: the parts that the engines share.
        bench: the engines.
        seconds: time limit for all of it; what is not proved by then is left out, and ``complete`` says so.
        progress: called with a line of text now and then.
    """
    with Clock(seconds) as clock:
        return _explained(catalogue, bench, clock, progress)


def _explained(catalogue: Catalogue, bench: Bench, clock: Clock, progress: Progress | None) -> BenchExplanation:
    known: Lists = {}  # letting go of one engine's requirement changes nothing in the other's lists

    def ask(some: Bench) -> BenchAnswer:
        clock.check()
        answer = find_for_bench(catalogue, some, 1, clock.left, progress, known)
        if answer.status == "incomplete":
            raise OutOfTimeError
        return answer

    answer = find_for_bench(catalogue, bench, 1, clock.left, progress, known)
    if answer.status == "incomplete":
        return BenchExplanation(answer, complete=False, stopped_by=answer.stopped_by)
    if answer.hopeless:
        return BenchExplanation(answer, answer.hopeless)
    contested = dict.fromkeys(answer.contested)
    money = [BenchRequirement("", BUDGET)] if bench.budget is not None else []
    conflict: tuple[BenchRequirement, ...] = ()
    ways: list[BenchWay] = []

    def explained(complete: bool) -> BenchExplanation:
        told = tuple(sorted(ways, key=_cheapest)) if complete else tuple(ways)
        return BenchExplanation(answer, (), conflict, told, _priceless(catalogue, contested), complete)

    try:
        if not len(answer):
            contested = _contested(bench, contested, ask)
            parts = [BenchRequirement("", part) for part in contested]
            every = [*parts, *money, *_of_engines(bench)]
            conflict = tuple(_irreducible(every, lambda kept: not len(ask(_with_only(bench, every, kept)))))
        for each in conflict or (*(BenchRequirement("", part) for part in contested), *money):
            ways += _way(_careful(bench), each, ask, answer)
    except STOPS as stop:
        return replace(explained(False), stopped_by=clock.ended_by(stop))
    return explained(True)


def _priceless(catalogue: Catalogue, parts: Iterable[str]) -> tuple[str, ...]:
    """Those of some parts that have no price."""
    held = (catalogue.get(each) for each in parts)
    return tuple(part.id for part in held if part is not None and part.price is None)


def _cheapest(way: BenchWay) -> tuple[bool, bool, float, tuple[int, int]]:
    cost = way.allotment.cost
    return way.loosens_guard, cost is None, cost or 0.0, way.allotment.key[:2]


def _careful(bench: Bench) -> Bench:
    """The bench with every guarded clearance of its engines a step off contact: what an offer has to keep."""
    return bench.but(engines={name: careful(plan) for name, plan in bench.engines.items()})


def _contested(bench: Bench, known: dict[str, None], ask: Callable[[Bench], BenchAnswer]) -> dict[str, None]:
    """All parts that have to be let go of until the engines no longer get in one another's way."""
    found = dict(known)
    while True:
        answer = ask(bench.but(budget=None, unshared=frozenset(found)))
        more = [part for part in answer.contested if part not in found]
        if len(answer) or not more:
            return found
        found |= dict.fromkeys(more)


def _of_engines(bench: Bench) -> list[BenchRequirement]:
    """Every requirement of every engine, bounds first."""
    found = [BenchRequirement(name, each.name) for name, plan in bench.engines.items() for each in requirements(plan)]
    return sorted(found, key=lambda each: bound_of(bench.engines[each.engine], each.name) is None)


def _with_only(bench: Bench, every: Sequence[BenchRequirement], kept: Sequence[BenchRequirement]) -> Bench:
    """The bench with some of its requirements let go of."""
    gone = set(every) - set(kept)
    engines = {
        name: without(plan, [each.name for each in gone if each.engine == name]) for name, plan in bench.engines.items()
    }
    unshared = frozenset(each.name for each in gone if not each.engine and each.name != BUDGET)
    budget = None if BenchRequirement("", BUDGET) in gone else bench.budget
    return Bench(bench.name, engines, budget, bench.unshared | unshared)


def _irreducible(
    every: Sequence[BenchRequirement], refused: Callable[[list[BenchRequirement]], bool]
) -> list[BenchRequirement]:
    """Some of these that cannot hold together while any of them left out lets them; the first ones are kept longest.

    Halves are left out at once where the rest is refused without them. Source: U. Junker, "QuickXplain", AAAI 2004
    (recalled, recomputed).
    """

    def needed(kept: list[BenchRequirement], new: bool, some: list[BenchRequirement]) -> list[BenchRequirement]:
        if new and refused(kept):
            return []
        if len(some) == 1:
            return some
        half = len(some) // 2
        first, second = some[:half], some[half:]
        of_second = needed(kept + first, bool(first), second)
        of_first = needed(kept + of_second, bool(of_second), first)
        return of_first + of_second

    return needed([], True, list(every)) if every else []


def _way(bench: Bench, each: BenchRequirement, ask: Callable[[Bench], BenchAnswer], now: BenchAnswer) -> list[BenchWay]:
    """What letting go of one requirement opens, and the bound that is enough for it."""
    opened = ask(_with_only(bench, [each], []))
    to: float | None = None
    if len(opened) and each.name == BUDGET:
        to = opened.allotments[0].cost
        if to is None:  # no budget is enough for what nobody has priced
            return []
    elif len(opened) and each.engine:
        to = _nearest(bench, each, ask)
        if to is not None:
            opened = ask(_with_plan(bench, each.engine, moved(bench.engines[each.engine], each.name, to)))
    if not len(opened) or (len(now) and opened.allotments[0].key[:3] >= now.allotments[0].key[:3]):
        return []
    plan = bench.engines.get(each.engine)
    guard = plan is not None and guards(plan, each.name)
    if plan is not None and guard and touches(plan, each.name, to):
        return []
    first = opened.allotments[0]
    loose = without(plan, (each.name,)) if plan is not None else None
    asked = {name: loose if loose is not None and name == each.engine else some for name, some in bench.engines.items()}
    engines = {name: as_planned(checked, asked[name]) for name, checked in first.engines.items()}
    return [BenchWay(each, to, replace(first, engines=engines), guard)]


def _nearest(bench: Bench, each: BenchRequirement, ask: Callable[[Bench], BenchAnswer]) -> float | None:
    """How far a bound of one engine has to move, to the last digit shown; None for a setting."""
    plan = bench.engines[each.engine]
    bound = bound_of(plan, each.name)
    if bound is None or each.name == REV_CEILING:
        return None
    figure, side, at = bound
    goals = {**moved(plan, each.name, None).goals}
    if on_money(goals[figure]) and side == "max":  # as little as can be: all there is lies beyond the bound
        at, step = 0.0, float(digit(FIGURES[figure].unit))
    else:
        step = plan.goals[figure].step / _FINE
    goals[figure] = replace(goals[figure], aim=at, step=step, weight=_BEFORE_ALL)
    found = ask(_with_plan(bench, each.engine, plan.but(goals=goals)))
    if not len(found):
        return None
    value = corner(found.allotments[0].engines[each.engine].combination, plan, figure, side)
    return outward(value, side, FIGURES[figure].unit, plan.units) if math.isfinite(value) else None


def _with_plan(bench: Bench, engine: str, plan: Plan) -> Bench:
    return bench.but(engines={**bench.engines, engine: plan})
