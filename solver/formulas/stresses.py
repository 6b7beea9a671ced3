"""Stress in a valve spring's wire. It is no verdict: what a spring stands is for its maker's sheet to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from kitwright.solver.formulas import springs
from kitwright.solver.registry import Slack, figure

_FORMULA = (
    "K × 8 × force × coil diameter / (π × wire³), C = coil diameter / wire, Bergsträsser's K = (4C + 2) / (4C − 3); "
    "Wahl's K = (4C − 1) / (4C − 4) + 0.615 / C gives some 1 % more"
)
_SOURCE = (
    "Shigley's Mechanical Engineering Design, 9th ed., ch. 10; EN 13906-1:2013 (recalled); "
    "Wahl's factor: Mechanical Engineer's Data Handbook, §1.5"
)


def coil_stress(force: float, wire: float, diameter: float) -> float:
    """Shear stress at the inside of a valve spring's coil, K_B 8 F D / (π d³), in Pa; force in N, wire and coil in m.

    K_B is Bergsträsser's factor, which EN 13906-1 uses; Wahl's gives 0.7 % (index 12) to 1.4 % (index 4) more. Valid
    for round wire and an index of 4 to 12, elastic. Source: Shigley, ch. 10; EN 13906-1:2013 (recalled, recomputed).

    >>> round(coil_stress(284.293, 0.0032, 0.0228) / 1e6, 1)
    602.5
    """
    factor = springs.bergstraesser_factor(springs.spring_index(wire, diameter))
    return springs.spring_stress(force, wire, diameter, factor)


def _at_least(*lift: Slack) -> Callable[[float, Mapping[str, Any]], tuple[Slack, ...]]:
    def at_least(stress: float, _: Mapping[str, Any]) -> tuple[Slack, ...]:
        def short_of(free: float, rate: float, wire: float, diameter: float) -> float:
            return stress / coil_stress(1.0, wire, diameter) / rate - free

        inputs = ("spring.free_length", "spring_rate", "spring.wire", "spring.coil_diameter")
        return Slack(1.0, "installed_spring_height"), Slack(1.0, "", short_of, inputs), *lift

    return at_least


for _where, _words, _lift in (
    ("seat", "with the valve shut", ()),
    ("open", "at the greater lift", (Slack(-1.0, "valve_lift"),)),
):
    figure(
        f"spring_stress_{_where}",
        unit="MPa",
        group="valve gear",
        meaning=f"shear stress of the spring's wire {_words}",
        formula=_FORMULA,
        source=_SOURCE,
        inputs=(f"spring_{_where}", "spring.wire", "spring.coil_diameter"),
        at_least=_at_least(*_lift),
    )(coil_stress)
