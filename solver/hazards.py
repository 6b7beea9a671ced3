"""What can hurt whoever builds and starts an engine, ranked: data, and nothing else.

An entry says what it is, how bad it is, when it concerns a build, and where that is known from. ``check`` says the
entries that concern the build, a sheet says all of them, lists say the short form of those that cannot wait, and the
steps of the mock-up card say theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Rank = Literal["kills", "burns_and_blinds", "numbers"]
"""Can kill, at once or years later; injures; misleads, so that the engine is lost."""

RANKS: dict[Rank, str] = {"kills": "Kills", "burns_and_blinds": "Burns and blinds", "numbers": "Numbers"}
"""Ranks, worst first, as a heading says them."""

PRACTICE = "common practice, no source"

IN_PLAY = {
    "revs": "a rev ceiling is set, a flywheel is chosen, or a part is rated for a speed",
    "rod": "the same, and a rod is chosen",
    "cut": "metal comes off the head or the block, or a part was ground",
    "ground": "a part was ground, or is ground by hand",
    "reworked": "a part was welded or ground",
    "compression": "compression can be computed",
    "spring": "valve springs are chosen",
    "gasket": "a gasket is chosen",
    "quench": "quench is measured with piston, head and gasket",
    "always": "whatever is chosen",
}
"""What brings a hazard to a build."""

AT_ONCE = frozenset({"revs", "rod", "cut", "ground", "reworked"})
"""What is said wherever builds are listed, not in ``check`` and on the sheet alone."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard.

    Attributes:
        id: the name in the data.
        rank: how bad it is.
        hazard: what it is.
        text: what to know and do, in full sentences.
        when: key of :data:`IN_PLAY`: when ``check`` says it.
        source: where that is known from.
        short: a clause for the one line of a list; ``{parts}`` names the parts that were welded or ground, and what was
            done to each. Empty where it can wait for ``check``.
        at_bench: what a step of the mock-up card says; empty where no step needs it.

    """

    id: str
    rank: Rank
    hazard: str
    text: str
    when: str
    source: str = PRACTICE
    short: str = ""
    at_bench: str = ""

    @property
    def line(self) -> str:
        """The hazard and its text, as it stands in lists of cautions."""
        return f"{self.hazard}: {self.text}"


HAZARDS: tuple[Hazard, ...] = (
    Hazard(
        "flywheel",
        "kills",
        "Flywheel",
        "never over its rating. Rim stress grows with the square of speed, and a rim that bursts can kill; keep the "
        "guard on and a kill switch within reach.",
        "revs",
        "Shigley's Mechanical Engineering Design, ch. 3, stresses in rotating rings",
        "a flywheel over its rating bursts",
        "never over the flywheel's rating; keep the guard on",
    ),
    Hazard(
        "governor",
        "kills",
        "Governor",
        "leave it on. Without it a small engine runs away as soon as its load comes off.",
        "revs",
        short="without its governor the engine runs away",
        at_bench="no start without a governor that works",
    ),
    Hazard(
        "carbon_monoxide",
        "kills",
        "Carbon monoxide",
        "exhaust gas kills unseen and unsmelled. Run the engine outside, away from doors and windows, never in a "
        "garage or shed, even with the door open.",
        "always",
        "NIOSH, Preventing Carbon Monoxide Poisoning from Small Gasoline-Powered Engines and Tools, 96-118",
        at_bench="first start outside: carbon monoxide kills unseen",
    ),
    Hazard(
        "rod_through_the_case",
        "kills",
        "Rod through the case",
        "a rod or a bolt that breaks at speed comes out through the case. New bolts to the maker's torque; stand clear "
        "of the plane in which the crank turns.",
        "rod",
        short="a rod that breaks comes through the case",
        at_bench="new rod bolts; a rod that breaks comes through the case",
    ),
    Hazard(
        "reworked",
        "kills",
        "Welded or ground crank, rod or cam",
        "nobody vouches for it, and a rating from before the work no longer holds. Have it tested for cracks after the "
        "work and before it is fitted.",
        "reworked",
        short="nobody vouches for what was welded or ground, so a crack test first: {parts}",
        at_bench="a welded or ground crank, rod or cam goes in only after a crack test",
    ),
    Hazard(
        "brake_cleaner",
        "kills",
        "Brake cleaner",
        "its vapour stuns and burns. Chlorinated cleaner turns to phosgene where there is welding, a flame or a hot "
        "part, and phosgene kills hours later. Clean outside; let it dry before any heat.",
        "always",
        "OSHA, 29 CFR 1910.252(c)(11), chlorinated cleaners near welding",
        at_bench="brake cleaner outside, and dry before any weld, flame or heat: phosgene",
    ),
    Hazard(
        "asbestos",
        "kills",
        "Old gaskets",
        "they may hold asbestos, whose dust brings cancer years later. Never scrape, sand or brush them dry; keep them "
        "wet and bag them.",
        "gasket",
        "IARC Monographs, vol. 100C (2012), asbestos",
        at_bench="old gaskets may hold asbestos: wet, never sanded",
    ),
    Hazard(
        "kickback",
        "burns_and_blinds",
        "Kickback",
        "compression kicks back through rope or crank handle and breaks wrists. See to decompressor, timing and grip "
        "before the first pull.",
        "compression",
        at_bench="kickback breaks wrists: decompressor and timing before the first pull",
    ),
    Hazard(
        "valve_springs",
        "burns_and_blinds",
        "Valve springs",
        "a compressed spring that slips blinds. Set the compressor square, wear eye protection, let it go slowly.",
        "spring",
        at_bench="compressed springs: eye protection, compressor square, let go slowly",
    ),
    Hazard(
        "grinding",
        "burns_and_blinds",
        "Grinding",
        "sparks and chips blind, dust harms the lungs, noise the ears. Wear eye, ear and dust protection; wash every "
        "grain out of the engine before it turns.",
        "ground",
        "OSHA, 29 CFR 1910.133 (eyes); NIOSH 98-126 (noise); " + PRACTICE + " (grain left in an engine)",
        "grinding takes eye, ear and dust protection",
        "where metal is ground off: eye, ear and dust protection, then wash out every grain",
    ),
    Hazard(
        "fuel",
        "burns_and_blinds",
        "Fuel",
        "fill it cold and outside, wipe up what is spilled, no flame and no cigarette near it.",
        "always",
        at_bench="fuel outside, engine cold, no flame",
    ),
    Hazard(
        "hot_parts",
        "burns_and_blinds",
        "Hot parts",
        "head, barrel and exhaust burn skin and light fuel long after the engine has stopped.",
        "always",
        at_bench="head, barrel and exhaust stay hot",
    ),
    Hazard(
        "lead",
        "burns_and_blinds",
        "Lead",
        "deposits of leaded fuel and leaded solder poison. Check the quench with lead-free solder, or wash your hands "
        "before you eat; never blow deposits off.",
        "quench",
        "OSHA, 29 CFR 1910.1025 (lead)",
        at_bench="lead in old deposits and in solder: use lead-free solder, or wash your hands",
    ),
    Hazard(
        "turn_by_hand",
        "numbers",
        "By hand first",
        "turn the build by hand through two full crank turns before it is started.",
        "always",
        at_bench="plug out, ignition off, fingers clear; where it stops, metal touches: no force",
    ),
    Hazard(
        "nominal",
        "numbers",
        "Nominal",
        "computed clearances are nominal until they are measured on the engine itself.",
        "always",
    ),
    Hazard(
        "machinist",
        "numbers",
        "Machined by a machinist",
        "every cut and every ground part, measured before and after.",
        "cut",
        short="every cut and every ground part is machined by a machinist",
        at_bench="every cut machined by a machinist, measured before and after",
    ),
    Hazard(
        "makers_sheet",
        "numbers",
        "The maker's sheet",
        "it and a qualified machinist come before anything that is computed here.",
        "always",
    ),
    Hazard(
        "local_rules",
        "numbers",
        "Emission, noise and class rules",
        "they apply to the engine as it is built, not as it was sold. Local codes and the rules of the class come "
        "first.",
        "always",
    ),
)
"""Every hazard, worst first. Each has a line on every build sheet."""

BY_ID: dict[str, Hazard] = {each.id: each for each in HAZARDS}
