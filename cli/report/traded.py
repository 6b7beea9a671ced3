"""The report on what ``find --trade-off`` answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kitwright.cli.report.as_csv import answer_rows, csv_text
from kitwright.cli.report.as_json import answer_data, combination_data, dumped
from kitwright.cli.report.blocks import Command, Items, Paragraph, Report, Title
from kitwright.cli.report.cautioned import moment_blocks
from kitwright.cli.report.found import Question, check_words, combination_table, not_to_be_run
from kitwright.cli.report.nothing import nothing_report
from kitwright.cli.report.numbers import money, seconds
from kitwright.cli.report.words import all_parts, longer, wanted
from kitwright.solver.result import Checked
from kitwright.solver.trade_off import TradeOff


def write_trade_off(found: TradeOff, form: str, question: Question) -> str:
    """Write what ``find --trade-off`` answers, in one of the formats."""
    if form == "json":
        return dumped(trade_off_data(found))
    if form == "csv":
        return csv_text(answer_rows(found.answer))
    from kitwright.cli.report import laid_out

    return laid_out(trade_off_report(found, question), form)


def trade_off_report(found: TradeOff, question: Question) -> Report:
    """Everything that ``find --trade-off`` has to say, as blocks."""
    answer = found.answer
    if answer.status == "nothing_fits":
        return nothing_report(answer, question)
    name = answer.plan.name or question.plan_file
    report: Report = [Title(f"{name}: closeness against money", 1)]
    asked = wanted(answer.plan)
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    count = len(answer)
    if count:
        told = "One combination is both closest and cheapest" if count == 1 else f"{count} combinations that no other"
        report.append(
            Paragraph(f"{told}." if count == 1 else f"{told} beats on both, from the closest to the cheapest.")
        )
        common, table = combination_table(answer.combinations, answer.plan)
        if common and count > 1:
            report.append(Paragraph(f"In all of them: {', '.join(common)}."))
        report.append(table)
        report += moment_blocks(answer.combinations, answer.plan)
        report += not_to_be_run(answer.combinations)
    steps = tuple(_steps(answer.combinations))
    if steps:
        report.append(Items("What the money brings", steps))
    if found.more:
        report.append(Items("On top of the budget", tuple(_more(found, question))))
    if answer.status == "complete":
        report.append(Paragraph(f"No other belongs in this list; proven complete in {seconds(answer.seconds)}."))
    else:
        known = f" {answer.proven[:1].upper()}{answer.proven[1:]}." if answer.proven else ""
        text = (
            f"Stopped after {seconds(answer.seconds)}, before the list was complete.{known}{longer(answer.stopped_by)}"
        )
        report.append(Paragraph(text, "bad"))
    if answer.combinations:
        report.append(Command("Everything about the first", check_words(answer.combinations[0], question)))
    return report


def _steps(combinations: Sequence[Checked]) -> Iterator[str]:
    """From each to the next closer one, cheapest first."""
    for cheaper, closer in zip(reversed(combinations[1:]), reversed(combinations[:-1]), strict=True):
        nearer = f"closeness {cheaper.closeness} to {closer.closeness}"
        if cheaper.cost is None or closer.cost is None:
            yield f"beyond {money(cheaper.cost)}: {nearer}, at an unknown cost"
            continue
        more = closer.cost - cheaper.cost
        text = f"from {money(cheaper.cost)} to {money(closer.cost)}, {money(more)} more: {nearer}"
        proved = len(cheaper.not_established) - len(closer.not_established)
        if proved:
            text += f", and {proved} goal{'s' if proved > 1 else ''} more established"
        yield text


def _more(found: TradeOff, question: Question) -> Iterator[str]:
    best = found.answer.combinations[0]
    for more, closest in found.more:
        if closest is None:
            yield f"{money(more)} more: nothing closer"
        else:
            yield (
                f"{money(more)} more: closeness {best.closeness} to {closest.closeness}, for {money(closest.cost)}: "
                f"{all_parts(closest.combination)}"
            )


def trade_off_data(found: TradeOff) -> dict[str, Any]:
    """Write what ``find --trade-off`` answers, for JSON."""
    more = [
        {"more": more, "combination": None if each is None else combination_data(each)} for more, each in found.more
    ]
    return {**answer_data(found.answer), "trade_off": True, "more_money": more}
