"""Figures that come from formulas with worked examples: each through the registry, from the leaves that it reads."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.solver.evaluate import compute, in_unit

FILE = Path(__file__).parent / "data" / "worked_examples.json"
EXAMPLES = {each["id"]: each for each in json.loads(FILE.read_text(encoding="utf-8"))["examples"]}
NAN = float("nan")


def shown(name: str, leaves: dict[str, Any]) -> float:
    """A figure in its own unit."""
    return float(in_unit(name, compute(name, leaves)))


def cam(intake: float, exhaust: float, separation: float, advance: float) -> dict[str, Any]:
    return {
        "cam.intake_duration": np.radians(intake),
        "cam.exhaust_duration": np.radians(exhaust),
        "cam.lobe_separation": np.radians(separation),
        "cam.intake_centreline": np.radians(separation - advance),
        "cam.intake_skew": np.nan,
        "cam.exhaust_skew": np.nan,
    }


def test_events_of_268_272_on_106_advanced_by_2() -> None:
    """30, 58, 64, 28, overlap 58: by two independent programs."""
    leaves = cam(268, 272, 106, 2)
    events = ("intake_opens", "intake_closes", "exhaust_opens", "exhaust_closes", "overlap")
    assert [shown(each, leaves) for each in events] == pytest.approx([30, 58, 64, 28, 58])


@pytest.mark.parametrize("advance", [-6.0, 0.0, 4.0])
def test_advance_moves_all_events_alike(advance: float) -> None:
    """Everything that the intake does earlier the exhaust does earlier too; the overlap stays."""
    plain, moved = cam(250, 262, 110, 0), cam(250, 262, 110, advance)
    for name, sign in (("intake_opens", 1), ("intake_closes", -1), ("exhaust_opens", 1), ("exhaust_closes", -1)):
        assert shown(name, moved) - shown(name, plain) == pytest.approx(sign * advance)
    assert shown("overlap", moved) == pytest.approx(shown("overlap", plain))
    assert shown("overlap", moved) == pytest.approx((250 + 262) / 2 - 2 * 110)


def test_a_short_cam_has_no_overlap() -> None:
    leaves = cam(200, 200, 112, 0)
    assert shown("overlap", leaves) == pytest.approx(-24)
    assert shown("intake_opens", leaves) < 0 and shown("exhaust_closes", leaves) < 0


def g9() -> tuple[dict[str, Any], dict[str, Any]]:
    """Spring, lift and rocker of the example, as leaves, and the outputs that it gives."""
    given, expected = EXAMPLES["G9"]["in"], EXAMPLES["G9"]["out"]
    lobe = EXAMPLES["G7"]["in"]
    leaves = {
        "spring.rate": NAN,
        "spring.shear_modulus": given["G_MPa"] * 1e6,
        "spring.wire": given["wire_mm"] / 1e3,
        "spring.coil_diameter": (given["outer_dia_mm"] - given["wire_mm"]) / 1e3,
        "spring.active_coils": NAN,
        "spring.total_coils": given["total_coils"],
        "spring.free_length": given["free_length_mm"] / 1e3,
        "head.installed_height": given["installed_height_mm"] / 1e3,
        "retainer.height_gain": 0.0,
        "spring_shim.thickness": 0.0,
        "cam.intake_lobe_lift": lobe["max_lobe_lift_mm"] / 1e3,
        "cam.exhaust_lobe_lift": 0.9 * lobe["max_lobe_lift_mm"] / 1e3,
        "rocker.ratio": given["rocker_ratio"],
        "rocker.exhaust_ratio": given["rocker_ratio"],
        "rocker.valve_arm": given["rocker_valve_arm_m"],
        "cam.lash_intake": lobe["lash_mm"] / 1e3,
        "cam.lash_exhaust": lobe["lash_mm"] / 1e3,
    }
    return leaves, expected


def test_spring_stress_of_the_example() -> None:
    leaves, expected = g9()
    opened, seat = (shown(f"spring_stress_{each}", leaves) for each in ("open", "seat"))
    assert opened == pytest.approx(expected["stress_open_MPa"], rel=1e-5)
    assert seat / opened == pytest.approx(expected["seat_force_N"] / expected["open_force_N"], rel=1e-5)
    # Wahl's factor, which the formula's text names, is some 1 % more.
    assert 1.007 < expected["stress_open_wahl_MPa"] / opened < 1.014


def test_rocker_sweep_of_the_example() -> None:
    """0.365851 mm with the arm square at half lift (two independent programs), and no other place has less."""
    leaves, _ = g9()
    least = shown("rocker_sweep", leaves)
    assert least == pytest.approx(0.365851, rel=1e-5)
    arm, lift = leaves["rocker.valve_arm"], 0.00965
    for square_at in np.linspace(0.0, lift, 41):
        travel = max(square_at, lift - square_at)
        assert 1e3 * (arm - (arm**2 - travel**2) ** 0.5) >= least - 1e-9
    short = leaves | {"rocker.valve_arm": 0.0045}
    assert np.isnan(shown("rocker_sweep", short))


def test_rod_stress_of_the_example() -> None:
    given, expected = EXAMPLES["G5"]["in"], EXAMPLES["G5"]["out"]
    leaves = {
        "crank.stroke": 2 * given["crank_radius_mm"] / 1e3,
        "rod.length": given["rod_mm"] / 1e3,
        "piston.pin_offset": 0.0,
        "piston.mass": (given["piston_g"] + given["pin_g"] + given["rings_g"]) / 1e3,
        "rod.small_end_mass": given["rod_small_end_g"] / 1e3,
        "rod.big_end_mass": given["rod_big_end_g"] / 1e3,
        "rod.shank_area": given["rod_area_mm2"] / 1e6,
        "reference.balance_factor": given["balance_factor"],
    }
    speeds, stresses = np.atleast_1d(given["rpm"]), np.atleast_1d(expected["rod_stress_MPa"])
    assert len(speeds) == len(stresses) > 0
    for speed, stress in zip(speeds, stresses, strict=True):
        at_speed = leaves | {"plan.rev_ceiling": float(speed) * np.pi / 30}
        assert shown("rod_stress", at_speed) == pytest.approx(stress, rel=1e-5)
    wanted = expected["counterweight_kg_at_crank_radius"] * given["crank_radius_mm"] * 1e3
    assert shown("counterweight_wanted", leaves) == pytest.approx(wanted, rel=1e-5)
    # The moment that is wanted is the one that has the factor.
    crank = {"crank.counterweight_moment": wanted * 1e-6}
    assert shown("balance_factor", leaves | crank) == pytest.approx(given["balance_factor"], rel=1e-5)


def test_areas_and_speeds_of_the_example() -> None:
    given, expected = EXAMPLES["G11"]["in"], EXAMPLES["G11"]["out"]
    top = EXAMPLES["G11"]["out"]["lifts_mm"][-1]
    leaves = {
        "block.bore": given["bore_mm"] / 1e3,
        "crank.stroke": given["stroke_mm"] / 1e3,
        "rod.length": 0.110,
        "piston.pin_offset": 0.0,
        "plan.rev_ceiling": given["rpm"] * np.pi / 30,
        "head.intake_valve": given["valve_head_mm"] / 1e3,
        "head.intake_valves": 1.0,
        "head.intake_port": given["port_dia_mm"] / 1e3,
        "cam.intake_lobe_lift": top / 1e3,
        "rocker.ratio": 1.0,
        "cam.lash_intake": 0.0,
    }
    assert shown("port_area", leaves) == pytest.approx(expected["port_area_mm2"], rel=1e-5)
    assert shown("lift_to_diameter_intake", leaves) == pytest.approx(expected["lift_over_dia"], rel=1e-5)
    # Lifted past a quarter of its diameter the valve opens its head's area, and not the longer curtain.
    assert expected["curtain_mm2_at_max_lift"] > expected["valve_head_area_mm2"]
    assert shown("curtain_area_intake", leaves) == pytest.approx(expected["valve_head_area_mm2"], rel=1e-5)
    speed = shown("valve_gas_speed_intake", leaves)
    assert speed == pytest.approx(expected["mean_speed_valve_area_m_s"], rel=1e-5)
    half = leaves | {"cam.intake_lobe_lift": expected["lift_curtain_eq_port_area_mm"] / 1e3}
    assert shown("curtain_area_intake", half) == pytest.approx(expected["port_area_mm2"], rel=1e-5)
    assert shown("valve_gas_speed_intake", half) == pytest.approx(expected["mean_speed_port_m_s"], rel=1e-5)
    two = half | {"head.intake_valves": 2.0}
    assert shown("curtain_area_intake", two) == pytest.approx(2 * expected["port_area_mm2"], rel=1e-5)


def test_gauge_pressure_of_the_encyclopedia() -> None:
    """7.5 : 1 with 1.3 from 14.7 psi: 187.1 psi on the gauge (encyclopedia article on the compression ratio)."""
    leaves = {"conditions.altitude": 0.0, "conditions.polytropic": 1.3}
    memo = {"cranking_compression": 7.5}
    gauge = float(compute("cranking_gauge_pressure", leaves, memo)) / 6894.757
    assert gauge * 14.7 / (101325 / 6894.757) == pytest.approx(187.1, abs=0.05)
    assert memo["cranking_pressure"] - 101325 == pytest.approx(gauge * 6894.757)
