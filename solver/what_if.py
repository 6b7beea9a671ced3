"""What a change does to one combination: figures that move, limits whose answer changes; and sensitivities."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kitwright.solver.check import NEAR, View
from kitwright.solver.combination import batch_of
from kitwright.solver.evaluate import compute, in_unit, shifted
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import LENGTH, unit_factor
from kitwright.solver.registry import FIGURES, leaves_of, public_figures
from kitwright.solver.result import Checked, Limit
from kitwright.solver.shares import figures_that_matter


@dataclass(frozen=True, slots=True)
class Moved:
    """A figure before and after, in its unit; None where it cannot be computed."""

    figure: str
    old: float | None
    new: float | None


@dataclass(frozen=True, slots=True)
class Turned:
    """A limit whose answer is another after the change; None where the limit is not there."""

    old: Limit | None
    new: Limit | None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A combination before and after some changes that apply together.

    Attributes:
        changes: what was asked, as it was typed.
        before: the plain check without them.
        after: the plain check with them.
        plan: the plan as it is with them.
        moved: figures that move, in the builder's order.
        turned: limits whose answer changes.
        notes: what a reader has to know, a sentence each.

    """

    changes: tuple[str, ...]
    before: Checked
    after: Checked
    plan: Plan
    moved: tuple[Moved, ...]
    turned: tuple[Turned, ...]
    notes: tuple[str, ...] = ()


def compare(
    before: Checked, after: Checked, plan: Plan, changes: tuple[str, ...] = (), notes: tuple[str, ...] = ()
) -> WhatIf:
    """What is different between two checks; differences of rounding (1e-9, relative above 1) count as none."""
    moved = []
    for name in public_figures():
        old, new = before.figures.get(name), after.figures.get(name)
        if old is None or new is None:
            if old is not new:
                moved.append(Moved(name, old, new))
        elif abs(new - old) > NEAR * max(1.0, abs(old)):
            moved.append(Moved(name, old, new))
    return WhatIf(changes, before, after, plan, tuple(moved), _turned(before.limits, after.limits), notes)


def _turned(before: tuple[Limit, ...], after: tuple[Limit, ...]) -> tuple[Turned, ...]:
    """Limits by what they are of; one that is there on one side alone counts where it is, or was, missed."""
    old, new = _by_key(before), _by_key(after)
    found = []
    for key in dict.fromkeys((*old, *new)):
        was, now = old.get(key), new.get(key)
        if was is not None and now is not None:
            if was.holds is not now.holds:
                found.append(Turned(was, now))
        elif (was or now).holds is not True:  # type: ignore[union-attr]
            found.append(Turned(was, now))
    return tuple(found)


def _by_key(limits: tuple[Limit, ...]) -> dict[tuple[str, str, str], Limit]:
    """Limits by kind, name and side; of several under one key the one that is missed stands for all."""
    found: dict[tuple[str, str, str], Limit] = {}
    for each in limits:
        key = each.kind, each.name, each.limit
        if key not in found or each.holds is False:
            found[key] = each
    return found


STEPS: Mapping[str, tuple[str, str]] = {
    "block.block_height": ("deck lower down the bore", "length"),
    "gaskets.thickness": ("gasket thicker", "length"),
    "machining.mill": ("head milled", "length"),
    "machining.deck_cut": ("deck cut", "length"),
    "head.chamber": ("chamber larger", "cc"),
    "piston.dish": ("dish larger", "cc"),
    "rod.length": ("rod longer", "length"),
    "piston.compression_height": ("compression height greater", "length"),
    "crank.stroke": ("stroke longer", "length"),
    "head.valve_drop": ("valves deeper in the head", "length"),
    "cam.lash_intake": ("intake lash greater", "length"),
    "cam.lash_exhaust": ("exhaust lash greater", "length"),
    "cam.base_radius": ("base circle larger", "length"),
}
"""Leaf to what one step more of it is, and whether the step is a length or a volume."""

WATCHED = (
    "compression",
    "quench",
    "piston_to_valve_intake",
    "piston_to_valve_exhaust",
    "pushrod_length",
)
"""Figures whose sensitivities are always shown, where they can be computed."""

_CC = 0.1


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """What one step of a dimension or of machining does: figure to its change, in the figure's unit."""

    name: str
    words: str
    step: float
    unit: str
    changes: Mapping[str, float]


def sensitivities(view: View) -> tuple[Sensitivity, ...]:
    """What each 0.01 mm (1 thou where the plan is in inches) or 0.1 cc does to the figures that are watched.

    The figures are worked out again one step on, all else as it is; rows that move nothing are left out. Where the
    deck was measured, a deck of one step more stands in for the block height.
    """
    inch = view.plan.units == "in"
    length, unit = (float(unit_factor("thou", LENGTH)), "thou") if inch else (1e-5, "mm")
    names = dict.fromkeys((*WATCHED, *figures_that_matter(view.plan)))
    watched = [name for name in names if FIGURES[name].unit != "money" and not math.isnan(view.value(name))]
    view.reader.read(tuple(dict.fromkeys(leaf for name in watched for leaf in leaves_of(name))))
    leaves: Mapping[str, Any] = view.reader.values
    found = []
    for leaf, (words, kind) in STEPS.items():
        at = "measured.deck" if leaf == "block.block_height" and _measured(leaves) else leaf
        value = leaves.get(at)
        if value is None or any(map(math.isnan, value if isinstance(value, tuple) else (value,))):
            continue
        step = length if kind == "length" else _CC * float(unit_factor("cc", FIGURES["clearance_volume"].dimension))
        moved = shifted(leaves, at, 0 if isinstance(value, tuple) else None, step)
        layers = batch_of(view.combination.gaskets) if isinstance(value, tuple) else ()
        for layer in (layer for layer, first in enumerate(layers) if layer and not first):
            moved, words = shifted(moved, at, layer, step), "gaskets of one batch thicker"
        changes = {}
        with np.errstate(all="ignore"):
            for name in watched:
                change = in_unit(name, compute(name, moved)) - view.value(name)
                if math.isfinite(change) and abs(change) > NEAR:
                    changes[name] = float(change)
        if changes:
            shown = (_CC, "cc") if kind == "cc" else (1.0 if inch else 0.01, unit)
            found.append(Sensitivity(leaf, words, *shown, changes))
    return tuple(found)


def _measured(leaves: Mapping[str, Any]) -> bool:
    value = leaves.get("measured.deck", math.nan)
    return not math.isnan(value)
