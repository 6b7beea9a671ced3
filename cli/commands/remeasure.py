"""``kitwright remeasure``: what was measured on the bench goes into the plan, and what it changes."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kitwright.cli import completion, options
from kitwright.cli.output import Status, check_target, deliver, guarded, say, say_warnings
from kitwright.cli.progress import Progress
from kitwright.cli.seen import quoted

if TYPE_CHECKING:
    from kitwright.catalogs.readings import Reading, ShortBlock
    from kitwright.cli.report.remeasured import Measurement
    from kitwright.solver.catalogue import Catalogue
    from kitwright.solver.plan import Plan
    from kitwright.solver.remeasure import Implied
    from kitwright.solver.result import Answer, Checked

EPILOG = options.examples(
    "kitwright remeasure plan.yaml --deck '0.32 mm down' --with rod=r85",
    "kitwright remeasure plan.yaml --chamber '21.2 cc ± 0.2 cc' --of h22",
    "kitwright remeasure plan.yaml --set k61.counterweight_radius='33.0 mm'",
    "kitwright remeasure plan.yaml --deck '0.32 mm down' --dry-run",
)

MEASURED = "What was measured"
ADJUSTERS = ("gasket", "pushrod")
"""Kinds whose pins in the plan are lifted: what a measured engine is adjusted with."""

_AGREED = 50
"""Combinations that are looked through for the part that all of them have."""


def _repeated(flag: str, metavar: str, help_text: str, offer: completion.Offer | None = None) -> object:
    return typer.Option(
        flag,
        metavar=metavar,
        help=help_text,
        rich_help_panel=MEASURED,
        show_default=False,
        autocompletion=offer,
    )


@guarded
@options.over_the_plan()
def remeasure(
    plan: options.PlanFile,
    settings: options.Settings,
    deck: Annotated[
        str | None, _repeated("--deck", "VALUE", "How far the piston stops: '0.32 mm down ± 0.02 mm', or up.")
    ] = None,
    with_: Annotated[
        list[str] | None,
        _repeated("--with", "KIND=ID,…", "Parts that the deck was measured with: rod=r85,piston=p28", completion.pins),
    ] = None,
    chamber: Annotated[
        list[str] | None, _repeated("--chamber", "VALUE", "Volume of a head: '21.2 cc ± 0.2 cc'")
    ] = None,
    fields: Annotated[
        list[str] | None,
        _repeated("--set", "ID.FIELD=VALUE", "Any dimension of a part: k61.stroke='57.02 mm ± 0.01 mm'"),
    ] = None,
    of: Annotated[
        list[str] | None,
        _repeated("--of", "ID", "Part that a --chamber, or a --set without an id, was read on.", completion.ids),
    ] = None,
    instrument: Annotated[str, _repeated("--instrument", "TEXT", "What it was measured with.")] = "",
    date: Annotated[str, _repeated("--date", "YYYY-MM-DD", "When; today unless given.")] = "",
    note: Annotated[str, _repeated("--note", "TEXT", "Anything worth remembering.")] = "",
    take_block_height: Annotated[
        bool,
        typer.Option(
            "--take-block-height",
            help="Write the block height that the deck implies as measured, too.",
            rich_help_panel=MEASURED,
        ),
    ] = False,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Write nothing; show what would be written.", rich_help_panel=MEASURED),
    ] = False,
    free: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND,…",
            autocompletion=completion.kinds,
            help="Parts of the deck that are not pinned for the answer: rod,piston; or all",
            rich_help_panel=options.OVER,
            show_default=False,
        ),
    ] = None,
    top: Annotated[
        int, typer.Option(min=1, metavar="N", help="How many to list.", rich_help_panel=options.RESULT)
    ] = 10,
    seconds: Annotated[
        float,
        typer.Option(
            "--time",
            min=0.0,
            metavar="S",
            help="Stop each search after so many seconds.",
            rich_help_panel=options.RESULT,
        ),
    ] = 60.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Write what was measured into the plan, and show what it changes.

    The plan keeps its comments and layout; an earlier measurement of the same thing is kept under `was`. The parts of
    a measured deck are pinned for the answer; gaskets, pushrod and the machining that the plan allows stay open.
    """
    check_target(output)
    use = list(settings.use or ())
    said = _remarks(instrument, date, note)
    if deck is None and not chamber and not fields:
        raise ValueError("nothing is measured; write `--deck`, `--chamber` or `--set`, such as `--chamber '21.2 cc'`")
    if deck is None and (with_ or take_block_height):
        option = "--with" if with_ else "--take-block-height"
        raise ValueError(f"{option} goes with a deck; write `--deck '0.32 mm down ± 0.02 mm'`")

    from kitwright.catalogs import load_plan
    from kitwright.catalogs.readings import Reading, field_readings, refuse_twins
    from kitwright.cli.report import write_remeasure
    from kitwright.cli.report.found import Question
    from kitwright.cli.report.remeasured import Remeasured
    from kitwright.solver import find as search

    before, catalogue = load_plan(plan, settings.overrides())
    readings = field_readings(chamber or [], fields or [], of or [], before, catalogue)
    taken = _short_block(with_ or [], before, catalogue, seconds) if deck is not None else None
    if taken is not None and deck is not None:
        if taken.choices:
            return _ask(taken)
        readings.append(Reading("deck", deck, f"--deck {deck[:60]}", taken.parts))
    refuse_twins(readings)
    settings.use = _pins(use, taken, _free(free or []))
    wanted = _opened(load_plan(plan, settings.overrides())[0], use)
    measurements, implied = _judged(plan, settings, readings, said, take_block_height)
    readings = [each.reading for each in measurements]
    overrides = settings.overrides()
    overrides.measured = readings
    after, now = load_plan(plan, overrides)
    after = _opened(after, use or [])
    lines = _write(plan, measurements, dry_run)
    say_warnings(_news(now.warnings, readings), f"kitwright shelf check --plan {quoted(str(plan))}")
    if not dry_run:
        say(f"written: {plan}" if lines else f"{plan} says so already")

    with Progress() as progress:
        old = search(catalogue, wanted, 1, seconds, progress)
        answer = search(now, after, top, seconds, progress, why=True)
    question = Question(str(plan), after, settings.typed(), tuple(settings.use), now, top)
    first = old.combinations[0] if old.combinations else None
    result = Remeasured(
        question,
        tuple(measurements),
        implied,
        take_block_height,
        taken.how if taken is not None else {},
        tuple(lines),
        not dry_run,
        old,
        _as_it_stands(first, now, after),
        answer,
    )
    deliver(write_remeasure(result, form.value), output, f"{plan} is changed" if lines and not dry_run else "")
    return _status(answer)


def _remarks(instrument: str, date: str, note: str) -> dict[str, str]:
    """What goes with each measurement."""
    from kitwright.catalogs.plan_measured import is_date
    from kitwright.catalogs.values import is_visible

    for option, text in (("--instrument", instrument), ("--note", note)):
        if not is_visible(text) or len(text.splitlines()) > 1:
            raise ValueError(f"{option}: one line of plain text is wanted")
    if date and not is_date(date.strip()):
        raise ValueError(f"--date {date[:40]}: write year, month and day, such as `--date 2026-05-01`")
    day = date.strip() or datetime.datetime.now().astimezone().date().isoformat()
    return {"instrument": " ".join(instrument.split()), "date": day, "note": " ".join(note.split())}


def _short_block(named: list[str], plan: Plan, catalogue: Catalogue, seconds: float) -> ShortBlock:
    """Find the four parts of the mock-up; last of all those that every combination that fits has."""
    from kitwright.catalogs.readings import short_block

    found = short_block(named, plan, catalogue)
    if not found.choices or (not named and not plan.use):
        return found
    from kitwright.solver import find as search

    pins = {**plan.use, **{kind: (part,) for kind, part in found.parts.items()}}
    answer = search(catalogue, plan.but(use=pins), _AGREED, seconds)
    if answer.status != "complete" or len(answer) >= _AGREED:
        return found
    for kind in list(found.choices):
        ids = {each.combination.parts[kind].id for each in answer.combinations if kind in each.combination.parts}
        if len(ids) == 1:
            found.parts[kind], found.how[kind] = ids.pop(), "in every combination that fits"
            del found.choices[kind]
    return found


def _ask(taken: ShortBlock) -> Status:
    from kitwright.solver.compose import listing

    say("kitwright: the deck belongs to four parts, and it is not said which; name those that are in the engine")
    say(*(f"  --with {kind}=…   {listing(ids)}" for kind, ids in taken.choices.items()))
    return Status.INPUT


def _free(texts: list[str]) -> set[str]:
    from kitwright.catalogs.plan_measured import SHORT_BLOCK

    words = {word.strip() for text in texts for word in text.split(",") if word.strip()}
    unknown = sorted(words - {*SHORT_BLOCK, "all"})
    if unknown:
        raise ValueError(f"--free {unknown[0][:40]}: write {', '.join(SHORT_BLOCK)} or all")
    return set(SHORT_BLOCK) if "all" in words else words


def _pins(typed: list[str], taken: ShortBlock | None, free: set[str]) -> list[str]:
    """Give the typed pins and, beside them, the parts that are on the bench."""
    if taken is None:
        return typed
    kinds = {text.partition("=")[0].strip() for text in typed}
    return [*typed, *(f"{kind}={part}" for kind, part in taken.parts.items() if kind not in kinds | free)]


def _opened(plan: Plan, typed: list[str]) -> Plan:
    """Give the plan without its own pins on what an engine is adjusted with; typed ones stay."""
    kinds = {text.partition("=")[0].strip() for text in typed}
    lifted = [kind for kind in ADJUSTERS if kind not in kinds]
    return plan.unpinned(lifted)


def _judged(
    path: Path, settings: options.Settings, readings: list[Reading], said: dict[str, str], take: bool
) -> tuple[list[Measurement], Implied | None]:
    """Read the values in the plan's own way and judge each by what was written before."""
    from kitwright.catalogs import load, load_plan
    from kitwright.catalogs.plan_measured import deck_words
    from kitwright.catalogs.readings import Reading
    from kitwright.cli.report.remeasured import DERIVED, Measurement
    from kitwright.solver.parts import Part
    from kitwright.solver.remeasure import implied_block_height, judge_deck, judge_field

    overrides = settings.overrides()
    overrides.measured = readings
    plan, catalogue = load_plan(path, overrides)
    written = load(catalogue.folder)

    def part(part_id: str, parts: Catalogue = catalogue) -> Part:
        found = parts.get(part_id)
        assert found is not None  # load_plan has looked it up
        return found

    def field_measurement(reading: Reading, more: str = "") -> Measurement:
        value = next(
            each.value for each in plan.measured_fields if (each.part, each.field) == (reading.of, reading.name)
        )
        finding = judge_field(part(reading.of, written), reading.name, value, catalogue)
        before = _text_of(part(reading.of, written), reading.name)
        note = "; ".join(filter(None, (said["note"], more)))
        return Measurement(reading, finding, {**said, "note": note, "predicted": before})

    found: list[Measurement] = []
    implied = None
    for reading in readings:
        if reading.name != "deck":
            found.append(field_measurement(reading))
            continue
        parts = {kind: part(each) for kind, each in reading.parts.items()}
        value = next(each.deck for each in plan.measured_decks if dict(each.parts) == reading.parts)
        finding = judge_deck(parts, value, catalogue)
        assert finding.predicted is not None
        words = deck_words(finding.predicted.value, finding.predicted.tolerance)
        found.append(Measurement(reading, finding, {**said, "predicted": words}))
        implied = implied_block_height(parts, value)
    if take and implied is not None:
        reading = Reading("block_height", _height(implied), DERIVED, of=implied.block)
        overrides.measured = [*readings, reading]
        plan, catalogue = load_plan(path, overrides)
        others = [part for kind, part in found[-1].reading.parts.items() if kind != "block"]
        found.append(field_measurement(reading, f"from the deck with {', '.join(others)}"))
    return found, implied


def _text_of(part: object, name: str) -> str:
    outer, _, inner = name.partition(".")
    value = getattr(part, outer)
    if inner and value is not None:
        value = getattr(value, inner)
    return "" if value is None else str(value)


def _height(implied: Implied) -> str:
    """Give a block height as it is written: to 0.1 µm, the ± rounded up."""
    from kitwright.solver.quantity import plain

    spread = math.ceil(round(implied.tolerance * 1e7, 3)) / 1e4
    return f"{plain(implied.value * 1000, 4)} mm" + (f" ± {plain(spread, 4)} mm" if spread else "")


def _write(path: Path, measurements: list[Measurement], dry_run: bool) -> list[str]:
    """Write the plan, or only find out what would be written; the lines that are new."""
    import difflib

    from kitwright.catalogs.problems import InputError, Problem
    from kitwright.catalogs.read_yaml import read_text
    from kitwright.catalogs.record import record, recorded

    readings = [each.reading for each in measurements]
    remarks = {each.reading.key: each.remarks for each in measurements}
    if dry_run:
        problems: list[Problem] = []
        before = read_text(path, problems)
        if before is None:
            raise InputError(problems)
        after = recorded(before, readings, remarks, str(path))
    else:
        edited = record(path, readings, remarks)
        before, after = edited.before, edited.after
    changed = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return [line[1:] for line in list(changed)[2:] if line.startswith("+")]  # the first two name the files


def _news(warnings: tuple[str, ...], readings: list[Reading]) -> list[str]:
    """Give what looks odd without what the answer itself says of these measurements."""
    options_typed = {each.option for each in readings}
    return [each for each in warnings if not any(each.startswith(option) for option in options_typed)]


def _as_it_stands(first: Checked | None, catalogue: Catalogue, plan: Plan) -> Checked | None:
    """Check the best combination of before again, with the parts as they are measured."""
    from kitwright.solver import check
    from kitwright.solver.parts import Gasket

    if first is None:
        return None
    old = first.combination
    parts = {kind: found for kind, part in old.parts.items() if (found := catalogue.get(part.id)) is not None}
    layers = [catalogue.get(each.id) for each in old.gaskets]
    now = replace(old, parts=parts, gaskets=tuple(each for each in layers if isinstance(each, Gasket)))
    return check(now, plan, spreads=False)


def _status(answer: Answer) -> Status:
    if answer.status == "complete":
        return Status.ANSWERED
    return Status.NOTHING if answer.status == "nothing_fits" else Status.STOPPED
