"""Builds drawn within the tolerances: published examples, the plain check one build at a time, shares of the spread."""

from __future__ import annotations

import math
import time
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from scipy import stats

from kitwright.catalogs import Overrides, load_plan
from kitwright.solver import Combination, Plan, check
from kitwright.solver.check import View
from kitwright.solver.compose import compose
from kitwright.solver.evaluate import compute, shifted
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.sampling import SCANNED, Distribution, drawn, sample, wilson
from kitwright.solver.shares import shares, shares_of
from kitwright.solver.stackup import variables
from kitwright.solver.swap import place_of, quantity, spec_of, with_dimension
from tests.cli_runner import plan
from tests.random_engines import engine

STACK = plan("stack-not-needed")


def built(*use: str) -> tuple[Combination, Plan]:
    wanted, catalogue = load_plan(STACK, Overrides(use=list(use)))
    return compose(catalogue, wanted), wanted


COMBINATION, WANTED = built("rod=r85", "gasket=g050")


def sampled(count: int, distribution: Distribution | None = None, seed: int = 1) -> Any:
    checked = check(COMBINATION, WANTED)
    return sample(checked, View(COMBINATION, WANTED), count, seed, distribution or Distribution())


def half_width(deviations: Any) -> float:
    low, high = np.percentile(deviations, [2.5, 97.5])
    return float(high - low) / 2


def summed(*deviations: float) -> Any:
    """A sum of rectangular quantities of these standard deviations, drawn by the tool's own function."""
    moving = [(f"part.x{number}", None, each * math.sqrt(3)) for number, each in enumerate(deviations)]
    return sum(drawn(moving, 1_000_000, 7, Distribution()).values())


def test_four_rectangular_quantities_of_one_size() -> None:
    # JCGM 101:2008, 9.2.3: published ±3.88 (from memory); exact 3.87941, the sum's density being a cubic spline
    found = half_width(summed(1, 1, 1, 1))
    assert found == pytest.approx(3.87941, abs=0.012)  # three standard errors of a quantile of 1e6
    assert round(found, 1) == 3.9


def test_one_quantity_that_dominates() -> None:
    # JCGM 101:2008, 9.2.4: Monte Carlo ±17.0, propagation of uncertainty ±19.9 (from memory); exact 17.0158 and 19.8918
    assert half_width(summed(1, 1, 1, 10)) == pytest.approx(17.0158, abs=0.03)
    assert 1.96 * math.sqrt(1 + 1 + 1 + 100) == pytest.approx(19.8918, abs=1e-4)


@pytest.mark.parametrize(("kept", "count"), [(0, 10), (1, 10), (90, 100), (100, 100), (79_123, 100_000)])
def test_interval_of_a_share(kept: int, count: int) -> None:
    ours = wilson(kept, count)
    theirs = stats.binomtest(kept, count).proportion_ci(0.95, method="wilson")
    assert ours == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize("sigmas", [1.0, 2.0, 3.0])
def test_normal_draw_of_a_linear_figure_comes_to_the_statistical_spread(sigmas: float) -> None:
    count = 200_000
    found = sampled(count, Distribution("normal", sigmas)).figures["quench"]
    low, high = View(COMBINATION, WANTED).spread("quench", "statistical")
    expected = (high - low) / 2 / sigmas
    assert found.deviation == pytest.approx(expected, rel=4 / math.sqrt(2 * count))  # standard error of a deviation
    assert found.mean == pytest.approx((low + high) / 2, abs=4 * expected / math.sqrt(count))


def test_rectangular_draw_keeps_inside_the_worst_case() -> None:
    found = sampled(50_000).figures["quench"]
    low, high = View(COMBINATION, WANTED).spread("quench", "worst_case")
    assert low <= found.percentiles[1.0] < found.percentiles[50.0] < found.percentiles[99.0] <= high
    half = (0.10**2 + 0.025**2 + 3 * 0.05**2) ** 0.5 / math.sqrt(3)  # u = t/√3 of a rectangular: JCGM 100, 4.3.7
    assert found.deviation == pytest.approx(half, rel=0.015)


def test_the_same_seed_draws_the_same_builds() -> None:
    assert sampled(2000, seed=5) == sampled(2000, seed=5)
    assert sampled(2000, seed=5).figures != sampled(2000, seed=6).figures


def test_a_dimension_is_drawn_alike_whatever_else_is_drawn() -> None:
    one, other = ("rod.length", None, 1.0), ("crank.stroke", None, 2.0)
    alone = drawn([one], 10, 3, Distribution())
    both = drawn([other, one], 10, 3, Distribution())
    assert np.array_equal(alone["rod.length", 0], both["rod.length", 0])


def test_each_build_through_the_plain_check() -> None:
    """The same draws, each made into parts with exact sizes and checked by itself."""
    count = 150
    found = sampled(count, seed=11)
    view = View(COMBINATION, WANTED)
    names = {limit.figure for limit in check(COMBINATION, WANTED).limits if limit.figure}
    view.reader.read(tuple(leaf for name in sorted(names) for leaf in leaves_of(name)))
    moving = list(variables(view.reader.values, view.reader.tolerances))
    deviations = drawn(moving, count, 11, Distribution())
    inside, by_limit = 0, dict.fromkeys((each.limit.name, each.limit.limit) for each in found.limits)
    kept = dict.fromkeys(by_limit, 0)
    for number in range(count):
        made = COMBINATION
        for leaf, layer, _ in moving:
            place = place_of(COMBINATION, leaf, layer)
            part = next(each for each in made.different_parts if each.id == place.part)
            spec = spec_of(part, place.field)
            assert spec is not None and spec.dimension is not None
            held = view.reader.values[leaf]
            value = (held if layer is None else held[layer]) + deviations[leaf, layer or 0][number]
            exact = quantity(Fraction(float(value)), 0.0, spec.dimension, spec.dimension.likely[0])
            made = with_dimension(made, place, exact)
        checked = check(made, WANTED, spreads=False)
        inside += all(limit.holds is not False for limit in checked.limits)
        for limit in checked.limits:
            if (limit.name, limit.limit) in kept and limit.figure:
                kept[limit.name, limit.limit] += limit.holds is True
    assert 0 < inside < count
    assert found.all.kept == inside
    assert {(each.limit.name, each.limit.limit): each.kept for each in found.limits} == kept


def test_scanned_figures_by_a_surface_are_close_to_the_scan() -> None:
    seen = set()
    for seed in range(6):
        combination, wanted = engine(seed, toleranced=0.5)
        view = View(combination, wanted)
        checked = check(combination, wanted, spreads=False)
        found = sample(checked, view, 2000, seed, Distribution())
        for name in ("piston_to_valve_intake", "float_speed", "peak_piston_speed"):
            if name not in found.figures:
                continue
            seen.add(name)
            view.reader.read(leaves_of(name))
            moving = list(variables(leaves_of(name), view.reader.tolerances))
            deviations = drawn(moving, 2000, seed, Distribution())
            leaves: Any = view.reader.values
            for leaf, layer, _ in moving:
                leaves = shifted(leaves, leaf, layer, deviations[leaf, layer or 0])
            exact = np.asarray(compute(name, leaves)) / FIGURES[name].factor
            for at, value in found.figures[name].percentiles.items():
                assert value == pytest.approx(float(np.percentile(exact, at)), abs=0.03 * FIGURES[name].step)
    assert len(seen) == 3
    assert all(name in FIGURES for name in SCANNED)


def test_a_hundred_thousand_builds_in_a_moment() -> None:
    started = time.perf_counter()
    assert sampled(100_000).count == 100_000
    assert time.perf_counter() - started < 10  # some 0.3 s on a quiet machine


@pytest.mark.parametrize("count", [0, -1, 10**8])
def test_a_number_of_samples_that_makes_no_sense(count: int) -> None:
    with pytest.raises(ValueError, match="can be drawn"):
        sampled(count)


# shares


def test_shares_of_a_sum_are_its_tolerances() -> None:
    found = {(each.place.part, each.place.field): each for each in shares(View(COMBINATION, WANTED), "quench")}
    squares = {"b72": 0.10**2, "k57": 0.025**2, "r85": 0.05**2, "p280": 0.05**2, "g050": 0.05**2}
    assert {part: each.variance for (part, _), each in found.items()} == pytest.approx(
        {part: each / sum(squares.values()) for part, each in squares.items()}, rel=1e-6
    )
    widths = {part: math.sqrt(each) for part, each in squares.items()}
    assert {part: each.worst_case for (part, _), each in found.items()} == pytest.approx(
        {part: each / sum(widths.values()) for part, each in widths.items()}, rel=1e-6
    )


def test_shares_add_up_to_one_on_random_engines() -> None:
    figures = 0
    for seed in range(8):
        view = View(*engine(seed, toleranced=0.6))
        for name in ("compression", "quench", "piston_to_valve_exhaust", "valve_lift", "coil_bind_margin"):
            found = shares(view, name)
            if found:
                figures += 1
                assert sum(each.variance for each in found) == pytest.approx(1.0)
                assert sum(each.worst_case for each in found) == pytest.approx(1.0)
                assert list(found) == sorted(found, key=lambda each: -each.variance)
    assert figures > 15
    assert set(shares_of(View(COMBINATION, WANTED))) == {"compression", "quench"}
