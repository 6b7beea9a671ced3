"""How numbers are written for people: digits that the bench can use, lengths in millimetres or inches."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kitwright.solver.quantity import plain

IN_THOU_BELOW = 2.54
"""Lengths below this, in mm (0.1 in), are written in thou where inches are shown."""

_DECIMALS = {
    "money": 2,
    "mm2": 1,
    "cc": 2,
    "rpm": 0,
    "m_s": 2,
    "m_s2": 0,
    "g": 1,
    "g_mm": 0,
    "N_m": 1,
    "kPa": 0,
    "MPa": 0,
    "Hz": 0,
    "deg": 1,
}
_WRITTEN = {"mm2": "mm²", "m_s": "m/s", "m_s2": "m/s²", "g_mm": "g·mm", "N_m": "N·m", "money": ""}


@dataclass(frozen=True, slots=True)
class Style:
    """A unit as it is written, what a value is multiplied by to be in it, and its decimals."""

    unit: str
    scale: float
    decimals: int

    def text(self, value: float | None, sign: bool = False) -> str:
        """Give a value, without the unit; empty where there is none."""
        if value is None or not math.isfinite(value):
            return ""
        exact = float(f"{value * self.scale:.12g}")  # two ways to one value are not rounded apart
        shown = round(exact, self.decimals) + 0.0  # no minus zero
        return f"{shown:{'+' if sign else ''}.{self.decimals}f}".replace("-", "−")

    def with_unit(self, value: float | None, sign: bool = False) -> str:
        """Give a value with its unit."""
        return f"{self.text(value, sign)} {self.unit}".strip()


def style(unit: str, values: Iterable[float | None], units: str = "mm", whole: bool = False) -> Style:
    """How values of one column are written.

    Args:
        unit: how the figure's key ends (``mm``, ``rpm``, ``money``, empty for a ratio).
        values: what stands in the column, in that unit.
        units: ``mm`` or ``in``, for lengths.
        whole: whether the values are counts.

    >>> style("mm", [0.5, 1.0]).with_unit(0.5), style("mm", [0.875]).with_unit(0.875)
    ('0.50 mm', '0.875 mm')
    >>> style("mm", [57.0], "in").with_unit(57.0), style("mm", [1.016], "in").with_unit(1.016)
    ('2.2441 in', '40.0 thou')

    """
    known = [value for value in values if value is not None and math.isfinite(value)]
    if unit == "mm" and units == "in":
        if all(abs(value) < IN_THOU_BELOW for value in known):
            return Style("thou", 1 / 0.0254, 1)
        return Style("in", 1 / 25.4, 4)
    if unit in ("mm", ""):
        return Style(unit, 1.0, 0 if whole else 3 if _needs_third(known) else 2)
    if unit == "N":
        return Style("N", 1.0, 0 if all(abs(value) >= 1000 for value in known) else 1)
    return Style(_WRITTEN.get(unit, unit), 1.0, _DECIMALS.get(unit, 3))


def _needs_third(values: Sequence[float]) -> bool:
    return any(abs(round(value, 3) - round(value, 2)) > 5e-4 for value in values)


def money(amount: float | None) -> str:
    """Give an amount in the catalogue's money, without a sign for it.

    >>> money(38), money(None)
    ('38.00', '?')
    """
    return "?" if amount is None or not math.isfinite(amount) else f"{amount:.2f}"


def bare(value: float) -> str:
    """Give a number as short as it is exact to six decimals.

    >>> bare(40.0), bare(9.25)
    ('40', '9.25')
    """
    return plain(value).replace("-", "−")


def seconds(spent: float) -> str:
    """Give a time as people say it.

    >>> seconds(0.0512), seconds(12.3)
    ('0.05 s', '12 s')
    """
    return f"{spent:.2f} s" if spent < 1 else f"{spent:.1f} s" if spent < 10 else f"{spent:.0f} s"


def ranks(numbers: Sequence[int]) -> str:
    """Ranks in few characters.

    >>> ranks([1, 2, 3, 7]), ranks([2])
    ('1–3, 7', '2')
    """
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)
