"""``kitwright remeasure``: the plan's file, what a measurement points to, before and after."""

from __future__ import annotations

import csv
import doctest
import io
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import load_plan, plan_measured, readings
from tests.cli_runner import SCENARIOS, WIDEST, answer, run

PLAN = """\
# the bench
plan: bench
catalogue: ./catalogue   # beside it
goals:
  compression: {aim: 9.5, min: 8.0, max: 11.0}
  quench: {min: 0.75 mm, max: 1.60 mm}

parts:
  use: {block: b72, crank: k57}
allow: {gaskets: 2}
# the end
"""
CATALOGUE = """\
blocks:
- {id: b72, bore: 72.00 mm, block_height: 142.00 mm ± 0.10 mm, on_shelf: 1}
cranks:
- {id: k57, stroke: 57.00 mm ± 0.05 mm, journal: 30 mm, on_shelf: 1}
rods:
- {id: r85, length: 85.00 mm ± 0.05 mm, big_end: 30 mm, pin: 16 mm, on_shelf: 1}
- {id: r86, length: 86.00 mm ± 0.05 mm, big_end: 30 mm, pin: 16 mm, price: 30}
pistons:
- {id: p28, bore: 72.00 mm, compression_height: 28.00 mm ± 0.05 mm, pin: 16 mm, on_shelf: 1}
- {id: p27, bore: 72.00 mm, compression_height: 27.00 mm ± 0.05 mm, pin: 16 mm, price: 20}
gaskets:
- {id: g050, thickness: 0.50 mm, bore: 73.5 mm, on_shelf: 2}
- {id: g100, thickness: 1.00 mm, bore: 73.5 mm, on_shelf: 1}
heads:
- {id: h230, chamber: 23.0 cc ± 0.5 cc, chamber_area: 40 cm2, on_shelf: 1}
- {id: h250, chamber: 25.0 cc ± 0.5 cc, on_shelf: 1}
"""
DECK = ("--deck", "0.62 mm down ± 0.02 mm", "--with", "rod=r85,piston=p28", "--date", "2026-05-01")
ENTRY = (
    "- {deck: 0.62 mm down ± 0.02 mm, with: {block: b72, crank: k57, rod: r85, piston: p28},\n"
    "   predicted: 0.5 mm down ± 0.225 mm, date: 2026-05-01"
)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(CATALOGUE, encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def text(path: Path) -> str:
    return path.read_bytes().decode("utf-8")


def test_a_deck_is_written_with_what_was_predicted_and_changes_the_answer(bench: Path) -> None:
    found = answer("remeasure", bench, *DECK, "--instrument", "dial indicator")
    assert text(bench) == PLAN + "measured:\n" + ENTRY + ", instrument: dial indicator}\n"
    (deck,) = found["measured"]
    assert found["plausible"] is True and found["points_to"] == [] and found["written"] is True
    assert deck["value"] == 0.62 and deck["predicted"] == {"value": 0.5, "low": 0.275, "high": 0.725}
    assert found["implied_block_height_mm"] == pytest.approx(142.12)
    assert found["implied_block_height_tolerance_mm"] == pytest.approx(0.145)
    assert found["before"]["parts"]["gaskets"] == ["g050"] and found["after"]["parts"]["gaskets"] == ["g050"]
    assert found["before"]["figures"]["deck_mm"] == pytest.approx(0.5)
    assert found["as_measured"]["figures"]["deck_mm"] == found["after"]["figures"]["deck_mm"] == pytest.approx(0.62)
    assert found["as_measured"]["fits"] is True
    assert {each["parts"]["rod"] for each in found["combinations"]} == {"r85"}
    assert found["parts_taken"][0] == {"kind": "block", "id": "b72", "how": "pinned in the plan"}
    assert found["combinations"][0]["rank"] == 1 and found["status"] == "complete"
    asked = answer("find", bench, "--use", "rod=r85", "--use", "piston=p28")["combinations"]
    assert asked == found["combinations"]


def test_the_parts_of_the_deck_are_pinned_unless_told_otherwise(bench: Path) -> None:
    found = answer("remeasure", bench, *DECK, "--dry-run", "--free", "rod,piston")["combinations"]
    assert {each["parts"]["rod"] for each in found} == {"r85", "r86"}
    found = answer("remeasure", bench, *DECK, "--dry-run", "--free", "all", "--use", "rod=r86")["combinations"]
    assert {each["parts"]["rod"] for each in found} == {"r86"}


def test_a_plans_own_pins_on_adjusters_are_lifted_and_typed_ones_stay(bench: Path) -> None:
    bench.write_text(PLAN.replace("crank: k57}", "crank: k57, gasket: g100}"), encoding="utf-8")

    def stacks(*more: str) -> set[tuple[str, ...]]:
        found = answer("remeasure", bench, *DECK, "--dry-run", *more)["combinations"]
        return {tuple(each["parts"]["gaskets"]) for each in found}

    assert ("g050",) in stacks()
    assert stacks("--use", "gasket=g100") <= {("g100",), ("g100", "g100")}


def test_dry_run_writes_nothing_and_shows_the_lines(bench: Path) -> None:
    result = run("remeasure", bench, *DECK, "--dry-run")
    assert text(bench) == PLAN and "written:" not in result.stderr
    assert "Would be written to" in result.stdout and "predicted: 0.5 mm down ± 0.225 mm" in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= WIDEST + 10


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_windows_line_ends_and_a_byte_order_mark_stay(bench: Path, mark: bytes) -> None:
    bench.write_bytes(mark + PLAN.replace("\n", "\r\n").encode())
    assert run("remeasure", bench, *DECK).exit_code == 0
    after = bench.read_bytes()
    assert after.startswith(mark + b"# the bench\r\n") and after.count(b"\r\n") == after.count(b"\n")
    assert after == mark + (PLAN + "measured:\n" + ENTRY + "}\n").replace("\n", "\r\n").encode()


def test_measuring_again_keeps_what_was_there(bench: Path) -> None:
    run("remeasure", bench, *DECK, "--instrument", "calliper")
    again = bench.read_bytes()
    assert "says so already" in run("remeasure", bench, *DECK, "--instrument", "calliper").stderr
    assert bench.read_bytes() == again
    run("remeasure", bench, "--deck", "0.60 mm down ± 0.01 mm", *DECK[2:4], "--date", "2026-05-02")
    run("remeasure", bench, "--deck", "0.61 mm down", *DECK[2:4], "--date", "2026-05-03", "--note", "cold")
    plan, _ = load_plan(bench)
    (deck,) = plan.measured_decks
    assert str(deck.deck) == "0.61 mm down" and deck.remarks.date == "2026-05-03" and deck.remarks.note == "cold"
    assert deck.remarks.predicted == "0.5 mm down ± 0.225 mm" and deck.remarks.instrument == ""
    assert text(bench).count("was: [{deck: 0.62 mm down ± 0.02 mm") == 1
    assert "{deck: 0.60 mm down ± 0.01 mm, predicted: 0.5 mm down ± 0.225 mm, date: 2026-05-02}]" in text(bench)
    assert text(bench).startswith(PLAN) and max(map(len, text(bench).splitlines())) <= 130


def test_an_entry_over_several_lines_keeps_its_comments(bench: Path) -> None:
    entry = "measured:\n  - chamber: 22.8 cc   # first try\n    of: h230\n    instrument: burette  # with a plate\n"
    bench.write_text(PLAN + entry, encoding="utf-8")
    run("remeasure", bench, "--chamber", "22.9 cc ± 0.1 cc", "--of", "h230", "--date", "2026-05-01")
    assert text(bench) == PLAN + (
        "measured:\n  - chamber: 22.9 cc ± 0.1 cc   # first try\n    of: h230\n    # with a plate\n"
        "    predicted: 23.0 cc ± 0.5 cc\n    date: 2026-05-01\n"
        "    was: [{chamber: 22.8 cc, instrument: burette}]\n"
    )


def test_several_at_once(bench: Path) -> None:
    found = answer(
        "remeasure", bench, *DECK, "--chamber", "23.2 cc ± 0.1 cc", "--of", "h230",
        "--set", "r86.length=86.01 mm", "--set", "width=25.7 mm", "--of", "r85",
    )  # fmt: skip
    assert [(each["name"], each.get("of")) for each in found["measured"]] == [
        ("chamber", "h230"),
        ("length", "r86"),
        ("width", "r85"),
        ("deck", None),
    ]
    assert [each["plausible"] for each in found["measured"]] == [True, True, None, True]
    _, catalogue = load_plan(bench)
    assert str(catalogue.get("r85").width) == "25.7 mm"  # type: ignore[union-attr]


def test_the_skirt_of_the_shelf_pair_clears_once_the_counterweight_is_measured(tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(SCENARIOS / "skirt-to-counterweight", folder)
    before = answer("find", folder / "plan.yaml")["combinations"]
    assert [each["parts"]["piston"] for each in before] == ["p264"]
    found = answer("remeasure", folder / "plan.yaml", "--set", "counterweight_radius=33.0 mm ± 0.02 mm", "--of", "k61")
    assert found["after"]["parts"]["rod"] == "r84" and found["after"]["parts"]["piston"] == "p274"
    assert found["before"]["parts"]["piston"] == "p264" and found["after"]["figures"]["cost"] == 0
    assert found["plausible"] is True and found["implied_block_height_mm"] is None
    assert answer("find", folder / "plan.yaml")["combinations"] == found["combinations"]


@pytest.mark.parametrize(
    ("deck", "said"),
    [
        (
            "0.85 mm down ± 0.02 mm",
            ["a loose bearing that lets the piston hang 0.35 mm lower", "rod r85 with a length"],
        ),
        ("0.50 mm up ± 0.02 mm", ["the wrong word: 0.50 mm down would agree", "another rod: r86 (length 86.00 mm)"]),
        ("0.02 mm down", ["the same number in inches is 0.508 mm down"]),
        ("1.48 mm down ± 0.02 mm", ["another piston: p27 (compression height 27.00 mm)"]),
        ("0.15 mm down", ["a deck that was cut before, by 0.35 mm"]),
    ],
)
def test_what_is_not_plausible_points_somewhere(bench: Path, deck: str, said: list[str]) -> None:
    result = run("remeasure", bench, "--deck", deck, *DECK[2:], "--dry-run")
    shown = " ".join(result.stdout.split())
    assert "Predicted 0.50 mm down ± 0.225 mm" in shown or "Predicted 0.500 mm down ± 0.225 mm" in shown
    assert "not plausible" in shown and all(each in shown for each in said)
    found = answer("remeasure", bench, "--deck", deck, *DECK[2:], "--dry-run")
    assert found["plausible"] is False and found["points_to"] and found["written"] is False


def test_a_size_that_no_part_has_is_not_pointed_to(bench: Path) -> None:
    shown = " ".join(run("remeasure", bench, "--deck", "1.5 in down", *DECK[2:], "--dry-run").stdout.split())
    assert "not plausible" in shown and "rod r85 with a length" in shown
    assert "compression height of −" not in shown


def test_the_block_height_is_taken_over_for_other_rods_and_pistons(bench: Path) -> None:
    found = answer("remeasure", bench, *DECK, "--take-block-height")
    assert "{block_height: 142.12 mm ± 0.145 mm, of: b72, predicted: 142.00 mm ± 0.10 mm, date: 2026-05-01," in text(
        bench
    )
    assert 'note: "from the deck with k57, r85, p28"' in text(bench)
    assert [each["name"] for each in found["measured"]] == ["deck", "block_height"]
    other = answer("find", bench, "--use", "rod=r86", "--use", "piston=p27")["combinations"][0]
    assert other["figures"]["deck_mm"] == pytest.approx(0.62)
    same = answer("find", bench, "--use", "rod=r85", "--use", "piston=p28")["combinations"][0]
    assert same["figures"]["deck_mm"] == pytest.approx(0.62)
    said = " ".join(run("remeasure", bench, *DECK, "--take-block-height").stdout.split())
    assert "it is taken over as measured" in said


def test_a_height_from_an_implausible_deck_is_called_so_once(bench: Path) -> None:
    deck = ("--deck", "0.90 mm down", *DECK[2:], "--take-block-height", "--dry-run")
    shown = run("remeasure", bench, *deck).stdout
    assert shown.count("It may point to") == 1 and shown.count("not plausible") == 2


def test_parts_that_could_be_several_are_asked_for(bench: Path) -> None:
    result = run("remeasure", bench, "--deck", "0.5 mm down")
    assert result.exit_code == 2 and result.stdout == "" and text(bench) == PLAN
    assert "--with rod=…   r85, r86" in result.stderr and "--with piston=…   p28, p27" not in result.stderr


def test_a_part_that_every_fitting_combination_has_is_taken_and_named(bench: Path) -> None:
    found = answer("remeasure", bench, "--deck", "0.5 mm down", "--with", "rod=r86", "--gaskets", "1", "--dry-run")
    assert {each["kind"]: (each["id"], each["how"]) for each in found["parts_taken"]}["piston"] == (
        "p27",
        "in every combination that fits",
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "nothing is measured; write `--deck`"),
        (["--with", "rod=r85"], "nothing is measured"),
        (["--chamber", "23 cc", "--of", "h230", "--with", "rod=r85"], "--with goes with a deck"),
        (["--chamber", "23 cc", "--of", "h230", "--take-block-height"], "--take-block-height goes with a deck"),
        (["--deck", "0.5 mm", *DECK[2:4]], "`0.5 mm down` (below the deck) or `0.5 mm up`?"),
        (["--deck", "-0.5 mm down", *DECK[2:4]], "the word alone says which way"),
        (["--deck", "80 mm down", *DECK[2:4]], "is impossible"),
        (["--deck", "0.5 mm down", "--with", "rod"], "write `--with rod=r85`"),
        (["--deck", "0.5 mm down", "--with", "head=h230"], "`head` has no part in a deck"),
        (["--deck", "0.5 mm down", "--with", "rod=r8"], "holds no rod `r8`; did you mean `r8"),
        (["--deck", "0.5 mm down", "--with", "rod=r85,rod=r86"], "two of a rod are named"),
        (["--chamber", "23 cc"], "write `--set h230.chamber=…`, or `--of ID` (h230, h250)"),
        (["--chamber", "23 cc", "--of", "h23"], "holds no part `h23`; did you mean `h230`?"),
        (["--chamber", "23 cc", "--of", "r85"], "`r85` is a rod, and `chamber` is no dimension of one"),
        (["--set", "stroke=57 mm", "--of", "r85"], "nothing that is measured belongs to this rod"),
        (["--chamber", "23 mm", "--of", "h230"], "is a unit of length, and a volume is wanted"),
        (["--chamber", "23", "--of", "h230"], "has no unit"),
        (["--set", "stroke=2.244 mm"], "a stroke of 2.244 mm is impossible"),
        (["--set", "stroke"], "not of the form ID.FIELD=VALUE"),
        (["--set", "strok=57 mm"], "did you mean `stroke`?"),
        (["--set", "k58.stroke=57 mm"], "holds no part `k58`; did you mean `k57`?"),
        (["--set", "k57.length=57 mm"], "`length` is no dimension of a crank"),
        (["--set", "price=3"], "`price` is no dimension of any part"),
        (["--set", "stroke=57 mm", "--set", "k57.stroke=57.1 mm"], "measured twice"),
        (["--set", "mill.max=0.5 mm", "--of", "h230"], "has no `mill` to measure"),
        (["--set", "stroke=57 mm", "--date", "1.5.2026"], "write year, month and day"),
        (["--set", "stroke=57 mm", "--note", "a\nb"], "one line of plain text"),
        (["--deck", "0.5 mm down", *DECK[2:4], "--free", "head"], "write block, crank, rod, piston or all"),
        (["--deck", "0.5 mm down", *DECK[2:4], "--avoid", "r85"], "to be avoided and used"),
    ],
)
def test_what_is_at_fault_is_named_and_nothing_is_written(bench: Path, words: list[str], said: str) -> None:
    result = run("remeasure", bench, *words)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr
    assert text(bench) == PLAN


@pytest.mark.parametrize(
    ("remark", "said"),
    [
        ("date: yesterday", "`yesterday` is no date"),
        ("date: 2026-02-30", "is no date"),
        ("instrument: [a]", "text is wanted"),
        ("was: [{deck: 0.4 mm down}]", "`deck` is no key of an earlier measurement"),
        ("was: [[x]]", "an earlier measurement is wanted"),
        ("was: [{chamber: 22 cc, date: never}]", "`never` is no date"),
    ],
)
def test_remarks_beside_a_measurement_are_read_with_care(bench: Path, remark: str, said: str) -> None:
    bench.write_text(f"{PLAN}measured:\n- {{chamber: 23 cc, of: h230, {remark}}}\n", encoding="utf-8")
    result = run("find", bench)
    assert result.exit_code == 2 and said in result.stderr and "plan.yaml:13" in result.stderr


@pytest.mark.parametrize("remark", ["was: 22 cc", "was: [22 cc]", "was: {chamber: 22 cc, date: 2026-05-01}", "date: ~"])
def test_remarks_in_other_forms_are_read(bench: Path, remark: str) -> None:
    bench.write_text(f"{PLAN}measured:\n- {{chamber: 23 cc, of: h230, {remark}}}\n", encoding="utf-8")
    assert run("find", bench, "--top", "1").exit_code == 0
    assert run("remeasure", bench, "--chamber", "22.7 cc", "--of", "h230").exit_code == 0
    assert load_plan(bench)[0].measured_fields[0].value.text == "22.7 cc"
    assert text(bench).count("was:") == 1


def test_nothing_fits_any_more_is_an_answer_with_status_1(bench: Path) -> None:
    words = ("remeasure", bench, "--deck", "1.60 mm down", *DECK[2:], "--dry-run")
    result = run(*words)
    assert result.exit_code == 1
    assert "nothing fits" in result.stdout and "misses quench max" in result.stdout
    found = json.loads(run(*words, "--format", "json").stdout)
    assert found["after"] is None and found["combinations"] == [] and found["conflict"]["requirements"]
    assert found["as_measured"]["missed"] and found["before"] is not None


def test_a_search_that_is_stopped_ends_with_status_3_and_the_plan_is_written(bench: Path) -> None:
    result = run("remeasure", bench, *DECK, "--time", "0")
    assert result.exit_code == 3
    assert text(bench).startswith(PLAN + "measured:\n")
    assert "stopped before" in " ".join(result.stdout.split())


def test_a_part_of_the_mock_up_that_is_not_on_the_shelf_is_named(bench: Path) -> None:
    shown = run("remeasure", bench, "--deck", "0.5 mm down", "--with", "rod=r86,piston=p27", "--dry-run").stdout
    assert "not on the shelf by the catalogue: r86, p27" in " ".join(shown.split())


def test_inches(bench: Path) -> None:
    bench.write_text(PLAN + "units: in\n", encoding="utf-8")
    shown = " ".join(run("remeasure", bench, "--deck", "24 thou down ± 1 thou", *DECK[2:]).stdout.split())
    assert "Deck 24 thou down ± 1 thou, measured with" in shown and "Predicted 19.7 thou down ± 8.9 thou" in shown
    assert "block height of 5.5949 in" in shown


def test_csv_and_markdown(bench: Path) -> None:
    rows = list(csv.DictReader(io.StringIO(run("remeasure", bench, *DECK, "--format", "csv", "--dry-run").stdout)))
    assert [row["when"] for row in rows[:3]] == ["before", "as measured", "now"]
    assert float(rows[0]["deck_mm"]) == pytest.approx(0.5) and float(rows[1]["deck_mm"]) == pytest.approx(0.62)
    shown = run("remeasure", bench, *DECK, "--format", "markdown", "--dry-run").stdout
    assert shown.startswith("# bench: measured\n") and "**Before and after**" in shown


def test_a_write_that_fails_is_said_and_leaves_the_plan(bench: Path, monkeypatch: Any) -> None:
    def fails(*_: Any) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.write", fails)
    result = run("remeasure", bench, *DECK)
    assert result.exit_code == 2 and result.stdout == ""
    assert "cannot be written: No space left on device; nothing was changed: make room" in result.stderr
    assert text(bench) == PLAN and [each.name for each in sorted(bench.parent.iterdir())] == ["catalogue", "plan.yaml"]


def test_a_plan_at_fault_is_refused_before_anything_is_written(bench: Path) -> None:
    bench.write_text(PLAN.replace("quench:", "quensh:"), encoding="utf-8")
    result = run("remeasure", bench, *DECK)
    assert result.exit_code == 2 and "did you mean `quench`?" in result.stderr
    assert "measured" not in text(bench)


def test_the_examples_of_the_readers_are_true() -> None:
    for module in (plan_measured, readings):
        done = doctest.testmod(module)
        assert done.attempted and not done.failed
