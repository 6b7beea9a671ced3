"""A degree wheel's readings: a CSV of two columns, crank angle and lobe lift, that a cam names."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from kitwright.catalogs.csv_lines import HEADER, numbered_rows, separated, uneven, with_unit
from kitwright.catalogs.nodes import Node, Scalar, fault, in_words
from kitwright.catalogs.problems import Problem, clip
from kitwright.catalogs.read_yaml import read_text
from kitwright.solver.fields import Readings
from kitwright.solver.quantity import ANGLE, LENGTH, Dimension, Quantity, QuantityError, parse, unit_factor

COLUMNS: dict[str, Dimension] = {"angle": ANGLE, "lift": LENGTH}
MOST_READINGS = 2000
"""Rows of one table: more than two a degree over a turn of the cam."""

HIGHEST_LIFT = 0.020
"""Lobe lift, m, above which a reading is none."""

_TURN = 2 * math.pi
_CYCLE = 2 * _TURN
_NOSES = {"intake": (60.0, 180.0), "exhaust": (-180.0, -60.0)}
"""Where the greatest lift may stand, degrees after the overlap's top dead centre."""

_MOST_DIGITS = 6
_LIKE_THIS = "the columns are `angle [deg]` and `lift [mm]`"


def holds_readings(path: Path) -> bool:
    """Say whether a CSV file holds readings, by its header; a file that cannot be read holds none."""
    if path.suffix.lower() != ".csv":
        return False
    text = read_text(path, [])
    if text is None:
        return False
    _, header = next(numbered_rows(text, str(path), []), (0, []))
    return {_name(cell) for cell in header if cell.strip()} == set(COLUMNS)


def _name(cell: str) -> str:
    match = HEADER.match(cell.strip())
    return match["name"].strip().lower() if match else ""


def read_readings(node: Node, valve: str, part: str, name: str, problems: list[Problem]) -> Readings | None:
    """Read the table that a cam names, beside the file that names it; None where it is at fault, after saying so."""
    hint = "name a CSV file beside this one: `c7-intake.csv`"
    if not isinstance(node, Scalar) or not node.text.strip():
        problems.append(fault(node, f"{in_words(node)} was read, and the name of a file is wanted", hint, part, name))
        return None
    written = node.text.strip()
    path = Path(node.file).parent / written
    try:
        if path.suffix.lower() != ".csv" or not path.is_file():
            problems.append(fault(node, f"there is no CSV file `{clip(written)}` here", hint, part, name))
            return None
    except (OSError, ValueError):
        problems.append(fault(node, f"`{clip(written)}` is no name of a file", hint, part, name))
        return None
    text = read_text(path, problems)
    return None if text is None else readings_of(text, str(path), written, valve, part, name, problems)


def readings_of(
    text: str, file: str, written: str, valve: str, part: str, name: str, problems: list[Problem]
) -> Readings | None:
    """Readings out of a file's text; ``file`` is what messages call it, ``written`` what the catalogue does."""
    before = len(problems)
    rows = list(_rows(text, file, problems))
    if len(problems) > before:
        return None
    place = Problem("", "", file, 0, part, name)
    return _lobe(rows, written, valve, place, problems)


def _rows(text: str, file: str, problems: list[Problem]) -> Iterator[tuple[Quantity, Quantity]]:
    lines = numbered_rows(text, file, problems)
    header_line, header = next(lines, (1, []))
    if not header:
        problems.append(Problem("the file is empty", _LIKE_THIS, file, 1))
        return
    if not separated(header, header_line, file, problems):
        return
    words = [cell.strip() for cell in header]
    at = {_name(word): index for index, word in enumerate(words)}
    units = {}
    for column, dimension in COLUMNS.items():
        match = HEADER.match(words[at[column]]) if column in at else None
        if match is None:
            problems.append(Problem(f"there is no column `{column}`", _LIKE_THIS, file, header_line))
            return
        units[column] = match["unit"] or ""
        try:
            if units[column]:
                unit_factor(units[column], dimension)
        except QuantityError as error:
            message = f"column `{clip(words[at[column]])}`: {error.problem}"
            problems.append(Problem(message, error.suggestion, file, header_line))
            return
    count = 0
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        count += 1
        if count > MOST_READINGS:
            problems.append(Problem(f"more than {MOST_READINGS} readings", "every degree is enough", file, line))
            return
        if len(cells) != len(words):
            problems.append(uneven(cells, words, line, file))
            continue
        angle = _value(cells[at["angle"]].strip(), units["angle"], ANGLE, line, file, problems)
        lift = _value(cells[at["lift"]].strip(), units["lift"], LENGTH, line, file, problems)
        if angle is None or lift is None:
            continue
        if not 0 <= lift.si <= HIGHEST_LIFT:
            what = "is negative" if lift.si < 0 else f"is more than any lobe lifts ({1000 * HIGHEST_LIFT:g} mm)"
            problems.append(Problem(f"a lift of {lift} {what}", "zero the dial on the base circle", file, line))
        yield angle, lift


def _value(
    text: str, unit: str, dimension: Dimension, line: int, file: str, problems: list[Problem]
) -> Quantity | None:
    try:
        read = parse(with_unit(text, unit), dimension)
    except QuantityError as error:
        problems.append(Problem(error.problem, error.suggestion, file, line, read=clip(text)))
        return None
    if read.stated:
        problems.append(Problem(f"`{read}`: a reading has no ±", "its last digit says how fine it is", file, line))
        return None
    return read


def _lobe(
    rows: list[tuple[Quantity, Quantity]], written: str, valve: str, place: Problem, problems: list[Problem]
) -> Readings | None:
    def complain(message: str, suggestion: str) -> None:
        problems.append(Problem(message, suggestion, place.file, 0, place.part, place.field))

    angles = [angle.si for angle, _ in rows]
    lifts = [lift.si for _, lift in rows]
    falls = next((index for index in range(1, len(rows)) if angles[index] <= angles[index - 1]), None)
    if falls is not None:
        complain(
            f"the angles do not rise: {rows[falls][0]} after {rows[falls - 1][0]}",
            "count on over 360 degrees, or write those before top dead centre as negative",
        )
        return None
    if lifts:
        nose = angles[lifts.index(max(lifts))]
        if nose > _TURN:  # a cycle counted from 0 to 720
            angles = [angle - _CYCLE for angle in angles]
    from kitwright.solver.degree_wheel import curve_of  # brings numpy in, and few cams come with readings

    readings = Readings(written, tuple(angles), tuple(lifts), _resolution(rows))
    try:
        nose = math.degrees(curve_of(readings).nose)
    except ValueError as error:
        complain(str(error), "read every 5 degrees from one seat to the other")
        return None
    low, high = _NOSES[valve]
    if not low <= nose <= high:
        after = f"{nose:.1f} degrees after" if nose >= 0 else f"{-nose:.1f} degrees before"
        complain(
            f"the {valve} lobe's greatest lift stands {after} top dead centre",
            "count from the overlap's top dead centre: an intake lobe peaks some 100 to 115 degrees after it, an "
            "exhaust lobe as many before (negative, or from 720 downwards)",
        )
        return None
    return readings


def _resolution(rows: list[tuple[Quantity, Quantity]]) -> float:
    """Last digit of the lifts, in m: the coarsest power of ten of mm or thou that all of them are multiples of."""
    exact = [lift.exact for _, lift in rows]
    finest = Fraction(1, 1000 * 10**_MOST_DIGITS)
    steps = [unit / 10**digits for unit in (Fraction(1, 1000), Fraction(254, 10**7)) for digits in range(_MOST_DIGITS)]
    fitting = [step for step in steps if all((value / step).denominator == 1 for value in exact)]
    return float(max(fitting, default=finest))
