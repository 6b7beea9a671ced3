"""One thing about a combination changed: a dimension of a part, or a part for another of its kind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from kitwright.solver.combination import DERIVED, Combination, cut_amounts, rebores
from kitwright.solver.compose import OWNER
from kitwright.solver.fields import FieldSpec, specs
from kitwright.solver.parts import KINDS, Gasket, Part
from kitwright.solver.plan import MACHINING, Plan
from kitwright.solver.quantity import BARE, Dimension, Quantity, plain, unit_factor


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A dimension of a combination: kind of part, id, field (``top_land.height``), gasket layer.

    ``kind`` is ``measured`` for a deck that was measured, ``reference`` for a value of the plan's reference; both
    have no part.
    """

    kind: str
    part: str | None
    field: str
    layer: int | None = None


def place_of(combination: Combination, leaf: str, layer: int | None = None) -> Place:
    """Whose dimension a leaf (``crank.stroke``, ``gaskets.thickness`` with its layer) is."""
    owner, _, path = leaf.partition(".")
    if owner == "gaskets":
        gasket = combination.gaskets[layer or 0]
        return Place("gasket", gasket.id, path, layer)
    part = combination.parts.get(owner)
    return Place(owner, part.id if part else None, path)


def is_dimension(name: str) -> bool:
    """Whether a field is a dimension of the part as it is, not a rating nor a grid of machining.

    >>> is_dimension("stroke"), is_dimension("max_rpm"), is_dimension("mill.step")
    (True, False, False)
    """
    owner = name.partition(".")[0]
    return not owner.startswith("max_") and owner not in (*MACHINING, "cut_to")


def spec_of(part: Part, path: str) -> FieldSpec | None:
    """Specification of a part's dimension (``chamber``, ``top_land.height``); None where it is no quantity."""
    outer, _, inner = path.partition(".")
    if outer in DERIVED:
        return None
    spec = specs(type(part)).get(outer)
    if spec is not None and inner:
        spec = specs(spec.group).get(inner) if spec.group is not None else None
    return spec if spec is not None and spec.form == "quantity" else None


def with_quantity(part: Part, path: str, value: Quantity) -> Part:
    """The part with one dimension changed; a nested one (``top_land.height``) must be given on the part."""
    outer, _, inner = path.partition(".")
    new: Any = replace(getattr(part, outer), **{inner: value}) if inner else value
    return replace(part, **{outer: new})


def quantity(
    value: Fraction, tolerance: float, dimension: Dimension, unit: str, stated: bool | None = None
) -> Quantity:
    """A quantity in SI with the text that a builder would write for it, in ``unit``.

    >>> from kitwright.solver.quantity import LENGTH
    >>> quantity(Fraction(7, 10_000), 5e-5, LENGTH, "mm").text
    '0.7 mm ± 0.05 mm'
    """
    factor = Fraction(1) if dimension in BARE else unit_factor(unit, dimension)
    text = f"{plain(float(value / factor))} {unit}".strip()
    if tolerance:
        text += f" ± {plain(tolerance / float(factor))} {unit}".rstrip()
    return Quantity(value, tolerance, bool(tolerance) if stated is None else stated, dimension, text)


def with_part(combination: Combination, part: Part) -> Combination:
    """The combination with a part for the one of its kind; machining stays where the new part allows it.

    A part changed in a dimension (its id stays) keeps all machining. For gaskets see :func:`with_gaskets`.
    """
    old = combination.parts.get(part.kind)
    parts = {**combination.parts, part.kind: part}
    parts = {kind: parts[kind] for kind in KINDS if kind in parts}
    if old is not None and old.id == part.id:
        return replace(combination, parts=parts)
    dropped: dict[str, Any] = {}
    for work in combination.operations:
        if OWNER[work] == part.kind and not _allows(part, work, combination):
            dropped[work] = None if work == "rebore" else Fraction(0)
    return replace(combination, parts=parts, **dropped)


def _allows(part: Part, work: str, combination: Combination) -> bool:
    amount = combination.amount(work)
    if work == "rebore":
        return any(bore.exact == amount for bore in rebores(part))
    return amount in cut_amounts(part, work)


def with_gaskets(combination: Combination, gaskets: tuple[Gasket, ...]) -> Combination:
    """The combination with another stack, sorted by id."""
    return replace(combination, gaskets=tuple(sorted(gaskets, key=lambda each: each.id)))


def pinned(plan: Plan, combination: Combination) -> Plan:
    """The plan with each pin that a combination oversteps moved to what the combination has: a pin was the choice."""
    use = dict(plan.use)
    for kind in plan.use:
        if kind == "gasket":
            ids = tuple(each.id for each in combination.gaskets)
        else:
            ids = (combination.parts[kind].id,) if kind in combination.parts else ()
        if ids:
            use[kind] = ids
        else:
            del use[kind]
    return plan.but(use=use)


def with_dimension(combination: Combination, place: Place, value: Quantity) -> Combination:
    """The combination with one dimension of one of its parts changed (of every layer of that gasket).

    What a gasket's free thickness is says nothing of one with another compressed thickness.
    """
    if place.kind == "gasket":
        changed: list[Any] = list(combination.gaskets)
        for number, each in enumerate(combination.gaskets):
            if each.id == place.part:
                bare = replace(each, free_thickness=None) if place.field == "thickness" else each
                changed[number] = with_quantity(bare, place.field, value)
        return with_gaskets(combination, tuple(changed))
    return with_part(combination, with_quantity(combination.parts[place.kind], place.field, value))
