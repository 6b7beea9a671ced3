"""What a source says that was not at hand when its formula was written: worked out another way.

Each formula whose source is recalled is set beside an integral, a derivative, a sum of pieces or another library's
value. None of the expected values comes from the formula itself.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import mpmath
import numpy as np
import pytest
from scipy import integrate, optimize

import kitwright.solver
from kitwright.catalogs.advice import default_advice
from kitwright.solver.formulas import (
    at_ceiling,
    balance,
    bottom_end,
    breathing,
    firing,
    gas,
    kinematics,
    loads,
    materials,
    speed,
    springs,
    stresses,
    valve_train,
    volumes,
)
from kitwright.solver.formulas.cam_curve import LobeCurve
from kitwright.solver.formulas.materials import MATERIALS, material
from kitwright.solver.formulas.recalled import CONFIRMED, RECALLED, confirmation
from kitwright.solver.registry import FIGURES
from kitwright.solver.roots import root
from tests.pages import figures_page

ROOT = Path(__file__).parent.parent
NAN = float("nan")
STROKE, ROD, OMEGA = 0.070, 0.1105, 650.0
OFFSETS = (0.0, 0.001, -0.003)


def pin(angle: Any, offset: float = 0.0, stroke: float = STROKE, rod: float = ROD) -> Any:
    """Height of the pin above the crank's centre: where a circle of the rod about the crank pin meets its line."""
    throw = mpmath.mpf(stroke) / 2
    across = mpmath.mpf(offset) - throw * mpmath.sin(angle)
    return throw * mpmath.cos(angle) + mpmath.sqrt(mpmath.mpf(rod) ** 2 - across**2)


def dead_centre(offset: float, near: float) -> Any:
    """Angle at which the pin stands still."""
    return mpmath.findroot(lambda x: mpmath.diff(lambda y: pin(y, offset), x), near)


# The slider-crank.


@pytest.mark.parametrize("offset", OFFSETS)
def test_the_pin_stands_at_a_rods_length_from_the_crank_pin(offset: float) -> None:
    for angle in np.linspace(-3.0, 3.0, 13):
        height = float(kinematics.pin_height(angle, STROKE, ROD, offset))
        crank_pin = STROKE / 2 * np.array([math.sin(angle), math.cos(angle)])
        assert math.dist((offset, height), crank_pin) == pytest.approx(ROD, rel=1e-12)
        assert height > crank_pin[1]


@pytest.mark.parametrize("offset", OFFSETS)
def test_dead_centres_and_travel_by_derivative(offset: float) -> None:
    top, bottom = dead_centre(offset, 0.01), dead_centre(offset, 3.13)
    assert kinematics.top_dead_centre(STROKE, ROD, offset) == pytest.approx(float(top), abs=1e-9)
    assert kinematics.bottom_dead_centre(STROKE, ROD, offset) == pytest.approx(float(bottom), abs=1e-9)
    travel = float(pin(top, offset) - pin(bottom, offset))
    assert bottom_end.piston_travel(STROKE, ROD, offset) == pytest.approx(travel, rel=1e-12)
    for angle in (0.3, 2.0, 4.0):
        drop = float(pin(top, offset) - pin(angle, offset))
        assert kinematics.piston_drop(angle, STROKE, ROD, offset) == pytest.approx(drop, rel=1e-9)


def test_mean_piston_speed_is_the_mean_over_a_turn() -> None:
    steps = [k * mpmath.pi / 8 for k in range(17)]
    path = mpmath.quad(lambda x: abs(mpmath.diff(pin, x)), steps)
    mean = float(path / (2 * mpmath.pi) * OMEGA)
    assert speed.mean_piston_speed(STROKE, OMEGA) == pytest.approx(mean, rel=1e-9)


@pytest.mark.parametrize("offset", OFFSETS)
def test_greatest_speed_and_accelerations_by_derivatives(offset: float) -> None:
    turn = np.linspace(-math.pi, math.pi, 721)
    speeds = [abs(float(mpmath.diff(lambda y: pin(y, offset), x))) * OMEGA for x in turn]
    bends = [abs(float(mpmath.diff(lambda y: pin(y, offset), x, 2))) * OMEGA**2 for x in turn]
    assert kinematics.peak_piston_speed(STROKE, ROD, offset, OMEGA) == pytest.approx(max(speeds), rel=2e-5)
    assert kinematics.peak_piston_acceleration(STROKE, ROD, offset, OMEGA) == pytest.approx(max(bends), rel=2e-5)
    top = dead_centre(offset, 0.01)
    at_top = -float(mpmath.diff(lambda y: pin(y, offset), top, 2)) * OMEGA**2
    assert kinematics.top_acceleration(STROKE, ROD, offset, OMEGA) == pytest.approx(at_top, rel=1e-9)


# Volumes.


def test_volumes_by_slices_and_over_a_turn() -> None:
    bore, chamber = 0.072, 32e-6
    area = 2 * mpmath.quad(lambda x: mpmath.sqrt((mpmath.mpf(bore) / 2) ** 2 - x**2), [-bore / 2, 0, bore / 2])
    swept = volumes.swept_volume(bore, STROKE)
    assert swept == pytest.approx(float(area) * STROKE, rel=1e-9)
    assert volumes.displacement(swept, 2) == pytest.approx(2 * float(area) * STROKE, rel=1e-9)
    held = [chamber + float(area * (pin(0) - pin(x))) for x in np.linspace(0, 2 * math.pi, 361)]
    assert volumes.compression(swept, chamber) == pytest.approx(max(held) / min(held), rel=1e-9)


# Gas.


def test_mean_gas_speed_from_the_volume_that_passes() -> None:
    bore, area = 0.072, 5e-4
    piston = speed.mean_piston_speed(STROKE, OMEGA)
    passed = math.pi / 4 * bore**2 * mpmath.quad(lambda x: -mpmath.diff(pin, x), [0, mpmath.pi / 2, mpmath.pi])
    mean = float(passed) / area / (math.pi / OMEGA)
    assert gas.gas_speed(piston, bore, area) == pytest.approx(mean, rel=1e-9)
    assert breathing.port_speed(piston, bore, 2 * math.sqrt(area / math.pi)) == pytest.approx(mean, rel=1e-9)


def test_mach_index_is_that_of_the_mean_flow_through_the_valves() -> None:
    fluids = pytest.importorskip("fluids")
    bore, valves, valve, flow, altitude = 0.072, 2, 0.028, 0.38, 800.0
    sound = fluids.ATMOSPHERE_1976(altitude).v_sonic
    piston = speed.mean_piston_speed(STROKE, OMEGA)
    through = piston * bore**2 / (valves * flow * valve**2)  # areas of circles: the π/4 falls out
    index = breathing.inlet_mach_index(bore, piston, valves, valve, flow, altitude)
    assert index == pytest.approx(through / sound, rel=1e-5)
    assert gas.inlet_mach_index(bore, piston, valves, valve, flow, sound) == pytest.approx(through / sound, rel=1e-12)
    assert gas.speed_at_mach_index(index, bore, STROKE, valves, valve, flow, sound) == pytest.approx(OMEGA, rel=1e-5)


def revolved(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Area of a straight line (radius, height) turned about the axis, by an integral along it."""
    length = math.dist(first, second)
    integral = mpmath.quad(lambda t: 2 * mpmath.pi * (first[0] + (second[0] - first[0]) * t) * length, [0, 1])
    return float(integral)


def test_curtain_by_revolution_up_to_the_head() -> None:
    valve = 0.032
    for lift in (0.001, 0.004, 0.0079):
        curtain = revolved((valve / 2, 0.0), (valve / 2, lift))
        assert gas.curtain_area(valve, lift) == pytest.approx(curtain, rel=1e-12)
        assert breathing.curtain_area_of(lift, valve, 2) == pytest.approx(2 * curtain, rel=1e-12)
    head = float(mpmath.quad(lambda r: 2 * mpmath.pi * r, [0, valve / 2]))
    assert breathing.curtain_area_of(0.012, valve, 1) == pytest.approx(head, rel=1e-12)


@pytest.mark.parametrize("lift", [0.0005, 0.0015, 0.003, 0.004, 0.006, 0.009])
def test_seat_area_by_the_shortest_way_from_valve_to_seat(lift: float) -> None:
    """The valve's inner edge, lifted, to the nearest point of the seat, turned about the axis; at most the throat."""
    diameter, width, angle, throat, stem = 0.032, 0.0016, math.pi / 4, 0.028, 0.0055
    inner = diameter / 2 - width

    def gap(along: float) -> float:
        return math.dist((inner, lift), (inner + along, along * math.tan(angle)))

    along = float(optimize.minimize_scalar(gap, bounds=(0.0, width), method="bounded", options={"xatol": 1e-12}).x)
    ring = revolved((inner, lift), (inner + along, along * math.tan(angle)))
    open_throat = math.pi / 4 * (throat**2 - stem**2)
    seat = (diameter, width, angle, throat, stem)
    assert gas.seat_flow_area(lift, *seat) == pytest.approx(min(ring, open_throat), rel=1e-6)
    stage = 3 if ring >= open_throat else 1 if along < width - 1e-6 else 2
    assert gas.seat_stage(lift, *seat) == stage
    first, second = gas.seat_stage_lifts(*seat)
    assert (lift > first) == (stage > 1) and (lift > second) == (stage > 2)


# Masses, loads, balance.


def test_two_masses_pull_as_the_whole_rod_does() -> None:
    """Along the cylinder every particle of a straight rod moves as its share of both ends."""
    mass, centre = 0.3, 0.35  # centre of mass as a share from the big end

    def density(x: Any) -> Any:
        return mass * (1 + (x - mpmath.mpf("0.5")) * 12 * (centre - 0.5))

    weigh_small = float(mpmath.quad(lambda x: density(x) * x, [0, 1]))
    weigh_big = float(mpmath.quad(lambda x: density(x) * (1 - x), [0, 1]))
    angle = mpmath.mpf("0.7")
    at_pin = mpmath.diff(pin, angle, 2) * OMEGA**2
    at_crank = -mpmath.mpf(STROKE) / 2 * mpmath.cos(angle) * OMEGA**2
    whole = float(mpmath.quad(lambda x: density(x) * (x * at_pin + (1 - x) * at_crank), [0, 1]))
    going = loads.reciprocating_mass(0.0, weigh_small)
    turning = at_ceiling.rotating_mass(weigh_big)
    assert going * float(at_pin) + turning * float(at_crank) == pytest.approx(whole, rel=1e-12)
    assert loads.reciprocating_mass(0.25, weigh_small) - 0.25 == pytest.approx(weigh_small)


@pytest.mark.parametrize("offset", OFFSETS)
def test_rod_load_is_the_change_of_momentum(offset: float) -> None:
    mass = 0.37
    top = dead_centre(offset, 0.01)

    def momentum(time: Any) -> Any:
        return mass * mpmath.diff(lambda t: pin(top + OMEGA * t, offset), time)

    pull = -float(mpmath.diff(momentum, 0))
    load = loads.inertia_load(mass, kinematics.top_acceleration(STROKE, ROD, offset, OMEGA))
    assert load == pytest.approx(pull, rel=1e-6)
    assert loads.speed_at_load(pull, mass, STROKE, ROD, offset) == pytest.approx(OMEGA, rel=1e-6)


def test_stress_and_stretch_by_the_work_done() -> None:
    load, area, elasticity = 10_518.4, 95e-6, 207e9
    stress = float(mpmath.findroot(lambda s: mpmath.quad(lambda _: s, [0, area]) - load, 1e8))
    assert loads.rod_stress(load, area) == pytest.approx(stress, rel=1e-9)
    stored = float(mpmath.quad(lambda _: mpmath.mpf(stress) ** 2 / (2 * elasticity) * area, [0, ROD]))
    stretch = loads.rod_stretch(load, ROD, area, elasticity)
    assert load * stretch / 2 == pytest.approx(stored, rel=1e-9)  # work of a load that grows evenly
    assert loads.load_at_stretch(stretch, ROD, area, elasticity) == pytest.approx(load, rel=1e-12)


def test_gas_and_inertia_by_what_moves_the_piston() -> None:
    """What the gas presses, ring by ring, less what the rod carries, is the change of the piston's momentum."""
    pressure, bore, mass = 5.8e6, 0.068, 0.37
    pressed = mpmath.quad(lambda r: 2 * mpmath.pi * r * pressure, [0, mpmath.mpf(bore) / 2])
    gas_force = firing.gas_load(pressure, bore)
    assert gas_force == pytest.approx(float(pressed), rel=1e-12)
    moved = mpmath.diff(lambda time: -mass * mpmath.diff(lambda t: pin(OMEGA * t), time), 0)  # downwards
    carried = firing.rod_net_compression(
        gas_force, loads.inertia_load(mass, kinematics.top_acceleration(STROKE, ROD, 0.0, OMEGA))
    )
    assert carried == pytest.approx(float(pressed - moved), rel=1e-6)


def test_big_end_pressure_by_what_lifts_the_journal() -> None:
    """A pressure that is even over half the journal lifts it by ∫ p cos φ dA: the load over the projected area."""
    journal, width = 0.036, 0.024
    for gas_force, inertia in ((21_064.0, 3_040.0), (2_000.0, 9_000.0)):
        found = float(firing.big_end_pressure(gas_force, inertia, journal, width))
        lifted = mpmath.quad(
            lambda phi, p=found: p * mpmath.cos(phi) * journal / 2 * width, [-mpmath.pi / 2, mpmath.pi / 2]
        )
        assert float(lifted) == pytest.approx(max(gas_force, inertia), rel=1e-12)


def bows_at(area: float, gyration: float, length: float, elasticity: float) -> float:
    """Least load at which a pinned beam stays bent: E I w″ = −P w is shot from one pin and has to meet the other."""

    def misses(load: float) -> float:
        bend = load / (elasticity * area * gyration**2)
        run = integrate.solve_ivp(
            lambda _, state: (state[1], -bend * state[0]), (0.0, length), (0.0, 1.0), rtol=1e-10, atol=1e-14
        )
        return float(run.y[0, -1])

    low = high = 100.0
    while misses(high) > 0:
        low, high = high, 1.5 * high
    return float(optimize.brentq(misses, low, high, rtol=1e-12))


def test_column_by_the_bent_beam_and_the_parabola_that_touches_its_curve() -> None:
    """A slender shank by the beam's equation; a stout one by the one parabola from the yield that touches its curve."""
    area, elasticity, strength = 95e-6, 207e9, 655e6
    slender = bows_at(area, 0.0009, 0.140, elasticity)
    assert firing.column_load(area, 0.0009, 0.140, elasticity, strength) == pytest.approx(slender, rel=1e-7)
    assert firing.rod_buckling_margin(slender, 0.3 * slender) == pytest.approx(0.7 * slender, rel=1e-12)
    # c and λ: S − c λ² meets k / λ² with one slope, where the beam itself has given k
    scale = slender / area * (0.140 / 0.0009) ** 2
    steep, meet = mpmath.findroot(
        lambda c, x: (strength - c * x**2 - scale / x**2, -2 * c * x + 2 * scale / x**3), (5e4, 80.0)
    )
    for ratio in (15.0, 40.0, float(meet) - 0.1):
        stout = area * (strength - float(steep) * ratio**2)
        assert firing.column_load(area, 0.1105 / ratio, 0.1105, elasticity, strength) == pytest.approx(stout, rel=1e-6)
    beyond = area * scale / (float(meet) + 1.0) ** 2
    found = firing.column_load(area, 0.1105 / (float(meet) + 1.0), 0.1105, elasticity, strength)
    assert found == pytest.approx(beyond, rel=1e-6)


def test_balance_by_the_harmonics_of_all_that_moves() -> None:
    """The shaking force of piston, big end and counterweight as a Fourier sum over a turn of the exact motion."""
    going, turning, factor = 0.37, 0.21, 0.55
    throw = STROKE / 2
    moment = balance.counterweight_moment(STROKE, turning, going, factor)
    assert balance.counterweight_mass(turning, going, factor) == pytest.approx(moment / throw, rel=1e-12)
    assert balance.balance_factor(moment, STROKE, turning, going) == pytest.approx(factor, rel=1e-12)
    turn = np.arange(720) * 2 * math.pi / 720
    bend = np.array([float(mpmath.diff(pin, x, 2)) for x in turn]) * OMEGA**2
    spin = (turning * throw - moment) * OMEGA**2
    along = -going * bend + spin * np.cos(turn)
    across = spin * np.sin(turn)
    first = 2 * np.mean(along * np.cos(turn))
    second = 2 * np.mean(along * np.cos(2 * turn))
    primary = balance.primary_force(going, STROKE, OMEGA)
    assert balance.residual_axial_force(primary, factor) == pytest.approx(first, rel=1e-9)
    assert balance.residual_cross_force(primary, factor) == pytest.approx(np.max(np.abs(across)), rel=1e-9)
    secondary = balance.secondary_force(primary, STROKE, ROD)
    assert secondary == pytest.approx(second, rel=0.03)  # two harmonics: (r/l)³/4 is left out
    np.testing.assert_allclose(balance.cross_force(turn, primary, factor), across, atol=1e-9 * primary)
    np.testing.assert_allclose(balance.axial_force(turn, primary, secondary, factor), along, atol=0.02 * primary)


# Springs.

G, WIRE, COIL, ACTIVE, DENSITY = 77.2e9, 0.0032, 0.0228, 5.0, 7850.0


def test_spring_rate_by_the_energy_of_a_twisted_wire() -> None:
    """Castigliano: a force on the spring's axis twists the wire by F D/2 all along it."""
    polar = math.pi * WIRE**4 / 32
    length = math.pi * COIL * ACTIVE

    def energy(force: Any) -> Any:
        return mpmath.quad(lambda _: (force * COIL / 2) ** 2 / (2 * G * polar), [0, length])

    soft = float(mpmath.diff(energy, 1))
    assert springs.spring_rate(G, WIRE, COIL, ACTIVE) == pytest.approx(1 / soft, rel=1e-6)
    assert valve_train.spring_rate(NAN, G, WIRE, COIL, NAN, ACTIVE + 2) == pytest.approx(1 / soft, rel=1e-6)
    assert valve_train.spring_rate_by_wire(G, WIRE, COIL, NAN, ACTIVE + 2) == pytest.approx(1 / soft, rel=1e-6)


def test_spring_forces_are_the_slope_of_the_energy() -> None:
    rate, free, installed, lift = 17_074.7, 0.045, 0.038, 0.00965
    for lifted, found in (
        (0.0, valve_train.spring_seat(rate, free, installed)),
        (lift, springs.spring_force(rate, free, installed, lift)),
    ):
        stored = lambda height: rate * (free - height) ** 2 / 2  # noqa: E731
        assert found == pytest.approx(-float(mpmath.diff(stored, installed - lifted)), rel=1e-6)


def test_the_stress_factor_is_near_wahls_that_was_seen() -> None:
    """Wahl's stands in the Mechanical Engineer's Data Handbook, §1.5; the mean shear is τ = 8FD/(πd³) by torsion."""
    for index in np.linspace(4, 12, 17):
        factor = springs.bergstraesser_factor(index)
        wahl = (4 * index - 1) / (4 * index - 4) + 0.615 / index
        assert 0.0 < wahl / factor - 1 < 0.0145
        diameter, force = index * WIRE, 284.3
        torsion = force * diameter / 2 * (WIRE / 2) / (math.pi * WIRE**4 / 32)
        assert springs.spring_stress(force, WIRE, diameter, 1.0) == pytest.approx(torsion, rel=1e-12)
        assert stresses.coil_stress(force, WIRE, diameter) == pytest.approx(factor * torsion, rel=1e-12)


def test_yield_by_a_spring_whose_load_was_published() -> None:
    """Shigley, 9th ed., example 10-1, recalled: a spring of music wire, 0.037 in by 7/16 in, yields at 6.46 lbf.

    The book rounds the coil to 0.400 in, hence half a per cent. Torsion by hand: 8 F D / (π d³) and the factor of the
    test above.
    """
    wire, coil, force = 0.037 * 0.0254, 0.400 * 0.0254, 6.46 * 4.4482216152605
    limit = stresses.spring_yield(*materials.wire_strength("music wire", wire), wire)
    stress = 8 * force * coil / (math.pi * wire**3) * 1.124
    assert limit == pytest.approx(stress, rel=5e-3)
    assert limit == pytest.approx(146e3 * 6894.757, rel=5e-3)
    assert stresses.coil_stress(force, wire, coil) == pytest.approx(stress, rel=5e-3)
    assert stresses.spring_yield_margin(limit, stresses.coil_stress(force, wire, coil)) == pytest.approx(
        0.0, abs=5e-3 * limit
    )
    half = stresses.coil_stress(force / 2, wire, coil)
    assert stresses.spring_yield_margin(limit, half) == pytest.approx(limit / 2, rel=5e-3)
    assert stresses.spring_safety(limit, half) == pytest.approx(2.0, rel=5e-3)


def test_what_is_left_of_a_wires_yield_by_wahl() -> None:
    """The yield less the stress by Wahl's factor, which is up to 1.45 % above the other."""
    index, force, limit = COIL / WIRE, 284.3, 824.6e6
    by_wahl = ((4 * index - 1) / (4 * index - 4) + 0.615 / index) * 8 * force * COIL / (math.pi * WIRE**3)
    left = stresses.spring_yield_margin(limit, stresses.coil_stress(force, WIRE, COIL))
    assert 0.0 < left - (limit - by_wahl) < 0.0145 * by_wahl


def test_surge_by_the_modes_of_a_chain_of_masses() -> None:
    rate = springs.spring_rate(G, WIRE, COIL, ACTIVE)
    mass = DENSITY * math.pi / 4 * WIRE**2 * math.pi * COIL * ACTIVE
    count = 400
    stiffness, each = rate * count, mass / count
    chain = (2 * np.eye(count - 1) - np.eye(count - 1, k=1) - np.eye(count - 1, k=-1)) * stiffness / each
    lowest = math.sqrt(np.linalg.eigvalsh(chain)[0]) / (2 * math.pi)
    assert springs.surge_frequency(rate, mass) == pytest.approx(lowest, rel=1e-5)
    # The norm's constant is rounded, 3560 for 3558.8.
    assert springs.surge_frequency_en(WIRE, COIL, ACTIVE, G, DENSITY) == pytest.approx(lowest, rel=4e-4)
    by_wire = valve_train.spring_surge(NAN, WIRE, COIL, NAN, ACTIVE + 2, G, DENSITY)
    assert by_wire == pytest.approx(lowest, rel=4e-4)
    by_rate = valve_train.spring_surge(rate, WIRE, COIL, NAN, ACTIVE + 2, NAN, DENSITY)
    assert by_rate == pytest.approx(lowest, rel=1e-5)
    stiffer = valve_train.spring_surge(1.21 * rate, WIRE, COIL, NAN, ACTIVE + 2, G, DENSITY)
    assert stiffer == pytest.approx(1.1 * lowest, rel=1e-5)  # a given rate goes before the wire


def test_closed_ends_coil_by_coil() -> None:
    """A closed spring laid out along its wire: one idle turn at each end rises by one wire, the others by the pitch."""
    active, free = 10.5, 0.0525
    pitch = springs.closed_pitch(free, WIRE, active)
    total = active + 2
    rise = float(mpmath.quad(lambda turn: pitch if 1 < turn < total - 1 else WIRE, [0, 1, total - 1, total]))
    assert rise + WIRE == pytest.approx(free, rel=1e-12)  # half a wire above and below the centreline
    assert springs.active_from_total(total) == active


def test_stable_length_from_elasticity() -> None:
    """(π D / α) √(2 (E − G) / (2 G + E)) with G = E / (2 (1 + ν)) and ν = 0.3 for steel."""
    shear = 1 / (2 * 1.3)
    general = math.pi * COIL / 0.5 * math.sqrt(2 * (1 - shear) / (2 * shear + 1))
    assert springs.stable_length(COIL, 0.5) == pytest.approx(general, rel=0.005)


# The valve and its cam.


def test_effective_mass_by_kinetic_energy() -> None:
    valve, spring, inertia, arm, side, ratio = 0.065, 0.0317, 8e-6, 0.032, 0.078, 1.5
    energy = (
        valve / 2
        + mpmath.quad(lambda x: spring * x**2 / 2, [0, 1])  # coils move in proportion to their place
        + inertia * (1 / mpmath.mpf(arm)) ** 2 / 2
        + side * (1 / mpmath.mpf(ratio)) ** 2 / 2
    )
    found = springs.effective_mass(valve, spring, inertia, arm, side, ratio)
    assert found == pytest.approx(float(2 * energy), rel=1e-12)
    rocker = float(valve_train.rocker_mass(inertia, arm))
    turning = mpmath.quad(lambda x: inertia * 3 * x**2 * (1 / mpmath.mpf(arm)) ** 2 / 2, [0, 1])  # a bar, bit by bit
    assert rocker == pytest.approx(float(2 * turning), rel=1e-12)
    whole = valve_train.mass_at_valve(valve + spring / 3, rocker, side, ratio)
    assert whole == pytest.approx(float(2 * energy), rel=1e-12)


def test_float_where_the_contact_force_first_comes_to_nothing() -> None:
    """The lowest speed, by bisection, at which spring and inertia balance somewhere; lift differentiated anew."""
    rate, free, installed, mass, ratio, lash = 17_074.7, 0.045, 0.038, 0.118, 1.5, 0.0001
    lobe = LobeCurve(0.0065, math.radians(150), 19.8807)
    angles = np.linspace(0.0, 2.6, 5201)
    lift = ratio * np.asarray(lobe.lift(angles)) - lash
    bend = np.gradient(np.gradient(lift, angles), angles)[2:-2]
    force = (rate * (free - installed + np.maximum(lift, 0.0)))[2:-2]

    def contact(omega: float) -> float:
        return float(np.min(force + mass * bend * omega**2))

    leaves = optimize.bisect(contact, 10.0, 3000.0)
    found, _ = springs.float_speed(rate, free, installed, mass, lobe, ratio, lash)
    assert found == pytest.approx(leaves, rel=1e-4)
    sheet = (0.0065, math.radians(300), 0.0, math.radians(242), 0.001)
    scanned = valve_train.float_speed_of(rate, free, installed, mass, *sheet, ratio, lash)
    assert scanned == pytest.approx(found, rel=1e-3)
    opened = float(force[0])
    at_nose = math.sqrt(opened / (mass * -float(bend[0])))
    assert springs.nose_float_speed(opened, mass, lobe, ratio) == pytest.approx(at_nose, rel=1e-3)


# Numbers.


def test_root_agrees_with_another() -> None:
    for target in np.linspace(-0.9, 0.9, 7):
        other = optimize.brentq(lambda x, t=target: math.sin(x) - t, -math.pi / 2, math.pi / 2, xtol=1e-14)
        assert root(lambda x, t=target: math.sin(x) - t, -math.pi / 2, math.pi / 2, 1e-13) == pytest.approx(other)


def test_a_rounded_reading_strays_by_its_step_over_root_twelve() -> None:
    """Standard deviation of what rounding takes off, as `measured_curve` assumes it."""
    variance = mpmath.quad(lambda x: x**2, [-0.5, 0, 0.5])
    assert float(mpmath.sqrt(variance)) == pytest.approx(1 / math.sqrt(12), rel=1e-12)


# Materials.

ELEMENTS = {"Al": 2.70, "Si": 2.33, "Mg": 1.74, "Cu": 8.96, "Ni": 8.91, "Fe": 7.87}
"""Densities of the elements, g/cm³."""
ALLOYS = {
    "aluminium 356": {"Si": 0.07, "Mg": 0.003},
    "aluminium 4032": {"Si": 0.122, "Mg": 0.010, "Cu": 0.009, "Ni": 0.009},
    "aluminium 2618": {"Cu": 0.023, "Mg": 0.016, "Fe": 0.011, "Ni": 0.010},
}
"""Shares by mass of the nominal alloys."""


@pytest.mark.parametrize("name", ALLOYS)
def test_densities_of_alloys_by_their_elements(name: str) -> None:
    shares = {"Al": 1 - sum(ALLOYS[name].values()), **ALLOYS[name]}
    mixed = 1 / sum(share / ELEMENTS[each] for each, share in shares.items())
    assert material(name).density / 1000 == pytest.approx(mixed, rel=0.01)


def test_4032_lies_between_the_bounds_of_a_mixture_of_aluminium_and_silicon() -> None:
    """Voigt, Reuss and Turner; aluminium has 69 GPa and 23.6e-6/K, silicon 163 GPa and 2.6e-6/K."""
    piston = material("4032")
    silicon = 0.122 / 2.33 / (0.122 / 2.33 + 0.878 / 2.70)
    voigt = 69 * (1 - silicon) + 163 * silicon
    reuss = 1 / ((1 - silicon) / 69 + silicon / 163)
    assert reuss < piston.elasticity / 1e9 < voigt
    bulk = (76 * (1 - silicon), 98 * silicon)
    turner = (23.6 * bulk[0] + 2.6 * bulk[1]) / sum(bulk)
    assert piston.expansion * 1e6 == pytest.approx(turner, rel=0.04)


def test_2618_is_near_2024_that_was_seen() -> None:
    """Both are aluminium with some copper and magnesium; Callister's tables hold 2024."""
    piston, seen = material("2618"), material("2024")
    for name in ("elasticity", "expansion", "density"):
        assert getattr(piston, name) == pytest.approx(getattr(seen, name), rel=0.03)


def test_spring_wires_are_steels() -> None:
    """Density as of the steels in Callister; G within 5 % of E / (2 (1 + ν)) of a steel with 207 GPa and ν = 0.3."""
    steel = material("steel")
    wires = [each for each in MATERIALS if each.shear_by_wire or not math.isnan(each.shear_modulus)]
    assert len(wires) == 6
    for wire in wires:
        name = wire.name
        assert wire.density == steel.density
        shear = materials.shear_modulus(name, 0.003)
        assert shear == pytest.approx(steel.elasticity / (2 * 1.3), rel=0.05)


def test_a_limit_of_wire_size_that_is_wrong_moves_the_rate_by_little() -> None:
    """The moduli were seen, the sizes between them were not; Shigley's example 10-1 has 0.037 in on 11.85 Mpsi."""
    moduli = [each for _, each in material("music wire").shear_by_wire]
    assert all(abs(high / low - 1) < 0.013 for high, low in pairwise(moduli))
    drawn = [each for _, each in material("hard drawn wire").shear_by_wire]
    assert all(abs(high / low - 1) < 0.009 for high, low in pairwise(drawn))
    assert materials.shear_modulus("music wire", 0.037 * 0.0254) == pytest.approx(11.85e6 * 6894.757, rel=2e-3)


def test_wire_yields_in_torsion_where_distortion_energy_says() -> None:
    """Spring wire yields in tension at 60 to 90 % of its strength (Shigley, 9th ed., §10-2, recalled).

    Energy of distortion by the deviator of the stress tensor, in tension and in torsion.
    """

    def distortion(tensor: list[list[float]]) -> float:
        stress = np.array(tensor)
        deviator = stress - np.trace(stress) / 3 * np.eye(3)
        return float(np.sum(deviator**2))

    tension = distortion([[1, 0, 0], [0, 0, 0], [0, 0, 0]])
    torsion = distortion([[0, 1, 0], [1, 0, 0], [0, 0, 0]])
    over_tension = math.sqrt(tension / torsion)
    wires = [each.wire for each in MATERIALS if each.wire is not None]
    assert len(wires) == 5
    for wire in wires:
        assert 0.60 * over_tension < wire.share < 0.90 * over_tension


def test_moduli_of_spring_wire_are_the_same_in_both_unit_systems() -> None:
    """Shigley, 9th ed., table 10-5, in Mpsi, recalled; the gigapascals beside them are rounded to 0.1."""
    english = {"hard drawn wire": (11.7, 11.6, 11.5, 11.4), "music wire": (12.0, 11.85, 11.75, 11.6)}
    for name, each in english.items():
        found = [modulus / 1e9 for _, modulus in material(name).shear_by_wire]
        assert found == pytest.approx([value * 6.894757 for value in each], abs=0.06)
    assert material("oil tempered wire").shear_modulus / 1e9 == pytest.approx(11.2 * 6.894757, abs=0.06)


# Every source that is recalled says what confirms it, and that is there.


def is_there(test: str) -> bool:
    """Whether a test file, or a test in it, exists: ``tests/test_x.py::test_y``."""
    file, _, name = test.partition("::")
    path = ROOT / file
    if not path.is_file():
        return False
    functions = {each.name for each in ast.parse(path.read_text(encoding="utf-8")).body if hasattr(each, "name")}
    return not name or name in functions


def named_tests(text: str) -> list[str]:
    return re.findall(r"tests/\w+\.py(?:::\w+)?", text)


def docstrings() -> Iterator[tuple[str, str]]:
    """Name and docstring of everything that is written in the solver, private names too."""
    for found in pkgutil.walk_packages(kitwright.solver.__path__, "kitwright.solver."):
        module = importlib.import_module(found.name)
        tree = ast.parse(inspect.getsource(module))
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                yield node.name, " ".join((ast.get_docstring(node) or "").split())


@pytest.mark.parametrize("name", FIGURES)
def test_a_recalled_source_of_a_figure_names_what_confirms_it(name: str) -> None:
    figure = FIGURES[name]
    assert "memory" not in figure.source
    if RECALLED in figure.source:
        (test,) = named_tests(confirmation(name, figure.function.__name__, figure.source))
        assert is_there(test), test
    else:
        assert not confirmation(name, figure.function.__name__, figure.source)


def test_a_recalled_source_in_a_docstring_is_recomputed() -> None:
    recalled = {name for name, text in docstrings() if f"({RECALLED}, recomputed)" in text}
    assert len(recalled) > 40
    assert recalled - CONFIRMED.keys() == set()
    for name, text in docstrings():
        assert "from memory" not in text, name
        assert name == "confirmation" or text.count(f"({RECALLED}") == text.count(f"({RECALLED}, recomputed)"), name


def test_what_confirms_is_there_and_calls_what_it_confirms() -> None:
    for name, (how, test) in CONFIRMED.items():
        assert is_there(test), test
        assert len(how) > 10
        if name != "_irreducible":
            assert re.search(rf"\b{name}\b", (ROOT / test.partition("::")[0]).read_text(encoding="utf-8")), name


def test_a_test_that_is_not_there_is_seen() -> None:
    assert is_there("tests/test_recalled.py::test_root_agrees_with_another")
    assert not is_there("tests/test_recalled.py::test_nothing_of_the_kind")
    assert not is_there("tests/test_none.py")


@pytest.mark.parametrize("each", MATERIALS, ids=lambda each: each.name)
def test_a_recalled_value_of_a_material_names_what_confirms_it(each: materials.Material) -> None:
    assert "memory" not in each.source
    tests = named_tests(each.source)
    assert bool(tests) == (RECALLED in each.source)
    assert all(map(is_there, tests))


def test_a_recalled_source_of_a_usual_range_names_what_confirms_it() -> None:
    for ranges in default_advice().values():
        for each in ranges:
            for text in (each.source, each.basis):
                assert "memory" not in text
                assert RECALLED not in text or named_tests(text), text
                assert all(map(is_there, named_tests(text)))


def test_nobody_is_told_that_something_is_from_memory() -> None:
    pages = [*ROOT.glob("*.md"), *(ROOT / "examples").rglob("*.md"), ROOT / "catalogs" / "FORMAT.md"]
    code = [path for layer in ("solver", "catalogs", "cli") for path in (ROOT / layer).rglob("*.py")]
    code += (ROOT / "catalogs").glob("*.yaml")
    assert len(pages) > 3 and len(code) > 100
    for path in (*pages, *code):
        assert "from memory" not in " ".join(path.read_text(encoding="utf-8").split()), path
    assert "from memory" not in figures_page() and "| confirmed by | " in figures_page()


def test_the_page_of_figures_has_every_material_with_its_source() -> None:
    page = figures_page()
    for each in MATERIALS:
        assert f"| {each.name} | {', '.join(each.aliases)} |" in page
        assert each.source in page
    assert "| 90 to 113 |" in page and "| 82.7 to 80 |" in page and "| 207 | 7.85 | 12.3 |" in page
