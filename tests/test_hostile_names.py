"""Nothing that comes from a file or a command line reaches the terminal raw: no control, no forged line."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import unicodedata
from pathlib import Path
from typing import Any

import pytest

from kitwright.cli.report.blocks import Column, Command, Items, Lines, Paragraph, Report, Section, Table, Title
from kitwright.cli.report.table import as_text
from kitwright.cli.seen import joined
from tests.cli_runner import SCENARIOS, run
from tests.test_output_over_input import names

FORGED = "verdict: fits"
HOSTILE = f"a\x1b[2J\x1b]0;t\x07\u202eb\u2066c\x9b31md\x85e\u2028f\r{FORGED}\n{FORGED}\n"
"""Clears the screen, names the window, rings, turns the text round, and puts lines of its own."""


def assert_tame(text: str, what: object, csv: bool = False) -> None:
    """Whether a terminal shows a text as it is: no controls, and no line of somebody else's."""
    wild = {each for each in text if not each.isprintable() and each != "\n" and unicodedata.category(each) != "Zs"}
    assert not wild, (what, wild)
    assert csv or not any(line.strip(" |*#") == FORGED for line in text.splitlines()), (what, text)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A plan in a folder, both with names that nobody should give, and a note with what a note may hold."""
    folder = tmp_path / HOSTILE.replace("/", "")
    shutil.copytree(SCENARIOS / "revs-against-lift", folder)
    parts = folder / "catalogue" / "parts.yaml"
    text = parts.read_text()
    parts.write_text(text.replace("- id: k57\n", f'- id: k57\n  note: "used\\n{FORGED}\\nsound"\n', 1))
    plan = folder / f"{HOSTILE}.yaml"
    (folder / "plan.yaml").rename(plan)
    plan.write_text(plan.read_text().replace("plan: revs against lift\n", "").replace("min: 8.3 mm", "min: 7 mm"))
    (folder / f"{HOSTILE}.csv").write_text(f"kind,id,thickness [mm],{FORGED}\nspacer,s2,2,\n")
    return folder


def words_of(folder: Path) -> dict[str, list[list[Any]]]:
    """Commands that do something with every name that they are given, and some that are given wrong ones."""
    plan, catalogue, sheet = folder / f"{HOSTILE}.yaml", folder / "catalogue", folder / f"{HOSTILE}.csv"
    use = ["--use", "head=h230", "--use", "cam=c764", "--use", "rocker=rk100", "--use", "spring=s-stiff"]
    return {
        "find": [["find", plan], ["find", plan, "--max", "cost=-1"], ["find", plan, "--use", f"crank={HOSTILE}"],
                 ["find", plan, "--avoid", HOSTILE], ["find", plan, "--kinds", HOSTILE], ["find", HOSTILE],
                 ["find", plan, "--aim", f"{HOSTILE}=1"], ["find", plan, "--aim", f"compression={HOSTILE}"],
                 ["find", plan, "--engine", HOSTILE], ["find", plan, f"--{HOSTILE}"], ["find", plan, HOSTILE],
                 ["find", plan, "--top", HOSTILE], ["find", plan, "--tolerance", HOSTILE],
                 ["find", plan, "--output", folder / HOSTILE], ["find", plan, "--output", folder / HOSTILE / "x"]],
        "check": [["check", plan, *use], ["check", plan, *use, "--show", HOSTILE], ["check", plan, HOSTILE],
                  ["check", plan, *use, "--machine", HOSTILE], ["check", plan, *use, "--machine", f"mill={HOSTILE}"],
                  ["check", plan, *use, "--what-if", HOSTILE], ["check", plan, *use, "--what-if", f"mill={HOSTILE}"],
                  ["check", plan, "--use", HOSTILE], ["check", plan, *use, "--show", "valve_lift"]],
        "explain": [["explain", plan, "--max", "cost=-1"], ["explain", plan, "--min", "valve_lift=20mm"]],
        "stack": [["stack", plan], ["stack", plan, "--gaskets", "2"]],
        "measure-next": [["measure-next", plan], ["measure-next", plan, "--min", "valve_lift=20mm"]],
        "remeasure": [["remeasure", plan, "--chamber", "22.9 cc", "--of", "h230", "--date", HOSTILE],
                      ["remeasure", plan, "--chamber", "22.9 cc", "--of", "h230", "--note", HOSTILE],
                      ["remeasure", plan, "--chamber", "22.9 cc", "--of", "h230", "--instrument", HOSTILE],
                      ["remeasure", plan, "--chamber", HOSTILE, "--of", "h230"],
                      ["remeasure", plan, "--chamber", "22.9 cc", "--of", HOSTILE],
                      ["remeasure", plan, "--set", HOSTILE], ["remeasure", plan, "--set", f"k57.{HOSTILE}=1 mm"],
                      ["remeasure", plan, "--deck", HOSTILE],
                      ["remeasure", plan, "--deck", "1 mm up", "--with", HOSTILE],
                      ["remeasure", plan, "--chamber", "22.9 cc", "--of", "h230", "--dry-run"],
                      ["remeasure", plan, "--chamber", "22.9 cc", "--of", "h230"]],
        "sheet": [["sheet", plan, "--format", "markdown"], ["sheet", plan, "--format", "markdown", "--rank", "1"],
                  ["sheet", plan, "--use", HOSTILE], ["sheet", plan, "--machine", HOSTILE]],
        "shelf check": [["shelf", "check", plan], ["shelf", "check", catalogue], ["shelf", "check", HOSTILE]],
        "shelf list": [["shelf", "list", plan], ["shelf", "list", catalogue, "--kind", HOSTILE],
                       ["shelf", "list", catalogue, "--fits", HOSTILE]],
        "shelf take": [["shelf", "take", HOSTILE, "--plan", plan], ["shelf", "take", "k57", HOSTILE, "--plan", plan],
                       ["shelf", "take", "--plan", plan, "--rank", "1"], ["shelf", "take", "k57", "--plan", plan],
                       ["shelf", "take", "--plan", plan, "--rank", "999"]],
        "shelf put": [["shelf", "put", "k57", "--plan", plan, "--note", HOSTILE], ["shelf", "put", HOSTILE]],
        "shelf history": [["shelf", "history", plan], ["shelf", "history", plan, "--part", HOSTILE]],
        "shelf add": [["shelf", "add", HOSTILE, "--plan", plan], ["shelf", "add", "spacer", HOSTILE, "--plan", plan],
                      ["shelf", "add", "spacer", f"id={HOSTILE}", "thickness=1 mm", "--plan", plan],
                      ["shelf", "add", "spacer", f"{HOSTILE}=1", "--plan", plan],
                      ["shelf", "add", "spacer", "id=s7", "thickness=1 mm", "--plan", plan, "--note", HOSTILE]],
        "shelf import": [["shelf", "import", sheet, catalogue], ["shelf", "import", sheet, catalogue, "--map", HOSTILE],
                         ["shelf", "import", sheet, catalogue, "--readings", HOSTILE],
                         ["shelf", "import", sheet, catalogue, "--encoding", HOSTILE],
                         ["shelf", "import", sheet, catalogue, "--kind", HOSTILE],
                         ["shelf", "import", HOSTILE, catalogue],
                         ["shelf", "import", sheet, catalogue, "--map", f"{FORGED}=", "--yes"]],
        "figures": [["figures"], ["figures", HOSTILE]],
        "schema": [["schema"], ["schema", "--for", HOSTILE]],
        "start": [["start", folder / "new" / HOSTILE], ["start", plan], ["start", catalogue]],
        "none": [[HOSTILE], ["shelf", HOSTILE], [f"--{HOSTILE}"], ["--version"], []],
    }  # fmt: skip


def test_every_command_is_tried(bench: Path) -> None:
    assert set(words_of(bench)) == {*names(), "start", "none"}


@pytest.mark.parametrize("form", ["table", "json", "csv", "markdown"])
@pytest.mark.parametrize("name", [*names(), "start", "none"])
def test_nothing_reaches_the_terminal_raw(name: str, form: str, bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (bench.parent / "elsewhere").mkdir()
    monkeypatch.chdir(bench.parent / "elsewhere")
    shown = 0
    for words in words_of(bench)[name]:
        more = [] if name in ("none", "schema", "sheet") or (name, form) == ("figures", "table") else ["--format", form]
        result = run(*words, *more)
        assert "itself failed" not in result.stderr, result.stderr
        assert_tame(result.stdout, (words, more), csv=form == "csv")
        assert_tame(result.stderr, (words, more))
        shown += "\\x1b" in result.output or "\\u001b" in result.output or "$'" in result.output
    assert shown or form == "csv" or name in ("figures", "schema"), "the names are shown, escaped"


def test_an_engine_has_a_name_that_can_be_typed(bench: Path) -> None:
    plan = bench / "engines.yaml"
    named = json.dumps(HOSTILE)
    for name, said in ((named, "holds a character that cannot be seen"), ('" "', "an engine has no name")):
        plan.write_text(f"catalogue: ./catalogue\nengines:\n  {name}: {{}}\n  other: {{}}\n")
        for words in (["find", plan], ["explain", plan], ["check", plan, "--engine", "other"], ["shelf", "list", plan]):
            result = run(*words)
            assert_tame(result.output, words)
            if words[0] != "shelf":
                assert result.exit_code == 2 and said in result.stderr


def test_every_text_of_a_report_is_shown_tame() -> None:
    """Every kind of block, wherever a name may stand in it."""
    report: Report = [
        Title(HOSTILE),
        Paragraph(HOSTILE, "bad"),
        Items(HOSTILE, (HOSTILE, "x"), whole=True),
        Items(HOSTILE, (HOSTILE, "x")),
        Lines(HOSTILE, (HOSTILE,)),
        Command(HOSTILE, ("kitwright", "find", HOSTILE)),
        Table((Column(HOSTILE), Column(HOSTILE, wraps=True)), ((HOSTILE, HOSTILE), Section(HOSTILE)), HOSTILE),
    ]
    for width in (60, 100):
        assert_tame(as_text(report, width), width)


def test_a_command_with_a_hostile_name_can_be_copied(tmp_path: Path) -> None:
    """What a hint shows is what a shell gives to the program."""
    told = joined([sys.executable, "-c", "import sys; print(ascii(sys.argv[1]))", HOSTILE + "'\\"])
    assert_tame(told, told)
    shell = shutil.which("bash")
    assert shell is not None, "the checks of this project run in bash"
    done = subprocess.run(
        [shell, "-c", told], capture_output=True, text=True, check=True, env={"LC_ALL": "C.UTF-8", "PYTHONUTF8": "1"}
    )
    assert done.stdout.strip() == ascii(HOSTILE + "'\\")
