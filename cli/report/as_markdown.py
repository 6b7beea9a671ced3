"""A report as Markdown: the same content as the text, in tables that any renderer lays out."""

from __future__ import annotations

import re
from collections.abc import Iterator

from kitwright.cli.report.blocks import Block, Command, Items, Lines, Paragraph, Report, Section, Table, Title, shown
from kitwright.cli.seen import joined

_CODE = re.compile(r"(`[^`|]+`)")
_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~])")


def as_markdown(report: Report) -> str:
    """Write a report as Markdown."""
    return "\n\n".join("\n".join(_lines(shown(block))) for block in report) + "\n"


def escaped(text: str) -> str:
    r"""Escape text so that Markdown shows it as it is; words in backticks stay code.

    >>> escaped("spring_shim | 2")
    'spring\\_shim \\| 2'
    """
    pieces = _CODE.split(" ".join(text.split()))
    return "".join(piece if _CODE.fullmatch(piece) else _SPECIAL.sub(r"\\\1", piece) for piece in pieces)


def _lines(block: Block) -> Iterator[str]:
    if isinstance(block, Title):
        yield f"{'#' * block.level} {escaped(block.text)}"
    elif isinstance(block, Paragraph):
        text = escaped(block.text)
        yield f"**{text}**" if block.tone != "plain" else text
    elif isinstance(block, Items):
        if block.title:
            yield from (f"{escaped(block.title)}:", "")
        yield from (f"- {escaped(item)}" for item in block.items)
    elif isinstance(block, Lines):
        yield from (f"{escaped(block.title)}:", "", "```", *block.lines, "```")
    elif isinstance(block, Command):
        if block.purpose:
            yield from (f"{escaped(block.purpose)}:", "")
        yield from ("```", joined(block.words), "```")
    else:
        yield from _table(block)


def _table(table: Table) -> Iterator[str]:
    if table.title:
        yield from (f"**{escaped(table.title)}**", "")
    head = not isinstance(table.rows[0], Section) if table.rows else True
    if head:
        yield from _head(table)
    for number, row in enumerate(table.rows):
        if isinstance(row, Section):
            if number:
                yield ""
            yield from (f"**{escaped(row.title)}**", "")
            if row.note:
                yield from (escaped(row.note), "")
            yield from _head(table)
        else:
            yield _row(row)


def _head(table: Table) -> Iterator[str]:
    yield _row(tuple(column.title or " " for column in table.columns))
    yield _row(tuple("--:" if column.side == "right" else ":--" for column in table.columns), escape=False)


def _row(cells: tuple[str, ...], escape: bool = True) -> str:
    return "| " + " | ".join(escaped(cell) if escape else cell for cell in cells) + " |"
