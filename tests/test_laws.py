"""Laws that hold between answers, on seeded random catalogues: no answer has to be known for them."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest

from kitwright.solver import Catalogue, Goal, Plan, find
from kitwright.solver.check import implied_goals, reaches
from kitwright.solver.parts import Gasket
from kitwright.solver.plan import TOLERANCES, Tolerance
from kitwright.solver.result import Answer
from tests import random_catalogues, random_motion

SEEDS = range(26)
MOST = 10_000
"""More answers than any of these questions has."""


@cache
def small(seed: int) -> tuple[Catalogue, Plan]:
    """Small questions that mostly have answers: every third of engines in motion."""
    question = random_motion.question if seed % 3 == 2 else random_catalogues.question
    return question(3000 + seed, most=40)


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


def test_the_seeds_of_these_laws_have_answers() -> None:
    answered = [seed for seed in SEEDS if find(*small(seed), top=1).combinations]
    assert len(answered) >= 12


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
def test_another_part_that_fits_nothing_changes_nothing(seed: int) -> None:
    """A crank with a tag of no block, though the best in the catalogue otherwise."""
    catalogue, plan = small(seed)
    if not catalogue.of_kind("crank"):
        pytest.fail("every random catalogue has a crank")
    alien = replace(catalogue.of_kind("crank")[0], id="!alien", fits=("nowhere",), price=0.0, on_shelf=9)
    if not catalogue.of_kind("block") or (plan.kinds is not None and "block" not in plan.kinds):
        alien = replace(alien, journal=replace(alien.journal, exact=alien.journal.exact * 2, si=0.0))
    if not catalogue.of_kind("rod") or (plan.kinds is not None and not {"rod", "crank"} <= plan.kinds):
        return
    assert keys(find(Catalogue.of([*catalogue, alien]), plan)) == keys(find(catalogue, plan))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_looser_goal_loses_no_answer(seed: int) -> None:
    catalogue, plan = small(seed)
    strict = combinations(every(catalogue, plan))
    for name, goal in plan.goals.items():
        low = None if goal.minimum is None else goal.minimum - 3 * goal.step
        high = None if goal.maximum is None else goal.maximum + 3 * goal.step
        for changed in (
            Goal(name, goal.aim, low, high, goal.step, goal.weight),
            Goal(name, goal.aim, None, goal.maximum, goal.step, goal.weight),
            Goal(name, goal.aim, goal.minimum, None, goal.step, goal.weight),
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
    before = every(catalogue, plan)
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
    expected = keys(find(catalogue, plan))
    for again in range(2):
        parts = list(catalogue)
        random.Random(seed + 1000 * again).shuffle(parts)
        by_kind: dict[str, list[object]] = {}
        for part in parts:
            by_kind.setdefault(part.kind, []).append(part)
        assert keys(find(Catalogue.of(parts), plan)) == expected
        goals = dict(reversed(plan.goals.items()))
        use = dict(reversed(plan.use.items()))
        assert keys(find(Catalogue.of(parts), plan.but(goals=goals, use=use))) == expected


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stricter_tolerance_only_takes_answers_away(seed: int) -> None:
    catalogue, plan = small(seed)
    found = {mode: every(catalogue, plan.but(tolerance=mode)) for mode in TOLERANCES}
    assert combinations(found["worst_case"]) <= combinations(found["statistical"])
    assert combinations(found["statistical"]) <= combinations(found["nominal"])
    holding = {each.combination.tie_key() for each in found["nominal"] if each.holds_at_worst_case}
    assert combinations(found["worst_case"]) == holding


def _in(seed: int, mode: Tolerance) -> tuple[Catalogue, Plan]:
    catalogue, plan = small(seed)
    return catalogue, plan.but(tolerance=mode)


def test_the_tolerance_modes_differ_somewhere() -> None:
    """The law above would hold of modes that are all the same."""
    sizes = [[len(every(*_in(seed, mode))) for mode in TOLERANCES] for seed in SEEDS]
    assert sum(nominal > worst for nominal, _, worst in sizes) >= 5
    assert any(nominal > statistical for nominal, statistical, _ in sizes)
    assert any(statistical > worst for _, statistical, worst in sizes)


@pytest.mark.parametrize("seed", SEEDS)
def test_fewer_asked_for_are_the_first_of_more(seed: int) -> None:
    catalogue, plan = small(seed)
    whole = keys(every(catalogue, plan))
    assert whole == sorted(whole)  # type: ignore[type-var]
    assert len(set(whole)) == len(whole)
    for top in (1, 2, 3, 5, 8, 13):
        assert keys(find(catalogue, plan, top=top)) == whole[:top]


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_listed_keeps_every_limit(seed: int) -> None:
    catalogue, plan = small(seed)
    for each in find(catalogue, plan, top=25):
        assert each.fits
        assert len(each.not_established) == each.key[0]
        assert {some.goal for some in each.not_established} <= set(implied_goals(plan))
        assert each.closeness == sum(each.points.values())
