"""Random questions whose limits lie exactly on what a combination has: written in mm or in inches, or a hair beside.

A limit forgives a difference of 1e-9 (relative above 1); bounds here are moved by half of that and by three times it,
so that an encoding that rounds the wrong way, or forgives on one side only, loses or lists a combination.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import lru_cache

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.registry import FIGURES
from tests import random_catalogues, random_motion
from tests.twin import closest

Question = Callable[[int, int], tuple[Catalogue, Plan]]

BESIDE = (0.0, 0.0, 0.0, 5e-10, -5e-10, 3e-9, -3e-9)
"""How far a bound is moved outward from the figure, in the figure's unit."""


def written(value: float, way: str) -> float:
    """A length in mm as somebody would write it down, read back."""
    if way == "raw":
        return value
    text = f"{value:.9f} mm" if way == "mm" else f"{value / 25.4:.15f} in"
    return parse(text, LENGTH).to("mm")


def on_the_edge(question: Question, names: tuple[str, ...], seed: int, most: int) -> tuple[Catalogue, Plan]:
    """The catalogue and plan of a question, with goals that lie on the figures of one combination."""
    rng = random.Random(seed * 6007 + 11)
    catalogue, plan = question(seed, most)
    fitting = closest(catalogue, plan) or closest(catalogue, plan.but(goals={}, rev_ceiling=None))
    if not fitting:
        return catalogue, plan
    view = View(rng.choice(fitting)[1], plan)
    goals = dict(rng.sample(sorted(plan.goals.items()), min(1, len(plan.goals))))
    for name in rng.sample(names, rng.randint(1, 3)):
        low, high = view.spread(name, plan.tolerance)
        value = view.value(name)
        if value != value or max(abs(low), abs(high)) > 1e6:
            continue
        step = FIGURES[name].step * rng.choice([1, 1, 0.37])
        way = rng.choice(["raw", "mm", "in", "in"]) if FIGURES[name].unit == "mm" else "raw"
        beside = rng.choice(BESIDE)
        goals[name] = Goal(
            name,
            aim=rng.choice([None, written(value, way), value + rng.choice([-3, 1, 7]) * step]),
            minimum=written(low, way) - beside if rng.random() < 0.6 else None,
            maximum=written(high, way) + beside if rng.random() < 0.6 else None,
            step=step,
            weight=rng.choice([1, 1, 2]),
        )
    return catalogue, plan.but(goals=goals)


STACK_NAMES = random_catalogues.FIGURE_GOALS
MOTION_NAMES = tuple(dict.fromkeys((*STACK_NAMES, *random_motion.MOTION_GOALS)))


@lru_cache(maxsize=500)
def stacks(seed: int, most: int = 250) -> tuple[Catalogue, Plan]:
    """Parts without motion."""
    return on_the_edge(random_catalogues.question, STACK_NAMES, seed, most)


@lru_cache(maxsize=500)
def motion(seed: int, most: int = 50) -> tuple[Catalogue, Plan]:
    """Parts with masses, timing and springs."""
    return on_the_edge(random_motion.question, MOTION_NAMES, seed, most)
