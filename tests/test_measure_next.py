"""What to measure next: the scenario's answer, and turning values against a bisection through the plain check."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction
from functools import cache

import pytest

from kitwright.catalogs import Overrides, load_plan
from kitwright.solver import Combination, Plan, check, find
from kitwright.solver.candidates import BOTTOM
from kitwright.solver.check import View, goal_limits, implied_goals, judge
from kitwright.solver.compose import compose
from kitwright.solver.measure_next import DECK, Measurement, measure_next
from kitwright.solver.plan import MeasuredDeck
from kitwright.solver.quantity import LENGTH, Quantity
from kitwright.solver.rivals import rivalry
from kitwright.solver.roots import root
from kitwright.solver.rules import fits_together
from kitwright.solver.swap import Place, quantity, spec_of, with_gaskets, with_part, with_quantity
from tests import random_catalogues
from tests.cli_runner import answer, plan, run
from tests.twin import everything

SKIRT = plan("skirt-to-counterweight")
RADIUS = Place("crank", "k61", "counterweight_radius")

Fits = Callable[[float], bool]


def skirt() -> tuple[Combination, Plan]:
    wanted, catalogue = load_plan(SKIRT, Overrides(use=["rod=r84", "piston=p274"]))
    return compose(catalogue, wanted), wanted


def measured(combination: Combination, wanted: Plan, place: Place, value: float) -> tuple[Combination, Plan]:
    """A combination with one dimension measured exactly, as a plan's `measured` would have it."""
    if place == DECK:
        parts = {kind: combination.parts[kind].id for kind in BOTTOM}
        deck = MeasuredDeck(Quantity(Fraction(value), 0.0, True, LENGTH, ""), parts)
        return combination, wanted.but(measured_decks=(*wanted.measured_decks, deck))
    if place.kind == "gasket":
        stack = list(combination.gaskets)
        number = place.layer or 0
        stack[number] = with_quantity(stack[number], place.field, exact(stack[number], place, value))  # type: ignore[call-overload]
        return with_gaskets(combination, tuple(stack)), wanted
    part = combination.parts[place.kind]
    return with_part(combination, with_quantity(part, place.field, exact(part, place, value))), wanted


def exact(part: object, place: Place, value: float) -> Quantity:
    spec = spec_of(part, place.field)  # type: ignore[arg-type]
    assert spec is not None and spec.dimension is not None
    return quantity(Fraction(value), 0.0, spec.dimension, (spec.dimension.likely or ("",))[0], True)


def holds_with(combination: Combination, wanted: Plan, place: Place) -> Fits:
    def fits(value: float) -> bool:
        made, then = measured(combination, wanted.but(tolerance="worst_case"), place, value)
        return judge(made, then).fits

    return fits


def bisected(fits: Fits, inside: float, outside: float) -> float:
    """The value at which the answer turns, by halving through the plain check alone."""
    assert fits(inside) and not fits(outside)
    for _ in range(40):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if fits(middle) else (inside, middle)
    return (inside + outside) / 2


def test_measure_the_counterweight_radius_next() -> None:
    found = measure_next(*skirt())
    assert found.answer == "open" and [each.name for each in found.limits] == ["skirt_to_counterweight"]
    first = found.measurements[0]
    assert first.place == RADIUS
    # clearance at worst 0.875 with the radius at 33.40: 1.0 is reached with 33.40 − 0.125
    assert first.holds is not None and first.holds[1] == pytest.approx(33.275e-3, abs=1e-9)
    assert first.settles == pytest.approx((33.275 - 32.6) / 0.8)
    assert first.width == pytest.approx(0.40 / 0.625)
    assert found.enough == (RADIUS,)


def test_a_combination_that_holds_at_every_corner_needs_no_measuring() -> None:
    wanted, catalogue = load_plan(SKIRT, Overrides(use=["rod=r85", "piston=p264"]))
    assert measure_next(compose(catalogue, wanted), wanted).answer == "holds"


def test_a_limit_that_is_missed_at_every_corner_is_past_measuring() -> None:
    combination, wanted = skirt()
    goal = wanted.goals["skirt_to_counterweight"]
    from dataclasses import replace

    goals = {**wanted.goals, "skirt_to_counterweight": replace(goal, minimum=9.0)}
    found = measure_next(combination, wanted.but(goals=goals))
    assert found.answer == "fails" and not found.measurements


@cache
def open_cases() -> list[tuple[Combination, Plan, tuple[Measurement, ...]]]:
    """Random combinations with limits drawn close, so that their ± decide."""
    cases = []
    for seed in range(200):
        catalogue, wanted = random_catalogues.question(seed, 400)
        every = [each for each in everything(catalogue, wanted) if fits_together(each)]
        random.Random(seed).shuffle(every)
        for combination in every[:25]:
            view = View(combination, wanted)
            limits = [
                limit
                for name, goal in implied_goals(wanted).items()
                for limit in goal_limits(view, name, goal, "worst_case")[0]
            ]
            if any(limit.holds is False for limit in limits):
                found = measure_next(combination, wanted)
                if found.answer == "open" and found.measurements:
                    cases.append((combination, wanted, found.measurements))
                    break
    return cases


def test_turning_values_agree_with_a_bisection_through_the_plain_check() -> None:
    turned, decks = 0, 0
    for combination, wanted, found in open_cases():
        for each in found:
            fits = holds_with(combination, wanted, each.place)
            width = each.high - each.low
            if each.holds is None:
                assert not any(fits(each.low + width * (part + 0.5) / 8) for part in range(8)), (
                    "an end alone decides nothing"
                )
                continue
            low, high = each.holds
            middle = (low + high) / 2
            assert fits(middle)
            for end, bound in ((low, each.low), (high, each.high)):
                if abs(end - bound) > 1e-6 * width:
                    assert bisected(fits, middle, bound) == pytest.approx(end, abs=2e-9 + 1e-6 * width)
                    turned += 1
                    decks += each.place == DECK
    assert len(open_cases()) >= 8 and turned >= 8 and decks >= 1


def test_measured_values_that_fail_do_so_at_the_best_corner_of_the_rest() -> None:
    tried = 0
    for combination, wanted, found in open_cases():
        for each in found:
            for low, high in each.fails:
                made, then = measured(combination, wanted, each.place, (low + high) / 2)
                assert measure_next(made, then).answer == "fails"
                tried += 1
    assert tried >= 3


def test_what_is_enough_is_enough_and_nothing_of_it_can_be_left_out() -> None:
    seen = 0
    for combination, wanted, _ in open_cases():
        found = measure_next(combination, wanted)
        nominal = {each.place: each.nominal for each in found.measurements}
        if not found.enough or not all(place in nominal for place in found.enough):
            continue
        seen += 1
        for left_out in (None, *found.enough):
            made, then = combination, wanted.but(tolerance="worst_case")
            chosen = [place for place in found.enough if place != left_out]
            for place in chosen:
                made, then = measured(made, then, place, nominal[place])
            assert check(made, then, spreads=False).fits is (left_out is None)
    assert seen >= 3


# another combination becomes the best


def test_the_radius_decides_which_pair_is_the_best() -> None:
    wanted, catalogue = load_plan(SKIRT)
    nominal = wanted.but(tolerance="nominal")
    lists = [*find(catalogue, wanted, 5), *find(catalogue, nominal, 5)]
    pool = {each.combination.tie_key(): each.combination for each in lists}
    found = rivalry(tuple(pool.values()), wanted)
    assert found.complete and found.best is not None and found.best.parts["rod"].id == "r85"
    first = found.decisive[0]
    assert first.place == RADIUS and first.other == pytest.approx(0.84375, abs=1e-6)
    shelf, bought = first.stretches
    assert shelf.best is not None and shelf.best.parts["rod"].id == "r84" and bought.best is found.best
    assert shelf.high == pytest.approx(33.275e-3, abs=1e-9)


def test_the_search_agrees_on_both_sides_of_a_turn() -> None:
    wanted, catalogue = load_plan(SKIRT)
    from kitwright.solver import Catalogue

    for radius, rod in ((33.27e-3, "r84"), (33.28e-3, "r85")):
        parts = [
            with_quantity(part, RADIUS.field, exact(part, RADIUS, radius)) if part.id == "k61" else part
            for part in catalogue
        ]
        best = find(Catalogue.of(parts), wanted, 1).combinations[0]
        assert best.combination.parts["rod"].id == rod


def test_no_time_is_said() -> None:
    wanted, catalogue = load_plan(SKIRT)
    pool = [each.combination for each in find(catalogue, wanted, 5)]
    assert not rivalry(pool, wanted, seconds=-1.0).complete


def test_the_command_says_what_to_measure_and_where_it_turns() -> None:
    found = answer("measure-next", SKIRT)
    assert found["status"] == "complete"
    first = found["measurements"][0]
    assert (first["part"], first["field"], first["unit"]) == ("k61", "counterweight_radius", "mm")
    assert first["best"][0]["to"] == pytest.approx(33.275, abs=1e-6)
    assert found["pool"][first["best"][0]["combination"] - 1]["parts"]["rod"] == "r84"
    text = run("measure-next", SKIRT).stdout
    assert "The counterweight radius of k61, 33.000 mm ± 0.400 mm (84 % of its ± changes the best):" in text
    assert "up to 33.275 mm: r84, p274" in text
    assert run("measure-next", SKIRT, "--format", "csv").stdout.startswith("measure,with,unit,nominal,from,to")
    assert run("measure-next", SKIRT, "--format", "markdown").stdout.startswith("# skirt to counterweight: what to")


def test_nothing_to_choose_from_is_said() -> None:
    result = run("measure-next", SKIRT, "--min", "quench=9mm", "--max", "quench=10mm")
    assert result.exit_code == 1 and "nothing fits, not even at nominal size" in result.stderr


def test_check_says_it_where_worst_case_is_open() -> None:
    text = run("check", SKIRT, "--use", "rod=r84", "--use", "piston=p274").stdout
    assert "What to measure next" in text
    assert "the counterweight radius of k61, 33.000 mm ± 0.400 mm: it holds up to 33.275 mm" in " ".join(text.split())
    found = answer("check", SKIRT, "--use", "rod=r84", "--use", "piston=p274")["measure_next"]
    assert found["answer"] == "open" and found["measurements"][0]["part"] == "k61"


def test_a_chamber_is_written_to_the_last_digit_of_any_volume() -> None:
    words = ("--use", "crank=k53", "--use", "piston=p310", "--use", "gasket=g050", "--use", "head=h230")
    bounds = ("--min", "quench=0.5mm", "--max", "quench=1.5mm", "--min", "compression=8", "--max", "compression=9.42")
    text = " ".join(run("check", plan("shelf-first"), *words, *bounds).stdout.split())
    assert "the chamber of h230, 23.00 cc ± 0.50 cc: it holds from 22.62 cc (" in text


def test_root_needs_a_change_of_sign() -> None:
    assert root(lambda x: x**3 - 2, 0.0, 2.0, 1e-12) == pytest.approx(2 ** (1 / 3), abs=1e-11)
    assert root(lambda x: 5 - x, 0.0, 5.0, 1e-9) == 5.0
    with pytest.raises(ValueError, match="no change of sign"):
        root(lambda x: x + 1, 0.0, 1.0, 1e-9)
