"""Which part's tolerance decides a figure: each dimension's share of the spread, in variance and at worst case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kitwright.solver.check import View, aims_of, implied_goals
from kitwright.solver.combination import BATCH
from kitwright.solver.evaluate import compute
from kitwright.solver.plan import Plan
from kitwright.solver.registry import leaves_of
from kitwright.solver.stackup import derivative, variables
from kitwright.solver.swap import Place, place_of


@dataclass(frozen=True, slots=True)
class Share:
    """What one dimension's ± has in a figure's spread; each of the two shares adds up to 1 over the dimensions.

    ``effect`` is slope × tolerance, in SI of the figure: how far the figure goes when the dimension goes to its upper
    end.
    """

    place: Place
    effect: float
    variance: float
    worst_case: float


def shares(view: View, figure: str) -> tuple[Share, ...]:
    """Shares of all toleranced dimensions in a figure's spread, greatest variance first; empty where nothing strays.

    ``variance``: (∂f/∂x · t)² / Σ (∂f/∂x · t)²; ``worst_case``: |∂f/∂x| · t / Σ |∂f/∂x| · t; slopes at nominal, parts
    and gasket layers independent, layers of one batch as one. Source: JCGM 100:2008, 5.1.2, first-order propagation
    (recalled, recomputed).
    """
    view.reader.read(leaves_of(figure))
    leaves, tolerances = view.reader.values, view.reader.tolerances

    def target(some: Mapping[str, Any]) -> Any:
        return compute(figure, some)

    found: dict[Place, float] = {}
    batch = tolerances.get(BATCH)
    with np.errstate(all="ignore"):
        for leaf, layer, tolerance in variables(leaves_of(figure), tolerances):
            effect = float(derivative(target, leaves, (leaf, layer, tolerance))) * tolerance
            if np.isfinite(effect) and effect:
                first = layer if batch is None or layer is None else batch[layer]
                place = place_of(view.combination, leaf, first)
                found[place] = found.get(place, 0.0) + effect
    squares = sum(each**2 for each in found.values())
    widths = sum(map(abs, found.values()))
    if not squares:
        return ()
    listed = [Share(place, each, each**2 / squares, abs(each) / widths) for place, each in found.items()]
    return tuple(sorted(listed, key=lambda each: (-each.variance, each.place.kind, each.place.field)))


def figures_that_matter(plan: Plan) -> tuple[str, ...]:
    """Figures that the plan limits or aims at, in its order."""
    goals = [goal for goal in implied_goals(plan).values() if (goal.minimum, goal.maximum) != (None, None)]
    return tuple(dict.fromkeys(goal.figure for goal in (*goals, *aims_of(plan).values())))


def shares_of(view: View) -> dict[str, tuple[Share, ...]]:
    """Shares by figure, for each that the plan limits or aims at and that strays."""
    found = {name: shares(view, name) for name in figures_that_matter(view.plan) if not np.isnan(view.value(name))}
    return {name: each for name, each in found.items() if each}
