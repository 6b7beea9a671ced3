"""Random catalogues with masses, cam timing, springs and valves filled in, and plans with goals on what they decide."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import lru_cache
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View
from kitwright.solver.combination import Combination
from kitwright.solver.fields import Decompressor, DurationAt, Readings
from kitwright.solver.formulas.cam_curve import LobeCurve
from kitwright.solver.parts import Cam, Crank, Gasket, Head, Part, Piston, Pushrod, Rocker, Rod, Spring
from kitwright.solver.plan import Conditions, Goal, Plan
from kitwright.solver.quantity import (
    ANGLE,
    AREA,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    MOMENT,
    RATIO,
    STIFFNESS,
    Dimension,
    Quantity,
    parse,
)
from kitwright.solver.registry import FIGURES
from tests import random_catalogues
from tests.twin import everything

MOTION_GOALS = (
    "dynamic_compression",
    "cranking_pressure",
    "piston_to_valve_intake",
    "piston_to_valve_exhaust",
    "float_speed",
    "spring_seat",
    "spring_open",
    "spring_surge",
    "peak_piston_speed",
    "peak_piston_acceleration",
    "rod_load",
    "rod_stretch",
    "quench_at_speed",
    "inlet_mach_index",
    "port_speed",
    "cranking_gauge_pressure",
    "cranking_torque",
    "rope_force",
    "lever_to_counterweight",
    "rod_to_cam",
    "intake_opens",
    "intake_closes",
    "exhaust_opens",
    "exhaust_closes",
    "overlap",
    "spring_stress_seat",
    "spring_stress_open",
    "rod_stress",
    "rocker_sweep",
    "effective_mass",
    "adjuster_left_shorter",
    "adjuster_left_longer",
    "spring_yield_margin",
    "lift_to_diameter_intake",
    "curtain_area_intake",
    "curtain_area_exhaust",
    "valve_gas_speed_intake",
    "reciprocating_mass",
    "counterweight_wanted",
    "pushrod_length",
    "pushrod_mismatch",
    "balance_factor",
    "rev_limit",
    "compression",
    "quench",
    "cost",
)

RATIOS = ("spring_safety", "float_ratio")
"""Drawn apart, so that what a seed draws of the goals above stays as it was."""


def parts(seed: int) -> list[Part]:
    """The parts of :mod:`tests.random_catalogues` with the fields of motion added, each perhaps unknown."""
    rng = random.Random(seed * 31 + 7)

    def value(number: float, unit: str, dimension: Dimension, tolerance: float = 0.0, chance: float = 0.95) -> Any:
        if rng.random() > chance:
            return None
        text = f"{number:g} {unit}" + (f" ± {tolerance:g} {unit}" if tolerance and rng.random() < 0.5 else "")
        return parse(text, dimension)

    found: list[Part] = []
    for part in random_catalogues.parts(seed):
        more: dict[str, Any] = {} if rng.random() < 0.1 else {"fits": ()}
        if rng.random() < 0.9:  # sizes that fit one another: the fits are the other generator's matter
            sizes = {"journal": "30 mm", "big_end": "30 mm", "pin": "16 mm", "bore": "72 mm", "width": "21.5 mm"}
            own = sizes | ({"bore": "73 mm"} if isinstance(part, Gasket) else {})
            more |= {name: parse(text, LENGTH) for name, text in own.items() if hasattr(part, name)}
        if hasattr(part, "material"):
            metal = random.Random(f"{seed} {part.id} metal")
            more["material"] = metal.choice(["steel", "grey iron", "aluminium 356", None])
        more |= _clearances(random.Random(f"{seed} {part.id} play"), part)
        if isinstance(part, Crank):
            more["counterweight_moment"] = value(rng.choice([9000, 11000]), "g*mm", MOMENT, 200)
        elif isinstance(part, Rod):
            more["small_end_mass"] = value(90, "g", MASS, 2)
            more["big_end_mass"] = value(210, "g", MASS, 2)
            more["shank_area"] = value(0.95, "cm2", AREA, 0.02)
            more["max_load"] = value(rng.choice([6, 9]), "kN", FORCE)
            more["material"] = rng.choice(["steel 4340", "steel", None, "unheard-of"])  # in place of the one above
        elif isinstance(part, Piston):
            more["mass"] = value(rng.choice([260, 290]), "g", MASS, 5)
            more["pocket_depth_intake"] = value(rng.choice([1, 2]), "mm", LENGTH, 0.1)
            more["pocket_depth_exhaust"] = value(rng.choice([1, 2]), "mm", LENGTH, 0.1)
            floors = random.Random(f"{seed} floors").choice([(None, "parallel"), ("flat",), (None, "parallel", "flat")])
            more["pocket_floor"] = random.Random(f"{seed} {part.id} floor").choice(floors)
        elif isinstance(part, Head):
            more["valve_drop"] = value(rng.choice([2, 3, 4]), "mm", LENGTH, 0.1)
            more["valve_angle"] = value(rng.choice([0, 12]), "deg", ANGLE, 0.5)
            more["intake_valve"] = value(rng.choice([24, 32]), "mm", LENGTH, 0.1)
            more["exhaust_valve"] = value(22, "mm", LENGTH, 0.1)
            more["intake_port"] = value(rng.choice([26, 27]), "mm", LENGTH, 0.2)
            more["flow_coefficient"] = value(0.38, "", RATIO, 0.02)
        elif isinstance(part, Rocker):
            more["valve_arm"] = value(rng.choice([28, 32]), "mm", LENGTH, 0.2)
        elif isinstance(part, Cam):
            more |= _timing(rng, value) | _readings(random.Random(f"{seed} {part.id}"), part)
            more["decompressor"] = _decompressor(random.Random(f"{seed} {part.id} decompressor"))
        elif isinstance(part, Spring):
            more |= _spring(rng, value)
        found.append(replace(part, **more | _weighed(random.Random(f"{seed} {part.id} weighed"), part)))
    return found


def _weighed(rng: random.Random, part: Part) -> dict[str, Any]:
    """What rockers and pushrods weigh, and wires of other sizes: from a generator of their own, they came later."""

    def drawn(choices: list[str], dimension: Dimension, chance: float = 0.7) -> Any:
        return parse(rng.choice(choices), dimension) if rng.random() < chance else None

    if isinstance(part, Rocker):
        return {"inertia": drawn(["6 kg*mm2 ± 0.3 kg*mm2", "12 kg*mm2"], INERTIA)}
    if isinstance(part, Pushrod):
        return {"mass": drawn(["19 g ± 1 g", "40 g"], MASS)}
    if isinstance(part, Spring) and rng.random() < 0.6:
        wire = drawn(["2.6 mm ± 0.02 mm", "3 mm", "3.4 mm ± 0.03 mm", "12 mm"], LENGTH, 0.9)
        coil = drawn(["18 mm ± 0.2 mm", "22.8 mm"], LENGTH, 0.9)
        metal = rng.choice(["music wire", "chrome-silicon", "oil tempered wire", "valve spring wire", None])
        free = drawn(["33 mm ± 0.3 mm", "40 mm", "45 mm ± 0.3 mm"], LENGTH, 0.9)
        coils = drawn(["6.5", "7"], RATIO)
        rate = drawn(["18 N/mm ± 0.5 N/mm", "40 N/mm"], STIFFNESS, 0.7)
        return {
            "wire": wire,
            "coil_diameter": coil,
            "material": metal,
            "free_length": free,
            "total_coils": coils,
            "rate": rate,
            "moving_mass": drawn(["118 g ± 3 g", "200 g"], MASS, 0.95),
        }
    return {}


def _clearances(rng: random.Random, part: Part) -> dict[str, Any]:
    """Play of some bearings and skirts, with and without ±."""
    found = {}
    for name, texts in (
        ("main_clearance", ("0.03 mm", "0.05 mm ± 0.02 mm")),
        ("big_end_clearance", ("0.04 mm ± 0.01 mm", "0 mm")),
        ("pin_clearance", ("0.02 mm", "0.015 mm ± 0.005 mm")),
        ("skirt_clearance", ("0.08 mm", "0.11 mm ± 0.03 mm")),
        ("skirt_length", ("40 mm ± 1 mm", "30 mm")),
    ):
        if hasattr(part, name) and rng.random() < 0.6:
            found[name] = parse(rng.choice(texts), LENGTH)
    return found


def _timing(rng: random.Random, value: Any) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for valve, seat in (("intake", rng.choice([268, 282])), ("exhaust", rng.choice([272, 284]))):
        found[f"{valve}_duration"] = value(seat, "deg", ANGLE, 2)
        duration: Quantity = parse(f"{seat - 52} deg", ANGLE)
        found[f"{valve}_duration_at"] = DurationAt(lift=parse("1 mm", LENGTH), duration=duration)
    found["lobe_separation"] = value(rng.choice([104, 108]), "deg", ANGLE, 1)
    found["intake_centreline"] = value(rng.choice([102, 106]), "deg", ANGLE, 1)
    return found


def _decompressor(rng: random.Random) -> Decompressor | None:
    """Of some cams, of which more or less is known; some let go before the intake is shut."""
    if rng.random() < 0.5:
        return None
    closes = rng.choice([None, "60 deg", "58 deg ± 3 deg", "130 deg ± 6 deg", "150 deg"])
    reach = rng.choice([None, "18 mm", "22 mm ± 0.2 mm", "30 mm ± 0.1 mm"])
    return Decompressor(
        closes=None if closes is None else parse(closes, ANGLE),
        reach=None if reach is None else parse(reach, LENGTH),
        fitted=rng.random() < 0.85,
    )


def _readings(rng: random.Random, cam: Cam) -> dict[str, Any]:
    """Readings of some lobes, to 0.01 mm every 10 degrees, a little off the data sheet's lobe."""
    found: dict[str, Any] = {}
    for valve, nose in (("intake", rng.uniform(100, 108)), ("exhaust", rng.uniform(-112, -104))):
        if rng.random() < 0.2:
            lift = getattr(cam, f"{valve}_lobe_lift").si * rng.uniform(0.98, 1.02)
            lobe = LobeCurve(lift, math.radians(rng.choice([140, 145])), rng.uniform(12, 25))
            degrees = range(-160, 161, 10)
            lifts = tuple(round(1e5 * float(lobe.lift(math.radians(each)))) / 1e5 for each in degrees)
            angles = tuple(math.radians(nose + each) for each in degrees)
            found[f"{valve}_readings"] = Readings(f"{cam.id}-{valve}.csv", angles, lifts, 1e-5)
    return found


def _spring(rng: random.Random, value: Any) -> dict[str, Any]:
    found = {"free_length": value(rng.choice([42, 45]), "mm", LENGTH, 0.3), "moving_mass": value(118, "g", MASS, 3)}
    if rng.random() < 0.5:
        found["rate"] = value(rng.choice([14, 18]), "N/mm", STIFFNESS, 0.5)
    else:
        found |= {"wire": value(3.2, "mm", LENGTH), "coil_diameter": value(22.8, "mm", LENGTH)}
        found |= {"total_coils": value(7, "", RATIO), "material": "chrome-vanadium"}
    return found


def _heat(rng: random.Random) -> dict[str, float]:
    """Temperatures of some parts in some plans, K."""
    if rng.random() < 0.5:
        return {}
    every = {"block": 400.0, "barrel": 430.0, "case": 360.0, "crank": 360.0, "rod": 390.0, "piston": 480.0}
    return {word: value for word, value in every.items() if rng.random() < 0.5}


@lru_cache(maxsize=1000)
def question(seed: int, most: int = 60) -> tuple[Catalogue, Plan]:
    """A random catalogue and plan with goals on motion, of at most so many raw combinations."""
    rng = random.Random(seed * 104729 + 3)
    found = parts(seed)
    reference = {"pushrod": "141 mm ± 0.2 mm", "gasket_stack": "1 mm", "base_radius": "13 mm"}
    known = {name: parse(text, LENGTH) for name, text in reference.items()}
    known["balance_factor"] = parse("0.55 ± 0.01", RATIO)
    while True:
        catalogue = Catalogue.of(found)
        plan = Plan(
            name="random motion",
            gaskets=rng.choice([1, 2]),
            machining=frozenset(each for each in ("mill", "deck_cut") if rng.random() < 0.4),
            optional=frozenset(each for each in ("retainer", "spring_shim", "spacer") if rng.random() < 0.5),
            tolerance=rng.choice(["nominal", "nominal", "statistical", "worst_case"]),
            rev_ceiling=rng.choice([None, 5500.0, 6500.0]),
            conditions=Conditions(
                altitude=rng.choice([0.0, 900.0]),
                temperatures=_heat(random.Random(f"heat {seed}")),
                float_margin=random.Random(f"margin {seed}").choice([1.0, 1.0, 1.1]),
                rope_radius=random.Random(f"rope {seed}").choice([None, 0.035, 0.05]),
            ),
            reference=known if rng.random() < 0.6 else {},
        )
        raw = sum(1 for _ in zip(range(most + 1), everything(catalogue, plan), strict=False))
        if raw <= most:
            return catalogue, _with_goals(rng, catalogue, plan, seed)
        counts = {kind: len(catalogue.of_kind(kind)) for kind in catalogue.kinds}
        crowded = max(counts, key=counts.__getitem__)
        found.remove(rng.choice([part for part in found if part.kind == crowded]))


def _with_goals(rng: random.Random, catalogue: Catalogue, plan: Plan, seed: int) -> Plan:
    every = random_catalogues.whole_if_none_fits(catalogue, plan)
    goals = {}
    for name in rng.sample(MOTION_GOALS, rng.randint(1, 4)) if every else ():
        goals[name] = _goal(rng, every, plan, name)
    apart = random.Random(f"ratio {seed}")
    if every and apart.random() < 0.25:
        name = apart.choice(RATIOS)
        goals[name] = _goal(apart, every, plan, name)
    return plan.but(goals=goals)


def _goal(rng: random.Random, every: list[Combination], plan: Plan, name: str) -> Goal:
    value = View(rng.choice(every), plan).value(name)
    step = FIGURES[name].step
    value = round(value / step * 2) * step / 2 if value == value and abs(value) < 1e7 else step
    width = step * rng.choice([1, 3, 10])
    return Goal(
        name,
        aim=rng.choice([None, value, value + step / 2]),
        minimum=value - width if rng.random() < 0.4 else None,
        maximum=value + width if rng.random() < 0.4 else None,
        step=step,
        weight=rng.choice([1, 2]),
    )
