"""Files to parts: YAML and CSV, encodings, units, places."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitwright.catalogs import InputError, Problem, load
from kitwright.catalogs.nodes import Row
from kitwright.catalogs.problems import nearest
from kitwright.catalogs.read_csv import parse_csv
from kitwright.catalogs.read_yaml import parse_yaml, rows_of
from kitwright.catalogs.rows import build
from kitwright.catalogs.write import to_yaml
from kitwright.solver.parts import KINDS, Block, Crank, Gasket, Head, Part, Piston
from kitwright.solver.quantity import LENGTH, parse

CRANKS = "cranks:\n- id: k57\n  stroke: 57.00 mm ± 0.05 mm\n  journal: 30 mm\n"


def laid(folder: Path, **files: str | bytes) -> Path:
    """A catalogue's folder; ``cranks__csv`` is the file ``cranks.csv``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        data = text if isinstance(text, bytes) else text.encode()
        (folder / name.replace("__", ".")).write_bytes(data)
    return folder


def the_part(folder: Path, part_id: str) -> Any:
    part = load(folder).get(part_id)
    assert part is not None
    return part


# YAML.


def test_values_know_their_file_and_line(tmp_path: Path) -> None:
    crank = the_part(laid(tmp_path, a__yaml="# a remark\n\n" + CRANKS), "k57")
    assert str(crank.stroke.origin) == f"{tmp_path / 'a.yaml'}:5"
    assert str(crank.origin) == f"{tmp_path / 'a.yaml'}:4"
    assert crank.stroke.text == "57.00 mm ± 0.05 mm"
    assert (crank.stroke.to("mm"), crank.stroke.tolerance_in("mm")) == (57.0, 0.05)


@pytest.mark.parametrize(
    "data",
    [
        CRANKS.encode(),
        b"\xef\xbb\xbf" + CRANKS.encode(),
        CRANKS.replace("\n", "\r\n").encode(),
        b"\xef\xbb\xbf---\r\n" + CRANKS.replace("\n", "\r\n").encode(),
        CRANKS.rstrip("\n").encode(),
    ],
    ids=["plain", "byte-order mark", "CRLF", "all of them", "no last line end"],
)
def test_yaml_of_every_editor_reads_alike(tmp_path: Path, data: bytes) -> None:
    crank = the_part(laid(tmp_path, a__yaml=data), "k57")
    assert (crank.stroke.to("mm"), crank.journal.to("mm")) == (57.0, 30.0)


def test_ids_and_texts_stay_as_they_are_written(tmp_path: Path) -> None:
    words = ("007", "1.50", "yes", "0x1F", "2024-01-31")
    text = "cranks:\n" + "".join(f"- {{id: {word}, stroke: 57 mm, journal: 30 mm}}\n" for word in words)
    assert [part.id for part in load(laid(tmp_path, a__yaml=text))] == sorted(words)


def test_null_and_empty_are_absent(tmp_path: Path) -> None:
    text = CRANKS + "  price:\n  max_rpm: null\n  name: ~\n  counterweight_radius: \n"
    crank = the_part(laid(tmp_path, a__yaml=text), "k57")
    assert (crank.price, crank.max_rpm, crank.name, crank.counterweight_radius, crank.on_shelf) == (None,) * 4 + (0,)


def test_every_form_of_field_is_read(tmp_path: Path) -> None:
    text = """blocks:
- id: b72
  bore: 2.8346 in
  block_height: 142 mm
  cylinders: 2
  tags: [stud-86, cam-b]
  deck_cut: {max: 0.6 mm, step: 0.1 mm, labour: 55}
  rebore: {to: [72.5 mm, 73 mm], labour: 48.50}
  on_shelf: 1
  price: 35.5
  note: |
    bored once,
    and true
heads:
- {id: h22, chamber: 22 cc, chamber_area: 34 cm2, mill: {max: 1 mm, step: 0.25 mm}, fits: stud-86}
gaskets:
- {id: g05, thickness: 20 thou, bore: 73.5 mm, stackable: no}
"""
    folder = laid(tmp_path, a__yaml=text)
    block, head, gasket = (the_part(folder, each) for each in ("b72", "h22", "g05"))
    assert isinstance(block, Block)
    assert isinstance(head, Head)
    assert isinstance(gasket, Gasket)
    assert (block.cylinders, block.tags, block.on_shelf, block.price) == (2, ("stud-86", "cam-b"), 1, 35.5)
    assert block.rebore is not None
    assert [bore.to("mm") for bore in block.rebore.to] == [72.5, 73.0]
    assert block.rebore.labour == 48.5
    assert block.note == "bored once,\nand true"
    assert head.mill is not None
    assert [float(1000 * amount) for amount in head.mill.amounts()] == [0, 0.25, 0.5, 0.75, 1.0]
    assert head.mill.labour == 0
    assert head.fits == ("stud-86",)
    assert gasket.stackable is False
    assert gasket.thickness.to("mm") == pytest.approx(0.508, rel=1e-12)


def test_a_fault_never_drops_a_part_silently(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        load(laid(tmp_path, a__yaml=CRANKS + "  colour: red\n"))


def test_a_large_file_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kitwright.catalogs.read_yaml.LARGEST_FILE", 20)
    with pytest.raises(InputError, match=r"read at most: split it"):
        load(laid(tmp_path, a__yaml=CRANKS))


def test_the_count_of_nodes_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("kitwright.catalogs.read_yaml.MOST_NODES", 10)
    problems: list[Problem] = []
    assert parse_yaml("a: [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]", "a.yaml", problems) is None
    assert "more than 10 keys and values" in str(problems[0])


def test_the_slow_reader_finds_what_the_quick_one_finds(monkeypatch: pytest.MonkeyPatch) -> None:
    import yaml

    texts = [
        CRANKS,
        "a: *b\n",
        "a: !!int 1\n",
        "a: {b: 1\nc: 2\n",
        "a: 1\n\tb: 2\n",
        "a: 'x\n",
        "- x: 1\n y: 2\n",
    ]

    def lines() -> list[object]:
        found: list[object] = []
        for text in texts:
            problems: list[Problem] = []
            table = parse_yaml(text, "a.yaml", problems)
            found.append((table, [(each.line > 0, each.file) for each in problems]))
        return found

    quick = lines()
    monkeypatch.setattr("kitwright.catalogs.read_yaml.LOADER", yaml.SafeLoader)
    assert lines() == quick


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    problems: list[Problem] = []
    table = parse_yaml(text, "any.yaml", problems)
    rows = list(rows_of(table, problems)) if table is not None else []
    assert table is not None or problems
    assert all(build(row, problems) is not None or problems for row in rows)
    assert all(str(each).startswith("any.yaml:") for each in problems)


@given(
    st.sampled_from(sorted(KINDS)),
    st.dictionaries(st.sampled_from(["id", "bore", "mill", "fits"]), st.text(max_size=20)),
)
def test_any_row_is_a_part_or_a_problem(kind: str, fields: dict[str, str]) -> None:
    from kitwright.catalogs.nodes import Scalar, Table

    table = Table({key: Scalar(text, "any.yaml", 1) for key, text in fields.items()}, "any.yaml", 1)
    problems: list[Problem] = []
    part = build(Row(kind, table), problems)
    assert (part is None) == bool(problems)


# CSV.


def csv_parts(text: str, kind: str | None = "crank") -> tuple[list[Part], list[Problem]]:
    problems: list[Problem] = []
    built = [build(row, problems) for row in parse_csv(text, "cranks.csv", problems, kind)]
    return [part for part in built if part is not None], problems


def test_csv_and_yaml_say_the_same(tmp_path: Path) -> None:
    yaml_text = """heads:
- {id: h22, name: 'short, worn', chamber: 22 ± 0.5 cc, chamber_area: 34 cm2, on_shelf: 1,
    price: 20, fits: [a, b]}
- {id: h23, chamber: 1.4 in3, chamber_area: 34 cm2, mill: {max: 1 mm, step: 0.1 mm}}
blocks:
- {id: b72, bore: 72 mm, block_height: 142 mm, rebore: {to: [72.5 mm, 73 mm], labour: 48}, tags: [a]}
"""
    heads = """id,name,chamber [cc],chamber_area [cm2],on_shelf,price,fits,mill.max [mm],mill.step [mm]
h22,"short, worn",22 ± 0.5,34,1,20,a b,,
h23,,1.4 in3,34,,,,1,0.1
"""
    header = "kind,id,bore [mm],block_height [mm],rebore.to [mm],rebore.labour,tags"
    blocks = f"{header}\nblock,b72,72,142,72.5; 73,48,a\n"
    one = load(laid(tmp_path / "one", a__yaml=yaml_text))
    two = load(laid(tmp_path / "two", heads__csv=heads, more__csv=blocks))
    assert bare(one) == bare(two)


def bare(parts: Any) -> dict[str, dict[str, object]]:
    """What parts are, whatever place and spelling they came from."""
    found = {}
    for part in parts:
        sizes = {name: (each.exact, each.tolerance, each.stated) for name, each in part.quantities()}
        if isinstance(part, Block) and part.rebore:
            sizes["rebore"] = tuple(each.exact for each in part.rebore.to)
        found[part.id] = {
            "kind": part.kind,
            "name": part.name,
            "price": part.price,
            "shelf": part.on_shelf,
        } | sizes
        found[part.id] |= {"fits": part.fits, "labour": getattr(getattr(part, "mill", None), "labour", None)}
    return found


@pytest.mark.parametrize(
    "text",
    [
        "id,stroke [mm],journal [mm]\nk57,57,30\n",
        "id,stroke[mm],journal [ mm ]\nk57,57,30\n",
        "\ufeffid,stroke [mm],journal [mm]\r\nk57,57,30\r\n",
        '# invented parts, "not" for sale\n\nid,stroke [mm],journal [mm]\n\nk57,57,30\n,,\n',
        "journal [mm],id,stroke [mm]\n30,k57,57 mm\n",
        'id,"stroke [mm]","journal [mm]",\n"k57","57","30",\n',
        "id,stroke [cm],journal [in]\nk57,5.7,30 mm\n",
        "kind,id,stroke [mm],journal [mm]\ncranks,k57,57,30\n",
        "id,stroke,journal\nk57,57 mm,30 mm\n",
    ],
)
def test_csv_in_many_hands(tmp_path: Path, text: str) -> None:
    crank = the_part(laid(tmp_path, cranks__csv=text), "k57")
    assert isinstance(crank, Crank)
    assert (crank.stroke.to("mm"), crank.journal.to("mm")) == (57.0, 30.0)


def test_a_long_unit_in_a_header_makes_no_long_message() -> None:
    problems: list[Problem] = []
    assert list(parse_csv(f"id,length [{'x' * 5000}]\nr1,98\n", "rods.csv", problems, "rod")) == []
    assert len(problems) == 1
    assert "is no unit" in problems[0].message
    assert len(problems[0].message) < 300


def test_the_headers_unit_goes_with_both_sides_of_a_tolerance() -> None:
    parts, problems = csv_parts("id,stroke [mm],journal [mm]\nk57,57 ± 0.05,30 mm +/- 10 um\n")
    assert not problems
    assert isinstance(parts[0], Crank)
    assert parts[0].stroke.tolerance_in("mm") == 0.05
    assert str(parts[0].stroke) == "57 ± 0.05 mm"
    assert parts[0].journal.tolerance_in("um") == pytest.approx(10)


def test_lines_are_counted_through_quoted_line_breaks() -> None:
    text = '# remark\nid,stroke [mm],journal [mm],note\nk57,57,30,"one\ntwo\nthree"\nk58,58,30,\n\nk59,59,30,\n'
    parts, problems = csv_parts(text)
    assert not problems
    assert [part.origin and part.origin.line for part in parts] == [3, 6, 8]


def test_empty_cells_are_absent_and_null_is_text() -> None:
    parts, problems = csv_parts("id,stroke [mm],journal [mm],name,max_rpm [rpm],price\nk57,57,30,null,,\n")
    assert not problems
    assert (parts[0].name, parts[0].price) == ("null", None)


def test_a_field_of_an_empty_group_makes_no_group() -> None:
    parts, problems = csv_parts("id,chamber [cc],mill.max [mm],mill.step [mm]\nh22,22,,\n", "head")
    assert not problems
    assert isinstance(parts[0], Head)
    assert parts[0].mill is None


@given(st.text(alphabet="id,;\"'\n\r\t#[]mm 57±.k-", max_size=120))
def test_any_csv_is_read_or_refused(text: str) -> None:
    parts, problems = csv_parts(text)
    assert all(str(each).startswith("cranks.csv:") for each in problems)
    assert all(isinstance(part, Crank) for part in parts)


# Writing.


def test_what_is_written_reads_back_the_same(tmp_path: Path) -> None:
    starter = Path(str(resources.files("kitwright.catalogs") / "starter" / "catalogue"))
    first = load(starter)
    text = to_yaml(first)
    second = load(laid(tmp_path / "again", all__yaml=text))
    assert bare(first) == bare(second)
    assert to_yaml(second) == text


@given(
    text=st.text(st.characters(blacklist_categories=["C"], blacklist_characters="\x85\u2028\u2029"), max_size=30),
    price=st.integers(0, 10**8).map(lambda cents: cents / 100),
    shelf=st.integers(0, 10_000),
)
def test_any_text_and_number_is_written_so_that_it_reads_back(text: str, price: float, shelf: int) -> None:
    note = text.strip()
    size = parse("57 mm", LENGTH)
    crank = Crank(id="k", stroke=size, journal=parse("30 mm", LENGTH), note=note, price=price, on_shelf=shelf)
    problems: list[Problem] = []
    table = parse_yaml(to_yaml([crank]), "a.yaml", problems)
    assert table is not None
    (part,) = (build(row, problems) for row in rows_of(table, problems))
    assert not problems
    assert part is not None
    assert (part.note, part.price, part.on_shelf) == (note, price, shelf)


# Folders.


def test_order_of_files_and_rows_changes_nothing(tmp_path: Path) -> None:
    rows = [f"- {{id: k{number}, stroke: {number} mm, journal: 30 mm}}\n" for number in range(40, 60)]
    one = load(laid(tmp_path / "one", a__yaml="cranks:\n" + "".join(rows)))
    two = load(
        laid(
            tmp_path / "two",
            z__yaml="cranks:\n" + "".join(rows[:7][::-1]),
            a__yaml="cranks:\n" + "".join(rows[7:]),
        )
    )
    assert bare(one) == bare(two)
    assert [part.id for part in one] == [part.id for part in two]


def test_what_is_not_read_is_said(tmp_path: Path) -> None:
    folder = laid(
        tmp_path,
        a__yaml=CRANKS,
        b__yml=CRANKS,
        c__json="{}",
        d__xlsx="",
        e__txt="",
        README__md="",
        f__ods="",
        g__jpg="",
    )
    (folder / "old").mkdir()
    (folder / ".git").mkdir()
    (folder / ".hidden.yaml").write_text("nonsense: 1")
    told = "\n".join(load(folder).warnings)
    for name in (
        "b.yml: the file is not read; rename it to .yaml",
        "c.json",
        "d.xlsx",
        "e.txt",
        "f.ods",
        "old: a folder",
    ):
        assert name in told
    for name in ("README", "hidden", ".git", "g.jpg"):
        assert name not in told


@pytest.mark.parametrize("suffix", [".YAML", ".Csv"])
def test_capitals_in_a_suffix_do_not_matter(tmp_path: Path, suffix: str) -> None:
    text = CRANKS if suffix == ".YAML" else "id,stroke [mm],journal [mm]\nk57,57,30\n"
    (tmp_path / f"cranks{suffix}").write_text(text, encoding="utf-8")
    assert load(tmp_path).get("k57") is not None


def test_a_missing_folder_a_file_and_an_empty_folder(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    file = tmp_path / "parts.yaml"
    file.write_text(CRANKS, encoding="utf-8")
    for place, words in (
        (tmp_path / "nowhere", "there is no such folder"),
        (file, "is a file, and a catalogue is a folder"),
        (tmp_path / "empty", "holds no .yaml and no .csv file"),
    ):
        with pytest.raises(InputError) as caught:
            load(place)
        assert f"{place}: " in str(caught.value)
        assert words in str(caught.value)


def test_an_unreadable_file_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = laid(tmp_path, a__yaml=CRANKS)

    def refuse(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(InputError, match=r"a\.yaml: cannot be read: Permission denied"):
        load(folder)


def test_an_unreadable_folder_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path) -> Any:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", refuse)
    with pytest.raises(InputError, match="cannot be read: Permission denied"):
        load(tmp_path)


def test_a_pipe_is_no_catalogue_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.yaml")
    with pytest.raises(InputError, match=r"a\.yaml: is no ordinary file"):
        load(tmp_path)


def test_a_plain_string_is_a_folder_too(tmp_path: Path) -> None:
    catalogue = load(str(laid(tmp_path, a__yaml=CRANKS)))
    assert catalogue.folder == str(tmp_path)
    assert len(catalogue) == 1


def test_zero_dish_and_zero_dome_go_together(tmp_path: Path) -> None:
    text = "pistons:\n- {id: p, bore: 72 mm, compression_height: 28 mm, pin: 16 mm, dish: 0 cc, dome: 0 cc}\n"
    piston = the_part(laid(tmp_path, a__yaml=text), "p")
    assert isinstance(piston, Piston)


@pytest.mark.parametrize("word", ["max", "step"])
def test_an_amount_of_machining_has_no_tolerance(tmp_path: Path, word: str) -> None:
    """It would enter no spread: what a cut leaves is measured, and that has its ±."""
    steps = {"max": "0.5 mm", "step": "0.1 mm"}
    block = "blocks:\n- {{id: b, bore: 72 mm, block_height: 142 mm, deck_cut: {{max: {max}, step: {step}}}}}\n"
    load(laid(tmp_path / "plain", a__yaml=block.format_map(steps)))
    strays = steps | {word: f"{steps[word]} ± 0.02 mm"}
    with pytest.raises(InputError) as caught:
        load(laid(tmp_path / "strays", a__yaml=block.format_map(strays)))
    assert f"{word} {strays[word]} has a ±, and an amount of machining is exact" in str(caught.value)
    assert f"write `{word}: {steps[word]}`" in str(caught.value)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_has_a_required_field_besides_its_id_or_takes_none(tmp_path: Path, kind: str) -> None:
    folder = laid(tmp_path, a__yaml=f"{KINDS[kind].plural}:\n- id: x\n")
    if kind in ("retainer",):
        assert load(folder).get("x") is not None
        return
    with pytest.raises(InputError) as caught:
        load(folder)
    assert all(problem.part == "x" and problem.line == 2 for problem in caught.value.problems)


def test_the_nearest_word_is_found_through_capitals_and_hyphens() -> None:
    assert nearest("Compression-Height", ["compression_height", "pin"]) == "compression_height"
    assert nearest("zzz", ["compression_height", "pin"]) == ""


def test_the_names_of_the_package() -> None:
    import kitwright.catalogs as catalogs

    assert all(callable(getattr(catalogs, name)) for name in catalogs.__all__)
