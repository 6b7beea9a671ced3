"""The lines of a CSV file: rows with their line numbers, a header with units, what spreadsheets do to both."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator

from kitwright.catalogs.problems import Problem, clip

HEADER = re.compile(r"^(?P<name>[^\[\]]*?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\])?$")
SPREAD = re.compile(r"(?i)±|\+/-|\+-|\b(?:tol|tolerance|toleranz)\b\.?")
"""What says that a column holds a ± alone."""

_BARE_NUMBERS = re.compile(r"^[\s\d.,/+-]*(?:[eE][+-]?\d+)?\s*(?:(?:±|\+/-|\+-)[\s\d./+-]*(?:[eE][+-]?\d+)?\s*)?$")
_BREAK = re.compile(r"\r\n|\r|\n")
_DECIMAL_COMMA = re.compile(r"\d,\d")


def numbered_rows(
    text: str, name: str, problems: list[Problem], separator: str = ","
) -> Iterator[tuple[int, list[str]]]:
    """Rows with the line on which each begins, blank lines left out."""
    source = io.StringIO(text, newline="")
    remarks = _remarks(source)
    reader = csv.reader(source, strict=True, delimiter=separator)
    before = remarks
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            message, suggestion = f"the row cannot be read ({error})", "look at its quotes"
            if "unexpected end" in str(error):
                message, suggestion = (
                    "a quote is opened here and not closed",
                    "close it; inches are written `in`",
                )
            elif "expected after" in str(error):
                message, suggestion = "text follows a closing quote", "double the quotes inside a quoted cell"
            elif "field limit" in str(error):
                message, suggestion = "a cell has more than 131072 characters", "is a quote not closed?"
            problems.append(Problem(message, suggestion, name, before + 1))
            return
        line, before = before + 1, remarks + reader.line_num
        if cells:  # a cell's own lines end as the program that saved the file ends them
            yield line, ["\n".join(_BREAK.split(cell)) if "\r" in cell else cell for cell in cells]


def _remarks(source: io.StringIO) -> int:
    """Pass over the lines above the header that are empty or begin with ``#``; how many there are."""
    count = 0
    while True:
        start = source.tell()
        line = source.readline()
        if not line or (line.strip() and not line.startswith("#")):
            source.seek(start)
            return count
        count += 1


def separated(header: list[str], line: int, name: str, problems: list[Problem]) -> bool:
    """Say whether the header is separated by commas; complain where it is not."""
    for sign, word in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if sum(sign in cell for cell in header) and (len(header) == 1 or header[0].count(sign) > 1):
            message = f"the cells are separated by {word}, and commas are wanted"
            suggestion = (
                "save the file as CSV with commas and decimal points; from outside the catalogue's folder "
                "`kitwright shelf import` takes it as it is"
            )
            problems.append(Problem(message, suggestion, name, line, read=clip(",".join(header))))
            return False
    return True


def uneven(cells: list[str], words: list[str], line: int, name: str, separator: str = ",") -> Problem:
    """Make the problem of a row that has more or fewer cells than the header."""
    message = f"{len(cells)} cells for {len(words)} columns"
    if len(cells) > len(words):
        comma = separator == "," and _DECIMAL_COMMA.search(",".join(cells))
        what = "comma" if separator == "," else "separator"
        suggestion = "a decimal comma? write a point" if comma else f"a cell with a {what} in it is written in quotes"
    else:
        suggestion = "give every column a cell, empty where nothing is known"
    return Problem(message, suggestion, name, line, read=clip(separator.join(cells)))


def with_unit(text: str, unit: str) -> str:
    """Add the header's unit to a cell that has none of its own.

    >>> with_unit("57 ± 0.05", "mm"), with_unit("2.244 in", "mm")
    ('57 ± 0.05 mm', '2.244 in')
    """
    return f"{text} {unit}" if unit and _BARE_NUMBERS.match(text) else text
