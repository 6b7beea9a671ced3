"""Several engines off one bench: the search against every pair of combinations and every way to share the shelf."""

from __future__ import annotations

import json
import random
import shutil
from collections import Counter
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, Overrides, load_asked, load_plan
from kitwright.solver.bench import Allotment, find_for_bench
from kitwright.solver.bench_explain import BenchRequirement, explain_bench
from kitwright.solver.bench_shares import summed, taken, uses
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import Verdict, check, judge
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import Bench, Goal, Plan
from tests import random_catalogues
from tests.cli_runner import run
from tests.twin import closest

ROOT = Path(__file__).parent.parent
EXAMPLE = ROOT / "examples" / "two-engines" / "plan.yaml"


def question(seed: int, most: int = 20) -> tuple[Catalogue, Bench]:
    """A random catalogue with two plans: prices and counts thin, so that the two get in one another's way."""
    rng = random.Random(f"bench {seed}")
    catalogue, plan = random_catalogues.question(seed, most=most)
    parts = [
        replace(
            part,
            on_shelf=rng.choice([0, 1, 1, 2]),
            price=None if rng.random() < 0.3 else float(rng.choice([5, 12, 12, 40])),
        )
        for part in catalogue
    ]
    catalogue = Catalogue.of(parts)
    goals = dict(plan.goals)
    if "cost" in goals:  # of several engines it can only be limited
        goals["cost"] = replace(goals["cost"], aim=None, minimum=None)
        plan = plan.but(goals=goals)
    other = plan.but(
        goals={name: goal for name, goal in goals.items() if rng.random() < 0.7},
        tolerance="nominal",
        shelf_only=frozenset(rng.sample(list(KINDS), 3)) if rng.random() < 0.3 else frozenset(),
    )
    budget = rng.choice([None, None, 20.0, 60.0, 120.0])
    return catalogue, Bench("random", {"one": plan, "other": other}, budget)


def counted(seed: int) -> tuple[Catalogue, Bench]:
    """The same with goals on how many parts are to be bought, which the share of the shelf decides."""
    rng = random.Random(f"counted {seed}")
    catalogue, bench = question(seed)
    catalogue = Catalogue.of(replace(part, price=None if rng.random() < 0.2 else part.price) for part in catalogue)
    engines = {}
    for name, plan in bench.engines.items():
        step, weight = rng.choice([1.0, 1.0, 2.0]), rng.choice([1, 1, 3])
        goal = rng.choice(
            [
                None,
                Goal("parts_to_buy", aim=0.0, step=step, weight=weight),
                Goal("parts_to_buy", aim=float(rng.randint(1, 4)), step=step, weight=weight),
                Goal("parts_to_buy", minimum=float(rng.randint(1, 3)), step=step),
                Goal("parts_to_buy", aim=float(rng.randint(0, 4)), maximum=float(rng.randint(1, 4)), step=step),
            ]
        )
        goals = {key: each for key, each in plan.goals.items() if key != "parts_to_buy" and rng.random() < 0.4}
        engines[name] = plan.but(goals=goals if goal is None else goals | {"parts_to_buy": goal})
    return catalogue, bench.but(engines=engines)


def by_hand(catalogue: Catalogue, bench: Bench) -> list[tuple[Any, ...]]:
    """The keys of all allotments: every pair of combinations, every way to share out what the shelf holds."""
    listed = {}
    for name, plan in bench.engines.items():
        free = Catalogue.of(replace(part, on_shelf=9) for part in catalogue)
        goals = {key: goal for key, goal in plan.goals.items() if key not in ("cost", "parts_to_buy")}
        eased = plan.but(goals=goals, shelf_only=frozenset())
        listed[name] = [combination for _, combination in closest(free, eased)]
    found: dict[Any, tuple[Any, ...]] = {}
    judged: dict[Any, Verdict | None] = {}
    for pair in product(*listed.values()):
        wants = [uses(each) for each in pair]
        parts = sorted(set(wants[0]) | set(wants[1]))
        shares = [_ways(min(sum(want[part] for want in wants), _held(catalogue, part)), part, wants) for part in parts]
        for chosen in product(*shares):
            given = [{part: share[at] for part, share in zip(parts, chosen, strict=True)} for at in (0, 1)]
            checked = _allotted(catalogue, bench, pair, given, wants, judged)
            if checked is not None:
                key = summed(checked)
                if key[5:] not in found or key < found[key[5:]]:
                    found[key[5:]] = key
    return sorted(found.values())


def _ways(count: int, part: str, wants: Any) -> list[tuple[int, ...]]:
    """Every way to share out so many of a part among those that want it."""
    every = product(*(range(min(want[part], count) + 1) for want in wants))
    return [share for share in every if sum(share) == count]


def _held(catalogue: Catalogue, part: str) -> int:
    held = catalogue.get(part)
    assert held is not None
    return held.on_shelf


def _allotted(
    catalogue: Catalogue, bench: Bench, pair: Any, given: Any, wants: Any, judged: dict[Any, Verdict | None]
) -> dict[str, Any] | None:
    found = {}
    for (name, plan), combination, share, want in zip(bench.engines.items(), pair, given, wants, strict=True):
        asked = (name, combination.tie_key(), tuple(share[part] for part in want))
        if asked not in judged:
            judged[asked] = _with_share(catalogue, _within(plan, bench), combination, share, want)
        verdict = judged[asked]
        if verdict is None:
            return None
        found[name] = verdict
    total = sum(each.key[2][1] for each in found.values())
    return found if bench.budget is None or total <= bench.budget + 1e-6 else None


def _with_share(catalogue: Catalogue, plan: Plan, combination: Any, share: Any, want: Any) -> Verdict | None:
    """What one engine's combination comes to with its share of the shelf; None where it may not be."""
    for part_id, count in want.items():
        part = catalogue.get(part_id)
        assert part is not None
        if part.price is None and part.on_shelf and not share[part_id]:
            return None  # one thing, and it is another's
        if part.kind in plan.shelf_only and share[part_id] < count:
            return None
    parts = {kind: _own(catalogue, part, share) for kind, part in combination.parts.items()}
    gaskets = tuple(_own(catalogue, part, share) for part in combination.gaskets)
    verdict = judge(replace(combination, parts=parts, gaskets=gaskets), plan)
    return verdict if verdict.fits else None


def _within(plan: Plan, bench: Bench) -> Plan:
    if bench.budget is None:
        return plan
    goal = plan.goals.get("cost", Goal("cost", step=1.0))
    most = bench.budget if goal.maximum is None else min(goal.maximum, bench.budget)
    return plan.but(goals={**plan.goals, "cost": replace(goal, maximum=most)})


def _own(catalogue: Catalogue, part: Part, share: dict[str, int]) -> Part:
    held = catalogue.get(part.id)
    assert held is not None
    return replace(held, on_shelf=share[part.id])


@pytest.mark.parametrize("first", range(0, 60, 20))
def test_allotments_agree_with_every_pair(first: int) -> None:
    shared = 0
    for seed in range(first, first + 20):
        catalogue, bench = question(seed)
        expected = by_hand(catalogue, bench)
        answer = find_for_bench(catalogue, bench, top=6)
        assert [each.key for each in answer] == expected[:6], f"seed {seed}"
        assert answer.status == ("complete" if expected else "nothing_fits"), f"seed {seed}"
        shared += bool(answer.contested) and bool(expected)
        for each in answer:
            _none_twice(catalogue, bench, each)
    assert shared >= 2


@pytest.mark.parametrize("first", range(0, 180, 60))
def test_what_the_share_decides_agrees_with_every_pair_and_either_order(first: int) -> None:
    turned = 0
    for seed in range(first, first + 60):
        catalogue, bench = counted(seed)
        expected = by_hand(catalogue, bench)
        answer = find_for_bench(catalogue, bench, top=6)
        assert [each.key for each in answer] == expected[:6], f"seed {seed}"
        assert answer.status == ("complete" if expected else "nothing_fits"), f"seed {seed}"
        assert not (answer.hopeless and expected), f"seed {seed}"
        for each in answer:
            _none_twice(catalogue, bench, each)
        reverse = bench.but(engines=dict(reversed(bench.engines.items())))
        other = find_for_bench(catalogue, reverse, top=6)
        assert (other.status, [each.key for each in other]) == (answer.status, [each.key for each in answer])
        turned += len(expected) > 1
    assert turned >= 3


def _none_twice(catalogue: Catalogue, bench: Bench, allotment: Allotment) -> None:
    """No part is taken from the shelf more often than it lies there, and what is said of each engine is so."""
    together: Counter[str] = Counter()
    for name, checked in allotment.engines.items():
        assert checked.fits
        assert check(checked.combination, bench.engines[name], spreads=False).figures == checked.figures
        together += taken(checked.combination)
    assert all(count <= _held(catalogue, part) for part, count in together.items())


def test_a_bench_of_one_engine_is_that_engine() -> None:
    from kitwright.solver import find

    plan, catalogue = load_plan(EXAMPLE, Overrides(engine="winch"))
    alone = find(catalogue, plan, top=5)
    answer = find_for_bench(catalogue, Bench("one", {"winch": plan}), top=5)
    assert [each.engines["winch"].key for each in answer] == [each.key for each in alone]


def test_a_block_goes_into_one_engine() -> None:
    """Two engines pinned to the one block: proven, and each alone would have an answer."""
    plan, catalogue = load_plan(EXAMPLE, Overrides(engine="winch"))
    answer = find_for_bench(catalogue, Bench("two", {"a": plan, "b": plan}))
    assert answer.status == "nothing_fits"
    assert "b-winch" in answer.contested
    assert all(len(each) for each in answer.alone.values())


def _feasible(catalogue: Catalogue, bench: Bench, kept: set[BenchRequirement], every: set[BenchRequirement]) -> bool:
    from kitwright.solver.bench_explain import _with_only

    return len(find_for_bench(catalogue, _with_only(bench, sorted(every), sorted(kept)), 1)) > 0


def test_a_conflict_is_irreducible_and_every_way_out_opens() -> None:
    bench, catalogue = load_asked(EXAMPLE)
    assert isinstance(bench, Bench)
    from kitwright.solver.bench_explain import _of_engines

    asked = bench.but(engines={name: plan.but(shelf_only=frozenset(KINDS)) for name, plan in bench.engines.items()})
    found = explain_bench(catalogue, asked)
    assert found.complete
    assert found.answer.status == "nothing_fits"
    conflict = set(found.conflict)
    assert BenchRequirement("", "g05") in conflict
    every = {*_of_engines(asked), BenchRequirement("", "budget"), *conflict}
    every |= {BenchRequirement("", part) for part in found.answer.contested}
    assert not _feasible(catalogue, asked, conflict, every)
    for each in conflict:
        assert _feasible(catalogue, asked, conflict - {each}, every)
    assert {way.requirement for way in found.ways} == conflict
    for way in found.ways:
        for name, one in way.allotment.engines.items():
            plan = asked.engines[name]
            limits = check(one.combination, plan, spreads=False).limits
            own = way.requirement.name.partition(".")[0] if way.requirement.engine == name else ""
            assert {limit.name for limit in limits if not limit.holds} <= {own}


def test_the_example_answers_and_says_who_gets_what() -> None:
    done = run("find", str(EXAMPLE), "--top", "2", "--format", "json")
    data = json.loads(done.stdout)
    assert data["status"] == "complete"
    assert data["contested"] == ["g08", "h26"]
    first = data["allotments"][0]
    assert set(first["engines"]) == {"winch", "saw"}
    assert first["closeness"] == sum(each["closeness"] for each in first["engines"].values())
    assert first["cost"] <= data["budget"]
    table = run("find", str(EXAMPLE), "--top", "2").stdout
    assert "g08: winch gets it" in table
    rows = run("find", str(EXAMPLE), "--top", "2", "--format", "csv").stdout.splitlines()
    assert rows[0].startswith("rank,engine,closeness_in_all,cost_in_all,closeness")
    assert len(rows) == 5


def test_explain_says_what_money_would_bring() -> None:
    data = json.loads(run("explain", str(EXAMPLE), "--format", "json").stdout)
    (way,) = [each for each in data["ways_out"] if each["requirement"] == "budget"]
    assert way["allotment"]["closeness"] < data["allotments"][0]["closeness"]
    assert way["to"] == way["allotment"]["cost"]


def test_a_part_that_ran_out_without_a_price_is_told_to_want_one(tmp_path: Path) -> None:
    told = "h26 ran out and has no price; with a `price` in the catalogue another could be bought."
    assert told in " ".join(run("explain", str(EXAMPLE)).stdout.split())
    assert json.loads(run("explain", str(EXAMPLE), "--format", "json").stdout)["without_price"] == ["h26"]
    shutil.copytree(EXAMPLE.parent, tmp_path / "two")
    parts = tmp_path / "two" / "catalogue" / "parts.yaml"
    text = parts.read_text(encoding="utf-8")
    parts.write_text(text.replace("id: h26,", "id: h26, price: 60,"), encoding="utf-8")
    priced = run("explain", str(tmp_path / "two" / "plan.yaml"))
    assert "price: 60" in parts.read_text(encoding="utf-8") and "h26 ran out" not in priced.stdout


@pytest.mark.parametrize("words", [("check",), ("stack",), ("sheet",), ("find", "--trade-off")])
def test_commands_for_one_engine_ask_which(words: tuple[str, ...]) -> None:
    done = run(words[0], str(EXAMPLE), *words[1:])
    assert done.exit_code == 2
    assert "--engine winch" in done.stderr
    assert "mended" not in done.stderr  # the plan is not at fault


BROKEN = {
    "engines: {a: {goals: {cost: 20}}}": "the cost can only be limited",
    "engines: [a, b]": "`engines`",
    "engines: {}": "no engine is named",
    "budget: 20": "`goals: {cost: {max: …}}`",
    "engines: {a: {catalogue: x}}": "`catalogue` belongs to all engines together",
    "engines: {a: {goals: {quensh: 1 mm}}}": "quensh",
    "engines: {a: 5}": "the engine's plan is wanted",
    "engines: {a: {}}\nbudget: cheap": "`budget`",
}


@pytest.mark.parametrize("text", BROKEN)
def test_faults_of_a_bench_are_told(text: str, tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(f"catalogue: {EXAMPLE.parent / 'catalogue'}\n{text}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_asked(tmp_path / "plan.yaml")
    assert BROKEN[text] in str(caught.value)


def test_a_fault_above_the_engines_is_told_once(tmp_path: Path) -> None:
    text = f"catalogue: {EXAMPLE.parent / 'catalogue'}\ntolerance: wide\nengines: {{a: {{}}, b: {{}}}}\n"
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_asked(tmp_path / "plan.yaml")
    assert len(caught.value.problems) == 1


def test_what_stands_above_holds_for_all_and_gives_way_to_an_engine() -> None:
    bench, _ = load_asked(EXAMPLE)
    assert isinstance(bench, Bench)
    assert bench.budget == 120
    assert list(bench.engines) == ["winch", "saw"]
    assert all(plan.goals["quench"].minimum == pytest.approx(0.8) for plan in bench.engines.values())
    assert [plan.goals["compression"].aim for plan in bench.engines.values()] == [9.0, 10.0]
    assert all(plan.machining == {"mill"} for plan in bench.engines.values())


def test_an_engine_of_a_plan_of_one_is_refused(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(f"catalogue: {EXAMPLE.parent / 'catalogue'}\n", encoding="utf-8")
    with pytest.raises(InputError, match="leave `--engine` out"):
        load_plan(tmp_path / "plan.yaml", Overrides(engine="a"))


SHARED = """
blocks: [{id: b1, bore: 70 mm, block_height: 150 mm, on_shelf: 2}]
cranks: [{id: k1, stroke: 58 mm, journal: 30 mm, on_shelf: 2}]
rods: [{id: r1, length: 92 mm, big_end: 30 mm, pin: 16 mm, price: 20, on_shelf: 1}]
pistons: [{id: p1, bore: 70 mm, compression_height: 28.5 mm, pin: 16 mm, on_shelf: 2}]
"""


@pytest.mark.parametrize("order", [("new", "used"), ("used", "new")])
@pytest.mark.parametrize("goal", ["{min: 1}", "{aim: 1}"])
def test_one_engine_is_to_buy_a_part_and_the_other_none(order: tuple[str, str], goal: str, tmp_path: Path) -> None:
    """One rod on the shelf for two engines: the engine that has to buy one buys it, whichever is written first."""
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(SHARED, encoding="utf-8")
    wants = {"new": f"{{goals: {{parts_to_buy: {goal}}}}}", "used": "{goals: {parts_to_buy: {max: 0}}}"}
    engines = ", ".join(f"{name}: {wants[name]}" for name in order)
    text = f"catalogue: ./catalogue\nengines: {{{engines}}}\n"
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    data = json.loads(run("find", str(tmp_path / "plan.yaml"), "--format", "json").stdout)
    assert data["status"] == "complete"
    first = data["allotments"][0]
    assert (first["closeness"], first["cost"]) == (0, 20.0)
    assert [each["id"] for each in first["engines"]["new"]["buy"]] == ["r1"]
    assert first["engines"]["used"]["buy"] == []


def test_a_limit_on_one_engines_cost_is_explained(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(SHARED, encoding="utf-8")
    text = "catalogue: ./catalogue\ngoals: {cost: {max: 10}}\nengines: {a: {}, b: {}}\n"
    (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    done = run("explain", str(tmp_path / "plan.yaml"), "--format", "json")
    assert done.exit_code == 1
    data = json.loads(done.stdout)
    ways = {(each["engine"], each["requirement"]): each for each in data["ways_out"]}
    assert ways["b", "cost.max"]["to"] == 20.0
