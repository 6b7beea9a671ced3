"""The command ``kitwright``."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from kitwright.cli import completion, ending, options
from kitwright.cli.commands import (
    check,
    explain,
    figures,
    find,
    measure_next,
    remeasure,
    schema,
    sheet,
    shelf,
    shelf_import,  # noqa: F401  (registers `shelf import`)
    shelf_stock,  # noqa: F401  (registers the rest of `shelf`)
    stack,
    start,
)
from kitwright.cli.output import prepare_streams
from kitwright.cli.usage import Commands

HELP = """Find which engine parts go together: stack, compression, valve gear and money.

What is listed fails no limit that can be worked out, and what fits is not left
out. What cannot be worked out is said beside it.
"""

EPILOG = options.examples(
    "kitwright start shed",
    "kitwright find shed/plan.yaml",
    "kitwright check shed/plan.yaml --use rod=… --use piston=…",
    "kitwright explain shed/plan.yaml --max cost=0",
    "kitwright shelf list --plan shed/plan.yaml",
    one="nothing fits (or a check fails)",
)

app = typer.Typer(
    name="kitwright",
    cls=Commands,
    help=HELP,
    epilog=EPILOG,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help: it fits 80 columns and can be copied
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"kitwright {version('kitwright')}")
        raise typer.Exit


@app.callback()
def _kitwright(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say the version.")
    ] = False,
) -> None:
    pass


app.command("start", epilog=start.EPILOG)(start.start)
app.command("find", epilog=find.EPILOG)(find.find)
app.command("check", epilog=check.EPILOG)(check.check)
app.command("explain", epilog=explain.EPILOG)(explain.explain)
app.command("stack", epilog=stack.EPILOG)(stack.stack)
app.command("measure-next", epilog=measure_next.EPILOG)(measure_next.measure_next)
app.command("remeasure", epilog=remeasure.EPILOG)(remeasure.remeasure)
app.command("sheet", epilog=sheet.EPILOG)(sheet.sheet)
app.add_typer(shelf.app, name="shelf")
app.command("figures", epilog=figures.EPILOG)(figures.figures)
app.command("schema", epilog=schema.EPILOG)(schema.schema)


def main() -> None:
    """Run the command line."""
    ending.hear()
    prepare_streams()
    if completion.is_asked():
        completion.answer(lambda: app(prog_name="kitwright"))
        return
    completion.name_shell(sys.argv)
    try:
        app(prog_name="kitwright")
    finally:
        if "--install-completion" in sys.argv:
            completion.mend_zsh()


if __name__ == "__main__":
    main()
