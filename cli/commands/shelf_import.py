"""``kitwright shelf import``: a builder's own spreadsheet into the catalogue."""

from __future__ import annotations

import shlex
import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from kitwright.cli import completion, options
from kitwright.cli.commands.shelf import CatalogueFolder, Place, PlanOption, app, folder_of
from kitwright.cli.output import Status, check_target, deliver, guarded, on_terminal, say, say_faults

EPILOG = options.examples(
    "kitwright shelf import rods.csv shed/catalogue",
    "kitwright shelf import parts.csv shed/plan.yaml --kind rod",
    'kitwright shelf import rods.csv shed/catalogue --map "c-c=length [mm]"',
    one=None,
)


class Decimal(StrEnum):
    """What stands before the decimals."""

    COMMA = "comma"
    POINT = "point"


@app.command("import", epilog=EPILOG)
@guarded
def import_sheet(
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="The sheet, saved as CSV.", show_default=False)],
    place: Place = None,
    catalogue: CatalogueFolder = None,
    plan: PlanOption = None,
    kind: Annotated[
        str | None,
        typer.Option(
            metavar="KIND",
            help="Kind of part, if neither file name nor a column says it.",
            show_default=False,
            autocompletion=completion.kind,
        ),
    ] = None,
    maps: Annotated[
        list[str] | None,
        typer.Option(
            "--map",
            metavar="HEADER=FIELD",
            help='Take a column for a field: "Hub=stroke [mm]"; "Seen=" leaves it out.',
            show_default=False,
        ),
    ] = None,
    encoding: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Encoding, if not found out: windows-1252, …", show_default=False),
    ] = None,
    decimal: Annotated[
        Decimal | None, typer.Option(help="Sign before decimals, if it cannot be told.", show_default=False)
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Write without asking.")] = False,
    note: Annotated[
        str, typer.Option(metavar="TEXT", help="What for; it goes into the history.", show_default=False)
    ] = "",
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Take the parts of your own spreadsheet over into the catalogue.

    What was understood is shown first: which column is which field, in which unit, and its first values. Nothing is
    written before you agree, or with --yes.
    """
    check_target(output)
    folder = folder_of(catalogue, plan, place)
    from kitwright.catalogs.import_sheet import understand, write
    from kitwright.catalogs.load import load_to_add
    from kitwright.cli.report.imported import write_understood

    held = load_to_add(folder)
    found = understand(
        file, held, _kind(kind), _maps(maps or []), encoding, decimal.value if decimal is not None else None
    )
    if found.problems:
        deliver(write_understood(found, str(folder), False, form.value), output)
        say_faults(map(str, found.problems))
        say("Nothing was written.")
        return Status.INPUT
    if yes:
        write(found, held, note)
        deliver(write_understood(found, str(folder), True, form.value), output, "the parts are added")
    else:
        deliver(write_understood(found, str(folder), False, form.value), output)
        if not on_terminal(sys.stdin):
            again = shlex.join([*_typed(file, place, catalogue, plan, kind, maps, encoding, decimal, note), "--yes"])
            say("Nothing was written. This does it:", f"  {again}")
            return Status.ANSWERED
        if not typer.confirm("Write this?", default=False, err=True):
            say("nothing was written")
            return Status.ANSWERED
        write(found, held, note)
    count = len(found.parts)
    say(f"added: {'one part' if count == 1 else f'{count} parts'}", f"  kitwright shelf check {folder}")
    return Status.ANSWERED


def _kind(text: str | None) -> str | None:
    if text is None:
        return None
    from kitwright.catalogs.problems import did_you_mean
    from kitwright.catalogs.read_csv import kind_of_name
    from kitwright.solver.parts import KINDS

    kind = kind_of_name(text)
    if kind is None:
        raise ValueError(f"`{text}` is no kind of part; {did_you_mean(text, KINDS, 'kinds')}")
    return kind


def _maps(texts: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        header, equals, target = text.rpartition("=")
        if not equals or not header.strip():
            raise ValueError(f'`--map {text}`: write "HEADER=FIELD", such as "Hub=stroke [mm]"')
        if header.strip() in found:
            raise ValueError(f"`--map` names `{header.strip()}` twice")
        found[header.strip()] = target.strip()
    return found


def _typed(
    file: Path,
    place: Path | None,
    catalogue: Path | None,
    plan: Path | None,
    kind: str | None,
    maps: list[str] | None,
    encoding: str | None,
    decimal: Decimal | None,
    note: str,
) -> list[str]:
    """Give the command as it was typed."""
    found = ["kitwright", "shelf", "import", str(file), *([str(place)] if place else [])]
    said = {"--catalogue": catalogue, "--plan": plan, "--kind": kind, "--encoding": encoding}
    for option, value in (said | {"--decimal": decimal.value if decimal else None, "--note": note or None}).items():
        found += [option, str(value)] if value is not None else []
    return found + [word for text in maps or () for word in ("--map", text)]
