"""Curves over the crank angle and samples within the tolerances, against the figures and against plain formulas."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.catalogs import Overrides, load_plan
from kitwright.solver import check
from kitwright.solver.check import View
from kitwright.solver.combination import Combination, Missing
from kitwright.solver.compose import compose
from kitwright.solver.curves import CURVES, VALVES, Curve, NoCurve, curve
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.registry import FIGURES
from kitwright.solver.sampling import Distribution, figure_samples

PLAN = Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml"
CHOSEN = (
    "block=b71 rod=r98 gasket=g59 head=h255 cam=c61 rocker=rk115 spring=s212 retainer=t0 pushrod=pr140 flywheel=f45"
)


def build() -> tuple[Combination, Plan]:
    plan, catalogue = load_plan(PLAN, Overrides(use=CHOSEN.split()))
    return compose(catalogue, plan, {"mill": "0.2mm"}), plan


COMBINATION, ASKED = build()
FIGURES_OF = check(COMBINATION, ASKED).figures


def drawn(name: str, combination: Combination = COMBINATION, plan: Plan = ASKED) -> Curve:
    found = curve(name, combination, plan)
    assert isinstance(found, Curve), found
    return found


def without(kind: str, **changes: object) -> Combination:
    part = replace(COMBINATION.parts[kind], **changes)  # type: ignore[arg-type]
    return replace(COMBINATION, parts={**COMBINATION.parts, kind: part})


@pytest.mark.parametrize("valve", VALVES)
def test_the_least_clearance_is_the_figure(valve: str) -> None:
    line = drawn(f"piston_to_valve_{valve}")
    assert line.values.min() == pytest.approx(FIGURES_OF[f"piston_to_valve_{valve}"], abs=1e-9)
    assert line.value_at(line.at) == pytest.approx(line.values.min(), abs=1e-9)


@pytest.mark.parametrize("valve", VALVES)
def test_the_greatest_lift_is_the_figure(valve: str) -> None:
    line = drawn(f"valve_lift_{valve}")
    assert line.values.max() == pytest.approx(FIGURES_OF[f"valve_lift_{valve}"], abs=1e-9)
    assert line.at == pytest.approx(108.0 if valve == "intake" else -108.0)  # 2 × 108 − 108 before the overlap
    assert line.values.min() == 0.0


def test_the_valves_are_open_for_their_seat_duration() -> None:
    """252 degrees at 0.10 mm of lobe lift: at 126 degrees from the nose the valve has 1.15 × 0.10 − 0.10 mm."""
    line = drawn("valve_lift_intake")
    assert line.value_at(108.0 - 126.0) == pytest.approx(1.15 * 0.10 - 0.10, abs=1e-4)
    assert line.value_at(108.0 + 104.0) == pytest.approx(1.15 * 1.00 - 0.10, abs=1e-4)  # 208 degrees at 1.00 mm


def test_the_piston_follows_the_slider_crank() -> None:
    line = drawn("piston_below_deck")
    assert line.values[line.angles == 0.0][0] == pytest.approx(FIGURES_OF["deck"], abs=1e-9)
    assert line.values.max() - line.values.min() == pytest.approx(60.0, abs=1e-9)
    for angle in (17, 90, 200):  # Heywood, eq. 2.5, no pin offset (from memory)
        turned = math.radians(angle)
        height = 30 * math.cos(turned) + math.sqrt(98**2 - (30 * math.sin(turned)) ** 2)
        assert line.value_at(angle) == pytest.approx(FIGURES_OF["deck"] + 128 - height, abs=1e-9)


def test_the_fastest_piston_and_the_mean_are_the_figures() -> None:
    line = drawn("piston_speed")
    assert np.abs(line.values).max() == pytest.approx(FIGURES_OF["peak_piston_speed"], rel=1e-9)
    mean = np.trapezoid(np.abs(line.values), line.angles) / 360.0
    assert mean == pytest.approx(FIGURES_OF["mean_piston_speed"], rel=1e-4)


def test_force_against_need_gives_the_float_speed() -> None:
    speeds = []
    for valve in VALVES:
        force, need = drawn(f"spring_force_{valve}"), drawn(f"spring_need_{valve}")
        assert np.array_equal(force.angles, need.angles)
        pressed = need.values > 1e-9
        share = (force.values[pressed] / need.values[pressed]).min()
        speeds.append((ASKED.rev_ceiling or 0.0) * math.sqrt(share))
        assert force.value_at(force.at) / need.value_at(need.at) == pytest.approx(share, rel=1e-9)
        assert force.values.min() == pytest.approx(FIGURES_OF["spring_seat"], abs=1e-6)
    assert min(speeds) == pytest.approx(FIGURES_OF["float_speed"], rel=1e-9)


@pytest.mark.parametrize("name", sorted(CURVES))
def test_every_curve_is_whole_and_in_its_unit(name: str) -> None:
    line = drawn(name)
    assert len(line.angles) == len(line.values) > 100
    assert np.all(np.diff(line.angles) > 0) and np.isfinite(line.values).all()
    assert line.angles[0] <= line.at <= line.angles[-1]
    assert all(each in FIGURES or "." in each for each in CURVES[name].inputs)


def test_what_is_not_known_is_named() -> None:
    found = curve("piston_to_valve_intake", without("piston", pocket_depth_intake=None), ASKED)
    assert isinstance(found, NoCurve)
    assert found.missing == (Missing("piston", "p281", "pocket_depth_intake"),)
    found = curve("piston_speed", COMBINATION, ASKED.but(rev_ceiling=None))
    assert isinstance(found, NoCurve) and found.missing == (Missing("plan", None, "rev_ceiling"),)
    found = curve("spring_force_exhaust", without("spring", rate=None, wire=None), ASKED)
    assert isinstance(found, NoCurve) and Missing("spring", "s212", "rate") in found.missing


def test_durations_that_no_lobe_has_give_no_curve() -> None:
    from kitwright.solver.fields import DurationAt
    from kitwright.solver.quantity import ANGLE

    at = DurationAt(lift=parse("6.0 mm", LENGTH), duration=parse("250 deg", ANGLE))
    found = curve("valve_lift_intake", without("cam", intake_duration_at=at), ASKED)
    assert isinstance(found, NoCurve) and found.missing == ()


def samples(view: View, name: str, count: int = 100, seed: int = 1) -> Any:
    return figure_samples(view, name, count, seed, Distribution())


def test_samples_stay_inside_the_worst_corners_and_repeat() -> None:
    for name in ("quench", "compression", "piston_to_valve_intake"):
        found = samples(View(COMBINATION, ASKED), name, 1000)
        low, high = check(COMBINATION, ASKED).spread[name]["worst_case"]
        assert low - 1e-9 <= found.min() < found.max() <= high + 1e-9
        assert np.array_equal(found, samples(View(COMBINATION, ASKED), name, 1000))
        assert not np.array_equal(found, samples(View(COMBINATION, ASKED), name, 1000, seed=2))


def test_samples_scatter_as_even_distributions_do() -> None:
    """Standard deviation of an even distribution of half width t is t / √3 (JCGM 101:2008, from memory)."""
    found = samples(View(COMBINATION, ASKED), "quench", 40_000)
    wide = []
    for part, field, share in (("block", "block_height", 1.0), ("crank", "stroke", 0.5), ("rod", "length", 1.0)):
        wide.append(share * getattr(COMBINATION.parts[part], field).tolerance)
    wide.append(COMBINATION.parts["piston"].compression_height.tolerance)  # type: ignore[attr-defined]
    wide += [each.thickness.tolerance for each in COMBINATION.gaskets]
    expected = 1000 * math.sqrt(sum(each**2 for each in wide) / 3)
    assert found.std() == pytest.approx(expected, rel=0.02)
    assert found.mean() == pytest.approx(FIGURES_OF["quench"], abs=0.002)


def test_nothing_is_sampled_where_nothing_is_known() -> None:
    assert samples(View(Combination({}), Plan()), "compression").size == 0
