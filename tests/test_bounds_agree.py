"""Pruning, model and check agree: none knows more of closeness than the next, and rows of one class are alike.

The search proves a least closeness with the model, and drops the rows that pruning says cannot be so close. Were
pruning the stricter, a combination could be too far for the one region and too close for the next: in no list.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from kitwright.solver import Catalogue, Plan, windows
from kitwright.solver.candidates import candidates
from kitwright.solver.check import judge
from kitwright.solver.classes import combine
from kitwright.solver.encode import Encoder
from kitwright.solver.engine import FAR
from kitwright.solver.parts import Gasket, Part, Piston
from kitwright.solver.plan import Goal
from kitwright.solver.quantity import LENGTH, Quantity, parse
from kitwright.solver.regions import Search
from kitwright.solver.registry import FIGURES
from kitwright.solver.stopping import Clock
from tests import random_catalogues, random_motion
from tests.test_twin import Question, cheapest, fine, out_of_reach


def gauged(seed: int) -> tuple[Catalogue, Plan]:
    """Motion's questions with one aim, the pressure that a gauge shows, which nothing else tells rows apart for."""
    catalogue, plan = random_motion.question(seed)
    name = ("cranking_pressure", "cranking_gauge_pressure")[seed % 2]
    goal = Goal(name, 900.0, step=FIGURES[name].step)
    return catalogue, plan.but(goals={name: goal})


def wide(seed: int) -> tuple[Catalogue, Plan]:
    """Motion's questions with aims alone, which no limit keeps near."""
    catalogue, plan = random_motion.question(seed)
    free = {name: replace(goal, minimum=None, maximum=None) for name, goal in plan.goals.items()}
    return catalogue, plan.but(goals=free)


def off_the_grid(seed: int) -> tuple[Catalogue, Plan]:
    """Gaskets and decks a fraction of a model unit beside whole ones, and steps of few units: what is rounded shows."""
    catalogue, plan = random_catalogues.question(seed)
    rng = random.Random(f"off the grid {seed}")
    hair, step = rng.choice(((1e-5, 0.0003), (1e-6, 0.00107), (1e-8, 0.0001), (1e-8, 0.0003)))  # mm

    def beside(size: Quantity) -> Quantity:
        return parse(f"{float(size.to('mm')) + rng.randint(-9, 9) * hair:.8f} mm", LENGTH)

    parts: list[Part] = []
    for part in catalogue:
        if isinstance(part, Gasket):
            parts.append(replace(part, thickness=beside(part.thickness)))
        elif isinstance(part, Piston):
            parts.append(replace(part, compression_height=beside(part.compression_height), pin_offset=None))
        else:
            parts.append(part)
    quench = Goal("quench", rng.choice((0.7, 0.85, 1.0)), step=step)
    return Catalogue.of(parts), plan.but(goals={"quench": quench}, tolerance="nominal")


def compared(question: Question, seed: int, tries: int) -> int:
    """How many combinations of a question were compared."""
    catalogue, plan = question(seed)
    options = candidates(catalogue, plan)
    if options.empty_kinds:
        return 0
    search = Search(options, plan, 1, Clock(60), None)
    if search.empty:
        return 0
    rng, done = random.Random(seed), 0
    classes = Encoder(search.terms, search.alive, FAR).classes
    for _ in range(tries):
        one = {each: np.arange(len(mask)) == rng.choice(np.flatnonzero(mask)) for each, mask in search.alive.items()}
        model = Encoder(search.terms, one, FAR).build()
        status, solver = model.solve({}, Clock(60), None)
        if status == "none":
            continue
        counted = {name: int(solver.value(model.keys[name])) for name in ("closeness", "unproved")}
        rows = {each: int(np.flatnonzero(mask)[0]) for each, mask in one.items()}
        combination = combine([some[0] for some in search.facets.combinations(rows)])
        verdict = judge(combination, plan)
        if verdict.fits:
            assert (counted["unproved"], counted["closeness"]) <= verdict.key[:2], combination.ids
        left = windows.within(search.terms, one, {"closeness": (0, counted["closeness"])})
        assert {each for each, row in rows.items() if not left[each][row]} == set(), (seed, counted, combination.ids)
        others = {each: next(mates for mates in classes[each] if row in mates) for each, row in rows.items()}
        same = {each: np.arange(len(mask)) == rng.choice(others[each]) for each, mask in search.alive.items()}
        alike = Encoder(search.terms, same, FAR).build()
        status, solver = alike.solve({}, Clock(60), None)
        assert status == "found", (seed, rows, others)
        assert {name: int(solver.value(alike.keys[name])) for name in counted} == counted, (seed, rows, others)
        done += 1
    return done


@pytest.mark.parametrize(
    "question",
    [random_catalogues.question, random_motion.question, wide, gauged, out_of_reach, cheapest, fine],
)
def test_pruning_knows_no_more_than_the_model_counts(question: Question) -> None:
    assert sum(compared(question, seed, 6) for seed in range(20)) > 25


def test_the_model_counts_no_step_that_the_check_does_not() -> None:
    assert sum(compared(off_the_grid, seed, 12) for seed in range(35)) > 100
