"""``shelf import``: what is understood of a builder's own sheet, what is a fault, and that nothing else is changed."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitwright.catalogs import load
from kitwright.catalogs.headers import match_header
from kitwright.catalogs.import_sheet import Understood, understand, write
from kitwright.catalogs.load import load_to_add
from kitwright.catalogs.read_csv import fields_of
from kitwright.catalogs.stock import history
from kitwright.cli.report.shelf_report import part_data
from kitwright.solver.parts import KINDS, Part
from tests.cli_runner import run

RODS = "id,length [mm],big_end [mm],pin [mm]\n"


def shed(folder: Path, **files: str) -> Path:
    place = folder / "catalogue"
    place.mkdir()
    for name, text in files.items():
        (place / name.replace("_", ".")).write_text(text, encoding="utf-8")
    return place


def read(folder: Path, text: str | bytes, name: str = "rods.csv", held: str = "", **more: Any) -> Understood:
    place = folder / "catalogue"
    if not place.exists():
        shed(folder, **({"rods_csv": held} if held else {}))
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return understand(path, load_to_add(place), **more)


def fields(found: Understood) -> dict[str, tuple[str, str]]:
    return {each.header: (each.path, each.unit) for each in found.columns}


def faults(found: Understood) -> str:
    return "\n".join(map(str, found.problems))


def test_headers_with_units_in_every_form(tmp_path: Path) -> None:
    header = 'Rod ID,LENGTH (mm),"Big end, in",pin_mm,Width  mm,Preis (EUR),Small end mass [G],maxRpm,Qty'
    found = read(tmp_path, f"{header}\nr85,85,1 1/4,16,18,12.5,80,7000 rpm,2\n")
    assert faults(found) == ""
    assert fields(found) == {
        "Rod ID": ("id", ""),
        "LENGTH (mm)": ("length", "mm"),
        "Big end, in": ("big_end", "in"),
        "pin_mm": ("pin", "mm"),
        "Width  mm": ("width", "mm"),
        "Preis (EUR)": ("price", ""),
        "Small end mass [G]": ("small_end_mass", "g"),
        "maxRpm": ("max_rpm", ""),
        "Qty": ("on_shelf", ""),
    }
    (part, values) = found.parts[0]
    assert values["big_end"] == "1 1/4 in" and part.on_shelf == 2 and part.price == 12.5
    assert part.big_end.to("mm") == pytest.approx(31.75)  # type: ignore[attr-defined]
    assert "`Preis (EUR)` is in EUR; money is kept as a bare number" in found.notes


def test_abbreviations_only_where_one_field_can_be_meant(tmp_path: Path) -> None:
    pistons = "ID;Bore mm;CH [mm];Pin mm;Pock. depth int. [mm]\np1;70;30;16;2\n"
    found = read(tmp_path, pistons, "pistons.csv")
    assert faults(found) == ""
    assert [each.path for each in found.columns] == ["id", "bore", "compression_height", "pin", "pocket_depth_intake"]
    heads = read(tmp_path, "id,chamber [cc],valve [mm]\nh1,23,30\n", "heads.csv")
    assert "column `valve [mm]` may be" in faults(heads) and "`intake_valve`" in faults(heads)
    assert 'leave it out: `--map "valve [mm]="`' in faults(heads)
    settled = read(tmp_path, "id,chamber [cc],valve [mm]\nh1,23,30\n", "heads.csv", maps={"Valve [mm]": "intake_valve"})
    assert fields(settled)["valve [mm]"] == ("intake_valve", "mm") and faults(settled) == ""
    near = read(tmp_path, "id,stroke [mm],journl [mm],throw [mm]\nk1,57,30,28.5\n", "cranks.csv")
    assert dict(near.left_out)["journl [mm]"].endswith("did you mean `journal`?")
    assert dict(near.left_out)["throw [mm]"] == "a throw is half the stroke: write the stroke"
    assert "`journal` is missing" in faults(near), "a header that only looks like a field is not taken for it"


def test_map(tmp_path: Path) -> None:
    text = "what,c-c,jrn,wp,seen\nr85,85,30,16,yes\n"
    maps = {"what": "id", "c-c": "length [mm]", "jrn": "big_end [mm]", "wp": "pin [mm]", "seen": ""}
    found = read(tmp_path, text, maps=maps)
    assert faults(found) == "" and found.left_out == [("seen", "left out by --map")]
    assert found.parts[0][1] == {"id": "r85", "length": "85 mm", "big_end": "30 mm", "pin": "16 mm"}
    for bad, words in (
        ({"wht": "id"}, "did you mean `what`?"),
        ({"c-c": "lenght"}, "did you mean `length`?"),
        ({"c-c": "length [cc]"}, "`cc` is a unit of volume, and length is wanted"),
        ({"c-c": "length [furry]"}, "`furry` is no unit of length"),
    ):
        assert words in faults(read(tmp_path, text, maps=maps | bad))


def test_a_number_without_a_unit_is_one_fault_a_column_that_says_how_to_state_it(tmp_path: Path) -> None:
    found = read(tmp_path, "id,length,big_end [mm],pin [mm]\nr85,85,30,16\nr86,86,30,16\nr87,87 mm,30,16\n")
    assert len(found.problems) == 1
    said = faults(found)
    assert "rods.csv:2" in said and "`85` has no unit (and 1 more in the column)" in said
    assert '`--map "length=length [mm]"` says it' in said and "85 in = 2159 mm" in said


def test_a_unit_of_something_else_is_a_fault(tmp_path: Path) -> None:
    found = read(tmp_path, "id,length [cc],big_end [mm],pin [mm]\nr85,85,30,16\n")
    assert "`cc` is a unit of volume, and length is wanted" in faults(found)
    assert "degree here and a gon" in faults(
        read(tmp_path, "id,chamber [cc],valve angle [Grad]\nh,23,9\n", "heads.csv")
    )


def test_a_tolerance_in_a_column_of_its_own(tmp_path: Path) -> None:
    found = read(tmp_path, "id,length [mm],length ± [mm],big_end [mm],pin [mm]\nr85,85,0.05,30,16\nr86,86,,30,16\n")
    assert faults(found) == ""
    assert [values["length"] for _, values in found.parts] == ["85 mm ± 0.05 mm", "86 mm"]
    without = read(tmp_path, "id,length tol [mm],big_end [mm],pin [mm]\nr85,0.05,30,16\n")
    assert "is a ± of `length`, and no column is that" in faults(without)


@pytest.mark.parametrize(
    ("data", "note"),
    [
        (b"\xef\xbb\xbf" + RODS.encode() + b"r85,85,30,16\n", "UTF-8 with a byte-order mark"),
        ((RODS + "r85,85,30,16\n").encode("utf-16"), "UTF-16"),
        ((RODS[:-1] + ",note\nr85,85,30,16,gr\u00fcn\n").encode("cp1252"), "is `gr\u00fcn` right?"),
        ((RODS + "r85,85,30,16\n").replace("\n", "\r\n").encode(), "lines end in CRLF"),
        ((RODS + "r85,85,30,16\n").replace("\n", "\r").encode(), "lines end in CR"),
        ((RODS + "r85,85,30,16\n").replace(",", ";").encode(), "cells separated by semicolons"),
        (("sep=;\n" + RODS + "r85,85,30,16\n").replace(",", ";").encode(), "names the separator"),
        ((RODS + "r85,85,30,16\n").replace(",", "\t").encode(), "cells separated by tabs"),
        ((RODS + "r85,85,30,16\n").encode(), "UTF-8"),
    ],
)
def test_what_spreadsheets_write_is_named(tmp_path: Path, data: bytes, note: str) -> None:
    found = read(tmp_path, data)
    assert faults(found) == "" and [part.id for part, _ in found.parts] == ["r85"]
    assert any(note in each for each in found.notes)


@pytest.mark.parametrize(
    ("cell", "taken", "note"),
    [
        ("85,05", "85.05 mm", "decimal commas: `85,05` is read as 85.05"),
        ("85,05 ± 0,05", "85.05 ± 0.05 mm", "decimal commas"),
        ("85,125", "85.125 mm", "decimal commas: `85,125` is read as 85.125"),  # 85125 mm is no rod
        ("3,346 in", "3.346 in", "decimal commas"),
        ("85.05", "85.05 mm", ""),
    ],
)
def test_decimal_commas(tmp_path: Path, cell: str, taken: str, note: str) -> None:
    found = read(tmp_path, f"id;length [mm];big_end [mm];pin [mm]\nr85;{cell};30;16\n")
    assert faults(found) == "" and found.parts[0][1]["length"] == taken
    assert any(note in each for each in found.notes)


@pytest.mark.parametrize(
    ("price", "more", "words"),
    [
        ("1,250", {}, "may be 1.250 or 1250; write 1250, or say which: `--decimal comma` or `--decimal point`"),
        ("1.250,50", {}, "a comma and a point in one number; write 1250.50"),
        ("1,250,000", {}, "a sign between the thousands"),
        ("12,5", {"decimal": "point"}, "is no number"),
        ("12.5 EUR", {}, "is no amount of money"),
    ],
)
def test_numbers_that_can_be_read_in_two_ways(tmp_path: Path, price: str, more: dict[str, Any], words: str) -> None:
    text = f"id;length [mm];big_end [mm];pin [mm];price\nr85;85;30;16;{price}\n"
    assert words in faults(read(tmp_path, text, **more))


def test_the_decimal_sign_can_be_said(tmp_path: Path) -> None:
    text = "id;length [mm];big_end [mm];pin [mm];price\nr85;85;30;16;1,250\n"
    assert read(tmp_path, text, decimal="comma").parts[0][0].price == 1.25
    whole = read(tmp_path, text, decimal="point")
    assert whole.parts[0][0].price == 1250 and any("between thousands" in each for each in whole.notes)


def test_all_faults_come_at_once_with_their_lines(tmp_path: Path) -> None:
    held = RODS + "r84,84,30,16\n"
    text = RODS + "r84,84,30,16\nr85,85,30,16\nr85,85,30\nr85,850,30,16\n,86,30,16\nr87,#REF!,30,16\n"
    found = read(tmp_path, text, held=held)
    said = faults(found)
    for words in (
        ":2: part `r84`, field `id`: the id `r84` is taken already (",
        ":4: 3 cells for 4 columns",
        ":5: part `r85`, field `id`: the id `r85` stands in line 3 too",
        ":5: part `r85`, field `length`: a length of 850 mm is impossible (30 mm to 400 mm)",
        ":6: a rod without an id",
        ":7: part `r87`, field `length`: `#REF!` is what a spreadsheet shows for a mistake",
    ):
        assert words in said


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b"\n\n", "the file is empty"),
        (b"PK\x03\x04rest", "the file is a workbook"),
        (b"\xd0\xcf\x11\xe0rest", "the file is a workbook"),
        (b"id,length\n\x81\x8d\n", "the file is not UTF-8, nor Windows-1252 (byte 0x81)"),
        (b"id,length\na\x00b,1\n", "a control character (0x00)"),
        (b"\xff\xfei", "the file is not whole UTF-16"),
        (b'id,length [mm]\n"r85,85\n', "a quote is opened here and not closed"),
        (b"length [mm],big_end [mm]\n85,30\n", "no column is the `id`"),
        (RODS.encode(), "the file holds no part"),
        (b"My rods,,,\n" + RODS.encode() + b"r85,85,30,16\n", "the line names one column, and there are more"),
        (b"id,length [mm],Length (in),big_end [mm],pin [mm]\nr,85,3,30,16\n", "are both `length`"),
        (b"sep=a\nid,length\n", "`a` separates no cells"),
        (b"id;length [mm];big_end [mm];pin [mm];price (EUR);price (USD)\nr;85;30;16;1;2\n", "are both `price`"),
    ],
)
def test_hostile_files(tmp_path: Path, data: bytes, words: str) -> None:
    found = read(tmp_path, data)
    assert words in faults(found)
    assert all(each.suggestion for each in found.problems), "no fault without what to do"


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    place = shed(tmp_path)
    for path in (tmp_path / "nowhere.csv", tmp_path):
        result = run("shelf", "import", path, "--catalogue", place, "--kind", "rod", "--yes")
        assert result.exit_code == 2 and "Nothing was written" in result.stderr
    (tmp_path / "rods.csv").write_text(RODS + "r85,85,30,16\n")
    unknown = run("shelf", "import", tmp_path / "rods.csv", "--catalogue", place, "--encoding", "nosuch", "--yes")
    assert unknown.exit_code == 2 and "`nosuch` is no encoding that is known here" in unknown.stderr
    (tmp_path / "bits.csv").write_text(RODS + "r85,85,30,16\n")
    unsaid = run("shelf", "import", tmp_path / "bits.csv", "--catalogue", place, "--yes")
    assert unsaid.exit_code == 2 and "say it: `--kind KIND`" in unsaid.stderr
    assert list(place.iterdir()) == []


def test_nothing_is_written_unless_it_is_asked_for(tmp_path: Path) -> None:
    place = shed(tmp_path, rods_csv="# mine\r\nid,length [mm],big_end [mm],pin [mm]\r\nr84,84,30,16\r\n")
    (tmp_path / "new rods.csv").write_text("id,Length (mm),big end mm,pin_mm,Seen\nr85,85,30,16,yes\n")
    before = {path.name: path.read_bytes() for path in place.iterdir()}
    words = ["shelf", "import", tmp_path / "new rods.csv", "--catalogue", place, "--kind", "rods"]
    shown = run(*words)
    assert shown.exit_code == 0 and {path.name: path.read_bytes() for path in place.iterdir()} == before
    assert "Nothing was written. This does it:" in shown.stderr and "--kind rods --yes" in shown.stderr
    assert "Seen: no field is called so" in shown.stdout and "85 mm" in shown.stdout
    done = run(*words, "--yes")
    assert done.exit_code == 0 and "kitwright shelf check" in done.stderr
    text = (place / "rods.csv").read_bytes()
    assert text == before["rods.csv"] + b"r85,85,30,16\r\n", "remark, line ends and the header's units stay"
    assert [(each.work, each.part, each.note) for each in history(place)] == [("add", "r85", "import of new rods.csv")]
    again = run(*words, "--yes", "--format", "json")
    assert again.exit_code == 2 and (place / "rods.csv").read_bytes() == text
    assert "the id `r85` is taken already" in again.stderr and '"written": false' in again.stdout


def test_it_asks_on_a_terminal(tmp_path: Path) -> None:
    pty = pytest.importorskip("pty")
    place = shed(tmp_path)
    (tmp_path / "rods.csv").write_text(RODS + "r85,85,30,16\n")
    for answer, there, status in (("n\n", False, 0), ("\x04", False, 3), ("y\n", True, 0)):
        inner, outer = pty.openpty()
        words = [sys.executable, "-m", "kitwright.cli.main", "shelf", "import", "rods.csv", "--catalogue", "catalogue"]
        child = subprocess.Popen(words, cwd=tmp_path, stdin=outer, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        os.close(outer)
        os.write(inner, answer.encode())
        out, err = child.communicate(timeout=60)
        os.close(inner)
        assert child.returncode == status and b"Write this?" in err and b"r85" in out
        assert (place / "rods.yaml").exists() is there


def test_two_imports_at_once_write_the_parts_once(tmp_path: Path) -> None:
    place = shed(tmp_path, pins_yaml="gaskets:\n- {id: g1, thickness: 1 mm, bore: 72 mm}\n")
    (tmp_path / "rods.csv").write_text(RODS + "".join(f"r{n},{n},30,16\n" for n in range(60, 100)))
    words = [sys.executable, "-m", "kitwright.cli.main", "shelf", "import", "rods.csv", "--catalogue", "catalogue"]
    running = [
        subprocess.Popen([*words, "--yes"], cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(4)
    ]
    assert sorted(each.wait(timeout=120) for each in running) == [0, 2, 2, 2]
    assert len(load(place)) == 41 and len(history(place)) == 40


def test_many_rows_take_no_time(tmp_path: Path) -> None:
    """A thousand parts are one edit, not a thousand."""
    place = shed(tmp_path, rods_csv=RODS + "r0,84,30,16\n")
    (tmp_path / "rods.csv").write_text(RODS + "".join(f"n{n},{50 + n / 10},30,16\n" for n in range(1000)))
    held = load_to_add(place)
    write(understand(tmp_path / "rods.csv", held), held)
    assert len(load(place)) == 1001


NAMES = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)
LENGTHS = st.tuples(st.integers(3000, 40000), st.sampled_from(["mm", "in"]), st.integers(0, 30))


@st.composite
def rod_sheets(draw: st.DrawFn) -> tuple[list[dict[str, str]], str, str, bool, bool]:
    rows = []
    for part_id in draw(st.lists(NAMES.filter(lambda each: each[0] not in "'#"), min_size=1, max_size=5, unique=True)):
        hundredths, unit, spread = draw(LENGTHS)
        number = f"{hundredths / 100:.2f}" if unit == "mm" else f"{hundredths / 2540:.4f}"
        row = {"id": part_id, "length": f"{number} {unit}" + (f" ± 0.{spread:02d} {unit}" if spread else "")}
        row |= {"big_end": f"{draw(st.integers(80, 1200)) / 10:.1f}", "name": draw(NAMES | st.just(""))}
        row["on_shelf"] = str(draw(st.integers(0, 20)))
        rows.append(row)
    separator = draw(st.sampled_from([";", "\t", ","]))
    return rows, separator, draw(st.sampled_from(["\n", "\r\n"])), draw(st.booleans()), draw(st.booleans())


@given(rod_sheets())
@settings(max_examples=60, deadline=None)
def test_what_is_in_the_sheet_is_in_the_catalogue(sheet: tuple[list[dict[str, str]], str, str, bool, bool]) -> None:
    """Whatever separator, line ends, mark and decimal sign: the same parts, or a fault and nothing written."""
    rows, separator, end, mark, comma = sheet
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=end)
    writer.writerow(["Rod no", "Length", "Big End (mm)", "Pin_mm", "Description", "Stock"])
    for row in rows:
        size, spread = row["big_end"], row["length"]
        if comma:
            size, spread = size.replace(".", ","), spread.replace(".", ",")
        writer.writerow([row["id"], spread, size, 16, row["name"], row["on_shelf"]])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        place = shed(folder)
        text = out.getvalue().encode("utf-8-sig" if mark else "utf-8")
        found = read(folder, text)
        if found.problems:
            # what may stop such a sheet: a length out of range, a spread as large as it
            assert all(each.field == "length" for each in found.problems), faults(found)
            return
        write(found, load_to_add(place))
        held = load(place)
        assert {part.id for part in held} == {part.id for part, _ in found.parts} and len(held) == len(rows)
        for row in rows:
            part = held.get(row["id"])
            assert part is not None and part.on_shelf == int(row["on_shelf"]) and (part.name or "") == row["name"]
            assert part.length.text == row["length"]  # type: ignore[attr-defined]
            assert part.big_end.to("mm") == pytest.approx(float(row["big_end"]))  # type: ignore[attr-defined]


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_is_known_by_its_name(kind: str) -> None:
    """In any case, with blanks or underscores, its kind before it, and each likely unit in every form."""
    fields = fields_of(kind)
    for path, spec in fields.items():
        spaced = path.replace("_", " ").replace(".", " ")
        for header in (path, path.upper(), spaced, spaced.title(), spaced.replace(" ", "-"), f" {spaced} *"):
            found = match_header(header, fields, [kind])
            assert found is not None and (found.path, found.how) == (path, "name"), header
        for unit in spec.dimension.likely if spec.form == "quantity" and spec.dimension else ():
            for header in (f"{path} [{unit}]", f"{spaced} ({unit})", f"{path}_{unit}", f"{spaced} in {unit}"):
                found = match_header(header, fields, [kind])
                assert found is not None and (found.path, found.unit) == (path, unit), header


@given(st.binary(max_size=200) | st.text("idlength[m] ;,\t\"'\r\n0123456789.±=#|", max_size=120).map(str.encode))
@settings(max_examples=150, deadline=None)
def test_whatever_the_file_holds_nothing_breaks(data: bytes) -> None:
    with tempfile.TemporaryDirectory() as name:
        found = read(Path(name), data)
        assert found.problems or found.parts
        assert all(each.message and each.suggestion for each in found.problems), faults(found)


EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house" / "catalogue"


def said(part: Part) -> Any:
    """Everything that a part says, in the words of its dimensions; of bare numbers the number, not its zeros."""

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: plain(each) for key, each in value.items() if key != "text" or value.get("unit")}
        return [plain(each) for each in value] if isinstance(value, list) else value

    return plain(part_data(part))


@pytest.mark.parametrize("through", ["csv", "pandas", "workbook"])
def test_the_exported_shelf_goes_in_again(tmp_path: Path, through: str) -> None:
    """`shelf list --format csv`, a spreadsheet and `shelf import`: every part is there and says the same."""
    exported = tmp_path / "parts.csv"
    exported.write_text(run("shelf", "list", "--catalogue", EXAMPLE, "--format", "csv").stdout, encoding="utf-8")
    if through != "csv":
        import pandas as pd

        table = pd.read_csv(exported)
        if through == "workbook":
            table.to_excel(tmp_path / "parts.xlsx", index=False)
            table = pd.read_excel(tmp_path / "parts.xlsx")
        table.to_csv(exported, index=False)
    place = shed(tmp_path)
    result = run("shelf", "import", exported, "--catalogue", place, "--yes")
    assert result.exit_code == 0, result.stderr
    before, after = load(EXAMPLE), load(place)
    assert {part.id: said(part) for part in before} == {part.id: said(part) for part in after}
    assert len({part.kind for part in after}) == len({part.kind for part in before}) < len(KINDS)


def test_what_a_spreadsheet_would_run_is_neutralised_and_comes_back(tmp_path: Path) -> None:
    pd = pytest.importorskip("pandas")
    openpyxl = pytest.importorskip("openpyxl")
    nasty = {"=1+2": "+49 170", "-x": "@home", "'=y": "''-z", "plain": '=HYPERLINK("http://localhost")'}
    lines = [f"- {{id: {json_text(part)}, name: {json_text(name)}, thickness: 1 mm}}" for part, name in nasty.items()]
    place = shed(tmp_path, spacers_yaml="\n".join(["spacers:", *lines, ""]))
    exported = tmp_path / "parts.csv"
    exported.write_text(run("shelf", "list", "--catalogue", place, "--format", "csv").stdout, encoding="utf-8")
    table = pd.read_csv(exported)
    table.to_excel(tmp_path / "parts.xlsx", index=False)
    cells = [cell for row in openpyxl.load_workbook(tmp_path / "parts.xlsx").active.iter_rows() for cell in row]
    assert len(cells) > 10 and all(cell.data_type != "f" for cell in cells), "a cell is a formula"
    assert not any(str(cell.value)[:1] in "=+-@" for cell in cells if cell.value is not None)
    pd.read_excel(tmp_path / "parts.xlsx").to_csv(exported, index=False)
    (tmp_path / "other").mkdir()
    other = shed(tmp_path / "other")
    assert run("shelf", "import", exported, "--catalogue", other, "--yes").exit_code == 0
    assert {part.id: part.name for part in load(other)} == nasty


def json_text(text: str) -> str:
    import json

    return json.dumps(text)


def test_what_find_lists_is_numbers_to_a_spreadsheet(tmp_path: Path) -> None:
    pd = pytest.importorskip("pandas")
    openpyxl = pytest.importorskip("openpyxl")
    path = tmp_path / "found.csv"
    plan = EXAMPLE.parent / "plan.yaml"
    path.write_text(run("find", plan, "--top", "3", "--format", "csv").stdout, encoding="utf-8")
    table = pd.read_csv(path)
    figures = [name for name in table.columns if name.endswith(("_mm", "_cc", "_rpm", "_N", "_kPa"))]
    assert {"deck_mm", "quench_mm", "displacement_cc"} <= set(figures), "the unit stands in the header"
    for name in (*figures, "compression", "cost", "closeness", "rank"):
        assert table[name].dtype.kind in "if", name
    table.to_excel(tmp_path / "found.xlsx", index=False)
    sheet = openpyxl.load_workbook(tmp_path / "found.xlsx").active
    header = [cell.value for cell in next(sheet.iter_rows())]
    quench = [row[header.index("quench_mm")] for row in sheet.iter_rows(min_row=2)]
    assert all(cell.data_type == "n" for cell in quench)
    assert [cell.value for cell in quench] == list(table["quench_mm"]), "unrounded, there and back"


def test_words_of_other_languages(tmp_path: Path) -> None:
    german = (
        "Teilenr;Zylinderbohrung (mm);Kompressionshöhe mm;Bolzen [mm];Muldenvolumen ccm;Gewicht g;Preis;Lagerbestand\n"
    )
    found = read(tmp_path, german + "k1;65;23,5;15;1,5;210;29,90;1\n", "Kolben Mai.csv")
    assert faults(found) == "" and found.kinds == ("piston",)
    assert "kind piston, by `kolben` in the file's name" in found.notes
    assert [each.path for each in found.columns] == [
        "id",
        "bore",
        "compression_height",
        "pin",
        "dish",
        "mass",
        "price",
        "on_shelf",
    ]
    french = "réf;Alésage (mm);hauteur de compression (mm);axe (mm);prix;quantité;remarques\n"
    found = read(tmp_path, french + "p9;65,0;23,0;15;12,5;1;bon\n", "mes pistons.csv")
    assert faults(found) == "" and [each.path for each in found.columns] == [
        "id",
        "bore",
        "compression_height",
        "pin",
        "price",
        "on_shelf",
        "note",
    ]
    found = read(tmp_path, "id,thickness [mm],bore [mm]\ng1,1,66\n", "joints-de-culasse.csv")
    assert found.kinds == ("gasket",)
    found = read(tmp_path, "id,length [mm]\nx,1\n", "tiges de culbuteur.csv")
    assert found.kinds == ("pushrod",), "the longest name, not the rocker in it"


def test_a_file_that_names_two_kinds_names_none(tmp_path: Path) -> None:
    found = read(tmp_path, RODS + "r1,85,32,16\n", "rods and pistons.csv")
    assert "nothing says which kind of part the file holds" in faults(found)


def test_what_tells_the_parts_apart_is_looked_for(tmp_path: Path) -> None:
    rows = "Colour,Kolben,bore [mm],compression height [mm],pin [mm]\nred,k1,65,23,15\nred,k2,65,24,15\n"
    assert 'name the column that tells them apart: `--map "Kolben=id"`' in faults(read(tmp_path, rows, "pistons.csv"))
    named = "Name,thickness [mm],bore [mm]\nthin,1,66\n"
    assert '`--map "Name=id"`' in faults(read(tmp_path, named, "gaskets.csv"))
    assert '`--map "Their header=id"`' in faults(read(tmp_path, "bore [mm],pin [mm]\n65,15\n", "pistons.csv"))
