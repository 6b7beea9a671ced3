"""Motion and loads at the rev ceiling, balance, and the lowest of all speed limits."""

from __future__ import annotations

from typing import Any

import numpy as np

from kitwright.solver.formulas import balance, kinematics, loads
from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.loads import thermal_growth
from kitwright.solver.registry import figure

_CRANK = ("crank.stroke", "rod.length", "piston.pin_offset", "plan.rev_ceiling")
_SLIDER = "Heywood, Internal Combustion Engine Fundamentals, eqs. 2.4 to 2.11 (recalled); exact slider-crank"

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
    source="two-mass rod: Norton, Design of Machinery (recalled)",
    inputs=("piston.mass", "rod.small_end_mass"),
)(loads.reciprocating_mass)


@figure(
    "rotating_mass",
    unit="g",
    group="balance",
    meaning="mass that goes round with the crank pin, the pin's own left out",
    formula="big end of the rod",
    source="two-mass rod: Norton, Design of Machinery (recalled)",
    inputs=("rod.big_end_mass",),
)
def rotating_mass(big_end: float) -> float:
    """Mass of the rod's big end with bolts and bearing, in kg, taken to go round with the crank pin.

    Valid for the rod taken as two masses at its ends. Source: Norton, Design of Machinery (recalled, recomputed).

    >>> rotating_mass(0.210)
    0.21
    """
    return big_end


figure(
    "rod_load",
    unit="N",
    group="at speed",
    meaning="inertia load on the rod at top dead centre, at the rev ceiling; gas load comes from the other side",
    formula="reciprocating mass × acceleration at top dead centre",
    source="Newton; two-mass rod: Norton, Design of Machinery (recalled)",
    inputs=("reciprocating_mass", "top_acceleration"),
)(loads.inertia_load)

figure(
    "rod_stress",
    unit="MPa",
    group="at speed",
    meaning="mean tension of the rod's shank under its inertia load alone, without gas; fillets and bolts stand more",
    formula="rod load / shank area",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 3 (recalled)",
    inputs=("rod_load", "rod.shank_area"),
    step=1.0,
)(loads.rod_stress)

figure(
    "rod_stretch",
    unit="mm",
    group="at speed",
    meaning="elastic stretch of the rod under its inertia load",
    formula="load × rod length / (shank area × elasticity)",
    source="Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled)",
    inputs=("rod_load", "rod.length", "rod.shank_area", "rod.elasticity"),
    step=0.005,
)(loads.rod_stretch)


_HEAT = (
    "Callister, Materials Science and Engineering, app. B.6 (expansion); measured at 20 °C: common practice, no source"
)

MEASURED_AT = 293.15
"""Temperature at which dimensions hold, K."""


def _growth(length: Any, expansion: Any, temperature: Any) -> Any:
    """Growth of a length, m; 0 where no temperature is given, NaN where the expansion then is not known."""
    grown = thermal_growth(length, expansion, temperature - MEASURED_AT)
    return where(np.isnan(temperature), 0.0, grown)


def barrel_growth(
    height: float, foot: float, expansion: float, whole_at: float, own_at: float, case_at: float
) -> float:
    """How much the barrel (or the block as one) grows with heat and moves the head away, α L ΔT, in metres.

    Block height and barrel foot in m, expansion in 1/K, temperatures in K of the block as a whole, of the barrel and of
    the case; NaN for what is not given. With a case's temperature the barrel is what stands above its foot. 0 without a
    temperature. Source: Callister, Materials Science and Engineering, app. B.6 (α).

    >>> nan = float("nan")
    >>> round(1e6 * float(barrel_growth(0.17788, 0.09988, 11.4e-6, nan, 413.15, 363.15)), 3)
    106.704
    """
    length = where(np.isnan(case_at), height, height - foot)
    growth: float = _growth(length, expansion, where(np.isnan(own_at), whole_at, own_at))
    return growth


def case_growth(foot: float, expansion: float, barrel_expansion: float, temperature: float) -> float:
    """How much a case under a separate barrel grows with heat, α L ΔT, in metres.

    Barrel foot over the crank's centre in m, expansions in 1/K of the case (NaN: of the barrel's material), temperature
    in K; 0 without one. Source: Callister, Materials Science and Engineering, app. B.6 (α).

    >>> round(1e6 * float(case_growth(0.09988, 21.5e-6, 11.4e-6, 343.15)), 3)
    107.371
    """
    growth: float = _growth(foot, where(np.isnan(expansion), barrel_expansion, expansion), temperature)
    return growth


def crank_growth(stroke: float, expansion: float, temperature: float) -> float:
    """How much the throw grows with heat, α (stroke / 2) ΔT, in metres; stroke in m, α in 1/K, temperature in K.

    0 without a temperature. Source: Callister, Materials Science and Engineering, app. B.6 (α).

    >>> round(1e6 * float(crank_growth(0.070, 12.3e-6, 363.15)), 3)
    30.135
    """
    growth: float = _growth(stroke / 2, expansion, temperature)
    return growth


def length_growth(length: float, expansion: float, temperature: float) -> float:
    """How much a length grows with heat, α L ΔT, in metres; length in m, α in 1/K, temperature in K.

    0 without a temperature. Source: Callister, Materials Science and Engineering, app. B.6 (α).

    >>> round(1e6 * float(length_growth(0.1105, 12.3e-6, 393.15)), 3)
    135.915
    """
    growth: float = _growth(length, expansion, temperature)
    return growth


figure(
    "barrel_growth",
    unit="mm",
    group="at speed",
    meaning="how far heat in the barrel (or the block as one) moves the head up",
    formula="expansion × height (above the barrel's foot, where the case has a temperature) × (temperature − 20 °C)",
    source=_HEAT,
    inputs=(
        "block.block_height",
        "block.barrel_foot?",
        "block.expansion?",
        *(f"conditions.temperatures.{each}?" for each in ("block", "barrel", "case")),
    ),
    step=0.005,
    wants=("block.expansion",),
    public=False,
)(barrel_growth)

figure(
    "case_growth",
    unit="mm",
    group="at speed",
    meaning="how far heat in a case under a separate barrel moves the head up",
    formula="expansion × barrel foot × (temperature − 20 °C)",
    source=_HEAT,
    inputs=("block.barrel_foot?", "block.case_expansion?", "block.expansion?", "conditions.temperatures.case?"),
    step=0.005,
    wants=("block.barrel_foot", "block.case_expansion"),
    public=False,
)(case_growth)

for _part, _name, _length, _function in (
    ("crank", "throw", "crank.stroke", crank_growth),
    ("rod", "rod", "rod.length", length_growth),
    ("piston", "piston above its pin", "piston.compression_height", length_growth),
):
    figure(
        f"{_part}_growth",
        unit="mm",
        group="at speed",
        meaning=f"how much the {_name} grows with heat",
        formula=f"expansion × {'stroke / 2' if _part == 'crank' else 'length'} × (temperature − 20 °C)",
        source=_HEAT,
        inputs=(_length, f"{_part}.expansion?", f"conditions.temperatures.{_part}?"),
        step=0.005,
        wants=(f"{_part}.expansion",),
        public=False,
    )(_function)


def bearing_play(clearance: float) -> float:
    """How far the piston rises as one bearing is pulled to its other side, half its clearance on diameter; in metres.

    0 where no clearance is given (NaN). Valid where the cold quench is that of a bearing in its middle; a deck measured
    with the play hanging down asks for the whole of it. Source: geometry; that bearings count from their middle is
    common practice, no source.

    >>> round(1e6 * float(bearing_play(0.00004)), 3)
    20.0
    """
    play: float = where(np.isnan(clearance), 0.0, clearance / 2)
    return play


def piston_rock(clearance: float, length: float, bore: float, offset: float) -> float:
    """How far the edge of the crown rises as the piston tilts in its bore, (bore / 2 + |e|) c / L, in metres; all in m.

    A skirt of length L with clearance c on diameter tilts about its pin by c / L until it bears at both ends; the edge
    across the pin lies bore / 2 from the middle, and the offset e further from the pin. 0 where clearance or length is
    not given (NaN). Leaves out terms of second order, some 0.3 % of it, and what the crown's own clearance saves.
    Source: geometry, common practice; a test turns a rectangle in its bore.

    >>> round(1e6 * float(piston_rock(0.00008, 0.040, 0.068, 0.0)), 3)
    68.0
    """
    beside = where(np.isnan(offset), 0.0, np.abs(offset))
    bears = where(length > 0, length, np.nan)  # a length of 0 stands for one that no piston of a search has
    risen = (bore / 2 + beside) * clearance / bears
    rock: float = where(np.isnan(risen), 0.0, risen)
    return rock


PLAYS = {
    "main_play": ("crank.main_clearance", "main bearings"),
    "big_end_play": ("rod.big_end_clearance", "big end"),
    "small_end_play": ("rod.pin_clearance", "pin in the small end"),
    "boss_play": ("piston.pin_clearance", "pin in the piston"),
}
"""Helper figures of play, each with the clearance that it is made of and where it is."""

for _name, (_clearance, _where) in PLAYS.items():
    figure(
        _name,
        unit="mm",
        group="at speed",
        meaning=f"how far the piston rises in the play of the {_where}",
        formula="clearance on diameter / 2; 0 where none is given",
        source="geometry; that bearings count from their middle is common practice, no source",
        inputs=(f"{_clearance}?",),
        step=0.005,
        public=False,
    )(bearing_play)

figure(
    "piston_rock",
    unit="mm",
    group="at speed",
    meaning="how far the edge of the crown rises as the piston tilts in its bore",
    formula="(bore / 2 + pin offset) × skirt clearance / skirt length; 0 where one of these two is not given",
    source="geometry, common practice",
    inputs=("piston.skirt_clearance?", "piston.skirt_length?", "piston.bore", "piston.pin_offset?"),
    step=0.005,
    public=False,
)(piston_rock)


@figure(
    "quench_at_speed",
    unit="mm",
    group="at speed",
    meaning="quench less the rod's stretch at the rev ceiling, with heat, bearing play and piston rock where they are "
    "given",
    formula="quench − rod stretch + growth of barrel and case − growth of throw, rod and piston − bearing play − "
    "piston rock",
    source="geometry; Shigley's Mechanical Engineering Design, 9th ed., ch. 4 (recalled); " + _HEAT,
    inputs=(
        "quench",
        "rod_stretch",
        *(f"{each}_growth" for each in ("barrel", "case", "crank", "rod", "piston")),
        *PLAYS,
        "piston_rock",
    ),
    step=0.02,
    shape="additive",
)
def quench_at_speed(
    quench: float,
    stretch: float,
    barrel: float = 0.0,
    case: float = 0.0,
    throw: float = 0.0,
    rod: float = 0.0,
    piston: float = 0.0,
    mains: float = 0.0,
    big_end: float = 0.0,
    small_end: float = 0.0,
    bosses: float = 0.0,
    rock: float = 0.0,
) -> float:
    """Quench less the rod's stretch, with growth of barrel, case, throw, rod and piston, less play and rock; all in m.

    Play is that of main bearings, big end, small end and pin bosses, rock that of the crown's edge; what is not given
    counts 0, and ``check`` names it. Source: geometry.

    >>> round(1000 * quench_at_speed(0.001, 0.0000591042), 6)
    0.940896
    >>> round(1000 * quench_at_speed(0.001, 0.0000591042, mains=20e-6, big_end=7.5e-6, small_end=15e-6), 6)
    0.898396
    """
    return quench - stretch + barrel + case - throw - rod - piston - mains - big_end - small_end - bosses - rock


figure(
    "rod_load_limit",
    unit="rpm",
    group="at speed",
    meaning="speed at which the inertia load reaches the rod's load limit",
    formula="√(load limit / (reciprocating mass × acceleration at top dead centre per ω²))",
    source="Newton; two-mass rod: Norton, Design of Machinery (recalled)",
    inputs=("rod.max_load", "reciprocating_mass", "crank.stroke", "rod.length", "piston.pin_offset"),
    public=False,
)(loads.speed_at_load)

figure(
    "balance_factor",
    unit="",
    group="balance",
    meaning="share of the reciprocating mass that the counterweight balances; one cylinder a throw",
    formula="(counterweight moment / throw − rotating mass) / reciprocating mass",
    source="Norton, Design of Machinery, engine dynamics (recalled)",
    inputs=("crank.counterweight_moment", "crank.stroke", "rotating_mass", "reciprocating_mass"),
    step=0.01,
)(balance.balance_factor)

figure(
    "counterweight_wanted",
    unit="g_mm",
    group="balance",
    meaning="counterweight moment that would keep the balance factor of the plan's reference",
    formula="throw × (rotating mass + reference balance factor × reciprocating mass)",
    source="Norton, Design of Machinery, engine dynamics (recalled)",
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
    formula="min of the ratings of crank, rod, cam, spring, flywheel, of the rod's load and of valve float over "
    "the plan's float margin, as known",
    source="definition; the ratings are the makers'",
    inputs=(*(f"{kind}_rating?" for kind in RATED), "rod_load_limit?", "float_limit_intake?", "float_limit_exhaust?"),
    extreme="min",
    bound_without=tuple(f"{kind}.max_rpm" for kind in RATED),
)
def rev_limit(
    crank: float,
    rod: float,
    cam: float,
    spring: float,
    flywheel: float,
    rod_load: float,
    intake_float: float,
    exhaust_float: float,
) -> float:
    """Lowest known speed limit, in rad/s, of limits in rad/s (NaN where unknown); NaN where none is known.

    One valve that floats is enough, whether the other's speed is known or not.

    Source: definition.

    >>> nan = float("nan")
    >>> float(rev_limit(700.0, nan, nan, 650.0, nan, nan, 690.0, nan))
    650.0
    """
    ratings = np.fmin(np.fmin(np.fmin(crank, rod), np.fmin(cam, spring)), flywheel)
    lowest: float = np.fmin(ratings, np.fmin(rod_load, np.fmin(intake_float, exhaust_float)))
    return lowest
