"""What stops a question: time, memory and the keyboard; that it ends in time, in order, and says what is proved."""

from __future__ import annotations

import math
import os
import random
import signal
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from kitwright.catalogs import load, load_plan
from kitwright.solver import search, stopping
from kitwright.solver.candidates import candidates
from kitwright.solver.check import aims_of
from kitwright.solver.classes import Choice
from kitwright.solver.distinct import unique_rows
from kitwright.solver.plan import Goal
from kitwright.solver.proposals import Proposals
from kitwright.solver.search import find
from kitwright.solver.slack import SlackSum
from kitwright.solver.stopping import STOP, Clock, OutOfMemoryError, OutOfTimeError, room_for, tick
from kitwright.solver.ways_out import _unranked
from tests import hostile, random_catalogues, random_motion
from tests.cli_runner import run


def bounded(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Let questions take so many bytes more than are in use."""
    monkeypatch.setattr(stopping, "_bound", [stopping.in_use() + size])


# the clock


def test_a_clock_inside_another_ends_with_it() -> None:
    with Clock(0.0) as outer:
        inner = Clock(60.0)
        assert inner.left == 0.0
        with pytest.raises(OutOfTimeError), inner:
            tick()
        assert inner.reason == outer.reason == "time"
    tick()  # no question is worked on any more


def test_a_deadline_of_the_program_ends_every_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(STOP, "deadline", time.monotonic() - 1)
    assert Clock(60.0).left == 0.0
    with pytest.raises(OutOfTimeError):
        tick()


@pytest.mark.skipif(not stopping.in_use(), reason="the system does not say how much memory is in use")
def test_what_is_too_large_is_refused_before_it_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    bounded(monkeypatch, 50_000_000)
    with pytest.raises(OutOfMemoryError), Clock(60.0) as clock:
        room_for(80_000_000)
    assert clock.reason == "memory"
    with Clock(60.0):
        room_for(5_000_000)


@pytest.mark.skipif(not stopping.in_use(), reason="the system does not say how much memory is in use")
def test_a_look_at_the_clock_is_one_at_the_memory_too(monkeypatch: pytest.MonkeyPatch) -> None:
    bounded(monkeypatch, -1_000_000)
    with pytest.raises(OutOfMemoryError), Clock(60.0) as clock:
        tick()
    assert clock.reason == "memory" and clock.left > 0


def test_memory_that_the_system_refuses_is_no_other_error() -> None:
    with pytest.raises(OutOfMemoryError), Clock(60.0) as clock:
        raise MemoryError
    assert clock.reason == "memory"


# large questions


@pytest.mark.skipif(not stopping.in_use(), reason="the system does not say how much memory is in use")
def test_stacks_without_end_are_answered_with_what_is_proved_of_the_low_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, catalogue = load_plan(hostile.stacks(tmp_path))
    bounded(monkeypatch, 400_000_000)
    started = time.monotonic()
    answer = find(catalogue, plan, 5, seconds=60)
    assert time.monotonic() - started < 40, "it was refused before it was tried"
    assert answer.status == "incomplete" and answer.stopped_by == "memory"
    assert answer.considered.possible == math.comb(120 + 4, 4) - 1, "multisets of up to four of 120, less the empty one"
    assert answer.proven.startswith("the closest of those with at most ")
    low = find(catalogue, plan.but(gaskets=2), 5)
    assert low.status == "complete" and len(answer) == 5
    assert answer.combinations[0].key <= low.combinations[0].key


def test_stacks_are_counted_as_they_are_made() -> None:
    seen = 0
    for seed in range(40):
        catalogue, plan = random_catalogues.question(seed)
        for each in (plan, plan.but(gaskets=4), plan.but(gaskets=3, shelf_only=frozenset({"gasket"}))):
            options = candidates(catalogue, each)
            assert options.stack_count == len(options.stacks)
            seen += options.stack_count > 5
    assert seen > 20


def test_equal_parts_are_written_out_no_further_than_the_list_is_long(tmp_path: Path) -> None:
    plan, catalogue = load_plan(hostile.equals(tmp_path, 70))
    find(catalogue, plan, 5)  # whatever is made once is there
    tracemalloc.start()
    answer = find(catalogue, plan, 5)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert answer.status == "complete" and len(answer) == 5
    assert [each.combination.ids["piston"] for each in answer.combinations] == [f"p{n:06d}" for n in range(5)]
    assert most < 30_000_000, "343,000 choices behind one row are some hundred MB"


def test_a_list_that_is_too_long_begins_with_what_is_proved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan, catalogue = load_plan(hostile.equals(tmp_path, 40))
    monkeypatch.setattr(search, "LONG_LIST", 20)
    whole = find(catalogue, plan, 20)
    monkeypatch.setattr(Proposals, "_first_behind", _until(20))
    answer = find(catalogue, plan, 1_000_000)
    assert answer.status == "incomplete" and answer.stopped_by == "memory"
    assert answer.proven == "the first 20 are the closest, in order"
    assert [each.key for each in answer.combinations] == [each.key for each in whole.combinations]


def _until(most: int) -> Callable[[Proposals, str, int], list[Choice]]:
    """As many choices as there is memory for."""
    behind = Proposals._first_behind

    def some(self: Proposals, facet: str, row: int) -> list[Choice]:
        if self.best.wanted > most:
            raise MemoryError
        return behind(self, facet, row)

    return some


def test_rows_that_are_equal_are_found_as_numpy_does() -> None:
    rng = np.random.default_rng(1)
    for size, columns in ((1, 1), (50, 3), (400, 2), (400, 6), (0, 2)):
        rows = rng.integers(-2, 2, (size, columns)).astype(float)
        first, inverse = unique_rows(list(rows.T))
        if not size:
            assert not len(first) and not len(inverse)
            continue
        _, expected, numbers = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        assert first.tolist() == expected.tolist() and inverse.tolist() == numbers.reshape(-1).tolist()
    constant, numbers = unique_rows([np.ones(5)])
    assert constant.tolist() == [0] and numbers.tolist() == [0] * 5


@pytest.mark.parametrize("words", [("find",), ("explain",), ("stack",), ("measure-next",), ("sheet", "--rank", "1")])
def test_no_time_is_an_answer_with_status_3(tmp_path: Path, words: tuple[str, ...]) -> None:
    plan = hostile.equals(tmp_path, 3)
    result = run(words[0], plan, *words[1:], "--time", "0")
    assert result.exit_code == 3, result.stderr
    assert "fault" not in result.stderr


def test_reading_looks_at_the_clock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hostile.long(tmp_path, 2_000)
    assert len(list(load(tmp_path / "catalogue"))) > 2_000
    monkeypatch.setattr(STOP, "deadline", time.monotonic())
    with pytest.raises(OutOfTimeError):
        load(tmp_path / "catalogue")


def test_memory_is_never_a_fault_of_the_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def exhausted(*_: object, **__: object) -> None:
        raise MemoryError

    plan = hostile.equals(tmp_path, 3)
    monkeypatch.setattr("kitwright.catalogs.load_asked", exhausted)
    result = run("find", plan)
    assert result.exit_code == 3 and "more memory than it may" in result.stderr
    assert "--gaskets" in result.stderr, "what asks less"


def test_the_search_that_runs_out_of_memory_says_what_asks_less(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def exhausted(*_: object, **__: object) -> None:
        raise MemoryError

    plan = hostile.equals(tmp_path, 3)
    monkeypatch.setattr("kitwright.solver.regions.prune", exhausted)
    result = run("find", plan)
    assert result.exit_code == 3, result.stderr
    assert "more memory than it may" in " ".join(result.stdout.split())
    assert "`--time` gives it longer" not in result.stdout


# bounds beyond the solver's integers


def test_a_spring_that_would_have_to_be_kilometres_long_is_answered() -> None:
    """A float speed that nothing reaches asks for terms beyond the solver's integers: refused, until then."""
    for seed in (9, 10, 12):
        catalogue, plan = random_motion.question(seed)
        goal = Goal("float_speed", minimum=9.99e8)
        answer = find(catalogue, plan.but(goals={"float_speed": goal}), 1)
        assert answer.status == "nothing_fits" or answer.combinations[0].not_established


def test_what_ranks_nothing_is_no_aim(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue, plan = random_motion.question(1)
    asked = plan.but(goals={"quench": Goal("quench", minimum=0.5), "compression": Goal("compression", 9.0, 5.0, 20.0)})
    assert set(aims_of(asked)) >= {"quench", "compression"}
    assert not aims_of(_unranked(asked)), "no aim, not even that of the pushrod"
    assert _unranked(asked).goals["compression"].minimum == 5.0, "its limits stay"
    monkeypatch.setattr(SlackSum, "level", lambda *_: pytest.fail("a level was counted"))
    find(catalogue, _unranked(asked), 1)


# the keyboard

READY = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.default_int_handler);"
    "from kitwright.cli.ending import hear; hear(); print('ready', file=sys.stderr, flush=True);"
    "from kitwright.cli.entry import main; main()"
)
MOMENTS = 8


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupt_at_any_moment_ends_with_status_3(tmp_path: Path) -> None:
    """While modules are imported, files are read, rows are laid out, the solver works, or the answer is written."""
    plan = hostile.near(tmp_path, 60)
    rng = random.Random(5)
    for number in range(MOMENTS):
        command = [sys.executable, "-c", READY, "find", str(plan), "--time", "60", "--top", "300"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
            assert running.stderr is not None and running.stderr.readline() == "ready\n"
            time.sleep(rng.uniform(0, 0.3 if number < 3 else 6.0))
            running.send_signal(signal.SIGINT)
            sent = time.monotonic()
            stdout, stderr = running.communicate(timeout=60)
        if running.returncode == 0:
            assert "proven complete" in stdout
            continue
        assert running.returncode == 3, (number, running.returncode, stderr[-500:])
        assert "Traceback" not in stderr and "terminate" not in stderr
        assert "before the search was" in stdout or "stopped" in stderr
        assert time.monotonic() - sent < 5, "a second on a machine that has nothing else to do"


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupted_search_says_what_is_proved(tmp_path: Path) -> None:
    """The signal comes while the solver is at work."""
    code = READY.replace(
        "from kitwright.cli.entry",
        "from kitwright.solver import engine; done = engine._is_over;"
        "engine._LOOKS = 0.0001;"
        "engine._is_over = lambda clock: (STOP.interrupted or signal.raise_signal(signal.SIGINT), done(clock))[1];"
        "from kitwright.solver.stopping import STOP;"
        "from kitwright.cli.entry",
    )
    plan = hostile.near(tmp_path, 30)
    command = [sys.executable, "-c", code, "find", str(plan), "--time", "60", "--format", "json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 3, done.stderr
    assert '"status": "incomplete"' in done.stdout and '"proven"' in done.stdout


# what never ends


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name")
@pytest.mark.parametrize("made", ["pipe", "device"])
def test_what_is_no_ordinary_file_is_refused_at_once(tmp_path: Path, made: str) -> None:
    def put(path: Path) -> Path:
        path.parent.mkdir(exist_ok=True, parents=True)
        if made == "pipe":
            os.mkfifo(path)
        else:
            path.symlink_to("/dev/zero")
        return path

    plan = put(tmp_path / "plan.yaml")
    for words in (["find", plan], ["explain", plan], ["remeasure", plan, "--chamber", "21 cc"]):
        result = run(*words)
        assert result.exit_code == 2 and "is no ordinary file" in result.stderr
    good = hostile.equals(tmp_path / "bench", 2)
    for name in ("more.yaml", "rods.csv"):
        beside = put(good.parent / "catalogue" / name)
        result = run("find", good)
        assert result.exit_code == 2 and f"{name}: is no ordinary file" in result.stderr
        beside.unlink()
    put(good.parent / "catalogue" / ".kitwright.unfinished")
    result = run("shelf", "put", "k000000", "--catalogue", good.parent / "catalogue")
    assert result.exit_code == 2 and "cannot be read" in result.stderr, "it was read without an end"
