"""Where the processor seconds of one search go, by stage; prints JSON: ``python -m tests.benchmarks.stages 200``.

Processor seconds, since the machine may be busy. The functions by which a stage is entered are wrapped; a stage's time
is what passes in them and in no other stage that they call, so that all stages and the rest add up to the whole.
"""

from __future__ import annotations

import functools
import importlib
import json
import sys
import time
from collections import Counter, defaultdict
from typing import Any

from kitwright.solver import find
from tests.benchmarks.measure import WANTED, WARM_UP, catalogue

REST = "the rest: regions, expanding classes, order"

STAGES = {
    "candidates, narrowing": [
        ("candidates", "candidates"),
        ("narrow", "usable"),
        ("narrow", "established"),
        ("narrow", "cheap"),
        ("narrow", "affordable"),
    ],
    "laying out facets": [("facets", "Builder.__init__"), ("facets", "Builder.build")],
    "terms": [("translate", "Maker.__init__"), ("translate", "Maker.make")],
    "pruning": [("prune", "prune"), ("windows", "within"), ("windows", "established"), ("windows", "known")],
    "model building": [("encode", "Encoder.__init__"), ("encode", "Encoder.build")],
    "CP-SAT": [("engine", "Model.solve")],
    "plain check": [("check", "judge"), ("check", "check")],
}
"""Stage to the functions, by module of ``kitwright.solver``, by which it is entered."""


class Stages:
    """A clock that always runs for the stage that was entered last."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = defaultdict(float)
        self.calls: Counter[str] = Counter()
        self._entered = [REST]
        self._since = time.process_time()

    def switch(self) -> None:
        """Put down the time since the last change for the stage that is on."""
        now = time.process_time()
        self.spent[self._entered[-1]] += now - self._since
        self._since = now

    def wrapped(self, stage: str, function: Any) -> Any:
        """The same function, timed for a stage."""

        @functools.wraps(function)
        def timed(*args: Any, **words: Any) -> Any:
            self.switch()
            self._entered.append(stage)
            self.calls[stage] += 1
            try:
                return function(*args, **words)
            finally:
                self.switch()
                self._entered.pop()

        return timed

    def restart(self) -> None:
        """Forget what was measured so far."""
        self.spent.clear()
        self.calls.clear()
        self._since = time.process_time()


def install(stages: Stages) -> None:
    """Wrap every function of :data:`STAGES`, wherever it was imported to."""
    for stage, entries in STAGES.items():
        for module, name in entries:
            owner: Any = importlib.import_module(f"kitwright.solver.{module}")
            *path, last = name.split(".")
            for each in path:
                owner = getattr(owner, each)
            function = getattr(owner, last)
            timed = stages.wrapped(stage, function)
            setattr(owner, last, timed)
            for other in [each for key, each in sys.modules.items() if key.startswith("kitwright.solver")]:
                for known, value in list(vars(other).items()):
                    if value is function:
                        setattr(other, known, timed)


def profile(size: int) -> dict[str, float]:
    """Seconds of one search by stage; they sum to the whole."""
    stages = Stages()
    install(stages)
    warm_up, plan = catalogue(WARM_UP)
    find(warm_up, plan, top=WANTED)
    parts, plan = catalogue(size)
    stages.restart()
    started = time.process_time()
    answer = find(parts, plan, top=WANTED, seconds=600)
    stages.switch()
    whole = time.process_time() - started
    assert answer.status == "complete"
    assert abs(sum(stages.spent.values()) - whole) < 0.01 * whole + 1e-3
    unseen = set(STAGES) - set(stages.calls)
    assert not unseen, f"never entered: {unseen}"
    return {stage: stages.spent[stage] for stage in (*STAGES, REST)}


if __name__ == "__main__":
    print(json.dumps(profile(int(sys.argv[1]))))
