"""One build that fits, and for each physical rule the same with one size changed, which breaks that rule and no other.

Every size is invented and worked out by hand: what a change leaves is 0 where contact is too much already, and a little
less than 0 where it is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from kitwright.solver import check, find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import YIELD_UNKNOWN, cautions
from kitwright.solver.combination import Combination
from kitwright.solver.explain import explain
from kitwright.solver.fields import Adjuster, CutTo, DurationAt, TopLand
from kitwright.solver.parts import Block, Cam, Crank, Gasket, Head, Part, Piston, Pushrod, Rocker, Rod, Spring
from kitwright.solver.plan import Conditions, Goal, Plan, Tolerance
from kitwright.solver.quantity import ANGLE, INERTIA, LENGTH, MASS, RATIO, STIFFNESS, VOLUME, Quantity, parse
from kitwright.solver.result import Checked
from kitwright.solver.rules import PHYSICAL
from kitwright.solver.search import witness


def mm(text: str) -> Quantity:
    return parse(f"{text} mm" if "mm" not in text else text, LENGTH)


def degrees(text: str) -> Quantity:
    return parse(f"{text} deg", ANGLE)


def parts() -> dict[str, Part]:
    """Deck 0.6 mm up, quench 0.4 mm, lift 7.6 mm; every other clearance 2 mm or more."""
    at = DurationAt(lift=mm("1"), duration=degrees("216"))
    every: tuple[Part, ...] = (
        Block(
            id="b",
            bore=mm("72"),
            block_height=mm("140.9"),
            cam_to_crank=mm("85"),
            cam_to_barrel=mm("22"),
            counterweight_room=mm("40"),
            rod_room=mm("60"),
        ),
        Crank(id="k", stroke=mm("57"), journal=mm("30"), journal_width=mm("22.2"), counterweight_radius=mm("33")),
        Rod(id="r", length=mm("85"), big_end=mm("30"), pin=mm("16"), width=mm("22"), outer_radius=mm("27")),
        Piston(
            id="p",
            bore=mm("72"),
            compression_height=mm("28"),
            pin=mm("16"),
            skirt_below_pin=mm("19"),
            top_land=TopLand(height=mm("5"), clearance=mm("0.5")),
        ),
        Head(
            id="h",
            chamber=parse("21 cc", VOLUME),
            installed_height=mm("38"),
            retainer_room=mm("12"),
            max_valve_lift=mm("11"),
        ),
        Cam(
            id="c",
            intake_lobe_lift=mm("7"),
            exhaust_lobe_lift=mm("7"),
            intake_duration=degrees("268"),
            exhaust_duration=degrees("268"),
            intake_duration_at=at,
            exhaust_duration_at=at,
            lash_intake=mm("0.1"),
            lash_exhaust=mm("0.1"),
            base_radius=mm("13"),
            core_radius=mm("14"),
        ),
        Rocker(id="o", ratio=parse("1.1", RATIO), adjuster=Adjuster(shorter=mm("0.8"), longer=mm("1"))),
        Spring(
            id="s",
            solid_height=mm("22"),
            free_length=mm("45"),
            rate=parse("17 N/mm", STIFFNESS),
            wire=mm("3.2"),
            coil_diameter=mm("22.8"),
            total_coils=parse("7", RATIO),
            material="chrome-vanadium",
            max_lift=mm("11"),
            moving_mass=parse("100 g", MASS),
        ),
        Pushrod(id="u", length=mm("141")),
    )
    return {each.kind: each for each in every}


STACK = (Gasket(id="g", thickness=parse("1 mm", LENGTH), bore=parse("73 mm", LENGTH)),)
REFERENCE = {"pushrod": mm("141"), "gasket_stack": mm("1"), "base_radius": mm("13")}
PLAN = Plan(name="one by one", reference=REFERENCE)

Change = tuple[str, str, Any]

CONTACT: dict[str, tuple[str, str, str, str, str]] = {
    # rule: kind, field, what breaks it, the last that keeps it, what keeps it at nominal and breaks it at its ± (mm)
    "quench_positive": ("gasket", "thickness", "0.6", "0.61", "0.65 mm ± 0.1 mm"),
    "coil_bind": ("spring", "solid_height", "30.4", "30.39", "30.3 mm ± 0.2 mm"),
    "retainer_to_guide": ("head", "retainer_room", "7.59", "7.6", "7.7 mm ± 0.2 mm"),
    "rod_side_clearance": ("rod", "width", "22.21", "22.2", "22.15 mm ± 0.1 mm"),
    "head_lift": ("head", "max_valve_lift", "7.59", "7.6", "7.65 mm ± 0.1 mm"),
    "spring_lift": ("spring", "max_lift", "7.59", "7.6", "7.65 mm ± 0.1 mm"),
    "pushrod_mismatch": ("pushrod", "length", "142.01", "142", "141.95 mm ± 0.1 mm"),
    "spring_seat": ("spring", "free_length", "38", "38.01", "38.1 mm ± 0.2 mm"),
    "ring_to_deck": ("piston", "top_land", "0.6", "0.61", "0.65 mm ± 0.1 mm"),
    "skirt_to_counterweight": ("piston", "skirt_below_pin", "23.5", "23.49", "23.45 mm ± 0.1 mm"),
    "counterweight_to_case": ("block", "counterweight_room", "33", "33.01", "33.05 mm ± 0.1 mm"),
    "rod_to_case": ("block", "rod_room", "55.5", "55.51", "55.55 mm ± 0.1 mm"),
    "rod_to_core": ("cam", "core_radius", "29.5", "29.49", "29.45 mm ± 0.1 mm"),
    "lobe_to_barrel": ("block", "cam_to_barrel", "20", "20.01", "20.05 mm ± 0.1 mm"),
    # yield 0.5 × 2005 / 3.2^0.168 = 824.57 MPa; per N the stress is 1.19608 × 8 × 22.8 / (π 3.2³) = 2.11928 MPa; so
    # 389.08 N, over 7 + 7.6 mm 26.65 N/mm
    "spring_stress_open": ("spring", "rate", "26.66 N/mm", "26.64 N/mm", "26 N/mm ± 1 N/mm"),
    "pushrod_shortest": ("pushrod", "cut_to", "141.01", "141", "140.95 mm ± 0.1 mm"),
    "pushrod_longest": ("pushrod", "longest", "140.99", "141", "141.05 mm ± 0.1 mm"),
}


def made(change: Change | None = None, base: Mapping[str, Part] | None = None) -> Combination:
    found, stack = dict(base or parts()), STACK
    if change is None:
        return Combination(found, stack)
    kind, field, text = change
    if kind == "gasket":
        return Combination(found, (replace(STACK[0], thickness=mm(text)),))
    value: Any = parse(text, STIFFNESS) if field == "rate" else mm(text)
    if field == "top_land":
        value = TopLand(height=value, clearance=mm("0.5"))
    if field == "cut_to":
        found[kind] = Pushrod(id="u", cut_to=CutTo(min=value, max=mm("150")))
    elif field == "longest":
        found[kind] = Pushrod(id="u", cut_to=CutTo(min=mm("130"), max=value))
    else:
        found[kind] = replace(found[kind], **{field: value})
    return Combination(found, stack)


def broken(checked: Checked) -> list[str]:
    return [each.name for each in checked.limits if each.holds is False]


def agrees(combination: Combination, plan: Plan) -> Checked:
    """The check's answer; the search, asked of a catalogue of these parts alone, has to give the same."""
    checked = check(combination, plan)
    answer = find(Catalogue.of([*combination.parts.values(), *combination.gaskets]), plan)
    assert answer.status == ("nothing_fits" if broken(checked) else "complete")
    assert [each.combination for each in answer.combinations] == ([] if broken(checked) else [combination])
    return checked


@pytest.mark.parametrize("tolerance", ["nominal", "statistical", "worst_case"])
def test_the_build_fits(tolerance: Tolerance) -> None:
    checked = agrees(made(), PLAN.but(tolerance=tolerance))
    assert not broken(checked)
    judged = {each.name for each in checked.limits if each.kind == "rule"}
    without = {"intake_to_piston", "exhaust_to_piston", "pushrod_shortest", "pushrod_longest", "float_speed"}
    assert {each.id for each in PHYSICAL} - without <= judged, "nothing of it is silent"


@pytest.mark.parametrize("rule", CONTACT)
def test_one_size_breaks_one_rule(rule: str) -> None:
    kind, field, *texts = CONTACT[rule]
    breaks, keeps, strays = ((kind, field, text) for text in texts)
    assert broken(agrees(made(breaks), PLAN)) == [rule]
    assert broken(agrees(made(keeps), PLAN)) == []
    assert broken(agrees(made(strays), PLAN)) == []
    for tolerance in ("statistical", "worst_case"):
        assert broken(agrees(made(strays), PLAN.but(tolerance=tolerance))) == [rule]
        assert broken(agrees(made(keeps), PLAN.but(tolerance=tolerance))) == []


def told(some: list[Part], plan: Plan) -> tuple[tuple[str, ...], str]:
    """Requirements and sentence of the conflict."""
    conflict = explain(Catalogue.of(some), plan, find, witness, 60).answer.conflict
    assert conflict is not None
    return conflict.requirements, conflict.because


@pytest.mark.parametrize("rule", CONTACT)
def test_the_conflict_names_the_rule_and_its_parts(rule: str) -> None:
    """No requirement of the plan is to blame: the sentence is the rule's own, with the part that was changed."""
    kind, field, text, *_ = CONTACT[rule]
    combination = made((kind, field, text))
    alone = [replace(each, stackable=False) for each in combination.gaskets]  # a second layer is no way out
    requirements, because = told([*combination.parts.values(), *alone], PLAN)
    assert requirements == ()
    (sentence,) = [each.sentence for each in PHYSICAL if each.id == rule]
    part = STACK[0] if kind == "gasket" else combination.parts[kind]
    start = f"The parts fit one another, but no build of them can run. What is in the way: {sentence} ("
    assert because.startswith(start)
    assert part.id in because.removeprefix(start).partition(")")[0].split(", ")


def test_only_rules_that_are_in_the_way_are_named() -> None:
    """Two cams, one too tall for the barrel and one for head and spring: the rules of one of them are named."""
    some = parts()
    tall = replace(some["cam"], id="c2", base_radius=mm("15"))  # type: ignore[call-arg]
    lifts = replace(some["cam"], id="c3", intake_lobe_lift=mm("10.5"), base_radius=mm("9"))  # type: ignore[call-arg]
    rest = [part for kind, part in some.items() if kind not in ("cam", "pushrod")]
    _, because = told([*rest, *STACK, tall, lifts], PLAN.but(reference={}))
    named = {each.id for each in PHYSICAL if each.sentence in because}
    assert named in ({"lobe_to_barrel"}, {"head_lift", "spring_lift"})
    assert ("c2" in because) == ("lobe_to_barrel" in named)


def test_a_rule_is_named_beside_the_requirement_that_runs_into_it() -> None:
    """Two cams: the goal asks for the taller, which does not pass the barrel's foot."""
    some = parts()
    tall = replace(some["cam"], id="c2", intake_lobe_lift=mm("9.2"))  # type: ignore[call-arg]
    plan = PLAN.but(reference={}, goals={"valve_lift": Goal("valve_lift", minimum=9.0)})
    requirements, because = told([*some.values(), *STACK, tall], plan)
    assert requirements == ("valve_lift.min",)
    assert "What is in the way: the cam's lobes must pass the barrel's foot (b, c2)." in because
    assert "valve lift gets up to 7.60 mm" in because


def test_no_rule_is_named_where_sizes_do_not_match() -> None:
    some = parts()
    some["rod"] = replace(some["rod"], pin=mm("17"))  # type: ignore[call-arg]
    assert told([*some.values(), *STACK], PLAN) == ((), "No parts of the catalogue fit one another.")


def test_a_shorter_pushrod_has_the_adjusters_other_reach() -> None:
    assert broken(agrees(made(("pushrod", "length", "140.2")), PLAN)) == []
    assert broken(agrees(made(("pushrod", "length", "140.19")), PLAN)) == ["pushrod_mismatch"]
    blank = made(("pushrod", "cut_to", "130"))
    assert check(blank, PLAN).figures["adjuster_left_shorter"] == pytest.approx(0.8)  # it is cut to what is needed
    assert broken(agrees(blank, PLAN)) == []


def test_float_keeps_the_margin_that_the_plan_asks_for() -> None:
    speed = check(made(), PLAN).figures["float_speed"]
    ceiling = round(speed / 1.1) - 10.0
    plan = PLAN.but(rev_ceiling=ceiling, conditions=Conditions(float_margin=1.1))
    assert broken(agrees(made(), plan)) == []
    above = plan.but(conditions=Conditions(float_margin=1.15))
    checked = agrees(made(), above)
    assert set(broken(checked)) == {"float_speed", "rev_ceiling"}  # the rev limit goes by the same margin
    (rule,) = [each for each in checked.limits if each.name == "float_speed"]
    assert (rule.bound, rule.value) == (pytest.approx(1.15 * ceiling), pytest.approx(speed))
    assert checked.figures["rev_limit"] == pytest.approx(speed / 1.15)
    assert broken(agrees(made(), PLAN.but(rev_ceiling=ceiling))) == []  # 1.0 unless it is given
    assert broken(agrees(made(), above.but(rev_ceiling=None))) == []


def test_float_strays_with_the_moving_mass() -> None:
    heavier = parts()
    heavier["spring"] = replace(heavier["spring"], moving_mass=parse("100 g ± 20 g", MASS))  # type: ignore[call-arg]
    speed = check(made(), PLAN).figures["float_speed"]
    plan = PLAN.but(rev_ceiling=round(speed) - 50.0)
    assert broken(agrees(made(base=heavier), plan)) == []
    assert set(broken(agrees(made(base=heavier), plan.but(tolerance="worst_case")))) == {"float_speed", "rev_ceiling"}


@pytest.mark.parametrize("material", ["valve spring wire", "unheard-of", None])
def test_a_wire_of_unknown_strength_is_a_caution_and_no_pass(material: str | None) -> None:
    """Stress far beyond any yield: no rule speaks, and the answer says so."""
    some = parts()
    some["spring"] = replace(some["spring"], material=material, rate=parse("60 N/mm", STIFFNESS))  # type: ignore[call-arg]
    checked = agrees(made(base=some), PLAN)
    assert "spring_stress_open" not in {each.name for each in checked.limits}
    assert checked.figures["spring_stress_open"] > 1500
    assert YIELD_UNKNOWN in cautions(checked, PLAN)
    assert YIELD_UNKNOWN not in cautions(check(made(), PLAN), PLAN)


def test_a_wire_outside_the_table_is_not_established() -> None:
    some = parts()
    some["spring"] = replace(some["spring"], wire=mm("7"), material="music wire")  # type: ignore[call-arg]
    checked = check(made(base=some), PLAN)
    assert "spring_yield" not in checked.figures
    assert YIELD_UNKNOWN in cautions(checked, PLAN)


def test_a_rule_that_lacks_its_size_is_silent() -> None:
    some = parts()
    some["piston"] = replace(some["piston"], top_land=None)  # type: ignore[call-arg]
    some["block"] = replace(some["block"], cam_to_barrel=None, rod_room=None)  # type: ignore[call-arg]
    names = {each.name for each in agrees(made(base=some), PLAN).limits}
    assert not names & {"ring_to_deck", "lobe_to_barrel", "rod_to_case"}


def test_an_inertia_without_its_arm_leaves_float_not_established() -> None:
    """What a rocker weighs is not ignored: it counts, or nothing is said of float."""
    some = parts()
    inertia = parse("8 kg*mm2", INERTIA)
    some["rocker"] = replace(some["rocker"], inertia=inertia)  # type: ignore[call-arg]
    checked = agrees(made(base=some), PLAN)
    assert "float_speed" not in checked.figures
    goal = PLAN.but(goals={"float_speed": Goal("float_speed", minimum=1000.0)})
    (gap,) = agrees(made(base=some), goal).not_established
    assert [(each.kind, each.field) for each in gap.missing] == [("rocker", "valve_arm")]
