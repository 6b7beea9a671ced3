"""Rows that a range of the order's keys leaves, and how dear a part may be: what keeps a model small at any size.

The closest combinations are mostly cheap ones. A dear row is needed only after it is proved that the cheap ones do not
fill the list, so the search climbs the highest cost in rungs. On each, rows that cannot be in a combination so cheap
go before a model is made; what the model then says holds for every combination up to that cost.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from kitwright.solver.engine import FAR
from kitwright.solver.parts import KINDS
from kitwright.solver.prune import at_most, caps, prune
from kitwright.solver.terms import Mask, Terms, cents

WIDER = 3
"""How many times the rows of one rung the next one takes."""


SAMPLE = 200
"""Rows of a facet that a first look takes: a small model finds an answer at once where there are many."""


def spread_out(mask: Mask) -> Mask:
    """Of the rows that are alive, some over the whole length; the same mask where there are few."""
    rows = np.flatnonzero(mask)
    if len(rows) <= SAMPLE:
        return mask
    found = np.zeros_like(mask)
    found[rows[np.linspace(0, len(rows) - 1, SAMPLE).astype(np.int64)]] = True
    return found


def count(rows: Mapping[str, Mask]) -> int:
    """Rows of all facets together."""
    return sum(int(mask.sum()) for mask in rows.values())


def empty(rows: Mapping[str, Mask]) -> bool:
    """Whether a facet has no row left, so that nothing fits."""
    return not all(mask.any() for mask in rows.values())


def known(terms: Terms, rows: Mapping[str, Mask]) -> dict[str, Mask]:
    """Rows whose prices are known."""
    return {each: mask & (terms.facets.facets[each].unknown == 0) for each, mask in rows.items()}


def established(terms: Terms, rows: Mapping[str, Mask]) -> dict[str, Mask]:
    """Rows without any that leaves a goal not established."""
    alive = {each: mask.copy() for each, mask in rows.items()}
    for lack in terms.lacks:
        for each, flags in lack.flags.items():
            if not lack.always:
                alive[each] &= ~flags
    return prune(terms, alive, [lack.proof for lack in terms.lacks if lack.proof is not None and not lack.always])


def within(terms: Terms, rows: dict[str, Mask], held: Mapping[str, tuple[int, int]]) -> dict[str, Mask]:
    """Rows that can be in a combination whose keys do not exceed the ranges that they are held in.

    A highest cost is meant for combinations whose cost is known; it drops rows whose price is not.
    """
    alive = {each: mask.copy() for each, mask in rows.items()}
    facets = terms.facets.facets
    limits = []
    most = held.get("closeness", (0, FAR))[1]
    if most < FAR:
        limits += caps(terms, most, rows)
    for name in ("cost", "layers", "operations"):
        highest = held.get(name, (0, FAR))[1]
        if highest >= FAR or (name == "cost" and held.get("unknown_cost", (0, 1))[1]):
            continue
        if name == "cost":
            alive = known(terms, alive)
            columns = {each: cents(facets[each].paid) for each in alive}
        else:
            columns = {each: getattr(facets[each], name).astype(np.int64) for each in alive}
        limits.append(at_most(f"{name} within {highest}", columns, highest))
    ids = [name for name in held if name in KINDS]
    for each, mask in alive.items():
        for name in ids:
            if name in facets[each].ranks:
                ranks = facets[each].ranks[name][0]
                mask &= (ranks >= held[name][0]) & (ranks <= held[name][1])
    return prune(terms, alive, limits) if limits or ids else alive


def reach(held: Mapping[str, tuple[int, int]]) -> tuple[Any, ...]:
    """What of these ranges decides which rows :func:`within` leaves."""
    highest = {name: held.get(name, (0, FAR))[1] for name in ("closeness", "cost", "layers", "operations")}
    if held.get("unknown_cost", (0, 1))[1]:
        highest["cost"] = FAR
    return *highest.values(), *(held.get(name) for name in KINDS)


class Narrowed:
    """What :func:`within` and :func:`known` left of the rows that were asked about last, by the very same rows."""

    def __init__(self, terms: Terms) -> None:
        self.terms = terms
        self._left: list[tuple[dict[str, Mask], tuple[Any, ...], dict[str, Mask]]] = []
        self._known: tuple[dict[str, Mask], dict[str, Mask]] | None = None

    def within(self, rows: dict[str, Mask], held: Mapping[str, tuple[int, int]]) -> dict[str, Mask]:
        """Rows that can be in a combination whose keys do not exceed the ranges that they are held in."""
        far = reach(held)
        for asked, how_far, left in self._left:
            if (asked is rows or left is rows) and how_far == far:
                return left
        left = within(self.terms, rows, held)
        self._left = [*self._left[-3:], (rows, far, left)]
        return left

    def priced(self, rows: dict[str, Mask]) -> dict[str, Mask]:
        """Rows whose prices are known."""
        if self._known is None or self._known[0] is not rows:
            self._known = rows, known(self.terms, rows)
        return self._known[1]


def rungs(terms: Terms, rows: Mapping[str, Mask], first: int) -> Iterator[int]:
    """Highest costs, in model units, of which the first leaves some ``first`` rows and each next several times more.

    What is counted is how far a row's price lies above the least of its facet: more than that above the least cost, no
    combination with it can be. The last one is :data:`FAR`, which leaves all.
    """
    prices = {each: cents(terms.facets.facets[each].paid[mask]) for each, mask in rows.items()}
    least = sum(int(column.min()) for column in prices.values())
    above = np.sort(np.concatenate([column - column.min() for column in prices.values()]))
    size = first
    while size < len(above):
        slack = int(above[size - 1])
        yield least + slack
        size = WIDER * int(np.searchsorted(above, slack, side="right"))
    yield FAR
