"""Single changes that mend a missed limit: each one holds when it is made, and nothing smaller of its sort does."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from kitwright.catalogs import Overrides, load_plan
from kitwright.solver import Catalogue, Combination, Plan, check
from kitwright.solver.check import View, every_limit, goal_limits, implied_goals
from kitwright.solver.combination import cut_amounts, rebores
from kitwright.solver.compose import compose
from kitwright.solver.faults import faults_of
from kitwright.solver.guards import CLEARANCES
from kitwright.solver.mend import GRIDS, Mend, mends, same_limit
from kitwright.solver.quantity import BARE, unit_factor
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Limit
from kitwright.solver.swap import Place, pinned, quantity, spec_of, with_dimension, with_gaskets, with_part
from tests import random_catalogues
from tests.cli_runner import plan
from tests.twin import everything

Case = tuple[Combination, Plan, Catalogue]


def failing(seeds: range) -> Iterator[Case]:
    """Combinations of random catalogues that go together and miss a limit of some figure."""
    for seed in seeds:
        catalogue, wanted = random_catalogues.question(seed, 400)
        rng = random.Random(seed)
        every = list(everything(catalogue, wanted))
        rng.shuffle(every)
        for combination in every[:40]:
            view = View(combination, wanted)
            limits = [
                limit
                for name, goal in implied_goals(wanted).items()
                for limit in goal_limits(view, name, goal, wanted.tolerance)[0]
            ]
            if any(limit.holds is False for limit in limits):
                yield combination, wanted, catalogue
                break


CASES = list(failing(range(90)))


def outcome(changed: Combination, wanted: Plan, limit: Limit, before: list[Limit]) -> tuple[bool, list[Limit]]:
    """Whether a limit holds by the plain check, and what is missed that was not missed before."""
    limits, _ = every_limit(View(changed, pinned(wanted, changed)))
    same = [each for each in limits if same_limit(each, limit)]
    holds = all(each.holds is True for each in same) and (bool(same) or not limit.figure)
    missed = [each for each in limits if each.holds is False]
    broken = [each for each in missed if not any(same_limit(each, other) for other in before)]
    return holds and not touching([*(each for each in limits if each.holds), *broken], wanted), broken


def touching(limits: list[Limit], wanted: Plan) -> bool:
    """Whether a clearance is less than one step, of those that hold or held before: no mend is offered that does so."""
    for each in limits:
        if each.figure in CLEARANCES and each.limit == "min" and each.value is not None:
            step = wanted.goals[each.figure].step if each.figure in wanted.goals else FIGURES[each.figure].step
            if each.value < step - 1e-9:
                return True
    return False


_FOUND: dict[int, tuple[dict[Limit, tuple[Mend, ...]], list[Limit]]] = {}


def found_of(case: Case) -> tuple[dict[Limit, tuple[Mend, ...]], list[Limit]]:
    """What is found for a case, several tests look at the same, and the limits that it misses."""
    if id(case) not in _FOUND:
        combination, wanted, catalogue = case
        checked = check(combination, wanted, spreads=False)
        missed = [each for each in checked.limits if each.holds is False]
        _FOUND[id(case)] = mends(checked, wanted, catalogue), missed
    return _FOUND[id(case)]


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_every_mend_holds_and_says_what_it_breaks(case: Case) -> None:
    found, before = found_of(case)
    assert set(found) == set(before)
    for limit, some in found.items():
        for each in some:
            holds, broken = outcome(each.combination, case[1], limit, before)
            assert holds, each
            assert list(each.breaks) == broken
            assert each.fits == check(each.combination, pinned(case[1], each.combination), spreads=False).fits


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_no_smaller_amount_of_machining_would_do(case: Case) -> None:
    combination, wanted, _ = case
    found, before = found_of(case)
    for limit, some in found.items():
        amounts = {each.kind: each for each in some if each.sort == "machining"}
        for work, owner in (("mill", "head"), ("relieve", "head"), ("deck_cut", "block"), ("rebore", "block")):
            part = combination.parts.get(owner)
            choices: list[Any] = []
            if part is not None and work == "rebore":
                choices = [None, *rebores(part)]
            elif part is not None:
                choices = [Fraction(0), *cut_amounts(part, work)]
            now = combination.amount(work)
            size = {
                each: abs((each.exact if hasattr(each, "exact") else each or Fraction(0)) - now) for each in choices
            }
            results = {
                each: outcome(replace(combination, **{work: each}), wanted, limit, before)
                for each in choices
                if size[each]
            }
            clean = sorted(size[each] for each, (holds, broken) in results.items() if holds and not broken)
            holding = sorted(size[each] for each, (holds, _) in results.items() if holds)
            mend = amounts.get(work)
            assert (mend is None) == (not holding)
            if mend is not None:
                unit = Fraction(1, 1_000_000) if mend.unit == "cc" else Fraction(1, 1000)
                assert mend.change == pytest.approx(float((clean or holding)[0] / unit))
                assert bool(mend.breaks) == (not clean)


def swaps(case: Case) -> Iterator[tuple[tuple[str, str], Combination]]:
    """Every part in the place of another of its kind, by plain loops."""
    combination, wanted, catalogue = case
    for part in catalogue:
        if part.id in wanted.avoid or (part.kind in wanted.shelf_only and part.on_shelf < 1):
            continue
        if part.kind == "gasket":
            stack: list[Any] = list(combination.gaskets)
            for out in {each.id for each in stack} - {part.id}:
                place = next(number for number, each in enumerate(stack) if each.id == out)
                yield (part.id, out), with_gaskets(combination, (*stack[:place], part, *stack[place + 1 :]))  # type: ignore[arg-type]
            if stack and len(stack) < wanted.gaskets:
                yield (part.id, ""), with_gaskets(combination, (*stack, part))  # type: ignore[arg-type]
        elif part.kind in combination.parts and combination.parts[part.kind].id != part.id:
            yield (part.id, combination.parts[part.kind].id), with_part(combination, part)
    stack = list(combination.gaskets)
    if len(stack) > 1:
        for out in {each.id for each in stack}:
            place = next(number for number, each in enumerate(stack) if each.id == out)
            yield ("", out), with_gaskets(combination, (*stack[:place], *stack[place + 1 :]))


@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_every_part_that_mends_is_named_cheapest_first(case: Case) -> None:
    found, before = found_of(case)
    for limit, some in found.items():
        parts = [each for each in some if each.sort == "part"]
        expected = set()
        for key, changed in swaps(case):
            holds, broken = outcome(changed, case[1], limit, before)
            if holds and all(each.figure for each in broken):
                expected.add(key)
        assert {(each.part, each.replaces) for each in parts} == expected
        assert len(parts) == len(expected)
        costs = [each.cost for each in parts if not each.breaks and each.cost is not None]
        assert costs == sorted(costs)


@pytest.mark.parametrize("case", CASES[:25], ids=range(len(CASES[:25])))
def test_no_nearer_dimension_on_the_bench_grid_would_do(case: Case) -> None:
    combination, wanted, _ = case
    found, before = found_of(case)
    for limit, some in found.items():
        for mend in [each for each in some if each.sort == "dimension"]:
            place = Place(mend.kind, mend.part, mend.field)
            part = next(each for each in combination.different_parts if each.id == mend.part)
            spec = spec_of(part, mend.field)
            assert spec is not None and spec.dimension is not None
            factor = Fraction(1) if spec.dimension in BARE else unit_factor(mend.unit, spec.dimension)
            grid = GRIDS.get(mend.unit, Fraction(1, 100)) * factor
            held = getattr(part, mend.field.partition(".")[0])
            if "." in mend.field:
                held = getattr(held, mend.field.partition(".")[2])
            now = held.exact if held is not None else Fraction(0)
            new = Fraction(round(Fraction(mend.new) * factor / grid)) * grid
            assert float(new / factor) == pytest.approx(mend.new)
            nearest = now // grid
            tried = 0
            for number in sorted(range(-40, 41), key=abs):
                value = (nearest + number) * grid
                if not 0 < abs(value - now) < abs(new - now) or value < Fraction(spec.low) * factor:
                    continue
                tried += 1
                exact = quantity(value, held.tolerance if held else 0.0, spec.dimension, mend.unit)
                changed = with_dimension(combination, place, exact)
                owner = next(each for each in changed.different_parts if each.id == mend.part)
                if any(faults_of(owner)):
                    continue
                holds, broken = outcome(changed, wanted, limit, before)
                assert not holds or any(each.kind == "rule" for each in broken), (mend, float(value / factor))
            assert tried or abs(new - now) <= grid


def test_the_random_cases_hold_every_sort_of_mend() -> None:
    seen = Counter(each.sort for case in CASES for some in found_of(case)[0].values() for each in some)
    assert len(CASES) > 25 and min(seen["part"], seen["machining"], seen["dimension"]) >= 5


def test_what_the_bench_would_say_of_a_thin_gasket() -> None:
    """Deck 0.50, gasket 0.50: a quench of at least 1.20 wants a gasket of 0.70 mm, or the rod 0.20 mm shorter."""
    settings = Overrides(use=["rod=r85", "gasket=g050"], minimum=["quench=1.2mm"], maximum=["quench=1.6mm"], gaskets=1)
    wanted, catalogue = load_plan(plan("stack-not-needed"), settings)
    found = mends(check(compose(catalogue, wanted), wanted), wanted, catalogue)
    (some,) = [each for limit, each in found.items() if limit.name == "quench"]
    sizes = {each.field: each.new for each in some if each.sort == "dimension"}
    assert sizes["thickness"] == pytest.approx(0.70)
    assert sizes["length"] == pytest.approx(84.80)
    assert sizes["stroke"] == pytest.approx(56.60)
    assert [each.part for each in some if each.sort == "part"] == ["g100"]
    assert next(each for each in some if each.part == "g100").after.value == pytest.approx(1.5)
