"""Whatever fails while a command writes, each file is the old one or the new one, whole, and the command says so."""

from __future__ import annotations

import functools
import json
import os
import re
import shlex
import signal
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, lay_starter, load, load_plan, safe_write
from kitwright.catalogs.load import HISTORY
from kitwright.catalogs.safe_write import UNFINISHED, edit_file, edit_files
from kitwright.catalogs.stock import history, move
from tests.cli_runner import run
from tests.faulty import files as files_in
from tests.test_cli_remeasure import CATALOGUE, PLAN

ROOT = Path(__file__).parent.parent
SPACERS = "id,thickness [mm],on_shelf\ns1,1,2\n"
SHEET = "kind,id,length [mm],big_end [mm],pin [mm],thickness [mm]\nrod,r90,90,30,16,\nspacer,s2,,,,2\n"

COMMANDS: dict[str, list[str]] = {
    "remeasure": ["remeasure", "plan.yaml", "--chamber", "22.9 cc", "--of", "h230", "--date", "2026-05-01"],
    "put": ["shelf", "put", "s1", "2", "--catalogue", "catalogue"],
    "add": ["shelf", "add", "gasket", "id=g07", "thickness=0.7 mm", "bore=73 mm", "--catalogue", "catalogue"],
    "import": ["shelf", "import", "sheet.csv", "catalogue", "--yes"],
    "start": ["start", "shed"],
    "output": ["shelf", "list", "catalogue", "--format", "csv", "--output", "plan.txt"],
}
MANY = ("import",)
"""Commands that change several files together: two of the catalogue, and the history."""

AGAIN = ["shelf", "put", "s1", "--catalogue", "catalogue"]
"""What is done after a program was killed: nothing that it left behind may be in the way."""

UNTOUCHED = {"disk full": ("unlink", "rmdir"), "kill": ("close",)}
"""Steps that a fault has nothing to do with: they take no room, or leave the disk as it was."""

HOWS = {
    "kill": ("remeasure", "import", "start", "output"),
    "interrupt": ("import", "start"),
    "disk full": ("remeasure", "import", "start", "output"),
}
"""Fault to the commands that are tried with it, at each step."""


def bench(folder: Path) -> Path:
    """A plan, a catalogue of two files that a build takes from, a sheet, and an answer of yesterday's."""
    (folder / "catalogue").mkdir(parents=True)
    (folder / "catalogue" / "parts.yaml").write_text(CATALOGUE.replace("heads:", "spacers: []\nheads:"))
    (folder / "catalogue" / "spacers.csv").write_text(SPACERS)
    (folder / "catalogue" / HISTORY).write_text("# what was\n2026-01-01 08:00\tput\tg050\t2\t2\n")
    (folder / "plan.yaml").write_text(PLAN)
    (folder / "sheet.csv").write_text(SHEET)
    (folder / "plan.txt").write_text("the answer of yesterday\n")
    return folder


def trials(given: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What comes of trials, in a process of their own."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "trials.json"
        path.write_text(json.dumps(given))
        done = subprocess.run(
            [sys.executable, "-m", "tests.faulty", str(path)],
            cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        found: list[dict[str, Any]] = json.loads(done.stdout)
        return found


@functools.cache
def outcomes() -> dict[tuple[str, str], list[dict[str, Any]]]:
    """By command and fault, what each step's failing comes to; under ``""`` what the command does without one."""
    with tempfile.TemporaryDirectory() as name:
        start = bench(Path(name) / "bench")
        tried = {each: COMMANDS[each] for each in HOWS["kill"]}
        sound = trials([{"from": str(start), "words": words, "at": 0, "how": ""} for words in tried.values()])
        keys: list[tuple[str, str, str]] = []
        asked: list[dict[str, Any]] = []
        for command, each in zip(tried, sound, strict=True):
            assert each["status"] == 0 and each["steps"], (command, each)
            for how in [how for how, some in HOWS.items() if command in some]:
                for at, step in enumerate(each["steps"], 1):
                    if step in ("chmod", "fchown") or step in UNTOUCHED.get(how, ()):
                        continue  # they leave what is on the disk alone, or take no room
                    keys.append((command, how, step))
                    more = {"again": AGAIN} if how == "kill" and command in MANY else {}
                    asked.append({"from": str(start), "words": COMMANDS[command], "at": at, "how": how, **more})
        found: dict[tuple[str, str], list[dict[str, Any]]] = {
            (command, ""): [each] for command, each in zip(tried, sound, strict=True)
        }
        for (command, how, step), each in zip(keys, trials(asked), strict=True):
            found.setdefault((command, how), []).append({**each, "step": step})
        return found


def laid() -> dict[str, str]:
    """The bench's files as they are at first."""
    with tempfile.TemporaryDirectory() as name:
        return files_in(bench(Path(name) / "bench"))


def timeless(files: dict[str, str]) -> dict[str, str]:
    """Files without the time of day in the history's last lines."""
    found = dict(files)
    for name, text in files.items():
        if name.endswith(HISTORY):
            found[name] = "\n".join(line.partition("\t")[2] or line for line in text.splitlines())
    return found


def seen(files: dict[str, str]) -> dict[str, str]:
    """Files that a folder shows; hidden ones are what a killed program may leave behind."""
    return {name: text for name, text in files.items() if not any(part.startswith(".") for part in Path(name).parts)}


def test_there_are_steps_to_fail_at() -> None:
    steps = {command: outcomes()[command, ""][0]["steps"] for command in HOWS["kill"]}
    assert all({"open", "write", "fsync", "replace"} <= set(names) for name, names in steps.items() if name != "start")
    assert steps["import"].count("replace") == 4, "note of it, two files, history"
    assert {"mkdir", "rename", "link"} <= set(steps["start"])
    assert sum(map(len, steps.values())) > 40


@pytest.mark.parametrize("command", HOWS["kill"])
def test_a_program_killed_at_any_step_leaves_each_file_old_or_new(command: str) -> None:
    old, new = timeless(laid()), timeless(outcomes()[command, ""][0]["files"])
    states = []
    for each in outcomes()[command, "kill"]:
        assert each["killed"] == signal.SIGKILL, each["step"]
        there = timeless(seen(each["files"]))
        assert old.keys() <= there.keys() <= new.keys() | old.keys()
        assert all(text in (old.get(name), new.get(name)) for name, text in there.items())
        states.append(there)
    assert old in states and (new in states or command == "start"), "some are early, some are late"


@pytest.mark.parametrize("command", MANY)
def test_after_a_kill_the_next_change_finds_all_or_nothing(command: str) -> None:
    """Counts and history never part: what was cut off between two files is completed, and told."""
    put = {"catalogue/spacers.csv", "catalogue/history.txt"}
    old, new = timeless(laid()), timeless(outcomes()[command, ""][0]["files"])
    told = 0
    for each in outcomes()[command, "kill"]:
        after = timeless(seen(each["again"]["files"]))
        if each["again"]["status"] == 2:
            told += 1
            assert "had been cut off, and has now been completed; nothing else was changed" in each["again"]["said"]
            assert after == new
            continue
        assert each["again"]["status"] == 0, each["again"]["said"]
        rest = {name: text for name, text in after.items() if name not in put}
        assert rest in [{name: text for name, text in some.items() if name not in put} for some in (old, new)]
        lines = after["catalogue/history.txt"].splitlines()
        base = (
            new
            if rest == {name: text for name, text in new.items() if name not in put}
            and rest != {name: text for name, text in old.items() if name not in put}
            else None
        )
        if base is not None:
            assert lines[:-1] == base["catalogue/history.txt"].splitlines()
        assert lines[-1].startswith("put\ts1\t1")
        (counted,) = (row for row in after["catalogue/spacers.csv"].splitlines() if row.startswith("s1,"))
        assert counted.split(",")[2] == lines[-1].split("\t")[3], "count and history"
        assert not [name for name in each["again"]["files"] if name.endswith(UNFINISHED)]
    assert told, "some are cut off between two files"


@pytest.mark.parametrize(("command", "how"), [(each, how) for how in ("interrupt", "disk full") for each in HOWS[how]])
def test_what_fails_leaves_no_trace_and_says_so(command: str, how: str) -> None:
    old, new = timeless(laid()), timeless(outcomes()[command, ""][0]["files"])
    statuses = set()
    for each in outcomes()[command, how]:
        there, step = timeless(each["files"]), each["step"]
        assert there in (old, new), (step, sorted(there.items() ^ old.items()))
        if "status" not in each:
            continue
        statuses.add(each["status"])
        assert "Traceback" not in each["said"] and "itself failed" not in each["said"]
        if there == old:
            assert each["status"] == (3 if how == "interrupt" else 2), (step, each["said"])
            assert ("stopped" if how == "interrupt" else "No space left on device") in each["said"]
            assert not [folder for folder in each["folders"] if folder.startswith("shed")]
        if there == old and how == "disk full" and command not in ("start", "output"):
            assert "nothing was changed: make room on the disk and try again" in each["said"]
    assert (3 if how == "interrupt" else 2) in statuses


def test_a_cut_off_change_is_named_and_an_edit_made_since_stays(tmp_path: Path) -> None:
    """Killed between two files, then one of the rest edited by hand: the hand's work is not overwritten."""
    folder = bench(tmp_path / "bench") / "catalogue"
    code = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom kitwright.catalogs.safe_write import edit_files\n"
        "real, calls = os.replace, []\n"
        "def once(*each, **more):\n"
        "    calls.append(each)\n"
        "    real(*each, **more)\n"
        "    if len(calls) == 2:\n        os.kill(os.getpid(), signal.SIGKILL)\n"
        "os.replace = once\n"
        "folder = Path(sys.argv[1])\n"
        "edit_files({folder / name: lambda text: text + '# changed\\n' for name in ('parts.yaml', 'spacers.csv')})\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(folder)], check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    assert (folder / "parts.yaml").read_text().endswith("# changed\n")
    assert any("was cut off" in each for each in load(folder).warnings)
    (folder / "spacers.csv").write_text(SPACERS + "s2,2,1\n")
    with pytest.raises(InputError, match=r"spacers\.csv has been edited since, so that it was left out there"):
        move(load(folder), {"s1": 1}, "put")
    assert (folder / "spacers.csv").read_text() == SPACERS + "s2,2,1\n"
    move(load(folder), {"s1": 1}, "put")
    assert {part.id: part.on_shelf for part in load(folder) if part.kind == "spacer"} == {"s1": 3, "s2": 1}
    assert not [path.name for path in folder.iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[1]",
        '{"files": "", "work": "completed", "steps": [{"file": "../plan.yaml"}]}',
        *(
            json.dumps({"files": "", "work": "completed", "steps": [{"old": None, "then": None, **step}]})
            for step in (
                {"file": "..", "new": ".x-0123456789abcdef.new"},
                {"file": "../plan.yaml", "new": None},
                {"file": "parts.yaml", "new": "../.x-0123456789abcdef.new"},
                {"file": "parts.yaml", "new": "spacers.csv"},
            )
        ),
    ],
)
def test_a_note_of_a_change_that_leads_elsewhere_is_refused(tmp_path: Path, text: str) -> None:
    folder = bench(tmp_path / "bench") / "catalogue"
    (folder / UNFINISHED).write_text(text)
    with pytest.raises(InputError, match=r"cannot be read.*nothing was changed"):
        move(load(folder), {"s1": 1}, "put")
    assert (folder / "spacers.csv").read_text() == SPACERS and (tmp_path / "bench" / "plan.yaml").read_text() == PLAN


# two at once, clocks, files that change


def test_a_save_that_no_clock_shows_is_noticed(tmp_path: Path) -> None:
    """An editor saves as many bytes while a change is being made, and the file's time is what it was."""
    path = tmp_path / "parts.yaml"
    path.write_text(CATALOGUE)
    calls = 0

    def change(text: str) -> str:
        nonlocal calls
        calls += 1
        if calls == 1:
            before = path.stat()
            with path.open("r+") as file:
                file.write(CATALOGUE.replace("price: 30", "price: 31"))
            os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
            assert path.stat().st_mtime_ns == before.st_mtime_ns and path.stat().st_ino == before.st_ino
        return text + "# ours\n"

    edit_file(path, change)
    assert path.read_text() == CATALOGUE.replace("price: 30", "price: 31") + "# ours\n" and calls == 2


def test_a_file_that_goes_away_meanwhile_is_not_brought_back(tmp_path: Path) -> None:
    path = tmp_path / "parts.yaml"
    path.write_text(CATALOGUE)

    def change(text: str) -> str:
        path.unlink(missing_ok=True)
        return text + "# ours\n"

    with pytest.raises(InputError, match="does not exist"):
        edit_file(path, change)
    assert list(tmp_path.iterdir()) == []


def test_a_clock_that_was_set_back_loses_no_line(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench") / "catalogue"
    for time in ("2026-05-01 10:00", "2026-04-30 09:00", "2026-05-01 09:30"):
        move(load(folder), {"s1": 1}, "put", time=time)
    assert [each.time for each in history(folder)][1:] == ["2026-05-01 10:00", "2026-04-30 09:00", "2026-05-01 09:30"]
    assert [each.left for each in history(folder)][1:] == [3, 4, 5], "the order is that of the changes"
    shown = run("shelf", "history", folder, "--part", "s1").stdout
    assert [shown.index(each) for each in ("10:00", "09:00", "09:30")] == sorted(
        shown.index(each) for each in ("10:00", "09:00", "09:30")
    )


def test_a_measurement_dated_before_the_last_one_replaces_it_and_keeps_it(tmp_path: Path) -> None:
    plan = bench(tmp_path / "bench") / "plan.yaml"
    for value, day in (("22.9 cc", "2026-05-02"), ("22.8 cc", "2026-05-01"), ("22.7 cc", "1999-12-31")):
        assert run("remeasure", plan, "--chamber", value, "--of", "h230", "--date", day).exit_code == 0
    (field,) = load_plan(plan)[0].measured_fields
    assert str(field.value) == "22.7 cc", "the last that was typed, whatever its date"
    assert plan.read_text().count("2026-05-02") == plan.read_text().count("2026-05-01") == 1


def test_a_search_does_not_look_at_the_time_of_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    folder = bench(tmp_path / "bench")
    steps = iter(range(10**6))
    monkeypatch.setattr(time, "time", lambda: 4e9 - 1e5 * next(steps))
    assert run("find", folder / "plan.yaml", "--time", "30").exit_code == 0


def test_two_that_measure_at_once_both_land(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench")
    code = "from kitwright.cli.main import main; main()"
    words = [["--chamber", "22.9 cc", "--of", "h230"], ["--set", "r85.length=85.02 mm"]]
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, "remeasure", str(folder / "plan.yaml"), *each, "--time", "20"],
            stdout=subprocess.DEVNULL,
        )
        for each in words
    ]
    assert [each.wait(timeout=120) for each in running] == [0, 0]
    assert {(each.part, each.field) for each in load_plan(folder / "plan.yaml")[0].measured_fields} == {
        ("h230", "chamber"),
        ("r85", "length"),
    }


def test_of_several_that_lay_a_starter_at_once_one_does(tmp_path: Path) -> None:
    def lay(_: int) -> str:
        try:
            return str(len(lay_starter(tmp_path / "shed")))
        except InputError as error:
            return str(error)

    with ThreadPoolExecutor(8) as pool:
        ends = list(pool.map(lay, range(8)))
    assert sum(each.isdecimal() for each in ends) <= 1
    assert all(each.isdecimal() or "there" in each or "cannot be written here" in each for each in ends), ends
    there = sorted(path.name for path in (tmp_path / "shed").iterdir()) if (tmp_path / "shed").exists() else []
    assert there in (["catalogue", "plan.yaml", "schema"], [])
    assert bool(there) == any(each.isdecimal() for each in ends)


@pytest.mark.parametrize("name", ["parts.yaml", "spacers.csv"])
@pytest.mark.parametrize("what", ["goes away", "is cut short", "is emptied"])
def test_a_file_that_changes_while_a_catalogue_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, what: str
) -> None:
    """Between the look into the folder and the reading: an answer or a message that names the file, never a crash."""
    folder = bench(tmp_path / "bench") / "catalogue"
    real, seen = Path.read_bytes, []

    def read(path: Path) -> bytes:
        if path.name == name and not seen:
            seen.append(path)
            data = real(path)
            path.unlink()
            if what != "goes away":
                path.write_bytes(data[: len(data) // 2] if what == "is cut short" else b"")
        return real(path)

    monkeypatch.setattr(Path, "read_bytes", read)
    result = run("shelf", "list", folder)
    assert seen and result.exit_code in (0, 2)
    assert result.exit_code == 0 or name in result.stderr, result.stderr
    assert result.exit_code == 2 or what != "goes away"


# folders and files that may not be written, streams that go nowhere


MAIN = [sys.executable, "-B", "-c", "from kitwright.cli.main import main; main()"]
SEVERAL = """
import ctypes, os, sys
from itertools import groupby
if sys.argv[1] == "held back" and os.geteuid() == 0:  # the superuser's right to write everywhere is given up
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)
    held = (ctypes.c_uint32 * 6)()
    libc = ctypes.CDLL(None)
    assert libc.capget(header, held) == 0
    for place in (0, 1):
        held[place] &= ~0b110
    assert libc.capset(header, held) == 0
from kitwright.cli.main import main
for parts, words in groupby(sys.argv[2:], lambda word: word == "+"):
    if not parts:
        sys.argv = ["kitwright", *words]
        try:
            main()
        except SystemExit as end:
            print(f"status {end.code}", file=sys.stderr)
"""
"""Several commands in one process, with `+` between them, each with its status on standard error."""


def several(
    commands: list[list[str]], folder: Path, how: str = "", environment: dict[str, str] | None = None
) -> list[tuple[str, str]]:
    """Status and messages of each command."""
    words = [word for command in commands for word in ("+", *command)]
    done = subprocess.run(
        [sys.executable, "-B", "-c", SEVERAL, how, *words],
        cwd=folder, env=os.environ | (environment or {}), capture_output=True, timeout=120, check=False,
    )  # fmt: skip
    encoding = (environment or {}).get("PYTHONIOENCODING", "utf-8")
    said = done.stderr.decode(encoding)
    assert done.returncode == 0 and "Traceback" not in said, said
    found = re.findall(r"(.*?)status (\d+)\n", said, re.DOTALL)
    assert len(found) == len(commands), said
    return [(status, text) for text, status in found]


@pytest.fixture
def guarded(tmp_path: Path) -> Any:
    """A bench in a folder that everybody may enter and nobody may write in."""
    folder = bench(tmp_path / "bench")
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
    yield folder
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)


UNWRITABLE = (
    (["shelf", "put", "s1", "--catalogue", "catalogue"], "write-protected; nothing was changed"),
    (["remeasure", "plan.yaml", "--chamber", "22.9 cc", "--of", "h230"], "write-protected; nothing was changed"),
    (["start", "shed"], "cannot be written here: Permission denied"),
    (["shelf", "list", "catalogue", "--output", "new.txt"], "cannot be written: you may not write there"),
    (["shelf", "list", "catalogue", "--output", "plan.txt"], "cannot be written: you may not write there"),
)


@pytest.mark.parametrize("what", ["file and folder", "folder"])
def test_what_may_not_be_written_is_left_alone(guarded: Path, what: str) -> None:
    if what == "folder":
        for path in guarded.rglob("*"):
            if path.is_file():
                path.chmod(0o666)
    for (words, said), (status, text) in zip(
        UNWRITABLE, several([words for words, _ in UNWRITABLE], guarded, "held back"), strict=True
    ):
        if what == "folder" and words[-1] != "new.txt":
            said = "Permission denied"
        assert status == "2" and said in text, (words, text)
    assert files_in(guarded) == laid()


def shell(words: str, redirected: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        f"{shlex.join(MAIN)} {words} {redirected}",
        shell=True, cwd=folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full is wanted")
@pytest.mark.parametrize(
    ("redirected", "said"),
    [
        (">/dev/full", "standard output cannot be written: No space left on device"),
        (">&-", "standard output is closed; `--output FILE` writes the answer to a file"),
    ],
)
def test_an_answer_that_cannot_be_printed_is_said_to_be_none(tmp_path: Path, redirected: str, said: str) -> None:
    folder = bench(tmp_path / "bench")
    done = shell("shelf put s1 --catalogue catalogue", redirected, folder)
    assert done.returncode == 2 and done.stderr == f"kitwright: {said}; the counts are changed all the same\n"
    assert (folder / "catalogue" / "spacers.csv").read_text().endswith("s1,1,3\n")


@pytest.mark.parametrize(
    ("words", "redirected", "status"),
    [
        ("shelf list no-such", "2>/dev/full", 2),
        ("shelf list no-such", "2>&-", 2),
        ("shelf import sheet.csv catalogue", "2>&- <&-", 0),
    ],
)
def test_messages_that_nobody_hears_change_no_status(tmp_path: Path, words: str, redirected: str, status: int) -> None:
    if "full" in redirected and not Path("/dev/full").exists():
        pytest.skip("a device that is always full is wanted")
    done = shell(words, redirected, bench(tmp_path / "bench"))
    assert done.returncode == status and ("2 parts" in done.stdout if status == 0 else done.stdout == "")


def test_an_output_file_on_a_full_disk_after_a_change_says_what_is_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = bench(tmp_path / "bench")
    real = safe_write.write_whole

    def full(path: Path, data: bytes) -> None:
        if path.name != "plan.txt":
            return real(path, data)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(safe_write, "write_whole", full)
    build = ["shelf", "take", "--plan", "plan.yaml", "--rank", "1"]
    for name, words in {**COMMANDS, "build": build}.items():
        if name in ("start", "output"):
            continue
        plain = [str(folder / each) if (folder / each).exists() else each for each in words]
        result = run(*plain, "--output", folder / "plan.txt")
        assert result.exit_code == 2, (name, result.stderr)
        assert "cannot be written: No space left on device; " in result.stderr and "all the same" in result.stderr
    assert (folder / "plan.txt").read_text() == "the answer of yesterday\n"


# locales, encodings, names

UMLAUTS = {"name": "Kolbenbolzen, 16 mm, Ø × ß", "note": "für den Prüfstand"}


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "ascii"},
        {"PYTHONIOENCODING": "cp1252", "LC_ALL": "de_DE.UTF-8"},
    ],
    ids=str,
)
def test_no_locale_changes_what_is_written(tmp_path: Path, environment: dict[str, str]) -> None:
    folder = bench(tmp_path / "bench")
    fields = [f"{name}={text}" for name, text in UMLAUTS.items()]
    where = ["--catalogue", "catalogue", "--output", "größe.txt"]
    asked = [
        ["shelf", "add", "spacer", "id=ß1", "thickness=1.5 mm ± 0.1 mm", *fields, *where],
        ["remeasure", "plan.yaml", "--chamber", "22.9 cc ± 0.1 cc", "--of", "h230", "--note", UMLAUTS["note"]],
    ]
    assert [status for status, _ in several(asked, folder, "", environment)] == ["0", "0"]
    part = load(folder / "catalogue").get("ß1")
    assert part is not None and (part.name, part.note) == tuple(UMLAUTS.values())
    assert str(part.thickness) == "1.5 ± 0.1 mm"  # type: ignore[attr-defined]
    assert UMLAUTS["name"] in (folder / "größe.txt").read_text(encoding="utf-8")
    (field,) = load_plan(folder / "plan.yaml")[0].measured_fields
    assert (str(field.value), field.remarks.note) == ("22.9 cc ± 0.1 cc", UMLAUTS["note"])


def test_words_that_are_no_text_are_refused(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench")
    for words in (["put", "s1", "--note", b"f\xfcr"], ["add", "spacer", "id=s9", "thickness=1 mm", b"name=\xd8"]):
        done = subprocess.run(
            [*map(os.fsencode, MAIN), *map(os.fsencode, ["shelf", *words, "--catalogue", "catalogue"])],
            cwd=folder, capture_output=True, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 2 and b"is no text in UTF-8" in done.stderr, done.stderr
    assert files_in(folder) == laid()


def test_a_path_that_is_no_text_gets_its_answer(tmp_path: Path) -> None:
    """A folder's name in another encoding: half characters in every path that is told."""
    folder = bench(Path(os.fsdecode(os.fsencode(tmp_path / "w") + b"\xe4hlwerk")))
    for form in ("table", "json", "csv", "markdown"):
        target = tmp_path / f"out.{form}"
        assert run("shelf", "list", folder / "catalogue", "--format", form, "--output", target).exit_code == 0
        assert target.read_bytes().decode("utf-8")
    assert run("shelf", "put", "s1", "--catalogue", folder / "catalogue").exit_code == 0
    assert run("sheet", folder / "plan.yaml", "--rank", "1", "--output", tmp_path / "sheet.html").exit_code == 0


def test_a_long_name_is_written_too(tmp_path: Path) -> None:
    folder = bench(tmp_path / "bench")
    long = tmp_path / ("ä" * 120 + ".txt")
    assert run("shelf", "list", folder / "catalogue", "--output", long).exit_code == 0
    edit_files({long: lambda text: text + "more\n"})
    assert long.read_text(encoding="utf-8").endswith("more\n")
