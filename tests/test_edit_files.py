"""Edits that keep the builder's layout: what is asked for changes, every other character stays."""

from __future__ import annotations

import doctest
import random
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitwright.catalogs import InputError, edit_csv, edit_yaml, load
from kitwright.catalogs.edit import append_part, change_count, set_field
from kitwright.catalogs.edit_yaml import EditError, append_item, remove_key, set_value, value_at

ROOT = Path(__file__).parent.parent
FOLDERS = ("examples/pump-house/catalogue", "catalogs/starter/catalogue", "tests/data/scenarios/*/catalogue")
FILES = sorted(path for folder in FOLDERS for path in ROOT.glob(f"{folder}/*"))


def test_the_examples_of_the_editors_are_true() -> None:
    for module in (edit_yaml, edit_csv):
        done = doctest.testmod(module)
        assert done.attempted >= 2 and not done.failed


@pytest.mark.parametrize(
    ("text", "path", "value", "after"),
    [
        ("a: 1 # x\nb: 2\n", ["a"], "9", "a: 9 # x\nb: 2\n"),
        ("a: 'it''s'\n", ["a"], "o'clock", "a: 'o''clock'\n"),
        ('a: "x"   # y\n', ["a"], "z: 1", 'a: "z: 1"   # y\n'),
        ("a: x\n", ["a"], "y: 1", 'a: "y: 1"\n'),
        ("a:\nb: 2\n", ["a"], "1", "a: 1\nb: 2\n"),
        ("a:   # none yet\n", ["a"], "1", "a: 1   # none yet\n"),
        ("a: {b: 1, c: 2}  # d\n", ["a", "c"], "3", "a: {b: 1, c: 3}  # d\n"),
        ("a: {b: 1}\n", ["a", "c"], "3", "a: {b: 1, c: 3}\n"),
        ("a: {b: 1,}\n", ["a", "c"], "3", "a: {b: 1, c: 3,}\n"),
        ("a: {}\n", ["a", "c"], "3", "a: {c: 3}\n"),
        ("a: { b: }\n", ["a", "c"], "3", "a: { b: , c: 3 }\n"),
        (
            "a: {\n  b: 1,  # one\n  c: 2  # two\n}\n",
            ["a", "d"],
            "3",
            "a: {\n  b: 1,  # one\n  c: 2,  # two\n  d: 3\n}\n",
        ),
        ("a: {\n  b: 1,  # one\n}\n", ["a", "d"], "3", "a: {\n  b: 1,  # one\n  d: 3,\n}\n"),
        ("- x\n".replace("- x", "a:\n  b: 1  # one\n\n# end"), ["a", "c"], "2", "a:\n  b: 1  # one\n  c: 2\n\n# end\n"),
        ("a:\n- b: 1\n  # under\n- b: 2\n", ["a", 0, "c"], "3", "a:\n- b: 1\n  c: 3\n  # under\n- b: 2\n"),
        ("a: 1", ["b"], "2", "a: 1\nb: 2"),
        ("", ["b"], "2", "b: 2\n"),
        ("# only\n", ["b"], "2", "# only\nb: 2\n"),
        ("---\na: 1\n...\n", ["b"], "2", "---\na: 1\nb: 2\n...\n"),
        ("a: |\n  one\n  two\n\n# end\nb: 2\n", ["a"], "one", "a: one\n\n# end\nb: 2\n"),
        ("a: one\n  two\nb: 2\n", ["a"], "x", "a: x\nb: 2\n"),
        ("a: ~\nb: 2\n", ["a", "c"], "1", "a: {c: 1}\nb: 2\n"),
        ("a: 1\n", ["b"], ["x", "y z"], "a: 1\nb: [x, y z]\n"),
        ("a: 1\n", ["b", "c"], "2", "a: 1\nb: {c: 2}\n"),
        ("# units: in\n\n# end\n", ["units"], "mm", "# units: in\nunits: mm\n\n# end\n"),
        ("a: 1\r\nb: 2\r\n", ["a"], "3", "a: 3\r\nb: 2\r\n"),
        ("a: 0.5 mm ± 0.1 mm # ä\n", ["b"], "1 mm ± 2 mm", "a: 0.5 mm ± 0.1 mm # ä\nb: 1 mm ± 2 mm\n"),
        ("a: 1\t# one\nb: 2\n", ["b"], "3", "a: 1\t# one\nb: 3\n"),
        ("a:\t1\t\nb: 2\n", ["a"], "3", "a:\t3\t\nb: 2\n"),
        ("a: {b: 1,\tc: 57\tmm\t}\t# x\n", ["a", "c"], "3", "a: {b: 1,\tc: 3\t}\t# x\n"),
        ('a: "x\ty"\nb: |\n  x\ty\nc: 1\n', ["c"], "2", 'a: "x\ty"\nb: |\n  x\ty\nc: 2\n'),
    ],
)
def test_a_value_is_set_where_it_stands(text: str, path: Any, value: Any, after: str) -> None:
    assert set_value(text, path, value) == after
    crlf = text.replace("\r\n", "\n").replace("\n", "\r\n")
    if "\n" in text:
        assert set_value(crlf, path, value) == after.replace("\r\n", "\n").replace("\n", "\r\n")


@pytest.mark.parametrize(
    ("text", "after"),
    [
        ("a: 1\n", "a: 1\nm:\n- {x: 1}\n"),
        ("m: []  # none\n", "m: [{x: 1}]  # none\n"),
        ("m:   # none\nb: 2\n", "m:   # none\n- {x: 1}\nb: 2\n"),
        ("m: null   # none\nb: 2\n", "m:   # none\n- {x: 1}\nb: 2\n"),
        ("m:\n  - {a: 1}  # one\n\n# end\nb: 2\n", "m:\n  - {a: 1}  # one\n  - {x: 1}\n\n# end\nb: 2\n"),
        ("m:\n- a: 1\n  b: 2  # two\nc: 3\n", "m:\n- a: 1\n  b: 2  # two\n- x: 1\nc: 3\n"),
        ("m: [{a: 1}]\n", "m: [{a: 1}, {x: 1}]\n"),
        ("m: [\n  {a: 1},  # one\n  {b: 1}  # two\n]\n", "m: [\n  {a: 1},  # one\n  {b: 1},  # two\n  {x: 1}\n]\n"),
        ("m:\n- {a: 1}\n\n- {b: 1}\nc: 3\n", "m:\n- {a: 1}\n\n- {b: 1}\n\n- {x: 1}\nc: 3\n"),
        ("m:\n- {a: 1}", "m:\n- {a: 1}\n- {x: 1}"),
        ("m:\n-\n- {a: 1,\n   b: 2}\n", "m:\n-\n- {a: 1,\n   b: 2}\n- {x: 1}\n"),
        ("# m:\n# - {x: 0}\n\n# end\n", "# m:\n# - {x: 0}\nm:\n- {x: 1}\n\n# end\n"),
        ("b:\n  c: 1\n# m:\n  d: 2\n", "b:\n  c: 1\n# m:\n  d: 2\nm:\n- {x: 1}\n"),
    ],
)
def test_an_entry_is_added_after_the_last(text: str, after: str) -> None:
    assert append_item(text, ["m"], {"x": "1"}) == after


@pytest.mark.parametrize(
    ("text", "path", "after"),
    [
        ("a: {b: 1, c: 2}\n", ["a", "b"], "a: {c: 2}\n"),
        ("a: {b: 1}\n", ["a", "b"], "a: {}\n"),
        ("a:\n  b: 1   # one\n  c: 2\n", ["a", "b"], "a:\n  # one\n  c: 2\n"),
        ("a:\n  b: 1\n  c: 2\n", ["a", "c"], "a:\n  b: 1\n"),
        ("a:\n- b: 1\n  c: 2\n", ["a", 0, "b"], "a:\n- c: 2\n"),
        ("a: 1\nb:\n  c: [1,\n    2]\nd: 3\n", ["b"], "a: 1\nd: 3\n"),
    ],
)
def test_a_key_is_taken_out(text: str, path: Any, after: str) -> None:
    assert remove_key(text, path) == after


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ("a: {b: 1,  # one\n c: 2}\n", ["a", "c"]),
        ("a:\n- b: 1  # one\n  c: 2\n", ["a", 0, "b"]),
        ("a:\n- b: 1\n", ["a", 0, "b"]),
        ("a: 1\n", ["b"]),
        ("a: 1\n", ["a", "b"]),
    ],
)
def test_what_cannot_be_taken_out_alone_is_refused(text: str, path: Any) -> None:
    with pytest.raises(EditError, match="nothing was changed"):
        remove_key(text, path)


@pytest.mark.parametrize("path", [["a", "b"], ["a", 0], ["c", 5, "x"], ["c", "x"]])
def test_a_place_that_is_none_is_refused(path: Any) -> None:
    with pytest.raises(EditError, match="write it by hand"):
        set_value("a: 1\nc:\n- x: 1\n", path, "2")
    with pytest.raises(EditError):
        append_item("a: 1\nc:\n- x: 1\n", [*path[:-1], "a"] if path[0] == "a" else ["a"], "2")


def test_a_comment_inside_a_value_that_goes_is_not_lost() -> None:
    with pytest.raises(EditError):
        set_value("a: {b: 1, # one\n  c: 2}\n", ["a"], "x")
    assert set_value("a: {b: 1,\n  c: 2} # one\n", ["a"], "x") == "a: x # one\n"


@pytest.mark.parametrize("text", ["a: [1\n", "a: 1\na: 2\n", "- a\n", "a: &x 1\nb: *x\n"])
def test_a_file_at_fault_is_refused_with_its_own_message(text: str) -> None:
    with pytest.raises(InputError) as caught:
        set_value(text, ["a"], "2", "some.yaml")
    assert not isinstance(caught.value, EditError) and "some.yaml" in str(caught.value)


def test_long_entries_are_broken_between_their_keys() -> None:
    entry = {
        "deck": "0.32 mm down ± 0.02 mm",
        "with": dict.fromkeys(("block", "crank", "rod", "piston"), "id-of-a-part"),
    }
    text = append_item("", ["measured"], {**entry, "instrument": "dial indicator", "note": "cold, at the bench"})
    assert max(map(len, text.splitlines())) <= edit_yaml.WIDEST and len(text.splitlines()) == 4
    assert value_at(text, ["measured", 0, "instrument"]) == "dial indicator"


# every text, every place

WORDS = st.sampled_from(
    ["57 mm", "0.5 mm ± 0.1 mm", "it's", 'a "b"', "x: y", "#5", "- a", "", "~", "ü", "{", "[a]", "a,b", "@x"]
)
NAMES = st.sampled_from(["a", "b", "c d", "mill", "ü"])
TREES = st.recursive(
    WORDS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3), max_leaves=12
)


def written(tree: Any, rng: random.Random, indent: str = "", flow: bool = False) -> str:
    """A tree as somebody might have typed it: comments, blank lines, blocks and braces as they come."""

    def remark() -> str:
        return rng.choice(["", "", "  # said", "   # a: b"])

    if isinstance(tree, str):
        return rng.choice([edit_yaml._scalar(tree), "'" + tree.replace("'", "''") + "'"])
    if flow or not tree or rng.random() < 0.3:
        gap = rng.choice(["", " "])
        if isinstance(tree, dict):
            pairs = [f"{edit_yaml._scalar(key)}: {written(each, rng, '', True)}" for key, each in tree.items()]
            return "{" + gap + ", ".join(pairs) + gap + "}"
        return "[" + gap + ", ".join(written(each, rng, "", True) for each in tree) + gap + "]"
    lines = []
    for key in tree:
        if rng.random() < 0.3:
            lines.append(rng.choice(["", f"{indent}# above"]))
        each = tree[key] if isinstance(tree, dict) else key
        head = f"{indent}{edit_yaml._scalar(key)}:" if isinstance(tree, dict) else f"{indent}-"
        value = written(each, rng, indent + "  ")
        lines.append(f"{head}{remark()}{value}" if value.startswith("\n") else f"{head} {value}{remark()}")
    return "\n" + "\n".join(lines)


def places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    for key, each in tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ():
        found += places(each, (*path, key))
    return found


def remarks(text: str) -> list[str]:
    return re.findall(r"# (?:said|above|a: b)", text)


@settings(max_examples=400, deadline=None)
@given(st.dictionaries(NAMES, TREES, min_size=1, max_size=4), TREES, st.integers(0, 10**6), st.booleans())
def test_any_text_keeps_its_comments_and_order(tree: dict[str, Any], value: Any, seed: int, crlf: bool) -> None:
    """Every edit is right, or is refused; most go through."""
    rng = random.Random(seed)
    text = written(tree, rng).lstrip("\n") + "\n# end\n"
    if text.startswith(("{", "[")):
        text = "top:\n  " + text
        tree = {"top": tree}
    if crlf:
        text = text.replace("\n", "\r\n")
    before = edit_yaml._read(text, "")
    for path in rng.sample(places(tree), min(3, len(places(tree)))):
        leaf = value_at(text, path)
        try:
            if isinstance(leaf, list):
                after = append_item(text, path, value)
                assert value_at(after, path) == [*leaf, edit_yaml._data(value)] or value_at(after, path)[:-1] == leaf
            elif isinstance(leaf, dict):
                after = set_value(text, [*path, "new"], "1 mm")
                assert list(value_at(after, path)) == [*leaf, "new"]
            else:
                after = set_value(text, path, "1 mm")
                assert value_at(after, path) == "1 mm"
        except EditError:
            continue
        assert remarks(after) == remarks(text)
        assert after.count("\r\n") == after.count("\n") if crlf else "\r" not in after
        assert list(edit_yaml._read(after, "")) == list(before)
        if not isinstance(leaf, str | None):
            rest = iter(after)
            assert all(character in rest for character in text)  # put in, nothing taken out


def test_no_ordinary_text_is_refused() -> None:
    """What is refused has to be written by hand."""
    refused = edits = 0
    for seed in range(300):
        rng = random.Random(seed)
        tree = grown(rng)
        text = written(tree, rng).lstrip("\n") + "\n"
        if text.startswith("{"):
            continue
        for path in places(tree):
            leaf, edits = value_at(text, path), edits + 1
            try:
                if isinstance(leaf, list):
                    append_item(text, path, {"x": "1"})
                else:
                    set_value(text, [*path, "new"] if isinstance(leaf, dict) else path, "1 mm")
            except EditError:
                refused += 1
    assert edits > 1000 and refused == 0


def grown(rng: random.Random, depth: int = 0) -> dict[str, Any]:
    words = ["57 mm", "0.5 mm ± 0.1 mm", "it's", "x: y", "#5", "ü"]

    def value() -> Any:
        what = rng.random()
        if depth > 2 or what < 0.5:
            return rng.choice(words)
        inner = grown(rng, depth + 1)
        return inner if what < 0.75 else list(inner.values())

    return {name: value() for name in rng.sample(["a", "b", "mill", "max"], rng.randint(1, 3))}


# catalogue files


@pytest.mark.parametrize("source", FILES, ids=lambda path: f"{path.parent.parent.name}-{path.name}")
def test_every_bundled_file_takes_a_field_a_count_and_a_part(source: Path, tmp_path: Path) -> None:
    path = tmp_path / source.name
    path.write_bytes(source.read_bytes())
    old = source.read_text("utf-8").splitlines()
    before = {part.id: part for part in load(tmp_path)}
    for part in list(before.values())[:4]:
        set_field(path, part.id, "note", "seen, and #1: good")
        change_count(path, part.id, lambda count: count + 3)
        after = {each.id: each for each in load(tmp_path)}
        assert after[part.id].note == "seen, and #1: good" and after[part.id].on_shelf == part.on_shelf + 3
        assert list(after) == list(before)
    first = next(iter(before.values()))
    fields = {"id": "zz-new", **{name: str(value) for name, value in first.quantities() if "." not in name}}
    append_part(path, first.kind, fields)
    new = {each.id: each for each in load(tmp_path)}["zz-new"]
    assert dict(new.quantities()).keys() <= dict(first.quantities()).keys() and new.kind == first.kind
    with pytest.raises(InputError, match="taken already"):
        append_part(path, first.kind, fields)
    if path.suffix == ".yaml":
        lines = iter(path.read_text("utf-8").splitlines())
        untouched = [line for line in old if "on_shelf" not in line and "note" not in line and "{id" not in line]
        assert all(any(line == other for other in lines) for line in untouched)


CSV = (
    '# remark\r\n\r\nid,name,length [mm],"width [mm]",fits,on_shelf\r\n'
    'r85,"a, ""b""",85.00 ± 0.04, ,,\r\nr86,,"2.5 in",,,1'
)


@pytest.mark.parametrize(
    ("part", "field", "value", "old", "new"),
    [
        ("r85", "length", "86 mm ± 0.05 mm", "85.00 ± 0.04", "86 ± 0.05"),
        ("r85", "length", "2.6 in ± 0.001 in", "85.00 ± 0.04", "2.6 in ± 0.001 in"),
        ("r86", "length", "63.5 mm", '"2.5 in"', '"63.5"'),
        ("r86", "on_shelf", "2", ",1", ",2"),
        ("r85", "name", 'c, "d"', '"a, ""b"""', '"c, ""d"""'),
        ("r86", "name", "plain", "r86,,", "r86,plain,"),
    ],
)
def test_one_cell_changes(part: str, field: str, value: str, old: str, new: str) -> None:
    assert CSV.count(old) >= 1
    after = edit_csv.set_cell(CSV, part, field, value, "rod", "rods.csv")
    place = CSV.rindex(old) if part == "r86" else CSV.index(old)
    assert after == CSV[:place] + new + CSV[place + len(old) :]


def test_a_column_that_is_missing_is_added() -> None:
    after = edit_csv.set_cell(CSV, "r85", "price", "12", "rod", "rods.csv")
    lines = CSV.split("\r\n")
    added = [*lines[:2], lines[2] + ",price", lines[3] + ",12", lines[4] + ","]
    assert after == "\r\n".join(added)
    assert edit_csv.cell_at(after, "r85", "price") == "12"


def test_a_row_is_added_in_the_units_of_the_header() -> None:
    fields = {"id": "r87", "length": "87 mm ± 0.04 mm", "fits": ["a", "b"], "pin": "16 mm"}
    after = edit_csv.append_row(CSV, fields, "rod", "rods.csv")
    assert after.split("\r\n")[-1] == "r87,,87 ± 0.04,,a b,,16 mm" and after.startswith("# remark\r\n\r\n")
    with pytest.raises(EditError):
        edit_csv.append_row(after, fields, "rod", "rods.csv")


@pytest.mark.parametrize("text", ["", "# only\n", 'id,length [mm]\n"r85,85\n', 'id,length [mm]\n"r85"x,85\n'])
def test_a_table_at_fault_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        edit_csv.set_cell(text, "r85", "length", "86 mm", "rod", "rods.csv")


def test_a_part_that_is_not_there_is_named(tmp_path: Path) -> None:
    for name, text in (("rods.csv", "id,length [mm]\nr85,85\n"), ("rods.yaml", "rods: []\n")):
        (tmp_path / name).write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match="no part `r99`"):
            set_field(tmp_path / name, "r99", "length", "86 mm")
        assert (tmp_path / name).read_text("utf-8") == text


def test_a_count_that_is_none_is_refused(tmp_path: Path) -> None:
    (tmp_path / "rods.yaml").write_text("rods:\n- id: r85\n  on_shelf: two\n", encoding="utf-8")
    with pytest.raises(InputError, match="`two` is no whole number"):
        change_count(tmp_path / "rods.yaml", "r85", lambda count: count + 1)
