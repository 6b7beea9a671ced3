"""Proportions of the bottom end, and whether rod and journal go side by side."""

from __future__ import annotations

import numpy as np

from kitwright.solver.formulas.arrays import some, where
from kitwright.solver.registry import figure


@figure(
    "rod_side_clearance",
    unit="mm",
    group="do they fit",
    meaning="play of the big end between the journal's cheeks",
    formula="journal width − rod width",
    source="geometry",
    inputs=("crank.journal_width", "rod.width"),
    shape="additive",
)
def rod_side_clearance(journal_width: float, rod_width: float) -> float:
    """Side play of the big end: journal width − rod width, in metres.

    Args:
        journal_width: width of the rod journal, m.
        rod_width: width of the big end, m.

    Source: geometry.

    >>> round(1000 * rod_side_clearance(0.0222, 0.0220), 6)
    0.2
    """
    return journal_width - rod_width


@figure(
    "piston_travel",
    unit="mm",
    group="the stack",
    meaning="how far the piston travels: the stroke, a little more where the pin is offset",
    formula="√((rod + throw)² − offset²) − √((rod − throw)² − offset²)",
    source="geometry of the offset slider-crank",
    inputs=("crank.stroke", "rod.length?", "piston.pin_offset?"),
    public=False,
)
def piston_travel(stroke: float, rod_length: float, pin_offset: float) -> float:
    """Distance between the piston's two dead centres, in metres.

    √((l + r)² − e²) − √((l − r)² − e²) with throw r = stroke / 2, rod l and pin offset e; the stroke itself where e is
    0 or unknown. Valid for l > r + e. Source: geometry of the offset slider-crank in Norton, Design of Machinery
    (recalled, recomputed).

    >>> float(round(1000 * piston_travel(0.070, 0.1105, 0.001), 4))
    70.0032
    """
    throw = stroke / 2
    known = (np.abs(pin_offset) > 0) & (rod_length > throw)
    if not some(known):
        return stroke + 0.0 * where(np.isnan(rod_length), 0.0, rod_length)
    far = np.sqrt((rod_length + throw) ** 2 - pin_offset**2)
    near = np.sqrt(np.maximum((rod_length - throw) ** 2 - pin_offset**2, 0.0))
    return where(known, far - near, stroke)


@figure(
    "bore_stroke_ratio",
    unit="",
    group="the stack",
    meaning="bore over stroke",
    formula="bore / stroke",
    source="definition",
    inputs=("block.bore", "crank.stroke"),
    step=0.01,
)
def bore_stroke_ratio(bore: float, stroke: float) -> float:
    """Bore over stroke (both m), dimensionless. Source: definition.

    >>> bore_stroke_ratio(0.072, 0.060)
    1.2
    """
    return bore / stroke


@figure(
    "rod_ratio",
    unit="",
    group="the stack",
    meaning="rod length over stroke",
    formula="rod length / stroke",
    source="definition",
    inputs=("rod.length", "crank.stroke"),
    step=0.01,
)
def rod_ratio(rod_length: float, stroke: float) -> float:
    """Rod length over stroke (both m), dimensionless. Source: definition.

    >>> rod_ratio(0.114, 0.057)
    2.0
    """
    return rod_length / stroke
