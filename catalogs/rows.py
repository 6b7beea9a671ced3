"""A row as it was read to a part: every fault of the row is collected, none stops the reading."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kitwright.catalogs.nodes import BESIDE, Listing, Node, Row, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.problems import Problem, clip, did_you_mean, nearest
from kitwright.catalogs.read_degree_wheel import read_readings
from kitwright.catalogs.values import (
    Complain,
    read_choice,
    read_count,
    read_flag,
    read_line,
    read_money,
    read_quantity,
    read_words,
)
from kitwright.solver.faults import faults_of
from kitwright.solver.fields import FieldSpec, specs
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.quantity import Quantity

LONGEST_ID = 80


_SPECS: dict[type[Any], dict[str, FieldSpec]] = {}


def specs_of(owner: type[Any]) -> dict[str, FieldSpec]:
    """Look the fields of a kind of part or of a nested group up, once."""
    if owner not in _SPECS:
        _SPECS[owner] = specs(owner)
    return _SPECS[owner]


def build(row: Row, problems: list[Problem]) -> Part | None:
    """Make the part that a row describes; None where it has a fault, which is then in ``problems``."""
    cls = KINDS[row.kind]
    before = len(problems)
    part_id = _read_id(row, problems)
    values = _read_fields(row.table, specs_of(cls), row.kind, part_id, "", problems)
    if len(problems) > before:
        return None
    part = cls(**values, origin=_origin(row.table))
    problems.extend(part_faults(part, row.table))
    return part if len(problems) == before else None


def id_of(row: Row) -> str:
    """Find the id of a row, or nothing."""
    node = row.table.entries.get("id")
    return node.text.strip() if isinstance(node, Scalar) and not node.absent else ""


def part_faults(part: Part, table: Table | None = None) -> Iterable[Problem]:
    """Find what is impossible between the fields of one part, at the field's place where that is known."""
    for name, message, suggestion in faults_of(part):
        origin = part.origin
        file, line = (origin.file, origin.line) if origin else ("", 0)
        if table is not None:
            file, line = table.place(name)
        yield Problem(message, suggestion, file, line, part.id, name)


def _origin(table: Table) -> Any:
    return Scalar("", table.file, table.line).origin


def _read_id(row: Row, problems: list[Problem]) -> str:
    node = row.table.entries.get("id")
    if node is None or is_absent(node):
        message = f"a {row.kind.replace('_', ' ')} without an id"
        problems.append(Problem(message, "give it an `id` that no other part has", row.table.file, row.table.line))
        return ""
    if not isinstance(node, Scalar):
        problems.append(fault(node, f"the id is {in_words(node)}", "an id is one word"))
        return ""
    text, what, hint = node.text, "", "an id is letters, digits and hyphens"
    if not text.strip():
        what = "the id is empty"
    elif text != text.strip():
        what, hint = f"the id `{clip(text)}` begins or ends with a space", f"`{clip(text.strip())}`?"
    elif not text.isprintable():
        what = f"the id `{clip(text)}` holds a character that cannot be seen"
    elif len(text) > LONGEST_ID:
        what, hint = (
            f"the id `{clip(text)}` has {len(text)} characters",
            f"at most {LONGEST_ID}; `name` takes the rest",
        )
    if what:
        problems.append(fault(node, what, hint, name="id"))
    return text.strip()


def _read_fields(
    table: Table, known: dict[str, FieldSpec], kind: str, part: str, prefix: str, problems: list[Problem]
) -> dict[str, Any]:
    """Values of a row or of a nested group, by field; what is at fault is left out."""
    values: dict[str, Any] = {}
    meant: set[str] = set()
    for key, node in table.entries.items():
        name = f"{prefix}{key}"
        spec = known.get(key)
        if spec is None:
            file, line = table.place(key)
            meant.add(nearest(key, known))
            problems.append(Problem(*_unknown(key, known, kind, prefix), file, line, part, name))
        elif not is_absent(node):
            value = _read(node, spec, kind, part, name, problems)
            if value is not None:
                values[key] = value
    for name, spec in known.items():
        if spec.required and is_absent(table.entries.get(name)) and name not in meant and name != "id":
            message, suggestion = _missing(name, spec, table)
            problems.append(Problem(message, suggestion, table.file, table.line, part, f"{prefix}{name}"))
    return values


def _read(node: Node, spec: FieldSpec, kind: str, part: str, name: str, problems: list[Problem]) -> Any:
    def complain(at: Node, message: str, suggestion: str) -> None:
        problems.append(fault(at, message, suggestion, part, name))

    match spec.form:
        case "quantity":
            return read_quantity(node, spec, complain, kind, name)
        case "count":
            return read_count(node, spec, complain)
        case "money":
            return read_money(node, spec, complain)
        case "flag":
            return read_flag(node, complain)
        case "choice":
            return read_choice(node, spec, complain)
        case "tags":
            return read_words(node, complain, spec.choices)
        case "text":
            text = read_line(node, complain)
            return " ".join(text.split()) if text is not None and spec.name != "note" else text
        case "quantities":
            return _read_several(node, spec, complain, kind, name)
        case "readings":
            return read_readings(node, name.partition("_")[0], part, name, problems)
        case "group":
            return _read_group(node, spec, kind, part, name, problems)


def _read_several(node: Node, spec: FieldSpec, complain: Complain, kind: str, name: str) -> tuple[Quantity, ...] | None:
    items = node.items if isinstance(node, Listing) else [node]
    if not items:
        complain(node, "the list is empty", "name at least one value, or leave the field out")
    values = [read_quantity(item, spec, complain, kind, name) for item in items]
    found = tuple(value for value in values if value is not None)
    sizes = [value.exact for value in found]
    if len(set(sizes)) < len(sizes):
        complain(node, "one value stands twice in the list", "delete one of the two")
    return found if len(found) == len(items) else None


def _read_group(node: Node, spec: FieldSpec, kind: str, part: str, name: str, problems: list[Problem]) -> Any:
    assert spec.group is not None
    known = specs_of(spec.group)
    if spec.or_flag and not isinstance(node, Table):

        def complain(at: Node, message: str, _: str) -> None:
            problems.append(fault(at, message, _or_group(name, known), part, name))

        fitted = read_flag(node, complain)
        return None if fitted is None else spec.group(fitted=fitted)
    beside = node.entries.pop(BESIDE, None) if isinstance(node, Table) else None
    if beside is not None:
        problems.append(
            fault(
                beside,
                f"{in_words(beside)} was read, and `{name}` has fields of its own",
                _or_group(name, known),
                part,
                name,
            )
        )
        return None
    if not isinstance(node, Table):
        keys = ", ".join(f"{key}: …" for key, each in known.items() if each.required)
        message = f"{in_words(node)} was read, and `{name}` has fields of its own"
        problems.append(fault(node, message, f"write `{name}: {{{keys}}}`", part, name))
        return None
    before = len(problems)
    values = _read_fields(node, known, kind, part, f"{name}.", problems)
    return spec.group(**values) if len(problems) == before else None


def _or_group(name: str, known: dict[str, FieldSpec]) -> str:
    keys = ", ".join(f"{key}: …" for key in known)
    return f"write `true`, `false`, or what is known of it: `{name}: {{{keys}}}`"


def _unknown(key: str, known: dict[str, FieldSpec], kind: str, prefix: str) -> tuple[str, str]:
    owner = prefix.rstrip(".") or KINDS[kind].plural
    message = f"`{clip(key)}` is no field of {owner}"
    group = known.get(key.partition(".")[0])
    if "." in key and group is not None and group.group is not None:
        return message, f"nest it: `{group.name}: {{{key.partition('.')[2]}: …}}`"
    if not nearest(key, known):
        for name, spec in known.items():
            if spec.group is not None and nearest(key, specs_of(spec.group)) == key:
                return message, f"did you mean `{name}: {{{key}: …}}`?"
    return message, did_you_mean(key, known, "fields")


def _missing(name: str, spec: FieldSpec, table: Table) -> tuple[str, str]:
    free = table.entries.get("free_thickness")
    if name == "thickness" and isinstance(free, Scalar) and not free.absent:
        return (
            f"only the free thickness is known ({clip(free.text)})",
            "measure the compressed thickness and write it as `thickness`; it is less than the free one",
        )
    unit = f": `{name}: … {spec.dimension.likely[0]}`" if spec.dimension and spec.dimension.likely else ""
    return f"`{name}` is missing ({spec.meaning})", f"measure it, or take it from the maker's sheet{unit}"
