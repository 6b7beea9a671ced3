"""Rows that cannot be in any answer, dropped before a model is made."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from kitwright.solver.terms import Linear, Mask, SumTable, Terms


def prune(terms: Terms, alive: dict[str, Mask], more: Iterable[Linear] = ()) -> dict[str, Mask]:
    """Drop rows that no choice of the other facets' rows can bring inside every limit."""
    alive = {each: mask.copy() for each, mask in alive.items()}
    linears = [*terms.linear, *more]
    for _ in range(6):
        before = sum(int(mask.sum()) for mask in alive.values())
        if not all(mask.any() for mask in alive.values()):
            return alive
        for linear in linears:
            _prune_by(linear, alive)
        _link(terms, alive)
        if sum(int(mask.sum()) for mask in alive.values()) == before:
            break
    return alive


def _prune_by(linear: Linear, alive: dict[str, Mask]) -> None:
    """Drop rows that cannot bring one sum to 0, whatever the other facets choose; in place."""
    if not all(alive[each].any() for each in linear.facets):
        return  # nothing fits: the caller sees it
    for each in linear.skip:
        if each not in linear.facets and np.any(linear.skip[each] & alive[each]):
            return
    reach: dict[str, Any] = {}
    best: dict[str, float] = {}
    for each, values in linear.terms.items():
        reach[each] = np.where(linear.skip[each], np.inf, values) if each in linear.skip else values.astype(float)
        best[each] = float(np.max(reach[each], where=alive[each], initial=-np.inf))
    whole = [_most(table, alive) for table in linear.tables]
    skipped = {each for each, mask in linear.skip.items() if np.any(mask & alive[each])}
    for each in linear.facets:
        if skipped - {each}:
            continue
        others = sum(value for name, value in best.items() if name != each)
        own = reach.get(each, 0.0)
        for table, most in zip(linear.tables, whole, strict=True):
            own = own + (_most_by(table, each, alive)[table.index[each]] if each in table.index else most)
        keep = np.asarray(own + others >= 0)
        if each in linear.skip:
            keep = keep | linear.skip[each]
        alive[each] &= keep


def _inner(table: SumTable, alive: dict[str, Mask]) -> Any:
    return np.ix_(*(np.unique(index[alive[each]]) for each, index in table.index.items()))


def _most(table: SumTable, alive: dict[str, Mask]) -> float:
    found = table.values[_inner(table, alive)]
    return float(found.max()) if found.size else -np.inf


def _most_by(table: SumTable, facet: str, alive: dict[str, Mask]) -> Any:
    """Greatest cell for each index of one facet, over what is alive of the others."""
    places = [
        np.arange(table.values.shape[axis]) if each == facet else np.unique(index[alive[each]])
        for axis, (each, index) in enumerate(table.index.items())
    ]
    axes = tuple(axis for axis, each in enumerate(table.index) if each != facet)
    found = table.values[np.ix_(*places)]
    return found.max(axis=axes) if found.size else np.full(table.values.shape[list(table.index).index(facet)], -np.inf)


def _link(terms: Terms, alive: dict[str, Mask]) -> None:
    """Keep only bore states that both short block and base still have."""
    if "base" not in alive:
        return
    short, base = terms.facets.facets["short"].state, terms.facets.facets["base"].state
    alive["short"] &= np.isin(short, np.unique(base[alive["base"]]))
    alive["base"] &= np.isin(base, np.unique(short[alive["short"]]))


def caps(terms: Terms, most: int, alive: dict[str, Mask]) -> list[Linear]:
    """What a greatest closeness means for single figures, as limits to prune by; rows over it are dropped in place."""
    found = []
    rows = {each: np.arange(len(mask)) for each, mask in alive.items()}
    for aim in terms.sums:
        reach = (most // aim.weight + 1) * aim.step - 1 + aim.error
        for sign in (1, -1):
            moved = {each: sign * values for each, values in aim.terms.items()}
            first = next(iter(moved))
            moved[first] = moved[first] + reach
            found.append(Linear(f"{aim.name} within {most}", moved, aim.skip))
    for levels in terms.levels:
        index = most // levels.weight
        for side, count in (("min", levels.most[0]), ("max", levels.most[1])):
            level = levels.level(side, index, rows) if index < count else None  # type: ignore[arg-type]
            if level is not None:
                same, rest = level
                both = {each: same.terms.get(each, 0) + rest.terms.get(each, 0) for each in same.terms | rest.terms}
                found.append(Linear(levels.name, both, levels.skip, rest.tables))  # type: ignore[arg-type]
    for joint in terms.joints:
        found += joint.limits(most)
    for each, points in terms.points.items():
        alive[each] &= points <= most
    return found
