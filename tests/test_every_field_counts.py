"""No field may be read and ignored: each changes some figure, rule, fit, note, price or machining when it changes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from kitwright.catalogs.plan_text import CONDITION_KEYS, REFERENCE, TEMPERATURE_WORDS
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import cautions
from kitwright.solver.check import View, check
from kitwright.solver.combination import Combination, cut_amounts, rebores, specs_of
from kitwright.solver.fields import FieldSpec, Readings, Rebore, VolumeSteps, specs
from kitwright.solver.mock_up import card
from kitwright.solver.notes import notes
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import Conditions, Plan
from kitwright.solver.quantity import LENGTH, Quantity, parse
from kitwright.solver.registry import FIGURES
from tests.random_engines import engine

DESCRIPTIVE = {
    "id": "what the part is called; the order's last word",
    "name": "for people",
    "note": "for people, shown beside the part",
    "free_thickness": "no gasket is free where it works: it is refused alone, and where the compressed one is more",
}
"""Fields that change nothing that is computed, and why."""

HEAT = dict.fromkeys(TEMPERATURE_WORDS, 400.0)


@cache
def bases() -> tuple[tuple[Combination, Plan], ...]:
    """Engines in which between them every field has its say: what stands before another is missing in one of them."""
    found = []
    for seed in range(6):
        combination, plan = engine(seed, toleranced=0.0, blank=seed % 2 == 0, landed=seed % 3 != 0, layers=2)
        parts: dict[str, Part] = {}
        for kind, part in combination.parts.items():
            more: dict[str, Any] = {"price": 10.0, "on_shelf": 0}
            if kind == "block":
                more["tags"] = ("one",)
            elif kind == "piston":
                more["fits"] = ("one",)
            if hasattr(part, "case_material"):
                more |= {"material": "grey iron", "case_material": "aluminium 356"}
            elif hasattr(part, "material") and getattr(part, "material", None) is None:
                more["material"] = "steel 4340"
            if kind == "head":
                more["relieve"] = VolumeSteps(max=_text("2 cc", part, "relieve"), step=_text("1 cc", part, "relieve"))
            parts[kind] = replace(part, **more)
        heat = {word: value for word, value in HEAT.items() if seed % 2 or word != "barrel"}
        if seed % 3 == 0:  # a temperature of the block as one counts where barrel and case have none
            heat = {word: value for word, value in heat.items() if word not in ("barrel", "case")}
        conditions = replace(plan.conditions, temperatures=heat)
        machining = frozenset({"mill", "deck_cut", "relieve", "rebore"})
        goals_off = plan.but(conditions=conditions, machining=machining, rev_ceiling=5000.0)
        stack = tuple(replace(each, price=2.0) for each in combination.gaskets)
        if seed == 5:  # two layers of one gasket that strays: alike or each by itself
            twice = replace(stack[0], thickness=parse("0.5 mm ± 0.05 mm", LENGTH))
            stack = (twice, twice)
        cut = replace(combination, parts=parts, gaskets=stack, mill=Fraction(1, 4000), relieve=Fraction(1, 10**6))
        found.append((cut, goals_off))
    return tuple(found)


def _text(text: str, part: Part, name: str) -> Quantity:
    group = specs_of(type(part))[name].group
    assert group is not None
    dimension = specs(group)["max"].dimension
    assert dimension is not None
    return parse(text, dimension)


def state(combination: Combination, plan: Plan) -> dict[str, Any]:
    """All that is made of a combination: figures, a spread, limits, notes, cautions, machining, the mock-up card."""
    view = View(combination, plan)
    found: dict[str, Any] = {name: view.value(name) for name in FIGURES}
    found = {name: None if math.isnan(value) else round(value, 9) for name, value in found.items()}
    checked = check(combination, plan, spreads=False)
    found["quench strays"] = view.spread("quench", "statistical")
    found["limits"] = [(each.name, each.bound, each.value, each.holds) for each in checked.limits]
    catalogue = Catalogue.of([*combination.different_parts])
    found["notes"] = notes(checked, plan, catalogue)
    found["cautions"] = cautions(checked, plan)
    found["buy"] = [(part.id, count) for part, count in combination.to_buy()]
    found["labour"] = combination.labour()
    for part in combination.different_parts:
        found[f"cuts {part.id}"] = [cut_amounts(part, work) for work in ("mill", "relieve", "deck_cut")]
        found[f"bores {part.id}"] = rebores(part)
    found["card"] = card(checked)
    return found


def fields() -> Iterator[tuple[str, str]]:
    for kind, cls in KINDS.items():
        for name, spec in specs_of(cls).items():
            if name in DESCRIPTIVE:
                continue
            yield from ((kind, f"{name}.{inner}") for inner in specs(spec.group)) if spec.group else ((kind, name),)


def others(spec: FieldSpec, value: Any) -> Iterator[Any]:
    """Values to put in the place of one: a little more and less, or anything where there was nothing."""
    if spec.form == "quantity":
        assert spec.dimension is not None
        unit = spec.dimension.likely[0] if spec.dimension.likely else ""
        if value is None:
            for share in (0.02, 0.1, 0.5):
                yield parse(f"{spec.low + share * (spec.high - spec.low):.6g} {unit}".strip(), spec.dimension)
            return
        for factor in (1.02, 0.98, 1.3, 0.5):
            yield replace(
                value, exact=value.exact * Fraction(str(factor)) + (Fraction(1, 10**4) if not value.exact else 0)
            )
    elif spec.form == "quantities":
        yield tuple(replace(each, exact=each.exact * Fraction("1.01")) for each in value)
    elif spec.form == "count":
        yield (value or 0) + 1
    elif spec.form == "money":
        yield (value or 0.0) + 7.0
    elif spec.form == "flag":
        yield not value
    elif spec.form == "tags":
        yield ("another",)
    elif spec.form == "choice":
        yield from (each for each in (*spec.choices, None) if each != value)
    elif spec.form == "text":
        yield from ("aluminium 6061", "music wire")
    elif spec.form == "readings":
        angles = tuple(math.radians(each) for each in range(-30, 241, 10))
        lifts = tuple(0.0065 * max(0.0, math.cos((each - math.radians(105)) / 1.5)) ** 2 for each in angles)
        yield Readings("wheel.csv", angles, (0.0, *lifts[1:-1], 0.0), 1e-5)
    else:
        raise AssertionError(f"a form that the walk does not know: {spec.form}")


def changed(part: Part, path: str) -> Iterator[Part]:
    """The part with one field (nested as ``mill.step``) changed; a group that is not there is set up whole."""
    name, _, inner = path.partition(".")
    spec = specs_of(type(part))[name]
    value = getattr(part, name)
    if spec.group is None:
        for other in others(spec, value):
            yield replace(part, **{name: other})
        return
    if value is None:
        if spec.group is Rebore:
            bore = replace(part.bore, exact=part.bore.exact + Fraction(1, 2000))  # type: ignore[attr-defined]
            value = Rebore(to=(bore,))
        else:
            made = {key: next(others(each, None)) for key, each in specs(spec.group).items() if each.required}
            value = spec.group(**made)
        part = replace(part, **{name: value})
    for other in others(specs(spec.group)[inner], getattr(value, inner)):
        yield replace(part, **{name: replace(value, **{inner: other})})


def with_part(combination: Combination, old: Part, new: Part) -> Combination:
    if old.kind == "gasket":
        stack = tuple(new if each.id == old.id else each for each in combination.gaskets)
        return replace(combination, gaskets=stack)
    return replace(combination, parts={**combination.parts, old.kind: new})


@pytest.mark.parametrize(("kind", "path"), [*fields()])
def test_every_field_of_every_kind_moves_something(kind: str, path: str) -> None:
    name = path.partition(".")[0]
    for combination, plan in bases():
        part = combination.gaskets[0] if kind == "gasket" else combination.parts[kind]
        if path.endswith("labour") and name == "rebore":
            continue
        group = specs_of(type(part))[name].group
        if group is not None and getattr(part, name) is None:
            first = next(changed(part, path))  # the group as it is set up, to compare with
            before = state(with_part(combination, part, first), plan)
            after = [state(with_part(combination, part, each), plan) for each in (*changed(first, path), part)]
        else:
            before = state(combination, plan)
            after = [state(with_part(combination, part, each), plan) for each in changed(part, path)]
        if any(each != before for each in after):
            return
    if (kind, path) == ("block", "rebore.labour"):  # charged once the bore is used
        combination, plan = bases()[0]
        block = combination.parts["block"]
        first = next(changed(block, "rebore.to"))
        bored = replace(with_part(combination, block, first), rebore=first.rebore.to[0])  # type: ignore[attr-defined]
        dearer = replace(first, rebore=replace(first.rebore, labour=7.0))  # type: ignore[attr-defined]
        assert state(bored, plan) != state(with_part(bored, first, dearer), plan)
        return
    pytest.fail(f"{kind}.{path} is read and changes nothing")


@pytest.mark.parametrize("key", sorted({*CONDITION_KEYS} - {"temperatures"}))
def test_every_condition_moves_something(key: str) -> None:
    """Each number of the conditions, by what stands in the place of what the plan had."""
    combination, plan = bases()[1]
    given = getattr(plan.conditions, key, None)
    assert hasattr(Conditions(), key), f"{key} is no condition of a plan"
    before = state(combination, plan)
    other = replace(plan.conditions, **{key: (given or 1.0) * 1.05 + 0.01})
    assert state(combination, plan.but(conditions=other)) != before


@pytest.mark.parametrize("word", TEMPERATURE_WORDS)
def test_every_temperature_moves_something(word: str) -> None:
    for combination, plan in bases():
        before = state(combination, plan)
        warmer = {**plan.conditions.temperatures, word: 430.0}
        if state(combination, plan.but(conditions=replace(plan.conditions, temperatures=warmer))) != before:
            return
    pytest.fail(f"the temperature of {word} is read and changes nothing")


@pytest.mark.parametrize("key", REFERENCE)
def test_every_reference_moves_something(key: str) -> None:
    combination, plan = bases()[1]
    before = state(combination, plan)
    given = plan.reference.get(key)
    for other in others(REFERENCE[key], given):
        if state(combination, plan.but(reference={**plan.reference, key: other})) != before:
            return
    pytest.fail(f"reference.{key} is read and changes nothing")


def test_the_walk_sees_a_field_that_is_ignored() -> None:
    """What only people read changes nothing: the walk would name it."""
    combination, plan = bases()[0]
    crank = combination.parts["crank"]
    before = state(combination, plan)
    for name in ("name", "note"):
        assert state(with_part(combination, crank, replace(crank, **{name: "another"})), plan) == before
