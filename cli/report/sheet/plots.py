"""Plots of one combination over the crank angle, and of how its figures scatter."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from kitwright.cli.report.blocks import Column, Paragraph, Table
from kitwright.cli.report.numbers import Style, bare, style
from kitwright.cli.report.sheet.chart import Axis, Chart, padded
from kitwright.cli.report.sheet.page import Picture
from kitwright.cli.report.sheet.svg import WIDTH
from kitwright.cli.report.words import figure_style, missing_text, words
from kitwright.solver.check import View, implied_goals
from kitwright.solver.curves import VALVES, Curve, NoCurve, curve
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked
from kitwright.solver.sampling import Distribution, figure_samples

_QUARTERS = tuple(float(each) for each in range(-360, 361, 180))
_OVERLAP = 90.0
"""Crank degrees either side of the overlap's top dead centre that are shown: no valve comes near the piston outside."""
_THIRDS = tuple(float(each) for each in range(-90, 91, 30))

_SAMPLES, _SEED = 4000, 1
_BARS = 28
_LABEL = 72.0
"""Nearer than this on the page, the labels of two limits would run into one another."""

Plot = Picture | Paragraph


@dataclass(frozen=True, slots=True)
class _Asked:
    checked: Checked
    plan: Plan

    def curve(self, name: str) -> Curve | NoCurve:
        return curve(name, self.checked.combination, self.plan)

    def style(self, line: Curve) -> Style:
        units = self.plan.units
        scaled = style(line.unit, [float(np.max(np.abs(line.values)))], units)
        return Style(scaled.unit, scaled.scale, 3 if scaled.unit == "in" else 2 if line.unit != "N" else 0)


def motion_plots(checked: Checked, plan: Plan) -> list[Plot]:
    """Piston, valves and springs over the crank angle; a sentence where the data for a plot is not there."""
    asked = _Asked(checked, plan)
    return [_position(asked), _clearance(asked), _speed(asked), *_springs(asked)]


def _not_drawn(what: str, lines: Sequence[NoCurve]) -> Paragraph:
    missing = list(dict.fromkeys(each for line in lines for each in line.missing))
    why = "; ".join(missing_text(missing)) or "no smooth lobe has both of the cam's durations"
    return Paragraph(f"{what}: not drawn. {why[:1].upper()}{why[1:]}.")


def _position(asked: _Asked) -> Plot:
    line = asked.curve("piston_below_deck")
    if isinstance(line, NoCurve):
        return _not_drawn("Piston position", [line])
    form = asked.style(line)
    values = line.values * form.scale
    low, high = padded([*values, 0.0], 0.06)
    chart = Chart(
        "position",
        Axis(-360, 360, "crank degrees after the overlap's top dead centre", _QUARTERS),
        Axis(-high, -low, f"crown above the deck, {form.unit}"),
    )
    chart.level(0.0, "rule", "deck")
    chart.line(zip(line.angles, -values, strict=True), "a")
    half = line.value_at(90.0)
    rows = [(f"{angle}", form.with_unit(line.value_at(angle))) for angle in (0, 30, 60, 90, 120, 150, 180)]
    told = (
        f"The crown stands {_level(line.value_at(0.0), form)} at top dead centre and "
        f"{form.with_unit(line.value_at(180.0))} below it at the bottom; a quarter turn after the top it is "
        f"{form.with_unit(half)} down."
    )
    title = "Piston position over two turns"
    return Picture(title, told, chart.canvas.svg(title, told), _table("degrees after the top", "below the deck", rows))


def _level(deck: float, form: Style) -> str:
    return f"{form.with_unit(abs(deck))} {'below the deck' if deck >= 0 else 'proud of the deck'}"


def _table(first: str, second: str, rows: Sequence[tuple[str, str]]) -> Table:
    return Table((Column(first, "right"), Column(second, "right")), tuple(rows))


def _clearance(asked: _Asked) -> Plot:
    found = [asked.curve(f"piston_to_valve_{valve}") for valve in VALVES]
    lines = [each for each in found if isinstance(each, Curve)]
    gaps = [each for each in found if isinstance(each, NoCurve)]
    if not lines:
        return _not_drawn("Piston to valve", gaps)
    form = asked.style(lines[0])
    leasts = [line.value_at(line.at) * form.scale for line in lines]
    bounds = _bounds(asked, [f"piston_to_valve_{valve}" for valve in VALVES])
    low = min(0.0, *leasts) - 0.2 * form.scale
    high = max(max(leasts) * 3.0, 10.0 * form.scale, *(each * form.scale for each in bounds))
    chart = Chart(
        "clearance",
        Axis(-_OVERLAP, _OVERLAP, "crank degrees after the overlap's top dead centre", _THIRDS),
        Axis(low, high, f"piston to valve, square to its face, {form.unit}"),
    )
    told, rows = [], []
    for line, least, kind in zip(lines, leasts, "ab", strict=False):
        valve = line.name.rpartition("_")[2]
        chart.line(zip(line.angles, line.values * form.scale, strict=True), kind, valve)
        anchor = "start" if line.at >= 0 else "end"
        chart.mark((line.at, least), kind, form.text(least / form.scale), anchor, below=True)
        side = "after" if line.at >= 0 else "before"
        place = f"{abs(line.at):.0f} degrees {side} the overlap's top"
        told.append(f"the {valve} valve comes within {form.with_unit(line.value_at(line.at))}, {place}")
        rows.append((f"{valve}, {place}", form.with_unit(line.value_at(line.at))))
    for bound in sorted(set(bounds)):
        chart.level(bound * form.scale, "limit", f"wanted at least {form.with_unit(bound)}")
    text = f"{'; '.join(told)}."
    text = text[:1].upper() + text[1:]
    if gaps:
        text += " " + " ".join(_not_drawn(each.meaning.partition(",")[0].capitalize(), [each]).text for each in gaps)
    title = "Piston to valve through the overlap"
    return Picture(title, text, chart.canvas.svg(title, text), _table("least distance", "value", rows))


def _bounds(asked: _Asked, figures: Sequence[str]) -> list[float]:
    goals = implied_goals(asked.plan)
    return [bound for name in figures if name in goals and (bound := goals[name].minimum) is not None]


def _speed(asked: _Asked) -> Plot:
    line = asked.curve("piston_speed")
    if isinstance(line, NoCurve):
        return _not_drawn("Piston speed", [line])
    form = style(line.unit, line.values, asked.plan.units)
    low, high = padded(line.values, 0.14)
    ticks = tuple(float(each) for each in range(0, 361, 90))
    chart = Chart(
        "speed",
        Axis(0, 360, "crank degrees after top dead centre", ticks),
        Axis(low, high, "piston speed, m/s, down is positive"),
    )
    chart.level(0.0, "rule", "")
    chart.line(zip(line.angles, line.values, strict=True), "a")
    peak = line.value_at(line.at)
    chart.mark((line.at, peak), "a", form.text(peak), "middle")
    ceiling = bare(asked.plan.rev_ceiling or 0.0)
    told = f"At {ceiling} rpm the piston is fastest {line.at:.0f} degrees after the top, {form.with_unit(peak)}"
    rows = [(f"greatest, {line.at:.1f} degrees after the top", form.with_unit(peak))]
    mean = asked.checked.figures.get("mean_piston_speed")
    if mean is not None:
        told += f"; its mean is {form.with_unit(mean)}"
        rows.append(("mean", form.with_unit(mean)))
    title = f"Piston speed at {ceiling} rpm"
    return Picture(title, f"{told}.", chart.canvas.svg(title, f"{told}."), _table("piston speed", "value", rows))


def _springs(asked: _Asked) -> list[Plot]:
    found: list[Plot] = []
    gaps: list[NoCurve] = []
    for valve in VALVES:
        force, need = asked.curve(f"spring_force_{valve}"), asked.curve(f"spring_need_{valve}")
        if isinstance(force, Curve) and isinstance(need, Curve):
            found.append(_spring(asked, valve, force, need))
        else:
            gaps += [each for each in (force, need) if isinstance(each, NoCurve)]
    if gaps:
        found.append(_not_drawn("Spring force against need", gaps))
    return found


def _spring(asked: _Asked, valve: str, force: Curve, need: Curve) -> Picture:
    _, high = padded([0.0, *force.values, *need.values], 0.1)
    half = float(force.angles[-1])
    chart = Chart(
        f"spring-{valve}",
        Axis(-half, half, "crank degrees from the lobe's nose"),
        Axis(0.0, high, "force at the valve, N"),
    )
    ceiling = bare(asked.plan.rev_ceiling or 0.0)
    chart.line(zip(force.angles, force.values, strict=True), "a", "spring")
    chart.line(zip(need.angles, need.values, strict=True), "b", f"need at {ceiling} rpm")
    there, wanted = force.value_at(force.at), need.value_at(need.at)
    for sign in (-1.0, 1.0):
        top, low = (sign * force.at, there), (sign * force.at, wanted)
        chart.canvas.line((chart.x(top[0]), chart.y(top[1])), (chart.x(low[0]), chart.y(low[1])), "rule")
    chart.mark((need.at, wanted), "b", f"{wanted:.0f}", "start")
    chart.mark((force.at, there), "a", f"{there:.0f}", "start")
    share = there / wanted if wanted > 0 else float("inf")
    told = (
        f"The spring is nearest to letting go {abs(force.at):.0f} degrees from the nose: it gives {there:.0f} N there, "
        f"and {wanted:.0f} N are needed at {ceiling} rpm, {share:.1f} times as much as needed"
        if share >= 1
        else f"The spring lets go at {ceiling} rpm: {abs(force.at):.0f} degrees from the nose it gives {there:.0f} N, "
        f"and {wanted:.0f} N are needed"
    )
    title = f"Spring force against need, {valve}"
    told = told.replace(f", {share:.1f} times as much as needed", f" ({share:.1f} times what is needed)")
    rows = [("spring", f"{there:.0f} N"), (f"need at {ceiling} rpm", f"{wanted:.0f} N")]
    table = _table(f"{abs(force.at):.0f} degrees from the nose", "force", rows)
    return Picture(title, f"{told}.", chart.canvas.svg(title, f"{told}."), table)


# how figures scatter


def spread_plots(checked: Checked, plan: Plan) -> list[Plot]:
    """Histograms of quench and compression over made-up builds within the tolerances."""
    found: list[Plot] = []
    for name in ("quench", "compression"):
        if name not in checked.figures:
            continue
        drawn = figure_samples(View(checked.combination, plan), name, _SAMPLES, _SEED, Distribution())
        found.append(_histogram(name, drawn, checked, plan))
    return found


def _histogram(name: str, drawn: np.ndarray, checked: Checked, plan: Plan) -> Plot:
    low, high = checked.spread.get(name, {}).get("worst_case", (checked.figures[name],) * 2)
    if high - low < 1e-9:
        return Paragraph(
            f"Spread of {words(name)}: no tolerances given, for none of the dimensions that it depends on."
        )
    goal = plan.goals.get(name)
    bounds = [each for each in ((goal.minimum, goal.maximum) if goal else ()) if each is not None]
    form = figure_style(name, [low, high, *bounds], plan.units)
    ends = padded([low, high, *(each for each in bounds if low - (high - low) < each < high + (high - low))], 0.06)
    counts, edges = np.histogram(drawn, bins=_BARS, range=(low, high))
    shares = counts / len(drawn) * 100
    unit = f", {form.unit}" if form.unit else ""
    scale = form.scale
    chart = Chart(
        f"spread-{name.replace('_', '-')}",
        Axis(ends[0] * scale, ends[1] * scale, f"{words(name)}{unit}"),
        Axis(0.0, float(shares.max()) * 1.45, "builds of a hundred"),
    )
    chart.bars(list(edges * scale), list(shares), "bar")
    chart.post(low * scale, "rule", "worst", 2, "start")
    chart.post(high * scale, "rule", "worst", 2, "end")
    chart.post(checked.figures[name] * scale, "crown", f"nominal {form.text(checked.figures[name])}", 0)
    outside = 0
    near = len(bounds) == 2 and abs(chart.x(bounds[1] * scale) - chart.x(bounds[0] * scale)) < _LABEL
    for side, bound in (("min", goal.minimum if goal else None), ("max", goal.maximum if goal else None)):
        if bound is None:
            continue
        outside += int(np.sum(drawn < bound) if side == "min" else np.sum(drawn > bound))
        chart.post(bound * scale, "limit", f"{side} {form.text(bound)}", 3 if near and side == "max" else 1)
    middle = np.percentile(drawn, [5, 95])
    told = (
        f"Nine builds of ten lie between {form.text(float(middle[0]))} and {form.with_unit(float(middle[1]))}; "
        f"the worst corners of all ± are {form.text(low)} and {form.with_unit(high)}"
    )
    if bounds:
        told += (
            f"; {outside} of {len(drawn)} made-up builds miss the plan's limits"
            if outside
            else f"; none of {len(drawn)} made-up builds misses the plan's limits"
        )
    title = f"Spread of {words(name)}"
    places = np.percentile(drawn, [5, 50, 95])
    rows = [
        (f"{share} of a hundred below", form.with_unit(float(x))) for share, x in zip((5, 50, 95), places, strict=True)
    ]
    return Picture(title, f"{told}.", chart.canvas.svg(title, f"{told}."), _table("builds", words(name), rows))


# closeness against money


def alternatives_plot(builds: Sequence[tuple[str, Checked]], chosen: str | None) -> Plot:
    """Closeness over money, a dot a build (or several that are alike in both); those that nobody beats are filled."""
    known = [(name, each) for name, each in builds if each.cost is not None]
    left = [name for name, each in builds if each.cost is None]
    note = f" Not drawn, because a price is missing: {', '.join(left)}." if left else ""
    if not known:
        return Paragraph(f"Closeness against money: nothing to draw.{note}")
    places: dict[tuple[float, int], list[str]] = {}
    for name, each in known:
        places.setdefault((float(each.cost or 0.0), each.closeness), []).append(name)
    best = unbeaten(list(places))
    money, close = [cost for cost, _ in places], [float(points) for _, points in places]
    low, high = padded(money, 0.12)
    _, top = padded([0.0, *close], 0.16)
    chart = Chart(
        "money",
        Axis(max(low, -5.0), high, "money still to be spent", tuple(set(money)) if len(set(money)) == 1 else ()),
        Axis(-0.06 * top, top, "closeness, 0 is spot on", whole=True),
    )
    steps = sorted(best)
    for (first, second), (third, fourth) in itertools.pairwise(steps):
        chart.line([(first, second), (third, second), (third, fourth)], "soft")
    for place, names in places.items():
        chart.mark((place[0], float(place[1])), "a" if place in best else "hollow")
        if chosen in names:
            chart.ring((place[0], float(place[1])))
    _label(chart, places)
    ahead = [name for name, each in known if (float(each.cost or 0.0), each.closeness) in best]
    told = (
        f"Nobody beats {_listed(ahead)} on both closeness and money (filled dots)"
        if len(places) > 1
        else "All are alike in closeness and money"
    )
    rows = tuple(
        (
            name,
            str(each.closeness),
            f"{each.cost:.2f}",
            "yes" if (float(each.cost or 0), each.closeness) in best else "no",
        )
        for name, each in known
    )
    columns = (Column("build"), Column("closeness", "right"), Column("cost", "right"), Column("beaten by nobody"))
    title = "Closeness against money"
    return Picture(title, f"{told}.{note}", chart.canvas.svg(title, f"{told}.{note}"), Table(columns, rows))


def _label(chart: Chart, places: Mapping[tuple[float, int], list[str]]) -> None:
    """Write the names beside the dots, each where no other stands yet: above, below, or further out."""
    taken: list[tuple[float, float, float]] = []
    for (cost, closeness), names in sorted(places.items()):
        shown = ", ".join(names[:4]) + (" …" if len(names) > 4 else "")
        x, y = chart.x(cost), chart.y(float(closeness))
        half = 3.4 * len(shown) + 2
        middle = min(x, WIDTH - half - 2)
        for row in (y - 10, y + 19, y - 23, y + 32):
            if not any(
                abs(row - line) < 12 and middle - half < high and middle + half > low for low, high, line in taken
            ):
                break
        taken.append((middle - half, middle + half, row))
        chart.canvas.text((middle, row), shown, "num halo", "middle")


def unbeaten(places: Sequence[tuple[float, int]]) -> set[tuple[float, int]]:
    """Places (money, closeness) to which no other is at least as good in both and better in one.

    >>> sorted(unbeaten([(0.0, 5), (10.0, 2), (12.0, 2), (20.0, 1)]))
    [(0.0, 5), (10.0, 2), (20.0, 1)]
    """
    return {
        each
        for each in places
        if not any(other != each and other[0] <= each[0] and other[1] <= each[1] for other in places)
    }


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
