"""Where figures register: one decorated function each.

Goal keys, columns, JSON, tolerance spreads, the reference page, the search's encoding and the generic tests all read
:data:`FIGURES`. A figure names its inputs; each is either a figure registered before it, or a field of a part
(``crank.stroke``), of the gasket stack (``gaskets.thickness``: one value a layer), of the machining
(``machining.mill``) or of the plan (``plan.rev_ceiling``, ``conditions.altitude``, ``reference.pushrod``).
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, TypeVar

from kitwright.solver.quantity import (
    ACCELERATION,
    ANGLE,
    AREA,
    FORCE,
    FREQUENCY,
    LENGTH,
    MASS,
    MOMENT,
    MONEY,
    PRESSURE,
    RATIO,
    ROTATION,
    SPEED,
    STIFFNESS,
    TORQUE,
    VOLUME,
    Dimension,
    unit_factor,
)

Function = TypeVar("Function", bound=Callable[..., Any])

UNITS: dict[str, tuple[Dimension, str]] = {
    "": (RATIO, ""),
    "money": (MONEY, ""),
    "mm": (LENGTH, "mm"),
    "mm2": (AREA, "mm2"),
    "cc": (VOLUME, "cc"),
    "rpm": (ROTATION, "rpm"),
    "m_s": (SPEED, "m/s"),
    "m_s2": (ACCELERATION, "m/s2"),
    "g": (MASS, "g"),
    "g_mm": (MOMENT, "g*mm"),
    "N": (FORCE, "N"),
    "N_mm": (STIFFNESS, "N/mm"),
    "N_m": (TORQUE, "N*m"),
    "kPa": (PRESSURE, "kPa"),
    "MPa": (PRESSURE, "MPa"),
    "Hz": (FREQUENCY, "Hz"),
    "deg": (ANGLE, "deg"),
}
"""Unit as it ends a figure's key, to its dimension and how it is written."""

GROUPS = (
    "do they fit",
    "the stack",
    "volumes and compression",
    "cam timing",
    "valve gear",
    "breathing",
    "turning clear",
    "at speed",
    "balance",
    "money",
)
"""The builder's steps, in order; every figure belongs to one."""

Shape = Literal["additive", "general"]


@dataclass(frozen=True, slots=True)
class Slack:
    """One term of the sum that is ≤ 0 exactly where a figure reaches a bound: ``weight`` × a value in SI.

    The value is that of ``figure``, or of ``function`` over ``inputs`` where the bound goes into the value itself.
    """

    weight: float
    figure: str = ""
    function: Callable[..., Any] | None = None
    inputs: tuple[str, ...] = ()


AtLeast = Callable[[float, Mapping[str, Any]], "tuple[Slack, ...] | None"]
"""Bound in SI and the plan's constants to the terms of the sum; None for a bound that is always reached."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A registered figure.

    Attributes:
        name: goal key, without unit.
        unit: how the key ends (``mm``), empty for ratios, ``money`` for money.
        function: pure function of SI floats (numpy arrays alike) to an SI float.
        inputs: what feeds each parameter; a trailing ``?`` marks one that may be unknown (NaN is handed over).
        shape: ``additive`` where the figure is a sum of terms, one a slot; ``general`` otherwise.
        extreme: ``max`` or ``min`` where the figure is the greatest or least of its inputs, branches like two valves.
        bound_without: inputs without which the value is only an upper bound, so that it proves no minimum.
        bound: ``low`` where the value is the least that the size can be: it proves a minimum, and never that one is
            missed; of a maximum it can only prove that it is missed.
        at_least: bound to the terms of a sum that is ≤ 0 exactly where the figure reaches the bound; the search encodes
            limits and closeness through it. The first term's figure is additive.
        wants: fields to name as missing where the figure cannot be computed though all it must have is known.
        proviso: what has to be said wherever a limit on the figure is missed, as a clause.
        public: False for helpers that only rules use.
    """

    name: str
    unit: str
    meaning: str
    formula: str
    source: str
    group: str
    step: float
    function: Callable[..., Any]
    inputs: tuple[str, ...]
    shape: Shape
    extreme: Literal["min", "max"] | None
    bound_without: tuple[str, ...]
    bound: Literal["", "low"]
    at_least: AtLeast | None
    wants: tuple[str, ...]
    proviso: str
    public: bool

    @property
    def key(self) -> str:
        """Name with its unit, as in JSON and CSV: ``quench_mm``."""
        return self.name if self.unit in ("", "money") else f"{self.name}_{self.unit}"

    @property
    def dimension(self) -> Dimension:
        """Dimension of the value."""
        return UNITS[self.unit][0]

    @property
    def factor(self) -> float:
        """SI value of one of the figure's unit."""
        return _factor(self.unit)

    @property
    def required(self) -> tuple[str, ...]:
        """Inputs that must be known."""
        return tuple(name for name in self.inputs if not name.endswith("?"))


@cache
def _factor(unit: str) -> float:
    dimension, written = UNITS[unit]
    return float(unit_factor(written, dimension))


FIGURES: dict[str, Figure] = {}
"""Every figure by name, in the order of the builder's steps as the formula modules register them."""

PART_FIELDS = ("block", "crank", "rod", "piston", "gaskets", "spacer", "head", "cam", "rocker", "spring", "retainer")
OTHER_FIELDS = (
    "spring_shim",
    "pushrod",
    "flywheel",
    "machining",
    "plan",
    "conditions",
    "reference",
    "measured",
    "money",
)


class RegistryError(ValueError):
    """A figure that may not be registered: duplicate, no unit, no source, an input that nothing feeds."""


def figure(
    name: str,
    *,
    unit: str,
    group: str,
    meaning: str,
    formula: str,
    source: str,
    inputs: tuple[str, ...],
    step: float | None = None,
    shape: Shape = "general",
    extreme: Literal["min", "max"] | None = None,
    bound_without: tuple[str, ...] = (),
    bound: Literal["", "low"] = "",
    at_least: AtLeast | None = None,
    wants: tuple[str, ...] = (),
    proviso: str = "",
    public: bool = True,
) -> Callable[[Function], Function]:
    """Register a formula as a figure.

    Args:
        name: goal key without unit.
        unit: a key of :data:`UNITS`.
        group: one of :data:`GROUPS`.
        meaning: one line for people.
        formula: the equation, symbols spelled out.
        source: where the equation comes from.
        inputs: what feeds each parameter, in the parameters' order.
        step: smallest difference that matters, in ``unit``; by default that of :data:`DEFAULT_STEPS`.
        shape: ``additive`` lets the search use it as a sum; it must be one.
        extreme: ``max`` or ``min`` where the figure is that of its inputs, which are figures themselves.
        bound_without: inputs without which the value is an upper bound only.
        bound: see :class:`Figure`.
        at_least: see :class:`Figure`.
        wants: see :class:`Figure`.
        proviso: see :class:`Figure`.
        public: whether people see it.

    Raises:
        RegistryError: whatever would make the entry useless.
    """

    def register(function: Function) -> Function:
        if name in FIGURES:
            raise RegistryError(f"two figures are called {name}")
        if unit not in UNITS:
            raise RegistryError(f"{name}: no unit `{unit}`")
        if group not in GROUPS:
            raise RegistryError(f"{name}: no group `{group}`")
        if not (source and meaning and formula):
            raise RegistryError(f"{name}: meaning, formula and source are needed")
        if len(inspect.signature(function).parameters) != len(inputs):
            raise RegistryError(f"{name}: {len(inputs)} inputs for another number of parameters")
        for each in inputs:
            owner, dot, _ = each.rstrip("?").partition(".")
            if not dot and owner not in FIGURES:
                raise RegistryError(f"{name}: no figure `{each}` has been registered before it")
            if dot and owner not in PART_FIELDS + OTHER_FIELDS:
                raise RegistryError(f"{name}: nothing feeds `{each}`")
        FIGURES[name] = Figure(
            name,
            unit,
            meaning,
            formula,
            source,
            group,
            step if step is not None else DEFAULT_STEPS[unit],
            function,
            inputs,
            shape,
            extreme,
            bound_without,
            bound,
            at_least,
            wants,
            proviso,
            public,
        )
        return function

    return register


DEFAULT_STEPS = {
    "": 0.05,
    "money": 1.0,
    "mm": 0.05,
    "mm2": 5.0,
    "cc": 0.1,
    "rpm": 50.0,
    "m_s": 0.1,
    "m_s2": 100.0,
    "g": 1.0,
    "g_mm": 100.0,
    "N": 50.0,
    "N_mm": 0.5,
    "N_m": 0.5,
    "kPa": 10.0,
    "MPa": 10.0,
    "Hz": 5.0,
    "deg": 0.5,
}
"""Smallest difference that matters where a figure names none, by unit."""


@cache
def leaves_of(name: str, optional: bool = True) -> tuple[str, ...]:
    """Fields that a figure depends on through all inputs, without ``?``; ``optional=False`` leaves out those marked."""
    found: dict[str, None] = {}
    for each in FIGURES[name].inputs:
        if each.endswith("?") and not optional:
            continue
        bare = each.rstrip("?")
        found.update(dict.fromkeys(leaves_of(bare, optional) if bare in FIGURES else (bare,)))
    return tuple(found)


@cache
def depends_on(name: str) -> frozenset[str]:
    """The fields of :func:`leaves_of`, to look one up."""
    return frozenset(leaves_of(name))


@cache
def formula_of(name: str) -> tuple[Callable[..., Any], tuple[tuple[str, bool, bool], ...]]:
    """A figure's function and what feeds it: bare name, whether it is a figure, whether it must be known."""
    entry = FIGURES[name]
    bare = [each.rstrip("?") for each in entry.inputs]
    feeds = zip(bare, entry.inputs, strict=True)
    return entry.function, tuple((each, each in FIGURES, each == written) for each, written in feeds)


@cache
def tree_of(name: str, optional: bool = True) -> tuple[str, ...]:
    """A figure and all figures that it is made of; ``optional=False`` leaves out those that may be unknown."""
    found: dict[str, None] = {name: None}
    for each in FIGURES[name].inputs:
        if each.rstrip("?") in FIGURES and (optional or not each.endswith("?")):
            found.update(dict.fromkeys(tree_of(each.rstrip("?"), optional)))
    return tuple(found)


def public_figures() -> dict[str, Figure]:
    """The figures that people see, in order."""
    return {name: each for name, each in FIGURES.items() if each.public}
