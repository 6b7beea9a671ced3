"""A builder's own sheet of a degree wheel to a cam's readings: what was understood, and nothing written yet."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from kitwright.catalogs.csv_lines import with_unit
from kitwright.catalogs.decimals import Decimals, NumberError, has_decimal_comma
from kitwright.catalogs.edit import field_change
from kitwright.catalogs.headers import HeaderError, Match, mapped, match_header
from kitwright.catalogs.import_sheet import Column, Decimal
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_degree_wheel import COLUMNS, HIGHEST_LIFT, readings_of
from kitwright.catalogs.safe_write import Change, edit_files
from kitwright.catalogs.sheet import Sheet, read_sheet
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.fields import FieldSpec, Readings
from kitwright.solver.parts import Cam
from kitwright.solver.quantity import ANGLE, LENGTH, QuantityError, parse

VALVES = ("intake", "exhaust")
_FIELDS = {
    "angle": FieldSpec("angle", "quantity", "crank angle", True, ANGLE, -720.0, 720.0),
    "lift": FieldSpec("lift", "quantity", "lift of the lobe", True, LENGTH, 0.0, 1000 * HIGHEST_LIFT),
}
_WORDS = {
    "angle": "crank angle, crank, wheel, degree wheel, winkel, kurbelwinkel, grad, angle vilebrequin, degrés, degrees",
    "lift": "lobe lift, cam lift, lifter, dial, dial gauge, nockenhub, hub, erhebung, messuhr, levée, levée de came",
}
"""Other words that builders write over the columns (dictionary words; common practice, no source)."""

_AT_THE_VALVE = re.compile(r"(?i)valve|ventil|soupape")
_SHOWN = 3


@dataclass(slots=True)
class UnderstoodReadings:
    """What was understood of a sheet of readings; ``problems`` is empty where it can be written."""

    file: str
    cam: str
    valve: str
    notes: list[str] = field(default_factory=list)
    columns: list[Column] = field(default_factory=list)
    left_out: list[tuple[str, str]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    readings: Readings | None = None
    target: Path | None = None
    """File beside the cam's own that the readings go to."""
    text: str = ""

    @property
    def nose(self) -> float:
        """Where the greatest lift stands, degrees after the overlap's top dead centre."""
        from kitwright.solver.degree_wheel import curve_of  # brings numpy in

        assert self.readings is not None
        return math.degrees(curve_of(self.readings).nose)


def understand_readings(
    path: Path,
    catalogue: Catalogue,
    cam: str,
    valve: str,
    maps: Mapping[str, str] | None = None,
    encoding: str | None = None,
    decimal: Decimal | None = None,
) -> UnderstoodReadings:
    """Read a sheet of two columns, crank angle and lobe lift; nothing is raised for what stands in it.

    Args:
        path: the CSV file.
        catalogue: what holds the cam.
        cam: id of the cam.
        valve: ``intake`` or ``exhaust``.
        maps: header to ``angle`` or ``lift`` (with a unit in brackets, if the header has none), or to nothing.
        encoding: the file's; found out unless given.
        decimal: what a comma between digits is; found out unless given.

    """
    found = UnderstoodReadings(str(path), cam, valve)
    found.target = _target(found, catalogue)
    sheet = read_sheet(path, found.problems, encoding)
    if sheet is None:
        return found
    found.notes += sheet.notes
    found.columns = list(_columns(sheet, dict(maps or {}), found))
    absent = [each for each in COLUMNS if each not in {column.path for column in found.columns}]
    for missing in absent if not found.problems else ():
        free = [header for header, _ in found.left_out if header] or ["Their header"]
        unit = COLUMNS[missing].likely[0]
        hint = f'say which it is: `--map "{free[0]}={missing} [{unit}]"`'
        found.problems.append(Problem(f"no column is the `{missing}`", hint, found.file, sheet.line))
    if found.problems:
        return found
    found.text = "\n".join(_lines(sheet, found, decimal)) + "\n"
    if not found.problems:
        found.readings = readings_of(
            found.text, found.file, _name(found), valve, cam, f"{valve}_readings", found.problems
        )
    return found


def write_readings(found: UnderstoodReadings, catalogue: Catalogue) -> None:
    """Write the readings beside the cam's file, and their name into the cam; all or nothing.

    Raises:
        InputError: they are at fault, or cannot be written; nothing was changed.

    """
    part = catalogue.get(found.cam)
    if found.problems or found.target is None or part is None or part.origin is None:
        raise InputError(found.problems)
    name, target = f"{found.valve}_readings", found.target

    def new(old: str) -> str:
        if old:
            raise InputError([_there(target)])
        return found.text

    changes: dict[Path, Change] = {
        target: new,
        Path(part.origin.file): field_change(part.origin.file, found.cam, name, lambda _: target.name),
    }
    edit_files(changes, new=True)


def _target(found: UnderstoodReadings, catalogue: Catalogue) -> Path | None:
    part = catalogue.get(found.cam)
    if not isinstance(part, Cam) or part.origin is None:
        what = "no cam" if part is None else f"a {part.kind.replace('_', ' ')}, and no cam"
        hint = did_you_mean(found.cam, [each.id for each in catalogue.of_kind("cam")], "cams")
        where = f"--readings {found.cam}.{found.valve}"
        found.problems.append(Problem(f"`{clip(found.cam)}` is {what} of the catalogue", hint, where))
        return None
    there: Readings | None = getattr(part, f"{found.valve}_readings")
    stem = re.sub(r"[^\w.-]+", "-", part.id)
    target = Path(part.origin.file).parent / f"{stem}-{found.valve}.csv"
    if there is not None:
        message = f"its {found.valve} lobe has readings already, `{there.file}`"
        hint = "take that line out of the cam first"
        found.problems.append(Problem(message, hint, part.origin.file, part.origin.line, part.id))
    elif target.exists():
        found.problems.append(_there(target))
    return target


def _there(target: Path) -> Problem:
    return Problem("the file is there already", "move it away, or name it in the cam by hand", str(target))


def _name(found: UnderstoodReadings) -> str:
    return found.target.name if found.target is not None else found.file


def _columns(sheet: Sheet, maps: dict[str, str], found: UnderstoodReadings) -> Iterator[Column]:
    for word in maps:
        if word not in sheet.header:
            hint = did_you_mean(word, [each for each in sheet.header if each], "headers")
            found.problems.append(Problem("no column is called so", hint, f'--map "{word}={maps[word]}"'))
    taken: dict[str, str] = {}
    for number, header in enumerate(sheet.header):
        try:
            match = mapped(header, maps[header], _FIELDS) if header in maps else _match(header)
        except HeaderError as error:
            hint = error.suggestion
            if "--map" not in hint and header not in maps:
                hint += f': `--map "{header}=angle [deg]"` or `--map "{header}=lift [mm]"`'
            found.problems.append(Problem(error.problem, hint, found.file, sheet.line))
            continue
        if match is None or match.path not in _FIELDS or match.tolerance:
            why = (
                "readings are taken as they are read, without a ±"
                if match and match.tolerance
                else "no column of a degree wheel"
            )
            found.left_out.append((clip(header), "left out by --map" if header in maps else why))
        elif match.path in taken:
            hint = f'leave one out: `--map "{header}="`'
            message = f"columns `{clip(taken[match.path])}` and `{clip(header)}` are both `{match.path}`"
            found.problems.append(Problem(message, hint, found.file, sheet.line))
        else:
            taken[match.path] = header
            yield Column(number, header, match.path, match.unit, match.how)


def _match(header: str) -> Match | None:
    if not header:
        return None
    if _AT_THE_VALVE.search(header):
        hint = f'read the lobe\'s at the lifter; if it is that, `--map "{header}=lift [mm]"`'
        raise HeaderError(f"column `{clip(header)}` is the valve's lift by its name", hint)
    return match_header(header, _FIELDS, (), _WORDS)


def _lines(sheet: Sheet, found: UnderstoodReadings, decimal: Decimal | None) -> Iterator[str]:
    """The readings as the catalogue holds them: two columns with their units, decimal points alone."""
    columns = sorted(found.columns, key=lambda each: each.path)
    comma = any(has_decimal_comma(cells[each.index]) for _, cells in sheet.rows for each in columns)
    decimals = Decimals(decimal, comma)
    bare: set[str] = set()
    yield ",".join(f"{each.path} [{each.unit}]" if each.unit else each.path for each in columns)
    for line, cells in sheet.rows:
        yield ",".join(_cell(cells, each, line, decimals, bare, found) for each in columns)
    for what, (example, count) in decimals.changed.items():
        found.notes.append(f"{what}: {example}" + (f" ({count} cells)" if count > 1 else ""))


def _cell(
    cells: Sequence[str], column: Column, line: int, decimals: Decimals, bare: set[str], found: UnderstoodReadings
) -> str:
    """A cell with a decimal point; what is wrong with it is complained of, a missing unit once for its column."""
    text = re.sub(r"\s+", " ", cells[column.index])
    spec = _FIELDS[column.path]
    assert spec.dimension is not None
    try:
        text = decimals.point(text, lambda each: _plausible(with_unit(each, column.unit), spec))
        parse(with_unit(text, column.unit), spec.dimension)
    except (NumberError, QuantityError) as error:
        hint = error.suggestion
        if "has no unit" in error.problem:
            if column.path in bare:
                return text
            bare.add(column.path)
            hint += f' `--map "{column.header}={column.path} [{spec.dimension.likely[0]}]"` says it'
        found.problems.append(Problem(error.problem, hint, found.file, line, "", column.header, text))
    if len(column.first) < _SHOWN:
        column.first.append(with_unit(text, column.unit))
    return text


def _plausible(text: str, spec: FieldSpec) -> bool:
    assert spec.dimension is not None
    try:
        return spec.low <= parse(text, spec.dimension).to(spec.dimension.likely[0]) <= spec.high
    except QuantityError:
        return False
