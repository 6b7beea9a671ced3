"""``kitwright find``: known answers, settings over the plan, formats, exit statuses."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from tests.cli_runner import SCENARIOS, WIDEST, answer, plan, run

EXAMPLES = Path(__file__).parent.parent / "examples" / "pump-house"


def test_a_stack_that_is_not_needed_comes_second_for_its_extra_joint() -> None:
    found = answer("find", plan("stack-not-needed"))
    first, second = found["combinations"]
    assert found["status"] == "complete" and found["plan"] == "stack not needed"
    assert first["rank"] == 1 and second["rank"] == 2
    assert first["parts"] == {
        "block": "b72",
        "crank": "k57",
        "rod": "r85",
        "piston": "p280",
        "gaskets": ["g050"],
        "head": "h230",
    }
    assert second["parts"]["rod"] == "r86" and second["parts"]["gaskets"] == ["g050", "g100"]
    assert first["figures"]["deck_mm"] == pytest.approx(0.5)
    assert first["figures"]["quench_mm"] == pytest.approx(1.0)
    assert first["figures"]["compression"] == pytest.approx(9.546, abs=5e-4)
    assert second["figures"]["compression"] == pytest.approx(9.492, abs=5e-4)
    assert first["closeness"] == second["closeness"] == 5
    assert first["points"] == {"compression": 0, "quench": 5}
    assert first["machining"] == {} and first["buy"] == [] and first["labour"] == 0
    assert first["holds_at_worst_case"] is False
    assert found["considered"]["possible"] == 10
    assert found["conflict"] is None


def test_money_decides_between_equals() -> None:
    first, second = answer("find", plan("shelf-first"))["combinations"]
    assert [first["parts"][kind] for kind in ("crank", "rod", "piston", "head")] == [
        "k53",
        "r84",
        "p310",
        "h230",
    ]
    assert first["figures"]["compression"] == pytest.approx(8.946, abs=5e-4)
    assert (first["figures"]["cost"], second["figures"]["cost"]) == (6, 32)
    assert first["buy"] == [{"id": "g050", "count": 1, "price": 6}]
    assert second["parts"]["piston"] == "p315" and second["parts"]["gaskets"] == ["g100"]


def test_a_clearance_that_has_to_be_guaranteed() -> None:
    found = answer("find", plan("skirt-to-counterweight"))["combinations"]
    assert [each["parts"]["piston"] for each in found] == ["p264"]
    nominal = answer("find", plan("skirt-to-counterweight"), "--tolerance", "nominal")["combinations"]
    assert nominal[0]["parts"]["piston"] == "p274"
    assert nominal[0]["figures"]["skirt_to_counterweight_mm"] == pytest.approx(1.5)
    assert nominal[0]["holds_at_worst_case"] is False


@pytest.mark.parametrize("scenario", ["compression-against-quench", "revs-against-lift"])
@pytest.mark.parametrize("form", ["table", "json", "csv", "markdown"])
def test_nothing_fits_is_an_answer_with_status_1(scenario: str, form: str) -> None:
    result = run("find", plan(scenario), "--format", form)
    assert result.exit_code == 1
    if form == "json":
        found = json.loads(result.stdout)
        assert found["status"] == "nothing_fits" and found["combinations"] == []
    elif form == "csv":
        assert result.stdout.startswith("rank,closeness") and result.stdout.count("\n") == 1
    else:
        assert "nothing fits" in result.stdout
        assert "possible combinations; none fits" in result.stdout
        assert "kitwright " in result.stdout


def test_nothing_fits_names_what_dropped_out_and_a_kind_that_was_emptied() -> None:
    text = run("find", plan("compression-against-quench")).stdout
    assert "p274-dish: not on the shelf" in text
    text = run("find", plan("stack-not-needed"), "--avoid", "g050", "--avoid", "g100").stdout
    assert "nothing to choose from:\n  - gasket: g050, g100 avoided" in text
    assert "big end" not in text


@pytest.mark.parametrize(
    ("options", "compression", "cost", "machining"),
    [
        (["--max", "compression=9.99"], 9.982, 0, {}),
        (["--max", "quench=2.10mm"], 8.787, 0, {}),
        (["--machining", "relieve"], 8.973, 20, {"relieve_cc": 3.5}),
        (["--no-shelf-only"], 8.847, 42, {}),
    ],
)
def test_settings_on_the_command_line_win_over_the_plan(
    options: list[str], compression: float, cost: float, machining: dict[str, float]
) -> None:
    result = run("find", plan("compression-against-quench"), *options, "--format", "json")
    first = json.loads(result.stdout)["combinations"][0]
    assert result.exit_code == 0
    assert first["figures"]["compression"] == pytest.approx(compression, abs=5e-4)
    assert first["figures"]["cost"] == cost
    assert first["machining"] == pytest.approx(machining)


def test_every_setting_reaches_the_search() -> None:
    path = plan("stack-not-needed")

    def rods(*options: str) -> list[str]:
        return [each["parts"]["rod"] for each in answer("find", path, *options)["combinations"]]

    assert rods("--use", "rod=r86") == ["r86"]
    assert rods("--use", "gasket=g050", "--use", "gasket=g100") == ["r86"]
    assert rods("--avoid", "r85") == ["r86"]
    assert rods("--gaskets", "1") == ["r85"]
    assert rods("--min", "quench=0.95mm", "--max", "compression=9.5") == ["r86"]
    assert rods("--top", "1") == ["r85"]
    assert rods("--aim", "compression=9.2", "--step", "compression=0.01") == ["r86", "r85"]
    assert rods("--shelf-only") == ["r85", "r86"]
    found = answer("find", path, "--weight", "quench=3")["combinations"][0]
    assert found["points"] == {"compression": 0, "quench": 15}
    found = answer("find", path, "--kinds", "block,crank", "--kinds", "rod,piston")["combinations"][0]
    assert set(found["parts"]) == {"block", "crank", "rod", "piston"}
    assert [gap["goal"] for gap in found["not_established"]] == ["compression", "quench"]
    assert {"part": None, "kind": "gasket", "field": "thickness"} in found["not_established"][1]["missing"]


def test_optional_kinds_may_be_left_out() -> None:
    path = plan("revs-against-lift")
    base = ["--min", "coil_bind_margin=0.1mm", "--max", "cost=500"]
    with_it = answer("find", path, *base)["combinations"]
    without = answer("find", path, *base, "--optional", "retainer")["combinations"]
    assert all("retainer" in each["parts"] for each in with_it)
    assert any("retainer" not in each["parts"] for each in without)


def test_a_speed_without_ratings_is_not_established() -> None:
    options = ["--min", "coil_bind_margin=0.1mm", "--max", "cost=500"]
    first = answer("find", plan("revs-against-lift"), *options)["combinations"][0]
    assert first["not_established"] == [
        {
            "goal": "rev_ceiling",
            "missing": [
                {"part": "k57", "kind": "crank", "field": "max_rpm"},
                {"part": "r85", "kind": "rod", "field": "max_rpm"},
                {"part": "c764", "kind": "cam", "field": "max_rpm"},
                {"part": None, "kind": "flywheel", "field": "max_rpm"},
            ],
        }
    ]
    text = run("find", plan("revs-against-lift"), *options).stdout
    assert text.count("max_rpm") == 3 and "no flywheel is chosen" in text  # once a part, not once a combination
    assert "7000 ?" in text


def test_time_that_is_up_is_status_3() -> None:
    result = run("find", EXAMPLES / "plan.yaml", "--time", "0", "--format", "json")
    assert result.exit_code == 3
    assert json.loads(result.stdout)["status"] == "incomplete"
    result = run("find", EXAMPLES / "plan.yaml", "--time", "0")
    assert result.exit_code == 3
    assert "before the search was complete" in result.stdout


# formats


def test_the_table_says_once_what_is_common_and_what_was_searched() -> None:
    text = run("find", plan("stack-not-needed")).stdout
    assert "In all of them: block b72, crank k57, piston p280, head h230." in text
    assert "No speed is proved: no rating for k57, r85, r86; without cam, spring, flywheel." in text
    header = " ".join(line for line in text.splitlines() if line.startswith("rank"))
    assert "rod" in header and "gaskets" in header and "quench [mm]" in header
    assert "piston" not in header
    assert "10 possible combinations; 2 listed" in text and "proven complete" in text
    assert "quench 0.725 to 1.275 mm" in text  # at worst case
    assert "no clearance at speed" in text
    assert "--use rod=r85 --use gasket=g050" in " ".join(text.replace("\\\n", " ").split())


def test_the_command_for_the_first_gives_its_figures() -> None:
    path = plan("shelf-first")
    found = run("find", path, "--max", "cost=30").stdout
    command = found[found.index("kitwright check") :].replace("\\\n", " ").split()
    checked = answer(*command[1:])
    assert checked["figures"]["cost"] == 6
    assert {"goal": "cost", "limit": "max", "bound": 30}.items() <= checked["limits"][-1].items()


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("path", [*sorted(SCENARIOS.glob("*/plan.yaml")), *sorted(EXAMPLES.glob("*.yaml"))], ids=str)
def test_no_table_is_wider_than_a_hundred_columns(path: Path, units: str) -> None:
    text = run("find", path, "--units", units, "--top", "5").stdout
    lines = [line for line in text.splitlines() if str(path) not in line]
    assert lines and max(map(len, lines)) <= WIDEST


def test_units_change_the_table_and_not_the_data() -> None:
    path = plan("stack-not-needed")
    assert "quench [thou]" in run("find", path, "--units", "in").stdout
    assert "39.4" in run("find", path, "--units", "in").stdout
    keys = answer("find", path, "--units", "in")["combinations"][0]["figures"]
    assert keys["quench_mm"] == pytest.approx(1.0)


def test_csv_has_a_row_a_combination_with_the_keys_of_json() -> None:
    path = plan("shelf-first")
    rows = list(csv.DictReader(io.StringIO(run("find", path, "--format", "csv").stdout)))
    found = answer("find", path)["combinations"]
    assert len(rows) == len(found) == 2
    for row, each in zip(rows, found, strict=True):
        assert int(row["rank"]) == each["rank"] and int(row["closeness"]) == each["closeness"]
        assert row["piston"] == each["parts"]["piston"]
        assert row["gaskets"] == " + ".join(each["parts"]["gaskets"])
        for key, value in each["figures"].items():
            assert float(row[key]) == value
        assert row["not_established"] == ""


def test_markdown_has_the_same_table() -> None:
    text = run("find", plan("stack-not-needed"), "--format", "markdown").stdout
    assert text.startswith("# stack not needed")
    assert "| rank | verdict | closeness |" in text
    assert "| 1 | fits | 5 | 0.00 | no | r85 | g050 | 9.546 | 1.00 |" in text
    assert "`--tolerance worst_case`" in text and "```\nkitwright check" in text


def test_json_holds_no_number_that_is_none() -> None:
    def refuse(word: str) -> float:
        raise AssertionError(word)

    for path in sorted(EXAMPLES.glob("*.yaml")):
        found = json.loads(run("find", path, "--format", "json").stdout, parse_constant=refuse)
        assert found["combinations"]


# output


def test_a_file_gets_the_whole_answer_and_standard_output_nothing(tmp_path: Path) -> None:
    target = tmp_path / "answer.json"
    target.write_text("old")
    result = run("find", plan("stack-not-needed"), "--format", "json", "--output", target)
    assert result.exit_code == 0 and result.stdout == ""
    assert json.loads(target.read_text(encoding="utf-8"))["status"] == "complete"
    assert str(target) in result.stderr
    assert list(tmp_path.iterdir()) == [target]


def test_a_file_that_cannot_be_written_is_said_before_the_search(tmp_path: Path) -> None:
    result = run("find", plan("stack-not-needed"), "--output", tmp_path / "nowhere" / "answer.txt")
    assert result.exit_code == 2 and result.stdout == ""
    assert "there is no folder" in result.stderr and "nowhere" in result.stderr
    result = run("find", plan("stack-not-needed"), "--output", tmp_path)
    assert result.exit_code == 2 and "is a folder" in result.stderr


def test_an_input_at_fault_leaves_the_file_alone(tmp_path: Path) -> None:
    target = tmp_path / "answer.txt"
    target.write_text("old")
    result = run("find", plan("stack-not-needed"), "--aim", "speed=3", "--output", target)
    assert result.exit_code == 2
    assert target.read_text() == "old"


# faults


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--aim", "kompression=9"], "did you mean `compression`?"),
        (["--min", "quench=0.7"], "has no unit"),
        (["--max", "cost"], "FIGURE=VALUE"),
        (["--use", "crank=k99"], "`k99`"),
        (["--use", "cranks=k57"], "`crank`"),
        (["--avoid", "nothing"], "`nothing`"),
        (["--gaskets", "9"], "gaskets"),
        (["--machining", "polish"], "`polish`"),
        (["--kinds", "rods"], "`rod`"),
        (["--weight", "quench=1.5"], "weight"),
        (["--top", "0"], "--top"),
        (["--tolerance", "loose"], "--tolerance"),
        (["--format", "html"], "--format"),
        (["--time", "soon"], "--time"),
    ],
)
def test_a_setting_at_fault_is_status_2_and_named(options: list[str], said: str) -> None:
    result = run("find", plan("stack-not-needed"), *options)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr


def test_a_plan_that_is_not_there_is_status_2() -> None:
    result = run("find", "nowhere/plan.yaml")
    assert result.exit_code == 2 and "nowhere/plan.yaml" in result.stderr


def test_warnings_go_to_standard_error(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    source = (plan("stack-not-needed").parent / "catalogue" / "parts.yaml").read_text()
    (tmp_path / "catalogue" / "parts.yaml").write_text(source + "spacers:\n- {id: s1, thickness: 0.5 mm, fits: [x]}\n")
    (tmp_path / "plan.yaml").write_text(plan("stack-not-needed").read_text())
    result = run("find", tmp_path / "plan.yaml", "--format", "json")
    assert "odd" in result.stderr and "s1" in result.stderr
    assert json.loads(result.stdout)["plan"] == "stack not needed"
