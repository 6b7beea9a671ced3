"""One value of a part: text to quantity, count, money, flag or tags, with what was probably meant."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from fractions import Fraction
from functools import cache, lru_cache

from kitwright.catalogs.nodes import YES, Listing, Node, Scalar, in_words
from kitwright.catalogs.problems import clip, did_you_mean
from kitwright.solver.fields import FieldSpec
from kitwright.solver.quantity import (
    BARE,
    COMMON_UNITS,
    MONEY,
    TEMPERATURE,
    Dimension,
    Quantity,
    QuantityError,
    parse,
    plain,
    unit_factor,
)

Complain = Callable[[Node, str, str], None]
"""Called with the node, the message and a suggestion for each thing that is wrong."""

_UNIT_AT_END = re.compile(r"[\d.]\s*(?P<unit>[A-Za-zµμ°][^±\d]*\d?)\s*$")
_WHOLE = re.compile(r"\+?\d{1,9}")

_NO_SUCH = {
    ("gasket", "thickness"): "{read} is thicker than any gasket ({low} to {high})",
    ("head", "chamber"): "{read} is no chamber ({low} to {high})",
}
"""Too large, said in the trade's words; everything else gets the plain sentence."""

_OPPOSITE = {"dish": "dome", "dome": "dish"}


def noun(name: str) -> str:
    """Name a field in words, with its article.

    >>> noun("stroke"), noun("intake_valve"), noun("mill.max")
    ('a stroke', 'an intake valve', 'a mill max')
    """
    words = name.replace("_", " ").replace(".", " ")
    return f"an {words}" if words[:1] in "aeiou" else f"a {words}"


def short(value: float) -> str:
    """Four digits, trailing zeros kept, as a bench writes a converted value.

    >>> short(56.9976), short(1.4478), short(23000.0)
    ('57.00', '1.448', '23000')
    """
    if value == 0 or not math.isfinite(value):
        return plain(value)
    return f"{value:.{max(0, 3 - math.floor(math.log10(abs(value))))}f}"


@lru_cache(maxsize=20_000)
def _parsed(text: str, dimension: Dimension) -> Quantity | tuple[str, str]:
    """Catalogues repeat their dimensions, so each text is read once."""
    try:
        return parse(text, dimension)
    except QuantityError as error:
        return error.problem, error.suggestion


@cache
def _bounds(low: float, high: float, dimension: Dimension) -> tuple[float, float]:
    if dimension is TEMPERATURE:
        return parse(f"{low} degC", TEMPERATURE).si, parse(f"{high} degC", TEMPERATURE).si
    factor = unit_factor(dimension.likely[0], dimension) if dimension.likely else Fraction(1)
    return float(Fraction(str(low)) * factor), float(Fraction(str(high)) * factor)


def read_quantity(node: Node, spec: FieldSpec, complain: Complain, kind: str = "", name: str = "") -> Quantity | None:
    """Read a dimension in its plausible range; None where it is at fault, after complaining.

    Args:
        node: what was read.
        spec: dimension and range.
        complain: takes what is wrong.
        kind: kind of part, for the wording.
        name: the field as it is written (``mill.max``), for the wording.

    """
    dimension = spec.dimension
    if dimension is None:
        raise TypeError(f"{spec.name} has no dimension")
    if not isinstance(node, Scalar):
        complain(node, f"{in_words(node)} was read, and one value is wanted", _example(dimension))
        return None
    read = _parsed(node.text, dimension)
    if isinstance(read, tuple):
        complain(node, *read)
        return None
    low, high = _bounds(spec.low, spec.high, dimension)
    value = read.si
    if not low <= value <= high:
        complain(node, *_impossible(read, spec, kind, name or spec.name))
        return None
    if read.tolerance and (read.tolerance > high - low or (low > 0 and read.tolerance >= value)):
        than = "as large as the value" if read.tolerance >= value else f"larger than any {noun(spec.name)[2:].strip()}"
        complain(node, f"the tolerance of `{read}` is {than}", "a tolerance is half the spread: `57 mm ± 0.05 mm`")
        return None
    return Quantity(read.exact, read.tolerance, read.stated, dimension, read.text, node.origin)


def _example(dimension: Dimension) -> str:
    return f"a number and a unit, such as `12 {dimension.likely[0]}`" if dimension.likely else "a bare number"


def _impossible(read: Quantity, spec: FieldSpec, kind: str, name: str) -> tuple[str, str]:
    """Say what was read, and the same number in the unit that was probably meant."""
    assert spec.dimension is not None
    what = spec.name if "." not in name else name
    if spec.low >= 0 and read.exact < 0:
        other = _OPPOSITE.get(spec.name)
        without = clip(read.text.lstrip("-−").strip())
        suggestion = f"is it a {other}? `{other}: {without}`" if other else f"without the minus: `{without}`?"
        return f"{noun(what)} cannot be negative: `{read}`", suggestion
    unit = spec.dimension.likely[0] if spec.dimension.likely else ""
    low, high = f"{plain(spec.low)} {unit}".strip(), f"{plain(spec.high)} {unit}".strip()
    template = _NO_SUCH.get((kind, name), "") if read.si > _bounds(spec.low, spec.high, spec.dimension)[1] else ""
    if template:
        message = template.format(read=read, low=low, high=high)
    else:
        message = f"{noun(what)} of {read} is impossible ({low} to {high})"
    return message, _meant(read, spec, spec.dimension)


def _meant(read: Quantity, spec: FieldSpec, dimension: Dimension) -> str:
    written = Fraction(1) if dimension in BARE else _written_factor(read.text, dimension)
    if written is None or dimension is TEMPERATURE:
        return "check the number and the unit"
    number = read.exact / written
    first = dimension.likely[0] if dimension.likely else ""
    base = unit_factor(first, dimension)
    ways: list[str] = []
    for unit in _units(dimension):
        if ways and unit not in dimension.likely:
            break
        factor = unit_factor(unit, dimension)
        would = float(number * factor / base)
        if factor != written and spec.low <= would <= spec.high:
            ways.append(
                f"{plain(float(number))} {unit}" + ("" if unit == first else f" would be {short(would)} {first}")
            )
    if ways:
        return " or ".join(ways[:2]) + "?"
    shifts = [
        number * power * written / base
        for power in (Fraction(1, 1000), Fraction(1, 100), Fraction(1, 10), Fraction(10), Fraction(100))
        if spec.low <= float(number * power * written / base) <= spec.high
    ]
    if len(shifts) == 1:
        return f"is the decimal point in its place? {plain(float(shifts[0]))} {first}".strip() + " would do"
    return "check the number and the unit"


def _written_factor(text: str, dimension: Dimension) -> Fraction | None:
    sides = re.split(r"±|\+/-|\+-", text)
    for side in sides:
        match = _UNIT_AT_END.search(side.strip())
        if match:
            try:
                return unit_factor(match["unit"].strip(), dimension)
            except QuantityError:
                return None
    return None


@cache
def _units(dimension: Dimension) -> tuple[str, ...]:
    """Units that the number may have been meant in: the likely ones first, each factor once."""
    found = {unit_factor(unit, dimension): unit for unit in dimension.likely}
    if len(found) > 1:
        for unit, (owner, factor) in COMMON_UNITS.items():
            if owner is dimension:
                found.setdefault(factor, unit)
    return tuple(found.values())


def read_money(node: Node, spec: FieldSpec, complain: Complain) -> float | None:
    """Read a price or labour: a bare number that is not negative."""
    if not isinstance(node, Scalar):
        complain(node, f"{in_words(node)} was read, and a bare number is wanted", "write the amount alone")
        return None
    read = _parsed(node.text, MONEY)
    if isinstance(read, tuple):
        comma = "decimal comma" in " ".join(read)
        complain(
            node,
            f"`{clip(node.text)}` is no amount of money",
            read[1] if comma else "a bare number is wanted",
        )
        return None
    if read.stated:
        complain(node, f"`{read}`: an amount of money has no ±", "write what it costs")
        return None
    if not spec.low <= read.si <= spec.high:
        sign = "cannot be negative" if read.si < 0 else f"is above {plain(spec.high)}"
        complain(
            node,
            f"{noun(spec.name)} {sign}: `{read}`",
            "leave it out where it is not known" if read.si < 0 else "",
        )
        return None
    return read.si


def whole(text: str) -> int | None:
    """Whole number that a text says, with a plus before it or without; None where it says none.

    >>> whole("+2"), whole("2.0")
    (2, None)
    """
    return int(text) if _WHOLE.fullmatch(text) else None


def read_count(node: Node, spec: FieldSpec, complain: Complain) -> int | None:
    """Read a whole number in its range."""
    text = node.text.strip() if isinstance(node, Scalar) else ""
    if not isinstance(node, Scalar) or not _WHOLE.fullmatch(text):
        if re.fullmatch(r"-\d{1,9}", text):
            complain(node, f"`{spec.name}` cannot be negative: {text}", f"{spec.low:.0f} or more")
        else:
            complain(node, f"{in_words(node)} is no whole number", "write a count, such as `2`")
        return None
    value = whole(text)
    assert value is not None
    if not spec.low <= value <= spec.high:
        complain(node, f"`{spec.name}` is impossible: {value}", f"{spec.low:.0f} to {spec.high:.0f}")
        return None
    return value


def read_flag(node: Node, complain: Complain) -> bool | None:
    """Read ``true``, ``false``, ``yes`` or ``no``."""
    word = node.text.strip().lower() if isinstance(node, Scalar) else ""
    if word in YES:
        return True
    if word in ("false", "no"):
        return False
    complain(node, f"{in_words(node)} is neither true nor false", "write `true` or `false`")
    return None


def read_choice(node: Node, spec: FieldSpec, complain: Complain) -> str | None:
    """Read one of the words that a field takes."""
    word = node.text if isinstance(node, Scalar) else ""
    if word in spec.choices:
        return word
    ways = " or ".join(f"`{each}`" for each in spec.choices)
    complain(node, f"{in_words(node)} is no `{spec.name}`", f"write {ways}")
    return None


def read_line(node: Node, complain: Complain) -> str | None:
    """Any text."""
    if not isinstance(node, Scalar):
        complain(node, f"{in_words(node)} was read, and text is wanted", "write it on one line")
    elif not is_visible(node.text):
        complain(node, f"`{clip(node.text)}` holds a character that cannot be seen", "delete it")
    else:
        return node.text.strip()
    return None


def is_visible(text: str) -> bool:
    """Say whether text holds nothing that a terminal would act on, line breaks and tabs apart."""
    return all(c.isprintable() or c in "\n\t" or unicodedata.category(c) == "Zs" for c in text)


def read_words(node: Node, complain: Complain, choices: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Tags: a list, or one tag; of these words alone, where there are ``choices``."""
    items = node.items if isinstance(node, Listing) else [node]
    words: dict[str, None] = {}
    for item in items:
        if not isinstance(item, Scalar) or not item.text.strip() or item.absent or not item.text.isprintable():
            complain(item, f"{in_words(item)} is no tag", "tags are words in a list: `[a72, b72]`")
        elif not isinstance(node, Listing) and re.search(r"[\s,;]", item.text.strip()):
            tags = ", ".join(filter(None, re.split(r"[\s,;]+", item.text.strip())))
            complain(
                item,
                f"`{clip(item.text)}` is more than one word",
                f"several tags are a list: `[{clip(tags)}]`",
            )
        elif choices and item.text.strip() not in choices:
            complain(item, f"`{clip(item.text)}` is none of the words that go here", did_you_mean(item.text, choices))
        else:
            words[item.text.strip()] = None
    return tuple(words)
