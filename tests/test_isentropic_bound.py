"""Cranking pressure against air that is compressed without leak or heat loss, by two libraries: a bound from outside.

Çengel and Boles, Thermodynamics, the Otto cycle's example: 8 : 1 from 100 kPa and 290 K gives 652.4 K and 1799.7 kPa
(the problem as printed; its answers from memory).
"""

from __future__ import annotations

import math

import pytest

from kitwright.solver.formulas import gas
from kitwright.solver.plan import Conditions

DRY_AIR = "O2:0.2095, N2:0.7809, AR:0.0093"
BEFORE = (290.0, 100e3)
RATIOS = (5.0, 6.5, 8.0, 9.5, 11.0, 13.0)


def by_cantera(ratio: float) -> tuple[float, float]:
    """Temperature and pressure after isentropic compression of an ideal gas whose heats grow with temperature."""
    import cantera  # each process of the tests reads this file; these libraries take seconds

    air = cantera.Solution("air.yaml")
    air.TPX = *BEFORE, DRY_AIR
    air.SV = air.s, air.v / ratio
    return air.T, air.P


def by_coolprop(ratio: float) -> tuple[float, float]:
    """Temperature and pressure after isentropic compression of a real gas."""
    from CoolProp.CoolProp import PropsSI

    temperature, pressure = BEFORE
    start = {name: PropsSI(name, "T", temperature, "P", pressure, "Air") for name in ("S", "D")}
    after = ("S", start["S"], "D", ratio * start["D"], "Air")
    return PropsSI("T", *after), PropsSI("P", *after)


def test_the_libraries_know_the_text_books_cycle() -> None:
    """Digits by the libraries themselves, which the project does not contain; the book is within 0.1 %."""
    assert by_cantera(8.0) == pytest.approx((651.800, 1798.07e3), rel=1e-4)
    assert by_coolprop(8.0) == pytest.approx((654.880, 1819.54e3), rel=1e-4)
    assert by_cantera(8.0) == pytest.approx((652.4, 1799.7e3), rel=1e-3)


def test_constant_heats_give_the_air_standard_pressure() -> None:
    """p r^1.4 at 8 : 1: 1837.92 kPa, above both libraries, whose air takes up more heat as it warms."""
    pressure = gas.cranking_pressure(BEFORE[1], 8.0, gas.ADIABATIC)
    assert pressure == pytest.approx(1837.92e3, rel=1e-5)
    assert by_cantera(8.0)[1] < by_coolprop(8.0)[1] < pressure < 1.025 * by_cantera(8.0)[1]


@pytest.mark.parametrize("ratio", RATIOS)
def test_cranking_stays_below_the_bound(ratio: float) -> None:
    """With the plan's own exponent and with the highest usual one; constant heats pass it by a few per cent."""
    bounds = by_cantera(ratio)[1], by_coolprop(ratio)[1]
    for exponent in (Conditions().polytropic, 1.2, 1.3):
        assert gas.cranking_pressure(BEFORE[1], ratio, exponent) < 0.96 * min(bounds)
    assert max(bounds) < gas.cranking_pressure(BEFORE[1], ratio, gas.ADIABATIC) < 1.05 * min(bounds)


@pytest.mark.parametrize("ratio", RATIOS)
def test_the_bounds_own_exponent_brings_the_bound(ratio: float) -> None:
    """The exponent that a library's pressures imply lies just below 1.4 and gives that pressure back."""
    for _, pressure in (by_cantera(ratio), by_coolprop(ratio)):
        exponent = math.log(pressure / BEFORE[1]) / math.log(ratio)
        assert 1.38 < exponent < 1.4
        assert gas.cranking_pressure(BEFORE[1], ratio, exponent) == pytest.approx(pressure, rel=1e-12)
