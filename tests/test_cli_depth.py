"""``kitwright check`` in depth: mends, what if, sensitivities, samples, shares, in every format."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from tests.cli_runner import WIDEST, answer, plan, run

STACK = plan("stack-not-needed")
PLAIN = ("check", STACK, "--use", "rod=r85", "--use", "gasket=g050")
MISSED = (*PLAIN, "--min", "quench=1.2mm", "--max", "quench=1.6mm", "--gaskets", "1")


def rows(*words: Any) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(run(*words, "--format", "csv").stdout)))


def said(*words: Any) -> str:
    return " ".join(run(*words).stdout.split())


# mends


def test_a_near_miss_names_what_would_mend_it() -> None:
    result = run(*MISSED)
    assert result.exit_code == 1
    text = " ".join(result.stdout.split())
    assert "quench is 1.00 mm, wanted at least 1.20 mm: 0.20 mm short" in text
    assert "gasket g100 for g050; quench is then 1.50 mm" in text
    assert "a gasket with thickness 0.70 mm (g050 has 0.50 mm); quench is then 1.20 mm" in text
    assert max(map(len, result.stdout.splitlines())) <= WIDEST


def test_mends_in_json_and_csv_say_what_they_break_and_cost() -> None:
    found = answer(*MISSED)
    thicker = next(each for each in found["mends"] if each.get("field") == "thickness")
    assert (thicker["from"], thicker["to"], thicker["unit"]) == (0.5, pytest.approx(0.7), "mm")
    assert thicker["limit"]["goal"] == "quench" and thicker["value"] == pytest.approx(1.2)
    assert thicker["margin"] == pytest.approx(0.0, abs=1e-9) and thicker["cost"] is None
    other = next(each for each in found["mends"] if each["sort"] == "part")
    assert (other["part"], other["replaces"]) == ("g100", "g050") and other["parts"]["gaskets"] == ["g100"]
    broken = [each["goal"] for each in other["breaks"]]
    assert other["fits"] is (not broken)
    kinds = {row["what"] for row in rows(*MISSED)}
    assert {"mend_part", "mend_dimension"} <= kinds


def test_a_combination_that_fits_has_nothing_to_mend() -> None:
    found = answer(*PLAIN)
    assert found["fits"] and found["mends"] == []
    assert "One change" not in run(*PLAIN).stdout


def test_dimensions_are_named_in_thou_where_the_plan_is_in_inches() -> None:
    assert "a gasket with thickness 28.0 thou (g050 has 19.7 thou)" in said(*MISSED, "--units", "in")
    thicker = next(each for each in answer(*MISSED, "--units", "in")["mends"] if each.get("field") == "thickness")
    assert thicker["unit"] == "mm" and thicker["to"] == pytest.approx(28 * 0.0254)


# what if


def test_changes_apply_together_as_a_check_of_the_changed_build_would_have_it() -> None:
    found = answer(*PLAIN, "--what-if", "rod=r86", "--what-if", "gasket=g100", "--what-if", "gasket=g050")
    straight = answer("check", STACK, "--use", "rod=r86", "--use", "gasket=g050", "--use", "gasket=g100")
    moved = found["what_if"]["moved"]
    for name, value in straight["figures"].items():
        before = found["figures"][name]
        if name in moved:
            assert moved[name] == [pytest.approx(before), pytest.approx(value)] and value != before
        else:
            assert value == pytest.approx(before, rel=1e-9)
    assert found["what_if"]["fits"] is straight["fits"]
    assert found["what_if"]["parts"] == straight["parts"]


def test_a_dimension_and_the_limits_that_turn() -> None:
    found = answer(*PLAIN, "--what-if", "head.chamber=22cc")["what_if"]
    assert set(found["moved"]) == {"clearance_volume_cc", "compression"}
    old, new = found["moved"]["clearance_volume_cc"]
    assert new - old == pytest.approx(-1.0)
    (turned,) = found["limits"]
    assert (turned["before"]["holds"], turned["after"]["holds"]) == (True, False)
    assert turned["after"]["goal"] == "compression" and turned["after"]["limit"] == "max"
    assert run(*PLAIN, "--what-if", "head.chamber=22cc").exit_code == 1
    assert "compression max: now missed" in said(*PLAIN, "--what-if", "head.chamber=22cc")


def test_a_part_may_be_named_by_its_id_and_keeps_its_tolerance() -> None:
    one = answer(*PLAIN, "--what-if", "g050.thickness=0.6mm", "--tolerance", "worst_case")["what_if"]
    other = answer(*PLAIN, "--what-if", "gasket.thickness=0.6mm ± 0.05mm", "--tolerance", "worst_case")["what_if"]
    assert one["moved"] == other["moved"] and one["moved"]["quench_mm"][1] == pytest.approx(1.1)


def test_a_deck_as_it_would_be_measured() -> None:
    found = answer(*PLAIN, "--what-if", "deck=0.30 mm down ± 0.02 mm")["what_if"]
    assert found["moved"]["deck_mm"] == [pytest.approx(0.5), pytest.approx(0.3)]


def test_conditions_and_the_ceiling_can_change() -> None:
    found = answer(*PLAIN, "--what-if", "rev_ceiling=6000rpm")["what_if"]
    assert found["moved"]["mean_piston_speed_m_s"] == [None, pytest.approx(2 * 0.057 * 100)]
    assert [(each["before"], each["after"]["holds"]) for each in found["limits"]] == [(None, None)]
    assert "No figure moves." in run(*PLAIN, "--what-if", "altitude=500m").stdout


def test_what_changes_nothing_says_so() -> None:
    text = run(*PLAIN, "--what-if", "rod=r85").stdout
    assert "Then it fits, as before." in text and "No figure moves." in text and "No limit changes" in text


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("mill", "is not of the form WHAT=VALUE"),
        ("gaskt=g100", "did you mean `gasket`"),
        ("rod=r99", "no part of the catalogue"),
        ("mill=0.25mm", "the catalogue allows none on h230"),
        ("head.chamer=22cc", "did you mean `chamber`"),
        ("head.chamber=22", "has no unit"),
        ("head.chamber=22000cc", "no chamber"),
        ("cam.base_radius=13mm", "`cam` is no part of this combination"),
        ("deck=0.3mm", "which way the piston stands"),
        ("altitude=500", "has no unit"),
        ("rev_ceiling=7", "has no unit"),
    ],
)
def test_a_change_that_cannot_be_is_said(change: str, message: str) -> None:
    result = run(*PLAIN, "--what-if", change)
    assert result.exit_code == 2 and result.stdout == ""
    assert message in " ".join(result.stderr.split())


def test_all_faults_of_changes_come_at_once() -> None:
    result = run(*PLAIN, "--what-if", "mill", "--what-if", "head.chamber=22", "--what-if", "rev_ceiling=7")
    assert "3 faults" in result.stderr


def test_one_thing_is_changed_once() -> None:
    result = run(*PLAIN, "--what-if", "rod=r86", "--what-if", "rod=r85")
    assert result.exit_code == 2 and "changed twice" in result.stderr


# sensitivities


def test_each_step_as_the_plain_sum_has_it() -> None:
    found = {each["of"]: each for each in answer(*PLAIN, "--sensitivities")["sensitivities"]}
    assert found["gaskets.thickness"]["changes"]["quench_mm"] == pytest.approx(0.01)
    assert found["crank.stroke"]["changes"]["quench_mm"] == pytest.approx(-0.005)
    # (V + v) / v with v 0.1 cc greater, by the figures themselves
    figures = answer(*PLAIN)["figures"]
    volume, ratio = figures["clearance_volume_cc"], figures["compression"]
    swept = volume * (ratio - 1)
    assert found["head.chamber"]["changes"]["compression"] == pytest.approx(swept / (volume + 0.1) - swept / volume)
    assert found["machining.mill"]["changes"]["compression"] > 0  # 34 cm² of outline and 0.01 mm of depth
    removed = 3400 * 0.01 / 1000
    assert found["machining.mill"]["changes"]["compression"] == pytest.approx(
        swept / (volume - removed) - swept / volume
    )


def test_steps_are_thou_where_the_plan_is_in_inches() -> None:
    found = {each["of"]: each for each in answer(*PLAIN, "--sensitivities", "--units", "in")["sensitivities"]}
    assert (found["rod.length"]["step"], found["rod.length"]["unit"]) == (1.0, "thou")
    assert found["rod.length"]["changes"]["quench_mm"] == pytest.approx(-0.0254)
    assert "rod longer, 1 thou" in run(*PLAIN, "--sensitivities", "--units", "in").stdout


# samples and shares


def test_samples_say_how_they_were_drawn_and_come_again() -> None:
    words = (*PLAIN, "--samples", "5000", "--seed", "3")
    found = answer(*words)["samples"]
    assert found["count"] == 5000 and found["seed"] == 3 and found["distribution"] == {"shape": "rectangular"}
    assert found["interval"][0] < found["share"] < found["interval"][1]
    assert found["inside"] == round(5000 * found["share"])
    assert found == answer(*words)["samples"]
    text = said(*words)
    assert "Of 5,000 builds drawn within the ±" in text and "(rectangular); every part by itself; seed 3" in text
    assert "Whose ± decides" in text
    normal = answer(*words, "--distribution", "normal", "--sigmas", "2")["samples"]
    assert normal["distribution"] == {"shape": "normal", "sigmas": 2.0} and normal["share"] != found["share"]
    assert "a ± being 2 standard deviations" in said(*words, "--distribution", "normal", "--sigmas", "2")


def test_shares_in_every_format() -> None:
    found = answer(*PLAIN)["shares"]
    assert {name: sum(each["variance"] for each in some) for name, some in found.items()} == {
        "compression": pytest.approx(1.0),
        "quench_mm": pytest.approx(1.0),
    }
    assert found["quench_mm"][0]["part"] == "b72" and found["quench_mm"][0]["field"] == "block_height"
    assert "b72 block height" in said(*PLAIN, "--shares")
    listed = [row for row in rows(*PLAIN) if row["what"] == "share" and row["figure"] == "quench_mm"]
    assert sum(float(row["value"]) for row in listed) == pytest.approx(1.0)


def test_a_limit_that_is_not_established_is_not_counted() -> None:
    found = answer(*PLAIN, "--min", "rev_ceiling=6000rpm", "--samples", "100")["samples"]
    assert not [each for each in found["limits"] if each.get("goal") == "rev_ceiling"]
    text = said(*PLAIN, "--min", "rev_ceiling=6000rpm", "--samples", "100")
    assert "A limit that is not established is not counted." in text


@pytest.mark.parametrize("form", ["markdown", "csv", "json", "table"])
def test_every_format_takes_every_question(form: str) -> None:
    asked = ("--sensitivities", "--samples", "500", "--shares")
    result = run(*PLAIN, *asked, "--format", form)
    assert result.exit_code == 0 and result.stdout.strip()
    result = run(*PLAIN, *asked, "--what-if", "rod=r86", "--format", form)
    assert result.stdout.strip()
    if form == "csv":
        kinds = {row["what"] for row in csv.DictReader(io.StringIO(result.stdout))}
        assert {"what_if_before", "what_if_after", "what_if_limit", "sensitivity", "samples", "percentile"} <= kinds


def test_help_shows_them_with_an_example() -> None:
    text = run("check", "--help").stdout
    for option in ("--what-if", "--sensitivities", "--samples", "--seed", "--distribution", "--sigmas", "--shares"):
        assert option in text
    assert "--what-if mill=0.25mm" in text
