"""``kitwright shelf``: the catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kitwright.cli import completion, options
from kitwright.cli.next_command import after_sound
from kitwright.cli.output import Status, check_target, deliver, guarded, say, say_warnings
from kitwright.cli.seen import quoted

CHECK_EPILOG = options.examples(
    "kitwright shelf check shed/catalogue",
    "kitwright shelf check shed/plan.yaml",
    one="a fault is found",
)
LIST_EPILOG = options.examples(
    "kitwright shelf list shed/plan.yaml --kind rod,piston",
    "kitwright shelf list shed/catalogue --on-shelf",
    "kitwright shelf list shed/plan.yaml --fits b72 --format csv",
    one=None,
)

app = typer.Typer(help="Look after the catalogue of parts.", no_args_is_help=True)

Place = Annotated[
    Path | None,
    typer.Argument(
        metavar="FOLDER|PLAN",
        help="The catalogue's folder, or a plan that names it.",
        show_default=False,
        autocompletion=completion.plans,
    ),
]
CatalogueFolder = Annotated[
    Path | None,
    typer.Option("--catalogue", metavar="DIR", help="The catalogue's folder.", show_default=False),
]
PlanOption = Annotated[
    Path | None,
    typer.Option(
        "--plan",
        metavar="PLAN",
        help="A plan that names the catalogue.",
        show_default=False,
        autocompletion=completion.plans,
    ),
]


def folder_of(catalogue: Path | None, plan: Path | None, place: Path | None = None) -> Path:
    """Give the catalogue's folder, named itself or by a plan; ``place`` is either.

    Raises:
        ValueError: none is named, or several.
        InputError: the plan does not say where it is, or the path is none that a folder can have.

    """
    named = {"`--catalogue`": catalogue, "`--plan`": plan, f"`{place}`": place}
    given = [word for word, path in named.items() if path is not None]
    if len(given) != 1:
        said = f"{' and '.join(given)} name one each" if given else "no catalogue is named"
        raise ValueError(f"{said}; write `--catalogue DIR` or `--plan PLAN`")
    from kitwright.catalogs import InputError, Problem

    try:
        if place is not None and place.is_file():
            plan = place
        if plan is None:
            folder = catalogue or place
            assert folder is not None
            folder.exists()  # what can be no name at all is found out here
            return folder
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([Problem(f"cannot be read: {reason}", "check the path", str(catalogue or place))]) from None
    from kitwright.catalogs import read_plan

    draft = read_plan(plan)
    if draft.folder is None:
        raise InputError(draft.problems)
    return draft.folder


@app.command("check", epilog=CHECK_EPILOG)
@guarded
def check(
    place: Place = None,
    catalogue: CatalogueFolder = None,
    plan: PlanOption = None,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Find every fault of a catalogue at once; without one, what looks odd and what it holds."""
    check_target(output)
    folder = folder_of(catalogue, plan, place)
    from kitwright.catalogs import InputError, load
    from kitwright.cli.report import write_faults, write_sound

    if not folder.is_dir():
        load(folder)
    try:
        held = load(folder)
    except InputError as error:
        deliver(write_faults(error.problems, str(folder), form.value), output)
        return Status.NOTHING
    deliver(write_sound(held, form.value), output)
    say("", *after_sound(folder, plan or (place if place is not None and place.is_file() else None)))
    return Status.ANSWERED


@app.command("list", epilog=LIST_EPILOG)
@guarded
def list_parts(
    place: Place = None,
    catalogue: CatalogueFolder = None,
    plan: PlanOption = None,
    kind: Annotated[
        list[str] | None,
        typer.Option(
            "--kind",
            metavar="KIND,…",
            help="These kinds alone: rod,piston",
            show_default=False,
            autocompletion=completion.kinds,
        ),
    ] = None,
    on_shelf: Annotated[bool, typer.Option("--on-shelf", help="What is on the shelf alone.")] = False,
    fits: Annotated[
        str | None,
        typer.Option(metavar="TAG", help="What goes on a block with this tag.", show_default=False),
    ] = None,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """List the parts of a catalogue, with the dimensions as they are written."""
    check_target(output)
    folder = folder_of(catalogue, plan, place)
    from kitwright.catalogs import load
    from kitwright.cli.report import write_parts

    held = load(folder)
    say_warnings(held.warnings, f"kitwright shelf check {quoted(str(folder))}")
    parts = list(held)
    if kind:
        wanted = _kinds(kind)
        parts = [part for part in parts if part.kind in wanted]
    if on_shelf:
        parts = [part for part in parts if part.on_shelf > 0]
    if fits is not None:
        known = sorted({tag for part in held for tag in (*part.fits, *getattr(part, "tags", ()))})
        if fits not in known:
            raise ValueError(f"no part knows the tag `{fits}`; tags: {', '.join(known) or 'none'}")
        parts = [
            part
            for part in parts
            if (fits in getattr(part, "tags", ()) if part.kind == "block" else not part.fits or fits in part.fits)
        ]
    deliver(write_parts(parts, held.folder, form.value), output)
    return Status.ANSWERED


def _kinds(texts: list[str]) -> set[str]:
    from kitwright.catalogs.problems import did_you_mean
    from kitwright.solver.parts import KINDS, PLURALS

    found = set()
    for word in (each.strip() for text in texts for each in text.split(",")):
        kind = PLURALS.get(word, word)
        if kind not in KINDS:
            raise ValueError(f"`{word}` is no kind of part; {did_you_mean(word, KINDS, 'kinds')}")
        found.add(kind)
    return found
