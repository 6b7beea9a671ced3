"""Which physical rules stand in the way where requirements cannot hold: they are the background of every conflict."""

from __future__ import annotations

from collections.abc import Iterable

from kitwright.solver.check import View, rule_limits
from kitwright.solver.conflicts import Oracle
from kitwright.solver.result import Limit
from kitwright.solver.rules import PHYSICAL
from kitwright.solver.stopping import OutOfTimeError
from kitwright.solver.wording import feeding, listed


def rules_in_the_way(oracle: Oracle, wanted: Iterable[str]) -> tuple[tuple[Limit, tuple[str, ...]], ...]:
    """Rules without which some requirements would have an answer, none of them to spare, with the parts they concern.

    Each comes as the limit that a combination misses which keeps all else. Empty where the requirements cannot hold
    even without any physical rule, where no rule is in the way, or where time runs out before that is known.
    """
    plan = oracle.plan_with(wanted)
    try:
        found = oracle.some(plan.but(waived=plan.waived | {rule.id for rule in PHYSICAL}))
        if found is None:
            return ()
        gone = {each.name for each in rule_limits(View(found, plan), plan.tolerance) if each.holds is False}
        for name in sorted(gone):
            other = oracle.some(plan.but(waived=plan.waived | (gone - {name})))
            if other is not None:
                gone.remove(name)
                found = other
    except OutOfTimeError:
        return ()
    view = View(found, plan)
    missed = (each for each in rule_limits(view, plan.tolerance) if each.name in gone and each.holds is False)
    return tuple((each, tuple(feeding(found, each.figure))) for each in missed)


def said_of_rules(rules: Iterable[tuple[Limit, tuple[str, ...]]]) -> str:
    """The rules in a sentence, with the parts; empty where there are none."""
    told = [f"{limit.sentence} ({', '.join(parts)})" if parts else limit.sentence for limit, parts in rules]
    return f"What is in the way: {listed(told)}." if told else ""
