"""What a statistical ± covers, gaskets of one batch, the cylinders of a twin: each beside draws of the test's own."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kitwright.cli.report.blocks import Items, Paragraph, Table
from kitwright.cli.report.checked import check_report, figure_blocks
from kitwright.cli.report.sampled import sampled_blocks, sampled_data, sampled_rows
from kitwright.cli.report.sheet.content import Others, build_sheet
from kitwright.cli.report.words import wanted as wanted_words
from kitwright.solver import Combination, Goal, Plan, check, find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.parts import Block, Crank, Gasket, Part, Piston, Rod
from kitwright.solver.quantity import LENGTH, Quantity, parse
from kitwright.solver.sampling import Distribution, sample
from kitwright.solver.shares import shares
from kitwright.solver.what_if import sensitivities
from tests.cli_runner import run

DRAWS = 400_000
ROUGH = 4 * math.sqrt(0.25 / DRAWS)
"""Four standard errors of a share of so many draws."""


def mm(text: str) -> Quantity:
    return parse(text, LENGTH)


def gasket(**more: Any) -> Gasket:
    return Gasket(id="g", bore=mm("73 mm"), thickness=mm("0.5 mm ± 0.05 mm"), **more)


def parts(cylinders: int = 1) -> dict[str, Part]:
    return {
        "block": Block(id="b", bore=mm("72 mm"), block_height=mm("142 mm"), cylinders=cylinders),
        "crank": Crank(id="k", stroke=mm("57 mm"), journal=mm("30 mm")),
        "rod": Rod(id="r", length=mm("85 mm ± 0.03 mm"), big_end=mm("30 mm"), pin=mm("16 mm")),
        "piston": Piston(id="p", bore=mm("72 mm"), compression_height=mm("28 mm ± 0.04 mm"), pin=mm("16 mm")),
    }


def stacked(count: int = 2, cylinders: int = 1, **more: Any) -> Combination:
    return Combination(parts(cylinders), (gasket(**more),) * count)


# what a statistical ± covers


def shares_inside(number: int, normal: bool) -> float:
    """How many of the sums of so many quantities of ± 1 lie within their root of the sum of squares."""
    random = np.random.default_rng(20_260)
    total: Any = 0.0
    for _ in range(number):
        total = total + (random.normal(0, 1 / 3, DRAWS) if normal else random.uniform(-1, 1, DRAWS))
    return float(np.mean(np.abs(total) <= math.sqrt(number)))


@pytest.mark.parametrize("number", [2, 3, 5, 8])
def test_the_root_of_the_sum_of_squares_covers_92_per_cent_of_rectangular_ranges(number: int) -> None:
    # JCGM 101:2008, 9.2.3 adds rectangular quantities the same way; a rectangular ± is √3 standard deviations, so that
    # many of them come to erf(√(3/2)) = 91.67 %, two (a triangle) to 1 − (2 − √2)²/4 = 91.42 %
    assert shares_inside(number, normal=False) == pytest.approx(0.9167, abs=0.0025 + ROUGH)
    assert math.erf(math.sqrt(1.5)) == pytest.approx(0.9167, abs=5e-5)


@pytest.mark.parametrize("number", [1, 2, 5])
def test_it_covers_997_per_mille_where_each_range_is_three_sigma(number: int) -> None:
    assert shares_inside(number, normal=True) == pytest.approx(math.erf(3 / math.sqrt(2)), abs=ROUGH)


def test_the_tools_own_draws_say_the_same() -> None:
    """Two limits at the ends of the statistical range of quench, with four ± of a like size."""
    build = stacked()
    low, high = View(build, Plan()).spread("quench", "statistical")
    wanted = Plan(goals={"quench": Goal("quench", minimum=low, maximum=high)}, gaskets=2)
    checked = check(build, wanted)
    for shape, expected in ((Distribution(), 0.917), (Distribution("normal", 3.0), 0.9973)):
        found = sample(checked, View(build, wanted), 100_000, 3, shape)
        assert found.all.share == pytest.approx(expected, abs=0.004)


# gaskets of one batch


def test_layers_of_one_batch_add_fully() -> None:
    def half(build: Combination) -> float:
        low, high = View(build, Plan()).spread("quench", "statistical")
        return (high - low) / 2

    apart, batch = stacked(), stacked(same_batch=True)
    assert half(apart) == pytest.approx(math.sqrt(0.03**2 + 0.04**2 + 2 * 0.05**2))
    assert half(batch) == pytest.approx(math.sqrt(0.03**2 + 0.04**2 + 0.10**2))
    assert half(stacked(3, same_batch=True)) == pytest.approx(math.sqrt(0.03**2 + 0.04**2 + 0.15**2))
    other = replace(gasket(same_batch=True), id="h")  # another id is another batch
    assert half(Combination(parts(), (gasket(same_batch=True), other))) == pytest.approx(half(apart))
    for mode in (apart, batch):
        low, high = View(mode, Plan()).spread("quench", "worst_case")
        assert (high - low) / 2 == pytest.approx(0.17)


def test_independent_layers_taken_for_one_batch_would_cover_less() -> None:
    # two layers of one batch and two more ± of a like size: some 83 % lie where independent layers would put 92 %
    random = np.random.default_rng(5)
    layer, rod, piston = (random.uniform(-1, 1, DRAWS) for _ in range(3))
    inside = float(np.mean(np.abs(2 * layer + rod + piston) <= 2))
    assert inside == pytest.approx(0.833, abs=0.003)
    assert float(np.mean(np.abs(2 * layer + rod + piston) <= math.sqrt(6))) == pytest.approx(0.9225, abs=0.003)


def test_drawn_builds_take_one_batch_as_one() -> None:
    for build, half in ((stacked(), 2 * 0.05**2), (stacked(same_batch=True), 0.10**2)):
        found = sample(check(build, Plan()), View(build, Plan()), 50_000, 1, Distribution())
        expected = math.sqrt((0.03**2 + 0.04**2 + half) / 3)
        assert found.figures["quench"].deviation == pytest.approx(expected, rel=0.01)


def test_shares_and_sensitivities_take_one_batch_as_one() -> None:
    found = {each.place.part: each for each in shares(View(stacked(same_batch=True), Plan()), "quench")}
    whole = 0.03**2 + 0.04**2 + 0.10**2
    assert found["g"].variance == pytest.approx(0.10**2 / whole)
    assert found["g"].worst_case == pytest.approx(0.10 / 0.17)
    assert sum(each.variance for each in found.values()) == pytest.approx(1)
    by_name = {each.name: each for each in sensitivities(View(stacked(same_batch=True), Plan()))}
    assert by_name["gaskets.thickness"].changes["quench"] == pytest.approx(0.02)
    assert by_name["gaskets.thickness"].words == "gaskets of one batch thicker"
    alone = {each.name: each for each in sensitivities(View(stacked(), Plan()))}
    assert alone["gaskets.thickness"].changes["quench"] == pytest.approx(0.01)


def test_the_search_counts_one_batch_fully() -> None:
    """At 1.5 mm less the spread the bound lies between both ways of counting."""
    between = 1.5 - 0.10
    for batch in (False, True):
        catalogue = Catalogue.of([*parts().values(), gasket(same_batch=batch)])
        wanted = Plan(
            goals={"quench": Goal("quench", minimum=between)},
            use={"gasket": ("g", "g")},
            gaskets=2,
            tolerance="statistical",
        )
        assert bool(find(catalogue, wanted).combinations) is not batch


# twins


def twin(bound: float, cylinders: int = 2) -> Any:
    build = Combination(parts(cylinders), (gasket(),))
    wanted = Plan(goals={"quench": Goal("quench", minimum=bound)})
    return sample(check(build, wanted), View(build, wanted), 200_000, 1, Distribution())


def test_both_cylinders_of_a_twin_have_to_hold() -> None:
    """The gasket is shared, rod and piston are each cylinder's own: beside draws by numpy alone."""
    random = np.random.default_rng(77)
    shared = 1.0 + random.uniform(-0.05, 0.05, DRAWS)
    one, other = (shared - random.uniform(-0.03, 0.03, DRAWS) - random.uniform(-0.04, 0.04, DRAWS) for _ in range(2))
    bound = float(np.quantile(one, 1 - 0.832))
    both = float(np.mean((one >= bound) & (other >= bound)))
    found = twin(bound)
    assert found.alone is not None
    assert found.alone.share == pytest.approx(0.832, abs=0.004)
    assert found.all.share == pytest.approx(both, abs=0.004)
    assert found.all.share < 0.75
    of_goal = next(each for each in found.limits if each.limit and each.limit.kind == "goal")
    assert of_goal.kept == found.all.kept
    single = twin(bound, cylinders=1)
    assert single.alone is None and single.all.share == found.alone.share  # the first cylinder is drawn as a single is


def test_a_twin_of_which_one_cylinder_holds_in_832_of_a_thousand() -> None:
    """83.2 % for one cylinder and 75.3 % for both, where the shared ± are half as wide again as each one's own."""
    random = np.random.default_rng(78)

    def drawn(*half: float) -> Any:
        return sum(random.uniform(-each, each, DRAWS) for each in half)

    shared = drawn(1.5, 1.5)
    one, other = shared + drawn(1, 1), shared + drawn(1, 1)
    bound = np.quantile(one, 0.832)
    assert float(np.mean((one <= bound) & (other <= bound))) == pytest.approx(0.753, abs=0.003)


def test_cylinders_that_share_everything_that_strays_are_one() -> None:
    exact = {kind: replace(part, **given) for kind, part in parts(2).items() for given in [EXACT.get(kind, {})]}
    build = Combination(exact, (gasket(),))
    wanted = Plan(goals={"quench": Goal("quench", minimum=0.98)})
    found = sample(check(build, wanted), View(build, wanted), 20_000, 1, Distribution())
    assert found.alone is not None and found.alone.kept == found.all.kept


EXACT: dict[str, dict[str, Any]] = {
    "rod": {"length": mm("85 mm")},
    "piston": {"compression_height": mm("28 mm")},
}


# what is said


def said(blocks: Any) -> str:
    """The sentences and lines of some blocks."""
    found: list[str] = []
    for each in blocks:
        if isinstance(each, Paragraph):
            found.append(each.text)
        elif isinstance(each, Items):
            found += [each.title, *each.items]
        elif isinstance(each, Table):
            found += [" | ".join(row) for row in each.rows if isinstance(row, tuple)]
    return "\n".join(found)


def test_the_statistical_range_is_said_to_be_what_it_is() -> None:
    build, plain = Combination(parts(), (gasket(),)), Plan()
    checked = check(build, plain)
    for blocks in (check_report(checked, plain), tuple(figure_blocks(checked, plain))):
        assert "about 92 % of builds" in said(blocks)
        assert "99.7 % where each ± is three standard deviations; no guarantee" in said(blocks)
    sections = {each.name: each.blocks for each in build_sheet(checked, plain, Others()).sections}
    assert all("about 92 % of builds" in said(sections[name]) for name in ("spread", "figures"))
    assert "about 92 % of builds, no guarantee" in "; ".join(wanted_words(Plan(tolerance="statistical")))


@pytest.mark.parametrize("command", ["find", "check", "explain", "sheet"])
def test_the_option_says_it_too(command: str) -> None:
    shown = " ".join(run(command, "--help").stdout.replace("│", " ").split())
    assert "92 %" in shown and "99.7 %" in shown and "guarantees none" in shown


def test_a_figure_without_any_tolerance_says_so() -> None:
    build, plain = Combination(parts(), (gasket(),)), Plan()
    (table, _) = figure_blocks(check(build, plain), plain)
    assert isinstance(table, Table)
    rows = {row[0]: row for row in table.rows if isinstance(row, tuple)}
    assert rows["displacement"][3:] == ("no tolerances given", "")  # bore and stroke have none
    assert rows["quench"][3] == "0.880 to 1.120"
    assert rows["gasket count"][3:] == ("", "")  # no dimension goes into it


def test_where_nothing_has_a_tolerance_it_is_said_once() -> None:
    exact = {kind: replace(part, **EXACT.get(kind, {})) for kind, part in parts().items()}
    bare = Gasket(id="g", bore=mm("73 mm"), thickness=mm("0.5 mm"))
    build, plain = Combination(exact, (bare,)), Plan()
    table, sentence = figure_blocks(check(build, plain), plain)
    assert isinstance(table, Table) and [each.title for each in table.columns] == ["figure", "value", "unit"]
    assert isinstance(sentence, Paragraph) and sentence.text == "No figure has a range: no tolerances given."
    sheet = build_sheet(check(build, plain), plain, Others())
    spread = next(each.blocks for each in sheet.sections if each.name == "spread")
    assert said(spread).startswith("Spread of quench: no tolerances given")


def test_a_twins_builds_are_told_in_every_form() -> None:
    found, plain = twin(0.95), Plan()
    assert "where both cylinders keep every limit" in said(sampled_blocks(found, plain))
    assert sampled_data(found)["cylinders"] == 2
    assert sampled_data(found)["one_cylinder"]["share"] == found.alone.share > found.all.share
    assert any("one cylinder alone" in row["name"] for row in sampled_rows(found))
    single = twin(0.95, cylinders=1)
    assert "cylinder" not in said(sampled_blocks(single, plain)) and "one_cylinder" not in sampled_data(single)
