"""Spreads within tolerances: every public figure against the corners themselves and against ``uncertainties``."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from kitwright.solver import Combination, Goal, Plan, check
from kitwright.solver.check import View
from kitwright.solver.evaluate import compute, in_unit
from kitwright.solver.parts import Block, Crank, Gasket, Piston, Rod
from kitwright.solver.plan import MeasuredDeck
from kitwright.solver.quantity import LENGTH, RATIO, parse, parse_deck
from kitwright.solver.registry import FIGURES, leaves_of, public_figures
from tests import random_catalogues
from tests.random_engines import engine
from tests.twin import everything

SCANNED = ("piston_to_valve_intake", "piston_to_valve_exhaust", "float_speed", "rev_limit")
"""Figures that scan a cycle at every corner: fewer toleranced fields, fewer engines."""

Moving = list[tuple[str, int | None, float]]
"""Leaf, gasket layer, tolerance in SI."""


def toleranced(name: str) -> bool:
    """Whether anything that a figure depends on can have a tolerance."""
    view = View(*engine(2, toleranced=1.0))
    view.reader.read(leaves_of(name))
    return any(leaf in view.reader.tolerances for leaf in leaves_of(name))


def view_of(seed: int, name: str, **more: Any) -> View:
    landed = True if "piston.top_land.height" in leaves_of(name, optional=False) else None
    combination, plan = engine(seed, toleranced=0.3 if name in SCANNED else 0.65, landed=landed, **more)
    view = View(combination, plan)
    view.reader.read(leaves_of(name))
    return view


def moving(view: View, name: str) -> Moving:
    found: Moving = []
    for leaf in leaves_of(name):
        width = view.reader.tolerances.get(leaf)
        if isinstance(width, tuple):
            found += [(leaf, layer, each) for layer, each in enumerate(width) if each]
        elif width:
            found.append((leaf, None, width))
    return found


def corner_values(view: View, name: str, free: Moving) -> Any:
    """The figure at all 2ⁿ corners, in its unit."""
    signs = np.array(list(product((-1.0, 1.0), repeat=len(free)))).T
    leaves: dict[str, Any] = {leaf: view.reader[leaf] for leaf in leaves_of(name)}
    for sign, (leaf, layer, width) in zip(signs, free, strict=True):
        if layer is None:
            leaves[leaf] = leaves[leaf] + sign * width
        else:
            layers = list(leaves[leaf])
            layers[layer] = layers[layer] + sign * width
            leaves[leaf] = tuple(layers)
    return np.asarray(in_unit(name, compute(name, leaves)))


FIGURES_WITH_TOLERANCE = [
    name for name in public_figures() if FIGURES[name].group != "money" and name != "gasket_count"
]


def test_every_public_figure_of_dimensions_is_looked_at() -> None:
    left_out = set(public_figures()) - set(FIGURES_WITH_TOLERANCE)
    assert left_out == {"cost", "parts_to_buy", "gasket_count"}
    assert [name for name in FIGURES_WITH_TOLERANCE if not toleranced(name)] == []


@pytest.mark.parametrize("name", FIGURES_WITH_TOLERANCE)
def test_worst_case_is_the_worst_of_all_corners(name: str) -> None:
    """All 2ⁿ corners of what is toleranced, each computed."""
    seeds = range(8 if name in SCANNED else 25)
    tried = 0
    for seed in seeds:
        view = view_of(seed, name)
        free = moving(view, name)
        if not free or len(free) > (8 if name in SCANNED else 14):
            continue
        tried += 1
        values = corner_values(view, name, free)
        low, high = view.spread(name, "worst_case")
        top = high if name == "adjuster_left" else values.max()  # one mismatch, two ways: rules ask for the low end
        assert (low, high) == pytest.approx((values.min(), top), rel=1e-7, abs=1e-9), (seed, len(free))
        assert high >= values.max() - 1e-9
        assert low <= view.value(name) <= high
    assert tried >= (1 if name in SCANNED else 5)


def test_worst_case_is_the_worst_of_all_corners_in_random_catalogues() -> None:
    """Whatever is known of their combinations, fitting or not: every figure with at most 12 toleranced fields."""
    tried: set[str] = set()
    for seed in range(40):
        catalogue, plan = random_catalogues.question(seed, most=200)
        every = list(everything(catalogue, plan))
        for combination in random.Random(seed).sample(every, min(3, len(every))):
            view = View(combination, plan)
            for name in FIGURES_WITH_TOLERANCE:
                if name in SCANNED or math.isnan(view.value(name)):
                    continue
                view.reader.read(leaves_of(name))
                free = moving(view, name)
                if not 1 <= len(free) <= 12:
                    continue
                tried.add(name)
                values = corner_values(view, name, free)
                expected = float(values.min()), float(values.max())
                found = view.spread(name, "worst_case")
                assert found == pytest.approx(expected, rel=1e-9, abs=1e-9), (seed, name, combination.ids)
    assert {"deck", "quench", "compression", "displacement", "valve_lift", "coil_bind_margin"} <= tried


@pytest.mark.parametrize("name", FIGURES_WITH_TOLERANCE)
def test_statistical_is_what_linear_propagation_gives(name: str) -> None:
    """``uncertainties`` takes the derivatives and adds the squares; of branches, each branch by itself."""
    seeds = range(3 if name in SCANNED else 15)
    for seed in seeds:
        view = view_of(seed, name)
        expected = propagated(view, name)
        low, high = view.spread(name, "statistical")
        near = 1e-4 if name.endswith("_at") else 1e-5  # the angle of a minimum is known less well than its depth
        assert (low, high) == pytest.approx(expected, rel=near, abs=1e-6), seed


OF_THE_LIFT = {"rocker_sweep": max, "spring_open": max, "spring_stress_open": max}
OF_THE_LIFT |= {"spring_yield_margin": min, "spring_safety": min}
"""Figures that the greater valve lift goes into, and which of both valves' decides: most grow with it."""


def propagated(view: View, name: str, valve: str = "") -> tuple[float, float]:
    """``valve``: the one whose lift stands for the greater of both."""
    entry = FIGURES[name]
    if name in OF_THE_LIFT and not valve:
        each_of = [propagated(view, name, each) for each in ("intake", "exhaust")]
        which = OF_THE_LIFT[name]
        return which(low for low, _ in each_of), which(high for _, high in each_of)
    if entry.extreme is not None:
        known = [each.rstrip("?") for each in entry.inputs if math.isfinite(view.value(each.rstrip("?")))]
        pairs = [propagated(view, each) for each in known]
        pick: Callable[..., float] = max if entry.extreme == "max" else min
        return pick(low for low, _ in pairs), pick(high for _, high in pairs)
    free = moving(view, name)
    fixed = {leaf: view.reader[leaf] for leaf in leaves_of(name)}

    def of(*values: float) -> float:
        leaves: dict[str, Any] = dict(fixed)
        for value, (leaf, layer, _) in zip(values, free, strict=True):
            if layer is None:
                leaves[leaf] = value
            else:
                layers = list(leaves[leaf])
                layers[layer] = value
                leaves[leaf] = tuple(layers)
        lift = {"valve_lift": compute(f"valve_lift_{valve}", leaves)} if valve else None
        return float(in_unit(name, compute(name, leaves, lift)))

    if not free:
        return of(), of()
    given = [
        uncertainties.ufloat(fixed[leaf] if layer is None else fixed[leaf][layer], width) for leaf, layer, width in free
    ]
    found = uncertainties.wrap(of)(*given)
    return found.nominal_value - found.std_dev, found.nominal_value + found.std_dev


# The same with formulas that are written out here, so that nothing of the project's is in them.


def uncertain(view: View, leaf: str) -> Any:
    value, width = view.reader[leaf], view.reader.tolerances.get(leaf, 0.0)
    if isinstance(value, tuple):
        widths = width if isinstance(width, tuple) else (0.0,) * len(value)
        return [uncertainties.ufloat(each, spread) for each, spread in zip(value, widths, strict=True)]
    return uncertainties.ufloat(value, width)


def by_hand(view: View) -> dict[str, Any]:
    """Figures in mm, cc and ratios out of uncertain lengths in metres; each leaf is one variable throughout."""
    known: dict[str, Any] = {}

    def u(leaf: str) -> Any:
        if leaf not in known:
            known[leaf] = uncertain(view, leaf)
        return known[leaf]

    height, stroke, rod = u("block.block_height"), u("crank.stroke"), u("rod.length")
    offset, bore, drop = u("piston.pin_offset"), u("block.bore"), u("piston.compression_height")
    cut, mill = view.reader["machining.deck_cut"], view.reader["machining.mill"]
    far = umath.sqrt((rod + stroke / 2) ** 2 - offset**2)
    near = umath.sqrt((rod - stroke / 2) ** 2 - offset**2)
    deck = height - far - drop - cut + u("spacer.thickness")
    area = math.pi / 4 * bore**2
    gaskets = list(zip(u("gaskets.thickness"), u("gaskets.bore"), strict=True))
    stack = sum(thickness for thickness, _ in gaskets)
    clearance = u("head.chamber") - mill * u("head.chamber_area") + area * deck + u("piston.dish") - u("piston.dome")
    clearance += sum(math.pi / 4 * across**2 * thickness for thickness, across in gaskets)
    if view.reader["piston.top_land.height"] == view.reader["piston.top_land.height"]:
        land = bore - u("piston.top_land.clearance")
        clearance += math.pi / 4 * (bore**2 - land**2) * u("piston.top_land.height")
    lift = u("cam.intake_lobe_lift") * u("rocker.ratio") - u("cam.lash_intake")
    skirt = near - u("piston.skirt_below_pin")
    spring = u("head.installed_height") + u("retainer.height_gain") - u("spring_shim.thickness")
    own = "rocker.ratio" if math.isnan(view.reader["rocker.exhaust_ratio"]) else "rocker.exhaust_ratio"
    exhaust = u("cam.exhaust_lobe_lift") * u(own) - u("cam.lash_exhaust")
    greater = lift if lift.nominal_value >= exhaust.nominal_value else exhaust
    return {
        "coil_bind_margin": 1e3 * (spring - u("spring.solid_height") - greater),
        "deck": 1e3 * deck,
        "quench": 1e3 * (deck + stack),
        "clearance_volume": 1e6 * clearance,
        "compression": 1 + area * (far - near) / clearance,
        "displacement": 1e6 * area * (far - near) * view.reader["block.cylinders"],
        "rod_ratio": rod / stroke,
        "valve_lift_intake": 1e3 * lift,
        "skirt_to_counterweight": 1e3 * (skirt - u("crank.counterweight_radius")),
        "skirt_out": 1e3 * (u("block.barrel_foot") + u("spacer.thickness") - skirt),
        "rod_side_clearance": 1e3 * (u("crank.journal_width") - u("rod.width")),
    }


@pytest.mark.parametrize("seed", range(30))
def test_statistical_spreads_by_formulas_written_out_here(seed: int) -> None:
    combination, plan = engine(seed)
    view = View(combination, plan)
    for name, expected in by_hand(view).items():
        low, high = view.spread(name, "statistical")
        assert (low + high) / 2 == pytest.approx(expected.nominal_value, rel=1e-9, abs=1e-9), name
        assert (high - low) / 2 == pytest.approx(expected.std_dev, rel=1e-7, abs=1e-10), name
        assert view.value(name) == pytest.approx(expected.nominal_value, rel=1e-9, abs=1e-9), name


@pytest.mark.parametrize("mode", ["worst_case", "statistical"])
def test_the_spread_of_valve_lift_is_the_greater_of_the_branches(mode: Any) -> None:
    """Each end by itself: the greater low and the greater high, even where they are of different valves."""
    combination, plan = engine(3, toleranced=0.0)
    plain = combination.parts["rocker"]
    rocker = replace(plain, ratio=parse("1", RATIO), exhaust_ratio=parse("1", RATIO))
    cam = replace(
        combination.parts["cam"],
        intake_lobe_lift=parse("7.00 mm ± 0.05 mm", LENGTH),
        exhaust_lobe_lift=parse("6.90 mm ± 0.30 mm", LENGTH),
        lash_intake=parse("0 mm", LENGTH),
        lash_exhaust=parse("0 mm", LENGTH),
    )
    view = View(replace(combination, parts={**combination.parts, "cam": cam, "rocker": rocker}), plan)
    assert view.spread("valve_lift_intake", mode) == pytest.approx((6.95, 7.05))
    assert view.spread("valve_lift_exhaust", mode) == pytest.approx((6.60, 7.20))
    assert view.spread("valve_lift", mode) == pytest.approx((6.95, 7.20))


@pytest.mark.parametrize("name", ["deck", "quench", "clearance_volume", "skirt_to_counterweight", "rod_to_cam"])
def test_modes_are_nested(name: str) -> None:
    """Nominal inside statistical inside worst case, strictly where more than one field is toleranced."""
    for seed in range(20):
        view = View(*engine(seed, toleranced=1.0))
        worst, statistical = view.spread(name, "worst_case"), view.spread(name, "statistical")
        nominal = view.spread(name, "nominal")
        assert worst[0] < statistical[0] < nominal[0] == nominal[1] < statistical[1] < worst[1]


def test_sampled_spreads_lie_inside_the_worst_case() -> None:
    """Ten thousand engines out of the tolerances: none outside, and their scatter is the linear one."""
    rng = np.random.default_rng(7)
    for seed in (1, 4):
        view = view_of(seed, "compression")
        free = moving(view, "compression")
        leaves: dict[str, Any] = {leaf: view.reader[leaf] for leaf in leaves_of("compression")}
        for leaf, layer, width in free:
            away = rng.uniform(-width, width, 10_000)
            if layer is None:
                leaves[leaf] = leaves[leaf] + away
            else:
                layers = list(leaves[leaf])
                layers[layer] = layers[layer] + away
                leaves[leaf] = tuple(layers)
        values = compute("compression", leaves)
        low, high = view.spread("compression", "worst_case")
        assert low < values.min() < values.max() < high
        one, other = view.spread("compression", "statistical")
        assert values.std() * math.sqrt(3) == pytest.approx((other - one) / 2, rel=0.05)


# What builders know.


def bottom(height: str, stroke: str, rod: str, compression_height: str) -> dict[str, Any]:
    return {
        "block": Block(id="b", bore=parse("72 mm", LENGTH), block_height=parse(height, LENGTH)),
        "crank": Crank(id="k", stroke=parse(stroke, LENGTH), journal=parse("30 mm", LENGTH)),
        "rod": Rod(id="r", length=parse(rod, LENGTH), big_end=parse("30 mm", LENGTH), pin=parse("16 mm", LENGTH)),
        "piston": Piston(
            id="p",
            bore=parse("72 mm", LENGTH),
            compression_height=parse(compression_height, LENGTH),
            pin=parse("16 mm", LENGTH),
        ),
    }


def gasket(name: str, thickness: str) -> Gasket:
    return Gasket(id=name, thickness=parse(thickness, LENGTH), bore=parse("73 mm ± 0.2 mm", LENGTH))


def test_trade_stack_arithmetic() -> None:
    """Common practice, no source: a piston 0.057 in down, 0.020 in more rod and 0.020 in more compression height."""
    plan = Plan()
    before = View(Combination(bottom("5.500 in", "2.250 in", "3.300 in", "1.018 in")), plan)
    assert before.value("deck") == pytest.approx(0.057 * 25.4, abs=1e-9)
    parts = bottom("5.500 in", "2.250 in", "3.320 in", "1.038 in")
    after = View(Combination(parts), plan)
    assert after.value("deck") == pytest.approx(0.017 * 25.4, abs=1e-9)
    ten = gasket("g10", "10 thou")
    assert View(Combination(parts, (ten,)), plan).value("quench") == pytest.approx(0.027 * 25.4, abs=1e-9)
    assert View(Combination(parts, (ten, ten)), plan).value("quench") == pytest.approx(0.037 * 25.4, abs=1e-9)


def test_the_published_gap() -> None:
    """Shigley's Mechanical Engineering Design, 9th ed., Example 1-7 (recalled): gap 0.005 ± 0.010 in; RSS 0.006 in.

    1.750 ± 0.003 less 0.750 ± 0.001, 0.120 ± 0.005 and 0.875 ± 0.001 in; as a short block the throw is half the stroke.
    """
    parts = bottom("1.750 in ± 0.003 in", "1.500 in ± 0.002 in", "0.120 in ± 0.005 in", "0.875 in ± 0.001 in")
    view = View(Combination(parts), Plan())
    low, high = view.spread("deck", "worst_case")
    assert (low / 25.4, high / 25.4) == pytest.approx((-0.005, 0.015), abs=1e-9)
    low, high = view.spread("deck", "statistical")
    assert (low / 25.4, high / 25.4) == pytest.approx((-0.001, 0.011), abs=1e-9)


def test_stroke_acts_on_deck_and_swept_volume_at_once() -> None:
    """A longer stroke raises the piston and sweeps more: for compression the two add, and they are one variable."""
    combination, plan = engine(3, toleranced=0.0)
    crank = combination.parts["crank"]
    wide = replace(crank, stroke=parse("57 mm ± 0.2 mm", LENGTH))
    view = View(replace(combination, parts={**combination.parts, "crank": wide}), plan)
    ends = []
    for text in ("56.8 mm", "57.2 mm"):
        moved = replace(crank, stroke=parse(text, LENGTH))
        ends.append(View(replace(combination, parts={**combination.parts, "crank": moved}), plan))
    for name in ("deck", "displacement", "compression", "skirt_to_counterweight", "clearance_volume"):
        values = sorted(each.value(name) for each in ends)
        assert view.spread(name, "worst_case") == pytest.approx(values, rel=1e-9), name
    swept = ends[1].value("displacement") - ends[0].value("displacement")
    assert swept > 0
    assert ends[1].value("deck") < ends[0].value("deck")
    low, high = view.spread("compression", "statistical")
    clearance, ratio = view.value("clearance_volume"), view.value("compression")
    bore = view.reader["block.bore"] * 100
    cylinders = view.reader["block.cylinders"]
    by_sweep = (swept / cylinders / 0.4) / clearance * 0.2
    by_deck = (ratio - 1) / clearance * (math.pi / 4 * bore**2 * 0.1 / 2) * 0.2
    assert (high - low) / 2 == pytest.approx(by_sweep + by_deck, rel=1e-3)


@pytest.mark.parametrize("layers", [1, 2, 3, 4])
def test_one_gasket_several_times_adds_fully_at_worst_and_as_a_root_statistically(layers: int) -> None:
    parts = bottom("142 mm", "57 mm", "85 mm", "28 mm")
    one = gasket("g", "0.5 mm ± 0.05 mm")
    view = View(Combination(parts, (one,) * layers), Plan())
    assert view.value("quench") == pytest.approx(0.5 + 0.5 * layers)
    low, high = view.spread("quench", "worst_case")
    assert (high - low) / 2 == pytest.approx(0.05 * layers)
    low, high = view.spread("quench", "statistical")
    assert (high - low) / 2 == pytest.approx(0.05 * math.sqrt(layers), rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_a_measured_deck_replaces_the_tolerances_of_its_four_parts(seed: int) -> None:
    combination, plan = engine(seed, toleranced=1.0, measured=True)
    view = View(combination, plan)
    cut, spacer = float(combination.deck_cut) * 1e3, combination.parts["spacer"].thickness
    middle = 0.32 - cut + spacer.to("mm")
    assert view.value("deck") == pytest.approx(middle)
    width = 0.02 + spacer.tolerance_in("mm")
    assert view.spread("deck", "worst_case") == pytest.approx((middle - width, middle + width))
    root = math.hypot(0.02, spacer.tolerance_in("mm"))
    assert view.spread("deck", "statistical") == pytest.approx((middle - root, middle + root))
    other = replace(combination.parts["rod"], id="other")
    unmeasured = View(replace(combination, parts={**combination.parts, "rod": other}), plan)
    assert unmeasured.value("deck") != pytest.approx(middle)
    low, high = unmeasured.spread("deck", "worst_case")
    assert high - low > 2 * width
    # the stroke still moves the skirt and the swept volume: only the deck was measured
    low, high = view.spread("skirt_to_counterweight", "worst_case")
    assert high - low > 0
    low, high = view.spread("displacement", "worst_case")
    assert high - low > 0


@pytest.mark.parametrize("up", [False, True])
def test_a_measured_deck_has_its_sign_from_its_word(up: bool) -> None:
    parts = bottom("142 mm", "57 mm", "85 mm", "28 mm")
    deck = parse_deck(f"0.30 mm {'up' if up else 'down'} ± 0.01 mm")
    ids = {kind: part.id for kind, part in parts.items()}
    view = View(Combination(parts, (gasket("g", "0.5 mm"),)), Plan(measured_decks=(MeasuredDeck(deck, ids),)))
    assert view.value("quench") == pytest.approx(0.2 if up else 0.8)
    assert view.spread("quench", "worst_case") == pytest.approx((0.19, 0.21) if up else (0.79, 0.81))


def limits() -> Iterator[tuple[str, float, bool]]:
    """Tolerance mode, bound on quench of 1.0 ± 0.05 ± 0.05, whether it holds."""
    root = 0.05 * math.sqrt(2)
    yield from (("nominal", 1.0, True), ("nominal", 1.0001, False))
    yield from (("statistical", 1.0 - root, True), ("statistical", 1.0001 - root, False))
    yield from (("worst_case", 0.9, True), ("worst_case", 0.9001, False))


@pytest.mark.parametrize(("mode", "bound", "holds"), list(limits()))
def test_a_limit_compares_the_corner_of_the_plans_mode(mode: Any, bound: float, holds: bool) -> None:
    parts = bottom("142 mm", "57 mm", "85 mm", "28 mm")
    one = gasket("g", "0.25 mm ± 0.05 mm")
    plan = Plan(goals={"quench": Goal("quench", minimum=bound)}, tolerance=mode, gaskets=2)
    found = check(Combination(parts, (one, one)), plan)
    assert [limit.holds for limit in found.limits if limit.name == "quench"] == [holds]
    assert found.fits is holds
    assert found.figures["quench"] == pytest.approx(1.0)
    assert found.spread["quench"]["worst_case"] == pytest.approx((0.9, 1.1))
    assert found.holds_at_worst_case is (bound <= 0.9)


@pytest.mark.parametrize("angle", ["0 deg ± 0.5 deg", "0 deg"])
def test_a_tolerance_about_a_turning_point_is_not_lost(angle: str) -> None:
    """A valve that may lean either way from upright comes closer both ways, though the slope at nominal is 0."""
    from kitwright.solver.quantity import ANGLE

    combination, plan = engine(5, toleranced=0.0)
    head = replace(combination.parts["head"], valve_angle=parse(angle, ANGLE))
    view = View(replace(combination, parts={**combination.parts, "head": head}), plan)
    leant = replace(head, valve_angle=parse("0.5 deg", ANGLE))
    at_end = View(replace(combination, parts={**combination.parts, "head": leant}), plan)
    low, _ = view.spread("piston_to_valve_intake", "worst_case")
    if "±" in angle:
        assert low == pytest.approx(at_end.value("piston_to_valve_intake"), abs=1e-9)
    else:
        assert low == view.value("piston_to_valve_intake") > at_end.value("piston_to_valve_intake")


def test_the_valve_that_opens_less_may_press_harder_at_worst() -> None:
    """Intake 7.00 mm exactly, exhaust 6.95 ± 0.04 mm by a ratio of 1 ± 0.006: at worst the exhaust lifts 7.03 mm.

    Its lobe alone, or its ratio alone, does not lift it past the other.
    """
    combination, plan = engine(2, toleranced=0.0)
    plain = {"lash_intake": None, "lash_exhaust": None}
    rocker = replace(
        combination.parts["rocker"],
        ratio=parse("1", RATIO),
        exhaust_ratio=parse("1 ± 0.006", RATIO),
    )
    cam = replace(
        combination.parts["cam"],
        intake_lobe_lift=parse("7.00 mm", LENGTH),
        exhaust_lobe_lift=parse("6.95 mm ± 0.04 mm", LENGTH),
        **plain,
    )
    parts = {**combination.parts, "cam": cam, "rocker": rocker}
    view = View(replace(combination, parts=parts), plan)
    rate = view.value("spring_rate")
    assert view.value("valve_lift") == pytest.approx(7.0)
    high = 6.99 * 1.006
    assert view.spread("valve_lift", "worst_case") == pytest.approx((7.0, high))
    least, greatest = view.spread("spring_open", "worst_case")
    assert least == pytest.approx(view.value("spring_open"))
    assert greatest - least == pytest.approx(rate * (high - 7.0), rel=1e-6)


@pytest.mark.parametrize("name", ["valve_lift", *OF_THE_LIFT])
@pytest.mark.parametrize("loose", ["intake", "exhaust"])
def test_where_the_valves_cross_within_the_spread_each_of_them_counts(name: str, loose: str) -> None:
    """The valve that is a little lower at nominal and much looser lifts further at three sigma than the other one.

    Each valve's own spread is taken from an engine whose other valve hardly lifts at all.
    """
    combination, plan = engine(4, toleranced=1.0)
    other = {"intake": "exhaust", "exhaust": "intake"}[loose]
    rocker = replace(combination.parts["rocker"], ratio=parse("1.1", RATIO), exhaust_ratio=parse("1.1", RATIO))  # type: ignore[call-arg]

    def lifting(**lobes: str) -> View:
        lengths = {f"{valve}_lobe_lift": parse(text, LENGTH) for valve, text in lobes.items()}
        exact = {f"lash_{valve}": parse("0.1 mm", LENGTH) for valve in lobes}
        cam = replace(combination.parts["cam"], **lengths, **exact)  # type: ignore[arg-type]
        return View(replace(combination, parts={**combination.parts, "cam": cam, "rocker": rocker}), plan)

    tight, wide = "7.00 mm ± 0.01 mm", "6.99 mm ± 0.30 mm"
    both = lifting(**{other: tight, loose: wide}).spread(name, "statistical")
    alone = [
        lifting(**{other: tight, loose: "1 mm"}).spread(name, "statistical"),
        lifting(**{other: "1 mm", loose: wide}).spread(name, "statistical"),
    ]
    pick, end = (
        (min, 0) if OF_THE_LIFT.get(name) is min else (max, 1)
    )  # the branch that decides, and where it strays to
    assert both == pytest.approx((pick(low for low, _ in alone), pick(high for _, high in alone)), rel=1e-9)
    assert both[end] == pytest.approx(alone[1][end]) == pick(alone[0][end], alone[1][end])
    assert alone[1][end] != alone[0][end]
