"""What stands beside the figures: timing by its lift, the pushrod to take, balance old and new, ranges of practice."""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kitwright.catalogs.advice import default_advice
from kitwright.cli.report.blocks import Items, Paragraph
from kitwright.cli.report.notes import note_blocks
from kitwright.solver import Catalogue, Plan, check
from kitwright.solver.cautions import CAM_TURNS, CORE_TURNS, cautions
from kitwright.solver.combination import Combination
from kitwright.solver.fields import CutTo, DurationAt
from kitwright.solver.notes import Notes, notes
from kitwright.solver.parts import Pushrod
from kitwright.solver.plan import Advice, Goal
from kitwright.solver.quantity import ANGLE, LENGTH, MASS, RATIO, parse
from kitwright.solver.registry import public_figures
from kitwright.solver.result import Checked
from tests.cli_runner import run
from tests.random_engines import engine

ROOT = Path(__file__).parent.parent


def mm(value: float) -> Any:
    return parse(f"{value} mm", LENGTH)


def checked(seed: int = 1, reference: dict[str, Any] | None = None, **fields: Any) -> tuple[Checked, Plan]:
    """One engine of which everything is known; ``kind__field=value`` changes a part."""
    combination, plan = engine(seed, blank=False)
    parts = dict(combination.parts)
    for name, value in fields.items():
        kind, _, field = name.partition("__")
        parts[kind] = replace(parts[kind], **{field: value})
    plan = plan.but(reference={**plan.reference, **(reference or {})})
    changed = Combination(parts, combination.gaskets, mill=combination.mill, deck_cut=combination.deck_cut)
    return check(changed, plan, spreads=False), plan


def said(found: Notes, units: str = "mm") -> str:
    """All notes as running text."""
    lines: list[str] = []
    for block in note_blocks(found, units):
        if isinstance(block, Paragraph):
            lines.append(block.text)
        elif isinstance(block, Items):
            lines += [block.title, *block.items]
    return "\n".join(lines)


# Timing.


def test_every_timing_carries_its_lift() -> None:
    found, plan = checked(cam__seat_lift=mm(0.15))
    seat, check_lift = notes(found, plan).timing
    assert seat.seat and seat.lobe_lift == pytest.approx(0.15)
    assert seat.events["intake_opens"] == found.figures["intake_opens"]
    assert not check_lift.seat and check_lift.lobe_lift == pytest.approx(1.0)
    cam: Any = found.combination.parts["cam"]
    half = cam.intake_duration_at.duration.to("deg") / 2
    centre = cam.intake_centreline.to("deg")
    assert check_lift.events["intake_opens"] == pytest.approx(half - centre)
    assert check_lift.events["intake_closes"] == pytest.approx(half + centre - 180)
    text = said(notes(found, plan))
    assert "at 0.15 mm (seat): intake opens" in text and "at 1.00 mm: intake opens" in text
    assert "at 5.9 thou (seat)" in said(notes(found, plan), "in")


def test_a_valve_that_opens_late_is_said_in_words() -> None:
    found, plan = checked()
    timing = notes(found, plan).timing[1]
    late = replace(timing, events={"intake_opens": -4.0, "exhaust_closes": -3.0, "overlap": -7.0})
    text = said(Notes((late,), None, None, ()))
    assert "intake opens 4.0° after top, closes 3.0° before top, no overlap, 7.0° between them" in text


def test_two_checking_lifts_stand_apart() -> None:

    at = DurationAt(lift=mm(1.25), duration=parse("220 deg", ANGLE))
    found, plan = checked(cam__exhaust_duration_at=at)
    _, low, high = notes(found, plan).timing
    assert set(low.events) == {"intake_opens", "intake_closes"}
    assert set(high.events) == {"exhaust_opens", "exhaust_closes"}


def test_without_a_centreline_there_is_no_timing() -> None:
    found, plan = checked(cam__intake_centreline=None)
    assert notes(found, plan).timing == ()


# Pushrods.


def rods(*lengths: float, shelf: int = 0) -> list[Pushrod]:
    return [Pushrod(id=f"p{length:g}", length=mm(length), on_shelf=shelf) for length in lengths]


def test_the_nearest_pushrod_and_the_blank() -> None:
    found, plan = checked()
    needed = found.figures["pushrod_length"]
    near, far = round(needed + 0.2, 1), round(needed - 3, 1)
    blanks = [
        Pushrod(id="blank", cut_to=CutTo(min=mm(100), max=mm(200))),
        Pushrod(id="short", cut_to=CutTo(min=mm(100), max=mm(120))),
    ]
    catalogue = Catalogue.of([*rods(near), *rods(far, shelf=1), *rods(near - 9), *blanks])
    need = notes(found, plan, catalogue).pushrod
    assert need is not None and need.nearest is not None and need.on_shelf is not None
    assert need.needed == needed
    assert need.nearest.id == f"p{near:g}" and need.nearest.over == pytest.approx(near - needed)
    assert need.on_shelf.id == f"p{far:g}"
    assert need.blanks == ("blank",)
    text = said(notes(found, plan, catalogue))
    assert f"Pushrod needed: {needed:.3f} mm." in text
    assert "longer than needed, to buy" in text
    assert f"The nearest on the shelf is p{far:g}" in text and "shorter than needed" in text
    assert f"Can be cut to {needed:.3f} mm: blank." in text


def test_pushrods_that_may_not_be_taken_are_not_offered() -> None:
    found, plan = checked()
    needed = found.figures["pushrod_length"]
    other = replace(rods(round(needed, 2))[0], id="other-block", fits=("another",))
    catalogue = Catalogue.of([*rods(round(needed + 1, 1)), other])
    need = notes(found, plan, catalogue).pushrod
    assert need is not None and need.nearest is not None and need.nearest.id != "other-block"
    avoided = notes(found, plan.but(avoid=frozenset({need.nearest.id})), catalogue).pushrod
    assert avoided is not None and avoided.nearest is None
    text = said(notes(found, plan.but(avoid=frozenset({need.nearest.id})), catalogue))
    assert f"Have one cut to {needed:.3f} mm." in text


def test_without_a_reference_no_pushrod_is_named() -> None:
    combination, plan = engine(1)
    bare = plan.but(reference={})
    found = notes(check(combination, bare, spreads=False), bare, Catalogue.of(rods(141.0, shelf=1)))
    assert found.pushrod is None and found.balance is None


# Balance.


def test_balance_old_and_new() -> None:
    before = {"reciprocating_mass": parse("330 g", MASS), "balance_factor": parse("0.55", RATIO)}
    found, plan = checked(reference=before)
    change = notes(found, plan).balance
    assert change is not None and change.wanted is not None and change.given is not None
    assert change.before == {"reciprocating_mass": pytest.approx(330), "balance_factor": 0.55}
    assert change.now["balance_factor"] == found.figures["balance_factor"]
    crank, rod, piston = (found.combination.parts[kind] for kind in ("crank", "rod", "piston"))
    throw = crank.stroke.to("mm") / 2  # type: ignore[attr-defined]
    going = piston.mass.to("g") + rod.small_end_mass.to("g")  # type: ignore[attr-defined]
    turning = rod.big_end_mass.to("g")  # type: ignore[attr-defined]
    assert change.wanted == pytest.approx(throw * (turning + 0.55 * going))
    assert change.given == pytest.approx(crank.counterweight_moment.to("g*mm"))  # type: ignore[attr-defined]
    text = said(notes(found, plan))
    assert "reciprocating mass 330.0 g → " in text and "balance factor 0.55 → " in text
    assert "To keep the factor of 0.55 the counterweight needs" in text
    for word in ("one plane", "two masses", "twin"):
        assert word in text


def test_masses_alone_are_compared_without_a_factor() -> None:
    found, plan = checked(reference={"reciprocating_mass": parse("330 g", MASS)})
    plan = plan.but(reference={key: each for key, each in plan.reference.items() if key != "balance_factor"})
    found = check(found.combination, plan, spreads=False)
    change = notes(found, plan).balance
    assert change is not None and change.wanted is None
    text = said(notes(found, plan))
    assert "reciprocating mass 330.0 g → " in text and "To keep" not in text


# Ranges of common practice.


def test_the_bundled_ranges_are_marked_and_of_known_figures() -> None:
    bundled = default_advice()
    assert {"compression", "cranking_gauge_pressure"} <= set(bundled) <= set(public_figures())
    ranges = [each for some in bundled.values() for each in some]
    assert len(ranges) >= 6
    assert not any(each.own for each in ranges)
    assert all((each.minimum or 0) < (each.maximum or math.inf) for each in ranges)


def test_a_plans_own_ranges_win() -> None:
    found, plan = checked(cam__decompressor=None)  # a decompressor takes the cranking pressure's ranges out
    usual = notes(found, plan, usual=default_advice())
    assert [each.figure for each in usual.remarks][:2] == ["compression", "cranking_gauge_pressure"]
    text = said(usual)
    assert "Usual ranges, no verdict; common practice, no source" in text and "Your own ranges" not in text
    own = plan.but(advice={"compression": (Advice("compression", "pump petrol", 8.5, None),)})
    text = said(notes(found, own, usual=default_advice()))
    assert "Your own ranges" in text and " pump petrol: from 8.50" in text
    assert "compression" in text and "methanol: 12.00" not in text and "cranking gauge pressure" in text
    silenced = plan.but(advice=dict.fromkeys(default_advice(), ()))
    assert notes(found, silenced, usual=default_advice()).remarks == ()


def test_a_range_never_changes_whether_it_fits() -> None:
    found, plan = checked()
    absurd = plan.but(advice={"compression": (Advice("compression", "nothing", 90.0, 99.0),)})
    again = check(found.combination, absurd, spreads=False)
    assert (again.limits, again.key, again.fits) == (found.limits, found.key, found.fits)


# Through the command.


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """The bundled example with a reference and ranges of its own."""
    shutil.copytree(ROOT / "examples" / "pump-house", tmp_path / "shed")
    path = tmp_path / "shed" / "plan.yaml"
    more = "reference: {pushrod: 140.4 mm, gasket_stack: 1.0 mm, base_radius: 12 mm, balance_factor: 0.55}\n"
    more += "advice: {compression: {95 RON pump petrol: {min: 8.5, max: 9.5}}}\n"
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return path


CHOSEN = (
    "rod=r98 gasket=g59 head=h255 cam=c61 rocker=rk115 spring=s212 retainer=t0 pushrod=pr140 flywheel=f45 block=b71"
)


def test_check_says_all_of_it_in_every_format(shed: Path) -> None:
    words = ["check", shed, *(word for each in CHOSEN.split() for word in ("--use", each))]
    text = " ".join(run(*words).stdout.split())
    for phrase in (
        "Valve events, by the lobe lift that they belong to",
        "Pushrod needed: ",
        "To keep the factor of 0.55",
        "95 RON pump petrol: 8.50 to 9.50",
        "Usual ranges, no verdict",
    ):
        assert phrase in text
        assert phrase in " ".join(run(*words, "--format", "markdown").stdout.split())
    found = json.loads(run(*words, "--format", "json").stdout)
    assert found["timing"][0]["lobe_lift_mm"] == pytest.approx(0.1)
    assert found["timing"][0]["overlap_deg"] == found["figures"]["overlap_deg"]
    assert found["pushrod"]["needed_mm"] == found["figures"]["pushrod_length_mm"]
    assert found["balance"]["counterweight_wanted_g_mm"] == found["figures"]["counterweight_wanted_g_mm"]
    sources = {each["figure"]: each["from"] for each in found["advice"]}
    assert sources["compression"] == "plan" and sources["quench_mm"] == "common practice, no source"
    assert [each["within"] for each in found["advice"] if each["figure"] == "compression"] == [True]
    assert run(*words).exit_code == run(*words, "--format", "csv").exit_code == 0


@pytest.mark.parametrize("figure", ["overlap", "spring_stress_open", "counterweight_wanted", "rocker_sweep"])
def test_the_sum_behind_a_new_figure(shed: Path, figure: str) -> None:
    words = ["check", shed, *(word for each in CHOSEN.split() for word in ("--use", each)), "--show", figure]
    result = run(*words)
    assert result.exit_code == 0
    assert f"= {figure.replace('_', ' ')}" in result.stdout
    assert ("not known" in result.stdout) == (figure == "rocker_sweep")  # the example's rockers give no arm


# Big end to cam.


def test_a_negative_bound_on_the_cam_is_no_verdict() -> None:
    """A goal that the bound does not reach is not established, and nothing is refuted; without one there is a caution.

    Phase and side position decide, which the report says. The core is round, whatever the phase: it is a rule.
    """
    found, plan = checked(block__cam_to_crank=mm(68))
    assert found.figures["rod_to_cam"] < 0 and found.figures["rod_to_core"] < 0
    assert not any(limit.figure == "rod_to_cam" for limit in found.limits)
    assert [limit.holds for limit in found.limits if limit.figure == "rod_to_core"] == [False]
    assert {CAM_TURNS, CORE_TURNS} <= set(cautions(found, plan))
    asked = plan.but(goals={"rod_to_cam": Goal("rod_to_cam", minimum=1.0)})
    below = check(found.combination, asked, spreads=False)
    (limit,) = [each for each in below.limits if each.figure == "rod_to_cam"]
    assert limit.holds is None
    assert below.fits == found.fits
    assert [each.goal for each in below.not_established] == ["rod_to_cam"]
    assert "phase" in limit.sentence and "side by side" in limit.sentence and "measured" in limit.sentence
    kept = plan.but(goals={"rod_to_cam": Goal("rod_to_cam", minimum=-50.0)})
    (limit,) = [each for each in check(found.combination, kept, spreads=False).limits if each.figure == "rod_to_cam"]
    assert limit.holds and not limit.sentence
