"""What a build sheet is made of, whatever it is written as: sections of the reports' blocks, pictures and tiles."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from kitwright.cli.report.blocks import Block, Report, Table


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing or plot.

    Attributes:
        title: what it shows.
        description: what a reader would see, with the numbers, for those who do not.
        svg: the drawing.
        numbers: the same as a table, for the Markdown.

    """

    title: str
    description: str
    svg: Markup
    numbers: Table | None = None


@dataclass(frozen=True, slots=True)
class Tile:
    """One figure at the top: its name, its value, and a line below."""

    name: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Tiles:
    """The figures that matter first."""

    tiles: tuple[Tile, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Blocks that are laid beside one another where there is room; ``style`` names the layout."""

    style: str
    blocks: tuple[SheetBlock, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """A table to be filled in at the bench: every row ends in a blank."""

    table: Table
    blank: str


SheetBlock = Block | Picture | Tiles | Group | Card


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the sheet; ``name`` is its anchor."""

    name: str
    title: str
    blocks: tuple[SheetBlock, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A build sheet.

    Attributes:
        title: at the top.
        lead: what it is a sheet of.
        head: the fields of the title block: name and text; an empty text is to be filled in by hand.
        sections: in order.
        tone: ``good``, ``bad`` or ``plain``: how the answer is marked, beside its words.

    """

    title: str
    lead: str
    head: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]


def plain_blocks(block: SheetBlock) -> Report:
    """Give a block as the reports' own blocks: pictures become their description and their numbers."""
    from kitwright.cli.report.blocks import Column, Paragraph

    if isinstance(block, Picture):
        told: Report = [Paragraph(f"{block.title}. {block.description}")]
        return [*told, block.numbers] if block.numbers is not None else told
    if isinstance(block, Tiles):
        rows = tuple((each.name, each.value, each.note) for each in block.tiles)
        return [Table((Column("figure"), Column("value", "right"), Column("worst case")), rows).without_empty()]
    if isinstance(block, Group):
        return [each for inner in block.blocks for each in plain_blocks(inner)]
    if isinstance(block, Card):
        rows_blank = tuple(row if not isinstance(row, tuple) else (*row, "") for row in block.table.rows)
        columns = (*block.table.columns, Column(block.blank))
        return [Table(columns, rows_blank, block.table.title, block.table.keys)]
    return [block]
