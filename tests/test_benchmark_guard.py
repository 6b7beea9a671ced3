"""The benchmark's question stays a small search: counts of work, which are the same on every machine."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from kitwright.solver import Catalogue, Plan, find, narrow
from kitwright.solver.check import check
from kitwright.solver.regions import Search
from kitwright.solver.result import Answer
from tests.benchmarks.arrays import every_one, on_a_grid, staged
from tests.benchmarks.asked import same
from tests.benchmarks.generate import SIZES, question, rows, with_motion
from tests.benchmarks.joins_duckdb import joined_in_duckdb
from tests.benchmarks.joins_pandas import joined_in_pandas
from tests.benchmarks.measure import WIDER, changed, keys
from tests.benchmarks.plain_model import PlainModel, ProductModel
from tests.benchmarks.stages import REST, STAGES
from tests.twin import closest

ROOT = Path(__file__).parent.parent

LEFT_OUT = {"g0002", "h0001", "c0001", "u0001", "u0002", "f0001"}
"""Parts of the small catalogue without which the exhaustive twin has some ten thousand combinations."""

MOST = {"solves": 10, "classes": 2000, "checked": 60}


def twenty(catalogue: Catalogue, plan: Plan) -> Answer:
    """The 20 closest, proven, each of which the plain check lets pass, found with little work."""
    answer = find(catalogue, plan, top=20, seconds=600)
    assert answer.status == "complete"
    assert len(answer) == 20
    assert {name: answer.counts[name] for name in MOST if answer.counts[name] > MOST[name]} == {}
    assert all(check(each.combination, plan, spreads=False).fits for each in answer)
    return answer


@pytest.mark.parametrize("size", sorted(SIZES))
def test_a_size_is_its_number_of_parts(size: int) -> None:
    counted = sum(SIZES[size].values())
    assert abs(counted - size) <= 0.02 * size


def test_two_hundred_parts_are_a_small_search(tmp_path: Path) -> None:
    """The 20 closest of some 1e15, proven, with few solves, classes and plain checks."""
    catalogue, plan = question(200, tmp_path)
    answer = twenty(catalogue, plan)
    assert answer.considered.possible > 1e14
    assert answer.counts["solves"] <= 2
    assert answer.counts["branches"] < 200
    assert answer.counts["classes"] < 400
    assert all(answer.counts[name] > 0 for name in MOST)
    keys = [each.key for each in answer]
    assert keys == sorted(keys)
    assert len(set(keys)) == 20


def test_two_hundred_parts_with_motion_are_a_small_search(tmp_path: Path) -> None:
    """Two compression ratios against one another: proven with few branches, as their aims are taken together."""
    catalogue, plan = question(200, tmp_path, motion=True)
    assert 0 < twenty(catalogue, plan).counts["branches"] < 12_000


def test_four_hundred_parts_are_a_small_search(tmp_path: Path) -> None:
    """The 20 closest of some 1e19: the cheap parts are looked at first, so that few rows reach the solver."""
    catalogue, plan = question(400, tmp_path)
    assert twenty(catalogue, plan).considered.possible > 1e18


def test_four_hundred_parts_at_worst_case_are_a_small_search(tmp_path: Path) -> None:
    """Every sum is widened by all ±, and quench stays 15 steps from its aim: rows say so, cheap ones then reach it."""
    catalogue, plan = question(400, tmp_path, changed(WIDER))
    answer = twenty(catalogue, plan)
    assert answer.counts["classes"] < 1500
    assert {each.closeness for each in answer} == {16}


def test_fine_steps_at_worst_case_are_a_small_search(tmp_path: Path) -> None:
    """Sizes on a grid of their own are whole numbers of a fine step: none is taken for one step closer than it is."""
    finer = {"aim: 10.5,": "aim: 10.5, step: 0.001,", "quench: {": "quench: {step: 0.005 mm, "}
    catalogue, plan = question(200, tmp_path, changed(WIDER | finer))
    answer = twenty(catalogue, plan)
    assert answer.counts["branches"] < 2000
    assert {each.closeness for each in answer} == {61}


def test_a_large_catalogue_at_worst_case_is_decided_by_its_cheap_parts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No short block can be closer, which few sizes show: the millions are never made."""
    monkeypatch.setattr(narrow, "LARGE", 100_000)
    monkeypatch.setattr(narrow, "FIRST_WAYS", 200_000)
    catalogue, plan = question(400, tmp_path, changed(WIDER))
    whole: list[bool] = []
    run = Search.run

    def seen(self: Search) -> None:
        whole.append(not self.partial)
        run(self)

    monkeypatch.setattr(Search, "run", seen)
    assert {each.closeness for each in find(catalogue, plan, top=20, seconds=600)} == {16}
    assert whole
    assert not any(whole)


def test_fifty_parts_have_answers_among_a_thousand_million(tmp_path: Path) -> None:
    catalogue, plan = question(50, tmp_path)
    answer = find(catalogue, plan, top=20, seconds=600)
    assert answer.status == "complete"
    assert len(answer) == 20
    assert answer.counts["solves"] <= 5
    assert answer.counts["classes"] < 120
    assert 5e8 < answer.considered.possible < 2e9


def test_the_other_ways_give_the_same_answers(tmp_path: Path) -> None:
    """What the benchmark compares its seconds with answers the same question."""
    catalogue, plan = question(50, tmp_path)
    found = keys(find(catalogue, plan, top=20, seconds=600))
    count, best = staged(catalogue, 20)
    assert count >= 20
    assert same(best, found)
    assert same(joined_in_pandas(catalogue, 20), found)
    assert same(joined_in_duckdb(catalogue, 20), found)
    for model in (PlainModel, ProductModel):
        assert same([next(model(catalogue).answers())], found[:1])


@pytest.mark.parametrize("seed", [6, 22, 44, 48])
def test_every_combination_says_the_same(seed: int, tmp_path: Path) -> None:
    """Of a small catalogue, as some goals are not established or the closest are far off: one by one, and on a grid."""
    catalogue, plan = question(25, tmp_path, seed=seed)
    found = keys(find(catalogue, plan, top=20))
    count, best = every_one(catalogue, 20)
    assert same(best, found)
    for way in (on_a_grid, staged):
        fit, other = way(catalogue, 20)
        assert fit == count > 20
        assert same(other, found)
    assert same(joined_in_pandas(catalogue, 20), found)
    assert same(joined_in_duckdb(catalogue, 20), found)


def test_every_combination_is_that_of_the_plain_check(tmp_path: Path) -> None:
    """The arrays against the exhaustive twin, which asks the plain check of each combination: as many fit."""
    catalogue, plan = question(25, tmp_path)
    few = Catalogue.of(part for part in catalogue if part.id not in LEFT_OUT)
    expected = closest(few, plan)
    count, best = every_one(few, 20)
    assert count == len(expected) > 0
    assert same(best, [(key[0], key[1], key[2][1]) for key, _ in expected[:20]])


def test_the_stages_of_a_search_add_up() -> None:
    """Each is entered, none is negative, and they sum to the whole: the program looks at that itself."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.stages", "25"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    found = json.loads(done.stdout)
    assert list(found) == [*STAGES, REST]
    assert all(spent >= 0 for spent in found.values())
    assert found["CP-SAT"] > 0


def test_answers_that_differ_are_not_the_same() -> None:
    """The comparison above can fail: by each key, and by the number of answers."""
    one = [(0, 3, 12.0), (0, 4, 8.0)]
    assert same(one, list(one))
    assert not same(one, one[:1])
    for other in ((1, 4, 8.0), (0, 5, 8.0), (0, 4, 8.02)):
        assert not same(one, [one[0], other])


def test_motion_only_adds_fields() -> None:
    plain, moving = rows(200), with_motion(rows(200))
    assert {kind: len(each) for kind, each in plain.items()} == {kind: len(each) for kind, each in moving.items()}
    for kind, each in plain.items():
        for row, more in zip(each, moving[kind], strict=True):
            assert row == {name: more[name] for name in row}
    assert all("intake_duration_at" in row for row in moving["cams"])


def test_a_motion_question_asks_what_a_cycle_decides(tmp_path: Path) -> None:
    """Read back from files: the goals are there, and every part that they need has its fields."""
    catalogue, plan = question(50, tmp_path, motion=True)
    asked = {"piston_to_valve_intake", "piston_to_valve_exhaust", "float_speed", "dynamic_compression"}
    assert asked <= set(plan.goals)
    assert not asked & set(question(50, tmp_path / "plain")[1].goals)
    assert all(each.valve_drop is not None for each in catalogue.of_kind("head"))  # type: ignore[attr-defined]
    assert all(each.free_length is not None for each in catalogue.of_kind("spring"))  # type: ignore[attr-defined]
