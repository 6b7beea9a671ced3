"""``kitwright shelf take``, ``put``, ``add`` and ``history``: what changes the shelf, and what has changed it."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from kitwright.cli import completion, options
from kitwright.cli.commands.shelf import CatalogueFolder, Place, PlanOption, app, folder_of
from kitwright.cli.output import Status, check_target, deliver, guarded, on_terminal, say
from kitwright.cli.seen import joined

if TYPE_CHECKING:
    from kitwright.catalogs.stock import Moved
    from kitwright.solver.catalogue import Catalogue
    from kitwright.solver.fields import FieldSpec

TAKE_EPILOG = options.examples(
    "kitwright shelf take g05 2 --catalogue shed/catalogue",
    "kitwright shelf take --plan shed/plan.yaml --rank 1",
    one="nothing fits the plan",
)
PUT_EPILOG = options.examples(
    "kitwright shelf put p28 --plan shed/plan.yaml --note bought",
    "kitwright shelf put --plan shed/plan.yaml --rank 1",
    one="nothing fits the plan",
)
ADD_EPILOG = options.examples(
    "kitwright shelf add rod --catalogue shed/catalogue",
    'kitwright shelf add spacer id=s10 "thickness=1 mm" --plan shed/plan.yaml',
    one=None,
)
HISTORY_EPILOG = options.examples(
    "kitwright shelf history shed/plan.yaml",
    "kitwright shelf history shed/catalogue --part g05 --format csv",
    one=None,
)

PartId = Annotated[
    str | None, typer.Argument(metavar="ID", help="The part.", show_default=False, autocompletion=completion.ids)
]
Count = Annotated[
    int | None, typer.Argument(metavar="N", min=1, help="How many; one unless given.", show_default=False)
]
Rank = Annotated[
    int | None,
    typer.Option(metavar="R", min=1, help="All parts of the plan's R-th build, not one part.", show_default=False),
]
Note = Annotated[str, typer.Option(metavar="TEXT", help="What for; it goes into the history.", show_default=False)]
Seconds = Annotated[float, typer.Option("--time", min=0.0, metavar="S", help="Stop searching after so many seconds.")]


def _mover(work: Literal["take", "put"]) -> Callable[..., Status]:
    def command(
        part: PartId = None,
        count: Count = None,
        catalogue: CatalogueFolder = None,
        plan: PlanOption = None,
        rank: Rank = None,
        engine: options.Engine = None,
        note: Note = "",
        seconds: Seconds = 60.0,
        form: options.FormatOption = options.Format.TABLE,
        output: options.OutputOption = None,
    ) -> Status:
        return _move(work, part, count, catalogue, plan, rank, engine, note, seconds, form, output)

    return command


TAKE = """Take parts from the shelf: one, or with a plan and a rank all that a build takes of it.

What a build wants and the shelf does not hold is named and left alone.
"""
PUT = "Put parts on the shelf: one, or with a plan and a rank everything that a build is made of."

app.command("take", epilog=TAKE_EPILOG, help=TAKE)(guarded(_mover("take")))
app.command("put", epilog=PUT_EPILOG, help=PUT)(guarded(_mover("put")))


def _move(
    work: Literal["take", "put"],
    part: str | None,
    count: int | None,
    catalogue: Path | None,
    plan: Path | None,
    rank: int | None,
    engine: str | None,
    note: str,
    seconds: float,
    form: options.Format,
    output: Path | None,
) -> Status:
    check_target(output)
    if (part is None) == (rank is None):
        said = "both a part and a rank are named" if part else "neither a part nor a rank is named"
        raise ValueError(f"{said}; write `shelf {work} ID`, or `shelf {work} --plan PLAN --rank 1`")
    if rank is not None and plan is None:
        raise ValueError(f"a rank is of a plan's builds; write `shelf {work} --plan PLAN --rank {rank}`")
    if engine is not None and rank is None:
        raise ValueError(f"an engine has builds, and a rank says which; write `shelf {work} --plan PLAN --rank 1`")
    folder = folder_of(catalogue, plan)
    from kitwright.catalogs import load
    from kitwright.catalogs.stock import move
    from kitwright.cli.report.stocked import write_moved

    held = load(folder)
    missing: dict[str, int] = {}
    if part is not None:
        counts = {part: count or 1}
    else:
        assert plan is not None and rank is not None
        found = _build(plan, rank, engine, seconds)
        if isinstance(found, Status):
            return found
        counts = found
        note = note or f"build {rank} of {plan.name}{f', {engine}' if engine is not None else ''}"
        if work == "take":
            missing = {each: n - _there(held, each) for each, n in counts.items() if n > _there(held, each)}
            counts = {each: n - missing.get(each, 0) for each, n in counts.items() if n > missing.get(each, 0)}
    moved = move(held, counts, work, note) if counts else ()
    done = "the counts are changed" if moved else ""
    deliver(write_moved(work, moved, missing, form.value), output, done)
    if moved:
        say("", *_undone(work, moved, ["--plan", str(plan)] if plan is not None else ["--catalogue", str(folder)]))
    return Status.ANSWERED


def _undone(work: Literal["take", "put"], moved: Sequence[Moved], where: Sequence[str]) -> list[str]:
    """Lines that say what to type to have it as it was; a build's parts one by one, for its rank may be another now."""
    back, what = ("put", "back") if work == "take" else ("take", "off again")
    counts = [(each.id, *([str(each.count)] if each.count > 1 else [])) for each in moved]
    words = [joined(["kitwright", "shelf", back, *count, *where]) for count in counts]
    return [f"To {back} {'it' if len(moved) == 1 else 'them'} {what}:", *(f"  {each}" for each in words)]


def _there(held: Catalogue, part: str) -> int:
    known = held.get(part)
    return known.on_shelf if known is not None else 0


def _build(plan: Path, rank: int, engine: str | None, seconds: float) -> dict[str, int] | Status:
    """Count the parts of a plan's build; a status where there is none to be had."""
    from kitwright.catalogs import Overrides, load_plan
    from kitwright.solver import find

    wanted, held = load_plan(plan, Overrides(engine=engine))
    answer = find(held, wanted, rank, seconds)
    if len(answer) < rank:
        if answer.status == "incomplete":
            say(f"kitwright: the search was stopped after {seconds:g} s; `--time` gives it longer. Nothing was changed")
            return Status.STOPPED
        from kitwright.cli.report.verdicts import how_many_fit

        count = how_many_fit("combination", [each.verdict for each in answer]) or "nothing fits"
        say(
            f"kitwright: {count}, so there is no build {rank}; nothing was changed",
            "  " + joined(["kitwright", "find", str(plan), *(["--engine", engine] if engine is not None else [])]),
        )
        return Status.NOTHING
    if answer.status == "incomplete":
        say(f"kitwright: not proved within {seconds:g} s which build is {rank}; nothing was changed")
        return Status.STOPPED
    combination = answer.combinations[rank - 1].combination
    counts = Counter(each.id for each in combination.gaskets)
    counts.update(each.id for each in combination.parts.values())
    return dict(sorted(counts.items()))


@app.command("history", epilog=HISTORY_EPILOG)
@guarded
def show_history(
    place: Place = None,
    catalogue: CatalogueFolder = None,
    plan: PlanOption = None,
    part: Annotated[
        str | None,
        typer.Option(
            "--part", metavar="ID", help="This part alone.", show_default=False, autocompletion=completion.ids
        ),
    ] = None,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """List what was taken from the shelf, put on it and added, oldest first."""
    check_target(output)
    folder = folder_of(catalogue, plan, place)
    from kitwright.catalogs import load
    from kitwright.catalogs.stock import history
    from kitwright.cli.report.stocked import write_history

    if not folder.is_dir():
        load(folder)
    entries = [each for each in history(folder) if part is None or each.part == part]
    deliver(write_history(entries, str(folder), form.value), output)
    return Status.ANSWERED


@app.command("add", epilog=ADD_EPILOG)
@guarded
def add(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND", help="Kind of part: rod, gasket, …", show_default=False, autocompletion=completion.kind
        ),
    ],
    fields: Annotated[
        list[str] | None,
        typer.Argument(metavar="FIELD=VALUE", help="Its fields; on a terminal the rest is asked.", show_default=False),
    ] = None,
    catalogue: CatalogueFolder = None,
    plan: PlanOption = None,
    note: Note = "",
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Add a part to the catalogue, with every dimension checked before anything is written.

    On a terminal what the part must have and was not typed is asked for, with its unit and its plausible range.
    """
    check_target(output)
    folder = folder_of(catalogue, plan)
    from kitwright.catalogs.load import load_to_add
    from kitwright.catalogs.problems import did_you_mean
    from kitwright.catalogs.rows import specs_of
    from kitwright.catalogs.stock import add as added
    from kitwright.solver.parts import KINDS, PLURALS

    word = PLURALS.get(kind, kind)
    if word not in KINDS:
        raise ValueError(f"`{kind}` is no kind of part; {did_you_mean(kind, KINDS, 'kinds')}")
    held = load_to_add(folder)
    typed = _fields(fields or [])
    if on_terminal(sys.stdin):
        for name, spec in specs_of(KINDS[word]).items():
            if name not in typed and (spec.required or name in ("price", "on_shelf")):
                answer = typer.prompt(_question(name, spec), default="", show_default=False)
                if answer.strip():
                    typed[name] = answer.strip()
    part, path = added(held, word, typed, note)
    from kitwright.cli.report import write_parts

    deliver(write_parts([part], str(path), form.value), output, f"{part.id} is added")
    say(f"added: {part.id}, in {path}", "  " + joined(["kitwright", "shelf", "list", str(folder), "--kind", word]))
    return Status.ANSWERED


def _fields(texts: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise ValueError(f'`{text}`: write FIELD=VALUE, such as "thickness=0.7 mm"')
        if name.strip() in found:
            raise ValueError(f"`{name.strip()}` is given twice")
        found[name.strip()] = value.strip()
    return found


def _question(name: str, spec: FieldSpec) -> str:
    from kitwright.catalogs.schema_values import range_in_words

    about = "; ".join(filter(None, (spec.meaning, range_in_words(spec))))
    return f"{name} ({about}){'' if spec.required else ', if known'}"
