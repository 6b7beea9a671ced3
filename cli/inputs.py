"""What a command reads, so that its answer is not written over it."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from kitwright.cli.output import OutputError

_PLANS = ("plan", "place")
_SHEETS = ("file",)
_FOLDERS = ("catalogue", "place")
"""Names of the commands' own arguments: files that hold a plan, sheets, and catalogues' folders."""


def refuse_inputs(named: Mapping[str, Any]) -> None:
    """Refuse a command whose `--output` is one of the files that it reads or writes besides, by whatever name.

    Args:
        named: the command's own arguments by name.

    Raises:
        OutputError: it is; nothing has been done by then.

    """
    target = named.get("output")
    if not isinstance(target, Path):
        return
    for what, path in _inputs(named, target):
        if _same(target, path):
            by_name = f"`{target}` is" if str(target) == str(path) else f"`{target}` leads to `{path}`,"
            raise OutputError(f"{by_name} {what}, and the answer would stand in its place; name another file")
    for folder in _folders(named):
        if _would_be_read(target, folder):
            what = f"`{target}` would be read as a part of the catalogue `{folder}`"
            raise OutputError(f"{what}; name a file outside of that folder")


def _inputs(named: Mapping[str, Any], target: Path) -> Iterator[tuple[str, Path]]:
    """Files that the command reads, in words; those that take a catalogue's parts to find come last."""
    for key in _PLANS:
        if isinstance(named.get(key), Path) and named[key].is_file():
            yield "the plan that is asked", named[key]
    for key in _SHEETS:
        if isinstance(named.get(key), Path):
            yield "the sheet that is read", named[key]
    folders = list(_folders(named))
    if not folders or not os.path.lexists(target):
        return
    from kitwright.catalogs.load import files_in, readings_in

    for folder in folders:
        for path in files_in(folder):
            yield "a file of the catalogue", path
    for folder in folders:
        for path in readings_in(folder):
            yield "a degree wheel's readings", path


def _folders(named: Mapping[str, Any]) -> Iterator[Path]:
    """Catalogues' folders that are named, or that a plan names; a plan at fault names none."""
    from kitwright.catalogs import InputError, read_plan

    for key in _FOLDERS:
        if isinstance(named.get(key), Path) and named[key].is_dir():
            yield named[key]
    for key in _PLANS:
        if isinstance(named.get(key), Path) and named[key].is_file():
            with contextlib.suppress(InputError, OSError, ValueError):
                folder = read_plan(named[key]).folder
                if folder is not None and folder.is_dir():
                    yield folder


def _same(target: Path, path: Path) -> bool:
    """Whether two paths lead to one file: links of both kinds are followed."""
    with contextlib.suppress(OSError, ValueError):
        return target.samefile(path)
    return False


def _would_be_read(target: Path, folder: Path) -> bool:
    from kitwright.catalogs.load import is_read

    real = Path(os.path.realpath(target))
    return (is_read(target) or is_read(real)) and any(_same(each.parent, folder) for each in (target, real))
