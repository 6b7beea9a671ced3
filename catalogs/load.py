"""A folder to a catalogue: every file is read, every fault is reported, nothing drops out silently."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from kitwright.catalogs.nodes import Node, Row, Scalar, Table
from kitwright.catalogs.odd import oddities
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_csv import read_csv
from kitwright.catalogs.read_degree_wheel import holds_readings
from kitwright.catalogs.read_yaml import read_yaml, rows_of
from kitwright.catalogs.rows import build, id_of
from kitwright.catalogs.safe_write import UNFINISHED
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.parts import Part
from kitwright.solver.stopping import tick

_READ = (".yaml", ".csv")

HISTORY = "history.txt"
"""File in the folder that keeps what `shelf` has done, oldest first; anybody may read or trim it."""

_NOT_READ = {
    ".yml": "rename it to .yaml",
    ".json": "catalogues are .yaml or .csv",
    ".xlsx": "save it as CSV",
    ".xls": "save it as CSV",
    ".ods": "save it as CSV",
    ".tsv": "save it as CSV with commas",
    ".txt": "catalogues are .yaml or .csv",
}


@dataclass(slots=True)
class Draft:
    """A folder as far as it could be read: parts without a fault, and every problem."""

    parts: list[Part] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    folder: str = ""

    @property
    def faults(self) -> list[Problem]:
        """Problems that stop."""
        return [each for each in self.problems if each.severity == "fault"]


def load(folder: str | os.PathLike[str]) -> Catalogue:
    """Read a catalogue's folder.

    What only looks odd is in the catalogue's ``warnings``.

    Raises:
        InputError: with every fault of every file.

    """
    return finish(read_folder(Path(folder)))


def is_read(path: Path) -> bool:
    """Whether a file of this name in a catalogue's folder is read, or kept by the tool itself.

    >>> is_read(Path("rods.csv")), is_read(Path("history.txt")), is_read(Path("builds.txt"))
    (True, True, False)
    """
    if path.name == HISTORY or path.name.startswith(".kitwright"):
        return True
    return path.suffix.lower() in _READ and not path.name.startswith(".")


def files_in(folder: Path) -> Iterator[Path]:
    """Files of a catalogue's folder that are read, or kept by the tool itself.

    Raises:
        OSError: the folder cannot be looked at.
    """
    yield from (path for path in sorted(folder.iterdir()) if is_read(path) and path.is_file())


def readings_in(folder: Path) -> Iterator[Path]:
    """Files of readings that a catalogue's parts name, wherever they lie."""
    for part in read_folder(folder).parts:
        yield from _named_by(part)


def load_to_add(folder: str | os.PathLike[str]) -> Catalogue:
    """Read a catalogue that parts are to be added to: a folder that holds no file of parts yet is one without a part.

    Raises:
        InputError: as in :func:`load`.

    """
    place = Path(folder)
    if place.is_dir() and not any(path.suffix.lower() in _READ for path in place.iterdir()):
        return Catalogue.of([], str(folder), ())
    return load(folder)


def finish(draft: Draft) -> Catalogue:
    """Make the catalogue of a draft, with its warnings.

    Raises:
        InputError: the draft has faults.

    """
    if draft.faults:
        raise InputError(draft.faults)
    noted = [*draft.problems, *oddities(draft.parts)]
    return Catalogue.of(draft.parts, draft.folder, tuple(map(str, noted)))


def read_folder(folder: Path) -> Draft:
    """Read every file of a folder; nothing is raised for what stands in them."""
    draft = Draft(folder=str(folder))
    beside: list[Problem] = []
    try:
        files = list(_files(folder, beside))
    except OSError as error:
        draft.problems.append(Problem(f"cannot be read: {error.strerror}", "check the folder", str(folder)))
        return draft
    if (folder / UNFINISHED).exists():
        message = "a change of several files is under way here, or was cut off: some may be changed and some not"
        draft.problems.append(_not_read(folder / UNFINISHED, message, "the next change here completes it first"))
    seen: dict[str, Row] = {}
    found = False
    tables = []
    for file in files:
        if holds_readings(file):
            tables.append(file)
            continue
        for row in read_rows(file, draft.problems):
            tick()
            found = True
            part = build(row, draft.problems)
            if _is_new(row, seen, draft.problems) and part is not None:
                draft.parts.append(part)
    draft.problems = list(dict.fromkeys(draft.problems))  # a file of readings that is at fault may be read twice
    named = {path for part in draft.parts for path in _named_by(part)}
    draft.problems += [each for each in beside if not _in_use(Path(each.file), named)]
    if not draft.faults:  # a part with a fault may be the one that names it
        hint = "a cam names it: `intake_readings` or `exhaust_readings`"
        draft.problems += [_not_read(file, "no part uses these readings", hint) for file in tables if file not in named]
    if files and not found and not draft.faults:
        draft.problems.append(Problem("the catalogue holds no part", "add one, or lay a starter", str(folder)))
    return draft


def ids_of(folder: Path) -> list[tuple[str, str]]:
    """Kind and id of every part of a folder, without reading the parts; nothing where a file cannot be read."""
    problems: list[Problem] = []
    rows = [row for file in _files(folder, []) if not holds_readings(file) for row in read_rows(file, problems)]
    return [] if problems else [(row.kind, id_of(row)) for row in rows if id_of(row)]


def _named_by(part: Part) -> Iterator[Path]:
    """Files that a part's readings stand in."""
    for readings in (getattr(part, "intake_readings", None), getattr(part, "exhaust_readings", None)):
        if readings is not None and part.origin is not None:
            yield Path(os.path.normpath(Path(part.origin.file).parent / readings.file))


def _in_use(place: Path, named: set[Path]) -> bool:
    return any(place == path or place in path.parents for path in named)


def read_rows(file: Path, problems: list[Problem]) -> Iterator[Row]:
    """Rows of one catalogue file."""
    if file.suffix.lower() == ".csv":
        yield from read_csv(file, problems)
    else:
        table = read_yaml(file, problems)
        if table is not None:
            yield from rows_of(table, problems)


def _files(folder: Path, problems: list[Problem]) -> Iterator[Path]:
    name = str(folder)
    if not folder.is_dir():
        if folder.exists():
            problems.append(Problem("is a file, and a catalogue is a folder", f"`{folder.parent}`?", name))
        else:
            problems.append(Problem("there is no such folder", "`kitwright start DIR` lays a starter", name))
        return
    count = 0
    for path in sorted(folder.iterdir()):
        suffix = path.suffix.lower()
        if path.name.startswith(".") or path.name == HISTORY:
            continue
        if path.is_dir():
            problems.append(_not_read(path, "a folder inside the catalogue is not read", "move its files up"))
        elif suffix in _READ:
            count += 1
            yield path
        elif suffix in _NOT_READ:
            problems.append(_not_read(path, "the file is not read", _NOT_READ[suffix]))
    if not count:
        suggestion = "`kitwright start DIR` lays a starter"
        problems.append(Problem("the folder holds no .yaml and no .csv file", suggestion, name))


def _not_read(path: Path, message: str, suggestion: str) -> Problem:
    return Problem(message, suggestion, str(path), severity="warning")


def _is_new(row: Row, seen: dict[str, Row], problems: list[Problem]) -> bool:
    part_id = id_of(row)
    first = seen.setdefault(part_id, row) if part_id else row
    if first is row:
        return True
    table, other = row.table, first.table
    there = f"{other.file}:{other.line}"
    if row.kind == first.kind and same(table, other):
        message, suggestion = (
            f"the same part stands in {there} too",
            "delete one of the two; `on_shelf` counts them",
        )
    else:
        message, suggestion = f"the id is taken already, in {there}", "give one of the two another id"
    problems.append(Problem(message, suggestion, *table.place("id"), part_id, "id"))
    return False


def same(one: Node, other: Node) -> bool:
    """Whether two nodes say the same, wherever they stand."""
    if isinstance(one, Scalar) and isinstance(other, Scalar):
        return one.text == other.text
    if isinstance(one, Table) and isinstance(other, Table):
        keys = one.entries.keys()
        return keys == other.entries.keys() and all(same(one.entries[key], other.entries[key]) for key in keys)
    if not isinstance(one, (Scalar, Table)) and not isinstance(other, (Scalar, Table)):
        return len(one.items) == len(other.items) and all(map(same, one.items, other.items))
    return False
