"""Displacement, clearance volume and compression."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from kitwright.solver.formulas.arrays import where
from kitwright.solver.registry import Slack, figure


def circle(diameter: float) -> float:
    """Area of a circle of a diameter in metres, in m²: (π/4) d². Source: geometry.

    >>> round(1e6 * circle(0.072), 1)
    4071.5
    """
    return np.pi / 4 * diameter**2


@figure(
    "swept_volume",
    unit="cc",
    group="volumes and compression",
    meaning="volume swept by one piston",
    formula="(π/4) × bore² × piston travel",
    source="Heywood, Internal Combustion Engine Fundamentals, ch. 2 (recalled)",
    inputs=("block.bore", "piston_travel"),
    shape="additive",
    public=False,
)
def swept_volume(bore: float, travel: float) -> float:
    """Volume that one piston sweeps, (π/4) b² s, in m³; bore and travel in m. Exact.

    Source: Heywood, Internal Combustion Engine Fundamentals, ch. 2 (recalled, recomputed).

    >>> round(1e6 * swept_volume(0.072, 0.066), 3)
    268.719
    """
    return circle(bore) * travel


@figure(
    "displacement",
    unit="cc",
    group="volumes and compression",
    meaning="volume swept by all pistons",
    formula="cylinders × (π/4) × bore² × stroke",
    source="Heywood, Internal Combustion Engine Fundamentals, ch. 2 (recalled)",
    inputs=("swept_volume", "block.cylinders"),
    step=1.0,
)
def displacement(swept: float, cylinders: float) -> float:
    """Swept volume (m³) of all cylinders, in m³.

    Source: Heywood, Internal Combustion Engine Fundamentals, ch. 2 (recalled, recomputed).

    >>> displacement(0.00025, 2.0)
    0.0005
    """
    return swept * cylinders


@figure(
    "gasket_volume",
    unit="cc",
    group="volumes and compression",
    meaning="volume inside the gaskets' bores",
    formula="Σ (π/4) × gasket bore² × compressed thickness",
    source="geometry",
    inputs=("gaskets.bore", "gaskets.thickness"),
    shape="additive",
    public=False,
)
def gasket_volume(bores: Sequence[float], thicknesses: Sequence[float]) -> float:
    """Volume of all layers, Σ (π/4) d² t, in m³; bores and thicknesses in m, one a layer. Source: geometry.

    >>> round(1e6 * gasket_volume([0.0735, 0.074], [0.0008, 0.0005]), 5)
    5.54475
    """
    layers = [circle(bore) * thickness for bore, thickness in zip(bores, thicknesses, strict=True)]
    total: float = sum(layers[1:], start=layers[0])
    return total


@figure(
    "clearance_volume",
    unit="cc",
    group="volumes and compression",
    meaning="volume left above the piston at top dead centre, one cylinder",
    formula="chamber − mill × chamber area + relieve + gaskets + (π/4) × bore² × deck + dish − dome "
    "(+ top land (π/4) × (bore² − land²) × height)",
    source="geometry; Heywood, Internal Combustion Engine Fundamentals, eq. 2.1 (recalled)",
    inputs=(
        "head.chamber",
        "head.chamber_area?",
        "machining.mill",
        "machining.relieve",
        "gasket_volume",
        "block.bore",
        "deck",
        "piston.dish",
        "piston.dome",
        "piston.top_land.height?",
        "piston.top_land.clearance?",
    ),
    shape="additive",
)
def clearance_volume(
    chamber: float,
    chamber_area: float,
    mill: float,
    relieve: float,
    gaskets: float,
    bore: float,
    deck_clearance: float,
    dish: float,
    dome: float,
    land_height: float,
    land_clearance: float,
) -> float:
    """Volume above the piston at top dead centre, in m³, cold.

    Chamber less mill × chamber area plus relieve, gaskets, (π/4) b² h, dish less dome, and the crevice of the top land
    (π/4)(b² − (b − c)²) × height where height and clearance c are known. Volumes in m³, lengths in m, area in m².
    Valid for vertical chamber walls over the milled depth. Source: geometry; Heywood, eq. 2.1 (recalled, recomputed).

    >>> nan = float("nan")
    >>> v = clearance_volume(26.5e-6, nan, 0, 0, 5.54475e-6, 0.072, 0.00025, 0, 1.8e-6, nan, nan)
    >>> round(1e6 * float(v), 4)
    31.2626
    """
    milled = where(mill == 0, 0.0, mill * chamber_area)
    crevice = circle(bore) - circle(bore - land_clearance)
    crevice = where(np.isnan(land_height) | np.isnan(crevice), 0.0, crevice * land_height)
    volume: float = chamber - milled + relieve + gaskets + circle(bore) * deck_clearance + dish - dome + crevice
    return volume


LEAST_RATIO = 1.0001
"""A compression ratio that every engine reaches; nearer 1, the clearance volume would be beyond any integer."""


def ratio_at_least(ratio: float, swept: str) -> tuple[Slack, ...] | None:
    """Terms of clearance − swept / (ratio − 1), ≤ 0 exactly where the ratio is reached; None where every engine does.

    ``swept`` names the figure of the swept volume, in m³ as the clearance volume is. Valid from ``LEAST_RATIO`` on.
    Source: the definition of the ratio, (Vs + Vc) / Vc, solved for Vc.

    >>> [(term.figure, term.weight) for term in ratio_at_least(9.0, "swept_volume")]
    [('clearance_volume', 1.0), ('swept_volume', -0.125)]
    """
    if ratio <= LEAST_RATIO:
        return None
    return Slack(1.0, "clearance_volume"), Slack(-1.0 / (ratio - 1.0), swept)


def _at_least(ratio: float, _: Mapping[str, Any]) -> tuple[Slack, ...] | None:
    return ratio_at_least(ratio, "swept_volume")


@figure(
    "compression",
    unit="",
    group="volumes and compression",
    meaning="static compression ratio",
    formula="(swept + clearance) / clearance, one cylinder",
    source="Heywood, Internal Combustion Engine Fundamentals, eq. 2.1 (recalled)",
    inputs=("swept_volume", "clearance_volume"),
    step=0.05,
    at_least=_at_least,
)
def compression(swept: float, clearance: float) -> float:
    """Static compression ratio, (Vs + Vc) / Vc; volumes of one cylinder in m³, Vc > 0.

    Source: Heywood, Internal Combustion Engine Fundamentals, eq. 2.1 (recalled, recomputed).

    >>> round(compression(268.719e-6, 31.2626e-6), 4)
    9.5955
    """
    return 1.0 + swept / clearance
