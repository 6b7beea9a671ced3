"""Columns over the rows of the facets: leaves, what is unknown in them, and the terms of sums."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Literal

import numpy as np

from kitwright.solver.classes import Facet, Facets, Floats, facet_of
from kitwright.solver.combination import NAN, NUMBERS, WITHOUT_PART, Combination, Reader
from kitwright.solver.degree_wheel import OFF_READINGS
from kitwright.solver.distinct import alike
from kitwright.solver.evaluate import compute
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.stackup import cornered, variables
from kitwright.solver.stopping import tick
from kitwright.solver.terms import Mask


class Columns:
    """What goals and rules read of the rows, under one plan."""

    def __init__(self, facets: Facets, plan: Plan) -> None:
        self.facets = facets.facets
        self.plan = plan
        self._reader = Reader(Combination({}), plan)
        self._neutral: dict[str, float] = {}
        self._lacking: dict[str, tuple[dict[str, Mask], bool]] = {}
        self._sums = facets.sums
        self._state_tolerance = np.array([each.tolerance for each in facets.states])

    def scope(self, name: str) -> list[str]:
        """Facets that a figure depends on, in their order."""
        found = _hangs_on(name)
        return [each for each in self.facets if found is None or each in found]

    def neutral(self, leaf: str) -> Any:
        """What a leaf is while another facet is looked at: the first value known of it, or its constant value."""
        owner = facet_of(leaf)
        if owner is None:
            return self._reader[leaf]
        if leaf.startswith("gaskets.") and leaf != "gaskets.count":
            return (0.0,)
        if leaf == "measured.deck" or leaf in OFF_READINGS:
            return NAN
        if owner in self.facets:
            if leaf not in self._neutral:
                known = self.facets[owner].leaves.get(leaf, np.empty(0))
                self._neutral[leaf] = float(next(iter(known[np.isfinite(known)]), 0.0))
            return self._neutral[leaf]
        return 0.0 if leaf.startswith("machining.") else WITHOUT_PART.get(leaf, NAN)

    def constants(self) -> Mapping[str, Any]:
        """The numbers of the plan's conditions, and what all rows have alike: the floor of the pockets."""
        found = {leaf: self._reader[leaf] for leaf in (f"conditions.{each}" for each in NUMBERS)}
        floor = "piston.pocket_floor"
        owner = facet_of(floor)
        if owner in self.facets and floor in self.facets[owner].leaves:
            floors = np.unique(self.facets[owner].leaves[floor])
            floors = floors[np.isfinite(floors)]
            if len(floors) == 1:
                found[floor] = float(floors[0])
        return found

    def rows(self, names: tuple[str, ...], facet: Facet) -> dict[str, Any]:
        """Leaves for looking at one facet: its own, all others neutral."""
        return {leaf: facet.leaves.get(leaf, self.neutral(leaf)) for leaf in names}

    def lacking(self, name: str) -> tuple[dict[str, Mask], bool]:
        """Rows without which a figure cannot be computed or proved, and whether it never can."""
        if name not in self._lacking:
            self._lacking[name] = self._lacking_of(name)
        return self._lacking[name]

    def _lacking_of(self, name: str) -> tuple[dict[str, Mask], bool]:
        flags: dict[str, Mask] = {}
        always = False
        for leaf in dict.fromkeys((*leaves_of(name, optional=False), *FIGURES[name].bound_without)):
            owner = facet_of(leaf)
            if leaf == "money.to_spend":
                for each, facet in self.facets.items():
                    if facet.unknown.any():
                        flags[each] = facet.unknown > 0
            elif leaf == "money.parts_to_buy":
                continue  # always known
            elif owner in self.facets:
                value = self.facets[owner].leaves[leaf]
                unknown = np.isnan(value[0] if isinstance(value, tuple) else value)
                if unknown.any():
                    flags[owner] = flags.get(owner, False) | unknown
            else:
                value = self.neutral(leaf)
                always |= bool(np.any(np.isnan(value)))
        for each in _must(name):
            always |= self._flag_unknown(each, flags)
        return flags, always or any(bool(mask.all()) for mask in flags.values())

    def _flag_unknown(self, name: str, flags: dict[str, Mask]) -> bool:
        """Flag rows of one facet for which a figure, any of whose inputs may be unknown, cannot be computed.

        Answers whether it never can, for want of the facet.
        """
        scope = self.scope(name)
        may_lack = any(each.endswith("?") for each in FIGURES[name].inputs)
        if len(scope) > 1 or not may_lack or FIGURES[name].bound_without:
            return False
        with np.errstate(all="ignore"):
            if not scope:
                return bool(np.isnan(compute(name, {leaf: self.neutral(leaf) for leaf in leaves_of(name)})))
            rows = self.facets[scope[0]]
            value = np.broadcast_to(compute(name, self.rows(leaves_of(name), rows)), rows.size)
        if np.isnan(value).any():
            flags[scope[0]] = flags.get(scope[0], False) | np.isnan(value)
        return False

    def _target(self, weights: Mapping[str, float]) -> Callable[[Mapping[str, Any]], Any]:
        def target(leaves: Mapping[str, Any]) -> Any:
            memo: dict[str, Any] = {}
            return sum(weight * compute(each, leaves, memo) for each, weight in weights.items())

        return target

    def contributions(self, weights: Mapping[str, float], corner: Literal["", "low", "high"] = "") -> dict[str, Floats]:
        """Terms of a weighted sum of additive figures, SI, one array a facet; at a worst corner if one is named."""
        names = tuple(dict.fromkeys(leaf for each in weights for leaf in leaves_of(each)))
        if any(leaf.startswith("money.") for leaf in names):
            key = "paid" if "money.to_spend" in names else "bought"
            return {name: getattr(facet, key) for name, facet in self.facets.items()}
        asked = (*weights.items(), corner)
        if asked not in self._sums:
            scope = [each for each in self.facets if any(facet_of(leaf) == each for leaf in names)]
            self._sums[asked] = {
                each: self._contribution(self._target(weights), names, each, place == 0, corner)
                for place, each in enumerate(scope)
            }
        return dict(self._sums[asked])

    def _contribution(
        self,
        target: Callable[[Mapping[str, Any]], Any],
        names: tuple[str, ...],
        each: str,
        first: bool,
        corner: Literal["", "low", "high"],
    ) -> Floats:
        """Term of one facet, worked out once for rows that are equal in all that is read."""
        tick()
        facet, place = alike(self.facets[each], names)
        leaves = self.rows(names, facet)
        with np.errstate(all="ignore"):
            term = target(leaves)
            if corner:
                moving = variables(names, facet.tolerances)
                term = target(cornered(target, leaves, moving, -1 if corner == "low" else 1))
            if not first:
                term = term - target({leaf: self._ground(leaf, facet) for leaf in names})
            if corner and each == "base" and "block.bore" in names:
                term = term + (1 if corner == "low" else -1) * self._bore_play(target, names, facet)
        found: Floats = np.nan_to_num(np.broadcast_to(term, facet.size), nan=0.0, posinf=0.0, neginf=0.0)
        return found if place is None else found[place]

    def _ground(self, leaf: str, facet: Facet) -> Any:
        return facet.leaves[leaf] if leaf == "block.bore" and leaf in facet.leaves else self.neutral(leaf)

    def _bore_play(self, target: Callable[[Mapping[str, Any]], Any], names: tuple[str, ...], facet: Facet) -> Any:
        """How much the bore's tolerance, counted with the short block, moves the base's term: left out of the limit."""
        width = self._state_tolerance[facet.state]
        leaves = self.rows(names, facet)
        ground = {leaf: self._ground(leaf, facet) for leaf in names}

        def term(shift: Any) -> Any:
            bore = {"block.bore": facet.leaves["block.bore"] + shift}
            return target(leaves | bore) - target(ground | bore)

        here = term(0.0)
        return np.maximum(np.abs(term(width) - here), np.abs(term(-width) - here))


@cache
def _hangs_on(name: str) -> frozenset[str | None] | None:
    """Facets whose leaves a figure reads; None where it is all of them."""
    if any(leaf.startswith("money.") for leaf in leaves_of(name)):
        return None
    return frozenset(facet_of(leaf) for leaf in (*leaves_of(name), *FIGURES[name].bound_without))


@cache
def _must(name: str) -> tuple[str, ...]:
    """A figure and all figures that must be known for it."""
    found = {name: None}
    for each in FIGURES[name].inputs:
        if each in FIGURES:
            found |= dict.fromkeys(_must(each))
    return tuple(found)
