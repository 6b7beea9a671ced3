"""Three verdicts, the same in every answer; what was asked and what must not touch apart; no tolerance is no proof."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver import Goal, Plan, check
from kitwright.solver.check import implied_aims, sizes_under
from kitwright.solver.compose import compose
from kitwright.solver.guards import CLEARANCES, LEAST, MOST, guards
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Checked
from tests.cli_runner import answer, run

PARTS = """
blocks:
  - {id: b, bore: 70 mm, block_height: 150 mm TOL, on_shelf: 1}
cranks:
  - {id: k, stroke: 58 mm, journal: 30 mm, on_shelf: 1, note: "journal has a score"CRANK}
rods:
  - {id: r, length: 92 mm, big_end: 30 mm, pin: 16 mm, on_shelf: 1}
pistons:
  - {id: p, bore: 70 mm, compression_height: 28.5 mm, pin: 16 mm, on_shelf: 1}
gaskets:
  - {id: g, thickness: 0.5 mm, bore: 71 mm, on_shelf: 2}
FURTHER
"""

PLAN = """
plan: small
catalogue: ./catalogue
goals: {quench: {min: 0.8 mm, max: 1.2 mm}GOALS}
"""


def bench(folder: Path, tolerance: str = "", crank: str = "", further: str = "", goals: str = "") -> Path:
    """A block, a crank, a rod, a piston and a gasket: quench 1.00 mm."""
    (folder / "catalogue").mkdir()
    text = PARTS.replace("TOL", tolerance).replace("CRANK", crank).replace("FURTHER", further)
    (folder / "catalogue" / "parts.yaml").write_text(text, encoding="utf-8")
    (folder / "plan.yaml").write_text(PLAN.replace("GOALS", goals), encoding="utf-8")
    return folder / "plan.yaml"


def checked(path: Path, **more: Any) -> Checked:
    plan, catalogue = load_plan(path)
    plan = plan.but(**more)
    return check(compose(catalogue, plan), plan)


# The verdict


def test_what_is_proved_fits(tmp_path: Path) -> None:
    found = checked(bench(tmp_path))
    assert (found.verdict, found.because) == ("fits", ())


def test_a_goal_that_cannot_be_proved_makes_it_fit_on_paper(tmp_path: Path) -> None:
    """No part carries a rating: nothing fails, and nobody knows."""
    found = checked(bench(tmp_path), rev_ceiling=5000.0)
    assert found.fits and found.verdict == "on_paper"
    (reason,) = found.because
    assert (reason.code, reason.about, reason.name) == ("not_established", "goal", "rev_ceiling")
    assert {each.field for each in reason.missing} == {"max_rpm"}


def test_a_missed_limit_does_not_fit_whatever_else_is_open(tmp_path: Path) -> None:
    goals = {"quench": Goal("quench", minimum=1.1, step=0.02)}
    found = checked(bench(tmp_path), rev_ceiling=5000.0, goals=goals)
    assert found.verdict == "does_not_fit"
    (reason,) = found.because
    assert (reason.code, reason.about, reason.name) == ("limit_missed", "goal", "quench")
    assert reason.limit is not None and reason.limit.value == pytest.approx(1.0)


def test_a_rule_that_is_broken_is_a_reason_by_its_name(tmp_path: Path) -> None:
    further = "spacers:\n  - {id: s, thickness: 0.1 mm, on_shelf: 1}"
    crank = ", counterweight_radius: 45 mm"
    path = bench(tmp_path, crank=crank, further=further)
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(
        text.replace("pin: 16 mm, on_shelf: 1}\ngaskets", "pin: 16 mm, on_shelf: 1, skirt_below_pin: 19 mm}\ngaskets")
    )
    found = checked(path)
    assert found.figures["skirt_to_counterweight"] == pytest.approx(92 - 29 - 19 - 45)
    assert [(each.about, each.name) for each in found.because] == [("rule", "skirt_to_counterweight")]
    data = answer("check", path)
    assert data["because"][0]["rule"] == "skirt_to_counterweight"
    assert data["because"][0]["code"] == "limit_missed" and "−1.00 mm" in data["because"][0]["text"]


def test_a_rule_that_cannot_be_worked_out_is_counted_and_lowers_nothing(tmp_path: Path) -> None:
    """The crank's counterweight is known and the skirt is not: to be measured, but no doubt about what was asked."""
    path = bench(tmp_path, crank=", counterweight_radius: 33 mm")
    found = checked(path)
    assert found.verdict == "fits"
    skirt = next(each for each in found.unworked if each.rule == "skirt_to_counterweight")
    assert {(each.part, each.field) for each in skirt.missing} == {("p", "skirt_below_pin")}
    assert "more cannot be worked out and must be measured" in " ".join(run("check", path).stdout.split())


@pytest.mark.parametrize(
    ("ceiling", "least", "verdict", "cell"),
    [(None, 0.8, "fits", "fits"), (5000, 0.8, "on_paper", "on paper"), (None, 1.1, "does_not_fit", "does not fit")],
)
def test_every_answer_says_the_same(tmp_path: Path, ceiling: int | None, least: float, verdict: str, cell: str) -> None:
    path = bench(tmp_path)
    words = ["--min", f"quench={least}mm", *(["--min", f"rev_ceiling={ceiling}rpm"] if ceiling else [])]
    assert answer("check", path, *words)["verdict"] == verdict
    told = run("check", path, *words).stdout
    head = {"fits": "it fits", "on_paper": "it fits on paper", "does_not_fit": "it does not fit"}[verdict]
    assert told.splitlines()[0] == f"small: {head}"
    rows = csv.DictReader(io.StringIO(run("check", path, *words, "--format", "csv").stdout))
    assert next(row["name"] for row in rows if row["what"] == "verdict") == verdict
    sheet = run("sheet", path, "--rank", "1", "--format", "markdown", *words) if verdict != "does_not_fit" else None
    if sheet is not None:
        assert sheet.stdout.startswith(f"# small: {head}\n")
        (listed,) = answer("find", path, *words)["combinations"]
        assert listed["verdict"] == verdict and bool(listed["because"]) is (verdict != "fits")
        table = run("find", path, *words).stdout
        assert any(line.split()[:1] == ["1"] and cell in line for line in table.splitlines())
        listing = csv.DictReader(io.StringIO(run("find", path, *words, "--format", "csv").stdout))
        assert [row["verdict"] for row in listing] == [verdict]
        assert f"| 1 | {cell} |" in run("find", path, *words, "--format", "markdown").stdout


@pytest.mark.parametrize(
    ("known", "top", "said"),
    [
        ((), (), "2 combinations fit on paper"),
        (("k",), (), "one combination fits, one more fits on paper"),
        (("k", "k2"), (), "2 combinations fit"),
        ((), ("--top", "1"), "the closest combination, on paper"),
        (("k",), ("--top", "2"), "the 2 closest combinations, one of them on paper"),
        (("k", "k2"), ("--top", "2"), "the 2 closest combinations"),
    ],
)
def test_the_heading_of_a_list_promises_no_more_than_its_verdicts(
    tmp_path: Path, known: tuple[str, ...], top: tuple[str, ...], said: str
) -> None:
    """Two cranks alike; one whose journal's width is unknown proves nothing of the rod's room beside it."""
    width = {name: ", journal_width: 22.2 mm" if name in known else "" for name in ("k", "k2")}
    further = "".join(
        f"\n  - {{id: {name}, stroke: 58 mm, journal: 30 mm, on_shelf: 1{width[name]}}}" for name in width
    )
    path = bench(tmp_path)
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    start, _, rest = text.replace("big_end: 30 mm", "big_end: 30 mm, width: 22 mm").partition("cranks:")
    (tmp_path / "catalogue" / "parts.yaml").write_text(f"{start}cranks:{further}\nrods:{rest.partition('rods:')[2]}")
    path.write_text(path.read_text().replace("goals: {", "goals: {rod_side_clearance: {min: 0.1 mm}, "))
    assert run("find", path, *top).stdout.splitlines()[0] == f"small: {said}"
    best = "something fits" if known else "something fits, on paper"
    assert run("explain", path).stdout.splitlines()[0] == f"small: {best}"


@pytest.mark.parametrize(("ceiling", "paper"), [("", ""), ("  rev_ceiling: 5000 rpm\n", " on paper")])
def test_the_headings_of_several_engines_promise_no_more_either(tmp_path: Path, ceiling: str, paper: str) -> None:
    path = bench(tmp_path)
    goals = f"goals:\n  quench: {{min: 0.8 mm, max: 1.2 mm}}\n{ceiling}"
    path.write_text(f"plan: two\ncatalogue: ./catalogue\n{goals}engines:\n  winch: {{}}\n")
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(text.replace("id: g,", "id: g, price: 2,"))
    assert run("find", path).stdout.splitlines()[0] == f"two: one allotment fits{paper}"
    told = run("explain", path).stdout
    besides = f",{paper}" if paper else ""
    assert told.splitlines()[0] == f"two: something fits{besides}"
    assert f"  - winch: {'on paper' if paper else 'fits'}; b, k" in told
    assert run("find", path, "--top", "1").stdout.splitlines()[0] == f"two: the closest allotment{besides}"


def test_what_a_way_out_opens_on_paper_alone_is_marked(tmp_path: Path) -> None:
    """The crank carries 5000 rpm, and nobody knows what the rod does."""
    path = bench(tmp_path, crank=", max_rpm: 5000 rpm")
    for command in ("find", "explain"):
        told = " ".join(run(command, path, "--min", "rev_ceiling=6000rpm").stdout.split())
        assert "a rev ceiling of 6000 rpm at most 5000 rpm" in told
        assert "a rev ceiling of 5000 rpm (loosens a guard) 0.00 just these (on paper)" in told
    assert "(on paper)" not in run("find", path, "--min", "quench=1.1mm").stdout


def test_to_let_go_of_what_is_only_not_proved_is_no_gain(tmp_path: Path) -> None:
    """5000 rpm are asked, 5000 rpm are what the crank carries: to allow 5000 rpm is no change."""
    path = bench(tmp_path, crank=", max_rpm: 5000 rpm")
    told = answer("explain", path, "--min", "rev_ceiling=5000rpm")
    assert told["combinations"][0]["verdict"] == "on_paper"
    assert "rev_ceiling" not in [each["requirement"] for each in told["closer"]]


def test_green_is_for_what_fits_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    from kitwright.cli.report.table import as_text
    from kitwright.cli.report.verdicts import verdict_blocks

    path = bench(tmp_path)
    green, yellow, red = "\x1b[32m", "\x1b[33m", "\x1b[31m"
    plan, _ = load_plan(path)
    said = {}
    for name, more in (
        ("fits", {}),
        ("on_paper", {"rev_ceiling": 5000.0}),
        ("does_not_fit", {"goals": {"quench": Goal("quench", minimum=1.1)}}),
    ):
        said[name] = as_text(list(verdict_blocks(checked(path, **more), plan)), 100, True)  # type: ignore[arg-type]
    assert green in said["fits"]
    assert green not in said["on_paper"] and yellow in said["on_paper"]
    assert green not in said["does_not_fit"] and red in said["does_not_fit"]


# Tolerances


def test_without_any_tolerance_nothing_holds_at_worst_case(tmp_path: Path) -> None:
    path = bench(tmp_path)
    assert checked(path).holds_at_worst_case is None
    assert answer("check", path)["holds_at_worst_case"] is None
    assert answer("find", path)["combinations"][0]["holds_at_worst_case"] is None
    assert "no tolerances given" in run("find", path).stdout
    assert "no tolerances given" in run("check", path).stdout


@pytest.mark.parametrize(("tolerance", "holds"), [("± 0.1 mm", True), ("± 0.3 mm", False)])
def test_with_a_tolerance_the_worst_corner_decides(tmp_path: Path, tolerance: str, holds: bool) -> None:
    assert checked(bench(tmp_path, tolerance)).holds_at_worst_case is holds


def test_limits_on_sizes_without_a_tolerance_are_listed_beside_it(tmp_path: Path) -> None:
    crank = ", counterweight_radius: 33 mm, journal_width: 22.2 mm"
    path = bench(tmp_path, "± 0.1 mm", crank)
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(text.replace("id: r,", "id: r, width: 22 mm,"))
    found = checked(path)
    assert found.holds_at_worst_case is True
    assert [limit.name for limit in found.without_tolerance] == ["rod_side_clearance"]
    assert {"rule": "rod_side_clearance", "limit": "min"} in answer("check", path)["without_tolerance"]


def test_money_and_counts_are_no_sizes() -> None:
    for name in ("cost", "parts_to_buy", "gasket_count"):
        assert sizes_under(name) == ()
    assert "block.block_height" in sizes_under("quench") and "crank.max_rpm" not in sizes_under("rev_limit")


# Implied aims, closeness broken down


def test_what_is_aimed_at_unasked_is_shown_and_taken_off(tmp_path: Path) -> None:
    path = bench(tmp_path)
    assert "aimed at without being asked: quench 0.80 mm (its min)" in " ".join(run("find", path).stdout.split())
    assert answer("find", path)["combinations"][0]["steps_off"] == {"quench": 10}
    bare = run("find", path, "--aim", "quench=none").stdout
    assert "without being asked" not in bare
    found = answer("find", path, "--aim", "quench=none")["combinations"][0]
    assert (found["closeness"], found["steps_off"]) == (0, {})


def test_the_pushrod_is_aimed_at_unless_the_plan_says_no(tmp_path: Path) -> None:
    path = bench(tmp_path)
    plan, _ = load_plan(path)
    from kitwright.solver.quantity import LENGTH, parse

    plan = plan.but(reference={"pushrod": parse("141 mm", LENGTH)})
    assert implied_aims(plan) == {"quench": 0.8, "pushrod_mismatch": 0.0}
    text = path.read_text().replace("max: 1.2 mm}", "max: 1.2 mm}, pushrod_mismatch: {aim: none}")
    path.write_text(text + "reference: {pushrod: 141 mm}\n")
    assert implied_aims(load_plan(path)[0]) == {"quench": 0.8}


def test_closeness_is_broken_down_wherever_one_build_is_shown(tmp_path: Path) -> None:
    path = bench(tmp_path, goals=", compression: {aim: 9}", further="heads:\n  - {id: h, chamber: 23 cc, on_shelf: 1}")
    data = answer("check", path)
    steps = data["steps_off"]
    assert sum(steps.values()) == data["closeness"] and len(steps) == 2
    text = f"{data['closeness']} steps off: "
    for words in (
        ("check", path),
        ("find", path),
        ("explain", path),
        ("stack", path),
        ("sheet", path, "--rank", "1", "--format", "markdown"),
    ):
        assert text in " ".join(run(*words).stdout.split()), words[0]
    assert data["steps_off"] == data["points"]


# Quench and rev limit stand everywhere; notes


def test_quench_and_rev_limit_are_columns_asked_for_or_not(tmp_path: Path) -> None:
    path = bench(tmp_path, crank=", max_rpm: 5500 rpm")
    path.write_text(PLAN.replace("goals: {quench: {min: 0.8 mm, max: 1.2 mm}GOALS}", "goals: {deck: {max: 1 mm}}"))
    table = run("find", path).stdout
    header = next(line for line in table.splitlines() if line.startswith("rank"))
    assert "quench [mm]" in table and "rev limit [rpm]" in table and header
    assert "at most 5500" in table and "without cam, spring, flywheel" in table
    said = run("check", path).stdout
    assert "Quench 1.00 mm. Rev limit at most 5500 rpm; no rating for r; without cam, spring, flywheel" in " ".join(
        said.split()
    )
    assert answer("check", path)["rev_limit_is_at_most"] is True


def test_a_note_stands_beside_the_part_and_is_marked_in_lists(tmp_path: Path) -> None:
    path = bench(tmp_path)
    listed = run("find", path).stdout
    assert "crank k (note)" in listed and "k: journal has a score" in listed
    assert "journal has a score" in run("check", path).stdout
    assert "journal has a score" in run("sheet", path, "--rank", "1", "--format", "markdown").stdout


# Guards


def test_guards_are_those_of_the_contract() -> None:
    contract_least = {
        "quench", "quench_at_speed", "piston_to_valve_intake", "piston_to_valve_exhaust", "coil_bind_margin",
        "retainer_margin", "rod_side_clearance", "skirt_to_counterweight", "rod_to_cam", "rod_to_core", "rod_to_case",
        "counterweight_to_case", "lobe_to_barrel", "lever_to_counterweight", "ring_to_deck", "spring_seat",
        "float_speed",
    }  # fmt: skip
    same_in_other_words = {"spring_yield_margin", "spring_safety", "float_ratio"}  # of wire stress, of float speed
    assert set(LEAST) == contract_least | same_in_other_words
    assert set(MOST) == {
        "rod_load", "rod_stress", "spring_stress_seat", "spring_stress_open", "cranking_pressure",
        "cranking_gauge_pressure", "cranking_torque",
    }  # fmt: skip
    assert set(LEAST) | set(MOST) <= set(FIGURES) and set(CLEARANCES) < set(LEAST)


@pytest.mark.parametrize("figure", [*LEAST, "compression"])
def test_a_goal_guards_by_its_figure_unless_it_says_so_itself(figure: str) -> None:
    def plan(guard: bool | None) -> Plan:
        return Plan(goals={figure: Goal(figure, minimum=1.0, maximum=2.0, guard=guard)})

    assert guards(plan(None), f"{figure}.min") is (figure != "compression")
    assert guards(plan(None), f"{figure}.max") is False
    assert guards(plan(True), f"{figure}.max") and guards(plan(True), f"{figure}.min")
    assert not guards(plan(False), f"{figure}.min")


def test_guard_is_read_from_the_plan(tmp_path: Path) -> None:
    path = bench(tmp_path, goals=", compression: {min: 9, guard: true}, rev_ceiling: {min: 5000 rpm, guard: false}")
    plan, _ = load_plan(path)
    assert guards(plan, "compression.min") and not guards(plan, "rev_ceiling")
    bad = run("find", path.with_name("plan.yaml"), "--min", "quench=1 mm")
    assert bad.exit_code in (0, 1)
    path.write_text(path.read_text().replace("guard: true", "guard: perhaps"))
    refused = run("find", path)
    assert refused.exit_code == 2 and "neither true nor false" in refused.stderr


def test_a_way_out_within_a_step_of_contact_is_not_offered(tmp_path: Path) -> None:
    """Quench 0.01 mm where 0.8 is asked: half a step from contact. The other bound is the only thing to move."""
    path = bench(tmp_path)
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(text.replace("92 mm", "92.99 mm"))
    path.write_text(path.read_text().replace("0.8 mm", "0.4 mm"))
    found = json.loads(run("explain", path, "--format", "json").stdout)
    assert found["status"] == "nothing_fits"
    assert found["conflict"]["requirements"] == ["gaskets", "quench.min"]
    nearest = {each["requirement"]: each["value"] for each in found["conflict"]["closest"]}
    assert nearest["quench.min"] == pytest.approx(0.01)
    assert [each["requirement"] for each in found["conflict"]["ways_out"]] == ["gaskets"]
    assert found["conflict"]["ways_out"][0]["combination"]["parts"]["gaskets"] == ["g", "g"]


def test_no_command_is_offered_that_loosens_a_guard(tmp_path: Path) -> None:
    path = bench(tmp_path)
    text = (tmp_path / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(text.replace("92 mm", "92.5 mm"))
    for command in ("find", "explain"):
        told = run(command, path)
        assert told.exit_code == 1
        assert "quench at least 0.50 mm (loosens a guard)" in told.stdout
        assert "--min quench" not in told.stdout and "quench=0.5" not in told.stdout
    *others, way = json.loads(run("find", path, "--format", "json").stdout)["conflict"]["ways_out"]
    assert way["requirement"] == "quench.min" and way["loosens_guard"] is True and "machinist" in way["caution"]
    assert [each["loosens_guard"] for each in others] == [False] * len(others)


def test_an_explanation_of_several_engines_says_each_verdict(tmp_path: Path) -> None:
    path = bench(tmp_path)
    engines = "{one: {}, two: {goals: {rev_ceiling: 3000 rpm}}}"
    path.write_text(f"plan: pair\ncatalogue: ./catalogue\nengines: {engines}\n", encoding="utf-8")
    parts = tmp_path / "catalogue" / "parts.yaml"
    parts.write_text(parts.read_text(encoding="utf-8").replace("on_shelf: 1", "on_shelf: 2"), encoding="utf-8")
    said = run("explain", path).stdout
    assert "  - one: fits; b, k, r, p, g; cost 0.00\n" in said
    assert "  - two: on paper; b, k, r, p, g; cost 0.00\n" in said


def test_no_budget_is_named_for_a_part_without_a_price(tmp_path: Path) -> None:
    """One wants the thinner gasket, which nobody has priced: the cost is open, and no budget would be enough."""
    path = bench(tmp_path)
    engines = "{one: {}, two: {goals: {quench: {max: 0.85 mm}}}}"
    path.write_text(f"plan: pair\ncatalogue: ./catalogue\nbudget: 0\nengines: {engines}\n", encoding="utf-8")
    parts = tmp_path / "catalogue" / "parts.yaml"
    thin = "  - {id: thin, thickness: 0.3 mm, bore: 71 mm}\n"
    text = parts.read_text(encoding="utf-8").replace("on_shelf: 1", "on_shelf: 2")
    parts.write_text(text.replace("gaskets:\n", f"gaskets:\n{thin}"), encoding="utf-8")
    found = answer("explain", path)
    assert found["status"] == "complete" and found["allotments"][0]["cost"] is None
    assert found["ways_out"] == []
    assert "a budget of ?" not in run("explain", path).stdout
