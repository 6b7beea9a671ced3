"""Gas load, buckling, the strength of spring wire and the mass that a spring follows, recomputed another way."""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from kitwright.cli.report.notes import note_blocks, notes_data, notes_on
from kitwright.solver import check
from kitwright.solver.cautions import cautions
from kitwright.solver.check import View
from kitwright.solver.formulas.firing import column_load, gas_load, peak_pressure_estimate, rod_net_compression
from kitwright.solver.formulas.materials import MATERIALS, material, wire_strength
from kitwright.solver.formulas.stresses import spring_safety
from kitwright.solver.formulas.valve_train import mass_at_valve, rocker_mass
from kitwright.solver.plan import Conditions, Goal
from kitwright.solver.quantity import LENGTH, STIFFNESS, parse
from tests.random_engines import engine

KPSI, INCH = 6.894757e6, 0.0254


# gas load


def test_gas_and_net_load_of_the_worked_example() -> None:
    """5.8 MPa on a bore of 68 mm: 21.0 kN of gas, 18.0 kN net of 3.04 kN inertia (own cycle, printed to 0.1 kN)."""
    gas = gas_load(5.8e6, 0.068)
    assert gas == pytest.approx(21.0e3, abs=100)
    assert rod_net_compression(gas, 3.04e3) == pytest.approx(18.0e3, abs=100)
    ring = 2 * mpmath.pi * mpmath.quad(lambda r: r * mpmath.mpf("5.8e6"), [0, mpmath.mpf("0.034")])  # ∫ p dA
    assert gas == pytest.approx(float(ring), rel=1e-12)


def peak_of_a_cycle(ratio: float, burn: float) -> float:
    """Peak pressure in Pa of one closed zone of gas (γ = 1.3) that burns after Wiebe; full throttle, petrol.

    2.65 MJ in a kilogram of charge (44 MJ in a kilogram of petrol, 14.6 of air to one of petrol, 6 % of old gas), 15 %
    lost to the walls, best of all sparks by its work. All of it from memory: it is there to say how far the estimate is
    from a computed cycle, and no more.
    """
    gamma, rod, gas_constant = 1.3, 3.8, 287.0
    start, warm = 0.95 * 101325.0, 350.0

    def volume(angle: float) -> float:
        return 1 + (ratio - 1) / 2 * (1 + rod - math.cos(angle) - math.sqrt(rod**2 - math.sin(angle) ** 2))

    heat = start * volume(-math.pi) / (gas_constant * warm) * 2.65e6 * 0.85
    best, peak = -math.inf, math.nan
    for spark in range(-40, -9, 5):
        first, length = math.radians(spark), math.radians(burn)

        def rise(angle: float, state: np.ndarray, first: float = first, length: float = length) -> list[float]:
            done = (angle - first) / length
            burning = 15 / length * done**2 * math.exp(-5 * done**3) if 0 < done < 1 else 0.0
            turn = (volume(angle + 1e-5) - volume(angle - 1e-5)) / 2e-5
            return [((gamma - 1) * heat * burning - gamma * state[0] * turn) / volume(angle), state[0] * turn]

        run = solve_ivp(rise, (-math.pi, math.pi), [start, 0.0], max_step=0.02, rtol=1e-7)
        if run.y[1][-1] > best:
            best, peak = run.y[1][-1], float(run.y[0].max())
    return peak


@pytest.mark.parametrize("ratio", [7.0, 9.0, 11.0])
def test_the_estimate_of_the_peak_pressure_lies_near_a_cycle(ratio: float) -> None:
    estimate = peak_pressure_estimate(ratio, 0.0)
    cycles = [peak_of_a_cycle(ratio, burn) for burn in (50.0, 60.0)]
    assert all(0.75 < cycle / estimate < 1.25 for cycle in cycles), [cycle / estimate for cycle in cycles]


def test_without_a_peak_pressure_an_estimate_is_told_and_refuses_nothing() -> None:
    combination, plan = engine(3)
    bare = plan.but(conditions=Conditions())
    checked = check(combination, bare, spreads=False)
    known = {"gas_load", "rod_net_compression", "rod_buckling_margin", "big_end_pressure"}
    assert not known & checked.figures.keys()
    found = notes_on(checked, bare, None)
    assert found.gas is not None
    assert found.gas.pressure == pytest.approx(101.325 * checked.figures["compression"] ** 1.3 * 3.3, rel=1e-6)
    assert found.gas.net == pytest.approx(found.gas.load - checked.figures["rod_load"])
    data = notes_data(found)["gas_estimate"]
    assert data["gas_load_N"] == found.gas.load and "estimate" in data["from"]
    assert any("Estimate, in no limit" in str(block) for block in note_blocks(found, "mm"))
    asked = bare.but(goals={"gas_load": Goal("gas_load", maximum=1.0)})
    judged = check(combination, asked, spreads=False)
    (limit,) = [each for each in judged.limits if each.name == "gas_load"]
    assert limit.holds is None
    assert [(each.kind, each.field) for each in judged.not_established[0].missing] == [("conditions", "peak_pressure")]
    given = check(combination, plan, spreads=False)
    assert known <= given.figures.keys()
    assert notes_on(given, plan, None).gas is None


# buckling


def euler_by_differences(inertia: float, length: float, elasticity: float) -> float:
    """Least load at which a pinned beam bows, by the eigenvalues of E I w″ = −P w on a fine grid."""
    cells = 400
    step = length / cells
    beside = np.diag(np.ones(cells - 2), 1)
    second = (np.diag(np.full(cells - 1, 2.0)) - beside - beside.T) / step**2
    return float(elasticity * inertia * np.linalg.eigvalsh(second)[0])


def test_a_slender_shank_buckles_as_the_beam_does() -> None:
    area, gyration, length = 60e-6, 0.0012, 0.140
    assert length / gyration > math.sqrt(2 * math.pi**2 * 207e9 / 400e6)
    load = column_load(area, gyration, length, 207e9, 400e6)
    assert load == pytest.approx(euler_by_differences(area * gyration**2, length, 207e9), rel=1e-4)


def test_johnson_meets_euler_at_half_the_yield_with_one_slope() -> None:
    """By mpmath: where both give S/2, value and slope agree; a shank without length crushes at its yield."""
    strength, elasticity = mpmath.mpf("655e6"), mpmath.mpf("207e9")

    def johnson(slender: mpmath.mpf) -> mpmath.mpf:
        return strength - (strength * slender / (2 * mpmath.pi)) ** 2 / elasticity

    def euler(slender: mpmath.mpf) -> mpmath.mpf:
        return mpmath.pi**2 * elasticity / slender**2

    meet = mpmath.findroot(lambda slender: euler(slender) - strength / 2, 100)
    assert johnson(meet) == pytest.approx(strength / 2, rel=1e-12)
    assert float(mpmath.diff(johnson, meet)) == pytest.approx(float(mpmath.diff(euler, meet)), rel=1e-9)
    for slender in (10.0, 22.1, 60.0, float(meet) - 0.01, float(meet) + 0.01, 150.0):
        wanted = johnson(slender) if slender < meet else euler(slender)
        assert column_load(1e-4, 0.1 / slender, 0.1, 207e9, 655e6) == pytest.approx(1e-4 * float(wanted), rel=1e-9)
    assert column_load(1e-4, 1e3, 0.1, 207e9, 655e6) == pytest.approx(1e-4 * 655e6, rel=1e-9)


def test_the_margin_and_the_bearing_take_the_gas_alone() -> None:
    """At low speed nothing of the gas load is taken off: the margin does not grow with the ceiling."""
    combination, plan = engine(4)
    slow, fast = (check(combination, plan.but(rev_ceiling=speed), spreads=False).figures for speed in (1000.0, 6000.0))
    assert slow["rod_buckling_margin"] == fast["rod_buckling_margin"]
    assert slow["rod_net_compression"] > fast["rod_net_compression"]
    journal, width = (combination.parts[kind] for kind in ("crank", "rod"))
    area = journal.journal.si * width.width.si  # type: ignore[attr-defined]
    assert slow["big_end_pressure"] == pytest.approx(slow["gas_load"] / area / 1e6)
    light = plan.but(rev_ceiling=6000.0, conditions=Conditions(peak_pressure=1e5))
    view = View(combination, light)
    assert view.value("big_end_pressure") == pytest.approx(view.value("rod_load") / area / 1e6)


# spring wire


TABLE = {
    # A in kpsi·in^m and in MPa·mm^m, m: Shigley's Mechanical Engineering Design, 9th ed., table 10-4, both from memory;
    # that the two systems agree, digit for digit of the three they are printed with, confirms them
    "music wire": (201.0, 2211.0, 0.145),
    "oil tempered wire": (147.0, 1855.0, 0.187),
    "hard drawn wire": (140.0, 1783.0, 0.190),
    "chrome vanadium": (169.0, 2005.0, 0.168),
    "chrome silicon": (202.0, 1974.0, 0.108),
}


@pytest.mark.parametrize("name", TABLE)
def test_wire_strength_is_the_same_in_both_unit_systems(name: str) -> None:
    english, metric, exponent = TABLE[name]
    assert english * KPSI * 25.4**exponent == pytest.approx(metric * 1e6, rel=3e-3)
    wire = material(name).wire
    assert wire is not None
    assert (wire.strength, wire.exponent) == (metric * 1e6, exponent)
    assert {each.name for each in MATERIALS if each.wire is not None} == set(TABLE)


def test_shigley_10_1_wire() -> None:
    """0.037 in of music wire: 324 kpsi in tension, 146 in torsion (recalled; computed 324.195, 145.888)."""
    yields, exponent = wire_strength("music wire", 0.037 * INCH)
    at_size = yields * 0.9398**-exponent
    assert at_size / KPSI == pytest.approx(146, rel=3e-3)
    assert at_size / 0.45 / KPSI == pytest.approx(324, rel=3e-3)


def test_wire_strength_ends_where_the_table_ends() -> None:
    assert math.isfinite(wire_strength("music wire", 6.5e-3)[0])
    outside = {"music wire": 6.6e-3, "chrome silicon": 1.5e-3, "steel 4340": 3e-3, "valve spring wire": 3e-3}
    for name, wire in outside.items():
        assert all(map(math.isnan, wire_strength(name, wire)))


def test_a_spring_that_does_not_press_has_a_safety_that_is_a_number() -> None:
    """Slack, hardly pressing, at the yield, beyond it; and through a plan that limits it, from either side."""
    limit = 824.6e6
    assert [float(spring_safety(limit, each * limit)) for each in (-0.2, 0.0, 1e-9, 0.5, 1.0, 1.25)] == pytest.approx(
        [1000.0, 1000.0, 1000.0, 2.0, 1.0, 0.8]
    )
    assert math.isnan(spring_safety(math.nan, 1e8)) and math.isnan(spring_safety(limit, math.nan))
    combination, plan = engine(2, toleranced=0.0)
    spring = combination.parts["spring"]
    slack = replace(spring, free_length=parse("20 mm", LENGTH))  # type: ignore[call-arg]
    loose = replace(combination, parts={**combination.parts, "spring": slack})
    wanted = plan.but(goals={"spring_safety": Goal("spring_safety", minimum=1.2, aim=1.5)})
    judged = check(loose, wanted, spreads=False)
    assert judged.figures["spring_safety"] == 1000.0
    assert "spring_seat" in {each.name for each in judged.limits if each.holds is False}


# spring rate and surge


def test_a_given_rate_goes_before_the_wire_and_a_difference_is_said() -> None:
    combination, plan = engine(2, toleranced=0.0)
    spring = combination.parts["spring"]

    def with_rate(text: str) -> View:
        changed = replace(spring, rate=parse(text, STIFFNESS))  # type: ignore[call-arg]
        return View(replace(combination, parts={**combination.parts, "spring": changed}), plan)

    one, four = with_rate("10 N/mm"), with_rate("40 N/mm")
    assert four.value("spring_surge") == pytest.approx(2 * one.value("spring_surge"))
    by_wire = one.value("spring_rate_by_wire")
    near, far = with_rate(f"{1.04 * by_wire:.6f} N/mm"), with_rate(f"{0.93 * by_wire:.6f} N/mm")

    def said(view: View) -> list[str]:
        told = cautions(check(view.combination, plan, spreads=False), plan)
        return [each for each in told if each.startswith("The rate given")]

    assert said(near) == []
    assert len(said(far)) == 1 and "7 % below" in said(far)[0]
    same = with_rate(f"{by_wire:.9f} N/mm")
    bare = replace(spring, rate=None)  # type: ignore[call-arg]
    wire = View(replace(combination, parts={**combination.parts, "spring": bare}), plan)
    assert same.value("spring_surge") == pytest.approx(wire.value("spring_surge"), rel=4e-4)  # EN's rounded constant


# effective mass


def test_the_mass_at_the_valve_holds_the_energy_of_the_whole_train() -> None:
    """½ m v² at the valve is the sum of what valve, rocker and pushrod have, each at its own speed."""
    valve, inertia, arm, pushrod, ratio, speed = 0.0755, 8e-6, 0.032, 0.021, 1.35, 4.7
    energy = valve * speed**2 / 2 + inertia * (speed / arm) ** 2 / 2 + pushrod * (speed / ratio) ** 2 / 2
    whole = mass_at_valve(valve, float(rocker_mass(inertia, arm)), pushrod, ratio)
    assert whole * speed**2 / 2 == pytest.approx(energy, rel=1e-12)
    assert rocker_mass(math.nan, arm) == 0.0
    assert math.isnan(rocker_mass(inertia, math.nan))
    assert mass_at_valve(valve, 0.0, math.nan, ratio) == valve


def test_a_heavier_rocker_or_pushrod_floats_sooner() -> None:
    """Float falls with the root of the mass, whatever part it sits in."""
    combination, plan = engine(5, toleranced=0.0)
    before = View(combination, plan)
    for kind, field in (("rocker", "inertia"), ("pushrod", "mass")):
        part = combination.parts[kind]
        old = getattr(part, field)
        heavier = replace(part, **{field: replace(old, exact=10 * old.exact)})
        after = View(replace(combination, parts={**combination.parts, kind: heavier}), plan)
        for valve in ("intake", "exhaust"):
            masses = [each.value(f"effective_mass_{valve}") for each in (before, after)]
            assert masses[1] > masses[0]
            speeds = [each.value(f"float_speed_{valve}") for each in (before, after)]
            assert speeds[1] / speeds[0] == pytest.approx(math.sqrt(masses[0] / masses[1]), rel=1e-9)
