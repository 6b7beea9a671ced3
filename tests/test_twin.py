"""The search against the exhaustive twin, both ways: same combinations, same order, same figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import pytest

from kitwright.solver import check, find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.plan import MACHINING, Plan
from tests import random_catalogues, random_motion
from tests.twin import closest, everything

Question = Callable[[int], tuple[Catalogue, Plan]]
STACKS, MOTION, CHUNK = 320, 220, 20


def compare(question: Question, seed: int) -> list[str]:
    """Differences between search and twin on one seed, in words."""
    catalogue, plan = question(seed)
    wanted = closest(catalogue, plan)
    found = []
    for top in (1, 7, 40) if seed % 5 == 0 else (10,):
        answer = find(catalogue, plan, top=top)
        expected = [key for key, _ in wanted[:top]]
        got = [each.key for each in answer.combinations]
        if got != expected:
            found.append(
                f"seed {seed}, top {top}: {len(got)} listed, {len(expected)} expected; first {got[:1]} {expected[:1]}"
            )
        if answer.status != ("complete" if expected else "nothing_fits"):
            found.append(f"seed {seed}: {answer.status}")
        for each, (_, combination) in zip(answer.combinations, wanted, strict=False):
            if dict(each.figures) != dict(check(combination, plan, spreads=False).figures):
                found.append(f"seed {seed}: other figures for {each.combination.ids}")
    return found


@pytest.mark.parametrize("first", range(0, STACKS, CHUNK))
def test_search_agrees_with_the_twin(first: int) -> None:
    differences = [each for seed in range(first, first + CHUNK) for each in compare(random_catalogues.question, seed)]
    assert differences == []


@pytest.mark.parametrize("first", range(0, MOTION, CHUNK))
def test_search_agrees_with_the_twin_on_motion(first: int) -> None:
    differences = [each for seed in range(first, first + CHUNK) for each in compare(random_motion.question, seed)]
    assert differences == []


def test_the_random_questions_cover_what_they_are_for() -> None:
    seen: Counter[str] = Counter()
    for seed in range(STACKS):
        catalogue, plan = random_catalogues.question(seed)
        fitting = closest(catalogue, plan)
        seen["nothing fits" if not fitting else "answered"] += 1
        if not fitting:
            continue
        seen.update(f"kind {kind}" for kind in catalogue.kinds)
        seen.update(f"used {each}" for _, found in fitting for each in found.operations)
        seen.update(f"stack of {len(found.gaskets)}" for _, found in fitting)
        seen[plan.tolerance] += 1
        seen.update(
            name
            for name in ("use", "avoid", "shelf_only", "kinds", "optional", "measured_decks")
            if getattr(plan, name)
        )
        seen["unknown cost"] += any(key[2][0] for key, _ in fitting)
        seen["not established"] += any(key[0] for key, _ in fitting)
        seen["inch"] += any(" in" in str(value) for part in catalogue for _, value in part.quantities())
        seen["many"] += len(fitting) > 20
    kinds = {"block", "crank", "rod", "piston", "gasket", "spacer", "head", "cam", "rocker", "spring", "retainer"}
    wanted = {f"kind {kind}" for kind in kinds | {"spring_shim", "pushrod", "flywheel"}}
    wanted |= {f"used {each}" for each in MACHINING} | {"stack of 1", "stack of 2", "stack of 3"}
    wanted |= {
        "nominal",
        "statistical",
        "worst_case",
        "use",
        "avoid",
        "shelf_only",
        "kinds",
        "optional",
        "measured_decks",
    }
    wanted |= {"unknown cost", "not established", "inch", "many", "nothing fits", "answered"}
    assert {name for name in wanted if not seen[name]} == set()
    assert seen["answered"] > STACKS / 4


def test_the_twin_counts_every_combination_once() -> None:
    catalogue, plan = random_catalogues.question(3)
    every = [each.tie_key() for each in everything(catalogue, plan)]
    assert len(every) == len(set(every))
