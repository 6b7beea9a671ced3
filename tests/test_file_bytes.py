"""What editors, spreadsheets and copying do to a file's bytes: read as what it says, or refused with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from kitwright.catalogs import InputError, load
from kitwright.catalogs.stock import move
from tests.cli_runner import run

YAML = b"""\
# here
gaskets:
- id: g05
  thickness: 0.5 mm
  bore: 73 mm
  on_shelf: 3
- {id: g10, thickness: 1 mm, bore: 73 mm}
"""
CSV = b'# here\nid,length [mm],big_end [mm],pin [mm],note,on_shelf\nr85,85,30,16,"one\ntwo",2\nr86,86,30,16,,\n'
BOM = "\ufeff".encode()
ENDS = {"LF": b"\n", "CRLF": b"\r\n", "CR": b"\r"}


def shed(folder: Path, yaml: bytes = YAML, csv: bytes = CSV) -> Path:
    (folder / "gaskets.yaml").write_bytes(yaml)
    (folder / "rods.csv").write_bytes(csv)
    return folder


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("mark", [b"", BOM], ids=["bare", "with a byte-order mark"])
@pytest.mark.parametrize("ended", [True, False])
def test_every_line_end_is_read_and_stays(tmp_path: Path, end: str, mark: bytes, ended: bool) -> None:
    """Also within a cell: a spreadsheet ends the lines of a note as it ends those of the file."""

    def written(data: bytes) -> bytes:
        return mark + (data if ended else data.rstrip()).replace(b"\n", ENDS[end])

    folder = shed(tmp_path, written(YAML), written(CSV))
    found = {part.id: part for part in load(folder)}
    assert {each: part.on_shelf for each, part in found.items()} == {"g05": 3, "g10": 0, "r85": 2, "r86": 0}
    assert {each: part.origin.line for each, part in found.items() if part.origin} == {
        "g05": 3, "g10": 7, "r85": 3, "r86": 5
    }  # fmt: skip
    assert found["r85"].note == "one\ntwo"
    move(load(folder), {"g05": 1, "r85": 1}, "put")
    assert (folder / "gaskets.yaml").read_bytes() == written(YAML.replace(b"on_shelf: 3", b"on_shelf: 4"))
    assert (folder / "rods.csv").read_bytes() == written(CSV.replace(b'",2', b'",3'))


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (b"\0", "a control character (0x00) is in the file; is it a text file? delete the character"),
        (b"\x1a", "a control character (0x1a) is in the file"),
        (b"\xe9", "the file is not UTF-8 (byte 0xe9); save it as UTF-8"),
        ("\x85".encode(), "a line break that editors do not show (U+0085) is in the file; delete it"),
        ("\u2028".encode(), "a line break that editors do not show (U+2028) is in the file; delete it"),
        ("\u2029".encode(), "a line break that editors do not show (U+2029) is in the file; delete it"),
    ],
)
def test_what_no_editor_shows_is_refused_with_its_line(tmp_path: Path, end: str, bad: bytes, said: str) -> None:
    yaml = YAML.replace(b"73 mm\n  on", b"73 mm #" + bad + b"gaskets: []\n  on").replace(b"\n", ENDS[end])
    csv = CSV.replace(b"r86", bad + b"r86").replace(b"\n", ENDS[end])
    folder = shed(tmp_path, yaml, csv)
    with pytest.raises(InputError) as caught:
        load(folder)
    first, second = str(caught.value).splitlines()
    assert first.startswith(f"{folder / 'gaskets.yaml'}:5: {said}")
    assert second.startswith(f"{folder / 'rods.csv'}:5: {said}")
    result = run("shelf", "check", folder)
    assert result.exit_code == 1 and said in result.stdout
    assert (folder / "gaskets.yaml").read_bytes() == yaml and (folder / "rods.csv").read_bytes() == csv


def test_two_byte_order_marks_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"rods\.csv:1: the file begins with two byte-order marks; save it anew"):
        load(shed(tmp_path, csv=BOM + BOM + CSV))


@pytest.mark.parametrize(
    ("yaml", "csv", "said"),
    [
        (YAML.replace(b"  on", b"  on_shelf: 2\n  on"), CSV, "`on_shelf` stands twice: in line 6 and in line 7"),
        (YAML.replace(b"  on", b"  'on_shelf': 2\n  on"), CSV, "`on_shelf` stands twice: in line 6 and in line 7"),
        (YAML + b"gaskets: []\n", CSV, "`gaskets` stands twice: in line 2 and in line 8"),
        (YAML, CSV.replace(b"note", b"on_shelf"), "two columns are called `on_shelf`"),
        (YAML, CSV.replace(b"pin [mm]", b"length [in]"), "two columns are called `length`"),
    ],
)
@pytest.mark.parametrize("end", ENDS)
def test_a_key_that_stands_twice_is_refused(tmp_path: Path, yaml: bytes, csv: bytes, said: str, end: str) -> None:
    folder = shed(tmp_path, yaml.replace(b"\n", ENDS[end]), csv.replace(b"\n", ENDS[end]))
    with pytest.raises(InputError) as caught:
        load(folder)
    assert said in str(caught.value)


@pytest.mark.parametrize("end", ENDS)
def test_a_sheet_with_lines_within_a_cell_is_taken_over(tmp_path: Path, end: str) -> None:
    folder = tmp_path / "catalogue"
    folder.mkdir()
    (folder / "gaskets.yaml").write_bytes(YAML)
    sheet = tmp_path / "rods.csv"
    sheet.write_bytes(CSV.replace(b"\n", ENDS[end]))
    assert run("shelf", "import", sheet, folder, "--yes").exit_code == 0
    part = load(folder).get("r85")
    assert part is not None and part.note == "one\ntwo"
