"""Edits of a CSV catalogue that leave every other cell, remark and line end as it is.

As in ``edit_yaml``, text is put in at the place of one cell, and the new text is read before it is given back.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from kitwright.catalogs.csv_lines import HEADER, with_unit
from kitwright.catalogs.edit_yaml import EditError, Value, line_break
from kitwright.catalogs.nodes import YES, plain
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_csv import kind_of_name, parse_csv

_CELL = re.compile(r'"(?:[^"]|"")*"|[^,\r\n]*')
_BREAK = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True, slots=True)
class _Record:
    """One row: where each of its cells stands in the text."""

    cells: tuple[tuple[int, int], ...]

    @property
    def end(self) -> int:
        return self.cells[-1][1]


def set_cell(text: str, part_id: str, field: str, value: Value, kind: str | None = None, name: str = "") -> str:
    r"""Change one field of one part; a column that is missing is added at the right.

    Args:
        text: the file's text.
        part_id: the part.
        field: the field, nested ones with a dot: ``mill.max``.
        value: what is to stand there; a unit that the header names already is left out.
        kind: kind of part that the file's name says.
        name: the file, for messages.

    Raises:
        InputError: the text is at fault, or the part is not in it.
        EditError: the cell cannot be changed alone.

    >>> set_cell("kind,id,stroke [mm]\nrods,r85,\n", "r85", "on_shelf", "2")
    'kind,id,stroke [mm],on_shelf\nrods,r85,,2\n'
    """
    header, rows = _records(text, name)
    columns = _columns(text, header)
    row = next((each for each in rows if _id(text, each, columns) == part_id), None)
    if row is None:
        raise InputError([Problem(f"the file holds no part `{part_id}`", "nothing was changed", name)])
    written, read = "", ""
    if field in columns:
        place, unit = columns[field]
        written, read = _cell(value, unit)
        start, end = row.cells[place]
        new = text[:start] + _quoted(written, text[start:end]) + text[end:]
    else:
        written, read = _cell(value, "")
        new = _with_column(text, header, rows, field, row, _quoted(written))

    def change(found: dict[str, dict[str, Any]]) -> None:
        _put(found[part_id], field, read)

    return _proved(text, new, kind, name, change)


def append_row(text: str, fields: Mapping[str, Value], kind: str | None = None, name: str = "") -> str:
    r"""Add a part as the last row; fields without a column get one at the right.

    Fields are named with a dot where they are nested; arguments and faults as in :func:`set_cell`. In a file of
    several kinds ``fields`` holds ``kind`` too.

    >>> append_row("id,length [mm]\nr85,85\n", {"id": "r86", "length": "86 mm ± 0.05 mm"}, "rod")
    'id,length [mm]\nr85,85\nr86,86 ± 0.05\n'
    """
    return append_rows(text, [fields], kind, name)


def append_rows(text: str, parts: Sequence[Mapping[str, Value]], kind: str | None = None, name: str = "") -> str:
    r"""Add several parts at once, which takes hardly longer than one. All else as in :func:`append_row`.

    >>> append_rows("id,length [mm]\nr85,85\n", [{"id": "r86", "length": "86 mm"}, {"id": "r87", "note": "?"}], "rod")
    'id,length [mm],note\nr85,85,\nr86,86,\nr87,,?\n'
    """
    header, rows = _records(text, name)
    for field in dict.fromkeys(field for each in parts for field in each):
        if field not in _columns(text, header):
            text = _with_column(text, header, rows, field)
            header, rows = _records(text, name)
    columns = _columns(text, header)
    end = line_break(text)
    lines: list[str] = []
    wanted: dict[str, dict[str, Any]] = {}
    for fields in parts:
        cells = [""] * len(header.cells)
        part: dict[str, Any] = {}
        for field, value in fields.items():
            place, unit = columns[field]
            cells[place], read = _cell(value, unit)
            if field != "kind":
                _put(part, field, read)
        lines.append(",".join(map(_quoted, cells)))
        wanted[str(fields["id"])] = part
    block = end.join(lines)
    new = text + block + end if text.endswith(("\n", "\r")) else text + end + block

    def change(found: dict[str, dict[str, Any]]) -> None:
        if found.keys() & wanted.keys() or len(wanted) < len(parts):
            raise KeyError("id")
        found.update(wanted)

    return _proved(text, new, kind, name, change)


def cell_at(text: str, part_id: str, field: str, name: str = "") -> str | None:
    r"""Text of one cell, without quotes; None where there is no such part or column.

    >>> cell_at("id,on_shelf\nr85,2\n", "r85", "on_shelf")
    '2'
    """
    header, rows = _records(text, name)
    columns = _columns(text, header)
    for row in rows:
        if _id(text, row, columns) == part_id and field in columns:
            return _said(text, row.cells[columns[field][0]])
    return None


def ids(text: str, name: str = "") -> set[str]:
    r"""Ids of all parts of a file.

    >>> sorted(ids("id,on_shelf\nr85,2\nr86,\n"))
    ['r85', 'r86']
    """
    header, rows = _records(text, name)
    columns = _columns(text, header)
    return {_id(text, row, columns) for row in rows}


def has_column(text: str, field: str, name: str = "") -> bool:
    """Whether a file has a column for a field (or ``kind``)."""
    return field in _columns(text, _records(text, name)[0])


# places


def _records(text: str, name: str) -> tuple[_Record, list[_Record]]:
    """Header and rows; remarks above the header and blank lines left out."""
    found: list[_Record] = []
    at = 0
    while at < len(text):
        end = _BREAK.search(text, at)
        line = text[at : end.start() if end else len(text)]
        if not line.strip() or (not found and line.startswith("#")):
            at = end.end() if end else len(text)
            continue
        cells: list[tuple[int, int]] = []
        while True:
            match = _CELL.match(text, at)
            assert match is not None  # a cell may be empty
            cells.append(match.span())
            at = match.end()
            if text[at : at + 1] != ",":
                break
            at += 1
        found.append(_Record(tuple(cells)))
        ended = _BREAK.match(text, at)
        if ended is None and at < len(text):
            number = text.count(line_break(text), 0, at) + 1
            raise InputError([Problem("the row cannot be read", "look at its quotes", name, number)])
        at = ended.end() if ended else at
    if not found:
        raise InputError([Problem("the file is empty", "its first line names the fields", name, 1)])
    return found[0], found[1:]


def _columns(text: str, header: _Record) -> dict[str, tuple[int, str]]:
    """Field to its place in a row and the header's unit."""
    found: dict[str, tuple[int, str]] = {}
    for place, span in enumerate(header.cells):
        match = HEADER.match(_said(text, span).strip())
        if match and match["name"].strip():
            field = match["name"].strip()
            found["kind" if field.lower() == "kind" else field] = (place, match["unit"] or "")
    return found


def _id(text: str, row: _Record, columns: Mapping[str, tuple[int, str]]) -> str:
    place = columns.get("id", (len(row.cells), ""))[0]
    return _said(text, row.cells[place]).strip() if place < len(row.cells) else ""


def _said(text: str, span: tuple[int, int]) -> str:
    cell = text[slice(*span)]
    return cell[1:-1].replace('""', '"') if cell.startswith('"') else cell


def _with_column(
    text: str, header: _Record, rows: Sequence[_Record], field: str, row: _Record | None = None, cell: str = ""
) -> str:
    """The text with one column more, empty but in one row."""
    for each in reversed([header, *rows]):
        added = field if each is header else cell if each is row else ""
        text = f"{text[: each.end]},{added}{text[each.end :]}"
    return text


# writing


def _cell(value: Value, unit: str) -> tuple[str, Any]:
    """What stands in a cell, and what is read from it."""
    if not isinstance(value, str) and isinstance(value, Sequence):
        words = [str(each) for each in value]
        separator = "; " if any(" " in word for word in words) else " "
        return separator.join(words), words
    text = str(value)
    bare = re.sub(rf"\s*(?<![A-Za-z0-9]){re.escape(unit)}(?![A-Za-z0-9])", "", text).strip() if unit else text
    if unit and bare != text and with_unit(bare, unit) != bare:
        return bare, with_unit(bare, unit)
    return text, with_unit(text, unit)


def _quoted(text: str, like: str = "") -> str:
    """A cell in quotes where it needs them, or where the old one had them."""
    if like.startswith('"') or re.search(r'[",\r\n]', text):
        return '"' + text.replace('"', '""') + '"'
    return text


# proof


def _proved(
    old: str, new: str, kind: str | None, name: str, change: Callable[[dict[str, dict[str, Any]]], None]
) -> str:
    """Give the new text back where it says what ``change`` makes of the old one's rows."""
    wanted, found = _parts(old, kind, name), _parts(new, kind, name)
    try:
        change(wanted)
    except (KeyError, TypeError):
        raise _refused(name) from None
    if wanted != found or list(wanted) != list(found):
        raise _refused(name)
    return new


def _parts(text: str, kind: str | None, name: str) -> dict[str, dict[str, Any]]:
    problems: list[Problem] = []
    rows = list(parse_csv(text, name, problems, kind or kind_of_name(re.sub(r".*[/\\]|\.[^.]*$", "", name))))
    if problems:
        raise InputError(problems)
    parts = [plain(row.table) for row in rows]
    found = {str(each.get("id", "")): each for each in parts}
    if len(found) < len(parts):
        raise _refused(name)
    return found


def _put(part: dict[str, Any], field: str, value: Any) -> None:
    """Set a field of a part as it was read; an empty cell is as if it were not there."""
    *groups, last = field.split(".")
    for group in groups:
        if not isinstance(part.get(group), dict):  # `true` says nothing more beside the group's fields
            part[group] = {}
        part = part[group]
    if value in ("", []):
        part.pop(last, None)
    elif isinstance(part.get(last), dict) and str(value).strip().lower() in YES:
        return
    else:
        part[last] = value


def _refused(name: str) -> EditError:
    message = "the file is laid out so that this change would touch more than it should"
    return EditError([Problem(message, "nothing was changed: write it by hand", name)])
