"""``kitwright explain``: known answers, what binds where something fits, formats, exit statuses."""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.cli_runner import WIDEST, answer, plan, run

PUMP_HOUSE = Path(__file__).parent.parent / "examples" / "pump-house" / "shelf.yaml"
AGAINST_QUENCH, AGAINST_LIFT = plan("compression-against-quench"), plan("revs-against-lift")


@cache
def explained(*words: str | Path) -> Any:
    return answer("explain", *words)


@cache
def table(*words: str | Path) -> str:
    return str(run("explain", *words).stdout)


def the_ways(found: Any) -> list[tuple[str, Any, float]]:
    return [(way["requirement"], way["to"], way["price"]) for way in found["conflict"]["ways_out"]]


def flat(text: str) -> str:
    return " ".join(text.split())


def written(path: Path, home: Path, old: str, new: str) -> Path:
    """A copy of a scenario with one text replaced, in its plan or its catalogue."""
    folder = Path(tempfile.mkdtemp(dir=home)) / "scenario"
    shutil.copytree(path.parent, folder)
    changed = 0
    for each in folder.rglob("*.yaml"):
        text = each.read_text(encoding="utf-8")
        changed += text.count(old)
        each.write_text(text.replace(old, new), encoding="utf-8")
    assert changed == 1
    return folder / path.name


# nothing fits: two scenarios whose answers stand in their description, worked out by an exhaustive program


def test_compression_against_quench() -> None:
    found = explained(AGAINST_QUENCH)
    conflict = found["conflict"]
    assert found["status"] == "nothing_fits" and found["combinations"] == [] and found["explained"] is True
    assert conflict["requirements"] == ["compression.max", "machining", "quench.max", "shelf_only"]
    closest = {each["requirement"]: each for each in conflict["closest"]}
    assert closest["compression.max"]["value"] == pytest.approx(9.982, abs=5e-4)
    assert closest["compression.max"]["combination"]["figures"]["quench_mm"] == pytest.approx(1.10)
    assert closest["quench.max"]["value"] == pytest.approx(2.10)
    assert the_ways(found) == [
        ("compression.max", 9.99, 0),
        ("quench.max", 2.1, 0),
        ("machining", ["relieve"], 20),
        ("shelf_only", False, 42),
    ]
    opened = [way["combination"] for way in conflict["ways_out"]]
    assert [each["figures"]["compression"] for each in opened] == pytest.approx([9.982, 8.787, 8.973, 8.847], abs=5e-4)
    assert opened[1]["parts"]["gaskets"] == ["g100", "g100"]
    assert opened[2]["machining"] == {"relieve_cc": pytest.approx(3.5)}
    assert opened[3]["buy"] == [{"id": "p274-dish", "count": 1, "price": 42}]


def test_revs_against_lift() -> None:
    found = explained(AGAINST_LIFT)
    conflict = found["conflict"]
    assert conflict["requirements"] == ["coil_bind_margin.min", "cost.max", "rev_ceiling", "valve_lift.min"]
    best = {each["requirement"]: each["value"] for each in conflict["closest"]}
    assert best == pytest.approx(
        {"coil_bind_margin.min": 0.496, "cost.max": 9, "rev_ceiling": 5200, "valve_lift.min": 7.54}, abs=5e-4
    )
    ways = {requirement: (to, price) for requirement, to, price in the_ways(found)}
    assert ways == {
        "coil_bind_margin.min": (pytest.approx(0.496), 0),
        "rev_ceiling": (5200, 0),
        "valve_lift.min": (pytest.approx(7.54), 0),
        "cost.max": (9, 9),
    }
    assert [requirement for requirement, *_ in the_ways(found)] == [
        "valve_lift.min",
        "cost.max",
        "coil_bind_margin.min",
        "rev_ceiling",
    ]
    guarded = [each["loosens_guard"] for each in conflict["ways_out"]]
    assert guarded == [False, False, True, True]  # what keeps parts apart comes last, cheapest first among itself
    assert all(("caution" in each) is each["loosens_guard"] for each in conflict["ways_out"])
    assert all(part in conflict["because"] for part in ("s-soft", "s-stiff", "rk100", "c764"))


@pytest.mark.parametrize(
    ("path", "requirement", "words"),
    [
        (AGAINST_QUENCH, "compression.max", ["--max", "compression=9.99"]),
        (AGAINST_QUENCH, "quench.max", ["--max", "quench=2.10mm"]),
        (AGAINST_QUENCH, "machining", ["--machining", "relieve"]),
        (AGAINST_QUENCH, "shelf_only", ["--no-shelf-only"]),
        (AGAINST_LIFT, "coil_bind_margin.min", ["--min", "coil_bind_margin=0.496mm"]),
        (AGAINST_LIFT, "valve_lift.min", ["--min", "valve_lift=7.54mm"]),
        (AGAINST_LIFT, "cost.max", ["--max", "cost=9"]),
    ],
)
def test_each_way_out_opens_what_it_says_when_it_is_typed(path: Path, requirement: str, words: list[str]) -> None:
    (way,) = [each for each in explained(path)["conflict"]["ways_out"] if each["requirement"] == requirement]
    first = answer("find", path, *words)["combinations"][0]
    assert first["parts"] == way["combination"]["parts"]
    assert first["figures"]["cost"] == way["price"]


def test_the_speed_that_is_named_opens_when_it_is_written_into_the_plan(tmp_path: Path) -> None:
    lower = written(AGAINST_LIFT, tmp_path, "rev_ceiling: 6500 rpm", "rev_ceiling: 5200 rpm")
    (way,) = [each for each in explained(AGAINST_LIFT)["conflict"]["ways_out"] if each["requirement"] == "rev_ceiling"]
    assert answer("find", lower)["combinations"][0]["parts"] == way["combination"]["parts"]
    more = written(AGAINST_LIFT, tmp_path, "rev_ceiling: 6500 rpm", "rev_ceiling: 5201 rpm")
    assert run("find", more).exit_code == 1


def test_what_a_part_that_would_fit_has_to_measure() -> None:
    parts = {each["kind"]: each for each in explained(AGAINST_QUENCH)["parts_that_would_fit"]}
    assert set(parts) == {"piston", "head"}
    piston, head = parts["piston"], parts["head"]
    assert (piston["in_place_of"], piston["field"], piston["unit"], piston["high"]) == ("p274", "dish", "cc", None)
    # swept 248.362 cc at compression 9.0 leaves 31.045 cc; 27.650 cc are there with p274, h230 and one g100
    swept, there = 248.36174882219464, 27.65006763611903
    missing = swept / (9.0 - 1) - there
    assert missing <= piston["value"] < missing + 0.01
    assert head["value"] == pytest.approx(23.0 + piston["value"])
    text = flat(table(AGAINST_QUENCH))
    assert "a piston with a dish of 3.40 cc or more" in text and "a head with a chamber of 26.40 cc or more" in text
    assert "Measure such a part before you pay for it" in text


def test_a_part_that_would_fit_does_fit_once_it_is_in_the_catalogue(tmp_path: Path) -> None:
    (asked,) = [each for each in explained(AGAINST_QUENCH)["parts_that_would_fit"] if each["kind"] == "piston"]
    row = "- id: p274\n  bore: 72.00 mm\n  compression_height: 27.40 mm ± 0.05 mm\n  pin: 16 mm\n  on_shelf: 1\n"
    for dish, status in ((asked["value"], 0), (asked["value"] - 0.02, 1)):
        new = f"{row.replace('p274', 'p274-new')}  dish: {dish} cc\n"
        result = run("find", written(AGAINST_QUENCH, tmp_path, row, new + row), "--format", "json")
        assert result.exit_code == status, dish
        if status == 0:
            assert json.loads(result.stdout)["combinations"][0]["parts"]["piston"] == "p274-new"


def test_another_conflict_is_told_beside_the_smallest() -> None:
    words = (PUMP_HOUSE, "--max", "cost=0")
    found = explained(*words)
    first, (other,) = found["conflict"], found["other_conflicts"]
    assert len(other["requirements"]) >= len(first["requirements"])
    assert not set(first["requirements"]) <= set(other["requirements"])
    assert other["requirements"] == ["cost.max", "gaskets", "quench.max", "quench.min"]
    assert "Letting go of `compression.min` (compression at least 8.60) is not enough." in flat(table(*words))


def test_where_no_single_change_will_do_several_together_are_named() -> None:
    words = (AGAINST_QUENCH, "--avoid", "g050", "--avoid", "g100")
    found = explained(*words)
    assert found["conflict"]["requirements"] == ["avoid.g050", "avoid.g100"]
    assert found["conflict"]["ways_out"] == []
    told = [([change["requirement"] for change in way["changes"]], way["price"]) for way in found["ways_out_together"]]
    assert told == [
        (["avoid.g050", "compression.max"], 0),
        (["avoid.g050", "machining"], 20),
        (["avoid.g050", "shelf_only"], 42),
    ]
    text = flat(table(*words))
    assert "No single change opens an answer." in text
    assert "use g050 after all; relieve h230 by 3.5 cc" in text
    rows = list(csv.DictReader(io.StringIO(run("explain", *words, "--format", "csv").stdout)))
    assert sum(row["what"] == "together" for row in rows) == 6


# something fits


def test_what_binds_where_something_fits() -> None:
    result = run("explain", PUMP_HOUSE, "--format", "json")
    found = json.loads(result.stdout)
    assert result.exit_code == 0
    assert found["status"] == "complete" and found["conflict"] is None and len(found["combinations"]) == 1
    spare = {each["goal"]: each for each in found["least_to_spare"] if each.get("goal")}
    figures = found["combinations"][0]["figures"]
    assert spare["quench"]["margin"] == pytest.approx(figures["quench_mm"] - 0.75)
    assert spare["compression"]["margin"] == pytest.approx(figures["compression"] - 8.6)
    (more,) = found["closer"]
    assert more["requirement"] == "machining" and more["gained"] > 0
    assert more["closeness"] == found["combinations"][0]["closeness"] - more["gained"]
    opened = answer("find", PUMP_HOUSE, "--machining", "mill", "--top", "1")["combinations"][0]
    assert (opened["closeness"], opened["figures"]["cost"]) == (more["closeness"], more["price"])


def test_the_table_where_something_fits_says_so_and_how_to_see_it_all() -> None:
    text = table(PUMP_HOUSE)
    assert text.startswith("pump house, from the shelf: something fits")
    assert "Tightest limits" in text and "What one requirement less would bring" in text
    command = flat(text.rsplit("Everything about it:", 1)[1].replace("\\\n", " "))
    assert run(*shlex.split(command)[1:]).exit_code == 0


def test_nothing_to_gain_is_said() -> None:
    text = flat(table(plan("stack-not-needed"), "--aim", "quench=1.0mm", "--aim", "compression=9.546"))
    assert "loosening any one of them brings none" in text


# formats, statuses


@pytest.mark.parametrize("form", ["table", "json", "csv", "markdown"])
def test_every_format_tells_the_requirements_and_the_ways_out(form: str) -> None:
    result = run("explain", AGAINST_LIFT, "--format", form)
    assert result.exit_code == 1 and result.stderr == ""
    for name in ("coil_bind_margin.min", "cost.max", "rev_ceiling", "valve_lift.min"):
        assert name in result.stdout.replace("\\_", "_")
    for part in ("s-soft", "s-stiff", "t1", "rk100"):
        assert part in result.stdout
    if form in ("table", "markdown"):
        assert "Ways out, cheapest first" in result.stdout
        assert "a rev ceiling of 5200 rpm" in flat(result.stdout)


def test_json_has_the_keys_of_find_and_more_beside() -> None:
    found, simple = explained(AGAINST_QUENCH), answer("find", AGAINST_QUENCH)
    assert set(simple) < set(found)
    assert set(found["conflict"]) >= {"requirements", "because", "closest", "ways_out"}
    assert found["conflict"]["requirements"] == simple["conflict"]["requirements"]
    for way in found["conflict"]["ways_out"]:
        assert set(way) >= {"requirement", "change", "to", "price", "combination"}


def test_json_holds_no_number_that_is_none() -> None:
    def refuse(text: str) -> None:
        raise AssertionError(text)

    for path in (AGAINST_QUENCH, AGAINST_LIFT):
        json.loads(run("explain", path, "--format", "json").stdout, parse_constant=refuse)


def test_csv_has_a_row_a_claim() -> None:
    rows = list(csv.DictReader(io.StringIO(run("explain", AGAINST_QUENCH, "--format", "csv").stdout)))
    found = explained(AGAINST_QUENCH)
    counts = {
        "requirement": len(found["conflict"]["requirements"]),
        "closest": len(found["conflict"]["closest"]),
        "way_out": len(found["conflict"]["ways_out"]),
        "part_that_would_fit": len(found["parts_that_would_fit"]),
    }
    assert {what: sum(row["what"] == what for row in rows) for what in counts} == counts
    assert [float(row["price"]) for row in rows if row["what"] == "way_out"] == [0, 0, 20, 42]


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("path", [AGAINST_QUENCH, AGAINST_LIFT], ids=["quench", "lift"])
def test_no_table_is_wider_than_a_hundred_columns(path: Path, units: str) -> None:
    text = table(path, "--units", units)
    command = text.rsplit("\n  kitwright", 1)[0]
    assert max(map(len, command.splitlines())) <= WIDEST


def test_a_bound_in_inches_opens_as_it_is_typed() -> None:
    text = table(AGAINST_LIFT, "--units", "in")
    assert re.search(r"valve lift at least 0\.\d+ in", flat(text))
    command = flat(text.rsplit("\n  kitwright", 1)[1].replace("\\\n", " "))
    done = run(*(str(AGAINST_LIFT) if "plan.yaml" in word else word for word in shlex.split(command)))
    assert done.exit_code == 0, command


def test_settings_on_the_command_line_win_over_the_plan() -> None:
    assert run("explain", AGAINST_QUENCH, "--max", "compression=9.99").exit_code == 0
    assert run("explain", AGAINST_QUENCH, "--max", "compression=9.98").exit_code == 1


def test_time_that_is_up_is_status_3() -> None:
    result = run("explain", PUMP_HOUSE, "--time", "0", "--format", "json")
    assert result.exit_code == 3
    found = json.loads(result.stdout)
    assert found["status"] == "incomplete" and found["explained"] is False and found["conflict"] is None
    text = run("explain", PUMP_HOUSE, "--time", "0").stdout
    assert "not decided" in text and "`--time` gives it longer" in flat(text)


def test_a_file_gets_the_whole_answer_and_standard_output_nothing(tmp_path: Path) -> None:
    target = tmp_path / "why.md"
    result = run("explain", AGAINST_QUENCH, "--format", "markdown", "--output", target)
    assert result.exit_code == 1 and result.stdout == ""
    assert target.read_text(encoding="utf-8").startswith("# compression against quench: nothing fits")


@pytest.mark.parametrize(
    ("options", "said"),
    [(["--max", "compresion=9"], "compresion"), (["--use", "crank=k99"], "k99"), (["--time", "soon"], "--time")],
)
def test_a_setting_at_fault_is_status_2_and_named(options: list[str], said: str) -> None:
    result = run("explain", AGAINST_QUENCH, *options)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr


def test_the_help_has_an_example() -> None:
    text = flat(run("explain", "--help").stdout)
    assert "kitwright explain plan.yaml" in text and "--time" in text
