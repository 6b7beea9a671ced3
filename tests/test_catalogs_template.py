"""The starter is laid whole or not at all, and it loads without a word."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import InputError, lay_starter, load_plan


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
    assert {path.name for path in written[1:]} == {each.name for each in (bundled / "catalogue").iterdir()}
    for path in written:
        assert path.read_bytes() == (bundled / path.relative_to(tmp_path).as_posix()).read_bytes()
    names = {str(path.relative_to(tmp_path)) for path in written}
    assert {"catalogue", *names} == set(everything(tmp_path))


def test_other_files_beside_it_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.md").write_text("mine")
    lay_starter(tmp_path)
    assert (tmp_path / "notes.md").read_text() == "mine"


@pytest.mark.parametrize("taken", ["plan.yaml", "catalogue", "catalogue/cranks.csv"])
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
