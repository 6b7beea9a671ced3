"""A build sheet as the reports' own blocks, for its Markdown twin."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Report, Section, Table, Title
from kitwright.cli.report.sheet.page import Sheet, plain_blocks
from kitwright.cli.report.sheet.visible import visible


def as_blocks(sheet: Sheet) -> Report:
    """Lay a sheet out as blocks: headings, its title block as a table, and each section's blocks."""
    report: Report = [Title(sheet.title, 1), Paragraph(sheet.lead)]
    report.append(Table((Column("sheet"), Column("")), tuple(sheet.head)))
    for number, section in enumerate(sheet.sections, 1):
        report.append(Title(f"{number}. {section.title}"))
        report += [each for block in section.blocks for each in plain_blocks(block)]
    return [_shown(each) for each in report]


def _shown(block: Any) -> Any:
    """Give a block with every hidden character of its texts written out."""
    if isinstance(block, Title | Paragraph):
        return replace(block, text=visible(block.text))
    if isinstance(block, Items):
        return replace(block, title=visible(block.title), items=tuple(map(visible, block.items)))
    if isinstance(block, Command):
        return replace(block, words=tuple(map(visible, block.words)))
    rows = tuple(
        Section(visible(row.title), visible(row.note)) if isinstance(row, Section) else tuple(map(visible, row))
        for row in block.rows
    )
    return replace(block, rows=rows)
