"""Whether a stack is needed: the scenario, and the exhaustive twin on random catalogues."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from kitwright.catalogs import load_plan
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import judge
from kitwright.solver.deck_turns import FURTHEST, DeckRange, turns
from kitwright.solver.misses import name_of
from kitwright.solver.plan import Goal, MeasuredDeck, Plan
from kitwright.solver.quantity import parse_deck
from kitwright.solver.stacking import NoGasketsError, StackAnswer, stack
from kitwright.solver.stackup import Spreads
from tests import random_motion
from tests.cli_runner import plan as plan_of
from tests.stack_twin import best_of_gasket, everything_of, fits_at, one_gasket
from tests.test_twin import Question, stacks

NEAR = 1e-6
"""How exact a turning deck is, in mm."""


def compare_singles(answer: StackAnswer, catalogue: Catalogue, plan: Plan) -> list[str]:
    """Differences in what each gasket comes to alone."""
    one = one_gasket(plan)
    every = everything_of(catalogue, one)
    found = []
    for gasket in catalogue.of_kind("gasket"):
        single = next(each for each in answer.singles if each.gasket == gasket.id)
        wanted = best_of_gasket(every, one, gasket.id)
        got = None
        if single.combination is not None:
            total = round(sum(each.steps for each in single.misses), 6)
            got = (len(single.misses), total, single.combination.key)
        if (got is None) != (wanted is None):
            found.append(f"{gasket.id}: {got} for {wanted}")
        elif got and wanted and (got[0] != wanted[0] or abs(got[1] - wanted[1]) > 2e-6 or got[2] != wanted[2]):
            found.append(f"{gasket.id}: {got[:2]} {got[2][:4]} for {wanted[:2]} {wanted[2][:4]}")
    keys = [each.combination.key for each in answer.singles if each.fits and each.combination is not None]
    if keys != sorted(keys):
        found.append("the singles that fit are out of order")
    return found


def compare_best(answer: StackAnswer, catalogue: Catalogue, plan: Plan) -> list[str]:
    """Differences in the best with one gasket, the best with several, and the answer itself."""
    found = []
    layers = max(2, plan.gaskets)
    one, known = one_gasket(plan), Spreads()
    singles = [judge(each, one, known) for each in everything_of(catalogue, one)]
    asked = plan.but(gaskets=layers, optional=plan.optional - {"gasket"})
    piles = [judge(each, asked, known) for each in everything_of(catalogue, asked) if len(each.gaskets) > 1]
    best = [min((each.key for each in some if each.fits), default=None) for some in (singles, piles)]
    got = [each.key if each is not None else None for each in (answer.best_single, answer.best_stack)]
    if got != best:
        found.append(f"best single and stack {got} for {best}")
    needed = False if best[0] is not None else True if best[1] is not None else None
    if answer.needed is not needed or answer.status != ("nothing_fits" if best == [None, None] else "complete"):
        found.append(f"needed {answer.needed} ({answer.status}) for {needed}")
    return found


def compare_decks(answer: StackAnswer, catalogue: Catalogue, plan: Plan, seed: int) -> list[str]:
    """Decks at which the twin says something else, just beside each turn, between them and at random."""
    if len(answer.short_block) < 4:
        return [] if answer.turns_at_deck == () else ["turns without a short block"]
    one = one_gasket(plan)
    every = everything_of(catalogue, one)
    rng = random.Random(seed)
    edges = [-FURTHEST + 1, *answer.turns_at_deck, FURTHEST - 1]
    decks = [rng.uniform(-2, 3) for _ in range(6)] + [rng.uniform(-40, 40)]
    decks += [(a + b) / 2 for a, b in pairwise(edges) if b - a > 2 * NEAR]
    decks += [edge + way for edge in answer.turns_at_deck for way in (-NEAR, NEAR)]
    found = []
    known: Spreads = {}
    for deck in decks:
        if any(abs(deck - edge) < NEAR / 2 for edge in answer.turns_at_deck):
            continue
        said = any(
            (each.low is None or each.low <= deck) and (each.high is None or deck <= each.high)
            for each in answer.ranges
        )
        if said is not fits_at(every, one, answer.short_block, deck, known):
            found.append(f"deck {deck}: said {said}; turns at {answer.turns_at_deck}")
    return found


def compare(question: Question, seed: int) -> list[str]:
    """All differences on one seed, in words."""
    catalogue, plan = question(seed)
    if not catalogue.of_kind("gasket"):
        return []
    if plan.kinds is not None:
        plan = plan.but(kinds=plan.kinds | {"gasket"})
    answer = stack(catalogue, plan)
    found = compare_best(answer, catalogue, plan) + compare_singles(answer, catalogue, plan)
    found += compare_decks(answer, catalogue, plan, seed)
    return [f"seed {seed}: {each}" for each in found]


@pytest.mark.parametrize("first", range(0, 48, 12))
def test_stack_agrees_with_the_twin(first: int) -> None:
    differences = [each for seed in range(first, first + 12) for each in compare(stacks, seed)]
    assert differences == []


def test_stack_agrees_with_the_twin_on_motion() -> None:
    differences = [each for seed in range(12) for each in compare(random_motion.question, seed)]
    assert differences == []


def test_the_random_questions_turn_and_miss() -> None:
    """What is compared has every answer, misses of one limit and of several, and decks that turn, in every mode."""
    needed: set[bool | None] = set()
    missed: set[int] = set()
    turning: set[str] = set()
    for seed in (*range(30), 35, 42, 362):  # two need their stack, one turns at worst case
        catalogue, plan = stacks(seed)
        if not catalogue.of_kind("gasket") or (plan.kinds is not None and "gasket" not in plan.kinds):
            continue
        answer = stack(catalogue, plan)
        needed.add(answer.needed)
        missed.update(len(single.misses) for single in answer.singles)
        if answer.turns_at_deck:
            turning.add(plan.tolerance)
    assert {True, False, None} <= needed
    assert {0, 1, 2} <= missed
    assert turning == {"nominal", "statistical", "worst_case"}


def test_ranges_that_touch_are_one_and_open_ends_do_not_turn() -> None:
    assert turns([]) == ()
    assert turns([DeckRange("a", None, 0.2), DeckRange("b", 0.2, 0.4), DeckRange("a", 0.5, None)]) == (0.4, 0.5)
    assert turns([DeckRange("b", 0.4, 0.6), DeckRange("a", -0.1, 0.1)]) == (-0.1, 0.1, 0.4, 0.6)
    assert turns([DeckRange("a", 0.5, 0.5)]) == (0.5, 0.5)


def scenario(**changes: object) -> tuple[Catalogue, Plan]:
    plan, catalogue = load_plan(plan_of("stack-not-needed"))
    return catalogue, plan.but(**changes)


def test_a_measured_deck_lends_its_play_to_the_turning_decks() -> None:
    """At worst case gasket (± 0.05 mm) and measurement (± 0.02 mm) each take their ± off both ends of the quench.

    The compression is let go, so that by hand: 0.90 + 0.07 and 1.10 − 0.07 less the gasket.
    """
    catalogue, plan = scenario(tolerance="worst_case")
    block = {"block": "b72", "crank": "k57", "rod": "r85", "piston": "p280"}
    measured = MeasuredDeck(parse_deck("0.50 mm down ± 0.02 mm"), block)
    quench = {"quench": plan.goals["quench"]}
    answer = stack(catalogue, plan.but(goals=quench, measured_decks=(measured,)))
    assert answer.needed is False and answer.short_block == block
    assert answer.deck_tolerance == pytest.approx(0.02)
    assert answer.turns_at_deck == pytest.approx((-0.03, 0.03, 0.47, 0.53), abs=1e-8)


def test_with_nothing_but_the_short_rod_gone_a_stack_is_needed() -> None:
    catalogue, plan = scenario(avoid=frozenset({"r85"}))
    answer = stack(catalogue, plan)
    assert answer.needed is True and answer.status == "complete"
    assert answer.best_single is None and answer.best_stack is not None
    assert [each.id for each in answer.best_stack.combination.gaskets] == ["g050", "g100"]
    assert answer.short_block["rod"] == "r86" and answer.deck == pytest.approx(-0.5)
    assert answer.turns_at_deck == pytest.approx((-0.1, 0.1, 0.4, 0.6))
    thick = answer.singles[0]  # quench 0.50, and compression 10.2: two limits; the thin one touches the head as well
    assert thick.gasket == "g100" and [name_of(each.limit) for each in thick.misses] == [
        "compression.max",
        "quench.min",
    ]
    assert thick.misses[1].steps == pytest.approx(20)


def test_neither_fits_where_no_quench_is_small_enough() -> None:
    catalogue, plan = scenario()
    goals = {**plan.goals, "quench": Goal("quench", minimum=0.05, maximum=0.06, step=0.02)}
    answer = stack(catalogue, plan.but(goals=goals))
    assert answer.needed is None and answer.status == "nothing_fits"
    assert answer.best_single is None and answer.best_stack is None
    assert answer.turns_at_deck == () and not answer.short_block
    assert all(single.misses for single in answer.singles)


def test_a_plan_with_one_gasket_is_asked_what_two_would_do() -> None:
    catalogue, plan = scenario(gaskets=1, avoid=frozenset({"r85"}))
    answer = stack(catalogue, plan)
    assert answer.needed is True and answer.layers == 2


def test_a_pinned_stack_is_held_against_any_single_gasket() -> None:
    catalogue, plan = scenario(use={"gasket": ("g050", "g050")})
    answer = stack(catalogue, plan)
    assert answer.needed is False and answer.best_single is not None
    assert [each.id for each in answer.best_single.combination.gaskets] == ["g050"]


def test_gaskets_that_are_out_say_why() -> None:
    catalogue, plan = scenario(avoid=frozenset({"g050"}))
    answer = stack(catalogue, plan)
    out = {each.gasket: each.why for each in answer.singles if each.combination is None}
    assert out == {"g050": "avoided"}


def test_without_gaskets_there_is_no_question() -> None:
    catalogue, plan = scenario()
    with pytest.raises(NoGasketsError, match="holds no gasket"):
        stack(Catalogue.of(part for part in catalogue if part.kind != "gasket"), plan)
    with pytest.raises(NoGasketsError, match="kinds"):
        stack(catalogue, plan.but(kinds=frozenset({"block", "crank", "rod", "piston"})))


def test_out_of_time_is_said_and_decides_nothing() -> None:
    catalogue, plan = scenario()
    answer = stack(catalogue, plan, seconds=0.0)
    assert answer.status == "incomplete" and answer.needed is None
    assert "the closest combination with one gasket" in answer.proven
