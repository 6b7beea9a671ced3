"""What looks odd across parts: a piston far down, a journal that nothing goes on. Warnings, never faults.

Each check goes through distinct sizes, not through combinations, so that large catalogues stay quick.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice, product

from kitwright.catalogs.problems import Problem, did_you_mean
from kitwright.catalogs.values import short
from kitwright.solver.fields import Readings
from kitwright.solver.parts import Block, Cam, Crank, Gasket, Part, Piston, Rod
from kitwright.solver.rules import NEAR_SIZE
from kitwright.solver.stopping import tick

SAME = 1e-7
"""Metres within which two nominal sizes are equal."""

FAR = 8e-3
"""Metres that a piston stops away from the deck before a dimension is doubted."""

CLOSE = 3e-3
"""Metres from the deck that make a doubted dimension's other meaning likely."""

_RIM = 12e-3
"""Metres that the walls round big end and pin may add to a rod measured over its outer edges."""

_MOST_LOOKS = 500_000
"""Kinds of block times parts, above which decks are not looked at: loading has to stay quick."""

_MOST_DECKS = 100_000
"""Decks that are looked at for one doubted dimension."""

_OFF_THE_SHEET = 0.15e-3
"""Metres of lobe lift that readings may differ from the data sheet's before one of the two is doubted."""

_OFF_THE_CARD = 4.0
"""Crank degrees, the same for the place of the nose."""

_MOST = 20
"""Warnings of one sort; the rest is counted."""


def oddities(parts: Iterable[Part]) -> list[Problem]:
    """Warnings about parts that are possible one by one and odd together, in the order of files and lines."""
    shop = _Shop()
    for part in parts:
        shop.add(part)
    found: list[Problem] = []
    for check in (_decks, _tags, _sizes, _gasket_bores, _prices, _materials, _lobes):
        tick()
        warnings = list(check(shop))
        found += warnings[:_MOST]
        if len(warnings) > _MOST:
            found.append(Problem(f"… and {len(warnings) - _MOST} more like the last one", severity="warning"))
    return found


@dataclass(slots=True)
class _Shop:
    parts: list[Part] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    cranks: list[Crank] = field(default_factory=list)
    rods: list[Rod] = field(default_factory=list)
    pistons: list[Piston] = field(default_factory=list)
    gaskets: list[Gasket] = field(default_factory=list)

    def add(self, part: Part) -> None:
        self.parts.append(part)
        match part:
            case Block():
                self.blocks.append(part)
            case Crank():
                self.cranks.append(part)
            case Rod():
                self.rods.append(part)
            case Piston():
                self.pistons.append(part)
            case Gasket():
                self.gaskets.append(part)
            case _:
                pass


def _warn(part: Part, name: str, message: str, suggestion: str) -> Problem:
    file, line = (part.origin.file, part.origin.line) if part.origin else ("", 0)
    value = getattr(part, name, None) if name else None
    origin = getattr(value, "origin", None)
    if origin is not None:
        file, line = origin.file, origin.line
    return Problem(message, suggestion, file, line, part.id, name, str(value or ""), "warning")


def _size(metres: float) -> int:
    """Sizes that are equal within 0.1 µm share a number, or are neighbours."""
    return round(metres / SAME)


def bores_of(block: Block) -> tuple[float, ...]:
    """Give the bore of a block and those that it can be bored out to, in metres."""
    return (block.bore.si, *(bore.si for bore in block.rebore.to)) if block.rebore else (block.bore.si,)


# Where the piston stops.


class _Bench:
    """Blocks of one bore and one set of tags with the sizes of what goes on them."""

    def __init__(self, blocks: list[Block], shop: _Shop) -> None:
        self.block = blocks[0]
        self.heights = sorted({block.block_height.si for block in blocks})
        bores = bores_of(self.block)
        self.crowns: dict[int, set[float]] = defaultdict(set)
        """Pin to compression heights."""
        for piston in shop.pistons:
            if self.takes(piston) and any(abs(piston.bore.si - bore) <= SAME for bore in bores):
                self.crowns[_size(piston.pin.si)].add(piston.compression_height.si)
        self.reaches: dict[int, list[tuple[set[float], set[float]]]] = defaultdict(list)
        """Journal to rod lengths with the compression heights that go with them, a pair for each pin."""
        lengths: dict[tuple[int, int], set[float]] = defaultdict(set)
        for rod in shop.rods:
            if self.takes(rod) and _size(rod.pin.si) in self.crowns:
                lengths[_size(rod.big_end.si), _size(rod.pin.si)].add(rod.length.si)
        for (journal, pin), each in lengths.items():
            self.reaches[journal].append((each, self.crowns[pin]))
        self.strokes: dict[int, set[float]] = defaultdict(set)
        """Journal to strokes."""
        for crank in shop.cranks:
            if self.takes(crank):
                self.strokes[_size(crank.journal.si)].add(crank.stroke.si)

    def takes(self, part: Part) -> bool:
        """Whether the part goes on by its tags."""
        return not part.fits or not set(part.fits).isdisjoint(self.block.tags)

    def lowest_with(self, crank: Crank) -> Iterator[float]:
        """Decks with the longest rods and the tallest pistons in the lowest block."""
        if self.takes(crank):
            for lengths, crowns in self.reaches.get(_size(crank.journal.si), ()):
                yield self.heights[0] - crank.stroke.si / 2 - max(lengths) - max(crowns)

    def all_with(self, crank: Crank) -> Iterator[float]:
        """Every deck."""
        if self.takes(crank):
            for lengths, crowns in self.reaches.get(_size(crank.journal.si), ()):
                for height, length, crown in product(self.heights, lengths, crowns):
                    yield height - crank.stroke.si / 2 - length - crown

    def highest_with(self, rod: Rod) -> Iterator[float]:
        """Give the deck with the shortest stroke and the shortest piston in the tallest block."""
        strokes = self.strokes.get(_size(rod.big_end.si)) if self.takes(rod) else None
        crowns = self.crowns.get(_size(rod.pin.si))
        if strokes and crowns:
            yield self.heights[-1] - min(strokes) / 2 - rod.length.si - min(crowns)

    def all_under(self, rod: Rod) -> Iterator[float]:
        """Every deck."""
        strokes = self.strokes.get(_size(rod.big_end.si), set()) if self.takes(rod) else set()
        for height, stroke, crown in product(self.heights, strokes, self.crowns.get(_size(rod.pin.si), ())):
            yield height - stroke / 2 - rod.length.si - crown


def _decks(shop: _Shop) -> Iterator[Problem]:
    """Cranks whose stroke looks like a throw, rods whose length looks measured over the outer edges."""
    alike: dict[tuple[object, ...], list[Block]] = defaultdict(list)
    for block in shop.blocks:
        alike[bores_of(block), frozenset(block.tags)].append(block)
    if len(alike) * len(shop.parts) > _MOST_LOOKS:
        return
    benches = [_Bench(blocks, shop) for blocks in alike.values()]
    for crank in shop.cranks:
        lowest = min((deck for bench in benches for deck in bench.lowest_with(crank)), default=0.0)
        if lowest > FAR:
            yield _far_down(crank, lowest, (deck for bench in benches for deck in bench.all_with(crank)))
    for rod in shop.rods:
        highest = max((deck for bench in benches for deck in bench.highest_with(rod)), default=0.0)
        if highest < -FAR:
            yield _far_up(rod, -highest, (deck for bench in benches for deck in bench.all_under(rod)))


def _far_down(crank: Crank, lowest: float, decks: Iterator[float]) -> Problem:
    down = f"{short(lowest * 1000)} mm down with every rod and piston"
    message = f"a stroke of {crank.stroke} leaves the piston {down}"
    # Twice the stroke brings the piston up by half of what it is longer.
    if any(abs(deck - crank.stroke.si / 2) <= CLOSE for deck in islice(decks, _MOST_DECKS)):
        suggestion = f"is it the throw? The stroke would be {short(crank.stroke.si * 2000)} mm"
    else:
        suggestion = "is a rod or a piston missing, or the block height wrong?"
    return _warn(crank, "stroke", message, suggestion)


def _far_up(rod: Rod, highest: float, decks: Iterator[float]) -> Problem:
    out = f"{short(highest * 1000)} mm out with every crank and piston"
    message = f"a length of {rod.length} puts the piston {out}"
    edges = (rod.big_end.si + rod.pin.si) / 2
    if any(-_RIM <= deck + edges <= CLOSE for deck in islice(decks, _MOST_DECKS)):
        most = short((rod.length.si - edges) * 1000)
        suggestion = f"measured across the outer edges? From centre to centre it would be {most} mm or less"
    else:
        suggestion = "is a crank or a piston missing, or the block height wrong?"
    return _warn(rod, "length", message, suggestion)


# What goes on what.


def _tags(shop: _Shop) -> Iterator[Problem]:
    """Tags that no block carries."""
    carried = {tag for block in shop.blocks for tag in block.tags}
    first: dict[str, Part] = {}
    count: dict[str, int] = defaultdict(int)
    for part in shop.parts:
        for tag in part.fits:
            if shop.blocks and tag not in carried:
                first.setdefault(tag, part)
                count[tag] += 1
    for tag, part in first.items():
        more = f" (and {count[tag] - 1} more)" if count[tag] > 1 else ""
        message = f"no block carries the tag `{tag}`{more}"
        suggestion = did_you_mean(tag, sorted(carried), "blocks carry") or "give a block `tags`"
        yield _warn(part, "fits", message, suggestion)


@dataclass(slots=True)
class _Side:
    """One side of a fit: parts, each with the sizes of which one has to match."""

    parts: list[tuple[Part, tuple[float, ...]]]
    name: str
    words: str
    ordered: list[float] = field(init=False)

    def __post_init__(self) -> None:
        self.ordered = sorted({size for _, sizes in self.parts for size in sizes})

    def nearest(self, size: float) -> float:
        """Find the size on this side that is nearest to ``size``."""
        at = bisect_left(self.ordered, size)
        return min(self.ordered[max(at - 1, 0) : at + 1], key=lambda each: abs(each - size))

    def owner(self, size: float) -> Part:
        """Find the first part that has a size."""
        return next(part for part, sizes in self.parts if size in sizes)


def _sizes(shop: _Shop) -> Iterator[Problem]:
    """Sizes that nothing matches, and sizes that nearly match."""
    journals = _Side([(crank, (crank.journal.si,)) for crank in shop.cranks], "journal", "journal")
    big_ends = _Side([(rod, (rod.big_end.si,)) for rod in shop.rods], "big_end", "big end")
    rod_pins = _Side([(rod, (rod.pin.si,)) for rod in shop.rods], "pin", "rod's pin")
    pins = _Side([(piston, (piston.pin.si,)) for piston in shop.pistons], "pin", "piston's pin")
    bores = _Side([(block, bores_of(block)) for block in shop.blocks], "bore", "cylinder bore")
    crowns = _Side([(piston, (piston.bore.si,)) for piston in shop.pistons], "bore", "piston's bore")
    for one, other in ((journals, big_ends), (rod_pins, pins), (bores, crowns)):
        if one.parts and other.parts:
            told: set[frozenset[float]] = set()
            yield from _unmatched(other, one, told)
            yield from _unmatched(one, other, told)


def _unmatched(side: _Side, opposite: _Side, told: set[frozenset[float]]) -> Iterator[Problem]:
    """Parts of ``side`` that match nothing; sizes and pairs of sizes in ``told`` have been told already."""
    for part, sizes in side.parts:
        distance, size, near = min(
            (abs(mate - each), each, mate) for each in sizes for mate in [opposite.nearest(each)]
        )
        pair = frozenset((size, near) if distance < NEAR_SIZE else (size,))
        if distance <= SAME or pair in told:
            continue
        told.add(pair)
        written = _written(part, side.name, size)
        if distance < NEAR_SIZE:
            mate = opposite.owner(near)
            other = f"{opposite.words} {_written(mate, opposite.name, near)} of `{mate.id}`"
            message = f"the {side.words} {written} misses the {other} by {distance * 1000:.2g} mm"
            suggestion = "parts fit by nominal size: if these two go together, write one size in both"
        else:
            known = ", ".join(f"{each * 1000:.6g} mm" for each in opposite.ordered[:6])
            message = f"no {opposite.words} matches the {side.words} {written}"
            suggestion = f"there are {known}{' …' if len(opposite.ordered) > 6 else ''}"
        yield _warn(part, side.name, message, suggestion)


def _written(part: Part, name: str, size: float) -> str:
    quantity = getattr(part, name)
    return str(quantity) if quantity.si == size else f"{size * 1000:.6g} mm"


def _gasket_bores(shop: _Shop) -> Iterator[Problem]:
    """Gaskets that are smaller than every bore."""
    bores = sorted(bore for block in shop.blocks for bore in bores_of(block))
    for gasket in shop.gaskets:
        if bores and gasket.bore.si < bores[0] - SAME:
            least = f"{short(bores[0] * 1000)} mm"
            message = f"a gasket bore of {gasket.bore} is smaller than every cylinder ({least})"
            yield _warn(gasket, "bore", message, "check the bore, or the unit")


# Money and materials.


def _prices(shop: _Shop) -> Iterator[Problem]:
    """Parts that would have to be bought and have no price: one warning for all of them."""
    unknown = [part for part in shop.parts if part.price is None and not part.on_shelf]
    if not unknown:
        return
    names = ", ".join(part.id for part in unknown[:8])
    names += f" … ({len(unknown)} parts)" if len(unknown) > 8 else ""
    message = f"not on the shelf and without a price: {names}"
    suggestion = "with them the cost is not established: give a price, or the number on the shelf"
    file, line = (unknown[0].origin.file, unknown[0].origin.line) if unknown[0].origin else ("", 0)
    yield Problem(message, suggestion, file, line, severity="warning")


def _materials(shop: _Shop) -> Iterator[Problem]:
    """Materials that the table does not hold."""
    named: dict[str, Part] = {}
    for part in shop.parts:
        called = getattr(part, "material", None)
        if called:
            named.setdefault(called, part)
    if not named:
        return
    # The table lives beside the formulas, whose package brings numpy in.
    from kitwright.solver.formulas.materials import UnknownMaterialError, material

    for name, part in named.items():
        try:
            material(name)
        except UnknownMaterialError as error:
            message = f"{error.problem}: what depends on it is not established"
            yield _warn(part, "material", message, error.suggestion)


def _lobes(shop: _Shop) -> Iterator[Problem]:
    """Readings of a lobe that slip, or that are far from the cam's data sheet."""
    for part in shop.parts:
        if isinstance(part, Cam):
            for valve, readings in (("intake", part.intake_readings), ("exhaust", part.exhaust_readings)):
                if readings is not None:
                    yield from _lobe(part, valve, readings)


def _lobe(cam: Cam, valve: str, readings: Readings) -> Iterator[Problem]:
    from kitwright.solver.degree_wheel import curve_of

    name = f"{valve}_readings"
    lifts = readings.lifts
    top = lifts.index(max(lifts))
    for index in range(1, len(lifts)):
        rise = lifts[index] - lifts[index - 1]
        if (rise if index <= top else -rise) < -1.5 * readings.resolution:
            angle = math.degrees(readings.angles[index])
            message = f"at {short(angle)} deg the lift turns back, from {_mm(lifts[index - 1])} to {_mm(lifts[index])}"
            yield _warn(cam, name, message, "did the dial slip, or a digit?")
            break
    curve = curve_of(readings)
    sheet = getattr(cam, f"{valve}_lobe_lift")
    if abs(curve.peak - sheet.si) > _OFF_THE_SHEET + sheet.tolerance:
        message = f"the lobe reads {_mm(curve.peak)} of lift, and `{valve}_lobe_lift` says {sheet}"
        yield _warn(cam, name, message, "was the dial on the valve, or is the lobe worn? The readings are used")
    card = cam.intake_centreline
    if valve == "intake" and card is not None:
        read, said = math.degrees(curve.nose), math.degrees(card.si)
        if abs(read - said) > _OFF_THE_CARD:
            message = f"the nose reads {read:.1f} deg after top dead centre, and `intake_centreline` says {card}"
            yield _warn(cam, name, message, "is the cam a tooth out, or the wheel not at zero? The readings are used")


def _mm(length: float) -> str:
    return f"{1000 * length:.2f} mm"
