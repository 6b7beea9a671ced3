"""The command as a process of its own: what it imports, its streams, its locale, its terminal."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from kitwright.cli.main import app
from tests.cli_runner import plan, run
from tests.pages import commands

HEAVY = ("ortools", "pandas", "pint", "numpy", "rich")
EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml"
START = [sys.executable, "-c", "from kitwright.cli.main import main; main()"]


def process(*words: str | Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*START, *map(str, words)],
        capture_output=True,
        env=os.environ | environment,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    "words",
    [("--help",), ("--version",), ("find", "--help"), ("check", "--help"), ("shelf", "list", "--help")],
)
def test_help_imports_nothing_heavy(words: tuple[str, ...]) -> None:
    code = (
        "import sys\nfrom kitwright.cli.main import main\n"
        f"sys.argv = ['kitwright', *{words!r}]\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    "words",
    [
        (),
        *((name,) for name in ("find", "check", "explain", "stack", "measure-next", "remeasure", "sheet", "start")),
        *((name,) for name in ("figures", "schema", "shelf")),
        *(("shelf", name) for name in ("check", "list", "add", "import", "take", "put", "history")),
    ],
)
def test_help_fits_80_columns_with_examples_and_exit_status(
    words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    done = run(*words, "--help")
    text = done.stdout
    assert done.exit_code == 0
    assert max(map(len, text.splitlines())) <= 80
    if words != ("shelf",):
        assert "Examples:\n" in text and "  kitwright " in text
        assert "  2  the input is at fault\n" in text and "  3  stopped" in text


def test_every_command_that_answers_takes_a_format_and_has_examples() -> None:
    """All that there are, whatever is added; a schema is JSON by its nature."""
    found = {" ".join(path[1:]): command for path, command in commands(typer.main.get_command(app))}
    assert len(found) > 15
    for name, command in found.items():
        options = {each for parameter in command.params for each in parameter.opts}
        assert "--format" in options or name == "schema", name
        assert "Examples:" in (command.epilog or "") and "Exit status:" in (command.epilog or ""), name


def test_the_version_is_the_distributions() -> None:
    from importlib.metadata import version

    assert process("--version").stdout.decode().strip() == f"kitwright {version('kitwright')}"


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "ascii"},
        {"PYTHONIOENCODING": "latin-1"},
    ],
    ids=str,
)
def test_no_locale_stops_an_answer(environment: dict[str, str]) -> None:
    done = process("check", plan("stack-not-needed"), "--use", "rod=r85", "--use", "gasket=g050", **environment)
    assert done.returncode == 0, done.stderr
    assert b"quench" in done.stdout
    if "LC_ALL" in environment:
        assert "≥ 0.90 mm" in done.stdout.decode("utf-8")


def test_a_reader_that_has_seen_enough_is_no_error() -> None:
    running = subprocess.Popen(
        [*START, "shelf", "list", "--plan", str(EXAMPLE), "--format", "json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert running.stdout is not None and running.stderr is not None
    running.stdout.close()
    said = running.stderr.read()
    running.stderr.close()
    assert running.wait(60) == 0
    assert said == b""


def on_a_terminal(*words: str | Path, **environment: str) -> str:
    ours, theirs = pty.openpty()
    running = subprocess.Popen(
        [*START, *map(str, words)],
        stdout=theirs,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "90"} | environment,
    )
    os.close(theirs)
    read = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        read += piece
    running.wait(60)
    os.close(ours)
    return read.decode()


def test_a_terminal_gets_a_little_colour_unless_it_is_not_wanted() -> None:
    words = ("find", plan("stack-not-needed"))
    environment = dict.fromkeys(("NO_COLOR",), "")
    assert "\x1b[1m" in on_a_terminal(*words, **environment)
    plain = on_a_terminal(*words, NO_COLOR="1")
    assert "\x1b" not in plain and "2 combinations fit" in plain
    assert b"\x1b" not in process(*words).stdout


def test_columns_are_kept_beside_a_terminal_too() -> None:
    """What a pager or a program that runs the command again and again asks for; else what a page of text has."""
    words = ("find", plan("stack-not-needed"))
    printed = {asked: process(*words, COLUMNS=asked).stdout.decode() for asked in ("70", "80", "no number", "0")}
    # a path is not broken, however long the one of this checkout is
    lines = {
        asked: [line for line in text.splitlines() if str(words[1]) not in line] for asked, text in printed.items()
    }
    widest = {asked: max(map(len, kept)) for asked, kept in lines.items()}
    assert widest["70"] <= 70 < widest["no number"]
    assert 70 < widest["80"] <= 80 < widest["no number"] == widest["0"] <= 100
