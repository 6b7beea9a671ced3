"""Over which measured values which build is the best: against a fine sweep of every build through the check."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from itertools import islice

import pytest

from kitwright.solver import Catalogue, Combination, Goal, Plan
from kitwright.solver.check import check, judge
from kitwright.solver.fields import specs
from kitwright.solver.parts import Part
from kitwright.solver.quantity import LENGTH, VOLUME, Quantity
from kitwright.solver.rivals import Item, _items, rivalry
from kitwright.solver.rules import fits_together
from kitwright.solver.stretches import Stretches, look
from tests import random_catalogues
from tests.twin import everything

SWEEP = 61
"""Values of a sweep: none of them is a round share of a ±, at which two turns may meet."""

NEAR = 1e-6
"""Share of a ± beside a turning value that is not asked about."""

FITTED = {"bore", "pin", "journal", "big_end"}


def loose(part: Part, rng: random.Random) -> Part:
    """The same part with wide ± on what it is measured by, so that the order turns several times within one."""
    changed = {}
    for name, spec in specs(type(part)).items():
        value = getattr(part, name, None)
        if isinstance(value, Quantity) and name not in FITTED and spec.dimension in (LENGTH, VOLUME):
            share = 0.4e-3 if spec.dimension is LENGTH else 1.5e-6
            changed[name] = replace(value, tolerance=share * rng.uniform(0.3, 1.0), stated=True)
    return replace(part, **changed)


@cache
def case(seed: int) -> tuple[tuple[Combination, ...], Plan]:
    """A pool that two aims rank, in steps so fine that each of them turns the order within a ±."""
    rng = random.Random(f"stretches {seed}")
    catalogue, plan = random_catalogues.question(seed, most=400)
    catalogue = Catalogue.of(loose(part, rng) for part in catalogue)
    plan = plan.but(use={}, avoid=frozenset(), shelf_only=frozenset(), kinds=None, rev_ceiling=None)
    plan = plan.but(tolerance=rng.choice(["nominal", "nominal", "worst_case", "statistical"]), reference={})
    every = [each for each in islice(everything(catalogue, plan), 3000) if fits_together(each)]
    rng.shuffle(every)
    if not every:
        return (), plan
    figures = check(every[0], plan, spreads=False).figures
    goals = {}
    for name, far, step in (("compression", 0.5, 0.1), ("quench", 0.2, 0.05), ("deck", 0.2, 0.07)):
        if name in figures and (name != "deck" or rng.random() < 0.5):
            aim = figures[name] + rng.uniform(-far, far)
            goals[name] = Goal(name, aim=aim, step=step * rng.uniform(0.5, 2.0), weight=rng.choice([1, 1, 2]))
    if "quench" in goals and rng.random() < 0.3:
        goals["quench"] = replace(goals["quench"], minimum=figures["quench"] - rng.uniform(0.0, 0.3))
    plan = plan.but(goals=goals)
    ranked = sorted(every[:60], key=lambda each: look(each, plan).key)
    return tuple(ranked[:6]), plan


def _wrong(pool: tuple[Combination, ...], plan: Plan, item: Item) -> tuple[int, int]:
    """Values of a sweep at which another build than told is the best; and how often the best turns."""
    _, _, nominal, tolerance, touched, setting = item
    base = {number: look(each, plan) for number, each in enumerate(pool)}
    low, high = nominal - tolerance, nominal + tolerance
    begins = Stretches(pool, base, touched, setting).over(low, high)
    fixed = {number: judge(each, plan) for number, each in enumerate(pool)}
    wrong = 0
    for step in range(SWEEP):
        value = low + (high - low) * (step + 0.3719) / SWEEP
        if any(abs(value - start) < NEAR * (high - low) for start, _ in begins[1:]):
            continue
        verdicts = fixed | {number: judge(*setting(pool[number], value)) for number in touched}
        fitting = [number for number, each in verdicts.items() if each.fits]
        best = min(fitting, key=lambda number: verdicts[number].key, default=None)
        told = [number for start, number in begins if start <= value][-1]
        wrong += told != best
    return wrong, len(begins) - 1


@pytest.mark.parametrize("first", range(0, 60, 20))
def test_every_stretch_agrees_with_a_fine_sweep(first: int) -> None:
    turns = several = 0
    for seed in range(first, first + 20):
        pool, plan = case(seed)
        items = list(_items(pool, plan))
        for item in random.Random(seed).sample(items, min(2, len(items))):
            wrong, turned = _wrong(pool, plan, item)
            assert not wrong, f"seed {seed}, {item[0]}"
            turns += turned
            several += turned > 2
    assert turns >= 8 and several >= 1, (turns, several)


def test_what_is_not_named_does_not_change_the_best() -> None:
    for seed in (0, 2):
        pool, plan = case(seed)
        found = rivalry(pool, plan)
        assert found.complete
        named = {(each.place, each.parts) for each in found.decisive}
        for item in _items(pool, plan):
            if (item[0], item[1]) not in named:
                assert _wrong(pool, plan, item)[1] == 0
