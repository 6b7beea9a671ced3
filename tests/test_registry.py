"""The registry: every figure says what it is, and is what it claims to be; the formulas' docstrings keep their word."""

from __future__ import annotations

import doctest
import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

import kitwright.catalogs
import kitwright.solver
import kitwright.solver.formulas
from kitwright.solver.classes import facet_of
from kitwright.solver.combination import NUMBERS, Combination, Reader
from kitwright.solver.evaluate import compute
from kitwright.solver.registry import (
    DEFAULT_STEPS,
    FIGURES,
    GROUPS,
    UNITS,
    Figure,
    RegistryError,
    figure,
    leaves_of,
    public_figures,
    tree_of,
)
from tests.random_engines import engine

SEEDS = range(20)
ADDITIVE = [name for name, each in FIGURES.items() if each.shape == "additive" and each.group != "money"]
WITH_SLACK = [name for name, each in FIGURES.items() if each.at_least is not None]

# fmt: off
NAMES = [
    "displacement_cc", "bore_stroke_ratio", "rod_ratio", "deck_mm", "quench_mm", "clearance_volume_cc",
    "compression", "dynamic_compression", "cranking_pressure_kPa", "mean_piston_speed_m_s",
    "peak_piston_speed_m_s", "peak_piston_acceleration_m_s2", "rod_load_N", "rod_stretch_mm",
    "quench_at_speed_mm", "valve_lift_intake_mm", "valve_lift_exhaust_mm", "valve_lift_mm",
    "coil_bind_margin_mm", "retainer_margin_mm", "spring_seat_N", "spring_open_N", "spring_surge_Hz",
    "float_speed_rpm", "piston_to_valve_intake_mm", "piston_to_valve_exhaust_mm", "pushrod_length_mm",
    "pushrod_mismatch_mm", "skirt_to_counterweight_mm", "skirt_out_mm", "rod_to_cam_mm", "rod_to_core_mm",
    "counterweight_to_case_mm", "rod_to_case_mm", "rod_side_clearance_mm", "inlet_mach_index",
    "port_speed_m_s", "rev_limit_rpm", "balance_factor", "cost", "parts_to_buy", "gasket_count",
]
# fmt: on
"""Keys of figures as scripts and plans use them: they never change."""

UNIT_WORDS = re.compile(
    r"\b(m|mm|m²|m³|kg|N|N/m|Pa|Hz|rad|rad/s|m/s|m/s²|m/rad|m/rad²|J|K|kg/m³|kg m|kg m²|metres|number|money"
    r"|dimensionless|their unit|without unit)\b",
    re.IGNORECASE,
)


def landed(name: str) -> bool | None:
    """Whether an engine for a figure must have a top land; None where it may."""
    return True if "piston.top_land.height" in leaves_of(name, optional=False) else None


def needs_blank(name: str) -> bool:
    """Whether a figure is of a pushrod that is cut to length."""
    return "over_shortest" in name or "under_longest" in name


def leaves_at(seed: int, **more: Any) -> dict[str, Any]:
    """Every leaf that any figure reads, of one engine."""
    combination, plan = engine(seed, **more)
    reader = Reader(combination, plan)
    return {leaf: reader[leaf] for name in FIGURES for leaf in leaves_of(name)}


# What an entry says.


@pytest.mark.parametrize("entry", FIGURES.values(), ids=FIGURES.keys())
def test_every_figure_says_what_it_is(entry: Figure) -> None:
    assert re.fullmatch(r"[a-z][a-z_]*[a-z]", entry.name)
    assert entry.unit in UNITS
    assert entry.group in GROUPS
    for text in (entry.meaning, entry.formula, entry.source):
        assert text == text.strip()
        assert len(text) >= 3
        assert not text.endswith(".")
    assert entry.step > 0
    assert entry.factor > 0
    assert len(inspect.signature(entry.function).parameters) == len(entry.inputs)


@pytest.mark.parametrize("entry", FIGURES.values(), ids=FIGURES.keys())
def test_keys_end_in_the_unit(entry: Figure) -> None:
    if entry.unit in ("", "money"):
        assert entry.key == entry.name
        assert not re.search(r"_(mm2?|cc|rpm|m_s2?|g|g_mm|N|kPa|MPa|Hz|deg)$", entry.key)
    else:
        assert entry.key == f"{entry.name}_{entry.unit}"


def test_the_named_figures_are_there_under_their_names() -> None:
    """Public names are fixed; helpers of rules stay out of sight."""
    assert len(NAMES) == len(set(NAMES)) == 42
    shown = {each.key for each in public_figures().values()}
    assert set(NAMES) - shown == set()
    assert "clearance_volume" in public_figures()


def test_figures_come_in_the_order_of_their_inputs() -> None:
    order = list(FIGURES)
    for name, entry in FIGURES.items():
        for each in entry.inputs:
            if each.rstrip("?") in FIGURES:
                assert order.index(each.rstrip("?")) < order.index(name)


@pytest.mark.parametrize(
    ("name", "step"),
    [("compression", 0.05), ("quench", 0.02), ("deck", 0.02), ("valve_lift", 0.05)],
)
def test_the_steps_that_are_promised(name: str, step: float) -> None:
    assert FIGURES[name].step == step


def test_every_unit_has_a_default_step() -> None:
    assert set(DEFAULT_STEPS) == set(UNITS)


@pytest.mark.parametrize("name", [name for name, each in FIGURES.items() if each.extreme is not None])
def test_an_extreme_is_that_of_its_inputs(name: str) -> None:
    entry = FIGURES[name]
    for seed in SEEDS:
        leaves = leaves_at(seed)
        branches = [compute(each.rstrip("?"), leaves) for each in entry.inputs]
        known = [float(each) for each in branches if not math.isnan(each)]
        assert known
        assert float(compute(name, leaves)) == (max if entry.extreme == "max" else min)(known)


@pytest.mark.parametrize("name", [name for name, each in FIGURES.items() if each.bound_without])
def test_a_bound_can_only_fall_when_more_is_known(name: str) -> None:
    entry = FIGURES[name]
    assert entry.extreme == "min"
    for seed in SEEDS:
        leaves = leaves_at(seed)
        whole = float(compute(name, leaves))
        for leaf in entry.bound_without:
            partly = float(compute(name, leaves | {leaf: math.nan}))
            assert math.isnan(partly) or partly >= whole


@pytest.mark.parametrize("name", FIGURES)
def test_what_must_be_known_must_be_known(name: str) -> None:
    """Without a field that is not optional a figure is unknown, never a number."""
    if FIGURES[name].group == "money":
        return
    leaves = leaves_at(2, landed=landed(name))
    assert math.isfinite(float(compute(name, leaves)))
    for leaf in leaves_of(name, optional=False):
        without: Any = tuple(math.nan for _ in leaves[leaf]) if isinstance(leaves[leaf], tuple) else math.nan
        assert math.isnan(float(compute(name, leaves | {leaf: without}))), leaf


# What an entry claims.


@pytest.mark.parametrize("name", ADDITIVE)
def test_additive_figures_are_sums_over_the_facets(name: str) -> None:
    """f(a, b) + f(a′, b′) = f(a, b′) + f(a′, b) for every split of the facets; the bore is one engine's."""
    scope = sorted({str(facet_of(leaf)) for leaf in leaves_of(name) if facet_of(leaf) is not None})
    assert scope
    for seed in SEEDS:
        one, other = (leaves_at(each, landed=landed(name)) for each in (seed, 1000 + seed))
        other["block.bore"] = one["block.bore"]

        def mixed(from_other: set[str], one: dict[str, Any] = one, other: dict[str, Any] = other) -> float:
            some = {leaf: (other if str(facet_of(leaf)) in from_other else one)[leaf] for leaf in leaves_of(name)}
            return float(compute(name, some))

        for facet in scope[1:]:
            for place in range(1, len(scope)):
                rest = {each for each in scope[:place] if each != facet}
                if rest:
                    both = mixed(set()) + mixed({facet} | rest)
                    assert both == pytest.approx(mixed({facet}) + mixed(rest), rel=1e-9, abs=1e-12), (seed, facet, rest)


def test_additive_figures_are_additive_where_it_matters() -> None:
    """The law above says nothing of a figure of one facet; these are of several."""
    several = {name for name in ADDITIVE if len({facet_of(leaf) for leaf in leaves_of(name)} - {None}) > 1}
    assert {"deck", "quench", "clearance_volume", "coil_bind_margin", "skirt_out", "pushrod_rise"} <= several


@pytest.mark.parametrize("name", ["compression", "valve_lift_intake", "spring_seat", "mean_piston_speed"])
def test_the_law_of_sums_refuses_what_is_no_sum(name: str) -> None:
    """What is not declared additive would not pass, over the facets or (of one facet) over its fields."""
    one, other = leaves_at(1), leaves_at(1001)
    first, *rest = [leaf for leaf in leaves_of(name) if leaf in one and one[leaf] != other[leaf]]

    def mixed(*swapped: str) -> float:
        return float(compute(name, one | {leaf: other[leaf] for leaf in swapped}))

    together = mixed() + mixed(first, *rest)
    assert together != pytest.approx(mixed(first) + mixed(*rest), rel=1e-9)


def test_money_is_a_sum_over_the_parts() -> None:
    """Cost and number to buy: swapping one part changes them by the same, whatever the others are."""
    for seed in SEEDS:
        one, other = engine(seed)[0], engine(1000 + seed)[0]

        def priced(from_other: set[str], one: Combination = one, other: Combination = other) -> Combination:
            parts = {}
            for place, kind in enumerate(one.parts):
                part = (other if kind in from_other else one).parts[kind]
                shift = 31 if kind in from_other else 7
                parts[kind] = replace(part, price=float(place * shift % 50), on_shelf=int((place + shift) % 3 == 0))
            stack = tuple(replace(each, price=3.0) for each in one.gaskets)
            mill = one.mill if "head" not in from_other else 0 * one.mill
            return replace(one, parts=parts, gaskets=stack, mill=mill)

        for figure_of in (Combination.to_spend, lambda each: sum(count for _, count in each.to_buy())):
            for kind in ("crank", "head", "flywheel"):
                left, right = {kind}, {"rod", "cam", "spring"}
                assert figure_of(priced(set())) + figure_of(priced(left | right)) == pytest.approx(
                    figure_of(priced(left)) + figure_of(priced(right))
                )


def slack_sum(name: str, bound: float, leaves: Mapping[str, Any]) -> float | None:
    """The weighted sum that an entry makes of a bound (in SI), None where it says that the bound is always reached."""
    entry = FIGURES[name]
    assert entry.at_least is not None
    constants = {leaf: leaves[leaf] for leaf in (f"conditions.{each}" for each in NUMBERS)}
    terms = entry.at_least(bound, constants)
    if terms is None:
        return None
    total = 0.0
    for term in terms:
        if term.function is None:
            value = compute(term.figure, leaves)
        else:
            read = [compute(each, leaves) if each in FIGURES else leaves[each.rstrip("?")] for each in term.inputs]
            value = term.function(*read)
        total += term.weight * float(value)
    return total


@pytest.mark.parametrize("name", WITH_SLACK)
@pytest.mark.parametrize("blank", [False, True])
def test_the_sum_of_a_bound_is_at_most_0_exactly_where_the_bound_is_reached(name: str, blank: bool) -> None:
    if needs_blank(name) and not blank:
        return
    sides = {True: 0, False: 0}
    for seed in SEEDS:
        leaves = leaves_at(seed, blank=blank)
        leaves |= {"conditions.altitude": leaves_at(seed)["conditions.altitude"], "conditions.polytropic": 1.25}
        value = float(compute(name, leaves))
        scale = max(abs(value), FIGURES[name].step * FIGURES[name].factor)
        for away in (1e-6, 1e-4, 0.01, 0.1, 0.6):
            for bound in (value - away * scale, value + away * scale):
                total = slack_sum(name, bound, leaves)
                reached = value >= bound
                sides[reached] += 1
                assert (total is None or total <= 0) == reached, (seed, value, bound, total)
    assert min(sides.values()) >= len(SEEDS)


@pytest.mark.parametrize("name", WITH_SLACK)
def test_the_first_term_of_a_bound_is_additive(name: str) -> None:
    """The search counts in its unit."""
    constants = {
        "conditions.altitude": 0.0,
        "conditions.polytropic": 1.25,
        "conditions.float_margin": 1.1,
        "conditions.peak_pressure": 6e6,
    }
    entry = FIGURES[name]
    assert entry.at_least is not None
    typical = float(compute(name, leaves_at(2)))
    terms = entry.at_least(typical if typical > 0 else 0.001, constants)
    assert terms
    assert FIGURES[terms[0].figure].shape == "additive"
    for term in terms:
        assert bool(term.figure) != bool(term.function)
        assert term.weight != 0
        if term.function is not None:
            assert len(inspect.signature(term.function).parameters) == len(term.inputs) or _takes_any(term.function)
        for each in (*(name.rstrip("?") for name in term.inputs), *([term.figure] if term.figure else [])):
            assert each in FIGURES or each in {leaf for other in tree_of(name) for leaf in leaves_of(other)}


def _takes_any(function: Callable[..., Any]) -> bool:
    return any(each.kind is each.VAR_POSITIONAL for each in inspect.signature(function).parameters.values())


# What is refused.


GOOD: dict[str, Any] = {
    "unit": "mm",
    "group": "the stack",
    "meaning": "a figure of a test",
    "formula": "stroke",
    "source": "definition",
    "inputs": ("crank.stroke",),
}


def identity(value: float) -> float:
    return value


def lopsided(one: float, two: float) -> float:
    return one + two


@pytest.mark.parametrize(
    ("name", "changes", "function", "message"),
    [
        ("deck", {}, identity, "two figures are called deck"),
        ("test_figure", {"unit": "furlong"}, identity, "no unit `furlong`"),
        ("test_figure", {"unit": "in"}, identity, "no unit `in`"),
        ("test_figure", {"group": "elsewhere"}, identity, "no group `elsewhere`"),
        ("test_figure", {"source": ""}, identity, "meaning, formula and source are needed"),
        ("test_figure", {"meaning": ""}, identity, "meaning, formula and source are needed"),
        ("test_figure", {"formula": ""}, identity, "meaning, formula and source are needed"),
        ("test_figure", {}, lopsided, "1 inputs for another number of parameters"),
        ("test_figure", {"inputs": ("crank.stroke", "no_such_figure")}, lopsided, "no figure `no_such_figure`"),
        ("test_figure", {"inputs": ("crankshaft.stroke",)}, identity, "nothing feeds `crankshaft.stroke`"),
        ("test_figure", {"inputs": ("test_figure",)}, identity, "no figure `test_figure` has been registered before"),
    ],
)
def test_useless_entries_are_refused(name: str, changes: dict[str, Any], function: Any, message: str) -> None:
    before = dict(FIGURES)
    with pytest.raises(RegistryError, match=re.escape(message)):
        figure(name, **GOOD | changes)(function)
    assert before == FIGURES


def test_a_unit_cannot_be_left_out() -> None:
    with pytest.raises(TypeError, match="unit"):
        figure("test_figure", **{key: value for key, value in GOOD.items() if key != "unit"})
    with pytest.raises(TypeError, match="source"):
        figure("test_figure", **{key: value for key, value in GOOD.items() if key != "source"})


def test_a_good_entry_is_taken() -> None:
    try:
        figure("test_figure", **GOOD)(identity)
        assert FIGURES["test_figure"].key == "test_figure_mm"
        assert FIGURES["test_figure"].step == DEFAULT_STEPS["mm"]
        assert compute("test_figure", {"crank.stroke": 0.057}) == 0.057
    finally:
        FIGURES.pop("test_figure", None)


# Docstrings.


def modules(package: ModuleType) -> list[ModuleType]:
    found = [package]
    for each in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        found.append(importlib.import_module(each.name))
    return found


def formulas() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Every public function of the formula modules, and every function that is registered."""
    seen: set[int] = set()
    for module in modules(kitwright.solver.formulas):
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == module.__name__ and not name.startswith("_") and id(function) not in seen:
                seen.add(id(function))
                yield f"{module.__name__.rpartition('.')[2]}.{name}", function
    for name, entry in FIGURES.items():
        if id(entry.function) not in seen:
            seen.add(id(entry.function))
            yield f"figure {name}", entry.function


FORMULAS = dict(formulas())


@pytest.mark.parametrize("name", FORMULAS)
def test_a_formulas_docstring_is_a_contract(name: str) -> None:
    """Units, source and a doctest; the parameters that it explains are those that it has."""
    function = FORMULAS[name]
    text = inspect.getdoc(function) or ""
    assert "Source:" in text, "no source"
    if inspect.signature(function).return_annotation == "float":
        assert UNIT_WORDS.search(text), "no unit"
    assert ">>>" in text, "no doctest"
    parameters = list(inspect.signature(function).parameters)
    if "Args:" in text:
        explained = re.findall(r"^    (\w+):", text.split("Args:")[1].split("\n\n")[0], re.M)
        assert explained == parameters


def test_there_are_formulas_to_look_at() -> None:
    assert len(FORMULAS) > 80
    assert "figure deck" in FORMULAS or "stack.deck" in FORMULAS


@pytest.mark.parametrize(
    "module", [*modules(kitwright.solver), *modules(kitwright.catalogs)], ids=lambda each: each.__name__
)
def test_doctests(module: ModuleType) -> None:
    failed, _ = doctest.testmod(module)
    assert failed == 0


def test_doctests_are_found() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    tried = sum(bool(each.examples) for module in modules(kitwright.solver) for each in finder.find(module))
    assert tried > 120
    assert any(each.examples for module in modules(kitwright.catalogs) for each in finder.find(module))


@pytest.mark.parametrize("name", [name for name, each in FIGURES.items() if each.group != "money"])
def test_arrays_go_through_every_formula_alike(name: str) -> None:
    """Columns of three engines at once give what the engines give one by one."""
    import numpy as np

    engines = [leaves_at(seed, layers=2, blank=needs_blank(name), landed=landed(name)) for seed in (3, 4, 5)]
    columns: dict[str, Any] = {}
    for leaf in leaves_of(name):
        values = [each[leaf] for each in engines]
        if isinstance(values[0], tuple):
            columns[leaf] = tuple(np.array(layer) for layer in zip(*values, strict=True))
        elif leaf.startswith(("plan.", "conditions.")):
            columns[leaf] = values[0]
            for each in engines:
                each[leaf] = values[0]
        else:
            columns[leaf] = np.array(values)
    together = np.broadcast_to(np.asarray(compute(name, columns), dtype=float), 3)
    alone = [float(compute(name, each)) for each in engines]
    assert together == pytest.approx(alone, rel=1e-9, abs=1e-15)
