"""How far a search is, on a terminal."""

from __future__ import annotations

import sys
import time
from types import TracebackType

from kitwright.cli.output import on_terminal
from kitwright.cli.seen import seen


class Progress:
    """One line on standard error that is written over and over, on a terminal and not in the first second.

    Used with ``with``: the line is taken away at the end.
    """

    def __init__(self) -> None:
        self.started = time.monotonic()
        self.last = 0.0
        self.shown = 0

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        if self.shown:
            print("\r" + " " * self.shown + "\r", end="", file=sys.stderr, flush=True)
            self.shown = 0

    def __call__(self, text: str) -> None:
        """Show a line of progress, if it is time for one."""
        now = time.monotonic()
        if now - self.started < 1.0 or now - self.last < 0.1 or not on_terminal(sys.stderr):
            return
        self.last = now
        line = seen(f"{now - self.started:.0f} s  {text}")[:79]
        print("\r" + line.ljust(self.shown), end="", file=sys.stderr, flush=True)
        self.shown = len(line)
