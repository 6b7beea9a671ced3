"""A rocker with one ratio for both valves has one dimension, and its ± is one."""

from __future__ import annotations

import pytest

from kitwright.solver import Combination, Goal, Plan
from kitwright.solver.check import View
from kitwright.solver.measure_next import measure_next
from kitwright.solver.parts import Cam, Head, Rocker, Spring
from kitwright.solver.quantity import LENGTH, RATIO, STIFFNESS, VOLUME, parse
from kitwright.solver.shares import shares

ONE_RATIO = Rocker(id="rk", ratio=parse("1.1 ± 0.02", RATIO))
"""One ratio for both valves: one dimension, whose ± moves both."""


def lifted(**cam: str) -> Combination:
    sizes = {"intake_lobe_lift": "7.64 mm", "exhaust_lobe_lift": "7.64 mm", **cam}
    return Combination(
        {"cam": Cam(id="c", **{name: parse(text, LENGTH) for name, text in sizes.items()}), "rocker": ONE_RATIO}
    )


def test_the_ratio_of_one_rocker_is_one_dimension_in_every_figure() -> None:
    """The spring at full lift follows the greater valve: 7.64 × 1.1 ± 7.64 × 0.02 mm, whichever of two equal ones."""
    springs = {
        "spring": Spring(
            id="s",
            solid_height=parse("20 mm", LENGTH),
            rate=parse("10 N/mm", STIFFNESS),
            free_length=parse("45 mm", LENGTH),
        ),
        "head": Head(id="h", chamber=parse("22 cc", VOLUME), installed_height=parse("36 mm", LENGTH)),
    }
    build = Combination({**lifted().parts, **springs})
    view = View(build, Plan())
    for mode in ("worst_case", "statistical"):
        low, high = view.spread("spring_open", mode)  # type: ignore[arg-type]
        assert (low + high) / 2 == pytest.approx(10 * (45 - 36 + 7.64 * 1.1))
        assert (high - low) / 2 == pytest.approx(10 * 7.64 * 0.02), mode
    assert [(each.place.field, each.variance) for each in shares(view, "spring_open")] == [
        ("ratio", pytest.approx(1.0))
    ]


@pytest.mark.parametrize("valve", ["intake", "exhaust"])
def test_a_rocker_without_an_exhaust_ratio_can_be_what_to_measure(valve: str) -> None:
    """Whichever valve the limit is on, and where no other figure reads the other valve's."""
    goal = Goal(f"valve_lift_{valve}", minimum=8.3, step=0.05)
    found = measure_next(lifted(), Plan(goals={f"valve_lift_{valve}": goal}))
    assert found.answer == "open"
    (ratio,) = found.measurements
    assert (ratio.place.kind, ratio.place.field) == ("rocker", "ratio")
    assert ratio.holds == (pytest.approx(8.3 / 7.64), pytest.approx(1.12))
    assert found.enough == (ratio.place,)
