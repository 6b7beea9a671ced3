"""The benchmark's question as the other ways know it: the plan's numbers by heart, the parts as plain numbers.

They answer the first three keys of the order: goals not established, closeness, cost.
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from typing import Any

import numpy as np

from kitwright.solver.catalogue import Catalogue

Key = tuple[int, int, float]
"""Goals not established, closeness, cost."""

SPEED, BUDGET, LAYERS = 6500, 400.0, 3
RATIO, LEAST_RATIO, MOST_RATIO, RATIO_STEP = 10.5, 9.5, 11.5, 0.05
QUENCH, MOST_QUENCH, QUENCH_STEP = 0.70, 1.10, 0.02
LIFT, LEAST_LIFT, LIFT_STEP = 8.0, 6.0, 0.05
NEAR = 1e-9
RATED = ("crank", "rod", "cam", "spring", "flywheel")
ALONE = ("block", "crank", "rod", "piston", "head", "cam", "rocker", "spring", "retainer", "pushrod", "flywheel")
GEAR = ("cam", "rocker", "spring", "retainer", "pushrod", "flywheel")

SIZES_OF = {
    "block": ("bore", "block_height"),
    "crank": ("stroke", "journal"),
    "rod": ("length", "big_end", "pin"),
    "piston": ("bore", "compression_height", "pin"),
    "gasket": ("bore", "thickness"),
    "head": ("installed_height", "retainer_room"),
    "cam": ("intake_lobe_lift", "exhaust_lobe_lift", "lash_intake", "lash_exhaust"),
    "spring": ("solid_height",),
    "retainer": ("height_gain",),
}
"""Lengths that each kind brings, mm."""

Rows = list[dict[str, Any]]


def points(value: Any, aim: float, step: float) -> Any:
    """Whole steps from the aim."""
    return np.floor(np.abs(value - aim) / step + NEAR).astype(np.int64)


def lift_of(cam: Any, rocker: Any) -> float:
    """The greater valve lift, mm."""
    ratio, exhaust = rocker.ratio.si, (rocker.exhaust_ratio or rocker.ratio).si
    return max(
        cam.intake_lobe_lift.to("mm") * ratio - cam.lash_intake.to("mm"),
        cam.exhaust_lobe_lift.to("mm") * exhaust - cam.lash_exhaust.to("mm"),
    )


def crown(piston: Any) -> float:
    """Dish less dome, mm³."""
    return 1e3 * ((piston.dish.to("cc") if piston.dish else 0.0) - (piston.dome.to("cc") if piston.dome else 0.0))


def area(diameter: Any) -> float:
    """Area of a circle, mm²."""
    return float(np.pi / 4 * diameter.to("mm") ** 2)


def price(part: Any) -> float:
    """Money for a part that is taken once."""
    return 0.0 if part.on_shelf else float(part.price)


def bought(stack: tuple[Any, ...]) -> float:
    """Money for a gasket stack: what the shelf does not hold."""
    return float(sum(max(stack.count(each) - each.on_shelf, 0) * float(each.price) for each in dict.fromkeys(stack)))


def numbers(catalogue: Catalogue) -> dict[str, Rows]:
    """Every part as plain numbers, by kind: mm, mm², mm³, rpm (not a number where unrated), money.

    ``mill`` has a row for each head and amount. Lengths are rounded to 0.1 µm, so that equal sizes are equal numbers.
    """
    found: dict[str, Rows] = {}
    for kind in (*ALONE, "gasket"):
        found[kind] = []
        for part in catalogue.of_kind(kind):
            row = {name: round(getattr(part, name).to("mm"), 4) for name in SIZES_OF.get(kind, ())}
            row |= {"id": part.id, "paid": price(part)}
            if kind in RATED:
                row["rpm"] = part.max_rpm.to("rpm") if part.max_rpm is not None else np.nan  # type: ignore[attr-defined]
            found[kind].append(row | _more(part))
    found["mill"] = [
        {"head": head.id, "off": 1e3 * float(amount), "labour": head.mill.labour if amount else 0.0}  # type: ignore[attr-defined]
        for head in catalogue.of_kind("head")
        for amount in head.mill.amounts()  # type: ignore[attr-defined]
    ]
    return found


def _more(part: Any) -> dict[str, float]:
    """What is no length: volumes, areas, ratios, and how many gaskets lie there at what price."""
    if part.kind == "piston":
        return {"crown": crown(part)}
    if part.kind == "head":
        return {"chamber": part.chamber.to("mm3"), "chamber_area": part.chamber_area.to("mm2")}
    if part.kind == "rocker":
        return {"ratio": part.ratio.si, "exhaust_ratio": (part.exhaust_ratio or part.ratio).si}
    if part.kind == "gasket":
        return {"on_shelf": part.on_shelf, "price": float(part.price or 0)}
    return {}


def stacks(catalogue: Catalogue) -> list[tuple[Any, ...]]:
    """Every gasket stack of one to three layers."""
    gaskets = catalogue.of_kind("gasket")
    return [each for n in range(1, LAYERS + 1) for each in combinations_with_replacement(gaskets, n)]


def same(one: list[Key], other: list[Key]) -> bool:
    """Whether two lists of keys are the same, money within a hundredth."""
    return len(one) == len(other) and all(
        a[:2] == b[:2] and abs(a[2] - b[2]) < 0.01 for a, b in zip(one, other, strict=True)
    )
