"""Figures that are only a bound: they prove a minimum and never refute one, in the plain check and in the search."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from kitwright.solver import find
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import LEVER_TURNS, cautions
from kitwright.solver.check import check, implied_goals
from kitwright.solver.combination import Combination
from kitwright.solver.fields import Decompressor
from kitwright.solver.parts import Block, Cam, Crank, Part, Piston, Rod
from kitwright.solver.plan import Goal, Plan, Tolerance
from kitwright.solver.quantity import LENGTH, parse
from kitwright.solver.registry import FIGURES
from kitwright.solver.rules import PHYSICAL
from tests.cli_runner import run
from tests.twin import closest

BOUNDS = [name for name, each in FIGURES.items() if each.bound == "low"]


def _mm(text: str) -> object:
    return parse(text if "mm" in text else f"{text} mm", LENGTH)


def _sized(cls: type[Part], name: str, **sizes: str) -> Part:
    return cls(id=name, price=1.0, **{each: _mm(text) for each, text in sizes.items()})  # type: ignore[arg-type]


BLOCK = _sized(Block, "b", bore="72", block_height="143", cam_to_crank="80 mm ± 0.1 mm")
RODS = [
    _sized(Rod, f"r{outer}", length="85", big_end="30", pin="16", outer_radius=outer)
    for outer in ("26", "28", "31.5", "32")
]
CRANKS = [
    _sized(Crank, f"k{stroke}", stroke=stroke, journal="30", counterweight_radius=radius)
    for stroke, radius in (("57", "50"), ("61", "62.5"))
]
PISTON = _sized(Piston, "p", bore="72", compression_height="28", pin="16")
CAMS = [
    replace(
        _sized(Cam, f"c{number}", intake_lobe_lift="6.5", exhaust_lobe_lift="6", base_radius="13"),
        decompressor=Decompressor(reach=_mm(reach)),  # type: ignore[arg-type]
        price=float(number),
    )
    for number, reach in ((1, "18"), (2, "16"))
]
CATALOGUE = Catalogue.of([BLOCK, *RODS, *CRANKS, PISTON, *CAMS])


def _plan(figure: str, tolerance: Tolerance = "nominal", **bounds: float | None) -> Plan:
    return Plan(goals={figure: Goal(figure, step=0.05, **bounds)}, tolerance=tolerance)  # type: ignore[arg-type]


def _one(crank: Part, rod: Part, cam: Part) -> Combination:
    return Combination({"block": BLOCK, "crank": crank, "rod": rod, "piston": PISTON, "cam": cam})


def test_the_bounds() -> None:
    assert BOUNDS == ["rod_to_cam", "lever_to_counterweight"]
    for name in BOUNDS:
        assert FIGURES[name].shape == "additive"  # the search counts what proves it


@pytest.mark.parametrize(
    ("bounds", "holds", "established"),
    [
        ({"minimum": 2.0}, True, True),
        ({"minimum": 5.0}, None, False),  # below it nothing is said
        ({"maximum": 5.0}, None, False),  # it may well be more
        ({"maximum": 2.0}, False, True),  # it is more, whatever the phase
        ({"aim": 5.0}, None, True),
    ],
)
def test_a_bound_proves_and_never_refutes(bounds: dict[str, float], holds: bool | None, established: bool) -> None:
    found = check(_one(CRANKS[0], RODS[1], CAMS[0]), _plan("rod_to_cam", **bounds))
    assert found.figures["rod_to_cam"] == pytest.approx(80 - 28.5 - 28 - 19.5)  # 4 mm
    assert [each.holds for each in found.limits if each.figure == "rod_to_cam"] == [holds][
        : len(bounds.keys() - {"aim"})
    ]
    assert (found.not_established == ()) is established
    assert found.fits is (holds is not False)


def test_the_lever_leaves_what_the_parts_leave() -> None:
    """cam to crank − reach − counterweight radius: 80 − 18 − 62.5 = −0.5 mm, and still nothing is refuted."""
    found = check(_one(CRANKS[1], RODS[0], CAMS[0]), _plan("lever_to_counterweight", minimum=0.5))
    assert found.figures["lever_to_counterweight"] == pytest.approx(-0.5)
    assert found.spread["lever_to_counterweight"]["worst_case"] == pytest.approx((-0.6, -0.4))
    assert found.fits
    assert [each.goal for each in found.not_established] == ["lever_to_counterweight"]
    assert not any(each.figure == "lever_to_counterweight" for each in check(found.combination, Plan()).limits)
    assert LEVER_TURNS in cautions(found, Plan())  # no rule says it, so a caution does
    clear = check(_one(CRANKS[0], RODS[0], CAMS[0]), Plan())
    assert clear.figures["lever_to_counterweight"] == pytest.approx(12) and LEVER_TURNS not in cautions(clear, Plan())


def test_one_unknown_lobe_refutes_nothing() -> None:
    bare = replace(CAMS[0], base_radius=None)  # type: ignore[call-arg]
    found = check(_one(CRANKS[0], RODS[0], bare), _plan("rod_to_cam", minimum=50.0))
    assert found.fits
    assert [each.goal for each in found.not_established] == ["rod_to_cam"]


TOLERANCES: tuple[Tolerance, ...] = ("nominal", "statistical", "worst_case")


@pytest.mark.parametrize("tolerance", TOLERANCES)
@pytest.mark.parametrize("figure", BOUNDS)
@pytest.mark.parametrize("at", [-2.0, 0.5, 1.4, 3.5, 4.0, 40.0])
@pytest.mark.parametrize("top", [1, 3, 50])
def test_the_search_lists_as_the_twin_does(figure: str, tolerance: Tolerance, at: float, top: int) -> None:
    for bounds in ({"minimum": at}, {"maximum": at}, {"minimum": at, "aim": at}, {"minimum": at, "maximum": at + 3}):
        plan = _plan(figure, tolerance, **bounds)
        answer = find(CATALOGUE, plan, top)
        assert answer.status in ("complete", "nothing_fits")
        wanted = closest(CATALOGUE, plan)[:top]
        assert [each.combination.ids for each in answer.combinations] == [each.ids for _, each in wanted]


def test_a_missed_bound_is_listed_after_what_is_proved() -> None:
    plan = _plan("rod_to_cam", minimum=1.0)
    listed = find(CATALOGUE, plan, 50).combinations
    assert len(listed) == 16  # none is filtered
    proved = [not each.not_established for each in listed]
    assert proved == sorted(proved, reverse=True)
    assert 0 < sum(proved) < len(proved)
    assert implied_goals(plan)


@pytest.mark.parametrize("figure", BOUNDS)
def test_a_bound_below_nothing_is_said(figure: str) -> None:
    """No rule may rest on it, and silence would pass for room."""
    found = check(_one(CRANKS[1], RODS[3], CAMS[0]), Plan())
    below, above = (set(cautions(replace(found, figures={figure: value}), Plan())) for value in (-0.01, 0.01))
    assert len(below - above) == 1 and "Measure it at mock-up" in (below - above).pop()


ROOMY = """
blocks: [{id: b, bore: 66 mm, block_height: 143 mm, cam_to_crank: CENTRES}]
cranks: [{id: k, stroke: 52 mm, journal: 28 mm}]
rods: [{id: r, length: 92 mm, big_end: 28 mm, pin: 15 mm, outer_radius: 25 mm}]
pistons: [{id: p, bore: 66 mm, compression_height: 25 mm, pin: 15 mm}]
cams: [{id: c, intake_lobe_lift: 6.2 mm, exhaust_lobe_lift: 6 mm, base_radius: 11 mm}]
"""


@pytest.mark.parametrize(("centres", "proved"), [("70 mm ± 0.1 mm", False), ("70 mm ± 0.05 mm", True)])
def test_what_a_bound_proves_at_nominal_alone_is_not_said_to_hold(tmp_path: Path, centres: str, proved: bool) -> None:
    """70 − 26 − 25 − 17.2 = 1.80 mm of at least 1.75: at its worst 1.70, which proves nothing, or 1.75, which does."""
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(ROOMY.replace("CENTRES", centres), encoding="utf-8")
    path = tmp_path / "plan.yaml"
    path.write_text("plan: roomy\ncatalogue: ./catalogue\ngoals: {rod_to_cam: {min: 1.75 mm}}\n", encoding="utf-8")
    said = [" ".join(run(each, path).stdout.split()) for each in ("check", "find")]
    assert ("It still fits with every tolerance at its worst." in said[0]) is proved
    open_ = "still holds with every tolerance at its worst; not established then: rod to cam min."
    assert (open_ in said[0]) is not proved
    assert ("Not established with every tolerance at its worst: - 1: rod to cam min" in said[1]) is not proved


def test_no_physical_rule_rests_on_a_bound() -> None:
    """A rule refutes, which a bound cannot."""
    assert not {rule.figure for rule in PHYSICAL} & set(BOUNDS)
