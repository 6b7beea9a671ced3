"""The question answered by one plain CP-SAT model, solved again and again with the answers so far forbidden."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from ortools.sat.python import cp_model

from kitwright.solver.catalogue import Catalogue
from tests.benchmarks import asked
from tests.benchmarks.asked import Key, area, crown, lift_of, points, price

LENGTH_UNIT, VOLUME_UNIT, MONEY_UNIT = 1e-4, 1e-3, 0.1
"""Integers of the model: 0.1 µm (in mm), 0.001 mm³ (in mm³), tenths of money."""

COARSE_VOLUME, RATIO_PARTS = 1e-2, 100_000
"""Of the model with a division: its volumes' unit in mm³, and the parts of one that its ratio counts."""


@dataclass
class PlainModel:
    """One Boolean a part, a stack as counts, compression through thresholds on volumes; one objective for all keys."""

    catalogue: Catalogue
    model: Any = field(default_factory=cp_model.CpModel)
    chosen: dict[str, Any] = field(default_factory=dict)
    """Name of a choice (a part, a gasket's count, a head's mill) to its Boolean."""

    def __post_init__(self) -> None:
        kinds = {kind: list(self.catalogue.of_kind(kind)) for kind in asked.ALONE}
        for kind, parts in kinds.items():
            for part in parts:
                self.chosen[part.id] = self.model.new_bool_var(part.id)
            self.model.add_exactly_one(self.chosen[part.id] for part in parts)
            if kind in asked.RATED:
                for part in parts:
                    if part.max_rpm is not None and part.max_rpm.to("rpm") < asked.SPEED:
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
        self.model.add_linear_constraint(
            quench, round(asked.QUENCH / LENGTH_UNIT), round(asked.MOST_QUENCH / LENGTH_UNIT)
        )
        steps = round((asked.MOST_QUENCH - asked.QUENCH) / asked.QUENCH_STEP)
        away = self.model.new_int_var(0, steps, "quench away")
        whole = round(asked.QUENCH_STEP / LENGTH_UNIT)
        self.model.add(whole * away <= quench - round(asked.QUENCH / LENGTH_UNIT))
        self.model.add(whole * away >= quench - round(asked.QUENCH / LENGTH_UNIT) - whole + 1)
        closeness = away + self._ratio(kinds["crank"], volume, bore) + self._valves(kinds)
        paid = self._sum({name: round(value / MONEY_UNIT) for name, value in money.items()})
        self.model.add(paid <= round(asked.BUDGET / MONEY_UNIT))
        unrated = [self.chosen[part.id] for kind in asked.RATED for part in kinds[kind] if part.max_rpm is None]
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
            for count in range(asked.LAYERS + 1):
                name = f"{count} × {gasket.id}"
                self.chosen[name] = self.model.new_bool_var(name)
                ways.append(self.chosen[name])
                counts[self.chosen[name]] = count
                length[name] = count * gasket.thickness.to("mm")  # type: ignore[attr-defined]
                volume[name] = length[name] * area(gasket.bore)  # type: ignore[attr-defined]
                money[name] = max(count - gasket.on_shelf, 0) * float(gasket.price or 0)
            self.model.add_exactly_one(ways)
        layers = cp_model.LinearExpr.weighted_sum(list(counts), list(counts.values()))
        self.model.add_linear_constraint(layers, 1, asked.LAYERS)

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

        self.model.add(spare(asked.LEAST_RATIO) >= 0)
        self.model.add(spare(asked.MOST_RATIO) <= 0)
        missed = []
        for level in range(1, round((asked.RATIO - asked.LEAST_RATIO) / asked.RATIO_STEP) + 1):
            below = self.model.new_bool_var(f"{level} below")
            self.model.add(spare(asked.RATIO - level * asked.RATIO_STEP) >= 1).only_enforce_if(below.negated())
            above = self.model.new_bool_var(f"{level} above")
            self.model.add(spare(asked.RATIO + level * asked.RATIO_STEP) <= -1).only_enforce_if(above.negated())
            missed += [below, above]
        return cp_model.LinearExpr.sum(missed)

    def _valves(self, kinds: dict[str, list[Any]]) -> Any:
        """Steps of valve lift; what opens clears coils and guide."""

        def heights(kind: str, name: str) -> Any:
            return self._sum({part.id: 100 * round(getattr(part, name).to("mm") / LENGTH_UNIT) for part in kinds[kind]})

        lift, steps = self._lift(kinds)
        gain = heights("retainer", "height_gain")
        self.model.add(heights("head", "installed_height") + gain - heights("spring", "solid_height") - lift >= 0)
        self.model.add(heights("head", "retainer_room") + gain - lift >= 0)
        return steps

    def _lift(self, kinds: dict[str, list[Any]]) -> tuple[Any, Any]:
        """Valve lift, in hundredths of the length unit, and its steps: a Boolean for each pair of cam and rocker."""
        lifts, score = {}, {}
        for cam, rocker in product(kinds["cam"], kinds["rocker"]):
            pair = self.model.new_bool_var(f"{cam.id} {rocker.id}")
            value = lift_of(cam, rocker)
            self.model.add_bool_or([self.chosen[cam.id].negated(), self.chosen[rocker.id].negated(), pair])
            self.model.add_implication(pair, self.chosen[cam.id])
            self.model.add_implication(pair, self.chosen[rocker.id])
            if not asked.LEAST_LIFT - asked.NEAR <= value <= asked.LIFT + asked.NEAR:
                self.model.add(pair == 0)
            lifts[pair] = round(100 * value / LENGTH_UNIT)
            score[pair] = int(points(value, asked.LIFT, asked.LIFT_STEP))
        lift = cp_model.LinearExpr.weighted_sum(list(lifts), list(lifts.values()))
        return lift, cp_model.LinearExpr.weighted_sum(list(score), list(score.values()))

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


class ProductModel(PlainModel):
    """The same as one writes it first: compression through a division of integers, valve lift through products."""

    def _ratio(self, cranks: list[Any], volume: dict[str, float], bore: float) -> Any:
        """Limits and level of compression: (ratio − 1) is swept volume / clearance volume."""
        clearance = self._variable("clearance", {name: round(value / COARSE_VOLUME) for name, value in volume.items()})
        swept = {crank.id: round(bore * crank.stroke.to("mm") / COARSE_VOLUME) for crank in cranks}
        enlarged = self._variable("swept", {name: value * RATIO_PARTS for name, value in swept.items()})
        low, high = (round((ratio - 1) * RATIO_PARTS) for ratio in (asked.LEAST_RATIO, asked.MOST_RATIO))
        ratio = self.model.new_int_var(low, high, "ratio less one")
        positive = self.model.new_int_var(1, sum(swept.values()), "clearance, positive")
        self.model.add(positive == clearance)
        self.model.add_division_equality(ratio, enlarged, positive)
        return self._away(
            "ratio", ratio - round((asked.RATIO - 1) * RATIO_PARTS), high - low, asked.RATIO_STEP * RATIO_PARTS
        )

    def _variable(self, name: str, weights: dict[str, int]) -> Any:
        """A variable that is a weighted sum of choices."""
        reach = sum(map(abs, weights.values()))
        variable = self.model.new_int_var(-reach, reach, name)
        self.model.add(variable == self._sum(weights))
        return variable

    def _away(self, name: str, difference: Any, reach: int, step: float) -> Any:
        """Whole steps between a value and its aim."""
        away = self.model.new_int_var(0, reach, f"{name} off the aim")
        self.model.add_abs_equality(away, difference)
        steps = self.model.new_int_var(0, reach // round(step), f"{name} away")
        self.model.add_division_equality(steps, away, round(step))
        return steps

    def _lift(self, kinds: dict[str, list[Any]]) -> tuple[Any, Any]:
        """Valve lift and its steps: the greater of two products of lobe lift and rocker ratio, less the lash."""
        lifts = []
        least, most = (round(each / LENGTH_UNIT) for each in (asked.LEAST_LIFT, asked.LIFT))
        for side in ("intake", "exhaust"):
            ratios = {
                rocker.id: round(
                    (rocker.exhaust_ratio if side == "exhaust" and rocker.exhaust_ratio else rocker.ratio).si * 100
                )
                for rocker in kinds["rocker"]
            }
            lobes = {cam.id: round(getattr(cam, f"{side}_lobe_lift").to("mm") / LENGTH_UNIT) for cam in kinds["cam"]}
            lashes = {cam.id: round(getattr(cam, f"lash_{side}").to("mm") / LENGTH_UNIT) for cam in kinds["cam"]}
            lobe, ratio = self._variable(f"{side} lobe", lobes), self._variable(f"{side} ratio", ratios)
            hundredfold = self.model.new_int_var(0, max(lobes.values()) * max(ratios.values()), f"{side} lift × 100")
            self.model.add_multiplication_equality(hundredfold, [lobe, ratio])
            lifts.append(hundredfold - 100 * self._sum(lashes))
        lift = self.model.new_int_var(100 * least, 100 * most, "lift × 100")
        self.model.add_max_equality(lift, lifts)
        step = 100 * asked.LIFT_STEP / LENGTH_UNIT
        return lift, self._away("lift", lift - 100 * most, 100 * (most - least), step)
