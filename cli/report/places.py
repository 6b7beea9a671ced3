"""How a dimension of a part is named and written: in a sentence, as a key, in its own unit."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kitwright.cli.report.numbers import Style, bare, style
from kitwright.cli.report.words import words
from kitwright.solver.combination import Combination
from kitwright.solver.parts import KINDS
from kitwright.solver.quantity import BARE, LENGTH, Dimension, unit_factor
from kitwright.solver.swap import Place, spec_of

AS_FIGURES = ("mm", "cc", "deg", "g")
"""Units that have the same last digit in a dimension as in a figure."""

DECK_KIND = "measured"


def place_text(place: Place) -> str:
    """Name a dimension: the counterweight radius of k61, the deck."""
    if place.part is None:
        return "the deck as measured" if place.kind == DECK_KIND else f"the plan's {words(place.kind)} {_field(place)}"
    return f"{_field(place)} of {place.part}{_layer(place)}"


def place_short(place: Place) -> str:
    """Name a dimension in a table: k61 counterweight radius."""
    if place.part is None:
        return "measured deck" if place.kind == DECK_KIND else f"{words(place.kind)} {_field(place)}"
    return f"{place.part} {_field(place)}{_layer(place)}"


def place_data(place: Place) -> dict[str, Any]:
    """Write a dimension as its part, kind and field."""
    layer = {} if place.layer is None else {"layer": place.layer + 1}
    return {"part": place.part, "kind": place.kind, "field": place.field, **layer}


def place_key(place: Place) -> str:
    """Write a dimension as ``part.field``."""
    layer = "" if place.layer is None else f"[{place.layer + 1}]"
    return f"{place.part or place.kind}{layer}.{place.field}"


def _layer(place: Place) -> str:
    return f" (layer {place.layer + 1})" if place.layer else ""


def _field(place: Place) -> str:
    return words(place.field).replace(".", " ")


def dimension_of(place: Place, combination: Combination) -> Dimension | None:
    """Find the physical dimension of a place; a deck and the reference are lengths."""
    if place.kind not in KINDS:
        return LENGTH
    parts = [*combination.parts.values(), *combination.gaskets]
    part = next((each for each in parts if each.id == place.part), None)
    spec = spec_of(part, place.field) if part is not None else None
    return spec.dimension if spec is not None else None


def unit_and_factor(dimension: Dimension | None) -> tuple[str, float]:
    """Give the unit that a dimension is written in (as keys end), and its SI value."""
    if dimension is None or dimension in BARE or not dimension.likely:
        return "", 1.0
    return dimension.likely[0], float(unit_factor(dimension.likely[0], dimension))


class Sizes:
    """Writes values in SI of one dimension, alike."""

    def __init__(self, dimension: Dimension | None, values: Iterable[float], units: str) -> None:
        self.unit, self.factor = unit_and_factor(dimension)
        self.style: Style | None = None
        if self.unit in AS_FIGURES:
            self.style = style(self.unit, [round(value / self.factor, 4) for value in values], units)

    def text(self, value: float) -> str:
        """Give a value with its unit."""
        if self.style is not None:
            return self.style.with_unit(value / self.factor)
        return f"{bare(round(value / self.factor, 4))} {self.unit}".strip()

    def deck(self, value: float) -> str:
        """Give a deck with the word that says which way."""
        return f"{self.text(abs(value))} {'down' if value >= 0 else 'up'}"
