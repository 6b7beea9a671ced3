"""Changes to the builder's own files: one field, one count, one more part, under lock and proved."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path

from kitwright.catalogs import edit_csv, edit_yaml
from kitwright.catalogs.edit_yaml import Value
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_csv import kind_of_name
from kitwright.catalogs.safe_write import Change, Edited, edit_file
from kitwright.catalogs.values import whole
from kitwright.solver.parts import KINDS


def set_field(path: str | os.PathLike[str], part_id: str, field: str, value: Value) -> Edited:
    """Change one field of one part in its catalogue file; ``part.origin.file`` says which that is.

    Args:
        path: the file, YAML or CSV.
        part_id: the part.
        field: the field, nested ones with a dot: ``mill.max``.
        value: what is to stand there, as it would be typed: ``33.0 mm ± 0.02 mm``.

    Raises:
        InputError: the part is not in the file, the file is at fault or cannot be written; nothing was changed.

    """
    return edit_file(path, field_change(path, part_id, field, lambda _: value))


def change_count(
    path: str | os.PathLike[str], part_id: str, change: Callable[[int], int], field: str = "on_shelf"
) -> Edited:
    """Change a count of a part: what stands there (0 where nothing does) is given to ``change`` under the lock.

    Raises:
        InputError: as in :func:`set_field`, or what stands there is no whole number.

    """
    return edit_file(path, count_change(path, part_id, change, field))


def append_part(path: str | os.PathLike[str], kind: str, fields: Mapping[str, Value], new: bool = False) -> Edited:
    """Add a part to a catalogue file.

    Args:
        path: the file, YAML or CSV.
        kind: kind in the singular.
        fields: field to what is to stand there, ``id`` among them; nested ones are mappings.
        new: make the file where it is not there (a YAML file).

    Raises:
        InputError: as in :func:`set_field`, or the id is in the file already.

    """
    return edit_file(path, part_change(path, kind, fields), new)


def field_change(
    path: str | os.PathLike[str], part_id: str, field: str, value: Callable[[str | None], Value]
) -> Change:
    """Make the change of :func:`set_field`, for ``safe_write.edit_files``; ``value`` is given what stands there."""
    name = str(path)

    def change(text: str) -> str:
        if _is_csv(path):
            return edit_csv.set_cell(
                text, part_id, field, value(edit_csv.cell_at(text, part_id, field, name)), None, name
            )
        place = edit_yaml.find_part(text, part_id, name)
        if place is None:
            raise InputError([Problem(f"the file holds no part `{part_id}`", "nothing was changed", name)])
        at: list[str | int] = [*place, *field.split(".")]
        return edit_yaml.set_value(text, at, value(edit_yaml.value_at(text, at, name)), name)

    return change


def count_change(
    path: str | os.PathLike[str], part_id: str, change: Callable[[int], int], field: str = "on_shelf"
) -> Change:
    """Make the change of :func:`change_count`, for ``safe_write.edit_files``."""

    def value(old: str | None) -> str:
        text = (old or "0").strip() or "0"
        there = whole(text)  # as the catalogue's readers take it: what is read can be changed
        if there is None:
            message = f"`{text}` is no whole number"
            raise InputError([Problem(message, "nothing was changed: correct it first", str(path), 0, part_id, field)])
        return str(change(there))

    return field_change(path, part_id, field, value)


def part_change(path: str | os.PathLike[str], kind: str, fields: Mapping[str, Value]) -> Change:
    """Make the change of :func:`append_part`, for ``safe_write.edit_files``."""
    return parts_change(path, kind, [fields])


def parts_change(path: str | os.PathLike[str], kind: str, parts: Sequence[Mapping[str, Value]]) -> Change:
    """Make the change that adds several parts of a kind to a file, for ``safe_write.edit_files``."""
    name = str(path)

    def change(text: str) -> str:
        if not _is_csv(path):
            _untaken(parts, edit_yaml.ids(text, name), name)
            return edit_yaml.append_parts(text, kind, parts, name)
        _untaken(parts, edit_csv.ids(text, name), name)
        with_kind = kind_of_name(Path(path).stem) is None or edit_csv.has_column(text, "kind", name)
        return edit_csv.append_rows(text, [_flat(each, kind if with_kind else None) for each in parts], None, name)

    return change


def _flat(fields: Mapping[str, Value], kind: str | None) -> dict[str, Value]:
    """A part as the cells of one row."""
    flat: dict[str, Value] = {} if kind is None else {"kind": KINDS[kind].plural}
    for field, value in fields.items():
        inner = value if isinstance(value, Mapping) else None
        flat |= {field: value} if inner is None else {f"{field}.{key}": each for key, each in inner.items()}
    return flat


def _untaken(parts: Sequence[Mapping[str, Value]], there: Collection[str], name: str) -> None:
    """Refuse parts whose ids are in the file already."""
    taken = [str(each["id"]) for each in parts if str(each["id"]) in there]
    if taken:
        raise InputError(problem for each in taken for problem in _taken(each, name).problems)


def _taken(part_id: str, name: str) -> InputError:
    message = f"the id `{part_id}` is taken already"
    return InputError([Problem(message, "nothing was changed: give the new part another id", name, 0, part_id, "id")])


def _is_csv(path: str | os.PathLike[str]) -> bool:
    return Path(path).suffix.lower() == ".csv"
