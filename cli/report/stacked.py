"""The report on what ``stack`` answers: needed or not, every gasket alone, the decks at which the answer turns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kitwright.cli.report.as_json import combination_data, dumped, limit_data
from kitwright.cli.report.blocks import Column, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.cautioned import builds_stacked, caution_data, moment_blocks
from kitwright.cli.report.numbers import Style, money, seconds, style
from kitwright.cli.report.verdicts import TONES, rev_limit_text, steps_text
from kitwright.cli.report.words import (
    all_parts,
    figure_text,
    limit_name,
    longer,
    machining_style,
    missed,
    wanted,
    words,
)
from kitwright.solver.cautions import Caution, moment
from kitwright.solver.deck_turns import DeckRange
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked
from kitwright.solver.stacking import Single, StackAnswer, changes

LAST_CHOICE = "Every layer more is a joint more that can leak, and one that settles: the last choice, not the first."
SETTLES = "Torque a stack again after the first heat, by the makers' sheets of its gaskets, and leak it down."
SHIFTS = "The stack raises the head by {more}: with a pushrod the length that is needed grows with it."
MEASURE = "Decks are computed until they are measured: dial the piston at top dead centre, over the pin."

NEEDED = {True: "a stack is needed", False: "one gasket does it", None: "not decided"}


def write_stack(answer: StackAnswer, form: str, plan_file: str) -> str:
    """Write what ``stack`` answers, in one of the formats."""
    if form == "json":
        return dumped(stack_data(answer))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(stack_rows(answer))
    from kitwright.cli.report import laid_out

    return laid_out(stack_report(answer, plan_file), form)


def stack_report(answer: StackAnswer, plan_file: str) -> Report:
    """Everything that ``stack`` has to say, as blocks."""
    plan = answer.plan
    head = "neither one gasket nor a stack fits" if answer.status == "nothing_fits" else NEEDED[answer.needed]
    report: Report = [Title(f"{plan.name or plan_file}: {head}", 1)]
    asked = wanted(plan)
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    report += _why(answer)
    report += _singles(answer)
    report += _decks(answer)
    notes = tuple(cautions_on(answer))
    report.append(Items("Before you choose", notes))
    report += moment_blocks(builds_stacked(answer), plan)
    ending = f"Everything else was free; proven complete in {seconds(answer.seconds)}."
    if answer.status == "incomplete":
        ending = f"Stopped after {seconds(answer.seconds)}; {answer.proven}.{longer(answer.stopped_by)}"
    report.append(Paragraph(ending, "bad" if answer.status == "incomplete" else "plain"))
    return report


def _why(answer: StackAnswer) -> Iterator[Paragraph]:
    one, several = answer.best_single, answer.best_stack
    if one is not None:
        yield Paragraph(f"With one gasket, the closest: {_told(one, answer.plan)}.", TONES[one.verdict])
    elif answer.needed is not None or answer.status == "nothing_fits":
        yield Paragraph("No combination with one gasket keeps every limit.", "bad")
    most = {2: "two", 3: "three", 4: "four"}[answer.layers]
    beyond = f" (two, though the plan allows {answer.plan.gaskets})" if answer.plan.gaskets < 2 else ""
    if several is not None:
        yield Paragraph(f"With a stack of up to {most}{beyond}, the closest: {_told(several, answer.plan)}.")
    elif answer.status != "incomplete":
        yield Paragraph(f"No stack of up to {most} gaskets{beyond} keeps every limit.")
    if one is not None and several is not None:
        nearer = several.closeness - one.closeness
        if nearer < 0:
            yield Paragraph(f"The stack comes closer ({several.closeness} against {one.closeness}), by one more joint.")
        elif nearer == 0:
            yield Paragraph("The stack is as close, and has a joint more: it comes second.")
        else:
            yield Paragraph(f"The stack is not as close ({several.closeness} against {one.closeness}).")


def _told(checked: Checked, plan: Plan) -> str:
    deck = checked.figures.get("deck")
    quench = figure_text("quench", checked.figures.get("quench"), plan.units)
    measures = ""
    if deck is not None and quench:
        measures = f"deck {place(deck, style('mm', [deck], plan.units))}, quench {quench}, "
    rev = rev_limit_text(checked, plan.units)
    paper = " (on paper)" if checked.verdict == "on_paper" else ""
    return (
        f"{all_parts(checked.combination)}{paper}; {measures}{rev}; cost {money(checked.cost)}; {steps_text(checked)}"
    )


def _singles(answer: StackAnswer) -> Iterator[Any]:
    if not answer.singles:
        return
    plan, leading = answer.plan, answer.leading
    rows: list[tuple[str, ...]] = []
    out: dict[str, list[str]] = {}
    for single in answer.singles:
        if single.combination is None:
            out.setdefault(single.why, []).append(single.gasket)
            continue
        quench = single.combination.figures.get("quench")
        lacking = "; ".join(missed(each.limit, plan.units) for each in single.misses) or "nothing"
        rows.append(
            (single.gasket, figure_text("quench", quench, plan.units), lacking, _changed(single, leading, plan))
        )
    columns = (
        Column("gasket"),
        Column("quench", "right"),
        Column("what it misses alone", wraps=True),
        Column("other parts than the closest's", wraps=True),
    )
    if rows:
        yield Table(columns, tuple(rows), "Each gasket on its own, with whatever suits it best").without_empty()
    if out:
        yield Items("Gaskets that go on nothing here", tuple(f"{', '.join(ids)}: {why}" for why, ids in out.items()))


def _changed(single: Single, leading: Checked | None, plan: Plan) -> str:
    if leading is None:
        return ""
    told = []
    for what, has in changes(single, leading):
        if what in leading.combination.machining or (
            single.combination is not None and what in single.combination.combination.machining
        ):
            work = what.rpartition("_")[0]
            form = machining_style(work, [float(has)], plan.units)
            told.append(f"{words(work)} {form.with_unit(float(has))}" if float(has) else f"without {words(work)}")
        else:
            told.append(f"{words(what)} {has}")
    return ", ".join(told)


def _decks(answer: StackAnswer) -> Iterator[Any]:
    if not answer.ranges:
        if answer.short_block and answer.status != "incomplete":
            yield Paragraph(f"At no deck of {_block(answer)} does one gasket keep every limit.")
        return
    ends = [end for each in answer.ranges for end in (each.low, each.high) if end is not None]
    form = style("mm", ends, answer.plan.units)
    rows = tuple(
        (each.gasket, "any deck up" if each.low is None else place(each.low, form), place_or_any(each.high, form))
        for each in answer.ranges
    )
    columns = (Column("gasket"), Column("from", "right"), Column("to", "right"))
    title = f"Where one gasket does, by the deck measured with {_block(answer)}"
    if answer.deck is not None:
        title += f" (now {place(answer.deck, style('mm', [answer.deck], answer.plan.units))})"
    yield Table(columns, rows, title)
    turning = ", ".join(place(each, form) for each in answer.turns_at_deck)
    if turning:
        yield Paragraph(f"The answer turns at {turning}.")


def place_or_any(deck: float | None, form: Style) -> str:
    """Say a deck, or that no limit ends it on the way down."""
    return "any deck down" if deck is None else place(deck, form)


def place(deck: float, form: Style) -> str:
    """Say a deck with its word: ``0.10 mm up``.

    >>> place(-0.1, style("mm", [0.1])), place(0.4, style("mm", [0.4]))
    ('0.10 mm up', '0.40 mm down')
    """
    shown = form.with_unit(abs(deck))
    return f"{shown} {'up' if deck < 0 else 'down'}" if abs(deck) > 1e-9 else shown


def _block(answer: StackAnswer) -> str:
    return " ".join(answer.short_block.values())


def cautions_on(answer: StackAnswer) -> Iterator[str]:
    """Sentences that belong beside the answer."""
    yield LAST_CHOICE
    if answer.best_stack is not None:
        yield SETTLES
        one, several = answer.best_single, answer.best_stack.combination
        thick = sum(each.thickness.si for each in several.gaskets)
        less = sum(each.thickness.si for each in one.combination.gaskets) if one is not None else None
        if less is not None and thick > less:
            yield SHIFTS.format(
                more=style("mm", [1000 * (thick - less)], answer.plan.units).with_unit(1000 * (thick - less))
            )
        if answer.plan.gaskets < answer.layers:
            yield f"The plan allows one gasket; `--gaskets {answer.layers}` lists the stacks."
    yield MEASURE


# data


def _as_cautions(answer: StackAnswer) -> Iterator[Caution]:
    """What is to be said of stacks, in the rank of what misleads."""
    return (Caution("numbers", "Stack", text) for text in cautions_on(answer))


def stack_data(answer: StackAnswer) -> dict[str, Any]:
    """Write what ``stack`` answers, for JSON."""
    return {
        "plan": answer.plan.name,
        "status": answer.status,
        "needed": answer.needed,
        "best_single": _best(answer.best_single),
        "best_stack": _best(answer.best_stack),
        "layers": answer.layers,
        "singles": [_single_data(each, answer.leading) for each in answer.singles],
        "short_block": answer.short_block,
        "deck_mm": answer.deck,
        "deck_ranges": [{"gasket": each.gasket, "from_mm": each.low, "to_mm": each.high} for each in answer.ranges],
        "turns_at_deck_mm": list(answer.turns_at_deck),
        **caution_data([*moment(builds_stacked(answer), answer.plan), *_as_cautions(answer)]),
        **({"proven": answer.proven} if answer.status == "incomplete" else {}),
    }


def _best(checked: Checked | None) -> dict[str, Any] | None:
    return None if checked is None else combination_data(checked)


def _single_data(single: Single, leading: Checked | None) -> dict[str, Any]:
    found: dict[str, Any] = {"gasket": single.gasket, "fits": single.fits}
    if single.combination is None:
        return {**found, "combination": None, "quench_mm": None, "misses": [], "why": single.why}
    changed = dict(changes(single, leading)) if leading is not None else {}
    return {
        **found,
        "combination": combination_data(single.combination),
        "quench_mm": single.combination.figures.get("quench"),
        "misses": [{**limit_data(each.limit), "steps": each.steps} for each in single.misses],
        "changes": changed,
    }


def stack_rows(answer: StackAnswer) -> tuple[list[str], list[dict[str, Any]]]:
    """Write what ``stack`` answers, one gasket or range of decks a row, for CSV."""
    header = ["what", "gasket", "quench_mm", "fits", "misses", "steps", "parts", "deck_from_mm", "deck_to_mm"]
    rows: list[dict[str, Any]] = []
    for what, best in (("best single", answer.best_single), ("best stack", answer.best_stack)):
        if best is not None:
            stack = " + ".join(each.id for each in best.combination.gaskets)
            rows.append(
                {
                    "what": what,
                    "gasket": stack,
                    "quench_mm": best.figures.get("quench"),
                    "fits": True,
                    "parts": all_parts(best.combination),
                }
            )
    rows += [_single_row(each) for each in answer.singles]
    rows += [_range_row(each) for each in answer.ranges]
    return header, rows


def _single_row(single: Single) -> dict[str, Any]:
    best = single.combination
    lacking: Sequence[str] = [f"{limit_name(each.limit)} {each.limit.limit}" for each in single.misses]
    return {
        "what": "alone",
        "gasket": single.gasket,
        "quench_mm": None if best is None else best.figures.get("quench"),
        "fits": single.fits,
        "misses": "; ".join(lacking) or single.why,
        "steps": sum(each.steps for each in single.misses),
        "parts": "" if best is None else all_parts(best.combination),
    }


def _range_row(each: DeckRange) -> dict[str, Any]:
    return {"what": "deck", "gasket": each.gasket, "fits": True, "deck_from_mm": each.low, "deck_to_mm": each.high}
