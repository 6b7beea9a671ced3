"""``kitwright sheet``: what stands on it, and how the command answers."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from kitwright.cli.report.sheet.card import runs
from kitwright.solver.combination import Combination
from kitwright.solver.fields import specs
from kitwright.solver.guards import CLEARANCES
from kitwright.solver.hazards import HAZARDS, RANKS
from kitwright.solver.mock_up import (
    CONSUMABLES,
    MEASUREMENTS,
    MOVED,
    PROUD,
    REDO,
    STACKED,
    STEPS,
    Measurement,
    applies,
    card,
)
from kitwright.solver.parts import KINDS
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Checked
from tests.cli_runner import answer, plan, run

PUMP = Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml"
STACK = plan("stack-not-needed")
NAMED = "block=b71 rod=r98 gasket=g59 head=h255 cam=c61 rocker=rk115 spring=s212 retainer=t0 pushrod=pr140 flywheel=f45"
USED = [word for each in NAMED.split() for word in ("--use", each)]


@cache
def first(form: str) -> str:
    result = run("sheet", PUMP, "--rank", "1", "--format", form)
    assert result.exit_code == 0 and result.stderr == ""
    return str(result.stdout)


def section(page: str, title: str) -> str:
    """The part of a Markdown sheet under a heading."""
    found = re.search(rf"^## \d+\. {re.escape(title)}\n(.*?)(?=^## |\Z)", page, re.M | re.S)
    assert found, title
    return found[1]


SECTIONS = (
    "The answer",
    "Before it runs",
    "The stack",
    "Limits and what is to spare",
    "Through two turns",
    "How far it may stray",
    "Against the others",
    "Shopping list",
    "Mock-up card",
    "What is not established",
    "Every figure",
    "The sums, line by line",
)


def test_both_twins_have_the_same_sections() -> None:
    assert tuple(re.findall(r"^## \d+\. (.+)$", first("markdown"), re.M)) == SECTIONS
    assert tuple(re.findall(r"<h2 [^>]*><span[^>]*>\d+</span> ([^<]+)</h2>", first("html"))) == SECTIONS


def test_the_answer_is_at_the_top_and_is_that_of_check() -> None:
    figures = answer("check", PUMP, *USED, "--machine", "mill=0.2mm")["figures"]
    top = section(first("markdown"), "The answer")
    assert first("markdown").startswith("# pump house, the whole engine: it fits\n")
    assert "What you asked: all 9 hold. What must not touch or break: all" in top
    assert f"| compression | {figures['compression']:.3f} |" in top
    assert f"| quench | {figures['quench_mm']:.3f} mm |" in top
    assert "set by speed limit of the flywheel" in top


@pytest.mark.parametrize("form", ["html", "markdown"])
def test_each_hazard_has_its_line(form: str) -> None:
    mark = "<li>" if form == "html" else "- "
    failing = run("sheet", STACK, "--use", "rod=r86", "--use", "gasket=g050", "--alone", "--format", form).stdout
    for page in (first(form), run("sheet", PUMP, "--top", "2", "--format", form).stdout, failing):
        lines = [mark + each.line.replace("'", "&#39;" if form == "html" else "'") for each in HAZARDS]
        assert all(each in page for each in lines)
        told = page[page.index('<section id="before"' if form == "html" else ". Before ") :]
        places = [told.index(f"{title}:") for title in RANKS.values()]
        assert places == sorted(places)  # worst first, and each hazard under its own rank
        ends = [*places[1:], len(told)]
        for rank, start, end in zip(RANKS, places, ends, strict=True):
            mine = [line for line, hazard in zip(lines, HAZARDS, strict=True) if hazard.rank == rank]
            assert mine and all(each in told[start:end] for each in mine)
        assert "two full crank turns" in page and "qualified machinist" in page and "Local codes" in page


def test_the_drawings_say_their_sizes() -> None:
    drawn = section(first("markdown"), "The stack")
    assert "| rod | 98.00 mm |" in drawn and "| throw | 30.00 mm |" in drawn
    assert "crown 0.517 mm proud of the deck" in drawn
    assert "deck between 0.659 mm up and 0.376 mm up" in drawn  # the worst corners that check gives
    page = first("html")
    assert "compression height</text>" in page and ">28.092 mm</text>" in page
    assert ">quench</text>" in page and ">deck 0.517 mm up</text>" in page


def test_the_plots_say_their_extremes() -> None:
    told = section(first("markdown"), "Through two turns")
    assert "the intake valve comes within 3.40 mm" in told.lower() and "the exhaust valve comes within 3.51 mm" in told
    assert "14.79 m/s" in told and "mean is 9.00 m/s" in told
    assert "it gives 225 N there, and 77 N are needed at 4500 rpm" in told


def test_the_list_of_others_and_who_is_beaten_by_nobody() -> None:
    told = section(first("markdown"), "Against the others")
    rows = re.findall(r"^\| (\d+) \| (\d+) \| ([\d.]+) \| (yes|no) \|$", told, re.M)
    assert len(rows) == 10
    for _, close, cost, free in rows:
        better = [
            each
            for each in rows
            if int(each[1]) <= int(close) and float(each[2]) <= float(cost) and (each[1], each[2]) != (close, cost)
        ]
        assert (free == "yes") is (not better)
    assert "This build has rank 1." in told


def test_the_shopping_list_adds_up() -> None:
    told = section(first("markdown"), "Shopping list")
    bought = re.findall(r"^\| \w+ \| [\w-]+ \| .*? \| 1 \| ([\d.]+) \|$", told, re.M)
    assert [float(each) for each in bought] == [12.0, 30.0, 26.0]
    assert "together 68.00" in told and "Consumables, not in the sum" in told
    assert told.index("Have, on the shelf") < told.index("**Buy**") < told.index("**Machine, labour**")


def test_the_card_has_expected_values_limits_and_blanks() -> None:
    told = section(first("markdown"), "Mock-up card")
    assert "| 0.981 mm (0.789 to 1.173) | at least 0.75 mm, at most 1.20 mm |  |" in told
    deck = r"0.517 mm up \(between 0.659 mm up and 0.376 mm up\)"
    assert re.search(rf"^\| Deck \|.*\| {deck} \| maker's figure \\_\\_\\_\\_ \|  \|$", told, re.M)
    assert re.search(r"^\| Gasket, compressed \|.*\| 1\.499 ± 0\.051 mm \| within its ± \|  \|$", told, re.M)
    assert "not established" not in told
    assert "with: {block: b71, crank: k60, rod: r98, piston: p281}" in told


def steps_of(card_text: str) -> dict[str, int]:
    """Names of a card's steps, and the numbers that they carry."""
    return {name: int(number) for number, name in re.findall(r"^\*\*(\d+)\. (.+)\*\*$", card_text, re.M)}


def test_the_card_has_no_gaps_in_its_numbers_and_what_is_redone_follows_them() -> None:
    short = section(answer_checked("--kinds", "block,crank,rod,piston", "--format", "markdown"), "Mock-up card")
    for told in (section(first("markdown"), "Mock-up card"), short):
        steps = steps_of(told)
        assert list(steps.values()) == [*range(1, len(steps) + 1)]
        again = dict(re.findall(r"^- (.+): steps? (.+)$", told, re.M))
        shown = sorted(int(end) for text in again.values() for end in re.findall(r"\d+", text))
        assert shown[-1] <= len(steps)
        own = {"Block and bore", "Where the piston stops", "Volumes", "Before the first start"} & set(steps)
        listed = [steps[name] for name in STEPS.values() if name in own]
        assert runs(listed) == again["Bore"]
    assert "Volumes" not in steps_of(short) and "Balance" in steps_of(short)
    assert again["Bore"] == "2, 4 and 8"


def test_the_card_is_in_one_system_of_units() -> None:
    for units, other in (("mm", r"\d (?:thou|in)\b"), ("in", r"\d (?:mm|N|kPa)\b|… mm\b")):
        page = run("sheet", PUMP, "--rank", "1", "--format", "markdown", "--units", units).stdout
        for name in ("Mock-up card", "Shopping list"):
            told = section(page, name)
            assert not re.search(other, told), re.findall(rf".*(?:{other}).*", told)
    assert "{deck: … in (down or up) ± … in, with:" in told_card(page)
    assert "down ±" not in told_card(first("markdown")) and "… mm (down or up) ± … mm" in told_card(first("markdown"))


def told_card(page: str) -> str:
    return section(page, "Mock-up card")


def test_a_rule_that_cannot_be_worked_out_is_a_line_of_the_card() -> None:
    """Each of them has one, with its own limit, wherever it stands; also where the card has no line for its figure."""
    from kitwright.cli.report.sheet.card import CLEAR, MAKERS, limit
    from kitwright.solver.mock_up import _RULES
    from kitwright.solver.plan import Plan
    from kitwright.solver.result import Unworked
    from kitwright.solver.rules import PHYSICAL

    wanted = Plan(rev_ceiling=4500.0)
    assert set(_RULES) <= {rule.id for rule in PHYSICAL}
    for rule in PHYSICAL:
        lines = card(replace(blank(), unworked=(Unworked(rule.id, rule.figure, ()),)))
        mine = [each for each in lines if each.compare == rule.figure]
        assert len(mine) == 1 and mine[0].what and mine[0].where
        asked = limit(mine[0], replace(blank(), unworked=(Unworked(rule.id, rule.figure, ()),)), wanted)
        else_asked = {"float_speed": "at least 4500 rpm", "spring_stress_open": MAKERS}
        assert asked == (CLEAR if rule.figure in CLEARANCES else else_asked.get(rule.id, "at least 0")), rule.id
    result = run("sheet", STACK, "--rank", "1", "--format", "markdown").stdout
    assert "more cannot be worked out and must be measured: rod side clearance, skirt to counterweight" in result
    for what in ("Big end sideways", "Skirt to counterweight"):
        line = rf"^\| {what} \|.*\| not known \| must clear: \\> 0 \|  \|$"
        assert re.search(line, told_card(result), re.M), what


def test_what_must_not_touch_never_waits_for_a_makers_figure() -> None:
    lines = {each.compare: each for each in MEASUREMENTS if each.compare in CLEARANCES}
    assert {
        "skirt_to_counterweight",
        "counterweight_to_case",
        "rod_to_case",
        "rod_to_core",
        "lobe_to_barrel",
        "ring_to_deck",
        "coil_bind_margin",
        "retainer_margin",
    } <= set(lines)
    assert any(each.compare == "spring_seat" for each in MEASUREMENTS)
    rows = told_card(first("markdown")).splitlines()
    told = [line for line in rows if re.match(r"\| (Rod|Skirt|Lobe|Counter)", line)]
    assert len(told) >= 5 and not any("maker" in line for line in told)


def test_the_steps_of_the_card_say_their_hazards() -> None:
    said = dict(re.findall(r"^\*\*\d+\. (.+)\*\*\n\n([^|\n]+)$", told_card(first("markdown")), re.M))
    for step, words in {
        "Strip, clean, look": ("asbestos", "brake cleaner", "crack test"),
        "The stack": ("machinist",),
        "Quench": ("lead-free",),
        "What limits the lift": ("springs", "eye protection"),
        "Piston to valve": ("springs",),
        "Speed": ("governor", "rating"),
        "Two full turns by hand": ("ground off", "fingers clear", "no force"),
        "Before the first start": ("carbon monoxide", "kickback", "decompressor", "fuel", "hot", "phosgene"),
    }.items():
        assert all(word in said[step].lower() for word in words), step
    assert "Bal" not in "".join(said)
    html = first("html")
    for text in said.values():
        assert text.rstrip(".").replace("'", "&#39;") in html


def test_hazards_of_the_card_are_there_and_have_words_for_it() -> None:
    told = {each.id for each in HAZARDS if each.at_bench}
    used = {name for each in MEASUREMENTS for name in each.caution}
    assert used == told


def test_the_card_follows_the_chosen_parts() -> None:
    short = answer_checked("--kinds", "block,crank,rod,piston", "--format", "markdown")
    card_only = section(short, "Mock-up card")
    assert "Deck" in card_only and "Intake lash" not in card_only and "Chamber" not in card_only
    assert "Head, milled" in section(first("markdown"), "Mock-up card")
    assert "Head, milled" not in card_only and "Stacked gaskets" not in card_only


def answer_checked(*words: str) -> str:
    result = run("sheet", PUMP, "--rank", "1", *words)
    assert result.exit_code == 0, result.output
    return str(result.stdout)


def test_the_sums_hold_every_figure_once() -> None:
    told = section(first("markdown"), "The sums, line by line")
    figures = answer("check", PUMP, *USED, "--machine", "mill=0.2mm")["figures"]
    names = re.findall(r"^(\d+)\. ([^:]+):", told, re.M)
    assert [int(number) for number, _ in names] == list(range(1, len(names) + 1))
    titles = [name for _, name in names]
    assert len(set(titles)) == len(titles)
    units = sorted({each.unit for each in FIGURES.values()} - {""}, key=len, reverse=True)
    for key in figures:
        bare = next((key.removesuffix(f"_{unit}") for unit in units if key.endswith(f"_{unit}")), key)
        assert bare.replace("_", " ") in titles
    assert re.search(r"^\| = quench \|  \| 0.9812 mm \|$", told, re.M)


def test_what_is_missing_is_named_with_its_part() -> None:
    told = section(first("markdown"), "What is not established")
    assert "pushrod length, pushrod mismatch — the plan's reference gives no pushrod" in told
    bare = run("sheet", STACK, "--rank", "1", "--format", "markdown").stdout
    turn = section(bare, "Through two turns")
    assert "Piston to valve: not drawn. No cam is chosen" in turn
    assert "Piston speed: not drawn. The plan gives no rev ceiling." in turn


def test_inches_are_shown_where_they_are_asked_for() -> None:
    told = run("sheet", PUMP, "--rank", "1", "--units", "in", "--format", "markdown").stdout
    assert "| rod | 3.8583 in |" in told and "| quench | 38.6 thou |" in told
    assert "piston to valve, square to its face, in</text>" in answer_checked("--units", "in")


def test_the_same_question_gives_the_same_page() -> None:
    code = "import sys; from kitwright.cli.main import main; sys.argv = ['kitwright', *sys.argv[1:]]; main()"
    words = [sys.executable, "-c", code, "sheet", str(PUMP), *USED, "--machine", "mill=0.2mm", "--alone"]
    import os

    pages = {
        subprocess.run(
            words,
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }
    assert len(pages) == 1 and next(iter(pages)).startswith("<!DOCTYPE html>")


# how the command answers


def test_a_file_is_written_whole_and_its_ending_decides(tmp_path: Path) -> None:
    target = tmp_path / "sheet.md"
    result = run("sheet", PUMP, *USED, "--machine", "mill=0.2mm", "--alone", "--output", target)
    assert result.exit_code == 0 and result.stdout == ""
    assert target.read_text(encoding="utf-8").startswith("# pump house")
    page = tmp_path / "sheet.html"
    assert run("sheet", PUMP, *USED, "--machine", "mill=0.2mm", "--alone", "-o", page).exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>") and "nothing was searched" in text


def test_the_named_one_is_compared_with_the_search() -> None:
    told = run("sheet", PUMP, *USED, "--machine", "mill=0.2mm", "--format", "markdown")
    assert told.exit_code == 0
    assert "This build has rank 1." in told.stdout
    other = run("sheet", PUMP, *USED, "--format", "markdown")  # not milled: it is not among the ten
    assert "This build is not among them." in other.stdout


def test_the_ranked_list_has_a_sheet_of_its_own() -> None:
    result = run("sheet", PUMP, "--top", "3", "--format", "markdown")
    assert result.exit_code == 0
    told = result.stdout
    assert told.startswith("# pump house, the whole engine: the 3 closest combinations\n")
    assert len(re.findall(r"^\| [123] \| fits \| 2 \|", section(told, "The answer"), re.M)) == 3
    assert "kitwright sheet" in section(told, "One build in full") and "--rank 1" in told
    assert "| 1 | g59, rk115 | mill 0.20 mm | 26.00 | 68.00 |" in section(told, "What is to be bought and done")


def test_a_missed_limit_still_gives_a_sheet_and_status_1() -> None:
    result = run("sheet", STACK, "--use", "rod=r86", "--use", "gasket=g050", "--alone", "--format", "markdown")
    assert result.exit_code == 1
    assert "it does not fit" in result.stdout and "quench is 0.00 mm, wanted at least 0.90 mm" in result.stdout


def test_the_sheet_of_what_does_not_fit_has_nothing_to_fill_in_but_what_would_mend_it() -> None:
    named = ("--use", "rod=r86", "--use", "gasket=g050")
    page = run("sheet", STACK, *named, "--alone").stdout
    assert 'class="blank"' not in page and 'class="cautions"' not in page and "to fill in" not in page
    assert "____" not in page and "reading" not in page
    told = run("sheet", STACK, *named, "--alone", "--format", "markdown").stdout
    titles = re.findall(r"^## \d+\. (.+)$", told, re.M)
    assert "Shopping list" not in titles and "Mock-up card" not in titles
    assert titles.index("What would mend it") == 1
    assert "Because:" in section(told, "The answer")
    mend = section(told, "What would mend it")
    asked = run("check", STACK, *named, "--format", "markdown").stdout
    assert "One change that mends everything" in mend and mend.strip() in asked  # as `check` says it
    fits = first("html")
    assert 'class="blank"' in fits and 'class="cautions"' in fits and "What would mend it" not in fits


def test_what_is_on_paper_says_at_the_top_what_is_not_established() -> None:
    result = run("sheet", STACK, "--min", "rev_ceiling=5000rpm", "--rank", "1", "--format", "markdown")
    assert result.exit_code == 0
    head = result.stdout.split("| sheet |")[0]
    assert "it fits on paper" in head and "Not established: rev ceiling" in head


def test_nothing_fits_gives_no_sheet_and_the_next_command() -> None:
    result = run("sheet", STACK, "--min", "quench=3mm", "--max", "quench=3.1mm")
    assert result.exit_code == 1 and result.stdout == ""
    assert "nothing fits, so there is no sheet" in result.stderr
    assert f"kitwright find {STACK} --min quench=3mm --max quench=3.1mm" in result.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rank", "500", "--max", "cost=0"), "--rank 500: one combination fits; the last is `--rank 1`"),
        (("--rank", "1", "--machine", "mill=0.2mm"), "leave out --machine, or --rank"),
        (("--use", "rod=r98"), "several parts would do; name one of each kind, or ask for the closest with `--rank 1`"),
        (("--use", "rod=nosuch"), "nosuch"),
        (("--machine", "mill"), "write WORK=AMOUNT"),
        (("--format", "json"), "json"),
        (("--rank", "0"), "the least is 1"),
        (("--output", "/nowhere/at/all.html"), "there is no folder"),
    ],
)
def test_bad_input_is_status_2_with_a_message(words: tuple[str, ...], said: str) -> None:
    result = run("sheet", PUMP, *words)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in " ".join(re.sub(r"[│╭╰─╮╯]", " ", result.stderr).split())


def test_no_time_is_status_3() -> None:
    result = run("sheet", PUMP, "--time", "0")
    assert result.exit_code == 3


def test_a_terminal_gets_a_file_and_never_loses_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from kitwright.cli.commands.sheet import _beside

    monkeypatch.chdir(tmp_path)
    assert _beside(PUMP) == Path("plan-sheet.html")
    Path("plan-sheet.html").write_text("mine", encoding="utf-8")
    with pytest.raises(ValueError, match="is there already"):
        _beside(PUMP)


# the card as data


def blank(**more: Any) -> Checked:
    return Checked(Combination({}), more, {}, 0, (), (), True, ())


@pytest.mark.parametrize("line", MEASUREMENTS, ids=lambda each: f"{each.step} {each.what}")
def test_every_measurement_names_what_there_is(line: Measurement) -> None:
    assert line.step in STEPS and line.what and line.where and line.tool
    for each in (line.compare, *line.needs):
        if not each or each in FIGURES or each in CLEARANCES or each in (PROUD, STACKED, MOVED):
            continue
        kind, _, field = each.partition(".")
        if kind == "machining":
            assert field in ("mill", "deck_cut", "relieve", "rebore")
        else:
            cls = KINDS["gasket" if kind == "gaskets" else kind]
            outer, _, inner = field.partition(".")
            assert not outer or outer in specs(cls)
            group = specs(cls)[outer].group if inner else None
            assert not inner or (group is not None and inner in specs(group))


def test_the_card_is_in_the_order_of_the_work() -> None:
    steps = [each.step for each in MEASUREMENTS]
    assert steps == sorted(steps) and set(steps) == set(STEPS)
    assert len(REDO) == 4 and all(set(again) <= {*STEPS, 8} for _, again in REDO)
    assert all(set(needs) <= set(KINDS) for _, needs in CONSUMABLES)


def test_without_parts_only_what_always_holds_is_asked() -> None:
    assert all(not each.needs for each in card(blank()))
    assert any(each.what == "Two full turns" for each in card(blank()))
    assert applies((PROUD,), blank(deck=-0.1)) and not applies((PROUD,), blank(deck=0.1))
    assert not applies((STACKED,), blank())


def test_the_lines_for_the_readings_are_read_as_a_plan(tmp_path: Path) -> None:
    """Filled in and put under `measured`, they are taken, whatever the ids look like."""
    parts = """
blocks: [{id: "b: 1", bore: 70 mm, block_height: 150.10 mm, on_shelf: 1}]
cranks: [{id: "k #1", stroke: 60 mm, journal: 28 mm, on_shelf: 1}]
rods: [{id: "r, 1", length: 94 mm, big_end: 28 mm, pin: 16 mm, on_shelf: 1}]
pistons: [{id: "p}", bore: 70 mm, compression_height: 26 mm, pin: 16 mm, on_shelf: 1}]
gaskets: [{id: g, thickness: 0.85 mm, bore: 70.5 mm, on_shelf: 1}]
heads: [{id: "[h]", chamber: 25.2 cc, on_shelf: 1}]
"""
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "parts.yaml").write_text(parts, encoding="utf-8")
    file = tmp_path / "plan.yaml"
    asked = "plan: odd ids\ncatalogue: ./c\ngoals:\n  quench: {min: 0.7 mm}\n"
    file.write_text(asked, encoding="utf-8")
    told = run("sheet", file, "--rank", "1", "--format", "markdown").stdout
    lines = re.findall(r"^- `(- \{.*\})`$", told, re.M)
    assert len(lines) == 2
    filled = [
        each.replace("… mm (down or up) ± …", "0.22 mm down ± 0.02").replace("… cc ± …", "24.0 cc ± 0.1")
        for each in lines
    ]
    file.write_text(asked + "measured:\n" + "\n".join(filled) + "\n", encoding="utf-8")
    figures = answer("find", file)["combinations"][0]["figures"]
    assert figures["deck_mm"] == pytest.approx(0.22)
    assert figures["quench_mm"] == pytest.approx(0.22 + 0.85)
    assert run("sheet", file, "--rank", "1", "--format", "markdown").exit_code == 0
