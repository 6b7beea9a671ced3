"""Search and twin where a figure equals its limit: a comparison that is off by a hair anywhere shows here."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest

from kitwright.solver import find
from kitwright.solver.check import View
from tests import random_edges
from tests.test_twin import Question, compare, fitting

STACKS, MOTION, CHUNK = 120, 40, 10
CASES = [(random_edges.stacks, first) for first in range(0, STACKS, CHUNK)]
CASES += [(random_edges.motion, first) for first in range(0, MOTION, CHUNK)]


@pytest.mark.parametrize(("question", "first"), CASES)
def test_search_agrees_with_the_twin_on_the_edge(question: Question, first: int) -> None:
    assert [each for seed in range(first, first + CHUNK) for each in compare(question, seed)] == []


def test_the_edges_are_met() -> None:
    """Listed combinations that lie on a bound to within 1e-9, from both sides, in every tolerance mode and unit."""
    seen: Counter[str] = Counter()
    for seed in range(STACKS):
        catalogue, plan = random_edges.stacks(seed)
        for each in find(catalogue, plan, top=5):
            view = View(each.combination, plan)
            for name, goal in plan.goals.items():
                low, high = view.spread(goal.figure, plan.tolerance)
                for side, bound, value in (("min", goal.minimum, low), ("max", goal.maximum, high)):
                    if bound is None or value != value or abs(value - bound) > 1e-9 * max(1.0, abs(bound)):
                        continue
                    seen[side] += 1
                    seen[plan.tolerance] += 1
                    seen["outside"] += value < bound if side == "min" else value > bound
                    seen["cost"] += name == "cost"
                    seen["compression"] += name == "compression"
                    seen["length"] += name in ("quench", "deck", "skirt_to_counterweight", "coil_bind_margin")
                    in_inches = Fraction(bound) / Fraction(254, 10)
                    seen["round in inches"] += abs(in_inches * 10_000 - round(in_inches * 10_000)) < 1e-6
    wanted = {"min", "max", "nominal", "statistical", "worst_case", "outside", "cost", "compression", "length"}
    assert {name for name in wanted if not seen[name]} == set()


def test_a_question_without_answers_keeps_its_plan() -> None:
    seeds = [seed for seed in range(40) if not fitting(random_edges.stacks, seed)]
    assert 0 < len(seeds) < 40
