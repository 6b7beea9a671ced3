"""Drawing by hand: a canvas of SVG elements that is scaled, titled, described and coloured by the page's style sheet.

Everything that is text goes through one escape; colours are class names, so that light, dark and paper each have
their own. The same drawing always comes out as the same characters.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from markupsafe import Markup, escape

from kitwright.cli.report.sheet.visible import visible

Point = tuple[float, float]

WIDTH = 360.0
"""Width of every drawing in its own units: a phone's width in pixels, so that its letters can be read there."""


def number(value: float) -> str:
    """Write a coordinate: two decimals at most, no minus zero.

    >>> number(12.0), number(-0.001), number(3.14159)
    ('12', '0', '3.14')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(slots=True)
class Canvas:
    """A drawing in the making; y goes down.

    Attributes:
        name: unique on its page; ids are made of it.
        height: in the units that :data:`WIDTH` is in.

    """

    name: str
    height: float
    width: float = WIDTH
    elements: list[Markup] = field(default_factory=list)

    def _add(self, tag: str, style: str, attributes: dict[str, str], text: str | None = None) -> None:
        given = {"class": style, **attributes}
        written = Markup("").join(Markup(' {}="{}"').format(name, value) for name, value in given.items() if value)
        if text is None:
            self.elements.append(Markup("<{}{}/>").format(Markup(tag), written))
        else:
            self.elements.append(Markup("<{}{}>{}</{}>").format(Markup(tag), written, text, Markup(tag)))

    def line(self, start: Point, end: Point, style: str) -> None:
        """Draw a straight line."""
        (x1, y1), (x2, y2) = start, end
        ends = {"x1": number(x1), "y1": number(y1), "x2": number(x2), "y2": number(y2)}
        self._add("line", style, ends)

    def path(self, points: Iterable[Point], style: str, closed: bool = False) -> None:
        """Draw straight lines from point to point."""
        told = "L".join(f"{number(x)} {number(y)}" for x, y in points)
        if told:
            self._add("path", style, {"d": f"M{told}{'Z' if closed else ''}"})

    def curve(self, told: str, style: str) -> None:
        """Draw a path as it is told in SVG's own letters."""
        self._add("path", style, {"d": told})

    def box(self, corner: Point, opposite: Point, style: str) -> None:
        """Draw a rectangle between two corners."""
        (x1, y1), (x2, y2) = corner, opposite
        place = {"x": number(min(x1, x2)), "y": number(min(y1, y2))}
        self._add("rect", style, {**place, "width": number(abs(x2 - x1)), "height": number(abs(y2 - y1))})

    def circle(self, centre: Point, radius: float, style: str) -> None:
        """Draw a circle."""
        self._add("circle", style, {"cx": number(centre[0]), "cy": number(centre[1]), "r": number(radius)})

    def text(self, place: Point, text: str, style: str = "", anchor: str = "start", turned: float = 0.0) -> None:
        """Write a text; ``anchor`` is start, middle or end; ``turned`` in degrees, clockwise."""
        x, y = number(place[0]), number(place[1])
        turn = f"rotate({number(turned)} {x} {y})" if turned else ""
        where = {"x": x, "y": y, "text-anchor": "" if anchor == "start" else anchor, "transform": turn}
        self._add("text", style, where, visible(text))

    def dimension(self, start: Point, end: Point, text: str, name: str = "", strong: bool = False) -> None:
        """Draw an upright dimension line with arrows; to its right what it measures, and the value below that."""
        (x, y1), (_, y2) = start, end
        top, bottom = min(y1, y2), max(y1, y2)
        short = bottom - top < 14
        reach = 14 if short else 0  # too short for arrows between the ends: they come from outside
        self.line((x, top - reach), (x, bottom + reach), "dim")
        self._arrow(x, top, 1 if short else -1)
        self._arrow(x, bottom, -1 if short else 1)
        middle = (top + bottom) / 2
        if name:
            self.text((x + 8, middle - 3), name)
        if text:
            self.text((x + 8, middle + (12 if name else 4)), text, "num strong" if strong else "num")

    def _arrow(self, x: float, y: float, way: int) -> None:
        self.path([(x, y), (x - 2.6, y - 7 * way), (x + 2.6, y - 7 * way)], "tip", closed=True)

    def svg(self, title: str, description: str) -> Markup:
        """Give the whole drawing, with its title and description for those who do not see it."""
        return Markup(
            '<svg viewBox="0 0 {width} {height}" role="img" aria-labelledby="{name}-t {name}-d" '
            'xmlns="http://www.w3.org/2000/svg"><title id="{name}-t">{title}</title>'
            '<desc id="{name}-d">{description}</desc>{drawn}</svg>'
        ).format(
            width=number(self.width),
            height=number(self.height),
            name=self.name,
            title=escape(visible(title)),
            description=escape(visible(description)),
            drawn=Markup("\n").join(self.elements),
        )


def thinned(points: Sequence[Point], most: float = 0.15) -> list[Point]:
    """Leave out the points that lie within ``most`` units of the line through those that stay.

    >>> thinned([(0, 0), (1, 0.01), (2, 0)])
    [(0, 0), (2, 0)]
    """
    if len(points) < 3:
        return list(points)
    kept = [False] * len(points)
    kept[0] = kept[-1] = True
    open_spans = [(0, len(points) - 1)]
    while open_spans:
        first, last = open_spans.pop()
        (x1, y1), (x2, y2) = points[first], points[last]
        length = max(((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5, 1e-12)
        worst, place = most, -1
        for index in range(first + 1, last):
            x, y = points[index]
            off = abs((x2 - x1) * (y1 - y) - (x1 - x) * (y2 - y1)) / length
            if off > worst:
                worst, place = off, index
        if place >= 0:
            kept[place] = True
            open_spans += [(first, place), (place, last)]
    return [point for point, keep in zip(points, kept, strict=True) if keep]
