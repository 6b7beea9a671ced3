"""Another solver on another model: linear questions as mixed-integer programs, written from the formulas by hand.

Nothing of the search is used but its answer: the programs read the parts alone, with a binary variable a part, and
SciPy's solver (HiGHS) decides them.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from kitwright.solver import Catalogue, Goal, Plan, find
from kitwright.solver.fields import LengthSteps
from kitwright.solver.parts import Block, Crank, Gasket, Head, Part, Piston, Rod
from kitwright.solver.quantity import AREA, LENGTH, VOLUME, parse

STEP = 0.02
SEEDS = range(14)


def mm(value: float) -> str:
    return f"{value:.2f} mm"


def catalogue(seed: int) -> Catalogue:
    """Some two dozen parts on a grid of 0.01 mm, journals and pins of two sizes, some on the shelf, whole prices."""
    rng = random.Random(seed)

    def common(name: str) -> dict[str, object]:
        return {"id": name, "price": float(rng.randint(0, 90)), "on_shelf": rng.choice([0, 0, 1])}

    def size(low: float, high: float) -> object:
        return parse(mm(rng.randint(round(low * 100), round(high * 100)) / 100), LENGTH)

    parts: list[Part] = []
    for n in range(2):
        cut = LengthSteps(max=parse("0.3 mm", LENGTH), step=parse("0.1 mm", LENGTH), labour=float(rng.randint(5, 30)))
        parts.append(
            Block(**common(f"b{n}"), bore=parse("72 mm", LENGTH), block_height=size(141.8, 142.4), deck_cut=cut)
        )
    for n in range(5):
        parts.append(Crank(**common(f"k{n}"), stroke=size(56, 58), journal=parse(f"{rng.choice([30, 32])} mm", LENGTH)))
        big_end, pin = (parse(f"{rng.choice(some)} mm", LENGTH) for some in ((30, 32), (15, 16)))
        parts.append(Rod(**common(f"r{n}"), length=size(84.5, 85.5), big_end=big_end, pin=pin))
        pin = parse(f"{rng.choice([15, 16])} mm", LENGTH)
        parts.append(
            Piston(**common(f"p{n}"), bore=parse("72 mm", LENGTH), compression_height=size(27.5, 28.5), pin=pin)
        )
    for n in range(6):
        parts.append(Gasket(**common(f"g{n}"), thickness=size(0.2, 1.2), bore=parse("73 mm", LENGTH)))
    for n in range(3):
        chamber = parse(f"{rng.randint(180, 240) / 10} cc", VOLUME)
        parts.append(Head(**common(f"h{n}"), chamber=chamber, chamber_area=parse("34 cm2", AREA)))
    return Catalogue.of(parts)


@dataclass
class Program:
    """A mixed-integer program that grows by named variables and rows."""

    names: dict[str, int] = field(default_factory=dict)
    upper: list[float] = field(default_factory=list)
    rows: list[tuple[dict[str, float], float, float]] = field(default_factory=list)

    def variable(self, name: str, upper: float = 1.0) -> str:
        self.names[name] = len(self.upper)
        self.upper.append(upper)
        return name

    def row(self, weights: dict[str, float], low: float, high: float) -> None:
        self.rows.append((weights, low, high))

    def least(self, goal: dict[str, float]) -> float | None:
        """The least value of a weighted sum, None where no values of the variables keep all rows."""
        objective, matrix = np.zeros(len(self.upper)), np.zeros((len(self.rows), len(self.upper)))
        for name, weight in goal.items():
            objective[self.names[name]] = weight
        for number, (weights, _, _) in enumerate(self.rows):
            for name, weight in weights.items():
                matrix[number, self.names[name]] = weight
        found = milp(
            objective,
            constraints=LinearConstraint(matrix, [low for _, low, _ in self.rows], [high for _, _, high in self.rows]),
            bounds=Bounds(0, self.upper),
            integrality=np.ones(len(self.upper)),
            options={"mip_rel_gap": 0.0},
        )
        assert found.status in (0, 2), found.message
        return float(found.fun) if found.status == 0 else None


def model(parts: Catalogue, layers: int) -> tuple[Program, dict[str, float], dict[str, float]]:
    """The program of a catalogue: its rows for parts that fit one another, the quench and the cost as sums.

    One part of each kind is chosen, so that heights are counted from round ones that add up to 0: with small weights
    the solver's tolerance on whole numbers stays below the grid.
    """
    program = Program()
    quench: dict[str, float] = {}
    cost: dict[str, float] = {}
    for part in parts:
        if part.kind != "gasket":
            quench[program.variable(part.id)] = 0.0
            cost[part.id] = 0.0 if part.on_shelf else float(part.price or 0)
    for kind in ("block", "crank", "rod", "piston", "head"):
        program.row({part.id: 1.0 for part in parts.of_kind(kind)}, 1, 1)
    for block in parts.of_kind("block"):
        assert isinstance(block, Block) and block.deck_cut is not None
        quench[block.id] = block.block_height.to("mm") - 141.5
        cuts, work = program.variable(f"cuts {block.id}", 3), program.variable(f"work {block.id}")
        quench[cuts], cost[work] = -0.1, block.deck_cut.labour
        program.row({cuts: 1.0, work: -3.0}, -np.inf, 0)
        program.row({work: 1.0, block.id: -1.0}, -np.inf, 0)
    for crank in parts.of_kind("crank"):
        assert isinstance(crank, Crank)
        quench[crank.id] = 28.5 - crank.stroke.to("mm") / 2
    for rod in parts.of_kind("rod"):
        assert isinstance(rod, Rod)
        quench[rod.id] = 85 - rod.length.to("mm")
        journals = {crank.id: 1.0 for crank in parts.of_kind("crank") if crank.journal.text == rod.big_end.text}  # type: ignore[attr-defined]
        pins = {piston.id: 1.0 for piston in parts.of_kind("piston") if piston.pin.text == rod.pin.text}  # type: ignore[attr-defined]
        program.row({rod.id: 1.0} | dict.fromkeys(journals, -1.0), -np.inf, 0)
        program.row({rod.id: 1.0} | dict.fromkeys(pins, -1.0), -np.inf, 0)
    for piston in parts.of_kind("piston"):
        assert isinstance(piston, Piston)
        quench[piston.id] = 28 - piston.compression_height.to("mm")
    used: dict[str, float] = {}
    for gasket in parts.of_kind("gasket"):
        assert isinstance(gasket, Gasket)
        used[program.variable(gasket.id, layers)] = 1.0
        quench[gasket.id] = gasket.thickness.to("mm")
        bought = program.variable(f"bought {gasket.id}", layers)
        cost[bought] = float(gasket.price or 0)
        program.row({gasket.id: 1.0, bought: -1.0}, -np.inf, gasket.on_shelf)
    program.row(used, 1, layers)
    return program, quench, cost


TINY = 1e-5
"""Far below the grid of 0.005 mm, far above what the solver rounds; SciPy's feasibility tolerance is 1e-6."""


@pytest.mark.parametrize("seed", SEEDS)
def test_the_least_cost_within_limits(seed: int) -> None:
    rng = random.Random(1000 + seed)
    parts, layers = catalogue(seed), rng.choice([1, 2, 3])
    low = rng.randint(60, 120) / 100
    high = low + rng.choice([0.0, 0.02, 0.1])
    goals = {"deck": Goal("deck", aim=0.0, minimum=-50.0, maximum=50.0, step=1e6)}
    goals["quench"] = Goal("quench", aim=low, minimum=low, maximum=high, step=1e6)
    answer = find(parts, Plan(goals=goals, gaskets=layers, machining=frozenset({"deck_cut"})), top=1)
    program, quench, cost = model(parts, layers)
    program.row(quench, low - TINY, high + TINY)
    least = program.least(cost)
    assert [each.closeness for each in answer] == [0] * len(answer)
    assert [each.cost for each in answer] == ([] if least is None else [pytest.approx(least, abs=1e-6)])


@pytest.mark.parametrize("seed", SEEDS)
def test_the_least_closeness_then_the_least_cost(seed: int) -> None:
    """Points are the whole steps from the aim: a whole variable, least first; cost among those that are as close."""
    rng = random.Random(2000 + seed)
    parts, layers = catalogue(100 + seed), rng.choice([1, 2])
    budget = float(rng.choice([60, 100, 1000]))
    aim = rng.randint(60, 120) / 100
    goals = {"quench": Goal("quench", aim=aim, minimum=0.3, step=STEP), "cost": Goal("cost", maximum=budget)}
    answer = find(parts, Plan(goals=goals, gaskets=layers, machining=frozenset({"deck_cut"})), top=1)
    program, quench, cost = model(parts, layers)
    program.row(quench, 0.3 - TINY, np.inf)
    program.row(cost, -np.inf, budget + TINY)
    points = program.variable("points", 10_000)
    program.row(quench | {points: -STEP}, -np.inf, aim + STEP - TINY)  # quench − aim < step × (points + 1)
    program.row(quench | {points: STEP}, aim - STEP + TINY, np.inf)
    closest = program.least({points: 1.0})
    if closest is None:
        assert answer.status == "nothing_fits"
        return
    assert [each.closeness for each in answer] == [round(closest)]
    program.row({points: 1.0}, round(closest), round(closest))
    assert [each.cost for each in answer] == [pytest.approx(program.least(cost), abs=1e-6)]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_nearest_that_the_shelf_allows(seed: int) -> None:
    """Shelf alone: as many layers of a gasket as there are of it, and no part that is not there."""
    parts, layers = catalogue(200 + seed), 2
    goals = {"quench": Goal("quench", aim=0.8, step=STEP)}
    plan = Plan(goals=goals, gaskets=layers, shelf_only=frozenset(parts.kinds), machining=frozenset({"deck_cut"}))
    answer = find(parts, plan, top=1)
    program, quench, _ = model(parts, layers)
    for part in parts:
        bought = part.id if part.kind != "gasket" else f"bought {part.id}"
        if part.kind == "gasket" or not part.on_shelf:
            program.row({bought: 1.0}, 0, 0)
    program.row(quench, TINY, np.inf)
    points = program.variable("points", 10_000)
    program.row(quench | {points: -STEP}, -np.inf, 0.8 + STEP - TINY)
    program.row(quench | {points: STEP}, 0.8 - STEP + TINY, np.inf)
    closest = program.least({points: 1.0})
    assert [each.closeness for each in answer] == ([] if closest is None else [round(closest)])


def test_the_programs_have_answers_and_refusals() -> None:
    """The comparisons above meet both: a cost to find, and nothing to find."""
    least = []
    for seed in SEEDS:
        program, quench, cost = model(catalogue(seed), 2)
        program.row(quench, 0.7 - TINY, 0.8 + TINY)
        least.append(program.least(cost))
    assert sum(each is not None and each > 0 for each in least) > len(SEEDS) / 2
    program, quench, cost = model(catalogue(0), 2)
    program.row(quench, 40.0, 41.0)
    assert program.least(cost) is None
