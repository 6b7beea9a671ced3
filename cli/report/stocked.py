"""The reports on what was taken from the shelf and put on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from kitwright.catalogs.stock import Entry, Moved
from kitwright.cli.report.as_csv import csv_text
from kitwright.cli.report.as_json import dumped
from kitwright.cli.report.blocks import Column, Paragraph, Report, Table, Title

DONE = {"take": "taken from the shelf", "put": "put on the shelf"}


def write_moved(work: str, moved: Sequence[Moved], missing: Mapping[str, int], form: str) -> str:
    """Write what was taken or put, in one of the formats."""
    if form == "json":
        changed = [{"id": each.id, "count": each.count, "left": each.left} for each in moved]
        lacking = [{"id": each, "count": count} for each, count in missing.items()]
        return dumped({"work": work, "changed": changed, "missing": lacking})
    if form == "csv":
        rows: list[dict[str, Any]] = [{"work": work, "part": m.id, "count": m.count, "left": m.left} for m in moved]
        rows += [{"work": "missing", "part": each, "count": count} for each, count in missing.items()]
        return csv_text((["work", "part", "count", "left"], rows))
    from kitwright.cli.report import laid_out

    pieces = sum(each.count for each in moved)
    report: Report = [Title(f"{pieces} {'part' if pieces == 1 else 'parts'} {DONE[work]}", 1)]
    if moved:
        columns = (Column("part"), Column("count", "right"), Column("left on the shelf", "right"))
        report.append(Table(columns, tuple((each.id, str(each.count), str(each.left)) for each in moved)))
    if missing:
        names = ", ".join(f"{count} × {each}" if count > 1 else each for each, count in missing.items())
        report.append(Paragraph(f"Not on the shelf, and still to be had: {names}."))
    return laid_out(report, form)


def write_history(entries: Sequence[Entry], folder: str, form: str) -> str:
    """Write the history of a shelf, in one of the formats."""
    names = ("time", "work", "part", "count", "left", "note")
    rows = [{name: getattr(each, name) for name in names} for each in entries]
    if form == "json":
        return dumped({"catalogue": folder, "history": rows})
    if form == "csv":
        return csv_text((names, rows))
    from kitwright.cli.report import laid_out

    report: Report = [Title(f"{folder}: what was done to the shelf", 1)]
    if rows:
        columns = tuple(Column(name, "right" if name in ("count", "left") else "left") for name in names)
        report.append(Table(columns, tuple(tuple(str(row[name]) for name in names) for row in rows)).without_empty())
    else:
        report.append(Paragraph("Nothing yet: `kitwright shelf take` and `put` write it down."))
    return laid_out(report, form)
