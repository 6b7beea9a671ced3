"""Settings alone that leave nothing: the reason is a part or a rule, never the setting said once more."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kitwright.solver import Catalogue, Goal, Plan, check, find
from kitwright.solver.combination import Combination
from kitwright.solver.conflicts import Oracle
from kitwright.solver.parts import KINDS, Block, Crank, Gasket, Part, Piston, Rod
from kitwright.solver.quantity import LENGTH, Quantity, parse
from kitwright.solver.requirements import requirements
from kitwright.solver.result import Conflict
from kitwright.solver.search import witness
from kitwright.solver.stopping import Clock
from tests import random_catalogues
from tests.twin import closest


def mm(value: float) -> Quantity:
    return parse(f"{value} mm", LENGTH)


PARTS: tuple[Part, ...] = (
    Block(id="b", bore=mm(70), block_height=mm(150)),
    Crank(id="k", stroke=mm(58), journal=mm(30)),
    Crank(id="k-odd", stroke=mm(58), journal=mm(37)),
    Crank(id="k-long", stroke=mm(70), journal=mm(30)),
    Rod(id="r", length=mm(92), big_end=mm(30), pin=mm(16)),
    Piston(id="p", bore=mm(70), compression_height=mm(28.5), pin=mm(16)),
    Gasket(id="g", thickness=mm(0.5), bore=mm(71)),
)


def conflict(parts: tuple[Part, ...] = PARTS, **asked: Any) -> Conflict:
    answer = find(Catalogue.of(parts), Plan(**asked), why=True)
    assert answer.status == "nothing_fits" and answer.conflict is not None
    return answer.conflict


def test_a_pinned_part_that_nothing_goes_with() -> None:
    found = conflict(use={"crank": ("k-odd",)})
    assert found.requirements == ("use.crank",)
    assert found.because == "Nothing fits with crank k-odd, as no rod has a big end for a journal of 37 mm."


def test_a_pinned_part_that_a_physical_rule_leaves_nothing_of() -> None:
    found = conflict(use={"crank": ("k-long",)})  # 6 mm more throw: the crown stands 5.5 mm proud
    assert found.requirements == ("use.crank",)
    assert found.because.startswith("Nothing fits with crank k-long, as no choice of parts keeps this rule: ")
    assert found.because.endswith("the piston must not touch the head.")


def test_two_rules_that_each_leave_nothing_are_both_told() -> None:
    """A journal too narrow for the rod, and the crown proud: to waive one opens nothing."""
    parts = [replace(part, journal_width=mm(20)) if isinstance(part, Crank) else part for part in PARTS]
    parts = [replace(part, width=mm(22)) if isinstance(part, Rod) else part for part in parts]
    parts.append(replace(PARTS[1], id="k-wide", journal_width=mm(23)))
    found = conflict(tuple(parts), use={"crank": ("k-long",)})
    assert "no choice of parts keeps these rules at once: " in found.because
    assert "the piston must not touch the head" in found.because
    assert "the big end must go between the journal's cheeks" in found.because


def test_parts_that_go_together_two_by_two_and_not_all_at_once() -> None:
    """Each part has a block that it goes on, and rod and piston want different ones."""
    parts = (
        replace(PARTS[0], id="b-a", tags=("a",)),
        replace(PARTS[0], id="b-b", tags=("b",)),
        *PARTS[1:3],
        replace(PARTS[4], fits=("a",)),
        replace(PARTS[4], id="r-odd", big_end=mm(37), fits=("b",)),
        replace(PARTS[5], fits=("b",)),
        PARTS[6],
    )
    found = conflict(parts, use={"crank": ("k",)})
    assert found.because.endswith(", as no choice of the other parts goes together by its sizes and tags.")


def test_a_part_that_is_out_for_want_of_others_names_what_those_want() -> None:
    parts = (
        *PARTS[:3],
        replace(PARTS[4], pin=mm(18)),
        replace(PARTS[4], id="r-odd", big_end=mm(37)),
        *PARTS[5:],
    )
    found = conflict(parts, use={"crank": ("k",)})
    told = "Nothing fits with crank k, as no rod that is left has a big end for a journal of 30 mm "
    assert found.because == f"{told}(r: no piston has a pin of 18 mm)."


def test_a_kind_that_the_shelf_does_not_hold() -> None:
    parts = tuple(replace(part, on_shelf=int(part.kind != "rod")) for part in PARTS)
    found = conflict(parts, shelf_only=frozenset(KINDS))
    assert found.because == "Nothing fits from the shelf alone, as no rod is left."
    assert conflict(avoid=frozenset({"g"})).because == "Nothing fits without g, as no gasket is left."


def test_kinds_that_the_catalogue_does_not_hold() -> None:
    found = conflict(kinds=frozenset({"pushrod"}))
    assert found.requirements == ("kinds",)
    assert found.because == "Nothing fits with the chosen kinds alone, as the catalogue holds no pushrod."
    (way,) = found.ways_out
    assert way.combination.fits and set(way.combination.combination.parts) >= {"block", "crank", "rod", "piston"}


def test_a_combination_of_no_parts_is_none() -> None:
    assert not check(Combination({}), Plan(), spreads=False).fits
    answer = find(Catalogue.of(PARTS), Plan(kinds=frozenset({"gasket"}), optional=frozenset({"gasket"})))
    assert [[each.id for each in found.combination.gaskets] for found in answer] == [["g"]]


def test_a_pin_that_is_let_go_leaves_its_kind_in_the_search() -> None:
    """The pin alone brings the crank in: without it any crank will do, not none."""
    asked = Plan(
        goals={"deck": Goal("deck", minimum=0.4, maximum=0.6, step=0.02)},
        use={"crank": ("k-long",)},
        kinds=frozenset({"block", "rod", "piston"}),
    )
    answer = find(Catalogue.of(PARTS), asked, why=True)
    assert answer.conflict is not None
    ways = {each.requirement: each for each in answer.conflict.ways_out}
    assert ways["use.crank"].combination.combination.parts["crank"].id == "k"
    assert ways["use.crank"].change == "crank k instead of k-long"
    assert "No single change" not in answer.conflict.because


@pytest.mark.parametrize("seed", range(60))
def test_to_drop_a_requirement_is_never_worse(seed: int) -> None:
    """Whatever fits a plan fits it without any one of its requirements; with kinds chosen and pins beside them."""
    import random

    rng = random.Random(f"dropped {seed}")
    catalogue, plan = random_catalogues.question(seed, most=60)
    kinds = [kind for kind in KINDS if catalogue.of_kind(kind)]
    pinned = rng.sample(kinds, min(2, len(kinds)))
    use = {kind: (rng.choice(catalogue.of_kind(kind)).id,) for kind in pinned}
    chosen = frozenset(kind for kind in kinds if kind not in pinned and rng.random() < 0.7)
    plan = plan.but(use=use, kinds=chosen, gaskets=1, machining=frozenset())
    best = closest(catalogue, plan)[:1]
    oracle = Oracle(catalogue, plan, find, Clock(60), witness)
    for each in requirements(plan):
        rest = set(oracle.all) - {each.name}
        if best:
            assert oracle.holds(rest), each.name
            assert (found := oracle.answer(rest)) is not None and found.key[:2] <= best[0][0][:2], each.name
