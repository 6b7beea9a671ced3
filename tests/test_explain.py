"""Explanations of plans whose reason is known beforehand, and of random plans that ask too much."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import Catalogue, Goal, Plan, find
from kitwright.solver.conflicts import Oracle, smallest_hitting
from kitwright.solver.explain import explain
from kitwright.solver.parts import Block, Cam, Crank, Gasket, Head, Part, Piston, Rocker, Rod, Spring
from kitwright.solver.plan import TOLERANCES
from kitwright.solver.quantity import LENGTH, MASS, RATIO, ROTATION, VOLUME, Dimension, Quantity, parse
from kitwright.solver.registry import FIGURES, public_figures
from kitwright.solver.requirements import moved
from kitwright.solver.result import Explanation
from kitwright.solver.search import witness
from kitwright.solver.stopping import Clock
from kitwright.solver.wording import digit, outward, said
from tests import random_catalogues
from tests.cli_runner import answer, run
from tests.explained import claims, differences, refused
from tests.test_layouts import engines

EXAMPLES = Path(__file__).parent.parent / "examples" / "nothing-fits"
SEEDS, CHUNK = 100, 20


# Everything that is claimed, on random plans that ask too much.


@pytest.mark.parametrize("first", range(0, SEEDS, CHUNK))
def test_what_is_claimed_holds(first: int) -> None:
    """Conflicts are irreducible; ways out open and one digit less does not; the parts would fit."""
    seeds = range(first, first + CHUNK)
    assert [line for seed in seeds for line in differences(random_catalogues.question, seed)] == []


def test_many_random_plans_ask_too_much() -> None:
    """Else the claims above would be about next to nothing."""
    asked = [refused(random_catalogues.question, seed) for seed in range(60)]
    plans = [plan for _, plan in filter(None, asked)]
    assert len(plans) >= 15
    assert {plan.tolerance for plan in plans} == set(TOLERANCES)
    assert sum(len(plan.goals) >= 2 for plan in plans) >= 10


# Plans whose reason is known.


def q(text: str, dimension: Dimension = LENGTH) -> Quantity:
    return parse(text, dimension)


def bottom(**more: Any) -> list[Part]:
    """A block, a crank, a rod and a piston with the crown 0.5 mm down, and a gasket of 0.5 mm."""
    return [
        Block(id="b", bore=q("70 mm"), block_height=q("150 mm"), on_shelf=1),
        Crank(id="k", stroke=q("58 mm"), journal=q("30 mm"), on_shelf=1),
        Rod(id="r", **({"length": q("92 mm"), "big_end": q("30 mm"), "pin": q("16 mm"), "on_shelf": 1} | more)),
        Piston(id="p", bore=q("70 mm"), compression_height=q("28.5 mm"), pin=q("16 mm"), on_shelf=1),
        Gasket(id="g", thickness=q("0.5 mm"), bore=q("71 mm"), on_shelf=4),
    ]


def why(parts: list[Part], asked: Plan) -> Explanation:
    found = explain(Catalogue.of(parts), asked, find, witness)
    assert found.complete
    return found


def test_quench_asks_for_a_part_that_arithmetic_gives() -> None:
    """150 − 29 − 92 − 28.5 + 0.5 = 1.0 of quench; 0.60 to 0.80 wants 0.20 to 0.40 less of it, one part or another."""
    found = why(bottom(), Plan(goals={"quench": Goal("quench", minimum=0.6, maximum=0.8)}))
    conflict = found.answer.conflict
    assert conflict is not None and conflict.requirements == ("quench.max",)
    (way,) = conflict.ways_out
    assert (way.requirement, way.to, way.change) == ("quench.max", 1.0, "quench at most 1.00 mm")
    ranges = {(each.kind, each.field): (each.low, each.high) for each in found.parts_that_would_fit}
    assert ranges == {
        ("rod", "length"): pytest.approx((92.2, 92.4)),
        ("piston", "compression_height"): pytest.approx((28.7, 28.9)),
        ("gasket", "thickness"): pytest.approx((0.1, 0.3)),
        ("crank", "stroke"): pytest.approx((58.4, 58.8)),
    }
    for each in found.parts_that_would_fit:
        assert each.low <= each.value <= each.high
        assert each.combination.fits


def test_the_tolerance_mode_narrows_what_would_fit() -> None:
    """± 0.05 mm of the gasket and 0.04 mm of the rod: worst case takes 0.09 mm from both ends of the window."""
    parts = bottom(length=q("92 mm ± 0.04 mm"))
    parts[-1] = Gasket(id="g", thickness=q("0.5 mm ± 0.05 mm"), bore=q("71 mm"))
    goals = {"quench": Goal("quench", minimum=0.4, maximum=0.8)}
    found = why(parts, Plan(goals=goals, tolerance="worst_case"))
    (rod,) = (each for each in found.parts_that_would_fit if each.kind == "rod")
    assert (rod.low, rod.high) == pytest.approx((92.3, 92.5))
    assert found.answer.conflict is not None
    assert {way.requirement: way.to for way in found.answer.conflict.ways_out} == {"quench.max": 1.09}


def test_a_pinned_kind_is_not_made_anew() -> None:
    goals = {"quench": Goal("quench", minimum=0.6, maximum=0.8)}
    found = why(bottom(), Plan(goals=goals, use={"rod": ("r",), "crank": ("k",)}))
    assert {each.kind for each in found.parts_that_would_fit} == {"piston", "gasket"}


def test_parts_that_do_not_fit_one_another_ask_for_a_size() -> None:
    """One rod, for a 32 mm journal: another big end or another journal, and nothing else, is to blame."""
    found = why(bottom(big_end=q("32 mm")), Plan())
    conflict = found.answer.conflict
    assert conflict is not None and conflict.requirements == () and not conflict.ways_out
    assert conflict.because == "No parts of the catalogue fit one another."
    sizes = {(each.kind, each.field): each.value for each in found.parts_that_would_fit}
    assert sizes == {("rod", "big_end"): 30.0, ("crank", "journal"): 32.0}
    out = {part.id: part.follows for part in found.answer.considered.parts_out}
    assert out == {"k": False, "r": False, "b": True, "p": True, "g": True}


def two_quarrels() -> tuple[list[Part], Plan]:
    parts = [
        *bottom(),
        Head(id="h", chamber=q("22 cc", VOLUME), installed_height=q("33 mm"), on_shelf=1),
        Cam(id="c", intake_lobe_lift=q("8 mm"), exhaust_lobe_lift=q("8 mm")),
        Cam(id="c7", intake_lobe_lift=q("7 mm"), exhaust_lobe_lift=q("7 mm")),
        Spring(id="s", solid_height=q("24 mm")),
    ]
    goals = {
        "compression": Goal("compression", minimum=12.0),
        "valve_lift": Goal("valve_lift", minimum=8.0),
        "coil_bind_margin": Goal("coil_bind_margin", minimum=1.5),
    }
    return parts, Plan(goals=goals)


def test_two_independent_conflicts_are_both_told_and_mended_together() -> None:
    found = why(*two_quarrels())
    conflict = found.answer.conflict
    assert conflict is not None and conflict.requirements == ("compression.min",)
    assert not conflict.ways_out and "No single change opens an answer." in conflict.because
    assert [each.requirements for each in found.other_conflicts] == [("coil_bind_margin.min", "valve_lift.min")]
    changes = [{way.requirement: way.to for way in each.changes} for each in found.together]
    # 33 − 24 − 8 = 1.00; 33 − 24 − 7 = 2.00; compression 223.21 / 25.90 + 1 = 9.617, whatever else
    assert {"compression.min": 9.61, "coil_bind_margin.min": 1.0} in changes
    assert {"compression.min": 9.61, "valve_lift.min": 7.0} in changes
    assert len(changes) == 2


def test_changes_together_at_an_unknown_cost_come_after_those_at_a_known_one() -> None:
    """Nobody has said what the thinner gasket costs: what needs it is no cheaper than what costs nothing."""
    parts = bottom()
    thin = replace(parts[4], id="thin", thickness=q("0.4 mm"), price=None, on_shelf=0)  # type: ignore[call-arg]
    goals = {"displacement": Goal("displacement", minimum=500.0), "quench": Goal("quench", maximum=0.95)}
    found = why([*parts, thin], Plan(goals=goals, avoid=frozenset({"thin"})))
    told = [({way.requirement for way in each.changes}, each.price) for each in found.together]
    assert told == [({"displacement.min", "quench.max"}, 0.0), ({"displacement.min", "avoid.thin"}, None)]


def test_what_a_budget_keeps_out_is_told_though_its_cost_is_unknown() -> None:
    """Let go of, a bound leaves nothing to establish: the thinner gasket, which nobody has priced, is closer."""
    parts = bottom()
    thin = replace(parts[4], id="thin", thickness=q("0.4 mm"), price=None, on_shelf=0)  # type: ignore[call-arg]
    goals = {"quench": Goal("quench", aim=0.9), "cost": Goal("cost", maximum=0.0)}
    found = why([*parts, thin], Plan(goals=goals))
    assert [each.id for each in found.answer.combinations[0].combination.gaskets] == ["g"]
    assert [(each.way.requirement, each.closeness, each.way.price) for each in found.closer] == [("cost.max", 0, None)]


def test_a_goal_that_asks_nothing_leaves_nothing_to_establish() -> None:
    """A step alone neither limits nor ranks: compression, which cannot be had without a head, is not asked for."""
    goals = {"compression": Goal("compression", step=0.1)}
    (best,) = find(Catalogue.of(bottom()), Plan(goals=goals)).combinations
    assert best.verdict == "fits" and not best.not_established
    goals = {"compression": Goal("compression", aim=9.0)}
    (best,) = find(Catalogue.of(bottom()), Plan(goals=goals)).combinations
    assert best.verdict == "on_paper"


def test_what_cannot_be_had_whatever_is_given_up_is_told_with_what_was_kept() -> None:
    """The money keeps the thinner gasket out: it comes to 0.90 mm, too much still, so 1.00 is not the best of all."""
    parts = bottom()
    thin = replace(parts[4], id="thin", thickness=q("0.4 mm"), price=5.0, on_shelf=0)  # type: ignore[call-arg]
    goals = {"quench": Goal("quench", maximum=0.5), "cost": Goal("cost", maximum=0.0)}
    conflict = why([*parts, thin], Plan(goals=goals)).answer.conflict
    assert conflict is not None and conflict.requirements == ("quench.max",)
    assert "whatever else is given up. With everything else kept, quench comes down to 1.00 mm (" in conflict.because
    assert "At best" not in conflict.because


def test_the_rev_ceiling_gives_way_where_a_force_grows_with_speed() -> None:
    """No rating is in the way; rod load grows with the square of speed, and the ceiling falls to where it is kept."""
    parts = bottom(small_end_mass=q("60 g", MASS))
    parts[3] = replace(parts[3], mass=q("240 g", MASS))  # type: ignore[call-arg]
    free = Plan(goals={"rod_load": Goal("rod_load", maximum=1e6)}, rev_ceiling=7000.0)
    load = find(Catalogue.of(parts), free).combinations[0].figures["rod_load"]
    asked = free.but(goals={"rod_load": Goal("rod_load", maximum=load / 2)})
    conflict = why(parts, asked).answer.conflict
    assert conflict is not None and conflict.requirements == ("rev_ceiling", "rod_load.max")
    ways = {way.requirement: way.to for way in conflict.ways_out}
    assert ways["rev_ceiling"] == math.floor(7000 / math.sqrt(2))


def test_a_rating_that_is_missing_is_told_as_a_rating() -> None:
    parts = [*bottom(), Spring(id="s", solid_height=q("20 mm"), max_rpm=q("5200 rpm", ROTATION))]
    parts[1] = replace(parts[1], max_rpm=q("8000 rpm", ROTATION))  # type: ignore[call-arg]
    found = why(parts, Plan(rev_ceiling=6450.0))
    assert [(each.kind, each.field, each.value, each.high) for each in found.parts_that_would_fit] == [
        ("spring", "max_rpm", 6500.0, math.inf)
    ]


def test_fewer_gaskets_than_the_most_do_it() -> None:
    """Three layers of 0.5 mm make 2.0 mm of quench: the way out says three, not four."""
    conflict = why(bottom(), Plan(goals={"quench": Goal("quench", minimum=1.9)})).answer.conflict
    assert conflict is not None and conflict.requirements == ("gaskets", "quench.min")
    assert {way.requirement: way.to for way in conflict.ways_out} == {"gaskets": 3, "quench.min": 1.0}


def test_the_mildest_tolerance_mode_is_the_way_out() -> None:
    """Rod and gasket ± 0.05 mm each: 0.10 at worst case, √2 × 0.05 = 0.071 statistically, and ± 0.08 is asked for."""
    parts = bottom(length=q("92 mm ± 0.05 mm"))
    parts[-1] = Gasket(id="g", thickness=q("0.5 mm ± 0.05 mm"), bore=q("71 mm"))
    for width, mode in ((0.08, "statistical"), (0.05, "nominal")):
        goals = {"quench": Goal("quench", minimum=1 - width, maximum=1 + width)}
        conflict = why(parts, Plan(goals=goals, tolerance="worst_case")).answer.conflict
        assert conflict is not None and "tolerance" in conflict.requirements
        assert {way.requirement: way.to for way in conflict.ways_out}["tolerance"] == mode
        assert "from 0.90 mm to 1.10 mm" in conflict.because


def test_the_cheapest_purchase_stands_beside_the_closest() -> None:
    parts = bottom(on_shelf=0, price=60.0)
    parts.append(Rod(id="r-cheap", length=q("91.9 mm"), big_end=q("30 mm"), pin=q("16 mm"), price=20.0))
    asked = Plan(goals={"quench": Goal("quench", aim=1.0)}, shelf_only=frozenset({"rod"}))
    conflict = why(parts, asked).answer.conflict
    assert conflict is not None and conflict.requirements == ("shelf_only",)
    assert [(way.change, way.price) for way in conflict.ways_out] == [("buy r-cheap", 20.0), ("buy r", 60.0)]


def test_bounds_in_inches_move_by_what_inches_show() -> None:
    """1.0 mm is 0.03937 in; shown with four decimals the maximum that opens is 0.0394 in, and 0.0393 in does not."""
    asked = Plan(goals={"quench": Goal("quench", maximum=0.8)}, units="in")
    conflict = why(bottom(), asked).answer.conflict
    assert conflict is not None
    (way,) = conflict.ways_out
    assert way.to == pytest.approx(0.0394 * 25.4)
    assert way.change == "quench at most 0.0394 in"
    assert find(Catalogue.of(bottom()), moved(asked, "quench.max", way.to)).combinations
    assert not find(Catalogue.of(bottom()), moved(asked, "quench.max", 0.0393 * 25.4)).combinations


def test_to_drop_the_chosen_kinds_is_never_worse() -> None:
    """A spring that no head takes is left out by `kinds`; the quarrel over quench is still told as one over quench."""
    parts = [
        *bottom(),
        Head(id="h", chamber=q("22 cc", VOLUME), installed_height=q("33 mm")),
        Cam(id="c", intake_lobe_lift=q("8 mm"), exhaust_lobe_lift=q("8 mm")),
        Rocker(id="o", ratio=q("1.2", RATIO)),
        Spring(id="s", solid_height=q("32 mm")),
    ]
    kinds = frozenset({"block", "crank", "rod", "piston", "gasket"})
    asked = Plan(goals={"quench": Goal("quench", maximum=0.8)}, kinds=kinds)
    oracle = Oracle(Catalogue.of(parts), asked, find, Clock(60), witness)
    assert witness(Catalogue.of(parts), Plan()) is None
    assert oracle.holds(())
    conflict = why(parts, asked).answer.conflict
    assert conflict is not None and conflict.requirements == ("quench.max",)


def test_a_smallest_hitting_set_is_the_first_by_name() -> None:
    assert smallest_hitting([]) == ()
    assert smallest_hitting([frozenset("bc"), frozenset("ac"), frozenset("ab")]) == ("a", "b")
    assert smallest_hitting([frozenset("ax"), frozenset("bx"), frozenset("cx")]) == ("x",)


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("unit", ["mm", "cc", "", "money", "rpm", "N"])
def test_outward_is_outward_by_less_than_a_digit(unit: str, units: str) -> None:
    one = float(digit(unit, units))
    for value in (0.12345, 9.98225, 1.0, 7000.4, -0.2004):
        assert -1e-9 <= outward(value, "max", unit, units) - value < one
        assert -1e-9 <= value - outward(value, "min", unit, units) < one


@pytest.mark.parametrize("figure", public_figures())
def test_every_figure_has_a_last_digit_that_a_bound_of_it_moves_by(figure: str) -> None:
    unit = FIGURES[figure].unit
    assert 0 < float(digit(unit)) <= 1
    assert said(figure, 1234.0).startswith(("1234", "123400 %"))


@pytest.mark.parametrize("figure", ["spring_stress_open", "rod_load", "balance_factor", "inlet_mach_index"])
def test_a_bound_that_no_engine_keeps_is_explained_whatever_its_unit(figure: str) -> None:
    catalogue, asked = engines()
    goal = Goal(figure, maximum=1e-6)
    told = explain(catalogue, asked.but(goals={figure: goal}), find, witness)
    assert told.complete
    conflict = told.answer.conflict
    assert conflict is not None and set(conflict.requirements) - {"rev_ceiling"} == {f"{figure}.max"}
    nearest = {each.requirement: each.value for each in conflict.closest}
    value = nearest[f"{figure}.max"]
    assert value is not None and value > 1e-6


def test_values_are_said_to_the_digit_that_bounds_move_by() -> None:
    assert said("quench", 0.4981) == "0.498 mm"
    assert said("gasket_count", 2.0) == "2"
    assert said("mean_piston_speed", 12.3456) == "12.35 m/s"


# Where something fits.


def test_a_loosening_that_brings_a_closer_answer_is_told_with_its_price() -> None:
    parts = bottom()
    parts.append(Gasket(id="g-aim", thickness=q("0.4 mm"), bore=q("71 mm"), price=9.0))
    aim = {"quench": Goal("quench", aim=0.9), "cost": Goal("cost", maximum=5.0)}
    found = why(parts, Plan(goals=aim))
    assert found.answer.combinations[0].combination.ids["gaskets"] == ["g"]
    (gain,) = found.closer
    assert (gain.way.requirement, gain.way.to, gain.way.price) == ("cost.max", 9.0, 9.0)
    assert gain.closeness == 0 and gain.gained == found.answer.combinations[0].closeness == 2
    opened = moved(Plan(goals=aim), "cost.max", gain.way.to)
    assert find(Catalogue.of(parts), opened).combinations[0].key == gain.way.combination.key


# Plans that are shown.


def test_root_causes_come_before_what_follows_from_them() -> None:
    found = answer("explain", EXAMPLES / "low-compression.yaml", "--use", "crank=k58", "--use", "rod=r89-32")
    out = {each["id"]: each.get("follows", False) for each in found["considered"]["parts_out"]}
    assert out["r89-32"] is False and out["k58"] is False
    why = {each["id"]: each["why"] for each in found["considered"]["parts_out"]}
    assert why["k58"] == "no rod that is left has a big end for a journal of 30 mm"
    assert out["b70"] is True and out["p285"] is True
    text = run("explain", EXAMPLES / "low-compression.yaml", "--use", "crank=k58", "--use", "rod=r89-32").stdout
    assert "fit only parts that are out themselves" in text


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("low-compression", ["compression.max", "gaskets", "machining", "shelf_only"]),
        ("revs-and-money", ["cost.max", "rev_ceiling"]),
        ("bargain-rod", ["quench.max", "use.rod"]),
        ("narrow-window", ["quench.max", "quench.min", "tolerance"]),
        ("two-quarrels", ["coil_bind_margin.min", "valve_lift.min"]),
    ],
)
def test_the_examples_fail_for_different_reasons(name: str, wanted: list[str]) -> None:
    asked, catalogue = load_plan(EXAMPLES / f"{name}.yaml")
    found = explain(catalogue, asked, find, witness)
    assert found.answer.conflict is not None
    assert list(found.answer.conflict.requirements) == wanted
    assert list(claims(catalogue, asked, found)) == []
