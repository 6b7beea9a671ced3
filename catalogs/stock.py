"""The shelf's counts: parts taken and put back, new parts, and the plain-text history of both."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from kitwright.catalogs.edit import count_change, parts_change
from kitwright.catalogs.edit_yaml import Value
from kitwright.catalogs.load import HISTORY, read_folder
from kitwright.catalogs.nodes import Row, Scalar, Table, plain, put_at
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_yaml import read_text
from kitwright.catalogs.rows import build
from kitwright.catalogs.safe_write import Change, edit_files
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.parts import KINDS, Part

_HEAD = "# What was taken from the shelf, put on it and added: time, what, part, count, left, note.\n"
MOST = 10_000
"""Pieces of one part that a shelf holds."""

Work = Literal["take", "put", "add"]


@dataclass(frozen=True, slots=True)
class Moved:
    """One part's change: how many, and how many are there now."""

    id: str
    count: int
    left: int


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the history."""

    time: str
    work: str
    part: str
    count: int
    left: int
    note: str


def move(
    catalogue: Catalogue, counts: Mapping[str, int], work: Literal["take", "put"], note: str = "", time: str = ""
) -> tuple[Moved, ...]:
    """Take parts from the shelf or put them on it: all of them, or none where one of them cannot be.

    Every count is read, changed and written under the folder's lock, and the history with it, so that two at once lose
    nothing. Comments and layout of the files stay.

    Args:
        catalogue: as it was loaded; its parts say which file they stand in.
        counts: id of each part to how many, 1 or more.
        work: ``take`` or ``put``.
        note: what for, on one line.
        time: as the history shows it; now, unless given.

    Raises:
        InputError: no such part, a count below 1, more than there are; nothing was changed.
    """
    parts = [_known(catalogue, each) for each in counts]
    left: dict[str, int] = {}
    changes: dict[Path, Change] = {}
    for part in parts:
        assert part.origin is not None
        path = Path(part.origin.file)
        one = count_change(path, part.id, _counted(part, counts[part.id], work, left))
        changes[path] = _after(changes[path], one) if path in changes else one
    stamp = time or now()

    def lines() -> str:
        return "".join(_line(Entry(stamp, work, each, counts[each], left[each], note)) for each in counts)

    edit_files({**changes, Path(catalogue.folder) / HISTORY: _appended(lines)}, new=True)
    return tuple(Moved(each, counts[each], left[each]) for each in counts)


def add(
    catalogue: Catalogue, kind: str, fields: Mapping[str, str], note: str = "", time: str = ""
) -> tuple[Part, Path]:
    """Add a part to the catalogue, after all of its fields have been read as the catalogue's readers read them.

    It goes into the file that holds most parts of its kind, or into a new one named after the kind.

    Args:
        catalogue: as it was loaded.
        kind: kind in the singular.
        fields: field (nested ones with a dot, ``mill.max``) to the text that is to stand there; ``id`` among them.
        note: what for, on one line.
        time: as the history shows it.

    Raises:
        InputError: a field is at fault, or the id is taken; nothing was changed.
    """
    table = Table({}, "the new part")
    for name, text in fields.items():
        put_at(table, name.split(".", 1), Scalar(text, "the new part", 0, True))
    problems: list[Problem] = []
    part = build(Row(kind, table), problems)
    if part is not None and catalogue.get(part.id) is not None:
        other = catalogue.get(part.id)
        where = f" ({other.origin.file}:{other.origin.line})" if other is not None and other.origin else ""
        hint = "give the new part another id, or `shelf put` more of that one"
        problems.append(Problem(f"the id `{part.id}` is taken already{where}", hint, "the new part", 0, part.id, "id"))
    if problems or part is None:
        raise InputError(problems)
    path = file_of(catalogue, kind)
    add_read(catalogue, {path: [(part, plain(table))]}, note, time)
    return part, path


def file_of(catalogue: Catalogue, kind: str) -> Path:
    """File that a new part goes into: the one that holds most parts of its kind, else a new one named after it."""
    files = Counter(each.origin.file for each in catalogue.of_kind(kind) if each.origin is not None)
    if files:
        return Path(min(files, key=lambda file: (-files[file], file)))
    return Path(catalogue.folder) / f"{KINDS[kind].plural}.yaml"


def add_read(
    catalogue: Catalogue,
    parts: Mapping[Path, Sequence[tuple[Part, Mapping[str, Value]]]],
    note: str = "",
    time: str = "",
) -> None:
    """Write parts that have been read, all of them or none, and the history with them.

    That no other part of the catalogue has an id of theirs is looked at once more under the lock.

    Args:
        catalogue: as it was loaded.
        parts: by the file that they go into, each part and what is to stand there of it.
        note: what for, on one line.
        time: as the history shows it.

    Raises:
        InputError: an id has been taken meanwhile, or a file cannot be written; nothing was changed.
    """
    folder = Path(catalogue.folder)
    changes: dict[Path, Change] = {}
    for path, several in parts.items():
        for kind in dict.fromkeys(part.kind for part, _ in several):
            one = parts_change(path, kind, [fields for part, fields in several if part.kind == kind])
            changes[path] = _after(changes[path], one) if path in changes else one
    stamp = time or now()
    new = [part for several in parts.values() for part, _ in several]

    def lines() -> str:
        there = {each.id: each for each in read_folder(folder).parts}
        _untaken(new, there)
        return "".join(_line(Entry(stamp, "add", each.id, each.on_shelf, each.on_shelf, note)) for each in new)

    edit_files({**changes, folder / HISTORY: _appended(lines)}, new=True)


def _untaken(parts: Sequence[Part], there: Mapping[str, Part]) -> None:
    hint = "nothing was changed: give the new part another id, or `kitwright shelf put` more of that one"
    problems = []
    for part in parts:
        other = there.get(part.id)
        if other is not None:
            where = f" ({other.origin})" if other.origin else ""
            problems.append(Problem(f"the id `{part.id}` is taken already{where}", hint, "", 0, part.id, "id"))
    if problems:
        raise InputError(problems)


def history(folder: Path) -> tuple[Entry, ...]:
    """What was done to a catalogue's counts, oldest first; lines that say something else are passed over.

    Raises:
        InputError: the file cannot be read.
    """
    path = folder / HISTORY
    problems: list[Problem] = []
    text = read_text(path, problems) if os.path.lexists(path) else ""
    if text is None:
        raise InputError(problems)
    found = []
    for line in text.splitlines():
        cells = line.split("\t")
        if len(cells) >= 5 and not line.startswith("#") and cells[3].isdecimal() and cells[4].isdecimal():
            found.append(Entry(cells[0], cells[1], cells[2], int(cells[3]), int(cells[4]), "\t".join(cells[5:])))
    return tuple(found)


def now() -> str:
    """Time of day as the history shows it.

    >>> len(now())
    16
    """
    return datetime.now().strftime("%Y-%m-%d %H:%M")


def _known(catalogue: Catalogue, part_id: str) -> Part:
    part = catalogue.get(part_id)
    if part is None:
        hint = did_you_mean(part_id, [each.id for each in catalogue], "ids")
        raise InputError([Problem(f"the catalogue holds no part `{clip(part_id)}`; nothing was changed", hint)])
    return part


def _counted(part: Part, count: int, work: str, left: dict[str, int]) -> Callable[[int], int]:
    def change(there: int) -> int:
        then = there - count if work == "take" else there + count
        file = part.origin.file if part.origin else ""
        if count < 1:
            raise InputError([Problem(f"{count} of `{part.id}`; 1 or more", "nothing was changed", file)])
        if then < 0:
            message = f"{count} of `{part.id}` wanted, and {there or 'none'} on the shelf"
            raise InputError([Problem(message, "nothing was changed", file, 0, part.id, "on_shelf")])
        if then > MOST:
            message = f"{then} of `{part.id}` would be more than a shelf holds ({MOST})"
            raise InputError([Problem(message, "nothing was changed", file, 0, part.id, "on_shelf")])
        left[part.id] = then
        return then

    return change


def _after(first: Change, second: Change) -> Change:
    return lambda text: second(first(text))


def _appended(lines: Callable[[], str]) -> Change:
    def change(text: str) -> str:
        end = "\r\n" if "\r\n" in text else "\n"
        told = text or _HEAD
        return told + ("" if told.endswith("\n") else end) + lines().replace("\n", end)

    return change


def _line(entry: Entry) -> str:
    note = " ".join(entry.note.split())
    return f"{entry.time}\t{entry.work}\t{entry.part}\t{entry.count}\t{entry.left}\t{note}".rstrip() + "\n"
