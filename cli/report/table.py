"""A report as text for a terminal: nothing wider than it, little colour, tables that break into blocks."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice

import tabulate

from kitwright.cli.report.blocks import (
    Block,
    Column,
    Command,
    Items,
    Lines,
    Paragraph,
    Report,
    Section,
    Table,
    Title,
    shown,
)
from kitwright.cli.seen import quoted

tabulate.MIN_PADDING = 0  # columns no wider than they need to be

_GAP = 2
_INDENT = "  "
_NARROWEST_WRAPPED = 18

_BOLD, _RED, _GREEN, _YELLOW, _OFF = "\x1b[1m", "\x1b[31m", "\x1b[32m", "\x1b[33m", "\x1b[0m"
_TONES = {"good": _GREEN, "open": _YELLOW, "bad": _BOLD + _RED}
_CELL_COLOURS = {
    "NO": _BOLD + _RED,
    "does not fit": _BOLD + _RED,
    "not established": _YELLOW,
    "on paper": _YELLOW,
    "?": _YELLOW,
    "fits": _GREEN,
}


def as_text(report: Report, width: int = 100, colour: bool = False) -> str:
    """Write a report as text of at most ``width`` columns, as far as its longest words allow."""
    parts = ["\n".join(_lines(shown(block), width, colour)) for block in report]
    return "\n\n".join(part for part in parts if part) + "\n"


def _lines(block: Block, width: int, colour: bool) -> Iterator[str]:
    if isinstance(block, Title):
        tone = _BOLD + _TONES.get(block.tone, "").replace(_BOLD, "")
        yield from (_paint(line, tone, colour) for line in _wrapped(block.text, width))
    elif isinstance(block, Paragraph):
        tone = _TONES.get(block.tone, "")
        yield from (_paint(line, tone, colour) for line in _wrapped(block.text, width))
    elif isinstance(block, Items):
        if block.title:
            yield from _wrapped(f"{block.title}:", width)
        for item in block.items:
            yield from [f"  - {item}"] if block.whole else _wrapped(item, width, "  - ", "    ")
    elif isinstance(block, Lines):
        yield from _wrapped(f"{block.title}:", width)
        yield from (f"{_INDENT}{line}" for line in block.lines)
    elif isinstance(block, Command):
        if block.purpose:
            yield from _wrapped(f"{block.purpose}:", width)
        yield from _command(block.words, width)
    else:
        if block.title:
            yield from (_paint(line, _BOLD, colour) for line in _wrapped(block.title, width))
        yield from _table(block, width, colour)


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _command(words: Sequence[str], width: int) -> Iterator[str]:
    """Give a command, broken between its words so that it can be copied as it stands."""
    line = "  "
    for word in _paired(words):
        if len(line) + len(word) + 3 > width and line.strip():
            yield f"{line.rstrip()} \\"
            line = "    "
        line += f"{word} "
    yield line.rstrip()


def _paired(words: Sequence[str]) -> list[str]:
    """Each option together with its value."""
    pairs: list[str] = []
    for word in words:
        if pairs and pairs[-1].startswith("--") and " " not in pairs[-1] and not word.startswith("--"):
            pairs[-1] += f" {quoted(word)}"
        else:
            pairs.append(quoted(word))
    return pairs


def _paint(text: str, codes: str, colour: bool) -> str:
    return f"{codes}{text}{_OFF}" if colour and codes and text else text


# tables


def _table(table: Table, width: int, colour: bool) -> Iterator[str]:
    for number, (columns, limits) in enumerate(_blocks(table, width)):
        if number:
            yield ""
        yield from _one_block(_telling(table, columns) if number else table, columns, limits, colour)


def _telling(table: Table, columns: Sequence[int]) -> Table:
    """The rows that say something in a block that goes on with a table, and the sections that have any left."""
    rows: list[tuple[str, ...] | Section] = []
    for row in table.rows:
        if isinstance(row, Section):
            if rows and isinstance(rows[-1], Section):
                rows.pop()
            rows.append(row)
        elif any(row[column] for column in columns[table.keys :]):
            rows.append(row)
    if rows and isinstance(rows[-1], Section):
        rows.pop()
    return replace(table, rows=tuple(rows))


def _one_block(table: Table, columns: Sequence[int], limits: Sequence[int | None], colour: bool) -> Iterator[str]:
    broken = [
        [_broken(row[column], limit) for column, limit in zip(columns, limits, strict=True)] for row in table.cells
    ]
    laid = tabulate.tabulate(
        [[_cell(text, colour) for text in row] for row in broken],
        headers=[table.columns[column].title for column in columns],
        tablefmt="simple",
        colalign=tuple(table.columns[column].side for column in columns),
        disable_numparse=True,
    )
    lines = [line.rstrip() for line in laid.splitlines()]
    if not any(isinstance(row, Section) for row in table.rows):
        yield from lines
        return
    yield from (_INDENT + line for line in lines[:2])
    body, heights = iter(lines[2:]), iter(max(text.count("\n") for text in row) + 1 for row in broken)
    for entry in table.rows:
        if isinstance(entry, Section):
            yield _paint(entry.title, _BOLD, colour)
            if entry.note:
                yield _INDENT + entry.note
        else:
            yield from (_INDENT + line for line in islice(body, next(heights)))


def _broken(text: str, limit: int | None) -> str:
    return text if limit is None or len(text) <= limit else "\n".join(textwrap.wrap(text, limit))


def _cell(text: str, colour: bool) -> str:
    return _paint(text, _CELL_COLOURS.get(text, ""), colour)


def _blocks(table: Table, width: int) -> Iterator[tuple[list[int], list[int | None]]]:
    """Columns of each block of a table, with the widths that cells are broken to."""
    if any(isinstance(row, Section) for row in table.rows):
        width -= len(_INDENT)
    every = list(range(len(table.columns)))
    natural = [_natural(table, column) for column in every]
    if _total(natural, every) <= width:
        yield every, [None] * len(every)
        return
    limits = _shrunk(table.columns, natural, every, width)
    if limits is not None:
        yield every, limits
        return
    keys, rest = every[: table.keys], every[table.keys :]
    for columns in _packed(table, natural, keys, rest, width):
        yield _fitted(table, natural, columns, width)


def _packed(table: Table, natural: list[int], keys: list[int], rest: list[int], width: int) -> Iterator[list[int]]:
    """Columns of as few blocks as it takes; a group that fits one block is not torn."""

    def room(columns: list[int]) -> bool:
        narrow = [
            min(natural[each], _NARROWEST_WRAPPED) if table.columns[each].wraps else natural[each] for each in every
        ]
        return _total(narrow, columns) <= width

    every = range(len(natural))
    taken = list(keys)
    for group in _groups(table.columns, rest):
        if room([*taken, *group]):
            taken += group
            continue
        if room([*keys, *group]) and len(taken) > len(keys) + 1:
            yield taken
            taken = [*keys, *group]
            continue
        for column in group:
            if len(taken) > len(keys) and not room([*taken, column]):
                yield taken
                taken = list(keys)
            taken.append(column)
    yield taken


def _fitted(table: Table, natural: list[int], columns: list[int], width: int) -> tuple[list[int], list[int | None]]:
    if _total(natural, columns) <= width:
        return columns, [None] * len(columns)
    return columns, _shrunk(table.columns, natural, columns, width) or [None] * len(columns)


def _shrunk(columns: tuple[Column, ...], natural: list[int], shown: list[int], width: int) -> list[int | None] | None:
    """Widths of the columns that may be broken so that all fit; None where they cannot."""
    breakable = [column for column in shown if columns[column].wraps]
    if not breakable:
        return None
    widths = dict.fromkeys(breakable, 0)
    fixed = [column for column in shown if column not in widths]
    room = width - sum(natural[column] for column in fixed) - _GAP * (len(shown) - 1)
    floor = {column: min(natural[column], _NARROWEST_WRAPPED) for column in breakable}
    if room < sum(floor.values()):
        return None
    for number, column in enumerate(sorted(breakable, key=lambda each: natural[each])):
        share = room // (len(breakable) - number)
        widths[column] = min(natural[column], max(share, floor[column]))
        room -= widths[column]
    return [widths.get(column) for column in shown]


def _groups(columns: tuple[Column, ...], rest: list[int]) -> list[list[int]]:
    groups: list[list[int]] = []
    for column in rest:
        if groups and columns[groups[-1][-1]].group == columns[column].group:
            groups[-1].append(column)
        else:
            groups.append([column])
    return groups


def _natural(table: Table, column: int) -> int:
    return max(len(text) for text in (table.columns[column].title, *(row[column] for row in table.cells)))


def _total(natural: list[int], columns: Sequence[int]) -> int:
    return sum(natural[column] for column in columns) + _GAP * (len(columns) - 1)
