"""A builder's own spreadsheet to parts: what was understood of it, all that is at fault, and nothing written yet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from kitwright.catalogs.csv_lines import with_unit
from kitwright.catalogs.decimals import Decimals, NumberError, has_decimal_comma
from kitwright.catalogs.edit_yaml import Value
from kitwright.catalogs.headers import KIND, HeaderError, How, Match, kind_in, mapped, match_header, why_not
from kitwright.catalogs.nodes import Listing, Row, Scalar, Table, is_absent, plain, put_at
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_csv import fields_of, kind_of_name
from kitwright.catalogs.rows import build
from kitwright.catalogs.sheet import Sheet, read_sheet
from kitwright.catalogs.stock import add_read, file_of
from kitwright.catalogs.values import read_quantity
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS, PLURALS, Part
from kitwright.solver.quantity import BARE, QuantityError, parse

_GUARDED = re.compile(r"(^|[;|\t]\s*)'(?='*[=+\-@＝＋－＠])")
"""An apostrophe that `--format csv` puts before what a spreadsheet would run, at the start or behind a separator."""

_SPREADSHEET_ERROR = re.compile(r"#(?:[A-Z/0]+[!?]|N/A|NV|#+)")
_NO_UNIT = re.compile(r"[\s\d.,/+−±-]+")
_WHOLE_AS_DECIMAL = re.compile(r"(\+?\d{1,9})[.,]0+")
_FLAGS = {"1": "true", "0": "false", "wahr": "true", "falsch": "false", "ja": "true", "nein": "false"}
"""What spreadsheets make of true and false."""

_SHOWN = 3
_NUMBERS = ("quantity", "quantities", "money")
"""Forms of field whose text has decimals."""

Decimal = Literal["comma", "point"]


@dataclass(slots=True)
class Column:
    """A column that is taken over: header, field, unit, how it was found, and its first values as they were read."""

    index: int
    header: str
    path: str
    unit: str
    how: How
    tolerance: bool = False
    first: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Understood:
    """What was understood of a sheet; ``problems`` is empty where it can be written."""

    file: str
    kinds: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)
    columns: list[Column] = field(default_factory=list)
    left_out: list[tuple[str, str]] = field(default_factory=list)
    parts: list[tuple[Part, Mapping[str, Value]]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    targets: dict[Path, list[tuple[Part, Mapping[str, Value]]]] = field(default_factory=dict)


def understand(
    path: Path,
    catalogue: Catalogue,
    kind: str | None = None,
    maps: Mapping[str, str] | None = None,
    encoding: str | None = None,
    decimal: Decimal | None = None,
) -> Understood:
    """Read a sheet as parts of a catalogue; nothing is raised for what stands in it, and nothing is written.

    Args:
        path: the CSV file.
        catalogue: what it is to be added to.
        kind: kind of part in the singular; by default a column ``kind`` or the file's name says it.
        maps: header to field (with a unit in brackets, if the header has none), or to nothing: left out.
        encoding: the file's; found out unless given.
        decimal: what a comma between digits is; found out unless given, and a fault where it could be either.

    """
    found = Understood(str(path))
    sheet = read_sheet(path, found.problems, encoding)
    if sheet is None:
        return found
    found.notes += sheet.notes
    matches = _Headers(sheet, dict(maps or {}), found)
    kind_at = matches.kind_column(kind)
    stem = kind_of_name(path.stem)
    if stem is None and kind is None and kind_at is None and (named := kind_in(path.stem)):
        stem, word = named
        found.notes.append(f"kind {stem}, by `{word}` in the file's name")
    found.kinds = _kinds(sheet, kind_at, kind or stem, found.problems)
    if not found.kinds:
        return found
    fields = {path: spec for each in found.kinds for path, spec in fields_of(each).items()}
    found.columns = list(matches.columns(fields, kind_at))
    if not any(each.path == "id" for each in found.columns):
        hint = f'name the column that tells them apart: `--map "{_tells_apart(sheet, found)}=id"`'
        found.problems.append(Problem("no column is the `id`", hint, found.file, sheet.line))
        return found
    rows = _Rows(sheet, found, fields, kind_at, kind if kind_at is not None else None, decimal)
    rows.read()
    _ids(found, rows.ids, catalogue)
    if not found.parts and not found.problems:
        found.problems.append(Problem("the file holds no part", "a row each, below the header", found.file))
    found.problems.sort(key=lambda each: each.line)
    for part, values in found.parts:
        found.targets.setdefault(file_of(catalogue, part.kind), []).append((part, values))
    return found


def _tells_apart(sheet: Sheet, found: Understood) -> str:
    """Header of a column with a value of its own in every row: one that is not taken over, or else the name's."""
    taken = {each.index: each.path for each in found.columns}
    for free in (True, False):
        for number, header in enumerate(sheet.header):
            cells = [cells[number] for _, cells in sheet.rows]
            mine = number not in taken if free else taken.get(number) == "name"
            if header and mine and cells and all(cells) and len(set(cells)) == len(cells):
                return header
    return "Their header"


def write(found: Understood, catalogue: Catalogue, note: str = "") -> None:
    """Write what was understood into the catalogue, all or nothing.

    Raises:
        InputError: it is at fault, or cannot be written; nothing was changed.

    """
    if found.problems:
        raise InputError(found.problems)
    add_read(catalogue, found.targets, note or f"import of {Path(found.file).name}")


# headers


class _Headers:
    """The header against ``--map`` and the fields."""

    def __init__(self, sheet: Sheet, maps: dict[str, str], found: Understood) -> None:
        self.sheet, self.found = sheet, found
        self.maps: dict[int, str] = {}
        for word, target in maps.items():
            places = [number for number, each in enumerate(sheet.header) if each == word.strip()]
            places = places or [
                number for number, each in enumerate(sheet.header) if each.casefold() == word.strip().casefold()
            ]
            if len(places) == 1:
                self.maps[places[0]] = target
                continue
            headers = [each for each in sheet.header if each]
            hint = "rename one of them in the file" if places else did_you_mean(word, headers, "headers")
            message = f"{len(places)} columns are called so" if places else "no column is called so"
            self._complain(message, hint, f'--map "{word}={target}"', 0)

    def _complain(self, message: str, hint: str, file: str = "", line: int = -1) -> None:
        where = self.sheet.line if line < 0 else line
        self.found.problems.append(Problem(message, hint, file or self.sheet.file, where))

    def kind_column(self, kind: str | None) -> int | None:
        """Place of the column that says the kind."""
        named = [number for number, target in self.maps.items() if target.strip() == KIND]
        named = named or [
            number
            for number, each in enumerate(self.sheet.header)
            if each.casefold() == KIND and number not in self.maps
        ]
        return named[0] if named else None

    def columns(self, fields: Mapping[str, FieldSpec], kind_at: int | None) -> Iterator[Column]:
        """Columns that are taken over; the others go to ``left_out`` or are faults."""
        taken: dict[str, str] = {}
        currencies: set[str] = set()
        for number, header in enumerate(self.sheet.header):
            if number == kind_at:
                continue
            match = self._match(number, header, fields)
            if match is None:
                continue
            key = match.path + (" ±" if match.tolerance else "")
            if key in taken:
                hint = f'leave one out: `--map "{header}="`'
                self._complain(f"columns `{clip(taken[key])}` and `{clip(header)}` are both `{key}`", hint)
                continue
            taken[key] = header
            if match.currency:
                currencies.add(match.currency)
                self.found.notes.append(f"`{header}` is in {match.currency}; money is kept as a bare number")
            yield Column(number, header, match.path, match.unit, match.how, match.tolerance)
        if len(currencies) > 1:
            self._complain("the prices are in several currencies", "write them in one")
        for key in taken:
            if key.endswith(" ±") and key[:-2] not in taken:
                self._complain(f"`{clip(taken[key])}` is a ± of `{key[:-2]}`, and no column is that", "add the column")

    def _match(self, number: int, header: str, fields: Mapping[str, FieldSpec]) -> Match | None:
        try:
            if number in self.maps:
                match = mapped(header, self.maps[number], fields)
                if match is None:
                    self.found.left_out.append((header, "left out by --map"))
                    return None
            elif not header:
                if any(cells[number] for _, cells in self.sheet.rows):
                    self.found.left_out.append(("(no header)", "a column without a name"))
                return None
            else:
                match = match_header(header, fields, self.found.kinds)
        except HeaderError as error:
            self._complain(error.problem, error.suggestion)
            return None
        if match is None:
            near = did_you_mean(header, fields)
            hint = f"; {near}" if near.startswith("did") else ""
            self.found.left_out.append((clip(header), why_not(header) + hint))
        elif match.path == KIND:
            self.found.left_out.append((header, "another column says the kind"))
            return None
        elif fields[match.path].form == "readings":
            self.found.left_out.append((header, "readings are a file beside the catalogue: write its name in by hand"))
            return None
        return match


def _kinds(sheet: Sheet, kind_at: int | None, kind: str | None, problems: list[Problem]) -> tuple[str, ...]:
    """Kinds of part that the sheet holds, in the order of the catalogue's table."""
    if kind_at is None:
        if kind is None:
            hint = f"say it: `--kind KIND` ({', '.join(KINDS)})"
            problems.append(Problem("nothing says which kind of part the file holds", hint, sheet.file))
        return (kind,) if kind else ()
    words = {kind_of_name(cells[kind_at]) for _, cells in sheet.rows}
    found = tuple(each for each in KINDS if each in words)
    if not found:
        hint = f"kinds: {', '.join(PLURALS)}"
        problems.append(
            Problem(f"column `{sheet.header[kind_at]}` names no kind of part", hint, sheet.file, sheet.line)
        )
    return found


# rows


class _Rows:
    """Rows to parts."""

    def __init__(
        self,
        sheet: Sheet,
        found: Understood,
        fields: Mapping[str, FieldSpec],
        kind_at: int | None,
        only: str | None,
        decimal: Decimal | None,
    ) -> None:
        self.sheet, self.found, self.fields = sheet, found, fields
        self.kind_at, self.only = kind_at, only
        self.bare: dict[str, dict[int, str]] = {}
        """Field to the cells without a unit, by line."""
        numbers = [each.index for each in found.columns if fields[each.path].form in _NUMBERS]
        comma = any(has_decimal_comma(cells[number]) for _, cells in sheet.rows for number in numbers)
        self.decimals = Decimals(decimal, comma)
        self.told: dict[str, tuple[str, int]] = {}
        self.ids: list[tuple[int, str]] = []
        self.cells: set[tuple[int, str]] = set()
        """Line and field of each cell that is said to be at fault."""

    def read(self) -> None:
        """Read every row; parts and faults go to what was understood."""
        problems: list[Problem] = []
        for line, cells in self.sheet.rows:
            kind = self._kind(line, cells)
            if kind is None:
                continue
            before = len(self.found.problems)
            table = self._table(kind, line, cells)
            self.ids.append((line, str(plain(table.entries.get("id", Scalar("", ""))) or "")))
            part = build(Row(kind, table), problems)
            if part is not None and len(self.found.problems) == before:
                self.found.parts.append((part, _values(table)))
        self.found.problems += [each for each in problems if not self._said_once(each)]
        for each in self.found.columns:
            if each.path in self.bare and not each.tolerance:
                self.found.problems.append(self._no_unit(each))
        for what, (example, count) in (*self.decimals.changed.items(), *self.told.items()):
            self.found.notes.append(f"{what}: {example}" + (f" ({count} cells)" if count > 1 else ""))

    def _kind(self, line: int, cells: Sequence[str]) -> str | None:
        if self.kind_at is None:
            return self.found.kinds[0]
        word = cells[self.kind_at]
        kind = kind_of_name(word)
        if kind is None:
            message = f"`{clip(word)}` is no kind of part" if word else "the kind is empty"
            self.found.problems.append(Problem(message, did_you_mean(word, PLURALS, "kinds"), self.sheet.file, line))
        elif self.only is not None and kind != self.only:
            message = f"the row says `{clip(word)}`, and `--kind` says {self.only}"
            self.found.problems.append(Problem(message, "leave `--kind` out", self.sheet.file, line))
            return None
        return kind

    def _table(self, kind: str, line: int, cells: Sequence[str]) -> Table:
        table = Table({}, self.sheet.file, line)
        spreads = {each.path: each for each in self.found.columns if each.tolerance}
        values = {each.path: cells[each.index] for each in self.found.columns if not each.tolerance}
        part = values["id"]
        for column in self.found.columns:
            if column.tolerance:
                if cells[column.index] and not values.get(column.path):
                    message = f"a ± without a `{column.path}`"
                    self._complain(message, "write the dimension too", line, part, column.path)
                continue
            text = cells[column.index]
            if not text:
                continue
            spec = fields_of(kind).get(column.path, self.fields[column.path])
            clean = self._clean(text, column, spec, line, part)
            if clean is None:
                continue
            if column.path in spreads and (spread := cells[spreads[column.path].index]):
                clean = self._with_spread(clean, spread, spreads[column.path], line, part)
            if spec.form == "quantity" and spec.dimension not in BARE and _NO_UNIT.fullmatch(clean):
                self.bare.setdefault(column.path, {})[line] = clean
            if len(column.first) < _SHOWN:
                column.first.append(clean)
            put_at(table, column.path.split("."), self._node(clean, column, spec, line))
        return table

    def _clean(self, text: str, column: Column, spec: FieldSpec, line: int, part: str) -> str | None:
        """A cell with its unit and decimal points; None where it is at fault."""
        if _SPREADSHEET_ERROR.fullmatch(text):
            message = f"`{clip(text)}` is what a spreadsheet shows for a mistake"
            self._complain(message, "mend the cell there and save it again", line, part, column.path, text)
            return None
        bare = _GUARDED.sub(r"\1", text)
        if bare != text:
            self._tell("an apostrophe before a sign is taken away", f"`{clip(text, 20)}` is read as {clip(bare, 20)}")
            text = bare
        if spec.form == "count" and (whole := _WHOLE_AS_DECIMAL.fullmatch(text)):
            self._tell("counts with decimals", f"`{text}` is read as {whole[1]}")
            return whole[1]
        if spec.form == "flag" and (word := _FLAGS.get(re.sub(r"[.,]0+$", "", text).casefold())):
            self._tell("true and false in other words", f"`{text}` is read as {word}")
            return word
        if spec.form not in _NUMBERS:
            return text
        text = re.sub(r"\s+", " ", text)
        try:
            text = self.decimals.point(text, lambda each: _plausible(with_unit(each, column.unit), spec))
        except NumberError as error:
            self._complain(error.problem, error.suggestion, line, part, column.path, text)
            return None
        return text if spec.form == "quantities" else with_unit(text, column.unit)

    def _with_spread(self, clean: str, spread: str, column: Column, line: int, part: str) -> str:
        try:
            text = self.decimals.point(spread.lstrip("±+/-").strip(), lambda each: True)
        except NumberError as error:
            self._complain(error.problem, error.suggestion, line, part, column.path, spread)
            return clean
        return f"{clean} ± {with_unit(text, column.unit)}"

    def _node(self, text: str, column: Column, spec: FieldSpec, line: int) -> Scalar | Listing:
        name = self.sheet.file
        if spec.form == "tags":
            words = [word for word in re.split(r"[\s;,]+", text) if word]
            return Listing([Scalar(word, name, line, True) for word in words], name, line)
        if spec.form == "quantities":
            texts = [with_unit(each.strip(), column.unit) for each in text.split(";") if each.strip()]
            return Listing([Scalar(each, name, line, True) for each in texts], name, line)
        return Scalar(text, name, line, True)

    def _no_unit(self, column: Column) -> Problem:
        line, text = next(iter(self.bare[column.path].items()))
        more = len(self.bare[column.path]) - 1
        dimension = self.fields[column.path].dimension
        assert dimension is not None
        try:
            ways = parse(text, dimension).text
        except QuantityError as error:  # it says what the number would be in each likely unit
            ways = error.suggestion
        count = f" (and {more} more in the column)" if more else ""
        say = f'`--map "{column.header}={column.path} [{dimension.likely[0]}]"` says it'
        hint = f"{ways} {say}" if ways else say
        return Problem(f"`{text}` has no unit{count}", hint, self.sheet.file, line, "", column.header, text)

    def _said_once(self, problem: Problem) -> bool:
        """Whether a fault is said already: of the cell, or once for its column."""
        if (problem.line, problem.field) in self.cells:
            return True
        return self.bare.get(problem.field, {}).get(problem.line) == problem.read

    def _complain(self, message: str, hint: str, line: int, part: str, name: str, read: str = "") -> None:
        self.cells.add((line, name))
        self.found.problems.append(Problem(message, hint, self.sheet.file, line, part, name, read))

    def _tell(self, what: str, example: str) -> None:
        first, count = self.told.get(what, (example, 0))
        self.told[what] = (first, count + 1)


def _plausible(text: str, spec: FieldSpec) -> bool:
    """Whether a text is a value in its field's range."""
    if spec.form != "quantity":
        try:
            return spec.form == "quantities" or spec.low <= float(text) <= spec.high
        except ValueError:
            return False
    problems: list[str] = []
    value = read_quantity(Scalar(text, ""), spec, lambda *_: problems.append(""))
    return value is not None and not problems


def _values(table: Table) -> dict[str, Value]:
    """What is to stand in the catalogue."""
    return {key: plain(node) for key, node in table.entries.items() if not is_absent(node)}


def _ids(found: Understood, ids: Sequence[tuple[int, str]], catalogue: Catalogue) -> None:
    """Complain of ids that are taken, in the catalogue or further up in the file."""
    first: dict[str, int] = {}
    for line, part in ids:
        other = catalogue.get(part)
        message, hint = "", "give the new part another id, or `kitwright shelf put` more of that one"
        if other is not None:
            message = f"the id `{part}` is taken already" + (f" ({other.origin})" if other.origin else "")
        elif part in first:
            message, hint = f"the id `{part}` stands in line {first[part]} too", "give one of the two another id"
        if message and part:
            found.problems.append(Problem(message, hint, found.file, line, part, "id", part))
        first.setdefault(part, line)
