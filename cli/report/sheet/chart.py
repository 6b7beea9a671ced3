"""Plots: axes with round ticks, lines that differ by more than their colour, bands, bars and marks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from kitwright.cli.report.sheet.svg import WIDTH, Canvas, Point, thinned

LEFT, RIGHT, TOP, BOTTOM = 46.0, 12.0, 34.0, 40.0

LINES = ("a", "b", "c", "d")
"""Classes of the page's style sheet: a colour and a dash each."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: from where to where, what stands beside it, and the ticks (round ones unless given).

    ``whole``: what it counts is never a fraction.
    """

    low: float
    high: float
    title: str
    ticks: tuple[float, ...] = ()
    whole: bool = False

    def places(self, about: int) -> tuple[float, ...]:
        """Ticks, about so many; of counts none between two whole numbers."""
        ticks = self.ticks or round_ticks(self.low, self.high, about)
        return tuple(each for each in ticks if each.is_integer()) if self.whole else ticks


def round_ticks(low: float, high: float, about: int = 5) -> tuple[float, ...]:
    """Round numbers between two ends, 1, 2 or 5 times a power of ten apart.

    >>> round_ticks(0.0, 9.3)
    (0.0, 2.0, 4.0, 6.0, 8.0)
    """
    if not high > low:
        return (low,)
    rough = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(each * power for each in (1, 2, 5, 10) if each * power >= rough * 0.9)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return tuple(round(place * step, 12) + 0.0 for place in range(first, last + 1))


def padded(values: Iterable[float], share: float = 0.08) -> tuple[float, float]:
    """Ends of an axis that holds all values with a little room; one value alone gets room of its own size."""
    found = list(values)
    low, high = min(found), max(found)
    room = (high - low) * share or max(abs(high) * 0.1, 0.5)
    return low - room, high + room


def tick_text(value: float, ticks: Sequence[float]) -> str:
    """A tick's number with as many decimals as its neighbours ask for."""
    if len(ticks) == 1:
        return f"{value:g}".replace("-", "−")
    step = min((b - a for a, b in itertools.pairwise(ticks)), default=1.0)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return f"{value:.{decimals}f}".replace("-", "−")


class Chart:
    """A plot on a canvas of its own."""

    def __init__(self, name: str, across: Axis, up: Axis, height: float = 230.0) -> None:
        self.canvas = Canvas(name, height)
        self.across, self.up = across, up
        self.left, self.right, self.top, self.bottom = LEFT, WIDTH - RIGHT, TOP, height - BOTTOM
        self._legend_at = self.left
        self._frame()

    def x(self, value: float) -> float:
        """Place of a value across."""
        return self.left + (value - self.across.low) / (self.across.high - self.across.low) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Place of a value up."""
        return self.bottom - (value - self.up.low) / (self.up.high - self.up.low) * (self.bottom - self.top)

    def _frame(self) -> None:
        ticks = self.up.places(5)
        for value in ticks:
            self.canvas.line((self.left, self.y(value)), (self.right, self.y(value)), "grid")
            self.canvas.text((self.left - 5, self.y(value) + 4), tick_text(value, ticks), "num", "end")
        places = self.across.places(6)
        for value in places:
            self.canvas.line((self.x(value), self.bottom), (self.x(value), self.bottom + 4), "axis")
            self.canvas.text((self.x(value), self.bottom + 16), tick_text(value, places), "num", "middle")
        self.canvas.line((self.left, self.bottom), (self.right, self.bottom), "axis")
        self.canvas.text(((self.left + self.right) / 2, self.bottom + 32), self.across.title, "", "middle")
        self.canvas.text((4, 12), self.up.title)

    def line(self, points: Iterable[Point], style: str, label: str = "") -> None:
        """Draw a line through values, cut at the frame; a label goes into the legend."""
        run: list[Point] = []
        for each in points:
            if self.up.low <= each[1] <= self.up.high and self.across.low <= each[0] <= self.across.high:
                run.append((self.x(each[0]), self.y(each[1])))
            elif run:
                self._drawn(run, style)
                run = []
        self._drawn(run, style)
        if label:
            self.legend(label, style)

    def _drawn(self, run: list[Point], style: str) -> None:
        if len(run) > 1:
            self.canvas.path(thinned(run), f"line {style}")

    def legend(self, label: str, style: str) -> None:
        """Add a line to the legend above the plot."""
        x = self._legend_at
        self.canvas.line((x, 24), (x + 22, 24), f"line {style}")
        self.canvas.text((x + 27, 28), label)
        self._legend_at = x + 27 + 6.4 * len(label) + 12

    def mark(self, value: Point, style: str, label: str = "", anchor: str = "start", below: bool = False) -> None:
        """Draw a dot, and a text beside it."""
        x, y = self.x(value[0]), self.y(value[1])
        self.canvas.circle((x, y), 3.6, f"dot {style}")
        if label:
            shift = {"start": 7.0, "end": -7.0, "middle": 0.0}[anchor]
            self.canvas.text((x + shift, y + (15 if below else -7)), label, "num halo", anchor)

    def ring(self, value: Point) -> None:
        """Draw a ring round a dot."""
        self.canvas.circle((self.x(value[0]), self.y(value[1])), 7.5, "ring")

    def level(self, value: float, style: str, label: str) -> None:
        """Draw a line across at a value."""
        if self.up.low <= value <= self.up.high:
            self.canvas.line((self.left, self.y(value)), (self.right, self.y(value)), style)
            if label:
                self.canvas.text((self.right - 2, self.y(value) - 4), label, "halo", "end")

    def post(self, value: float, style: str, label: str, row: int = 0, anchor: str = "") -> None:
        """Draw an upright line at a value, its label at the top."""
        if self.across.low <= value <= self.across.high:
            x, y = self.x(value), self.top + 2 + 15 * row
            self.canvas.line((x, self.top), (x, self.bottom), style)
            side = anchor or ("end" if x > (self.left + self.right) / 2 else "start")
            self.canvas.text((x + (4 if side == "start" else -4), y + 8), label, "halo", side)

    def band(self, low: float, high: float, style: str) -> None:
        """Shade a range of the values across."""
        low, high = max(low, self.across.low), min(high, self.across.high)
        if high > low:
            self.canvas.box((self.x(low), self.top), (self.x(high), self.bottom), style)

    def bars(self, edges: Sequence[float], heights: Sequence[float], style: str) -> None:
        """Draw a histogram."""
        for low, high, tall in zip(edges, edges[1:], heights, strict=False):
            if tall > 0:
                self.canvas.box((self.x(low) + 0.5, self.y(tall)), (self.x(high) - 0.5, self.bottom), style)
