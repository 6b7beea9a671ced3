"""Heat in the quench at speed: the worked example G5 through a plan, and what is not established without a material."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kitwright.solver.check import View
from kitwright.solver.combination import Combination
from kitwright.solver.parts import Block, Crank, Gasket, Piston, Rod
from kitwright.solver.plan import Conditions, Plan
from kitwright.solver.quantity import AREA, LENGTH, MASS, parse

FILE = Path(__file__).parent / "data" / "worked_examples.json"
G5 = next(each for each in json.loads(FILE.read_text(encoding="utf-8"))["examples"] if each["id"] == "G5")
COLD = 293.15


def mm(value: float) -> Any:
    return parse(f"{value!r} mm", LENGTH)


def build(**materials: str | None) -> Combination:
    given = G5["in"]
    lengths = given["lengths_mm"]
    named = {"block": "grey iron", "crank": "steel", "rod": "steel", "piston": "356", "case": "356"} | materials
    block = Block(
        id="b",
        bore=mm(72),
        block_height=mm(lengths["barrel"] + lengths["case"]),
        barrel_foot=mm(lengths["case"]),
        material=named["block"],
        case_material=named["case"],
    )
    crank = Crank(id="k", stroke=mm(2 * given["crank_radius_mm"]), journal=mm(30), material=named["crank"])
    rod = Rod(
        id="r",
        length=mm(given["rod_mm"]),
        big_end=mm(30),
        pin=mm(16),
        small_end_mass=parse(f"{given['rod_small_end_g']} g", MASS),
        shank_area=parse(f"{given['rod_area_mm2']} mm2", AREA),
        material=named["rod"],
    )
    height = lengths["piston"]
    piston = Piston(
        id="p",
        bore=mm(72),
        compression_height=mm(height),
        pin=mm(16),
        mass=parse(f"{given['piston_g'] + given['pin_g'] + given['rings_g']} g", MASS),
        material=named["piston"],
    )
    deck = lengths["barrel"] + lengths["case"] - given["crank_radius_mm"] - given["rod_mm"] - height
    gasket = Gasket(id="g", thickness=mm(given["cold_clearance_mm"] - deck), bore=mm(73))
    return Combination({"block": block, "crank": crank, "rod": rod, "piston": piston}, (gasket,))


def plan(**temperatures: float) -> Plan:
    return Plan(rev_ceiling=7500, conditions=Conditions(temperatures=temperatures))


RISES = G5["in"]["dT_K"]
HOT = {
    "barrel": COLD + RISES["barrel"],
    "case": COLD + RISES["case"],
    "crank": COLD + RISES["throw"],
    "rod": COLD + RISES["rod"],
    "piston": COLD + RISES["piston"],
}


def test_g5_through_a_plan() -> None:
    view = View(build(), plan(**HOT))
    assert view.value("quench") == pytest.approx(G5["in"]["cold_clearance_mm"])
    expected = G5["out"]["min_clearance_mm"][2] + G5["out"]["bearing_takeup_mm"]  # which no plan knows
    assert view.value("quench_at_speed") == pytest.approx(expected, abs=1e-6)
    cold = View(build(), plan())
    assert cold.value("quench_at_speed") == pytest.approx(1.0 - G5["out"]["rod_stretch_mm"][2], abs=1e-6)


def test_each_part_counts_for_itself() -> None:
    cold = View(build(), plan()).value("quench_at_speed")
    grown = G5["out"]["thermal_mm"]
    for part, name, sign in (("crank", "throw", -1), ("rod", "rod", -1), ("piston", "piston", -1)):
        hot = View(build(), plan(**{part: HOT[part]})).value("quench_at_speed")
        assert hot - cold == pytest.approx(sign * grown[name], abs=1e-6)
    both = View(build(), plan(barrel=HOT["barrel"], case=HOT["case"])).value("quench_at_speed")
    assert both - cold == pytest.approx(grown["barrel"] + grown["case"], abs=1e-6)
    whole = View(build(), plan(block=COLD + 100)).value("quench_at_speed")
    assert whole - cold == pytest.approx(11.4e-6 * 100 * 177.88, abs=1e-6)


@pytest.mark.parametrize("part", ["block", "crank", "rod", "piston"])
def test_heat_without_a_material_is_not_established(part: str) -> None:
    parts = build().parts
    bare = replace(build(), parts={**parts, part: replace(parts[part], material=None)})  # type: ignore[call-arg]
    hot = View(bare, plan(**HOT))
    assert hot.value("quench_at_speed") != hot.value("quench_at_speed")
    assert next((each.kind, each.field) for each in hot.missing("quench_at_speed")) == (part, "material")
    other = {"block": "rod", "crank": "rod", "rod": "crank", "piston": "rod"}[part]
    if part != "rod":  # whose stretch takes the material too
        without = View(bare, plan(**{other: HOT[other]}))
        assert without.value("quench_at_speed") == without.value("quench_at_speed")


def test_a_case_apart_wants_the_barrels_foot() -> None:
    parts = build().parts
    bare = replace(build(), parts={**parts, "block": replace(parts["block"], barrel_foot=None)})  # type: ignore[call-arg]
    hot = View(bare, plan(**HOT))
    assert [(each.kind, each.field) for each in hot.missing("quench_at_speed")] == [("block", "barrel_foot")]
