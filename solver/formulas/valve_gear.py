"""Valve lift, and what limits it: coil bind, retainer, head and spring."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kitwright.solver.registry import figure

_LIFT_SOURCE = "common practice, no source: rigid train, constant ratio"


def valve_lift_of(lobe_lift: float, ratio: float, lash: float) -> float:
    """Lift at the valve, max(0, lobe lift × ratio − lash), in metres; lengths in m, lash at the valve.

    Rigid train, constant ratio. Source: common practice, no source.

    >>> round(1000 * float(valve_lift_of(0.0065, 1.5, 0.0001)), 6)
    9.65
    """
    return np.maximum(0.0, lobe_lift * ratio - lash)  # type: ignore[no-any-return]


@figure(
    "exhaust_rocker_ratio",
    unit="",
    group="valve gear",
    meaning="ratio of the exhaust's rocker",
    formula="exhaust ratio; without one, the rocker's ratio",
    source="definition",
    inputs=("rocker.ratio", "rocker.exhaust_ratio?"),
    public=False,
)
def exhaust_rocker_ratio(ratio: float, own: float) -> float:
    """Ratio of the exhaust's rocker, without unit: its own, or the rocker's one ratio where ``own`` is NaN.

    Both valves then hang on one dimension, and what it is off by moves both: its ± is one, whichever valve is looked
    at. Source: definition.

    >>> float(exhaust_rocker_ratio(1.15, 1.1)), float(exhaust_rocker_ratio(1.15, float("nan")))
    (1.1, 1.15)
    """
    if isinstance(own, float):
        return ratio if own != own else own
    return np.where(np.isnan(own), ratio, own)


def ratio_of(valve: str) -> str:
    """What gives a valve's rocker ratio: a leaf, or the figure of the exhaust's. Source: definition.

    >>> ratio_of("exhaust")
    'exhaust_rocker_ratio'
    """
    return "rocker.ratio" if valve == "intake" else "exhaust_rocker_ratio"


for _valve in ("intake", "exhaust"):
    figure(
        f"valve_lift_{_valve}",
        unit="mm",
        group="valve gear",
        meaning=f"greatest {_valve} lift at the valve",
        formula=f"max(0, {_valve} lobe lift × rocker ratio − lash)",
        source=_LIFT_SOURCE,
        inputs=(
            f"cam.{_valve}_lobe_lift",
            ratio_of(_valve),
            f"cam.lash_{_valve}",
        ),
    )(valve_lift_of)


def greatest(intake: float, exhaust: float) -> float:
    """The greater of the intake's and the exhaust's, in their unit. Source: definition.

    >>> float(greatest(1.0, 2.0))
    2.0
    """
    return np.maximum(intake, exhaust)  # type: ignore[no-any-return]


def least(intake: float, exhaust: float) -> float:
    """The lesser of the intake's and the exhaust's, in their unit. Source: definition.

    >>> float(least(1.0, 2.0))
    1.0
    """
    return np.minimum(intake, exhaust)  # type: ignore[no-any-return]


figure(
    "valve_lift",
    unit="mm",
    group="valve gear",
    meaning="the greater of intake and exhaust lift at the valve",
    formula="max(intake lift, exhaust lift)",
    source="definition",
    inputs=("valve_lift_intake", "valve_lift_exhaust"),
    extreme="max",
)(greatest)


def coil_bind_margin_of(installed: float, gain: float, shim: float, solid: float, lift: float) -> float:
    """Travel left before the coils touch, in metres; all in m.

    Installed height + retainer's gain − shim − solid height − lift. Source: geometry, common practice.

    >>> round(1000 * coil_bind_margin_of(0.038, 0.0, 0.0, 0.0224, 0.00965), 6)
    5.95
    """
    return installed + gain - shim - solid - lift


def retainer_margin_of(room: float, gain: float, lift: float) -> float:
    """Travel left before the retainer meets the guide, room + gain − lift, in metres; all in m.

    Source: geometry, common practice.

    >>> round(1000 * retainer_margin_of(0.0124, 0.0, 0.00965), 6)
    2.75
    """
    return room + gain - lift


def lift_margin_of(allowed: float, lift: float) -> float:
    """Lift left below a maker's limit, allowed − lift, in metres; both in m. Source: definition.

    >>> round(1000 * lift_margin_of(0.010, 0.0085), 6)
    1.5
    """
    return allowed - lift


_MARGINS: dict[str, tuple[str, str, str, tuple[str, ...], Callable[..., float], bool]] = {
    "coil_bind_margin": (
        "travel left before the spring's coils touch",
        "installed height + retainer gain − shims − solid height − lift",
        "geometry, common practice",
        ("head.installed_height", "retainer.height_gain", "spring_shim.thickness", "spring.solid_height"),
        coil_bind_margin_of,
        True,
    ),
    "retainer_margin": (
        "travel left before the retainer meets the guide",
        "retainer room + retainer gain − lift",
        "geometry, common practice",
        ("head.retainer_room", "retainer.height_gain"),
        retainer_margin_of,
        True,
    ),
    "head_lift_margin": (
        "lift left below what the head takes",
        "head's greatest valve lift − lift",
        "definition",
        ("head.max_valve_lift",),
        lift_margin_of,
        False,
    ),
    "spring_lift_margin": (
        "lift left below what the spring takes",
        "spring's greatest lift − lift",
        "definition",
        ("spring.max_lift",),
        lift_margin_of,
        False,
    ),
}

for _name, (_meaning, _formula, _source, _inputs, _function, _public) in _MARGINS.items():
    for _valve in ("intake", "exhaust"):
        figure(
            f"{_name}_{_valve}",
            unit="mm",
            group="valve gear",
            meaning=f"{_meaning}, {_valve}",
            formula=_formula,
            source=_source,
            inputs=(*_inputs, f"valve_lift_{_valve}"),
            shape="additive",
            public=False,
        )(_function)
    figure(
        _name,
        unit="mm",
        group="valve gear",
        meaning=f"{_meaning}, the lesser of both valves",
        formula=_formula,
        source=_source,
        inputs=(f"{_name}_intake", f"{_name}_exhaust"),
        shape="additive",  # both valves share all terms but the lift, which one facet of the search decides
        extreme="min",
        public=_public,
    )(least)
