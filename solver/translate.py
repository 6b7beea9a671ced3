"""Goals and rules into terms: sums, levels, tables and filters over the facets' rows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from math import prod
from typing import Any, Literal

import numpy as np

from kitwright.solver.check import NEAR, aims_of, asks, implied_goals
from kitwright.solver.classes import Facets, facet_of
from kitwright.solver.columns import Columns
from kitwright.solver.distinct import unique_rows
from kitwright.solver.evaluate import compute, in_unit
from kitwright.solver.joint import joints
from kitwright.solver.plan import REV_CEILING, Goal, Plan
from kitwright.solver.prune import prune
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.rules import OF_OFFERS, PHYSICAL, SAME_SIZE, rules_of
from kitwright.solver.slack import LARGEST_TABLE, SlackSum, TooManyCellsError, pick
from kitwright.solver.stackup import spread, variables, variance, with_batch
from kitwright.solver.terms import (
    SNAP,
    AimLevels,
    AimSum,
    Floats,
    Ints,
    Lack,
    Linear,
    Mask,
    Square,
    Table,
    Terms,
    misses,
    naming,
    nearest,
    no_shorter,
    points_of,
    unit_of,
    up,
)

HEAVIEST = 1 << 16
"""Greatest weight that a goal has in the model."""

MOST_LEVELS = 400
"""Levels of closeness of one figure on one side; what is further off counts as so many."""


def wanted_leaves(plan: Plan) -> set[str]:
    """Every leaf that goals and rules can see."""
    figures = [goal.figure for goal in (*plan.goals.values(), *aims_of(plan).values())]
    figures += [rule.figure for rule in PHYSICAL]  # waived or not: rows serve plans that differ in that alone
    figures += [rule.figure for rule in OF_OFFERS if plan.step_clear]
    if plan.rev_ceiling is not None:
        figures.append("rev_limit")
    return {leaf for name in figures for leaf in leaves_of(name)} | {
        leaf for n in figures for leaf in FIGURES[n].bound_without
    }


class Maker(Columns):
    """Turns goals and rules into terms."""

    def __init__(self, facets: Facets, plan: Plan, tick: Callable[[], None] = lambda: None) -> None:
        """``tick`` is called now and then; it raises where the time is up."""
        super().__init__(facets, plan)
        self.tick = tick
        self._later: list[Callable[[], None]] = []
        self.terms = Terms(facets, {name: np.ones(each.size, dtype=bool) for name, each in self.facets.items()})
        self.terms.points = {name: np.zeros(each.size, dtype=np.int64) for name, each in self.facets.items()}

    def make(self, tables: bool = True) -> Terms:
        """All terms; without the tables, what they would limit is left to the plain check."""
        if not all(each.size for each in self.facets.values()):  # nothing fits, whatever is asked
            return self.terms
        for name, goal in implied_goals(self.plan).items():
            with naming(name):
                self._goal(name, goal)
        for name, goal in aims_of(self.plan).items():
            if goal.ranked_by is not None:
                # a smaller weight keeps the model's closeness a lower bound, and its integers small
                with naming(name):
                    self._aim(name, replace(goal, weight=min(goal.weight, HEAVIEST)), goal.ranked_by)
        for rule, bound in rules_of(self.plan):
            if rule.id not in self._said_by_goals():
                self._limit(rule.id, rule.figure, "min", bound)
        self._gasket_bores()
        while self._later and tables:  # tables last: they are made of the rows that all else has left
            self.terms.alive = prune(self.terms, self.terms.alive)
            self._later.pop(0)()
        self.terms.joints = joints(self.terms.levels, self.terms.alive)
        return self.terms

    def _said_by_goals(self) -> set[str]:
        """Rules that ask no more than a goal does: the rev limit goes by valve float, with the plan's margin."""
        return {"float_speed"} if REV_CEILING in implied_goals(self.plan) else set()

    # goals

    def _goal(self, name: str, goal: Goal) -> None:
        if not asks(goal):
            return
        flags, always = self.lacking(goal.figure)
        bound_only = bool(FIGURES[goal.figure].bound_without)
        # the greatest a figure can be proves no minimum, and no aim; a maximum it does prove
        if FIGURES[goal.figure].bound == "low":  # it refutes no minimum, and proves no maximum
            never = always or goal.maximum is not None
            proof = None if never or goal.minimum is None else self._proof(name, goal.figure, goal.minimum)
            if flags or never or proof is not None:
                self.terms.lacks.append(Lack(name, flags, never, proof))
        elif (flags or always) and (not bound_only or goal.minimum is not None or goal.ranked_by is not None):
            self.terms.lacks.append(Lack(name, flags, always))
        if always and not bound_only and FIGURES[goal.figure].extreme is None:
            return
        if goal.minimum is not None and FIGURES[goal.figure].bound != "low":
            self._limit(name, goal.figure, "min", goal.minimum)
        if goal.maximum is not None:
            self._limit(name, goal.figure, "max", goal.maximum)

    def _limit(self, name: str, figure: str, side: Literal["min", "max"], bound: float) -> None:
        self.tick()
        entry = FIGURES[figure]
        scope = self.scope(figure)
        if not scope:
            return
        if len(scope) == 1 and entry.group != "money":
            self._filter(scope[0], figure, side, bound)
        elif entry.extreme == side and entry.shape != "additive":  # min of branches ≥ bound: every branch is
            for branch in entry.inputs:
                self._limit(f"{name} {branch.rstrip('?')}", branch.rstrip("?"), side, bound)
        elif entry.at_least is not None and not self._made_of_columns(figure):
            self._later.append(partial(self._slack_limit, name, figure, side, bound))
        elif entry.at_least is not None:
            self._slack_limit(name, figure, side, bound)
        elif entry.shape == "additive":
            self._sum_limit(name, figure, side, bound)
        else:
            self._table(name, figure, side, bound)

    def _filter(self, facet: str, figure: str, side: Literal["min", "max"], bound: float) -> None:
        """A limit on a figure of one facet: its rows keep it or go."""
        rows = self.facets[facet]
        leaves = self.rows(leaves_of(figure), rows)
        with np.errstate(all="ignore"):
            low, high = spread(figure, leaves, rows.tolerances, self.plan.tolerance)
        compared = np.broadcast_to(in_unit(figure, low if side == "min" else high), rows.size)
        self.terms.alive[facet] &= ~misses(compared, side, bound)

    def _linear(self, name: str, terms: dict[str, Floats], unit: float, skip: dict[str, Mask]) -> Linear:
        return Linear(name, {each: up(values / unit) for each, values in terms.items()}, skip)

    def _sum_limit(self, name: str, figure: str, side: Literal["min", "max"], bound: float) -> None:
        flags, always = self.lacking(figure)
        if always:
            return
        terms = self._summed(figure, side, bound)
        unit = unit_of(figure)
        self.terms.linear.append(self._linear(name, terms, unit, flags))
        if self.plan.tolerance == "statistical":
            self._square(name, {figure: 1.0}, terms, unit, flags, 1.0)

    def _proof(self, name: str, figure: str, minimum: float) -> Linear:
        """The sum that is 0 at least where an additive figure, the least that a size can be, reaches a minimum."""
        return self._linear(name, self._summed(figure, "min", minimum), unit_of(figure), {})

    def _summed(self, figure: str, side: Literal["min", "max"], bound: float) -> dict[str, Floats]:
        """Terms in SI of what an additive figure keeps of a bound, at its worst corner where the plan asks for it."""
        worst = self.plan.tolerance == "worst_case"
        corner: Literal["", "low", "high"] = ("low" if side == "min" else "high") if worst else ""
        sign = 1.0 if side == "min" else -1.0
        factor = FIGURES[figure].factor
        slack = NEAR * max(1.0, abs(bound)) * factor
        terms = self.contributions({figure: 1.0}, corner)
        first = next(iter(terms))
        terms = {each: sign * values for each, values in terms.items()}
        terms[first] = terms[first] - sign * bound * factor + slack
        return terms

    def _slack_limit(self, name: str, figure: str, side: Literal["min", "max"], bound: float) -> None:
        flags, always = self.lacking(figure)
        if always:
            return
        slack = NEAR * max(1.0, abs(bound))
        eased = bound - slack if side == "min" else bound + slack
        total = SlackSum(self, figure)
        try:
            linear = total.limit(name, side, eased, self.plan.tolerance == "worst_case", flags)
        except TooManyCellsError:
            self._leave(figure)
            return
        if linear is None:
            return
        self.terms.linear.append(linear)
        terms = total.terms(eased)
        if self.plan.tolerance == "statistical" and figure == "compression" and terms is not None:
            weights = {each.figure: each.weight for each in terms}
            sign = -1.0 if side == "min" else 1.0
            columns = {each: sign * values for each, values in self.contributions(weights).items()}
            share = self._shrink(weights, side)
            self._square(name, weights, columns, unit_of("clearance_volume"), flags, share)

    def _made_of_columns(self, figure: str) -> bool:
        """Whether a figure's sum has no term that several facets decide together."""
        terms = (each for some in SlackSum(self, figure).samples() for each in some)
        return all(each.figure and FIGURES[each.figure].shape == "additive" for each in terms)

    def _leave(self, figure: str) -> None:
        """Leave a figure to the plain check; rows that differ in its leaves stay apart."""
        self.terms.lazy.append(figure)
        for each in self.scope(figure):
            self.terms.projections.setdefault(each, []).append(self.project(each, leaves_of(figure))[0])

    def _shrink(self, weights: Mapping[str, float], side: Literal["min", "max"]) -> float:
        """Share of the statistical spread that the compression's sum must at least keep clear of its bound.

        For ratio = 1 + S/C and bound c, with w = |C − S/(c − 1)| and σ the root of the sum's variances:
        a minimum holds only where w ≥ σ, a maximum only where w ≥ σ / (1 + σ (c − 1) / S).
        """
        if side == "min":
            return 1.0
        names = list(weights)
        swept = self.contributions({names[1]: 1.0})
        least = min((float(np.min(values[values > 0])) for values in swept.values() if np.any(values > 0)), default=0.0)
        total = sum(float(np.sqrt(np.max(values))) for values in self._variances({names[0]: 1.0}).values())
        return 1.0 / (1.0 + total * -1.0 / (weights[names[1]] * least)) if least > 0 else 0.0

    def _variances(self, weights: Mapping[str, float]) -> dict[str, Floats]:
        """Σ (∂f/∂x · t)² of each facet's own leaves, the bore left out (it acts on terms of two facets)."""
        names = tuple(dict.fromkeys(leaf for each in weights for leaf in leaves_of(each)))
        target = self._target(weights)
        found = {}
        for each, facet in self.facets.items():
            if not any(facet_of(leaf) == each for leaf in names):
                continue
            leaves = self.rows(names, facet)
            moving = [each for each in variables(names, facet.tolerances) if each[0] != "block.bore"]
            with np.errstate(all="ignore"):
                total = variance(target, leaves, moving, facet.tolerances)
            found[each] = np.nan_to_num(np.broadcast_to(total, facet.size), nan=0.0, posinf=0.0, neginf=0.0)
        return found

    def _square(
        self,
        name: str,
        weights: Mapping[str, float],
        terms: dict[str, Floats],
        unit: float,
        flags: dict[str, Mask],
        share: float,
    ) -> None:
        entry = FIGURES[next(iter(weights))]
        if entry.extreme is not None:  # the branches' spreads differ: left to the plain check
            return
        main = {next(iter(weights)): 1.0}  # of a ratio, only what the clearance volume strays
        scaled = {
            each: np.floor(values * (share / unit) ** 2 * (1 - 1e-6)).astype(np.int64)
            for each, values in self._variances(main).items()
        }
        if any(values.any() for values in scaled.values()):
            self.terms.square.append(
                Square(name, {each: up(values / unit) for each, values in terms.items()}, scaled, flags)
            )

    def _table(
        self, name: str, figure: str, side: Literal["min", "max"] | None, bound: float, goal: Goal | None = None
    ) -> None:
        """A limit (or, with a goal, an aim) as a table over the distinct leaves of the facets, where that is small."""
        names = leaves_of(figure)
        scope = self.scope(figure)
        index: dict[str, Ints] = {}
        picks: dict[str, Ints] = {}
        for each in scope:
            index[each], picks[each] = self.project(each, names)
        sizes = [len(picks[each]) for each in scope]
        if prod(sizes) > LARGEST_TABLE:
            self._leave(figure)
            return
        leaves: dict[str, Any] = {leaf: self.neutral(leaf) for leaf in names}
        tolerances: dict[str, Any] = {}
        read = with_batch(names)
        for place, each in enumerate(scope):
            shape = [1] * len(scope)
            shape[place] = sizes[place]
            for source, into in ((self.facets[each].leaves, leaves), (self.facets[each].tolerances, tolerances)):
                for leaf, values in source.items():
                    if leaf in read and facet_of(leaf) == each:
                        into[leaf] = pick(values, picks[each], shape)
        with np.errstate(all="ignore"):
            low, high = spread(figure, leaves, tolerances, self.plan.tolerance)
            value = np.broadcast_to(in_unit(figure, compute(figure, leaves)), sizes)
        compared = np.broadcast_to(in_unit(figure, high if side == "max" else low), sizes)
        allowed = np.ones(sizes, dtype=bool) if side is None else ~misses(compared, side, bound)
        scored = None
        if goal is not None and goal.ranked_by is not None:
            scored = goal.weight * points_of(value, goal.ranked_by, goal.step)
        self.terms.tables.append(Table(name, index, allowed, scored))

    def project(self, facet: str, names: Iterable[str]) -> tuple[Ints, Ints]:
        """Rows (those still alive) that are equal in some leaves as one: index of each row, and one row of each."""
        rows = self.facets[facet]
        wanted = set(with_batch(set(names)))
        columns = []
        for source in (rows.leaves, rows.tolerances):
            for leaf, values in source.items():
                if leaf in wanted and facet_of(leaf) == facet:
                    columns += list(values) if isinstance(values, tuple) else [values]
        index = np.zeros(rows.size, dtype=np.int64)
        alive = np.nonzero(self.terms.alive[facet])[0]
        if not columns or not len(alive):
            return index, np.zeros(1, dtype=np.int64)
        first, inverse = unique_rows([np.nan_to_num(column[alive], nan=-1e9) for column in columns])
        index[alive] = inverse
        return index, alive[first].astype(np.int64)

    # aims

    def _aim(self, name: str, goal: Goal, aim: float) -> None:
        entry = FIGURES[goal.figure]
        scope = self.scope(goal.figure)
        flags, always = self.lacking(goal.figure)
        if not scope or (always and not entry.bound_without):
            return
        if len(scope) == 1 and entry.group != "money":
            rows = self.facets[scope[0]]
            with np.errstate(all="ignore"):
                value = in_unit(goal.figure, compute(goal.figure, self.rows(leaves_of(goal.figure), rows)))
            self.terms.points[scope[0]] += goal.weight * points_of(np.broadcast_to(value, rows.size), aim, goal.step)
        elif entry.at_least is not None:
            self._aim_levels(name, goal, aim, flags)
        elif entry.shape == "additive":
            self._aim_sum(name, goal, aim, flags)
        else:
            self._table(f"{name} aim", goal.figure, None, 0.0, goal)

    def _aim_sum(self, name: str, goal: Goal, aim: float, flags: dict[str, Mask]) -> None:
        unit, factor = unit_of(goal.figure), FIGURES[goal.figure].factor
        terms = self.contributions({goal.figure: 1.0})
        first = next(iter(terms))
        terms[first] = terms[first] - aim * factor
        whole_step = no_shorter(goal.step * factor / unit)
        # all of them together must not move the quotient by as much as the check takes for rounding
        rounding = min(SNAP, NEAR * whole_step / (2 * len(terms)))
        whole, error = {}, 0
        for each, values in terms.items():
            whole[each], exact = nearest(values / unit, rounding)
            error += not exact
        self.terms.sums.append(AimSum(name, whole, whole_step, int(error), goal.weight, flags))

    def _aim_levels(self, name: str, goal: Goal, aim: float, flags: dict[str, Mask]) -> None:
        """Levels of one step each, as far out as the limits (or, without, as ``MOST_LEVELS``) reach."""
        total = SlackSum(self, goal.figure)
        reach = [abs(bound - aim) if bound is not None else np.inf for bound in (goal.minimum, goal.maximum)]
        below, above = (int(min(MOST_LEVELS, np.ceil(each / goal.step + 1))) for each in reach)
        try:
            columns = total.columns()
        except TooManyCellsError:
            self._leave(goal.figure)
            return
        level = partial(total.level, aim, goal.step)
        self.terms.levels.append(AimLevels(name, level, columns, goal.weight, (below, above), flags))

    def _gasket_bores(self) -> None:
        """Every gasket's bore is at least the cylinder's."""
        if "stack" not in self.facets or "short" not in self.facets:
            return
        smallest = self.facets["stack"].leaves["smallest_bore"]
        bore = self.facets["short"].leaves["block.bore"]
        if np.isnan(bore).all():
            return
        known = np.where(np.isfinite(smallest), smallest, 1.0) + SAME_SIZE
        bores = np.nan_to_num(bore, nan=0.0)
        if float(np.max(bores)) <= float(np.min(known)):
            return
        terms = {"stack": up(known / 1e-9), "short": up(-bores / 1e-9)}
        self.terms.linear.append(Linear("gasket bore", terms))
