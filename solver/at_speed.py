"""What the quench at speed counts and what it leaves out, of one combination."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kitwright.solver.check import View
from kitwright.solver.combination import Missing
from kitwright.solver.formulas.at_ceiling import PLAYS

QUENCH_AT_SPEED = "quench_at_speed"

_ENTERING = {word: f"{word}_growth" for word in ("barrel", "case", "crank", "rod", "piston")}
"""Where heat enters, to the helper figure that says how much."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Something that the figure counts, and how much of it in mm: below 0 where it takes from the clearance."""

    what: str
    change: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that the figure does not count, and the fields that it wants for."""

    what: str
    wants: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class AtSpeed:
    """What goes into the quench at speed; ``value`` in mm, None where it is not established.

    ``heat`` has a part for each temperature that enters, ``cold`` what has none, ``missing`` what the figure wants for.
    ``unused`` are temperatures that are given and do not enter.
    """

    value: float | None
    stretch: float | None
    heat: tuple[Counted, ...]
    cold: tuple[str, ...]
    play: tuple[Counted, ...]
    no_play: tuple[LeftOut, ...]
    rock: float | None
    no_rock: tuple[Missing, ...]
    unused: tuple[str, ...]
    missing: tuple[Missing, ...]


def at_speed(view: View) -> AtSpeed | None:
    """What the quench at speed of a combination counts; None where there is nothing to say of it.

    That is where the figure is not established and no temperature was given for it.
    """
    temperatures = view.plan.conditions.temperatures
    value = view.value(QUENCH_AT_SPEED)
    if math.isnan(value) and not (temperatures and view.plan.rev_ceiling is not None):
        return None
    stretch = view.value("rod_stretch")
    hot = tuple(_hot(view))
    whole = "barrel" if "barrel" in temperatures else "block"
    given = {word for word in temperatures if word not in (*_ENTERING, "block", "air")}
    play, no_play = [], []
    for name, (leaf, where) in PLAYS.items():
        missing = view.reader.missing((leaf,))
        if missing:
            no_play.append(LeftOut(where, tuple(missing)))
        else:
            play.append(Counted(where, -view.value(name)))
    no_rock = view.reader.missing(("piston.skirt_clearance", "piston.skirt_length"))
    return AtSpeed(
        None if math.isnan(value) else value,
        None if math.isnan(stretch) else stretch,
        tuple(Counted(whole if word == "block" else word, _change(view, word)) for word in hot),
        tuple(word for word in _places(view) if word not in hot),
        tuple(play),
        tuple(no_play),
        None if no_rock else view.value("piston_rock"),
        tuple(no_rock),
        tuple(sorted(given)),
        view.missing(QUENCH_AT_SPEED) if math.isnan(value) else (),
    )


def _places(view: View) -> tuple[str, ...]:
    """Where heat may enter: barrel and case apart where the case has a temperature, else the block as one."""
    apart = "case" in view.plan.conditions.temperatures
    return ("barrel", "case", "crank", "rod", "piston") if apart else ("block", "crank", "rod", "piston")


def _hot(view: View) -> Iterator[str]:
    temperatures = view.plan.conditions.temperatures
    for word in _places(view):
        stands_for = {"barrel": ("barrel", "block"), "block": ("block", "barrel")}.get(word, (word,))
        if any(each in temperatures for each in stands_for):
            yield word


def _change(view: View, word: str) -> float:
    """How much one part's heat changes the clearance, mm; NaN where its material is not known."""
    grown = view.value(_ENTERING["barrel" if word == "block" else word])
    return grown if word in ("block", "barrel", "case") else -grown
