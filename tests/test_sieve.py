"""No short block that is sifted out of a large catalogue is in a combination that is close enough: all are tried."""

from __future__ import annotations

import random
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.solver import narrow, pairing, sieve
from kitwright.solver.candidates import BOTTOM, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import Combination
from kitwright.solver.facets import Builder
from kitwright.solver.plan import TOLERANCES, Goal, Plan
from kitwright.solver.sieve import Needed, Sieve
from kitwright.solver.translate import wanted_leaves
from tests import random_catalogues, random_motion
from tests.benchmarks.bench import WIDER, changed
from tests.benchmarks.generate import SIZES, question
from tests.twin import closest

Fitting = list[tuple[tuple[Any, ...], Combination]]
FEW = dict.fromkeys(SIZES[50], 1) | {"cranks": 5, "rods": 7, "pistons": 9, "gaskets": 3}


def benchmark(seed: int) -> tuple[Catalogue, Plan]:
    """The benchmark's parts and plan, but fewer, at each tolerance, with bores bored out and coarser steps by turns."""
    rng = random.Random(f"sieve {seed}")
    SIZES[0] = FEW
    with tempfile.TemporaryDirectory() as folder:
        catalogue, plan = question(0, Path(folder), changed(WIDER), seed)
    goals = {name: goal for name, goal in plan.goals.items() if name in ("quench", "compression", "cost")}
    goals["quench"] = replace(goals["quench"], maximum=2.5, step=rng.choice([0.02, 0.2]))
    goals["compression"] = Goal("compression", aim=rng.choice([9.0, 10.5, 12.0]), step=rng.choice([0.05, 0.5]))
    goals.pop(rng.choice(["quench", "compression", "cost"]), None)
    kinds = frozenset({*BOTTOM, "gasket", "head"})
    catalogue = Catalogue.of(
        [
            replace(part, price=rng.choice([5.0, 20.0, 60.0, None if part.kind in ("crank", "piston") else 9.0]))
            for part in catalogue
        ]
    )
    tolerance = TOLERANCES[seed % 3]
    return catalogue, plan.but(
        goals=goals, tolerance=tolerance, gaskets=1, kinds=kinds, machining=frozenset(), rev_ceiling=None
    )


def mixed(seed: int) -> tuple[Catalogue, Plan]:
    """Small questions of every kind."""
    return random_catalogues.question(seed, most=300)


def short_of(combination: Combination) -> tuple[Any, ...]:
    """What the short block of a combination is made of."""
    ids = (combination.parts[kind].id if kind in combination.parts else "" for kind in BOTTOM)
    return (*ids, combination.rebore)


def sifted(options: Any, plan: Plan, keep: Callable[..., Any]) -> tuple[set[tuple[Any, ...]], int]:
    """Short blocks that are sifted out, and how many are left."""
    builder = Builder(options, wanted_leaves(plan))
    tables = builder.tables()
    rows = pairing.joined(list(builder.join(tables)))
    kept = keep(builder, tables, rows)
    short = builder.short_of(tables, *rows)
    gone = set()
    for row in np.flatnonzero(~kept).tolist():
        for parts, gaskets, fields in short.expand(row):
            gone.add(short_of(Combination(parts, gaskets, **fields)))
    return gone, int(kept.sum())


def lost(catalogue: Catalogue, plan: Plan, seen: Counter[str]) -> list[str]:
    """Combinations, close enough, whose short block is sifted out."""
    options = candidates(catalogue, plan)
    fitting = closest(catalogue, plan)
    if options.empty_kinds or not fitting:
        return []
    few, never = narrow.established(narrow.usable(options))
    if not all(few.slots.values()):
        return []
    found = []
    best = [key for key, _ in fitting if key[0] == never]
    for key in best[:: max(len(best) // 3, 1)]:
        for most in {key[1], key[1] - 1}:
            closer = Sieve(few, most)
            gone, left = sifted(options, plan, closer.keeps)
            seen.update({"sifted out": len(gone), "left": left, "none can be": closer.empty, "sieves": 1})
            seen[f"{len(closer.steps)} steps"] += 1
            close = [each for each in fitting if each[0][0] == never and each[0][1] <= most]
            found += [f"closeness {each[0][1]} of {most}" for each in close if short_of(each[1]) in gone]
            found += ["not empty"] if closer.empty and close else []
            if key[2][0] or most == key[1]:
                continue
            gone, _ = sifted(options, plan, Needed(few, closer, key[2][1]))
            near = [each for each in fitting if (each[0][0], *each[0][1:3]) <= (never, *key[1:3])]
            found += [f"{each[0][:3]} of {key[:3]}" for each in near if short_of(each[1]) in gone]
            seen.update({"not needed": len(gone)})
    return found


@pytest.mark.parametrize(("asked", "seeds"), [(benchmark, 15), (mixed, 8), (random_motion.question, 4)])
def test_no_combination_is_lost(
    asked: Callable[[int], tuple[Catalogue, Plan]], seeds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of every combination that fits, at each tolerance, with decks measured, bores bored out and prices unknown."""
    monkeypatch.setattr(sieve, "FEWER", 0)  # however few the short blocks are
    monkeypatch.setattr(pairing, "BATCH", 7)
    seen: Counter[str] = Counter()
    assert {seed: each for seed in range(seeds) if (each := lost(*asked(seed), seen))} == {}
    print(seen)
