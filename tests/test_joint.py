"""Aims that hang on one sum: what the cells say against every value of the sum, and the search against the twin."""

from __future__ import annotations

import random
from itertools import product
from typing import Any

import numpy as np
import pytest

from kitwright.solver import regions
from kitwright.solver.candidates import candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.joint import Joint, Threshold, joints
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.stopping import Clock
from kitwright.solver.terms import AimLevels, Linear, SumTable
from tests import random_motion
from tests.test_twin import compare
from tests.twin import everything

RATIOS = ("compression", "dynamic_compression")


def two_ratios(seed: int) -> tuple[Catalogue, Plan]:
    """A random question on motion that aims at both compression ratios, each from another combination."""
    catalogue, plan = random_motion.question(seed)
    rng = random.Random(f"ratios {seed}")
    every = list(everything(catalogue, plan))
    goals = {name: goal for name, goal in plan.goals.items() if rng.random() < 0.3}
    for name in RATIOS if every else ():
        value = View(rng.choice(every), plan).value(name)
        step = FIGURES[name].step * rng.choice([1, 1, 4])
        value = round(value / step) * step if value == value and value < 50 else 9.0
        width = rng.choice([2, 6, 40]) * step
        goals[name] = Goal(
            name,
            aim=value,
            minimum=value - width if rng.random() < 0.5 else None,
            maximum=value + width if rng.random() < 0.5 else None,
            step=step,
            weight=rng.choice([1, 2]),
        )
    return catalogue, plan.but(goals=goals)


@pytest.mark.parametrize("seed", range(60))
def test_cells_count_what_every_value_of_the_sum_would(seed: int) -> None:
    """Fewest points, and the least and greatest sum for a number of points, by trying each value of the sum."""
    rng = np.random.default_rng(seed)
    sizes = (3, 2)
    thresholds = [
        Threshold("least" if rng.random() < 0.5 else "most", rng.integers(-6, 7, sizes), int(rng.integers(1, 4)))
        for _ in range(int(rng.integers(1, 9)))
    ]
    same = {"top": np.arange(-9, 10)}
    index = {"short": np.arange(3), "gear": np.arange(2)}
    joint = Joint(["one", "other"], same, index, thresholds)
    points = np.zeros((19, *sizes), dtype=int)
    for place, value in enumerate(range(-9, 10)):
        for each in thresholds:
            missed = value < each.values if each.side == "least" else value > each.values
            points[place] += each.weight * missed
    assert (joint.least().values == points.min(axis=0)).all()
    for most in range(int(points.max()) + 1):
        least, greatest = joint.limits(most)
        for cell in np.ndindex(*sizes):
            fits = [value for place, value in enumerate(range(-9, 10)) if points[(place, *cell)] <= most]
            kept = [
                value
                for place, value in enumerate(range(-9, 10))
                if least.terms["top"][place] + least.tables[0].values[cell] >= 0
                and greatest.terms["top"][place] + greatest.tables[0].values[cell] >= 0
            ]
            assert kept == (list(range(min(fits), max(fits) + 1)) if fits else [])


def aims(rng: np.random.Generator, same: dict[str, Any]) -> list[AimLevels]:
    """Two aims on one sum of three facets, the rest a column of one, a table of two, and rows that are skipped."""
    found = []
    for name, sign in (("one", 1), ("other", int(rng.choice([-1, 1])))):
        index = {"short": rng.integers(0, 2, 6), "gear": rng.integers(0, 3, 5)}
        values, column = rng.integers(-3, 4, (2, 3)), rng.integers(-3, 4, 6)
        skip = {each: rng.random(size) < 0.3 for each, size in (("gear", 5), ("top", 4)) if rng.random() < 0.7}

        def level(side: str, number: int, rows: Any, sign: Any = sign, parts: Any = (index, values, column)) -> Any:
            index, values, column = parts
            turned = sign if side == "max" else -sign
            table = SumTable({each: index[each][rows[each]] for each in index}, values + number)
            one = Linear("", {each: turned * same[each][rows[each]] for each in same})
            return one, Linear("", {"short": column[rows["short"]] + number}, tables=[table])

        found.append(AimLevels(name, level, {}, int(rng.integers(1, 3)), (3, 4), skip))
    return found


def missed(aim: AimLevels, chosen: dict[str, int], same: dict[str, Any]) -> int:
    """Points of one choice of rows, level by level."""
    if any(mask[chosen[each]] for each, mask in aim.skip.items()):
        return 0
    rows = {each: np.array([row]) for each, row in chosen.items()}
    found = 0
    for side, count in (("min", aim.most[0]), ("max", aim.most[1])):
        for number in range(count):
            level = aim.level(side, number, rows)  # type: ignore[arg-type]
            assert level is not None
            found += sum(each.least({name: np.array([0]) for name in rows}) for each in level) < 0
    return aim.weight * found


@pytest.mark.parametrize("seed", range(40))
def test_no_choice_of_rows_costs_less_than_its_cell(seed: int) -> None:
    """Every choice of rows that are alive, level by level: its points, and where its sum lies."""
    rng = np.random.default_rng(seed)
    same = {"short": rng.integers(-4, 5, 6), "top": rng.integers(-4, 5, 4)}
    alive = {each: rng.random(size) < 0.8 for each, size in (("short", 6), ("top", 4), ("gear", 5))}
    for mask in alive.values():
        mask[0] = True
    two = aims(rng, same)
    found = joints(two, alive)
    if not any(column[alive[each]].any() for each, column in same.items()):
        return
    (joint,) = found
    rows = [np.flatnonzero(mask).tolist() for mask in alive.values()]
    for chosen in (dict(zip(alive, one, strict=True)) for one in product(*rows)):
        points = sum(missed(aim, chosen, same) for aim in two)
        at = {each: np.array([row]) for each, row in chosen.items()}
        cell = tuple(int(index[chosen[each]]) for each, index in joint.index.items())
        assert joint.least().values[cell] <= points
        assert all(each.least(at) >= 0 for each in joint.limits(points))


@pytest.mark.parametrize("first", range(0, 60, 30))
def test_search_agrees_with_the_twin_on_two_ratios(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Region by region, as larger questions are searched: small ones would be enumerated at once."""
    monkeypatch.setattr(regions, "SMALL", 0)
    seeds = range(first, first + 30)
    assert [each for seed in seeds for each in compare(two_ratios, seed, (4,))] == []


def test_the_ratios_hang_on_one_sum() -> None:
    """In many of these questions the two aims are taken together: else the test above would show nothing."""
    taken = 0
    for seed in range(60):
        catalogue, plan = two_ratios(seed)
        options = candidates(catalogue, plan)
        if not options.empty_kinds:
            joints = regions.Search(options, plan, 1, Clock(60), None).terms.joints
            taken += [sorted(each.names) for each in joints] == [sorted(RATIOS)]
    assert taken >= 8
