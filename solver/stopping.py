"""What stops a question before its end: its time, an interrupt from the keyboard, and the bound on memory.

There is one place to look at: the :class:`Clock` of a question, and :func:`tick`, which looks at the clock of the
question that is being worked on, wherever the caller stands. Whatever loops or makes large arrays calls one of the two.
What is out of time, interrupted or out of memory ends alike: with :class:`OutOfTimeError` and what is proved by then.
"""

from __future__ import annotations

import os
import time
from contextvars import ContextVar, Token
from types import TracebackType
from typing import Literal

Reason = Literal["time", "interrupt", "memory"]

MEMORY_SHARE = 0.5
"""Share of the memory that is free when it is first asked for which a question may take."""

MOST_MEMORY = 1_500_000_000
"""Bytes that a question takes at most, however much is free."""

LEAST_MEMORY = 300_000_000
"""Bytes that a question may take however little is free: less is not enough to start with."""

_LOOKS = 0.02
"""Seconds between two looks at the memory that is in use: each costs a system call or three."""


class OutOfTimeError(Exception):
    """The question was stopped before it was decided: by its time, an interrupt or the bound on memory."""


class OutOfMemoryError(OutOfTimeError):
    """The question would take more memory than it may."""


STOPS = (OutOfTimeError, KeyboardInterrupt, MemoryError)
"""What a question that is stopped meets; whoever catches it answers what is proved by then."""


class Stop:
    """What ends every question of this process, whatever clock each has."""

    def __init__(self) -> None:
        self.interrupted = False
        """Whether somebody has asked for an end."""
        self.deadline = float("inf")
        """Moment of the monotonic clock at which every question ends."""
        self.gentle = False
        """Whether an interrupt is noted here alone, and raised nowhere: whatever is at work looks here."""


STOP = Stop()
"""The one of this process. A library's caller leaves it alone; a program's command line sets it."""


class Clock:
    """The time that a question may take, and a switch that stops it.

    Used with ``with``, it is the one that :func:`tick` looks at; one inside another ends with the outer one, and where
    the system gives no more memory, that is an :class:`OutOfMemoryError`.
    """

    def __init__(self, seconds: float) -> None:
        self.started = time.monotonic()
        self.seconds = seconds
        self.stopped = False
        self.over: Reason | None = None
        """What ended it, once something has."""
        self._outer = _RUNNING.get()
        self._looked = 0.0
        self._tokens: list[Token[Clock | None]] = []

    def __enter__(self) -> Clock:
        self._tokens.append(_RUNNING.set(self))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        _RUNNING.reset(self._tokens.pop())
        if isinstance(error, MemoryError):
            self.ended_by_memory()
            raise OutOfMemoryError from error

    @property
    def left(self) -> float:
        """Seconds left, 0 when stopped."""
        if self.stopped or STOP.interrupted:
            return 0.0
        now = time.monotonic()
        left = max(0.0, min(self.started + self.seconds, STOP.deadline) - now)
        return min(left, self._outer.left) if self._outer is not None else left

    @property
    def spent(self) -> float:
        """Seconds since the start."""
        return time.monotonic() - self.started

    @property
    def reason(self) -> Reason:
        """What ended it, or will."""
        if self.over is None:
            asked = self.stopped or STOP.interrupted
            return self._outer.reason if not asked and self._outer is not None else "interrupt" if asked else "time"
        return self.over

    def check(self) -> None:
        """Raise :class:`OutOfTimeError` when no time is left, or more memory is in use than may be."""
        if self.left <= 0:
            self.over = self.over or self.reason
            raise OutOfTimeError
        now = time.monotonic()
        if now - self._looked > _LOOKS:
            self._looked = now
            if in_use() > most_memory():
                self.ended_by_memory()
                raise OutOfMemoryError

    def ended_by(self, stop: BaseException) -> Reason:
        """What ended the question, from what was met."""
        if isinstance(stop, MemoryError):
            self.ended_by_memory()
        elif isinstance(stop, KeyboardInterrupt):
            self.stopped = True
        return self.reason

    def ended_by_memory(self) -> None:
        """Note that it is memory that is wanting, for this question and those that it is a part of."""
        self.over = "memory"
        if self._outer is not None:
            self._outer.ended_by_memory()


_RUNNING: ContextVar[Clock | None] = ContextVar("running", default=None)


def tick() -> None:
    """Look at the clock of the question that is being worked on; nothing where there is none.

    Raises:
        OutOfTimeError: it is over.
    """
    clock = _RUNNING.get()
    if clock is not None:
        clock.check()
    elif STOP.interrupted or time.monotonic() > STOP.deadline:
        raise OutOfTimeError


def room_for(size: float) -> None:
    """Look whether some more bytes can be had, before they are asked for.

    Raises:
        OutOfTimeError: they cannot, or the time is up.
    """
    tick()
    if size > _SMALL and in_use() + size > most_memory():
        clock = _RUNNING.get()
        if clock is not None:
            clock.ended_by_memory()
        raise OutOfMemoryError


_SMALL = 1_000_000
"""Bytes that nobody has to ask for."""


def in_use() -> int:
    """Bytes of memory that this process has; 0 where the system does not say.

    >>> in_use() == 0 or in_use() > 1_000_000
    True
    """
    try:
        return int(_told("/proc/self/statm").split()[1]) * _PAGE
    except (OSError, ValueError, IndexError):
        return 0


def _told(name: str) -> str:
    """What the system says under a name; not every system does."""
    with open(name, encoding="ascii") as file:  # noqa: PTH123  (the solver knows no paths)
        return file.read()


_PAGE = os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 4096
_bound: list[int] = []


def most_memory() -> int:
    """Bytes that this process may have: a share of what was free at the first call, within bounds.

    What is free is what the machine has left, what the control group that the process is in allows, and what the
    process itself may address, whichever is least.
    """
    if not _bound:
        free = min(_machine(), _group(), _addressable())
        here = in_use()
        _bound.append(here + int(min(max(MEMORY_SHARE * free, LEAST_MEMORY), MOST_MEMORY)))
    return _bound[0]


def _machine() -> float:
    try:
        lines = _told("/proc/meminfo").splitlines()
        found = {line.partition(":")[0]: line.split()[1] for line in lines}
        return float(found["MemAvailable"]) * 1024
    except (OSError, ValueError, KeyError, IndexError):
        return float("inf")


def _group() -> float:
    """What the control group leaves (version 2, then 1); infinite where there is none, or no limit."""
    for limit, used in (
        ("memory.max", "memory.current"),
        ("memory/memory.limit_in_bytes", "memory/memory.usage_in_bytes"),
    ):
        try:
            most = _told(f"/sys/fs/cgroup/{limit}").strip()
            if most != "max":
                return max(float(most) - float(_told(f"/sys/fs/cgroup/{used}")), 0.0)
        except (OSError, ValueError):
            continue
    return float("inf")


def _addressable() -> float:
    try:
        import resource

        most, _ = resource.getrlimit(resource.RLIMIT_AS)
        if most == resource.RLIM_INFINITY:
            return float("inf")
        mapped = int(_told("/proc/self/statm").split()[0]) * _PAGE
        return float(max(most - mapped, 0))
    except (ImportError, OSError, ValueError, IndexError):
        return float("inf")
