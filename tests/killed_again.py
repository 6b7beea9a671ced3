"""Puts parts on a shelf, fails on the way, fails again in what makes good for it, and goes on.

    python -m tests.killed_again FOLDER

tries every step of the first with every step of the second, and prints what came of each as JSON: a list of `first`
and `second` (what failed where), the statuses of what followed, and the files in the end.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from kitwright.catalogs import InputError, load
from kitwright.catalogs.stock import move
from tests.faulty import MEMORY, Failing, files

MOST = 60
"""Steps of one command; fewer are there, and a test says so."""

AFTER = 6
"""Commands that follow at most until one is done: those that complete something else do nothing of their own."""


def put(folder: Path, count: int) -> str:
    """Put so many on the shelf; what was said where it did not come to that."""
    try:
        move(load(folder), {"s1": count}, "put", time="2026-05-01 10:00")
    except InputError as error:
        return str(error)
    return ""


def forked(work: Callable[[], Any]) -> int:
    """Wait status of some work in a process of its own."""
    child = os.fork()
    if not child:
        try:
            work()
        finally:
            os._exit(0)
    return os.waitpid(child, 0)[1]


def failing(folder: Path, count: int, at: int, how: str, kill_at: int = 0) -> bool:
    """Put, with a fault at a step; whether that step was reached at all."""
    reached = folder.parent / "reached"
    reached.write_text("")

    def work() -> None:
        with Failing(at, how, kill_at) as fault, contextlib.suppress(BaseException):
            put(folder, count)
        if fault.count < max(at, kill_at):
            reached.write_text("no")

    forked(work)
    return not reached.read_text()


def trials(start: Path) -> Iterator[dict[str, Any]]:
    """Killed and killed again; or failed, and killed while it is being taken back."""
    for how in ("kill", "interrupt", "disk full"):
        for first in range(1, MOST):
            any_left = False
            for second in range(0 if how == "kill" else first + 1, MOST):
                with tempfile.TemporaryDirectory(dir=MEMORY) as name:
                    folder = Path(name) / "catalogue"
                    shutil.copytree(start, folder)
                    if how == "kill":
                        any_left = failing(folder, 2, first, "kill")
                        left = any_left and (second == 0 or failing(folder, 1, second, "kill"))
                    else:
                        left = failing(folder, 2, first, how, second)
                        any_left |= left
                    if not left:
                        break
                    said = [put(folder, 1)]
                    while said[-1] and len(said) < AFTER:
                        said.append(put(folder, 1))
                    yield {"how": how, "first": first, "second": second, "said": said, "files": files(folder)}
            if not any_left:
                break


if __name__ == "__main__":
    load(Path(sys.argv[1]))
    print(json.dumps(list(trials(Path(sys.argv[1])))))
