"""No network, nothing run from data, limits met exactly, values too large for the solver, what the fuzz has found."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, load, load_plan
from kitwright.catalogs.load import HISTORY
from kitwright.catalogs.problems import Problem
from kitwright.cli.output import say_faults
from kitwright.cli.report.as_csv import cell
from kitwright.cli.report.as_json import dumped
from kitwright.solver import check, find
from kitwright.solver.compose import compose
from kitwright.solver.plan import Goal
from kitwright.solver.terms import TooLargeError
from tests.cli_runner import answer, run
from tests.test_faults import bench, files_in, laid

ROOT = Path(__file__).parent.parent
HOSTILE = """\
blocks:
- {id: b72, bore: 72.00 mm, block_height: 142.00 mm, name: "{{ ''.__class__.__mro__ }} {% include '/etc/passwd' %}"}
cranks:
- {id: k57, stroke: 57.00 mm, journal: 30 mm, name: "__import__('os').system('touch ran')"}
rods:
- {id: r85, length: 85.00 mm, big_end: 30 mm, pin: 16 mm, name: "$(touch ran)`touch ran`"}
pistons:
- {id: p28, bore: 72.00 mm, compression_height: 28.00 mm, pin: 16 mm, name: "=cmd|' /C calc'!A0", note: "x;=1+1"}
gaskets:
- {id: g050, thickness: 0.50 mm, bore: 73.5 mm, name: "%s%n${HOME}", on_shelf: 1}
heads:
- {id: h230, chamber: 23.0 cc, chamber_area: 40 cm2, name: "<script>kw()</script>"}
"""

WATCHED = """
import os, sys
told = []
FORBIDDEN = ("socket.", "subprocess.", "os.system", "os.exec", "os.fork", "os.posix_spawn", "os.spawn", "webbrowser.",
             "urllib.", "http.", "ftplib.", "smtplib.", "pty.")
ours = os.path.realpath(sys.argv[1])
def hook(event, arguments):
    if event.startswith(FORBIDDEN):
        told.append((event, str(arguments)[:200]))
    if event == "open" and arguments[2] & (os.O_WRONLY | os.O_RDWR) and not isinstance(arguments[0], int):
        path = os.path.realpath(os.fsdecode(arguments[0]))
        if not path.startswith((ours, "/dev/")):
            told.append((event, path))
    if event in ("exec", "compile") and "ran" in str(arguments[0])[:400] and "touch" in str(arguments[0])[:400]:
        told.append((event, str(arguments[0])[:200]))
sys.addaudithook(hook)
from itertools import groupby
from kitwright.cli.main import main
statuses = []
for parts, words in groupby(sys.argv[2:], lambda word: word == "+"):
    if not parts:
        sys.argv = ["kitwright", *words]
        try:
            main()
        except SystemExit as end:
            statuses.append(end.code)
import json
print(json.dumps({"told": told, "statuses": statuses}))
"""


def watched(folder: Path, *commands: list[str]) -> dict[str, Any]:
    """What several commands in one process reach out for, and their statuses."""
    words = [word for command in commands for word in ("+", *command)]
    done = subprocess.run(
        [sys.executable, "-B", "-c", WATCHED, str(folder), *words],
        cwd=folder, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def test_no_command_reaches_out_and_nothing_is_run_from_data(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench")
    (folder / "catalogue" / "parts.yaml").write_text(HOSTILE)
    (folder / "catalogue" / "spacers.csv").unlink()
    (folder / "plan.yaml").write_text(
        (folder / "plan.yaml").read_text().replace("plan: bench", "plan: \"{{ 7*7 }}__import__('os')\"")
    )
    commands = [
        *(["find", "plan.yaml", "--format", form] for form in ("table", "json", "csv", "markdown")),
        ["check", "plan.yaml"],
        ["explain", "plan.yaml", "--min", "quench=0.76mm", "--max", "quench=0.8mm"],
        ["stack", "plan.yaml"],
        ["sheet", "plan.yaml", "--rank", "1", "--output", "sheet.html"],
        ["measure-next", "plan.yaml"],
        ["remeasure", "plan.yaml", "--chamber", "22.9 cc", "--of", "h230", "--note", "$(touch ran)"],
        ["shelf", "check", "catalogue"],
        ["shelf", "list", "catalogue", "--format", "csv", "--output", "list.csv"],
        ["shelf", "add", "spacer", "id=s9", "thickness=1 mm", "name=`touch ran`", "--catalogue", "catalogue"],
        ["shelf", "import", "sheet.csv", "catalogue", "--yes"],
        ["shelf", "take", "g050", "--catalogue", "catalogue"],
        ["shelf", "history", "catalogue"],
        ["figures"],
        ["schema"],
        ["start", "shed"],
    ]
    found = watched(folder, *commands)
    assert found["told"] == []
    assert all(status in (0, 1) for status in found["statuses"]), list(zip(commands, found["statuses"], strict=True))
    assert not list(folder.rglob("ran"))
    page = (folder / "sheet.html").read_text(encoding="utf-8")
    assert "{{ &#39;&#39;.__class__.__mro__ }}" in page and "{{ 7*7 }}" in page, "as it was written"
    assert "<script>kw" not in page and "root:" not in page
    rows = list(csv.reader(io.StringIO((folder / "list.csv").read_text(encoding="utf-8"))))
    cells = [each for row in rows for each in row]
    assert any("'=cmd|" in each for each in cells) and any("x;'=1+1" in each for each in cells)


def test_the_watch_sees_what_it_should(tmp_path: Path) -> None:
    """The hook itself: a socket, a program and a file elsewhere are noticed."""
    code = WATCHED.split("sys.addaudithook(hook)")[0] + (
        "sys.addaudithook(hook)\nimport socket, subprocess\nsocket.socket().close()\n"
        "subprocess.run(['true'])\nopen(sys.argv[2], 'w').close()\nprint([event for event, _ in told])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "bench"), str(tmp_path / "elsewhere")],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert {"subprocess.Popen", "open"} <= set(eval(done.stdout)) and "socket." in done.stdout


@pytest.mark.parametrize(
    "text",
    [
        "blocks: !!python/object/apply:os.system ['touch ran']",
        "blocks: !!python/object/new:subprocess.Popen [[touch, ran]]",
        "blocks: !!python/name:os.system ",
        "blocks:\n- !!python/object:kitwright.solver.parts.Block {id: x}",
        "!!python/module:antigravity : x",
    ],
)
def test_a_tag_makes_no_object(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts.yaml").write_text(text)
    with pytest.raises(InputError, match=r"parts\.yaml:[12].*the tag `!!python/.*is not read") as caught:
        load(tmp_path)
    assert caught.value.problems and sorted(each.name for each in tmp_path.iterdir()) == ["parts.yaml"]


# limits that are met exactly

# By hand: deck = 142 − 57 / 2 − 85 − 28 = 0.5 mm, gasket 0.5 mm: quench 1 mm. In inches all of it over 25.4.
QUENCH = 1.0
# Swept = π / 4 · 7.2² · 5.7 cc; clearance = chamber + π / 4 · 7.2² · 0.05 (deck) + π / 4 · 7.35² · 0.05 (gasket).
SWEPT = 3.141592653589793 / 4 * 7.2**2 * 5.7
CLEARANCE = 23.0 + 3.141592653589793 / 4 * (7.2**2 + 7.35**2) * 0.05
COMPRESSION = (SWEPT + CLEARANCE) / CLEARANCE
PARTS_MM = HOSTILE
PARTS_IN = """\
blocks: [{id: b72, bore: 2.834645669291338583 in, block_height: 5.59055118110236220472 in}]
cranks: [{id: k57, stroke: 2.24409448818897637795 in, journal: 30 mm}]
rods: [{id: r85, length: 3.34645669291338582677 in, big_end: 30 mm, pin: 16 mm}]
pistons: [{id: p28, bore: 2.834645669291338583 in, compression_height: 1.10236220472440944882 in, pin: 16 mm}]
gaskets: [{id: g050, thickness: 0.0196850393700787401575 in, bore: 2.89370078740157480315 in}]
heads: [{id: h230, chamber: 23.0 cc}]
"""


@pytest.mark.parametrize("parts", [PARTS_MM, PARTS_IN], ids=["parts in mm", "parts in inches"])
@pytest.mark.parametrize(
    ("goals", "fits"),
    [
        ("quench: {min: 1 mm}", True),
        ("quench: {max: 1 mm}", True),
        ("quench: {min: 1 mm, max: 1 mm}", True),
        ("quench: {min: 0.0393700787401574803150 in}", True),
        ("quench: {max: 0.0393700787401574803150 in}", True),
        ("quench: {min: 1.00001 mm}", False),
        ("quench: {max: 0.99999 mm}", False),
        ("quench: {min: 0.0393705 in}", False),
        ("quench: {max: 0.0393696 in}", False),
        (f"compression: {{max: {COMPRESSION!r}}}", True),
        (f"compression: {{min: {COMPRESSION!r}}}", True),
        (f"compression: {{max: {COMPRESSION - 1e-6!r}}}", False),
        (f"compression: {{min: {COMPRESSION + 1e-6!r}}}", False),
    ],
)
def test_a_limit_that_is_met_exactly_is_met(tmp_path: Path, parts: str, goals: str, fits: bool) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(parts)
    (tmp_path / "plan.yaml").write_text(f"catalogue: ./catalogue\ngoals: {{{goals}}}\n")
    plan, catalogue = load_plan(tmp_path / "plan.yaml")
    found = find(catalogue, plan, 1)
    assert found.status == ("complete" if fits else "nothing_fits")
    checked = check(compose(catalogue, plan), plan)
    assert checked.figures["quench"] == pytest.approx(QUENCH, abs=1e-9)
    assert checked.figures["compression"] == pytest.approx(COMPRESSION, rel=1e-9)
    assert checked.fits is fits and len(found.combinations) == fits
    if fits:
        assert found.combinations[0].figures == checked.figures


def test_on_the_command_line_too_a_limit_that_is_met_exactly_is_met(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(PARTS_IN)
    plan = tmp_path / "plan.yaml"
    plan.write_text("catalogue: ./catalogue\n")
    exactly = [
        "--min",
        "quench=1 mm",
        "--max",
        "quench=0.0393700787401574803150 in",
        "--max",
        f"compression={COMPRESSION!r}",
    ]
    assert run("find", plan, *exactly).exit_code == run("check", plan, *exactly).exit_code == 0
    assert run("find", plan, "--min", "quench=1.00001 mm").exit_code == 1
    assert run("check", plan, "--min", "quench=1.00001 mm").exit_code == 1


# values too large for the solver's integers


@pytest.mark.parametrize(
    ("goal", "said"),
    [
        (
            "quench: {aim: 1 mm, step: 1E5 Ym}",
            "`goals.quench.step`: `1E5 Ym` is beyond any engine (at most 1000000000 mm)",
        ),
        ("quench: {max: 1e30 mm}", "`goals.quench.max`: `1e30 mm` is beyond any engine (at most 1000000000 mm)"),
        ("compression: {min: -1e15}", "`goals.compression.min`: `-1e15` is beyond any engine (at most 1000000000)"),
        ("cost: {max: 1e29}", "`goals.cost.max`: `1e29` is beyond any engine"),
        ("rod_load: {aim: 1e20 N}", "`goals.rod_load.aim`: `1e20 N` is beyond any engine (at most 1000000000 N)"),
    ],
)
def test_a_value_too_large_for_the_solver_is_named_before_it_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, goal: str, said: str
) -> None:
    folder = bench(tmp_path / "bench")
    (folder / "plan.yaml").write_text(f"catalogue: ./catalogue\ngoals:\n  {goal}\n")
    monkeypatch.setattr("kitwright.solver.engine.Model.solve", lambda *_, **__: pytest.fail("it was asked"))
    before = files_in(folder)
    for words in (["find"], ["explain"], ["check"], ["remeasure", "--chamber", "22.9 cc", "--of", "h230"]):
        result = run(words[0], folder / "plan.yaml", *words[1:])
        assert result.exit_code == 2 and f"plan.yaml:3: {said}" in result.stderr, result.stderr
    assert files_in(folder) == before
    name, bound = goal.partition(":")[0], said.split("`")[3].split()[0]
    typed = run("find", bench(tmp_path / "other") / "plan.yaml", "--aim", f"{name}={said.split('`')[3]}")
    assert typed.exit_code == 2 and f"--aim {name}={bound}" in typed.stderr


def test_the_largest_bounds_that_are_read_are_solved(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench")
    goals = {"quench": "1e9 mm", "compression": "1e9", "cost": "1e9", "displacement": "1e9 cc"}
    lines = "".join(
        f"  {name}: {{min: -{most}, max: {most}, aim: 1 {most[4:]}, weight: 999999}}\n" for name, most in goals.items()
    )
    (folder / "plan.yaml").write_text(f"catalogue: ./catalogue\ngoals:\n{lines}")
    assert answer("find", folder / "plan.yaml")["status"] == "complete"


def test_in_python_too_the_goal_is_named(tmp_path: Path) -> None:
    plan, catalogue = load_plan(bench(tmp_path / "bench") / "plan.yaml")
    goal = Goal("quench", aim=1.0, minimum=None, maximum=None, step=1e29, weight=1)
    with pytest.raises(TooLargeError, match=r"the goal `quench`: a value of 1e.*beyond any engine"):
        find(catalogue, plan.but(goals={"quench": goal}))


# what the fuzz has found


def test_a_sheet_with_a_fault_in_every_row_is_read_in_a_line_of_time(tmp_path: Path) -> None:
    """Each fault was compared with every other: four times the rows took sixteen times as long, 16,000 of them 40 s."""
    (tmp_path / "catalogue").mkdir()
    rows = "".join(f"r{number},85,1;2.3.4,#REF!\n" for number in range(6_000))
    (tmp_path / "rods.csv").write_text("id,length,big_end [mm],pin [mm]\n" + rows)
    started = time.process_time()
    result = run("shelf", "import", tmp_path / "rods.csv", tmp_path / "catalogue")
    assert result.exit_code == 2 and time.process_time() - started < 6
    assert "has no unit (and 5999 more in the column)" in result.stderr
    assert result.stderr.count("\n") < 220 and "more: mend these first" in result.stderr


def test_of_faults_without_end_the_first_are_said(capsys: pytest.CaptureFixture[str]) -> None:
    say_faults(map(str, range(1000)), most=5)
    assert capsys.readouterr().err.splitlines() == [
        "kitwright: the input is at fault (1000 faults)", *(f"  {number}" for number in range(5)),
        "  … and 995 more: mend these first",
    ]  # fmt: skip


def test_json_says_the_same_and_shows_nothing_unseen() -> None:
    signs = list(map(chr, (*range(0x3000), *range(0xD7F0, 0xE010), 0xFEFF, 0xFFFE, 0x1F525)))
    written = dumped(signs)
    assert json.loads(written) == signs
    assert not set(written) & set("\u202e\u2066\u200f\x85\x9b\ufeff\ud800\u2028")


@pytest.mark.parametrize("text", ["＝1+1", "＋1", "－1", "＠x", "a;=1", "a; @b", "a|-1", "a\t+1", "';=1", "=1;=2"])
def test_no_cell_is_run_by_a_spreadsheet_of_any_separator(text: str, tmp_path: Path) -> None:
    written = cell(text)
    for separator in ",;\t|":
        for piece in written.split(separator):
            assert not piece.strip().startswith(tuple("=+-@＝＋－＠")), written
    (tmp_path / "catalogue").mkdir()
    header = ["id", "thickness [mm]", "name"]
    out = io.StringIO()
    csv.writer(out, quoting=csv.QUOTE_ALL).writerows([header, ["s1", "1", written]])
    (tmp_path / "spacers.csv").write_text(out.getvalue(), encoding="utf-8")
    if text.isprintable():
        assert run("shelf", "import", tmp_path / "spacers.csv", tmp_path / "catalogue", "--yes").exit_code == 0
        (part,) = load(tmp_path / "catalogue")
        assert part.name == text


def test_headers_that_turn_text_round_are_written_out(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "spacers.csv").write_text("id,thickness [mm],\u202edrow\ns1,1,x\n", encoding="utf-8")
    for form in ("table", "markdown", "json"):
        shown = run("shelf", "import", tmp_path / "spacers.csv", tmp_path / "catalogue", "--format", form).stdout
        assert "\u202e" not in shown and "\\u202e" in shown.replace("\\\\", "\\")


def test_a_folder_named_with_what_rings_a_terminal_is_told_without_it(tmp_path: Path) -> None:
    result = run("start", tmp_path / "a\x07\u202eb")
    assert result.exit_code == 0 and "a\\x07\\u202eb" in result.stdout and "\x07" not in result.stdout


def test_a_message_is_no_longer_than_a_few_lines(tmp_path: Path) -> None:
    long = "x" * 5000
    assert len(str(Problem("m", "s", long, 1, long, long))) < 800
    folder = bench(tmp_path / "bench")
    for words in (["shelf", "put", long, "--catalogue"], ["shelf", "take", long, "--catalogue"]):
        result = run(*words, folder / "catalogue")
        assert result.exit_code == 2 and len(result.stderr) < 1000
    (folder / "plan.yaml").write_text(f"catalogue: {long}\n")
    assert len(run("find", folder / "plan.yaml").stderr) < 2000


@pytest.mark.parametrize("path", ["a" * 300, "plan.yaml/plan.yaml"], ids=["too long", "below a file"])
def test_a_path_that_can_be_none_is_a_fault_of_the_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    """Looking whether it is there fails where the system takes no such name."""
    folder = bench(tmp_path / "bench")
    monkeypatch.chdir(folder)
    commands = [
        ["find", path], ["check", path], ["remeasure", path, "--chamber", "2 cc"], ["sheet", path],
        ["shelf", "check", path], ["shelf", "list", "--catalogue", path], ["shelf", "history", path],
        ["shelf", "put", "s1", "--plan", path], ["shelf", "import", path, "catalogue"],
        ["shelf", "import", "sheet.csv", path], ["shelf", "add", "spacer", "id=s8", "--catalogue", path],
        ["start", path], ["shelf", "list", "catalogue", "--output", path],
    ]  # fmt: skip
    for words in commands:
        result = run(*words)
        assert result.exit_code == 2 and "[Errno" not in result.stderr and path[:9] in result.stderr, words
    assert files_in(folder) == laid()


def test_a_history_that_is_no_file_is_refused_at_once(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench") / "catalogue"
    (folder / HISTORY).unlink()
    os.mkfifo(folder / HISTORY)
    signal.alarm(60)  # a pipe that nobody writes to would be waited for without end
    try:
        for words in (["history"], ["put", "s1"]):
            result = run("shelf", *words, "--catalogue", folder)
            assert result.exit_code == 2 and "no ordinary file" in result.stderr
    finally:
        signal.alarm(0)


@pytest.mark.parametrize("name", ["parts.yaml", "rods.csv", "history.txt"])
def test_a_hundred_megabytes_are_refused_unread(tmp_path: Path, name: str) -> None:
    folder = bench(tmp_path / "bench") / "catalogue"
    with (folder / name).open("ab") as file:
        file.truncate(100_000_000)
    started = time.process_time()
    result = run("shelf", "history" if name == HISTORY else "check", folder)
    said = result.stdout + result.stderr
    assert result.exit_code in (1, 2) and "the file has 100 MB" in said and time.process_time() - started < 3


def test_a_few_cases_of_the_fuzz_pass() -> None:
    """The command itself, on a seed that lets every maker have its turn; an hour of it is run by hand."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", "2", "--seed", "31"],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert " cases from seed 31, 0 at fault" in done.stdout
