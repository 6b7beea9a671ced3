"""Single values in JSON Schema: what a quantity, a count, money, a flag or a text may look like.

The patterns are the grammar of :mod:`kitwright.solver.quantity` in the dialect that ECMA-262 and Python share. Nothing
that the readers take is refused; what a pattern cannot see (whether an unusual unit is one of length, the plausible
range of a value with a unit) is left to them.
"""

from __future__ import annotations

import re
from typing import Any, Literal

from kitwright.solver.fields import FieldSpec
from kitwright.solver.quantity import BARE, COMMON_UNITS, LONGEST_TEXT, TEMPERATURE, Dimension, plain

Schema = dict[str, Any]
Sign = Literal["any", "not negative", "positive"]

_NUMBER = r"(?:\d+[ -]\d+/\d+|\d+/\d+|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
_PLUS_MINUS = r"(?:±|\+/-|\+-)"
_MINUS = "[-\u2212]"  # the typographic minus, too
_SIGN = "[+\u2212-]?"
_NOT_NEGATIVE = rf"(?!{_MINUS}[^A-Za-z±]*[1-9])"
_POSITIVE = rf"(?!{_MINUS})(?=[^A-Za-z±]*[1-9])"
_LEADING: dict[Sign, str] = {"any": "", "not negative": _NOT_NEGATIVE, "positive": _POSITIVE}
_ANY_UNIT = "[A-Za-zµμΩ_°][^±+,]*"
_SCALES = r"(?:K|deg[CF]|°[CF])"

TEXT: Schema = {"type": ["string", "number", "boolean"]}
"""Text; what YAML takes for a number or a truth is the text that was written."""

WORD: Schema = {"type": ["string", "number", "boolean"], "minLength": 1, "pattern": r"\S"}
"""A word of a list, such as an id."""

TAG_ALONE: Schema = {"pattern": r"^\s*[^\s,;]+\s*$", "patternErrorMessage": "several tags are a list: `[a72, b72]`"}
"""One tag in a list's place: no more than one word."""


def or_nothing(schema: Schema) -> Schema:
    """Let null stand for the same as leaving the key out.

    >>> or_nothing({"type": "string"}), or_nothing({"enum": ["mm"]})
    ({'type': ['string', 'null']}, {'enum': ['mm', None]})
    """
    if "enum" in schema:
        return schema | {"enum": [*schema["enum"], None]}
    if "anyOf" in schema:
        return schema | {"anyOf": [*schema["anyOf"], {"type": "null"}]}
    kinds = schema["type"]
    return schema | {"type": [*([kinds] if isinstance(kinds, str) else kinds), "null"]}


def quantity(dimension: Dimension, sign: Sign = "any", stated: bool = True) -> Schema:
    """Text that is a quantity of ``dimension``; bare numbers only where the dimension has no unit.

    Args:
        dimension: what is wanted.
        sign: whether the value may be negative, or 0.
        stated: whether a ± may follow.

    """
    start = rf"^\s*{_LEADING[sign]}{_SIGN}{_NUMBER}\s*"
    spread = rf"{_PLUS_MINUS}\s*{_NOT_NEGATIVE}{_SIGN}{_NUMBER}\s*"
    if dimension in BARE:
        pattern = rf"{start}(?:{spread})?$" if stated else rf"{start}$"
        return {"type": ["number", "string"], "maxLength": LONGEST_TEXT, **_said(pattern, "a bare number")}
    pattern = rf"{start}(?:(?:{_ANY_UNIT})?{spread})?{_unit(dimension)}$" if stated else rf"{start}{_unit(dimension)}$"
    example = f"12 {dimension.likely[0]}"
    return {
        "title": _title(dimension, sign, stated),
        "type": "string",
        "maxLength": LONGEST_TEXT,
        **_said(pattern, f"a number and a unit, such as `{example}`"),
        "examples": [example, f"{example} ± 0.05 {dimension.likely[0]}"] if stated else [example],
    }


def _title(dimension: Dimension, sign: Sign, stated: bool) -> str:
    words = {"any": "", "not negative": ", 0 or more", "positive": ", above 0"}[sign]
    return f"{dimension.name}{words}{' ±' if stated else ''}"


def _unit(dimension: Dimension) -> str:
    """What may stand behind the number: no common unit of another dimension, else anything that looks like a unit."""
    if dimension is TEMPERATURE:
        return rf"{_SCALES}\s*"
    others = "|".join(re.escape(unit) for unit, (owner, _) in COMMON_UNITS.items() if owner is not dimension)
    return rf"(?!(?:{others})\s*(?:$|[±+])){_ANY_UNIT}"


def deck() -> Schema:
    """Text that is a measured deck: a length and the word that says which way."""
    length = quantity(COMMON_UNITS["mm"][0], "not negative")
    either = length["pattern"].removeprefix("^")
    no_deck = rf"\s*{_SIGN}(?![^A-Za-z±+]*[1-9])"  # none needs no word
    pattern = rf"^(?=[\s\S]*\b(?:down|up)\b|{no_deck})(?:\s*(?:down|up)\b)?{either}"
    said = _said(pattern, "a length and which way: `0.32 mm down ± 0.02 mm`, below the deck, or `up`")
    return length | said | {"title": "deck", "examples": ["0.32 mm down ± 0.02 mm", "0.32 mm up ± 0.02 mm"]}


def _said(pattern: str, message: str) -> Schema:
    """A pattern, and what an editor says where a text does not match it."""
    return {"pattern": pattern, "patternErrorMessage": f"{message} is wanted"}


def sign_of(low: float) -> Sign:
    """Sign that a plausible range leaves."""
    return "any" if low < 0 else "positive" if low > 0 else "not negative"


def quantity_of(spec: FieldSpec) -> Schema:
    """A dimension of a part in its plausible range."""
    assert spec.dimension is not None
    schema = quantity(spec.dimension, sign_of(spec.low))
    return schema | {"minimum": spec.low, "maximum": spec.high} if spec.dimension in BARE else schema


def count_of(low: float, high: float) -> Schema:
    """A whole number in its range."""
    return {
        "type": ["integer", "string"],
        "minimum": int(low),
        "maximum": int(high),
        **_said(r"^\s*\+?\d{1,9}\s*$", "a whole number"),
    }


def money_of(spec: FieldSpec) -> Schema:
    """A price or labour."""
    pattern = rf"^\s*{_NOT_NEGATIVE}{_SIGN}{_NUMBER}\s*$"
    bounds = {"minimum": spec.low, "maximum": spec.high}
    return {"type": ["number", "string"], **bounds, **_said(pattern, "a bare amount")}


def flag() -> Schema:
    """``true`` or ``false``; ``yes`` and ``no`` are read, too."""
    words = ("true", "false", "yes", "no")
    either_case = "|".join("".join(f"[{letter.upper()}{letter}]" for letter in word) for word in words)
    return {"type": ["boolean", "string"], **_said(rf"^\s*(?:{either_case})\s*$", "`true` or `false`")}


def identity(longest: int) -> Schema:
    """A part's id."""
    said = _said(r"^\S(?:[\s\S]*\S)?$", "an id without blanks at its ends")
    return {"type": ["string", "number", "boolean"], "minLength": 1, "maxLength": longest, **said}


def range_in_words(spec: FieldSpec) -> str:
    """Plausible range with its unit; empty where there is none.

    >>> from kitwright.solver.parts import Crank
    >>> from kitwright.solver.fields import specs
    >>> range_in_words(specs(Crank)["stroke"]), range_in_words(specs(Crank)["name"])
    ('15 to 250 mm', '')
    """
    if spec.form not in ("quantity", "quantities", "count", "money"):
        return ""
    unit = spec.dimension.likely[0] if spec.dimension and spec.dimension.likely else ""
    return f"{plain(spec.low)} to {plain(spec.high)} {unit}".strip()


def absent_in_words(spec: FieldSpec) -> str:
    """What leaving a field out stands for."""
    if spec.required:
        return "required"
    if spec.or_flag:
        return "taken as none"
    if spec.choices:
        return spec.choices[0]
    if spec.absent is not None:
        unit = spec.dimension.likely[0] if spec.dimension and spec.dimension.likely else ""
        return f"{plain(spec.absent)} {unit}".strip()
    return "unknown" if spec.form in ("quantity", "money", "flag", "group") else ""
