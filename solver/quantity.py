"""Quantities as the bench writes them: a number, a unit, perhaps a tolerance.

``0.50 mm ± 0.05 mm`` becomes a :class:`Quantity`: an exact rational value in SI, its tolerance, the text that was
read and the file and line that it came from. Units that every catalogue uses are in :data:`COMMON_UNITS`, exact;
every other unit is asked of pint, whose registry lives in this module alone and is only built when it is needed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

LONGEST_TEXT = 200
"""Characters that one quantity may have; longer text is refused unread."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a value was read: file (as the user named it) and line, counted from 1."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


@dataclass(frozen=True, slots=True)
class Dimension:
    """A physical dimension: its name in words, its SI unit for pint, and the units a builder is likely to mean."""

    name: str
    si: str
    likely: tuple[str, ...]


LENGTH = Dimension("length", "m", ("mm", "in", "thou"))
AREA = Dimension("area", "m**2", ("cm2", "mm2", "in2"))
VOLUME = Dimension("volume", "m**3", ("cc", "mm3", "in3"))
MASS = Dimension("mass", "kg", ("g", "kg", "oz"))
FORCE = Dimension("force", "N", ("N", "kN", "lbf"))
ROTATION = Dimension("rotational speed", "rad/s", ("rpm",))
ANGLE = Dimension("angle", "rad", ("deg",))
STIFFNESS = Dimension("spring rate", "N/m", ("N/mm", "lbf/in"))
INERTIA = Dimension("moment of inertia", "kg*m**2", ("kg*mm2", "g*cm2"))
MOMENT = Dimension("mass times radius", "kg*m", ("g*mm", "kg*mm"))
TORQUE = Dimension("torque", "N*m", ("N*m", "lbf*ft"))
PRESSURE = Dimension("pressure", "Pa", ("kPa", "bar", "psi"))
TEMPERATURE = Dimension("temperature", "K", ("degC", "K"))
SPEED = Dimension("speed", "m/s", ("m/s", "ft/min"))
ACCELERATION = Dimension("acceleration", "m/s**2", ("m/s2",))
FREQUENCY = Dimension("frequency", "1/s", ("Hz",))
RATIO = Dimension("ratio", "", ())
MONEY = Dimension("money", "", ())
COUNT = Dimension("count", "", ())

BARE = (RATIO, MONEY, COUNT)
"""Dimensions that are written as a bare number."""

_INCH = Fraction(254, 10_000)  # exact since 1959: NIST SP 811, appendix B.6
_POUND = Fraction(45_359_237, 100_000_000)  # exact: NIST SP 811, appendix B.8
_GRAVITY = Fraction(980_665, 100_000)  # standard acceleration of free fall, exact: NIST SP 811, appendix B.8
_MM = Fraction(1, 1000)
_RPM = Fraction(2 * math.pi / 60)
_DEGREE = Fraction(math.pi / 180)

COMMON_UNITS: dict[str, tuple[Dimension, Fraction]] = {
    "mm": (LENGTH, _MM),
    "cm": (LENGTH, 10 * _MM),
    "m": (LENGTH, Fraction(1)),
    "um": (LENGTH, _MM / 1000),
    "µm": (LENGTH, _MM / 1000),
    "in": (LENGTH, _INCH),
    "inch": (LENGTH, _INCH),
    "thou": (LENGTH, _INCH / 1000),
    "mm2": (AREA, _MM**2),
    "cm2": (AREA, (10 * _MM) ** 2),
    "in2": (AREA, _INCH**2),
    "cc": (VOLUME, (10 * _MM) ** 3),
    "cm3": (VOLUME, (10 * _MM) ** 3),
    "ml": (VOLUME, (10 * _MM) ** 3),
    "mm3": (VOLUME, _MM**3),
    "in3": (VOLUME, _INCH**3),
    "g": (MASS, Fraction(1, 1000)),
    "kg": (MASS, Fraction(1)),
    "oz": (MASS, _POUND / 16),
    "lb": (MASS, _POUND),
    "N": (FORCE, Fraction(1)),
    "kN": (FORCE, Fraction(1000)),
    "lbf": (FORCE, _POUND * _GRAVITY),
    "rpm": (ROTATION, _RPM),
    "deg": (ANGLE, _DEGREE),
    "rad": (ANGLE, Fraction(1)),
    "N/mm": (STIFFNESS, Fraction(1000)),
    "N/m": (STIFFNESS, Fraction(1)),
    "lbf/in": (STIFFNESS, _POUND * _GRAVITY / _INCH),
    "kg*mm2": (INERTIA, _MM**2),
    "g*cm2": (INERTIA, Fraction(1, 1000) * (10 * _MM) ** 2),
    "kg*m2": (INERTIA, Fraction(1)),
    "g*mm": (MOMENT, Fraction(1, 1000) * _MM),
    "kg*mm": (MOMENT, _MM),
    "N*m": (TORQUE, Fraction(1)),
    "lbf*ft": (TORQUE, _POUND * _GRAVITY * 12 * _INCH),
    "kPa": (PRESSURE, Fraction(1000)),
    "bar": (PRESSURE, Fraction(100_000)),
    "Pa": (PRESSURE, Fraction(1)),
    "MPa": (PRESSURE, Fraction(1_000_000)),
    "m/s": (SPEED, Fraction(1)),
    "m/s2": (ACCELERATION, Fraction(1)),
    "Hz": (FREQUENCY, Fraction(1)),
    "K": (TEMPERATURE, Fraction(1)),
}
"""Unit name to dimension and exact factor to SI (angles and rpm: the nearest float). A test holds each against pint."""

_POWERS = re.compile(r"\b(mm|cm|in|m)([23])\b")
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_MIXED = r"[+-]?\d+[ -]\d+/\d+|[+-]?\d+/\d+"
_VALUE = re.compile(rf"^\s*(?P<number>{_MIXED}|{_NUMBER})\s*(?P<unit>[^\d\s±].*?)?\s*$")
_SPLIT = re.compile(r"±|\+/-|\+-")
_BENCH = r"\d{1,6}(?:\.\d{1,6})?"
_RANGE = re.compile(
    rf"\s*(?P<low>{_BENCH})\s*(?P<first>[^\W\d_]\w*?)?\s*(?:-|–|—|\bto\b|\.\.+|…)\s*"
    rf"(?P<high>{_BENCH})\s*(?P<unit>[^\W\d_]\w*)?\s*"
)
_LIMIT = re.compile(r"\s*(?P<sign>[<>]=?|[≤≥]|(?i:min|max)\b\.?)\s*(?P<rest>\d.{0,40})")
"""What is written where one value is wanted: two of them, or a limit."""


class QuantityError(ValueError):
    """A text that is no quantity: ``problem`` says what was read, ``suggestion`` what was probably meant."""

    def __init__(self, problem: str, suggestion: str = "") -> None:
        super().__init__(f"{problem}; {suggestion}" if suggestion else problem)
        self.problem = problem
        self.suggestion = suggestion


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with its tolerance, in SI, and what was written.

    ``exact`` is the rational value, ``si`` the nearest float; ``tolerance`` is in SI too and 0 where none is stated
    (``stated`` tells the two apart).
    """

    exact: Fraction
    tolerance: float
    stated: bool
    dimension: Dimension
    text: str
    origin: Origin | None = None
    si: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "si", float(self.exact))

    def to(self, unit: str) -> float:
        """Value in ``unit``, rounded once.

        >>> parse("2.244 in", LENGTH).to("mm")
        56.9976
        """
        return float(self.exact / unit_factor(unit, self.dimension))

    def tolerance_in(self, unit: str) -> float:
        """Tolerance in ``unit``."""
        return self.tolerance / float(unit_factor(unit, self.dimension))

    def __str__(self) -> str:
        return self.text


@cache
def _pint() -> Any:
    """The one pint registry, made when the first uncommon unit turns up (it takes longer than a small search)."""
    import pint

    return pint.UnitRegistry()


@cache
def unit_factor(unit: str, dimension: Dimension) -> Fraction:
    """Exact factor from ``unit`` to SI.

    Raises:
        QuantityError: ``unit`` is unknown, or belongs to another dimension.

    >>> unit_factor("in", LENGTH)
    Fraction(127, 5000)
    """
    if dimension in BARE:
        if unit:
            raise QuantityError(f"`{unit}`: {_a(dimension.name)} is a bare number without a unit")
        return Fraction(1)
    name = " ".join(unit.split())
    name = re.sub(r"\s*([*/·])\s*", lambda match: "*" if match[1] == "·" else match[1], name)
    name = name.replace("μ", "µ").replace("²", "2").replace("³", "3").replace("^", "**").replace("°", "deg")
    known = COMMON_UNITS.get(name) or COMMON_UNITS.get(name.replace(" ", "*"))
    if known is not None:
        if known[0] is not dimension:
            raise QuantityError(
                f"`{unit}` is a unit of {known[0].name}, and {_a(dimension.name)} is wanted",
                _write_it(dimension, turns=known[0] in (ROTATION, FREQUENCY)),
            )
        return known[1]
    return _pint_factor(unit, _POWERS.sub(r"\1**\2", name), dimension)


def _pint_factor(unit: str, name: str, dimension: Dimension) -> Fraction:
    likely = _write_it(dimension)
    if not re.fullmatch(r"[A-Za-zµΩ_][A-Za-z0-9µΩ_ */.()-]{0,60}", name) or re.search(r"\d{3}|\*\*\s*\(", name):
        raise QuantityError(f"`{unit}` is no unit", likely)
    registry = _pint()
    try:
        parsed = registry.parse_units(name)
        # Radians, counts and bits have no dimension for pint: only root units tell a turn a second (2π rad/s) from 1/s.
        root = str(registry.get_root_units(parsed)[1])
        fits = root == str(registry.get_root_units(registry.parse_units(dimension.si))[1])
    except Exception:  # pint raises a dozen kinds, tokenizer errors among them
        raise QuantityError(f"`{unit}` is no unit that is known here", likely) from None
    if not fits:
        turns = parsed.dimensionality == registry.parse_units("1/s").dimensionality
        raise QuantityError(f"`{unit}` is no unit of {dimension.name}", _write_it(dimension, turns))
    try:
        return Fraction(float(registry.Quantity(1.0, parsed).to(dimension.si).magnitude))
    except Exception:
        raise QuantityError(f"`{unit}` cannot be converted", likely) from None


def _write_it(dimension: Dimension, turns: bool = False) -> str:
    """What to write instead; ``turns`` where so many a second may have been meant as turns, or turns as so many."""
    said = f"write it in {_or(dimension.likely)}"
    return f"{said}; one turn a second is 60 rpm, or 1 Hz" if turns and dimension in (ROTATION, FREQUENCY) else said


def _a(name: str) -> str:
    """``an angle``, ``a length``, ``money``."""
    return name if name == MONEY.name else f"an {name}" if name[0] in "aeiou" else f"a {name}"


def _or(names: tuple[str, ...]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def plain(value: float, digits: int = 6) -> str:
    """A float as short text, never in powers of ten for bench-sized numbers.

    >>> plain(57.0), plain(1.4478), plain(23000.0)
    ('57', '1.4478', '23000')
    """
    if value != 0 and not 1e-4 <= abs(value) < 1e9:
        return f"{value:.4g}"
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")


def _number(text: str) -> Fraction:
    if "/" in text:
        sign = -1 if text.lstrip().startswith("-") else 1
        whole, _, part = text.strip().lstrip("+-").replace("-", " ").rpartition(" ")
        top, bottom = part.split("/")
        if int(bottom) == 0:
            raise QuantityError(f"`{text}` divides by zero")
        return sign * (Fraction(int(whole or 0)) + Fraction(int(top), int(bottom)))
    _, _, exponent = text.lower().partition("e")
    if exponent and abs(int(exponent)) > 30:
        raise QuantityError(f"`{text}` is out of any range that an engine knows")
    return Fraction(text)


def _read(text: str, whole: str, dimension: Dimension) -> tuple[Fraction, str | None]:
    """Number and unit of one side of a ``±``."""
    match = _VALUE.match(text)
    if match is None:
        what = "no number" if dimension in BARE else "not a number with a unit"
        raise QuantityError(f"`{whole}` is {what}", _example(dimension, text))
    unit = match["unit"]
    if unit is not None and re.match(r",\d", unit):
        raise QuantityError(f"`{whole}` has a decimal comma", f"write {text.strip().replace(',', '.')}?")
    return _number(match["number"]), unit


def _example(dimension: Dimension, text: str) -> str:
    if re.search(r"\d,\d", text):
        return f"a decimal comma? write {text.strip().replace(',', '.')}"
    if text.strip().endswith(('"', "''", "”", "″")):
        return f"inches are written `in`: {text.strip().rstrip(chr(34) + chr(39) + '”″')} in?"
    if dimension in BARE:
        return "a bare number is wanted"
    return f"a number and a unit are wanted, such as `12 {dimension.likely[0]}`"


def parse(text: str, dimension: Dimension, origin: Origin | None = None) -> Quantity:
    """Read a quantity.

    Args:
        text: number and unit, with an optional ``±`` (or ``+/-``) and tolerance; the unit may stand once, at the end.
        dimension: what is wanted.
        origin: file and line, kept with the value.

    Raises:
        QuantityError: no number, no unit, another dimension, a negative tolerance.

    >>> parse("0.50 mm ± 0.05 mm", LENGTH).tolerance_in("mm")
    0.05
    >>> parse("2 3/4 in", LENGTH).to("mm")
    69.85
    >>> parse("23.0 ± 0.5 cc", VOLUME).to("cc")
    23.0
    """
    if len(text) > LONGEST_TEXT:
        raise QuantityError(f"`{text[:20]}…` is {len(text)} characters long", "that is no quantity")
    try:
        return _parse(text, dimension, origin)
    except QuantityError:
        meant = _limits(text)
        if meant is None:
            raise
        raise QuantityError(*meant) from None


def _limits(text: str) -> tuple[str, str] | None:
    """What is wrong and what to write where a range or a limit stands for one value; None where neither does."""
    found = _RANGE.fullmatch(text)
    if found and found["first"] in (None, found["unit"]) and float(found["low"]) < float(found["high"]):
        unit = f" {found['unit']}" if found["unit"] else ""
        low, high = Fraction(found["low"]), Fraction(found["high"])
        middle, half = plain(float((low + high) / 2)), plain(float(abs(high - low) / 2))
        goal = f"{{min: {found['low']}{unit}, max: {found['high']}{unit}}}"
        return f"`{text}` is a range", f"a goal is written `{goal}`, a dimension `{middle}{unit} ± {half}{unit}`"
    if found := _LIMIT.fullmatch(text):
        bound = "min" if found["sign"].lower()[:2] in (">", ">=", "≥", "mi") else "max"
        return f"`{text}` is a limit", f"a goal is written `{{{bound}: {found['rest']}}}`; a dimension is one value"
    return None


def _parse(text: str, dimension: Dimension, origin: Origin | None) -> Quantity:
    sides = _SPLIT.split(text.replace("−", "-"))  # the typographic minus
    if len(sides) > 2:
        raise QuantityError(f"`{text}` has more than one ±")
    value, unit = _read(sides[0], text, dimension)
    tolerance, tolerance_unit = _read(sides[1], text, dimension) if len(sides) == 2 else (Fraction(0), None)
    if dimension in BARE:
        for each in (unit, tolerance_unit):
            if each is not None:
                raise QuantityError(f"`{text}`: {_a(dimension.name)} is a bare number", f"without `{each}`?")
    elif unit is None and tolerance_unit is None:
        raise QuantityError(f"`{text}` has no unit", would_be(value, dimension))
    elif len(sides) == 2 and tolerance_unit is None:
        raise QuantityError(f"the tolerance in `{text}` has no unit", f"± {sides[1].strip()} {unit}?")
    if tolerance < 0:
        raise QuantityError(f"the tolerance in `{text}` is negative", "a tolerance is written once, as ±")
    if dimension is TEMPERATURE:
        units = (unit or tolerance_unit or "", tolerance_unit or unit or "")
        return _temperature(value, tolerance, len(sides) == 2, units, text, origin)
    first = unit_factor(unit or tolerance_unit or "", dimension)
    second = unit_factor(tolerance_unit or unit or "", dimension)
    return Quantity(value * first, float(tolerance * second), len(sides) == 2, dimension, text.strip(), origin)


def _temperature(
    value: Fraction, tolerance: Fraction, stated: bool, units: tuple[str, str], text: str, origin: Origin | None
) -> Quantity:
    scales: dict[str, tuple[Fraction | int, Fraction | int]] = {
        "K": (1, 0),
        "degC": (1, Fraction(27315, 100)),
        "°C": (1, Fraction(27315, 100)),
    }
    fahrenheit = (Fraction(5, 9), Fraction(45967, 180))
    scales |= {"degF": fahrenheit, "°F": fahrenheit}
    for unit in units:
        if unit not in scales:
            raise QuantityError(f"`{unit}` is no unit of temperature", "write it in degC, degF or K")
    (factor, zero), (spread, _) = (scales[unit] for unit in units)
    exact = value * Fraction(factor) + zero
    return Quantity(exact, float(tolerance * spread), stated, TEMPERATURE, text.strip(), origin)


def would_be(value: Fraction, dimension: Dimension) -> str:
    """What a bare number would be in each likely unit.

    >>> would_be(Fraction(57), LENGTH)
    '57 mm, 57 in = 1447.8 mm, or 57 thou = 1.4478 mm?'
    """
    number = plain(float(value))
    first = dimension.likely[0]
    if dimension is TEMPERATURE:  # scales with different zeros have no factor
        return f"{number} {first}?"
    ways = [f"{number} {first}"]
    for unit in dimension.likely[1:]:
        converted = value * unit_factor(unit, dimension) / unit_factor(first, dimension)
        ways.append(f"{number} {unit} = {plain(float(converted))} {first}")
    return (", ".join(ways[:-1]) + f", or {ways[-1]}?") if len(ways) > 1 else f"{ways[0]}?"


def parse_deck(text: str, origin: Origin | None = None) -> Quantity:
    """Read a measured deck: ``0.32 mm down ± 0.02 mm`` is +0.32 mm, ``0.32 mm up`` is −0.32 mm.

    Raises:
        QuantityError: neither ``down`` nor ``up``, a sign beside the word, or no length.

    >>> parse_deck("0.32 mm up ± 0.02 mm").to("mm")
    -0.32
    """
    words = re.findall(r"\b(down|up)\b", text)
    if len(words) > 1:
        raise QuantityError(f"`{text}` says both or twice which way the piston stands")
    alone = re.sub(r"\b(down|up)\b", " ", text)
    length = parse(alone, LENGTH, origin)
    if not words and length.exact != 0:
        number = re.sub(r"^\s*[+-]", "", text).strip()
        raise QuantityError(
            f"`{text}` does not say which way the piston stands", f"`{number} down` (below the deck) or `{number} up`?"
        )
    if words and alone.strip().startswith(("-", "−")):  # of a nought, too
        raise QuantityError(f"`{text}` has both a sign and a word", "the word alone says which way")
    exact = -length.exact if words == ["up"] else length.exact
    return Quantity(exact, length.tolerance, length.stated, LENGTH, text.strip(), origin)
