"""Closeness against money: nobody in the list is beaten, and nobody who is not beaten is missing from it."""

from __future__ import annotations

import math
from functools import partial

import pytest

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import judge
from kitwright.solver.parts import Block, Crank, Gasket, Piston, Rod
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.trade_off import trade_off
from tests import random_catalogues
from tests.cli_runner import answer, plan, run
from tests.twin import closest

SEEDS = range(140)


def front(found: list[tuple[tuple[object, ...], object]]) -> list[tuple[int, int, float]]:
    """Goals not established, closeness and cost of those that nobody beats, from all that fit in the order."""
    kept: list[tuple[int, int, float]] = []
    for key, _ in found:
        unproved, closeness, (unknown, cost) = key[0], key[1], key[2]  # type: ignore[misc]
        spent = math.inf if unknown else cost
        if not kept or spent < kept[-1][2] - 1e-4:
            kept.append((unproved, closeness, spent))  # type: ignore[arg-type]
    return kept


def test_the_list_is_the_twins() -> None:
    lengths, unknown = [], 0
    for seed in SEEDS:
        catalogue, wanted = random_catalogues.question(seed, most=700)
        expected = front(closest(catalogue, wanted))
        said = trade_off(catalogue, wanted)
        assert said.answer.status == ("complete" if expected else "nothing_fits"), seed
        found = [
            (each.key[0], each.closeness, math.inf if each.cost is None else each.cost)
            for each in said.answer.combinations
        ]
        assert [each[:2] for each in found] == [each[:2] for each in expected], seed
        for mine, theirs in zip(found, expected, strict=True):
            assert mine[2] == pytest.approx(theirs[2], abs=1e-6), seed
        lengths.append(len(found))
        unknown += any(each[2] == math.inf for each in found)
    assert sum(length > 1 for length in lengths) >= 5
    assert unknown >= 1


def test_a_part_without_a_price_ends_no_list() -> None:
    """A gasket that is doubled, with one on the shelf and no price, hides no dearer known cost."""
    quantity = partial(parse, dimension=LENGTH)
    block = Block(id="b", bore=quantity("72 mm"), block_height=quantity("142 mm"), on_shelf=1)
    crank = Crank(id="k", stroke=quantity("57 mm"), journal=quantity("30 mm"), on_shelf=1)
    rod = Rod(id="r", length=quantity("85 mm"), big_end=quantity("30 mm"), pin=quantity("16 mm"), on_shelf=1)
    height = {"p1": ("28.0 mm", 5.0), "p2": ("27.9 mm", 30.0)}
    pistons = [
        Piston(id=each, bore=quantity("72 mm"), compression_height=quantity(h), pin=quantity("16 mm"), price=price)
        for each, (h, price) in height.items()
    ]
    gasket = Gasket(id="g", thickness=quantity("0.25 mm"), bore=quantity("73 mm"), on_shelf=1)
    catalogue = Catalogue.of([block, crank, rod, gasket, *pistons])
    aim = {"quench": Goal("quench", aim=1.0, minimum=0.5, step=0.02)}
    wanted = Plan(goals=aim, gaskets=2)
    found = [(each.closeness, each.cost) for each in trade_off(catalogue, wanted).answer]
    expected = front(closest(catalogue, wanted))
    assert found == [(closeness, None if cost == math.inf else cost) for _, closeness, cost in expected]
    assert found == [(0, None), (7, 30.0), (12, 5.0)]


def test_more_money_brings_what_a_wider_plan_finds() -> None:
    brought = 0
    for seed in SEEDS:
        catalogue, wanted = random_catalogues.question(seed, most=700)
        tight = wanted.but(goals={**wanted.goals, "cost": Goal("cost", maximum=12.0, step=1.0)})
        said = trade_off(catalogue, tight)
        if not said.more:
            continue
        for more, combination in said.more:
            wide = wanted.but(goals={**wanted.goals, "cost": Goal("cost", maximum=12.0 + more, step=1.0)})
            best = closest(catalogue, wide)[0][0]
            first = said.answer.combinations[0].key
            if combination is None:
                assert best[:2] == first[:2], (seed, more)
            else:
                assert best[:2] < first[:2] and judge(combination.combination, wide).key == best, (seed, more)
                brought += 1
    assert brought >= 2


def test_the_command_in_its_formats() -> None:
    said = answer("find", plan("shelf-first"), "--trade-off")
    assert said["status"] == "complete" and said["trade_off"] is True
    costs = [each["figures"]["cost"] for each in said["combinations"]]
    assert costs == sorted(costs, reverse=True) and len(costs) == len(set(costs))
    assert [each["more"] for each in said["more_money"]] == [10.0, 20.0]
    result = run("find", plan("shelf-first"), "--trade-off")
    assert result.exit_code == 0
    assert "closeness against money" in result.stdout and "proven complete" in result.stdout
    assert run("find", plan("shelf-first"), "--trade-off", "--format", "csv").stdout.startswith("rank,")
    nothing = run("find", plan("compression-against-quench"), "--trade-off")
    assert nothing.exit_code == 1 and "nothing fits" in nothing.stdout
    assert run("find", plan("shelf-first"), "--trade-off", "--time", "0").exit_code == 3
