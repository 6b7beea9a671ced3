"""Measurements judged: the range that was predicted, what lies outside of it, and what that points to."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitwright.solver import Catalogue
from kitwright.solver.parts import Block, Crank, Head, Part, Piston, Rod
from kitwright.solver.quantity import AREA, LENGTH, VOLUME, Quantity, parse, parse_deck
from kitwright.solver.remeasure import (
    Range,
    implied_block_height,
    judge_deck,
    judge_field,
    predicted_deck,
)


def mm(text: str) -> Quantity:
    return parse(text, LENGTH)


BLOCK = Block(id="b72", bore=mm("72 mm"), block_height=mm("142.00 mm ± 0.10 mm"))
CRANK = Crank(id="k57", stroke=mm("57.00 mm ± 0.05 mm"), journal=mm("30 mm"), counterweight_radius=mm("33 mm ± 0.4 mm"))
RODS = [
    Rod(id=f"r{length}", length=mm(f"{length}.00 mm ± 0.05 mm"), big_end=mm("30 mm"), pin=mm("16 mm"))
    for length in (84, 85, 86)
]
OTHER_JOURNAL = replace(RODS[2], id="r86-32", big_end=mm("32 mm"))
PISTON = Piston(id="p28", bore=mm("72 mm"), compression_height=mm("28.00 mm ± 0.05 mm"), pin=mm("16 mm"))
HEAD = Head(id="h23", chamber=parse("23.0 cc ± 0.5 cc", VOLUME), chamber_area=parse("40 cm2", AREA))
HEADS = [HEAD, replace(HEAD, id="h25", chamber=parse("25.0 cc ± 0.2 cc", VOLUME))]
CATALOGUE = Catalogue.of([BLOCK, CRANK, *RODS, OTHER_JOURNAL, PISTON, *HEADS])
PARTS: dict[str, Part] = {"block": BLOCK, "crank": CRANK, "rod": RODS[1], "piston": PISTON}


def hints(text: str) -> dict[str, list[str]]:
    finding = judge_deck(PARTS, parse_deck(text), CATALOGUE)
    assert finding.plausible is False
    found: dict[str, list[str]] = {}
    for hint in finding.hints:
        found.setdefault(hint.what, []).append(hint.part or hint.unit or f"{1000 * hint.value:.3f}")
    return found


def test_the_prediction_is_the_sum_and_its_spread_the_sum_of_all_tolerances() -> None:
    found = predicted_deck(PARTS)
    assert 1000 * found.value == pytest.approx(142 - 28.5 - 85 - 28)
    assert 1000 * found.tolerance == pytest.approx(0.10 + 0.025 + 0.05 + 0.05)


@pytest.mark.parametrize("text", ["0.50 mm down", "0.72 mm down", "0.275 mm down", "0.76 mm down ± 0.05 mm"])
def test_what_lies_within_is_plausible(text: str) -> None:
    found = judge_deck(PARTS, parse_deck(text), CATALOGUE)
    assert found.plausible is True and found.hints == ()


def test_far_from_the_prediction_points_to_a_bearing_and_to_sizes() -> None:
    """Predicted 0.50 ± 0.23, measured 0.85: another rod, or a loose bearing."""
    found = judge_deck(PARTS, parse_deck("0.85 mm down ± 0.02 mm"), CATALOGUE)
    assert found.plausible is False and 1000 * found.beyond == pytest.approx(0.85 - 0.02 - 0.725)
    assert hints("0.85 mm down ± 0.02 mm") == {"bearing": ["0.350"], "size": ["r85", "p28", "b72"]}
    sizes = {hint.field: 1000 * hint.value for hint in found.hints if hint.what == "size"}
    assert sizes == pytest.approx({"length": 84.65, "compression_height": 27.65, "block_height": 142.35})


def test_a_rod_one_size_off_is_named_and_one_that_does_not_fit_is_not() -> None:
    assert hints("1.52 mm down ± 0.02 mm")["part"] == ["r84"]
    assert hints("0.48 mm up ± 0.02 mm")["part"] == ["r86"]


def test_the_sign() -> None:
    assert hints("0.48 mm up ± 0.02 mm")["sign"] == ["0.480"]
    assert "sign" not in hints("1.52 mm down ± 0.02 mm")


@pytest.mark.parametrize(("text", "unit"), [("0.02 mm down", "in"), ("20 mm down", "thou"), ("0.5 in down", "mm")])
def test_a_number_in_another_unit(text: str, unit: str) -> None:
    assert hints(text)["unit"] == [unit]


def test_a_deck_that_was_cut_before() -> None:
    assert hints("0.10 mm down ± 0.02 mm")["cut"] == ["0.400"]


def test_the_block_height_that_follows_has_the_tolerances_of_the_others_added() -> None:
    found = implied_block_height(PARTS, parse_deck("0.32 mm down ± 0.02 mm"))
    assert (found.block, 1000 * found.value) == ("b72", pytest.approx(141.82))
    assert 1000 * found.tolerance == pytest.approx(0.02 + 0.025 + 0.05 + 0.05)


@given(st.floats(-3, 3), st.floats(0, 3))
def test_a_block_of_the_implied_height_has_the_measured_deck(deck: float, offset: float) -> None:
    """With the implied height in the block's place the prediction is the measurement, whatever the pin offset."""
    piston = replace(PISTON, pin_offset=mm(f"{offset:.3f} mm"))
    parts: dict[str, Part] = {**PARTS, "piston": piston}
    word = "down" if deck >= 0 else "up"
    found = implied_block_height(parts, parse_deck(f"{abs(deck):.4f} mm {word}"))
    block = replace(BLOCK, block_height=mm(f"{1000 * found.value:.9f} mm"))
    predicted = predicted_deck({**parts, "block": block})
    assert 1000 * predicted.value == pytest.approx(round(deck, 4), abs=1e-6)
    reach = math.sqrt((85 + 28.5) ** 2 - round(offset, 3) ** 2)
    assert 1000 * found.value == pytest.approx(round(deck, 4) + reach + 28, abs=1e-6)


def test_a_field_within_and_outside() -> None:
    assert judge_field(CRANK, "counterweight_radius", mm("33.1 mm ± 0.02 mm"), CATALOGUE).plausible is True
    found = judge_field(CRANK, "counterweight_radius", mm("66.2 mm ± 0.1 mm"), CATALOGUE)
    assert found.plausible is False and [hint.what for hint in found.hints] == ["diameter"]


def test_a_throw_for_a_stroke_and_another_rod() -> None:
    throw = judge_field(CRANK, "stroke", mm("28.5 mm"), CATALOGUE)
    assert [hint.what for hint in throw.hints] == ["throw"]
    rod = judge_field(RODS[1], "length", mm("86.02 mm ± 0.02 mm"), CATALOGUE)
    assert [(hint.what, hint.part) for hint in rod.hints] == [("part", "r86"), ("part", "r86-32")]


def test_a_head_that_was_worked_on_before() -> None:
    less = judge_field(HEAD, "chamber", parse("21.0 cc ± 0.2 cc", VOLUME), CATALOGUE)
    assert [(hint.what, round(1000 * hint.value, 6)) for hint in less.hints] == [("milled", 0.5)]
    more = judge_field(HEAD, "chamber", parse("25.1 cc ± 0.2 cc", VOLUME), CATALOGUE)
    assert [(hint.what, hint.part) for hint in more.hints] == [("opened", ""), ("part", "h25")]


def test_what_was_unknown_is_neither() -> None:
    found = judge_field(CRANK, "journal_width", mm("26 mm"), CATALOGUE)
    assert (found.plausible, found.predicted, found.hints) == (None, None, ())


def test_a_value_written_without_tolerance_leaves_a_little_room() -> None:
    assert judge_field(BLOCK, "bore", mm("72.2 mm"), CATALOGUE).plausible is True
    assert judge_field(BLOCK, "bore", mm("72.5 mm"), CATALOGUE).plausible is False


def test_a_range_and_a_value_that_touch_meet() -> None:
    assert Range(1.0, 0.5, 1.5).beyond(2.0, 0.5) == 0.0
    assert Range(1.0, 0.5, 1.5).beyond(0.2, 0.1) == pytest.approx(0.2)
