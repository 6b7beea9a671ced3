"""Worked examples with invented inputs, each output computed beforehand by two independent programs.

Outputs have six digits: they are compared at 1e-5, angles of extrema and roots at 1e-4.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.solver.formulas import (
    balance,
    bottom_end,
    cam_curve,
    gas,
    kinematics,
    loads,
    pushrods,
    speed,
    springs,
    stack,
    valve_gear,
    volumes,
)

FILE = Path(__file__).parent / "data" / "worked_examples.json"
EXAMPLES = {each["id"]: each for each in json.loads(FILE.read_text(encoding="utf-8"))["examples"]}
NAN = float("nan")
INCH, POUND = 0.0254, 4.4482216152605
RPM = np.pi / 30


def case(name: str) -> tuple[dict[str, Any], dict[str, Any]]:
    return dict(EXAMPLES[name]["in"]), dict(EXAMPLES[name]["out"])


def compare(found: dict[str, Any], expected: dict[str, Any], angles: tuple[str, ...] = ()) -> None:
    """Every expected output has been computed, and to its digits."""
    assert set(found) == set(expected)
    for key, value in expected.items():
        near = pytest.approx(value, rel=1e-4 if key in angles else 1e-5, abs=1e-9)
        got = found[key]
        assert (list(map(float, got)) if isinstance(value, list) else float(got)) == near, key


def test_g1_compression() -> None:
    given, expected = case("G1")
    bore, stroke = given["bore_mm"] / 1e3, given["stroke_mm"] / 1e3
    layers = [(t / 1e3, d / 1e3) for t, d in given["gasket_layers_t_d_mm"]]
    gaskets = volumes.gasket_volume([d for _, d in layers], [t for t, _ in layers])
    deck, dome, chamber = given["deck_clearance_mm"] / 1e3, given["dome_cc"] / 1e6, given["chamber_cc"] / 1e6
    land = bore - given["top_land_dia_mm"] / 1e3
    swept = volumes.swept_volume(bore, bottom_end.piston_travel(stroke, NAN, NAN))

    def clearance(height: float = NAN, across: float = NAN, layer: float = gaskets, hold: float = chamber) -> float:
        return volumes.clearance_volume(hold, NAN, 0.0, 0.0, layer, bore, deck, 0.0, dome, height, across)

    plain, creviced = clearance(), clearance(given["top_land_height_mm"] / 1e3, land)
    wrong = volumes.gasket_volume([bore, bore], [t for t, _ in layers])
    wanted = swept / (9.5 - 1) - (plain - chamber)
    assert volumes.compression(swept, clearance(hold=wanted)) == pytest.approx(9.5, rel=1e-9)
    compare(
        {
            "bore_area_mm2": volumes.circle(bore) * 1e6,
            "swept_cc": swept * 1e6,
            "swept_ci": swept / INCH**3,
            "displacement_cc": volumes.displacement(swept, given["cylinders"]) * 1e6,
            "gasket_cc": [volumes.gasket_volume([d], [t]) * 1e6 for t, d in layers],
            "deck_cc": volumes.circle(bore) * deck * 1e6,
            "crevice_cc": (creviced - plain) * 1e6,
            "clearance_cc": plain * 1e6,
            "cr": volumes.compression(swept, plain),
            "clearance_with_crevice_cc": creviced * 1e6,
            "cr_with_crevice": volumes.compression(swept, creviced),
            "cr_if_gasket_bore_taken_as_cyl_bore": volumes.compression(swept, clearance(layer=wrong)),
            "chamber_cc_for_cr_9p5": wanted * 1e6,
        },
        expected,
    )


def test_g3_deck_and_quench() -> None:
    given, expected = case("G3")
    old = [given[f"ref_{name}_mm"] / 1e3 for name in ("stroke", "rod", "comp_height")]
    new = [given[f"new_{name}_mm"] / 1e3 for name in ("stroke", "rod", "comp_height")]
    offset, gasket = given["pin_offset_mm"] / 1e3, given["gasket_mm"] / 1e3
    height = given["measured_piston_down_mm"] / 1e3 - stack.deck(0.0, old[0], old[1], old[2], 0.0, 0.0, 0.0, NAN)

    def deck(pin_offset: float = 0.0, spacer: float = 0.0, crown: float = new[2]) -> float:
        return stack.deck(height, new[0], new[1], crown, pin_offset, 0.0, spacer, NAN)

    quench = stack.quench(deck(), gasket)
    spacer = given["target_quench_mm"] / 1e3 - quench
    crown = new[2] - spacer
    for reached in (deck(spacer=spacer), deck(crown=crown)):
        assert stack.quench(reached, gasket) == pytest.approx(given["target_quench_mm"] / 1e3, rel=1e-9)
    top = kinematics.pin_height(kinematics.top_dead_centre(new[0], new[1], offset), new[0], new[1], offset)
    compare(
        {
            "block_height_mm": height * 1e3,
            "block_height_in": height / INCH,
            "deck_clearance_mm": deck() * 1e3,
            "deck_clearance_in": deck() / INCH,
            "quench_mm": quench * 1e3,
            "quench_in": quench / INCH,
            "spacer_mm": spacer * 1e3,
            "spacer_in": spacer / INCH,
            "deck_clearance_with_pin_offset_mm": deck(offset) * 1e3,
            "quench_with_pin_offset_mm": stack.quench(deck(offset), gasket) * 1e3,
            "pin_offset_tdc_drop_um": (new[1] + new[0] / 2 - top) * 1e6,
            "compression_height_for_target_mm": crown * 1e3,
        },
        expected,
    )


def test_g5_loads_heat_and_balance() -> None:
    given, expected = case("G5")
    stroke, rod = 2 * given["crank_radius_mm"] / 1e3, given["rod_mm"] / 1e3
    turning: Any = np.array(given["rpm"]) * RPM
    piston = (given["piston_g"] + given["pin_g"] + given["rings_g"]) / 1e3
    mass = loads.reciprocating_mass(piston, given["rod_small_end_g"] / 1e3)
    acceleration = kinematics.top_acceleration(stroke, rod, 0.0, turning)
    load = loads.inertia_load(mass, acceleration)
    area, elasticity = given["rod_area_mm2"] / 1e6, given["rod_E_GPa"] * 1e9
    stretch = loads.rod_stretch(load, rod, area, elasticity)
    steel, iron, aluminium = (given[f"cte_{name}"] for name in ("steel", "iron", "al"))
    parts = {
        "rod": (rod, steel),
        "throw": (stroke / 2, steel),
        "piston": (given["lengths_mm"]["piston"] / 1e3, aluminium),
        "barrel": (given["lengths_mm"]["barrel"] / 1e3, iron),
        "case": (given["lengths_mm"]["case"] / 1e3, aluminium),
    }
    growth = {
        name: loads.thermal_growth(length, expansion, given["dT_K"][name])
        for name, (length, expansion) in parts.items()
    }
    outer, inner = growth["barrel"] + growth["case"], growth["rod"] + growth["throw"] + growth["piston"]
    take_up = loads.bearing_take_up([each / 1e3 for each in given["diametral_clearances_mm"]])
    cold = given["cold_clearance_mm"] / 1e3
    least = loads.quench_at_speed(cold, stretch, outer, inner, take_up)
    left = loads.quench_at_speed(cold, 0.0, outer, inner, take_up)
    contact = loads.speed_at_load(loads.load_at_stretch(left, rod, area, elasticity), mass, stroke, rod, 0.0)
    rotating, factor = given["rod_big_end_g"] / 1e3, given["balance_factor"]
    weight = balance.counterweight_mass(rotating, mass, factor)
    assert balance.balance_factor(weight * stroke / 2, stroke, rotating, mass) == pytest.approx(factor)
    primary = balance.primary_force(mass, stroke, given["balance_rpm"] * RPM)
    secondary = balance.secondary_force(primary, stroke, rod)
    thermal = {name: value * 1e3 for name, value in growth.items()}
    compare(thermal, expected.pop("thermal_mm"))
    compare(
        {
            "recip_mass_kg": mass,
            "a_tdc_m_s2": acceleration,
            "inertia_force_N": load,
            "inertia_force_lbf": load / POUND,
            "rod_stress_MPa": loads.rod_stress(load, area) / 1e6,
            "rod_stretch_mm": stretch * 1e3,
            "rod_stretch_in": stretch / INCH,
            "thermal_net_mm": (outer - inner) * 1e3,
            "bearing_takeup_mm": take_up * 1e3,
            "min_clearance_mm": least * 1e3,
            "min_clearance_in": least / INCH,
            "contact_rpm": contact / RPM,
            "counterweight_kg_at_crank_radius": weight,
            "recip_primary_force_N": primary,
            "residual_axial_primary_N": balance.residual_axial_force(primary, factor),
            "residual_cross_primary_N": balance.residual_cross_force(primary, factor),
            "secondary_N": secondary,
            "axial_at_45deg_N": balance.axial_force(np.pi / 4, primary, secondary, factor),
            "cross_at_45deg_N": balance.cross_force(np.pi / 4, primary, factor),
        },
        expected,
    )


def g7_curve() -> cam_curve.LobeCurve:
    given, _ = case("G7")
    return cam_curve.lobe_curve(
        given["max_lobe_lift_mm"] / 1e3,
        np.radians(given["zero_lift_duration_crank_deg"]),
        0.0,
        np.radians(given["duration_at_check_crank_deg"]),
        given["check_lobe_lift_mm"] / 1e3,
    )


def test_g7_cam_curve() -> None:
    given, expected = case("G7")
    curve, ratio, lash = g7_curve(), given["rocker_ratio"], given["lash_mm"] / 1e3
    turning = given["crank_rpm"] * RPM
    angles = np.radians(expected.pop("theta_from_nose_deg"))
    top = valve_gear.valve_lift_of(given["max_lobe_lift_mm"] / 1e3, ratio, lash)
    closing, closing_at = springs.fastest_closing(curve, ratio, turning)
    lifting, lifting_at = springs.greatest_acceleration(curve, ratio, turning)
    turn = kinematics.root_between(curve.bend, np.radians(90), np.radians(130))
    fit = given["inch_case"]
    inch = cam_curve.lobe_curve(
        fit["max_lobe_lift_in"] * INCH,
        np.radians(fit["seat_duration_deg"]),
        fit["seat_check_in"] * INCH,
        np.radians(fit["duration_050_deg"]),
        0.050 * INCH,
    )
    compare(
        {
            "beta_half_span_crank_deg": np.degrees(inch.half_span),
            "p": inch.power,
            "zero_lift_duration_deg": np.degrees(2 * inch.half_span),
            "lobe_lift_in_at_20_60_100": inch.lift(np.radians([20, 60, 100])) / INCH,
        },
        expected.pop("inch_two_point_fit"),
    )
    compare(
        {
            "p": curve.power,
            "C": cam_curve.lobe_coefficients(curve.power),
            "max_valve_lift_mm": top * 1e3,
            "max_valve_lift_in": top / INCH,
            "lobe_lift_mm": curve.lift(angles) * 1e3,
            "valve_lift_mm": valve_gear.valve_lift_of(curve.lift(angles), ratio, lash) * 1e3,
            "running_duration_at_lash_deg": np.degrees(cam_curve.duration_at(curve, lash / ratio)),
            "valve_lift_area_mm_deg": np.degrees(cam_curve.lift_area(curve, ratio, lash)) * 1e3,
            "nose_accel_m_s2": springs.valve_acceleration(0.0, curve, ratio, turning),
            "peak_closing_velocity_m_s": closing,
            "peak_velocity_theta_deg": np.degrees(closing_at),
            "peak_pos_accel_m_s2": lifting,
            "peak_pos_accel_theta_deg": np.degrees(lifting_at),
            "accel_zero_theta_deg": np.degrees(turn),
        },
        expected,
        angles=("peak_velocity_theta_deg", "peak_pos_accel_theta_deg", "accel_zero_theta_deg"),
    )


def test_g9_spring_and_float() -> None:
    given, expected = case("G9")
    cam, _ = case("G7")
    curve, ratio, lash = g7_curve(), given["rocker_ratio"], cam["lash_mm"] / 1e3
    wire, total = given["wire_mm"] / 1e3, given["total_coils"]
    coil = given["outer_dia_mm"] / 1e3 - wire
    shear, density = given["G_MPa"] * 1e6, given["rho_kg_m3"]
    active, index = springs.active_from_total(total), springs.spring_index(wire, coil)
    rate, solid = springs.spring_rate(shear, wire, coil, active), springs.solid_height(wire, total)
    free, installed = given["free_length_mm"] / 1e3, given["installed_height_mm"] / 1e3
    lift = valve_gear.valve_lift_of(cam["max_lobe_lift_mm"] / 1e3, ratio, lash)
    seat, opened = (springs.spring_force(rate, free, installed, each) for each in (0.0, lift))
    closed = springs.spring_force(rate, free, installed, installed - solid)
    curved, wahl = springs.bergstraesser_factor(index), springs.wahl_factor(index)
    active_mass, whole = (springs.wire_mass(wire, coil, each, density) for each in (active, total))
    masses = given["masses_kg"]
    mass = springs.effective_mass(
        masses["valve"] + masses["retainer"] + masses["keys"],
        whole,
        given["rocker_inertia_kg_m2"],
        given["rocker_valve_arm_m"],
        masses["pushrod"] + masses["lifter"],
        ratio,
    )
    coil_bind = valve_gear.coil_bind_margin_of(installed, 0.0, 0.0, solid, lift)
    retainer = valve_gear.retainer_margin_of(given["installed_retainer_to_seal_mm"] / 1e3, 0.0, lift)
    surge = springs.surge_frequency(rate, active_mass)
    nose = mass * -springs.valve_acceleration(0.0, curve, ratio, 7500 * RPM)
    floats, where = springs.float_speed(rate, free, installed, mass, curve, ratio, lash)
    compare(
        {
            "mean_dia_mm": coil * 1e3,
            "index": index,
            "active_coils": active,
            "rate_N_mm": rate / 1e3,
            "rate_lbf_in": rate / POUND * INCH,
            "solid_height_mm": solid * 1e3,
            "seat_force_N": seat,
            "seat_force_lbf": seat / POUND,
            "open_height_mm": (installed - lift) * 1e3,
            "open_force_N": opened,
            "open_force_lbf": opened / POUND,
            "coil_bind_margin_mm": coil_bind * 1e3,
            "coil_bind_margin_in": coil_bind / INCH,
            "max_lift_for_1p5mm_margin": (lift + coil_bind) * 1e3 - 1.5,
            "K_bergstraesser": curved,
            "K_wahl": wahl,
            "stress_open_MPa": springs.spring_stress(opened, wire, coil, curved) / 1e6,
            "stress_open_wahl_MPa": springs.spring_stress(opened, wire, coil, wahl) / 1e6,
            "stress_solid_MPa": springs.spring_stress(closed, wire, coil, curved) / 1e6,
            "active_mass_g": active_mass * 1e3,
            "surge_Hz": surge,
            "surge_Hz_EN13906_3560": springs.surge_frequency_en(wire, coil, active, shear, density),
            "surge_over_cam_Hz_at_7500": surge / (7500 / 120),
            "spring_mass_g": whole * 1e3,
            "effective_mass_g": mass * 1e3,
            "nose_inertia_at_7500_N": nose,
            "float_rpm_nose": springs.nose_float_speed(opened, mass, curve, ratio) / RPM,
            "float_rpm_min": floats / RPM,
            "float_theta_from_nose_deg": np.degrees(where),
            "retainer_to_seal_clear_mm": retainer * 1e3,
            "retainer_to_seal_clear_in": retainer / INCH,
        },
        expected,
        angles=("float_theta_from_nose_deg",),
    )


def test_g9_rocker_sweep() -> None:
    """Arm and lift of G9: square at half lift, and at a third of it (digits by the two programs)."""
    given, _ = case("G9")
    arm, lift = given["rocker_valve_arm_m"], 0.00965
    assert pushrods.rocker_sweep(arm, lift / 2, lift / 2) * 1e3 == pytest.approx(0.365851, rel=1e-5)
    assert pushrods.rocker_sweep(arm, lift / 3, 2 * lift / 3) * 1e3 == pytest.approx(0.653354, rel=1e-5)


def test_g11_gas_speed_and_areas() -> None:
    given, expected = case("G11")
    bore, stroke = given["bore_mm"] / 1e3, given["stroke_mm"] / 1e3
    valve, port = given["valve_head_mm"] / 1e3, given["port_dia_mm"] / 1e3
    turning, sound, flow = given["rpm"] * RPM, given["sound_speed_m_s"], given["mean_flow_coeff"]
    mean = speed.mean_piston_speed(stroke, turning)
    at = {z: gas.speed_at_mach_index(z, bore, stroke, 1, valve, flow, sound) / RPM for z in (0.5, 0.6)}
    head, throat = volumes.circle(valve), volumes.circle(port)
    port_speed = gas.gas_speed(mean, bore, throat)
    lifts: Any = np.array(given_lifts := expected.pop("lifts_mm")) / 1e3
    seat = (
        valve,
        given["seat_width_mm"] / 1e3,
        np.radians(given["seat_angle_deg"]),
        given["inner_seat_dia_mm"] / 1e3,
        given["stem_mm"] / 1e3,
    )
    compare(
        {
            "mean_piston_speed_m_s": mean,
            "Z": gas.inlet_mach_index(bore, mean, given["valves"], valve, flow, sound),
            "rpm_at_Z0p5": at[0.5],
            "rpm_at_Z0p6": at[0.6],
            "mean_speed_valve_area_m_s": gas.gas_speed(mean, bore, head),
            "mean_speed_port_m_s": port_speed,
            "mean_speed_port_ft_s": port_speed / 0.3048,
            "curtain_mm2_at_max_lift": gas.curtain_area(valve, given_lifts[-1] / 1e3) * 1e6,
            "valve_head_area_mm2": head * 1e6,
            "port_area_mm2": throat * 1e6,
            "lift_curtain_eq_head_area_mm": gas.curtain_lift(valve, head) * 1e3,
            "lift_curtain_eq_port_area_mm": gas.curtain_lift(valve, throat) * 1e3,
            "lift_over_dia": given_lifts[-1] / given["valve_head_mm"],
            "stage_limits_mm": [each * 1e3 for each in gas.seat_stage_lifts(*seat)],
            "stage": gas.seat_stage(lifts, *seat),
            "min_flow_area_mm2": gas.seat_flow_area(lifts, *seat) * 1e6,
        },
        expected,
    )
