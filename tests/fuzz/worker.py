"""Runs cases one after the other, in a process that may neither grow nor reach out; seeds come in, verdicts go out."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

import kitwright.catalogs
import kitwright.cli
import kitwright.solver
from kitwright.catalogs import InputError, load, load_plan
from kitwright.catalogs.problems import Problem
from kitwright.cli import output
from kitwright.cli.main import app
from kitwright.solver import quantity
from tests.fuzz.cases import WRITING, Case, case
from tests.fuzz.files import ROOT

MEMORY = 4_000_000_000
"""Bytes of address space: the solver's libraries alone map more than a thousand million."""

GROWTH = 900_000
"""Kilobytes that one case may add to the process's peak."""

SLOW = 60.0
"""Seconds of work that one case may take, its two seconds of each search among them."""

SOURCES = {
    str(path.resolve()): path.read_text(encoding="utf-8").splitlines()
    for package in (kitwright.solver, kitwright.catalogs, kitwright.cli)
    for path in Path(package.__file__ or "").parent.rglob("*.py")
}
"""The program's lines as they were when the process began."""
_FORBIDDEN = (
    "socket.",
    "subprocess.",
    "os.system",
    "os.exec",
    "os.fork",
    "os.posix_spawn",
    "os.spawn",
    "webbrowser.",
    "urllib.",
)
_CHANGES = (
    "os.remove",
    "os.rename",
    "os.mkdir",
    "os.rmdir",
    "os.link",
    "os.symlink",
    "os.truncate",
    "os.chmod",
    "shutil.rmtree",
)


class Watch:
    """What a case does beside answering: the network, other programs, files elsewhere, errors that were hidden."""

    def __init__(self) -> None:
        self.folder: str | None = None
        self.status: int | None = None
        self.found: list[str] = []
        self.errors: list[BaseException] = []

    def hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        """Audit hook; it only notes, so that the program goes on as it would."""
        if self.folder is None:
            return
        if event.startswith(_FORBIDDEN):
            self.found.append(f"{event} {str(arguments)[:200]}")
        elif event == "open" and self._writes(arguments) and not self._inside(arguments[0]):
            self.found.append(f"opened for writing outside: {arguments[0]!r}")
        elif event in _CHANGES and not self._inside(arguments[0]):
            self.found.append(f"{event} outside: {arguments[0]!r}")

    @staticmethod
    def _writes(arguments: tuple[Any, ...]) -> bool:
        _, mode, flags = (*arguments, None, None)[:3]
        if isinstance(mode, str):
            return any(sign in mode for sign in "wax+")
        return bool(isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR))

    def _inside(self, path: Any) -> bool:
        if isinstance(path, int) or path == os.devnull:
            return True
        text = os.fsdecode(path)
        return os.path.realpath(text).startswith(str(self.folder))


COMMAND = typer.main.get_command(app)
WATCH = Watch()
_run = output._run


def _watched(function: Any, arguments: Any, named: Any) -> Any:
    def heard(*each: Any, **more: Any) -> Any:
        try:
            return function(*each, **more)
        except BaseException as error:
            WATCH.errors.append(error)
            raise

    return _run(heard, arguments, named)


def meant(error: BaseException) -> bool:
    """Whether an error was raised on purpose, for the builder to read."""
    if isinstance(error, (InputError, output.OutputError, typer.Exit, typer.Abort, SystemExit)):
        return True
    if not isinstance(error, ValueError):
        return False
    frame = traceback.extract_tb(error.__traceback__)[-1]
    lines = SOURCES.get(os.path.realpath(frame.filename), [])
    return bool(frame.lineno and frame.lineno <= len(lines) and lines[frame.lineno - 1].strip().startswith("raise"))


def told(error: BaseException) -> str:
    every = traceback.extract_tb(error.__traceback__)
    frames = [each for each in every if "/site-packages/" not in each.filename or "/kitwright/" in each.filename]
    at = " < ".join(f"{Path(each.filename).name}:{each.lineno}" for each in reversed(frames[-6:]))
    return f"{type(error).__name__}: {str(error)[:160]} ({at})"


def snapshot(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def judge(given: Case) -> list[str]:
    """Run a case; what is wrong with what it did."""
    WATCH.status = None
    if given.texts:
        return list(read(given.texts))
    with tempfile.TemporaryDirectory(prefix="kitwright-fuzz-") as name:
        folder = Path(name).resolve() / "bench"
        for each, data in given.files.items():
            path = folder / each
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        folder.mkdir(exist_ok=True)
        before = snapshot(folder)
        os.chdir(folder)
        try:
            return list(_judged(given, folder, before))
        finally:
            WATCH.folder = None
            os.chdir(ROOT)


def _judged(given: Case, folder: Path, before: dict[str, tuple[bytes, int]]) -> Iterator[str]:
    WATCH.folder, WATCH.found, WATCH.errors = str(folder), [], []
    started = time.process_time()
    status, out, said, shown, escaped = call(given.words)
    took = time.process_time() - started
    WATCH.folder, WATCH.status = None, status
    yield from WATCH.found
    yield from (f"warning on the screen: {each}" for each in shown)
    if escaped is not None:
        yield f"traceback: {told(escaped)}"
    yield from (f"hidden: {told(each)}" for each in WATCH.errors if not meant(each))
    if status not in (0, 1, 2, 3):
        yield f"exit status {status}"
    if "Traceback" in said or "itself failed" in said:
        yield f"said: {said[:300]}"
    if took > SLOW:
        yield f"took {took:.0f} s"
    if status == 2 and not said.strip():
        yield "status 2 and not a word"
    for error in WATCH.errors:
        if isinstance(error, InputError):
            yield from bad_problems(error.problems, folder)
    yield from bad_output(out, given.words)
    after = snapshot(folder)
    if given.command not in WRITING and not {"-o", "--output"} & set(given.words):
        changed = sorted(each for each in before.keys() | after.keys() if before.get(each) != after.get(each))
        if changed:
            yield f"a command that only reads has changed {changed}"
        return
    content = [{each: data for each, (data, _) in some.items()} for some in (before, after)]
    reported = {"-o", "--output"} & set(given.words)  # a report of the faults goes there too
    if status == 2 and content[0] != content[1] and "all the same" not in said and not reported:
        yield f"status 2, and files have changed: {sorted(content[0].items() ^ content[1].items())!r:.200}"
    left = [each for each in after if each not in before and Path(each).name.startswith(".")]
    if left:
        yield f"left behind: {left}"
    if status != 2 and content[0] != content[1]:
        yield from unreadable(given, folder)


def unreadable(given: Case, folder: Path) -> Iterator[str]:
    """What a change has made of files that could be read before it."""
    try:
        if given.command == "remeasure" and "--output" not in given.words and "-o" not in given.words:
            load_plan(folder / given.words[1])
        elif given.command.startswith("shelf") and (folder / "catalogue").is_dir():
            load(folder / "catalogue")
    except InputError as error:
        yield f"after the change: {str(error)[:300]}"


def call(words: list[str]) -> tuple[int, str, str, list[str], BaseException | None]:
    """Status, output, messages, warnings of the libraries, and what got out."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="replace") for _ in range(2)]
    kept = sys.stdout, sys.stderr, sys.stdin
    status, escaped = 0, None
    shown: list[str] = []
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        warnings.showwarning = lambda message, category, file, line, *_: shown.append(  # type: ignore[assignment]
            f"{category.__name__}: {message} ({Path(file).name}:{line})"
        )
        sys.stdout, sys.stderr, sys.stdin = streams[0], streams[1], io.StringIO("")
        try:
            COMMAND(args=words, prog_name="kitwright")
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
        except BaseException as error:
            escaped = error
        finally:
            for stream in streams:
                with contextlib.suppress(ValueError):
                    stream.flush()
            sys.stdout, sys.stderr, sys.stdin = kept
    out, said = (stream.buffer.getvalue().decode("utf-8") for stream in streams)  # type: ignore[attr-defined]
    return status, out, said, [each for each in shown if "ResourceWarning" not in each], escaped


def bad_problems(problems: tuple[Problem, ...], folder: Path) -> Iterator[str]:
    """Messages that name no place, a line that is not there, or that break a terminal."""
    if not problems:
        yield "an error without a problem"
    for each in problems[:100]:  # of a file that is wrong from end to end the others say the same
        text = str(each)
        if not each.file and not each.part and not each.field and "`" not in each.message:
            yield f"no place: {text[:200]}"
        if "\n" in text or not text.isprintable():
            yield f"not on one line: {text[:200]!r}"
        if len(text) > 2500:
            yield f"{len(text)} characters in one message: {text[:200]}"
        path = folder / each.file if each.file and "\x00" not in each.file else None
        with contextlib.suppress(OSError):
            if path is not None and path.is_file():
                lines = len(re.split(rb"\r\n|\n|\r|\xe2\x80\xa8|\xe2\x80\xa9|\xc2\x85", path.read_bytes()))
                if not 0 <= each.line <= lines:
                    yield f"line {each.line} of {lines}: {text[:200]}"
                # Of a whole table no line is to blame, and none where too few are on the shelf.
                if not each.line and each.part and path.name != "lobe.csv" and "nothing was changed" not in text:
                    yield f"no line: {text[:200]}"


_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_TURNING = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_FORMULA = re.compile(r"[=@\t\r＝＋－＠]|[+-](?![\d.]+(e[+-]?\d+)?$)")


def bad_output(out: str, words: list[str]) -> Iterator[str]:
    """Output that a reader of its format would choke on, or run."""
    form = next((words[at + 1] for at, word in enumerate(words[:-1]) if word in ("-f", "--format")), "table")
    # In CSV text stays what it was: other programs read it, and compare.
    if found := _CONTROL.search(out) or (form != "csv" and _TURNING.search(out)):
        around = out[max(0, found.start() - 60) : found.end() + 20]
        yield f"a control character in the output: {found[0]!r} in {around!r}"
    if not out.strip() or "--help" in words or "-h" in words:
        return
    if form == "json":
        try:
            json.loads(out, parse_constant=_no_constant)
        except ValueError as error:
            yield f"no JSON: {error}"
    if form == "csv":
        for cell in (cell for row in csv.reader(io.StringIO(out)) for cell in row):
            if _FORMULA.match(cell):
                yield f"a cell that a spreadsheet would run: {cell[:80]!r}"
    if out.lstrip().startswith("<!doctype html") and re.search(r"<(script>kw|img src=x)", out):
        yield "a name went into the page as it is"


def _no_constant(text: str) -> None:
    raise ValueError(f"{text} is no JSON number")


def read(texts: list[str]) -> Iterator[str]:
    """Quantities are read or refused, at once, and what was read is finite."""
    dimensions = [each for each in vars(quantity).values() if isinstance(each, quantity.Dimension)]
    for text in texts:
        for reader in (quantity.parse_deck, *(_reader(each) for each in dimensions)):
            started = time.monotonic()
            try:
                found = reader(text)
                if not abs(found.si) < 1e300 or not 0 <= found.tolerance < 1e300:
                    yield f"{text!r}: {found.si} ± {found.tolerance}"
            except quantity.QuantityError:
                pass
            except Exception as error:
                yield f"{text!r}: {told(error)}"
            if time.monotonic() - started > 2:
                yield f"{text!r}: took {time.monotonic() - started:.1f} s"


def _reader(dimension: quantity.Dimension) -> Any:
    return lambda text: quantity.parse(text, dimension)


def main() -> None:
    """Seeds on standard input, one verdict a line on the stream that standard output was."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # what a library writes past Python does not mix with the verdicts
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    os.environ[output.SHOW_TRACEBACK] = "1"
    output._run = _watched
    sys.addaudithook(WATCH.hook)
    for line in sys.stdin:
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        given = case(int(line))
        try:
            wrong = judge(given)
        except MemoryError as error:
            wrong = [f"memory: {told(error)}"]
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak
        if grown > GROWTH:
            wrong.append(f"{grown // 1000} MB more at the peak")
        verdict = {"about": given.about, "command": given.command, "status": WATCH.status, "wrong": wrong}
        print(json.dumps(verdict), file=out, flush=True)


if __name__ == "__main__":
    main()
