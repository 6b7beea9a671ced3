"""Seeded random catalogues and plans, small enough for the exhaustive twin and mean enough for the search."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import lru_cache
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import View, judge
from kitwright.solver.combination import Combination
from kitwright.solver.fields import Adjuster, CutTo, LengthSteps, Rebore, TopLand, VolumeSteps
from kitwright.solver.parts import (
    Block,
    Cam,
    Crank,
    Flywheel,
    Gasket,
    Head,
    Part,
    Piston,
    Pushrod,
    Retainer,
    Rocker,
    Rod,
    Spacer,
    Spring,
    SpringShim,
)
from kitwright.solver.plan import Goal, MeasuredDeck, Plan
from kitwright.solver.quantity import (
    ANGLE,
    AREA,
    LENGTH,
    RATIO,
    ROTATION,
    VOLUME,
    Dimension,
    Quantity,
    parse,
    parse_deck,
)
from kitwright.solver.registry import FIGURES
from kitwright.solver.stackup import Spreads
from tests.twin import everything

FIGURE_GOALS = (
    "compression",
    "quench",
    "deck",
    "valve_lift",
    "valve_lift_intake",
    "coil_bind_margin",
    "retainer_margin",
    "displacement",
    "rod_ratio",
    "bore_stroke_ratio",
    "clearance_volume",
    "skirt_to_counterweight",
    "skirt_out",
    "rod_to_cam",
    "rod_to_core",
    "counterweight_to_case",
    "lobe_to_barrel",
    "ring_to_deck",
    "rod_side_clearance",
    "mean_piston_speed",
    "rev_limit",
    "gasket_count",
    "parts_to_buy",
    "cost",
)


class Maker:
    """Writes parts as a builder would: mm or inch, with or without tolerance, some fields unknown."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.apart = random.Random(f"{seed} apart")
        """What was thought of later is drawn from here, so that the rest of a seed stays as it is."""
        self.serial = 0

    def some(self, chance: float) -> bool:
        return self.random.random() < chance

    def size(self, value: float, tolerance: float = 0.05, inch: float = 0.15) -> Quantity:
        """A length near a value in mm, on a grid of 0.05 mm or 0.001 in."""
        if self.some(inch):
            text = f"{round(value / 25.4, 3)} in"
            return parse(text + (f" ± {round(tolerance / 25.4, 4)} in" if self.some(0.6) else ""), LENGTH)
        text = f"{round(value * 20) / 20:g} mm"
        return parse(text + (f" ± {tolerance} mm" if self.some(0.7) else ""), LENGTH)

    def fit(self, value: float) -> Quantity:
        """A size that others have to match: exactly this many mm, sometimes written in inches to 0.1 µm."""
        return parse(f"{value} mm", LENGTH) if self.some(0.8) else parse(f"{value / 25.4:.8f} in", LENGTH)

    def near(self, value: float, unit: str, dimension: Dimension, tolerance: float = 0.0) -> Quantity:
        text = f"{value:g} {unit}"
        if tolerance and self.some(0.6):
            text += f" ± {tolerance:g} {unit}"
        return parse(text, dimension)

    def maybe(self, value: Any, chance: float = 0.75) -> Any:
        return value if self.some(chance) else None

    def common(self, kind: str) -> dict[str, Any]:
        self.serial += 1
        letter = self.random.choice("abcxyz")
        price = self.random.choice([None, 0, 5, 12.5, 20, 20, 38, 60.01])
        return {
            "id": f"{letter}{kind}{self.serial}",
            "price": None if price is None else float(price),
            "on_shelf": self.random.choice([0, 1, 1, 2]),
            "fits": self.random.choice([(), (), (), (), (), ("small",), ("large", "small"), ("large",)])
            if kind != "block"
            else (),
        }

    def many(self, low: int, high: int) -> range:
        return range(self.random.randint(low, high))


def parts(seed: int) -> list[Part]:
    """A random catalogue of some two dozen parts."""
    make = Maker(seed)
    choose = make.random.choice
    found: list[Part] = []
    for _ in make.many(1, 2):
        found.append(
            Block(
                **make.common("block"),
                bore=make.fit(72),
                block_height=make.size(choose([142, 142.5]), 0.1),
                cylinders=choose([1, 1, 2]),
                tags=choose([("small",), ("small", "large"), ("small", "large"), ()]),
                barrel_foot=make.maybe(make.size(50)),
                cam_to_crank=make.maybe(make.size(85)),
                counterweight_room=make.maybe(make.size(40)),
                rod_room=make.maybe(make.size(60)),
                deck_cut=make.maybe(
                    LengthSteps(max=make.near(0.5, "mm", LENGTH), step=make.near(0.25, "mm", LENGTH), labour=15.0), 0.4
                ),
                rebore=make.maybe(Rebore(to=(make.near(72.5, "mm", LENGTH, 0.02),), labour=40.0), 0.4),
            )
        )
    for _ in make.many(2, 4):
        found.append(
            Crank(
                **make.common("crank"),
                stroke=make.size(choose([53, 57, 57, 61])),
                journal=make.fit(choose([30, 30, 30, 32])),
                journal_width=make.maybe(make.size(22, 0.1)),
                counterweight_radius=make.maybe(make.size(33, 0.4)),
                max_rpm=make.maybe(make.near(choose([6000, 7000, 8000]), "rpm", ROTATION, 200)),
            )
        )
    for _ in make.many(2, 4):
        found.append(
            Rod(
                **make.common("rod"),
                length=make.size(choose([84, 85, 85, 86])),
                big_end=make.fit(choose([30, 30, 30, 32])),
                pin=make.fit(choose([16, 16, 16, 15])),
                width=make.maybe(make.size(choose([21.8, 22, 22.2]), 0.1)),
                outer_radius=make.maybe(make.size(27)),
                max_rpm=make.maybe(make.near(choose([6500, 7500]), "rpm", ROTATION)),
            )
        )
    for _ in make.many(2, 4):
        dish = choose([None, 2.0, 4.0])
        found.append(
            Piston(
                **make.common("piston"),
                bore=make.fit(choose([72, 72, 72, 72.5])),
                compression_height=make.size(choose([27, 27.4, 28, 28.5, 30])),
                pin=make.fit(choose([16, 16, 16, 15])),
                pin_offset=make.maybe(make.size(0.5, 0.1, 0), 0.3),
                dish=make.near(dish, "cc", VOLUME, 0.2) if dish else None,
                dome=make.maybe(make.near(1.5, "cc", VOLUME, 0.2), 0.3) if not dish else None,
                skirt_below_pin=make.maybe(make.size(19, 0.15)),
                top_land=make.maybe(
                    TopLand(height=make.near(5, "mm", LENGTH), clearance=make.near(0.5, "mm", LENGTH, 0.1)), 0.3
                ),
            )
        )
    for _ in make.many(2, 4):
        found.append(
            Gasket(
                **make.common("gasket"),
                thickness=make.size(choose([0.25, 0.5, 0.8, 1.0])),
                bore=make.near(choose([72, 72.2, 73.5]), "mm", LENGTH, 0.3),
                stackable=make.some(0.8),
                same_batch=make.apart.random() < 0.4,
            )
        )
    for _ in make.many(0, 1):
        found.append(Spacer(**make.common("spacer"), thickness=make.size(choose([0.5, 1.0]))))
    for _ in make.many(0, 2):
        area = make.near(34, "cm2", AREA, 0.5)
        found.append(
            Head(
                **make.common("head"),
                chamber=make.near(choose([19, 21, 23]), "cc", VOLUME, 0.5),
                chamber_area=area,
                mill=make.maybe(
                    LengthSteps(max=make.near(0.5, "mm", LENGTH), step=make.near(0.25, "mm", LENGTH), labour=20.0), 0.5
                ),
                relieve=make.maybe(
                    VolumeSteps(max=make.near(1, "cc", VOLUME), step=make.near(1, "cc", VOLUME), labour=25.0), 0.4
                ),
                max_valve_lift=make.maybe(make.size(8.4)),
                installed_height=make.maybe(make.size(33)),
                retainer_room=make.maybe(make.size(9.6)),
            )
        )
    if make.some(0.6):
        found += valve_gear(make)
    for _ in make.many(0, 1):
        found.append(Flywheel(**make.common("fly"), max_rpm=make.near(choose([6500, 9000]), "rpm", ROTATION)))
    return rounded_out(seed, found)


def valve_gear(make: Maker) -> list[Part]:
    choose = make.random.choice
    found: list[Part] = []
    for _ in make.many(1, 2):
        lift = choose([6.5, 7.64])
        found.append(
            Cam(
                **make.common("cam"),
                intake_lobe_lift=make.size(lift),
                exhaust_lobe_lift=make.size(lift - choose([0, 0, 0.3])),
                intake_duration=make.maybe(make.near(270, "deg", ANGLE)),
                lash_intake=make.maybe(make.size(0.1, 0.02)),
                lash_exhaust=make.maybe(make.size(0.15, 0.02)),
                base_radius=make.maybe(make.size(13)),
                core_radius=make.maybe(make.size(14)),
                max_rpm=make.maybe(make.near(7500, "rpm", ROTATION)),
            )
        )
    for _ in make.many(0, 2):
        exhaust = make.maybe(make.near(1.05, "", RATIO, 0.02), 0.3)
        found.append(
            Rocker(
                **make.common("rocker"),
                ratio=make.near(choose([1.0, 1.1, 1.2]), "", RATIO, 0.02),
                exhaust_ratio=exhaust,
            )
        )
    for _ in make.many(0, 2):
        found.append(
            Spring(
                **make.common("spring"),
                solid_height=make.size(choose([21, 24.2])),
                max_lift=make.maybe(make.size(8.5)),
                max_rpm=make.maybe(make.near(choose([5200, 7000]), "rpm", ROTATION)),
            )
        )
    for _ in make.many(0, 1):
        found.append(Retainer(**make.common("retainer"), height_gain=make.maybe(make.size(1.0))))
    for _ in make.many(0, 1):
        found.append(SpringShim(**make.common("shim"), thickness=make.size(0.5)))
    for _ in make.many(0, 1):
        if make.some(0.5):
            found.append(Pushrod(**make.common("pushrod"), length=make.size(141)))
        else:
            cut = CutTo(min=make.near(130, "mm", LENGTH), max=make.near(150, "mm", LENGTH))
            found.append(Pushrod(**make.common("pushrod"), cut_to=cut))
    return found


def rounded_out(seed: int, found: list[Part]) -> list[Part]:
    """The parts with the fields that came later, each perhaps unknown, some where they just fit or just do not.

    They come from a generator of their own, so that everything else stays what a seed always gave.
    """
    make = Maker(seed * 6007 + 5)
    choose = make.random.choice
    more: list[Part] = []
    for part in found:
        fields: dict[str, Any] = {}
        if isinstance(part, Block):
            fields["cam_to_barrel"] = make.maybe(make.size(choose([20.5, 21, 24])))
            if make.some(0.3):
                fields["counterweight_room"] = make.maybe(make.size(choose([33, 33.5])))
                fields["rod_room"] = make.maybe(make.size(choose([54, 55.5])))
        elif isinstance(part, Crank) and make.some(0.2):
            fields["counterweight_radius"] = make.maybe(make.size(choose([36, 38.5])))
        elif isinstance(part, Piston) and make.some(0.4):
            land = TopLand(height=make.size(choose([0.5, 2, 5])), clearance=make.near(0.5, "mm", LENGTH, 0.1))
            fields["top_land"] = make.maybe(land)
        elif isinstance(part, Cam) and make.some(0.2):
            fields["core_radius"] = make.maybe(make.size(choose([28, 29.5])))
        elif isinstance(part, Rocker):
            reach = (make.size(choose([0, 0.3, 1.0, 2.0]), 0.02, 0) for _ in range(2))
            fields["adjuster"] = make.maybe(_adjuster(*reach), 0.5)
        more.append(replace(part, **fields))
    return more


def _adjuster(shorter: Quantity, longer: Quantity) -> Adjuster:
    return Adjuster(shorter=shorter, longer=longer)


@lru_cache(maxsize=1000)
def question(seed: int, most: int = 1500) -> tuple[Catalogue, Plan]:
    """A random catalogue and a random plan on it, of at most so many raw combinations."""
    rng = random.Random(seed * 7919 + 1)
    found = parts(seed)
    while True:
        catalogue = Catalogue.of(found)
        plan = _plan(rng, catalogue)
        raw = sum(1 for _ in zip(range(most + 1), everything(catalogue, plan), strict=False))
        if raw <= most:
            return catalogue, _with_goals(rng, catalogue, plan)
        found.remove(rng.choice(found))


def _plan(rng: random.Random, catalogue: Catalogue) -> Plan:
    kinds = catalogue.kinds
    machining = {each for each in ("mill", "deck_cut", "relieve", "rebore") if rng.random() < 0.4}
    shelf = frozenset(kinds) if rng.random() < 0.1 else frozenset(kind for kind in kinds if rng.random() < 0.05)
    use: dict[str, tuple[str, ...]] = {}
    if rng.random() < 0.2:
        pinned = rng.choice(list(catalogue))
        use[pinned.kind] = (pinned.id,)
    free = [part.id for part in catalogue if part.id not in sum(use.values(), ())]
    avoid = frozenset(rng.sample(free, 1)) if free and rng.random() < 0.15 else frozenset()
    ids = {
        kind: rng.choice(catalogue.of_kind(kind)).id for kind in ("block", "crank", "rod", "piston") if kind in kinds
    }
    decks: tuple[MeasuredDeck, ...] = ()
    if len(ids) == 4 and rng.random() < 0.3:
        decks = (MeasuredDeck(parse_deck(rng.choice(["0.3 mm down ± 0.02 mm", "0.1 mm up"])), ids),)
    optional = ("retainer", "spring_shim", "spacer", "rocker", "flywheel")
    gaskets = rng.choice([1, 1, 2, 2, 3])
    if use.get("gasket") and gaskets > 1:  # an exact stack: the gasket pinned with itself or another
        use["gasket"] += tuple(rng.choice(catalogue.of_kind("gasket")).id for _ in range(rng.randint(1, gaskets - 1)))
        avoid -= set(use["gasket"])
    return Plan(
        name="random",
        use=use,
        avoid=avoid,
        shelf_only=shelf,
        kinds=frozenset(kind for kind in kinds if rng.random() < 0.8) if rng.random() < 0.15 else None,
        optional=frozenset(kind for kind in optional if rng.random() < 0.4),
        gaskets=gaskets,
        machining=frozenset(machining),
        tolerance=rng.choice(["nominal", "nominal", "statistical", "worst_case"]),
        measured_decks=decks,
        rev_ceiling=rng.choice([None, None, None, 5200.0, 6500.0, 7000.0]),
    )


def whole_if_none_fits(catalogue: Catalogue, plan: Plan) -> list[Combination]:
    """The combinations that fit, whatever the speed; all of them where none does."""
    every = list(everything(catalogue, plan))
    slow = plan.but(rev_ceiling=None)
    known: Spreads = {}
    return [each for each in every if judge(each, slow, known).fits] or every


def _with_goals(rng: random.Random, catalogue: Catalogue, plan: Plan) -> Plan:
    """Goals round what one of the combinations has, so that some fit and some do not."""
    every = whole_if_none_fits(catalogue, plan)
    if not every:
        return plan
    goals = {}
    for name in rng.sample(FIGURE_GOALS, rng.randint(1, 4)):
        value = View(rng.choice(every), plan).value(name)
        if value != value or abs(value) > 1e6:
            value = 1.0
        step = FIGURES[name].step
        value = round(value / step * 2) * step / 2
        width = step * rng.choice([2, 5, 10, 20])
        goals[name] = Goal(
            name,
            aim=rng.choice([None, value, value + step / 2]),
            minimum=value - width if rng.random() < 0.4 else None,
            maximum=value + width if rng.random() < 0.4 else None,
            step=step * rng.choice([1, 1, 1, 0.37]),
            weight=rng.choice([1, 1, 2]),
        )
    return plan.but(goals=goals)
