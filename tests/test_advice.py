"""Usual ranges: they have sources, do not contradict one another, are for the parts at hand, and place a value.

What is outside the project here: an estimate of knock written apart (:mod:`tests.knock`), and the cranking pressure of
a compression written out below.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.catalogs.advice import bundled_advice, default_advice
from kitwright.catalogs.problems import Problem
from kitwright.catalogs.read_yaml import read_yaml
from kitwright.cli.report.notes import PRACTICE, note_blocks
from kitwright.solver import check
from kitwright.solver.check import View
from kitwright.solver.combination import Combination, Reader
from kitwright.solver.evaluate import compute
from kitwright.solver.formulas.cam_curve import LobeCurve
from kitwright.solver.formulas.materials import MATERIALS
from kitwright.solver.notes import NOT, OR, Notes, Remark, applies, notes
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Advice, Goal, Plan
from kitwright.solver.registry import public_figures
from tests import random_motion
from tests.cli_runner import run
from tests.knock import MOVED, octane, trapped
from tests.random_engines import engine
from tests.test_twin import compare, fitting
from tests.twin import everything

ROOT = Path(__file__).parent.parent
FUELS = default_advice()["compression"]
GAUGE = default_advice()["cranking_gauge_pressure"]
EVERY = [each for ranges in default_advice().values() for each in ranges]
CLOSINGS = (40, 45, 50, 55, 60)
"""Degrees after bottom between which an intake usually closes, seat to seat; common practice, no source."""


def gauge(compression: float, closes: float, rod_throws: float = 3.5) -> float:
    """Cranking pressure on a gauge at sea level, in kPa, with an exponent of 1.25."""
    return float(101.325 * (trapped(compression, closes, rod_throws) ** 1.25 - 1))


def ron(advice: Advice) -> float:
    found = re.search(r"\((\d+) RON\)", advice.words)
    assert found is not None
    return float(found[1])


def ends(advice: Advice) -> tuple[float, float]:
    assert advice.minimum is not None and advice.maximum is not None
    return advice.minimum, advice.maximum


# Fuels.


@pytest.mark.parametrize(("compression", "asked"), [(8.5, 84), (9.5, 92), (10.5, 100), (11.0, 103)])
def test_the_estimate_of_knock_agrees_with_another_of_the_same_kind(compression: float, asked: float) -> None:
    """Octane numbers of an estimate that was written by others, at full throttle, 3600 rpm and a charge of 370 K."""
    assert octane(compression) == pytest.approx(asked, abs=1.0)


def test_how_far_its_assumptions_move_the_estimate_is_said() -> None:
    basis = FUELS[0].basis
    asked = {ratio: octane(ratio) for ratio in (8.5, 9.5, 10.5, 11.0)}
    for ratio, number in asked.items():
        assert f"{number:.0f} at {'a compression of ' if ratio == 8.5 else ''}{ratio:g}" in basis
    for ratio, number in asked.items():
        less = [number - octane(ratio, MOVED[name]) for name in ("charge 350 K", "closing 60°", "0.9 atm")]
        assert min(less) > 4 and max(less) < 7
        assert 9 < octane(ratio, MOVED["2400 rpm"]) - number < 14


@pytest.mark.parametrize("fuel", FUELS[:4], ids=lambda each: each.words)
def test_the_upper_end_of_a_petrol_leaves_a_little_to_the_estimate(fuel: Advice) -> None:
    aki = int(re.findall(r"(\d+) AKI", fuel.words)[0])
    assert ron(fuel) == aki + 5
    assert 2.0 <= ron(fuel) - octane(ends(fuel)[1]) <= 4.5


def test_petrols_meet_and_nothing_is_left_between_them_and_alcohol() -> None:
    for low, high in pairwise(FUELS):
        assert ends(high)[0] <= ends(low)[1]
    assert [ends(low)[1] for low in FUELS[:3]] == [ends(high)[0] for high in FUELS[1:4]]
    assert [each.words for each in FUELS[4:]] == ["ethanol", "methanol"]


# Compression and cranking pressure.


def test_the_same_fuels_stand_under_both() -> None:
    assert [each.words for each in FUELS] == [each.words for each in GAUGE]


@pytest.mark.parametrize("rod_throws", [3.2, 3.5, 4.0])
@pytest.mark.parametrize("closes", CLOSINGS)
def test_no_compression_contradicts_the_pressure_that_goes_with_it(closes: float, rod_throws: float) -> None:
    for fuel, pressure in zip(FUELS, GAUGE, strict=True):
        low, high = ends(fuel)
        for part in range(11):
            shown = gauge(low + (high - low) * part / 10, closes, rod_throws)
            assert ends(pressure)[0] <= shown <= ends(pressure)[1], (fuel.words, shown)


def test_the_ranges_of_pressure_are_no_wider_than_they_need_be() -> None:
    for fuel, pressure in zip(FUELS, GAUGE, strict=True):
        assert 0 <= gauge(ends(fuel)[0], CLOSINGS[-1], 4.0) - ends(pressure)[0] < 10
        assert 0 <= ends(pressure)[1] - gauge(ends(fuel)[1], CLOSINGS[0], 3.2) < 10


@pytest.mark.parametrize(("compression", "kilopascals"), [(8.5, 1160), (10.5, 1535)])
def test_what_once_contradicted(compression: float, kilopascals: float) -> None:
    """Pressures that others worked out at a closing of 50°: they lie in the range of the fuel of that compression."""
    assert gauge(compression, 50) == pytest.approx(kilopascals, rel=0.01)
    by_ratio = {each.words for each in Remark("compression", compression, FUELS).within}
    by_gauge = {each.words for each in Remark("cranking_gauge_pressure", kilopascals, GAUGE).within}
    assert by_ratio and by_ratio <= by_gauge


def test_a_decompressor_takes_the_cranking_pressure_out_of_it() -> None:
    combination, _ = engine(1, blank=False)
    plain = with_field(combination, "cam", decompressor=None)
    held = with_field(combination, "cam", decompressor=True)
    assert all(applies(each, plain) for each in GAUGE)
    assert not any(applies(each, held) for each in GAUGE)


# All of them.


def test_every_range_says_where_it_comes_from_and_what_it_assumes() -> None:
    assert set(default_advice()) <= set(public_figures())
    wanted = {"quench", "coil_bind_margin", "retainer_margin", "piston_to_valve_intake", "piston_to_valve_exhaust"}
    wanted |= {"mean_piston_speed", "balance_factor", "surge_order", "compression", "cranking_gauge_pressure"}
    wanted |= {"big_end_pressure", "spring_safety", "float_ratio"}
    assert wanted <= set(default_advice())
    for each in EVERY:
        assert not each.own
        assert each.source == PRACTICE or re.search(r"\bed\.|ISO|SAE", each.source), each
        assert len(each.assumes) >= 5 and len(each.basis) >= 20 and not each.assumes.endswith(".")
        assert not each.basis.endswith(".")
        low, high = each.minimum, each.maximum
        assert (low or 0.0) < (float("inf") if high is None else high)


def test_conditions_name_fields_and_materials_that_there_are() -> None:
    names = [each.name for each in MATERIALS]
    for each in EVERY:
        for field, wanted in each.when:
            kind, _, name = field.partition(".")
            assert name in KINDS[kind].__dataclass_fields__
            if name == "material":
                for word in wanted.removeprefix(NOT).split(OR):
                    assert any(f"{known} ".startswith(f"{word} ") for known in names), wanted


def test_the_piston_speeds_of_the_automobiles_of_1985() -> None:
    with (Path(__file__).parent / "data" / "automobile-1985.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    pairs = [(row["stroke_in"], row["peak_rpm"]) for row in rows]
    speeds = [2 * float(stroke) * 0.0254 * float(rpm) / 60 for stroke, rpm in pairs if stroke and rpm]
    basis = default_advice()["mean_piston_speed"][0].basis
    assert f"Of {len(speeds)} cars of 1985" in basis
    assert f"{max(speeds):.1f} m/s at peak power, the average at {sum(speeds) / len(speeds):.1f}" in basis


def test_the_fifteenth_harmonic_of_a_lobe_hardly_moves_a_spring() -> None:
    """Harmonics of a lift over a turn of the cam: from the 15th on each is under a hundredth of the first ones."""
    lobe = LobeCurve(0.0065, np.radians(130), 14.0)
    crank = np.linspace(-360, 360, 7200, endpoint=False)
    inside = np.abs(crank) < 130
    lift = np.where(inside, np.asarray(lobe.lift(np.radians(np.clip(crank, -130, 130)))), 0.0)
    harmonics = 2 * np.abs(np.fft.rfft(lift)) / len(crank)
    assert max(harmonics[15:]) < 0.01 * harmonics[1] < max(harmonics[5:10])


# For the parts at hand.


def with_field(combination: Combination, kind: str, **fields: Any) -> Combination:
    parts = dict(combination.parts)
    parts[kind] = replace(parts[kind], **fields)
    return Combination(parts, combination.gaskets)


@pytest.mark.parametrize(
    ("material", "shown"),
    [
        ("steel", ["steel rod"]),
        ("4340", ["steel rod"]),
        ("aluminium 2024", ["aluminium rod"]),
        (None, ["steel rod", "aluminium rod"]),
        ("unobtainium", ["steel rod", "aluminium rod"]),
        ("grey iron", []),
    ],
)
def test_a_range_is_for_the_rods_material_where_that_is_known(material: str | None, shown: list[str]) -> None:
    combination, _ = engine(1, blank=False)
    built = with_field(combination, "rod", material=material)
    assert [each.words for each in default_advice()["quench"] if applies(each, built)] == shown


@pytest.mark.parametrize(
    ("material", "shown"),
    [
        ("aluminium 356", ["cast piston"]),
        ("cast iron", ["cast piston"]),
        ("nodular iron", ["cast piston"]),
        ("2618", ["forged piston"]),
        ("4032", ["cast piston", "forged piston"]),
        ("aluminium", ["cast piston", "forged piston"]),
        ("steel", ["cast piston", "forged piston"]),
        (None, ["cast piston", "forged piston"]),
        ("unobtainium", ["cast piston", "forged piston"]),
    ],
)
def test_an_alloy_that_does_not_tell_how_a_piston_was_made_rules_nothing_out(
    material: str | None, shown: list[str]
) -> None:
    combination, _ = engine(1, blank=False)
    built = with_field(combination, "piston", material=material)
    found = [each.words for each in default_advice()["mean_piston_speed"] if applies(each, built)]
    assert found == [*shown, "racing piston, rod and bolts"]


def test_the_new_figures_are_told_their_place() -> None:
    combination, plan = engine(1, blank=False)
    checked = check(combination, plan, spreads=False)
    figures = checked.figures
    remarks = {each.figure: each for each in notes(checked, plan, usual=default_advice()).remarks}
    assert remarks["float_ratio"].value == pytest.approx(figures["float_speed"] / float(plan.rev_ceiling or 0))
    assert remarks["big_end_pressure"].value == figures["big_end_pressure"]
    yields = figures["spring_yield_margin"] + figures["spring_stress_open"]
    assert remarks["spring_safety"].value == pytest.approx(yields / figures["spring_stress_open"])


def test_without_the_part_every_range_is_shown() -> None:
    combination, _ = engine(1, blank=False)
    bare = Combination({kind: part for kind, part in combination.parts.items() if kind not in ("rod", "cam")})
    assert all(applies(each, bare) for each in (*default_advice()["quench"], *GAUGE))


# In words.


def said(figure: str, value: float, ranges: tuple[Advice, ...], units: str = "mm") -> str:
    (block,) = note_blocks(Notes((), None, None, (Remark(figure, value, ranges),)), units)
    (text,) = block.items  # type: ignore[union-attr]
    return text


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (8.6, "within petrol of 87 AKI (92 RON): 8.00 to 9.00; others: petrol of 91 AKI"),
        (9.0, "within petrol of 87 AKI (92 RON): 8.00 to 9.00; petrol of 91 AKI (96 RON): 9.00 to 9.50; others: "),
        (12.5, "within ethanol: 11.00 to 13.00; methanol: 12.00 to 14.00; others: petrol of 87 AKI"),
        (7.2, "below petrol of 87 AKI (92 RON): 8.00 to 9.00; others: "),
        (14.6, "above methanol: 12.00 to 14.00; others: "),
    ],
)
def test_a_value_is_told_its_place_among_the_ranges(value: float, words: str) -> None:
    text = said("compression", value, FUELS)
    assert text.startswith(f"compression {value:.2f} — {words}")
    assert text.endswith(". For: full throttle, sea level, air-cooled")
    for fuel in FUELS:
        assert len(re.findall(rf"(?<!\w){re.escape(fuel.words)}:", text)) == 1


def test_between_two_ranges_both_are_named() -> None:
    rods = default_advice()["quench"]
    text = said("quench", 1.2, rods)
    assert "— between steel rod: up to 1.15 mm, and aluminium rod: from 1.30 mm. For: cold and at rest" in text
    assert "between steel rod: up to 45.3 thou, and aluminium rod: from 51.2 thou" in said("quench", 1.2, rods, "in")


def test_a_source_that_is_one_is_named() -> None:
    text = said("surge_order", 12.0, default_advice()["surge_order"])
    assert "within valve spring: 10.00 to 15.00" in text and "Source: Shigley" in text
    assert "Source" not in said("compression", 9.2, FUELS)


def test_a_verdict_is_never_spoken() -> None:
    remarks = [Remark(each.figure, value, (each,)) for each in EVERY for value in (0.1, 1e5)]
    text = " ".join(str(block) for block in note_blocks(Notes((), None, None, tuple(remarks)), "mm"))
    assert not re.search(r"\b(safe|unsafe|too (high|low|small|large)|danger|fails?|passes|ok|good|bad)\b", text, re.I)


# In the pages and the commands.


def test_a_figure_tells_its_usual_ranges() -> None:
    text = " ".join(run("figures", "quench").stdout.split())
    assert "Usual ranges, no verdict" in text
    assert "steel rod 0.90 to 1.15 mm common practice, no source" in text
    assert "For: cold and at rest. Room for stretch" in text
    assert "Usual ranges" not in run("figures", "displacement").stdout


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("quench: {assumes: at rest, basis: room, ranges: {steel: {min: 1 mm}}}", "a range says its `source`"),
        ("quench: {basis: room, ranges: {steel: {min: 1 mm, source: x}}}", "a figure what it `assumes`"),
        ("quench: {steel: {min: 1 mm}}", "a figure has `ranges`"),
        ("quensh: {assumes: cold, basis: room, ranges: {steel: {min: 1 mm, source: x}}}", "`quensh` is no figure"),
        ("quench: {assumes: a, basis: b, ranges: {steel: {mim: 1 mm, source: x}}}", "`mim` is no part of a range"),
    ],
)
def test_a_bundled_range_without_what_it_owes_is_refused(text: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / "advice.yaml"
    path.write_text(text + "\n", encoding="utf-8")
    problems: list[Problem] = []
    bundled_advice(read_yaml(path, problems), problems)
    assert any(words in each.message for each in problems), problems


def test_a_note_of_a_whole_build_takes_what_applies() -> None:
    combination, plan = engine(1, blank=False)
    checked = check(with_field(combination, "rod", material="steel"), plan, spreads=False)
    remarks = {each.figure: each for each in notes(checked, plan, usual=default_advice()).remarks}
    assert [each.words for each in remarks["quench"].ranges] == ["steel rod"]
    assert remarks["surge_order"].value == pytest.approx(
        checked.figures["spring_surge"] / (float(plan.rev_ceiling or 0) / 120)
    )


@lru_cache(maxsize=100)
def surging(seed: int) -> tuple[Any, Plan]:
    """A random question whose plan asks for a surge order in the middle of what its springs have."""
    catalogue, plan = random_motion.question(seed)
    plan = plan.but(goals={}, rev_ceiling=5000.0)
    orders = {
        order
        for spring in catalogue.of_kind("spring")
        for order in (float(compute("surge_order", Reader(Combination({"spring": spring}), plan))),)
        if order == order
    }
    middle = sorted(orders)[len(orders) // 2] if orders else 20.0
    return catalogue, plan.but(goals={"surge_order": Goal("surge_order", minimum=middle, aim=middle + 3)})


def middling(name: str) -> Callable[[int], tuple[Any, Plan]]:
    """Random questions whose plan asks for a figure in the middle of what the combinations have."""

    @lru_cache(maxsize=100)
    def question(seed: int) -> tuple[Any, Plan]:
        catalogue, plan = random_motion.question(seed)
        plan = plan.but(goals={}, rev_ceiling=5000.0)
        values = (View(each, plan).value(name) for each in everything(catalogue, plan))
        known = sorted({value for value in values if value == value})
        middle = round(known[len(known) // 2], 2) if known else 1.0
        return catalogue, plan.but(goals={name: Goal(name, minimum=middle, aim=middle + 0.2, step=0.02)})

    return question


DIFFERING = (9, 10, 11, 46, 50, 61, 63, 67, 123, 140, 178, 185)
"""Seeds of which the combinations differ in both ratios, as far as they are known."""


@pytest.mark.parametrize("name", ["spring_safety", "float_ratio"])
def test_the_search_agrees_with_the_twin_on_ratios(name: str) -> None:
    question = middling(name)
    assert not [line for seed in DIFFERING for line in compare(question, seed)]
    for seed in DIFFERING:
        catalogue, plan = question(seed)
        values = [View(each, plan).value(name) for each in everything(catalogue, plan)]
        assert min(value for value in values if value == value) < (plan.goals[name].minimum or 0.0), "it keeps some out"


def test_the_search_agrees_with_the_twin_on_surge_order() -> None:
    found = [line for seed in range(40) for line in compare(surging, seed)]
    assert not found
    answered = [len(fitting(surging, seed)) for seed in range(40)]
    possible = [sum(1 for _ in everything(*surging(seed))) for seed in range(40)]
    assert sum(0 < some < most for some, most in zip(answered, possible, strict=True)) > 5
