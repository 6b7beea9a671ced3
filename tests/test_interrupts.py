"""Interrupts from the keyboard, sent as real signals at places that do not depend on how fast the machine is."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from ortools.sat.python import cp_model

from kitwright.catalogs import load_plan
from kitwright.solver import check, find, search
from kitwright.solver.engine import Clock, Model, OutOfTimeError

EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml"


def interrupt() -> None:
    signal.raise_signal(signal.SIGINT)


def test_the_search_stops_with_what_it_has() -> None:
    plan, catalogue = load_plan(EXAMPLE)
    whole = find(catalogue, plan, 40)
    told: list[str] = []

    def progress(text: str) -> None:
        told.append(text)
        if text.startswith("closeness") and not text.endswith(" 0 found"):
            interrupt()

    answer = find(catalogue, plan, 40, progress=progress)
    assert answer.status == "incomplete"
    assert answer.proven.startswith("no combination is closer than")
    keys = [each.key for each in answer.combinations]
    assert keys and keys == sorted(keys)
    assert all(ours >= best.key for ours, best in zip(keys, whole.combinations, strict=False)), "no better than proved"
    assert told[-1].endswith("then stopping")


def test_a_list_that_is_cut_short_is_the_head_of_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    plan, catalogue = load_plan(EXAMPLE)
    whole = find(catalogue, plan, 10)
    calls = 0

    def slowly(*arguments: object, **named: object) -> object:
        nonlocal calls
        calls += 1
        if calls == 4:
            interrupt()
        return check(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(search, "check", slowly)
    answer = find(catalogue, plan, 10)
    assert answer.status == "incomplete"
    assert answer.proven == "the 3 listed are the closest, in order"
    assert [each.key for each in answer.combinations] == [each.key for each in whole.combinations[:3]]


class Endless(cp_model.CpSolverSolutionCallback):
    """Says when it is there, then looks at every solution of a model that has more than anybody can wait for."""

    def __init__(self) -> None:
        super().__init__()
        self.there = threading.Event()

    def on_solution_callback(self) -> None:
        """Called by the solver at each solution."""
        self.there.set()


def test_an_interrupt_reaches_the_solver_at_work() -> None:
    model = Model({})
    for number in range(60):
        model.model.new_bool_var(f"{number}")
    callback, clock = Endless(), Clock(120)

    def send() -> None:
        if callback.there.wait(60):
            os.kill(os.getpid(), signal.SIGINT)

    sender = threading.Thread(target=send)
    sender.start()
    started = time.monotonic()
    with pytest.raises(OutOfTimeError):
        model.solve({}, clock, callback=callback)
    sender.join()
    assert clock.left == 0.0, "nothing may be solved after it"
    assert time.monotonic() - started < 100, "the interrupt ended it, not the time limit"


def test_the_command_ends_with_status_3_and_writes_what_it_has(tmp_path: Path) -> None:
    code = f"""
import signal
from kitwright.cli.commands import find
from kitwright.cli.main import main
told = []
def tell(self, text):
    told.append(text)
    if len(told) == 2:
        signal.raise_signal(signal.SIGINT)
find.Progress.__call__ = tell
import sys
sys.argv = ["kitwright", "find", {str(EXAMPLE)!r}, "--format", "json", "--output", {str(tmp_path / "found.json")!r}]
main()
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 3, done.stderr
    text = (tmp_path / "found.json").read_text(encoding="utf-8")
    assert '"status": "incomplete"' in text
    assert "Traceback" not in done.stderr
