"""``kitwright shelf import``: a builder's own spreadsheet into the catalogue."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from kitwright.cli import completion, options
from kitwright.cli.commands.shelf import CatalogueFolder, Place, PlanOption, app, folder_of
from kitwright.cli.output import Status, check_target, deliver, guarded, on_terminal, say, say_faults
from kitwright.cli.seen import joined, quoted

if TYPE_CHECKING:
    from kitwright.catalogs.problems import Problem

EPILOG = options.examples(
    "kitwright shelf import rods.csv shed/catalogue",
    "kitwright shelf import parts.csv shed/plan.yaml --kind rod",
    'kitwright shelf import rods.csv shed/catalogue --map "c-c=length [mm]"',
    "kitwright shelf import wheel.csv shed/plan.yaml --readings c7.intake",
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
    of: Annotated[
        str | None,
        typer.Option(
            "--readings",
            metavar="CAM.VALVE",
            help="The sheet is a degree wheel's: crank angle and lobe lift, such as c7.intake",
            show_default=False,
            autocompletion=completion.lobes,
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
    written before you agree, or with --yes. With --readings it is the lift that a degree wheel and a dial on the lobe
    have read; it goes into a file beside the cam's, and the cam names it.
    """
    check_target(output)
    folder = folder_of(catalogue, plan, place)
    sign: Literal["comma", "point"] | None = decimal.value if decimal is not None else None
    asked = _Asked(file, folder, kind, note, maps or [], encoding, sign)
    sheet = _parts(asked) if of is None else _readings(of, asked)
    written = yes and not sheet.problems
    if written:
        sheet.write()
    deliver(sheet.text(written, form.value), output, "what it tells is written" if written else "")
    if sheet.problems:
        say_faults(map(str, sheet.problems))
        say("Nothing was written.")
        return Status.INPUT
    if not yes:
        if not on_terminal(sys.stdin):
            typed = _typed(file, place, catalogue, plan, kind, maps, encoding, decimal, note, of)
            say("Nothing was written. This does it:", f"  {joined([*typed, '--yes'])}")
            return Status.ANSWERED
        if not typer.confirm("Write this?", default=False, err=True):
            say("nothing was written")
            return Status.ANSWERED
        sheet.write()
    say(f"added: {sheet.what}", f"  kitwright shelf check {quoted(str(folder))}")
    return Status.ANSWERED


@dataclass(frozen=True, slots=True)
class _Asked:
    """Which sheet goes where, and how it is to be read."""

    file: Path
    folder: Path
    kind: str | None
    note: str
    maps: list[str]
    encoding: str | None
    sign: Literal["comma", "point"] | None


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What was understood of a sheet, and how it is shown and written."""

    what: str
    problems: Sequence[Problem]
    text: Callable[[bool, str], str]
    write: Callable[[], None]


def _parts(asked: _Asked) -> _Sheet:
    from kitwright.catalogs.import_sheet import understand, write
    from kitwright.catalogs.load import load_to_add
    from kitwright.cli.report.imported import write_understood

    held = load_to_add(asked.folder)
    found = understand(asked.file, held, _kind(asked.kind), _maps(asked.maps), asked.encoding, asked.sign)
    count = len(found.parts)
    return _Sheet(
        "one part" if count == 1 else f"{count} parts",
        found.problems,
        lambda written, form: write_understood(found, str(asked.folder), written, form),
        lambda: write(found, held, asked.note),
    )


def _readings(of: str, asked: _Asked) -> _Sheet:
    from kitwright.catalogs import load
    from kitwright.catalogs.import_readings import VALVES, understand_readings, write_readings
    from kitwright.catalogs.problems import did_you_mean
    from kitwright.cli.report.imported import write_understood_readings

    if asked.kind is not None or asked.note:
        raise ValueError("`--readings` goes without `--kind` and `--note`: a degree wheel's sheet holds no parts")
    cam, dot, valve = of.rpartition(".")
    valve = valve.removesuffix("_readings")
    if not dot or valve not in VALVES:
        hint = did_you_mean(valve, VALVES, "valves")
        raise ValueError(f"`--readings {of}`: write CAM.VALVE, such as `--readings c7.intake`; {hint}")
    held = load(asked.folder)
    found = understand_readings(asked.file, held, cam, valve, _maps(asked.maps), asked.encoding, asked.sign)
    count = len(found.readings.lifts) if found.readings is not None else 0
    return _Sheet(
        f"{count} readings, and their name in {cam}",
        found.problems,
        lambda written, form: write_understood_readings(found, written, form),
        lambda: write_readings(found, held),
    )


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
    of: str | None,
) -> list[str]:
    """Give the command as it was typed."""
    found = ["kitwright", "shelf", "import", str(file), *([str(place)] if place else [])]
    said = {"--catalogue": catalogue, "--plan": plan, "--kind": kind, "--readings": of, "--encoding": encoding}
    for option, value in (said | {"--decimal": decimal.value if decimal else None, "--note": note or None}).items():
        found += [option, str(value)] if value is not None else []
    return found + [word for text in maps or () for word in ("--map", text)]
