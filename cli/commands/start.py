"""``kitwright start``: a starter catalogue and plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, deliver, guarded, say
from kitwright.cli.seen import quoted

EPILOG = options.examples("kitwright start shed", "kitwright find shed/plan.yaml", one=None)


@guarded
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to lay them into.", show_default=False)],
    form: options.FormatOption = options.Format.TABLE,
) -> Status:
    """Lay a starter catalogue of invented parts, and a plan to ask it with.

    Nothing is ever overwritten.
    """
    from kitwright.catalogs import lay_starter

    written = lay_starter(folder)
    deliver(_listed([str(path) for path in written], form), None, "the starter is laid")
    say("", "Next:", f"  kitwright find {quoted(str(written[0]))}")
    return Status.ANSWERED


def _listed(paths: list[str], form: options.Format) -> str:
    if form is options.Format.JSON:
        from kitwright.cli.report.as_json import dumped

        return dumped({"written": paths})
    if form is options.Format.CSV:
        from kitwright.cli.report.as_csv import csv_text

        return csv_text((["file"], [{"file": path} for path in paths]))
    from kitwright.catalogs.problems import printable

    paths = list(map(printable, paths))
    return "\n".join(f"- `{path}`" if form is options.Format.MARKDOWN else path for path in paths)
