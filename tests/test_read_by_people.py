"""What a builder reads: nothing said twice, nothing that reads as something else, no row and tick that say nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kitwright.catalogs import load_plan
from kitwright.cli.report.blocks import Column, Section, Table, Title
from kitwright.cli.report.numbers import style
from kitwright.cli.report.sheet.chart import Axis, tick_text
from kitwright.cli.report.sheet.plots import alternatives_plot
from kitwright.cli.report.table import as_text
from kitwright.cli.report.words import missed, missing_text
from kitwright.solver import find
from kitwright.solver.combination import Missing
from kitwright.solver.result import Limit
from tests.cli_runner import plan, run

ROOT = Path(__file__).parent.parent
PUMP = ROOT / "examples" / "pump-house" / "plan.yaml"
CHOSEN = (
    "rod=r98 gasket=g59 head=h255 cam=c61 rocker=rk115 spring=s212 retainer=t0 pushrod=pr140 flywheel=f45 block=b71"
)
FAILING = ["check", plan("stack-not-needed"), "--use", "rod=r86", "--use", "gasket=g050"]


def said(*words: str | Path) -> str:
    return " ".join(run(*words).stdout.split())


# The verdict


def test_check_says_its_verdict_once_and_in_its_colour() -> None:
    fits = said("check", PUMP, *(word for each in CHOSEN.split() for word in ("--use", each)))
    assert fits.startswith("pump house, the whole engine: it fits What you asked: ")
    assert said(*FAILING).lower().count("it does not fit") == 1
    green, red = "\x1b[32m", "\x1b[31m"
    assert green in as_text([Title("it fits", 1, "good")], 80, True)
    assert red in as_text([Title("it does not fit", 1, "bad")], 80, True)
    assert green not in as_text([Title("neither", 1)], 80, True)
    assert as_text([Title("it fits", 1, "good")], 80, False) == "it fits\n"


def test_what_is_on_paper_is_nowhere_told_as_proved() -> None:
    """The long cam has no rating: the rev limit is an upper bound in every place, and nothing *still fits*."""
    chosen = CHOSEN.replace("c61", "c67").replace("rk115", "rk100").split()
    words = [PUMP, *(word for each in chosen for word in ("--use", each))]
    text, page = said("check", *words), run("sheet", *words, "--alone").stdout
    assert "it fits on paper Nothing that can be worked out fails" in text
    assert "still fits" not in text and "What can be worked out still holds with every tolerance" in text
    assert "rev limit, at most 4500 rpm" in text
    assert "<strong>at most 4500 rpm</strong>" in page and "<strong>4500 rpm</strong>" not in page
    assert 'class="good"' not in page and "it fits on paper" in page


# Tables that go on below themselves


def test_a_table_that_goes_on_leaves_out_the_rows_that_say_nothing_there() -> None:
    columns = (Column("part"), Column("name"), Column("note"))
    rows = (
        Section("first"),
        ("rod", "x" * 30, ""),
        Section("second"),
        ("gasket", "y" * 30, "z" * 30),
        Section("third"),
        ("head", "w" * 30, ""),
    )
    first, _, second = as_text([Table(columns, rows)], 45).partition("note\n")
    assert [word in first for word in ("rod", "gasket", "head", "first", "second", "third")] == [True] * 6
    assert [word in second for word in ("rod", "gasket", "head", "first", "second", "third")] == [
        False,
        True,
        False,
        False,
        True,
        False,
    ]
    assert "z" * 30 in second


# What is missing, and by how much


def test_a_kind_without_a_part_does_not_list_its_fields() -> None:
    lacking = [Missing("cam", None, "base_radius"), Missing("cam", None, "max_rpm"), Missing("rod", "r1", "width")]
    assert missing_text(lacking) == ["no cam is chosen", "rod r1 has no width"]


@pytest.mark.parametrize(
    ("value", "ends"), [(0.0, "wanted more than 0"), (1e-17, "wanted more than 0"), (-0.2, "0.20 mm short")]
)
def test_a_limit_that_is_just_touched_is_not_missed_by_nothing(value: float, ends: str) -> None:
    limit = Limit("rule", "quench_positive", "quench", "min", 0.0, value, False, strict=True)
    assert missed(limit, "mm").endswith(ends)


def test_a_mend_is_of_the_limit_that_asks_most() -> None:
    """A quench of 0.02 mm, though 0.90 mm are wanted, is no build to make."""
    text = said(*FAILING)
    assert "One change that mends everything" in text and "mends compression max" in text
    assert "mends piston to head" not in text and "quench is then 0.02 mm" not in text
    assert "others stay missed" not in text  # the line above them says so


# Decks


def test_a_deck_that_is_up_does_not_read_as_up_to() -> None:
    """`from 0.66 mm up to 0.51 mm up`: where the first ends nobody sees."""
    next_ = said("measure-next", PUMP)
    sheet = said("sheet", PUMP, "--rank", "1", "--format", "markdown")
    assert "between 0.659 mm up and 0.514 mm up" in next_
    for text in (next_, sheet):
        assert not re.search(r"\d mm up to \d", text)
    assert "; deck 0.517 mm up, quench" in said("stack", PUMP)


# Numbers


def test_two_ways_to_one_value_are_rounded_alike() -> None:
    form = style("mm", [6.915, 6.8805])
    assert form.text(6.8805 + 2e-15) == form.text(6.8805 - 2e-15) == form.text(6.8805)


# The sheet


def test_closeness_has_no_halves_and_money_that_is_all_one_has_one_tick() -> None:
    assert Axis(-0.1, 2.3, "closeness", whole=True).places(5) == (0.0, 1.0, 2.0)
    assert tick_text(12.5, (12.5,)) == "12.5"
    asked, catalogue = load_plan(plan("stack-not-needed"))
    found = find(catalogue, asked)
    builds = [(str(rank), each) for rank, each in enumerate(found.combinations, 1)]
    assert {each.cost for _, each in builds} == {0.0}
    drawn = re.findall(r"<text[^>]*>([^<]*)</text>", alternatives_plot(builds, None).svg)  # type: ignore[union-attr]
    assert "money still to be spent" in drawn and not [each for each in drawn if "." in each]


def test_labels_of_two_limits_do_not_run_into_one_another() -> None:
    """Of the failing build both limits of compression stand far left of the drawn builds, near one another."""
    page = run("sheet", plan("stack-not-needed"), "--use", "rod=r86", "--use", "gasket=g050").stdout
    places = {
        side: float(re.search(rf'<text [^>]*y="([\d.]+)"[^>]*>{side} 9\.', page).group(1))  # type: ignore[union-attr]
        for side in ("min", "max")
    }
    assert abs(places["min"] - places["max"]) >= 12


def test_the_list_sheet_says_its_cautions_in_one_place() -> None:
    assert "say what to do" in said("find", PUMP, "--top", "2")
    sheet = said("sheet", PUMP, "--top", "2", "--format", "markdown")
    assert "say what to do" not in sheet and "Before one runs" in sheet


# The data that comes with it


@pytest.mark.parametrize("path", ["catalogs/starter/plan.yaml", "examples/pump-house/plan.yaml"])
def test_every_rule_of_the_first_build_can_be_worked_out(path: str) -> None:
    asked, catalogue = load_plan(ROOT / path)
    first = find(catalogue, asked).combinations[0]
    assert first.verdict == "fits" and not first.unworked
    assert {"lobe_to_barrel", "spring_stress_open"} <= {each.name for each in first.limits}


@pytest.mark.parametrize("path", ["catalogs/starter/plan.yaml", "examples/pump-house/plan.yaml"])
def test_what_a_spring_must_follow_holds_no_rocker_and_no_pushrod(path: str) -> None:
    """A valve of 28 mm, its retainer and keys: some 50 g; a third of the spring: its wire's, at 7.85 g/cm³."""
    _, catalogue = load_plan(ROOT / path)
    weighed = [each for each in catalogue.of_kind("spring") if each.moving_mass and each.wire]  # type: ignore[attr-defined]
    assert weighed
    rockers = catalogue.of_kind("rocker")
    for each in weighed:
        wire, coil, coils = (getattr(each, name).si for name in ("wire", "coil_diameter", "total_coils"))
        third = 7850 * 3.1416**2 / 4 * wire**2 * coil * coils / 3
        rocker = 0.0 if any(some.inertia for some in rockers) else 0.016  # type: ignore[attr-defined]
        assert 0.045 < each.moving_mass.si - third - rocker < 0.055  # type: ignore[attr-defined]


def test_a_column_in_which_nothing_is_missing_is_not_shown() -> None:
    assert "to buy, no price" not in said("shelf", "check", "--plan", PUMP)


def test_of_several_engines_each_says_what_its_first_build_costs() -> None:
    """The saw's has nothing to buy, and still pays the machinist."""
    text = said("find", ROOT / "examples" / "two-engines" / "plan.yaml", "--top", "1")
    assert "For the first: to buy: r955; labour 20.00; together 95.00." in text
    assert "For the first: labour 20.00; together 20.00." in text
