"""The plain check: one combination to every figure, limit and margin. What the search proposes, this decides."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from itertools import chain
from typing import Any, Literal

import numpy as np

from kitwright.solver.alike import Alike, InCommon
from kitwright.solver.combination import Combination, Missing, Reader
from kitwright.solver.evaluate import compute, in_unit
from kitwright.solver.fields import specs
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import REV_CEILING, Goal, Plan, Tolerance
from kitwright.solver.registry import FIGURES, leaves_of, public_figures, tree_of
from kitwright.solver.result import Checked, Limit, NotEstablished, Unworked
from kitwright.solver.rules import FITS, carries_tag, fits_together, rules_of, sizes
from kitwright.solver.stackup import Spreads, spread
from kitwright.solver.swap import is_dimension

NEAR = 1e-9
"""Difference, in a figure's unit, that is rounding and not a miss; also of a quotient from a whole number."""

FINE = 1e-4
"""Step, in a figure's unit, below which the rounding of floats counts in a quotient of that step."""

_DECIMALS = 12
"""Decimals that a sum of lengths in mm has right; what is written has fewer."""

UNASKED = "pushrod_mismatch"
"""The figure that is aimed at 0 wherever it can be computed."""

_MODES: tuple[Tolerance, ...] = ("worst_case", "statistical")


def points(value: float, aim: float, step: float) -> int:
    """Closeness of one figure: floor(|value − aim| / step), a quotient within 1e-9 of a whole number being that number.

    >>> points(1.10, 0.90, 0.02), points(9.546, 9.5, 0.05)
    (10, 0)

    Below a step of :data:`FINE` what floats add up to is no longer a small part of it: such a quotient is taken of the
    decimals that the value and the aim stand for.

    >>> points(0.9000009999999, 0.9, 1e-7)
    10
    """
    if step < FINE:
        exact = abs(Fraction(repr(round(value, _DECIMALS))) - Fraction(repr(aim))) / Fraction(repr(step))
        near = round(exact)
        return near if abs(exact - near) < NEAR else math.floor(exact)
    quotient = abs(value - aim) / step
    whole = round(quotient) if quotient < 2**52 else int(quotient)
    return whole if abs(quotient - whole) < NEAR else math.floor(quotient)


def reaches(value: float, limit: str, bound: float, strict: bool = False) -> bool:
    """Whether a value (in a figure's unit) keeps a bound; rounding of 1e-9, relative above 1, is forgiven."""
    slack = NEAR * max(1.0, abs(bound))
    margin = value - bound if limit == "min" else bound - value
    return margin > slack if strict else margin >= -slack


def implied_goals(plan: Plan) -> dict[str, Goal]:
    """The plan's goals by name, the rev ceiling as a minimum of ``rev_limit`` under its own name."""
    goals = dict(plan.goals)
    if plan.rev_ceiling is not None and REV_CEILING not in plan.waived:
        goals[REV_CEILING] = Goal("rev_limit", minimum=plan.rev_ceiling, step=FIGURES["rev_limit"].step)
    return goals


def step_of(limit: Limit, plan: Plan) -> float:
    """Give the smallest difference that matters for a limit, in the figure's unit."""
    goal = implied_goals(plan).get(limit.name) if limit.kind == "goal" else None
    return goal.step if goal is not None else FIGURES[limit.figure].step


@dataclass(slots=True)
class View:
    """One combination under one plan: figures and spreads, computed once each."""

    combination: Combination
    plan: Plan
    reader: Reader = field(init=False)
    memo: dict[str, Any] = field(default_factory=dict)
    spreads: dict[tuple[str, Tolerance], tuple[float, float]] = field(default_factory=dict)
    known: Spreads | None = None
    """Spreads that several combinations share."""
    alike: Alike | None = None
    """What is known of other combinations of the same catalogue and plan."""
    shown: dict[str, float] = field(default_factory=dict)
    """Figures in their own units."""
    common: InCommon | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        self.reader = Reader(self.combination, self.plan)
        if self.alike is not None:
            self.known = self.alike.by_value
            self.common = InCommon(self.combination, self.alike)

    def value(self, name: str) -> float:
        """A figure in its own unit, NaN where it cannot be computed."""
        if name not in self.shown:
            known = self.common.of(name) if self.common is not None else None
            if known is not None and name in known:
                self.memo[name], self.shown[name] = known[name]
            else:
                if name not in self.memo:
                    with np.errstate(all="ignore"):
                        compute(name, self.reader, self.memo)
                self.shown[name] = float(in_unit(name, self.memo[name]))
                if known is not None:
                    known[name] = self.memo[name], self.shown[name]
        return self.shown[name]

    def spread(self, name: str, mode: Tolerance) -> tuple[float, float]:
        """Lowest and highest value of a figure in a tolerance mode, in its own unit."""
        if mode == "nominal":
            value = self.value(name)
            return value, value
        if (name, mode) not in self.spreads:
            known = self.common.of(name) if self.common is not None else None
            if known is not None and (name, mode) in known:
                self.spreads[name, mode] = known[name, mode]
                return self.spreads[name, mode]
            self.reader.read(leaves_of(name))
            with np.errstate(all="ignore"):
                low, high = spread(name, self.reader.values, self.reader.tolerances, mode, self.known)
            self.spreads[name, mode] = float(in_unit(name, low)), float(in_unit(name, high))
            if known is not None:
                known[name, mode] = self.spreads[name, mode]
        return self.spreads[name, mode]

    def missing(self, name: str) -> tuple[Missing, ...]:
        """Fields that a figure wants for: to be computed, or to be proved."""
        wanted = leaves_of(name, optional=False) + FIGURES[name].bound_without
        found = self.reader.missing(wanted)
        if math.isnan(self.value(name)):
            # also what is asked for by something that is given, as a material by a temperature
            for each in tree_of(name, optional=False):
                if FIGURES[each].wants and math.isnan(self.value(each)):
                    lacks = self.reader.missing(leaves_of(each, optional=False))
                    found += [] if lacks else self.reader.missing(FIGURES[each].wants)
        return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True)
class Verdict:
    """The short answer on one combination: whether it fits, and its place in the order."""

    fits: bool
    closeness: int
    points: dict[str, int]
    not_established: tuple[str, ...]
    key: tuple[Any, ...]


def aims_of(plan: Plan) -> dict[str, Goal]:
    """Goals that rank, by name; a pushrod length that can be computed is aimed at without being asked."""
    found = {name: goal for name, goal in plan.goals.items() if goal.ranked_by is not None}
    if UNASKED not in found and "pushrod" in plan.reference:
        goal = plan.goals.get(UNASKED, Goal(UNASKED, step=FIGURES[UNASKED].step))
        if not goal.unaimed:
            found[UNASKED] = replace(goal, aim=0.0)
    return found


def implied_aims(plan: Plan) -> dict[str, float]:
    """What a plan aims at without having asked for it: goal to the aim, in the figure's unit.

    >>> implied_aims(Plan(goals={"quench": Goal("quench", minimum=0.8, maximum=1.1)}))
    {'quench': 0.8}
    """
    asked = {name for name, goal in plan.goals.items() if goal.aim is not None}
    aims = {name: goal.ranked_by for name, goal in aims_of(plan).items() if name not in asked}
    return {name: aim for name, aim in aims.items() if aim is not None}


def broken_branch(
    view: View, name: str, side: Literal["min", "max"], bound: float, mode: Tolerance, strict: bool = False
) -> tuple[str, float] | None:
    """A branch, and its value, that breaks a bound on a figure which cannot be computed for want of another branch.

    The least of two is no more than the one that is known, the greatest no less.
    """
    if FIGURES[name].extreme != side:
        return None
    for each in FIGURES[name].inputs:
        branch = each.rstrip("?")
        if math.isnan(view.value(branch)):
            found = broken_branch(view, branch, side, bound, mode, strict)
            if found is not None:
                return found
            continue
        low, high = view.spread(branch, mode)
        compared = low if side == "min" else high
        if not reaches(compared, side, bound, strict):
            return branch, compared
    return None


def asks(goal: Goal) -> bool:
    """Whether a goal limits or ranks: with a step alone, or let go of its only bound, there is nothing to establish."""
    return goal.minimum is not None or goal.maximum is not None or goal.ranked_by is not None


def goal_limits(view: View, name: str, goal: Goal, mode: Tolerance) -> tuple[list[Limit], bool]:
    """A goal's limits in a tolerance mode, and whether the goal is established."""
    value = view.value(goal.figure)
    unproved = bool(FIGURES[goal.figure].bound_without) and any(
        True for _ in view.reader.missing(FIGURES[goal.figure].bound_without)
    )
    found: list[Limit] = []
    established = not (math.isnan(value) or (goal.ranked_by is not None and unproved)) or not asks(goal)
    sides: tuple[tuple[Literal["min", "max"], float | None], ...] = (("min", goal.minimum), ("max", goal.maximum))
    for side, bound in sides:
        if bound is None:
            continue
        if math.isnan(value):
            known = None if FIGURES[goal.figure].bound else broken_branch(view, goal.figure, side, bound, mode)
            if known is None:
                found.append(Limit("goal", name, goal.figure, side, bound, None, None))
            else:
                branch, compared = known
                said = f"{FIGURES[branch].meaning}, whatever the other is"
                found.append(Limit("goal", name, goal.figure, side, bound, compared, False, said))
            continue
        low, high = view.spread(goal.figure, mode)
        compared = low if side == "min" else high
        holds: bool | None = reaches(compared, side, bound)
        if holds and unproved and side == "min":  # an upper bound on the figure proves no minimum
            holds, established = None, False
        if FIGURES[goal.figure].bound == "low" and holds is (side == "max"):  # the least it can be refutes no minimum
            holds, established = None, False
        said = "" if holds else FIGURES[goal.figure].proviso
        found.append(Limit("goal", name, goal.figure, side, bound, compared, holds, said))
    return found, established


def rule_limits(view: View, mode: Tolerance) -> Iterator[Limit]:
    """The physical rules in a tolerance mode, one after the other; those that cannot be computed are silent.

    Of two valves the one that is known is enough to break a rule.
    """
    for rule, bound in rules_of(view.plan):
        if math.isnan(view.value(rule.figure)):
            known = broken_branch(view, rule.figure, "min", bound, mode, rule.strict)
            if known is not None:
                yield Limit("rule", rule.id, rule.figure, "min", bound, known[1], False, rule.sentence, rule.strict)
            continue
        low, _ = view.spread(rule.figure, mode)
        holds = reaches(low, "min", bound, rule.strict)
        yield Limit("rule", rule.id, rule.figure, "min", bound, low, holds, rule.sentence, rule.strict)


def fit_limits(combination: Combination) -> list[Limit]:
    """Fits and tags as limits: sizes in mm, the difference of those that must be equal."""
    found = []
    for rule in FITS:
        for first, second, part in sizes(combination, rule):
            holds = rule.holds(first, second)
            sentence = f"{rule.sentence} ({rule.first.words} {1000 * first:.10g} mm, {part.id} {1000 * second:.10g} mm)"
            if rule.compare == "equal":
                found.append(Limit("rule", rule.id, "", "max", 0.0001, 1000 * abs(second - first), holds, sentence))
            else:
                found.append(Limit("rule", rule.id, "", "min", 1000 * first, 1000 * second, holds, sentence))
    block = combination.parts.get("block")
    for part in combination.different_parts:
        if part.fits and block is not None:
            sentence = f"{part.id} goes on blocks tagged {', '.join(part.fits)}"
            found.append(Limit("rule", "tags", "", "min", None, None, carries_tag(part, block), sentence))
    return found


def allowance_limits(combination: Combination, plan: Plan) -> list[Limit]:
    """What the plan allows and the combination oversteps: gaskets, machining, shelf, pins, avoided parts."""
    found: list[Limit] = []

    def broken(name: str, sentence: str, bound: float | None = None, value: float | None = None) -> None:
        found.append(Limit("rule", name, "", "max", bound, value, False, sentence))

    layers = len(combination.gaskets)
    if not combination.parts and not layers:
        broken("parts", "no part is chosen")
    if layers > plan.gaskets:
        broken("gaskets", f"{layers} gaskets, and the plan allows {plan.gaskets}", plan.gaskets, layers)
    if layers > 1:
        for gasket in {each.id: each for each in combination.gaskets}.values():
            if not gasket.stackable:
                broken("stackable", f"{gasket.id} is not to be stacked")
    for operation in combination.operations:
        if operation not in plan.machining:
            broken("machining", f"the plan does not allow {operation}")
    for part in combination.different_parts:
        if part.id in plan.avoid:
            broken(f"avoid.{part.id}", f"the plan avoids {part.id}")
    for kind, pinned in plan.use.items():
        if kind == "gasket":
            stack = sorted(each.id for each in combination.gaskets)
            kept = stack == sorted(pinned) if len(pinned) > 1 else bool(stack) and set(stack) <= set(pinned)
        else:
            kept = kind in combination.parts and combination.parts[kind].id in pinned
        if not kept:
            broken(f"use.{kind}", f"the plan pins {' + '.join(pinned)}")
    for part, count in combination.to_buy():
        if part.kind in plan.shelf_only:
            broken("shelf_only", f"{part.id} is not on the shelf ({count} to buy)")
    return found


def every_limit(view: View) -> tuple[list[Limit], list[str]]:
    """Every limit of fit, plan, rule and goal in the plan's tolerance mode; and the goals that are not established."""
    combination, plan = view.combination, view.plan
    limits = fit_limits(combination) + allowance_limits(combination, plan)
    limits += rule_limits(view, plan.tolerance)
    unproved = []
    for name, goal in implied_goals(plan).items():
        found, established = goal_limits(view, name, goal, plan.tolerance)
        limits += found
        if not established:
            unproved.append(name)
    return limits, unproved


def judge(combination: Combination, plan: Plan, known: Spreads | None = None, alike: Alike | None = None) -> Verdict:
    """Whether a combination fits a plan, and its place in the order: only what that needs is computed.

    ``known`` keeps spreads from one combination to the next, ``alike`` all that combinations of one catalogue and plan
    have in common.
    """
    if not fits_together(combination) or allowance_limits(combination, plan):
        return Verdict(False, 0, {}, (), ())
    view = View(combination, plan, known=known, alike=alike)
    unproved: list[str] = []
    for name, goal in implied_goals(plan).items():
        limits, established = goal_limits(view, name, goal, plan.tolerance)
        if any(limit.holds is False for limit in limits):
            return Verdict(False, 0, {}, (), ())
        if not established:
            unproved.append(name)
    if any(limit.holds is False for limit in rule_limits(view, plan.tolerance)):
        return Verdict(False, 0, {}, (), ())
    scored = _scored(view, plan)
    closeness = sum(scored.values())
    return Verdict(True, closeness, scored, tuple(unproved), _key(view, len(unproved), closeness))


def _scored(view: View, plan: Plan) -> dict[str, int]:
    found = {}
    for name, goal in aims_of(plan).items():
        value = view.value(goal.figure)
        if not math.isnan(value) and goal.ranked_by is not None:
            found[name] = goal.weight * points(value, goal.ranked_by, goal.step)
    return found


def _key(view: View, unproved: int, closeness: int) -> tuple[Any, ...]:
    return unproved, closeness, *rest_of_key(view)


def rest_of_key(view: View) -> tuple[Any, ...]:
    """The order's key after closeness: cost, gaskets, machining, ids, amounts."""
    combination = view.combination
    cost = view.value("cost")
    money = (1, 0.0) if math.isnan(cost) else (0, round(cost, 6))
    tie = combination.tie_key()
    return money, len(combination.gaskets), len(combination.operations), *tie


def check(
    combination: Combination,
    plan: Plan,
    spreads: bool = True,
    known: Spreads | None = None,
    alike: Alike | None = None,
) -> Checked:
    """Check one combination against a plan: every figure, every limit with its margin, what is not established.

    Args:
        combination: parts and machining, as made by :func:`combine` or found by the search.
        plan: what is wanted.
        spreads: whether the range of every figure within the tolerances is computed too.
        known: spreads that are kept from one combination to the next.
        alike: what combinations of one catalogue and plan have in common, kept from one to the next.

    Returns:
        A :class:`~kitwright.solver.result.Checked`, fitting or not.
    """
    view = View(combination, plan, known=known, alike=alike)
    figures = {}
    for name in public_figures():
        value = view.value(name)
        if math.isfinite(value):
            figures[name] = value
    limits, unestablished = every_limit(view)
    unproved = [NotEstablished(name, view.missing(implied_goals(plan)[name].figure)) for name in unestablished]
    scored = _scored(view, plan)
    closeness = sum(scored.values())
    ranges: dict[str, dict[str, tuple[float, float]]] = {}
    if spreads:
        for name in figures:
            ranges[name] = {mode: view.spread(name, mode) for mode in _MODES}
    return Checked(
        combination,
        figures,
        scored,
        closeness,
        tuple(limits),
        tuple(unproved),
        holds_at_worst_case(view, limits),
        _key(view, len(unproved), closeness),
        ranges,
        rev_limit_by(view),
        without_tolerance(view, limits),
        tuple(unworked_rules(view)),
        tuple(view.reader.missing(FIGURES["rev_limit"].bound_without)),
    )


def holds_at_worst_case(view: View, limits: Iterable[Limit]) -> bool | None:
    """Whether all that is established holds at the worst corner of all tolerances; None where there are none."""
    limits = list(limits)
    if any(limit.holds is False for limit in limits):
        return False
    goals = implied_goals(view.plan).items()  # first, as they are the narrower limits and mostly settle it
    worst = (limit for name, goal in goals for limit in goal_limits(view, name, goal, "worst_case")[0])
    if any(limit.holds is False for limit in chain(worst, rule_limits(view, "worst_case"))):
        return False
    return True if any(_toleranced(view, limit.figure) for limit in _on_sizes(limits)) else None


def without_tolerance(view: View, limits: Iterable[Limit]) -> tuple[Limit, ...]:
    """Limits on sizes of which none has a tolerance."""
    return tuple(limit for limit in _on_sizes(limits) if not _toleranced(view, limit.figure))


def _on_sizes(limits: Iterable[Limit]) -> Iterator[Limit]:
    """Limits that hold and rest on sizes of parts: neither on money nor on ratings or counts alone."""
    return (limit for limit in limits if limit.holds and limit.figure and sizes_under(limit.figure))


@cache
def sizes_under(figure: str) -> tuple[str, ...]:
    """Leaves of a figure that are sizes of parts, which may have a tolerance.

    >>> sizes_under("gasket_count"), sizes_under("rod_side_clearance")
    ((), ('crank.journal_width', 'rod.width'))
    """
    found = []
    for leaf in leaves_of(figure):
        owner, _, path = leaf.partition(".")
        cls = KINDS.get("gasket" if owner == "gaskets" else owner)
        spec = specs(cls).get(path.partition(".")[0]) if cls is not None else None
        if spec is not None and spec.form in ("quantity", "group") and is_dimension(path):
            found.append(leaf)
    return tuple(found)


def _toleranced(view: View, figure: str) -> bool:
    view.reader.read(leaves_of(figure))
    return any(leaf in view.reader.tolerances for leaf in leaves_of(figure))


def unworked_rules(view: View) -> Iterator[Unworked]:
    """Physical rules that concern the parts that are there, and cannot be worked out for want of a field of theirs."""
    for rule, _ in rules_of(view.plan):
        if not math.isnan(view.value(rule.figure)):
            continue
        missing = view.missing(rule.figure)
        if missing and all(each.part is not None for each in missing) and rule.concerns(view.reader):
            yield Unworked(rule.id, rule.figure, missing)


def rev_limit_by(view: View) -> str:
    """What sets the rev limit, in words; empty where nothing is rated."""
    limit = view.value("rev_limit")
    if math.isnan(limit):
        return ""
    names = []
    for each in FIGURES["rev_limit"].inputs:
        bare = each.rstrip("?")
        if abs(view.value(bare) - limit) <= NEAR * max(1.0, limit):
            names.append(FIGURES[bare].meaning)
    return " and ".join(names)
