"""What has to be said beside a computed combination, because somebody's engine and hands depend on it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from kitwright.solver.combination import Reader
from kitwright.solver.evaluate import compute
from kitwright.solver.hazards import AT_ONCE, HAZARDS, PRACTICE, RANKS, Hazard, Rank
from kitwright.solver.parts import GROUND
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked

AT_SPEED = "Quench is computed cold and at rest; rod stretch, heat, bearing play and piston rock take from it."
NONE_AT_SPEED = (
    "Quench at speed is 0 or less: at the rev ceiling the piston meets the head. Give it more room, or turn it slower, "
    "before it runs."
)
STATIC_ONLY = "Static compression misleads with a long cam: judge fuel, heat and starting by more than that."
STACKED = "{count} gaskets are {more} that can leak; where one gasket does it, one is better."
PROUD = "The piston stands proud of the deck: its crown has to pass inside every gasket's bore."
CAM_TURNS = (
    "Big end to cam is negative: whether they pass each other depends on the cam's phase and on where they "
    "lie side by side. Measure it at mock-up, through two full turns."
)
LEVER_TURNS = (
    "The decompressor's lever to the counterweight is negative: whether they pass each other depends on where they "
    "lie side by side, and on where the lever stands when the counterweight comes by. Measure it at mock-up, through "
    "two full turns."
)
CORE_TURNS = (
    "Big end to the cam's core is negative: they pass each other only where they lie side by side. Measure it at "
    "mock-up, through two full turns."
)
YIELD_UNKNOWN = (
    "Whether the spring's wire yields at full lift is not established: its material, or a wire of its size, is not in "
    "the table. Ask the spring's maker what stress it stands."
)
RATES_DIFFER = (
    "The rate given for the spring is {share:.0f} % {way} what its wire, coils and material come to. The given one is "
    "used, for force, float and surge alike: have the spring measured."
)
RATED_BEFORE = (
    "The rating of {parts} still counts, as the catalogue gives it: strike it there unless it was given after the weld "
    "or the grinding."
)
UNRATED = "No speed is proved for parts without a rating; a rev ceiling is not to be set by hope."
CAUTION_GUARD = (
    "This loosens a limit that keeps parts apart or in one piece. Measure at mock-up and ask a qualified machinist "
    "before you take it."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution beside a build: how bad, what it is, and a sentence; ``source`` where it is a hazard of its own."""

    rank: Rank
    hazard: str
    text: str
    source: str = PRACTICE


def in_play(checked: Checked, plan: Plan) -> frozenset[str]:
    """What of :data:`~kitwright.solver.hazards.IN_PLAY` a combination and its plan bring.

    >>> from kitwright.solver.combination import Combination
    >>> build = Checked(Combination({}), {}, {}, 0, (), (), True, ())
    >>> sorted(in_play(build, Plan())), sorted(in_play(build, Plan(rev_ceiling=4500.0)))
    (['always'], ['always', 'revs'])
    """
    combination = checked.combination
    revs = plan.rev_ceiling is not None or "flywheel" in combination.parts or "rev_limit" in checked.figures
    worked = {word for _, done in reworked_parts(checked) for word in done}
    by_hand = any(work.startswith("grind") for work in combination.operations)
    found = {
        "always": True,
        "revs": revs,
        "rod": revs and "rod" in combination.parts,
        "cut": bool(combination.operations) or GROUND in worked,
        "ground": by_hand or GROUND in worked,
        "reworked": bool(worked),
        "compression": "compression" in checked.figures,
        "spring": "spring" in combination.parts,
        "gasket": bool(combination.gaskets),
        "quench": "piston" in combination.parts and "head" in combination.parts and bool(combination.gaskets),
    }
    return frozenset(name for name, there in found.items() if there)


def reworked_parts(checked: Checked) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Parts that were welded or ground: id and what was done."""
    for part in checked.combination.different_parts:
        done = getattr(part, "reworked", ())
        if done:
            yield part.id, done


def hazards(checked: Checked, plan: Plan) -> tuple[Caution, ...]:
    """Everything that belongs beside a combination, chosen by what it has, worst first.

    Args:
        checked: the combination with its figures.
        plan: what was asked; a rev ceiling brings what is to be said of speed.

    """
    here = in_play(checked, plan)
    found = [_caution(each, checked) for each in HAZARDS if each.when in here]
    found += [Caution("numbers", "Numbers", text) for text in _of_the_numbers(checked)]
    return tuple(found)


RATES_APART = 0.05
"""Share by which a given spring rate and that of its wire may differ before it is said. Common practice, no source."""


def _rates_differ(checked: Checked) -> str:
    reader = Reader(checked.combination, Plan())
    with np.errstate(all="ignore"):
        given, by_wire = (np.float64(compute(name, reader)) for name in ("spring_rate", "spring_rate_by_wire"))
        share = float(given / by_wire - 1.0)
    if not abs(share) > RATES_APART:
        return ""
    return RATES_DIFFER.format(share=100 * abs(share), way="above" if share > 0 else "below")


def _caution(hazard: Hazard, *builds: Checked) -> Caution:
    which = _reworked_words(builds) if hazard.when == "reworked" else ""
    here = f" Here: {which}." if which else ""
    return Caution(hazard.rank, hazard.hazard, hazard.line + here, hazard.source)


def _reworked_words(builds: Iterable[Checked]) -> str:
    """Parts that were welded or ground, each with what was done to it."""
    parts = {part: done for each in builds for part, done in reworked_parts(each)}
    return ", ".join(f"{part} ({', '.join(done)})" for part, done in parts.items())


def cautions(checked: Checked, plan: Plan) -> tuple[str, ...]:
    """Sentences that belong beside a combination: those of :func:`hazards`."""
    return tuple(each.text for each in hazards(checked, plan))


def sheet_cautions(*builds: Checked) -> dict[str, tuple[str, ...]]:
    """Sentences of a build sheet by the heading of their rank: every hazard, and what the numbers of the builds say."""
    told: dict[Rank, list[str]] = {rank: [] for rank in RANKS}
    for each in HAZARDS:
        told[each.rank].append(_caution(each, *builds).text)
    told["numbers"] += dict.fromkeys(text for each in builds for text in _of_the_numbers(each))
    return {RANKS[rank]: tuple(lines) for rank, lines in told.items()}


def at_once(builds: Iterable[Checked], plan: Plan) -> tuple[Hazard, ...]:
    """Hazards that are said wherever builds are listed: those of speed, cuts, welds and grinding, worst first."""
    here = frozenset[str]().union(*(in_play(each, plan) for each in builds))
    if plan.rev_ceiling is not None:
        here |= {"revs"}
    return tuple(each for each in HAZARDS if each.short and each.when in here & AT_ONCE)


def moment(builds: Iterable[Checked], plan: Plan) -> tuple[Caution, ...]:
    """The hazards of :func:`at_once`, in full; parts that were welded or ground are named."""
    builds = tuple(builds)
    return tuple(_caution(each, *builds) for each in at_once(builds, plan))


def moment_line(builds: Iterable[Checked], plan: Plan) -> str:
    """One line for a list of builds; empty where neither a rev ceiling, a cut, a weld nor a ground part is in play.

    >>> moment_line((), Plan(rev_ceiling=4500.0))
    'Kills: a flywheel over its rating bursts; without its governor the engine runs away.'
    """
    builds = tuple(builds)
    told: dict[Rank, list[str]] = {rank: [] for rank in RANKS}
    for each in at_once(builds, plan):
        told[each.rank].append(each.short.replace("{parts}", _reworked_words(builds)))
    return " ".join(f"{RANKS[rank]}: {'; '.join(short)}." for rank, short in told.items() if short)


def none_at_speed(checked: Checked) -> bool:
    """Whether stretch, heat and play leave nothing of the quench at the rev ceiling."""
    return checked.figures.get("quench_at_speed", 1.0) <= 0


def _of_the_numbers(checked: Checked) -> Iterator[str]:
    """What the figures of one combination ask to be said."""
    combination, figures = checked.combination, checked.figures
    if "quench" in figures:
        yield AT_SPEED
    if none_at_speed(checked):
        yield NONE_AT_SPEED
    if figures.get("deck", 0.0) < 0:
        yield PROUD
    if figures.get("rod_to_cam", 0.0) < 0:
        yield CAM_TURNS
    if figures.get("lever_to_counterweight", 0.0) < 0:
        yield LEVER_TURNS
    if figures.get("rod_to_core", 0.0) < 0:
        yield CORE_TURNS
    if "spring_stress_open" in figures and "spring_yield" not in figures:
        yield YIELD_UNKNOWN
    differs = _rates_differ(checked)
    if differs:
        yield differs
    joints = len(combination.gaskets)
    if joints > 1:
        more = "two more joints" if joints == 2 else f"{joints} more joints"
        yield STACKED.format(count={2: "Two", 3: "Three", 4: "Four"}.get(joints, str(joints)), more=more)
    if "compression" in figures:
        yield STATIC_ONLY
    rated = [
        part.id
        for part in combination.different_parts
        if getattr(part, "reworked", ()) and (getattr(part, "max_rpm", None) or getattr(part, "max_load", None))
    ]
    if rated:
        yield RATED_BEFORE.format(parts=" and ".join(rated))
    if any(gap.goal == "rev_ceiling" for gap in checked.not_established):
        yield UNRATED
