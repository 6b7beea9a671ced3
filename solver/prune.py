"""Rows that cannot be in any answer, dropped before a model is made."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from kitwright.solver.terms import Linear, Mask, Terms


def prune(terms: Terms, alive: dict[str, Mask], more: Iterable[Linear] = ()) -> dict[str, Mask]:
    """Drop rows that no choice of the other facets' rows can bring inside every limit."""
    alive = {each: mask.copy() for each, mask in alive.items()}
    linears = [*terms.linear, *more]
    for _ in range(6):
        before = sum(int(mask.sum()) for mask in alive.values())
        if not all(mask.any() for mask in alive.values()):
            return alive
        for linear in linears:
            best = {}
            for each, values in linear.terms.items():
                reach = values.astype(float)
                if each in linear.skip:
                    reach = np.where(linear.skip[each], np.inf, reach)
                best[each] = float(np.max(reach, where=alive[each], initial=-np.inf))
            for each in linear.skip:
                if each not in linear.terms and np.any(linear.skip[each] & alive[each]):
                    best[each] = np.inf
            for each, values in linear.terms.items():
                others = sum(value for name, value in best.items() if name != each)
                keep = values + others >= 0
                if each in linear.skip:
                    keep |= linear.skip[each]
                alive[each] &= keep
        _link(terms, alive)
        if sum(int(mask.sum()) for mask in alive.values()) == before:
            break
    return alive


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
                found.append(Linear(levels.name, both, levels.skip))  # type: ignore[arg-type]
    for each, points in terms.points.items():
        alive[each] &= points <= most
    return found
