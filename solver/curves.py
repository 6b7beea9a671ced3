"""A combination over a turn of the crank, as arrays to draw.

What a curve is made of is written as a figure's inputs are: fields, figures, the plan. The formulas are those that the
figures go through, so that a curve's extreme is the figure: the least of ``piston_to_valve_intake`` here is the figure
of that name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitwright.solver.check import View
from kitwright.solver.combination import Combination, Missing
from kitwright.solver.evaluate import compute
from kitwright.solver.formulas.cam_curve import Curve as LobeShape
from kitwright.solver.formulas.cam_curve import piston_to_valve, valve_gap
from kitwright.solver.formulas.kinematics import drop_after_top, peak_piston_speed_angle, piston_speed, top_dead_centre
from kitwright.solver.formulas.springs import float_speed, spring_force, valve_acceleration
from kitwright.solver.formulas.valve_gear import ratio_of, valve_lift_of
from kitwright.solver.formulas.valve_motion import lobe_inputs, lobe_of, square
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES, UNITS

Array = NDArray[np.float64]

VALVES = ("intake", "exhaust")
TURN = np.arange(-360.0, 361.0)
"""Crank degrees after the overlap's top dead centre, one apart: two turns, the valves' overlap in the middle."""

_SLIDER = ("crank.stroke", "rod.length", "piston.pin_offset")


@dataclass(frozen=True, slots=True)
class Curve:
    """One line to draw.

    Attributes:
        name: of the curve.
        meaning: in words.
        unit: key of the registry's units that ``values`` are in.
        angles: crank degrees, ascending; what they count from is ``origin``.
        values: one a degree, and one at the exact place of the extreme.
        at: the angle of the extreme that the matching figure is, in degrees.
        origin: ``overlap`` (top dead centre between exhaust and intake) or ``nose`` (of the lobe).

    """

    name: str
    meaning: str
    unit: str
    angles: Array
    values: Array
    at: float
    origin: str = "overlap"

    def value_at(self, degrees: float) -> float:
        """Give the value at an angle, between two samples in a straight line."""
        return float(np.interp(degrees, self.angles, self.values))


@dataclass(frozen=True, slots=True)
class NoCurve:
    """A curve that cannot be drawn, and the fields that it wants for (none where the fields contradict each other)."""

    name: str
    meaning: str
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class _Kind:
    meaning: str
    unit: str
    inputs: tuple[str, ...]
    make: Callable[..., tuple[Array, Any, float]]
    """SI values of the inputs to degrees, SI values, and the extreme's place in degrees."""
    origin: str = "overlap"


def curve(name: str, combination: Combination, plan: Plan) -> Curve | NoCurve:
    """Draw one of :data:`CURVES` for a combination: nominal sizes, at the plan's rev ceiling where speed counts.

    Raises:
        KeyError: no such curve.

    >>> curve("piston_below_deck", Combination({}), Plan()).missing[0]
    Missing(kind='crank', part=None, field='stroke')
    """
    kind = CURVES[name]
    view = View(combination, plan)
    missing: list[Missing] = []
    values = []
    for each in kind.inputs:
        bare = each.rstrip("?")
        if bare in FIGURES:
            value = compute(bare, view.reader, view.memo)
            if np.isnan(value):
                missing += view.missing(bare)
        else:
            value = view.reader[bare]
            missing += view.reader.missing((bare,)) if each == bare else ()
        values.append(float(value))
    known = [value for each, value in zip(kind.inputs, values, strict=True) if not each.endswith("?")]
    if missing or np.isnan(known).any():
        return NoCurve(name, kind.meaning, tuple(dict.fromkeys(missing)))
    with np.errstate(all="ignore"):
        angles, drawn, at = kind.make(*values)
    if not np.isfinite(drawn).all():
        return NoCurve(name, kind.meaning, ())
    _, unit = UNITS[kind.unit]
    factor = float(FIGURES[_SAME_UNIT[kind.unit]].factor) if unit else 1.0
    return Curve(name, kind.meaning, kind.unit, angles, np.asarray(drawn) / factor, at, kind.origin)


_SAME_UNIT = {"mm": "deck", "m_s": "mean_piston_speed", "N": "rod_load"}
"""A figure of each unit that curves are in: its factor turns SI into that unit."""


def _with(degrees: float, angles: Array = TURN) -> Array:
    """The angles with one more, in order."""
    return np.unique(np.append(angles, degrees))


def _position(stroke: float, rod: float, offset: float, deck: float) -> tuple[Array, Any, float]:
    return TURN, deck + np.asarray(drop_after_top(np.radians(TURN), stroke, rod, offset)), 0.0


def _speed(stroke: float, rod: float, offset: float, speed: float) -> tuple[Array, Any, float]:
    top = float(top_dead_centre(stroke, rod, offset))
    turn = np.arange(0.0, 361.0)
    at = float(np.degrees(peak_piston_speed_angle(stroke, rod, offset) - top))
    angles = _with(at, turn)
    return angles, piston_speed(np.radians(angles) + top, stroke, rod, offset, speed), at  # type: ignore[arg-type]


def _lobe(valve: str) -> tuple[str, ...]:
    """Leaves of a lobe, then those of what it moves."""
    return (*lobe_inputs(valve), f"cam.{valve}_curve?", ratio_of(valve), f"cam.lash_{valve}")


def _lift(*values: float) -> tuple[Array, Any, float]:
    *lobe, ratio, lash, nose = values
    laid = lobe_of(*lobe)
    at = float(np.degrees(nose))
    angles = _with(at)
    return angles, valve_lift_of(ratio * laid.lift(np.radians(angles) - nose), 1.0, lash), at


def _room(*values: float) -> tuple[Array, Any, float]:
    *lobe, ratio, lash, nose, stroke, rod, offset, lean, drop, mill, quench, pocket, flat = values
    laid = lobe_of(*lobe)
    gap = valve_gap(drop, mill, quench, pocket, lean, flat)
    _, place = piston_to_valve(gap, stroke, rod, offset, lean, laid, ratio, lash, nose, flat)
    at = float(np.degrees(place))
    angles = _with(at)
    turned = np.radians(angles)
    down = np.asarray(drop_after_top(turned, stroke, rod, offset)) * square(lean, flat)  # type: ignore[arg-type]
    lift = valve_lift_of(ratio * laid.lift(turned - nose), 1.0, lash) * (np.cos(lean) if flat else 1.0)
    return angles, gap + down - lift, at


def _over_the_lobe(laid: LobeShape, *more: float) -> Array:
    before, after = (float(np.degrees(each)) for each in laid.spans)
    inside = [each for each in more if -before <= each <= after]
    return np.unique([*np.linspace(-before, after, 361), *inside]) if np.isfinite(before + after) else TURN


def _force(rate: float, free: float, height: float, mass: float, *values: float) -> tuple[Array, Any, float]:
    *lobe, ratio, lash = values
    laid = lobe_of(*lobe)
    _, place = float_speed(rate, free, height, mass, laid, ratio, lash)
    at = float(np.degrees(place))
    angles = _over_the_lobe(laid, at, -at)
    lift = valve_lift_of(ratio * laid.lift(np.radians(angles)), 1.0, lash)
    return angles, spring_force(rate, free, height, lift), at


def _need(rate: float, free: float, height: float, mass: float, *values: float) -> tuple[Array, Any, float]:
    *lobe, ratio, lash, speed = values
    laid = lobe_of(*lobe)
    _, place = float_speed(rate, free, height, mass, laid, ratio, lash)
    at = float(np.degrees(place))
    angles = _over_the_lobe(laid, at, -at)
    bend = np.asarray(valve_acceleration(np.radians(angles), laid, ratio, speed))  # type: ignore[arg-type]
    return angles, mass * np.maximum(-bend, 0.0), at


_SPRING = ("spring_rate", "spring.free_length", "installed_spring_height")

CURVES: dict[str, _Kind] = {
    "piston_below_deck": _Kind("crown below the deck", "mm", (*_SLIDER, "deck"), _position),
    "piston_speed": _Kind(
        "piston speed at the rev ceiling, positive on the way down", "m_s", (*_SLIDER, "plan.rev_ceiling"), _speed
    ),
}
"""What can be drawn, by name."""

for _valve in VALVES:
    CURVES[f"valve_lift_{_valve}"] = _Kind(
        f"lift of the {_valve} valve", "mm", (*_lobe(_valve), f"{_valve}_nose"), _lift
    )
    CURVES[f"piston_to_valve_{_valve}"] = _Kind(
        f"piston to {_valve} valve, square to the pocket's floor",
        "mm",
        (
            *_lobe(_valve),
            f"{_valve}_nose",
            *_SLIDER,
            "head.valve_angle",
            "head.valve_drop",
            "machining.mill",
            "quench",
            f"piston.pocket_depth_{_valve}",
            "piston.pocket_floor",
        ),
        _room,
    )
    CURVES[f"spring_force_{_valve}"] = _Kind(
        f"spring force over the {_valve} lobe",
        "N",
        (*_SPRING, f"effective_mass_{_valve}", *_lobe(_valve)),
        _force,
        "nose",
    )
    CURVES[f"spring_need_{_valve}"] = _Kind(
        f"force that keeps the {_valve} valve on its cam at the rev ceiling",
        "N",
        (*_SPRING, f"effective_mass_{_valve}", *_lobe(_valve), "plan.rev_ceiling"),
        _need,
        "nose",
    )
