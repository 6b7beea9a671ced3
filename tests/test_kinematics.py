"""Slider-crank: worked cases, limiting cases, and closed forms against numeric derivatives."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.solver.formulas import bottom_end, kinematics, loads, speed, volumes

INCH = 0.0254
RPM = np.pi / 30
NAN = float("nan")
TURN: Any = np.radians(np.arange(0.0, 361.0, 5.0))
CASES = [(0.070, 0.1105, 0.0), (0.070, 0.1105, 0.001), (0.060, 0.084, -0.002), (0.057, 0.040, 0.005)]


def test_pin_offset_lengthens_the_stroke_and_turns_the_dead_centre() -> None:
    """Throw 35, rod 110.5, offset 1 mm; digits by two independent programs."""
    given = (0.070, 0.1105, 0.001)
    top, bottom = kinematics.top_dead_centre(*given), kinematics.bottom_dead_centre(*given)
    assert np.degrees(top) == pytest.approx(0.393789, abs=5e-7)
    travel = kinematics.piston_drop(bottom, *given)
    assert travel * 1e3 == pytest.approx(70.0032, abs=5e-5)
    assert travel == pytest.approx(bottom_end.piston_travel(*given), rel=1e-12)
    assert kinematics.piston_drop(top, *given) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("given", CASES)
def test_piston_stands_still_at_both_dead_centres_and_nowhere_beyond_them(
    given: tuple[float, float, float],
) -> None:
    for angle in (kinematics.top_dead_centre(*given), kinematics.bottom_dead_centre(*given)):
        assert kinematics.piston_speed(angle, *given, 700.0) == pytest.approx(0.0, abs=1e-9)
    drop = kinematics.drop_after_top(TURN, *given)
    assert np.all((drop >= -1e-15) & (drop <= bottom_end.piston_travel(*given) + 1e-15))


def test_dead_centres_are_the_roots_of_the_speed() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    given = (0.070, 0.1105, 0.004)
    for near, closed in ((0.0, kinematics.top_dead_centre), (np.pi, kinematics.bottom_dead_centre)):
        root = optimize.brentq(lambda x: kinematics.piston_speed(x, *given, 1.0), near - 0.2, near + 0.2, xtol=1e-15)
        assert closed(*given) == pytest.approx(root, abs=1e-12)


@pytest.mark.parametrize("given", CASES)
def test_speed_and_acceleration_are_the_derivatives_of_the_drop(given: tuple[float, float, float]) -> None:
    mpmath = pytest.importorskip("mpmath")
    throw, rod, offset = given[0] / 2, given[1], given[2]

    def drop(angle: Any) -> Any:
        return -throw * mpmath.cos(angle) - mpmath.sqrt(rod**2 - (throw * mpmath.sin(angle) - offset) ** 2)

    with mpmath.workdps(40):
        for angle in TURN[::7]:
            first = float(mpmath.diff(drop, mpmath.mpf(float(angle))))
            second = float(mpmath.diff(drop, mpmath.mpf(float(angle)), 2))
            assert kinematics.piston_speed(angle, *given, 300.0) == pytest.approx(300 * first, rel=1e-9, abs=1e-12)
            found = kinematics.piston_acceleration(angle, *given, 300.0)
            assert found == pytest.approx(300**2 * second, rel=1e-9, abs=1e-9)


def test_a_very_long_rod_leaves_simple_harmonic_motion() -> None:
    throw, rod, turning = 0.030, 1e4, 500.0
    given = (2 * throw, rod, 0.0)
    np.testing.assert_allclose(kinematics.piston_drop(TURN, *given), throw * (1 - np.cos(TURN)), atol=1e-7)
    np.testing.assert_allclose(
        kinematics.piston_speed(TURN, *given, turning), throw * turning * np.sin(TURN), atol=1e-4
    )
    np.testing.assert_allclose(
        kinematics.piston_acceleration(TURN, *given, turning), throw * turning**2 * np.cos(TURN), atol=0.05
    )
    assert kinematics.peak_piston_speed(*given, turning) == pytest.approx(throw * turning, rel=1e-6)
    assert np.degrees(kinematics.peak_piston_speed_angle(*given)) == pytest.approx(90.0, abs=1e-3)


def test_rod_six_throw_two() -> None:
    """Case of the encyclopedia article on piston motion equations; digits by two independent programs."""
    angle = kinematics.peak_piston_speed_angle(4.0, 6.0, 0.0)
    lean = np.arcsin(2.0 * np.sin(angle) / 6.0)
    assert np.degrees(angle) == pytest.approx(73.1753, abs=5e-5)
    assert np.degrees(lean) == pytest.approx(18.6064, abs=5e-5)
    assert 180 - np.degrees(angle + lean) == pytest.approx(88.2183, abs=1e-4)
    assert kinematics.peak_piston_speed(4.0, 6.0, 0.0, 1.0) / 2.0 == pytest.approx(1.05464, abs=5e-6)


def test_speed_over_mean_speed() -> None:
    """Heywood eq. 2.11: Sp / S̄p = (π/2) sin θ [1 + cos θ / √(R² − sin² θ)]."""
    stroke, rod, turning = 0.066, 0.110, 600.0
    ratio = rod / (stroke / 2)
    expected = np.pi / 2 * np.sin(TURN) * (1 + np.cos(TURN) / np.sqrt(ratio**2 - np.sin(TURN) ** 2))
    mean = speed.mean_piston_speed(stroke, turning)
    np.testing.assert_allclose(kinematics.piston_speed(TURN, stroke, rod, 0.0, turning) / mean, expected, atol=1e-12)
    # The mean over half a turn is the mean piston speed.
    half: Any = np.linspace(0.0, np.pi, 20_001)
    average = np.trapezoid(kinematics.piston_speed(half, stroke, rod, 0.0, turning), half) / np.pi
    assert average == pytest.approx(mean, rel=1e-7)


def test_stationary_accelerations_of_two_harmonics() -> None:
    """HELM Workbook 12.2, engineering example 4: throw 150, rod 375 mm; +210, −90 and −106.875 mm × ω²."""
    for angle, expected in ((0.0, 210.0), (np.pi, -90.0), (np.arccos(-5 / 8), -106.875)):
        found = kinematics.two_harmonic_acceleration(angle, 0.300, 0.375, 1.0)
        assert found * 1e3 == pytest.approx(expected, rel=1e-12)
    for angle, expected in ((0.0, 210.0), (np.pi, -90.0)):
        assert kinematics.piston_acceleration(angle, 0.300, 0.375, 0.0, 1.0) * 1e3 == pytest.approx(expected)


def test_two_harmonics_stay_within_their_error() -> None:
    stroke, rod, turning = 0.070, 0.1105, 785.0
    fine: Any = np.radians(np.arange(0.0, 360.0, 0.1))
    exact = kinematics.piston_acceleration(fine, stroke, rod, 0.0, turning)
    near = kinematics.two_harmonic_acceleration(fine, stroke, rod, turning)
    error = np.max(np.abs(exact - near)) / (stroke / 2 * turning**2)
    assert error == pytest.approx(0.017, abs=5e-4)


@pytest.mark.parametrize("given", CASES)
def test_peaks_agree_with_another_minimiser(given: tuple[float, float, float]) -> None:
    optimize = pytest.importorskip("scipy.optimize")

    def slowest(function: Any) -> float:
        tries = [
            optimize.minimize_scalar(function, bounds=(at, at + np.pi / 4), method="bounded", options={"xatol": 1e-10})
            for at in np.arange(-np.pi, np.pi, np.pi / 8)
        ]
        return -min(float(each.fun) for each in tries)

    fastest = slowest(lambda x: -abs(kinematics.piston_speed(x, *given, 1.0)))
    hardest = slowest(lambda x: -abs(kinematics.piston_acceleration(x, *given, 1.0)))
    assert kinematics.peak_piston_speed(*given, 1.0) == pytest.approx(fastest, rel=1e-9)
    angle = kinematics.peak_piston_speed_angle(*given)
    assert abs(kinematics.piston_speed(angle, *given, 1.0)) == pytest.approx(fastest, rel=1e-9)
    assert kinematics.peak_piston_acceleration(*given, 1.0) == pytest.approx(hardest, rel=1e-9)


def test_top_acceleration_is_the_exact_one_at_the_dead_centre() -> None:
    for given in CASES:
        at = kinematics.top_dead_centre(*given)
        exact = kinematics.piston_acceleration(at, *given, 650.0)
        assert kinematics.top_acceleration(*given, 650.0) == pytest.approx(exact, rel=1e-12)
    assert kinematics.top_acceleration(0.070, 0.1105, 0.0, 7500 * RPM) == pytest.approx(28428.1, rel=1e-5)


def test_mirrored_offset_mirrors_the_turn() -> None:
    here = kinematics.piston_drop(TURN, 0.060, 0.100, 0.002)
    there = kinematics.piston_drop(-TURN, 0.060, 0.100, -0.002)
    np.testing.assert_allclose(here, there, atol=1e-15)
    for function in (kinematics.peak_piston_speed, kinematics.peak_piston_acceleration):
        one, other = (function(0.060, 0.100, offset, 1.0) for offset in (0.002, -0.002))
        assert one == pytest.approx(other, rel=1e-9)


@pytest.mark.parametrize(
    "function",
    [
        kinematics.top_dead_centre,
        kinematics.bottom_dead_centre,
        kinematics.peak_piston_speed_angle,
        lambda s, r, e: kinematics.pin_height(0.7, s, r, e),
        lambda s, r, e: kinematics.piston_drop(0.7, s, r, e),
        lambda s, r, e: kinematics.drop_after_top(0.7, s, r, e),
        lambda s, r, e: kinematics.piston_speed(0.7, s, r, e, 500.0),
        lambda s, r, e: kinematics.piston_acceleration(0.7, s, r, e, 500.0),
        lambda s, r, e: kinematics.top_acceleration(s, r, e, 500.0),
        lambda s, r, e: kinematics.peak_piston_speed(s, r, e, 500.0),
        lambda s, r, e: kinematics.peak_piston_acceleration(s, r, e, 500.0),
        lambda s, r, e: loads.speed_at_load(5000.0, 0.3, s, r, e),
    ],
)
@pytest.mark.filterwarnings("error")
def test_arrays_go_through_alike_and_the_unknown_stays_unknown(function: Any) -> None:
    strokes = np.array([0.060, 0.070, NAN, 0.060, 0.060])
    rods = np.array([0.100, 0.110, 0.100, NAN, 0.029])
    offsets = np.array([0.001, 0.0, 0.001, 0.001, 0.0])
    found = function(strokes, rods, offsets)
    one_by_one = [function(*each) for each in zip(strokes, rods, offsets, strict=True)]
    np.testing.assert_allclose(found, one_by_one, rtol=1e-12)
    assert np.isnan(found).tolist() == [False, False, True, True, True]
    assert np.isnan(function(0.060, 0.100, NAN))


def test_scan_finds_a_minimum_at_its_edge_and_keeps_the_unknown() -> None:
    value, angle = kinematics.least_over_angle(lambda x: x**2, 0.5, 2.0)
    assert (value, angle) == pytest.approx((0.25, 0.5))
    values, angles = kinematics.least_over_angle(
        lambda x: (x - np.array([[0.123], [NAN]])) ** 2, np.array([0.0, 0.0]), np.array([1.0, 1.0])
    )
    assert (values[0], angles[0]) == pytest.approx((0.0, 0.123), abs=1e-12)
    assert np.isnan([values[1], angles[1]]).all()


def test_root_finder_agrees_with_another() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    targets = np.linspace(0.05, 0.95, 19)
    found = kinematics.root_between(lambda x: np.cos(x) - targets, 0.0, np.pi / 2)
    other = [optimize.brentq(lambda x, t=t: np.cos(x) - t, 0.0, np.pi / 2, xtol=1e-15) for t in targets]
    np.testing.assert_allclose(found, other, rtol=1e-12)
    assert np.isnan(kinematics.root_between(lambda x: x + 1.0, 0.0, 1.0))
    assert np.isnan(kinematics.root_between(lambda x: x * NAN, -1.0, 1.0))


# The automobile data of 1985 (attribution in the file's head) holds wrong rows: quantiles, never every row.
DATA = Path(__file__).parent / "data" / "automobile-1985.csv"


def automobiles() -> dict[str, Any]:
    lines = [line for line in DATA.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    names = ("cylinders", "bore_in", "stroke_in", "engine_size_in3", "peak_rpm")
    return {name: np.array([float(row[name] or "nan") for row in rows]) for name in names}


def test_displacement_of_the_automobiles_of_1985() -> None:
    cars = automobiles()
    swept = volumes.swept_volume(cars["bore_in"] * INCH, cars["stroke_in"] * INCH)
    size: Any = volumes.displacement(swept, cars["cylinders"]) / INCH**3
    off = np.abs(size / cars["engine_size_in3"] - 1)
    known = off[~np.isnan(off)]
    assert (len(off), len(known)) == (205, 201)
    assert np.median(known) == pytest.approx(0.0043, abs=5e-5)
    assert [int(np.sum(known <= part)) for part in (0.01, 0.02, 0.05)] == [131, 164, 181]
    first = (cars["bore_in"] == 3.19) & (cars["stroke_in"] == 3.40) & (cars["cylinders"] == 4)
    assert np.all(size[first] == pytest.approx(108.695, rel=1e-5))
    assert np.all(cars["engine_size_in3"][first] == 109)


def test_mean_piston_speed_of_the_automobiles_of_1985() -> None:
    cars = automobiles()
    mean: Any = speed.mean_piston_speed(cars["stroke_in"] * INCH, cars["peak_rpm"] * RPM)
    known = mean[~np.isnan(mean)]
    assert len(known) == 199
    assert (known.min(), known.max(), known.mean()) == pytest.approx((9.20, 17.58, 14.04), abs=0.006)
