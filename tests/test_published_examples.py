"""Examples with published numbers. `Recalled, from memory`: the page itself was not at hand."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from kitwright.solver.formulas import loads, materials, springs, stack

INCH, POUND = 0.0254, 4.4482216152605
PSI = POUND / INCH**2
NAN = float("nan")

# Shigley's Mechanical Engineering Design, 9th ed., example 10-1; inputs and answers recalled, from memory.
# The book rounds the mean diameter to 0.400 in, hence half a per cent of room.
SHIGLEY_10_1 = {
    "C": 10.8,
    "K_B": 1.124,
    "F_lbf": 6.46,
    "k_lbf_in": 4.13,
    "y_in": 1.56,
    "Ls_in": 0.500,
    "L0_in": 2.06,
    "critical_in": 2.10,
    "pitch_in": 0.186,
}


def test_shigley_10_1_spring() -> None:
    wire, outer, total, shear = 0.037 * INCH, 7 / 16 * INCH, 12.5, 11.85e6 * PSI
    coil = outer - wire
    index = springs.spring_index(wire, coil)
    factor = springs.bergstraesser_factor(index)
    # Squared ends: two coils are idle, and the book counts one wire more at solid than a ground spring has.
    rate = springs.spring_rate(shear, wire, coil, springs.active_from_total(total))
    strength = 0.45 * 201e3 / 0.037**0.145 * PSI  # static torsion, Ssy = 0.45 A / d^m
    force = strength / springs.spring_stress(1.0, wire, coil, factor)
    solid = springs.solid_height(wire, total + 1)
    found = {
        "C": index,
        "K_B": factor,
        "F_lbf": force / POUND,
        "k_lbf_in": rate / POUND * INCH,
        "y_in": force / rate / INCH,
        "Ls_in": solid / INCH,
        "L0_in": (solid + force / rate) / INCH,
        "critical_in": springs.stable_length(coil, 0.5) / INCH,
        "pitch_in": springs.closed_pitch(solid + force / rate, wire, springs.active_from_total(total)) / INCH,
    }
    for name, value in SHIGLEY_10_1.items():
        assert found[name] == pytest.approx(value, rel=5e-3), name
    # Digits by two independent programs, without the book's rounding.
    assert found["k_lbf_in"] == pytest.approx(4.11565, rel=1e-5)
    assert rate == pytest.approx(720.761, rel=1e-5)
    assert found["F_lbf"] == pytest.approx(6.44593, rel=1e-5)
    assert found["L0_in"] == pytest.approx(2.06570, rel=1e-5)
    assert found["critical_in"] == pytest.approx(2.10663, rel=1e-5)
    assert found["pitch_in"] == pytest.approx(0.186162, rel=1e-5)
    assert springs.wahl_factor(index) == pytest.approx(1.13316, rel=1e-5)


def test_shigley_10_4_spring_surge() -> None:
    """Shigley, 9th ed., example 10-4; recalled, from memory; g is 386 in/s²."""
    wire, outer, active, shear = 0.092 * INCH, 9 / 16 * INCH, 21, 11.75e6 * PSI
    coil = outer - wire
    density = 0.284 * POUND / INCH**3 / (386 * INCH)
    rate, mass = (
        springs.spring_rate(shear, wire, coil, active),
        springs.wire_mass(wire, coil, active, density),
    )
    index = springs.spring_index(wire, coil)
    surge = springs.surge_frequency(rate, mass)
    published = {"C": 5.11, "K_B": 1.287, "k": 48.1, "W": 0.0586, "f": 281}
    found = {
        "C": index,
        "K_B": springs.bergstraesser_factor(index),
        "k": rate / POUND * INCH,
        "W": mass * 386 * INCH / POUND,
        "f": surge,
    }
    for name, value in published.items():
        assert found[name] == pytest.approx(value, rel=2e-3), name
    assert surge == pytest.approx(281.454, rel=1e-5)
    # The closed form of the same frequency.
    closed = wire / (2 * np.pi * coil**2 * active) * np.sqrt(shear / (2 * density))
    assert surge == pytest.approx(closed, rel=1e-12)
    # The norm's rounded constant, 3560, stands for 3558.81.
    norm = springs.surge_frequency_en(wire, coil, active, shear, density)
    assert norm / surge == pytest.approx(3560 / 3558.81, rel=1e-6)


# Shigley, 9th ed., example 1-7 (recalled, from memory): a gap of 1.750 − 0.750 − 0.120 − 0.875 in.
GAP: tuple[tuple[float, float], ...] = ((1.750, 0.003), (0.750, 0.001), (0.120, 0.005), (0.875, 0.001))


def gap(block: Any, throw: Any, rod: Any, crown: Any) -> Any:
    """The example's gap has the shape of a deck: block height − throw − rod − compression height."""
    return stack.deck(block, 2 * throw, rod, crown, 0.0, 0.0, 0.0, NAN)


def test_shigley_1_7_gap_at_its_corners() -> None:
    corners = [
        gap(*(mean + sign * tol for (mean, tol), sign in zip(GAP, signs, strict=True)))
        for signs in product((-1, 1), repeat=4)
    ]
    assert gap(*(mean for mean, _ in GAP)) == pytest.approx(0.005, abs=1e-12)
    assert (min(corners), max(corners)) == pytest.approx((-0.005, 0.015), abs=1e-12)


def test_shigley_1_7_gap_by_root_sum_square() -> None:
    package = pytest.importorskip("uncertainties")
    spread = package.wrap(gap)(*(package.ufloat(mean, tol) for mean, tol in GAP))
    assert spread.nominal_value == pytest.approx(0.005, abs=1e-12)
    assert spread.std_dev == pytest.approx(0.006, rel=1e-6)


def layers(half_widths: list[float]) -> Any:
    random = np.random.default_rng(20)
    return [random.uniform(-half, half, 1_000_000) for half in half_widths]


def test_jcgm_101_four_equal_rectangular_layers() -> None:
    """JCGM 101 §9.2.3, four of unit variance: ±3.88 at 95 % (from memory); exactly 3.87941."""
    total = stack.gasket_stack(layers([np.sqrt(3.0)] * 4))
    low, high = np.quantile(total, [0.025, 0.975])
    assert (-low + high) / 2 == pytest.approx(3.87941, rel=3e-3)
    assert np.std(total) == pytest.approx(2.0, rel=3e-3)


def test_jcgm_101_one_dominant_rectangular_layer() -> None:
    """JCGM 101 §9.2.4, one ten times as wide: ±17.0, by root sum square ±19.9 (from memory)."""
    total = stack.gasket_stack(layers([np.sqrt(3.0)] * 3 + [10 * np.sqrt(3.0)]))
    low, high = np.quantile(total, [0.025, 0.975])
    assert (-low + high) / 2 == pytest.approx(17.0158, rel=3e-3)
    assert 1.96 * np.sqrt(3 + 100) == pytest.approx(19.8918, rel=1e-5)
    assert 1.96 * np.std(total) == pytest.approx(19.8918, rel=3e-3)


@pytest.mark.parametrize(("name", "millimetres"), [("aluminium 356", 0.215), ("grey iron", 0.114), ("4340", 0.123)])
def test_growth_of_a_decimetre_over_a_hundred_kelvin(name: str, millimetres: float) -> None:
    """Callister, Materials Science and Engineering, app. B.6."""
    growth = loads.thermal_growth(0.100, materials.material(name).expansion, 100.0)
    assert growth * 1e3 == pytest.approx(millimetres, rel=1e-9)


@pytest.mark.parametrize(("wire_mm", "pascals"), [(0.8, 82.7e9), (1.5, 81.7e9), (3.0, 81.0e9), (4.0, 80.0e9)])
def test_music_wire_by_size(wire_mm: float, pascals: float) -> None:
    """Shigley, 9th ed., table 10-5; the limits between sizes (0.032, 0.063, 0.125 in) from memory."""
    assert materials.shear_modulus("Music-Wire", wire_mm / 1e3) == pascals


def test_shear_modulus_takes_arrays_and_keeps_the_unknown() -> None:
    wires: Any = np.array([0.0008, np.nan, 0.004])
    found: Any = materials.shear_modulus("music wire", wires)
    np.testing.assert_array_equal(found, [82.7e9, np.nan, 80.0e9])
    assert np.isnan(materials.shear_modulus("steel", 0.003))


def test_every_material_has_a_source_and_its_own_names() -> None:
    names = [name.casefold() for each in materials.MATERIALS for name in (each.name, *each.aliases)]
    assert len(names) == len(set(names))
    for each in materials.MATERIALS:
        assert each.source
        assert 2000 < each.density < 9000
        spring = each.shear_by_wire or not np.isnan(each.shear_modulus)
        assert spring or (50e9 < each.elasticity < 220e9 and 10e-6 < each.expansion < 25e-6)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("alumnium", "aluminium 6061"), ("chrome silicn", "chrome silicon"), ("stel", "steel 4340")],
)
def test_a_misspelt_material_is_suggested(written: str, meant: str) -> None:
    with pytest.raises(materials.UnknownMaterialError) as raised:
        materials.material(written)
    assert written in raised.value.problem
    assert meant in raised.value.suggestion


def test_a_name_near_to_nothing_gets_the_whole_list() -> None:
    with pytest.raises(materials.UnknownMaterialError) as raised:
        materials.material("qqqq")
    assert all(each.name in raised.value.suggestion for each in materials.MATERIALS)
