"""What a field of a part is: form, dimension, plausible range, meaning; and the nested groups of fields."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from fractions import Fraction
from typing import Any, Literal

from kitwright.solver.quantity import ANGLE, LENGTH, VOLUME, Dimension, Quantity

Form = Literal["quantity", "quantities", "count", "money", "text", "tags", "flag", "group", "readings", "choice"]

MOST_STEPS = 1000
"""Machining steps that one operation on one part may have."""


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """What a field of a part is.

    ``low`` and ``high`` are the plausible range in the dimension's first likely unit (counts and money: as they are);
    a value outside is impossible, a fault. ``absent`` is what a field that is not given stands for, where it stands
    for anything. ``group`` is the dataclass of a nested field; where ``or_flag``, `true` or `false` may stand in its
    place, and the dataclass has ``fitted`` for what was said. ``choices`` are the words that may stand there; formulas
    read the place of the word among them, and ``absent`` is the place that leaving it out stands for. In a list of
    words they are those that it takes, where it does not take any.
    """

    name: str
    form: Form
    meaning: str
    required: bool
    dimension: Dimension | None = None
    low: float = 0.0
    high: float = 0.0
    absent: float | None = None
    group: type[Any] | None = None
    or_flag: bool = False
    choices: tuple[str, ...] = ()


def of(form: Form, meaning: str, required: bool = False, **more: Any) -> Any:
    """A dataclass field of any form; the rest of its specification in ``more``."""
    metadata = {"form": form, "meaning": meaning, "required": required, **more}
    if required:
        return field(metadata=metadata, kw_only=True)
    return field(default=more.get("default"), metadata=metadata, kw_only=True)


def need(dimension: Dimension, low: float, high: float, meaning: str) -> Any:
    """A dimension that a part must have; range in the dimension's first likely unit."""
    return of("quantity", meaning, True, dimension=dimension, low=low, high=high)


def may(dimension: Dimension, low: float, high: float, meaning: str, absent: float | None = None) -> Any:
    """A dimension that a part may have; ``absent`` (SI) is what leaving it out stands for, None for unknown."""
    return of("quantity", meaning, dimension=dimension, low=low, high=high, absent=absent)


def count(low: int, high: int, meaning: str, default: int) -> Any:
    """A whole number."""
    return of("count", meaning, low=low, high=high, default=default)


def group(kind: type[Any], meaning: str) -> Any:
    """A nested group of fields, absent by default."""
    return of("group", meaning, group=kind)


def group_or_flag(kind: type[Any], meaning: str) -> Any:
    """A nested group of fields, none of them required, for which `true` or `false` may stand; absent: none."""
    return of("group", meaning, group=kind, or_flag=True, absent=0.0)


def choice(words: tuple[str, ...], meaning: str) -> Any:
    """One of some words; leaving it out stands for the first."""
    return of("choice", meaning, choices=words, absent=0.0)


def words(choices: tuple[str, ...], meaning: str) -> Any:
    """A list of known words, empty by default."""
    return of("tags", meaning, default=(), choices=choices)


def labour_price() -> Any:
    """The price of a machining operation, 0 by default."""
    return of("money", "price of the work, charged once", low=0, high=1e6, default=0.0)


_MORE = ("dimension", "low", "high", "absent", "group", "or_flag", "choices")
_SPECS: dict[type[Any], dict[str, FieldSpec]] = {}


def specs(owner: type[Any]) -> dict[str, FieldSpec]:
    """Field name to specification of a part kind or of a nested group, in the order of the catalogue's table."""
    if owner not in _SPECS:
        found = {}
        for each in fields(owner):
            data = each.metadata
            if "form" in data:
                known = {key: data[key] for key in _MORE if key in data}
                found[each.name] = FieldSpec(each.name, data["form"], data["meaning"], data["required"], **known)
        _SPECS[owner] = found
    return _SPECS[owner]


@dataclass(frozen=True, slots=True)
class LengthSteps:
    """Metal that may be taken off in steps: ``mill`` and ``deck_cut``."""

    max: Quantity = need(LENGTH, 0.001, 20, "most that may come off")
    step: Quantity = need(LENGTH, 0.001, 20, "smallest cut, and the grid of cuts")
    labour: float = labour_price()

    def amounts(self) -> tuple[Fraction, ...]:
        """0, step, 2 × step … up to max, exact, in metres."""
        return steps_of(self.max.exact, self.step.exact)


@dataclass(frozen=True, slots=True)
class VolumeSteps:
    """Chamber volume that may be opened in steps: ``relieve``."""

    max: Quantity = need(VOLUME, 0.01, 200, "most that the chamber may be opened")
    step: Quantity = need(VOLUME, 0.01, 200, "smallest opening, and the grid of openings")
    labour: float = labour_price()

    def amounts(self) -> tuple[Fraction, ...]:
        """0, step, 2 × step … up to max, exact, in cubic metres."""
        return steps_of(self.max.exact, self.step.exact)


def steps_of(most: Fraction, step: Fraction) -> tuple[Fraction, ...]:
    """0, step, 2 × step … up to most, exact."""
    return tuple(step * index for index in range(int(most / step) + 1))


@dataclass(frozen=True, slots=True)
class Rebore:
    """Bores that the cylinder may be bored out to."""

    to: tuple[Quantity, ...] = of(
        "quantities", "bores that it can be bored to", True, dimension=LENGTH, low=20, high=200
    )
    labour: float = labour_price()


@dataclass(frozen=True, slots=True)
class TopLand:
    """The crevice round the piston's top land."""

    height: Quantity = need(LENGTH, 0.1, 40, "height of the top land")
    clearance: Quantity = need(LENGTH, 0.01, 5, "bore less land, on diameter")


@dataclass(frozen=True, slots=True)
class DurationAt:
    """A duration and the lobe lift at which it is measured."""

    lift: Quantity = need(LENGTH, 0.01, 15, "lobe lift at which the duration is measured")
    duration: Quantity = need(ANGLE, 60, 450, "crank degrees above that lobe lift")


@dataclass(frozen=True, slots=True)
class Decompressor:
    """What holds a valve open while the engine is turned over; written `true` or `false`, it says no more than that."""

    closes: Quantity | None = may(ANGLE, 1, 180, "crank degrees before top dead centre at which the held valve shuts")
    lift: Quantity | None = may(LENGTH, 0.05, 10, "how far it holds the valve open")
    reach: Quantity | None = may(LENGTH, 3, 150, "greatest radius of its lever and spring about the cam's axis")
    fitted: bool = True
    """False where the catalogue says that the cam has none."""

    def __float__(self) -> float:
        return float(self.fitted)

    def __bool__(self) -> bool:
        return self.fitted


def flag_alone(value: Any) -> bool | None:
    """What stands in the place of a group that `true` or `false` says all of; None where its fields say more.

    >>> flag_alone(Decompressor()), flag_alone(Decompressor(fitted=False)), flag_alone(0.5)
    (True, False, None)
    """
    fitted: bool | None = getattr(value, "fitted", None)
    known = fitted is not None and any(getattr(value, name) is not None for name in specs(type(value)))
    return None if known else fitted


@dataclass(frozen=True, slots=True)
class CutTo:
    """Lengths that a pushrod blank can be cut to."""

    min: Quantity = need(LENGTH, 20, 600, "shortest")
    max: Quantity = need(LENGTH, 20, 600, "longest")


@dataclass(frozen=True, slots=True)
class Adjuster:
    """How far a rocker's adjuster reaches: the pushrods, shorter or longer than needed, that it makes up for."""

    shorter: Quantity = need(LENGTH, 0, 20, "how much shorter than needed a pushrod may be")
    longer: Quantity = need(LENGTH, 0, 20, "how much longer than needed a pushrod may be")


@dataclass(frozen=True, slots=True)
class Readings:
    """A lobe's lift as it was read with a degree wheel and a dial gauge, from seat to seat."""

    file: str
    """As the catalogue names it."""
    angles: tuple[float, ...]
    """Crank angles after the overlap's top dead centre, rad, rising; the exhaust's lie before it, below 0."""
    lifts: tuple[float, ...]
    """Lift of the lobe at each, m; 0 at both ends."""
    resolution: float
    """Last digit of the readings, m: they are rounded to it."""

    def __str__(self) -> str:
        return self.file
