"""Bearing play and piston rock in the quench at speed, and what is said of what it counts and leaves out."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest

from kitwright.cli.report.as_json import check_data
from kitwright.cli.report.at_speed import at_speed_blocks, at_speed_data
from kitwright.cli.report.checked import check_report
from kitwright.cli.report.sheet.content import Others, build_sheet
from kitwright.solver import Combination, Plan, check, find
from kitwright.solver.at_speed import at_speed
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.faults import faults_of
from kitwright.solver.formulas.at_ceiling import bearing_play, piston_rock
from kitwright.solver.plan import Conditions, Goal
from kitwright.solver.quantity import LENGTH, parse
from tests.test_heat import G5, HOT, build, plan


def mm(text: str) -> Any:
    return parse(text, LENGTH)


PLAY = {
    "crank": {"main_clearance": mm("0.04 mm")},
    "rod": {"big_end_clearance": mm("0.015 mm"), "pin_clearance": mm("0.03 mm")},
    "piston": {},
}
ROCK = {"skirt_clearance": mm("0.08 mm"), "skirt_length": mm("40 mm")}


def with_fields(combination: Combination, **fields: dict[str, Any]) -> Combination:
    parts = {kind: replace(part, **fields.get(kind, {})) for kind, part in combination.parts.items()}
    return replace(combination, parts=parts)


# the figures


def test_g5_with_its_clearances() -> None:
    """The worked example as it stands, bearings and all."""
    view = View(with_fields(build(), **PLAY), plan(**HOT))
    assert view.value("quench_at_speed") == pytest.approx(G5["out"]["min_clearance_mm"][2], abs=1e-6)
    names = ("main_play", "big_end_play", "small_end_play", "boss_play")
    assert sum(view.value(name) for name in names) == pytest.approx(G5["out"]["bearing_takeup_mm"])
    more = with_fields(build(), **(PLAY | {"piston": {"pin_clearance": mm("0.01 mm")}}))
    assert View(more, plan(**HOT)).value("quench_at_speed") == pytest.approx(
        G5["out"]["min_clearance_mm"][2] - 0.005, abs=1e-6
    )


@pytest.mark.parametrize(
    ("clearance", "length", "bore", "offset"),
    [(0.08, 40, 68, 0.0), (0.05, 55, 72, 1.0), (0.15, 30, 64, 2.0), (0.03, 25, 40, 0.5)],
)
def test_rock_beside_a_rectangle_turned_in_its_bore(
    clearance: float, length: float, bore: float, offset: float
) -> None:
    """scipy tilts a skirt of width bore − clearance until it touches both walls; the crown's edge is then read off."""
    optimize = pytest.importorskip("scipy.optimize")
    width, height = bore - clearance, 28.0

    def overlap(angle: float) -> float:
        return width * math.cos(angle) + length * math.sin(angle) - bore

    angle = optimize.brentq(overlap, 0.0, 2 * clearance / length, xtol=1e-15)
    edge = bore / 2 + offset  # across the pin, as far out as the bore
    rise = edge * math.sin(angle) + height * math.cos(angle) - height
    formula = 1000 * float(piston_rock(clearance / 1e3, length / 1e3, bore / 1e3, offset / 1e3))
    assert formula == pytest.approx(rise, rel=0.012)
    assert formula > 0.9 * clearance * bore / 2 / length


def test_typical_values() -> None:
    """Typical of a small engine, common practice, no source: play 0.045 mm and rock 0.068 mm."""
    play = sum(float(bearing_play(each / 1e3)) for each in (0.03, 0.04, 0.02))
    assert 1000 * play == pytest.approx(0.045)
    assert 1000 * float(piston_rock(0.08e-3, 0.040, 0.068, 0.0)) == pytest.approx(0.068)
    assert 1000 * float(piston_rock(0.08e-3, 0.040, 0.068, -0.001)) == pytest.approx(0.070)


def test_clearances_bring_their_tolerances() -> None:
    loose = {"crank": {"main_clearance": mm("0.04 mm ± 0.02 mm")}, "piston": ROCK}
    loose["piston"] = ROCK | {"skirt_clearance": mm("0.08 mm ± 0.03 mm")}
    exact, toleranced = (View(with_fields(build(), **some), plan()) for some in (PLAY | {"piston": ROCK}, loose))
    low, high = exact.spread("quench_at_speed", "worst_case")
    assert high == pytest.approx(low, abs=1e-12)
    low, high = toleranced.spread("quench_at_speed", "worst_case")
    rock = 0.03 * 36 / 40
    assert (high - low) / 2 == pytest.approx(0.01 + rock, abs=1e-9)
    low, high = toleranced.spread("quench_at_speed", "statistical")
    assert (high - low) / 2 == pytest.approx(math.hypot(0.01, rock), abs=1e-6)


def test_the_search_takes_them_off_too() -> None:
    cold = View(build(), plan()).value("quench_at_speed")
    wanted = plan().but(goals={"quench_at_speed": Goal("quench_at_speed", minimum=cold - 0.05)})
    for some, fits in ((PLAY, True), (PLAY | {"piston": ROCK}, False)):
        made = with_fields(build(), **some)
        catalogue = Catalogue.of([*made.parts.values(), *made.gaskets])
        assert bool(find(catalogue, wanted).combinations) is fits
        assert check(made, wanted).fits is fits


# what is said


def lines(combination: Combination, wanted: Plan) -> list[str]:
    return [
        line for block in at_speed_blocks(check(combination, wanted), wanted) for line in (block.title, *block.items)
    ]


def test_what_has_no_temperature_and_no_clearance_is_named() -> None:
    title, counted, left = lines(build(), plan(rod=HOT["rod"]))
    assert title.startswith("Quench at speed 0.805 mm")
    assert counted == "counted: rod stretch −0.059 mm; heat of rod −0.136 mm"
    assert "heat of block, crank, piston (no temperature is given)" in left
    assert "bearing play of main bearings, big end, pin in the small end, pin in the piston" in left
    assert "crank k has no main_clearance" in left and "rod r has no big_end_clearance, pin_clearance" in left
    assert "piston rock (piston p has no skirt_clearance, skirt_length)" in left


def test_what_is_given_is_counted() -> None:
    full = PLAY | {"piston": {"pin_clearance": mm("0.01 mm"), **ROCK}}
    title, counted = lines(with_fields(build(), **full), plan(**HOT))
    assert title == "Quench at speed 0.789 mm"
    assert "heat of barrel +0.107 mm, case +0.15 mm, crank −0.03 mm, rod −0.136 mm, piston −0.124 mm" in counted
    assert "bearing play of main bearings −0.02 mm" in counted and "piston rock −0.072 mm" in counted


def test_half_of_what_rock_needs_is_named_as_the_other_half() -> None:
    half = with_fields(build(), piston={"skirt_clearance": mm("0.08 mm")})
    assert View(half, plan()).value("quench_at_speed") == View(build(), plan()).value("quench_at_speed")
    assert "piston rock (piston p has no skirt_length)" in lines(half, plan())[-1]


def test_a_crank_temperature_without_its_material_is_named() -> None:
    bare = with_fields(build(), crank={"material": None})
    title, wanting, *_ = lines(bare, plan(**HOT))
    assert title == "Quench at speed not established" and wanting == "wanting: crank k has no material"
    poor = with_fields(bare, rod={"shank_area": None})  # and where something else is missing, too
    found = View(poor, plan(**HOT)).missing("quench_at_speed")
    assert {(each.kind, each.field) for each in found} == {("crank", "material"), ("rod", "shank_area")}


def test_a_temperature_that_does_not_enter_is_named() -> None:
    assert lines(build(), plan(head=450.0))[-1] == "a temperature that does not enter: head"


def test_nothing_is_said_where_nothing_is_asked() -> None:
    bare = with_fields(build(), rod={"shank_area": None})
    assert lines(bare, plan()) == []
    assert lines(build(), Plan(conditions=Conditions(temperatures=HOT))) == []
    assert at_speed(View(build(), plan())) is not None


def test_check_sheet_and_json_say_it() -> None:
    wanted = plan(**HOT)
    checked = check(build(), wanted)
    (block,) = at_speed_blocks(checked, wanted)
    assert block in check_report(checked, wanted)
    figures = next(each for each in build_sheet(checked, wanted, Others()).sections if each.name == "figures")
    assert block in figures.blocks
    data = json.loads(json.dumps(check_data(checked, wanted)))["quench_at_speed"]
    assert data == json.loads(json.dumps(at_speed_data(checked, wanted)["quench_at_speed"]))
    assert data["counted_mm"]["heat"]["rod"] == pytest.approx(-G5["out"]["thermal_mm"]["rod"], abs=1e-6)
    assert data["not_counted"]["piston_rock"] == [
        {"part": "p", "field": "skirt_clearance"},
        {"part": "p", "field": "skirt_length"},
    ]
    assert data["counted_mm"]["piston_rock"] is None


def test_the_search_reads_a_clearance_without_a_length_as_no_rock() -> None:
    """Where no piston at all has a length of skirt, the other facets are looked at with one of 0."""
    made = with_fields(build(), piston={"skirt_clearance": mm("0.08 mm")})
    cold = View(made, plan()).value("quench_at_speed")
    goal = Goal("quench_at_speed", minimum=cold - 0.05, maximum=cold + 0.05)
    catalogue = Catalogue.of([*made.parts.values(), *made.gaskets])
    assert find(catalogue, plan().but(goals={"quench_at_speed": goal})).combinations


def test_a_skirt_longer_than_its_piston_is_a_fault() -> None:
    made = with_fields(build(), piston=ROCK | {"skirt_below_pin": mm("19 mm")}).parts["piston"]
    assert list(faults_of(made)) == []
    ((field, problem, _),) = faults_of(replace(made, skirt_length=mm("60 mm")))  # type: ignore[call-arg]
    assert field == "skirt_length" and "51 mm from crown to edge" in problem
