"""Why nothing fits, in full; or, where something fits, which requirements bind.

:func:`conflict` is what ``find`` adds to an answer without combinations, :func:`explain` what ``kitwright explain``
asks for. Both are values; prose is made of them elsewhere, but for one sentence.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from kitwright.solver.blame import reason, rules_in_the_way
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View, implied_goals
from kitwright.solver.conflicts import Find, Oracle, Witness, other_conflicts, smallest_conflict
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.requirements import bound_of
from kitwright.solver.result import Checked, Closest, Conflict, Explanation, Limit, Together, WayOut
from kitwright.solver.sizes import sizes_that_would_fit
from kitwright.solver.stopping import STOPS, Clock, OutOfTimeError
from kitwright.solver.ways_out import careful, closer, closest, together, ways_out
from kitwright.solver.wording import best_words, cannot, feeding, listed, said, words
from kitwright.solver.would_fit import parts_that_would_fit

DEFAULT_SECONDS = 120.0

_TIGHTEST = 3
"""Limits that are told as those with the least to spare."""


def conflict(catalogue: Catalogue, plan: Plan, find: Find, witness: Witness, seconds: float) -> Conflict | None:
    """Why a plan that has no answer has none; None where time runs out before that is proved."""
    try:
        with Clock(seconds) as clock:
            return _conflict(Oracle(catalogue, plan, find, clock, witness))
    except OutOfTimeError:
        return None


def _conflict(oracle: Oracle, deep: bool = False) -> Conflict:
    wanted = smallest_conflict(oracle)
    nearest = tuple(closest(oracle, wanted, oracle.all))
    ways = tuple(ways_out(oracle, nearest, deep))
    there = {each.requirement for each in nearest}
    missing = [name for name in wanted if name not in there] if deep else []
    within = tuple(closest(oracle, missing, wanted))
    behind = reason(oracle, wanted)
    rules = "" if behind else rules_in_the_way(oracle, wanted)
    text = because(oracle.plan, wanted, nearest, ways, within, rules, behind)
    return Conflict(wanted, text, nearest, ways, within)


def explain(
    catalogue: Catalogue, plan: Plan, find: Find, witness: Witness, seconds: float = DEFAULT_SECONDS
) -> Explanation:
    """Why nothing fits, in full; or, where something fits, which requirements bind.

    Args:
        catalogue: the parts.
        plan: what is wanted.
        find: the search, ``kitwright.solver.search.find``.
        witness: the quick question whether anything fits, ``kitwright.solver.search.witness``.
        seconds: time limit for all of it; what is not proved by then is left out, and ``complete`` says so.
    """
    with Clock(seconds) as clock:
        return _explained(Oracle(catalogue, plan, find, clock, witness))


def _explained(oracle: Oracle) -> Explanation:
    catalogue, plan, find, clock = oracle.catalogue, oracle.plan, oracle.find, oracle.clock
    answer = find(catalogue, plan, 1, clock.left, layouts=oracle.layouts)
    if answer.status == "incomplete":
        return Explanation(answer, complete=False)
    if answer.combinations:
        found = Explanation(answer, least_to_spare=tuple(_tightest(answer.combinations[0], plan)))
        steps: list[str] = ["closer"]
    else:
        found = Explanation(answer)
        steps = ["conflict", "others", "together", "sizes", "parts"]
    try:
        for step in steps:
            found = _STEPS[step](oracle, found)
    except STOPS as stop:
        found = replace(found, complete=False, answer=replace(found.answer, stopped_by=clock.ended_by(stop)))
    return replace(found, answer=replace(found.answer, seconds=clock.spent))


def _with_conflict(oracle: Oracle, found: Explanation) -> Explanation:
    return replace(found, answer=replace(found.answer, conflict=_conflict(oracle, deep=True)))


def _with_sizes(oracle: Oracle, found: Explanation) -> Explanation:
    return replace(found, parts_that_would_fit=tuple(sizes_that_would_fit(oracle)))


def _with_parts(oracle: Oracle, found: Explanation) -> Explanation:
    told = found.answer.conflict
    near = [each.combination.combination for each in told.closest if each.value is not None] if told else []
    return replace(
        found,
        parts_that_would_fit=(
            *found.parts_that_would_fit,
            *parts_that_would_fit(near, careful(oracle.plan), oracle.clock.check),
        ),
    )


def _with_others(oracle: Oracle, found: Explanation) -> Explanation:
    told = found.answer.conflict
    others = []
    for names in other_conflicts(oracle, told.requirements) if told else ():
        nearest = tuple(closest(oracle, names, names))
        text = because(oracle.plan, names, (), None, nearest, reason(oracle, names))
        others.append(Conflict(names, text, nearest))
    return replace(found, other_conflicts=tuple(others))


def _with_together(oracle: Oracle, found: Explanation) -> Explanation:
    told = found.answer.conflict
    if told is None or told.ways_out or not told.requirements:
        return found
    known = [told.requirements, *(each.requirements for each in found.other_conflicts)]
    order = sorted(together(oracle, known), key=_cheapest_first)
    return replace(found, together=tuple(order))


def _cheapest_first(each: Together) -> tuple[bool, bool, float]:
    return each.loosens_guard, each.price is None, each.price or 0.0


def _with_closer(oracle: Oracle, found: Explanation) -> Explanation:
    gains = closer(oracle, found.answer.combinations[0])
    order = sorted(gains, key=lambda each: (each.way.loosens_guard, -each.gained, each.way.requirement))
    return replace(found, closer=tuple(order))


_STEPS = {
    "conflict": _with_conflict,
    "sizes": _with_sizes,
    "parts": _with_parts,
    "others": _with_others,
    "together": _with_together,
    "closer": _with_closer,
}


def _tightest(best: Checked, plan: Plan) -> Iterator[Limit]:
    """The limits with the least to spare, in steps of what matters."""
    goals = implied_goals(plan)

    def spare(limit: Limit) -> float:
        step = goals[limit.name].step if limit.kind == "goal" else FIGURES[limit.figure].step
        return (limit.margin or 0.0) / step

    known = [limit for limit in best.limits if limit.figure and limit.margin is not None and limit.holds is not None]
    yield from sorted(known, key=spare)[:_TIGHTEST]


def because(
    plan: Plan,
    wanted: tuple[str, ...],
    nearest: tuple[Closest, ...],
    ways: tuple[WayOut, ...] | None,
    within: tuple[Closest, ...] = (),
    rules: str = "",
    behind: str = "",
) -> str:
    """Say in a few sentences what cannot hold together, how near it comes, and with which parts.

    Args:
        plan: the plan.
        wanted: the requirements of the conflict.
        nearest: the closest that can be had while all other requirements hold.
        ways: the single changes that open an answer; None where that is not the question.
        within: the closest that can be had while the others of the conflict alone hold.
        rules: the physical rules that are in the way, as a sentence.
        behind: what parts or rules stand behind settings alone, as a clause.
    """
    text = cannot(plan, wanted, whole=bool(rules))
    text += f" {rules}" if rules else ""
    if behind:
        text = f"{text[:-1]}, as {behind}."
    for told, kept in ((_told(plan, nearest), "everything else"), (_told(plan, within), "the others of these")):
        if told and len(wanted) == 1 and kept != "everything else":
            text += f" At best {listed(told)}."
        elif told:
            text += f" With {kept} kept, {listed(told)} at best."
    for way in ways or ():
        if way.requirement == "tolerance":
            text += _spreads(plan, wanted, way.combination)
    if ways == () and wanted:
        text += " No single change opens an answer."
    return text


def _told(plan: Plan, nearest: tuple[Closest, ...]) -> list[str]:
    """How near each bound can be come to, with the parts that the figure is made of."""
    told = []
    for each in nearest:
        if each.value is None or each.figure is None:
            continue
        parts = feeding(each.combination.combination, each.figure)
        with_parts = f" ({', '.join(parts)})" if parts else ""
        told.append(f"{best_words(plan, each.requirement, each.value)}{with_parts}")
    return told


def _spreads(plan: Plan, wanted: tuple[str, ...], opened: Checked) -> str:
    """What the tolerances make of the figures of a combination that fits without them."""
    view = View(opened.combination, plan)
    figures = dict.fromkeys(bound[0] for bound in (bound_of(plan, name) for name in wanted) if bound is not None)
    said_of = []
    for figure in figures:
        low, high = view.spread(figure, plan.tolerance)
        parts = ", ".join(feeding(opened.combination, figure))
        nominal, least, most = (said(figure, value, plan.units) for value in (view.value(figure), low, high))
        said_of.append(
            f"{words(figure)} is {nominal} with {parts}, and their ± leave it anywhere from {least} to {most}"
        )
    return f" Nominally {listed(said_of)}." if said_of else ""
