"""Stress in a valve spring's wire, and how far it stays below the wire's torsional yield.

Below the yield it is no verdict: what a spring stands for long is for its maker's sheet to say.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

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


SLACK = 1000.0
"""Safety of a spring that does not press: a number, so that it can be limited and shown like any other."""

_YIELD_SOURCE = "Shigley's Mechanical Engineering Design, 9th ed., tables 10-4 and 10-6 (recalled)"


@figure(
    "spring_yield",
    unit="MPa",
    group="valve gear",
    meaning="shear stress at which the spring's wire yields, its set not yet removed",
    formula="share × A / wire^m (mm, MPa): 45 % of the tensile strength for music wire (A 2211, m 0.145) and hard "
    "drawn wire (1783, 0.190), 50 % for oil tempered wire (1855, 0.187), chrome vanadium (2005, 0.168) and chrome "
    "silicon (1974, 0.108)",
    source=_YIELD_SOURCE,
    inputs=("spring.wire_yield", "spring.wire_exponent", "spring.wire"),
)
def spring_yield(at_one: float, exponent: float, wire: float) -> float:
    """Torsional yield of a spring's wire, Y₁ / (d / 1 mm)ᵐ, in Pa; Y₁ (Pa) that of a wire of 1 mm, wire d in m.

    The share of the tensile strength is the lowest of the table, that of springs whose set has not been removed; a
    maker who sets his springs may let them go further. Valid for the sizes that the table gives, at room temperature.
    Source: Shigley's Mechanical Engineering Design, 9th ed., tables 10-4 and 10-6 (recalled, recomputed).

    >>> round(float(spring_yield(0.5 * 2005e6, 0.168, 0.0032)) / 1e6, 1)
    824.6
    """
    limit: float = at_one * (wire / 1e-3) ** -exponent
    return limit


def _stressed_at_most(allowed: Callable[[float], float]) -> tuple[Slack, ...]:
    """Terms that are ≤ 0 where the stress at the greater lift is no more than what is allowed of the yield, in Pa."""

    def spare(free: float, rate: float, limit: float, wire: float, diameter: float) -> float:
        return free - allowed(limit) / coil_stress(1.0, wire, diameter) / rate

    inputs = ("spring.free_length", "spring_rate", "spring_yield", "spring.wire", "spring.coil_diameter")
    return Slack(-1.0, "installed_spring_height"), Slack(1.0, "", spare, inputs), Slack(1.0, "valve_lift")


def _margin_at_least(margin: float, _: Mapping[str, Any]) -> tuple[Slack, ...]:
    return _stressed_at_most(lambda limit: limit - margin)


def _safety_at_least(ratio: float, _: Mapping[str, Any]) -> tuple[Slack, ...] | None:
    return _stressed_at_most(lambda limit: limit / ratio) if ratio > 0 else None


@figure(
    "spring_yield_margin",
    unit="MPa",
    group="valve gear",
    meaning="torsional yield of the spring's wire less its stress at the greater lift",
    formula="torsional yield − stress at the greater lift",
    source=_YIELD_SOURCE + "; " + _SOURCE,
    inputs=("spring_yield", "spring_stress_open"),
    at_least=_margin_at_least,
)
def spring_yield_margin(limit: float, stress: float) -> float:
    """Torsional yield less stress at the greater lift, in Pa; both in Pa. Below 0 the spring takes a set.

    Source: definition; those of :func:`spring_yield` and :func:`coil_stress`.

    >>> round(spring_yield_margin(824.6e6, 602.5e6) / 1e6, 1)
    222.1
    """
    return limit - stress


@figure(
    "spring_safety",
    unit="",
    group="valve gear",
    meaning="torsional yield of the spring's wire over its stress at the greater lift",
    formula="torsional yield / stress at the greater lift, at most 1000",
    source=_YIELD_SOURCE + "; " + _SOURCE,
    inputs=("spring_yield", "spring_stress_open"),
    at_least=_safety_at_least,
)
def spring_safety(limit: float, stress: float) -> float:
    """Torsional yield over stress at the greater lift, without unit; both in Pa. Below 1 the spring takes a set.

    Static: a spring may break from fatigue long before. At most 1000, which stands for a spring that hardly presses or
    not at all. Source: definition; those of :func:`spring_yield` and :func:`coil_stress`.

    >>> round(float(spring_safety(824.6e6, 602.5e6)), 3)
    1.369
    """
    ratio: float = limit / np.maximum(stress, limit / SLACK)
    return ratio
