"""Questions whose answers are known beforehand: bounds met exactly, ties, money, shelf, time, and why nothing fits."""

from __future__ import annotations

import math
import random
import re
from fractions import Fraction
from itertools import combinations, product
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import Catalogue, Goal, Plan, check, find, regions
from kitwright.solver.conflicts import Oracle
from kitwright.solver.parts import (
    Block,
    Cam,
    Crank,
    Flywheel,
    Gasket,
    Head,
    Part,
    Piston,
    Pushrod,
    Retainer,
    Rod,
    Spring,
)
from kitwright.solver.quantity import AREA, LENGTH, ROTATION, VOLUME, Quantity, parse
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer
from kitwright.solver.stopping import Clock, OutOfTimeError
from tests import random_catalogues
from tests.twin import closest, everything

SCENARIOS = Path(__file__).parent / "data" / "scenarios"
STEP = FIGURES["quench"].step


def long(text: str) -> Quantity:
    return parse(text, LENGTH)


def block(**more: Any) -> Block:
    return Block(**{"id": "b", "bore": long("72 mm"), "block_height": long("142 mm"), "on_shelf": 1} | more)


def crank(**more: Any) -> Crank:
    return Crank(**{"id": "k", "stroke": long("57 mm"), "journal": long("30 mm"), "on_shelf": 1} | more)


def rod(**more: Any) -> Rod:
    given = {"id": "r", "length": long("85 mm"), "big_end": long("30 mm"), "pin": long("16 mm"), "on_shelf": 1}
    return Rod(**given | more)


def piston(**more: Any) -> Piston:
    given = {"id": "p", "bore": long("72 mm"), "compression_height": long("28 mm"), "pin": long("16 mm")}
    return Piston(**given | {"on_shelf": 1} | more)


def gasket(name: str, thickness: str, **more: Any) -> Gasket:
    return Gasket(**{"id": name, "thickness": long(thickness), "bore": long("73 mm"), "on_shelf": 1} | more)


def head(**more: Any) -> Head:
    given = {"id": "h", "chamber": parse("22 cc", VOLUME), "chamber_area": parse("34 cm2", AREA), "on_shelf": 1}
    return Head(**given | more)


BOTTOM: tuple[Part, ...] = (block(), crank(), rod(), piston())
"""A short block whose piston stops 0.5 mm below the deck."""


def ask(parts: list[Part], top: int = 10, goals: dict[str, Goal] | None = None, **plan: Any) -> Answer:
    return find(Catalogue.of(parts), Plan(goals=goals or {}, **plan), top=top)


def ids(answer: Answer, kind: str) -> list[Any]:
    return [each.combination.ids[kind] for each in answer]


def quench(**bounds: float) -> dict[str, Goal]:
    return {"quench": Goal("quench", step=STEP, **bounds)}


# Bounds that are met exactly.


INCHES: tuple[Part, ...] = (
    block(block_height=long("5.5 in")),
    crank(stroke=long("2 1/4 in")),
    rod(length=long("3.35 in")),
    piston(compression_height=long("1.005 in")),
)
"""A short block whose piston stops 20 thou below the deck."""


@pytest.mark.parametrize(
    ("bottom", "exact", "short", "bound"),
    [
        (BOTTOM, "0.50 mm", "0.48 mm", "1.00 mm"),
        (BOTTOM, "0.20 mm", "0.1999 mm", "0.70 mm"),
        (BOTTOM, "0.33 mm", "0.329999 mm", "0.83 mm"),
        (INCHES, "20 thou", "19 thou", "40 thou"),
        (INCHES, "12 thou", "11.99 thou", "32 thou"),
        (INCHES, "0.0470 in", "0.04699 in", "67 thou"),
    ],
)
def test_quench_exactly_at_its_minimum_is_listed_and_less_is_not(
    bottom: tuple[Part, ...], exact: str, short: str, bound: str
) -> None:
    parts = [*bottom, gasket("exact", exact), gasket("short", short)]
    answer = ask(parts, goals=quench(minimum=long(bound).to("mm")))
    assert ids(answer, "gaskets") == [["exact"]]
    assert answer.combinations[0].points == {"quench": 0}
    assert len(ask(parts, goals=quench(minimum=long(bound).to("mm") - 2 * STEP))) == 2


@pytest.mark.parametrize("stated", ["worst_case", "statistical"])
def test_quench_exactly_at_its_minimum_within_tolerances(stated: Any) -> None:
    bottom = [block(block_height=long("142 mm ± 0.03 mm")), crank(), rod(length=long("85 mm ± 0.04 mm")), piston()]
    parts = [*bottom, gasket("exact", "0.50 mm"), gasket("short", "0.4999 mm")]
    spread = {"worst_case": 0.07, "statistical": 0.05}[stated]
    answer = ask(parts, goals=quench(minimum=1.0 - spread), tolerance=stated)
    assert ids(answer, "gaskets") == [["exact"]]


@pytest.mark.parametrize("seed", range(8))
def test_compression_exactly_at_its_maximum_is_listed(seed: int) -> None:
    catalogue, _ = random_catalogues.question(3 * seed + 1, most=60)
    fitting = [each for _, each in closest(catalogue, Plan(name="all"))]
    parts = [*BOTTOM, gasket("g", f"{0.3 + seed / 7:.4f} mm"), head(chamber=parse(f"{20 + seed / 3:.3f} cc", VOLUME))]
    others = [each for each in fitting if "compression" in check(each, Plan(), spreads=False).figures]
    for several in (Catalogue.of(parts), *([catalogue] if others else [])):
        every = [(check(each, Plan(), spreads=False), key) for key, each in closest(several, Plan())]
        found = sorted(each.figures["compression"] for each, _ in every if "compression" in each.figures)
        top = len(every)
        for value in {found[0], found[len(found) // 2], found[-1]}:
            at = find(several, Plan(goals={"compression": Goal("compression", maximum=value)}), top=top)
            listed = sorted(each.figures["compression"] for each in at if "compression" in each.figures)
            assert listed == [each for each in found if each <= value * (1 + 1e-9)]
            assert max(listed) == pytest.approx(value, rel=1e-12)
            below = Goal("compression", maximum=value * (1 - 1e-7))
            under = find(several, Plan(goals={"compression": below}), top=top)
            assert sorted(each.figures["compression"] for each in under if "compression" in each.figures) == [
                each for each in found if each < value * (1 - 1e-8)
            ]


@pytest.mark.parametrize("side", ["above", "below"])
def test_a_quotient_near_a_whole_number_counts_as_that_number(side: str) -> None:
    """All on one grid: n steps from the aim are n points, though floats put many of the quotients beside n."""
    sign = 1 if side == "above" else -1
    parts: list[Part] = [*BOTTOM]
    for n in range(1, 21):
        parts.append(gasket(f"exact{n:02}", f"{1 + sign * 0.02 * n:.2f} mm"))
    answer = ask(parts, top=30, goals=quench(aim=1.5))
    assert ids(answer, "gaskets") == [[f"exact{n:02}"] for n in range(1, 21)]
    assert [each.points["quench"] for each in answer] == list(range(1, 21))
    quotients = [abs(each.figures["quench"] - 1.5) / STEP for each in answer]
    assert any(each != round(each) for each in quotients)


def test_a_quotient_within_a_billionth_is_whole_and_one_further_off_is_not() -> None:
    parts: list[Part] = [*BOTTOM, gasket("g7", "0.64 mm"), gasket("off", "0.63999999 mm")]
    parts.append(gasket("within", "0.63999999999 mm"))
    answer = ask(parts, goals=quench(aim=1.0))
    assert {each.combination.ids["gaskets"][0]: each.points["quench"] for each in answer} == {
        "g7": 7,
        "within": 7,
        "off": 6,
    }
    assert ids(answer, "gaskets")[0] == ["off"]


# Fits.


@pytest.mark.parametrize(
    ("big_end", "fits"),
    [
        ("70 mm", True),
        ("70.0001 mm", True),
        ("69.9999 mm", True),
        ("70.00011 mm", False),
        ("69.99989 mm", False),
        ("2.7559 in", False),
        ("2.755906 in", True),
    ],
)
def test_journal_and_big_end_are_equal_within_a_tenth_of_a_micron(big_end: str, fits: bool) -> None:
    parts = [block(), crank(journal=long("70 mm")), rod(big_end=long(big_end)), piston(), gasket("g", "0.5 mm")]
    answer = ask(parts)
    assert answer.status == ("complete" if fits else "nothing_fits")
    assert len(answer) == fits
    why = {each.id: each.why for each in answer.considered.parts_out}
    assert set(why) >= (set() if fits else {"k", "r"})
    assert bool(why) is not fits
    assert fits or "70 mm (r misses it by " in why["k"]
    assert fits or why["r"].endswith("mm: the same size in both?)")


def test_a_size_that_is_far_off_is_no_near_miss() -> None:
    parts = [block(), crank(journal=long("70 mm")), rod(big_end=long("70.06 mm")), piston(), gasket("g", "0.5 mm")]
    why = {each.id: each.why for each in ask(parts).considered.parts_out}
    assert why["k"] == "no rod has a big end for a journal of 70 mm"


# Shelf and money.


@pytest.mark.parametrize(("on_shelf", "bought"), [(0, 2), (1, 1), (2, 0), (3, 0)])
def test_a_stack_of_one_gasket_twice_wants_two_on_the_shelf(on_shelf: int, bought: int) -> None:
    parts = [*BOTTOM, gasket("g", "0.5 mm", price=6.0, on_shelf=on_shelf)]
    stack = {"use": {"gasket": ("g", "g")}, "gaskets": 2}
    answer = ask(parts, **stack)
    assert ids(answer, "gaskets") == [["g", "g"]]
    figures = answer.combinations[0].figures
    assert (figures["cost"], figures["parts_to_buy"]) == (6.0 * bought, bought)
    assert [each.count for each in answer.combinations[0].buy] == ([bought] if bought else [])
    shelf = ask(parts, shelf_only=frozenset({"gasket"}), **stack)
    assert (shelf.status, len(shelf)) == (("nothing_fits", 0) if bought else ("complete", 1))
    either = ask(parts, shelf_only=frozenset({"gasket"}), gaskets=2)
    assert ids(either, "gaskets") == [["g"], ["g", "g"]][: min(on_shelf, 2)]


def test_an_unknown_cost_comes_after_every_known_one_and_before_what_is_less_close() -> None:
    several = [gasket("a-unknown", "0.5 mm", on_shelf=0), gasket("z-dear", "0.5 mm", on_shelf=0, price=999_999.0)]
    several += [gasket("m-free", "0.5 mm"), gasket("b-far", "0.6 mm")]
    answer = ask([*BOTTOM, *several], goals=quench(aim=1.0))
    assert ids(answer, "gaskets") == [["m-free"], ["z-dear"], ["a-unknown"], ["b-far"]]
    assert [each.cost for each in answer] == [0.0, 999_999.0, None, 0.0]


def test_a_limit_on_cost_lists_the_unknown_last_and_says_what_is_missing() -> None:
    several = [gasket("a-unknown", "0.5 mm", on_shelf=0), gasket("y-far", "2.5 mm"), gasket("z-dear", "0.5 mm")]
    several[2] = gasket("z-dear", "0.5 mm", on_shelf=0, price=80.0)
    goals = quench(aim=1.0) | {"cost": Goal("cost", maximum=80.0)}
    answer = ask([*BOTTOM, *several], goals=goals)
    assert ids(answer, "gaskets") == [["z-dear"], ["y-far"], ["a-unknown"]]
    assert [(each.goal, each.missing[0].part) for each in answer.combinations[2].not_established] == [
        ("cost", "a-unknown")
    ]
    tight = ask([*BOTTOM, *several], goals=goals | {"cost": Goal("cost", maximum=79.99)})
    assert ids(tight, "gaskets") == [["y-far"], ["a-unknown"]]


def test_what_is_not_established_comes_after_what_is_however_close() -> None:
    rated = {"max_rpm": parse("7000 rpm", ROTATION)}
    rods = [rod(id="r-rated", **rated), rod(id="a-unrated"), rod(id="r-slow", max_rpm=parse("6999 rpm", ROTATION))]
    rods += [rod(id="r-far", length=long("84 mm"), **rated)]
    parts = [block(), crank(**rated), *rods, piston(), gasket("g", "0.5 mm"), Flywheel(id="w", on_shelf=1, **rated)]
    parts.append(Spring(id="s", solid_height=long("21 mm"), on_shelf=1, **rated))
    parts.append(Cam(id="c", intake_lobe_lift=long("6 mm"), exhaust_lobe_lift=long("6 mm"), on_shelf=1, **rated))
    answer = ask(parts, goals=quench(aim=1.0), rev_ceiling=7000.0)
    assert ids(answer, "rod") == ["r-rated", "r-far", "a-unrated"]
    assert [each.closeness for each in answer] == [0, 50, 0]
    assert [[each.goal for each in some.not_established] for some in answer] == [[], [], ["rev_ceiling"]]
    assert [each.part for each in answer.combinations[2].not_established[0].missing] == ["a-unrated"]


# Order and number.


def test_ties_are_broken_by_code_point() -> None:
    names = ["a", "B", "ä", "Z", "z", "0", "-", "_", "b1", "b10", "b2"]
    answer = ask([block(), *(crank(id=name) for name in names), rod(), piston()], top=20)
    assert ids(answer, "crank") == ["-", "0", "B", "Z", "_", "a", "b1", "b10", "b2", "z", "ä"]
    for top in range(1, len(names)):
        some = ask([block(), *(crank(id=name) for name in names), rod(), piston()], top=top)
        assert ids(some, "crank") == sorted(names)[:top]


def test_the_earlier_kind_breaks_a_tie_first() -> None:
    parts = [block(), crank(id="Y"), crank(id="x"), rod(id="d"), rod(id="E"), piston(id="q"), piston(id="P")]
    answer = ask(parts)
    assert [tuple(each.combination.ids[kind] for kind in ("crank", "rod", "piston")) for each in answer] == list(
        product("Yx", "Ed", "Pq")
    )


def test_fewer_gaskets_then_less_machining_break_a_tie_before_the_ids() -> None:
    parts = [*BOTTOM, gasket("z", "1.0 mm", on_shelf=2), gasket("a", "0.5 mm", on_shelf=2)]
    answer = ask(parts, goals=quench(aim=1.5), gaskets=2, top=2)
    assert ids(answer, "gaskets") == [["z"], ["a", "a"]]


@pytest.mark.parametrize("distinct", [False, True])
def test_massive_ties_are_answered_without_trying_them_all(distinct: bool) -> None:
    """20,736 combinations of one closeness and cost 0: the first by id are known beforehand."""
    parts: list[Part] = [*BOTTOM, gasket("g", "0.5 mm"), head(installed_height=long("33 mm"))]
    parts.append(Cam(id="c", intake_lobe_lift=long("6 mm"), exhaust_lobe_lift=long("6 mm"), on_shelf=1))
    for n in range(12):
        differs = f"{n / 100 if distinct else 0:.2f}"
        parts.append(Spring(id=f"s{n:02}", solid_height=long(f"2{differs[1:]} cm"), on_shelf=1, price=float(n)))
        parts.append(Retainer(id=f"t{n:02}", height_gain=long(f"{differs} mm"), on_shelf=1, price=float(n)))
        parts.append(Pushrod(id=f"u{n:02}", length=long(f"{141 + n * distinct} mm"), on_shelf=1, price=float(n)))
        parts.append(Flywheel(id=f"w{n:02}", max_rpm=parse(f"{8000 + n} rpm", ROTATION), on_shelf=1))
    kinds = frozenset(Catalogue.of(parts).kinds)
    answer = ask(parts, top=25, goals=quench(aim=1.0), shelf_only=kinds)
    assert answer.status == "complete"
    assert answer.considered.possible == 12**4
    kinds_tied = ("spring", "retainer", "pushrod", "flywheel")
    chosen = [tuple(each.combination.ids[kind] for kind in kinds_tied) for each in answer]
    assert chosen == [("s00", "t00", f"u{n // 12:02}", f"w{n % 12:02}") for n in range(25)]
    assert answer.counts["checked"] < 500


def test_more_asked_for_than_there_are() -> None:
    parts = [*BOTTOM, gasket("g", "0.5 mm"), gasket("h", "0.6 mm")]
    answer = ask(parts, top=5000)
    assert (answer.status, len(answer), ids(answer, "gaskets")) == ("complete", 2, [["g"], ["h"]])
    assert answer.conflict is None


@pytest.mark.parametrize("top", [0, -1])
def test_none_asked_for_is_refused(top: int) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        ask([*BOTTOM], top=top)


@pytest.mark.parametrize("why", [False, True])
def test_no_time_is_never_silent(why: bool) -> None:
    """Stopped before the proof: neither an answer that looks complete nor a claim that nothing fits."""
    parts = [*BOTTOM, gasket("g", "0.5 mm"), gasket("i", "0.6 mm"), head()]
    catalogue, plan = Catalogue.of(parts), Plan(goals=quench(aim=1.0))
    answer = find(catalogue, plan, seconds=0, why=why)
    assert answer.status == "incomplete"
    assert (answer.combinations, answer.conflict) == ((), None)
    assert answer.proven
    assert len(find(catalogue, plan)) == 2


@pytest.mark.parametrize("seed", range(0, 24, 3))
def test_the_same_question_has_the_same_answer(seed: int) -> None:
    catalogue, plan = random_catalogues.question(seed, most=400)
    one, other = find(catalogue, plan), find(catalogue, plan)
    assert [(each.key, dict(each.figures)) for each in one] == [(each.key, dict(each.figures)) for each in other]
    assert (one.status, one.counts, one.considered) == (other.status, other.counts, other.considered)


_FIRST = r"the first (?:(?P<head>\d+) listed are the closest, in order|listed is the closest); "
_FLOOR = r"no (?:other )?combination is closer than (?P<floor>\d+)(?: with (?P<unproved>\d+) goals? not established)?"
_PROVEN = re.compile(rf"(?P<settled>{_FIRST})?{_FLOOR}")


@pytest.mark.parametrize("seed", [0, 16, 34])
def test_what_is_listed_and_what_is_proved_agree_wherever_it_is_stopped(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped at each look at the clock: the head that is called final is the whole answer's, the rest is no closer."""
    catalogue, plan = random_catalogues.question(seed, most=400)
    whole = [each.key for each in find(catalogue, plan, 60)]
    monkeypatch.setattr(regions, "SMALL", 0)  # level by level, as in a large catalogue
    looks, settled, stopped = 0, 0, 0
    for last in range(1, 2500, 60):
        looks = 0

        def check(clock: Clock, last: int = last) -> None:
            nonlocal looks
            looks += 1
            if looks > last:
                raise OutOfTimeError

        with monkeypatch.context() as patched:
            patched.setattr(Clock, "check", check)
            answer = find(catalogue, plan, 60)
        keys = [each.key for each in answer]
        if answer.status == "complete":
            assert keys == whole
            break
        stopped += 1
        said = _PROVEN.fullmatch(answer.proven)
        if said is None:
            assert answer.proven == "nothing yet"
            continue
        head = int(said["head"] or 1) if said["settled"] else 0
        assert keys[:head] == whole[:head]
        least = int(said["unproved"] or 0), int(said["floor"])
        assert all(key[:2] < least for key in keys[:head])
        assert all(key[:2] >= least for key in (*keys[head:], *whole[head:]))
        settled += bool(head)
    assert stopped >= 3, "it was never stopped"
    assert settled >= 1 or len({key[:2] for key in whole}) < 2


# Why nothing fits.


def scenario(name: str, why: bool = True) -> Answer:
    plan, catalogue = load_plan(SCENARIOS / name / "plan.yaml")
    answer = find(catalogue, plan, why=why)
    assert (answer.status, answer.combinations) == ("nothing_fits", ())
    return answer


def test_compression_against_quench() -> None:
    conflict = scenario("compression-against-quench").conflict
    assert conflict is not None
    assert conflict.requirements == ("compression.max", "machining", "quench.max", "shelf_only")
    ways = {each.requirement: each for each in conflict.ways_out}
    assert set(ways) == set(conflict.requirements)
    assert ways["compression.max"].to == 9.99
    assert ways["quench.max"].to == 2.1
    assert ways["machining"].combination.combination.machining == {"relieve_cc": 3.5}
    assert ways["machining"].change == "relieve h230 by 3.5 cc"
    assert (ways["machining"].price, ways["shelf_only"].price) == (20.0, 42.0)
    assert ways["shelf_only"].change == "buy p274-dish"
    assert [each.price for each in conflict.ways_out] == [0.0, 0.0, 20.0, 42.0]
    for words in ("ompression at most 9.00", "without machining", "quench at most 1.15 mm", "from the shelf alone"):
        assert words in conflict.because
    for nearest in ("compression comes down to 9.98", "quench comes down to 2.10 mm"):
        assert nearest in conflict.because


def test_revs_against_lift() -> None:
    conflict = scenario("revs-against-lift").conflict
    assert conflict is not None
    assert conflict.requirements == ("coil_bind_margin.min", "cost.max", "rev_ceiling", "valve_lift.min")
    ways = {each.requirement: each for each in conflict.ways_out}
    assert {name: ways[name].to for name in conflict.requirements} == {
        "coil_bind_margin.min": 0.496,
        "cost.max": 9,
        "rev_ceiling": 5200,
        "valve_lift.min": 7.54,
    }
    assert ways["cost.max"].price == 9.0
    assert ways["cost.max"].combination.combination.ids["retainer"] == "t1"
    assert ways["rev_ceiling"].combination.combination.ids["spring"] == "s-soft"


@pytest.mark.parametrize("name", ["compression-against-quench", "revs-against-lift"])
def test_why_is_answered_only_when_asked(name: str) -> None:
    assert scenario(name, why=False).conflict is None


@pytest.mark.parametrize("name", ["compression-against-quench", "revs-against-lift"])
def test_every_way_out_opens_and_nothing_less_does(name: str) -> None:
    """The bound that is shown opens an answer at its price; one unit of its last digit less does not."""
    plan, catalogue = load_plan(SCENARIOS / name / "plan.yaml")
    conflict = find(catalogue, plan, why=True).conflict
    assert conflict is not None
    digits = {"compression.max": 0.01, "quench.max": 0.001, "cost.max": 0.01, "rev_ceiling": 1.0}
    moved = 0
    for way in conflict.ways_out:
        figure, _, side = way.requirement.partition(".")
        if way.requirement in ("machining", "shelf_only"):
            continue
        step = digits.get(way.requirement, 0.001) * (-1 if side == "max" else 1)
        for to, opens in ((way.to, True), (way.to + step, False)):
            if figure == "rev_ceiling":
                asked = plan.but(rev_ceiling=float(to))
            else:
                goal = plan.goals[figure]
                low, high = (to, goal.maximum) if side == "min" else (goal.minimum, to)
                changed = Goal(figure, goal.ranked_by, low, high, goal.step)
                asked = plan.but(goals={**plan.goals, figure: changed})
            answer = find(catalogue, asked)
            assert bool(answer.combinations) == opens, (way.requirement, to)
            if opens:
                assert answer.combinations[0].cost == way.price
                moved += 1
    assert moved == {"compression-against-quench": 2, "revs-against-lift": 4}[name]


def infeasible(first: int, count: int) -> list[int]:
    """Seeds from ``first`` on whose question has no answer, though its catalogue has parts that fit one another."""
    found = []
    for seed in range(first, first + 40 * count):
        catalogue, plan = random_catalogues.question(seed, most=120)
        if closest(catalogue, plan) or plan.gaskets > 2:
            continue
        if Oracle(catalogue, plan, find, Clock(30)).holds(()):
            found.append(seed)
        if len(found) == count:
            break
    return found


@pytest.mark.parametrize("first", range(0, 600, 100))
def test_a_conflict_is_a_smallest_one(first: int) -> None:
    """Its requirements alone have no answer, by the search and by the twin; without any one of them there is one."""
    seeds = infeasible(first, 5)
    assert len(seeds) == 5
    for seed in seeds:
        catalogue, plan = random_catalogues.question(seed, most=120)
        answer = find(catalogue, plan, why=True)
        assert answer.status == "nothing_fits", seed
        assert answer.conflict is not None, seed
        wanted = answer.conflict.requirements
        assert wanted, seed
        assert list(wanted) == sorted(set(wanted)), seed
        oracle = Oracle(catalogue, plan, find, Clock(math.inf))
        assert set(wanted) <= set(oracle.all), seed
        assert not oracle.holds(wanted), seed
        alone = oracle.plan_with(wanted)
        if sum(1 for _ in zip(range(1500), everything(catalogue, alone), strict=False)) < 1500:
            assert closest(catalogue, alone) == [], seed
        for name in wanted:
            rest = oracle.answer(set(wanted) - {name})
            assert rest is not None, (seed, name)
            plans = oracle.plans_with(set(wanted) - {name})
            assert any(check(rest.combination, each, spreads=False).fits for each in plans), (seed, name)
        for some in combinations(sorted(oracle.all), len(wanted)):
            if some >= wanted or len(wanted) > 2:
                break
            assert oracle.holds(some), (seed, some)
        for way in answer.conflict.ways_out:
            kept = set(oracle.all) - {way.requirement}
            assert check(way.combination.combination, oracle.plan_with(kept), spreads=False).fits, (seed, way.change)


@pytest.mark.parametrize("step", [1e-5, 1e-6, 1e-7, 1e-8])
def test_steps_finer_than_floats_add_up_to_are_counted_on_the_values_as_written(step: float) -> None:
    """Height − stroke/2 − length − compression height + gasket, as fractions of what is written."""
    rng = random.Random(f"fine {step}")
    wrong_before = 0
    for _ in range(60):
        sizes = {name: f"{rng.uniform(*ends):.5f}" for name, ends in FINE_SIZES.items()}
        aim = round(rng.uniform(0.4, 1.6), 4)
        fraction = {name: Fraction(text) for name, text in sizes.items()}
        value = (
            fraction["height"] - fraction["stroke"] / 2 - fraction["length"] - fraction["piston"] + fraction["gasket"]
        )
        if value <= 0:
            continue
        parts = [
            Block(id="b", bore=long("70 mm"), block_height=long(f"{sizes['height']} mm")),
            Crank(id="k", stroke=long(f"{sizes['stroke']} mm"), journal=long("30 mm")),
            Rod(id="r", length=long(f"{sizes['length']} mm"), big_end=long("30 mm"), pin=long("16 mm")),
            Piston(id="p", bore=long("70 mm"), compression_height=long(f"{sizes['piston']} mm"), pin=long("16 mm")),
            gasket("g", f"{sizes['gasket']} mm"),
        ]
        plan = Plan(goals={"quench": Goal("quench", aim=aim, step=step)})
        expected = math.floor(abs(value - Fraction(str(aim))) / Fraction(str(step)))
        (found,) = find(Catalogue.of(parts), plan)
        assert found.closeness == expected
        wrong_before += math.floor(round(abs(found.figures["quench"] - aim) / step, 9)) != expected
    assert wrong_before or step > 1e-6, "floats alone would do"


FINE_SIZES = {
    "height": (150.0, 150.4),
    "stroke": (57.8, 58.0),
    "length": (92.0, 92.1),
    "piston": (28.3, 28.5),
    "gasket": (0.4, 0.9),
}
