"""The starter: a plan and a catalogue of invented parts, laid into a folder of the builder's.

Beside them go the JSON Schemas that the first line of each file names, so that an editor completes and checks.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from kitwright.catalogs.load import read_rows
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_yaml import read_yaml
from kitwright.catalogs.schema import SUBJECTS, schema_text

_PLAN = "plan.yaml"
_FOLDER = "catalogue"
_SCHEMA = "schema"

_MOST_NAMED = 3


def lay_starter(target: str | os.PathLike[str]) -> list[Path]:
    """Copy the bundled starter to ``target/plan.yaml`` and ``target/catalogue/``; return what was written.

    The JSON Schemas of both go to ``target/schema/``.

    Nothing is ever overwritten: where a plan, a catalogue or a schema is there already, nothing at all is written; nor
    where the folder is a catalogue itself.

    Raises:
        InputError: something is there already, or the place cannot be written to.

    """
    place = Path(target)
    _refuse_taken(place)
    made = _missing_folders(place)
    try:
        place.mkdir(parents=True, exist_ok=True)
        return _copy(resources.files("kitwright.catalogs") / "starter", place)
    except BaseException as error:
        with contextlib.suppress(OSError):
            for folder in made:
                folder.rmdir()  # what is not empty stays
        if not isinstance(error, OSError):
            raise
        reason = error.strerror or str(error)
        message = f"the starter cannot be written here: {reason}"
        raise InputError([Problem(message, "name a folder that you may write to", str(place))]) from None


def _refuse_taken(place: Path) -> None:
    try:
        if place.exists() and not place.is_dir():
            raise InputError([Problem("is a file, and a folder is wanted", "name a folder", str(place))])
        taken = [path for path in (place / _PLAN, place / _FOLDER, place / _SCHEMA) if os.path.lexists(path)]
        if place.is_dir():
            taken += _plans(place)
            _refuse_catalogue(place)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([Problem(f"cannot be used: {reason}", "name another folder", str(place))]) from None
    if taken:
        hint = "nothing was written: name another folder, or move it away"
        raise InputError([Problem("is there already", hint, str(path)) for path in dict.fromkeys(taken)])


def _plans(place: Path) -> list[Path]:
    """Plans in a folder, whatever they are called."""
    files = (path for path in place.iterdir() if path.suffix.lower() in (".yaml", ".yml") and path.is_file())
    return sorted(path for path in files if _names_catalogue(path))


def _names_catalogue(path: Path) -> bool:
    table = read_yaml(path, [])
    return table is not None and "catalogue" in table.entries


def _refuse_catalogue(place: Path) -> None:
    """Refuse a folder whose own files hold parts: a starter among them would be read as one catalogue with them."""
    files = sorted(path for path in place.iterdir() if _is_data(path.name) and path.is_file())
    holding = [path.name for path in files if any(True for _ in read_rows(path, []))]
    if holding:
        named = ", ".join(holding[:_MOST_NAMED])
        more = len(holding) - _MOST_NAMED
        held = f"{named} and {more} more" if more > 0 else named
        here = f"write a plan for this one: `catalogue: {place}`"
        hint = f"nothing was written: name another folder for the starter, or {here}"
        raise InputError([Problem(f"is a catalogue already: its parts are in {held}", hint, str(place))])


def _missing_folders(place: Path) -> list[Path]:
    """List the folders that will have to be made, innermost first."""
    missing = []
    while not place.exists():
        missing.append(place)
        if place.parent == place:
            break
        place = place.parent
    return missing


def _copy(starter: Traversable, place: Path) -> list[Path]:
    """Write everything beside its place first, then move it there: the folders whole, the plan last."""
    # The name is known before the folder is there, so that an interrupt leaves nothing behind.
    workbench = place / f".starter-{secrets.token_hex(8)}"
    schemas = {subject: Path(_SCHEMA, f"{subject}.json") for subject in SUBJECTS}
    try:
        folder = workbench / _FOLDER
        folder.mkdir(parents=True)
        names = sorted(each.name for each in (starter / _FOLDER).iterdir() if _is_data(each.name))
        for name in names:
            (folder / name).write_bytes((starter / _FOLDER / name).read_bytes())
        (workbench / _PLAN).write_bytes((starter / _PLAN).read_bytes())
        (workbench / _SCHEMA).mkdir()
        for subject, path in schemas.items():
            (workbench / path).write_text(schema_text(subject), encoding="utf-8", newline="")
        try:
            for each in (_FOLDER, _SCHEMA):
                (workbench / each).rename(place / each)
            # A link, unlike a rename, fails where a plan has turned up meanwhile.
            _move_new(workbench / _PLAN, place / _PLAN)
        except BaseException:
            _take_back(workbench, place)
            raise
    finally:
        shutil.rmtree(workbench, ignore_errors=True)
    return [place / _PLAN, *(place / _FOLDER / name for name in names), *(place / each for each in schemas.values())]


def _take_back(workbench: Path, place: Path) -> None:
    """Take away what has been moved to its place: what is no more on the workbench, and the plan that is linked to."""
    for each in (_FOLDER, _SCHEMA):
        if not (workbench / each).exists():
            shutil.rmtree(place / each, ignore_errors=True)
    with contextlib.suppress(OSError):
        if (place / _PLAN).samefile(workbench / _PLAN):
            (place / _PLAN).unlink()


def _is_data(name: str) -> bool:
    return name.endswith((".yaml", ".csv")) and not name.startswith(".")


def _move_new(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        try:
            with target.open("xb") as file:
                file.write(source.read_bytes())
        except FileExistsError:
            raise
        except BaseException:
            target.unlink(missing_ok=True)
            raise
