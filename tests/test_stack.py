"""Whether a stack is needed: the scenario's known answer, the command, and the exhaustive twin on random catalogues."""

from __future__ import annotations

from pathlib import Path

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import check
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.misses import misses, total
from kitwright.solver.plan import MeasuredDeck, Plan
from kitwright.solver.quantity import parse_deck
from kitwright.solver.result import Checked
from kitwright.solver.stacking import NoGasketsError, StackAnswer, stack, with_one, with_several
from tests import random_catalogues
from tests.cli_runner import answer, plan, run
from tests.twin import closest, everything

SEEDS = (*range(7000, 7060), 192, 460, 683)
"""The last three are questions that only a stack answers."""
DECKS = [each / 8 - 1.5 for each in range(25)]
"""Decks in mm, down, that are looked at one by one."""


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


def questions() -> list[tuple[int, Catalogue, Plan, StackAnswer]]:
    found = []
    for seed in SEEDS:
        catalogue, wanted = random_catalogues.question(seed, most=120)
        looked_at = wanted.kinds is None or "gasket" in wanted.kinds or "gasket" in wanted.use
        if catalogue.of_kind("gasket") and looked_at:
            found.append((seed, catalogue, wanted, stack(catalogue, wanted)))
    return found


QUESTIONS = questions()


def test_the_best_of_each_is_the_twins() -> None:
    needed = set()
    for seed, catalogue, wanted, said in QUESTIONS:
        assert said.status != "incomplete", seed
        for found, asked in ((said.best_single, with_one(wanted)), (said.best_stack, with_several(wanted))):
            expected = closest(catalogue, asked)
            assert (found is None) is (not expected), seed
            if found is not None:
                assert found.combination.tie_key() == expected[0][1].tie_key(), seed
        needed.add(said.needed)
    assert needed == {True, False, None}


def rank(checked: Checked, wanted: Plan) -> tuple[int, float]:
    missed = misses(checked, wanted)
    return len(missed), total(missed)


def test_no_combination_of_a_gasket_misses_less() -> None:
    compared = 0
    for seed, catalogue, wanted, said in QUESTIONS:
        one = with_one(wanted)
        least: dict[str, tuple[int, float]] = {}
        for combination in everything(catalogue, one.but(use={k: v for k, v in one.use.items() if k != "gasket"})):
            checked = check(combination, one, spreads=False)
            broken = [each for each in checked.limits if each.holds is False and not each.figure]
            hollow = checked.figures.get("clearance_volume", 1.0) <= 0
            if broken or hollow or len(combination.gaskets) != 1:
                continue
            gasket = combination.gaskets[0].id
            least[gasket] = min(least.get(gasket, (10**6, 0.0)), rank(checked, one))
        for single in said.singles:
            if single.combination is None:
                assert single.gasket not in least, (seed, single)
                continue
            assert single.gasket in least, (seed, single.gasket)
            mine = rank(single.combination, one)
            assert mine[0] == least[single.gasket][0], (seed, single.gasket, mine, least[single.gasket])
            assert mine[1] == pytest.approx(least[single.gasket][1], abs=1e-4), (seed, single.gasket)
            compared += 1
    assert compared > 60


def test_one_gasket_does_at_the_decks_that_are_named_and_at_no_other() -> None:
    inside = outside = 0
    for seed, catalogue, wanted, said in QUESTIONS:
        if len(said.short_block) < 4 or said.status == "incomplete":
            continue
        one = with_one(wanted)
        held = {kind: (part,) for kind, part in said.short_block.items()}
        for deck in DECKS:
            near = [end for each in said.ranges for end in (each.low, each.high) if end is not None]
            if any(abs(deck - end) < 1e-5 for end in near):
                continue
            read = parse_deck(f"{abs(deck):g} mm {'up' if deck < 0 else 'down'} ± {said.deck_tolerance:g} mm")
            measured = one.but(use={**one.use, **held}, measured_decks=(MeasuredDeck(read, said.short_block),))
            expected = bool(closest(catalogue, measured))
            found = any(
                (each.low is None or each.low <= deck) and (each.high is None or deck <= each.high)
                for each in said.ranges
            )
            assert found is expected, (seed, deck, said.ranges)
            inside, outside = inside + expected, outside + (not expected)
    assert inside > 30 and outside > 100
