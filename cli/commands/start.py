"""``kitwright start``: a starter catalogue and plan."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, guarded, say

EPILOG = options.examples("kitwright start shed", "kitwright find shed/plan.yaml", one=None)


@guarded
def start(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to lay them into.", show_default=False)],
) -> Status:
    """Lay a starter catalogue of invented parts, and a plan to ask it with.

    Nothing is ever overwritten.
    """
    from kitwright.catalogs import lay_starter

    written = lay_starter(folder)
    for path in written:
        print(path)
    say("", "Next:", f"  kitwright find {written[0]}")
    return Status.ANSWERED
