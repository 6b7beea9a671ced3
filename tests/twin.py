"""The exhaustive twin: every combination of a small catalogue, one after the other, through the plain check alone.

No OR-Tools, no classes, no pruning: what the search answers has to be exactly this.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations_with_replacement, product
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import judge
from kitwright.solver.combination import Combination
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Plan


def everything(catalogue: Catalogue, plan: Plan) -> Iterator[Combination]:
    """Every combination, fitting or not, of the kinds that the plan searches."""
    kinds = [kind for kind in KINDS if catalogue.of_kind(kind)]
    if plan.kinds is not None:
        kinds = [kind for kind in kinds if kind in plan.kinds or kind in plan.use]
    stacks: list[tuple[Any, ...]] = [()]
    if "gasket" in kinds:
        gaskets = catalogue.of_kind("gasket")
        stacks = [stack for n in range(1, plan.gaskets + 1) for stack in combinations_with_replacement(gaskets, n)]
        stacks += [()] if "gasket" in plan.optional else []
        kinds.remove("gasket")
    slots = [[*catalogue.of_kind(kind), *([None] if kind in plan.optional else [])] for kind in kinds]
    for chosen in product(*slots):
        parts = {kind: part for kind, part in zip(kinds, chosen, strict=True) if part is not None}
        head, block = parts.get("head"), parts.get("block")
        rebores = [None]
        if block is not None and "rebore" in plan.machining and block.rebore is not None:
            rebores += list(block.rebore.to)
        for stack, mill, relieve, cut, rebore in product(
            stacks,
            amounts(head, "mill", plan),
            amounts(head, "relieve", plan),
            amounts(block, "deck_cut", plan),
            rebores,
        ):
            yield Combination(parts, stack, mill, relieve, cut, rebore)


def amounts(part: Any, operation: str, plan: Plan) -> list[Fraction]:
    steps = getattr(part, operation, None) if part is not None else None
    if steps is None or operation not in plan.machining:
        return [Fraction(0)]
    count = steps.max.exact // steps.step.exact
    return [steps.step.exact * i for i in range(int(count) + 1)]


def closest(catalogue: Catalogue, plan: Plan) -> list[tuple[tuple[Any, ...], Combination]]:
    """All fitting combinations with their keys, in the order."""
    found = []
    known: dict[Any, Any] = {}  # test_twin.py holds that a verdict is the same without
    for combination in everything(catalogue, plan):
        verdict = judge(combination, plan, known)
        if verdict.fits:
            found.append((verdict.key, combination))
    found.sort(key=lambda pair: pair[0])
    return found
