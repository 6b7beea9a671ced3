"""Starting: from where the gas is trapped, what a gauge shows, and how hard the rope pulls."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import mpmath
import numpy as np
import pytest
from scipy import optimize

from kitwright.catalogs import load_plan
from kitwright.solver.check import check
from kitwright.solver.combination import Combination, Missing
from kitwright.solver.fields import Decompressor
from kitwright.solver.formulas import starting
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.quantity import ANGLE, parse
from tests.random_engines import engine

DEGREE = np.pi / 180
AIR = 101_325.0


def _held(seed: int = 3, **known: Any) -> tuple[Combination, Plan]:
    combination, plan = engine(seed, toleranced=0.0)
    cam = replace(combination.parts["cam"], decompressor=Decompressor(**known) if known else None)  # type: ignore[call-arg]
    return replace(combination, parts=dict(combination.parts) | {"cam": cam}), plan


def _deg(text: str) -> Any:
    return parse(text, ANGLE)


def test_nothing_is_compressed_before_both_are_shut() -> None:
    plain = check(*_held(), spreads=False).figures
    for degrees in (50, 60, 70, 85):
        held = check(*_held(closes=_deg(f"{degrees} deg")), spreads=False).figures
        for name in ("cranking_pressure", "cranking_gauge_pressure", "cranking_torque", "rope_force"):
            assert held[name] < plain[name]
        assert held["dynamic_compression"] == plain["dynamic_compression"]  # that stays the intake's
    # 150 degrees before top is before the intake shuts: then the intake's closing counts
    early = check(*_held(closes=_deg("150 deg")), spreads=False).figures
    assert plain["intake_closes"] > 30
    for name in ("cranking_pressure", "cranking_torque"):
        assert early[name] == plain[name]


def test_the_pressure_is_that_of_the_volume_at_its_closing() -> None:
    """By hand: p₀ (V / Vc)ⁿ with V at the closing, exact slider-crank with the pin's offset, in 30 digits."""
    combination, plan = _held(seed=8, closes=_deg("62 deg"))
    parts: Any = combination.parts
    found = check(combination, plan, spreads=False).figures
    assert parts["piston"].pin_offset is not None
    with mpmath.workdps(30):
        throw, rod, offset = (
            mpmath.mpf(each)
            for each in (parts["crank"].stroke.si / 2, parts["rod"].length.si, parts["piston"].pin_offset.si)
        )
        angle = mpmath.asin(offset / (rod + throw)) - mpmath.radians(62)
        height = throw * mpmath.cos(angle) + mpmath.sqrt(rod**2 - (throw * mpmath.sin(angle) - offset) ** 2)
        left = mpmath.sqrt((rod + throw) ** 2 - offset**2) - height
        clearance = mpmath.mpf(found["clearance_volume"]) * mpmath.mpf("1e-6")
        ratio = 1 + mpmath.pi / 4 * mpmath.mpf(parts["block"].bore.si) ** 2 * left / clearance
        air = found["cranking_pressure"] - found["cranking_gauge_pressure"]
        exponent = mpmath.mpf(plan.conditions.polytropic)
        assert found["cranking_pressure"] == pytest.approx(float(air * ratio**exponent), rel=1e-9)


def test_a_closing_that_is_not_known_leaves_it_open() -> None:
    combination, plan = _held(fitted=True)
    asked = plan.but(goals={"cranking_gauge_pressure": Goal("cranking_gauge_pressure", maximum=1000.0)})
    found = check(combination, asked, spreads=False)
    for name in ("cranking_pressure", "cranking_gauge_pressure", "cranking_torque", "rope_force"):
        assert name not in found.figures
    assert "dynamic_compression" in found.figures
    (gap,) = found.not_established
    assert gap.missing == (Missing("cam", "c", "decompressor.closes"),)
    assert "cranking_pressure" in check(*_held(fitted=False), spreads=False).figures


def test_a_rope_without_a_radius_is_not_pulled() -> None:
    combination, plan = _held(closes=_deg("60 deg"))
    bare = plan.but(
        conditions=replace(plan.conditions, rope_radius=None), goals={"rope_force": Goal("rope_force", maximum=400.0)}
    )
    found = check(combination, bare, spreads=False)
    assert "rope_force" not in found.figures and "cranking_torque" in found.figures
    assert found.not_established[0].missing == (Missing("conditions", None, "rope_radius"),)


EXAMPLES = [
    (0.068, 0.054, 0.090, 0.0, 60.0, 9.5, 1.25),
    (0.068, 0.054, 0.090, 0.0, 130.0, 9.5, 1.25),
    (0.072, 0.061, 0.100, 0.0008, 70.0, 10.5, 1.3),
    (0.0885, 0.078, 0.140, 0.001, 45.0, 8.0, 1.2),
]


@pytest.mark.parametrize(("bore", "stroke", "rod", "offset", "closes", "ratio", "exponent"), EXAMPLES)
def test_the_torque_is_the_greatest_that_virtual_work_gives(
    bore: float, stroke: float, rod: float, offset: float, closes: float, ratio: float, exponent: float
) -> None:
    """Another library's minimiser over the torque, whose dx/dθ is taken numerically from the volumes alone."""
    area = np.pi / 4 * bore**2
    throw = stroke / 2
    top = np.arcsin(offset / (rod + throw))

    def travel(before: float) -> float:
        place = top - before
        height = throw * np.cos(place) + np.sqrt(rod**2 - (throw * np.sin(place) - offset) ** 2)
        return float(np.sqrt((rod + throw) ** 2 - offset**2) - height)

    clearance = area * stroke / (ratio - 1)
    trapped = clearance + area * travel(closes * DEGREE)

    def pressed(before: float) -> float:
        over = AIR * ((trapped / (clearance + area * travel(before))) ** exponent - 1.0)
        step = 1e-5
        return -over * area * (travel(before + step) - travel(before - step)) / (2 * step)

    best = optimize.minimize_scalar(pressed, bounds=(0.0, closes * DEGREE), method="bounded", options={"xatol": 1e-10})
    begins = np.pi - closes * DEGREE
    torque = starting.cranking_torque(bore, stroke, rod, offset, begins, clearance, 0.0, exponent)
    assert torque == pytest.approx(-best.fun, rel=1e-7)
    swept = max(-pressed(before) for before in np.linspace(0.0, closes * DEGREE, 20_001))
    assert torque == pytest.approx(swept, rel=1e-6)
    # the work that goes in is the gas's less the atmosphere's
    turn = np.linspace(0.0, closes * DEGREE, 20_001)
    done = np.trapezoid([-pressed(before) for before in turn], turn)
    gas_work = AIR * trapped / (exponent - 1) * ((trapped / clearance) ** (exponent - 1) - 1)
    assert done == pytest.approx(gas_work - AIR * (trapped - clearance), rel=1e-5)


def test_the_example_of_a_small_single() -> None:
    """A single of 68 mm bore: 402 kPa on the gauge held up to 60° before top against 1323 shut with its intake.

    Those two pressures, 10.9 and 39.6 N·m, and 311 and 1130 N on a rope at 35 mm were worked out apart from this
    program. Stroke and rod (54 and 90 mm) are not told with them; the clearance follows from the first pressure.
    """
    bore, stroke, rod = 0.068, 0.054, 0.090
    left = {at: starting.cranked_volume(bore, stroke, rod, 0.0, np.pi - at * DEGREE) for at in (60.0,)}
    clearance = left[60.0] / (((402e3 + AIR) / AIR) ** (1 / 1.25) - 1.0)
    held = starting.cranking_torque(bore, stroke, rod, 0.0, 120 * DEGREE, clearance, 0.0, 1.25)
    assert 10.5 <= held <= 11.0
    assert starting.rope_force(float(held), 0.035) == pytest.approx(311, rel=0.02)
    shut = optimize.brentq(
        lambda begins: (
            starting.cranked_volume(bore, stroke, rod, 0.0, begins) / clearance + 1 - ((1323e3 + AIR) / AIR) ** 0.8
        ),
        0.0,
        120 * DEGREE,
    )
    torque = starting.cranking_torque(bore, stroke, rod, 0.0, shut, clearance, 0.0, 1.25)
    assert torque == pytest.approx(39.6, rel=0.02)
    assert starting.rope_force(float(torque), 0.035) == pytest.approx(1130, rel=0.02)


def test_the_tolerance_of_the_closing_moves_the_pressure() -> None:
    combination, plan = _held(closes=_deg("60 deg ± 4 deg"))
    found = check(combination, plan)
    low, high = found.spread["cranking_gauge_pressure"]["worst_case"]
    ends = [
        check(*_held(closes=_deg(f"{each} deg")), spreads=False).figures["cranking_gauge_pressure"] for each in (56, 64)
    ]
    assert (low, high) == pytest.approx(tuple(ends), rel=1e-9)


def test_the_plan_gives_the_ropes_radius(tmp_path: Any) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "cranks.yaml").write_text(
        "cranks:\n- {id: k, stroke: 57 mm, journal: 30 mm}\n", encoding="utf-8"
    )
    plan = tmp_path / "plan.yaml"
    plan.write_text("catalogue: catalogue\nconditions: {rope_radius: 45 mm}\n", encoding="utf-8")
    assert load_plan(plan)[0].conditions.rope_radius == pytest.approx(0.045)
