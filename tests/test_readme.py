"""The pages for people: what they print is what the tool answers, what they name is there."""

from __future__ import annotations

import contextlib
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.cli_runner import run

ROOT = Path(__file__).parent.parent
WIDEST = 100
LEFT_OUT = "…"
PAGES = ("README.md", "DEVELOPERS.md", "examples/README.md", "examples/nothing-fits/README.md")
COMMAND = shutil.which("kitwright", path=str(Path(sys.executable).parent)) or "kitwright"


def text_of(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def blocks(page: str, language: str) -> list[str]:
    """Fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text_of(page), re.M | re.S)


def console(page: str) -> Iterator[tuple[str, str]]:
    """Each command of the console blocks, and what is printed after it."""
    for block in blocks(page, "console"):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, _, printed = part.partition("\n")
            yield command, printed


CONSOLE = [(page, *each) for page in PAGES for each in console(page)]


@cache
def typed(*words: str, folder: Path) -> tuple[int, str]:
    """Exit status of a command and all that it says, in a folder; processes of their own are test_cli_process's."""
    with contextlib.chdir(folder):
        result = run(*words)
    return result.exit_code, result.output


@cache
def process(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        words,
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        env=os.environ | {"COLUMNS": str(WIDEST), "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"},
        timeout=300,
        check=False,
    )


def calm(text: str) -> str:
    """Text without what differs from run to run: how long it took, and where that breaks the line."""
    searched = re.compile(r"^Searched:.*?(?=\n\n|\Z)", re.M | re.S)
    text = searched.sub(lambda found: " ".join(found[0].split()), text.rstrip())
    return re.sub(r"((?:[Pp]roven(?: complete)?|explained) in) [0-9.,]+ (?:ms|s|min)\b", r"\1 T", text)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder as a reader has it who has typed everything: the examples, the starter, the files that are shown."""
    folder = tmp_path_factory.mktemp("reader")
    shutil.copytree(ROOT / "examples", folder / "examples")
    assert typed("start", "bench", folder=folder)[0] == 0
    for block in [*blocks("README.md", "yaml"), *blocks("README.md", "csv")]:
        if named := re.match(r"# (bench/\S+)\n", block):
            path = folder / named[1]
            path.parent.mkdir(exist_ok=True)
            path.write_text(block, encoding="utf-8")
    return folder


def test_every_page_that_shows_commands_is_read() -> None:
    assert len([1 for page, *_ in CONSOLE if page == "README.md"]) >= 10
    assert any(page == "examples/README.md" for page, *_ in CONSOLE)


@pytest.mark.parametrize(("page", "command", "printed"), CONSOLE, ids=[f"{page}: {line}" for page, line, _ in CONSOLE])
def test_what_is_printed_is_what_comes_back(page: str, command: str, printed: str, bench: Path, tmp_path: Path) -> None:
    words = shlex.split(command)
    assert words[0] == "kitwright"
    status, said = typed(*words[1:], folder=tmp_path if words[1] == "start" else bench)
    answer, place = calm(said), 0
    chunks = re.split(rf"^{LEFT_OUT}$", calm(printed), flags=re.M)
    if len(chunks) == 1:
        assert answer == calm(printed)
    assert answer.startswith(chunks[0].strip())
    for chunk in map(str.strip, chunks):
        found = answer.find(chunk, place)
        assert found >= 0, f"not in the answer (or not in this order):\n{chunk}\n\nthe answer:\n{answer}"
        place = found + len(chunk)
    if chunks[-1].strip():
        assert place == len(answer), "the answer goes on after what is printed"
    first = answer.split("\n")[0]
    expected = (
        2 if first.startswith("kitwright: the input") else 1 if re.search("nothing fits|does not fit", first) else 0
    )
    assert status == expected or "--show" in words


def test_a_process_of_its_own_prints_the_same(bench: Path) -> None:
    """One of the commands above as a reader types it: the rest is answered inside the test's own process."""
    words = ("check", "bench/mine.yaml", "--use", "crank=long", "--use", "rod=r94", "--what-if", "head.chamber=24.5cc")
    done = process(COMMAND, *words, folder=bench)
    assert (done.returncode, done.stdout) == typed(*words, folder=bench)
    wrong = process(COMMAND, "find", "nowhere.yaml", folder=bench)
    assert (wrong.returncode, wrong.stdout) == typed("find", "nowhere.yaml", folder=bench)


@pytest.mark.parametrize("page", PAGES)
def test_printed_answers_fit_the_page(page: str) -> None:
    for _, printed in console(page):
        assert max(map(len, printed.splitlines())) <= WIDEST


def test_the_lines_of_python_answer_as_printed(bench: Path) -> None:
    (code,) = blocks("README.md", "python")
    printed = text_of("README.md").split(code, 1)[1].split("```")[2]
    done = process(sys.executable, "-c", code, folder=bench)
    assert done.returncode == 0, done.stdout
    assert done.stdout.strip() == printed.strip()
    assert sum(bool(line.strip()) for line in code.splitlines()) == 6


def test_the_plan_that_shows_every_setting_is_read(bench: Path) -> None:
    (block,) = (each for each in blocks("README.md", "yaml") if each.startswith("plan: a name for it"))
    path = bench / "examples" / "pump-house" / "shown.yaml"
    path.write_text(block, encoding="utf-8")
    status, said = typed("find", str(path), "--top", "1", folder=bench)
    assert status == 0, said


def test_the_set_up_lines_name_what_there_is() -> None:
    lines = [line for block in blocks("README.md", "") for line in block.splitlines() if "venv" in line]
    assert len(lines) == 2
    assert all(line.startswith("python3 -m venv .venv && .venv/bin/pip install ") for line in lines)
    example, tests = lines
    assert (ROOT / example.split()[-1]).is_file() and ".venv/bin/kitwright find" in example
    assert "'.[test]'" in tests and tests.endswith(".venv/bin/python -m pytest")
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert "test" in settings["project"]["optional-dependencies"]


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", each.lower()).replace(" ", "-") for each in headings}


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    here = ROOT / page
    for link in re.findall(r"\]\(([^)\s]+)\)", text_of(page)):
        name, _, anchor = link.partition("#")
        target = (here.parent / name) if name else here
        assert target.exists(), link
        assert not anchor or anchor in anchors(target), link


@pytest.mark.parametrize("page", PAGES)
def test_named_files_are_there(page: str) -> None:
    words = re.findall(r"(?<![\w/.-])((?:solver|catalogs|cli|tests|examples|\.ci)/[\w./-]*\w)", text_of(page))
    for word in words:
        assert (ROOT / word).exists(), word


def test_every_kind_stands_in_the_table_with_every_field() -> None:
    from kitwright.solver.fields import specs
    from kitwright.solver.parts import KINDS, Part

    rows = {line.split("`")[1]: line for line in text_of("README.md").splitlines() if line.startswith("| `")}
    for kind in KINDS.values():
        fields = set(re.findall(r"`(\w+)`", rows[kind.plural])) - {kind.plural}
        assert fields == specs(kind).keys() - specs(Part).keys()


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(each for some in project["optional-dependencies"].values() for each in some)]
    rows = set(re.findall(r"^\| `([\w-]+)`", text_of("DEVELOPERS.md"), re.M))
    names = {re.match(r"[\w-]+", each)[0] for each in wanted if not each.startswith("kitwright")}  # type: ignore[index]
    assert names <= rows
