"""The report on a spreadsheet that is to be taken over: what was understood of it, before anything is written."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from kitwright.catalogs.import_readings import UnderstoodReadings
from kitwright.catalogs.import_sheet import Column as Taken
from kitwright.catalogs.import_sheet import Understood
from kitwright.catalogs.problems import Problem, printable
from kitwright.cli.report.as_csv import csv_text
from kitwright.cli.report.as_json import dumped
from kitwright.cli.report.blocks import Column, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.words import words
from kitwright.solver.parts import KINDS

_MOST_IDS = 12
_HOW = {"name": "its name", "another word": "another word for it", "abbreviation": "an abbreviation", "--map": "--map"}


def write_understood(found: Understood, folder: str, written: bool, form: str) -> str:
    """Write what was understood, in one of the formats."""
    if form == "json":
        return dumped(_data(found, folder, written))
    if form == "csv":
        return csv_text(_rows(found))
    from kitwright.cli.report import laid_out

    return laid_out(_report(found, folder, written), form)


def _data(found: Understood, folder: str, written: bool) -> dict[str, Any]:
    return {
        "file": found.file,
        "catalogue": folder,
        "kinds": list(found.kinds),
        "read_as": found.notes,
        "columns": [_column_data(each) for each in found.columns],
        "left_out": [{"header": header, "why": why} for header, why in found.left_out],
        "parts": [part.id for part, _ in found.parts],
        "into": {str(path): len(parts) for path, parts in found.targets.items()} if not found.problems else {},
        "faults": _faults(found.problems),
        "written": written,
    }


def _column_data(column: Taken) -> dict[str, Any]:
    return {
        "header": column.header,
        "field": column.path,
        "tolerance": column.tolerance,
        "unit": column.unit or None,
        "by": column.how,
        "first": column.first,
    }


def _faults(problems: Sequence[Problem]) -> list[dict[str, Any]]:
    names = ("file", "line", "part", "field", "read", "message", "suggestion")
    return [{name: getattr(problem, name) for name in names} for problem in problems]


def _rows(found: Understood) -> tuple[Sequence[str], list[dict[str, Any]]]:
    rows: list[dict[str, Any]] = [
        {
            "what": "column",
            "header": each.header,
            "field": _field(each.path, each.tolerance),
            "unit": each.unit,
            "text": "; ".join(each.first),
        }
        for each in found.columns
    ]
    rows += [{"what": "left_out", "header": header, "text": why} for header, why in found.left_out]
    rows += [{"what": "read_as", "text": each} for each in found.notes]
    rows += [{"what": "part", "field": "id", "text": part.id} for part, _ in found.parts]
    rows += [{"what": "fault", "line": each.line, "text": str(each)} for each in found.problems]
    return ("what", "header", "field", "unit", "line", "text"), rows


def _field(path: str, tolerance: bool) -> str:
    return f"{path} ±" if tolerance else path


def _report(found: Understood, folder: str, written: bool) -> Report:
    count = len(found.parts)
    pieces = "one part" if count == 1 else f"{count} parts"
    what = "added to" if written else "understood, for"
    report: Report = [Title(f"{found.file}: {pieces} {what} {folder}", 1)]
    if found.kinds:
        report.append(Paragraph(f"Kind: {', '.join(words(KINDS[each].plural) for each in found.kinds)}."))
    if found.notes:
        report.append(Items("Read as", tuple(map(printable, found.notes))))
    report += _columns(found)
    if found.parts and not found.problems:
        ids = [part.id for part, _ in found.parts]
        more = f" and {len(ids) - _MOST_IDS} more" if len(ids) > _MOST_IDS else ""
        report.append(Paragraph(f"Parts: {', '.join(ids[:_MOST_IDS])}{more}."))
        where = tuple(f"{path}: {len(parts)}" for path, parts in found.targets.items())
        report.append(Items("Written to" if written else "They go to", where, whole=True))
    return report


def _columns(found: Understood | UnderstoodReadings) -> Report:
    report: Report = []
    if found.columns:
        columns = (
            Column("header", wraps=True),
            Column("field"),
            Column("unit"),
            Column("first values", wraps=True),
            Column("known by"),
        )
        rows = tuple(
            (
                printable(each.header),
                _field(each.path, each.tolerance),
                printable(each.unit),
                printable("; ".join(each.first)),
                _HOW[each.how],
            )
            for each in found.columns
        )
        report.append(Table(columns, rows, "Taken over").without_empty())
    if found.left_out:
        report.append(Items("Not taken over", tuple(printable(f"{header}: {why}") for header, why in found.left_out)))
    return report


def write_understood_readings(found: UnderstoodReadings, written: bool, form: str) -> str:
    """Write what was understood of a degree wheel's sheet, in one of the formats."""
    readings = found.readings
    if form == "json":
        return dumped(
            {
                "file": found.file,
                "cam": found.cam,
                "valve": found.valve,
                "read_as": found.notes,
                "columns": [_column_data(each) for each in found.columns],
                "left_out": [{"header": header, "why": why} for header, why in found.left_out],
                "readings": len(readings.lifts) if readings else None,
                "lobe_lift_mm": 1000 * max(readings.lifts) if readings else None,
                "nose_deg": found.nose if readings else None,
                "into": str(found.target) if readings else None,
                "faults": _faults(found.problems),
                "written": written,
            }
        )
    if form == "csv":
        angles, lifts = (readings.angles, readings.lifts) if readings else ((), ())
        rows = [{"angle_deg": math.degrees(a), "lift_mm": 1000 * b} for a, b in zip(angles, lifts, strict=True)]
        return csv_text((("angle_deg", "lift_mm"), rows))
    from kitwright.cli.report import laid_out

    count = len(readings.lifts) if readings else 0
    what = "added to" if written else "understood, for"
    report: Report = [Title(f"{found.file}: {count} readings {what} {found.cam}, {found.valve}", 1)]
    if found.notes:
        report.append(Items("Read as", tuple(map(printable, found.notes))))
    report += _columns(found)
    if readings:
        first, last = (math.degrees(readings.angles[place]) for place in (0, -1))
        side = "after" if found.nose >= 0 else "before"
        greatest = f"The greatest lift, {1000 * max(readings.lifts):.4g} mm, stands {abs(found.nose):.1f}°"
        span = f"From {first:g}° to {last:g}° of the crank."
        report.append(Paragraph(f"{span} {greatest} {side} the overlap's top dead centre."))
        where = f"{found.target}, and its name in {found.cam} as `{found.valve}_readings`"
        report.append(Items("Written to" if written else "They go to", (where,), whole=True))
    return laid_out(report, form)
