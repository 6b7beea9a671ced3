"""Decimal commas and thousands in a spreadsheet's numbers: converted where only one reading can be, and told."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from kitwright.catalogs.problems import RefusedError

_NUMBER = re.compile(r"(?<![\w.,])[+−-]?\d[\d.,]*\d|\d")
_THOUSANDS = re.compile(r"[+−-]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*")

Fits = Callable[[str], bool]
"""Whether a text would be a plausible value."""


def has_decimal_comma(text: str) -> bool:
    """Whether a number in a text has a comma that stands between no thousands.

    >>> has_decimal_comma("57,5 ± 0,05 mm"), has_decimal_comma("1,500")
    (True, False)
    """
    numbers = [each[0] for each in _NUMBER.finditer(text)]
    return any("," in each and "." not in each and not _THOUSANDS.fullmatch(each) for each in numbers)


class NumberError(RefusedError):
    """A number that can be read in two ways, or in none."""


@dataclass(slots=True)
class Decimals:
    """Reads numbers with commas; ``comma`` says that there are decimal commas in the file; keeps what it did."""

    sign: Literal["comma", "point"] | None = None
    comma: bool = False
    changed: dict[str, tuple[str, int]] = field(default_factory=dict)
    """By what was done: an example, and how often."""

    def point(self, text: str, fits: Fits) -> str:
        """Give a text with decimal points alone.

        Raises:
            NumberError: a comma or point may be one of thousands.

        >>> Decimals().point("57,05 mm", lambda text: True)
        '57.05 mm'
        """
        for found in reversed(list(_NUMBER.finditer(text))):
            new = self._number(found[0], text, found.span(), fits)
            text = text[: found.start()] + new + text[found.end() :]
        return text

    def _number(self, number: str, text: str, span: tuple[int, int], fits: Fits) -> str:
        comma, point = "," in number, "." in number
        if comma and point:
            bare = re.sub(r"[.,](?=.*[.,])", "", number).replace(",", ".")
            raise NumberError(f"`{text}` has a comma and a point in one number", f"write {bare}")
        if not comma and not (point and (self.comma or self.sign == "comma")):
            return number
        if not _THOUSANDS.fullmatch(number):
            if not comma:
                return number
            if number.count(",") > 1 or self.sign == "point":
                raise NumberError(f"`{text}` is no number", "write it with a decimal point")
            return self._told("decimal commas", number, number.replace(",", "."))
        decimal, whole = number.replace(",", "."), re.sub("[.,]", "", number)
        if self.sign is not None:
            is_decimal = (self.sign == "comma") == comma
            return self._told(self._said(comma, is_decimal), number, decimal if is_decimal else whole)
        ways = [whole] if number.count("," if comma else ".") > 1 else list(dict.fromkeys((decimal, whole)))
        ways = [each for each in ways if fits(text[: span[0]] + each + text[span[1] :])] or ways
        if ways == [decimal]:
            return self._told("decimal commas", number, decimal) if comma else number
        if ways == [whole]:
            raise NumberError(f"`{text}` has a sign between the thousands", f"write {whole}")
        hint = f"write {whole}, or say which: `--decimal comma` or `--decimal point`"
        raise NumberError(f"`{text}` may be {decimal} or {whole}", hint)

    @staticmethod
    def _said(comma: bool, is_decimal: bool) -> str:
        sign = "comma" if comma else "point"
        return f"decimal {sign}s" if is_decimal else f"{sign}s between thousands"

    def _told(self, what: str, number: str, new: str) -> str:
        if number != new:
            example, count = self.changed.get(what, (f"`{number}` is read as {new}", 0))
            self.changed[what] = (example, count + 1)
        return new
