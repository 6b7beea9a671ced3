"""The build sheet: one page to pin up, as HTML that needs nothing beside it, or as Markdown."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from kitwright.cli.report.sheet.page import Sheet


def written(sheet: Sheet, form: str) -> str:
    """Write a sheet as ``html`` or ``markdown``."""
    if form == "markdown":
        from kitwright.cli.report.as_markdown import as_markdown
        from kitwright.cli.report.sheet.as_blocks import as_blocks

        return as_markdown(as_blocks(sheet))
    from kitwright.cli.report.sheet.as_html import as_html

    return as_html(sheet)
