"""Clearances of what turns: bounds for the worst phase, to be confirmed by turning the engine by hand."""

from __future__ import annotations

from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import some, where
from kitwright.solver.formulas.valve_gear import least
from kitwright.solver.registry import figure

_MEASURED = (
    "it is the least possible, whatever the phase: whether they meet depends on the cam's phase and on where "
    "they lie side by side, and must be measured at mock-up"
)


def lowest_pin(rod_length: Any, stroke: Any, offset: Any) -> Any:
    """Height of the piston pin over the crank's centre at bottom dead centre, √((l − s/2)² − e²), in metres; all in m.

    Exact for the slider-crank, where rod and throw lie in one line; l − s/2 without an offset (0 or NaN). Valid where
    the rod is longer than throw and offset together; else the engine cannot turn. Source: geometry of the offset
    slider-crank in Norton, Design of Machinery (recalled, recomputed).

    >>> round(1000 * float(lowest_pin(0.085, 0.057, 0.0)), 6)
    56.5
    >>> round(1000 * float(lowest_pin(0.085, 0.057, 0.002)), 6)
    56.464591
    """
    reach = rod_length - stroke / 2
    if some(np.abs(offset) > 0):
        beside = where(np.isnan(offset), 0.0, offset)
        bent = np.sign(reach) * np.sqrt(np.maximum(reach**2 - beside * beside, 0.0))
        reach = where(beside == 0, reach, bent)
    return reach


_OFFSET = "(with a pin offset e: √((rod − throw)² − e²) for rod − throw)"


@figure(
    "skirt_to_counterweight",
    unit="mm",
    group="turning clear",
    meaning="piston skirt to counterweight at bottom dead centre",
    formula=f"rod − throw − skirt below pin − counterweight radius {_OFFSET}",
    source="geometry",
    inputs=(
        "rod.length",
        "crank.stroke",
        "piston.skirt_below_pin",
        "crank.counterweight_radius",
        "piston.pin_offset?",
    ),
    shape="additive",
)
def skirt_to_counterweight(
    rod_length: float, stroke: float, skirt: float, counterweight: float, pin_offset: float = 0.0
) -> float:
    """Skirt to counterweight at bottom dead centre, l − s/2 − skirt − radius, in metres; all in m.

    With a pin offset e the pin stands at √((l − s/2)² − e²) there. Source: geometry.

    >>> round(1000 * float(skirt_to_counterweight(0.084, 0.061, 0.019, 0.033)), 6)
    1.5
    """
    clearance: float = lowest_pin(rod_length, stroke, pin_offset) - skirt - counterweight
    return clearance


@figure(
    "skirt_out",
    unit="mm",
    group="turning clear",
    meaning="how far the skirt hangs out of the barrel at bottom dead centre; negative: it stays inside",
    formula=f"barrel foot + spacer − (rod − throw − skirt below pin) {_OFFSET}",
    source="geometry",
    inputs=(
        "block.barrel_foot",
        "spacer.thickness",
        "rod.length",
        "crank.stroke",
        "piston.skirt_below_pin",
        "piston.pin_offset?",
    ),
    shape="additive",
)
def skirt_out(
    barrel_foot: float, spacer: float, rod_length: float, stroke: float, skirt: float, pin_offset: float = 0.0
) -> float:
    """Length of skirt below the bore at bottom dead centre, foot + spacer − (l − s/2 − skirt), in metres; all in m.

    A spacer under the barrel lifts its foot too. With a pin offset e the pin stands at √((l − s/2)² − e²). Source:
    geometry.

    >>> round(1000 * float(skirt_out(0.045, 0.0, 0.085, 0.057, 0.019)), 6)
    7.5
    """
    out: float = barrel_foot + spacer - (lowest_pin(rod_length, stroke, pin_offset) - skirt)
    return out


def rod_to_lobe(distance: float, stroke: float, outer: float, base: float, lobe_lift: float) -> float:
    """Least possible distance of big end and one lobe, in metres; all in m.

    Centre distance − s/2 − outer radius − (base radius + lobe lift). A negative value does not say that they meet:
    phase and side position decide, so it must be measured. Source: geometry.

    >>> round(1000 * rod_to_lobe(0.080, 0.057, 0.028, 0.013, 0.006), 6)
    4.5
    """
    return distance - stroke / 2 - outer - (base + lobe_lift)


for _valve in ("intake", "exhaust"):
    figure(
        f"rod_to_{_valve}_lobe",
        unit="mm",
        group="turning clear",
        meaning=f"big end to {_valve} lobe: the least possible, whatever the phase",
        formula=f"cam to crank − throw − big end outer radius − (base radius + {_valve} lobe lift)",
        source="geometry",
        inputs=("block.cam_to_crank", "crank.stroke", "rod.outer_radius", "cam.base_radius", f"cam.{_valve}_lobe_lift"),
        shape="additive",
        public=False,
    )(rod_to_lobe)

figure(
    "rod_to_cam",
    unit="mm",
    group="turning clear",
    meaning="big end to cam lobe: the least possible, whatever the phase",
    formula="cam to crank − throw − big end outer radius − (base radius + greatest lobe lift)",
    source="geometry",
    inputs=("rod_to_intake_lobe", "rod_to_exhaust_lobe"),
    shape="additive",
    extreme="min",
    bound="low",
    proviso=_MEASURED,
)(least)


def lobe_past_barrel(distance: float, base: float, lobe_lift: float) -> float:
    """Clearance of one lobe's nose and the barrel's foot, distance − base radius − lobe lift, in metres; all in m.

    The distance is that of the cam's axis and the foot's nearest edge. A lobe's nose comes round to it once a turn.
    Source: geometry.

    >>> round(1000 * lobe_past_barrel(0.021, 0.013, 0.006), 6)
    2.0
    """
    return distance - base - lobe_lift


for _valve in ("intake", "exhaust"):
    figure(
        f"{_valve}_lobe_to_barrel",
        unit="mm",
        group="turning clear",
        meaning=f"{_valve} lobe to the barrel's foot",
        formula=f"cam to barrel − base radius − {_valve} lobe lift",
        source="geometry",
        inputs=("block.cam_to_barrel", "cam.base_radius", f"cam.{_valve}_lobe_lift"),
        shape="additive",
        public=False,
    )(lobe_past_barrel)

figure(
    "lobe_to_barrel",
    unit="mm",
    group="turning clear",
    meaning="cam lobe to the barrel's foot",
    formula="cam to barrel − base radius − greater lobe lift",
    source="geometry",
    inputs=("intake_lobe_to_barrel", "exhaust_lobe_to_barrel"),
    shape="additive",
    extreme="min",
)(least)


@figure(
    "rod_to_core",
    unit="mm",
    group="turning clear",
    meaning="big end to the cam's core: the least possible, whatever the phase",
    formula="cam to crank − throw − big end outer radius − core radius",
    source="geometry",
    inputs=("block.cam_to_crank", "crank.stroke", "rod.outer_radius", "cam.core_radius"),
    shape="additive",
    proviso="whether they meet depends on where they lie side by side, and must be measured at mock-up",
)
def rod_to_core(distance: float, stroke: float, outer: float, core: float) -> float:
    """Least distance of big end and cam core, centre distance − s/2 − outer − core, in metres; all in m.

    Source: geometry.

    >>> round(1000 * rod_to_core(0.080, 0.057, 0.028, 0.015), 6)
    8.5
    """
    return distance - stroke / 2 - outer - core


@figure(
    "lever_to_counterweight",
    unit="mm",
    group="turning clear",
    meaning="decompressor's lever to counterweight: the least possible, whatever the phase",
    formula="cam to crank − decompressor's reach − counterweight radius",
    source="geometry",
    inputs=("block.cam_to_crank", "cam.decompressor.reach", "crank.counterweight_radius"),
    shape="additive",
    bound="low",
    proviso=_MEASURED,
)
def lever_to_counterweight(distance: float, reach: float, counterweight: float) -> float:
    """Decompressor's lever to counterweight, centre distance − reach − radius, in metres; all in m.

    The reach is the greatest radius of lever and spring about the cam's axis. The least possible: a negative value does
    not say that they meet, for phase and side position decide. Source: geometry.

    >>> round(1000 * lever_to_counterweight(0.080, 0.018, 0.0555), 6)
    6.5
    """
    return distance - reach - counterweight


@figure(
    "counterweight_to_case",
    unit="mm",
    group="turning clear",
    meaning="counterweight to the case",
    formula="counterweight room − counterweight radius",
    source="geometry",
    inputs=("block.counterweight_room", "crank.counterweight_radius"),
    shape="additive",
)
def counterweight_to_case(room: float, radius: float) -> float:
    """Counterweight to case, room − radius, in metres; both in m. Source: geometry.

    >>> round(1000 * counterweight_to_case(0.058, 0.0555), 6)
    2.5
    """
    return room - radius


@figure(
    "rod_to_case",
    unit="mm",
    group="turning clear",
    meaning="big end to the case",
    formula="rod room − throw − big end outer radius",
    source="geometry",
    inputs=("block.rod_room", "crank.stroke", "rod.outer_radius"),
    shape="additive",
)
def rod_to_case(room: float, stroke: float, outer: float) -> float:
    """Big end to case, room − s/2 − outer radius, in metres; all in m. Source: geometry.

    >>> round(1000 * rod_to_case(0.060, 0.057, 0.028), 6)
    3.5
    """
    return room - stroke / 2 - outer
