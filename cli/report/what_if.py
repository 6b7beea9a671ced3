"""The report on what a change does, and on what each small step does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kitwright.cli.report.as_json import limit_data, verdict_data
from kitwright.cli.report.blocks import Column, Items, Paragraph, Report, Section, Table, Title
from kitwright.cli.report.cautioned import moment_blocks, moment_data
from kitwright.cli.report.numbers import bare, style
from kitwright.cli.report.verdicts import HEADS, TONES
from kitwright.cli.report.words import UNKNOWN, figure_style, limit_name, missed, words
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES, GROUPS
from kitwright.solver.result import Limit
from kitwright.solver.what_if import WATCHED, Moved, Sensitivity, Turned, WhatIf

_ANSWER = {True: "holds", False: "missed", None: "not established"}
_FIGURES = 6


def what_if_report(found: WhatIf, plan: Plan) -> Report:
    """Every figure that moves, old and new, and every limit whose answer changes."""
    fits, same = HEADS[found.after.verdict], found.after.verdict == found.before.verdict
    was = {"fits": "it fitted", "on_paper": "it fitted on paper", "does_not_fit": "it did not fit"}
    head = f"{fits}, as before" if same else fits
    report: Report = [
        Title(f"{plan.name}: what if {', '.join(found.changes)}", 1),
        Paragraph(
            f"Then {head}." if same else f"Then {fits}; before, {was[found.before.verdict]}.",
            TONES[found.after.verdict],
        ),
    ]
    report += [Paragraph(note) for note in found.notes]
    report += moment_blocks([found.after], found.plan)
    if found.turned:
        report.append(Items("Limits whose answer changes", tuple(_turned(each, plan.units) for each in found.turned)))
    else:
        report.append(Paragraph("No limit changes its answer."))
    still = [each for each in found.after.limits if each.holds is False]
    still = [each for each in still if not any(each is some.new for some in found.turned)]
    if still:
        report.append(Items("Missed before and after", tuple(missed(each, plan.units) for each in still)))
    if not found.moved:
        report.append(Paragraph("No figure moves."))
        return report
    rows: list[tuple[str, ...] | Section] = []
    for group in GROUPS:
        some = [each for each in found.moved if FIGURES[each.figure].group == group]
        if some:
            rows.append(Section(group))
            rows += [_moved(each, plan.units) for each in some]
    columns = (
        Column("figure"),
        Column("before", "right"),
        Column("after", "right"),
        Column("change", "right"),
        Column("unit"),
    )
    report.append(Table(columns, tuple(rows), "Figures that move").without_empty())
    return report


def _turned(each: Turned, units: str) -> str:
    limit = each.new or each.old
    assert limit is not None
    if each.new is not None and each.new.holds is False:
        return f"{limit_name(limit)}: now missed ({missed(each.new, units)})"
    was = _answer(each.old)
    return f"{limit_name(limit)}: {was} before, now {_answer(each.new)}"


def _answer(limit: Limit | None) -> str:
    return _ANSWER[limit.holds] if limit is not None else "not asked"


def _moved(each: Moved, units: str) -> tuple[str, ...]:
    change = None if each.old is None or each.new is None else each.new - each.old
    form = figure_style(each.figure, [each.old, each.new], units)
    values = [form.text(value) if value is not None else UNKNOWN for value in (each.old, each.new)]
    shown = form.text(change, sign=True) if change is not None else ""
    if change is not None and shown.strip("+−0.") == "":
        shown = "under the last digit"
    return words(each.figure), *values, shown, form.unit


def what_if_data(found: WhatIf) -> dict[str, Any]:
    """Write what moves and what turns; the combination as it then is."""
    return {
        "changes": list(found.changes),
        "fits": found.after.fits,
        **verdict_data(found.after),
        "parts": found.after.combination.ids,
        "machining": found.after.combination.machining,
        "moved": {FIGURES[each.figure].key: [each.old, each.new] for each in found.moved},
        "limits": [
            {
                "before": limit_data(each.old) if each.old is not None else None,
                "after": limit_data(each.new) if each.new is not None else None,
            }
            for each in found.turned
        ],
        "notes": list(found.notes),
        **moment_data([found.after], found.plan),
    }


def what_if_rows(found: WhatIf) -> list[dict[str, Any]]:
    """Write one row a figure that moves and a limit that turns."""
    rows: list[dict[str, Any]] = []
    for each in found.moved:
        row = {"what": "what_if_before", "name": FIGURES[each.figure].key, "value": each.old}
        rows += [row, {**row, "what": "what_if_after", "value": each.new}]
    for turned in found.turned:
        limit = turned.new or turned.old
        assert limit is not None
        holds = None if turned.new is None or turned.new.holds is None else turned.new.holds
        row = {"what": "what_if_limit", "name": limit.name, "limit": limit.limit, "bound": limit.bound}
        rows.append({**row, "value": limit.value, "margin": limit.margin, "holds": holds, "text": _answer(turned.old)})
    return rows


# sensitivities


def sensitivity_table(found: Sequence[Sensitivity], plan: Plan) -> Table | Paragraph:
    """What each small step does to the figures that are watched."""
    if not found:
        return Paragraph("No step of any dimension moves a figure that is watched here.")
    moved = dict.fromkeys(name for each in found for name in each.changes)
    names = [name for name in WATCHED if name in moved] + [name for name in moved if name not in WATCHED]
    columns = [Column("one step of")]
    forms = {}
    for name in names:
        unit = FIGURES[name].unit
        form = style(unit, [0.001], plan.units)
        forms[name] = form
        columns.append(Column(f"{words(name)} [{form.unit}]" if form.unit else words(name), "right", name))
    rows = []
    for each in found:
        cells = [_change(each.changes[name] * forms[name].scale) if name in each.changes else "" for name in names]
        rows.append((f"{each.words}, {bare(each.step)} {each.unit}", *cells))
    return Table(tuple(columns), tuple(rows), "What each step does, all else as it is")


def _change(value: float) -> str:
    """Give a change with its sign and three digits that count.

    >>> _change(-0.0110658), _change(0.5)
    ('−0.0111', '+0.5')
    """
    text = f"{value:+.3g}"
    return (f"{value:+.4f}" if "e" in text else text).replace("-", "−")


def sensitivity_data(found: Sequence[Sensitivity]) -> list[dict[str, Any]]:
    """Write each step and what it does."""
    return [
        {
            "of": each.name,
            "step": each.step,
            "unit": each.unit,
            "changes": {FIGURES[name].key: change for name, change in each.changes.items()},
        }
        for each in found
    ]


def sensitivity_rows(found: Sequence[Sensitivity]) -> list[dict[str, Any]]:
    """Write one row a step and figure."""
    return [
        {
            "what": "sensitivity",
            "name": each.name,
            "figure": FIGURES[name].key,
            "value": change,
            "text": f"each {bare(each.step)} {each.unit}",
        }
        for each in found
        for name, change in each.changes.items()
    ]
