"""Deck and quench: where the piston stops."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kitwright.solver.formulas.arrays import some, where
from kitwright.solver.registry import figure


@figure(
    "deck",
    unit="mm",
    group="the stack",
    meaning="how far the piston stops below the deck; negative where it stands proud",
    formula="block height − stroke / 2 − rod − compression height − deck cut + spacer "
    "(with a pin offset e: √((rod + stroke/2)² − e²) for rod + stroke/2)",
    source="geometry",
    inputs=(
        "block.block_height",
        "crank.stroke",
        "rod.length",
        "piston.compression_height",
        "piston.pin_offset?",
        "machining.deck_cut",
        "spacer.thickness",
        "measured.deck?",
    ),
    step=0.02,
    shape="additive",
)
def deck(
    block_height: float,
    stroke: float,
    rod_length: float,
    compression_height: float,
    pin_offset: float,
    deck_cut: float,
    spacer: float,
    measured_deck: float,
) -> float:
    """Piston crown below the deck at top dead centre, in metres; negative where it stands proud.

    h = H − (√((l + r)² − e²) + Hc) − cut + spacer, with throw r = stroke / 2. A measured deck (m, before any cut or
    spacer; NaN where none was measured) takes the place of the first three terms. Cold, on the bore's centreline.
    Source: geometry.

    Args:
        block_height: crank centreline to deck, m.
        stroke: m.
        rod_length: centre to centre, m.
        compression_height: pin centre to crown edge, m.
        pin_offset: m; NaN or 0 for none.
        deck_cut: m taken off the deck.
        spacer: m put under the barrel.
        measured_deck: m, positive down; NaN where not measured.

    >>> nan = float("nan")
    >>> round(1000 * float(deck(0.142, 0.057, 0.085, 0.028, 0.0, 0.0, 0.0, nan)), 6)
    0.5
    """
    reach = rod_length + stroke / 2
    if some(np.abs(pin_offset) > 0):
        offset = where(np.isnan(pin_offset), 0.0, pin_offset)
        reach = where(offset == 0, reach, np.sqrt(np.maximum(reach**2 - offset * offset, 0.0)))
    computed = block_height - reach - compression_height
    stops = where(np.isnan(measured_deck), computed, measured_deck)
    return stops - deck_cut + spacer


@figure(
    "gasket_stack",
    unit="mm",
    group="the stack",
    meaning="compressed thickness of the gaskets together",
    formula="Σ compressed thickness",
    source="definition",
    inputs=("gaskets.thickness",),
    shape="additive",
    public=False,
)
def gasket_stack(thicknesses: Sequence[float]) -> float:
    """Compressed thickness of all layers, in metres. Source: definition.

    >>> gasket_stack([0.0005, 0.001])
    0.0015
    """
    total: float = sum(thicknesses[1:], start=thicknesses[0])
    return total


@figure(
    "quench",
    unit="mm",
    group="the stack",
    meaning="piston to the head's flat at top dead centre, cold and at rest",
    formula="deck + compressed gasket stack",
    source="geometry",
    inputs=("deck", "gasket_stack"),
    step=0.02,
    shape="additive",
)
def quench(deck_clearance: float, stack: float) -> float:
    """Deck plus compressed stack (both m), in metres. Source: geometry.

    >>> round(1000 * quench(0.0005, 0.0005), 6)
    1.0
    """
    return deck_clearance + stack


@figure(
    "ring_to_deck",
    unit="mm",
    group="the stack",
    meaning="how far the top ring's groove stays below the deck at top dead centre",
    formula="deck + height of the top land",
    source="geometry",
    inputs=("deck", "piston.top_land.height"),
    step=0.02,
    shape="additive",
)
def ring_to_deck(deck_clearance: float, top_land: float) -> float:
    """Upper edge of the top ring's groove below the deck, deck + land, in metres; both in m. Source: geometry.

    At 0 or below, the ring springs out of the bore and breaks.

    >>> round(1000 * ring_to_deck(-0.0004, 0.005), 6)
    4.6
    """
    return deck_clearance + top_land


@figure(
    "gasket_count",
    unit="",
    group="the stack",
    meaning="layers in the gasket stack",
    formula="number of gaskets",
    source="definition",
    inputs=("gaskets.count",),
    step=1.0,
    shape="additive",
)
def gasket_count(count: float) -> float:
    """Number of layers. Source: definition.

    >>> gasket_count(2.0)
    2.0
    """
    return count
