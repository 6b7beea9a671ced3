"""The question answered with numpy arrays: every combination, or only what passes each stage."""

from __future__ import annotations

import math
from itertools import product
from typing import Any

import numpy as np

from kitwright.solver.catalogue import Catalogue
from tests.benchmarks import asked
from tests.benchmarks.asked import Key, area, bought, crown, lift_of, numbers, points, price, stacks

Columns = dict[str, Any]
"""``kind.name`` to an array."""

AT_ONCE = 1 << 17
"""Raw combinations worked out at once: their arrays stay in the processor's cache."""

BOTTOM = ("block", "crank", "rod", "piston")


def judged(of: Columns) -> tuple[Any, Any, Any, Any]:
    """Whether each combination keeps every limit, and its keys: not established, closeness, cost.

    The columns may be as long as one another, or arrays that numpy broadcasts against one another.
    """
    fits = (of["crank.journal"] == of["rod.big_end"]) & (of["rod.pin"] == of["piston.pin"])
    fits = (
        fits
        & (of["piston.bore"] == of["block.bore"])
        & (of["crank.rpm"] >= asked.SPEED)
        & (of["rod.rpm"] >= asked.SPEED)
    )
    unproved = of["crank.unrated"] | of["rod.unrated"]
    deck = of["block.block_height"] - of["crank.stroke"] / 2 - of["rod.length"] - of["piston.compression_height"]
    circle = np.pi / 4 * of["block.bore"] ** 2
    quench = deck + of["stack.thickness"]
    fits = fits & (of["stack.bore"] >= of["block.bore"])
    fits = fits & (quench >= asked.QUENCH - asked.NEAR) & (quench <= asked.MOST_QUENCH + asked.NEAR)
    chamber = of["head.chamber"] - of["mill.off"] * of["head.chamber_area"]
    clearance = of["piston.crown"] + circle * deck + of["stack.volume"] + chamber
    ratio = 1 + circle * of["crank.stroke"] / clearance
    fits = fits & (clearance > 0) & (ratio >= asked.LEAST_RATIO - asked.NEAR) & (ratio <= asked.MOST_RATIO + asked.NEAR)
    steps = points(quench, asked.QUENCH, asked.QUENCH_STEP) + points(ratio, asked.RATIO, asked.RATIO_STEP)
    cost = of["block.paid"] + of["crank.paid"] + of["rod.paid"] + of["piston.paid"] + of["stack.paid"]
    cost = cost + of["head.paid"] + of["mill.labour"]

    intake = of["cam.intake_lobe_lift"] * of["rocker.ratio"] - of["cam.lash_intake"]
    exhaust = of["cam.exhaust_lobe_lift"] * of["rocker.exhaust_ratio"] - of["cam.lash_exhaust"]
    lift = np.maximum(intake, exhaust)
    opens = (lift >= asked.LEAST_LIFT - asked.NEAR) & (lift <= asked.LIFT + asked.NEAR)
    opens = (
        opens & (of["cam.rpm"] >= asked.SPEED) & (of["spring.rpm"] >= asked.SPEED) & (of["flywheel.rpm"] >= asked.SPEED)
    )
    gain = of["retainer.height_gain"]
    opens = opens & (of["head.installed_height"] + gain - of["spring.solid_height"] - lift >= -asked.NEAR)
    opens = opens & (of["head.retainer_room"] + gain - lift >= -asked.NEAR)
    unproved = unproved | (of["cam.unrated"] | of["spring.unrated"] | of["flywheel.unrated"])
    gear = of["cam.paid"] + of["rocker.paid"] + of["spring.paid"] + of["retainer.paid"]
    cost = cost + (gear + of["pushrod.paid"] + of["flywheel.paid"])
    fits = fits & opens & (cost <= asked.BUDGET + asked.NEAR)
    return fits, unproved, steps + points(lift, asked.LIFT, asked.LIFT_STEP), cost


def _slots(catalogue: Catalogue) -> dict[str, Columns]:
    """What there is to choose: slot to its columns, heads together with their milling, gaskets as stacks."""
    read = numbers(catalogue)
    heads = {row["id"]: row for row in read["head"]}
    found = {}
    for slot in (*BOTTOM, *asked.GEAR):
        rows = read[slot]
        found[slot] = {f"{slot}.{name}": np.array([row[name] for row in rows]) for name in rows[0] if name != "id"}
    found["top"] = {f"mill.{name}": np.array([row[name] for row in read["mill"]]) for name in ("off", "labour")}
    for name in read["head"][0]:
        if name != "id":
            found["top"][f"head.{name}"] = np.array([heads[row["head"]][name] for row in read["mill"]])
    layers = stacks(catalogue)
    found["stack"] = {
        "stack.thickness": np.array([sum(each.thickness.to("mm") for each in stack) for stack in layers]),
        "stack.volume": np.array(
            [sum(area(each.bore) * each.thickness.to("mm") for each in stack) for stack in layers]
        ),
        "stack.bore": np.array([min(each.bore.to("mm") for each in stack) for stack in layers]),
        "stack.paid": np.array(list(map(bought, layers))),
    }
    for kind in asked.RATED:
        rated = found[kind][f"{kind}.rpm"]
        found[kind][f"{kind}.unrated"] = np.isnan(rated)
        found[kind][f"{kind}.rpm"] = np.where(np.isnan(rated), np.inf, rated)
    return found


def _together(slots: dict[str, Columns], names: tuple[str, ...]) -> Columns:
    """Every choice of some slots, one row each."""
    places = np.indices([len(next(iter(slots[name].values()))) for name in names]).reshape(len(names), -1)
    return {
        column: values[place]
        for name, place in zip(names, places, strict=True)
        for column, values in slots[name].items()
    }


def _axes(catalogue: Catalogue) -> list[Columns]:
    """Every choice of a short block's parts, of a stack, of a head and its milling, of the valve gear's parts."""
    slots = _slots(catalogue)
    return [_together(slots, BOTTOM), slots["stack"], slots["top"], _together(slots, asked.GEAR)]


class _Best:
    """The least keys so far, and how many combinations fitted."""

    def __init__(self, wanted: int) -> None:
        self.wanted, self.count, self.rows = wanted, 0, np.empty((0, 3))

    def take(self, fits: Any, *found: Any) -> None:
        """Count what fits and keep the least of it."""
        number = int(np.count_nonzero(fits))
        self.count += number
        if number:
            rows = np.column_stack([np.broadcast_to(each, fits.shape)[fits] for each in found])
            rows = np.concatenate([self.rows, rows])
            self.rows = rows[np.lexsort(rows.T[::-1])][: self.wanted]

    @property
    def keys(self) -> list[Key]:
        """The keys of the least."""
        return [(int(unproved), int(closeness), float(cost)) for unproved, closeness, cost in self.rows]


def every_one(catalogue: Catalogue, wanted: int) -> tuple[int, list[Key]]:
    """Every raw combination by its number, every figure worked out for each: how many fit, and the best keys."""
    axes = _axes(catalogue)
    shape = [len(next(iter(each.values()))) for each in axes]
    total, best = math.prod(shape), _Best(wanted)
    for start in range(0, total, AT_ONCE):
        places = np.unravel_index(np.arange(start, min(start + AT_ONCE, total)), shape)
        columns: Columns = {}
        for place, axis in zip(places, axes, strict=True):
            columns |= {name: values.take(place, mode="clip") for name, values in axis.items()}
        best.take(*judged(columns))
    return best.count, best.keys


def on_a_grid(catalogue: Catalogue, wanted: int) -> tuple[int, list[Key]]:
    """Every raw combination on a grid of short block, stack, milled head and valve gear.

    What depends on some of the axes is worked out once over those; the verdict and the keys, for each combination.
    """
    bottoms, *axes = _axes(catalogue)
    fixed: Columns = {}
    for number, axis in enumerate(axes):
        shape = [-1 if place == number else 1 for place in range(len(axes))]
        fixed |= {name: values.reshape(shape) for name, values in axis.items()}
    best = _Best(wanted)
    for number in range(len(bottoms["crank.stroke"])):
        best.take(*judged(fixed | {name: values[number] for name, values in bottoms.items()}))
    return best.count, best.keys


def staged(catalogue: Catalogue, wanted: int) -> tuple[int, list[Key]]:
    """Arrays filtered stage by stage: short blocks whose parts fit, heads and stacks, valve gear that keeps limits."""
    kinds = {kind: list(catalogue.of_kind(kind)) for kind in asked.ALONE}
    block = kinds["block"][0]
    bore = area(block.bore)
    bottoms = [
        (crank, rod, piston)
        for crank, rod, piston in product(kinds["crank"], kinds["rod"], kinds["piston"])
        if crank.journal.exact == rod.big_end.exact and rod.pin.exact == piston.pin.exact
        if piston.bore.exact == block.bore.exact and all(map(_fast, (crank, rod)))
    ]
    deck = np.array([block.block_height.to("mm") - _height(*each) for each in bottoms])
    swept = np.array([bore * crank.stroke.to("mm") for crank, _, _ in bottoms])
    filled = np.array([crown(piston) for *_, piston in bottoms])
    spent = np.array([sum(map(price, each)) for each in bottoms]) + price(block)
    unrated = np.array([any(part.max_rpm is None for part in each[:2]) for each in bottoms], dtype=bool)
    layers = stacks(catalogue)
    thick = np.array([sum(each.thickness.to("mm") for each in stack) for stack in layers])
    inside = np.array([sum(area(each.bore) * each.thickness.to("mm") for each in stack) for stack in layers])
    layered = np.array(list(map(bought, layers)))
    quench = (deck[:, None] + thick[None, :])[:, :, None]
    money = (spent[:, None] + layered[None, :])[:, :, None]
    best = _Best(wanted)
    for head in kinds["head"]:
        amounts = np.array([1e3 * float(each) for each in head.mill.amounts()])
        clearance = head.chamber.to("mm3") + filled[:, None] + bore * deck[:, None] + inside[None, :]
        clearance = clearance[:, :, None] - (amounts * head.chamber_area.to("mm2"))[None, None, :]
        ratio = 1 + swept[:, None, None] / clearance
        fits = (clearance > 0) & (ratio >= asked.LEAST_RATIO - asked.NEAR) & (ratio <= asked.MOST_RATIO + asked.NEAR)
        fits &= (quench >= asked.QUENCH - asked.NEAR) & (quench <= asked.MOST_QUENCH + asked.NEAR)
        steps = points(ratio, asked.RATIO, asked.RATIO_STEP) + points(quench, asked.QUENCH, asked.QUENCH_STEP)
        cost = money + (price(head) + np.where(amounts > 0, head.mill.labour, 0.0))[None, None, :]
        open_below = np.broadcast_to(unrated[:, None, None], fits.shape)[fits]
        steps, cost = steps[fits], cost[fits]
        for gear in product(*(kinds[kind] for kind in asked.GEAR)):
            cam, rocker, spring, retainer, *_ = gear
            lift = lift_of(cam, rocker)
            gain = retainer.height_gain.to("mm")
            margin = head.installed_height.to("mm") + gain - spring.solid_height.to("mm") - lift
            room = head.retainer_room.to("mm") + gain - lift
            rated = all(map(_fast, (cam, spring, gear[5])))
            if not (
                rated
                and asked.LEAST_LIFT - asked.NEAR <= lift <= asked.LIFT + asked.NEAR
                and margin >= -asked.NEAR
                and room >= -asked.NEAR
            ):
                continue
            total = cost + sum(map(price, gear))
            unproved = open_below | any(part.max_rpm is None for part in (cam, spring, gear[5]))
            best.take(
                total <= asked.BUDGET + asked.NEAR, unproved, steps + points(lift, asked.LIFT, asked.LIFT_STEP), total
            )
    return best.count, best.keys


def _fast(part: Any) -> bool:
    """Whether nothing says that a part is too slow."""
    return part.max_rpm is None or part.max_rpm.to("rpm") >= asked.SPEED


def _height(crank: Any, rod: Any, piston: Any) -> float:
    return float(crank.stroke.to("mm") / 2 + rod.length.to("mm") + piston.compression_height.to("mm"))
