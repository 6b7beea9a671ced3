"""The house's layout: which module may import which, what the package list names, how long a module may grow."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
LAYERS = ("solver", "catalogs", "cli")
"""From the bottom up: a layer imports those before it, never one after it."""

TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "solver",
    "catalogs",
    "cli",
    "tests",
    "examples",
}
"""The fixed top level, apart from names that begin with a dot."""

PURE = {*sys.stdlib_module_names, "numpy", "scipy"} - {
    "os",
    "io",
    "pathlib",
    "subprocess",
    "json",
    "csv",
    "random",
    "time",
}
"""What formulas may calculate with."""

SOLVER_ENGINE = {"encode", "engine"}
"""Modules that may know OR-Tools: the model, and the machine that runs it."""

WITHOUT_ENGINE = ("explain", "conflicts", "ways_out", "misses", "check", "evaluate", "stopping", "measure_next", "mend")
"""Modules of the solver that put questions to a search that is given to them, or that put none."""

MODULES = sorted(path.relative_to(ROOT) for layer in LAYERS for path in (ROOT / layer).rglob("*.py"))


def name_of(module: Path) -> str:
    """``solver/formulas/stack.py`` to ``kitwright.solver.formulas.stack``."""
    parts = module.with_suffix("").parts
    return ".".join(("kitwright", *(parts[:-1] if parts[-1] == "__init__" else parts)))


def imports(module: Path) -> Iterator[str]:
    """Every module that a file imports, anywhere in it, by its full name; of ``from a import b``, a and a.b."""
    tree = ast.parse((ROOT / module).read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                package = name_of(module).split(".")
                above = package if module.name == "__init__.py" else package[:-1]
                above = above[: len(above) - node.level + 1]
                base = ".".join([*above, *([node.module] if node.module else [])])
            yield base
            yield from (f"{base}.{each.name}" for each in node.names)


def layers_of(module: Path) -> set[str]:
    found = set()
    for each in imports(module):
        if each.startswith("kitwright."):
            found.add(each.split(".")[1])
    return found


def outside(module: Path) -> set[str]:
    """Top-level names of what is imported from elsewhere."""
    return {each.partition(".")[0] for each in imports(module)} - {"kitwright"}


def test_there_are_modules_to_look_at() -> None:
    assert len(MODULES) > 60
    assert {module.parts[0] for module in MODULES} == set(LAYERS)


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_the_direction_is_cli_catalogs_solver(module: Path) -> None:
    place = LAYERS.index(module.parts[0])
    assert layers_of(module) <= set(LAYERS[: place + 1])
    assert not {each.partition(".")[0] for each in imports(module)} & {*LAYERS, "tests"}, "imports past the namespace"


@pytest.mark.parametrize("module", [each for each in MODULES if each.parts[:2] == ("solver", "formulas")], ids=str)
def test_formulas_know_the_registry_and_one_another(module: Path) -> None:
    ours = {each for each in imports(module) if each.startswith("kitwright.")}
    allowed = ("kitwright.solver.registry", "kitwright.solver.quantity", "kitwright.solver.formulas")
    assert {each for each in ours if not each.startswith(allowed)} == set()
    assert outside(module) <= PURE


@pytest.mark.parametrize("name", ["parts", "fields", "plan", "registry"])
def test_parts_plan_and_registry_know_nobody_but_quantities(name: str) -> None:
    module = Path("solver", f"{name}.py")
    ours = {each for each in imports(module) if each.startswith("kitwright.")}
    allowed = ("kitwright.solver.quantity", "kitwright.solver.fields")
    assert {each for each in ours if not each.startswith(allowed)} == set()
    assert outside(module) <= PURE


def test_quantities_know_nobody() -> None:
    assert layers_of(Path("solver", "quantity.py")) == set()


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_only_the_search_knows_ortools(module: Path) -> None:
    if "ortools" in outside(module):
        assert module.parts[0] == "solver"
        assert module.stem in SOLVER_ENGINE


def test_the_developers_page_names_files_that_there_are() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:solver|catalogs|cli|tests)/[\w/]+\.\w+)`", text))
    assert len(named) > 100 and not [each for each in sorted(named) if not (ROOT / each).is_file()]


@pytest.mark.parametrize(
    "name",
    [
        *("kitwright.solver.formulas", "kitwright.catalogs", "kitwright.cli.main"),
        *(f"kitwright.solver.{each}" for each in WITHOUT_ENGINE),
    ],
)
def test_no_one_else_loads_ortools_or_pint_by_being_imported(name: str) -> None:
    """What is imported on the way counts, too: the two take longer to load than a small question to answer."""
    code = f"import sys, {name}; print(sorted({{'ortools', 'pint'}} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("module", [each for each in MODULES if each.parts[0] == "solver"], ids=str)
def test_the_plain_check_is_free_of_the_search(module: Path) -> None:
    """What decides does not look at what proposes."""
    plain = {"check", "evaluate", "stackup", "rules", "combination", "catalogue", "parts", "fields", "plan", "faults"}
    if module.stem not in plain:
        return
    proposing = {"encode", "engine", "search", "explain", "facets", "classes", "terms", "translate", "slack", "prune"}
    used = {each.split(".")[2] for each in imports(module) if each.startswith("kitwright.solver.")}
    assert used & proposing == set()


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_pint_lives_in_one_module(module: Path) -> None:
    if "pint" in outside(module):
        assert module == Path("solver", "quantity.py")


@pytest.mark.parametrize("module", [each for each in MODULES if each.parts[0] == "solver"], ids=str)
def test_the_solver_knows_no_file_and_no_screen(module: Path) -> None:
    assert not outside(module) & {"yaml", "csv", "json", "typer", "tabulate", "pathlib", "rich", "click"}


def test_the_twin_knows_nothing_of_the_search() -> None:
    """What the search is held against shares no code with it beyond parts, plan and plain check."""
    used = {each.rpartition(".")[0] for each in imports(Path("tests", "twin.py")) if each.startswith("kitwright.")}
    used.discard("kitwright")
    allowed = {"catalogue", "check", "combination", "parts", "plan"}
    assert used <= {"kitwright.solver", *(f"kitwright.solver.{each}" for each in allowed)}
    assert "ortools" not in {each.partition(".")[0] for each in imports(Path("tests", "twin.py"))}


def test_the_package_list_names_every_folder() -> None:
    """A sub-package that is missing there works in the working folder and is absent from the wheel."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    folders = {
        ".".join(("kitwright", *path.parent.relative_to(ROOT).parts))
        for layer in LAYERS
        for path in (ROOT / layer).rglob("__init__.py")
    }
    assert sorted(settings["packages"]) == sorted(folders)
    assert {module.parent for module in MODULES} == {Path(*each.split(".")[1:]) for each in settings["packages"]}, (
        "a folder with modules and without __init__.py"
    )
    assert settings["package-dir"] == {f"kitwright.{layer}": layer for layer in LAYERS}
    assert set(settings["package-data"]) == {f"kitwright.{layer}" for layer in LAYERS}


@pytest.mark.parametrize("layer", LAYERS)
def test_types_are_announced(layer: str) -> None:
    assert (ROOT / layer / "py.typed").is_file()


def test_bundled_files_are_in_the_package_data() -> None:
    data = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["package-data"]
    for layer in LAYERS:
        named = {path for each in data[f"kitwright.{layer}"] for path in (ROOT / layer).glob(each)}
        there = {
            path
            for path in (ROOT / layer).rglob("*")
            if path.is_file() and path.suffix not in (".py", ".pyc", ".md") and "__pycache__" not in path.parts
        }
        assert there == {path for path in named if path.is_file()}


def test_the_top_level_is_fixed() -> None:
    """What is tracked at the top; without a repository, what lies there, less what builds and tools leave."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.splitlines()
        names = {line.partition("/")[0] for line in listed}
    except (OSError, subprocess.CalledProcessError):
        names = {path.name for path in ROOT.iterdir()} - {"kitwright.egg-info", "build", "dist"}
    assert {name for name in names if not name.startswith((".", '"'))} == TOP
