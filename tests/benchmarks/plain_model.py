"""What the search is measured against: one plain CP-SAT model, and an exhaustive search with numpy arrays.

Both read the parts alone and know the benchmark's plan by heart: compression aimed at 10.5 within 9.5 and 11.5, quench
from 0.70 (its aim) to 1.10 mm, valve lift from 6.0 to 8.0 mm (its aim), 6500 rpm, at most 400 to spend, three gaskets,
milling. They answer the first three keys of the order: goals not established, closeness, cost.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations_with_replacement, product
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from kitwright.solver.catalogue import Catalogue

Key = tuple[int, int, float]
"""Goals not established, closeness, cost."""

SPEED, BUDGET, LAYERS = 6500, 400.0, 3
RATIO, LEAST_RATIO, MOST_RATIO, RATIO_STEP = 10.5, 9.5, 11.5, 0.05
QUENCH, MOST_QUENCH, QUENCH_STEP = 0.70, 1.10, 0.02
LIFT, LEAST_LIFT, LIFT_STEP = 8.0, 6.0, 0.05
RATED = ("crank", "rod", "cam", "spring", "flywheel")
ALONE = ("block", "crank", "rod", "piston", "head", "cam", "rocker", "spring", "retainer", "pushrod", "flywheel")

LENGTH_UNIT, VOLUME_UNIT, MONEY_UNIT = 1e-4, 1e-3, 0.1
"""Integers of the model: 0.1 µm (in mm), 0.001 mm³ (in mm³), tenths of money."""


def lift_of(cam: Any, rocker: Any) -> float:
    """The greater valve lift, mm."""
    ratio, exhaust = rocker.ratio.si, (rocker.exhaust_ratio or rocker.ratio).si
    return max(
        cam.intake_lobe_lift.to("mm") * ratio - cam.lash_intake.to("mm"),
        cam.exhaust_lobe_lift.to("mm") * exhaust - cam.lash_exhaust.to("mm"),
    )


def points(value: Any, aim: float, step: float) -> Any:
    """Whole steps from the aim."""
    return np.floor(np.abs(value - aim) / step + 1e-9).astype(np.int64)


def crown(piston: Any) -> float:
    """Dish less dome, mm³."""
    return 1e3 * ((piston.dish.to("cc") if piston.dish else 0.0) - (piston.dome.to("cc") if piston.dome else 0.0))


def area(diameter: Any) -> float:
    """Area of a circle, mm²."""
    return float(np.pi / 4 * diameter.to("mm") ** 2)


def price(part: Any) -> float:
    """Money for a part that is taken once."""
    return 0.0 if part.on_shelf else float(part.price)


@dataclass
class PlainModel:
    """One Boolean a part, a stack as counts, compression through thresholds on volumes; one objective for all keys."""

    catalogue: Catalogue
    model: Any = field(default_factory=cp_model.CpModel)
    chosen: dict[str, Any] = field(default_factory=dict)
    """Name of a choice (a part, a gasket's count, a head's mill) to its Boolean."""

    def __post_init__(self) -> None:
        kinds = {kind: list(self.catalogue.of_kind(kind)) for kind in ALONE}
        for kind, parts in kinds.items():
            for part in parts:
                self.chosen[part.id] = self.model.new_bool_var(part.id)
            self.model.add_exactly_one(self.chosen[part.id] for part in parts)
            if kind in RATED:
                for part in parts:
                    if part.max_rpm is not None and part.max_rpm.to("rpm") < SPEED:
                        self.model.add(self.chosen[part.id] == 0)
        self._fits(kinds)
        length = dict.fromkeys(self.chosen, 0)
        volume = dict.fromkeys(self.chosen, 0.0)
        money = {part.id: price(part) for parts in kinds.values() for part in parts}
        bore = area(kinds["block"][0].bore)
        self._bottom(kinds, length, volume, bore)
        self._gaskets(length, volume, money)
        self._mill(kinds["head"], length, volume, money)
        quench = self._sum({name: round(value / LENGTH_UNIT) for name, value in length.items()})
        self.model.add_linear_constraint(quench, round(QUENCH / LENGTH_UNIT), round(MOST_QUENCH / LENGTH_UNIT))
        steps = round((MOST_QUENCH - QUENCH) / QUENCH_STEP)
        away = self.model.new_int_var(0, steps, "quench away")
        whole = round(QUENCH_STEP / LENGTH_UNIT)
        self.model.add(whole * away <= quench - round(QUENCH / LENGTH_UNIT))
        self.model.add(whole * away >= quench - round(QUENCH / LENGTH_UNIT) - whole + 1)
        closeness = away + self._ratio(kinds["crank"], volume, bore) + self._valves(kinds)
        paid = self._sum({name: round(value / MONEY_UNIT) for name, value in money.items()})
        self.model.add(paid <= round(BUDGET / MONEY_UNIT))
        unrated = [self.chosen[part.id] for kind in RATED for part in kinds[kind] if part.max_rpm is None]
        unproved = self.model.new_bool_var("unproved")
        if unrated:
            self.model.add_max_equality(unproved, unrated)
        else:
            self.model.add(unproved == 0)
        self.keys = (unproved, closeness, paid)
        self.model.minimize(10_000_000 * unproved + 10_000 * closeness + paid)

    def _sum(self, weights: dict[str, int]) -> Any:
        used = {name: weight for name, weight in weights.items() if weight}
        return cp_model.LinearExpr.weighted_sum([self.chosen[name] for name in used], list(used.values()))

    def _fits(self, kinds: dict[str, list[Any]]) -> None:
        for rod in kinds["rod"]:
            cranks = [self.chosen[each.id] for each in kinds["crank"] if each.journal.exact == rod.big_end.exact]
            pistons = [self.chosen[each.id] for each in kinds["piston"] if each.pin.exact == rod.pin.exact]
            self.model.add_bool_or([*cranks, self.chosen[rod.id].negated()])
            self.model.add_bool_or([*pistons, self.chosen[rod.id].negated()])
        for piston in kinds["piston"]:
            if piston.bore.exact != kinds["block"][0].bore.exact:
                self.model.add(self.chosen[piston.id] == 0)

    def _bottom(
        self, kinds: dict[str, list[Any]], length: dict[str, float], volume: dict[str, float], bore: float
    ) -> None:
        for kind, name, sign in (
            ("block", "block_height", 1.0),
            ("crank", "stroke", -0.5),
            ("rod", "length", -1.0),
            ("piston", "compression_height", -1.0),
        ):
            for part in kinds[kind]:
                length[part.id] = sign * getattr(part, name).to("mm")
                volume[part.id] = bore * length[part.id]
        for piston in kinds["piston"]:
            volume[piston.id] += crown(piston)
        for head in kinds["head"]:
            volume[head.id] = head.chamber.to("mm3")

    def _gaskets(self, length: dict[str, float], volume: dict[str, float], money: dict[str, float]) -> None:
        counts: dict[Any, int] = {}
        for gasket in self.catalogue.of_kind("gasket"):
            ways = []
            for count in range(LAYERS + 1):
                name = f"{count} × {gasket.id}"
                self.chosen[name] = self.model.new_bool_var(name)
                ways.append(self.chosen[name])
                counts[self.chosen[name]] = count
                length[name] = count * gasket.thickness.to("mm")  # type: ignore[attr-defined]
                volume[name] = length[name] * area(gasket.bore)  # type: ignore[attr-defined]
                money[name] = max(count - gasket.on_shelf, 0) * float(gasket.price or 0)
            self.model.add_exactly_one(ways)
        layers = cp_model.LinearExpr.weighted_sum(list(counts), list(counts.values()))
        self.model.add_linear_constraint(layers, 1, LAYERS)

    def _mill(
        self, heads: list[Any], length: dict[str, float], volume: dict[str, float], money: dict[str, float]
    ) -> None:
        for head in heads:
            ways = []
            for number, amount in enumerate(head.mill.amounts()):
                name = f"{head.id} milled {number}"
                self.chosen[name] = self.model.new_bool_var(name)
                ways.append(self.chosen[name])
                length[name] = 0.0
                volume[name] = -1e3 * float(amount) * head.chamber_area.to("mm2")
                money[name] = head.mill.labour if number else 0.0
            self.model.add(sum(ways) == self.chosen[head.id])

    def _ratio(self, cranks: list[Any], volume: dict[str, float], bore: float) -> Any:
        """Limits and levels of compression: swept / (ratio − 1) − clearance has a sign."""
        swept = {crank.id: bore * crank.stroke.to("mm") for crank in cranks}

        def spare(ratio: float) -> Any:
            """Not negative where the ratio is reached."""
            weights = {name: -value for name, value in volume.items()}
            for name, value in swept.items():
                weights[name] += value / (ratio - 1)
            return self._sum({name: round(value / VOLUME_UNIT) for name, value in weights.items()})

        self.model.add(spare(LEAST_RATIO) >= 0)
        self.model.add(spare(MOST_RATIO) <= 0)
        missed = []
        for level in range(1, round((RATIO - LEAST_RATIO) / RATIO_STEP) + 1):
            below = self.model.new_bool_var(f"{level} below")
            self.model.add(spare(RATIO - level * RATIO_STEP) >= 1).only_enforce_if(below.negated())
            above = self.model.new_bool_var(f"{level} above")
            self.model.add(spare(RATIO + level * RATIO_STEP) <= -1).only_enforce_if(above.negated())
            missed += [below, above]
        return cp_model.LinearExpr.sum(missed)

    def _valves(self, kinds: dict[str, list[Any]]) -> Any:
        lifts, score = {}, {}
        for cam, rocker in product(kinds["cam"], kinds["rocker"]):
            pair = self.model.new_bool_var(f"{cam.id} {rocker.id}")
            value = lift_of(cam, rocker)
            self.model.add_bool_or([self.chosen[cam.id].negated(), self.chosen[rocker.id].negated(), pair])
            self.model.add_implication(pair, self.chosen[cam.id])
            self.model.add_implication(pair, self.chosen[rocker.id])
            if not LEAST_LIFT - 1e-9 <= value <= LIFT + 1e-9:
                self.model.add(pair == 0)
            lifts[pair] = round(value / LENGTH_UNIT)
            score[pair] = int(points(value, LIFT, LIFT_STEP))
        lift = cp_model.LinearExpr.weighted_sum(list(lifts), list(lifts.values()))

        def heights(kind: str, name: str) -> Any:
            return self._sum({part.id: round(getattr(part, name).to("mm") / LENGTH_UNIT) for part in kinds[kind]})

        gain = heights("retainer", "height_gain")
        self.model.add(heights("head", "installed_height") + gain - heights("spring", "solid_height") - lift >= 0)
        self.model.add(heights("head", "retainer_room") + gain - lift >= 0)
        return cp_model.LinearExpr.weighted_sum(list(score), list(score.values()))

    def answers(self, workers: int = 2, seconds: float = 600.0) -> Iterator[Key]:
        """The best, the next best …: solved again each time with the last answer forbidden, until the time is up."""
        until = time.monotonic() + seconds
        while True:
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = workers
            solver.parameters.max_time_in_seconds = max(0.0, until - time.monotonic())
            if solver.solve(self.model) != cp_model.OPTIMAL:
                return
            unproved, closeness, paid = (solver.value(each) for each in self.keys)
            yield int(unproved), int(closeness), paid * MONEY_UNIT
            taken = [variable for variable in self.chosen.values() if solver.boolean_value(variable)]
            self.model.add_bool_or([variable.negated() for variable in taken])


def exhaustive(catalogue: Catalogue, wanted: int) -> tuple[int, list[Key]]:
    """Every combination of a small catalogue, as arrays: how many fit, and the keys of the best."""
    kinds = {kind: list(catalogue.of_kind(kind)) for kind in ALONE}
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
    unrated = np.array([any(part.max_rpm is None for part in each[:2]) for each in bottoms])
    gaskets: list[Any] = list(catalogue.of_kind("gasket"))
    stacks = [each for n in range(1, LAYERS + 1) for each in combinations_with_replacement(gaskets, n)]
    thick = np.array([sum(each.thickness.to("mm") for each in stack) for stack in stacks])
    inside = np.array([sum(area(each.bore) * each.thickness.to("mm") for each in stack) for stack in stacks])
    layered = np.array([_bought(stack) for stack in stacks])
    quench = (deck[:, None] + thick[None, :])[:, :, None]
    money = (spent[:, None] + layered[None, :])[:, :, None]
    count, best = 0, np.empty((0, 3))
    for head in kinds["head"]:
        amounts = np.array([1e3 * float(each) for each in head.mill.amounts()])
        clearance = head.chamber.to("mm3") + filled[:, None] + bore * deck[:, None] + inside[None, :]
        clearance = clearance[:, :, None] - (amounts * head.chamber_area.to("mm2"))[None, None, :]
        ratio = 1 + swept[:, None, None] / clearance
        fits = (clearance > 0) & (ratio >= LEAST_RATIO - 1e-9) & (ratio <= MOST_RATIO + 1e-9)
        fits &= (quench >= QUENCH - 1e-9) & (quench <= MOST_QUENCH + 1e-9)
        steps = points(ratio, RATIO, RATIO_STEP) + points(quench, QUENCH, QUENCH_STEP)
        cost = money + (price(head) + np.where(amounts > 0, head.mill.labour, 0.0))[None, None, :]
        open_below = np.broadcast_to(unrated[:, None, None], fits.shape)
        for gear in product(*(kinds[kind] for kind in ("cam", "rocker", "spring", "retainer", "pushrod", "flywheel"))):
            cam, rocker, spring, retainer, *_ = gear
            lift = lift_of(cam, rocker)
            gain = retainer.height_gain.to("mm")
            margin = head.installed_height.to("mm") + gain - spring.solid_height.to("mm") - lift
            room = head.retainer_room.to("mm") + gain - lift
            rated = all(map(_fast, (cam, spring, gear[5])))
            if not (rated and LEAST_LIFT - 1e-9 <= lift <= LIFT + 1e-9 and margin >= -1e-9 and room >= -1e-9):
                continue
            total = cost + sum(map(price, gear))
            some = fits & (total <= BUDGET + 1e-9)
            count += int(some.sum())
            if some.any():
                unproved = open_below | any(part.max_rpm is None for part in (cam, spring, gear[5]))
                found = np.column_stack([unproved[some], steps[some] + points(lift, LIFT, LIFT_STEP), total[some]])
                best = np.concatenate([best, found])
                best = best[np.lexsort(best.T[::-1])][:wanted]
    return count, [(int(unproved), int(closeness), float(cost)) for unproved, closeness, cost in best]


def _fast(part: Any) -> bool:
    """Whether nothing says that a part is too slow."""
    return part.max_rpm is None or part.max_rpm.to("rpm") >= SPEED


def _height(crank: Any, rod: Any, piston: Any) -> float:
    return float(crank.stroke.to("mm") / 2 + rod.length.to("mm") + piston.compression_height.to("mm"))


def _bought(stack: tuple[Any, ...]) -> float:
    return sum(max(stack.count(each) - each.on_shelf, 0) * float(each.price) for each in dict.fromkeys(stack))
