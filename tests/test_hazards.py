"""Hazards: every one reaches every command that it concerns, ranked, as words and as data."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from kitwright.solver.hazards import AT_ONCE, HAZARDS, IN_PLAY, RANKS, Hazard
from tests.cli_runner import run

PARTS = """
blocks:
  - {id: b, bore: 70 mm, block_height: 150.10 mm, on_shelf: 1, cam_to_crank: 60 mm}
cranks:
  - {id: k, stroke: 60 mm, journal: 28 mm, on_shelf: 1, max_rpm: 6000 rpm, reworked: [welded, ground]}
rods: [{id: r, length: 94 mm, big_end: 28 mm, pin: 16 mm, on_shelf: 1, max_rpm: 6000 rpm}]
pistons: [{id: p, bore: 70 mm, compression_height: 26 mm, pin: 16 mm, on_shelf: 1}]
gaskets: [{id: g, thickness: 0.95 mm, bore: 70.5 mm, on_shelf: 2}]
heads:
  - {id: h, chamber: 25.2 cc, on_shelf: 1, chamber_area: 40 cm2, mill: {max: 0.2 mm, step: 0.1 mm}}
cams: [{id: c, intake_lobe_lift: 6 mm, exhaust_lobe_lift: 6 mm, on_shelf: 1, max_rpm: 6000 rpm}]
springs: [{id: s, solid_height: 18 mm, on_shelf: 1, max_rpm: 6000 rpm}]
flywheels: [{id: f, max_rpm: 6000 rpm, on_shelf: 1}]
"""
PLAN = """
plan: hazards
catalogue: ./parts
goals:
  quench: {min: 0.70 mm}
  compression: {aim: 8.60}
  rev_ceiling: 5000 rpm
allow: {machining: [mill]}
"""
TAME = re.sub(r", (?:reworked: \[.*?\]|mill: \{.*?\}|max_rpm: 6000 rpm)|flywheels: .*\n", "", PARTS)
"""The same without a weld, a cut, a flywheel and a rated part."""

MOMENT = [each for each in HAZARDS if each.when in AT_ONCE]
COMMANDS = ("find", "explain", "what if", "stack", "remeasure")
"""Commands that list builds, and say in one line what cannot wait."""


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return laid(tmp_path_factory.mktemp("hazards"), PARTS, PLAN)


@pytest.fixture(scope="module")
def tame(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return laid(tmp_path_factory.mktemp("tame"), TAME, PLAN.replace("  rev_ceiling: 5000 rpm\n", ""))


def laid(folder: Path, parts: str, plan: str) -> Path:
    (folder / "parts").mkdir()
    (folder / "parts" / "all.yaml").write_text(parts, encoding="utf-8")
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    return folder / "plan.yaml"


@cache
def said(command: str, plan: Path, form: str) -> str:
    """What a command says of a plan, in one line of text or as JSON."""
    words: tuple[str | Path, ...] = {
        "find": ("find", plan),
        "explain": ("explain", plan),
        "check": ("check", plan, "--machine", "mill=0.1mm"),
        "what if": ("check", plan, "--what-if", "mill=0.2mm"),
        "stack": ("stack", plan),
        "remeasure": ("remeasure", plan, "--deck", "0.10 mm down", "--dry-run"),
        "sheet": ("sheet", plan, "--machine", "mill=0.1mm", "--alone"),
    }[command]
    result = run(*words, "--format", form)
    assert result.exit_code == 0, result.output
    return str(result.stdout)


def data(command: str, plan: Path) -> dict[str, Any]:
    answer = json.loads(said(command, plan, "json"))
    found = answer["what_if"] if command == "what if" else answer
    assert isinstance(found, dict)
    return found


def short(each: Hazard) -> str:
    return each.short.replace("{parts}", "k (welded, ground)")


def in_one_line(command: str, plan: Path, form: str = "table") -> str:
    return " ".join(said(command, plan, form).split())


def where_it_is_said(each: Hazard, plan: Path) -> dict[str, str]:
    """Command to how a hazard is said there: in full, in one line, or not at all."""
    told = {}
    for command in (*COMMANDS, "check", "sheet"):
        text = in_one_line(command, plan, "markdown" if command == "sheet" else "table")
        full = each.line in text
        brief = bool(each.short) and short(each) in text
        card = command == "sheet" and bool(each.at_bench) and each.at_bench.lower() in text.lower()
        told[command] = ", ".join(
            word for word, there in (("in full", full), ("in one line", brief), ("on the card", card)) if there
        )
    return told


# the data


def test_the_data_is_whole_and_ranked() -> None:
    assert len({each.id for each in HAZARDS}) == len({each.hazard for each in HAZARDS}) == len(HAZARDS)
    order = [list(RANKS).index(each.rank) for each in HAZARDS]
    assert order == sorted(order) and set(order) == {0, 1, 2}
    assert [each.id for each in HAZARDS[:2]] == ["flywheel", "governor"]
    assert all(each.when in IN_PLAY and each.text.endswith(".") and each.source for each in HAZARDS)
    assert set(IN_PLAY) == {each.when for each in HAZARDS}
    assert all(each.short for each in MOMENT if each.when != "ground") and not any(
        each.short for each in HAZARDS if each not in MOMENT
    )


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("carbon_monoxide", ("Carbon monoxide", "outside")),
        ("rod_through_the_case", ("Rod through the case",)),
        ("reworked", ("crank", "cracks", "nobody vouches")),
        ("grinding", ("dust", "eye", "ear")),
        ("valve_springs", ("compressed spring", "blinds")),
        ("asbestos", ("asbestos", "gaskets")),
        ("lead", ("lead-free solder", "wash your hands", "deposits")),
        ("brake_cleaner", ("vapour", "phosgene", "welding")),
        ("kickback", ("wrists", "decompressor")),
        ("machinist", ("machinist", "every cut", "every ground part")),
        ("local_rules", ("Emission", "noise", "class")),
    ],
)
def test_what_hurts_is_called_by_its_name(name: str, words: tuple[str, ...]) -> None:
    line = next(each.line for each in HAZARDS if each.id == name)
    assert all(word in line for word in words)


# where it is said


@pytest.mark.parametrize("each", HAZARDS, ids=lambda each: each.id)
def test_every_hazard_reaches_every_command_that_it_concerns(each: Hazard, plan: Path) -> None:
    told = where_it_is_said(each, plan)
    assert "in full" in told["check"] and "in full" in told["sheet"]
    for command in COMMANDS:
        assert told[command] == ("in one line" if each.short else ""), command
        assert (each.line in "\n".join(data(command, plan)["cautions"])) is bool(each.short), command
    if each.at_bench:
        assert "on the card" in told["sheet"]


@pytest.mark.parametrize("command", COMMANDS)
def test_the_line_is_one_and_worst_first(command: str, plan: Path) -> None:
    text = in_one_line(command, plan)
    assert text.count("Kills: a flywheel") == 1
    places = [text.index(short(each)) for each in MOMENT if each.short]
    assert places == sorted(places)


@pytest.mark.parametrize("command", COMMANDS)
def test_where_none_is_in_play_there_is_no_line(command: str, tame: Path) -> None:
    """Neither a rev ceiling nor a flywheel, a cut, a weld or a ground part: nothing is said beside the list."""
    if command == "what if":
        result = run("check", tame, "--what-if", "head.chamber=24cc", "--format", "json")
        told = json.loads(result.stdout)["what_if"]
    else:
        told = data(command, tame)
    assert not {each.line for each in MOMENT} & set(told["cautions"])
    assert [each for each in told["hazards"] if each["rank"] == "kills"] == []
    assert "Kills:" not in run("find", tame).stdout


def test_a_rated_part_alone_brings_what_is_to_be_said_of_speed(tmp_path: Path) -> None:
    rated = laid(
        tmp_path, TAME.replace("id: k,", "id: k, max_rpm: 6000 rpm,"), PLAN.replace("  rev_ceiling: 5000 rpm\n", "")
    )
    assert "flywheel over its rating" in run("find", rated).stdout


def test_what_if_looks_at_the_plan_as_it_would_be(tame: Path) -> None:
    before = run("check", tame, "--what-if", "head.chamber=24cc").stdout
    after = run("check", tame, "--what-if", "rev_ceiling=5000rpm").stdout
    assert "flywheel over its rating" not in before and "flywheel over its rating" in after


def test_where_nothing_fits_the_ways_out_are_looked_at(plan: Path, tame: Path) -> None:
    for command in ("find", "explain"):
        result = run(command, tame, "--min", "rev_ceiling=5000rpm", "--min", "quench=3mm")
        assert result.exit_code == 1 and "flywheel over its rating bursts" in " ".join(result.stdout.split())
        asked = run(command, plan, "--min", "quench=3mm", "--max", "rev_ceiling=5000rpm")
        assert asked.exit_code == 2 or "Kills:" in asked.stdout


def test_data_and_sentences_are_the_same_in_every_command(plan: Path) -> None:
    for command in (*COMMANDS, "check"):
        found = data(command, plan)
        assert found["cautions"] == [each["text"] for each in found["hazards"]]
        ranks = [list(RANKS).index(each["rank"]) for each in found["hazards"]]
        assert ranks == sorted(ranks), command
        assert all(each["hazard"] and each["source"] for each in found["hazards"])
        welded = [each["text"] for each in found["hazards"] if each["hazard"].startswith("Welded")]
        assert len(welded) == 1 and welded[0].endswith("Here: k (welded, ground).")
    rows = list(csv.DictReader(io.StringIO(said("check", plan, "csv"))))
    assert [each["text"] for each in rows if each["what"] == "caution"] == data("check", plan)["cautions"]


def test_several_engines_have_the_line_too(tmp_path: Path) -> None:
    engines = PLAN + "engines:\n  one: {}\n  two: {goals: {compression: {aim: 8.7}}}\n"
    doubled = re.sub(r"on_shelf: [12]", "on_shelf: 4", PARTS)
    plan = laid(tmp_path, doubled, engines)
    for command in ("find", "explain"):
        assert "a rod that breaks comes through the case" in " ".join(run(command, plan).stdout.split())
        told = json.loads(run(command, plan, "--format", "json").stdout)
        assert {each.line.partition(".")[0] for each in MOMENT} == {text.partition(".")[0] for text in told["cautions"]}
    trade = run("find", plan, "--engine", "one", "--trade-off").stdout
    assert "a rod that breaks comes through the case" in " ".join(trade.split())


# the field


def test_what_was_done_to_a_part_is_one_of_two_words(tmp_path: Path) -> None:
    plan = laid(tmp_path, PARTS.replace("[welded, ground]", "[weldet]"), PLAN)
    result = run("find", plan)
    assert result.exit_code == 2
    assert "`weldet`" in result.stderr and "did you mean `welded`?" in result.stderr


def test_what_was_done_to_a_part_is_read_from_csv_too(tmp_path: Path) -> None:
    plan = laid(tmp_path, re.sub(r"cranks:\n.*\n", "", PARTS), PLAN)
    (plan.parent / "parts" / "cranks.csv").write_text(
        "id,stroke [mm],journal [mm],max_rpm [rpm],on_shelf,reworked\nk,60,28,6000,1,ground\n", encoding="utf-8"
    )
    found = json.loads(run("find", plan, "--format", "json").stdout)
    assert any(text.endswith("Here: k (ground).") for text in found["cautions"])
    assert any(text.startswith("Grinding:") for text in found["cautions"])


def test_a_rating_from_before_the_work_is_said_to_count(plan: Path, tmp_path: Path) -> None:
    """The crank's 6000 rpm prove the ceiling, although it was welded: that is not to pass in silence."""
    told = "The rating of k still counts"
    for command in ("check", "sheet"):
        assert told in in_one_line(command, plan, "markdown" if command == "sheet" else "table")
    for text in (PARTS.replace(", reworked: [welded, ground]", ""), PARTS.replace("max_rpm: 6000 rpm, rew", "rew")):
        folder = tmp_path / str(len(text))
        folder.mkdir()
        assert "still counts" not in run("check", laid(folder, text, PLAN), "--machine", "mill=0.1mm").stdout


def test_only_a_ground_part_brings_the_dust(tmp_path: Path) -> None:
    plan = laid(
        tmp_path, PARTS.replace("[welded, ground]", "[welded]").replace(", mill: {max: 0.2 mm, step: 0.1 mm}", ""), PLAN
    )
    found = "\n".join(json.loads(run("find", plan, "--format", "json").stdout)["cautions"])
    assert "Here: k (welded)." in found and "Grinding:" not in found and "Machined by a machinist" not in found


def table(plan: Path) -> str:
    """Hazard by command as a Markdown table: where each is said."""
    commands = ("find", "explain", "what if", "stack", "remeasure", "check", "sheet")
    lines = [f"| rank | hazard | {' | '.join(commands)} |", "| :-- | :-- |" + " :-- |" * len(commands)]
    for each in HAZARDS:
        told = where_it_is_said(each, plan)
        lines.append(f"| {RANKS[each.rank]} | {each.hazard} | {' | '.join(told[name] for name in commands)} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    import sys
    import tempfile

    folder = Path(tempfile.mkdtemp())
    try:
        sys.stdout.write(table(laid(folder, PARTS, PLAN)))
    finally:
        shutil.rmtree(folder)
