"""What a report is made of before it is text or Markdown: titles, paragraphs, lists, tables, commands."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from kitwright.cli.seen import on_one_line, seen

Tone = Literal["plain", "good", "open", "bad"]
"""``good`` is green and for what fits alone; ``open`` for what fits on paper; ``bad`` for what does not."""
Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Title:
    """A heading; ``level`` 1 stands once, at the top; ``tone`` is that of the verdict that it says."""

    text: str
    level: int = 2
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Items:
    """A list under a line that says what it lists.

    ``whole`` items stay on one line each, to be searched; ``tick`` puts a box before each on a page, to be ticked.
    """

    title: str
    items: tuple[str, ...]
    whole: bool = False
    tick: bool = False


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines of a file, as they stand in it."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Command:
    """A command to type next, and what it is for."""

    purpose: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table.

    Attributes:
        title: header, with the unit in brackets.
        side: how cells are aligned.
        group: columns of one group stay together where the table is too wide for one block.
        wraps: whether long cells may be broken into lines.

    """

    title: str
    side: Side = "left"
    group: str = ""
    wraps: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """A line between the rows of a table that says what comes next; ``note`` is what to know before it."""

    title: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text; the first ``keys`` columns are repeated where the table is broken into blocks."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...] | Section, ...]
    title: str = ""
    keys: int = 1

    @property
    def cells(self) -> list[tuple[str, ...]]:
        """Rows without the sections."""
        return [row for row in self.rows if not isinstance(row, Section)]

    def without_empty(self) -> Table:
        """Leave out the columns that say nothing in any row."""
        kept = [number for number in range(len(self.columns)) if any(row[number] for row in self.cells)]
        rows = tuple(row if isinstance(row, Section) else tuple(row[number] for number in kept) for row in self.rows)
        return Table(tuple(self.columns[number] for number in kept), rows, self.title, self.keys)


Block = Title | Paragraph | Items | Lines | Command | Table
Report = list[Block]


def shown(block: Block) -> Block:
    r"""Give a block with all that a terminal would act on written out; a command's words are left to its shell quotes.

    >>> shown(Title("plan\x1b[2J")).text
    'plan\\x1b[2J'
    """
    if isinstance(block, Title | Paragraph):
        return replace(block, text=on_one_line(block.text))
    if isinstance(block, Items):
        return replace(block, title=on_one_line(block.title), items=tuple(map(on_one_line, block.items)))
    if isinstance(block, Lines):
        lines = tuple(seen(line, "\t") for line in block.lines)
        return replace(block, title=on_one_line(block.title), lines=lines)
    if isinstance(block, Command):
        return replace(block, purpose=on_one_line(block.purpose))
    rows = tuple(
        Section(on_one_line(row.title), on_one_line(row.note))
        if isinstance(row, Section)
        else tuple(map(on_one_line, row))
        for row in block.rows
    )
    columns = tuple(replace(column, title=on_one_line(column.title)) for column in block.columns)
    return Table(columns, rows, on_one_line(block.title), block.keys)
