"""Figures of the gas: compression from intake closing, cranking pressure, areas of valves and port, speeds in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from kitwright.solver.formulas import gas
from kitwright.solver.formulas.arrays import where
from kitwright.solver.formulas.volumes import circle, ratio_at_least
from kitwright.solver.registry import Slack, figure

NAN = float("nan")

_HEYWOOD = "Heywood, Internal Combustion Engine Fundamentals, ch. 2 (recalled)"


@figure(
    "trapped_volume",
    unit="cc",
    group="volumes and compression",
    meaning="volume that the piston sweeps from intake closing to top dead centre",
    formula="(π/4) × bore² × piston travel left at intake closing, by the seat duration",
    source="geometry of the offset slider-crank; common practice, no source",
    inputs=(
        "block.bore",
        "crank.stroke",
        "rod.length",
        "piston.pin_offset",
        "intake_closes",
    ),
    public=False,
)
def trapped_volume(bore: float, stroke: float, rod_length: float, pin_offset: float, intake_closing: float) -> float:
    """Volume swept between intake closing and top dead centre, in m³.

    (π/4) b² × the travel that is left when the intake closes by its seat duration. Lengths in m, the closing in rad of
    the crank after bottom dead centre. Source: geometry; volumes only, common practice, no source.

    >>> from math import pi
    >>> whole = trapped_volume(0.072, 0.06, 0.1, 0.0, 0.0)  # closes at bottom dead centre
    >>> round(1e6 * float(whole), 3) == round(1e6 * circle(0.072) * 0.06, 3)
    True
    """
    return circle(bore) * gas.effective_stroke(np.pi + intake_closing, stroke, rod_length, pin_offset)


def _ratio_at_least(ratio: float, _: Mapping[str, Any]) -> tuple[Slack, ...] | None:
    return ratio_at_least(ratio, "trapped_volume")


@figure(
    "dynamic_compression",
    unit="",
    group="volumes and compression",
    meaning="compression ratio from intake closing",
    formula="(volume swept from intake closing + clearance volume) / clearance volume",
    source="common practice, no source: volumes only, intake closing by the seat duration",
    inputs=("trapped_volume", "clearance_volume"),
    step=0.05,
    at_least=_ratio_at_least,
)
def dynamic_compression(trapped: float, clearance: float) -> float:
    """Compression ratio from intake closing, (trapped + clearance) / clearance; volumes in m³, clearance > 0.

    It says nothing of what the intake's motion adds at speed. Source: common practice, no source.

    >>> dynamic_compression(0.00021, 0.00003)
    8.0
    """
    return 1.0 + trapped / clearance


def _pressure_at_least(pressure: float, constants: Mapping[str, Any]) -> tuple[Slack, ...] | None:
    ambient = float(gas.air_pressure(constants["conditions.altitude"]))
    ratio = max(pressure / ambient, 0.0) ** (1.0 / constants["conditions.polytropic"])
    return ratio_at_least(ratio, "cranked_volume")


@figure(
    "cranking_pressure",
    unit="kPa",
    group="volumes and compression",
    meaning="absolute pressure at the end of compression while the engine is turned over",
    formula="air pressure at the plan's altitude × compression from where the gas is trapped ^ exponent: from intake "
    "closing, or with a decompressor from its closing where that is later",
    source="US Standard Atmosphere 1976; exponent common practice, no source (1.2 to 1.3)",
    inputs=("conditions.altitude", "cranking_compression", "conditions.polytropic"),
    at_least=_pressure_at_least,
)
def cranking_pressure(altitude: float, ratio: float, exponent: float) -> float:
    """Absolute cranking pressure, p₀ rⁿ, in Pa: p₀ by the US Standard Atmosphere 1976 at a geometric altitude in m.

    The ratio counts from where the gas is trapped: intake closing, or a decompressor's where that is later.
    Leakage and heat are lumped in the exponent. Valid to 11 km. Source: US Standard Atmosphere 1976; the exponent is
    common practice, no source.

    >>> round(float(cranking_pressure(0.0, 7.5, 1.3)) / 101325, 4)
    13.7271
    """
    return gas.cranking_pressure(gas.air_pressure(altitude), ratio, exponent)


def _gauge_at_least(pressure: float, constants: Mapping[str, Any]) -> tuple[Slack, ...] | None:
    ambient = float(gas.air_pressure(constants["conditions.altitude"]))
    return _pressure_at_least(pressure + ambient, constants)


@figure(
    "cranking_gauge_pressure",
    unit="kPa",
    group="volumes and compression",
    meaning="what a compression gauge shows of the cranking pressure",
    formula="cranking pressure − air pressure at the plan's altitude",
    source="US Standard Atmosphere 1976; definition",
    inputs=("cranking_pressure", "conditions.altitude"),
    at_least=_gauge_at_least,
)
def cranking_gauge_pressure(pressure: float, altitude: float) -> float:
    """Cranking pressure above that of the air, p − p₀, in Pa; p absolute in Pa, a geometric altitude in m.

    Valid to 11 km. Source: US Standard Atmosphere 1976 for p₀; definition.

    >>> round(float(cranking_gauge_pressure(13.7271 * 101325, 0.0)) / 101325, 4)
    12.7271
    """
    return pressure - gas.air_pressure(altitude)


# Areas, and the gas's mean speed through them.


def lift_to_diameter_of(lift: float, valve: float) -> float:
    """Valve lift over the diameter of the valve's head, without unit; both in m. At ¼ the curtain is the head's area.

    Source: definition.

    >>> round(lift_to_diameter_of(0.00965, 0.032), 4)
    0.3016
    """
    return lift / valve


def curtain_area_of(lift: float, valve: float, valves: float) -> float:
    """Area that the valves of one cylinder open at a lift, n × min(π D L, (π/4) D²), in m²; lift and head D in m.

    The plain curtain between head and seat, at most the head's area: neither the seat's cone nor the stem is in it, nor
    any flow coefficient. Source: Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled, recomputed).

    >>> round(1e6 * float(curtain_area_of(0.004, 0.032, 1.0)), 3), round(1e6 * float(curtain_area_of(0.01, 0.032, 2.0)))
    (402.124, 1608)
    """
    area: float = valves * np.minimum(gas.curtain_area(valve, lift), circle(valve))
    return area


for _valve in ("intake", "exhaust"):
    figure(
        f"lift_to_diameter_{_valve}",
        unit="",
        group="breathing",
        meaning=f"greatest {_valve} lift over the diameter of the valve's head",
        formula=f"{_valve} lift / valve diameter",
        source="definition",
        inputs=(f"valve_lift_{_valve}", f"head.{_valve}_valve"),
        step=0.01,
    )(lift_to_diameter_of)
    figure(
        f"curtain_area_{_valve}",
        unit="mm2",
        group="breathing",
        meaning=f"area that the {_valve} valves of one cylinder open at their greatest lift, seat and stem left out",
        formula="valves × the lesser of π × valve diameter × lift and (π/4) × valve diameter²",
        source="Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled)",
        inputs=(f"valve_lift_{_valve}", f"head.{_valve}_valve", f"head.{_valve}_valves"),
    )(curtain_area_of)

figure(
    "port_area",
    unit="mm2",
    group="breathing",
    meaning="area of the intake port's smallest section",
    formula="(π/4) × port diameter²",
    source="geometry",
    inputs=("head.intake_port",),
)(circle)

for _valve in ("intake", "exhaust"):
    figure(
        f"valve_gas_speed_{_valve}",
        unit="m_s",
        group="at speed",
        meaning=f"mean gas speed through the {_valve} valves' area at their greatest lift, at the rev ceiling",
        formula="mean piston speed × piston area / curtain area",
        source="continuity; Heywood, Internal Combustion Engine Fundamentals, §6.3 (recalled)",
        inputs=("mean_piston_speed", "block.bore", f"curtain_area_{_valve}"),
        step=1.0,
    )(gas.gas_speed)


@figure(
    "inlet_mach_index",
    unit="",
    group="at speed",
    meaning="inlet Mach index at the rev ceiling; filling falls off above some 0.5 to 0.6",
    formula="bore² × mean piston speed / (valves × valve diameter² × flow coefficient × speed of sound)",
    source="Taylor, The Internal Combustion Engine in Theory and Practice, vol. 1, ch. 6 (recalled)",
    inputs=(
        "block.bore",
        "mean_piston_speed",
        "head.intake_valves",
        "head.intake_valve",
        "head.flow_coefficient",
        "conditions.altitude",
        "conditions.temperatures.air?",
    ),
    step=0.01,
)
def inlet_mach_index(
    bore: float,
    piston_speed: float,
    valves: float,
    valve: float,
    flow_coefficient: float,
    altitude: float,
    air: float = NAN,
) -> float:
    """Taylor's inlet Mach index Z, dimensionless.

    Z = b² S̄p / (n D² C a): bore b and valve diameter D in m, mean piston speed in m/s, flow coefficient over the
    opening, speed of sound in air of a temperature in K (NaN: that of a geometric altitude in m, US Standard Atmosphere
    1976).

    Source: Taylor, vol. 1, ch. 6 (recalled, recomputed).

    >>> round(float(inlet_mach_index(0.072, 17.5, 1.0, 0.032, 0.38, 0.0)), 5)
    0.68512
    """
    sound = gas.speed_of_sound(where(np.isnan(air), gas.air_temperature(altitude), air))
    return gas.inlet_mach_index(bore, piston_speed, valves, valve, flow_coefficient, sound)


@figure(
    "port_speed",
    unit="m_s",
    group="at speed",
    meaning="mean gas speed at the intake port's smallest section, at the rev ceiling",
    formula="mean piston speed × bore² / port diameter²",
    source=_HEYWOOD,
    inputs=("mean_piston_speed", "block.bore", "head.intake_port"),
    step=1.0,
)
def port_speed(piston_speed: float, bore: float, port: float) -> float:
    """Mean gas speed at the port, S̄p b² / d², in m/s; diameters in m. Incompressible.

    Source: Heywood, ch. 2 (recalled, recomputed).

    >>> round(float(port_speed(17.5, 0.072, 0.027)), 3)
    124.444
    """
    return gas.gas_speed(piston_speed, bore, circle(port))
