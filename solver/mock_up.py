"""What to measure before an engine is started, in the order of the work: data, chosen by the parts at hand.

Where, with what and in which order is common practice, no source. No limit stands here: limits come from the plan, the
physical rules and the part's own sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from kitwright.solver.combination import Combination
from kitwright.solver.hazards import HAZARDS, Hazard
from kitwright.solver.result import Checked
from kitwright.solver.rules import PHYSICAL

STEPS = {
    1: "Strip, clean, look",
    2: "Block and bore",
    3: "Does it go together",
    4: "Where the piston stops",
    5: "Volumes",
    6: "The stack",
    7: "Quench",
    9: "Cam timing and lift",
    10: "What limits the lift",
    11: "Piston to valve",
    12: "Pushrod",
    13: "Speed",
    14: "Two full turns by hand",
    15: "Balance",
    16: "Before the first start",
}
"""Steps of the work that have something to measure; 8 (fuel, starting) is judged, not measured."""

PROUD = "proud"
STACKED = "stacked"
MOVED = "moved"
"""The deck is cut, or a spacer lies under the barrel."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One line of the mock-up card.

    Attributes:
        step: key of :data:`STEPS`.
        what: is measured.
        where: and how.
        tool: what it is measured with.
        compare: a figure (``quench``) or a field (``block.bore``) that the reading is held against; may be empty.
        needs: kinds (``cam``), fields (``cam.decompressor``), machining (``machining.mill``), :data:`PROUD`,
            :data:`STACKED` or :data:`MOVED`: all have to be there for the line to apply.
        accept: what is wanted, where that is no number.
        before: whether the reading is taken before any deck cut and without a spacer: the figure is then held against
            it as it is in that state.
        clears: whether two parts must not touch there, whatever anybody asks for.
        caution: ids of the hazards that its step says.

    """

    step: int
    what: str
    where: str
    tool: str
    compare: str = ""
    needs: tuple[str, ...] = ()
    accept: str = ""
    before: bool = False
    clears: bool = False
    caution: tuple[str, ...] = ()


PRESSED_OPEN = (
    "checking spring, lash set, pressed open by hand, every 2 degrees round the overlap; over a flat floor the dial's "
    "reading × cos(valve angle)"
)
"""Along the valve a gauge reads what is square to a parallel floor; a flat floor is nearer than that."""

_LINES: tuple[Measurement, ...] = (
    Measurement(1, "Cracks", "block, rod, crank and flywheel, cleaned", "good light, dye penetrant", accept="none"),
    Measurement(
        2,
        "Bore",
        "top, middle and bottom, along the crank and across it; after any boring",
        "bore gauge",
        "block.bore",
        ("block",),
    ),
    Measurement(2, "Flatness of the deck", "six ways across the face", "straight edge, feeler gauge", "", ("block",)),
    Measurement(
        2,
        "Block height",
        "crank centreline to deck, before any deck cut",
        "height gauge over a mandrel",
        "block.block_height",
        ("block",),
    ),
    Measurement(
        3,
        "Journal",
        "two places, two ways across; taper and roundness too",
        "micrometer",
        "crank.journal",
        ("crank",),
    ),
    Measurement(3, "Play of the big end", "cap torqued, oil wiped off", "plastic gauge strip", "", ("crank", "rod")),
    Measurement(
        3, "Big end sideways", "rod pushed to one cheek", "feeler gauge", "rod_side_clearance", ("crank", "rod")
    ),
    Measurement(3, "Pin", "in piston and small end, dry and clean", "micrometer", "piston.pin", ("rod", "piston")),
    Measurement(3, "Piston to bore", "skirt, across the pin, taken from the bore", "micrometer", "", ("piston",)),
    Measurement(
        3, "Gasket bore", "laid on the block, all round", "eye", "", ("gasket", "block"), "no edge inside the bore"
    ),
    Measurement(4, "Stroke", "crown, top to bottom dead centre", "long-travel dial gauge", "piston_travel", ("crank",)),
    Measurement(
        4,
        "Deck",
        "top dead centre, over the pin, both sides, mean of the two; rings off; before any deck cut, no spacer",
        "dial gauge on a bridge",
        "deck",
        ("block", "crank", "rod", "piston"),
        before=True,
    ),
    Measurement(
        4,
        "Top ring below the deck",
        "top dead centre, groove's upper edge to the deck",
        "depth gauge",
        "ring_to_deck",
        ("piston", "block"),
    ),
    Measurement(
        5,
        "Chamber",
        "plug and valves in, clear plate greased on, before any milling or opening",
        "burette",
        "head.chamber",
        ("head",),
    ),
    Measurement(5, "Dish", "piston level, plate greased on", "burette", "piston.dish", ("piston.dish",)),
    Measurement(
        5, "Dome", "piston a known way down the bore, less that volume", "burette", "piston.dome", ("piston.dome",)
    ),
    Measurement(
        6,
        "Gasket, compressed",
        "each layer, crushed once at the torque it will get",
        "micrometer",
        "gaskets.thickness",
        ("gasket",),
    ),
    Measurement(
        6,
        "Head, milled",
        "thickness before less thickness after, four places",
        "micrometer",
        "machining.mill",
        ("machining.mill",),
    ),
    Measurement(
        6,
        "Deck, cut",
        "block height before less after, four places",
        "height gauge",
        "machining.deck_cut",
        ("machining.deck_cut",),
    ),
    Measurement(
        6,
        "Chamber, opened",
        "volume after opening less volume before it, the milling apart",
        "burette",
        "machining.relieve",
        ("machining.relieve",),
    ),
    Measurement(6, "Spacer", "four places", "micrometer", "spacer.thickness", ("spacer",)),
    Measurement(
        6,
        "Deck, as it will run",
        "as in step 4, with the cut made and the spacer in",
        "dial gauge on a bridge",
        "deck",
        (MOVED, "crank", "rod", "piston"),
    ),
    Measurement(
        6,
        "Crown inside the gasket",
        "it stands proud: all round, at top dead centre",
        "feeler gauge, marking ink",
        accept="no touch",
        needs=(PROUD, "gasket"),
    ),
    Measurement(
        6,
        "Stacked gaskets",
        "layers on one another, edges and holes",
        "eye",
        accept="no edge over a hole",
        needs=(STACKED,),
    ),
    Measurement(
        7,
        "Quench",
        "soft solder on the crown's edge, over the pin, both sides; all cuts made, the whole stack in, head torqued",
        "micrometer",
        "quench",
        ("piston", "head", "gasket"),
    ),
    Measurement(
        9,
        "Intake centreline",
        "middle between equal lifts either side of the nose",
        "degree wheel, dial gauge",
        "cam.intake_centreline",
        ("cam.intake_centreline",),
    ),
    Measurement(9, "Intake lash", "valve shut, cold", "feeler gauge", "cam.lash_intake", ("cam",)),
    Measurement(9, "Exhaust lash", "valve shut, cold", "feeler gauge", "cam.lash_exhaust", ("cam",)),
    Measurement(9, "Intake valve lift", "at the retainer, lash set", "dial gauge", "valve_lift_intake", ("cam",)),
    Measurement(9, "Exhaust valve lift", "at the retainer, lash set", "dial gauge", "valve_lift_exhaust", ("cam",)),
    Measurement(
        10,
        "Installed height",
        "each spring, valve shut, standard retainer, no shim",
        "calliper",
        "head.installed_height",
        ("head", "spring"),
    ),
    Measurement(
        10,
        "Seat force",
        "at the height it will run at: its retainer and shims in",
        "spring tester",
        "spring_seat",
        ("spring",),
    ),
    Measurement(
        10,
        "To coil bind",
        "full lift, all coils together; its retainer and shims in",
        "feeler gauge",
        "coil_bind_margin",
        ("spring", "cam"),
    ),
    Measurement(
        10,
        "Retainer to guide",
        "full lift, to the guide itself; a seal takes its height off",
        "feeler gauge",
        "retainer_margin",
        ("head", "cam"),
    ),
    Measurement(
        11,
        "Piston to intake valve",
        PRESSED_OPEN,
        "dial gauge; clay for the edges",
        "piston_to_valve_intake",
        ("cam", "piston", "head"),
    ),
    Measurement(
        11,
        "Piston to exhaust valve",
        PRESSED_OPEN,
        "dial gauge; clay for the edges",
        "piston_to_valve_exhaust",
        ("cam", "piston", "head"),
    ),
    Measurement(
        12, "Pushrod length", "over the ends, lash set", "checking pushrod, calliper", "pushrod_length", ("pushrod",)
    ),
    Measurement(
        12,
        "Contact on the valve tip",
        "through one valve's full lift",
        "marking ink",
        accept="narrow, across the middle",
        needs=("rocker",),
    ),
    Measurement(
        12,
        "Adjuster",
        "lash set, thread left each way",
        "calliper",
        accept="thread left both ways",
        needs=("rocker.adjuster",),
    ),
    Measurement(13, "Flywheel's rating", "as stamped, or on its sheet", "eye", "flywheel.max_rpm", ("flywheel",)),
    Measurement(13, "Governor", "fitted, linkage free, holds the throttle", "eye, tachometer", accept="works"),
    Measurement(14, "Rod and bolts to cam", "where they come nearest", "clay, calliper", "rod_to_cam", ("rod", "cam")),
    Measurement(
        14, "Rod to the cam's core", "where they come nearest", "clay, calliper", "rod_to_core", ("rod", "cam")
    ),
    Measurement(
        14, "Lobe to barrel foot", "both lobes at their nose", "clay, calliper", "lobe_to_barrel", ("cam", "block")
    ),
    Measurement(
        14,
        "Skirt to counterweight",
        "bottom dead centre",
        "feeler gauge, clay",
        "skirt_to_counterweight",
        ("piston", "crank"),
    ),
    Measurement(
        14,
        "Decompressor's lever to counterweight",
        "where they come nearest; lever and spring both ways out",
        "clay, feeler gauge",
        "lever_to_counterweight",
        ("cam.decompressor", "crank"),
    ),
    Measurement(14, "Counterweight to case", "all the way round", "feeler gauge", "counterweight_to_case", ("crank",)),
    Measurement(14, "Rod to case", "all the way round", "feeler gauge, clay", "rod_to_case", ("rod",)),
    Measurement(14, "Dipper to case", "all the way round", "clay", "", ("rod",)),
    Measurement(14, "Two full turns", "plug out, lash set, no force", "your hands", accept="free throughout"),
    Measurement(15, "Piston, complete", "with pin, rings and clips", "scale to 0.1 g", "piston.mass", ("piston",)),
    Measurement(
        15, "Small end", "rod level, hung at the big end's centre", "scale to 0.1 g", "rod.small_end_mass", ("rod",)
    ),
    Measurement(
        15, "Big end", "rod level, hung at the small end's centre", "scale to 0.1 g", "rod.big_end_mass", ("rod",)
    ),
    Measurement(16, "Ring gaps", "each ring square in the bore it will run in", "feeler gauge", "", ("piston",)),
    Measurement(16, "Torque", "rod bolts new, head in three rounds", "torque wrench", accept="the maker's figures"),
    Measurement(16, "Ignition", "at top dead centre's mark, then running", "degree wheel, timing light"),
    Measurement(
        16,
        "Decompressor",
        "lifts the valve at rope speed, and lets go",
        "dial gauge",
        accept="works",
        needs=("cam.decompressor",),
    ),
    Measurement(
        16,
        "Decompressor's lift",
        "turned slowly, at the valve that it holds",
        "dial gauge",
        "cam.decompressor.lift",
        ("cam.decompressor",),
    ),
    Measurement(
        16,
        "Decompressor's closing",
        "turned slowly, degrees before top dead centre at which the held valve sits down",
        "degree wheel, dial gauge",
        "cam.decompressor.closes",
        ("cam.decompressor",),
    ),
    Measurement(16, "Leak-down", "top dead centre, both valves shut", "leak-down tester"),
    Measurement(
        16,
        "Cranking pressure",
        "as the gauge reads; throttle open, turned over as for starting, a decompressor at work; tied back: more",
        "pressure gauge",
        "cranking_gauge_pressure",
        ("cam",),
    ),
    Measurement(
        16, "Guard and kill switch", "guard bolted on; switch stops the engine", "your hands", accept="both work"
    ),
)
"""Lines of the card, in the order of the work. Tools and places: common practice, no source."""

_CLEARS = ("Lobe to barrel foot", "Dipper to case")
"""Lines on what must not touch, for which there may be no figure."""

_CAUTIONED: Mapping[str, tuple[str, ...]] = {
    "Cracks": ("reworked", "asbestos", "lead", "brake_cleaner"),
    "Head, milled": ("machinist",),
    "Deck, cut": ("machinist",),
    "Chamber, opened": ("grinding",),
    "Quench": ("lead", "turn_by_hand"),
    "Installed height": ("valve_springs",),
    "Piston to intake valve": ("valve_springs", "turn_by_hand"),
    "Flywheel's rating": ("flywheel",),
    "Governor": ("governor",),
    "Lobe to barrel foot": ("grinding",),
    "Counterweight to case": ("grinding",),
    "Rod to case": ("grinding",),
    "Two full turns": ("turn_by_hand",),
    "Torque": ("rod_through_the_case", "brake_cleaner"),
    "Ignition": ("carbon_monoxide", "kickback", "fuel", "hot_parts"),
    "Decompressor": ("kickback",),
}
"""Hazards of a line, by what it measures; its step says them."""


def _cautioned(line: Measurement) -> Measurement:
    """A line with its hazards."""
    hazards = dict.fromkeys((*line.caution, *_CAUTIONED.get(line.what, ())))
    return replace(line, clears=line.clears or line.what in _CLEARS, caution=tuple(hazards))


MEASUREMENTS: tuple[Measurement, ...] = tuple(map(_cautioned, _LINES))
"""The mock-up card, in the order of the work."""

_RULES: Mapping[str, Measurement] = {
    "clearance_volume_positive": Measurement(
        5, "Volume above the piston", "top dead centre, through the plug's hole", "burette"
    ),
    "head_lift": Measurement(10, "Lift that the head takes", "by hand, spring off, until it meets", "dial gauge"),
    "spring_lift": Measurement(10, "Lift that the spring takes", "its sheet, against the lift as measured", "eye"),
    "spring_stress_open": Measurement(
        10,
        "Stress of the spring's wire",
        "at full lift, against what its maker allows; not to be measured here",
        "its sheet",
    ),
    "pushrod_shortest": Measurement(
        12, "Pushrod's blank, shortest", "length needed, over what it cuts down to", "calliper"
    ),
    "pushrod_longest": Measurement(12, "Pushrod's blank, longest", "blank's length, over what is needed", "calliper"),
    "pushrod_mismatch": Measurement(12, "Adjuster's thread left", "lash set, less way of the two", "calliper"),
    "float_speed": Measurement(
        13, "Speed of valve float", "from the spring's and the valve gear's weighed masses", "scale, spring tester"
    ),
}
"""Lines of physical rules whose figure has none; they stand there only where the rule cannot be worked out."""

REDO: tuple[tuple[str, tuple[int, ...]], ...] = (
    ("Block, crank, rod or piston", (3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)),
    ("Gasket, mill or deck cut", (5, 6, 7, 8, 11, 12)),
    ("Cam, rocker or spring", (8, 9, 10, 11, 12, 13, 14)),
    ("Bore", (2, 4, 5, 16)),
)
"""What was changed, and the steps (keys of :data:`STEPS`) that are done again. Common practice, no source."""

CONSUMABLES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("soft solder wire and modelling clay", ()),
    ("plastic gauge strip for the big end", ("rod",)),
    ("marking ink, grease and a clear plate", ("head",)),
    ("rod bolts and nuts, new: they are not used twice", ("rod",)),
    ("pin clips, new", ("piston",)),
    ("one more gasket of each kind, to crush for the measurement", ("gasket",)),
    ("base gasket or sealant for the barrel", ("block",)),
    ("valve stem seals and lapping paste", ("head",)),
    ("assembly oil, engine oil, brake cleaner, lint-free cloth", ()),
)
"""What is used up, and the kinds of part that it is for. Common practice, no source; no prices are known."""


def applies(needs: tuple[str, ...], checked: Checked) -> bool:
    """Whether everything that a line needs is there in a combination.

    >>> from kitwright.solver.combination import Combination
    >>> applies(("cam",), Checked(Combination({}), {}, {}, 0, (), (), True, ()))
    False
    """
    return all(_there(each, checked) for each in needs)


def _there(need: str, checked: Checked) -> bool:
    combination = checked.combination
    if need == PROUD:
        return checked.figures.get("deck", 0.0) < 0
    if need == MOVED:
        return bool(combination.deck_cut) or "spacer" in combination.parts
    if need == STACKED:
        return len(combination.gaskets) > 1
    kind, _, field = need.partition(".")
    if kind == "machining":
        return field in combination.operations
    if kind == "gasket":
        return bool(combination.gaskets)
    part = combination.parts.get(kind)
    return part is not None and (not field or bool(getattr(part, field)))


def as_measured(line: Measurement, combination: Combination) -> Combination:
    """The combination as it is when a line's reading is taken: as it will run, or before any deck cut and spacer.

    >>> as_measured(Measurement(4, "Deck", "", "", "deck", before=True), Combination({}, deck_cut=Fraction(1))).deck_cut
    Fraction(0, 1)
    """
    if not line.before:
        return combination
    parts = {kind: part for kind, part in combination.parts.items() if kind != "spacer"}
    return replace(combination, parts=parts, deck_cut=Fraction(0))


def card(checked: Checked) -> tuple[Measurement, ...]:
    """Lines of the mock-up card that apply to a combination, in the order of the work.

    A physical rule that cannot be worked out has a line in any case.
    """
    lines = [each for each in MEASUREMENTS if applies(each.needs, checked)]
    known = {each.compare for each in lines}
    sentences = {rule.id: rule.sentence for rule in PHYSICAL}
    for each in checked.unworked:
        if each.figure not in known:
            known.add(each.figure)
            words = each.rule.replace("_", " ").capitalize()
            line = _RULES.get(each.rule) or Measurement(14, words, sentences.get(each.rule, ""), "what reaches it")
            lines.append(replace(line, compare=each.figure, clears=True))
    return tuple(sorted(lines, key=lambda each: each.step))


def step_hazards(lines: Iterable[Measurement], step: int) -> tuple[Hazard, ...]:
    """Hazards of one step of a card, worst first."""
    ids = {name for each in lines if each.step == step for name in each.caution}
    return tuple(each for each in HAZARDS if each.id in ids)


def consumables(checked: Checked) -> tuple[str, ...]:
    """What is used up on the way."""
    return tuple(text for text, needs in CONSUMABLES if applies(needs, checked))
