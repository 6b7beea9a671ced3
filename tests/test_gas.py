"""Valve events, pressures and flow areas against published numbers, another library and their limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from kitwright.solver.formulas import gas, speed, volumes

INCH, PSI, FOOT = 0.0254, 6894.757293168361, 0.3048
NAN = float("nan")


def geometric(geopotential: float) -> float:
    return gas.EARTH_RADIUS * geopotential / (gas.EARTH_RADIUS - geopotential)


def test_events_of_a_cam_card() -> None:
    """268/272, separation 106, two degrees advanced: 30/58/64/28, overlap 58."""
    intake = gas.intake_centreline(np.radians(106), np.radians(2))
    events = gas.valve_events(np.radians(268), np.radians(272), np.radians(106), intake, 0.00015)
    assert np.degrees(events[:4]) == pytest.approx([30.0, 58.0, 64.0, 28.0])
    assert np.degrees(events.overlap) == pytest.approx(58.0)
    assert events.at_lift == 0.00015
    assert gas.intake_closes(np.radians(268), intake) - np.pi == pytest.approx(events.intake_closes_after_bottom)


def test_durations_come_back_from_the_events() -> None:
    for intake, exhaust, separation, centre in ((240.0, 250.0, 108.0, 110.0), (180.0, 175.0, 112.0, 100.0)):
        card = [float(np.radians(each)) for each in (intake, exhaust, separation, centre)]
        events = gas.valve_events(card[0], card[1], card[2], card[3], 0.001)
        opens, closes, blows, shuts = np.degrees(events[:4])
        assert opens + 180 + closes == pytest.approx(intake)
        assert blows + 180 + shuts == pytest.approx(exhaust)
        middle_intake, middle_exhaust = (intake / 2 - opens), (exhaust / 2 - shuts)
        assert (middle_intake + middle_exhaust) / 2 == pytest.approx(separation)


@pytest.mark.parametrize("offset", [0.0, 0.001])
def test_dynamic_compression_between_its_limits(offset: float) -> None:
    bore, stroke, rod, clearance = 0.072, 0.066, 0.110, 31.2626e-6
    static = volumes.compression(volumes.swept_volume(bore, stroke), clearance)
    closings: Any = np.radians([180.0, 210.0, 240.0, 270.0, 360.0])
    ratios: Any = gas.dynamic_compression(bore, gas.effective_stroke(closings, stroke, rod, offset), clearance)
    assert ratios[0] == pytest.approx(static, rel=2e-4 if offset else 1e-12)
    assert np.all(np.diff(ratios) < 0)
    assert ratios[-1] == pytest.approx(1.0, abs=1e-12)


def test_effective_stroke_by_the_cosine_law() -> None:
    stroke, rod, closing = 0.066, 0.110, np.radians(238.0)
    # The pin lies on the cylinder's axis at distance y: rod² = y² + throw² − 2 y throw cos θ.
    roots = np.roots([1.0, -stroke * np.cos(closing), (stroke / 2) ** 2 - rod**2])
    expected = rod + stroke / 2 - float(np.max(roots))
    assert gas.effective_stroke(closing, stroke, rod, 0.0) == pytest.approx(expected, rel=1e-12)


def test_cranking_pressure_of_the_encyclopedia() -> None:
    """Article on the compression ratio: 7.5^1.3 × 14.7 psi = 201.8 psi, 187.1 psi on the gauge."""
    assert gas.cranking_pressure(1.0, 7.5, 1.3) == pytest.approx(13.7271, rel=1e-5)
    assert gas.cranking_pressure(14.7 * PSI, 7.5, 1.3) / PSI == pytest.approx(201.789, rel=1e-5)
    assert gas.cranking_gauge_pressure(14.7 * PSI, 7.5, 1.3) / PSI == pytest.approx(187.089, rel=1e-5)
    assert gas.cranking_gauge_pressure(101325.0, 1.0, 1.25) == 0.0


def test_standard_atmosphere_at_its_levels() -> None:
    """US Standard Atmosphere 1976: 216.650 K and 226.32 hPa at 11 km; sea level."""
    top = geometric(11_000.0)
    assert gas.geopotential_altitude(top) == pytest.approx(11_000.0, rel=1e-12)
    assert gas.air_temperature(top) == pytest.approx(216.650, abs=1e-6)
    assert gas.air_pressure(top) == pytest.approx(22632.06, rel=1e-6)
    assert (gas.air_temperature(0.0), gas.air_pressure(0.0)) == pytest.approx((288.15, 101325.0))
    assert gas.air_pressure(1500.0) == pytest.approx(84559.7, rel=1e-6)
    assert gas.air_pressure(geometric(1500.0)) == pytest.approx(84556.0, rel=1e-6)
    assert np.isnan(gas.air_pressure(12_000.0))
    assert np.isnan(gas.air_pressure(NAN))


def test_pressure_at_five_thousand_feet() -> None:
    """ASHRAE: 14.696 (1 − 6.8754e-6 × 5000)^5.2559 = 12.230 psia, which rounds its constants."""
    handbook = 14.696 * (1 - 6.8754e-6 * 5000) ** 5.2559
    assert handbook == pytest.approx(12.2277, abs=2e-4)
    assert gas.air_pressure(geometric(5000 * FOOT)) / PSI == pytest.approx(12.2277, abs=2e-4)


def test_atmosphere_of_another_library() -> None:
    atmosphere = pytest.importorskip("fluids.atmosphere")
    for altitude in (-500.0, 0.0, 300.0, 1500.0, 4000.0, 9000.0):
        other = atmosphere.ATMOSPHERE_1976(altitude)
        assert gas.air_temperature(altitude) == pytest.approx(other.T, rel=1e-6)
        assert gas.air_pressure(altitude) == pytest.approx(other.P, rel=1e-6)
        assert gas.speed_of_sound(gas.air_temperature(altitude)) == pytest.approx(other.v_sonic, rel=1e-5)


def test_mach_index_and_its_speed_undo_one_another() -> None:
    engine = (0.072, 0.070, 2, 0.027, 0.40, 343.0)
    bore, travel, *rest = engine
    turning = gas.speed_at_mach_index(0.55, *engine)
    mean = speed.mean_piston_speed(travel, turning)
    assert gas.inlet_mach_index(bore, mean, *rest) == pytest.approx(0.55, rel=1e-12)


def test_gas_speed_through_the_pistons_own_area_is_the_pistons() -> None:
    assert gas.gas_speed(14.0, 0.072, volumes.circle(0.072)) == pytest.approx(14.0)


def test_curtain_equals_the_head_at_a_quarter_of_its_diameter() -> None:
    assert gas.curtain_area(0.032, 0.032 / 4) == pytest.approx(volumes.circle(0.032), rel=1e-12)


SEATS = [
    (0.032, 0.0016, 45.0, 0.028, 0.0055),
    (0.027, 0.0012, 30.0, 0.0235, 0.005),
    (0.040, 0.002, 46.0, 0.036, 0.007),
]


@pytest.mark.parametrize("seat", SEATS)
def test_stages_of_the_seat_meet(seat: tuple[float, float, float, float, float]) -> None:
    diameter, width, degrees, throat, stem = seat
    given = (diameter, width, np.radians(degrees), throat, stem)
    for limit in gas.seat_stage_lifts(*given):
        below, above = (gas.seat_flow_area(limit * (1 + sign * 1e-9), *given) for sign in (-1, 1))
        assert below == pytest.approx(above, rel=1e-8)
    lifts: Any = np.linspace(0.0, diameter / 2, 400)
    areas: Any = gas.seat_flow_area(lifts, *given)
    stages: Any = gas.seat_stage(lifts, *given)
    assert np.all(np.diff(areas) >= 0)
    assert np.all(np.diff(stages) >= 0)
    assert set(np.unique(stages)) == {1.0, 2.0, 3.0}
    assert np.max(areas) == pytest.approx(volumes.circle(throat) - volumes.circle(stem), rel=1e-12)
    assert areas[0] == 0.0


def test_a_flat_seat_without_width_is_a_curtain() -> None:
    lifts: Any = np.linspace(0.0001, 0.004, 20)
    areas = gas.seat_flow_area(lifts, 0.032, 1e-9, 1e-6, 0.0319, 0.0)
    np.testing.assert_allclose(areas, gas.curtain_area(0.032, lifts), rtol=1e-4)


@pytest.mark.filterwarnings("error")
def test_the_unknown_stays_unknown() -> None:
    seat = (0.032, 0.0016, np.pi / 4, 0.028, 0.0055)
    for place in range(5):
        holed = [NAN if index == place else each for index, each in enumerate(seat)]
        assert np.isnan(gas.seat_flow_area(0.0005, *holed))
        assert np.isnan(gas.seat_stage(0.0005, *holed))
    assert np.isnan(gas.dynamic_compression(0.072, gas.effective_stroke(NAN, 0.066, 0.11, 0.0), 3e-5))
    assert np.isnan(gas.cranking_pressure(NAN, 8.0, 1.25))
    assert np.isnan(gas.inlet_mach_index(0.072, 15.0, 1, 0.03, NAN, 340.0))
    events = gas.valve_events(NAN, np.radians(250), np.radians(106), np.radians(104), 0.0)
    assert np.isnan(events.overlap)
    assert not np.isnan(events.exhaust_closes_after_top)
