"""The reference pages are as the code is, and everything that is registered stands in them."""

from __future__ import annotations

import pytest

from kitwright.solver.parts import KINDS
from kitwright.solver.registry import FIGURES
from tests import pages


@pytest.mark.parametrize("name", pages.PAGES)
def test_a_page_is_fresh(name: str) -> None:
    written = (pages.ROOT / name).read_text(encoding="utf-8")
    assert written == pages.PAGES[name](), "the page is stale: `python -m tests.pages` writes it anew"


def test_everything_has_its_place() -> None:
    figures, formats = pages.figures_page(), pages.format_page()
    assert all(f"### {name}\n" in figures for name in FIGURES)
    assert all(f"### {cls.plural}\n" in formats for cls in KINDS.values())
    commands = pages.commands_page()
    for name in ("find", "check", "explain", "stack", "remeasure", "sheet", "schema", "shelf check"):
        assert f"## kitwright {name}\n" in commands


def test_a_stale_page_is_named(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(pages.PAGES, "cli/COMMANDS.md", lambda: "another\n")
    assert pages.main(["--check"]) == 1
    assert capsys.readouterr().out.split() == ["cli/COMMANDS.md"]
