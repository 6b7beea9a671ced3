"""`--output` never names a file that the command reads, or writes besides: by no name, for no command."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from kitwright.catalogs import load
from kitwright.cli.main import app
from tests import test_degree_wheel
from tests.cli_runner import SCENARIOS, run

COMMANDS = {
    "find": ["find", "plan.yaml"],
    "check": ["check", "plan.yaml"],
    "explain": ["explain", "plan.yaml"],
    "stack": ["stack", "plan.yaml"],
    "measure-next": ["measure-next", "plan.yaml"],
    "remeasure": ["remeasure", "plan.yaml", "--chamber", "22.9 cc", "--of", "h230"],
    "sheet": ["sheet", "plan.yaml"],
    "shelf check": ["shelf", "check", "plan.yaml"],
    "shelf list": ["shelf", "list", "--plan", "plan.yaml"],
    "shelf take": ["shelf", "take", "k57", "--plan", "plan.yaml"],
    "shelf put": ["shelf", "put", "k57", "--plan", "plan.yaml"],
    "shelf history": ["shelf", "history", "plan.yaml"],
    "shelf add": ["shelf", "add", "spacer", "id=s10", "thickness=1 mm", "--plan", "plan.yaml"],
    "shelf import": ["shelf", "import", "sheet.csv", "--plan", "plan.yaml", "--yes"],
}
NO_INPUT = {"figures", "schema"}
"""Commands that write an answer and read no file of the builder's."""


def names(group: Any = None, before: str = "") -> Iterator[str]:
    """Commands that take `--output`."""
    for name, command in (group or typer.main.get_command(app)).commands.items():
        if hasattr(command, "commands"):
            yield from names(command, f"{before}{name} ")
        elif any("--output" in getattr(each, "opts", ()) for each in command.params):
            yield before + name


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "bench"
    shutil.copytree(SCENARIOS / "revs-against-lift", folder)
    (folder / "sheet.csv").write_text("kind,id,thickness [mm]\nspacer,s2,2\n")
    (folder / "catalogue" / "history.txt").write_text("# what was\n")
    monkeypatch.chdir(folder)
    return folder


def everything(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_every_command_that_writes_an_answer_is_tried() -> None:
    assert set(names()) == {*COMMANDS, *NO_INPUT}


def plain(path: Path) -> Path:
    return path


def linked(path: Path) -> Path:
    link = Path("link.txt")
    link.symlink_to(path)
    return link


def second_name(path: Path) -> Path:
    os.link(path, "second.txt")
    return Path("second.txt")


def another_spelling(path: Path) -> Path:
    return Path("catalogue") / ".." / path


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("spelt", [plain, linked, second_name, another_spelling], ids=lambda each: each.__name__)
@pytest.mark.parametrize("target", ["plan.yaml", "catalogue/parts.yaml", "catalogue/history.txt"])
def test_an_input_is_refused_and_left(name: str, spelt: Callable[[Path], Path], target: str, bench: Path) -> None:
    output = spelt(Path(target))
    before = everything(bench)
    result = run(*COMMANDS[name], "--output", output)
    assert result.exit_code == 2
    assert "the answer would stand in its place; name another file" in result.stderr
    assert ("the plan that is asked" if target == "plan.yaml" else "a file of the catalogue") in result.stderr
    assert f"`{output}`" in result.stderr and result.stdout == ""
    assert everything(bench) == before


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("target", ["catalogue/spacers.yaml", "catalogue/builds.csv", "catalogue/../catalogue/x.CSV"])
def test_no_answer_becomes_a_part_of_the_catalogue(name: str, target: str, bench: Path) -> None:
    """A new file there would be read with the next question; an import may just have made it."""
    before = everything(bench)
    result = run(*COMMANDS[name], "--output", target)
    assert result.exit_code == 2
    assert "would be read as a part of the catalogue `catalogue`; name a file outside of that folder" in result.stderr
    assert everything(bench) == before


def test_the_sheet_that_is_imported_is_an_input(bench: Path) -> None:
    before = everything(bench)
    for output in (Path("sheet.csv"), linked(Path("sheet.csv"))):
        result = run(*COMMANDS["shelf import"], "--output", output)
        assert result.exit_code == 2 and "the sheet that is read" in result.stderr
    (bench / "link.txt").unlink()
    assert everything(bench) == before


def test_a_degree_wheels_readings_are_an_input(bench: Path) -> None:
    (bench / "wheels").mkdir()
    (bench / "wheels" / "c.csv").write_text(test_degree_wheel.table())
    sizes = "intake_lobe_lift: 6.50 mm, exhaust_lobe_lift: 6.40 mm, intake_centreline: 104 deg"
    cam = f"cams:\n- {{id: c1, {sizes}, intake_readings: ../wheels/c.csv}}\n"
    (bench / "catalogue" / "cams.yaml").write_text(cam)
    assert any(part.id == "c1" for part in load(bench / "catalogue"))
    before = everything(bench)
    result = run("shelf", "list", "catalogue", "--output", "wheels/c.csv")
    assert result.exit_code == 2 and "a degree wheel's readings" in result.stderr
    assert everything(bench) == before


@pytest.mark.parametrize("target", ["builds.csv", "catalogue/builds.txt", "old.txt", "/dev/null"])
def test_any_other_file_is_written(target: str, bench: Path) -> None:
    (bench / "old.txt").write_text("of yesterday\n")
    result = run("shelf", "list", "--plan", "plan.yaml", "--output", target)
    assert result.exit_code == 0, result.stderr
    assert target == "/dev/null" or "k57" in Path(target).read_text()


def test_a_plan_at_fault_hides_no_input(bench: Path) -> None:
    (bench / "plan.yaml").write_text("catalogue: ./catalogue\ngoals: {nonsense: 1}\n")
    for target in ("plan.yaml", "catalogue/parts.yaml"):
        before = everything(bench)
        assert run("find", "plan.yaml", "--output", target).exit_code == 2
        assert everything(bench) == before
