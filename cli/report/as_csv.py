"""Results as CSV: unrounded, metric, header keys as in JSON; no cell that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from kitwright.cli.report.verdicts import because_data
from kitwright.cli.report.words import machining_key
from kitwright.cli.seen import seen
from kitwright.solver.combination import Missing
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING
from kitwright.solver.registry import FIGURES, public_figures
from kitwright.solver.result import Answer, Checked

Row = Mapping[str, Any]

_RUNS = re.compile(r"(^|[;|\t]\s*)('*(?:[=+\-@＝＋－＠]|^[\t\r\n]))")
"""What makes a spreadsheet take text for a formula, at the start of a cell or behind what separates cells elsewhere.

A spreadsheet that separates by semicolons opens a file of commas too, and takes what stands behind each semicolon for a
cell. Signs behind apostrophes are among it: so that one more can be taken away.
"""

_PART_COLUMNS = tuple("gaskets" if kind == "gasket" else kind for kind in KINDS)


def csv_text(rows: tuple[Sequence[str], Iterable[Row]]) -> str:
    """Write a header and rows as CSV text."""
    header, lines = rows
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([cell(line.get(name)) for name in header] for line in lines)
    return out.getvalue()


def cell(value: Any) -> str:
    """One cell: numbers unrounded, text so that no spreadsheet runs it.

    >>> cell(0.1), cell(-1.5), cell("-1+2"), cell("a;=1+2"), cell(None), cell(True)
    ('0.1', '-1.5', "'-1+2", "a;'=1+2", '', 'true')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(float(value)) if math.isfinite(value) else ""
    # A note keeps its lines: in quotes they are one cell.
    return seen(_RUNS.sub(r"\1'\2", str(value)), "\n\t")


def answer_rows(answer: Answer) -> tuple[list[str], list[Row]]:
    """One row a combination."""
    rows: list[Row] = []
    for rank, checked in enumerate(answer.combinations, 1):
        rows.append({"rank": rank, "closeness": checked.closeness, **combination_row(checked)})
    figures = [figure.key for figure in public_figures().values()]
    used = {key for row in rows for key in row}
    ordered = ["rank", "closeness", *_PART_COLUMNS, *map(machining_key, MACHINING), *figures]
    tail = ["verdict", "because", "holds_at_worst_case", "labour", "buy", "not_established"]
    always = {"rank", "closeness", *tail}
    return [key for key in (*ordered, *tail) if key in used or key in always], rows


def combination_row(checked: Checked) -> dict[str, Any]:
    """Write a combination as one flat row."""
    row: dict[str, Any] = {
        kind: " + ".join(ids) if isinstance(ids, list) else ids for kind, ids in checked.combination.ids.items()
    }
    row |= checked.combination.machining
    row |= {FIGURES[name].key: value for name, value in checked.figures.items()}
    row["verdict"] = checked.verdict
    row["because"] = "; ".join(each["text"] for each in because_data(checked))
    row["holds_at_worst_case"] = checked.holds_at_worst_case
    row["labour"] = checked.labour
    row["buy"] = "; ".join(f"{each.count} x {each.id}" for each in checked.buy)
    row["not_established"] = "; ".join(
        f"{gap.goal}: {', '.join(map(missing_cell, gap.missing))}" for gap in checked.not_established
    )
    return row


def missing_cell(missing: Missing) -> str:
    """Write a missing field as ``part.field``; the kind stands for a part that is not there."""
    return f"{missing.part or missing.kind}.{missing.field}"


def check_rows(checked: Checked) -> tuple[list[str], list[Row]]:
    """Write one row a part, machining amount, figure, limit, gap and exact dimension."""
    from kitwright.cli.report.words import exact_dimensions

    rows: list[Row] = [{"what": "verdict", "name": checked.verdict}]
    rows += [{"what": "because", "name": each["code"], "text": each["text"]} for each in because_data(checked)]
    rows += [{"what": "steps_off", "name": name, "value": count} for name, count in checked.points.items()]
    for kind, ids in checked.combination.ids.items():
        rows += [{"what": "part", "name": kind, "text": each} for each in ([ids] if isinstance(ids, str) else ids)]
    rows += [
        {"what": "machining", "name": name, "value": value} for name, value in checked.combination.machining.items()
    ]
    for name, value in checked.figures.items():
        row: dict[str, Any] = {"what": "figure", "name": FIGURES[name].key, "value": value}
        for mode, ends in checked.spread.get(name, {}).items():
            row[f"{mode}_low"], row[f"{mode}_high"] = ends
        rows.append(row)
    for limit in checked.limits:
        rows.append(
            {
                "what": limit.kind,
                "name": limit.name,
                "figure": FIGURES[limit.figure].key if limit.figure else None,
                "limit": limit.limit,
                "bound": limit.bound,
                "value": limit.value,
                "margin": limit.margin,
                "holds": "not established" if limit.holds is None else limit.holds,
                "text": limit.sentence,
            }
        )
    for gap in checked.not_established:
        rows += [{"what": "not_established", "name": gap.goal, "text": missing_cell(each)} for each in gap.missing]
    rows += [
        {"what": "exact", "name": f"{part}.{name}", "text": text}
        for part, name, text in exact_dimensions(checked.combination)
    ]
    rows += [{"what": "buy", "name": each.id, "value": each.price, "text": each.count} for each in checked.buy]
    rows.append({"what": "labour", "name": "labour", "value": checked.labour})
    header = ["what", "name", "figure", "value", "limit", "bound", "margin", "holds"]
    return [*header, *(f"{mode}_{end}" for mode in _MODES for end in ("low", "high")), "text"], rows


_MODES = ("worst_case", "statistical")
