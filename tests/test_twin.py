"""The search against the exhaustive twin, both ways: same combinations, same order, same figures."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from itertools import islice
from typing import Any

import pytest

from kitwright.solver import alike as alike_figures
from kitwright.solver import check, distinct, encode, find, narrow, pairing, regions, sieve
from kitwright.solver.alike import Alike
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import judge
from kitwright.solver.combination import Combination
from kitwright.solver.plan import MACHINING, TOLERANCES, Goal, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.stackup import Spreads
from tests import random_catalogues, random_motion
from tests.twin import closest, everything

Question = Callable[[int], tuple[Catalogue, Plan]]
STACKS, MOTION, CHUNK = 300, 200, 20


def stacks(seed: int) -> tuple[Catalogue, Plan]:
    """Smaller questions than the campaign's, which takes its time."""
    return random_catalogues.question(seed, most=700)


@lru_cache(maxsize=500)
def fitting(question: Question, seed: int) -> list[tuple[tuple[Any, ...], Combination]]:
    """What the twin answers; several tests ask for the same."""
    return closest(*question(seed))


def compare(question: Question, seed: int, tops: tuple[int, ...] = ()) -> list[str]:
    """Differences between search and twin on one seed, in words."""
    catalogue, plan = question(seed)
    wanted = fitting(question, seed)
    found = []
    tops = tops or ((1, 7, 40) if seed % 5 == 0 else (10,))
    most = max(tops)
    for top in tops:
        answer = find(catalogue, plan, top=top, seconds=600)
        expected = [key for key, _ in wanted[:top]]
        got = [each.key for each in answer.combinations]
        if got != expected:
            found.append(
                f"seed {seed}, top {top}: {len(got)} listed, {len(expected)} expected; first {got[:1]} {expected[:1]}"
            )
        if answer.status != ("complete" if expected else "nothing_fits"):
            found.append(f"seed {seed}: {answer.status}")
        for each, (_, combination) in zip(answer.combinations, wanted, strict=False) if top == most else ():
            if dict(each.figures) != dict(check(combination, plan, spreads=False).figures):
                found.append(f"seed {seed}: other figures for {each.combination.ids}")
    return found


@pytest.mark.parametrize(("first", "small"), [(0, 0), (20, 0), (0, 10**9), (20, 10**9)])
def test_search_agrees_where_every_region_is_split(first: int, small: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Small questions are enumerated at once and would never see the regions: here two answers are already too many.

    Levels of closeness, windows of cost and the splits by layers, work and ids all come up; with and without a list
    that a first look has filled with whatever came.
    """
    monkeypatch.setattr(regions, "SMALL", small)
    monkeypatch.setattr(regions, "AT_ONCE", 1)
    monkeypatch.setattr(regions, "FOR_EACH", 0)
    depths: set[int] = set()
    split = regions.Search._split

    def seen(self: regions.Search, model: Any, rows: Any, held: Any, prefix: Any, depth: int) -> None:
        depths.add(depth)
        split(self, model, rows, held, prefix, depth)

    monkeypatch.setattr(regions.Search, "_split", seen)
    differences = [each for seed in range(first, first + CHUNK // 2) for each in compare(stacks, seed, (1, 4, 25))]
    assert differences == []
    assert {2, 3} <= depths


def out_of_reach(seed: int) -> tuple[Catalogue, Plan]:
    """Aims that no engine comes near: a cranking pressure below the air's, a compression ratio below one."""
    catalogue, plan = random_motion.question(seed)
    aims = {"cranking_pressure": 10.0, "compression": 0.4, "valve_lift": 6.0}
    goals = {name: Goal(name, aim, step=FIGURES[name].step) for name, aim in aims.items()}
    return catalogue, plan.but(goals=goals, tolerance="nominal")


@pytest.mark.parametrize("small", [0, regions.SMALL])
def test_search_agrees_where_the_aims_are_out_of_reach(small: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(regions, "SMALL", small)
    assert [each for seed in range(12) for each in compare(out_of_reach, seed, (3,))] == []


def finest(seed: int) -> tuple[Catalogue, Plan]:
    """A step finer than any dial's, of points by the trillion, beside a step wider than any engine."""
    catalogue, plan = stacks(seed)
    fine = Goal("gasket_count", 1000.0, step=1e-30, weight=999_999)
    return catalogue, plan.but(goals={"gasket_count": fine, "quench": Goal("quench", 3.0, step=1e6)})


@pytest.mark.parametrize("small", [0, regions.SMALL])
def test_search_agrees_where_steps_are_finer_than_any_dial(small: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(regions, "SMALL", small)
    assert [each for seed in range(8) for each in compare(finest, seed, (3,))] == []


def fine(seed: int) -> tuple[Catalogue, Plan]:
    """Steps of a few microns down to less than what the model counts in: rounding, or a step of closeness?"""
    catalogue, plan = stacks(seed)
    rng = random.Random(f"fine {seed}")
    finer = {
        name: replace(goal, step=goal.step / rng.choice((2, 4, 5, 10, 40, 77, 1000)))
        for name, goal in plan.goals.items()
    }
    quench = plan.goals.get("quench", Goal("quench", 0.9))
    return catalogue, plan.but(
        goals=finer | {"quench": replace(quench, step=rng.choice((0.005, 0.002, 0.0005, 0.00003)))}
    )


@pytest.mark.parametrize("small", [0, regions.SMALL])
def test_search_agrees_where_steps_are_fine(small: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(regions, "SMALL", small)
    assert [each for seed in range(25) for each in compare(fine, seed, (1, 4))] == []


def test_search_agrees_where_squares_are_capped(monkeypatch: pytest.MonkeyPatch) -> None:
    """As sums are whose squares would not fit the solver's integers."""
    monkeypatch.setattr(encode, "LARGEST_ROOT", 0)
    monkeypatch.setattr(regions, "SMALL", 0)
    statistical = [seed for seed in range(60) if stacks(seed)[1].tolerance == "statistical"]
    assert len(statistical) > 8
    assert [each for seed in statistical for each in compare(stacks, seed, (3,))] == []


def test_pruning_that_leaves_nothing_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a region's rows are all gone, though the model has an answer there, it is searched with all rows."""
    whole = regions.Search._within

    def nothing(self: regions.Search, rows: Any, held: Any) -> Any:
        found = whole(self, rows, held)
        return {each: mask & False for each, mask in found.items()} if "unproved" in held and len(held) == 2 else found

    monkeypatch.setattr(regions, "SMALL", 0)
    monkeypatch.setattr(regions.Search, "_within", nothing)
    assert [each for seed in range(8) for each in compare(stacks, seed, (5,))] == []


def cheapest(seed: int) -> tuple[Catalogue, Plan]:
    """Questions whose answers are all as close, so that money alone decides, which most parts cost."""
    catalogue, plan = stacks(seed)
    rng = random.Random(f"cheapest {seed}")
    parts = [replace(part, on_shelf=int(rng.random() < 0.2), price=float(rng.randint(1, 60))) for part in catalogue]
    goals = {
        name: replace(goal, aim=goal.minimum if goal.minimum is not None else goal.maximum, step=1e9)
        for name, goal in plan.goals.items()
        if name != "cost"
    }
    return Catalogue.of(parts), plan.but(goals=goals, shelf_only=frozenset(), tolerance="nominal")


@pytest.mark.parametrize(
    ("question", "first"),
    [(stacks, 0), (stacks, 60), (random_motion.question, 0), (cheapest, 0), (cheapest, 60)],
)
def test_search_agrees_where_the_catalogue_counts_as_large(
    question: Question, first: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """First looks at cheap parts, short blocks sifted a few at a time, and a rung of cost for every few rows."""
    monkeypatch.setattr(regions, "SMALL", 0)
    monkeypatch.setattr(regions, "AT_ONCE", 2)
    monkeypatch.setattr(regions, "FOR_EACH", 0)
    monkeypatch.setattr(regions, "MANY_ROWS", 3)
    monkeypatch.setattr(regions, "FIRST_RUNG", 2)
    monkeypatch.setattr(narrow, "LARGE", 3)
    monkeypatch.setattr(narrow, "FIRST_WAYS", 3)
    monkeypatch.setattr(pairing, "BATCH", 5)
    monkeypatch.setattr(distinct, "FEW", 0)
    monkeypatch.setattr(distinct, "WORTH", 1)
    monkeypatch.setattr(sieve, "FEWER", 0)
    looks: list[bool] = []
    run = regions.Search.run

    def seen(self: regions.Search) -> None:
        looks.append(self.partial)
        run(self)

    monkeypatch.setattr(regions.Search, "run", seen)
    ways: Counter[str] = Counter()
    for name in ("_take_cheap", "_least_of", "_by_cost", "_climb"):
        counted(monkeypatch, name, ways)
    differences = [each for seed in range(first, first + CHUNK // 2) for each in compare(question, seed, (1, 25))]
    assert differences == []
    assert {True, False} == set(looks)
    assert min(ways[name] for name in ("_take_cheap", "_least_of", "_by_cost", "_climb")) > 5


def counted(monkeypatch: pytest.MonkeyPatch, name: str, ways: Counter[str]) -> None:
    """Count how often one of the search's ways is gone."""
    whole = getattr(regions.Search, name)

    def also(self: regions.Search, *given: Any, **named: Any) -> Any:
        ways[name] += 1
        return whole(self, *given, **named)

    monkeypatch.setattr(regions.Search, name, also)


@pytest.mark.parametrize("first", range(0, STACKS, CHUNK))
def test_search_agrees_with_the_twin(first: int) -> None:
    differences = [each for seed in range(first, first + CHUNK) for each in compare(stacks, seed)]
    assert differences == []


@pytest.mark.parametrize("first", range(0, MOTION, CHUNK))
def test_search_agrees_with_the_twin_on_motion(first: int) -> None:
    differences = [each for seed in range(first, first + CHUNK) for each in compare(random_motion.question, seed)]
    assert differences == []


KINDS_MEANT = ("block", "crank", "rod", "piston", "gasket", "spacer", "head", "cam", "rocker", "spring", "retainer")
SETTINGS = ("use", "avoid", "shelf_only", "kinds", "optional", "measured_decks")
WANTED = {
    *(f"kind {kind}" for kind in (*KINDS_MEANT, "spring_shim", "pushrod", "flywheel")),
    *(f"used {each}" for each in MACHINING),
    *(f"stack of {layers}" for layers in (1, 2, 3)),
    *TOLERANCES,
    *SETTINGS,
    *("unknown cost", "not established", "inch", "exact stack", "many", "nothing fits", "answered"),
}


def features(question: Question, seed: int) -> set[str]:
    """What a question puts to the test; of one that has no answer, nothing else counts."""
    catalogue, plan = question(seed)
    answers = fitting(question, seed)
    if not answers:
        return {"nothing fits"}
    found = {"answered", plan.tolerance, *(f"kind {kind}" for kind in catalogue.kinds)}
    found.update(f"used {each}" for _, combination in answers for each in combination.operations)
    found.update(f"stack of {len(combination.gaskets)}" for _, combination in answers)
    found.update(name for name in SETTINGS if getattr(plan, name))
    also = {
        "unknown cost": any(key[2][0] for key, _ in answers),
        "not established": any(key[0] for key, _ in answers),
        "inch": any(" in" in str(value) for part in catalogue for _, value in part.quantities()),
        "exact stack": len(plan.use.get("gasket", ())) > 1,
        "many": len(answers) > 20,
    }
    return found | {name for name, here in also.items() if here}


def test_search_agrees_where_a_campaign_once_differed() -> None:
    """Two aims at a gauge's pressure, whose rows were taken for alike; a valve that floats beside one not known."""
    differences = [each for seed in (200515, 200959, 310250) for each in compare(random_motion.question, seed, (7, 40))]
    assert differences == []


def test_the_random_questions_cover_what_they_are_for() -> None:
    """The first of the seeds that are compared see everything but the rare pinned stack."""
    seen: Counter[str] = Counter()
    for seed in range(90):
        seen.update(features(stacks, seed))
    assert WANTED - seen.keys() <= {"exact stack"}
    assert seen["answered"] > (seen["answered"] + seen["nothing fits"]) / 4


def test_search_agrees_with_the_twin_on_a_pinned_stack() -> None:
    """One of few seeds whose pinned stack of several gaskets fits."""
    assert "exact stack" in features(random_catalogues.question, 246)
    assert compare(random_catalogues.question, 246) == []


@pytest.mark.parametrize(("question", "seeds"), [(stacks, 30), (random_motion.question, 15)])
def test_spreads_kept_from_one_combination_to_the_next_change_no_verdict(question: Question, seeds: int) -> None:
    """The twin keeps them, as the search does: a spread kept under too few of its dimensions would deceive both."""
    kept: Spreads = {}
    modes: Counter[str] = Counter()
    for seed in range(seeds):
        catalogue, plan = question(seed)
        for combination in islice(everything(catalogue, plan), seed % 7, None, 7):
            judged = judge(combination, plan)
            assert judge(combination, plan, kept) == judged
            modes[plan.tolerance] += judged.fits
    assert {mode for mode in TOLERANCES if modes[mode]} == set(TOLERANCES)
    assert {mode for _, mode, *_ in kept} == {"statistical", "worst_case"}


@pytest.mark.parametrize(("question", "seeds"), [(stacks, 30), (random_motion.question, 15)])
def test_what_combinations_have_in_common_changes_no_verdict(
    question: Question, seeds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Figures known by their parts are the very figures: one kept under too few of them would deceive the search."""
    monkeypatch.setattr(alike_figures, "MOST_KEPT", 400)
    kept = 0
    for seed in range(seeds):
        catalogue, plan = question(seed)
        alike = Alike()
        for combination in islice(everything(catalogue, plan), seed % 7, None, 7):
            alike.trim()
            assert judge(combination, plan, alike=alike) == judge(combination, plan)
            shared, alone = (check(combination, plan, spreads=False, alike=some) for some in (alike, None))
            assert shared == alone
        assert max(map(len, (alike.by_parts, alike.by_value))) < 500
        kept += sum(map(len, alike.by_parts.values()))
    assert kept > 1000


def test_the_twin_counts_every_combination_once() -> None:
    catalogue, plan = random_catalogues.question(3)
    every = [each.tie_key() for each in everything(catalogue, plan)]
    assert len(every) == len(set(every))


SPRING_LETS_GO = 7566.86
"""Speed in rpm at which the intake valve of the next test leaves its cam."""


@pytest.mark.parametrize(("bound", "holds"), [(7500.0, None), (7600.0, False)])
def test_one_valve_that_floats_breaks_a_limit_whether_the_other_is_known_or_not(
    bound: float, holds: bool | None
) -> None:
    """The intake valve leaves the cam at 7,567 rpm; of the exhaust valve no duration is known."""
    catalogue, plan = random_motion.question(310250)
    plan = plan.but(waived=frozenset({"lobe_to_barrel"}))  # which this one would not keep
    wanted = {"spring": "zspring22", "head": "chead17", "crank": "xcrank4"}
    everyone = everything(catalogue, plan)
    combination = next(each for each in everyone if {k: each.parts[k].id for k in wanted} == wanted)
    asked = plan.but(goals={"float_speed": Goal("float_speed", minimum=bound)}, rev_ceiling=None)
    checked = check(combination, asked)
    limit = next(each for each in checked.limits if each.name == "float_speed")
    assert (limit.holds, checked.fits) == (holds, holds is None)
    assert "float_speed" not in checked.figures
    if holds is False:
        assert limit.value == pytest.approx(SPRING_LETS_GO, abs=0.1)
        assert "intake valve" in limit.sentence
    else:
        assert [each.goal for each in checked.not_established] == ["float_speed"]
    parts = {
        kind: replace(part, max_rpm=None) if hasattr(part, "max_rpm") else part
        for kind, part in combination.parts.items()
        if kind != "flywheel"
    }
    unrated = replace(combination, parts=parts)  # so that nothing but the spring sets the rev limit
    ceiling = check(unrated, plan.but(goals={}, rev_ceiling=bound))
    assert ceiling.figures["rev_limit"] == pytest.approx(SPRING_LETS_GO, abs=0.1)
    assert ceiling.fits == (holds is None)
    assert (find(catalogue, asked, top=3).status == "nothing_fits") == (closest(catalogue, asked) == [])
