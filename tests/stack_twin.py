"""The exhaustive twin of the questions about gasket stacks: every combination, one after the other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import allowance_limits, check, judge
from kitwright.solver.combination import Combination
from kitwright.solver.plan import MeasuredDeck, Plan
from kitwright.solver.quantity import parse_deck
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Limit
from kitwright.solver.rules import fits_together
from kitwright.solver.stackup import Spreads
from tests.twin import everything


def one_gasket(plan: Plan) -> Plan:
    """A single gasket: a pinned stack is let go, none at all is no answer."""
    use = {kind: ids for kind, ids in plan.use.items() if kind != "gasket" or len(ids) == 1}
    kinds = plan.kinds | {"gasket"} if plan.kinds is not None else None
    return plan.but(gaskets=1, use=use, kinds=kinds, optional=plan.optional - {"gasket"})


def step_of(limit: Limit, plan: Plan) -> float:
    if limit.kind == "goal" and limit.name in plan.goals:
        return plan.goals[limit.name].step
    return FIGURES[limit.figure].step


def best_of_gasket(every: list[Combination], plan: Plan, gasket: str) -> tuple[Any, ...] | None:
    """Fewest limits missed, least sum of misses in steps (to a millionth), order: of all combinations with a gasket."""
    best: tuple[Any, ...] | None = None
    known: Spreads = {}
    for each in every:
        if [layer.id for layer in each.gaskets] != [gasket]:
            continue
        if not fits_together(each) or allowance_limits(each, plan):
            continue
        checked = check(each, plan, spreads=False, known=known)
        missed = [limit for limit in checked.limits if limit.holds is False]
        if any(limit.name == "clearance_volume_positive" for limit in missed):
            continue
        total = math.fsum(-(limit.margin or 0.0) / step_of(limit, plan) for limit in missed)
        key = (len(missed), round(total, 6), checked.key)
        if best is None or key < best:
            best = key
    return best


def fits_at(every: list[Combination], plan: Plan, block: Mapping[str, str], deck: float, known: Spreads) -> bool:
    """Whether any combination with one gasket fits on a short block whose deck is so many mm.

    ``known`` keeps spreads from one deck to the next.
    """
    given = [each.deck for each in plan.measured_decks if dict(each.parts) == dict(block)]
    play = 1000 * given[-1].tolerance if given else 0.0
    side = "down" if deck >= 0 else "up"
    measured = MeasuredDeck(parse_deck(f"{abs(deck):.12f} mm {side} ± {play:.12f} mm"), dict(block))
    asked = plan.but(measured_decks=(measured,))
    return any(
        judge(each, asked, known).fits
        for each in every
        if all(kind in each.parts and each.parts[kind].id == part for kind, part in block.items())
    )


def everything_of(catalogue: Catalogue, plan: Plan) -> list[Combination]:
    return list(everything(catalogue, plan))
