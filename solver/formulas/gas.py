"""Valve events, trapped and cranking pressure, and how the gas gets in.

Angles in rad: durations are crank angles, lobe separation a cam angle. Events belong to a lift and carry it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from kitwright.solver.formulas.kinematics import drop_after_top
from kitwright.solver.formulas.volumes import circle

GRAVITY = 9.80665
"""Standard gravity, m/s² (US Standard Atmosphere 1976)."""
GAS_CONSTANT = 8314.32 / 28.9644
"""Specific gas constant of dry air, J/(kg K) (US Standard Atmosphere 1976)."""
EARTH_RADIUS = 6_356_766.0
"""Effective radius of the earth, m (US Standard Atmosphere 1976)."""
SEA_LEVEL = (288.15, 101_325.0)
"""Temperature, K, and pressure, Pa, at sea level (US Standard Atmosphere 1976)."""
LAPSE = 0.0065
"""Fall of temperature with geopotential altitude, K/m, up to 11 km (US Standard Atmosphere 1976)."""
HIGHEST = 11_000.0
"""Geopotential altitude up to which temperature falls evenly, m (US Standard Atmosphere 1976)."""
ADIABATIC = 1.4
"""Ratio of the specific heats of air (US Standard Atmosphere 1976)."""


class ValveEvents(NamedTuple):
    """When the valves move, in rad, with the lobe lift in m at which the durations were taken.

    Negative: on the other side of the dead centre that the name speaks of.
    """

    intake_opens_before_top: float
    intake_closes_after_bottom: float
    exhaust_opens_before_bottom: float
    exhaust_closes_after_top: float
    at_lift: float

    @property
    def overlap(self) -> float:
        """Crank angle during which both valves are open, rad; negative where there is none."""
        return self.intake_opens_before_top + self.exhaust_closes_after_top


def intake_centreline(separation: float, advance: float) -> float:
    """Intake centreline after top dead centre, separation − advance, in rad.

    Args:
        separation: lobe separation, cam angle, rad; as a number it is also the mean centreline in crank
            angle.
        advance: of the cam, crank angle, rad.

    Exact for symmetric lobes.

    Source: geometry, common practice.

    >>> round(float(np.degrees(intake_centreline(np.radians(106), np.radians(2)))), 6)
    104.0

    """
    return separation - advance


def exhaust_centreline(separation: float, intake: float) -> float:
    """Exhaust centreline before top dead centre, 2 × separation − intake centreline, in rad.

    Args:
        separation: lobe separation, cam angle, rad.
        intake: intake centreline after top dead centre, crank angle, rad.

    Exact for symmetric lobes.

    Source: geometry, common practice.

    >>> round(float(np.degrees(exhaust_centreline(np.radians(106), np.radians(104)))), 6)
    108.0

    """
    return 2 * separation - intake


def valve_events(
    intake_duration: float, exhaust_duration: float, separation: float, intake: float, at_lift: float
) -> ValveEvents:
    """Events of both valves, in rad, for the lift at which the durations are given.

    IVO = Di/2 − ICL before top, IVC = ICL + Di/2 − π after bottom, EVO = ECL + De/2 − π before bottom,
    EVC = De/2 − ECL after top, ECL = 2 × separation − ICL.

    Args:
        intake_duration: Di, crank angle, rad.
        exhaust_duration: De, crank angle, rad.
        separation: lobe separation, cam angle, rad.
        intake: ICL, intake centreline after top dead centre, crank angle, rad.
        at_lift: lobe lift to which both durations belong, m.

    Exact for symmetric lobes; bottom is half a turn after top, as on a degree wheel.

    Source: geometry, common practice.

    >>> events = valve_events(*np.radians([268.0, 272.0, 106.0, 104.0]), 0.0)
    >>> [round(float(np.degrees(each)), 6) for each in (*events[:4], events.overlap)]
    [30.0, 58.0, 64.0, 28.0, 58.0]

    """
    exhaust = exhaust_centreline(separation, intake)
    return ValveEvents(
        intake_duration / 2 - intake,
        intake_closes(intake_duration, intake) - np.pi,
        exhaust + exhaust_duration / 2 - np.pi,
        exhaust_duration / 2 - exhaust,
        at_lift,
    )


def intake_closes(duration: float, centreline: float) -> float:
    """Crank angle after top dead centre at which the intake closes, ICL + Di/2, in rad.

    Args:
        duration: Di, crank angle, rad; the answer belongs to the lift at which it was taken.
        centreline: ICL after top dead centre, crank angle, rad.

    Exact for symmetric lobes.

    Source: geometry, common practice.

    >>> round(float(np.degrees(intake_closes(np.radians(268), np.radians(104)))), 6)
    238.0

    """
    return centreline + duration / 2


def effective_stroke(closing: float, stroke: float, rod_length: float, pin_offset: float) -> float:
    """Travel that is left to compress from intake closing on, s(closing angle), in metres.

    Args:
        closing: crank angle after top dead centre at which the intake closes, rad.
        stroke: m.
        rod_length: m.
        pin_offset: m.

    Exact; meant for closing at or after bottom dead centre, up to the next top. Valid for l > r + |e|, NaN
    outside.

    Source: geometry.

    >>> round(1000 * float(effective_stroke(np.pi, 0.066, 0.110, 0.0)), 9)
    66.0

    """
    return drop_after_top(closing, stroke, rod_length, pin_offset)


def dynamic_compression(bore: float, effective: float, clearance: float) -> float:
    """Compression ratio from intake closing on, (A s + Vc) / Vc, dimensionless.

    Args:
        bore: m.
        effective: travel s left at intake closing, m.
        clearance: Vc, m³.

    A ratio of volumes only: the gas's inertia is not in it.

    Source: common practice, no source.

    >>> round(float(dynamic_compression(0.072, 0.066, 31.2626e-6)), 3)
    9.596

    """
    ratio: float = 1.0 + circle(bore) * effective / clearance
    return ratio


def cranking_pressure(ambient: float, ratio: float, exponent: float) -> float:
    """Absolute pressure at the end of compression when cranked, p r^n, in Pa.

    Args:
        ambient: p, absolute, Pa.
        ratio: r, compression from intake closing on.
        exponent: n, polytropic; 1.2 to 1.3, leakage and heat lumped in.

    Source: encyclopedia article on the compression ratio, 7.5^1.3 × 14.7 = 201.8 psi; Heywood, Internal
    Combustion Engine Fundamentals, §9.2 for n (recalled, recomputed).

    >>> round(cranking_pressure(14.7, 7.5, 1.3), 1)
    201.8

    """
    pressure: float = ambient * ratio**exponent
    return pressure


def cranking_gauge_pressure(ambient: float, ratio: float, exponent: float) -> float:
    """Pressure that a compression gauge shows, p r^n − p, in Pa.

    Args:
        ambient: p, absolute, Pa.
        ratio: r, compression from intake closing on.
        exponent: n, polytropic; 1.2 to 1.3.

    Source: encyclopedia article on the compression ratio, 187.1 psi on the gauge at 7.5 : 1 and n = 1.3.

    >>> round(cranking_gauge_pressure(14.7, 7.5, 1.3), 1)
    187.1

    """
    gauge: float = cranking_pressure(ambient, ratio, exponent) - ambient
    return gauge


def geopotential_altitude(altitude: float) -> float:
    """Geopotential of a geometric altitude, H = r₀ Z / (r₀ + Z), in metres; Z in m.

    Source: US Standard Atmosphere 1976.

    >>> round(geopotential_altitude(1500.0), 2)
    1499.65
    """
    return EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)


def air_temperature(altitude: float) -> float:
    """Temperature of the standard atmosphere, T = 288.15 − 0.0065 H, in K.

    Args:
        altitude: geometric, m.

    Valid up to H = 11 km, NaN above.

    Source: US Standard Atmosphere 1976.

    >>> round(float(air_temperature(1500.0)), 3)
    278.402

    """
    geopotential = geopotential_altitude(altitude)
    below = SEA_LEVEL[0] - LAPSE * geopotential
    known: Any = np.where(geopotential > HIGHEST + 1e-6, np.nan, below)
    temperature: float = known[()]
    return temperature


def air_pressure(altitude: float) -> float:
    """Pressure of the standard atmosphere, 101325 (T / 288.15)^(g M / (R L)), in Pa; the exponent is 5.25588.

    Args:
        altitude: geometric, m.

    Valid up to H = 11 km, NaN above.

    Source: US Standard Atmosphere 1976.

    >>> round(float(air_pressure(1500.0)), 1)
    84559.7

    """
    ratio = air_temperature(altitude) / SEA_LEVEL[0]
    pressure: float = SEA_LEVEL[1] * ratio ** (GRAVITY / (GAS_CONSTANT * LAPSE))
    return pressure


def speed_of_sound(temperature: float) -> float:
    """Speed of sound in dry air, √(1.4 R T), in m/s; temperature in K.

    Source: US Standard Atmosphere 1976.

    >>> round(float(speed_of_sound(288.15)), 3)
    340.294
    """
    speed: float = np.sqrt(ADIABATIC * GAS_CONSTANT * temperature)
    return speed


def inlet_mach_index(
    bore: float,
    piston_speed: float,
    valves: float,
    valve_diameter: float,
    flow_coefficient: float,
    sound: float,
) -> float:
    """Taylor's inlet Mach index, Z = b² S̄p / (n D² C a), dimensionless.

    Args:
        bore: b, m.
        piston_speed: mean, S̄p, m/s.
        valves: n, intake valves of one cylinder.
        valve_diameter: D, head of the intake valve, m.
        flow_coefficient: C, mean over the opening, on the valve head's area.
        sound: a, speed of sound at the inlet, m/s.

    Filling falls off above some 0.5 to 0.6.

    Source: Taylor, The Internal Combustion Engine in Theory and Practice, vol. 1, 2nd ed., ch. 6 (recalled,
    recomputed).

    >>> round(inlet_mach_index(0.072, 17.5, 1, 0.032, 0.38, 340.294), 6)
    0.685118

    """
    return bore**2 * piston_speed / (valves * valve_diameter**2 * flow_coefficient * sound)


def speed_at_mach_index(
    index: float,
    bore: float,
    travel: float,
    valves: float,
    valve_diameter: float,
    flow_coefficient: float,
    sound: float,
) -> float:
    """Crank speed at which the inlet Mach index takes a value, π Z n D² C a / (b² s), in rad/s.

    Args:
        index: Z.
        bore: b, m.
        travel: s, piston travel, m.
        valves: n, intake valves of one cylinder.
        valve_diameter: D, m.
        flow_coefficient: C.
        sound: a, m/s.

    Source: Taylor, as for :func:`inlet_mach_index` (recalled, recomputed).

    >>> round(speed_at_mach_index(0.6, 0.072, 0.070, 1, 0.032, 0.38, 340.294) * 30 / np.pi, 1)
    6568.2

    """
    return np.pi * index * valves * valve_diameter**2 * flow_coefficient * sound / (bore**2 * travel)


def gas_speed(piston_speed: float, bore: float, area: float) -> float:
    """Mean speed of the gas through an area, S̄p A_piston / A, in m/s.

    Args:
        piston_speed: mean, m/s.
        bore: m.
        area: of all ports or valves of one cylinder, m².

    Valid for steady, incompressible flow over the piston's whole stroke.

    Source: continuity; Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed).

    >>> round(float(gas_speed(17.5, 0.072, circle(0.027))), 3)
    124.444

    """
    return piston_speed * circle(bore) / area


def curtain_area(valve_diameter: float, lift: float) -> float:
    """Cylinder between valve head and seat, π D L, in m²; both in m. Equal to the head's area at L = D / 4.

    Source: Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed).

    >>> round(1e6 * curtain_area(0.032, 0.00965), 3)
    970.124
    """
    return np.pi * valve_diameter * lift


def curtain_lift(valve_diameter: float, area: float) -> float:
    """Lift at which the curtain equals an area, A / (π D), in metres; diameter in m, area in m².

    Source: geometry.

    >>> round(1000 * float(curtain_lift(0.032, circle(0.027))), 5)
    5.69531
    """
    return area / (np.pi * valve_diameter)


def seat_stage_lifts(
    valve_diameter: float, seat_width: float, seat_angle: float, throat_diameter: float, stem_diameter: float
) -> tuple[float, float]:
    """Lifts at which the narrowest place moves on, in metres: off the seat's cone, and to the throat.

    First w / (sin β cos β); then the lift at which the ring has the area of the throat less the stem.

    Args:
        valve_diameter: D, m.
        seat_width: w, along the cone, m.
        seat_angle: β of the seat against the valve's head, rad.
        throat_diameter: inner seat diameter, m.
        stem_diameter: m.

    Source: Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed); geometry.

    >>> limits = seat_stage_lifts(0.032, 0.0016, np.pi / 4, 0.028, 0.0055)
    >>> [round(1000 * float(each), 5) for each in limits]
    [3.2, 7.58854]

    """
    first: float = seat_width / (np.sin(seat_angle) * np.cos(seat_angle))
    throat = circle(throat_diameter) - circle(stem_diameter)
    slant = throat / (np.pi * (valve_diameter - seat_width))
    with np.errstate(invalid="ignore"):
        second: float = seat_width * np.tan(seat_angle) + np.sqrt(slant**2 - seat_width**2)
    return first, second


def seat_flow_area(
    lift: float,
    valve_diameter: float,
    seat_width: float,
    seat_angle: float,
    throat_diameter: float,
    stem_diameter: float,
) -> float:
    """Narrowest area between a coned valve and its seat, in m²; one of three stages, which meet.

    Up to L = w / (sin β cos β): π L cos β (D − 2 w + (L/2) sin 2β); then π (D − w) √((L − w tan β)² + w²);
    both at most the throat less the stem.

    Args:
        lift: L, m, not negative.
        valve_diameter: D, m.
        seat_width: w, m.
        seat_angle: β, rad.
        throat_diameter: inner seat diameter, m.
        stem_diameter: m.

    Geometric, without any flow coefficient.

    Source: Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed).

    >>> area = seat_flow_area(np.array([0.001, 0.004, 0.00965]), 0.032, 0.0016, np.pi / 4, 0.028, 0.0055)
    >>> [round(1e6 * float(each), 3) for each in area]
    [65.088, 275.477, 591.994]

    """
    mean = valve_diameter - 2 * seat_width + lift / 2 * np.sin(2 * seat_angle)
    cone = np.pi * lift * np.cos(seat_angle) * mean
    slant = np.sqrt((lift - seat_width * np.tan(seat_angle)) ** 2 + seat_width**2)
    ring = np.pi * (valve_diameter - seat_width) * slant
    first = seat_width / (np.sin(seat_angle) * np.cos(seat_angle))
    throat = circle(throat_diameter) - circle(stem_diameter)
    area: float = np.minimum(np.where(lift <= first, cone, ring), throat)
    return area


def seat_stage(
    lift: float,
    valve_diameter: float,
    seat_width: float,
    seat_angle: float,
    throat_diameter: float,
    stem_diameter: float,
) -> float:
    """Which place is narrowest: 1 seat's cone, 2 ring beside it, 3 throat less stem; dimensionless.

    Args:
        lift: m.
        valve_diameter: m.
        seat_width: m.
        seat_angle: rad.
        throat_diameter: m.
        stem_diameter: m.

    Source: Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed).

    >>> float(seat_stage(0.004, 0.032, 0.0016, np.pi / 4, 0.028, 0.0055))
    2.0

    """
    area = seat_flow_area(lift, valve_diameter, seat_width, seat_angle, throat_diameter, stem_diameter)
    throat = circle(throat_diameter) - circle(stem_diameter)
    first = seat_width / (np.sin(seat_angle) * np.cos(seat_angle))
    stage: Any = np.where(area >= throat, 3.0, np.where(lift <= first, 1.0, 2.0) + 0.0 * area)
    number: float = stage[()]
    return number
