"""Interrupts from the keyboard, at places that do not depend on how fast the machine is.

Real signals go to processes of their own: a test's process may ignore them, as what runs in the background does.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import check, find, search

EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml"


def interrupt() -> None:
    """What Python makes of the signal."""
    raise KeyboardInterrupt


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


HEARS = "import signal\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"

ENDLESS = (
    HEARS
    + """
import os
import threading
from ortools.sat.python import cp_model
from kitwright.solver.engine import Model
from kitwright.solver.stopping import Clock, OutOfTimeError

class Endless(cp_model.CpSolverSolutionCallback):
    there = threading.Event()
    def on_solution_callback(self):
        self.there.set()

model = Model({})
for number in range(60):
    model.model.new_bool_var(f"{number}")
callback, clock = Endless(), Clock(200)
def send():
    if callback.there.wait(100):
        os.kill(os.getpid(), signal.SIGINT)
threading.Thread(target=send, daemon=True).start()
try:
    model.solve({}, clock, callback=callback)
except OutOfTimeError:
    print("stopped" if clock.stopped else "out of time")
"""
)
"""A model with more solutions than anybody can wait for, interrupted when the first has been seen."""


def test_an_interrupt_reaches_the_solver_at_work() -> None:
    done = subprocess.run([sys.executable, "-c", ENDLESS], capture_output=True, text=True, timeout=300, check=False)
    assert done.stdout.split() == ["stopped"], done.stderr


def test_the_command_ends_with_status_3_and_writes_what_it_has(tmp_path: Path) -> None:
    code = (
        HEARS
        + f"""
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
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 3, done.stderr
    text = (tmp_path / "found.json").read_text(encoding="utf-8")
    assert '"status": "incomplete"' in text
    assert "Traceback" not in done.stderr
