"""A clearance that guards and that no rule asks for: no offer takes the quench at speed to within a step of contact.

The engine is invented: deck 0.6 mm up, so that a gasket of 0.622 mm leaves 0.022 mm at rest; the rod stretches
0.017 mm at 6000 rpm (290 g, 26 mm throw, 92 mm rod of 1 cm² steel: 3818 N over 207 GPa × 1 cm², 92 mm long).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from kitwright.solver import check, find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import NONE_AT_SPEED, cautions
from kitwright.solver.combination import Combination
from kitwright.solver.explain import explain
from kitwright.solver.mend import mends
from kitwright.solver.parts import Block, Crank, Gasket, Head, Piston, Rod
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.quantity import AREA, LENGTH, MASS, VOLUME, Quantity, parse
from kitwright.solver.search import witness
from tests.cli_runner import run


def mm(size: float) -> Quantity:
    return parse(f"{size} mm", LENGTH)


SHORT = (
    Block(id="b", bore=mm(66), block_height=mm(142.4), on_shelf=1),
    Crank(id="k", stroke=mm(52), journal=mm(28), on_shelf=1),
    Rod(
        id="r",
        length=mm(92),
        big_end=mm(28),
        pin=mm(15),
        shank_area=parse("1 cm2", AREA),
        small_end_mass=parse("90 g", MASS),
        material="steel 4340",
        on_shelf=1,
    ),
    Piston(id="p", bore=mm(66), compression_height=mm(25), pin=mm(15), mass=parse("200 g", MASS), on_shelf=1),
    Head(id="h", chamber=parse("18 cc", VOLUME), on_shelf=1),
)


def gasket(name: str, thickness: float, price: float | None = None) -> Gasket:
    owned = int(price is None)
    return Gasket(id=name, thickness=mm(thickness), bore=mm(67), stackable=False, on_shelf=owned, price=price)


def built(thin: Gasket) -> Combination:
    return Combination({each.kind: each for each in SHORT}, (thin,))


TIGHT = {"compression": Goal("compression", minimum=10.5), "cost": Goal("cost", maximum=0.0)}


def opened(thickness: float, plan: Plan) -> list[str]:
    thick, thin = gasket("g1", 1.7), gasket("g2", thickness, 3.0)
    conflict = explain(Catalogue.of([*SHORT, thick, thin]), plan, find, witness, 60).answer.conflict
    assert conflict is not None
    return [each.requirement for each in conflict.ways_out]


@pytest.mark.parametrize(("thickness", "offered"), [(0.622, False), (0.636, False), (0.638, True)])
def test_no_way_out_leaves_less_than_a_step_at_speed(thickness: float, offered: bool) -> None:
    """0.622 mm leaves 0.005 mm at speed, 0.636 mm leaves 0.019; the step is 0.02 mm. At rest all are a step off."""
    plan = Plan(goals=TIGHT, rev_ceiling=6000.0)
    free = plan.but(goals={}, rev_ceiling=6000.0)
    left = check(built(gasket("g2", thickness)), free).figures["quench_at_speed"]
    assert left == pytest.approx(thickness - 0.6 - 0.01697, abs=1e-4)
    assert ("cost.max" in opened(thickness, plan)) is offered
    assert "cost.max" in opened(thickness, plan.but(rev_ceiling=None))  # without a ceiling nothing stretches


@pytest.mark.parametrize(("thickness", "offered"), [(0.622, False), (0.638, True)])
def test_no_mend_leaves_less_than_a_step_at_speed(thickness: float, offered: bool) -> None:
    plan = Plan(goals={"compression": Goal("compression", minimum=10.5)}, rev_ceiling=6000.0)
    thin = gasket("g2", thickness, 3.0)
    checked = check(built(gasket("g1", 1.7)), plan)
    found = mends(checked, plan, Catalogue.of([*SHORT, gasket("g1", 1.7), thin]))
    (limit,) = [each for each in found if each.name == "compression"]
    assert ("g2" in {each.part for each in found[limit]}) is offered
    for each in found[limit]:
        assert check(each.combination, plan).figures["quench_at_speed"] >= 0.02 - 1e-9


def test_what_was_asked_for_is_judged_by_the_rules_alone_and_cautioned() -> None:
    """The piston of a build that is within the rules meets the head at the ceiling: that is said beside it."""
    plan = Plan(rev_ceiling=6000.0)
    touching, clear = (check(built(gasket("g", each)), plan) for each in (0.61, 0.63))
    assert touching.figures["quench_at_speed"] < 0 < clear.figures["quench_at_speed"]
    assert not [each for each in touching.limits if each.holds is False]
    assert NONE_AT_SPEED in cautions(touching, plan)
    assert NONE_AT_SPEED not in cautions(clear, plan)


LISTED = """
blocks: [{id: b, bore: 66 mm, block_height: 142.4 mm}]
cranks: [{id: k, stroke: 52 mm, journal: 28 mm}]
rods:
  - {id: r, length: 92 mm, big_end: 28 mm, pin: 15 mm, shank_area: 1 cm2, small_end_mass: 90 g, material: steel 4340}
pistons: [{id: p, bore: 66 mm, compression_height: 25 mm, pin: 15 mm, mass: 200 g}]
gaskets: [{id: g1, thickness: 0.61 mm, bore: 67 mm}, {id: g2, thickness: 0.7 mm, bore: 67 mm}]
"""


def test_a_list_says_which_builds_have_nothing_left_at_speed(tmp_path: Path) -> None:
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(LISTED, encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text("plan: near\ncatalogue: ./catalogue\ngoals: {quench: {aim: 0.1 mm}, rev_ceiling: 6000 rpm}\n")
    said = " ".join(run("find", path).stdout.split())
    assert f"2: {NONE_AT_SPEED}" in said
    alone = " ".join(run("find", path, "--trade-off", "--aim", "quench=0.01mm").stdout.split())
    assert f"1: {NONE_AT_SPEED}" in alone
    assert NONE_AT_SPEED not in " ".join(run("find", path, "--use", "gasket=g2").stdout.split())
