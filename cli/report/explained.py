"""The report on what ``explain`` answers: why nothing fits, or which requirements bind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from kitwright.cli.report.as_json import answer_data, combination_data, conflict_data, dumped, limit_data, way_data
from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.cautioned import builds_explained, moment_blocks, moment_data
from kitwright.cli.report.found import Question, check_words, left_out
from kitwright.cli.report.nothing import (
    GUARD_WARNING,
    conflict_blocks,
    emptied,
    in_common,
    next_command,
    opened,
    options_of,
    requirement_lines,
    way_command,
    with_only,
)
from kitwright.cli.report.numbers import Style, money, seconds, style
from kitwright.cli.report.verdicts import HEADS, TONES, of_them_on_paper, steps_text
from kitwright.cli.report.words import all_parts, bound_text, figure_style, limit_name, longer, wanted, words
from kitwright.solver.candidates import combinations_possible
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Closer, Conflict, Explanation, Limit, Together, WouldFit
from kitwright.solver.wording import listed, requirement_words

NEW_PART = (
    "Measure such a part before you pay for it, and ask whoever makes it whether it can be made: "
    "wall, ring land and strength are not looked at here."
)


def write_explanation(found: Explanation, form: str, question: Question) -> str:
    """Write what ``explain`` answers, in one of the formats."""
    if form == "json":
        return dumped(explanation_data(found))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(explanation_rows(found))
    from kitwright.cli.report import laid_out

    return laid_out(explanation_report(found, question), form)


def explanation_report(found: Explanation, question: Question) -> Report:
    """Everything that ``explain`` has to say, as blocks."""
    answer, plan = found.answer, found.answer.plan
    name = plan.name or question.plan_file
    head = {"complete": "something fits", "nothing_fits": "nothing fits", "incomplete": "not decided"}[answer.status]
    head += of_them_on_paper([each.verdict for each in answer.combinations[:1]])
    report: Report = [Title(f"{name}: {head}", 1)]
    asked = wanted(plan)
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    if answer.status == "complete":
        report += _fitting(found, question)
    elif answer.status == "nothing_fits":
        report += _refused(found, question)
    if not found.complete:
        report.append(
            Paragraph(
                f"Stopped after {seconds(answer.seconds)}, before everything was looked at; what stands here is "
                f"proven.{longer(answer.stopped_by)}",
                "bad",
            )
        )
    report += moment_blocks(builds_explained(found), plan)
    report += _ending(found, question)
    return report


# something fits


def _fitting(found: Explanation, question: Question) -> Iterator[Any]:
    answer, plan = found.answer, found.answer.plan
    best = answer.combinations[0]
    yield Paragraph(
        f"The closest: {HEADS[best.verdict]}. {all_parts(best.combination)}; cost {money(best.cost)}; "
        f"{steps_text(best)}.",
        TONES[best.verdict],
    )
    if found.least_to_spare:
        rows = tuple(_spare(limit, plan.units) for limit in found.least_to_spare)
        columns = (Column("limit"), Column("wanted", "right"), Column("is", "right"), Column("to spare", "right"))
        yield Table(columns, rows, "Tightest limits")
    if found.closer:
        ways = [each.way.combination.combination for each in found.closer]
        common = in_common([best.combination, *ways])
        columns = (
            Column("if you allow", wraps=True),
            Column("closeness", "right"),
            Column("cost", "right"),
            Column("brings", wraps=True),
        )
        rows = tuple(
            (
                f"{each.way.change} (loosens a guard)" if each.way.loosens_guard else each.way.change,
                str(each.closeness),
                money(each.way.price),
                opened(each.way.combination, common),
            )
            for each in found.closer
        )
        yield Table(columns, rows, "What one requirement less would bring")
        if any(each.way.loosens_guard for each in found.closer):
            yield Paragraph(GUARD_WARNING, "open")
        if common:
            yield Paragraph(f"In all of them, as in the closest that fits: {', '.join(common)}.")
    elif found.complete:
        yield Paragraph("No requirement stands in the way of a closer answer: loosening any one of them brings none.")


def _spare(limit: Limit, units: str) -> tuple[str, str, str, str]:
    values = [each for each in (limit.value, limit.margin) if each is not None]
    form = figure_style(limit.figure, values, units)
    sign = ">" if limit.strict else "≥" if limit.limit == "min" else "≤"
    bound = "" if limit.bound is None else f"{sign} {bound_text(limit.figure, limit.bound, units)}"
    return limit_name(limit), bound, form.with_unit(limit.value), form.with_unit(limit.margin, sign=True)


# nothing fits


def _refused(found: Explanation, question: Question) -> Iterator[Any]:
    answer = found.answer
    if answer.conflict is not None:
        yield from conflict_blocks(answer.conflict, answer)
    for each in found.other_conflicts:
        yield from _other(each, found)
    if found.together:
        yield from _together(found.together)
    if found.parts_that_would_fit:
        yield from _would_fit(found)
    gone = emptied(answer, question)
    left = left_out(answer.considered, answer.plan)
    if gone:
        yield Items("The plan leaves nothing to choose from", tuple(gone))
    elif left:
        yield Items("Parts that can be in no combination", tuple(left))


def _other(conflict: Conflict, found: Explanation) -> Iterator[Any]:
    first = found.answer.conflict
    given = first.requirements if first is not None else ()
    spared = [each for each in given if each not in conflict.requirements]
    if len(spared) < len(given):
        told = listed([f"`{each}` ({requirement_words(found.answer.plan, each)})" for each in spared])
        yield Paragraph(f"Letting go of {told} is not enough. {conflict.because}", "bad")
    else:
        yield Paragraph(f"Even with that settled, there is another conflict. {conflict.because}", "bad")
    yield Items("These cannot hold together either", requirement_lines(conflict.requirements, found.answer.plan))


def _together(some: Sequence[Together]) -> Iterator[Any]:
    common = in_common([each.combination.combination for each in some])
    rows = tuple(
        (
            str(number),
            "; ".join(f"{way.change} (loosens a guard)" if way.loosens_guard else way.change for way in each.changes),
            money(each.price),
            opened(each.combination, common),
        )
        for number, each in enumerate(some, 1)
    )
    columns = (
        Column("way", "right"),
        Column("all of these changes", wraps=True),
        Column("cost", "right"),
        Column("opens", wraps=True),
    )
    yield Table(columns, rows, "Ways out, cheapest first: no single change does it")
    if any(each.loosens_guard for each in some):
        yield Paragraph(GUARD_WARNING, "open")
    if common:
        yield Paragraph(f"In all of them: {', '.join(common)}.")


_PHRASES = {
    "rod.length": "a rod of {}",
    "rod.big_end": "a rod with a {} big end",
    "rod.pin": "a rod for a {} pin",
    "piston.pin": "a piston with a {} pin",
    "piston.bore": "a piston for a bore of {}",
    "piston.compression_height": "a piston with a compression height of {}",
    "piston.dish": "a piston with a dish of {}",
    "piston.dome": "a piston with a dome of {}",
    "gasket.thickness": "a gasket of {}",
    "gasket.bore": "a gasket with a bore of {}",
    "spacer.thickness": "a spacer of {}",
    "spring_shim.thickness": "spring shims of {}",
    "crank.stroke": "a crank with a stroke of {}",
    "crank.journal": "a crank with a {} journal",
    "block.bore": "a block with a bore of {}",
    "head.chamber": "a head with a chamber of {}",
    "cam.intake_lobe_lift": "a cam with {} of intake lobe lift",
    "cam.exhaust_lobe_lift": "a cam with {} of exhaust lobe lift",
    "rocker.ratio": "rockers with a ratio of {}",
    "spring.solid_height": "springs with a solid height of {}",
    "spring.max_lift": "springs for a lift of {}",
    "retainer.height_gain": "retainers with {} of height gain",
    "pushrod.length": "pushrods of {}",
}


def new_part(each: WouldFit, units: str) -> str:
    """A part that would fit, in words: ``a gasket of 0.70 mm (0.66 to 0.74 mm will do)``."""
    form = _style(each, units)
    field = words(each.field).replace("max rpm", "speed")
    phrase = _PHRASES.get(f"{each.kind}.{each.field}", f"a {words(each.kind)} with a {field} of {{}}")
    if each.field == "max_rpm":
        many = each.kind in ("spring",)
        phrase = f"{'' if many else 'a '}{words(each.kind)}{'s' if many else ''} rated for {{}}"
    text = form.with_unit(each.value)
    if math.isinf(each.high):
        return f"{phrase.format(text)} or more"
    if math.isinf(each.low):
        return f"{phrase.format(text)} or less"
    if each.low == each.high:
        return phrase.format(text)
    return f"{phrase.format(text)} ({form.text(each.low)} to {form.with_unit(each.high)} will do)"


def _style(each: WouldFit, units: str) -> Style:
    return style(each.unit, [value for value in (each.value, each.low, each.high) if math.isfinite(value)], units)


def _would_fit(found: Explanation) -> Iterator[Any]:
    parts, units = found.parts_that_would_fit, found.answer.plan.units
    common = in_common([each.combination.combination for each in parts])
    budget = any(each.left is not None for each in parts)
    columns = (
        Column("part", wraps=True),
        Column("in place of"),
        Column("the rest costs", "right"),
        *((Column("leaves for it", "right"),) if budget else ()),
        Column("with", wraps=True),
    )
    rows = tuple(
        (
            new_part(each, units),
            each.like,
            money(each.price),
            *((money(each.left),) if budget else ()),
            with_only(each.combination.combination, [*common, f"{_slot(each)} {each.like}*"]),
        )
        for each in parts
    )
    yield Table(columns, rows, "Parts that would fit, all else as the part in whose place they go").without_empty()
    said = [f"In all of them: {', '.join(common)}."] if common else []
    if any("*" in row[-1] for row in rows):  # in a stack: beside the new gasket lie others
        said.append("An asterisk marks the part that is not in the catalogue.")
    yield Paragraph(" ".join([*said, NEW_PART]))


def _slot(each: WouldFit) -> str:
    """What stands before a new part's id where all parts are named: gaskets are named as a stack."""
    return "gaskets" if each.kind == "gasket" else words(each.kind)


# the end


def _ending(found: Explanation, question: Question) -> Iterator[Any]:
    answer = found.answer
    possible = combinations_possible(answer.considered.possible)
    if answer.status == "nothing_fits":
        yield Paragraph(f"Searched: {possible}; none fits, explained in {seconds(answer.seconds)}.")
        safe = [each.changes for each in found.together if not each.loosens_guard]
        taken = [changes for changes in safe if options_of(changes, answer.plan)]
        follow = way_command(taken[0], question) if taken else next_command(answer, question, "explain")
        if follow is not None:
            yield follow
    elif answer.status == "complete":
        yield Paragraph(f"Searched: {possible}; explained in {seconds(answer.seconds)}.")
        yield Command("Everything about it", check_words(answer.combinations[0], question))


# data


def explanation_data(found: Explanation) -> dict[str, Any]:
    """Write what ``explain`` answers: the keys of ``find``, and more beside."""
    return {
        **answer_data(found.answer),
        **moment_data(builds_explained(found), found.answer.plan),
        "other_conflicts": [conflict_data(each) for each in found.other_conflicts],
        "ways_out_together": [
            {
                "changes": [
                    {
                        "requirement": way.requirement,
                        "change": way.change,
                        "to": way.to,
                        "loosens_guard": way.loosens_guard,
                    }
                    for way in each.changes
                ],
                "price": each.price,
                "combination": combination_data(each.combination),
            }
            for each in found.together
        ],
        "parts_that_would_fit": [_part_data(each) for each in found.parts_that_would_fit],
        "least_to_spare": [limit_data(each) for each in found.least_to_spare],
        "closer": [_closer_data(each) for each in found.closer],
        "explained": found.complete,
    }


def _part_data(each: WouldFit) -> dict[str, Any]:
    return {
        "kind": each.kind,
        "in_place_of": each.like,
        "field": each.field,
        "unit": each.unit,
        "value": each.value,
        "low": each.low,
        "high": each.high,
        "price_of_the_rest": each.price,
        "left_for_it": each.left,
        "combination": combination_data(each.combination),
    }


def _closer_data(each: Closer) -> dict[str, Any]:
    return {**way_data(each.way), "closeness": each.closeness, "gained": each.gained}


def explanation_rows(found: Explanation) -> tuple[list[str], list[dict[str, Any]]]:
    """Write one row a requirement, closest, way out, part that would fit, tight limit and closer answer."""
    rows: list[dict[str, Any]] = []
    conflicts = [found.answer.conflict] if found.answer.conflict is not None else []
    for number, conflict in enumerate((*conflicts, *found.other_conflicts), 1):
        rows += [
            {
                "what": "requirement",
                "conflict": number,
                "requirement": each,
                "text": requirement_words(found.answer.plan, each),
            }
            for each in conflict.requirements
        ]
        for near in conflict.closest:
            figure = FIGURES[near.figure].key if near.figure in FIGURES else near.figure
            rows.append(
                {
                    "what": "closest",
                    "conflict": number,
                    "requirement": near.requirement,
                    "figure": figure,
                    "value": near.value,
                    "parts": all_parts(near.combination.combination),
                }
            )
    for conflict in conflicts:
        rows += [_way_row("way_out", way) for way in conflict.ways_out]
    for number, each in enumerate(found.together, 1):
        for way in each.changes:
            rows.append({**_way_row("together", way), "conflict": None, "number": number})
    for part in found.parts_that_would_fit:
        rows.append(
            {
                "what": "part_that_would_fit",
                "requirement": part.kind,
                "figure": f"{part.field}_{part.unit}" if part.unit else part.field,
                "value": part.value,
                "low": part.low,
                "high": part.high,
                "price": part.price,
                "text": new_part(part, "mm"),
                "parts": all_parts(part.combination.combination),
            }
        )
    for limit in found.least_to_spare:
        rows.append(
            {
                "what": "least_to_spare",
                "requirement": f"{limit.name}.{limit.limit}" if limit.kind == "goal" else limit.name,
                "figure": FIGURES[limit.figure].key,
                "value": limit.value,
                "to": limit.bound,
            }
        )
    rows += [{**_way_row("closer", each.way), "value": each.closeness} for each in found.closer]
    header = ["what", "conflict", "number", "requirement", "figure", "value", "low", "high", "to", "price", "text"]
    return [*header, "parts"], rows


def _way_row(what: str, way: Any) -> dict[str, Any]:
    to = " ".join(map(str, way.to)) if isinstance(way.to, list | tuple) else way.to
    return {
        "what": what,
        "requirement": way.requirement,
        "to": to,
        "price": way.price,
        "text": way.change,
        "parts": all_parts(way.combination.combination),
    }
