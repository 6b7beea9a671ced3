"""The stack as a section, to scale, at top dead centre; and deck and quench once more, magnified."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kitwright.cli.report.blocks import Column, Paragraph, Table
from kitwright.cli.report.sheet.page import Picture
from kitwright.cli.report.sheet.svg import WIDTH, Canvas, Point
from kitwright.cli.report.stacked import place
from kitwright.cli.report.words import figure_style, figure_text, missing_text, words
from kitwright.solver.check import View
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked

_NEEDED = (
    "block.bore",
    "block.block_height",
    "crank.stroke",
    "crank.journal",
    "rod.length",
    "piston.compression_height",
    "piston.pin",
)
_HEIGHT = 520.0
_SCALE_BAR = (50.0, 20.0, 10.0, 5.0)
_INCH_BAR = (2.0, 1.0, 0.5, 0.25)


@dataclass(frozen=True, slots=True)
class _Stack:
    """Sizes of the drawing in mm; what is not known is None and is drawn as a dashed guess."""

    bore: float
    height: float
    spacer: float
    cut: float
    throw: float
    journal: float
    rod: float
    big_end: float | None
    compression_height: float
    pin: float
    offset: float
    skirt: float | None
    foot: float | None
    weight: float | None
    deck: float
    layers: tuple[float, ...]
    gasket_bore: float
    chamber: float | None
    chamber_area: float | None
    mill: float
    lever: float | None
    """How near the decompressor's lever comes to the crank's axis, wherever the cam stands."""
    held: float | None
    """How far the decompressor holds its valve open."""

    @property
    def surface(self) -> float:
        """Height of the deck's face above the crank's centre, after cut and spacer."""
        return self.height - self.cut + self.spacer


def stack_drawings(checked: Checked, plan: Plan) -> list[Picture | Paragraph]:
    """Both drawings, or a sentence on what they want for."""
    view = View(checked.combination, plan)
    missing = view.reader.missing(_NEEDED)
    if missing or "deck" not in checked.figures:
        return [Paragraph(f"The stack is not drawn: {'; '.join(missing_text(missing or view.missing('deck')))}.")]
    stack = _measured(view, checked)
    found: list[Picture | Paragraph] = [_section(stack, checked, plan)]
    if stack.layers:
        found.append(_magnified(stack, checked, plan))
    else:
        found.append(Paragraph("Quench is not drawn: no gasket is chosen."))
    return found


def _measured(view: View, checked: Checked) -> _Stack:
    def size(leaf: str) -> float:
        return 1000.0 * float(view.reader[leaf])

    def known(leaf: str) -> float | None:
        value = float(view.reader[leaf])
        return None if math.isnan(value) else 1000.0 * value

    gaskets = checked.combination.gaskets
    volume, area = float(view.reader["head.chamber"]), float(view.reader["head.chamber_area"])
    return _Stack(
        bore=size("block.bore"),
        height=size("block.block_height"),
        spacer=known("spacer.thickness") or 0.0,
        cut=size("machining.deck_cut"),
        throw=size("crank.stroke") / 2,
        journal=size("crank.journal"),
        rod=size("rod.length"),
        big_end=known("rod.outer_radius"),
        compression_height=size("piston.compression_height"),
        pin=size("piston.pin"),
        offset=known("piston.pin_offset") or 0.0,
        skirt=known("piston.skirt_below_pin"),
        foot=known("block.barrel_foot"),
        weight=known("crank.counterweight_radius"),
        deck=checked.figures["deck"],
        layers=tuple(1000.0 * each.thickness.si for each in gaskets),
        gasket_bore=max((1000.0 * each.bore.si for each in gaskets), default=size("block.bore")),
        chamber=None if math.isnan(volume) else 1e9 * volume,
        chamber_area=None if math.isnan(area) else 1e6 * area,
        mill=size("machining.mill"),
        lever=_less(known("block.cam_to_crank"), known("cam.decompressor.reach")),
        held=known("cam.decompressor.lift"),
    )


def _less(whole: float | None, part: float | None) -> float | None:
    return whole - part if whole is not None and part is not None and whole > part else None


class _Ground:
    """Turns millimetres about the crank's centre, y up, into the drawing's own units."""

    def __init__(self, scale: float, centre: Point) -> None:
        self.scale, self.centre = scale, centre

    def __call__(self, x: float, y: float) -> Point:
        return self.centre[0] + self.scale * x, self.centre[1] - self.scale * y


def _section(stack: _Stack, checked: Checked, plan: Plan) -> Picture:
    below = max(stack.weight or 0.0, stack.lever or 0.0, stack.throw + (stack.big_end or 0.75 * stack.journal)) + 4
    wall = max(0.1 * stack.bore, 5.0)
    head_height = 0.32 * stack.bore
    top = stack.surface + sum(stack.layers) + head_height + 4
    wide = stack.bore + 2 * wall
    scale = min(
        (_HEIGHT - 46) / (below + top), 158.0 / max(wide, 2 * max(stack.weight or stack.throw, stack.lever or 0.0))
    )
    height = scale * (below + top) + 34
    canvas = Canvas("stack", height)
    at = _Ground(scale, (126.0, 10 + scale * top))
    _block(canvas, at, stack, wall)
    _head(canvas, at, stack, wall, head_height)
    _bottom_end(canvas, at, stack)
    _piston(canvas, at, stack)
    _dimensions(canvas, at, stack, wall, plan.units)
    _bar(canvas, scale, height, plan.units)
    rows = _rows(stack, checked, plan)
    told = _sentence(", ".join(f"{name} {value}" for name, value in rows))
    guessed = _guessed(stack)
    note = " The rod's shank and small end are only indicated."
    if stack.lever is not None:
        note += " The outer circle is how near the decompressor's lever comes, wherever the cam stands."
    if guessed:
        note += f" Dashed outlines are not to size, because these are not given: {', '.join(guessed)}."
    table = Table((Column("size"), Column("value", "right")), tuple(rows))
    svg = canvas.svg("Section through cylinder, piston, rod and crank", f"{told}.{note}")
    return Picture("The stack at top dead centre, to scale", f"{told}.{note}", svg, table)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _guessed(stack: _Stack) -> list[str]:
    found = []
    if stack.skirt is None:
        found.append("the piston's skirt below the pin")
    if stack.big_end is None:
        found.append("the big end's outer radius")
    if stack.foot is None:
        found.append("the barrel's foot")
    if stack.layers and stack.chamber is not None and stack.chamber_area is None:
        found.append("the chamber's area")
    return found


def _rows(stack: _Stack, checked: Checked, plan: Plan) -> list[tuple[str, str]]:
    def said(value: float) -> str:
        return figure_text("deck", value, plan.units)

    rows = [
        ("bore", said(stack.bore)),
        ("block height", said(stack.height)),
        ("throw", said(stack.throw)),
        ("rod", said(stack.rod)),
        ("compression height", said(stack.compression_height)),
    ]
    if stack.lever is not None:
        rows.append(("decompressor's lever, nearest to the crank's axis", said(stack.lever)))
    if stack.held is not None:
        rows.append(("decompressor holds its valve open", said(stack.held)))
    if stack.spacer:
        rows.append(("spacer", said(stack.spacer)))
    if stack.cut:
        rows.append(("deck cut", said(stack.cut)))
    way = "below the deck" if stack.deck >= 0 else "proud of the deck"
    rows.append(("crown", f"{said(abs(stack.deck))} {way}"))
    if stack.layers:
        rows.append(("gasket stack" if len(stack.layers) > 1 else "gasket", said(sum(stack.layers))))
    if "quench" in checked.figures:
        rows.append(("quench", said(checked.figures["quench"])))
    return rows


def _block(canvas: Canvas, at: _Ground, stack: _Stack, wall: float) -> None:
    foot = stack.foot if stack.foot is not None else stack.surface - 2 * stack.throw - 0.75 * stack.bore
    style = "metal" if stack.foot is not None else "metal guess"
    half = stack.bore / 2
    for side in (-1, 1):
        canvas.box(at(side * half, stack.surface), at(side * (half + wall), max(foot, 0.0)), style)
        if stack.spacer:
            canvas.box(at(side * half, foot), at(side * (half + wall), foot - stack.spacer), "layer")
    canvas.line(at(-half - wall - 14 / at.scale, stack.surface), at(-half - wall, stack.surface), "dim thin")


def _head(canvas: Canvas, at: _Ground, stack: _Stack, wall: float, tall: float) -> None:
    half, outer = stack.bore / 2, stack.bore / 2 + wall
    level = stack.surface
    for thickness in stack.layers:
        inner = max(stack.gasket_bore / 2, half)
        for side in (-1, 1):
            canvas.box(at(side * inner, level), at(side * max(outer, inner + 1), level + thickness), "layer")
        level += thickness
    if stack.chamber is None:
        return
    area = stack.chamber_area or 0.5 * math.pi * half**2
    across = min(math.sqrt(area / math.pi), 0.97 * half)
    deep = min(stack.chamber / area, tall - 2)
    left, right = at(-across, level), at(across, level)
    up = at(0, level + deep)[1]
    rim = 0.28 * (right[0] - left[0])
    outline = (
        f"M{left[0]:.2f} {left[1]:.2f}C{left[0]:.2f} {up:.2f} {left[0] + rim:.2f} {up:.2f} "
        f"{(left[0] + right[0]) / 2:.2f} {up:.2f}S{right[0]:.2f} {up:.2f} {right[0]:.2f} {right[1]:.2f}Z"
    )
    canvas.box(at(-outer, level), at(outer, level + tall), "metal")
    canvas.curve(outline, "room" if stack.chamber_area is not None else "room guess")


def _bottom_end(canvas: Canvas, at: _Ground, stack: _Stack) -> None:
    lean = math.asin(max(-1.0, min(1.0, stack.offset / (stack.rod + stack.throw))))
    journal = (stack.throw * math.sin(lean), stack.throw * math.cos(lean))
    pin = (stack.offset, math.sqrt(max((stack.rod + stack.throw) ** 2 - stack.offset**2, 0.0)))
    centre = at(0, 0)
    if stack.weight is not None:
        reach, low = at.scale * stack.weight, at.scale * stack.weight * math.sin(math.radians(12))
        x = math.sqrt(reach**2 - low**2)
        canvas.curve(
            f"M{centre[0] - x:.2f} {centre[1] + low:.2f}A{reach:.2f} {reach:.2f} 0 0 0 {centre[0] + x:.2f} "
            f"{centre[1] + low:.2f}L{centre[0] + 0.3 * x:.2f} {centre[1] - low:.2f}"
            f"L{centre[0] - 0.3 * x:.2f} {centre[1] - low:.2f}Z",
            "part",
        )
    canvas.circle(centre, at.scale * stack.throw, "way")
    if stack.lever is not None:
        canvas.circle(centre, at.scale * stack.lever, "way")
    big = stack.big_end if stack.big_end is not None else 0.7 * stack.journal
    small = 0.8 * stack.pin
    shank = [
        at(journal[0] + side * 0.34 * stack.journal, journal[1] + 0.75 * big)
        if near
        else at(pin[0] + side * 0.42 * stack.pin, pin[1] - 0.6 * small)
        for side, near in ((-1, True), (-1, False), (1, False), (1, True))
    ]
    canvas.path(shank, "part guess", closed=True)
    canvas.circle(at(*journal), at.scale * big, "part" if stack.big_end is not None else "part guess")
    canvas.circle(at(*journal), at.scale * stack.journal / 2, "hole")
    canvas.circle(at(*pin), at.scale * small, "part guess")
    for x, y in ((0.0, 0.0), journal):
        cross = at(x, y)
        canvas.line((cross[0] - 5, cross[1]), (cross[0] + 5, cross[1]), "edge")
        canvas.line((cross[0], cross[1] - 5), (cross[0], cross[1] + 5), "edge")


def _piston(canvas: Canvas, at: _Ground, stack: _Stack) -> None:
    crown = stack.surface - stack.deck
    pin = crown - stack.compression_height
    half = stack.bore / 2 * 0.992
    skirt = stack.skirt if stack.skirt is not None else 0.3 * stack.bore
    canvas.box(at(-half, crown), at(half, pin - skirt), "part see" if stack.skirt is not None else "part see guess")
    canvas.line(at(-half, crown), at(half, crown), "crown")
    centre = at(stack.offset, pin)
    canvas.circle(centre, at.scale * stack.pin / 2, "hole")
    canvas.line((centre[0] - 5, centre[1]), (centre[0] + 5, centre[1]), "edge")
    canvas.line((centre[0], centre[1] - 5), (centre[0], centre[1] + 5), "edge")


def _dimensions(canvas: Canvas, at: _Ground, stack: _Stack, wall: float, units: str) -> None:
    def said(value: float) -> str:
        return figure_text("deck", value, units)

    x = at(stack.bore / 2 + wall, 0)[0] + 16
    pin_up = stack.surface - stack.deck - stack.compression_height
    marks = (
        (0.0, stack.throw, "throw"),
        (stack.throw, pin_up, "rod"),
        (pin_up, stack.surface - stack.deck, "compression height"),
    )
    for low, high, name in marks:
        start, end = at(0, low)[1], at(0, high)[1]
        canvas.dimension((x, start), (x, end), said(high - low if name != "rod" else stack.rod), name)
    for level in (0.0, stack.throw, pin_up, stack.surface - stack.deck):
        y = at(0, level)[1]
        canvas.line((at(0, 0)[0] + 8, y), (x + 4, y), "dim thin")
    left = at(-stack.bore / 2 - wall, 0)[0] - 12
    bottom, top = at(0, 0)[1], at(0, stack.surface)[1]
    canvas.dimension((left, bottom), (left, top), "")
    canvas.line((left - 4, bottom), (at(0, 0)[0] - 8, bottom), "dim thin")
    canvas.text((left - 6, (bottom + top) / 2), f"to the deck {said(stack.surface)}", "num", "middle", -90)


def _bar(canvas: Canvas, scale: float, height: float, units: str) -> None:
    """Lay a bar of a round length at the foot: a print comes out in any size."""
    inch = units == "in"
    lengths = [(each * 25.4, f"{each:g} in") for each in _INCH_BAR] if inch else [(x, f"{x:g} mm") for x in _SCALE_BAR]
    length, text = next(((mm, said) for mm, said in lengths if mm * scale < 110), lengths[-1])
    left, y = WIDTH - 14 - length * scale, height - 12
    canvas.line((left, y), (left + length * scale, y), "edge")
    for x in (left, left + length * scale):
        canvas.line((x, y - 4), (x, y + 4), "edge")
    canvas.text((left - 6, y + 4), text, "num", "end")


# deck and quench


def _magnified(stack: _Stack, checked: Checked, plan: Plan) -> Picture:
    quench = stack.deck + sum(stack.layers)
    ranges = checked.spread.get("deck", {}).get("worst_case", (stack.deck, stack.deck))
    total = sum(stack.layers)
    low = min(-ranges[1], -stack.deck, 0.0)
    high = max(total, -ranges[0], -stack.deck)
    span = max(high - low, 0.3)
    scale = 168.0 / span
    bottom = 46 + scale * (high - low) + 34
    height = bottom + 26
    canvas = Canvas("quench", height)
    edge = 128.0

    def up(level: float) -> float:
        return 46 + scale * (high - level)

    head_at, crown_at = up(total), up(-stack.deck)
    canvas.box((8, 8), (196, head_at), "metal")
    canvas.box((8, up(0.0)), (edge, bottom), "metal")
    setback = min(max((stack.gasket_bore - stack.bore) / 2, 0.0) * scale, edge - 30)
    level = 0.0
    for thickness in stack.layers:
        canvas.box((8, up(level)), (edge - setback, up(level + thickness)), "layer")
        level += thickness
    canvas.box((edge + 1, crown_at), (196, bottom), "part")
    if ranges[1] - ranges[0] > 1e-9:
        canvas.box((edge + 1, up(-ranges[0])), (196, up(-ranges[1])), "spread")
    canvas.line((edge + 1, crown_at), (196, crown_at), "crown")
    for y, x in ((head_at, 248.0), (crown_at, 248.0), (up(0.0), 218.0)):
        canvas.line((196 if y != up(0.0) else edge, y), (x, y), "dim thin")
    deck_text, quench_text = (figure_text("deck", abs(each), plan.units) for each in (stack.deck, quench))
    stack_text = figure_text("deck", total, plan.units)
    canvas.text((16, 26), "head", "halo")
    canvas.text((16, bottom - 8), "block", "halo")
    canvas.text((189, bottom - 8), "piston", "halo", "end")
    layered = "gasket" if len(stack.layers) == 1 else f"{len(stack.layers)} gaskets"
    beside = edge - setback + 6 if edge - setback < 116 else 16
    canvas.text((beside, (up(0.0) + up(total)) / 2 + 4), f"{layered} {stack_text}", "num halo")
    canvas.dimension((210, up(0.0)), (210, crown_at), "")
    canvas.dimension((240, head_at), (240, crown_at), quench_text, "quench", strong=True)
    way = "down" if stack.deck >= 0 else "up"
    canvas.text((210, bottom + 18), f"deck {deck_text} {way}", "num", "middle")
    times = _times(scale)
    parts = [f"Quench {figure_text('quench', quench, plan.units)}"]
    parts.append(f"deck {deck_text} {'below the deck' if stack.deck >= 0 else 'proud of the deck'}")
    parts.append(f"{layered} {stack_text}")
    note = ""
    if "deck" in checked.spread and ranges[1] - ranges[0] > 1e-9:
        style = figure_style("deck", ranges, plan.units)
        band = f"deck between {place(ranges[0], style)} and {place(ranges[1], style)}"
        note = f" The shaded band is where the crown may lie: {band}."
    told = ", ".join(parts)
    table = Table(
        (Column("figure"), Column("value", "right")),
        tuple(
            (words(name), figure_text(name, checked.figures[name], plan.units))
            for name in ("deck", "quench")
            if name in checked.figures
        ),
    )
    title = f"Deck and quench, magnified about {times} times"
    return Picture(
        title, f"{told}.{note}", canvas.svg("Edge of piston, block, gasket and head", f"{told}.{note}"), table
    )


def _times(scale: float) -> str:
    """Magnification in print: the drawing's 360 units are some 90 mm wide on paper."""
    return f"{scale * 90 / WIDTH:.0f}"
