"""A spreadsheet's CSV file as it comes: its encoding, separator and line ends found out and told, nothing guessed at.

The catalogue's own reader (``read_csv``) takes one form alone. This one is for what is to be taken over into the
catalogue, where every conversion is named before anything is written.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from kitwright.catalogs.csv_lines import numbered_rows, uneven
from kitwright.catalogs.problems import Problem, clip
from kitwright.catalogs.read_yaml import decoded, read_data

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_SEPARATOR_LINE = re.compile(r"\Asep=(.)[ \t]*(?=\r|\n|\Z)")
_MARKS = {codecs.BOM_UTF16_LE: "UTF-16", codecs.BOM_UTF16_BE: "UTF-16"}


@dataclass(frozen=True, slots=True)
class Sheet:
    """The cells of a file: ``header`` and ``rows`` with their lines; ``notes`` say how the file was read."""

    file: str
    line: int
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    notes: tuple[str, ...]


def read_sheet(path: Path, problems: list[Problem], encoding: str | None = None) -> Sheet | None:
    """Read a CSV file of any common form; None where it cannot be read, which ``problems`` explains.

    Args:
        path: the file.
        problems: takes what is at fault, every uneven row among it.
        encoding: of the file; found out unless given (UTF-8, UTF-16 with its mark, else Windows-1252, which is told).

    """
    data = read_data(path, problems)
    return None if data is None else sheet_of(data, str(path), problems, encoding)


def sheet_of(data: bytes, name: str, problems: list[Problem], encoding: str | None = None) -> Sheet | None:
    r"""As :func:`read_sheet`, from bytes.

    >>> found = sheet_of("id;Hub [mm]\r\nk57;57,0\r\n".encode(), "cranks.csv", [])
    >>> found.header, found.rows, found.notes[1:]
    (('id', 'Hub [mm]'), ((2, ('k57', '57,0')),), ('cells separated by semicolons', 'lines end in CRLF'))
    """
    if data.startswith(_WORKBOOKS):
        message = "the file is a workbook, and no text"
        problems.append(Problem(message, "open it and save the sheet as CSV (UTF-8)", name))
        return None
    before = len(problems)
    read = _text(data, name, problems, encoding)
    if read is None:
        return None
    text, notes = read
    said = _SEPARATOR_LINE.match(text)
    if said:  # spreadsheets write and read this line, so the cells begin below it
        text = text[said.end() :]
        notes.append(f"the first line, `{said[0].strip()}`, names the separator")
    separator = said[1] if said else _separator(text)
    if separator in '"\r\n ' or separator.isalnum():
        problems.append(Problem(f"`{separator}` separates no cells", "write a comma, a semicolon or a tab", name, 1))
        return None
    lines = list(numbered_rows(text, name, problems, separator))
    if len(problems) > before:
        return None
    if not lines:
        problems.append(Problem("the file is empty", "its first line names the columns", name, 1))
        return None
    if separator != "," or said:
        notes.append(f"cells separated by {SEPARATORS.get(separator, f'`{separator}`')}")
    ends = {"\r\n": "CRLF", "\r": "CR"}.get(_line_end(text), "")
    if ends:
        notes.append(f"lines end in {ends}")
    first, header = lines[0]
    filled = sum(bool(cell.strip()) for cell in header)
    if filled < 2 <= max((sum(bool(cell.strip()) for cell in cells) for _, cells in lines[1:]), default=0):
        hint = "the first line names the columns: delete what stands above it, or begin those lines with `#`"
        problems.append(Problem("the line names one column, and there are more", hint, name, first))
        return None
    rows = tuple(_rows(lines[1:], header, name, problems, separator))
    return Sheet(name, first, tuple(cell.strip() for cell in header), rows, tuple(notes))


def _rows(
    lines: list[tuple[int, list[str]]], header: list[str], name: str, problems: list[Problem], separator: str
) -> list[tuple[int, tuple[str, ...]]]:
    found = []
    for line, cells in lines:
        while len(cells) > len(header) and not cells[-1].strip():
            cells.pop()
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            problems.append(uneven(cells, header, line, name, separator))
            continue
        found.append((line, tuple(cell.strip() for cell in cells)))
    return found


def _text(data: bytes, name: str, problems: list[Problem], encoding: str | None) -> tuple[str, list[str]] | None:
    """Text and how it was read."""
    said, note = encoding, f"{encoding}, as typed"
    if said is None:
        said, note = _encoding(data)
    try:
        text = data.decode(said)
    except LookupError:
        hint = "`--encoding` takes names such as utf-8, windows-1252, iso-8859-15 or mac-roman"
        problems.append(Problem(f"`{clip(said)}` is no encoding that is known here", hint, name))
        return None
    except (UnicodeDecodeError, ValueError) as error:
        at = error.start if isinstance(error, UnicodeDecodeError) else 0
        line, byte = data.count(b"\n", 0, at) + 1, f"byte 0x{data[at]:02x}" if at < len(data) else "its end"
        hint = "save it as CSV (UTF-8), or say its encoding: `--encoding NAME`"
        problems.append(Problem(f"the file is not {_plain_name(said)} ({byte})", hint, name, line))
        return None
    text = text.removeprefix("\ufeff")
    if said == "cp1252" and (strange := re.search(r'[^\s,;|"]*[^\x00-\x7f][^\s,;|"]*', text)):
        note += f": is `{clip(strange[0], 20)}` right? `--encoding NAME` reads it otherwise"
    clean = decoded(text.encode("utf-8", "surrogatepass"), name, problems)
    return None if clean is None else (clean, [note])


def _encoding(data: bytes) -> tuple[str, str]:
    if data.startswith(codecs.BOM_UTF8):
        return "utf-8-sig", "UTF-8 with a byte-order mark"
    if data[:2] in _MARKS:
        return "utf-16", "UTF-16"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", "Windows-1252, because it is not UTF-8"
    return "utf-8", "UTF-8"


def _plain_name(encoding: str) -> str:
    return {"cp1252": "UTF-8, nor Windows-1252", "utf-16": "whole UTF-16", "utf-8-sig": "UTF-8"}.get(encoding, encoding)


def _separator(text: str) -> str:
    """What separates the cells: it gives every row as many as the header, and the header the most."""
    best = (False, 1, ",")
    for sign in SEPARATORS:
        try:
            lines = (line for line in csv.reader(io.StringIO(text, newline=""), delimiter=sign) if line)
            counts = [len(line) for line in lines if not line[0].startswith("#")]
        except csv.Error:
            continue
        if counts and counts[0] > 1:
            even = all(each == counts[0] for each in counts)
            best = max(best, (even, counts[0], sign), key=lambda each: each[:2])
    return best[2]


def _line_end(text: str) -> str:
    found = re.search(r"\r\n|\n|\r", text)
    return found[0] if found else "\n"
