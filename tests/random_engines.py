"""Seeded engines with every field of every part known, most of them with a tolerance: what formulas are tried on."""

from __future__ import annotations

import random
from fractions import Fraction
from typing import Any

from kitwright.solver.combination import Combination
from kitwright.solver.fields import Adjuster, CutTo, Decompressor, DurationAt, LengthSteps, TopLand
from kitwright.solver.parts import (
    Block,
    Cam,
    Crank,
    Flywheel,
    Gasket,
    Head,
    Piston,
    Pushrod,
    Retainer,
    Rocker,
    Rod,
    Spacer,
    Spring,
    SpringShim,
)
from kitwright.solver.plan import Conditions, MeasuredDeck, Plan
from kitwright.solver.quantity import (
    ANGLE,
    AREA,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    MOMENT,
    PRESSURE,
    RATIO,
    ROTATION,
    STIFFNESS,
    VOLUME,
    Dimension,
    Quantity,
    parse,
    parse_deck,
)

MM = Fraction(1, 1000)


class Bench:
    """Measures parts: a value within a range, and a tolerance most of the time."""

    def __init__(self, seed: int, toleranced: float = 0.8) -> None:
        self.random = random.Random(seed)
        self.toleranced = toleranced

    def value(self, low: float, high: float, unit: str, dimension: Dimension, tolerance: float = 0.0) -> Quantity:
        text = f"{self.random.uniform(low, high):.4f} {unit}"
        if tolerance and self.random.random() < self.toleranced:
            text += f" ± {self.random.uniform(0.3, 1.0) * tolerance:.4f} {unit}"
        return parse(text, dimension)

    def mm(self, low: float, high: float, tolerance: float = 0.1) -> Quantity:
        return self.value(low, high, "mm", LENGTH, tolerance)

    def exact(self, value: float) -> Quantity:
        return parse(f"{value} mm", LENGTH)


def engine(
    seed: int,
    toleranced: float = 0.8,
    layers: int | None = None,
    blank: bool | None = None,
    measured: bool = False,
    landed: bool | None = None,
) -> tuple[Combination, Plan]:
    """One engine in which every figure can be computed, and a plan that gives speed, surroundings and reference.

    ``layers``, ``blank`` (a pushrod to be cut) and ``landed`` (a piston with a top land) are drawn where they are None.
    """
    bench = Bench(seed, toleranced)
    later = Bench(seed + 1_000_000, toleranced)  # fields that came later: the earlier ones stay what they were
    mm, value, chance = bench.mm, bench.value, bench.random.random
    layers = bench.random.randint(1, 3) if layers is None else layers
    blank = chance() < 0.3 if blank is None else blank
    loose = Bench(seed + 1_000_003, toleranced)  # of its own, so that the rest of a seed stays as it is
    steps = LengthSteps(max=bench.exact(1.0), step=bench.exact(0.25), labour=20.0)
    dished = chance() < 0.5
    head = Head(
        id="h",
        chamber=value(19, 26, "cc", VOLUME, 0.5),
        chamber_area=value(30, 36, "cm2", AREA, 0.5),
        mill=steps,
        max_valve_lift=mm(11, 12),
        installed_height=mm(36, 38),
        retainer_room=mm(11, 12),
        intake_valve=mm(30, 34),
        exhaust_valve=mm(26, 29),
        intake_port=mm(25, 28),
        flow_coefficient=value(0.35, 0.42, "", RATIO, 0.02),
        valve_angle=value(5, 20, "deg", ANGLE, 0.5),
        valve_drop=mm(2, 4),
    )
    block = Block(
        id="b",
        bore=mm(71, 73, 0.02),
        block_height=mm(142.5, 143.2),
        cylinders=bench.random.choice([1, 2]),
        barrel_foot=mm(50, 52),
        cam_to_crank=mm(84, 86),
        cam_to_barrel=later.mm(22, 24),
        counterweight_room=mm(45, 47),
        rod_room=mm(62, 64),
        deck_cut=steps,
    )
    crank = Crank(
        id="k",
        stroke=mm(55, 61),
        journal=bench.exact(30),
        journal_width=mm(22, 22.3),
        counterweight_radius=mm(32, 34),
        counterweight_moment=value(9000, 11000, "g*mm", MOMENT, 200),
        main_clearance=loose.mm(0.02, 0.06, 0.01),
        max_rpm=value(6900, 8000, "rpm", ROTATION, 150),
    )
    rod = Rod(
        id="r",
        length=mm(84, 86),
        big_end=bench.exact(30),
        pin=bench.exact(16),
        width=mm(21.7, 22),
        small_end_mass=value(80, 100, "g", MASS, 2),
        big_end_mass=value(190, 220, "g", MASS, 4),
        outer_radius=mm(26, 28),
        big_end_clearance=loose.mm(0.02, 0.05, 0.0),
        pin_clearance=loose.mm(0.01, 0.03, 0.0),
        shank_area=value(0.8, 1.1, "cm2", AREA, 0.03),
        radius_of_gyration=later.mm(3.5, 5.5),
        yield_strength=later.value(600, 800, "MPa", PRESSURE, 20),
        material="steel 4340",
        max_load=value(8, 14, "kN", FORCE, 0.3),
        max_rpm=value(6900, 8000, "rpm", ROTATION, 150),
    )
    piston = Piston(
        id="p",
        bore=bench.exact(72),
        compression_height=mm(27.2, 28),
        skirt_clearance=loose.mm(0.05, 0.12, 0.02),
        skirt_length=loose.mm(30, 45, 0.0),
        pin_clearance=loose.mm(0.005, 0.02, 0.0),
        pin=bench.exact(16),
        pin_offset=mm(0.4, 1.0, 0.1) if chance() < 0.5 else None,
        dish=value(1, 4, "cc", VOLUME, 0.2) if dished else None,
        dome=None if dished else value(1, 3, "cc", VOLUME, 0.2),
        mass=value(250, 300, "g", MASS, 4),
        skirt_below_pin=mm(18, 20),
        top_land=_land(bench, landed),
        pocket_depth_intake=mm(1, 3),
        pocket_depth_exhaust=mm(1, 3),
    )
    spring = Spring(
        id="s",
        solid_height=mm(21, 23),
        free_length=mm(43, 46, 0.3),
        rate=value(14, 19, "N/mm", STIFFNESS, 0.5) if chance() < 0.5 else None,
        wire=mm(3.1, 3.4, 0.03),
        coil_diameter=mm(22, 24, 0.2),
        total_coils=value(6.5, 8, "", RATIO, 0.1),
        material="chrome-vanadium",
        max_lift=mm(10, 11),
        max_rpm=value(6900, 8000, "rpm", ROTATION, 150),
        moving_mass=value(105, 125, "g", MASS, 3),
    )
    cut = CutTo(min=bench.exact(130), max=bench.exact(150))
    weight = later.value(18, 26, "g", MASS, 1)
    pushrod = Pushrod(id="u", cut_to=cut, mass=weight) if blank else Pushrod(id="u", length=mm(140, 142), mass=weight)
    parts: dict[str, Any] = {
        "block": block,
        "crank": crank,
        "rod": rod,
        "piston": piston,
        "spacer": Spacer(id="d", thickness=mm(0.3, 0.8)),
        "head": head,
        "cam": _cam(bench, Bench(seed + 100_000, toleranced)),
        "rocker": Rocker(
            id="o",
            ratio=value(1.0, 1.2, "", RATIO, 0.02),
            exhaust_ratio=value(1.0, 1.2, "", RATIO, 0.02) if chance() < 0.5 else None,
            valve_arm=mm(31, 33),
            inertia=later.value(6, 9, "kg*mm2", INERTIA, 0.5),
            adjuster=Adjuster(shorter=later.mm(0.8, 1.6), longer=later.mm(0.8, 1.6)),
        ),
        "spring": spring,
        "retainer": Retainer(id="t", height_gain=mm(0.5, 1.5)),
        "spring_shim": SpringShim(id="i", thickness=mm(0.3, 0.6)),
        "pushrod": pushrod,
        "flywheel": Flywheel(id="f", max_rpm=value(6900, 8000, "rpm", ROTATION, 150)),
    }
    stack = tuple(Gasket(id=f"g{i}", thickness=mm(0.3, 0.8, 0.05), bore=mm(73, 75, 0.3)) for i in range(layers))
    decks: tuple[MeasuredDeck, ...] = ()
    if measured:
        decks = (MeasuredDeck(parse_deck("0.32 mm down ± 0.02 mm"), dict(zip(BOTTOM, "bkrp", strict=True))),)
    plan = Plan(
        name="engine",
        rev_ceiling=bench.random.choice([5500.0, 6500.0]),
        gaskets=3,
        machining=frozenset({"mill", "deck_cut"}),
        measured_decks=decks,
        conditions=Conditions(
            altitude=bench.random.choice([0.0, 900.0]),
            polytropic=1.25,
            float_margin=1.1,
            peak_pressure=6e6,
            rope_radius=0.055,
        ),
        reference={
            "pushrod": mm(140.5, 141.5),
            "gasket_stack": mm(0.9, 1.1, 0.05),
            "base_radius": mm(12.5, 13.5),
            "pushrod_angle": value(2, 8, "deg", ANGLE, 0.5),
            "balance_factor": value(0.5, 0.6, "", RATIO, 0.02),
        },
    )
    combination = Combination(parts, stack, mill=bench.random.choice([0, 1, 2]) * MM / 4, deck_cut=MM / 4)
    return combination, plan


BOTTOM = ("block", "crank", "rod", "piston")


def _land(bench: Bench, landed: bool | None) -> TopLand | None:
    drawn = bench.random.random() < 0.7
    if not (drawn if landed is None else landed):
        return None
    own = bench if drawn else Bench(7)
    return TopLand(height=own.mm(4, 6), clearance=own.mm(0.3, 0.6))


def _cam(bench: Bench, late: Bench) -> Cam:
    mm, value = bench.mm, bench.value
    seats = {valve: bench.random.uniform(266, 284) for valve in ("intake", "exhaust")}
    timing: dict[str, Any] = {}
    for valve, seat in seats.items():
        timing[f"{valve}_duration"] = value(seat, seat, "deg", ANGLE, 1)
        short = value(seat - 53, seat - 51, "deg", ANGLE, 1)
        timing[f"{valve}_duration_at"] = DurationAt(lift=bench.exact(1), duration=short)
    return Cam(
        id="c",
        intake_lobe_lift=mm(6.6, 7.4),
        exhaust_lobe_lift=mm(6.2, 7.0),
        lobe_separation=value(103, 109, "deg", ANGLE, 1),
        intake_centreline=value(102, 107, "deg", ANGLE, 1),
        lash_intake=mm(0.08, 0.12, 0.02),
        lash_exhaust=mm(0.12, 0.18, 0.02),
        base_radius=mm(12.5, 13.5),
        core_radius=mm(13.5, 14.5),
        decompressor=Decompressor(closes=late.value(50, 70, "deg", ANGLE, 1), reach=late.mm(16, 18)),
        max_rpm=value(6900, 8000, "rpm", ROTATION, 150),
        **timing,
    )
