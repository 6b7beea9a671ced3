"""One combination from what was chosen: a part of each kind, a gasket stack, machining on their grids."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import MACHINING_UNITS, Combination, rebores
from kitwright.solver.parts import KINDS, Gasket, Part
from kitwright.solver.plan import MACHINING, Plan
from kitwright.solver.quantity import LENGTH, VOLUME, Quantity, QuantityError, parse, plain, unit_factor
from kitwright.solver.rules import SAME_SIZE

OWNER = {"mill": "head", "relieve": "head", "deck_cut": "block", "rebore": "block"}
"""Machining operation to the kind of part that it is done to."""

_ON_GRID = Fraction(1, 10_000)
"""Share of a step by which an amount may miss the grid and still be rounding."""

_MOST_LISTED = 20


class ChoiceError(ValueError):
    """A choice that makes no combination; the text says what there is to choose from."""


class OpenChoiceError(ChoiceError):
    """Kinds of which a part has to be named; ``kinds`` maps each to the ids to choose from."""

    def __init__(self, kinds: Mapping[str, Sequence[str]]) -> None:
        listed = "; ".join(f"{_word(kind)}: {listing(ids)}" for kind, ids in kinds.items())
        super().__init__(f"the choice is open; name one of each: {listed}")
        self.kinds = kinds


def compose(catalogue: Catalogue, plan: Plan, machining: Mapping[str, str | Quantity] | None = None) -> Combination:
    """Build the combination that a plan's pins leave, with some machining.

    A kind is taken from ``plan.use``; where it is not pinned and not optional, the catalogue must hold one
    part of it alone (of those that the plan does not avoid). A kind that ``plan.kinds`` leaves out drops out.
    Whether the parts fit one another, and whether the plan allows the machining, is for the check to say.

    Args:
        catalogue: the parts.
        plan: ``use`` holds what was chosen, ``gasket`` the whole stack.
        machining: operation to its amount, as text (``0.25 mm``) or as a quantity; of a rebore, the new bore.

    Raises:
        OpenChoiceError: kinds of which no part is chosen, and the catalogue holds several.
        ChoiceError: an id that is unknown, or an amount that the part does not allow.

    >>> compose(Catalogue.of([]), Plan()).ids
    {}

    """
    parts: dict[str, Part] = {}
    gaskets: list[Gasket] = []
    open_kinds: dict[str, list[str]] = {}
    for kind in KINDS:
        chosen = plan.use.get(kind, ())
        if not chosen:
            dropped = plan.kinds is not None and kind not in plan.kinds
            if dropped or kind in plan.optional or not catalogue.of_kind(kind):
                continue
            only = _only(catalogue.of_kind(kind), plan)
            if only is None:
                open_kinds[kind] = [part.id for part in catalogue.of_kind(kind)]
                continue
            chosen = (only.id,)
        found = [_named(catalogue, kind, each) for each in chosen]
        if kind == "gasket":
            gaskets.extend(part for part in found if isinstance(part, Gasket))
        elif len(found) > 1:
            raise ChoiceError(f"{' and '.join(chosen)}: an engine takes one {_word(kind)}")
        else:
            parts[kind] = found[0]
    if open_kinds:
        raise OpenChoiceError(open_kinds)
    return _machined(Combination(parts, tuple(sorted(gaskets, key=lambda each: each.id))), machining or {})


def _only(held: Sequence[Part], plan: Plan) -> Part | None:
    kept = [part for part in held if part.id not in plan.avoid] or list(held)
    return kept[0] if len(kept) == 1 else None


def _named(catalogue: Catalogue, kind: str, part_id: str) -> Part:
    part = catalogue.get(part_id)
    if part is None or part.kind != kind:
        what = "no part of the catalogue" if part is None else f"a {_word(part.kind)}, not a {_word(kind)}"
        held = listing([each.id for each in catalogue.of_kind(kind)]) or "none"
        raise ChoiceError(f"`{part_id}` is {what}; {_word(kind)}s to choose from: {held}")
    return part


def _machined(combination: Combination, machining: Mapping[str, str | Quantity]) -> Combination:
    amounts: dict[str, Any] = {}
    for operation, asked in machining.items():
        if operation not in MACHINING:
            raise ChoiceError(f"`{operation}` is no machining operation; there are {', '.join(MACHINING)}")
        owner = combination.parts.get(OWNER[operation])
        if owner is None:
            raise ChoiceError(f"{operation}: there is no {OWNER[operation]} in the combination to work on")
        amount = _quantity(operation, asked)
        amounts[operation] = _bore(owner, amount) if operation == "rebore" else _cut(owner, operation, amount)
    return Combination(combination.parts, combination.gaskets, **amounts)


def _quantity(operation: str, asked: str | Quantity) -> Quantity:
    dimension = VOLUME if MACHINING_UNITS[operation] == "cc" else LENGTH
    if isinstance(asked, Quantity):
        amount = asked
    else:
        try:
            amount = parse(asked, dimension)
        except QuantityError as error:
            raise ChoiceError(f"{operation}: {error}") from None
    if amount.dimension is not dimension:
        raise ChoiceError(f"{operation}: `{amount}` is no {dimension.name}")
    if amount.stated:
        raise ChoiceError(f"{operation}: `{amount}` has a ±; an amount of machining is exact")
    if amount.exact < 0:
        raise ChoiceError(f"{operation}: `{amount}` is negative; machining takes off, so it is written without a sign")
    return amount


def _cut(owner: Part, operation: str, amount: Quantity) -> Fraction:
    """Snap an amount to the part's own grid."""
    steps = getattr(owner, operation, None)
    if amount.exact == 0:
        return Fraction(0)
    if steps is None:
        raise ChoiceError(f"{operation}: the catalogue allows none on {owner.id} (it gives no `{operation}`)")
    step: Fraction = steps.step.exact
    most = int(steps.max.exact / step)
    place = amount.exact / step
    near = round(place)
    if near <= most and abs(place - near) <= _ON_GRID:
        return near * step
    unit = MACHINING_UNITS[operation]
    factor = unit_factor(unit, amount.dimension)

    def said(number: int) -> str:
        return f"{plain(float(number * step / factor))} {unit}"

    if place > most:
        raise ChoiceError(
            f"{operation}: {amount} is more than {owner.id} allows; at most {said(most)}, in steps of {steps.step}"
        )
    below = int(place)
    nearest = f"{said(below)} and {said(below + 1)}" if below < most else said(below)
    raise ChoiceError(
        f"{operation}: {amount} is not on the grid of {owner.id} (steps of {steps.step}); the nearest are {nearest}"
    )


def _bore(owner: Part, amount: Quantity) -> Quantity:
    allowed = rebores(owner)
    for bore in allowed:
        if abs(float(bore.exact - amount.exact)) <= SAME_SIZE:
            return bore
    listed = ", ".join(map(str, allowed))
    if not listed:
        raise ChoiceError(f"rebore: the catalogue allows none on {owner.id} (it gives no `rebore`)")
    raise ChoiceError(f"rebore: {owner.id} can be bored to {listed}, not to {amount}")


def _word(kind: str) -> str:
    return kind.replace("_", " ")


def listing(ids: Sequence[str]) -> str:
    """Ids in a line, the first twenty of them."""
    names = list(ids)
    more = f" … and {len(names) - _MOST_LISTED} more" if len(names) > _MOST_LISTED else ""
    return ", ".join(names[:_MOST_LISTED]) + more
