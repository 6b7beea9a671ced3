"""Motion and loads at the rev ceiling, balance, and the lowest of all speed limits."""

from __future__ import annotations

import numpy as np

from kitwright.solver.formulas import balance, kinematics, loads
from kitwright.solver.registry import figure

_CRANK = ("crank.stroke", "rod.length", "piston.pin_offset", "plan.rev_ceiling")
_SLIDER = "Heywood, Internal Combustion Engine Fundamentals, eqs. 2.4 to 2.11 (from memory); exact slider-crank"

figure(
    "peak_piston_speed",
    unit="m_s",
    group="at speed",
    meaning="greatest piston speed at the rev ceiling",
    formula="greatest |ds/dθ| × crank speed over a turn of the exact slider-crank",
    source=_SLIDER,
    inputs=_CRANK,
)(kinematics.peak_piston_speed)

figure(
    "peak_piston_acceleration",
    unit="m_s2",
    group="at speed",
    meaning="greatest piston acceleration at the rev ceiling",
    formula="throw × ω² × (1 + throw / rod) at top dead centre without pin offset; the exact slider-crank with one",
    source=_SLIDER,
    inputs=_CRANK,
)(kinematics.peak_piston_acceleration)

figure(
    "top_acceleration",
    unit="m_s2",
    group="at speed",
    meaning="piston acceleration at top dead centre, at the rev ceiling",
    formula="throw × ω² × (1 + throw / rod) without pin offset; the exact slider-crank with one",
    source=_SLIDER,
    inputs=_CRANK,
    public=False,
)(kinematics.top_acceleration)

figure(
    "reciprocating_mass",
    unit="g",
    group="balance",
    meaning="mass that goes up and down",
    formula="piston with pin, rings and clips + small end of the rod",
    source="two-mass rod: Norton, Design of Machinery (from memory)",
    inputs=("piston.mass", "rod.small_end_mass"),
)(loads.reciprocating_mass)


@figure(
    "rotating_mass",
    unit="g",
    group="balance",
    meaning="mass that goes round with the crank pin, the pin's own left out",
    formula="big end of the rod",
    source="two-mass rod: Norton, Design of Machinery (from memory)",
    inputs=("rod.big_end_mass",),
)
def rotating_mass(big_end: float) -> float:
    """Mass of the rod's big end with bolts and bearing, in kg, taken to go round with the crank pin.

    Valid for the rod taken as two masses at its ends. Source: Norton, Design of Machinery (from memory).

    >>> rotating_mass(0.210)
    0.21
    """
    return big_end


figure(
    "rod_load",
    unit="N",
    group="at speed",
    meaning="inertia load on the rod at top dead centre, at the rev ceiling",
    formula="reciprocating mass × acceleration at top dead centre",
    source="Newton; two-mass rod: Norton, Design of Machinery (from memory)",
    inputs=("reciprocating_mass", "top_acceleration"),
)(loads.inertia_load)

figure(
    "rod_stress",
    unit="MPa",
    group="at speed",
    meaning="mean tension of the rod's shank under its inertia load; fillets and bolts stand more",
    formula="rod load / shank area",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 3 (from memory)",
    inputs=("rod_load", "rod.shank_area"),
    step=1.0,
)(loads.rod_stress)

figure(
    "rod_stretch",
    unit="mm",
    group="at speed",
    meaning="elastic stretch of the rod under its inertia load",
    formula="load × rod length / (shank area × elasticity)",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (from memory)",
    inputs=("rod_load", "rod.length", "rod.shank_area", "rod.elasticity"),
    step=0.005,
)(loads.rod_stretch)


@figure(
    "quench_at_speed",
    unit="mm",
    group="at speed",
    meaning="quench less the rod's stretch at the rev ceiling; heat and bearing play take more",
    formula="quench − rod stretch",
    source="geometry; Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (from memory)",
    inputs=("quench", "rod_stretch"),
    step=0.02,
    shape="additive",
)
def quench_at_speed(quench: float, stretch: float) -> float:
    """Quench less the rod's elastic stretch, in metres; both in m. Source: geometry.

    >>> round(1000 * quench_at_speed(0.001, 0.0000591042), 6)
    0.940896
    """
    return quench - stretch


figure(
    "rod_load_limit",
    unit="rpm",
    group="at speed",
    meaning="speed at which the inertia load reaches the rod's load limit",
    formula="√(load limit / (reciprocating mass × acceleration at top dead centre per ω²))",
    source="Newton; two-mass rod: Norton, Design of Machinery (from memory)",
    inputs=("rod.max_load", "reciprocating_mass", "crank.stroke", "rod.length", "piston.pin_offset"),
    public=False,
)(loads.speed_at_load)

figure(
    "balance_factor",
    unit="",
    group="balance",
    meaning="share of the reciprocating mass that the counterweight balances; one cylinder a throw",
    formula="(counterweight moment / throw − rotating mass) / reciprocating mass",
    source="Norton, Design of Machinery, engine dynamics (from memory)",
    inputs=("crank.counterweight_moment", "crank.stroke", "rotating_mass", "reciprocating_mass"),
    step=0.01,
)(balance.balance_factor)

figure(
    "counterweight_wanted",
    unit="g_mm",
    group="balance",
    meaning="counterweight moment that would keep the balance factor of the plan's reference",
    formula="throw × (rotating mass + reference balance factor × reciprocating mass)",
    source="Norton, Design of Machinery, engine dynamics (from memory)",
    inputs=("crank.stroke", "rotating_mass", "reciprocating_mass", "reference.balance_factor"),
)(balance.counterweight_moment)


RATED = ("crank", "rod", "cam", "spring", "flywheel")
"""Kinds whose rating a rev ceiling has to be proved by."""


def rated_speed(rating: float) -> float:
    """A part's own speed limit, in rad/s; NaN where it has none. Source: definition, the limit is the maker's.

    >>> rated_speed(700.0)
    700.0
    """
    return rating


for _kind in RATED:
    figure(
        f"{_kind}_rating",
        unit="rpm",
        group="at speed",
        meaning=f"speed limit of the {_kind}",
        formula="the maker's",
        source="definition; the limit is the maker's",
        inputs=(f"{_kind}.max_rpm?",),
        public=False,
    )(rated_speed)


@figure(
    "rev_limit",
    unit="rpm",
    group="at speed",
    meaning="the lowest of all ratings and computed limits; parts without a rating prove nothing",
    formula="min of the ratings of crank, rod, cam, spring, flywheel, of the rod's load and of valve float, as known",
    source="definition; the ratings are the makers'",
    inputs=(*(f"{kind}_rating?" for kind in RATED), "rod_load_limit?", "float_speed?"),
    extreme="min",
    bound_without=tuple(f"{kind}.max_rpm" for kind in RATED),
)
def rev_limit(
    crank: float, rod: float, cam: float, spring: float, flywheel: float, rod_load: float, float_speed: float
) -> float:
    """Lowest known speed limit, in rad/s, of limits in rad/s (NaN where unknown); NaN where none is known.

    Source: definition.

    >>> nan = float("nan")
    >>> float(rev_limit(700.0, nan, nan, 650.0, nan, nan, 690.0))
    650.0
    """
    ratings = np.fmin(np.fmin(np.fmin(crank, rod), np.fmin(cam, spring)), flywheel)
    lowest: float = np.fmin(ratings, np.fmin(rod_load, float_speed))
    return lowest
