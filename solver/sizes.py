"""Parts that would fit by size: where no part of one kind takes any of another, what the missing one must measure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice

from kitwright.solver.candidates import candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import rebores
from kitwright.solver.conflicts import Oracle
from kitwright.solver.parts import Block, Part
from kitwright.solver.quantity import Quantity
from kitwright.solver.result import WouldFit
from kitwright.solver.rules import FITS, FitRule, Size
from kitwright.solver.ways_out import careful
from kitwright.solver.would_fit import stand_in

_MOST = 4
"""Parts that are tried."""


def sizes_that_would_fit(oracle: Oracle) -> Iterator[WouldFit]:
    """Parts of another size that open an answer where a pair of kinds has no two that fit; verified by the search."""
    plan = oracle.plan
    for part, field, size in islice(_tried(oracle), _MOST):
        new = stand_in(part, {field: size})
        pinned = plan.but(use={**plan.use, part.kind: (new.id,)})
        more = Oracle(Catalogue.of([*oracle.catalogue, new]), pinned, oracle.find, oracle.clock, oracle.witness)
        best = more.ask(careful(pinned))
        if best is None:
            continue
        budget = plan.goals["cost"].maximum if "cost" in plan.goals else None
        left = None if budget is None or best.cost is None else budget - best.cost
        value = size.to("mm")
        yield WouldFit(part.kind, part.id, field, "mm", value, value, value, best.cost, left, best)


def _tried(oracle: Oracle) -> Iterator[tuple[Part, str, Quantity]]:
    options = candidates(oracle.catalogue, oracle.plan.but(shelf_only=frozenset()))
    held: dict[str, list[Part]] = {kind: [] for kind in options.slots}
    for kind in held:
        held[kind] = [part for part in oracle.catalogue.of_kind(kind) if _chosen(part, oracle)]
    if options.gaskets is not None:
        held["gasket"] = [part for part in oracle.catalogue.of_kind("gasket") if _chosen(part, oracle)]
    for rule in FITS:
        first, second = held.get(rule.first.kind, []), held.get(rule.second.kind, [])
        if not first or not second or _any_pair(rule, first, second, oracle):
            continue
        for mine, theirs, parts, others in (
            (rule.second, rule.first, second, first),
            (rule.first, rule.second, first, second),
        ):
            if mine.kind not in oracle.plan.use:
                yield from _sized(mine, theirs, parts, others)


def _chosen(part: Part, oracle: Oracle) -> bool:
    pinned = oracle.plan.use.get(part.kind)
    return part.id not in oracle.plan.avoid and (pinned is None or part.id in pinned)


def _any_pair(rule: FitRule, first: list[Part], second: list[Part], oracle: Oracle) -> bool:
    def sizes(part: Part, name: str) -> list[float]:
        found = [getattr(part, name).si]
        if isinstance(part, Block) and name == "bore" and "rebore" in oracle.plan.machining:
            found += [bore.si for bore in rebores(part)]
        return found

    return any(
        rule.holds(a, b)
        for one in first
        for other in second
        for a in sizes(one, rule.first.field)
        for b in sizes(other, rule.second.field)
    )


def _sized(mine: Size, theirs: Size, parts: list[Part], others: list[Part]) -> Iterator[tuple[Part, str, Quantity]]:
    """For each size of the others, the part that is nearest to it, with that size."""
    for size in {getattr(other, theirs.field).exact: getattr(other, theirs.field) for other in others}.values():
        nearest = min(parts, key=lambda part: abs(getattr(part, mine.field).si - size.si))
        before: Quantity = getattr(nearest, mine.field)
        yield nearest, mine.field, replace(size, tolerance=before.tolerance, stated=before.stated)
