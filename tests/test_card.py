"""The mock-up card holds every reading against the very thing that is read."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from kitwright.cli.report.blocks import Paragraph
from kitwright.cli.report.notes import note_blocks, notes_data
from kitwright.cli.report.sheet.card import expected, limit
from kitwright.cli.report.sheet.drawing import stack_drawings
from kitwright.cli.report.sheet.page import Picture
from kitwright.solver.check import check
from kitwright.solver.combination import Combination
from kitwright.solver.fields import Decompressor, Rebore
from kitwright.solver.mock_up import MEASUREMENTS, Measurement, card
from kitwright.solver.notes import notes
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.quantity import ANGLE, LENGTH, parse
from kitwright.solver.result import Checked
from tests.random_engines import engine

CUT = Fraction(1, 4000)


def _engine(**known: Any) -> tuple[Combination, Plan]:
    """An engine with a deck cut, a milled head, a spacer and a decompressor."""
    combination, plan = engine(3, toleranced=1.0)
    cam = replace(combination.parts["cam"], decompressor=Decompressor(**known))  # type: ignore[call-arg]
    return replace(combination, parts=dict(combination.parts) | {"cam": cam}, mill=CUT), plan


def _line(what: str) -> Measurement:
    (found,) = [each for each in MEASUREMENTS if each.what == what]
    return found


def _card(checked: Checked, plan: Plan) -> dict[str, tuple[str, str]]:
    return {each.what: (expected(each, checked, plan), limit(each, checked, plan)) for each in card(checked)}


def test_the_deck_is_read_before_its_cut_and_without_a_spacer() -> None:
    combination, plan = _engine(closes=parse("60 deg", ANGLE))
    asked = plan.but(goals={"deck": Goal("deck", minimum=-5.0)})
    assert combination.deck_cut
    bare = replace(
        combination,
        deck_cut=Fraction(0),
        parts={kind: part for kind, part in combination.parts.items() if kind != "spacer"},
    )
    before, after = check(bare, asked), check(combination, asked)
    told, of_bare = _card(after, asked), _card(before, asked)
    assert told["Deck"][0] == of_bare["Deck"][0] != told["Deck, as it will run"][0]
    # as much as is cut and put under: a plan takes the first as its measured deck
    spacer = combination.parts["spacer"].thickness.si  # type: ignore[attr-defined]
    moved = 1000 * (spacer - float(combination.deck_cut))
    assert after.figures["deck"] - before.figures["deck"] == pytest.approx(moved)
    assert told["Deck"][1] == "as it will run: step 6"
    assert told["Deck, as it will run"][1].startswith("at least")
    assert "Deck, as it will run" not in of_bare and of_bare["Deck"][1].startswith("at least")
    assert "before any deck cut" in _line("Deck").where


def test_what_is_measured_before_work_is_what_the_catalogue_has() -> None:
    """Block height, chamber and bore: the sizes before a cut; the bore after boring."""
    combination, plan = _engine()
    block, head = combination.parts["block"], combination.parts["head"]
    told = _card(check(combination, plan), plan)
    assert told["Block height"][0] == str(block.block_height)  # type: ignore[attr-defined]
    assert told["Chamber"][0] == str(head.chamber)  # type: ignore[attr-defined]
    to = parse("72.5 mm", LENGTH)
    borable = replace(block, rebore=Rebore(to=(to,)))  # type: ignore[call-arg]
    bored = replace(combination, rebore=to, parts=dict(combination.parts) | {"block": borable})
    assert _card(check(bored, plan), plan)["Bore"][0] == "72.5 mm"
    for what, state in (
        ("Block height", "before any deck cut"),
        ("Chamber", "before any milling"),
        ("Bore", "after any"),
    ):
        assert state in _line(what).where


def test_the_crown_travels_more_than_the_stroke_where_the_pin_is_offset() -> None:
    combination, plan = _engine()
    piston = replace(combination.parts["piston"], pin_offset=parse("5 mm", LENGTH))  # type: ignore[call-arg]
    crank = replace(combination.parts["crank"], stroke=parse("57 mm ± 0.02 mm", LENGTH))  # type: ignore[call-arg]
    rod = replace(combination.parts["rod"], length=parse("85 mm", LENGTH))  # type: ignore[call-arg]
    parts = dict(combination.parts) | {"piston": piston, "crank": crank, "rod": rod}
    checked = check(replace(combination, parts=parts), plan)
    # √((85 + 28.5)² − 25) − √((85 − 28.5)² − 25) = 57.111 mm
    assert pytest.approx(57.1115, abs=1e-4) == (113.5**2 - 25) ** 0.5 - (56.5**2 - 25) ** 0.5
    value, held = _card(checked, plan)["Stroke"]
    assert value.startswith("57.11") and held == "within its ±"


def test_a_gauge_is_held_against_what_a_gauge_shows() -> None:
    combination, plan = _engine(closes=parse("60 deg", ANGLE))
    asked = plan.but(goals={"cranking_gauge_pressure": Goal("cranking_gauge_pressure", maximum=900.0)})
    checked = check(combination, asked)
    value, held = _card(checked, asked)["Cranking pressure"]
    gauge, absolute = checked.figures["cranking_gauge_pressure"], checked.figures["cranking_pressure"]
    assert absolute - gauge > 80
    assert value.startswith(f"{gauge:.0f} kPa") and held == "at most 900 kPa"
    assert not any(each.compare == "cranking_pressure" for each in MEASUREMENTS)
    assert "decompressor at work" in _line("Cranking pressure").where


def test_a_decompressor_has_lines_of_its_own() -> None:
    known = {"closes": parse("60 deg ± 3 deg", ANGLE), "lift": parse("0.6 mm", LENGTH), "reach": parse("18 mm", LENGTH)}
    combination, plan = _engine(**known)
    told = _card(check(combination, plan), plan)
    assert told["Decompressor"] == ("works", "")
    assert told["Decompressor's closing"] == ("60 deg ± 3 deg", "within its ±")
    assert told["Decompressor's lift"][0] == "0.6 mm"
    assert told["Decompressor's lever to counterweight"][0].endswith("or more")
    without, _ = _engine(fitted=False)
    assert not any("ecompressor" in each.what for each in card(check(without, plan)))
    bare, _ = _engine(fitted=True)
    unknown = _card(check(bare, plan), plan)
    assert unknown["Decompressor's closing"][0] == unknown["Cranking pressure"][0] == "not known"


def test_a_bound_is_expected_as_one() -> None:
    combination, plan = _engine()
    checked = check(combination, plan)
    low = checked.spread["rod_to_cam"]["worst_case"][0]
    assert _card(checked, plan)["Rod and bolts to cam"][0] == f"{low:.3f} mm or more"


# told and drawn


def test_a_decompressor_is_told_and_drawn() -> None:
    known = {"closes": parse("60 deg ± 3 deg", ANGLE), "lift": parse("0.6 mm", LENGTH), "reach": parse("18 mm", LENGTH)}
    combination, plan = _engine(**known)
    checked = check(combination, plan)
    found = notes(checked, plan)
    told = " ".join(each.text for each in note_blocks(found, "mm") if isinstance(each, Paragraph))
    assert "holds its valve 0.6 mm open, lets it shut 60 deg ± 3 deg before top dead centre, reaches 18 mm" in told
    assert notes_data(found)["decompressor"] == pytest.approx({"closes_deg": 60.0, "lift_mm": 0.6, "reach_mm": 18.0})
    drawn, _ = stack_drawings(checked, plan)
    assert isinstance(drawn, Picture) and drawn.numbers is not None
    rows = dict(drawn.numbers.rows)
    near = 1000 * combination.parts["block"].cam_to_crank.si - 18  # type: ignore[attr-defined]
    assert rows["decompressor's lever, nearest to the crank's axis"] == f"{near:.3f} mm"
    assert rows["decompressor holds its valve open"] == "0.60 mm"
    without, _ = _engine(fitted=False)
    plain, _ = stack_drawings(check(without, plan), plan)
    assert isinstance(plain, Picture) and plain.numbers is not None
    assert drawn.svg.count("<circle") == plain.svg.count("<circle") + 1
    assert not any("decompressor" in name for name, _ in plain.numbers.rows)


def test_what_is_not_known_of_a_decompressor_is_said() -> None:
    combination, plan = _engine(fitted=True)
    found = notes(check(combination, plan), plan)
    (told,) = [each.text for each in note_blocks(found, "mm") if isinstance(each, Paragraph) and "Decomp" in each.text]
    assert told.startswith("Decompressor: fitted. Its closing is not known")
    without, _ = _engine(fitted=False)
    assert notes(check(without, plan), plan).decompressor is None
    assert notes_data(notes(check(without, plan), plan))["decompressor"] is None
