"""``kitwright figures``: what each figure is and how it is worked out."""

from __future__ import annotations

from typing import Annotated

import typer

from kitwright.cli import completion, options
from kitwright.cli.output import Status, check_target, deliver, guarded

EPILOG = options.examples("kitwright figures", "kitwright figures quench", "kitwright figures --format json", one=None)


@guarded
def figures(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]", help="Explain this one.", show_default=False, autocompletion=completion.figures
        ),
    ] = None,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """List the figures that can be worked out and asked for, or explain one."""
    check_target(output)
    from kitwright.cli.report import write_figures

    deliver(write_figures(name, form.value), output)
    return Status.ANSWERED
