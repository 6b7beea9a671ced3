"""The skirt at bottom dead centre with an offset pin: the exact slider-crank beside a search of the whole turn."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import lru_cache
from typing import Any

import pytest

from kitwright.solver import Combination, Plan
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.formulas.turning import lowest_pin, skirt_out, skirt_to_counterweight
from kitwright.solver.parts import Block, Crank, Piston, Rod
from kitwright.solver.plan import Goal
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.registry import FIGURES
from tests import random_catalogues
from tests.test_twin import compare

CASES = [(0.085, 0.057, 0.0), (0.085, 0.057, 0.001), (0.084, 0.061, 0.003), (0.040, 0.057, 0.005)]


@pytest.mark.parametrize(("rod", "stroke", "offset"), CASES)
def test_the_pin_is_lowest_where_the_turn_says(rod: float, stroke: float, offset: float) -> None:
    """mpmath at forty digits: the least height of the pin over a turn, by the root of its derivative."""
    mpmath = pytest.importorskip("mpmath")
    with mpmath.workdps(40):
        throw, length, beside = mpmath.mpf(stroke) / 2, mpmath.mpf(rod), mpmath.mpf(offset)

        def height(angle: Any) -> Any:
            return throw * mpmath.cos(angle) + mpmath.sqrt(length**2 - (throw * mpmath.sin(angle) - beside) ** 2)

        at = mpmath.findroot(lambda angle: mpmath.diff(height, angle), mpmath.pi + 0.01)
        expected = float(height(at))
    assert float(lowest_pin(rod, stroke, offset)) == pytest.approx(expected, abs=1e-12)
    assert float(lowest_pin(rod, stroke, -offset)) == pytest.approx(expected, abs=1e-12)
    assert float(skirt_to_counterweight(rod, stroke, 0.01, 0.02, offset)) == pytest.approx(expected - 0.03, abs=1e-12)
    assert float(skirt_out(0.045, 0.001, rod, stroke, 0.01, offset)) == pytest.approx(0.056 - expected, abs=1e-12)


def build(offset: str | None) -> Combination:
    def mm(text: str) -> Any:
        return parse(text, LENGTH)

    piston = Piston(
        id="p",
        bore=mm("72 mm"),
        compression_height=mm("28 mm"),
        pin=mm("16 mm"),
        skirt_below_pin=mm("19 mm"),
        pin_offset=mm(offset) if offset else None,
    )
    crank = Crank(id="k", stroke=mm("57 mm"), journal=mm("30 mm"), counterweight_radius=mm("37.4 mm"))
    rod = Rod(id="r", length=mm("85 mm"), big_end=mm("30 mm"), pin=mm("16 mm"))
    block = Block(id="b", bore=mm("72 mm"), block_height=mm("142 mm"), barrel_foot=mm("45 mm"))
    return Combination({"block": block, "crank": crank, "rod": rod, "piston": piston})


def test_an_offset_pin_takes_from_the_clearance() -> None:
    straight, offset = (View(build(given), Plan()) for given in (None, "4 mm"))
    less = 56.5 - math.sqrt(56.5**2 - 4**2)
    assert less == pytest.approx(0.1418, abs=1e-4)
    for name, sign in (("skirt_to_counterweight", -1), ("skirt_out", 1)):
        assert offset.value(name) - straight.value(name) == pytest.approx(sign * less, abs=1e-9)
    assert straight.value("skirt_to_counterweight") > 0 > offset.value("skirt_to_counterweight")
    low, high = View(build("4 mm ± 0.5 mm"), Plan()).spread("skirt_out", "worst_case")
    ends = [45 - (math.sqrt(56.5**2 - e**2) - 19) for e in (3.5, 4.5)]
    assert (low, high) == pytest.approx(ends, abs=1e-9)


@lru_cache(maxsize=100)
def question(seed: int) -> tuple[Catalogue, Plan]:
    """A random question whose pistons mostly have an offset pin, and limits on the skirt."""
    catalogue, plan = random_catalogues.question(seed)
    rng = random.Random(f"{seed} skirts")
    offsets = ("0.5 mm", "1.2 mm ± 0.1 mm", "3 mm ± 0.3 mm", "0 mm ± 0.2 mm")
    parts = [
        replace(part, pin_offset=parse(rng.choice(offsets), LENGTH))
        if isinstance(part, Piston) and rng.random() < 0.8
        else part
        for part in catalogue
    ]
    catalogue = Catalogue.of(parts)
    every = random_catalogues.whole_if_none_fits(catalogue, plan.but(goals={}))
    goals = {}
    for name in ("skirt_to_counterweight", "skirt_out") if every else ():
        value, step = View(rng.choice(every), plan).value(name), FIGURES[name].step
        if not math.isnan(value):
            width = step * rng.choice([1, 2, 8])
            aim = rng.choice([None, value])
            goals[name] = Goal(name, aim=aim, minimum=value - width, maximum=value + width, step=step)
    return catalogue, plan.but(goals=goals)


def test_search_and_check_agree_on_offset_pins() -> None:
    asked = [seed for seed in range(40) if question(seed)[1].goals]
    assert len(asked) > 10
    assert [line for seed in asked for line in compare(question, seed)] == []
