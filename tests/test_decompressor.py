"""A decompressor: written as a flag or with what is known of it, and what it changes."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from kitwright.catalogs import load
from kitwright.catalogs.edit_csv import set_cell
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_csv import parse_csv
from kitwright.catalogs.rows import build
from kitwright.catalogs.schema import catalogue_schema
from kitwright.catalogs.stock import add
from kitwright.catalogs.write import to_yaml
from kitwright.cli.report.shelf_report import field_text, part_data, part_rows
from kitwright.solver.parts import Cam, Part

FORMS = {
    "true": (True, None, None, None),
    "false": (False, None, None, None),
    "{}": (True, None, None, None),
    "{closes: 60 deg}": (True, "60 deg", None, None),
    "{closes: 60 deg, lift: 0.6 mm, reach: 18 mm ± 0.1 mm}": (True, "60 deg", "0.6 mm", "18 mm ± 0.1 mm"),
}


def _cam(folder: Path, decompressor: str) -> Cam:
    folder.mkdir(exist_ok=True)
    line = f"- {{id: c1, intake_lobe_lift: 5 mm, exhaust_lobe_lift: 5 mm, decompressor: {decompressor}}}"
    (folder / "cams.yaml").write_text(f"cams:\n{line}\n", encoding="utf-8")
    found = load(folder).get("c1")
    assert isinstance(found, Cam)
    return found


def _told(part: Part | None) -> tuple[Any, ...]:
    assert isinstance(part, Cam) and part.decompressor is not None
    each = part.decompressor
    known = (None if value is None else str(value) for value in (each.closes, each.lift, each.reach))
    return (each.fitted, *known)


@pytest.mark.parametrize("text", FORMS)
def test_both_forms_are_read_and_written_again(text: str, tmp_path: Path) -> None:
    cam = _cam(tmp_path / "first", text)
    assert _told(cam) == FORMS[text]
    (tmp_path / "second").mkdir()
    (tmp_path / "second" / "cams.yaml").write_text(to_yaml([cam]), encoding="utf-8")
    assert _told(load(tmp_path / "second").get("c1")) == FORMS[text]
    # what `shelf list --format csv` writes is read as the same
    names, rows = part_rows([cam])
    out = io.StringIO()
    writer = csv.DictWriter(out, names)
    writer.writeheader()
    writer.writerows(rows)
    problems: list[Problem] = []
    (row,) = parse_csv(out.getvalue(), "cams.csv", problems, None)
    again = build(row, problems)
    assert again is not None and not problems
    assert _told(again) == FORMS[text]


@pytest.mark.parametrize("text", [*FORMS, "yes", "{closes: null}"])
def test_the_schema_takes_what_is_read(text: str) -> None:
    held = yaml.safe_load(f"{{id: c1, intake_lobe_lift: 5 mm, exhaust_lobe_lift: 5 mm, decompressor: {text}}}")
    jsonschema.validate({"cams": [held]}, catalogue_schema())


@pytest.mark.parametrize("text", ["perhaps", "{fitted: true}", "{closes: 60 mm}", "{closes: 400 deg}", "[60 deg]"])
def test_what_is_neither_is_a_fault(text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="decompressor"):
        _cam(tmp_path, text)


@pytest.mark.parametrize("text", ["perhaps", "{fitted: true}", "{closes: 60 mm}"])
def test_the_schema_refuses_what_is_neither(text: str) -> None:
    held = yaml.safe_load(f"{{id: c1, intake_lobe_lift: 5 mm, exhaust_lobe_lift: 5 mm, decompressor: {text}}}")
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"cams": [held]}, catalogue_schema())


HEADER = "id,intake_lobe_lift [mm],exhaust_lobe_lift [mm]"


def _of_csv(columns: str, cells: str) -> tuple[Part | None, list[Problem]]:
    problems: list[Problem] = []
    (row,) = parse_csv(f"{HEADER},{columns}\nc1,5,5,{cells}\n", "cams.csv", problems, "cam")
    return build(row, problems), problems


@pytest.mark.parametrize(
    ("columns", "cells", "told"),
    [
        ("decompressor", "true", (True, None, None, None)),
        ("decompressor,decompressor.closes [deg]", "true,60", (True, "60 deg", None, None)),
        ("decompressor.closes [deg],decompressor", "60,yes", (True, "60 deg", None, None)),
        ("decompressor.closes [deg],decompressor", "60,", (True, "60 deg", None, None)),
        ("decompressor,decompressor.closes [deg]", "no,", (False, None, None, None)),
    ],
)
def test_columns_of_a_csv_take_both_forms(columns: str, cells: str, told: tuple[Any, ...]) -> None:
    part, problems = _of_csv(columns, cells)
    assert part is not None and not problems
    assert _told(part) == told


@pytest.mark.parametrize(
    "columns", ["decompressor,decompressor.closes [deg]", "decompressor.closes [deg],decompressor"]
)
def test_no_decompressor_that_closes_is_a_fault(columns: str) -> None:
    cells = {"decompressor": "no", "decompressor.closes [deg]": "60"}
    part, (problem,) = _of_csv(columns, ",".join(cells[each] for each in columns.split(",")))
    assert part is None
    assert "`no` was read, and `decompressor` has fields of its own" in problem.message


def test_a_cell_beside_true_can_be_set() -> None:
    text = f"{HEADER},decompressor\nc1,5,5,true\n"
    assert set_cell(text, "c1", "decompressor.closes", "60 deg", "cam").splitlines()[1] == "c1,5,5,true,60 deg"


def test_a_part_is_added_with_either(tmp_path: Path) -> None:
    _cam(tmp_path, "false")
    lifts = {"intake_lobe_lift": "5 mm", "exhaust_lobe_lift": "5 mm"}
    add(load(tmp_path), "cam", {"id": "c2", **lifts, "decompressor": "true"})
    add(load(tmp_path), "cam", {"id": "c3", **lifts, "decompressor": "true", "decompressor.closes": "55 deg"})
    held = load(tmp_path)
    assert _told(held.get("c2")) == (True, None, None, None)
    assert _told(held.get("c3")) == (True, "55 deg", None, None)


def test_it_is_shown_as_it_is_known(tmp_path: Path) -> None:
    shown = [field_text(_cam(tmp_path / str(number), text), "decompressor") for number, text in enumerate(FORMS)]
    assert shown == ["yes", "no", "yes", "closes 60 deg", "closes 60 deg, lift 0.6 mm, reach 18 mm ± 0.1 mm"]
    data = [part_data(_cam(tmp_path / str(number), text))["decompressor"] for number, text in enumerate(FORMS)]
    assert data[:3] == [True, False, True]
    assert data[3]["closes"]["value"] == pytest.approx(60)
    json.dumps(data)
