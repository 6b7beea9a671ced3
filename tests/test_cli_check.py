"""``kitwright check``: one combination in full, and how it is put together from what was named."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from kitwright.solver import Catalogue, Plan
from kitwright.solver.compose import ChoiceError, OpenChoiceError, compose
from kitwright.solver.fields import LengthSteps, Rebore, VolumeSteps
from kitwright.solver.parts import Block, Gasket, Head, Part, Rod
from kitwright.solver.quantity import LENGTH, VOLUME, Quantity, parse
from tests.cli_runner import WIDEST, answer, plan, run

STACK = plan("stack-not-needed")
OPEN = ("--use", "piston=p274", "--use", "gasket=g100", "--use", "head=h230")
PLAIN = ("check", STACK, "--use", "rod=r85", "--use", "gasket=g050")


def test_a_combination_in_full() -> None:
    found = answer(*PLAIN)
    assert found["parts"] == {
        "block": "b72",
        "crank": "k57",
        "rod": "r85",
        "piston": "p280",
        "gaskets": ["g050"],
        "head": "h230",
    }
    assert found["machining"] == {}
    assert found["figures"]["compression"] == pytest.approx(9.546, abs=5e-4)
    # deck ±: 0.10 block, 0.025 half stroke, 0.05 rod, 0.05 compression height; quench: 0.05 gasket too
    assert found["spread"]["deck_mm"]["worst_case"] == pytest.approx([0.275, 0.725])
    assert found["spread"]["quench_mm"]["worst_case"] == pytest.approx([0.725, 1.275])
    half = (0.10**2 + 0.025**2 + 0.05**2 + 0.05**2 + 0.05**2) ** 0.5
    assert found["spread"]["quench_mm"]["statistical"] == pytest.approx([1 - half, 1 + half], abs=1e-6)
    limits = {(each.get("goal"), each.get("rule"), each["limit"]): each for each in found["limits"]}
    quench = limits["quench", None, "min"]
    assert quench["bound"] == 0.9 and quench["margin"] == pytest.approx(0.1) and quench["holds"] is True
    assert limits[None, "quench_positive", "min"]["holds"] is True
    assert limits[None, "journal_to_big_end", "max"]["holds"] is True
    assert {"part": "b72", "field": "bore", "value": "72.00 mm"} in found["exact"]
    assert not any(each["field"] == "block_height" for each in found["exact"])  # it has a ±
    assert found["not_established"] == [] and found["buy"] == [] and found["labour"] == 0
    assert any("two full crank turns" in each for each in found["cautions"])
    assert found["fits"] is True and found["holds_at_worst_case"] is False


def test_a_missed_limit_is_status_1_and_comes_first() -> None:
    result = run("check", STACK, "--use", "rod=r86", "--use", "gasket=g050")
    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    assert "does not fit" in lines[0]
    assert "quench is 0.00 mm, wanted at least 0.90 mm: 0.90 mm short" in result.stdout
    asked = lines[lines.index("What you asked, at nominal size: 2 of 4 hold, 2 missed") + 3 :]
    assert asked[0].endswith("NO") and asked[0].startswith("compression")
    assert [line.split()[-1] for line in asked[:4]] == ["NO", "NO", "yes", "yes"]
    physical = lines[lines.index("What must not touch or break, at nominal size: 1 of 2 hold, 1 missed") + 3 :]
    assert [line.split()[-1] for line in physical[:2]] == ["NO", "yes"]


def test_a_limit_that_is_not_established_does_not_fail() -> None:
    words = ("check", plan("revs-against-lift"), "--use", "rocker=rk110", "--use", "spring=s-stiff")
    words = (*words, "--use", "retainer=t1", "--max", "cost=9")
    result = run(*words)
    assert result.exit_code == 0
    assert "rev ceiling — crank k57 has no max_rpm; rod r85 has no max_rpm" in result.stdout
    assert "not established" in result.stdout
    found = answer(*words)
    assert [each["holds"] for each in found["limits"] if each.get("goal") == "rev_ceiling"] == [None]
    assert found["rev_limit_by"] == "speed limit of the spring"
    assert found["buy"] == [{"id": "t1", "count": 1, "price": 9}]


def test_a_stack_is_named_by_repeating_its_gaskets() -> None:
    found = answer("check", STACK, "--use", "rod=r86", "--use", "gasket=g100", "--use", "gasket=g050")
    assert found["parts"]["gaskets"] == ["g050", "g100"]
    assert found["figures"]["gasket_count"] == 2
    assert any("Two gaskets are two more joints" in each for each in found["cautions"])
    twice = answer("check", STACK, "--use", "rod=r86", "--use", "gasket=g050", "--use", "gasket=g050")
    assert twice["parts"]["gaskets"] == ["g050", "g050"]
    assert twice["buy"] == [{"id": "g050", "count": 1, "price": 6}]  # one is on the shelf


def test_a_stack_that_the_plan_does_not_allow_is_a_missed_limit() -> None:
    stack = ("--use", "gasket=g050", "--use", "gasket=g050", "--gaskets", "1")
    result = run("check", STACK, "--use", "rod=r85", *stack)
    assert result.exit_code == 1
    assert "2 gaskets, and the plan allows 1" in result.stdout


def test_an_open_choice_lists_what_there_is() -> None:
    result = run("check", STACK)
    assert result.exit_code == 2 and result.stdout == ""
    assert "--use rod=…   r85, r86" in result.stderr
    assert "--use gasket=…   g050, g100" in result.stderr
    assert "piston" not in result.stderr  # there is one alone


def test_kinds_that_are_left_out() -> None:
    found = answer("check", STACK, "--kinds", "block,crank,rod,piston", "--use", "rod=r85")
    assert set(found["parts"]) == {"block", "crank", "rod", "piston"}
    assert [gap["goal"] for gap in found["not_established"]] == ["compression", "quench"]
    found = answer("check", STACK, "--use", "rod=r85", "--optional", "gasket,head")
    assert "gaskets" not in found["parts"] and "head" not in found["parts"]


def test_machining_is_worked_in() -> None:
    words = ("check", plan("compression-against-quench"), *OPEN)
    plain = answer(*words)
    opened = answer(*words, "--machine", "relieve=3.5cc", "--machining", "relieve")
    assert opened["machining"] == {"relieve_cc": 3.5}
    assert opened["figures"]["clearance_volume_cc"] == pytest.approx(plain["figures"]["clearance_volume_cc"] + 3.5)
    assert opened["labour"] == 20 and opened["fits"] is True
    result = run(*words, "--machine", "relieve=3.5cc")
    assert result.exit_code == 1 and "the plan does not allow relieve" in result.stdout


@pytest.mark.parametrize(
    ("machine", "said"),
    [
        ("relieve=3.6cc", "the nearest are 3.5 cc and 4 cc"),
        ("relieve=40cc", "at most"),
        ("relieve=3.5mm", "a volume is wanted"),
        ("relieve=3.5", "has no unit"),
        ("relieve=-1cc", "negative"),
        ("mill=0.1mm", "allows none on h230"),
        ("rebore=73mm", "allows none on b72"),
        ("polish=1mm", "no machining operation"),
        ("relieve", "WORK=AMOUNT"),
    ],
)
def test_machining_at_fault_is_status_2_and_says_what_is_allowed(machine: str, said: str) -> None:
    words = ("check", plan("compression-against-quench"), *OPEN)
    result = run(*words, "--machine", machine)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr


@pytest.mark.parametrize("use", ["rod=r9", "gasket=g9", "gasket=r85", "rod=g050", "wheel=x", "rod"])
def test_a_part_that_is_not_there_is_status_2(use: str) -> None:
    result = run("check", STACK, "--use", "rod=r85", "--use", "gasket=g050", "--use", use)
    assert result.exit_code == 2 and result.stdout == ""
    assert use.partition("=")[2] in result.stderr


# formats


def test_the_table_reads_by_the_builders_steps() -> None:
    text = run(*PLAIN).stdout
    steps = [text.index(f"\n{step}\n") for step in ("the stack", "volumes and compression", "money")]
    assert steps == sorted(steps)
    assert "Tightest: quench min, 0.10 mm to spare" in text
    assert "With every tolerance at its worst it does not fit" in text
    assert "Taken as exact, because no ± is given: b72 bore; k57 journal" in text
    assert max(map(len, text.splitlines())) <= WIDEST
    assert "0.725 to 1.275" in text


def test_inches_are_shown_where_they_are_asked_for() -> None:
    text = run(*PLAIN, "--units", "in").stdout
    row = next(line for line in text.splitlines() if line.strip().startswith("quench") and "thou" in line)
    assert row.split()[-2:] != []
    assert "39.4 thou" in text and "1.00 mm" not in text
    assert answer(*PLAIN, "--units", "in")["figures"]["quench_mm"] == pytest.approx(1.0)


def test_csv_is_one_fact_a_row() -> None:
    rows = list(csv.DictReader(io.StringIO(run(*PLAIN, "--format", "csv").stdout)))
    found = answer(*PLAIN)
    figures = {row["name"]: float(row["value"]) for row in rows if row["what"] == "figure"}
    assert figures == found["figures"]
    goals = [row for row in rows if row["what"] == "goal"]
    assert [(row["name"], row["limit"], row["holds"]) for row in goals] == [
        ("compression", "min", "true"),
        ("compression", "max", "true"),
        ("quench", "min", "true"),
        ("quench", "max", "true"),
    ]
    quench = next(row for row in rows if row["name"] == "quench_mm")
    assert float(quench["worst_case_low"]) == pytest.approx(0.725)
    assert next(row["name"] for row in rows if row["what"] == "exact") == "b72.bore"


def test_markdown_has_a_table_a_step() -> None:
    text = run(*PLAIN, "--format", "markdown").stdout
    assert text.startswith("# stack not needed: it fits")
    assert "**the stack**\n\n| figure | value | unit |" in text
    assert "| quench | 1.000 | mm | 0.725 to 1.275 | 0.865 to 1.135 |" in text


def test_output_goes_to_a_file(tmp_path: Path) -> None:
    target = tmp_path / "check.json"
    result = run(*PLAIN, "--format", "json", "--output", target)
    assert result.exit_code == 0 and result.stdout == ""
    assert json.loads(target.read_text(encoding="utf-8"))["parts"]["rod"] == "r85"


# compose


def mm(text: str) -> Quantity:
    return parse(f"{text} mm", LENGTH)


def cc(text: str) -> Quantity:
    return parse(f"{text} cc", VOLUME)


HEAD = Head(
    id="h1",
    chamber=cc("23"),
    mill=LengthSteps(max=parse("20 thou", LENGTH), step=parse("5 thou", LENGTH)),
    relieve=VolumeSteps(max=cc("3"), step=cc("0.5")),
)
BLOCK = Block(id="b1", bore=mm("72"), block_height=mm("142"), rebore=Rebore(to=(mm("72.5"), mm("73"))))
GASKETS = tuple(Gasket(id=name, thickness=mm("1"), bore=mm("74")) for name in ("g2", "g1"))
RODS = tuple(Rod(id=name, length=mm("85"), big_end=mm("30"), pin=mm("16")) for name in ("r1", "r2"))


def held(*parts: Part) -> Catalogue:
    return Catalogue.of(parts)


def test_one_part_of_a_kind_needs_no_choice() -> None:
    found = compose(held(HEAD, BLOCK, *GASKETS), Plan(use={"gasket": ("g2", "g1")}))
    assert found.ids == {"block": "b1", "gaskets": ["g1", "g2"], "head": "h1"}


def test_an_avoided_part_leaves_the_other_one() -> None:
    assert compose(held(*RODS), Plan(avoid=frozenset({"r1"}))).ids == {"rod": "r2"}
    assert compose(held(RODS[0]), Plan(avoid=frozenset({"r1"}))).ids == {"rod": "r1"}  # the check says it is avoided


def test_all_open_kinds_are_named_at_once() -> None:
    with pytest.raises(OpenChoiceError, match=r"rod: r1, r2; gasket: g1, g2") as raised:
        compose(held(HEAD, BLOCK, *RODS, *GASKETS), Plan())
    assert raised.value.kinds == {"rod": ["r1", "r2"], "gasket": ["g1", "g2"]}


def test_pinned_wins_over_optional_and_kinds() -> None:
    plan_of = Plan(use={"rod": ("r2",)}, optional=frozenset({"rod"}), kinds=frozenset({"block"}))
    assert compose(held(BLOCK, HEAD, *RODS), plan_of).ids == {"block": "b1", "rod": "r2"}


@pytest.mark.parametrize("text", ["0.254 mm", "10 thou", "0.01 in", "0.25400000000000006 mm"])
def test_an_amount_on_the_grid_is_taken_exactly_whatever_its_unit(text: str) -> None:
    found = compose(held(HEAD), Plan(), {"mill": text})
    assert HEAD.mill is not None and found.mill == 2 * HEAD.mill.step.exact


@pytest.mark.parametrize(
    ("work", "amount", "said"),
    [
        ("mill", "0.3 mm", "the nearest are 0.254 mm and 0.381 mm"),
        ("mill", "0.6 mm", "at most 0.508 mm, in steps of 5 thou"),
        ("mill", "0.1 mm ± 0.1 mm", "exact"),
        ("deck_cut", "0.1 mm", "no block"),
        ("relieve", cc("0.7"), "0.5 cc and 1 cc"),
        ("relieve", mm("1"), "no volume"),
    ],
)
def test_an_amount_off_the_grid_names_the_nearest(work: str, amount: str | Quantity, said: str) -> None:
    with pytest.raises(ChoiceError, match=said):
        compose(held(HEAD), Plan(), {work: amount})


def test_a_rebore_is_one_of_the_blocks_own() -> None:
    found = compose(held(BLOCK), Plan(), {"rebore": "72.5 mm"})
    assert found.machining == {"rebore_mm": 72.5}
    with pytest.raises(ChoiceError, match=r"72\.5 mm, 73 mm, not to 72\.6 mm"):
        compose(held(BLOCK), Plan(), {"rebore": "72.6 mm"})
