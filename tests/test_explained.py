"""Every claim of an explanation against the exhaustive twin, over random plans without an answer."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import find
from kitwright.solver.explain import explain
from kitwright.solver.result import Conflict, Explanation
from kitwright.solver.search import witness
from tests import random_catalogues, random_motion
from tests.cli_runner import plan
from tests.explained import SECONDS, Question, claims

MOST = 120
"""Combinations of a question, so that the twin goes through them many times over."""


def looked_at(question: Question, first: int, last: int) -> tuple[list[str], Counter[str]]:
    """Differences over some seeds, and how many claims of each sort were looked at."""
    wrong: list[str] = []
    seen: Counter[str] = Counter()
    for seed in range(first, last):
        catalogue, wanted = question(seed, most=MOST)
        if witness(catalogue, wanted, SECONDS) is not None:
            continue
        found = explain(catalogue, wanted, find, witness, SECONDS)
        wrong += [f"seed {seed}: {line}" for line in claims(catalogue, wanted, found)]
        told = found.answer.conflict
        assert told is not None
        seen["questions"] += 1
        seen["ways out"] += len(told.ways_out)
        seen["other conflicts"] += len(found.other_conflicts)
        seen["together"] += len(found.together)
        seen["parts"] += len(found.parts_that_would_fit)
    return wrong, seen


def test_explanations_agree_with_the_twin() -> None:
    wrong, seen = looked_at(random_catalogues.question, 0, 76)
    assert wrong == []
    assert min(seen[sort] for sort in ("questions", "ways out", "other conflicts", "together", "parts")) >= 5, seen


def test_explanations_agree_with_the_twin_on_motion() -> None:
    wrong, seen = looked_at(random_motion.question, 5, 8)
    assert wrong == []
    assert seen["questions"] >= 2, seen


def of_scenario(name: str) -> tuple[Explanation, Conflict, list[str]]:
    wanted, catalogue = load_plan(plan(name))
    found = explain(catalogue, wanted, find, witness, SECONDS)
    told = found.answer.conflict
    assert told is not None
    return found, told, list(claims(catalogue, wanted, found))


@pytest.mark.parametrize("name", ["compression-against-quench", "revs-against-lift"])
def test_the_scenarios_hold(name: str) -> None:
    _, told, wrong = of_scenario(name)
    assert wrong == [] and len(told.ways_out) == 4


def test_what_is_wrong_is_noticed() -> None:
    """The measure itself: each sort of false claim is found out."""
    wanted, catalogue = load_plan(plan("compression-against-quench"))
    found, told, _ = of_scenario("compression-against-quench")

    def said(conflict: Conflict, **changes: object) -> str:
        false = replace(found, answer=replace(found.answer, conflict=conflict), **changes)  # type: ignore[arg-type]
        return "\n".join(claims(catalogue, wanted, false))

    compression, quench, machining, _ = told.ways_out
    assert "without gaskets has no answer" not in said(told)
    assert "has an answer" in said(replace(told, requirements=told.requirements[:3]))
    assert "without quench.min has no answer" in said(replace(told, requirements=(*told.requirements, "quench.min")))
    assert "nothing is said of machining" in said(replace(told, ways_out=(compression, quench)))
    assert "does not open" in said(replace(told, ways_out=(replace(compression, to=9.98), quench, machining)))
    assert "does not open" in said(replace(told, ways_out=(replace(compression, price=1.0), quench, machining)))
    assert "less than" in said(replace(told, ways_out=(replace(compression, to=10.0), quench, machining)))
    part = found.parts_that_would_fit[0]
    assert "is not from" in said(told, parts_that_would_fit=(replace(part, value=part.low - 1),))
    assert "is not in the combination" in said(told, parts_that_would_fit=(replace(part, like="p0"),))
