"""Measurements written into a plan's text: new ones added, those of the same thing replaced and remembered."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import Any

from kitwright.catalogs.edit_yaml import EditError, append_item, remove_key, set_value, value_at
from kitwright.catalogs.plan_measured import SAID
from kitwright.catalogs.readings import Reading, key_of
from kitwright.catalogs.safe_write import Edited, edit_file


def record(
    path: str | os.PathLike[str], readings: Sequence[Reading], remarks: Mapping[tuple[str, ...], Mapping[str, str]]
) -> Edited:
    """Write readings into a plan, whole or not at all; comments, order and layout stay.

    Args:
        path: the plan.
        readings: what was measured.
        remarks: by a reading's key, what goes with it: ``predicted``, ``instrument``, ``date``, ``note``.

    Raises:
        InputError: the plan cannot be edited or written; nothing was changed.

    """
    return edit_file(path, lambda text: recorded(text, readings, remarks, str(path)))


def recorded(
    text: str,
    readings: Sequence[Reading],
    remarks: Mapping[tuple[str, ...], Mapping[str, str]],
    name: str = "",
) -> str:
    """Give a plan's text with readings in it.

    What was measured before of the same thing moves to the entry's ``was``; the same reading, taken with the same
    instrument on the same day, is not written twice.
    """
    for reading in readings:
        said = {key: remarks.get(reading.key, {})[key] for key in SAID if remarks.get(reading.key, {}).get(key)}
        place = _place(text, reading, name)
        if place is None:
            where: Any = {"with": dict(reading.parts)} if reading.name == "deck" else {"of": reading.of}
            text = append_item(text, ["measured"], {reading.name: reading.text, **where, **said}, name)
        else:
            text = _again(text, ["measured", place], reading, said, name)
    return text


def _place(text: str, reading: Reading, name: str) -> int | None:
    """Place of the entry for the same thing."""
    entries = value_at(text, ["measured"], name)
    for place, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict) and key_of(entry) == reading.key:
            return place
    return None


def _again(text: str, path: list[str | int], reading: Reading, said: Mapping[str, str], name: str) -> str:
    """Replace the value of an entry, and what goes with it, and remember what was there."""
    entry = value_at(text, path, name)
    before = {key: entry[key] for key in (reading.name, *SAID) if entry.get(key)}
    if before == {reading.name: reading.text, **said}:
        return text
    text = set_value(text, [*path, reading.name], reading.text, name)
    for key in SAID:
        if key in said:
            text = set_value(text, [*path, key], said[key], name)
        elif key in entry:
            text = _without(text, [*path, key], name)
    was = entry.get("was")
    if isinstance(was, list):
        return append_item(text, [*path, "was"], before, name)
    return set_value(text, [*path, "was"], [*([was] if was else []), before], name)


def _without(text: str, path: list[str | int], name: str) -> str:
    """Take a key out; where a comment would go with it, its value becomes nothing."""
    try:
        return remove_key(text, path, name)
    except EditError:
        return set_value(text, path, "~", name)
