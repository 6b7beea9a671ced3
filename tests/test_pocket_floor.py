"""Piston to an inclined valve: over a pocket parallel to its face and over a flat floor, against discs in space."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import mpmath
import numpy as np
import pytest

from kitwright.catalogs import load
from kitwright.catalogs.problems import InputError
from kitwright.solver import find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.combination import field_value
from kitwright.solver.curves import curve
from kitwright.solver.evaluate import compute
from kitwright.solver.formulas import cam_curve, kinematics
from kitwright.solver.formulas.cam_curve import LobeCurve
from kitwright.solver.parts import Part
from kitwright.solver.plan import Goal
from kitwright.solver.quantity import ANGLE, parse
from kitwright.solver.registry import FIGURES
from tests.random_engines import engine
from tests.random_motion import question
from tests.test_registry import leaves_at
from tests.twin import closest

DEGREE = np.pi / 180
LOBE = LobeCurve(0.0065, 150 * DEGREE, 19.8807)
ENGINE = (0.060, 0.100, 0.001)
RATIO, LASH = 1.4, 0.0002
CYCLE: Any = np.radians(np.arange(-360.0, 360.0, 0.05))
FLOORS = {"parallel": 0.0, "flat": 1.0}

DROP, MILL, QUENCH, POCKET = 0.0030, 0.0004, 0.0009, 0.0035
VALVE = 0.03175


def _rim(lean: float, points: int = 72) -> Any:
    """Points of the valve's edge about its lowest, m: how far aside, and how much higher (a row: aside, across, up)."""
    turn = np.linspace(0.0, 2 * np.pi, points, endpoint=False)
    along = VALVE / 2 * (1 - np.cos(turn))  # in the face, from the lowest point up its slope
    return np.array([along * np.cos(lean), VALVE / 2 * np.sin(turn), along * np.sin(lean)])


def _by_discs(lean: float, floor: str, nose: float) -> float:
    """The least distance of the valve's edge from the plane of the pocket's floor, over two turns, m.

    Heights are above the head's face as it is milled, upwards. The valve's lowest point stands at its recess; its face
    rises from there at the valve's angle, and it opens along its stem. The floor's plane lies under that point by the
    pocket's depth: square to the cylinder, or tilted as the face is.
    """
    lift = np.maximum(0.0, RATIO * LOBE.lift(CYCLE - nose) - LASH)
    down = kinematics.drop_after_top(CYCLE, *ENGINE)
    aside, _, up = _rim(lean)
    # the stem leans so that it opens downwards and towards the side on which the face is low
    edge_aside = aside[:, None] + lift * np.sin(lean)
    edge_height = (DROP - MILL) + up[:, None] - lift * np.cos(lean)
    slope = np.tan(lean) if floor == "parallel" else 0.0
    floor_height = -QUENCH - POCKET - down + slope * edge_aside
    return float(np.min((edge_height - floor_height) * np.cos(np.arctan(slope))))


@pytest.mark.parametrize("nose", [104.0, -108.0])
@pytest.mark.parametrize("lean", [0.0, 5.0, 15.0, 30.0])
@pytest.mark.parametrize("floor", FLOORS)
def test_the_least_distance_is_that_of_discs_in_space(floor: str, lean: float, nose: float) -> None:
    flat = FLOORS[floor]
    gap = cam_curve.valve_gap(DROP, MILL, QUENCH, POCKET, lean * DEGREE, flat)
    least, _ = cam_curve.piston_to_valve(gap, *ENGINE, lean * DEGREE, LOBE, RATIO, LASH, nose * DEGREE, flat)
    # a sweep at every twentieth of a degree is never below the least, and misses it by next to nothing
    swept = _by_discs(lean * DEGREE, floor, nose * DEGREE)
    assert least == pytest.approx(swept, abs=2e-8)
    assert swept >= least - 1e-12


@pytest.mark.parametrize("lean", [5.0, 15.0, 30.0])
def test_the_least_distance_by_another_library(lean: float) -> None:
    """The minimum of each sum in 30 digits, where its derivative is 0."""
    second, *higher = (mpmath.mpf(float(each)) for each in cam_curve.lobe_coefficients(float(LOBE.power)))
    stroke, rod, offset = map(mpmath.mpf, ENGINE)
    throw = stroke / 2
    angle = mpmath.radians(lean)

    def drop(turned: Any) -> Any:
        top = mpmath.asin(offset / (rod + throw))
        place = turned + top
        height = throw * mpmath.cos(place) + mpmath.sqrt(rod**2 - (throw * mpmath.sin(place) - offset) ** 2)
        return mpmath.sqrt((rod + throw) ** 2 - offset**2) - height

    def lift(turned: Any) -> Any:
        x = abs(turned - mpmath.radians(104)) / mpmath.mpf(float(LOBE.half_span))
        power = mpmath.mpf(float(LOBE.power))
        terms = (c * x ** (power + k) for c, k in zip(higher, (0, 2, 4), strict=True))
        return mpmath.mpf(RATIO) * mpmath.mpf(float(LOBE.max_lift)) * (1 + second * x**2 + sum(terms)) - mpmath.mpf(
            LASH
        )

    room = mpmath.mpf(DROP) - mpmath.mpf(MILL) + mpmath.mpf(QUENCH) + mpmath.mpf(POCKET)
    sums = {
        "parallel": lambda turned: (room + drop(turned)) * mpmath.cos(angle) - lift(turned),
        "flat": lambda turned: room + drop(turned) - lift(turned) * mpmath.cos(angle),
    }
    for floor, distance in sums.items():
        gap = cam_curve.valve_gap(DROP, MILL, QUENCH, POCKET, lean * DEGREE, FLOORS[floor])
        given = (gap, *ENGINE, lean * DEGREE, LOBE, RATIO, LASH, 104 * DEGREE, FLOORS[floor])
        least, place = cam_curve.piston_to_valve(*given)
        with mpmath.workdps(30):
            exact = mpmath.findroot(lambda x, f=distance: mpmath.diff(f, x), mpmath.mpf(float(place)))
            assert float(least) == pytest.approx(float(distance(exact)), abs=1e-12)


def test_a_parallel_floor_never_leaves_more_than_a_flat_one() -> None:
    for seed in range(40):
        for valve in ("intake", "exhaust"):
            both = [_with_floor(seed, f"piston_to_valve_{valve}", floor) for floor in (0.0, 1.0)]
            assert both[0] <= both[1] + 1e-12


def _with_floor(seed: int, name: str, floor: float) -> float:
    return float(compute(name, leaves_at(seed) | {"piston.pocket_floor": floor}))


def test_a_drop_at_the_centre_is_turned_into_one_at_the_edge() -> None:
    """Half the valve's diameter × sin(angle): 4.11 mm at 15° and 31.75 mm, as checks of the trade give it."""
    lean = 15 * DEGREE
    assert 1000 * VALVE / 2 * np.sin(lean) == pytest.approx(4.11, abs=0.005)
    _, _, up = _rim(lean, 720)
    assert up.max() / 2 == pytest.approx(VALVE / 2 * np.sin(lean), rel=1e-12)  # the centre lies half way up the edge


@pytest.mark.parametrize("lean", [0.0, 12.0, 25.0])
@pytest.mark.parametrize("floor", FLOORS)
def test_what_is_drawn_has_the_figure_as_its_least(floor: str, lean: float) -> None:
    combination, plan = engine(3)
    parts = dict(combination.parts)
    parts["piston"] = replace(parts["piston"], pocket_floor=floor)  # type: ignore[call-arg]
    parts["head"] = replace(parts["head"], valve_angle=parse(f"{lean} deg", ANGLE))  # type: ignore[call-arg]
    there = replace(combination, parts=parts)
    drawn = curve("piston_to_valve_exhaust", there, plan)
    figure = check(there, plan, spreads=False).figures["piston_to_valve_exhaust"]
    assert min(drawn.values) == pytest.approx(figure, abs=1e-9)


def test_the_field_says_which(tmp_path: Path) -> None:
    line = "- {id: p, bore: 72 mm, compression_height: 28 mm, pin: 16 mm%s}\n"
    for number, (text, place) in enumerate(
        (("", 0.0), (", pocket_floor: parallel", 0.0), (", pocket_floor: flat", 1.0))
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "pistons.yaml").write_text("pistons:\n" + line % text, encoding="utf-8")
        piston = load(folder).get("p")
        assert isinstance(piston, Part)
        assert field_value(piston, "pocket_floor") == (place, 0.0)
    (folder / "pistons.yaml").write_text("pistons:\n" + line % ", pocket_floor: round", encoding="utf-8")
    with pytest.raises(InputError, match="`round` is no `pocket_floor`; write `parallel` or `flat`"):
        load(folder)


SEEDS = (2, 5, 9, 14, 21)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_search_agrees_with_the_plain_check(seed: int) -> None:
    """With limits and aims on both valves, whatever floors the pistons have."""
    catalogue, plan = question(seed)
    goals = {
        f"piston_to_valve_{valve}": Goal(f"piston_to_valve_{valve}", aim=aim, minimum=low, step=0.05)
        for valve, aim, low in (("intake", 2.0, 0.5), ("exhaust", None, 1.0))
    }
    for floors in (("flat",), (None, "flat")):
        asked = plan.but(goals=goals)
        again = Catalogue.of([_floored(part, floors) for part in catalogue])
        answer = find(again, asked, 10)
        assert [each.combination.ids for each in answer.combinations] == [
            each.ids for _, each in closest(again, asked)[:10]
        ]


def _floored(part: Part, floors: tuple[str | None, ...]) -> Part:
    if part.kind != "piston":
        return part
    return replace(part, pocket_floor=floors[sum(map(ord, part.id)) % len(floors)])  # type: ignore[call-arg]


def test_floors_that_are_all_alike_cost_the_search_nothing() -> None:
    """The bound's term is then the head's alone; it is a table of head and piston only where both kinds are there."""
    at_least = FIGURES["piston_to_valve_intake"].at_least
    assert at_least is not None
    alike = at_least(0.001, {"piston.pocket_floor": 1.0})
    mixed = at_least(0.001, {})
    assert alike is not None and mixed is not None
    assert alike[-1].inputs == ("head.valve_angle",)
    assert mixed[-1].inputs == ("head.valve_angle", "piston.pocket_floor")
