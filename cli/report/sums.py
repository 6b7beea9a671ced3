"""The sum behind a figure, line by line, as a builder follows it with a calculator."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from kitwright.cli.report.blocks import Column, Paragraph, Report, Table, Title
from kitwright.cli.report.figure_report import find_figure
from kitwright.cli.report.words import words
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import plain
from kitwright.solver.result import Checked
from kitwright.solver.trace import Input, Step, trace


def sums_report(checked: Checked, plan: Plan, figures: Sequence[str]) -> Report:
    """Each figure's steps, first things first."""
    report: Report = []
    for name in figures:
        figure = find_figure(name)
        steps = trace(checked.combination, plan, figure.name)
        report.append(Title(f"{words(figure.name)} = {_value(steps[-1].value, steps[-1].unit)}", 1))
        for number, step in enumerate(steps, 1):
            report += step_blocks(number, step)
    report.append(Paragraph("Nominal sizes, cold and at rest; shown to six digits, worked out with all of them."))
    return report


def step_blocks(number: int, step: Step) -> tuple[Paragraph, Table]:
    """Give one step: its formula in a line, and its inputs with what they come to."""
    rows = tuple((_label(each), each.of, _value(each.value, each.unit)) for each in step.inputs)
    total = (f"= {words(step.figure)}", "", _value(step.value, step.unit))
    columns = (Column("from"), Column("part"), Column("value", "right"))
    return Paragraph(f"{number}. {words(step.figure)}: {step.formula}"), Table(columns, (*rows, total))


def _label(each: Input) -> str:
    owner, dot, rest = each.name.partition(".")
    if not dot:
        return words(each.name)
    return f"{words('gasket' if owner == 'gaskets' else owner)}: {words(rest.replace('.', ' '))}"


def _value(value: float, unit: str) -> str:
    if not math.isfinite(value):
        return "not known"
    if abs(value) < 1e-9:  # what float arithmetic leaves of nothing
        value = 0.0
    return f"{plain(value)} {unit}".strip().replace("-", "−")


def sum_data(checked: Checked, plan: Plan, figures: Sequence[str]) -> dict[str, Any]:
    """Steps by figure, for JSON; unknown values are null."""
    return {
        name: [_step(each) for each in trace(checked.combination, plan, find_figure(name).name)] for name in figures
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "figure": step.figure,
        "formula": step.formula,
        "inputs": [
            {"name": each.name, "part": each.of or None, "value": _known(each.value), "unit": each.unit}
            for each in step.inputs
        ],
        "value": _known(step.value),
        "unit": step.unit,
    }


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def sum_rows(checked: Checked, plan: Plan, figures: Sequence[str]) -> tuple[list[str], list[Mapping[str, Any]]]:
    """Header and rows for CSV: one row an input, and one a step's value."""
    header = ["sum", "step", "name", "part", "value", "unit"]
    rows: list[Mapping[str, Any]] = []
    for name in figures:
        for number, step in enumerate(trace(checked.combination, plan, find_figure(name).name), 1):
            for each in step.inputs:
                row = (name, number, each.name, each.of, _known(each.value), each.unit)
                rows.append(dict(zip(header, row, strict=True)))
            rows.append(dict(zip(header, (name, number, step.figure, "", _known(step.value), step.unit), strict=True)))
    return header, rows
