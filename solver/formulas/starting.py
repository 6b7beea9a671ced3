"""Figures of starting: what is compressed while the engine is turned over, and how hard that is on crank and rope.

A decompressor holds a valve open: nothing is compressed before both it and the intake valve are shut.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kitwright.solver.formulas import gas
from kitwright.solver.formulas.arrays import greater, kept, where
from kitwright.solver.formulas.kinematics import column, drop_after_top, least_over_angle, piston_speed, top_dead_centre
from kitwright.solver.formulas.volumes import circle
from kitwright.solver.registry import figure

_GROUP = "volumes and compression"


@figure(
    "compression_begins",
    unit="deg",
    group=_GROUP,
    meaning="crank angle after bottom dead centre from which the gas is trapped while the engine is turned over",
    formula="intake closing; with a decompressor the later of that and 180° − its closing before top dead centre",
    source="definition",
    inputs=("intake_closes", "cam.decompressor?", "cam.decompressor.closes?"),
    wants=("cam.decompressor.closes",),
    public=False,
)
def compression_begins(intake_closing: float, fitted: float, closes: float) -> float:
    """Crank angle after bottom dead centre from which the gas is trapped while the engine is turned over, in rad.

    The intake's closing after bottom dead centre; where a decompressor is fitted (1; 0 or NaN: none), the later of that
    and π − its closing before top dead centre. Both in rad of the crank; NaN where the decompressor's closing is not
    known. Source: definition.

    >>> round(float(np.degrees(compression_begins(*np.radians([58.0]), 1.0, np.radians(60.0)))), 6)
    120.0
    >>> round(float(np.degrees(compression_begins(*np.radians([58.0]), 0.0, np.nan))), 6)
    58.0
    """
    held = where(fitted > 0, np.pi - closes, intake_closing)
    later: float = greater(intake_closing, held)
    return later


@figure(
    "cranked_volume",
    unit="cc",
    group=_GROUP,
    meaning="volume that the piston sweeps up to top dead centre while the gas is trapped, the engine turned over",
    formula="(π/4) × bore² × piston travel left where compression begins",
    source="geometry of the offset slider-crank",
    inputs=("block.bore", "crank.stroke", "rod.length", "piston.pin_offset", "compression_begins"),
    public=False,
)
def cranked_volume(bore: float, stroke: float, rod_length: float, pin_offset: float, begins: float) -> float:
    """Volume swept between the beginning of compression and top dead centre, in m³.

    (π/4) b² × the travel that is left, exact for the offset slider-crank. Lengths in m, the beginning in rad of the
    crank after bottom dead centre. Source: geometry.

    >>> round(1e6 * float(cranked_volume(0.068, 0.057, 0.1, 0.0, np.pi)), 6)  # nothing is left at top dead centre
    0.0
    """
    return circle(bore) * gas.effective_stroke(np.pi + begins, stroke, rod_length, pin_offset)


@figure(
    "cranking_compression",
    unit="",
    group=_GROUP,
    meaning="compression ratio while the engine is turned over",
    formula="(volume swept from where compression begins + clearance volume) / clearance volume",
    source="definition; volumes only",
    inputs=("cranked_volume", "clearance_volume"),
    public=False,
)
def cranking_compression(cranked: float, clearance: float) -> float:
    """Compression ratio while the engine is turned over, (cranked + clearance) / clearance; volumes in m³.

    Without a decompressor the ratio from intake closing on. Source: definition.

    >>> cranking_compression(0.00006, 0.00003)
    3.0
    """
    return 1.0 + cranked / clearance


@kept
def _hardest(
    bore: Any,
    stroke: Any,
    rod_length: Any,
    pin_offset: Any,
    begins: Any,
    clearance: Any,
    ambient: Any,
    exponent: Any,
) -> Any:
    """Greatest torque between the beginning of compression and top dead centre, N·m."""
    plain = (bore, stroke, rod_length, pin_offset, begins, clearance, ambient, exponent)
    wide = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in plain))
    diameter, travel, rod, offset, start, least, outside, power = (column(each) for each in wide)
    area = circle(diameter)
    trapped = least + area * drop_after_top(np.pi + start, travel, rod, offset)
    top = top_dead_centre(travel, rod, offset)

    def helped(angle: Any) -> Any:
        volume = least + area * drop_after_top(angle, travel, rod, offset)
        over = outside * ((trapped / volume) ** power - 1.0)
        return over * area * piston_speed(angle + top, travel, rod, offset, 1.0)

    turned, _ = least_over_angle(helped, np.pi + wide[4], np.full(wide[4].shape, 2 * np.pi))
    return -turned


@figure(
    "cranking_torque",
    unit="N_m",
    group=_GROUP,
    meaning="greatest torque on the crank against compression while the engine is turned over by hand",
    formula="greatest of (p − p₀) × (π/4) × bore² × dx/dθ up to top dead centre, with p = p₀ × (volume where "
    "compression begins / volume) ^ exponent; one cylinder on compression at a time, ring friction and flywheel "
    "left out",
    source="virtual work; exponent common practice, no source (1.2 to 1.3)",
    inputs=(
        "block.bore",
        "crank.stroke",
        "rod.length",
        "piston.pin_offset",
        "compression_begins",
        "clearance_volume",
        "conditions.altitude",
        "conditions.polytropic",
    ),
)
def cranking_torque(
    bore: float,
    stroke: float,
    rod_length: float,
    pin_offset: float,
    begins: float,
    clearance: float,
    altitude: float,
    exponent: float,
) -> float:
    """Greatest torque on the crank against compression while the engine is turned over by hand, in N·m.

    Virtual work: T dθ = (p − p₀) A dx, so T = (p − p₀) A dx/dθ, with p(θ) = p₀ (V(θ₁) / V(θ))ⁿ from θ₁ on, where the
    gas is trapped, and air at p₀ under the piston. Lengths in m, the beginning in rad of the crank after bottom dead
    centre, the clearance volume in m³, a geometric altitude in m. One cylinder on compression at a time: where two
    compress together it is twice that. Ring friction, bearings and what a flywheel stores are left out. Exact
    slider-crank; the greatest is found by a scan. Source: virtual work; n is common practice, no source.

    >>> from math import pi
    >>> at = (0.068, 0.057, 0.1, 0.0, 2 * pi / 3, 25e-6, 0.0, 1.25)
    >>> round(float(cranking_torque(*at)), 2)
    11.0
    """
    ambient = gas.air_pressure(altitude)
    greatest: float = _hardest(bore, stroke, rod_length, pin_offset, begins, clearance, ambient, exponent)
    return greatest


@figure(
    "rope_force",
    unit="N",
    group=_GROUP,
    meaning="greatest force of the starting rope to turn the engine over",
    formula="greatest cranking torque / radius at which the rope pulls; one cylinder on compression at a time, ring "
    "friction and flywheel left out",
    source="virtual work",
    inputs=("cranking_torque", "conditions.rope_radius"),
    step=10.0,
)
def rope_force(torque: float, radius: float) -> float:
    """Greatest force of the starting rope, T / R, in N: cranking torque in N·m, radius at which the rope pulls in m.

    Ring friction and flywheel are left out, so that a slow pull takes more and a spinning flywheel less. Source:
    virtual work.

    >>> round(rope_force(10.9, 0.035), 1)
    311.4
    """
    return torque / radius
