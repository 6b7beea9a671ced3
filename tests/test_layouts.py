"""What is laid out for one question serves another only where both see the same rows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kitwright.solver import Catalogue, Plan, find
from kitwright.solver.candidates import candidates
from kitwright.solver.conflicts import Oracle
from kitwright.solver.explain import explain
from kitwright.solver.facets import Builder
from kitwright.solver.layouts import Layouts
from kitwright.solver.parts import Crank, Part
from kitwright.solver.plan import Conditions, Goal, MeasuredDeck
from kitwright.solver.quantity import LENGTH, parse, parse_deck
from kitwright.solver.registry import FIGURES
from kitwright.solver.rules import PHYSICAL
from kitwright.solver.search import witness
from kitwright.solver.stopping import Clock
from kitwright.solver.translate import Maker, wanted_leaves
from tests import random_catalogues, random_engines
from tests.random_catalogues import question

BORES = {"block": "72 mm ± 0.02 mm", "piston": "72 mm", "gasket": "73 mm"}
"""So that parts of both engines go together."""

TWO = ("block", "crank", "rod", "piston", "gasket", "head")
"""Kinds of which both engines give one; the rest is the first one's."""

AIMS = {
    "quench": 0.9,
    "quench_at_speed": 0.9,
    "pushrod_rise": 0.1,
    "swept_volume": 250.0,
    "compression": 9.5,
    "cranking_pressure": 1000.0,
    "pushrod_mismatch": 0.2,
    "mean_piston_speed": 12.0,
}


def goals(**aims: float) -> dict[str, Any]:
    return {"goals": {name: Goal(name, aim, step=FIGURES[name].step) for name, aim in aims.items()}}


CHANGES: list[dict[str, Any]] = [
    goals(rod_ratio=1.9),
    goals(skirt_to_counterweight=1.0, counterweight_to_case=12.0),
    goals(inlet_mach_index=0.4),
    {"goals": {"quench": Goal("quench", 1.0, minimum=0.8)}, "tolerance": "worst_case"},
    {"goals": {"quench": Goal("quench", 1.0, minimum=0.8)}, "tolerance": "statistical"},
    {"goals": {"quench": Goal("quench", 1.0, minimum=0.8)}},
    {"rev_ceiling": 3000.0},
    {"use": {"crank": ("k1",)}},
    {"avoid": frozenset({"p0", "g00"})},
    {"shelf_only": frozenset({"gasket"})},
    {"shelf_only": frozenset({"gasket"}), "gaskets": 2},
    {"gaskets": 2},
    {"kinds": frozenset({"block", "crank", "rod", "piston", "gasket", "head"})},
    {"optional": frozenset({"spacer", "spring_shim"})},
    {"machining": frozenset()},
    {"machining": frozenset({"mill"})},
    {"machining": frozenset({"deck_cut"})},
    {"measured_decks": ()},
    {"conditions": Conditions(temperatures={"piston": 500.0})},
    {"reference": {}},
]
"""Each setting of a plan changed alone, and goals that see other dimensions."""


def engines() -> tuple[Catalogue, Plan]:
    """Parts of two engines of which everything is known, and a plan whose aims all settings move."""
    parts: list[Part] = []
    for seed in (0, 1):
        combination, plan = random_engines.engine(seed, measured=True)
        for part in {each.id: each for each in (*combination.parts.values(), *combination.gaskets)}.values():
            if seed and part.kind not in TWO:
                continue
            same = {"bore": parse(BORES[part.kind], LENGTH)} if part.kind in BORES else {}
            parts.append(replace(part, id=f"{part.id}{seed}", price=10.0 + seed, on_shelf=seed, **same))
    return Catalogue.of(parts), plan.but(
        **goals(**AIMS),
        waived=frozenset(rule.id for rule in PHYSICAL) | {"rev_ceiling"},
        measured_decks=(
            MeasuredDeck(parse_deck("0.4 mm down"), {"block": "b0", "crank": "k0", "rod": "r0", "piston": "p0"}),
        ),
        gaskets=1,
    )


def laid(catalogue: Catalogue, plan: Plan, layouts: Layouts | None = None) -> dict[Any, Any]:
    """All that a question makes of its rows: leaves, money, work, layers and the sums of every additive figure."""
    builder = Builder(candidates(catalogue, plan), wanted_leaves(plan))
    facets = builder.build() if layouts is None else layouts.facets(builder)
    found: dict[Any, Any] = {}
    for name, facet in facets.facets.items():
        found |= {(name, leaf): np.asarray(values) for leaf, values in facet.leaves.items()}
        found |= {(name, leaf, "±"): np.asarray(values) for leaf, values in facet.tolerances.items()}
        for column in ("paid", "unknown", "bought", "operations", "layers", "state"):
            found[name, column] = getattr(facet, column)
    maker = Maker(facets, plan)
    for goal in plan.goals.values():
        if FIGURES[goal.figure].shape == "additive":
            for corner in ("", "low", "high"):
                for name, values in maker.contributions({goal.figure: 1.0}, corner).items():  # type: ignore[arg-type]
                    found[goal.figure, corner, name] = values
    return {key: values.tobytes() for key, values in found.items()}


def test_every_question_finds_its_own_rows_and_sums(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever was asked before: each setting after each other one, and the plan itself after all of them."""
    monkeypatch.setattr("kitwright.solver.layouts.MOST", len(CHANGES) + 1)
    catalogue, asked = engines()
    plans = [asked, *(asked.but(**change) for change in CHANGES)]
    alone = [laid(catalogue, plan) for plan in plans]
    assert len({tuple(sorted(each.items(), key=str)) for each in alone}) > 12, "the settings move what is laid out"
    for order in (range(len(plans)), reversed(range(len(plans)))):
        layouts = Layouts()
        for number in order:
            assert laid(catalogue, plans[number], layouts) == alone[number], plans[number]


def test_a_narrower_question_before_takes_nothing_away() -> None:
    """Parts that the first question puts out, or that break its limits alone, are there again for the next."""
    avoided = rated = 0
    for seed in range(40):
        catalogue, asked = random_catalogues.question(seed, most=150)
        asked = asked.but(goals={"rev_limit": Goal("rev_limit", None, minimum=100.0)}, rev_ceiling=None)
        best = find(catalogue, asked, top=1)
        if not best.combinations:
            continue
        parts = best.combinations[0].combination
        narrower = [asked.but(avoid=asked.avoid | {each.id}) for each in parts.gaskets[:1]]
        avoided += len(narrower)
        crank = parts.parts.get("crank")
        if isinstance(crank, Crank) and crank.max_rpm is not None:
            faster = Goal("rev_limit", None, minimum=crank.max_rpm.to("rpm") + 100.0)  # seen by the same leaves
            narrower.append(asked.but(goals={"rev_limit": faster}))
            rated += 1
        for first in narrower:
            layouts = Layouts()
            before = find(catalogue, first, top=1, layouts=layouts)
            after = find(catalogue, asked, top=1, layouts=layouts)
            assert [each.key for each in after] == [each.key for each in best]
            assert [each.combination for each in before] != [each.combination for each in after]
    assert avoided > 5
    assert rated > 5


def test_a_moved_bound_lays_out_nothing_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    built: list[Builder] = []
    build = Builder.build
    monkeypatch.setattr(Builder, "build", lambda self: (built.append(self), build(self))[1])
    catalogue, plan = question(5)
    oracle = Oracle(catalogue, plan, find, Clock(60), witness)
    for most in (12.0, 11.0, 10.0):
        oracle.ask(plan.but(goals={"compression": Goal("compression", 9.5, maximum=most)}))
    assert len(built) == 1
    oracle.ask(plan.but(goals={"compression": Goal("compression", 9.5, maximum=10.0)}, gaskets=plan.gaskets + 1))
    assert len(built) == 2


def test_equal_parts_of_another_catalogue_are_laid_out_anew() -> None:
    """A part that was changed under the same id is another part."""
    layouts = Layouts()
    catalogue, plan = question(5)
    before = find(catalogue, plan, top=5, layouts=layouts)
    dearer = Catalogue.of([replace(part, price=(part.price or 0.0) + 7.0, on_shelf=0) for part in catalogue])
    after = find(dearer, plan, top=5, layouts=layouts)
    assert [each.key for each in after] == [each.key for each in find(dearer, plan, top=5)]
    assert [each.cost for each in after] != [each.cost for each in before]


def test_an_explanation_lays_a_catalogue_out_a_few_times(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of its questions most differ in the limits of goals alone."""
    built, asked = [], []
    build = Builder.build
    monkeypatch.setattr(Builder, "build", lambda self: (built.append(self), build(self))[1])
    catalogue, plan = question(5)
    impossible = {"compression": Goal("compression", 9.5, minimum=40.0), "quench": Goal("quench", 0.1, maximum=-30.0)}

    def counted(*words: Any, **named: Any) -> Any:
        asked.append(words)
        return witness(*words, **named)

    told = explain(catalogue, plan.but(goals=impossible), find, counted)
    assert told.complete
    assert told.answer.conflict is not None
    assert 0 < len(built) < len(asked)
