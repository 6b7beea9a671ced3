"""A build sheet as one HTML file: no script, nothing from elsewhere, every text escaped."""

from __future__ import annotations

import re
from importlib.resources import files
from typing import Any

from markupsafe import Markup, escape

from kitwright.cli.report.blocks import Section as RowSection
from kitwright.cli.report.blocks import Table
from kitwright.cli.report.sheet.page import Sheet
from kitwright.cli.report.sheet.visible import visible
from kitwright.cli.seen import joined

_CODE = re.compile(r"`([^`]+)`")
_MARKS = {"yes": "✓ yes", "NO": "✗ no"}
"""What a cell of the column ``holds`` is written as: a mark says it before the word is read."""

NARROW = 3
"""Columns that a phone has room for; a wider table is laid out row by row there."""

WIDEST = 11
"""Columns that a sheet of paper has room for; a wider table is broken into several."""


def as_html(sheet: Sheet) -> str:
    """Write a sheet as a page of its own."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters |= {"prose": prose, "visible": visible, "command": joined}
    environment.tests |= {"section": _is_section}
    environment.globals |= {"kind": _kind, "cell": _cell, "bodies": _bodies, "split": split, "narrow": NARROW}
    return environment.get_template("sheet.html").render(sheet=sheet)


def _template(name: str) -> str:
    return (files("kitwright.cli.report.sheet") / "templates" / name).read_text(encoding="utf-8")


def prose(text: str) -> Markup:
    """Escape a sentence; what stands in backticks becomes code.

    >>> prose("say `a < b`")
    Markup('say <code>a &lt; b</code>')
    """
    pieces = _CODE.split(visible(text))
    return Markup("").join(
        Markup("<code>{}</code>").format(piece) if number % 2 else escape(piece) for number, piece in enumerate(pieces)
    )


def _is_section(row: Any) -> bool:
    return isinstance(row, RowSection)


def _kind(block: Any) -> str:
    return type(block).__name__


def _cell(table: Table, number: int, text: str) -> str:
    return _MARKS.get(text, text) if table.columns[number].title == "holds" else text


def split(table: Table) -> list[Table]:
    """Break a table that is wider than paper into narrower ones, each beginning with the columns that say which row.

    Columns of one group stay together where they can.
    """
    count = len(table.columns)
    if count <= WIDEST:
        return [table]
    keys = list(range(table.keys))
    blocks: list[list[int]] = [[]]
    for number in range(table.keys, count):
        here = blocks[-1]
        other = here and table.columns[number].group != table.columns[here[-1]].group
        if other or len(here) + table.keys >= WIDEST:
            blocks.append([])
        blocks[-1].append(number)
    found = []
    for place, block in enumerate(blocks):
        shown = [*keys, *block]
        rows = tuple(row if isinstance(row, RowSection) else tuple(row[each] for each in shown) for row in table.rows)
        title = table.title if not place else ""
        found.append(Table(tuple(table.columns[each] for each in shown), rows, title, table.keys))
    return found


def _bodies(table: Table) -> list[tuple[RowSection, list[tuple[str, ...]]]]:
    """Rows by the section that they stand under; rows before the first section have an empty title."""
    found: list[tuple[RowSection, list[tuple[str, ...]]]] = []
    for row in table.rows:
        if isinstance(row, RowSection):
            found.append((row, []))
        else:
            if not found:
                found.append((RowSection(""), []))
            found[-1][1].append(row)
    return found
