"""The starter is laid whole or not at all, and it loads without a word."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, lay_starter, load_plan
from kitwright.catalogs.schema import SUBJECTS, schema_text


def everything(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_the_starter_loads_without_a_warning(tmp_path: Path) -> None:
    written = lay_starter(tmp_path / "bench" / "first")
    plan, catalogue = load_plan(written[0])
    assert written[0] == tmp_path / "bench" / "first" / "plan.yaml"
    assert catalogue.warnings == ()
    assert plan.goals
    assert {"block", "crank", "rod", "piston", "gasket", "head"} <= set(catalogue.kinds)


def test_what_is_laid_is_what_is_bundled(tmp_path: Path) -> None:
    written = lay_starter(str(tmp_path))
    bundled = resources.files("kitwright.catalogs") / "starter"
    schemas = {tmp_path / "schema" / f"{subject}.json": schema_text(subject) for subject in SUBJECTS}
    copied = [path for path in written if path not in schemas]
    assert {path.name for path in copied[1:]} == {each.name for each in (bundled / "catalogue").iterdir()}
    for path in copied:
        assert path.read_bytes() == (bundled / path.relative_to(tmp_path).as_posix()).read_bytes()
    for path, text in schemas.items():
        assert path.read_bytes() == text.encode()
    names = {str(path.relative_to(tmp_path)) for path in (*copied, *schemas)}
    assert {"catalogue", "schema", *names} == set(everything(tmp_path))
    assert set(written) == {*copied, *schemas}


def test_every_file_says_where_its_schema_is(tmp_path: Path) -> None:
    """The remark is the file's first line, and leads from the file to the schema that is laid beside it."""
    files = [path for path in lay_starter(tmp_path) if path.suffix == ".yaml"]
    assert len(files) > 5
    for path in files:
        first = path.read_text(encoding="utf-8").split("\n")[0]
        named = first.removeprefix("# yaml-language-server: $schema=")
        assert named != first
        subject = "plan" if path.name == "plan.yaml" else "catalogue"
        assert (path.parent / named).resolve() == (tmp_path / "schema" / f"{subject}.json").resolve()
        assert (path.parent / named).is_file()


def test_a_schema_that_turns_up_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.rename

    def late(self: Path, target: Path) -> Path:
        if target.name == "schema":
            target.mkdir()
            (target / "plan.json").write_text("theirs")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", late)
    with pytest.raises(InputError, match="cannot be written here"):
        lay_starter(tmp_path)
    assert everything(tmp_path) == ["schema", "schema/plan.json"]
    assert (tmp_path / "schema" / "plan.json").read_text() == "theirs"


def test_other_files_beside_it_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.md").write_text("mine")
    lay_starter(tmp_path)
    assert (tmp_path / "notes.md").read_text() == "mine"


@pytest.mark.parametrize("taken", ["plan.yaml", "catalogue", "catalogue/cranks.csv", "schema/plan.json"])
def test_nothing_is_overwritten_and_nothing_is_written(tmp_path: Path, taken: str) -> None:
    path = tmp_path / taken
    path.parent.mkdir(exist_ok=True)
    path.write_text("mine")
    before = everything(tmp_path)
    with pytest.raises(InputError) as caught:
        lay_starter(tmp_path)
    assert f"{tmp_path / taken.split('/')[0]}: is there already; nothing was written" in str(caught.value)
    assert everything(tmp_path) == before
    assert path.read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        (
            "cranks.csv",
            "id,stroke [mm],journal [mm]\nk1,57,30\n",
            "is a catalogue already: its parts are in cranks",
        ),
        ("mine.yaml", "rods: [{id: r1, length: 85 mm}]\n", "is a catalogue already: its parts are in mine"),
        ("shed.yaml", "catalogue: parts\n", "shed.yaml: is there already; nothing was written"),
        ("shed.yml", "name: shed\ncatalogue: parts\n", "shed.yml: is there already; nothing was written"),
    ],
)
def test_a_folder_that_is_a_catalogue_or_holds_a_plan_takes_no_starter(
    tmp_path: Path, name: str, text: str, told: str
) -> None:
    (tmp_path / name).write_text(text)
    with pytest.raises(InputError) as caught:
        lay_starter(tmp_path)
    assert told in str(caught.value) and "name another folder" in str(caught.value)
    assert everything(tmp_path) == [name] and (tmp_path / name).read_text() == text


def test_what_is_no_part_and_no_plan_is_in_nobodys_way(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("angle [deg],lift [mm]\n0,0\n10,1\n")
    (tmp_path / "colours.yaml").write_text("barrel: grey\n")
    (tmp_path / "torn.yaml").write_text("a: [\n")
    lay_starter(tmp_path)
    assert load_plan(tmp_path / "plan.yaml")[0].goals


def test_a_catalogue_of_many_files_names_a_few(tmp_path: Path) -> None:
    for each in lay_starter(tmp_path / "old"):
        if each.parent.name == "catalogue":
            each.rename(tmp_path / each.name)
    with pytest.raises(InputError, match=r"its parts are in blocks.yaml, cams.yaml, cranks.csv and 9 more; nothing"):
        lay_starter(tmp_path)


def test_a_dangling_link_is_taken_too(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="is there already"):
        lay_starter(tmp_path)
    assert everything(tmp_path) == ["plan.yaml"]


def test_a_file_in_the_folders_place_is_named(tmp_path: Path) -> None:
    (tmp_path / "bench").write_text("mine")
    for target in (tmp_path / "bench", tmp_path / "bench" / "deeper"):
        with pytest.raises(InputError) as caught:
            lay_starter(target)
        assert str(caught.value).startswith(f"{target}: ")
    assert (tmp_path / "bench").read_text() == "mine"


def test_a_place_that_cannot_be_written_is_left_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.write_bytes

    def full(self: Path, data: bytes) -> int:
        if self.name == "plan.yaml":
            raise OSError(28, "No space left on device")
        return real(self, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(InputError, match="cannot be written here: No space left on device"):
        lay_starter(tmp_path / "a" / "b")
    assert everything(tmp_path) == []


def test_a_plan_that_turns_up_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.link

    def late(source: Any, target: Any) -> None:
        Path(target).write_text("theirs")
        real(source, target)

    monkeypatch.setattr(os, "link", late)
    with pytest.raises(InputError, match="cannot be written here"):
        lay_starter(tmp_path)
    assert everything(tmp_path) == ["plan.yaml"]
    assert (tmp_path / "plan.yaml").read_text() == "theirs"


def test_a_file_system_without_links_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(source: Any, target: Any) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", none)
    lay_starter(tmp_path)
    assert load_plan(tmp_path / "plan.yaml")[0].goals
