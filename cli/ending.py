"""How a command ends before its answer: by its time, or by an interrupt from the keyboard; with status 3, always.

An interrupt is noted, and what is at work looks at the note (:mod:`kitwright.solver.stopping`), so that it ends in
order and says what is proved. Only a command that does not search is interrupted where it stands. Whatever does not
end within a second after that, or after its time, is ended from outside.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType, ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kitwright.solver.stopping import Stop

STOPPED = 3
"""Exit status of what was stopped."""

AFTER_INTERRUPT = 0.8
"""Seconds after an interrupt in which a command may still say what it has."""

AT_THE_LATEST = 4.0
"""Seconds after which it is ended even where the machine was too busy to let it say anything."""

SEARCH, WHOLE = 0.4, 0.95
"""Seconds after its time at which a command's search ends at the latest, and the command itself.

A search may take all the time that it was given where the program starts within :data:`SEARCH`; what lies between the
two is for writing out what was found.
"""

_BUSY = 0.7
"""Share of the processor from which on a command counts as at work. On a machine that does not let it, it is left."""


class _Program:
    """The process, where it is a program of its own and not part of another."""

    def __init__(self) -> None:
        self.started: float | None = None
        self.own = False
        self.gentle = False
        """Whether an interrupt is noted alone, and raised nowhere."""
        self.interrupted = False
        self.delivering = False


_PROGRAM = _Program()


def hear() -> None:
    """Begin to hear interrupts, and to count the time: the first thing that the program does."""
    if _PROGRAM.own:
        return
    _PROGRAM.own = True
    _PROGRAM.started = time.monotonic()
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # a program in the background ignores them
        _PROGRAM.gentle = True
        signal.signal(signal.SIGINT, _interrupted)


def _interrupted(_number: int, _frame: FrameType | None) -> None:
    if _PROGRAM.interrupted:  # said twice: at once
        os._exit(STOPPED)
    _PROGRAM.interrupted = True
    stop = _stop_of(sys.modules.get(_STOPPING))
    if stop is not None:
        stop.interrupted = True
    _end_soon(time.monotonic(), time.process_time())
    if not _PROGRAM.gentle:
        raise KeyboardInterrupt


_STOPPING = "kitwright.solver.stopping"
"""The module that the search looks at: not imported before there is a search, as it brings numpy with it."""


def _stop_of(module: ModuleType | None) -> Stop | None:
    return getattr(module, "STOP", None)


def interrupted() -> bool:
    """Whether somebody has interrupted the program."""
    return _PROGRAM.interrupted


@contextlib.contextmanager
def within(seconds: float | None) -> Iterator[None]:
    """Run a command, one with a time limit so that the limit holds for all of it, reading and writing included."""
    started, _PROGRAM.started = _PROGRAM.started or time.monotonic(), None
    gentle, _PROGRAM.gentle = _PROGRAM.gentle, _PROGRAM.gentle and seconds is not None
    try:
        if seconds is None:
            if _PROGRAM.interrupted:
                raise KeyboardInterrupt
            yield
            return
        if _PROGRAM.own and seconds < threading.TIMEOUT_MAX - started:
            _watch(started, seconds)
        from kitwright.solver.stopping import STOP

        STOP.deadline, STOP.gentle = started + seconds + SEARCH, _PROGRAM.gentle
        STOP.interrupted = _PROGRAM.interrupted
        try:
            yield
        finally:
            STOP.deadline, STOP.gentle = float("inf"), False
    finally:
        _PROGRAM.gentle = gentle


def _end_soon(asked: float, busy: float) -> None:
    """End the program where it has had its time since it was asked to; on a machine that is busy, that takes longer."""

    def look() -> None:
        since = time.monotonic() - asked
        if time.process_time() - busy < _BUSY * AFTER_INTERRUPT and since < AT_THE_LATEST:
            _later(0.1, look)
            return
        _leave("stopped")

    _later(AFTER_INTERRUPT, look)


def delivering() -> None:
    """Say that the answer is being written: from here on time ends nothing, a reader may take as long as it likes."""
    _PROGRAM.delivering = True


def _watch(started: float, seconds: float) -> None:
    def look() -> None:
        if _PROGRAM.delivering:
            return
        if time.process_time() < _BUSY * (time.monotonic() - started):
            _later(0.2, look)
            return
        _leave(f"stopped: no answer could be put together in {seconds:g} s; give it more, or ask less at once")

    _later(max(started + seconds + WHOLE - time.monotonic(), 0.0), look)


def _later(seconds: float, do: Callable[[], None]) -> None:
    timer = threading.Timer(seconds, do)
    timer.daemon = True
    timer.start()


def _leave(text: str) -> None:
    """End the program from outside, whatever it is doing."""
    with contextlib.suppress(OSError):
        os.write(2, f"{text}\n".encode())
    os._exit(STOPPED)


def leave(code: int) -> None:
    """End the program when all is said: nothing is waited for or put in order that the system does not do itself."""
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            with contextlib.suppress(OSError, ValueError):
                stream.flush()
    os._exit(code)
