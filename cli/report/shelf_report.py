"""Reports on the catalogue: what it holds, what is wrong with it, what is taken as exact."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from kitwright.cli.report.blocks import Column, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.numbers import money
from kitwright.cli.report.words import words
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.fields import flag_alone, specs
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.quantity import Quantity
from kitwright.solver.swap import is_dimension

_COMMON = ("id", "name", "price", "on_shelf", "fits", "note")

_GROUPS = {
    "mill": "up to {max} by {step}",
    "deck_cut": "up to {max} by {step}",
    "relieve": "up to {max} by {step}",
    "top_land": "{height} high, {clearance} clear",
    "intake_duration_at": "{duration} at {lift}",
    "exhaust_duration_at": "{duration} at {lift}",
    "cut_to": "{min} to {max}",
    "adjuster": "{shorter} shorter, {longer} longer",
}
"""Nested fields, as they stand in one cell."""

_MOST_IDS = 8


# list


def list_report(parts: Sequence[Part], folder: str) -> Report:
    """Write the parts, a table a kind, with the columns that the kind has anything in."""
    count = "one part" if len(parts) == 1 else f"{len(parts)} parts"
    report: Report = [Title(f"{folder}: {count}", 1)]
    for kind, cls in KINDS.items():
        held = [part for part in parts if part.kind == kind]
        if held:
            report.append(_kind_table(words(cls.plural), held))
    return report


def _kind_table(title: str, parts: Sequence[Part]) -> Table:
    own = [name for name in specs(type(parts[0])) if name not in _COMMON]
    cells: dict[Column, list[str]] = {Column("id"): [part.id for part in parts]}
    cells[Column("shelf", "right", "money")] = [str(part.on_shelf) for part in parts]
    prices = [money(part.price) if part.price is not None else "" for part in parts]
    cells[Column("price", "right", "money")] = prices
    for name in own:
        texts = [field_text(part, name) for part in parts]
        if any(texts):
            cells[Column(words(name), wraps=True)] = texts
    extra = {"fits": [", ".join(part.fits) for part in parts], "name": [part.name or "" for part in parts]}
    extra["note"] = [part.note or "" for part in parts]
    for name, texts in extra.items():
        if any(texts):
            cells[Column(name, wraps=True, group="words")] = texts
    return Table(tuple(cells), tuple(zip(*cells.values(), strict=True)), title)


def field_text(part: Part, name: str) -> str:
    """Write a field as it is written in the catalogue; empty where it is not given."""
    value = getattr(part, name)
    spec = specs(type(part))[name]
    if value is None or value == ():
        return ""
    if name == "rebore":
        return ", ".join(map(str, value.to)) + _labour(value)
    if (flag := flag_alone(value)) is not None:
        return "yes" if flag else "no"
    if spec.or_flag:
        known = ((words(each), getattr(value, each)) for each in specs(type(value)))
        return ", ".join(f"{said} {each}" for said, each in known if each is not None)
    if spec.group is not None:
        inner = {each: str(getattr(value, each)) for each in specs(spec.group)}
        return _GROUPS[name].format(**inner) + _labour(value)
    if isinstance(value, tuple):
        return ", ".join(map(str, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _labour(value: Any) -> str:
    labour = getattr(value, "labour", 0.0)
    return f", labour {money(labour)}" if labour else ""


def part_data(part: Part) -> dict[str, Any]:
    """Write a part for JSON: each dimension with its value, unit and ± as numbers, and as it is written."""
    data: dict[str, Any] = {"kind": part.kind, "id": part.id, "name": part.name, "price": part.price}
    data |= {"on_shelf": part.on_shelf, "fits": list(part.fits), "note": part.note}
    for name in specs(type(part)):
        if name not in _COMMON and getattr(part, name) is not None:
            data[name] = _value(getattr(part, name))
    return data


def _value(value: Any) -> Any:
    if isinstance(value, Quantity):
        unit = value.dimension.likely[0] if value.dimension.likely else ""
        number = value.to(unit)
        return {
            "value": number,
            "unit": unit,
            "tolerance": value.tolerance_in(unit) if value.stated else None,
            "text": str(value),
        }
    if isinstance(value, tuple):
        return [_value(each) for each in value]
    if (flag := flag_alone(value)) is not None:
        return flag
    if hasattr(value, "__dataclass_fields__"):
        return {name: _value(getattr(value, name)) for name in specs(type(value))}
    return value


def part_rows(parts: Iterable[Part]) -> tuple[list[str], list[Mapping[str, Any]]]:
    """One row a part for CSV: every field that any of them has, as it is written, nested ones dotted."""
    rows: list[Mapping[str, Any]] = []
    used: dict[str, None] = {}
    for part in parts:
        row: dict[str, Any] = {"kind": part.kind, "id": part.id, "name": part.name, "price": part.price}
        row |= {"on_shelf": part.on_shelf, "fits": " ".join(part.fits), "note": part.note}
        for name, spec in specs(type(part)).items():
            value = getattr(part, name)
            if name in _COMMON or value is None or value == ():
                continue
            if spec.group is None:
                row[name] = " ".join(value) if isinstance(value, tuple) else _plain(value)
                continue
            if spec.or_flag:
                row[name] = value.fitted
            for inner in specs(spec.group):
                each = getattr(value, inner)
                if each is None:
                    continue
                row[f"{name}.{inner}"] = "; ".join(map(str, each)) if isinstance(each, tuple) else _plain(each)
        used |= dict.fromkeys(row)
        rows.append(row)
    return list(used) or ["kind", "id"], rows


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, Quantity) else value


# check


def faults_report(faults: Sequence[str], folder: str) -> Report:
    """Write what is wrong with a catalogue."""
    count = "one fault" if len(faults) == 1 else f"{len(faults)} faults"
    return [Title(f"{folder}: {count}", 1), Items("", tuple(faults), whole=True)]


def sound_report(catalogue: Catalogue) -> Report:
    """Write a catalogue without a fault: what it holds, what looks odd, what is taken as exact."""
    report: Report = [Title(f"{catalogue.folder}: {len(catalogue)} parts, no fault", 1)]
    if catalogue.warnings:
        count = len(catalogue.warnings)
        title = "One thing looks odd" if count == 1 else f"{count} things look odd"
        report.append(Items(title, catalogue.warnings, whole=True))
    rows = []
    for kind in catalogue.kinds:
        parts = catalogue.of_kind(kind)
        shelf = sum(part.on_shelf > 0 for part in parts)
        priceless = sum(part.price is None and part.on_shelf < 1 for part in parts)
        rows.append((words(KINDS[kind].plural), str(len(parts)), str(shelf), str(priceless or "")))
    columns = (
        Column("kind"),
        Column("parts", "right"),
        Column("on the shelf", "right"),
        Column("to buy, no price", "right"),
    )
    report.append(Table(columns, tuple(rows)).without_empty())
    absent = [words(cls.plural) for kind, cls in KINDS.items() if kind not in catalogue.kinds]
    if absent:
        report.append(Paragraph(f"None of: {', '.join(absent)}."))
    exact = exact_lines(catalogue)
    if exact:
        report.append(Items("Taken as exact, because no ± is given", tuple(exact)))
    return report


def exact_fields(parts: Iterable[Part]) -> list[tuple[str, str, str]]:
    """Dimensions without a ±: part, field, as it is written."""
    return [
        (part.id, name, str(value))
        for part in parts
        for name, value in part.quantities()
        if not value.stated and is_dimension(name)
    ]


def exact_lines(catalogue: Catalogue) -> list[str]:
    """Write the same, a line a kind: which fields, of which parts."""
    lines = []
    for kind in catalogue.kinds:
        parts = catalogue.of_kind(kind)
        having: dict[str, list[str]] = {}
        for part, name, _ in exact_fields(parts):
            having.setdefault(name, []).append(part)
        grouped: dict[tuple[str, ...], list[str]] = {}
        for name, ids in having.items():
            grouped.setdefault(tuple(ids), []).append(words(name).replace(".", " "))
        phrases = []
        for where_all, names in grouped.items():
            every = len(where_all) == len(parts) > 1
            where = "all" if every else _some(where_all)
            phrases.append(f"{', '.join(names)} ({where})")
        if phrases:
            lines.append(f"{words(KINDS[kind].plural)}: {'; '.join(phrases)}")
    return lines


def _some(ids: Sequence[str]) -> str:
    more = f" and {len(ids) - _MOST_IDS} more" if len(ids) > _MOST_IDS else ""
    return f"{', '.join(ids[:_MOST_IDS])}{more}"
