"""The sum behind a figure, line by line: every formula that it goes through, with the inputs filled in."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kitwright.solver.check import View
from kitwright.solver.combination import Combination, specs_of
from kitwright.solver.degree_wheel import OFF_READINGS
from kitwright.solver.fields import specs
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import ANGLE, BARE, LENGTH, TEMPERATURE, Dimension, unit_factor
from kitwright.solver.registry import FIGURES, UNITS

_OTHER: dict[str, tuple[Dimension, str]] = {
    "machining.mill": (LENGTH, "mm"),
    "machining.deck_cut": (LENGTH, "mm"),
    "machining.relieve": UNITS["cc"],
    "plan.rev_ceiling": UNITS["rpm"],
    "conditions.altitude": (LENGTH, "m"),
    "conditions.polytropic": UNITS[""],
    "conditions.float_margin": UNITS[""],
    "conditions.peak_pressure": UNITS["kPa"],
    "conditions.rope_radius": (LENGTH, "mm"),
    "measured.deck": UNITS["mm"],
    "money.to_spend": UNITS["money"],
    "money.parts_to_buy": UNITS[""],
    "gaskets.count": UNITS[""],
    "reference.pushrod_angle": (ANGLE, "deg"),
    "reference.balance_factor": UNITS[""],
}
_DERIVED = {
    "elasticity": "Pa",
    "shear_modulus": "Pa",
    "density": "kg/m³",
    "expansion": "1/K",
    "case_expansion": "1/K",
    "wire_yield": "Pa",
    "wire_exponent": "",
}


@dataclass(frozen=True, slots=True)
class Input:
    """What goes into a step: a field of a part (``of`` is its id), something of the plan, or an earlier figure."""

    name: str
    of: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Step:
    """One formula with its inputs filled in; values in the unit beside them, NaN where unknown."""

    figure: str
    meaning: str
    formula: str
    inputs: tuple[Input, ...]
    value: float
    unit: str


def trace(combination: Combination, plan: Plan, figure: str) -> tuple[Step, ...]:
    """Every step to a figure, first things first, each formula once.

    Raises:
        KeyError: no such figure.
    """
    view = View(combination, plan)
    done: dict[str, Step] = {}
    for name in _inner_first(figure):
        if name not in done:
            done[name] = _step(view, name)
    return tuple(done.values())


def _inner_first(name: str) -> Iterator[str]:
    for each in FIGURES[name].inputs:
        if each.rstrip("?") in FIGURES:
            yield from _inner_first(each.rstrip("?"))
    yield name


def _step(view: View, name: str) -> Step:
    entry = FIGURES[name]
    inputs: list[Input] = []
    for each in entry.inputs:
        bare = each.rstrip("?")
        if bare in FIGURES:
            inputs.append(Input(bare, "", view.value(bare), UNITS[FIGURES[bare].unit][1]))
        elif bare not in OFF_READINGS:
            inputs += [one for one in _leaf(view, bare) if each == bare or not math.isnan(one.value)]
    return Step(name, entry.meaning, entry.formula, tuple(inputs), view.value(name), UNITS[entry.unit][1])


def _leaf(view: View, name: str) -> Iterator[Input]:
    owner, _, rest = name.partition(".")
    value = view.reader[name]
    dimension, unit = _unit(name)
    if owner == "gaskets" and rest != "count":
        for gasket, layer in zip(view.combination.gaskets, value, strict=False):
            yield Input(name, gasket.id, _shown(layer, dimension, unit), unit)
        return
    part = view.combination.parts.get(owner)
    yield Input(name, part.id if part is not None else "", _shown(float(value), dimension, unit), unit)


def _shown(value: float, dimension: Dimension | None, unit: str) -> float:
    if dimension is None or not math.isfinite(value):
        return value
    return value / float(unit_factor(unit, dimension))


def _unit(name: str) -> tuple[Dimension | None, str]:
    """Dimension and unit that a leaf is shown in."""
    owner, _, rest = name.partition(".")
    if name in _OTHER:
        return _OTHER[name]
    if rest in _DERIVED:
        return None, _DERIVED[rest]
    if owner == "reference":
        return LENGTH, "mm"
    if owner == "conditions":
        return TEMPERATURE, "K"
    first, _, inner = rest.partition(".")
    spec = specs_of(KINDS["gasket" if owner == "gaskets" else owner])[first]
    if inner and spec.group is not None:
        spec = specs(spec.group)[inner]
    if spec.dimension is None or spec.dimension in BARE:
        return None, ""
    return spec.dimension, spec.dimension.likely[0]
