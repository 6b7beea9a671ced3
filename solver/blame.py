"""What stands behind a conflict: the parts that find no partner, and the physical rules that leave nothing.

"Nothing fits with crank k60" is what was asked, not why. Which part finds no partner is known before anything is
searched; which physical rules leave nothing, the search says when they are not asked for. They are the background of
every conflict: no requirement of the plan stands for them.
"""

from __future__ import annotations

from collections.abc import Iterable

from kitwright.solver.candidates import Candidates, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View, rule_limits
from kitwright.solver.conflicts import Oracle
from kitwright.solver.plan import Plan
from kitwright.solver.requirements import bound_of
from kitwright.solver.result import Limit
from kitwright.solver.rules import PHYSICAL
from kitwright.solver.stopping import OutOfTimeError
from kitwright.solver.wording import feeding, listed, words

Broken = tuple[tuple[Limit, tuple[str, ...]], ...]
"""Physical rules as the limits that a combination misses, each with the ids of the parts that it concerns."""

_CAUSES = 2
"""Parts that are told as those that the others are out for."""


def reason(oracle: Oracle, wanted: Iterable[str]) -> str:
    """Why settings alone leave nothing, as a clause after *as*; empty where a bound is among them.

    Args:
        oracle: the plan and what is known of it.
        wanted: the requirements that have no answer together.
    """
    names = tuple(wanted)
    if not names or any(bound_of(oracle.plan, each) is not None for each in names):
        return ""
    plan = oracle.plan_with(names)
    options = candidates(oracle.catalogue, plan)
    if (options.slots or options.gaskets is not None) and not options.empty_kinds:
        return _by_rules(oracle, plan)
    return _by_parts(oracle.catalogue, plan, options, names)


def _by_parts(catalogue: Catalogue, plan: Plan, options: Candidates, names: tuple[str, ...]) -> str:
    """What is known before the search: kinds that there are none of, pinned parts that nothing goes with."""
    if not options.slots and options.gaskets is None:
        kinds = [words(each) for each in sorted(plan.kinds or ())]
        return f"the catalogue holds no {' and no '.join(kinds)}" if kinds else "the catalogue holds no part"
    pins = [part for kind, ids in plan.use.items() if f"use.{kind}" in names for part in ids]
    out = {each.id: each for each in options.parts_out}
    told = {part: out[part].why for part in pins if part in out}
    if not told:
        gone = {each.id for each in options.parts_out if not _by_size(each.why, plan)}
        empty = [kind for kind in options.empty_kinds if {each.id for each in catalogue.of_kind(kind)} <= gone]
        return f"no {' and no '.join(map(words, empty))} is left" if empty else ""
    text = next(iter(told.values())) if len(pins) == 1 else "; ".join(f"{part}: {why}" for part, why in told.items())
    if all(out[part].follows for part in told):  # for want of others: what these want for comes first
        causes = [
            f"{each.id}: {each.why}" for each in options.parts_out if not each.follows and _by_size(each.why, plan)
        ]
        text += f" ({'; '.join(causes[:_CAUSES])})" if causes else ""
    return text


def _by_size(why: str, plan: Plan) -> bool:
    """Whether a part is out by its own sizes, not because of what the plan says."""
    said = {f"{' + '.join(ids)} is pinned" for ids in plan.use.values()} | {"avoided", "not on the shelf"}
    return why not in said and " that is left " not in why


def _by_rules(oracle: Oracle, plan: Plan) -> str:
    """The physical rules that leave nothing of settings alone; the parts, where nothing goes together even without."""
    broken = _rules_behind(oracle, plan)
    if broken is None:
        return "no choice of the other parts goes together by its sizes and tags"
    sentences = [limit.sentence for limit, _ in broken]
    which = "this rule" if len(sentences) == 1 else "these rules at once"
    return f"no choice of parts keeps {which}: {listed(sentences)}"


def rules_in_the_way(oracle: Oracle, wanted: Iterable[str]) -> str:
    """Physical rules without which some requirements would have an answer, in a sentence, with the parts they concern.

    Empty where the requirements cannot hold even without any physical rule, where no rule is in the way, or where time
    runs out before that is known.

    Args:
        oracle: the plan and what is known of it.
        wanted: the requirements that have no answer together.
    """
    try:
        broken = _rules_behind(oracle, oracle.plan_with(wanted))
    except OutOfTimeError:
        return ""
    told = [f"{limit.sentence} ({', '.join(parts)})" if parts else limit.sentence for limit, parts in broken or ()]
    return f"What is in the way: {listed(told)}." if told else ""


def _rules_behind(oracle: Oracle, plan: Plan) -> Broken | None:
    """Rules without which a plan has an answer, none of them to spare; None where it has none without any rule either.

    Each comes as the limit that a combination misses which keeps all else.
    """
    found = oracle.some(plan.but(waived=plan.waived | {rule.id for rule in PHYSICAL}))
    if found is None:
        return None
    gone = {each.name for each in rule_limits(View(found, plan), plan.tolerance) if each.holds is False}
    for name in sorted(gone):
        other = oracle.some(plan.but(waived=plan.waived | (gone - {name})))
        if other is not None:
            gone.remove(name)
            found = other
    missed = rule_limits(View(found, plan), plan.tolerance)
    return tuple(
        (each, tuple(feeding(found, each.figure))) for each in missed if each.name in gone and each.holds is False
    )
