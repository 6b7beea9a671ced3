"""Where results and messages go: standard output or a file, standard error, and the exit status."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
from collections.abc import Callable, Iterable
from enum import IntEnum
from functools import wraps
from pathlib import Path
from typing import Any, TextIO

import typer

from kitwright.cli import ending
from kitwright.cli.seen import quoted, seen

WIDTH = 100
"""Columns of a result that goes to no terminal."""

NARROWEST = 60
SHOW_TRACEBACK = "KITWRIGHT_TRACEBACK"
"""Environment variable that lets the traceback of a failure of the program itself through."""


class Status(IntEnum):
    """Exit status."""

    ANSWERED = 0
    NOTHING = 1
    INPUT = 2
    STOPPED = 3


STATUS = {"complete": Status.ANSWERED, "nothing_fits": Status.NOTHING, "incomplete": Status.STOPPED}
"""A search's own status to the exit status."""


class OutputError(Exception):
    """The answer cannot be written where it was asked for."""


def prepare_streams() -> None:
    """Let every character through, or a question mark for it, whatever the locale says."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is None:
            continue
        with contextlib.suppress(OSError, ValueError):
            if stream.isatty() or os.environ.get("PYTHONIOENCODING"):
                reconfigure(errors="replace")
            else:
                reconfigure(encoding="utf-8", errors="replace")


def width() -> int:
    """Columns that a table may take: the terminal's, or what ``COLUMNS`` says beside one, within reason."""
    if not on_terminal(sys.stdout) and not os.environ.get("COLUMNS", "").isdecimal():
        return WIDTH
    return min(max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST), WIDTH)


def in_colour() -> bool:
    """Whether a result may carry a little colour."""
    return on_terminal(sys.stdout) and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def on_terminal(stream: TextIO | None) -> bool:
    """Whether a person is at a stream; a stream that was closed is None."""
    return stream is not None and stream.isatty()


def say(*lines: str) -> None:
    """Say something beside the result, on standard error; where nobody can hear it, nothing is said."""
    if sys.stderr is None:
        return
    try:
        for line in lines:
            print(seen(line), file=sys.stderr)
        sys.stderr.flush()
    except (OSError, ValueError):
        _silence(sys.stderr)


def _silence(stream: TextIO) -> None:
    """Let what is still in a stream's buffer go nowhere, so that the program's end does not stumble over it."""
    with contextlib.suppress(OSError, ValueError):
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, stream.fileno())
        os.close(null)


def check_target(target: Path | None) -> None:
    """Find out before a long search whether the answer can be written.

    Raises:
        OutputError: it cannot.

    """
    if target is None:
        return
    try:
        folder = target.parent
        if target.is_dir():
            raise OutputError(f"`{target}` is a folder; name a file to write the answer to")
        if not folder.is_dir():
            made = f"`mkdir -p {quoted(str(folder))}` makes it"
            raise OutputError(f"there is no folder `{folder}` to write `{target.name}` in; {made}")
        if not os.access(target if target.exists() else folder, os.W_OK):
            raise OutputError(f"`{target}` cannot be written: you may not write there")
    except (OSError, ValueError) as error:
        raise OutputError(f"`{target}` cannot be written: {_reason(error)}") from None


def deliver(text: str, target: Path | None, done: str = "") -> None:
    """Write a result to a file, whole or not at all, or to standard output.

    Args:
        text: the result.
        target: the file; standard output where there is none.
        done: what has been changed by then, said where the result cannot be written.

    Raises:
        OutputError: it cannot be written.

    """
    if not text.endswith("\n"):
        text += "\n"
    ending.delivering()
    try:
        if target is None:
            _print(text)
        else:
            _write(text, target)
    except OutputError as error:
        raise OutputError(f"{error}; {done} all the same" if done else str(error)) from None
    if target is not None:
        say(f"written: {target}")


def _print(text: str) -> None:
    if sys.stdout is None:
        raise OutputError("standard output is closed; `--output FILE` writes the answer to a file")
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader has seen enough
        _silence(sys.stdout)
    except OSError as error:
        _silence(sys.stdout)
        raise OutputError(f"standard output cannot be written: {_reason(error)}") from None


def _write(text: str, target: Path) -> None:
    check_target(target)
    try:
        real = Path(os.path.realpath(target))
        if real.exists() and not real.is_file():  # a pipe or a device takes what comes
            real.write_text(text, encoding="utf-8", errors="replace")
            return
        from kitwright.catalogs.safe_write import write_whole

        write_whole(real, text.encode("utf-8", "replace"))  # half a character comes from a path that is no text
    except (OSError, ValueError) as error:
        raise OutputError(f"`{target}` cannot be written: {_reason(error)}") from None


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def guarded(function: Callable[..., Status]) -> Callable[..., None]:
    """Turn what a command raises into messages and an exit status; no traceback reaches the builder."""

    @wraps(function)
    def wrapped(*arguments: Any, **named: Any) -> None:
        status = _run(function, arguments, named)
        if status is not Status.ANSWERED:
            raise typer.Exit(int(status))

    return wrapped


def _run(function: Callable[..., Status], arguments: tuple[Any, ...], named: dict[str, Any]) -> Status:
    try:
        if named.get("output") is not None:
            from kitwright.cli.inputs import refuse_inputs

            refuse_inputs(named)
        with ending.within(named.get("seconds")):
            return function(*arguments, **{name: _as_text(value) for name, value in named.items()})
    except typer.Exit:
        raise
    except (KeyboardInterrupt, typer.Abort):  # the latter where a question is answered with the end of input
        say("stopped")
        return Status.STOPPED
    except BrokenPipeError:
        return Status.ANSWERED
    except OSError as error:
        say(f"kitwright: {_reason(error)}" + (f": `{str(error.filename)[:200]}`" if error.filename else ""))
        return Status.INPUT
    except OutputError as error:
        say(f"kitwright: {_one_line(error)}")
        return Status.INPUT
    except MemoryError:
        say(OUT_OF_MEMORY)
        return Status.STOPPED
    except (ValueError, OverflowError) as error:
        from kitwright.cli import next_command

        said = _one_line(error)
        say(f"kitwright: {said}", *next_command.after_words(said))
        return Status.INPUT
    except Exception as error:
        from kitwright.catalogs.problems import InputError
        from kitwright.cli import next_command
        from kitwright.solver.stopping import OutOfMemoryError, OutOfTimeError

        if isinstance(error, OutOfTimeError):
            in_time = "stopped" if ending.interrupted() else OUT_OF_TIME
            say(OUT_OF_MEMORY if isinstance(error, OutOfMemoryError) else in_time)
            return Status.STOPPED
        if isinstance(error, InputError):
            say_faults(map(str, error.problems))
            say(*next_command.after_faults(error.problems, named))
            return Status.INPUT
        if os.environ.get(SHOW_TRACEBACK):
            raise
        say(
            f"kitwright itself failed: {type(error).__name__}: {_one_line(error)}",
            f"The input is not to blame. {SHOW_TRACEBACK}=1 shows where, for a report.",
        )
        return Status.INPUT


LESS = "pinned parts (`--use`), fewer `--kinds` or `--gaskets`, or a smaller `--top` ask less at once"
"""What makes a question smaller."""

OUT_OF_TIME = f"kitwright: stopped: the time was up before there was an answer; {LESS}"
OUT_OF_MEMORY = f"kitwright: stopped: the question takes more memory than it may; {LESS}"


def _as_text(value: Any) -> Any:
    """Give words of the command line as text where the locale could not read them; paths stay what they were.

    Raises:
        ValueError: they are no text.

    """
    if isinstance(value, list):
        return [_as_text(each) for each in value]
    if not isinstance(value, str) or not any("\ud800" <= sign <= "\udfff" for sign in value):
        return value
    try:
        return value.encode("utf-8", "surrogateescape").decode("utf-8")
    except UnicodeError:
        shown = value[:40].encode("ascii", "backslashreplace").decode()
        raise ValueError(f"`{shown}` is no text in UTF-8; type it in a terminal that is set to UTF-8") from None


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__


def say_faults(faults: Iterable[str], most: int = 200) -> None:
    """Say all that is wrong with the input; of a file that is wrong from end to end, the first of it."""
    lines = list(faults)
    count = "one fault" if len(lines) == 1 else f"{len(lines)} faults"
    more = [f"  … and {len(lines) - most} more: mend these first"] if len(lines) > most else []
    say(f"kitwright: the input is at fault ({count})", *(f"  {line}" for line in lines[:most]), *more)


def say_warnings(warnings: Iterable[str], command: str, most: int = 3) -> None:
    """Say what looks odd, at most a few lines of it, and the command that lists everything."""
    lines = list(warnings)
    if not lines:
        return
    count = "one thing looks" if len(lines) == 1 else f"{len(lines)} things look"
    more = [f"  … `{command}` lists them all"] if len(lines) > most else []
    say(f"kitwright: {count} odd", *(f"  {line}" for line in lines[:most]), *more)
