"""Runs commands that write, and lets them fail at each step of the writing: killed, interrupted, the disk full.

    python -m tests.faulty PLAN.json

reads a list of trials and prints a list of what came of them. A trial is run in a process forked off this one, which
has run the command once already: a step costs some hundredths of a second.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import gc
import io
import json
import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path
from typing import Any

import typer

from kitwright.cli.main import app

COMMAND = typer.main.get_command(app)

STEPS = ("open", "write", "fsync", "close", "replace", "rename", "link", "unlink", "mkdir", "rmdir", "chmod", "fchown")
"""Calls that change something on the disk, and those that end one; `open` where it is to write."""

MEMORY = next((folder for folder in ("/dev/shm",) if os.access(folder, os.W_OK)), None)
"""A folder in memory, where there is one: bringing a file down to a real disk takes longer than all the rest."""

PIECE = 1000
"""Bytes that one call of `write` takes, so that a text needs several."""


class Failing:
    """Counts the steps and lets one of them fail: killed or interrupted after it, or no room for it."""

    def __init__(self, at: int, how: str, kill_at: int = 0) -> None:
        self.at, self.how, self.kill_at = at, how, kill_at
        self.count = 0
        self.names: list[str] = []
        self._real = {name: getattr(os, name) for name in STEPS}
        self._flock = fcntl.flock
        self.began = False

    def __enter__(self) -> Failing:
        for name in STEPS:
            setattr(os, name, self._step(name))
        fcntl.flock = self._locked
        return self

    def __exit__(self, *_: object) -> None:
        for name, real in self._real.items():
            setattr(os, name, real)
        fcntl.flock = self._flock

    def _locked(self, handle: int, how: int) -> None:
        self.began = True
        self._flock(handle, how)

    def _step(self, name: str) -> Any:
        real = self._real[name]

        def call(*arguments: Any, **named: Any) -> Any:
            writes = name != "open" or bool(arguments[1] & (os.O_WRONLY | os.O_RDWR))
            self.began |= name == "mkdir" or (name == "open" and writes and arguments[0] != os.devnull)
            if not self.began or not writes:
                return real(*arguments, **named)
            if name == "write":
                arguments = (arguments[0], bytes(arguments[1][:PIECE]))
            self.count += 1
            self.names.append(name)
            if self.count == self.kill_at:  # on top of what has failed before, while that is being made good
                with contextlib.suppress(OSError):
                    real(*arguments, **named)
                os.kill(os.getpid(), signal.SIGKILL)
            if self.count != self.at:
                return real(*arguments, **named)
            try:
                found = real(*arguments, **named) if self.how != "disk full" or name == "close" else None
            finally:
                if self.how == "kill":
                    os.kill(os.getpid(), signal.SIGKILL)
            if self.how == "interrupt":
                raise KeyboardInterrupt
            if self.how == "disk full":
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return found

        return call


def files(folder: Path) -> dict[str, str]:
    """Every file below a folder, as text."""
    return {
        str(path.relative_to(folder)): path.read_bytes().decode("utf-8", "replace")
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def run(words: list[str]) -> tuple[int, str]:
    """Status and messages of a command."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2)]
    kept = sys.stdout, sys.stderr, sys.stdin
    sys.stdout, sys.stderr, sys.stdin = streams[0], streams[1], io.StringIO("")
    status = 0
    try:
        COMMAND(args=words, prog_name="kitwright")
    except SystemExit as end:
        status = int(end.code or 0)
    finally:
        sys.stdout, sys.stderr, sys.stdin = kept
    streams[1].flush()
    return status, streams[1].buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined]


def trial(given: dict[str, Any]) -> dict[str, Any]:
    """Lay the files down, run the command with its fault, and say what is there afterwards."""
    with tempfile.TemporaryDirectory(prefix="kitwright-faults-", dir=MEMORY) as name:
        folder, told = Path(name) / "bench", Path(name) / "told.json"
        shutil.copytree(given["from"], folder)
        child = os.fork()
        if not child:
            os.chdir(folder)
            with contextlib.suppress(BaseException), Failing(given["at"], given["how"]) as failing:
                status, said = run(given["words"])
                told.write_text(json.dumps({"status": status, "said": said, "steps": failing.names}))
            os._exit(0)
        _, ended = os.waitpid(child, 0)
        found: dict[str, Any] = {"killed": os.WTERMSIG(ended) if os.WIFSIGNALED(ended) else 0}
        if told.exists():
            found |= json.loads(told.read_text())
        found["files"] = files(folder)
        found["folders"] = sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_dir())
        if given.get("again"):
            child = os.fork()
            if not child:
                os.chdir(folder)
                with contextlib.suppress(BaseException):
                    status, said = run(given["again"])
                    told.write_text(json.dumps({"status": status, "said": said}))
                os._exit(0)
            os.waitpid(child, 0)
            found["again"] = {**json.loads(told.read_text()), "files": files(folder)}
        return found


def main() -> None:
    """Run the trials of a file."""
    trials = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    for words in {tuple(each["words"]): each for each in trials}:  # once here: what is imported and kept, forks share
        with tempfile.TemporaryDirectory(dir=MEMORY) as name:
            folder = Path(name) / "bench"
            shutil.copytree(trials[0]["from"], folder)
            os.chdir(folder)
            run(list(words))
            os.chdir("/")
    gc.disable()  # a collection would touch, and so copy, all that is shared
    gc.freeze()
    print(json.dumps([trial(each) for each in trials]))


if __name__ == "__main__":
    main()
