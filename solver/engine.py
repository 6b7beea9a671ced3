"""Running a CP-SAT model: settings, time, interrupts, bounds on the order's keys, solutions."""

from __future__ import annotations

import atexit
import math
import signal
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from ortools.sat.python import cp_model

from kitwright.solver.stopping import STOP, Clock, OutOfTimeError
from kitwright.solver.terms import Ints

Bounds = Mapping[str, tuple[int, int]]
"""Key of the order to the range that it is held in."""

FAR = 1 << 52
"""Further than any key of a model reaches."""

_LOOKS = 0.05
"""Seconds between two looks at the clock while the solver is at work."""

_PATIENCE = 0.3
"""Seconds that a solver which was told to stop is waited for."""

KEYS = ("unproved", "closeness", "unknown_cost", "cost", "layers", "operations")
"""The order's keys in a model, first things first; what they leave open, the ids decide."""


@dataclass
class Model:
    """A CP-SAT model over the classes of the rows that are still alive."""

    classes: dict[str, list[Ints]]
    """Facet to the rows of each class."""
    model: Any = field(default_factory=cp_model.CpModel)
    chosen: dict[str, list[Any]] = field(default_factory=dict)
    keys: dict[str, Any] = field(default_factory=dict)
    size: int = 0
    most: int = FAR
    fixed: dict[str, int] = field(default_factory=dict)
    """Keys that are the same whatever is chosen."""
    reach: dict[str, int] = field(default_factory=dict)
    """The highest value of a key, where it is known."""
    guided: bool = True
    """Whether choosing rows in order, the cheapest first, decides it fastest: measured so where no term is a table."""

    def solve(
        self,
        bounds: Bounds,
        clock: Clock,
        minimise: Sequence[str] = (),
        callback: Any = None,
        workers: int = 1,
    ) -> tuple[str, Any]:
        """One solve under bounds on keys; ``minimise`` names keys, the first of them first.

        Answers ``found``, ``none`` or raises.
        """
        clock.check()
        for name, (low, high) in bounds.items():
            _set_domain(self.model, self.keys[name], low, max(low, min(high, self.reach.get(name, high))))
        self.model.clear_objective()
        if minimise:
            self.model.minimize(self._weighted(minimise))
        solver = cp_model.CpSolver()
        _tune(solver.parameters, self.guided)
        solver.parameters.max_time_in_seconds = clock.left
        solver.parameters.num_workers = workers
        if callback is not None:
            solver.parameters.enumerate_all_solutions = True
        status = _run(solver, self.model, callback, clock)
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            if minimise and status != cp_model.OPTIMAL:
                raise OutOfTimeError
            return ("found" if status == cp_model.OPTIMAL or callback is None else "stopped"), solver
        if status == cp_model.INFEASIBLE:
            return "none", solver
        if status == cp_model.MODEL_INVALID:
            raise RuntimeError(f"the model is invalid: {self.model.validate()}")
        raise OutOfTimeError

    def one_after_the_other(self, names: Sequence[str]) -> bool:
        """Whether one sum can hold these keys so that an earlier one always outweighs all later ones."""
        return all(name in self.reach for name in names[1:]) and (
            self.most * math.prod(self.reach[name] + 1 for name in names[1:]) < FAR
        )

    def _weighted(self, names: Sequence[str]) -> Any:
        weight, total = 1, 0
        for name in reversed(names):
            total = total + weight * self.keys[name]
            weight *= self.reach.get(name, 0) + 1
        return total


def _tune(parameters: Any, guided: bool) -> None:
    """Settings that measurements chose.

    Rows are pruned and merged before the model is made, so that presolve, probing and the linear relaxation cost far
    more than they find; a second worker gains nothing.
    """
    parameters.cp_model_presolve = False
    parameters.cp_model_probing_level = 0
    parameters.symmetry_level = 0
    parameters.linearization_level = 0
    parameters.inprocessing_dtime_ratio = 0.0
    parameters.inprocessing_probing_dtime = 0.0
    parameters.inprocessing_minimization_dtime = 0.0
    parameters.search_branching = cp_model.FIXED_SEARCH if guided else cp_model.AUTOMATIC_SEARCH
    parameters.catch_sigint_signal = False
    parameters.random_seed = 0


def _run(solver: Any, model: Any, callback: Any, clock: Clock) -> Any:
    """Solve in a thread, and stop the solver when the clock says so, or somebody at the keyboard.

    No interrupt may leave this function while the solver is at work: a program that ends with a thread inside it is
    aborted. So an interrupt is noted here, and the solver told.
    """
    box: list[Any] = []

    def work() -> None:
        try:
            box.append(solver.solve(model, callback))
        except BaseException as error:  # handed over to the caller's thread below
            box.append(error)

    thread = threading.Thread(target=work, daemon=True)
    with _noting(clock):
        thread.start()
        while thread.is_alive():
            thread.join(_LOOKS)
            if thread.is_alive() and _is_over(clock):
                _stop(solver, thread, clock)
    if clock.stopped:
        raise OutOfTimeError
    if isinstance(box[0], BaseException):
        raise box[0]
    return box[0]


def _is_over(clock: Clock) -> bool:
    try:
        clock.check()
    except OutOfTimeError:
        return True
    return False


def _stop(solver: Any, thread: threading.Thread, clock: Clock) -> None:
    """Stop the solver; where it does not hear within a while, go on without it and let the program's end wait for it.

    Raises:
        OutOfTimeError: it did not stop.
    """
    until = time.monotonic() + _PATIENCE
    while thread.is_alive() and time.monotonic() < until:
        solver.stop_search()  # said again and again: it hears from the moment on that it has begun
        thread.join(_LOOKS / 10)
    if thread.is_alive():
        atexit.register(_end, solver, thread)
        raise OutOfTimeError


def _end(solver: Any, thread: threading.Thread) -> None:
    while thread.is_alive():
        solver.stop_search()
        thread.join(_LOOKS)


@contextmanager
def _noting(clock: Clock) -> Iterator[None]:
    """Note an interrupt in a clock instead of raising it; in a thread other than the first none is ever raised."""
    first = threading.current_thread() is threading.main_thread()
    before = signal.getsignal(signal.SIGINT) if first else None
    if before in (signal.SIG_IGN, signal.SIG_DFL, None) or STOP.gentle:  # not for us, or noted by the program already
        yield
        return

    def note(_number: int, _frame: Any) -> None:
        clock.stopped = True

    signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _set_domain(model: Any, variable: Any, low: int, high: int) -> None:
    domain = model.proto.variables[variable.index].domain
    domain.clear()
    domain.extend([low, high])


class Collector(cp_model.CpSolverSolutionCallback):
    """Collects the classes of every solution, up to a number."""

    def __init__(self, model: Model, most: int) -> None:
        super().__init__()
        self.found: list[tuple[dict[str, int], dict[str, int]]] = []
        """Facet to class, and key to value, of each solution."""
        self.full = False
        # one sum a facet, read in one call: asking hundreds of literals one by one takes longer than to find them
        self._class_of = {
            each: cp_model.LinearExpr.weighted_sum(variables, range(len(variables)))
            for each, variables in model.chosen.items()
        }
        self._keys = [(name, model.keys[name]) for name in KEYS]
        self._most = most

    def on_solution_callback(self) -> None:
        """Called by the solver at each solution."""
        if len(self.found) >= self._most:
            self.full = True
            self.stop_search()
            return
        picked = {each: self.value(number) for each, number in self._class_of.items()}
        self.found.append((picked, {name: self.value(key) for name, key in self._keys}))
