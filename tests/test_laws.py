"""Laws that hold between answers, on seeded random catalogues: no answer has to be known for them."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest

from kitwright.solver import Catalogue, Goal, Plan, find
from kitwright.solver.check import reaches
from kitwright.solver.parts import Gasket
from kitwright.solver.plan import TOLERANCES, Tolerance
from kitwright.solver.result import Answer
from tests import random_catalogues, random_motion
from tests.twin import closest

SEEDS = range(40)
MOST = 10_000
"""More answers than any of these questions has."""


@cache
def answered() -> list[tuple[Catalogue, Plan]]:
    """Small questions with answers, a third of them of engines in motion; one in five that has none."""
    found: list[tuple[Catalogue, Plan]] = []
    for seed in range(3500, 3900):
        question = random_motion.question if seed % 3 == 2 else random_catalogues.question
        catalogue, plan = question(seed, most=24)
        if len(found) == len(SEEDS):
            break
        if bool(closest(catalogue, plan)) == (len(found) % 5 != 4):
            found.append((catalogue, plan))
    return found


def small(number: int) -> tuple[Catalogue, Plan]:
    return answered()[number]


def keys(answer: Answer) -> list[object]:
    return [each.key for each in answer]


def combinations(answer: Answer) -> set[object]:
    """Ids and machining of every answer."""
    return {each.combination.tie_key() for each in answer}


def every(catalogue: Catalogue, plan: Plan) -> Answer:
    answer = find(catalogue, plan, top=MOST)
    assert answer.status != "incomplete"
    assert len(answer) < MOST
    return answer


@cache
def whole(seed: int, mode: Tolerance | None = None) -> Answer:
    """All answers to a question, in its own tolerance mode or another."""
    catalogue, plan = small(seed)
    return every(catalogue, plan if mode is None else plan.but(tolerance=mode))


def test_the_questions_have_answers() -> None:
    sizes = [len(whole(seed)) for seed in SEEDS]
    assert sum(size > 0 for size in sizes) >= 20
    assert sum(size > 3 for size in sizes) >= 8
    assert 0 in sizes


@pytest.mark.parametrize("seed", SEEDS)
def test_another_part_never_worsens_the_best(seed: int) -> None:
    """A further part of each kind in turn, as good as one that is there or other, last by its id."""
    catalogue, plan = small(seed)
    rng = random.Random(seed)
    before = find(catalogue, plan)
    for kind in rng.sample(catalogue.kinds, min(3, len(catalogue.kinds))):
        if kind in plan.use:
            continue
        model = rng.choice(catalogue.of_kind(kind))
        more = replace(model, id="~more", price=1.0, on_shelf=rng.choice([0, 9]))
        if isinstance(more, Gasket):
            more = replace(more, stackable=True)
        after = find(Catalogue.of([*catalogue, more]), plan)
        assert len(after) >= len(before)
        for worse, better in zip(keys(before), keys(after), strict=False):
            assert better <= worse, kind  # type: ignore[operator]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_looser_goal_loses_no_answer(seed: int) -> None:
    catalogue, plan = small(seed)
    strict = combinations(whole(seed))
    for name, goal in plan.goals.items():
        low = None if goal.minimum is None else goal.minimum - 3 * goal.step
        high = None if goal.maximum is None else goal.maximum + 3 * goal.step
        for changed in (
            Goal(name, goal.aim, low, high, goal.step, goal.weight),
            Goal(name, goal.aim, None, goal.maximum, goal.step, goal.weight),
        ):
            if changed != goal:
                loose = combinations(every(catalogue, plan.but(goals={**plan.goals, name: changed})))
                assert strict <= loose, name
    if plan.rev_ceiling is not None:
        slower = plan.but(rev_ceiling=plan.rev_ceiling - 400)
        at_speed = [name for name in plan.goals if name not in ("rev_limit", "cost", "quench", "compression", "deck")]
        if not at_speed:
            assert strict <= combinations(every(catalogue, slower))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_tighter_goal_keeps_exactly_what_is_within_it(seed: int) -> None:
    """Of all answers, those whose figure keeps the new bound: the search and a filter agree."""
    catalogue, plan = small(seed)
    plan = plan.but(tolerance="nominal")
    before = whole(seed, "nominal")
    values = sorted(each.figures["quench"] for each in before if "quench" in each.figures)
    if not values:
        return
    middle = values[len(values) // 2]
    old = plan.goals.get("quench", Goal("quench", step=0.02))
    if old.maximum is not None:
        middle = min(middle, old.maximum)
    tight = Goal("quench", old.aim, old.minimum, middle, old.step, old.weight)
    after = every(catalogue, plan.but(goals={**plan.goals, "quench": tight}))
    kept = {
        each.combination.tie_key()
        for each in before
        if "quench" not in each.figures or reaches(each.figures["quench"], "max", middle)
    }
    assert combinations(after) == kept


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_the_catalogue_changes_nothing(seed: int) -> None:
    catalogue, plan = small(seed)
    expected = keys(whole(seed))[:10]
    for again in range(1):
        parts = list(catalogue)
        random.Random(seed + 1000 * again).shuffle(parts)
        goals = dict(reversed(plan.goals.items()))
        use = dict(reversed(plan.use.items()))
        assert keys(find(Catalogue.of(parts), plan.but(goals=goals, use=use))) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stricter_tolerance_only_takes_answers_away(seed: int) -> None:
    found = {mode: whole(seed, mode) for mode in TOLERANCES}
    assert combinations(found["worst_case"]) <= combinations(found["statistical"])
    assert combinations(found["statistical"]) <= combinations(found["nominal"])
    holding = {each.combination.tie_key() for each in found["nominal"] if each.holds_at_worst_case is not False}
    assert combinations(found["worst_case"]) == holding


def test_the_tolerance_modes_differ_somewhere() -> None:
    """The law above would hold of modes that are all the same."""
    sizes = [[len(whole(seed, mode)) for mode in TOLERANCES] for seed in SEEDS]
    assert sum(nominal > worst for nominal, _, worst in sizes) >= 2
    assert any(nominal > statistical for nominal, statistical, _ in sizes)
    assert any(statistical > worst for _, statistical, worst in sizes)


@pytest.mark.parametrize("seed", SEEDS)
def test_fewer_asked_for_are_the_first_of_more(seed: int) -> None:
    catalogue, plan = small(seed)
    listed = keys(whole(seed))
    assert listed == sorted(listed)  # type: ignore[type-var]
    assert len(set(listed)) == len(listed)
    for top in (1, 2, 5):
        assert keys(find(catalogue, plan, top=top)) == listed[:top]
