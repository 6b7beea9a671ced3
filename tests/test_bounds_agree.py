"""What pruning knows of closeness is never more than what the model counts, nor that more than what the check finds.

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
from kitwright.solver.engine import FAR, Clock
from kitwright.solver.regions import Search
from tests import random_catalogues, random_motion
from tests.test_twin import Question, cheapest, out_of_reach


def wide(seed: int) -> tuple[Catalogue, Plan]:
    """Motion's questions with aims alone, which no limit keeps near."""
    catalogue, plan = random_motion.question(seed)
    free = {name: replace(goal, minimum=None, maximum=None) for name, goal in plan.goals.items()}
    return catalogue, plan.but(goals=free)


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
        done += 1
    return done


@pytest.mark.parametrize("question", [random_catalogues.question, random_motion.question, wide, out_of_reach, cheapest])
def test_pruning_knows_no_more_than_the_model_counts(question: Question) -> None:
    assert sum(compared(question, seed, 6) for seed in range(15)) > 25
