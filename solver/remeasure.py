"""What a measurement says: whether it agrees with what was written, and what it points to where it does not.

A deck is predicted from the four parts that it was measured with; any other dimension from what the catalogue says of
it. A measurement is plausible where its range meets the predicted one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from kitwright.solver.candidates import BOTTOM
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.combination import Combination, field_value
from kitwright.solver.parts import Head, Part
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import COMMON_UNITS, LENGTH, Quantity, unit_factor
from kitwright.solver.rules import fits_together

SURPRISE = 0.05e-3
"""Metres that a deck may lie outside its prediction before it is worth a word (common practice, no source)."""

_UNSTATED = {"length": 0.005, "other": 0.05}
"""Share of a value written without ± that a measurement may be off before it is worth a word (no source)."""

_LEAST = 0.1e-3
"""Metres that go with it for lengths."""

_MOST_PARTS = 3

What = Literal["sign", "unit", "part", "diameter", "throw", "bearing", "cut", "milled", "opened", "size"]

_DIMENSIONS = {"block": "block_height", "crank": "stroke", "rod": "length", "piston": "compression_height"}
"""What each part of a short block puts into the deck."""


@dataclass(frozen=True, slots=True)
class Range:
    """A value and how far it may stray at the worst corner of all ±, in SI."""

    value: float
    low: float
    high: float

    @property
    def tolerance(self) -> float:
        """The greater of the two ways that it may stray."""
        return max(self.high - self.value, self.value - self.low)

    def beyond(self, value: float, tolerance: float) -> float:
        """How far ``value`` ± ``tolerance`` stays away from the range; 0 where they meet.

        >>> Range(0.50, 0.27, 0.73).beyond(0.85, 0.02)
        0.1
        """
        return round(max(self.low - value - tolerance, value - tolerance - self.high, 0.0), 12)


@dataclass(frozen=True, slots=True)
class Hint:
    """One thing that an implausible measurement may point to.

    Attributes:
        what: ``sign`` (down for up), ``unit`` (the number in another unit), ``part`` (another part of the catalogue),
            ``diameter`` for a radius, ``throw`` for a stroke, ``bearing`` (play lets the piston hang lower), ``cut`` (a
            deck cut before), ``milled`` or ``opened`` (a head worked on before), ``size`` (what a part would have to
            measure).
        kind: kind of part that it concerns.
        part: id of the other part.
        field: the dimension.
        value: that dimension, or the amount, in SI.
        unit: the unit that was probably meant.

    """

    what: What
    kind: str = ""
    part: str = ""
    field: str = ""
    value: float = math.nan
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """What one measurement says.

    ``predicted`` is None where nothing was known before; ``plausible`` then is None too. ``beyond`` is how far the
    measurement's range stays away from the predicted one, in SI.
    """

    name: str
    measured: Quantity
    predicted: Range | None
    plausible: bool | None
    beyond: float = 0.0
    hints: tuple[Hint, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Implied:
    """The block height that a measured deck implies, in metres; ± is the deck's and the other parts', added."""

    block: str
    value: float
    tolerance: float


def predicted_deck(parts: Mapping[str, Part]) -> Range:
    """Deck of a short block as its parts are written, before any cut or spacer, in metres.

    Args:
        parts: block, crank, rod and piston by kind.

    """
    view = View(Combination({kind: parts[kind] for kind in BOTTOM}), Plan())
    low, high = view.spread("deck", "worst_case")
    return Range(view.value("deck") / 1000, low / 1000, high / 1000)


def judge_deck(parts: Mapping[str, Part], deck: Quantity, catalogue: Catalogue) -> Finding:
    """Say whether a measured deck agrees with its four parts, and what it points to where it does not."""
    predicted = predicted_deck(parts)
    beyond = predicted.beyond(deck.si, deck.tolerance)
    if beyond <= SURPRISE:
        return Finding("deck", deck, predicted, True)
    return Finding("deck", deck, predicted, False, beyond, tuple(_deck_hints(parts, deck, predicted, catalogue)))


def judge_field(part: Part, name: str, measured: Quantity, catalogue: Catalogue) -> Finding:
    """Say whether a measured dimension of a part agrees with what was written, and what it points to where not.

    Args:
        part: as it was before.
        name: the field, nested ones with a dot.
        measured: what was read.
        catalogue: where parts are looked for that would explain it.

    """
    value, tolerance = _written(part, name)
    if math.isnan(value):
        return Finding(name, measured, None, None)
    predicted = Range(value, value - tolerance, value + tolerance)
    beyond = predicted.beyond(measured.si, measured.tolerance)
    slack = _slack(part, name, value, measured)
    if beyond <= slack:
        return Finding(name, measured, predicted, True)
    hints = tuple(_field_hints(part, name, measured, predicted, slack, catalogue))
    return Finding(name, measured, predicted, False, beyond, hints)


def implied_block_height(parts: Mapping[str, Part], deck: Quantity) -> Implied:
    """Block height at which the parts, as they are written, stop where they were measured.

    H = deck + reach + compression height, reach = √((rod + stroke/2)² − offset²); the ± of deck, rod, half the stroke
    and compression height are added. Source: geometry.
    """
    block = parts["block"]
    height: Quantity = block.block_height  # type: ignore[attr-defined]
    exact = replace(block, block_height=replace(height, tolerance=0.0))  # type: ignore[call-arg]
    predicted = predicted_deck({**parts, "block": exact})
    value = height.si + deck.si - predicted.value
    return Implied(block.id, round(value, 12), round(deck.tolerance + predicted.tolerance, 12))


# what it points to


def _deck_hints(parts: Mapping[str, Part], deck: Quantity, predicted: Range, catalogue: Catalogue) -> Iterator[Hint]:
    def explains(value: float, tolerance: float) -> bool:
        return predicted.beyond(value, tolerance) <= SURPRISE

    more = deck.si - predicted.value
    if deck.si and explains(-deck.si, deck.tolerance):
        yield Hint("sign", value=-deck.si)
    for unit, ratio in _other_units(deck):
        number = abs(deck.si * ratio) / float(unit_factor(unit, LENGTH))
        # Nobody reads a deck of half an inch, nor one in tenths of a thou.
        likely = (unit != "in" or number <= 0.5) and (unit != "thou" or number >= 1)
        if likely and explains(deck.si * ratio, deck.tolerance * ratio):
            yield Hint("unit", value=deck.si * ratio, unit=unit)
    yield from _other_short_blocks(parts, deck, catalogue)
    yield Hint("bearing" if more > 0 else "cut", value=abs(more))
    for kind in ("rod", "piston", "block"):
        name = _DIMENSIONS[kind]
        size = getattr(parts[kind], name).si + (more if kind == "block" else -more)
        if size > 0:
            yield Hint("size", kind, parts[kind].id, name, size)


def _other_short_blocks(parts: Mapping[str, Part], deck: Quantity, catalogue: Catalogue) -> Iterator[Hint]:
    """Parts that would stop the piston where it was measured, if one of them were in the engine instead."""
    found = []
    for kind in BOTTOM:
        for other in catalogue.of_kind(kind):
            swapped = {**parts, kind: other}
            if other.id == parts[kind].id or not fits_together(Combination(swapped)):
                continue
            predicted = predicted_deck(swapped)
            if predicted.beyond(deck.si, deck.tolerance) <= SURPRISE:
                name = _DIMENSIONS[kind]
                hint = Hint("part", kind, other.id, name, getattr(other, name).si)
                found.append((round(abs(deck.si - predicted.value), 9), BOTTOM[::-1].index(kind), other.id, hint))
    yield from (each[-1] for each in sorted(found, key=lambda each: each[:3])[:_MOST_PARTS])


def _field_hints(
    part: Part, name: str, measured: Quantity, predicted: Range, slack: float, catalogue: Catalogue
) -> Iterator[Hint]:
    def explains(value: float, tolerance: float) -> bool:
        return predicted.beyond(value, tolerance) <= slack

    for unit, ratio in _other_units(measured):
        if explains(measured.si * ratio, measured.tolerance * ratio):
            yield Hint("unit", value=measured.si * ratio, unit=unit)
    if name.endswith("radius") and explains(measured.si / 2, measured.tolerance / 2):
        yield Hint("diameter", part.kind, field=name, value=measured.si / 2)
    if name == "stroke" and explains(measured.si * 2, measured.tolerance * 2):
        yield Hint("throw", part.kind, field=name, value=measured.si * 2)
    if isinstance(part, Head) and name == "chamber":
        less = predicted.value - measured.si
        if less < 0:
            yield Hint("opened", part.kind, field=name, value=-less)
        elif part.chamber_area is not None:
            yield Hint("milled", part.kind, field=name, value=less / part.chamber_area.si)
    others = []
    for other in catalogue.of_kind(part.kind):
        value, tolerance = _written(other, name)
        if other.id != part.id and not math.isnan(value):
            at = Range(value, value - tolerance, value + tolerance)
            if at.beyond(measured.si, measured.tolerance) <= slack:
                hint = Hint("part", part.kind, other.id, name, value)
                others.append((round(abs(value - measured.si), 12), other.id, hint))
    yield from (each[-1] for each in sorted(others, key=lambda each: each[:2])[:_MOST_PARTS])


def _other_units(read: Quantity) -> Iterator[tuple[str, float]]:
    """Likely units other than the one that was written, with what the value is multiplied by if that was meant."""
    words = re.findall(r"[A-Za-zµ][A-Za-z0-9/*]*", read.text)
    written = next((word for word in words if COMMON_UNITS.get(word, (None,))[0] is read.dimension), None)
    if written is None:
        return
    factor = unit_factor(written, read.dimension)
    for unit in read.dimension.likely:
        ratio = unit_factor(unit, read.dimension) / factor
        if ratio != 1:
            yield unit, float(ratio)


def _written(part: Part, name: str) -> tuple[float, float]:
    """Value and ± of a field as it is written; NaN where it is not, whatever absent stands for."""
    outer, _, inner = name.partition(".")
    value = getattr(part, outer)
    if value is None or (inner and getattr(value, inner) is None):
        return math.nan, 0.0
    return field_value(part, name)


def _slack(part: Part, name: str, value: float, measured: Quantity) -> float:
    """How far off a measurement may be: nothing beside a ±, a share of the value where none is written."""
    outer, _, inner = name.partition(".")
    written: Quantity = getattr(getattr(part, outer), inner) if inner else getattr(part, outer)
    if written.stated:
        return 1e-12
    if measured.dimension is LENGTH:
        return max(_UNSTATED["length"] * abs(value), _LEAST)
    return _UNSTATED["other"] * abs(value)
