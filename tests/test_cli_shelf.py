"""``kitwright shelf``, ``figures`` and ``start``."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from kitwright.solver.parts import KINDS
from kitwright.solver.registry import GROUPS, public_figures
from tests.cli_runner import WIDEST, answer, plan, run

EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house"
CATALOGUE = EXAMPLE / "catalogue"


# shelf check


def test_a_sound_catalogue_is_summed_up() -> None:
    result = run("shelf", "check", "--plan", EXAMPLE / "plan.yaml")
    assert result.exit_code == 0
    assert "no fault" in " ".join(result.stdout.split("\n\n")[0].split())  # behind a path that may take a line alone
    assert "cranks: journal (all)" in result.stdout
    found = answer("shelf", "check", "--catalogue", CATALOGUE)
    assert found["faults"] == [] and found["parts"]["crank"] == 4
    assert {"part": "k60", "field": "journal", "value": "32 mm"} in found["exact"]
    assert not any(each["field"] in ("max_rpm", "mill.step") for each in found["exact"])


def test_a_sound_catalogue_leads_to_a_question() -> None:
    """The plan that was named; else the one that lies beside it and names this catalogue; else the list of parts."""
    named = run("shelf", "check", EXAMPLE / "deck.yaml").stderr
    assert f"Next:\n  kitwright find {EXAMPLE / 'deck.yaml'}\n" in named
    assert f"Next:\n  kitwright find {EXAMPLE / 'plan.yaml'}\n" in run("shelf", "check", CATALOGUE).stderr


def test_a_catalogue_that_no_plan_names_leads_to_its_list(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "rods.yaml").write_text("rods: [{id: r1, length: 85 mm, big_end: 30 mm, pin: 16 mm}]\n")
    (tmp_path / "plan.yaml").write_text("catalogue: other\n")
    said = run("shelf", "check", tmp_path / "mine")
    assert said.exit_code == 0 and said.stderr.endswith(f"  kitwright shelf list {tmp_path / 'mine'}\n")
    assert "kitwright find" not in said.stderr
    (tmp_path / "plan.yaml").write_text("catalogue: mine\n")
    assert f"kitwright find {tmp_path / 'plan.yaml'}" in run("shelf", "check", tmp_path / "mine").stderr


def test_all_faults_come_at_once_with_status_1(tmp_path: Path) -> None:
    (tmp_path / "cranks.yaml").write_text(
        "cranks:\n- {id: k1, stroke: 2.244 mm, journal: 30 mm}\n- {id: k2, stroke: 57, journal: 30 mm}\n"
    )
    (tmp_path / "rods.csv").write_text("id,length [mm],big_end [mm],pin [mm]\nr1,85,30,-16\n")
    result = run("shelf", "check", "--catalogue", tmp_path)
    assert result.exit_code == 1
    for word in ("3 faults", "cranks.yaml:2", "cranks.yaml:3", "rods.csv:2", "2.244 in would be 57.00 mm"):
        assert word in result.stdout
    found = run("shelf", "check", "--catalogue", tmp_path, "--format", "json")
    faults = json.loads(found.stdout)["faults"]
    assert found.exit_code == 1 and [fault["part"] for fault in faults] == ["k1", "k2", "r1"]
    assert faults[0]["line"] == 2 and faults[0]["field"] == "stroke"
    rows = list(csv.DictReader(io.StringIO(run("shelf", "check", "--catalogue", tmp_path, "--format", "csv").stdout)))
    assert [row["what"] for row in rows] == ["fault"] * 3
    # the same fault stops every other command with status 2
    assert run("shelf", "list", "--catalogue", tmp_path).exit_code == 2


def test_what_looks_odd_is_listed_and_does_not_fail(tmp_path: Path) -> None:
    (tmp_path / "parts.yaml").write_text(
        "blocks:\n- {id: b1, bore: 72 mm, block_height: 142 mm, tags: [x]}\n"
        "cranks:\n- {id: k1, stroke: 57 mm, journal: 30 mm, fits: [y]}\n"
    )
    result = run("shelf", "check", "--catalogue", tmp_path)
    assert result.exit_code == 0
    assert "odd" in result.stdout and "`y`" in result.stdout
    assert len(answer("shelf", "check", "--catalogue", tmp_path)["warnings"]) >= 1


@pytest.mark.parametrize("words", [(), ("--catalogue", "a", "--plan", "b"), ("--catalogue", "nowhere")])
def test_a_catalogue_has_to_be_named_once_and_be_there(words: tuple[str, ...]) -> None:
    result = run("shelf", "check", *words)
    assert result.exit_code == 2 and result.stdout == "" and result.stderr


# shelf list


def test_the_columns_follow_the_kind() -> None:
    text = run("shelf", "list", "--catalogue", CATALOGUE, "--kind", "crank").stdout
    assert "stroke" in text and "big end" not in text
    assert "60.00 mm ± 0.04 mm" in text  # as it is written
    assert max(len(line) for line in text.splitlines() if str(CATALOGUE) not in line) <= WIDEST


def test_the_filters() -> None:
    def ids(*words: str) -> list[str]:
        return [part["id"] for part in answer("shelf", "list", "--catalogue", CATALOGUE, *words)["parts"]]

    everything = ids()
    assert len(everything) == 52
    assert ids("--kind", "cranks") == ids("--kind", "crank") == ["k56", "k60", "k60-in", "k63"]
    assert ids("--kind", "crank", "--on-shelf") == ["k56", "k60"]
    assert set(ids("--kind", "crank,flywheel")) == {"k56", "k60", "k60-in", "k63", "f45", "f60"}
    on_studs = ids("--fits", "studs")
    assert "h255" in on_studs and "b71" in on_studs and "k60" not in on_studs and "r98" in on_studs


@pytest.mark.parametrize(
    ("words", "said"),
    [(("--kind", "crnk"), "did you mean `crank`?"), (("--fits", "moon"), "tags: cam-bore, case, studs")],
)
def test_a_filter_that_names_nothing_is_status_2(words: tuple[str, ...], said: str) -> None:
    result = run("shelf", "list", "--catalogue", CATALOGUE, *words)
    assert result.exit_code == 2 and said in result.stderr


def test_a_part_in_json_and_csv() -> None:
    parts = answer("shelf", "list", "--catalogue", CATALOGUE, "--kind", "head")["parts"]
    head = next(part for part in parts if part["id"] == "h280")
    assert head["chamber"]["unit"] == "cc" and head["chamber"]["text"] == "1.71 ± 0.03 in3"
    assert head["chamber"]["value"] == pytest.approx(1.71 * 16.387064)
    assert head["mill"]["step"]["value"] == pytest.approx(0.127) and head["mill"]["labour"] == 26
    rows = list(csv.DictReader(io.StringIO(run("shelf", "list", "--catalogue", CATALOGUE, "--format", "csv").stdout)))
    assert len(rows) == 52
    row = next(row for row in rows if row["id"] == "h280")
    assert (row["kind"], row["mill.step"], row["price"]) == ("head", "5 thou", "30.0")


def test_every_kind_has_its_markdown_table() -> None:
    text = run("shelf", "list", "--catalogue", CATALOGUE, "--format", "markdown").stdout
    held = {part["kind"] for part in answer("shelf", "list", "--catalogue", CATALOGUE)["parts"]}
    for kind in held:
        assert f"**{KINDS[kind].plural.replace('_', ' ')}**" in text


# figures


def test_all_figures_are_listed_by_step() -> None:
    text = run("figures").stdout
    lines = [line.strip() for line in text.splitlines()]
    groups = [lines.index(group) for group in GROUPS if group in lines]
    assert groups == sorted(groups) and len(groups) >= 6
    names = [line.split()[0] for line in lines if line]
    for name in public_figures():
        assert name in names
    assert "rev_ceiling" in names
    assert max(map(len, text.splitlines())) <= WIDEST


@pytest.mark.parametrize("name", sorted(public_figures()))
def test_a_figure_is_explained(name: str) -> None:
    entry = public_figures()[name]
    text = " ".join(run("figures", name).stdout.split())
    assert text.startswith(name)
    found = answer("figures", name)
    assert found["formula"] == entry.formula and found["source"] == entry.source
    assert found["key"] == entry.key and found["inputs"]
    for each in found["inputs"]:
        assert each["field"] in text and each["meaning"]


def test_a_figure_is_found_by_its_key_too_and_a_wrong_name_gets_the_near_one() -> None:
    assert run("figures", "quench_mm").stdout == run("figures", "quench").stdout
    result = run("figures", "quensh")
    assert result.exit_code == 2 and "did you mean `quench`?" in result.stderr and result.stdout == ""
    assert "rpm" in run("figures", "rev_ceiling").stdout


def test_figures_as_csv_and_json() -> None:
    rows = list(csv.DictReader(io.StringIO(run("figures", "--format", "csv").stdout)))
    assert {row["figure"] for row in rows} == set(public_figures())
    assert {each["figure"] for each in answer("figures")} == set(public_figures())


# start


def test_a_starter_is_laid_that_answers(tmp_path: Path) -> None:
    target = tmp_path / "shed"
    result = run("start", target)
    assert result.exit_code == 0
    assert str(target / "plan.yaml") in result.stdout
    assert f"kitwright find {target / 'plan.yaml'}" in result.stderr
    assert run("shelf", "check", "--plan", target / "plan.yaml").exit_code == 0
    assert answer("find", target / "plan.yaml", "--top", "1")["combinations"]


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("mine")
    result = run("start", tmp_path)
    assert result.exit_code == 2 and "is there already" in result.stderr
    assert (tmp_path / "plan.yaml").read_text() == "mine"
    assert list(tmp_path.iterdir()) == [tmp_path / "plan.yaml"]


def test_the_scenarios_catalogues_are_sound() -> None:
    result = run("shelf", "check", "--plan", plan("shelf-first"))
    assert result.exit_code == 0 and "no fault" in result.stdout
