"""How it is said, beside the figure, what the quench at speed counts and what it leaves out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

from kitwright.cli.report.blocks import Items
from kitwright.cli.report.words import figure_text, missing_text
from kitwright.solver.at_speed import QUENCH_AT_SPEED, AtSpeed, Counted, at_speed
from kitwright.solver.check import View
from kitwright.solver.combination import Missing
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked


def at_speed_blocks(checked: Checked, plan: Plan) -> Iterator[Items]:
    """What the quench at speed counts, what it does not, what it wants for; nothing where there is nothing to say."""
    found = at_speed(View(checked.combination, plan))
    if found is None:
        return
    shown = "not established" if found.value is None else figure_text(QUENCH_AT_SPEED, found.value, plan.units)
    yield Items(f"Quench at speed {shown}", tuple(_lines(found, plan.units)))


def _lines(found: AtSpeed, units: str) -> Iterator[str]:
    def length(value: float) -> str:
        return figure_text(QUENCH_AT_SPEED, abs(value), units)

    def each(some: Iterable[Counted]) -> str:
        return ", ".join(f"{one.what} {_signed(one.change, units)}" for one in some if not math.isnan(one.change))

    if found.missing:
        yield f"wanting: {'; '.join(missing_text(found.missing))}"
    counted = [f"rod stretch −{length(found.stretch)}"] if found.stretch is not None else []
    if any(not math.isnan(one.change) for one in found.heat):
        counted.append(f"heat of {each(found.heat)}")
    if found.play:
        counted.append(f"bearing play of {each(found.play)}")
    if found.rock is not None:
        counted.append(f"piston rock −{length(found.rock)}")
    if counted:
        yield f"counted: {'; '.join(counted)}"
    left = [f"heat of {', '.join(found.cold)} (no temperature is given)"] if found.cold else []
    if found.no_play:
        wanting = [one for some in found.no_play for one in some.wants]
        left.append(f"bearing play of {', '.join(one.what for one in found.no_play)} ({_fields(wanting)})")
    if found.no_rock:
        left.append(f"piston rock ({_fields(found.no_rock)})")
    if left:
        yield f"not counted: {'; '.join(left)}"
    if found.unused:
        yield f"a temperature that does not enter: {', '.join(found.unused)}"


def _signed(change: float, units: str) -> str:
    return f"{'−' if change < 0 else '+'}{figure_text(QUENCH_AT_SPEED, abs(change), units)}"


def _fields(missing: Iterable[Missing]) -> str:
    return "; ".join(missing_text(missing))


def at_speed_data(checked: Checked, plan: Plan) -> dict[str, Any]:
    """The same for JSON, lengths in mm; nothing where there is nothing to say."""
    found = at_speed(View(checked.combination, plan))
    if found is None:
        return {}

    def keyed(some: Iterable[Counted]) -> dict[str, float | None]:
        return {one.what: None if math.isnan(one.change) else one.change for one in some}

    def fields(missing: Iterable[Missing]) -> list[dict[str, str | None]]:
        return [{"part": one.part, "field": one.field} for one in missing]

    return {
        "quench_at_speed": {
            "value_mm": found.value,
            "counted_mm": {
                "rod_stretch": None if found.stretch is None else -found.stretch,
                "heat": keyed(found.heat),
                "bearing_play": keyed(found.play),
                "piston_rock": None if found.rock is None else -found.rock,
            },
            "not_counted": {
                "heat": list(found.cold),
                "bearing_play": {one.what: fields(one.wants) for one in found.no_play},
                "piston_rock": fields(found.no_rock),
            },
            "unused_temperatures": list(found.unused),
            "missing": fields(found.missing),
        }
    }
