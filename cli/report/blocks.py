"""What a report is made of before it is text or Markdown: titles, paragraphs, lists, tables, commands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Tone = Literal["plain", "good", "open", "bad"]
"""``good`` is green and for what fits alone; ``open`` for what fits on paper; ``bad`` for what does not."""
Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Title:
    """A heading; ``level`` 1 stands once, at the top."""

    text: str
    level: int = 2


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
