"""No short block that is sifted out of a large catalogue is in a combination that is close enough: all are tried."""

from __future__ import annotations

import random
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.solver import distinct, narrow, pairing, sieve
from kitwright.solver.candidates import BOTTOM, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import aims_of, implied_goals
from kitwright.solver.classes import facet_of
from kitwright.solver.combination import Combination
from kitwright.solver.facets import Builder
from kitwright.solver.plan import TOLERANCES, Goal, MeasuredDeck, Plan, Tolerance
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.rules import rules_of
from kitwright.solver.sieve import Needed, Sieve
from kitwright.solver.translate import Maker, wanted_leaves
from tests import random_catalogues, random_motion
from tests.benchmarks.generate import SIZES, question
from tests.benchmarks.measure import WIDER, changed
from tests.twin import closest

Fitting = list[tuple[tuple[Any, ...], Combination]]
FEW = dict.fromkeys(SIZES[50], 1) | {"cranks": 3, "rods": 5, "pistons": 6, "gaskets": 3}


def benchmark(seed: int) -> tuple[Catalogue, Plan]:
    """The benchmark's parts and plan, but fewer and with copies, at each tolerance, with coarser steps by turns."""
    rng = random.Random(f"sieve {seed}")
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setitem(SIZES, 0, FEW)
        catalogue, plan = question(0, Path(folder), changed(WIDER), seed)
    goals = {name: goal for name, goal in plan.goals.items() if name in ("quench", "compression", "cost")}
    goals["quench"] = replace(goals["quench"], maximum=2.5, step=rng.choice([0.02, 0.2]))
    goals["compression"] = Goal("compression", aim=rng.choice([9.0, 10.5, 12.0]), step=rng.choice([0.05, 0.5]))
    if rng.random() < 0.7:
        few = Goal("cost", maximum=60.0)
        goals["cost"] = rng.choice([few, few, Goal("cost", minimum=70.0), Goal("cost", aim=90.0, step=10.0)])
    goals.pop(rng.choice(["quench", "compression", "cost", "none", "none"]), None)
    kinds = frozenset({*BOTTOM, "gasket", "head"})
    parts = []
    for part in catalogue:
        unknown = None if part.kind in ("crank", "piston") else 9.0
        parts.append(replace(part, price=rng.choice([5.0, 20.0, 60.0, unknown])))
        if part.kind in BOTTOM[1:] and rng.random() < 0.6:  # the same size at another price, a piston's crown flat
            crown: dict[str, Any] = {"dish": None, "dome": None} if part.kind == "piston" else {}
            parts.append(replace(part, id=f"{part.id}x", price=rng.choice([2.0, 50.0]), on_shelf=0, **crown))
    catalogue = Catalogue.of(parts)
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


@pytest.mark.parametrize(("asked", "seeds"), [(benchmark, 9), (mixed, 8), (random_motion.question, 4)])
def test_no_combination_is_lost(
    asked: Callable[[int], tuple[Catalogue, Plan]], seeds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of every combination that fits, at each tolerance, with decks measured, bores bored out and prices unknown."""
    monkeypatch.setattr(sieve, "FEWER", 0)  # however few the short blocks are
    monkeypatch.setattr(pairing, "BATCH", 7)
    monkeypatch.setattr(distinct, "FEW", 0)
    monkeypatch.setattr(distinct, "WORTH", 1)
    seen: Counter[str] = Counter()
    assert {seed: each for seed in range(seeds) if (each := lost(*asked(seed), seen))} == {}
    assert seen["sifted out"] > 20 * (asked is benchmark)
    assert seen["none can be"]
    assert {"1 steps", "2 steps"} <= seen.keys() or asked is not benchmark


@pytest.mark.parametrize("dense", [0, 10**9])
@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_rows_that_a_figure_cannot_tell_apart_are_worked_out_once(
    tolerance: Tolerance, dense: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every sum is the same, to the last digit, as where each row is worked out by itself."""
    catalogue, plan = question(200, tmp_path)
    plan = plan.but(tolerance=tolerance, measured_decks=(measured(catalogue),))
    facets = Builder(candidates(catalogue, plan), wanted_leaves(plan)).build()
    short = facets.facets["short"]
    monkeypatch.setattr(distinct, "DENSE", dense)
    made = []
    for few in (0, 10**9):
        monkeypatch.setattr(distinct, "FEW", few)
        monkeypatch.setattr(distinct, "WORTH", 1)
        made.append(Maker(facets, plan).make())
        same, _ = distinct.alike(short, leaves_of("deck"))
        assert (same.size < short.size) == (few == 0)
    one, other = made
    assert [each.name for each in one.linear] == [each.name for each in other.linear]
    for mine, theirs in zip((*one.linear, *one.sums), (*other.linear, *other.sums), strict=True):
        assert {name: each.tolist() for name, each in mine.terms.items()} == {
            name: each.tolist() for name, each in theirs.terms.items()
        }


def measured(catalogue: Catalogue) -> MeasuredDeck:
    """A deck measured with the first parts that fit one another."""
    kinds = [catalogue.of_kind(kind) for kind in BOTTOM]
    block, crank, rod, piston = next(
        (block, crank, rod, piston)
        for block, crank, rod, piston in product(*kinds)
        if crank.journal.si == rod.big_end.si and rod.pin.si == piston.pin.si  # type: ignore[attr-defined]
    )
    ids = {part.kind: part.id for part in (block, crank, rod, piston)}
    return MeasuredDeck(parse("0.4 mm ± 0.02 mm", LENGTH), ids)


@pytest.mark.parametrize("asked", [benchmark, mixed, random_motion.question])
def test_an_eased_plan_asks_only_what_its_sizes_decide(
    asked: Callable[[int], tuple[Catalogue, Plan]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parts that are equal in the sizes it reads stand for one another, at the least price of any."""
    monkeypatch.setattr(sieve, "FEWER", 0)
    plans = 0
    for seed in range(30):
        catalogue, plan = asked(seed)
        for easier, leaves in sieve.eased(candidates(catalogue, plan)):
            figures = {goal.figure for goal in (*implied_goals(easier).values(), *aims_of(easier).values())}
            figures |= {rule.figure for rule, _ in rules_of(easier)}
            read = {leaf for each in figures for leaf in (*leaves_of(each), *FIGURES[each].bound_without)}
            assert {leaf for leaf in read if facet_of(leaf) == "short"} - {"measured.deck"} <= leaves
            money = [goal for goal in easier.goals.values() if FIGURES[goal.figure].group == "money"]
            assert all(goal.minimum is None and goal.ranked_by is None for goal in money)
            plans += 1
    assert plans > 10
