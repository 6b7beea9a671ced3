"""Results in, text out: one report a question, in four formats."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kitwright.catalogs import Problem
    from kitwright.cli.report.blocks import Report
    from kitwright.cli.report.depth import Depth
    from kitwright.cli.report.found import Question
    from kitwright.cli.report.remeasured import Remeasured
    from kitwright.solver.catalogue import Catalogue
    from kitwright.solver.parts import Part
    from kitwright.solver.plan import Plan
    from kitwright.solver.result import Answer, Checked
    from kitwright.solver.rivals import Rivalry


def laid_out(report: Report, form: str) -> str:
    """Write a report as text for this terminal, or as Markdown."""
    if form == "markdown":
        from kitwright.cli.report.as_markdown import as_markdown

        return as_markdown(report)
    from kitwright.cli.output import in_colour, width
    from kitwright.cli.report.table import as_text

    return as_text(report, width(), in_colour())


def write_find(answer: Answer, form: str, question: Question) -> str:
    """Write what ``find`` answers, in one of the formats."""
    if form == "json":
        from kitwright.cli.report.as_json import answer_data, dumped

        return dumped(answer_data(answer))
    if form == "csv":
        from kitwright.cli.report.as_csv import answer_rows, csv_text

        return csv_text(answer_rows(answer))
    from kitwright.cli.report.found import find_report

    return laid_out(find_report(answer, question), form)


def write_sums(checked: Checked, plan: Plan, figures: Sequence[str], form: str) -> str:
    """Write the sums behind some figures of one combination, in one of the formats."""
    from kitwright.cli.report.sums import sum_data, sum_rows, sums_report

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped(sum_data(checked, plan, figures))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(sum_rows(checked, plan, figures))
    return laid_out(sums_report(checked, plan, figures), form)


def write_check(checked: Checked, plan: Plan, form: str, catalogue: Catalogue, depth: Depth) -> str:
    """Write what ``check`` answers, in one of the formats; other pushrods are looked for in the catalogue."""
    from kitwright.cli.report.depth import deep_data, deep_report, deep_rows

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped(deep_data(checked, plan, catalogue, depth))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(deep_rows(checked, plan, depth))
    return laid_out(deep_report(checked, plan, catalogue, depth), form)


def write_remeasure(result: Remeasured, form: str) -> str:
    """Write what ``remeasure`` answers, in one of the formats."""
    from kitwright.cli.report.remeasured import remeasured_data, remeasured_report, remeasured_rows

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped(remeasured_data(result))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(remeasured_rows(result))
    return laid_out(remeasured_report(result), form)


def write_rivals(found: Rivalry, plan: Plan, form: str) -> str:
    """Write which measurement would make another combination the best, in one of the formats."""
    from kitwright.cli.report.measuring import rivals_data, rivals_report, rivals_rows

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped(rivals_data(found, plan))
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(rivals_rows(found, plan))
    return laid_out(rivals_report(found, plan), form)


def write_parts(parts: Sequence[Part], folder: str, form: str) -> str:
    """Parts of a catalogue, in one of the formats."""
    from kitwright.cli.report import shelf_report

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped({"catalogue": folder, "parts": [shelf_report.part_data(part) for part in parts]})
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text(shelf_report.part_rows(parts))
    return laid_out(shelf_report.list_report(parts, folder), form)


def write_faults(problems: Sequence[Problem], folder: str, form: str) -> str:
    """Write what is wrong with a catalogue, in one of the formats."""
    from kitwright.cli.report.shelf_report import faults_report

    fields = ("file", "line", "part", "field", "read", "message", "suggestion")
    rows = [{name: getattr(problem, name) for name in fields} for problem in problems]
    if form == "json":
        from kitwright.cli.report.as_json import dumped

        return dumped({"catalogue": folder, "faults": rows, "warnings": []})
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        return csv_text((["what", *fields], [{"what": "fault", **row} for row in rows]))
    return laid_out(faults_report([str(problem) for problem in problems], folder), form)


def write_sound(catalogue: Catalogue, form: str) -> str:
    """Write what a catalogue without a fault holds and what looks odd in it, in one of the formats."""
    from kitwright.cli.report.shelf_report import exact_fields, sound_report

    if form == "json":
        from kitwright.cli.report.as_json import dumped

        exact = [{"part": part, "field": name, "value": text} for part, name, text in exact_fields(catalogue)]
        parts = {kind: len(catalogue.of_kind(kind)) for kind in catalogue.kinds}
        said = {"catalogue": catalogue.folder, "faults": [], "warnings": list(catalogue.warnings)}
        return dumped({**said, "parts": parts, "exact": exact})
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        rows = [{"what": "warning", "message": text} for text in catalogue.warnings]
        rows += [
            {"what": "exact", "part": part, "field": name, "read": text} for part, name, text in exact_fields(catalogue)
        ]
        return csv_text((["what", "file", "line", "part", "field", "read", "message", "suggestion"], rows))
    return laid_out(sound_report(catalogue), form)


def write_figures(name: str | None, form: str) -> str:
    """All figures, or one, in one of the formats."""
    from kitwright.cli.report import figure_report

    ceiling = name == figure_report.CEILING["figure"]
    figures = [each for _, group in figure_report.by_group() for each in group] if name is None else []
    if name is not None and not ceiling:
        figures = [figure_report.find_figure(name)]
    if form == "json":
        from kitwright.cli.report.as_json import dumped

        data = [figure_report.figure_data(each) for each in figures] or [figure_report.CEILING]
        return dumped(data if name is None else data[0])
    if form == "csv":
        from kitwright.cli.report.as_csv import csv_text

        if ceiling:
            return csv_text((list(figure_report.CEILING), [figure_report.CEILING]))
        return csv_text(figure_report.figure_rows(figures))
    if ceiling:
        return laid_out(figure_report.ceiling_report(), form)
    return laid_out(figure_report.one_report(figures[0]) if name else figure_report.list_report(), form)
