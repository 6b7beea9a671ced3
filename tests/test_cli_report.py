"""The reports' own parts: cells, tables, Markdown, numbers, and what is said where nothing fits."""

from __future__ import annotations

import csv
import doctest
import importlib
import io
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import load_plan
from kitwright.cli.report import write_find
from kitwright.cli.report.as_csv import cell, csv_text
from kitwright.cli.report.as_json import dumped
from kitwright.cli.report.as_markdown import as_markdown
from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Section, Table, Title
from kitwright.cli.report.found import Question
from kitwright.cli.report.numbers import ranks, style
from kitwright.cli.report.table import as_text
from kitwright.cli.report.words import gaps, tightest, to_option
from kitwright.solver import check, find
from kitwright.solver.cautions import CAM_TURNS, PROUD, cautions
from kitwright.solver.combination import Missing
from kitwright.solver.compose import compose
from kitwright.solver.hazards import BY_ID
from kitwright.solver.plan import Plan
from kitwright.solver.result import Answer, Checked, Closest, Conflict, Considered, NotEstablished, WayOut
from tests.cli_runner import WIDEST, plan, run


@pytest.mark.parametrize(
    "name",
    ["cli.report.numbers", "cli.report.as_csv", "cli.report.as_markdown", "cli.report.verdicts", "solver.compose"],
)
def test_examples_in_the_docstrings_hold(name: str) -> None:
    outcome = doctest.testmod(importlib.import_module(f"kitwright.{name}"))
    assert outcome.attempted > 0 and outcome.failed == 0


# CSV


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+2", "@sum", "\t=1", "\r=1", "=cmd|' /C calc'!A0"])
def test_no_text_is_run_by_a_spreadsheet(text: str) -> None:
    assert cell(text) == f"'{text}".replace("\r", "\\r"), "a carriage return would let a terminal write over the line"


def test_numbers_stay_numbers_and_nothing_is_nan() -> None:
    assert [cell(each) for each in (-0.5, 1e-7, 3, True, None, math.nan, math.inf)] == [
        "-0.5",
        "1e-07",
        "3",
        "true",
        "",
        "",
        "",
    ]
    assert csv_text((["a", "b"], [{"a": 'x,"y"', "b": -1}])) == 'a,b\n"x,""y""",-1\n'


def test_a_formula_in_a_catalogue_reaches_no_spreadsheet(tmp_path: Path) -> None:
    (tmp_path / "parts.yaml").write_text(
        'flywheels:\n- {id: "=1+1", name: "@sum(a1)", note: "-2+3", max_rpm: 4500 rpm}\n'
    )
    result = run("shelf", "list", "--catalogue", tmp_path, "--format", "csv")
    row = next(csv.DictReader(io.StringIO(result.stdout)))
    assert (row["id"], row["name"], row["note"]) == ("'=1+1", "'@sum(a1)", "'-2+3")


def test_json_turns_what_is_no_number_into_null() -> None:
    assert json.loads(dumped({"a": math.nan, "b": [math.inf, 1.5], "c": frozenset({"y", "x"})})) == {
        "a": None,
        "b": [None, 1.5],
        "c": ["x", "y"],
    }


# text


WIDE = Table(
    (
        Column("rank", "right"),
        *(Column(f"part {number}", group="parts") for number in range(6)),
        *(Column(f"figure {number} [mm]", "right", "figures") for number in range(6)),
    ),
    tuple((str(rank), *("p" * 8,) * 6, *("1.23",) * 6) for rank in (1, 2)),
)


def test_a_table_that_is_too_wide_breaks_at_its_groups_and_repeats_its_key() -> None:
    lines = as_text([WIDE], WIDEST).splitlines()
    assert max(map(len, lines)) <= WIDEST
    headers = [line.split("  ") for line in lines if line.startswith("rank")]
    assert len(headers) == 2
    assert not any("figure" in word for word in headers[0]) and not any("part" in word for word in headers[1])
    assert sum(line.split()[0] == "2" for line in lines if line.split()) == 2
    text = "\n".join(lines)
    for column in WIDE.columns[1:]:
        assert text.count(column.title) == 1


@pytest.mark.parametrize("width", [60, 80, 100])
def test_every_cell_survives_at_any_width(width: int) -> None:
    lines = as_text([WIDE], width).splitlines()
    assert max(map(len, lines)) <= width
    assert sum(line.count("pppppppp") for line in lines) == 12
    assert sum(line.count("1.23") for line in lines) == 12


def test_long_words_wrap_in_their_cell_and_sections_stand_before_their_rows() -> None:
    text = "words and more words " * 12
    table = Table(
        (Column("name"), Column("meaning", wraps=True)),
        (Section("first"), ("a", text.strip()), Section("second"), ("b", "short")),
    )
    lines = as_text([table], 60).splitlines()
    assert max(map(len, lines)) <= 60
    first, second = lines.index("first"), lines.index("second")
    assert lines[first + 1].split()[0] == "a" and lines[second + 1].split() == ["b", "short"]
    assert " ".join(" ".join(lines[first + 1 : second]).split()) == f"a {text.strip()}"


def test_a_command_can_be_copied_as_it_stands() -> None:
    words = ("kitwright", "find", "my plan.yaml", *("--aim", "compression=10.5") * 6)
    lines = as_text([Command("Next", words)], 60).splitlines()
    assert all(line.endswith(" \\") for line in lines[1:-1]) and not lines[-1].endswith("\\")
    assert "'my plan.yaml'" in lines[1]
    assert all("--aim compression=10.5" in line for line in lines[2:])


def test_colour_only_where_it_is_asked_for() -> None:
    report = [Title("x", 1), Table((Column("holds"),), (("NO",), ("yes",)))]
    assert "\x1b" not in as_text(report)
    coloured = as_text(report, colour=True)
    assert "\x1b[1mx\x1b[0m" in coloured and "NO\x1b[0m" in coloured and "yes\x1b" not in coloured


def test_markdown_escapes_what_it_would_act_on() -> None:
    report = [
        Title("a_b", 1),
        Paragraph("use `--top 3` | *now*"),
        Items("These", ("x_y",)),
        Table((Column("a|b"),), (("c|d",),)),
    ]
    text = as_markdown(report)
    assert text.startswith("# a\\_b\n")
    assert "use `--top 3` \\| \\*now\\*" in text
    assert "- x\\_y" in text
    assert "| a\\|b |\n| :-- |\n| c\\|d |" in text


# numbers


@pytest.mark.parametrize(
    ("unit", "values", "units", "shown"),
    [
        ("mm", [0.5, 1.0], "mm", ["0.50 mm", "1.00 mm"]),
        ("mm", [0.5, 0.875], "mm", ["0.500 mm", "0.875 mm"]),
        ("mm", [-1e-9], "mm", ["0.00 mm"]),
        ("mm", [-0.22], "mm", ["−0.22 mm"]),
        ("mm", [25.4], "in", ["1.0000 in"]),
        ("mm", [0.254, 2.0], "in", ["10.0 thou", "78.7 thou"]),
        ("", [9.5456], "mm", ["9.546"]),
        ("money", [38.0], "in", ["38.00"]),
        ("rpm", [6596.92], "mm", ["6597 rpm"]),
        ("m_s2", [11802.8], "mm", ["11803 m/s²"]),
        ("deg", [30.04], "mm", ["30.0 deg"]),
    ],
)
def test_as_many_digits_as_the_bench_can_use(unit: str, values: list[float], units: str, shown: list[str]) -> None:
    form = style(unit, values, units)
    assert [form.with_unit(value) for value in values] == shown


def test_ranks_are_short() -> None:
    assert ranks([1, 2, 3, 5, 6, 9]) == "1–3, 5, 6, 9"


# what is missing


def test_what_is_missing_is_said_once() -> None:
    crank, rod = Missing("crank", "k57", "max_rpm"), Missing("rod", "r85", "max_rpm")
    lines = gaps(
        [
            (1, [NotEstablished("rev_ceiling", (crank, rod))]),
            (2, [NotEstablished("rev_ceiling", (crank,))]),
            (3, [NotEstablished("rev_ceiling", (crank, Missing("flywheel", None, "max_rpm")))]),
        ]
    )
    assert lines == [
        "rev ceiling — in all: crank k57 has no max_rpm; in 1: rod r85 has no max_rpm; in 3: no flywheel is chosen"
    ]


# nothing fits


def checked(scenario: str, *options: tuple[str, str]) -> tuple[Plan, Checked, Any]:
    wanted, catalogue = load_plan(plan(scenario))
    chosen = wanted.but(use={kind: (part,) for kind, part in options})
    return wanted, check(compose(catalogue, chosen), wanted), catalogue


@pytest.fixture
def refused() -> tuple[Answer, Question]:
    wanted, near, catalogue = checked(
        "compression-against-quench", ("piston", "p274"), ("gasket", "g100"), ("head", "h230")
    )
    conflict = Conflict(
        ("compression.max", "quench.max", "shelf_only"),
        "Inside the quench limits h230 with g100 gives 9.982.",
        (Closest("compression.max", "compression", 9.982, near),),
        (
            WayOut("compression.max", "compression up to 9.99", 9.99, 0.0, near),
            WayOut("shelf_only", "buy p274-dish", False, None, near),
        ),
    )
    answer = Answer(wanted, "nothing_fits", (), Considered(15), conflict)
    return answer, Question("plan.yaml", wanted, ("--gaskets", "1"), ("crank=k57",), catalogue, 10)


def test_where_nothing_fits_the_reasons_and_the_ways_out_are_said(refused: tuple[Answer, Question]) -> None:
    text = write_find(refused[0], "table", refused[1])
    assert "nothing fits" in text.splitlines()[0]
    assert "gives 9.982." in text
    assert "  - compression.max: compression at most 9.00\n  - quench.max: quench at most 1.15 mm\n" in text
    assert "  - shelf_only: from the shelf alone\n" in text
    assert "compression up to 9.99" in text and "buy p274-dish" in text
    assert "kitwright find plan.yaml --use crank=k57 --gaskets 1 --max compression=9.99" in text
    assert max(map(len, text.splitlines())) <= WIDEST
    assert "## " not in text and "| way |" in write_find(refused[0], "markdown", refused[1])


def test_a_conflict_in_json_holds_whole_combinations(refused: tuple[Answer, Question]) -> None:
    found = json.loads(write_find(refused[0], "json", refused[1]))["conflict"]
    assert found["requirements"] == ["compression.max", "quench.max", "shelf_only"]
    assert found["closest"][0]["requirement"] == "compression.max" and found["closest"][0]["value"] == 9.982
    first, second = found["ways_out"]
    assert (first["requirement"], first["to"], first["price"]) == ("compression.max", 9.99, 0.0)
    assert first["combination"]["parts"]["head"] == "h230"
    assert first["combination"]["figures"]["quench_mm"] == pytest.approx(1.1)
    assert second["to"] is False and second["price"] is None


def options() -> Iterator[tuple[str, object, dict[str, str] | None]]:
    yield "quench.max", 2.1, {"--max": "quench=2.1mm"}
    yield "compression.min", 8.5, {"--min": "compression=8.5"}
    yield "cost.max", 42.0, {"--max": "cost=42"}
    yield "rev_ceiling", 5200.0, {"--min": "rev_ceiling=5200rpm"}
    yield "mean_piston_speed.max", 16.0, {"--max": "mean_piston_speed=16m/s"}
    yield "shelf_only", False, {"--no-shelf-only": ""}
    yield "gaskets", 2, {"--gaskets": "2"}
    yield "tolerance", "nominal", {"--tolerance": "nominal"}
    yield "machining", ["relieve"], {"--machining": "mill,relieve"}
    yield "use.crank", None, None
    yield "avoid.g05", None, None


@pytest.mark.parametrize(("requirement", "to", "option"), [*options()])
def test_a_way_out_is_a_command_where_there_is_an_option_for_it(
    requirement: str, to: object, option: dict[str, str] | None
) -> None:
    assert to_option(requirement, to, Plan(machining=frozenset({"mill"}))) == option


# judgement


def test_the_tightest_limit_counts_in_steps_that_matter() -> None:
    wanted, found, _ = checked("stack-not-needed", ("rod", "r85"), ("gasket", "g050"))
    limit = tightest(found, wanted)
    # quench: 0.10 mm in steps of 0.02; compression: 0.254 in steps of 0.05, a little more
    assert limit is not None and (limit.name, limit.limit) == ("quench", "min")


def test_the_cautions_follow_the_combination() -> None:
    wanted, found, _ = checked("stack-not-needed", ("rod", "r86"), ("gasket", "g100"))
    said = cautions(found, wanted)
    assert PROUD in said and BY_ID["flywheel"].line not in said and CAM_TURNS not in said
    wanted, found, _ = checked("revs-against-lift", ("rocker", "rk110"), ("spring", "s-soft"), ("retainer", "t0"))
    said = cautions(found, wanted)
    assert BY_ID["flywheel"].line in said and PROUD not in said
    assert len(said) == len(set(said))


def test_an_answer_that_was_stopped_says_what_is_proved() -> None:
    wanted, catalogue = load_plan(plan("stack-not-needed"))
    found = find(catalogue, wanted)
    stopped = Answer(wanted, "incomplete", found.combinations, found.considered, None, "no closer than 3", 2.0)
    question = Question("plan.yaml", wanted, (), (), catalogue, 10)
    text = " ".join(write_find(stopped, "table", question).split())
    assert "no closer than 3" in text and "before the search was complete" in text
    assert "proven complete" not in text
    assert json.loads(write_find(stopped, "json", question))["proven"] == "no closer than 3"
