"""Gas load on the rod at peak pressure: net compression, buckling of the shank, pressure in the big end."""

from __future__ import annotations

from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.gas import air_pressure
from kitwright.solver.registry import figure

RISE, EXPONENT = 3.3, 1.3
"""What burning makes of the pressure, and the exponent of compression, of the estimated peak pressure."""

_GAS = "definition; Heywood, Internal Combustion Engine Fundamentals, chs. 2 and 9 (recalled)"
_COLUMN = "Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled)"
_BEARING = "projected area: Shigley's Mechanical Engineering Design, 9th ed., ch. 12 (recalled)"


def column_load(area: float, gyration: float, length: float, elasticity: float, strength: float) -> float:
    """Load at which a pinned column buckles, in N: Johnson's parabola for a stout one, Euler's curve for a slender one.

    With λ = l / k: A (S − (S λ / 2π)² / E) up to λ₁ = √(2 π² E / S), above π² E A / λ².

    Args:
        area: A of the section, m².
        gyration: k, least radius of gyration of the section, m.
        length: l between the pins, m.
        elasticity: E, Young's modulus, Pa.
        strength: S, yield strength in compression, Pa.

    Valid for a straight shank of one section, loaded through its centre, free to turn at both ends (across the pins the
    ends hold it, so that there it stands more).

    Source: Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled, recomputed).

    >>> round(float(column_load(95e-6, 0.005, 0.1105, 207e9, 655e6)) / 1000, 2)
    59.79

    """
    slender = length / gyration
    johnson = strength - (strength * slender / (2 * np.pi)) ** 2 / elasticity
    euler = np.pi**2 * elasticity / slender**2
    stress = where(slender <= np.sqrt(2 * np.pi**2 * elasticity / strength), johnson, euler)
    load: float = area * stress
    return load


@figure(
    "gas_load",
    unit="N",
    group="at speed",
    meaning="gas load on the piston at the plan's peak pressure",
    formula="peak pressure × π / 4 × bore²; the crankcase's pressure is not taken off",
    source=_GAS,
    inputs=("conditions.peak_pressure", "block.bore"),
)
def gas_load(pressure: float, bore: float) -> float:
    """Gas load on the piston, p (π/4) b², in N; absolute pressure in Pa, bore in m.

    The crankcase's pressure, which is near the air's, would take some 2 % off. Source: definition; Heywood, Internal
    Combustion Engine Fundamentals, chs. 2 and 9 (recalled, recomputed).

    >>> round(gas_load(5.8e6, 0.068))
    21064
    """
    return pressure * np.pi / 4 * bore**2


@figure(
    "rod_net_compression",
    unit="N",
    group="at speed",
    meaning="compression of the rod at firing top dead centre: gas load less inertia load at the rev ceiling",
    formula="gas load − rod load",
    source=_GAS + "; Newton",
    inputs=("gas_load", "rod_load"),
)
def rod_net_compression(gas: float, inertia: float) -> float:
    """Compression of the rod at firing top dead centre, p A − m a, in N; gas and inertia load in N.

    At the rev ceiling inertia takes off most; at low speed and full throttle the rod has to carry the gas load alone.
    Source: definition; Heywood, Internal Combustion Engine Fundamentals, chs. 2 and 9 (recalled, recomputed); Newton's
    second law.

    >>> round(rod_net_compression(21064.0, 3040.0))
    18024
    """
    return gas - inertia


figure(
    "rod_buckling_load",
    unit="N",
    group="at speed",
    meaning="load at which the rod's shank buckles about the pins",
    formula="λ = rod length / radius of gyration: shank area × (S − (S λ / 2π)² / E) up to λ = √(2 π² E / S), "
    "above shank area × π² E / λ²; S yield strength, E elasticity",
    source=_COLUMN,
    inputs=("rod.shank_area", "rod.radius_of_gyration", "rod.length", "rod.elasticity", "rod.yield_strength"),
)(column_load)


@figure(
    "rod_buckling_margin",
    unit="N",
    group="at speed",
    meaning="load at which the rod's shank buckles less the gas load, which it carries alone at low speed",
    formula="buckling load − gas load",
    source=_COLUMN + "; " + _GAS,
    inputs=("rod_buckling_load", "gas_load"),
)
def rod_buckling_margin(limit: float, gas: float) -> float:
    """Buckling load less gas load, in N; both in N. The inertia that helps at speed is not counted on.

    Source: definition; that of :func:`column_load`.

    >>> round(rod_buckling_margin(59789.0, 21064.0))
    38725
    """
    return limit - gas


@figure(
    "big_end_pressure",
    unit="MPa",
    group="at speed",
    meaning="greatest mean pressure in the big end's bearing: of gas load, or of inertia load at the rev ceiling",
    formula="max(gas load, rod load) / (journal × rod width)",
    source=_BEARING,
    inputs=("gas_load", "rod_load", "crank.journal", "rod.width"),
    step=0.5,
)
def big_end_pressure(gas: float, inertia: float, journal: float, width: float) -> float:
    """Mean pressure of the greater load on the bearing's projected area, F / (d w), in Pa; loads in N, sizes in m.

    Full throttle at low speed brings the whole gas load. The rod's big end itself is left out of the inertia load.
    Source: projected area, Shigley's Mechanical Engineering Design, 9th ed., ch. 12 (recalled, recomputed).

    >>> round(float(big_end_pressure(21064.0, 3040.0, 0.036, 0.024)) / 1e6, 2)
    24.38
    """
    return np.maximum(gas, inertia) / (journal * width)  # type: ignore[no-any-return]


@figure(
    "peak_pressure_estimate",
    unit="kPa",
    group="at speed",
    meaning="estimate of the peak pressure, for where the plan gives none: it is no limit and no proof",
    formula=f"air's pressure × compression^{EXPONENT} × {RISE}",
    source="estimate, common practice, no source: full throttle, petrol, burnt in some 50 to 60 degrees at the best "
    "time; a cycle computed with that burning lies within a quarter of it",
    inputs=("compression", "conditions.altitude"),
    public=False,
)
def peak_pressure_estimate(ratio: Any, altitude: Any) -> Any:
    """Estimated peak pressure, p₀ rⁿ × 3.3 with n = 1.3, in Pa; compression r without unit, altitude in m.

    Full throttle on petrol, burnt in some 50 to 60 degrees at the best time. A slow burn, a late spark or a throttle
    gives far less, knock more. Source: estimate, common practice, no source.

    >>> round(float(peak_pressure_estimate(9.0, 0.0)) / 1e6, 2)
    5.82
    """
    return air_pressure(altitude) * ratio**EXPONENT * RISE
