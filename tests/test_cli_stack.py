"""``kitwright stack``: the scenario's known answer, words and formats, what cannot be answered."""

from __future__ import annotations

from pathlib import Path

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver.stacking import NoGasketsError, stack
from tests.cli_runner import answer, plan, run


def test_the_scenario_has_its_known_answer() -> None:
    said = answer("stack", plan("stack-not-needed"))
    assert said["status"] == "complete"
    assert said["needed"] is False
    assert said["best_single"]["parts"]["rod"] == "r85"
    assert said["best_single"]["parts"]["gaskets"] == ["g050"]
    assert said["best_single"]["closeness"] == 5
    assert said["best_stack"]["parts"]["gaskets"] == ["g050", "g100"]
    assert said["best_stack"]["figures"]["quench_mm"] == pytest.approx(1.0)
    assert said["turns_at_deck_mm"] == pytest.approx([-0.1, 0.1, 0.4, 0.6])
    singles = {each["gasket"]: each for each in said["singles"]}
    assert singles["g050"]["misses"] == [] and singles["g050"]["quench_mm"] == pytest.approx(1.0)
    assert singles["g100"]["quench_mm"] == pytest.approx(1.5)
    assert {each["goal"] for each in singles["g100"]["misses"]} == {"compression", "quench"}
    with_r86 = answer("stack", plan("stack-not-needed"), "--use", "rod=r86")
    assert with_r86["needed"] is True and with_r86["best_single"] is None
    assert {each["gasket"]: each["quench_mm"] for each in with_r86["singles"]}["g100"] == pytest.approx(0.5)


def test_text_says_it_in_words() -> None:
    text = " ".join(run("stack", plan("stack-not-needed")).stdout.split())
    assert "stack not needed: one gasket does it" in text
    assert "The stack is as close, and has a joint more: it comes second." in text
    assert "0.40 mm down 0.60 mm down" in text and "0.10 mm up 0.10 mm down" in text
    assert "the last choice, not the first" in text


def test_neither_fits() -> None:
    result = run("stack", plan("compression-against-quench"))
    assert result.exit_code == 1
    assert "neither one gasket nor a stack fits" in result.stdout
    assert answer("stack", plan("compression-against-quench"))["needed"] is None


@pytest.mark.parametrize("form", ["csv", "markdown"])
def test_other_formats(form: str, tmp_path: Path) -> None:
    target = tmp_path / "stack.txt"
    assert run("stack", plan("stack-not-needed"), "--format", form, "--output", target).exit_code == 0
    text = target.read_text(encoding="utf-8")
    assert "g050" in text and "r85" in text
    assert text.startswith("what,gasket" if form == "csv" else "# stack not needed")


def test_a_catalogue_without_gaskets_is_told_so(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    block = "blocks:\n- {id: b, bore: 72 mm, block_height: 142 mm, on_shelf: 1}\n"
    (tmp_path / "catalogue" / "parts.yaml").write_text(block, encoding="utf-8")
    (tmp_path / "plan.yaml").write_text("plan: bare\ncatalogue: ./catalogue\n", encoding="utf-8")
    result = run("stack", tmp_path / "plan.yaml")
    assert result.exit_code == 2
    assert "holds no gasket: there is nothing to stack" in result.stderr
    wanted, catalogue = load_plan(tmp_path / "plan.yaml")
    with pytest.raises(NoGasketsError):
        stack(catalogue, wanted)


def test_out_of_time_is_not_an_answer() -> None:
    result = run("stack", plan("stack-not-needed"), "--time", "0")
    assert result.exit_code == 3
    assert "not decided" in result.stdout
