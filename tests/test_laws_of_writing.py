"""How a question is written changes nothing: inches for millimetres, rows in other files and orders."""

from __future__ import annotations

import random
from dataclasses import fields, is_dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml

from kitwright.catalogs import load, load_plan
from kitwright.solver import Catalogue, Goal, Plan, find
from kitwright.solver.plan import IMPLIED_AIMS
from kitwright.solver.quantity import AREA, LENGTH, VOLUME, Quantity, parse, unit_factor
from tests import random_catalogues, random_motion
from tests.benchmarks.generate import PLAN, rows

SEEDS = range(24)
INCHES = {LENGTH: "in", AREA: "in2", VOLUME: "in3"}


def small(seed: int) -> tuple[Catalogue, Plan]:
    """Every third of engines in motion."""
    question = random_motion.question if seed % 3 == 2 else random_catalogues.question
    return question(7000 + seed, most=60)


def keys(catalogue: Catalogue, plan: Plan, top: int = 20) -> list[Any]:
    return [each.key for each in find(catalogue, plan, top=top)]


def in_inches(value: Any) -> Any:
    """The same dimension as an exact fraction of inches; groups of fields likewise, everything else as it is."""
    if isinstance(value, Quantity):
        if value.dimension not in INCHES:
            return value
        unit = INCHES[value.dimension]
        inches = value.exact / unit_factor(unit, value.dimension)
        text = f"{inches.numerator}/{inches.denominator} {unit}"
        if value.stated:
            text += f" ± {value.tolerance / float(unit_factor(unit, value.dimension))!r} {unit}"
        return parse(text, value.dimension)
    if isinstance(value, tuple):
        return tuple(map(in_inches, value))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{each.name: in_inches(getattr(value, each.name)) for each in fields(value)})
    return value


def test_the_rewriting_rewrites() -> None:
    length = in_inches(parse("57.15 mm ± 0.05 mm", LENGTH))
    assert length.exact == Fraction(5715, 100_000)
    assert length.text.startswith("9/4 in ± ")
    assert length.tolerance == pytest.approx(0.00005, rel=1e-12)
    volume = in_inches(parse("21 cc", VOLUME))
    assert volume.exact == Fraction(21, 1_000_000)
    assert "in3" in volume.text


@pytest.mark.parametrize("seed", SEEDS)
def test_inches_for_millimetres_change_nothing(seed: int) -> None:
    catalogue, plan = small(seed)
    changed = Catalogue.of([in_inches(part) for part in catalogue])
    lengths = [value for part in changed for _, value in part.quantities() if value.dimension is LENGTH]
    assert lengths
    assert all(" in" in value.text for value in lengths)
    decks = tuple(replace(each, deck=in_inches(each.deck)) for each in plan.measured_decks)
    for deck, before in zip(decks, plan.measured_decks, strict=True):
        assert deck.deck.exact == before.deck.exact
    given = {name: in_inches(value) for name, value in plan.reference.items()}
    found = find(changed, plan.but(measured_decks=decks, reference=given), top=20)
    assert [each.key for each in found] == keys(catalogue, plan)
    for each, other in zip(found, find(catalogue, plan, top=20), strict=True):
        assert dict(each.figures) == pytest.approx(dict(other.figures), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_aim_that_is_dropped_only_reorders(seed: int) -> None:
    catalogue, plan = small(seed)
    before = {each[5:] for each in keys(catalogue, plan, top=10_000)}
    for name, goal in plan.goals.items():
        if goal.aim is None or name in IMPLIED_AIMS:
            continue
        without = plan.but(goals={**plan.goals, name: replace(goal, aim=None)})
        assert {each[5:] for each in keys(catalogue, without, top=10_000)} == before, name


@pytest.mark.parametrize("seed", SEEDS)
def test_a_goal_that_asks_nothing_changes_nothing(seed: int) -> None:
    """Neither limit nor aim: no combination can miss it."""
    catalogue, plan = small(seed)
    name = "bore_stroke_ratio"
    if name in plan.goals:
        return
    missing = {"block", "crank"} - set(catalogue.kinds if plan.kinds is None else plan.kinds | set(plan.use))
    if not missing:
        assert keys(catalogue, plan.but(goals={**plan.goals, name: Goal(name)})) == keys(catalogue, plan)


@pytest.mark.parametrize("seed", range(4))
def test_other_files_and_another_order_of_rows_change_nothing(tmp_path: Path, seed: int) -> None:
    """One file of all kinds, against rows shuffled into many files with names in any order, YAML and CSV."""
    data = rows(50)
    (tmp_path / "one").mkdir()
    (tmp_path / "one" / "parts.yaml").write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), "utf-8")
    many = tmp_path / "many"
    many.mkdir()
    rng = random.Random(seed)
    for kind, parts in data.items():
        mixed = rng.sample(parts, len(parts))
        cut = rng.randint(0, len(mixed))
        for some in (mixed[:cut], mixed[cut:]):
            name = f"{rng.randint(0, 10**6):06}-{kind}"
            if some:
                text = yaml.safe_dump({kind: [dict(rng.sample(sorted(each.items()), len(each))) for each in some]})
                (many / f"{name}.yaml").write_text(text, "utf-8")
    retainers = "id,price,on_shelf,height_gain\n" + "".join(
        f"{each['id']},{each['price']},{each['on_shelf']},{each['height_gain']}\n" for each in data["retainers"]
    )
    for file in many.glob("*-retainers.yaml"):
        file.unlink()
    (many / "retainers.csv").write_text(retainers, "utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN.replace("./catalogue", "./one"), "utf-8")
    plan, catalogue = load_plan(tmp_path / "plan.yaml")
    shuffled = load(many)
    assert [part.id for part in shuffled] == [part.id for part in catalogue]
    expected = keys(catalogue, plan)
    assert len(expected) == 20
    assert keys(shuffled, plan) == expected
