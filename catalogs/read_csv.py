"""CSV to rows: one kind in a file, fields and their units in the header.

A cell is what stands in YAML after the colon; where it carries no unit of its own, the header's unit is added
to the text. Nested fields are written ``mill.max [mm]``. Lines above the header that begin with ``#`` are
remarks. What spreadsheets do to a file (semicolons, decimal commas, cells too many) is named and never worked
around.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from kitwright.catalogs.csv_lines import HEADER, SPREAD, numbered_rows, separated, uneven, with_unit
from kitwright.catalogs.nodes import Listing, Row, Scalar, Table, put_at
from kitwright.catalogs.problems import Problem, clip, did_you_mean
from kitwright.catalogs.read_yaml import read_text
from kitwright.catalogs.rows import specs_of
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS, PLURALS
from kitwright.solver.quantity import BARE, QuantityError, unit_factor


@dataclass(frozen=True, slots=True)
class _Column:
    """A column that holds a field: its path (``mill``, ``max``) and the header's unit."""

    index: int
    path: tuple[str, ...]
    unit: str

    @property
    def name(self) -> str:
        return ".".join(self.path)


def read_csv(path: Path, problems: list[Problem], kind: str | None = None) -> Iterator[Row]:
    """Read the parts of a CSV file; what is at fault is added to ``problems``.

    Args:
        path: the file.
        problems: takes what is at fault.
        kind: kind of part in the singular; by default the file's name or a column ``kind`` says it.

    """
    text = read_text(path, problems)
    if text is not None:
        yield from parse_csv(text, str(path), problems, kind or kind_of_name(path.stem))


def kind_of_name(name: str) -> str | None:
    """Kind in the singular of ``cranks``, ``crank`` or ``Cranks``.

    >>> kind_of_name("cranks"), kind_of_name("wheels")
    ('crank', None)
    """
    word = name.strip().lower().replace(" ", "_").replace("-", "_")
    return PLURALS.get(word) or (word if word in KINDS else None)


def parse_csv(text: str, name: str, problems: list[Problem], kind: str | None) -> Iterator[Row]:
    """As :func:`read_csv`, from text; ``name`` is the file in messages."""
    lines = numbered_rows(text, name, problems)
    header_line, header = next(lines, (1, []))
    if not header:
        if not problems or problems[-1].file != name:
            problems.append(Problem("the file is empty", "its first line names the fields", name, 1))
        return
    if not separated(header, header_line, name, problems):
        return
    words = [cell.strip() for cell in header]
    kind_at = next((index for index, word in enumerate(words) if word.lower() == "kind"), None)
    if kind_at is None and kind is None:
        suggestion = f"name the file `cranks.csv`, say, or add a column `kind` ({', '.join(PLURALS)})"
        problems.append(Problem("nothing says which kind of part the file holds", suggestion, name, header_line))
        return
    before = len(problems)
    columns = list(_columns(words, kind_at, kind if kind_at is None else None, header_line, name, problems))
    if len(problems) > before:
        return
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(words):
            problems.append(uneven(cells, words, line, name))
            continue
        row = _row(cells, columns, kind_at, kind, line, name, problems)
        if row is not None:
            yield row


def _columns(
    words: list[str], kind_at: int | None, kind: str | None, line: int, name: str, problems: list[Problem]
) -> Iterator[_Column]:
    """Columns that hold a field of ``kind`` (of any kind where that is None)."""
    seen: set[str] = set()
    known = _paths(kind)
    for index, word in enumerate(words):
        if index == kind_at or not word:
            continue
        match = HEADER.match(word)
        field, unit = (match["name"].strip(), match["unit"]) if match else (word, None)
        specs = known.get(field)
        if not specs:
            suggestion = _meant(field, unit, known)
            owner = KINDS[kind].plural if kind else "any kind of part"
            problems.append(Problem(f"column `{clip(word)}` is no field of {owner}", suggestion, name, line))
        elif field in seen:
            problems.append(Problem(f"two columns are called `{field}`", "delete one of the two", name, line))
        elif unit is not None and (wrong := _wrong_unit(field, unit, specs)):
            problems.append(Problem(f"column `{clip(word)}`: {wrong[0]}", wrong[1], name, line, field=field))
        else:
            yield _Column(index, tuple(field.split(".")), unit or "")
        seen.add(field)


def _paths(kind: str | None) -> dict[str, list[FieldSpec]]:
    """Dotted name to specification, over one kind or all."""
    found: dict[str, list[FieldSpec]] = {}
    for each in [kind] if kind else KINDS:
        for name, spec in specs_of(KINDS[each]).items():
            if spec.group is None or spec.or_flag:
                found.setdefault(name, []).append(replace(spec, form="flag", group=None) if spec.or_flag else spec)
            if spec.group is not None:
                for inner, inner_spec in specs_of(spec.group).items():
                    found.setdefault(f"{name}.{inner}", []).append(inner_spec)
    return found


def _wrong_unit(field: str, unit: str, specs: list[FieldSpec]) -> tuple[str, str] | None:
    dimensions = {spec.dimension for spec in specs}
    wrong = None
    for dimension in dimensions:
        if dimension is None or dimension in BARE:
            wrong = f"`{field}` has no unit", f"call the column `{field}`"
            continue
        try:
            unit_factor(unit, dimension)
        except QuantityError as error:
            if unit not in ("degC", "degF"):
                wrong = error.problem.replace(unit, clip(unit)), error.suggestion
        else:
            return None
    return wrong


def _meant(field: str, unit: str | None, known: dict[str, list[FieldSpec]]) -> str:
    nested = [path for path in known if path.startswith(f"{field}.")]
    bracket = f" [{unit}]" if unit else ""
    if SPREAD.search(field) and (of := SPREAD.sub("", field).strip()) in known:
        column = f"`{of}{bracket}`: `57.00 ± 0.05`"
        return f"a ± stands with its value, in column {column}; `kitwright shelf import` joins the two"
    if nested:
        return f"its parts are columns of their own: {', '.join(nested)}"
    loose = re.match(r"^(.*?)[\s_(]+([A-Za-z/0-9]+)\)?$", field)
    if loose and loose[1].strip() in known:
        return f"a unit stands in square brackets: `{loose[1].strip()} [{loose[2]}]`?"
    suggestion = did_you_mean(field, known, "fields")
    return suggestion.replace("`?", f"{bracket}`?") if suggestion.startswith("did") else suggestion


def _row(
    cells: list[str],
    columns: list[_Column],
    kind_at: int | None,
    kind: str | None,
    line: int,
    name: str,
    problems: list[Problem],
) -> Row | None:
    if kind_at is not None:
        word = cells[kind_at].strip()
        kind = kind_of_name(word)
        if kind is None:
            message = f"`{clip(word)}` is no kind of part" if word else "the kind is empty"
            problems.append(Problem(message, did_you_mean(word, PLURALS, "kinds"), name, line))
            return None
    assert kind is not None
    covered = {column.index for column in columns} | {kind_at}
    for index, cell in enumerate(cells):
        if index not in covered and cell.strip():
            message = f"`{clip(cell.strip())}` stands in a column without a name"
            problems.append(Problem(message, "name the column in the first line", name, line))
            return None
    table = Table({}, name, line)
    specs = fields_of(kind)
    for column in columns:
        text = cells[column.index].strip()
        if text:
            put_at(table, column.path, _cell(text, column, specs.get(column.name), name, line))
    return Row(kind, table)


_PATHS: dict[str, dict[str, FieldSpec]] = {}


def fields_of(kind: str) -> dict[str, FieldSpec]:
    """Dotted name of every field of a kind to its specification.

    >>> list(fields_of("crank"))[6:8], "mill.max" in fields_of("head")
    (['stroke', 'journal'], True)
    """
    if kind not in _PATHS:
        _PATHS[kind] = {path: specs[0] for path, specs in _paths(kind).items()}
    return _PATHS[kind]


def _cell(text: str, column: _Column, spec: FieldSpec | None, name: str, line: int) -> Scalar | Listing:
    if spec is not None and spec.form == "tags":
        words = [word for word in re.split(r"[\s;]+", text) if word]
        return Listing([Scalar(word, name, line, True) for word in words], name, line)
    if spec is not None and spec.form == "quantities":
        texts = [each.strip() for each in text.split(";") if each.strip()]
        return Listing([Scalar(with_unit(each, column.unit), name, line, True) for each in texts], name, line)
    return Scalar(with_unit(text, column.unit), name, line, True)
