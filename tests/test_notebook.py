"""The notebook in `examples/`: valid, without outputs of anybody's machine, and every cell of it runs."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path

import nbformat
import pytest

EXAMPLES = Path(__file__).parent.parent / "examples"
NOTEBOOKS = sorted(EXAMPLES.glob("*.ipynb"))


def test_there_is_one_and_the_page_leads_to_it() -> None:
    page = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    assert NOTEBOOKS and all(f"({path.name})" in page for path in NOTEBOOKS)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_is_valid_and_holds_no_output(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == [] and cell.execution_count is None
    text = path.read_text(encoding="utf-8")
    assert not [
        folder for folder in (EXAMPLES.resolve(), Path.home(), Path(tempfile.gettempdir())) if str(folder) in text
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_runs(path: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Cell by cell in a kernel of its own; two pictures, and the curve's least is the figure."""
    from nbclient import NotebookClient

    for name in ("MPLCONFIGDIR", "IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "JUPYTER_CONFIG_DIR"):
        monkeypatch.setenv(name, str(tmp_path))
    notebook = nbformat.read(path, as_version=4)
    before = {each: each.stat().st_mtime_ns for each in EXAMPLES.rglob("*")}
    NotebookClient(notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": EXAMPLES}}).execute()
    outputs = [each for cell in notebook.cells if cell.cell_type == "code" for each in cell.outputs]
    assert sum("image/png" in each.get("data", {}) for each in outputs) == 2
    assert "('complete', 40)" in [each.get("data", {}).get("text/plain") for each in outputs]
    assert any("text/html" in each.get("data", {}) for each in outputs), "no table"
    said = "".join(each.text for each in outputs if each.output_type == "stream" and each.name == "stdout")
    pairs = re.findall(r"least (-?[\d.]+) mm at -?\d+ degrees, check says (-?[\d.]+) mm", said)
    assert len(pairs) == 2 and all(one == other for one, other in pairs)
    assert not [each for each in outputs if each.output_type == "stream" and each.name == "stderr"]
    assert {each: each.stat().st_mtime_ns for each in EXAMPLES.rglob("*")} == before, os.fspath(path)
