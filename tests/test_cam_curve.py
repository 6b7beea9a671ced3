"""Cam curves, piston to valve and float: limits, other methods for the same numbers, and what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from kitwright.solver.formulas import cam_curve, gas, kinematics, pushrods, springs
from kitwright.solver.formulas.cam_curve import LobeCurve
from kitwright.solver.formulas.measured_cam import measured_curve

NAN = float("nan")
DEGREE = np.pi / 180
LOBE = LobeCurve(0.0065, 150 * DEGREE, 19.8807)
STEPS: Any = np.linspace(0.0, 1.0, 501)
ENGINE = (0.060, 0.100, 0.001)
POWERS = [4.0, 5.5, 9.0, 19.8807, 48.0]


@pytest.mark.parametrize("power", POWERS)
def test_coefficients_solve_the_end_conditions(power: float) -> None:
    """Lift and three derivatives vanish at x = 1: four linear equations."""
    exponents = np.array([2.0, power, power + 2, power + 4])
    rows = [np.ones(4), exponents, exponents * (exponents - 1), exponents * (exponents - 1) * (exponents - 2)]
    solved = np.linalg.solve(np.array(rows), [-1.0, 0.0, 0.0, 0.0])
    np.testing.assert_allclose(cam_curve.lobe_coefficients(power), solved, rtol=1e-9)


@pytest.mark.parametrize("power", POWERS)
def test_slope_and_bend_are_the_derivatives_of_the_lift(power: float) -> None:
    mpmath = pytest.importorskip("mpmath")
    curve = LobeCurve(0.0065, 150 * DEGREE, power)
    second, *higher = cam_curve.lobe_coefficients(power)

    def lift(angle: Any) -> Any:
        x = abs(angle) / curve.half_span
        terms = [c * x ** (power + k) for c, k in zip(higher, (0, 2, 4), strict=True)]
        return curve.max_lift * (1 + second * x**2 + sum(terms))

    for angle in (-2.0, -0.7, 0.4, 1.3, 2.2, 2.6):
        with mpmath.workdps(30):
            first, bend = (float(mpmath.diff(lift, mpmath.mpf(angle), order)) for order in (1, 2))
        assert curve.lift(angle) == pytest.approx(float(lift(angle)), rel=1e-9, abs=1e-15)
        assert curve.slope(angle) == pytest.approx(first, rel=1e-8)
        assert curve.bend(angle) == pytest.approx(bend, rel=1e-8)


def test_power_four_is_the_plain_polynomial_and_no_end_a_parabola() -> None:
    np.testing.assert_allclose(LobeCurve(1.0, 1.0, 4.0).lift(STEPS), (1 - STEPS**2) ** 4, atol=1e-14)
    inner = STEPS[STEPS < 0.99]
    np.testing.assert_allclose(LobeCurve(1.0, 1.0, 1e5).lift(inner), 1 - inner**2, atol=1e-4)


@pytest.mark.parametrize("power", [*POWERS, 200.0, 1000.0])
def test_every_lobe_falls_from_nose_to_seat(power: float) -> None:
    curve = LobeCurve(0.0065, 150 * DEGREE, power)
    assert cam_curve.is_monotone(curve)
    assert np.all(curve.slope(np.linspace(0.01, 1.0, 500) * curve.half_span * 0.99) < 0)
    assert curve.lift(np.array([-1.0, 1.0, 1.2]) * curve.half_span).tolist() == [0.0, 0.0, 0.0]


def test_a_lobe_exists_between_its_two_limits_only() -> None:
    lift, half, check = 0.0065, 150 * DEGREE, 242 * DEGREE
    square = 1 - (121 / 150) ** 2
    for share, exists in ((square**4 * 0.999, False), (square**4 * 1.001, True), (square * 0.999, True)):
        assert bool(cam_curve.lobe_exists(lift, half, check, share * lift)) is exists
        power = cam_curve.lobe_power(lift, half, check, share * lift)
        assert bool(np.isnan(power)) is not exists
    assert not cam_curve.lobe_exists(lift, half, check, square * 1.001 * lift)
    assert np.isnan(cam_curve.lobe_power(lift, half, check, square * 1.001 * lift))


def test_equal_durations_at_different_lifts_are_no_lobe() -> None:
    assert np.isnan(cam_curve.lobe_curve(0.0065, 242 * DEGREE, 0.0, 242 * DEGREE, 0.001).power)
    assert np.isnan(cam_curve.lobe_curve(0.0065, 242 * DEGREE, 0.0001, 242 * DEGREE, 0.001).power)


@pytest.mark.filterwarnings("error")
def test_two_durations_give_the_lobe_back() -> None:
    random = np.random.default_rng(1)
    lift: Any = random.uniform(0.004, 0.009, 500)
    half: Any = random.uniform(110, 170, 500) * DEGREE
    curve = LobeCurve(lift, half, np.exp(random.uniform(np.log(4.2), np.log(60), 500)))
    seat, check = cam_curve.duration_at(curve, 0.00015), cam_curve.duration_at(curve, 0.00127)
    fitted = cam_curve.lobe_curve(lift, seat, 0.00015, check, 0.00127)
    np.testing.assert_allclose(fitted.half_span, half, rtol=1e-9)
    np.testing.assert_allclose(fitted.power, curve.power, rtol=1e-9)
    whole = cam_curve.lobe_curve(lift, 2 * half, 0.0, check, 0.00127)
    np.testing.assert_allclose(whole.power, curve.power, rtol=1e-9)


def test_two_duration_fit_agrees_with_another_solver() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    lift, seat, seat_at, check, check_at = 0.00762, 262 * DEGREE, 0.0001524, 226 * DEGREE, 0.00127

    def misses(unknown: Any) -> list[float]:
        curve = LobeCurve(lift, unknown[0], unknown[1])
        return [float(curve.lift(seat / 2) - seat_at) * 1e3, float(curve.lift(check / 2) - check_at) * 1e3]

    half, power = optimize.fsolve(misses, [2.5, 12.0], xtol=1e-13)
    found = cam_curve.lobe_curve(lift, seat, seat_at, check, check_at)
    assert (found.half_span, found.power) == pytest.approx((half, power), rel=1e-8)


def test_area_and_durations_agree_with_quadrature() -> None:
    integrate = pytest.importorskip("scipy.integrate")
    ratio, lash = 1.5, 0.0001
    before, after = cam_curve.crossing(LOBE, lash / ratio)
    area, _ = integrate.quad(lambda x: ratio * LOBE.lift(x) - lash, -before, after, points=[0.0], epsabs=1e-14)
    assert cam_curve.lift_area(LOBE, ratio, lash) == pytest.approx(area, rel=1e-9)
    assert ratio * LOBE.lift(after) == pytest.approx(lash, rel=1e-9)
    assert cam_curve.duration_at(LOBE, 0.0) == pytest.approx(300 * DEGREE)
    assert np.isnan(cam_curve.duration_at(LOBE, 0.0066))


def readings(step: float) -> tuple[Any, Any]:
    angles = np.arange(-150.0, 150.0 + step / 2, step) * DEGREE
    return angles + 104 * DEGREE, LOBE.lift(angles)


@pytest.mark.parametrize(("step", "microns"), [(10.0, 20.0), (5.0, 1.0)])
def test_readings_of_a_degree_wheel_give_the_curve_back(step: float, microns: float) -> None:
    curve = measured_curve(*readings(step))
    assert np.degrees(curve.nose) == pytest.approx(104.0, abs=1e-3)
    assert curve.max_lift == pytest.approx(LOBE.max_lift, rel=1e-4)
    assert np.degrees(curve.spans) == pytest.approx([150.0, 150.0], abs=1e-3)
    fine = np.linspace(-2.7, 2.7, 2001)
    np.testing.assert_allclose(curve.lift(fine), LOBE.lift(fine), atol=microns * 1e-6)


def test_the_curve_passes_exact_readings_and_its_derivatives_are_its_own() -> None:
    angles, lifts = readings(7.5)
    uneven = np.delete(np.arange(angles.size), [3, 11, 12, 25])
    curve = measured_curve(angles[uneven], lifts[uneven])
    np.testing.assert_allclose(curve.lift(angles[uneven] - curve.nose), lifts[uneven], atol=1e-9)
    places, step = np.linspace(*curve.seats, 97)[4:-4], 1e-4
    slopes = (curve.lift(places + step) - curve.lift(places - step)) / (2 * step)
    np.testing.assert_allclose(curve.slope(places), slopes, atol=1e-9)
    bends = (curve.slope(places + step) - curve.slope(places - step)) / (2 * step)
    np.testing.assert_allclose(curve.bend(places), bends, atol=1e-7)
    assert curve.lift(np.array([-3.0, 3.0])).tolist() == [0.0, 0.0]
    assert curve.lifted_to(2 * curve.peak).lift(0.3) == pytest.approx(2 * curve.lift(0.3))


@pytest.mark.parametrize("digit", [1e-5, 2.54e-6])
@pytest.mark.parametrize("step", [2.0, 5.0])
def test_the_dials_rounding_does_not_become_float(step: float, digit: float) -> None:
    """Readings to 0.01 mm or 0.1 thou of a lobe whose float speed is known: within 4 %, where a curve through every
    reading is out by far more."""
    train = (17000.0, 0.045, 0.038, 0.118)
    true = springs.float_speed(*train, LOBE, 1.5, 0.0001)[0]
    for seed in range(5):
        angles, lifts = readings(step)
        phase = np.random.default_rng(seed).uniform(-0.5, 0.5) * digit
        rounded = np.maximum(np.round((lifts + phase) / digit) * digit, 0.0)
        rounded[[0, -1]] = 0.0
        smooth = springs.float_speed(*train, measured_curve(angles, rounded, digit), 1.5, 0.0001)[0]
        assert smooth == pytest.approx(true, rel=0.04)
        if digit == 1e-5:
            assert springs.float_speed(*train, measured_curve(angles, rounded), 1.5, 0.0001)[0] < 0.8 * true


@pytest.mark.parametrize(
    ("angles", "lifts", "words"),
    [
        ([0, 1, 2, 3], [0, 1, 1, 0], "7 readings"),
        ([0, 1, 2, 3, 4, 5, 6], [0, 1, 0], "7 readings"),
        ([0, 1, 1, 3, 4, 5, 6], [0, 1, 2, 3, 2, 1, 0], "have to rise"),
        ([0, 1, 2, 3, 4, 5, 6], [0, 1, 2, 3, 2, 1, 0.2], "read on to the seat"),
        ([0, 1, 2, 3, 4, 5, 6], [0, -1, 2, 3, 2, 1, 0], "read on to the seat"),
        ([0, 1, 2, 3, 4, 5, 6], [0, 0, 0, 0, 0, 0, 0], "read on to the seat"),
        ([0, 1, 2, 3, 4, 5, 6], [0, 1, NAN, 3, 2, 1, 0], "read on to the seat"),
    ],
)
def test_readings_that_are_no_lobe_are_refused(angles: list[float], lifts: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        measured_curve(angles, lifts)


def test_a_dip_in_the_readings_is_seen() -> None:
    dipped = measured_curve(np.arange(7) / 2, [0.0, 0.004, 0.003, 0.006, 0.004, 0.002, 0.0])
    assert not cam_curve.is_monotone(dipped)
    assert cam_curve.is_monotone(measured_curve(*readings(5.0)))


def clearance(angle: Any, gap: float, lean: float, ratio: float, lash: float, nose: float) -> Any:
    drop = kinematics.drop_after_top(angle, *ENGINE)
    return gap + drop * np.cos(lean) - np.maximum(0.0, ratio * LOBE.lift(angle - nose) - lash)


@pytest.mark.parametrize("nose", [104.0, -108.0, 95.0, -99.0])
def test_piston_to_valve_over_a_whole_cycle(nose: float) -> None:
    """The brute truth: every twentieth of a degree over two turns, then another library's minimiser."""
    optimize = pytest.importorskip("scipy.optimize")
    given = (0.007, 0.2, 1.4, 0.0002, nose * DEGREE)
    gap, lean, ratio, lash, centre = given
    least, angle = cam_curve.piston_to_valve(gap, *ENGINE, lean, LOBE, ratio, lash, centre)
    cycle = np.radians(np.arange(-360.0, 360.0, 0.05))
    values = clearance(cycle, *given)
    start = cycle[np.argmin(values)]
    best = optimize.minimize_scalar(
        lambda x: float(clearance(x, *given)),
        bounds=(start - 0.01, start + 0.01),
        method="bounded",
        options={"xatol": 1e-9},
    )
    assert least == pytest.approx(float(best.fun), abs=1e-9)
    assert np.degrees(angle) == pytest.approx(np.degrees(best.x), abs=1e-3)
    assert np.sign(angle) == np.sign(nose)


def test_both_valves_alike_are_mirrored() -> None:
    intake, exhaust = (
        cam_curve.piston_to_valve(0.006, 0.06, 0.1, 0.0, 0.2, LOBE, 1.4, 0.0001, sign * 106 * DEGREE)
        for sign in (1, -1)
    )
    assert intake[0] == pytest.approx(exhaust[0], rel=1e-9)
    assert intake[1] == pytest.approx(-exhaust[1], rel=1e-5)
    assert gas.exhaust_centreline(106 * DEGREE, 106 * DEGREE) == pytest.approx(106 * DEGREE)


def test_a_flat_cam_leaves_the_gap() -> None:
    flat = LobeCurve(0.0, 150 * DEGREE, 12.0)
    least, angle = cam_curve.piston_to_valve(0.0035, *ENGINE, 0.2, flat, 1.4, 0.0001, 104 * DEGREE)
    assert (least, angle) == pytest.approx((0.0035, 0.0), abs=1e-9)
    assert cam_curve.lift_area(flat, 1.4, 0.0) == 0.0
    assert springs.float_speed(17000.0, 0.045, 0.038, 0.1, flat, 1.4, 0.0)[0] == np.inf


@pytest.mark.filterwarnings("error")
def test_piston_to_valve_of_arrays_and_of_the_unknown() -> None:
    gaps: Any = np.array([0.004, 0.006, NAN, 0.004])
    rods: Any = np.array([0.1, 0.11, 0.1, NAN])
    lobes = LobeCurve(np.array([0.006, 0.0065, 0.006, 0.006]), 145 * DEGREE, np.array([12.0, 18.0, 12.0, 12.0]))
    both: Any = cam_curve.piston_to_valve(gaps, 0.06, rods, 0.001, 0.2, lobes, 1.4, 0.0001, 1.8)
    found, angles = both
    for place in range(4):
        lobe = LobeCurve(lobes.max_lift[place], lobes.half_span, lobes.power[place])
        alone: Any = cam_curve.piston_to_valve(gaps[place], 0.06, rods[place], 0.001, 0.2, lobe, 1.4, 0.0001, 1.8)
        np.testing.assert_allclose([found[place], angles[place]], alone, rtol=1e-9)
    assert np.isnan(found).tolist() == [False, False, True, True]
    unknown = cam_curve.lobe_curve(0.0065, NAN, 0.0, NAN, NAN)
    assert np.isnan(cam_curve.piston_to_valve(0.004, *ENGINE, 0.2, unknown, 1.4, 0.0001, 1.8)).all()


def test_more_gap_or_a_milder_cam_never_lessens_the_clearance() -> None:
    def least(gap: float, ratio: float, lash: float) -> float:
        return cam_curve.piston_to_valve(gap, *ENGINE, 0.2, LOBE, ratio, lash, 104 * DEGREE)[0]

    base = least(0.006, 1.4, 0.0001)
    assert least(0.0065, 1.4, 0.0001) == pytest.approx(base + 0.0005, abs=1e-9)
    assert least(0.006, 1.3, 0.0001) > base
    assert least(0.006, 1.4, 0.0002) > base
    assert base - least(0.006, 1.4, 0.0) == pytest.approx(0.0001, abs=1e-9)


def test_gap_square_to_the_valve() -> None:
    assert cam_curve.valve_gap(0.003, 0.0, 0.001, 0.002, 0.0) == pytest.approx(0.006)
    assert cam_curve.valve_gap(0.003, 0.0005, 0.001, 0.002, 60 * DEGREE) == pytest.approx(0.00275)
    assert np.isnan(cam_curve.valve_gap(0.003, 0.0, NAN, 0.002, 0.2))


def test_measured_curve_stands_in_for_the_lobe() -> None:
    curve = measured_curve(*readings(5.0))
    uses: list[Any] = [
        lambda each: cam_curve.piston_to_valve(0.006, *ENGINE, 0.2, each, 1.4, 0.0001, 104 * DEGREE)[0],
        lambda each: cam_curve.lift_area(each, 1.4, 0.0001),
        lambda each: cam_curve.duration_at(each, 0.001),
        lambda each: springs.float_speed(17000.0, 0.045, 0.038, 0.118, each, 1.5, 0.0001)[0],
    ]
    for function in uses:
        assert function(curve) == pytest.approx(function(LOBE), rel=2e-3)


def test_float_agrees_with_another_minimiser() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    rate, free, installed, mass, ratio, lash = 17000.0, 0.045, 0.038, 0.118, 1.5, 0.0001

    def square(angle: float) -> float:
        lift = max(0.0, ratio * float(LOBE.lift(angle)) - lash)
        return rate * (free - installed + lift) / (mass * ratio * -float(LOBE.bend(angle)))

    best = optimize.minimize_scalar(square, bounds=(0.0, 1.9), method="bounded", options={"xatol": 1e-9})
    speed, angle = springs.float_speed(rate, free, installed, mass, LOBE, ratio, lash)
    assert speed == pytest.approx(np.sqrt(best.fun), rel=1e-9)
    assert angle == pytest.approx(best.x, rel=1e-5)
    opened = springs.spring_force(rate, free, installed, ratio * 0.0065 - lash)
    assert speed <= springs.nose_float_speed(opened, mass, LOBE, ratio)


@pytest.mark.filterwarnings("error")
def test_float_of_arrays_slack_springs_and_the_unknown() -> None:
    rates: Any = np.array([17000.0, 68000.0, NAN])
    both: Any = springs.float_speed(rates, 0.045, 0.038, 0.118, LOBE, 1.5, 0.0001)
    speeds, angles = both
    assert speeds[1] == pytest.approx(2 * speeds[0], rel=1e-9)
    assert np.isnan([speeds[2], angles[2]]).all()
    assert springs.float_speed(17000.0, 0.020, 0.038, 0.118, LOBE, 1.5, 0.0001)[0] == 0.0


def test_pushrod_of_a_moved_head() -> None:
    mpmath = pytest.importorskip("mpmath")
    rise = pushrods.cup_rise(0.0005, 0.0, 0.0002, 0.0004)
    assert rise == pytest.approx(0.0007)
    for angle in (0.0, 8 * DEGREE, 0.5):
        with mpmath.workdps(40):
            exact = abs(mpmath.mpf(0.141) + mpmath.mpf(rise) * mpmath.expj(angle)) - mpmath.mpf(0.141)
        assert pushrods.pushrod_change(0.141, rise, angle) == pytest.approx(float(exact), rel=1e-12)
        assert pushrods.needed_pushrod(0.141, rise, angle) == pytest.approx(0.141 + float(exact), rel=1e-12)
        assert pushrods.pushrod_change(0.141, 1e-7, angle) == pytest.approx(1e-7 * np.cos(angle), rel=1e-6)
    assert pushrods.pushrod_change(0.141, 0.0, 0.3) == 0.0
    assert np.isnan(pushrods.needed_pushrod(0.141, NAN, 0.0))


def test_rocker_sweeps_least_when_square_at_half_lift() -> None:
    shares: Any = np.linspace(0.0, 1.0, 101)
    sweeps = pushrods.rocker_sweep(0.032, 0.0096 * shares, 0.0096 * (1 - shares))
    assert shares[np.argmin(sweeps)] == pytest.approx(0.5)
    assert np.isnan(pushrods.rocker_sweep(0.003, 0.004, 0.001))
