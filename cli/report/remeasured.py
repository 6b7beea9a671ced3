"""The report on what ``remeasure`` answers: what was measured, what it points to, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from kitwright.catalogs.readings import Reading
from kitwright.cli.report.as_csv import Row, answer_rows, combination_row
from kitwright.cli.report.as_json import answer_data, combination_data
from kitwright.cli.report.blocks import Column, Items, Lines, Paragraph, Report, Table, Title
from kitwright.cli.report.found import Question, find_report
from kitwright.cli.report.numbers import money, style
from kitwright.cli.report.verdicts import VERDICTS, steps_by_aim
from kitwright.cli.report.words import (
    WORK,
    figure_style,
    limit_name,
    machining_key,
    machining_style,
    missed,
    part_names,
    words,
)
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING
from kitwright.solver.quantity import LENGTH, Dimension, plain, unit_factor
from kitwright.solver.registry import FIGURES
from kitwright.solver.remeasure import Finding, Hint, Implied
from kitwright.solver.result import Answer, Checked

DERIVED = "--take-block-height"
"""Option of a reading that nobody has read: the block height that a deck implies."""

_MOST_PLAY = 1e-3
"""Metres of play above which a loose bearing is no explanation any more (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One reading, what it says, and what is written beside it: ``predicted``, ``instrument``, ``date``, ``note``."""

    reading: Reading
    finding: Finding
    remarks: Mapping[str, str]

    @property
    def derived(self) -> bool:
        """Whether it follows from another reading, which then says what it points to."""
        return self.reading.option == DERIVED


@dataclass(frozen=True, slots=True)
class Remeasured:
    """Everything that the report needs.

    Attributes:
        question: what was asked of the search afterwards.
        measurements: what was measured.
        implied: the block height that a deck implies.
        height_taken: whether that was written as measured.
        how: how each part of a mock-up came to be known.
        lines: lines of the plan that are new.
        written: whether they were written.
        old: what fitted before.
        as_it_stands: the same, as measured.
        answer: the combinations that fit now.

    """

    question: Question
    measurements: tuple[Measurement, ...]
    implied: Implied | None
    height_taken: bool
    how: Mapping[str, str]
    lines: tuple[str, ...]
    written: bool
    old: Answer
    as_it_stands: Checked | None
    answer: Answer

    @property
    def before(self) -> Checked | None:
        """Best combination before."""
        return self.old.combinations[0] if self.old.combinations else None

    @property
    def after(self) -> Checked | None:
        """Best combination now."""
        return self.answer.combinations[0] if self.answer.combinations else None

    @property
    def plausible(self) -> bool | None:
        """Whether all that can be judged is plausible; None where nothing can be."""
        known = [each.finding.plausible for each in self.measurements if each.finding.plausible is not None]
        return all(known) if known else None


def remeasured_report(result: Remeasured) -> Report:
    """Everything that ``remeasure`` has to say, as blocks."""
    units = result.answer.plan.units
    report: Report = [Title(f"{result.answer.plan.name}: measured", 1)]
    for each in result.measurements:
        report += _measurement(each, units)
    taken = [f"{kind} {_part(result, kind)} ({how})" for kind, how in result.how.items() if how != "named"]
    if taken:
        report.append(
            Paragraph(
                f"Not named, so taken from plan and catalogue: {', '.join(taken)}. `--with KIND=ID` names another."
            )
        )
    if result.implied is not None:
        report.append(Paragraph(_implied(result, result.implied)))
    report += _written(result)
    report += _changes(result)
    found = find_report(result.answer, result.question)
    head = found[0]
    assert isinstance(head, Title)
    text = head.text.removeprefix(f"{result.answer.plan.name or result.question.plan_file}: ")
    return [*report, Title(f"As measured: {text}"), *found[1:]]


def _part(result: Remeasured, kind: str) -> str:
    return next(each.reading.parts[kind] for each in result.measurements if each.reading.parts)


# what was measured


def _measurement(each: Measurement, units: str) -> Iterator[Paragraph | Items]:
    reading, finding = each.reading, each.finding
    if reading.parts:
        named = [f"{kind} {part}" for kind, part in reading.parts.items()]
        what = f"Deck {reading.text.strip()}, measured with {', '.join(named[:-1])} and {named[-1]}."
    else:
        what = f"{words(reading.name).replace('.', ' ').capitalize()} of {reading.of}: {reading.text.strip()}."
    if finding.predicted is None:
        yield Paragraph(f"{what} It was not known before.")
        return
    said = _predicted(each, units)
    if finding.plausible:
        yield Paragraph(f"{what} {said}: plausible.")
        return
    off = _amount(finding.beyond, finding.measured.dimension, units)
    yield Paragraph(f"{what} {said}: not plausible, {off} outside of what all ± together allow.", "bad")
    if not each.derived:
        yield Items("It may point to", tuple(sentences(finding, units)))


def _predicted(each: Measurement, units: str) -> str:
    predicted = each.finding.predicted
    assert predicted is not None
    if each.reading.name != "deck":
        return f"The catalogue says {each.remarks['predicted']}"
    form = figure_style("deck", [1000 * predicted.value, 1000 * predicted.tolerance], units)
    spread = f" ± {form.with_unit(1000 * predicted.tolerance)}" if predicted.tolerance else ""
    return f"Predicted {_deck(predicted.value, units)}{spread}"


def _deck(value: float, units: str) -> str:
    """A deck in metres with the word for its side."""
    return f"{_amount(abs(value), LENGTH, units)} {'down' if round(value, 12) >= 0 else 'up'}"


def _amount(value: float, dimension: Dimension, units: str) -> str:
    if dimension is LENGTH:
        return style("mm", [1000 * value], units).with_unit(1000 * value)
    unit = dimension.likely[0] if dimension.likely else ""
    return f"{plain(value / float(unit_factor(unit, dimension)), 3)} {unit}".strip()


def sentences(finding: Finding, units: str) -> list[str]:
    """What an implausible measurement may point to, a sentence each."""
    found = [text for hint in finding.hints if hint.what != "size" and (text := _hint(hint, finding, units))]
    sizes = [
        f"{each.kind} {each.part} with a {words(each.field)} of {_amount(each.value, LENGTH, units)}"
        for each in finding.hints
        if each.what == "size"
    ]
    if sizes:
        any_of = f"{', '.join(sizes[:-1])}, or {sizes[-1]}," if sizes[1:] else sizes[0]
        found.append(f"a part that is not what its sheet says: {any_of} would put it there")
    if not found:
        found.append("another part than the one that was meant, or a mistake in one of the two values")
    return found


def _hint(hint: Hint, finding: Finding, units: str) -> str:
    dimension = finding.measured.dimension
    deck = finding.name == "deck"
    match hint.what:
        case "sign":
            return f"the wrong word: {_deck(hint.value, units)} would agree"
        case "unit":
            value = _deck(hint.value, units) if deck else _amount(hint.value, dimension, units)
            unit = "inches" if hint.unit == "in" else hint.unit
            return f"the wrong unit: the same number in {unit} is {value}, and would agree"
        case "part":
            size = _amount(hint.value, LENGTH if deck else dimension, units)
            would = "would put the crown there" if deck else "has it so"
            return f"another {words(hint.kind)}: {hint.part} ({words(hint.field)} {size}) {would}"
        case "diameter":
            return f"a diameter for the radius: half of it, {_amount(hint.value, dimension, units)}, would agree"
        case "throw":
            return f"the throw for the stroke: twice of it, {_amount(hint.value, dimension, units)}, would agree"
        case "bearing":
            play = _amount(hint.value, LENGTH, units)
            return f"a loose bearing that lets the piston hang {play} lower" if hint.value <= _MOST_PLAY else ""
        case "cut":
            return f"a deck that was cut before, by {_amount(hint.value, LENGTH, units)}"
        case "milled":
            return f"a head that was milled before, by {_amount(hint.value, LENGTH, units)}"
        case "opened":
            return (
                f"a chamber that was opened before, by {_amount(hint.value, dimension, units)}, or a volume taken "
                "without plug and valves"
            )
    return ""


def _implied(result: Remeasured, implied: Implied) -> str:
    units = result.answer.plan.units
    form = style("mm", [1000 * implied.value, 1000 * implied.tolerance], units)
    spread = form if units == "mm" else style("mm", [1000 * implied.tolerance], units)
    height = form.with_unit(1000 * implied.value)
    if implied.tolerance:
        height += f" ± {spread.with_unit(1000 * implied.tolerance)}"
    text = f"From this deck follows a block height of {height} for {implied.block}"
    if result.height_taken:
        verb = "is taken over" if result.written else "would be taken over"
        return f"{text}; it {verb} as measured, for other rods and pistons too."
    if result.plausible is False:
        return f"{text}, if everything else is as it is written. Find out first why the deck is not as predicted."
    return (
        f"{text}, with the ± of crank, rod and piston added. A measured deck holds for its four parts alone; "
        "`--take-block-height` takes this height over, so that other rods and pistons profit from it."
    )


def _written(result: Remeasured) -> Iterator[Paragraph | Lines]:
    file = result.question.plan_file
    if not result.lines:
        yield Paragraph(f"{file} says so already; nothing was written.")
        return
    yield Lines(f"{'Written' if result.written else 'Would be written'} to {file}", result.lines)
    if result.written and result.plausible is False:
        yield Paragraph("It counts from now on. If it was a slip, measure again and give the command the new value.")
    bench = [part for part in _bench(result) if not part.on_shelf]
    if bench:
        ids = ", ".join(part.id for part in bench)
        it = "it is" if len(bench) == 1 else "they are"
        yield Paragraph(
            f"On the bench, and not on the shelf by the catalogue: {ids}; {it} counted as still to be bought."
        )


def _bench(result: Remeasured) -> Iterator[Any]:
    for each in result.measurements:
        for part_id in each.reading.parts.values():
            yield result.question.catalogue.get(part_id)


# before and after


def _changes(result: Remeasured) -> Iterator[Table | Paragraph]:
    if result.before is None or result.as_it_stands is None:
        if result.old.status == "incomplete":
            yield Paragraph("The search for what fitted before was stopped before it found anything.")
        else:
            yield Paragraph("Before it was measured, nothing fitted with these parts.")
        return
    columns = [result.before, result.as_it_stands, result.after]
    rows = [*_differences(columns), *_figures(columns, result), *_verdicts(columns, result)]
    titles = ("", "before", "the same, as measured", "best now")
    head = (Column(titles[0]), *(Column(title, "right", wraps=True) for title in titles[1:]))
    yield Table(head, tuple(rows), "Before and after")


def _differences(columns: list[Checked | None]) -> Iterator[tuple[str, ...]]:
    """Parts that are not the same in all columns; figures and amounts come after them."""
    named = [part_names(each.combination) if each is not None else {} for each in columns]
    for kind in ("gaskets" if each == "gasket" else each for each in KINDS):
        cells = [names.get(kind, "") for names in named]
        if len({cell for cell, each in zip(cells, columns, strict=True) if each is not None}) > 1:
            yield (words(kind), *cells)


def _figures(columns: list[Checked | None], result: Remeasured) -> Iterator[tuple[str, ...]]:
    plan = result.answer.plan
    for work in MACHINING:
        key = machining_key(work)
        amounts = [each.combination.machining.get(key) if each is not None else None for each in columns]
        if any(amounts):
            form = machining_style(work, amounts, plan.units)
            yield (WORK[work], *(form.with_unit(amount) if amount else "–" for amount in amounts))
    shown = [name for name in plan.goals if name != "cost" and name in FIGURES]
    for name in dict.fromkeys(("deck", *shown)):
        values = [each.figures.get(name) if each is not None else None for each in columns]
        known = {round(value, 9) for value in values if value is not None}
        if len(known) > 1 or (known and len([value for value in values if value is not None]) == 1):
            form = figure_style(name, values, plan.units)
            yield (words(name), *(form.with_unit(value) if value is not None else "" for value in values))


def _verdicts(columns: list[Checked | None], result: Remeasured) -> Iterator[tuple[str, ...]]:
    yield ("cost", *(money(each.cost) if each is not None else "" for each in columns))
    yield ("closeness", *(str(each.closeness) if each is not None and each.fits else "" for each in columns))
    cells = []
    for each in columns:
        failed = [limit_name(limit) for limit in each.limits if limit.holds is False] if each is not None else []
        cells.append("nothing fits" if each is None else f"misses {', '.join(failed)}" if failed else "all hold")
    yield ("limits", *cells)
    yield ("verdict", *(VERDICTS[each.verdict] if each is not None else "" for each in columns))
    yield ("steps off", *(steps_by_aim(each) if each is not None and each.fits else "" for each in columns))


# data


def remeasured_data(result: Remeasured) -> dict[str, Any]:
    """Write what ``remeasure`` answers."""
    answer = answer_data(result.answer)
    stands, implied = result.as_it_stands, result.implied
    return {
        "plan": answer["plan"],
        "status": answer["status"],
        "measured": [_measured_data(each) for each in result.measurements],
        "plausible": result.plausible,
        "points_to": [text for each in result.measurements for text in sentences(each.finding, "mm") if _odd(each)],
        "written": result.written and bool(result.lines),
        "lines": list(result.lines),
        "parts_taken": [{"kind": kind, "id": _part(result, kind), "how": how} for kind, how in result.how.items()],
        "implied_block_height_mm": round(1000 * implied.value, 9) if implied is not None else None,
        "implied_block_height_tolerance_mm": round(1000 * implied.tolerance, 9) if implied is not None else None,
        "before": combination_data(result.before) if result.before is not None else None,
        "as_measured": {
            "fits": stands.fits,
            **combination_data(stands),
            "missed": [missed(limit, "mm") for limit in stands.limits if limit.holds is False],
        }
        if stands is not None
        else None,
        "after": combination_data(result.after) if result.after is not None else None,
        **{key: value for key, value in answer.items() if key not in ("plan", "status")},
    }


def _odd(each: Measurement) -> bool:
    return each.finding.plausible is False and not each.derived


def _measured_data(each: Measurement) -> dict[str, Any]:
    reading, finding = each.reading, each.finding
    dimension = finding.measured.dimension
    unit = dimension.likely[0] if dimension.likely else ""
    factor = float(unit_factor(unit, dimension))

    def shown(value: float) -> float:
        return round(value / factor, 9)

    predicted = finding.predicted
    return {
        "name": reading.name,
        **({"with": reading.parts} if reading.parts else {"of": reading.of}),
        "text": reading.text.strip(),
        "unit": unit,
        "value": shown(finding.measured.si),
        "tolerance": shown(finding.measured.tolerance),
        "predicted": {name: shown(getattr(predicted, name)) for name in ("value", "low", "high")}
        if predicted
        else None,
        "plausible": finding.plausible,
        "points_to": [
            {
                "what": hint.what,
                **{key: value for key in ("kind", "part", "field", "unit") if (value := getattr(hint, key))},
            }
            for hint in finding.hints
        ],
        **{key: value for key, value in each.remarks.items() if value and key != "predicted"},
    }


def remeasured_rows(result: Remeasured) -> tuple[list[str], list[Row]]:
    """Write one row a combination: before, the same as measured, and those that fit now."""
    header, rows = answer_rows(result.answer)
    found: list[Row] = []
    for when, each in (("before", result.before), ("as measured", result.as_it_stands)):
        if each is not None:
            row = {"closeness": each.closeness, **combination_row(each)}
            header += [key for key in row if key not in header]
            found.append({"when": when, **row})
    return ["when", *header], [*found, *({"when": "now", **row} for row in rows)]
