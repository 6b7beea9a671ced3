"""Requirements and bounds in the builder's words: what every explanation is made of, whatever shows it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction

from kitwright.solver.check import NEAR
from kitwright.solver.combination import MACHINING_UNITS, Combination
from kitwright.solver.plan import MACHINING, REV_CEILING, Plan
from kitwright.solver.registry import FIGURES, UNITS, leaves_of
from kitwright.solver.requirements import bound_of

DIGITS = {
    "": 2,
    "money": 2,
    "mm": 3,
    "cc": 2,
    "rpm": 0,
    "m_s": 2,
    "m_s2": 0,
    "g": 1,
    "N": 0,
    "N_mm": 2,
    "N_m": 2,
    "kPa": 1,
    "MPa": 1,
    "mm2": 1,
    "g_mm": 0,
    "Hz": 1,
    "deg": 1,
}
"""Decimals that a bound is shown with, by unit."""

IN_INCHES = 4
"""Decimals of a length where inches are shown."""

_INCH = Fraction(254, 10)


def digit(unit: str, units: str = "mm") -> Fraction:
    """One of the last digit that a bound is shown with, in the figure's unit.

    >>> digit("mm"), digit("mm", "in"), digit("rpm")
    (Fraction(1, 1000), Fraction(127, 50000), Fraction(1, 1))
    """
    if unit == "mm" and units == "in":
        return _INCH / 10_000
    scale: int = 10 ** DIGITS[unit]
    return Fraction(1, scale)


def steps_outward(value: float, side: str, one: Fraction) -> int:
    """How many whole digits a bound stands for that lets a value in: rounded up for a maximum, down for a minimum."""
    steps = value / float(one)
    near = round(steps)
    if abs(steps - near) * float(one) < NEAR:
        return near
    return math.ceil(steps) if side == "max" else math.floor(steps)


def outward(value: float, side: str, unit: str, units: str = "mm") -> float:
    """A bound rounded outward to the digit that is shown, so that it does open.

    >>> outward(9.98225, "max", ""), outward(0.49604, "min", "mm")
    (9.99, 0.496)
    """
    one = digit(unit, units)
    return float(steps_outward(value, side, one) * one)


def said(figure: str, value: float, units: str = "mm") -> str:
    """A value with its unit, to the digit that bounds are shown with.

    >>> said("quench", 1.1), said("quench", 1.016, "in"), said("compression", 9.5), said("rev_limit", 7000)
    ('1.10 mm', '0.0400 in', '9.50', '7000 rpm')
    """
    unit = FIGURES[figure].unit
    if unit == "mm" and units == "in":
        return f"{value / 25.4:.{IN_INCHES}f} in"
    if not unit and FIGURES[figure].step >= 1:
        return f"{value:.10g}"
    text = f"{value:.{DIGITS[unit]}f}"
    if unit == "mm" and text.endswith("0"):
        text = text[:-1]
    return text if unit in ("", "money") else f"{text} {UNITS[unit][1]}"


def words(name: str) -> str:
    """A key in words: ``valve_lift`` is valve lift."""
    return name.replace("_", " ")


def bound_words(plan: Plan, name: str, to: float | None = None) -> str:
    """A requirement that is a number, at its own bound or at another: ``quench at most 1.10 mm``."""
    found = bound_of(plan, name)
    if found is None:
        raise ValueError(f"`{name}` is no bound of the plan")
    figure, side, bound = found
    value = said(figure, bound if to is None else to, plan.units)
    if name == REV_CEILING:
        return f"a rev ceiling of {value}"
    return f"{words(figure)} at {'least' if side == 'min' else 'most'} {value}"


_SETTINGS = {
    "shelf_only": "from the shelf alone",
    "kinds": "with the chosen kinds alone",
    "statistical": "with the tolerances taken statistically",
    "worst_case": "at the worst corner of all tolerances",
}

_LAYERS = {1: "a single gasket", 2: "at most two gaskets", 3: "at most three gaskets"}


def setting_words(plan: Plan, name: str) -> str:
    """A requirement that is a setting, as the end of a sentence: ``from the shelf alone``."""
    if name == "gaskets":
        return f"with {_LAYERS[plan.gaskets]}"
    if name == "machining":
        allowed = [words(each) for each in MACHINING if each in plan.machining]
        return f"with no machining but {' and '.join(allowed)}" if allowed else "without machining"
    if name == "tolerance":
        return _SETTINGS[plan.tolerance]
    if name == "shelf_only":
        from kitwright.solver.parts import KINDS

        if not plan.shelf_only >= set(KINDS):
            kinds = [words(kind) for kind in KINDS if kind in plan.shelf_only]
            return f"with {listed(kinds)} from the shelf alone"
    if name.startswith("use."):
        kind = name.removeprefix("use.")
        return f"with {words(kind)} {' + '.join(plan.use[kind])}"
    if name.startswith("avoid."):
        return f"without {name.removeprefix('avoid.')}"
    return _SETTINGS[name]


def requirement_words(plan: Plan, name: str) -> str:
    """Any requirement in words."""
    return bound_words(plan, name) if bound_of(plan, name) is not None else setting_words(plan, name)


def listed(some: Sequence[str]) -> str:
    """Several things in a row of words.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return " and ".join([", ".join(some[:-1]), some[-1]] if len(some) > 1 else some)


def cannot(plan: Plan, names: Iterable[str], whole: bool = False) -> str:
    """One sentence: these requirements cannot hold together.

    ``whole`` where parts fit one another and it is a physical rule that no combination of them keeps.
    """
    goals = [bound_words(plan, each) for each in names if bound_of(plan, each) is not None]
    settings = [setting_words(plan, each) for each in names if bound_of(plan, each) is None]
    under = "".join(f", {each}" if number else f" {each}" for number, each in enumerate(settings))
    if not goals:
        text = "the parts fit one another, but no build of them can run"
        if settings or not whole:
            text = f"nothing fits{under}" if settings else "no parts of the catalogue fit one another"
    elif len(goals) == 1:
        text = f"{goals[0]} cannot be had{under}"
        text += "" if settings else " with these parts, whatever else is given up"
    else:
        text = f"{listed(goals)} cannot be had together{under}"
    return f"{text[0].upper()}{text[1:]}."


def best_words(plan: Plan, name: str, value: float) -> str:
    """How near a bound can be come to: ``quench comes down to 2.10 mm``."""
    found = bound_of(plan, name)
    if found is None:
        raise ValueError(f"`{name}` is no bound of the plan")
    figure, side, _ = found
    if name == REV_CEILING:
        return f"the rev ceiling gets to {said(figure, value, plan.units)}"
    return f"{words(figure)} {'gets up' if side == 'min' else 'comes down'} to {said(figure, value, plan.units)}"


def feeding(combination: Combination, figure: str) -> list[str]:
    """Ids of the parts of a combination that a figure is made of, with the machining that goes into it."""
    found: list[str] = []
    for leaf in leaves_of(figure):
        owner = leaf.partition(".")[0]
        if owner == "gaskets":
            found.append(" + ".join(sorted(each.id for each in combination.gaskets)))
        elif owner == "machining":
            found += [each for each in work(combination) if each.split()[0] == leaf.partition(".")[2].split("_")[0]]
        elif owner in combination.parts:
            found.append(combination.parts[owner].id)
    return [each for each in dict.fromkeys(found) if each]


_WORK = {
    "mill": "mill {head} by",
    "relieve": "relieve {head} by",
    "deck_cut": "cut the deck of {block} by",
    "rebore": "bore {block} out to",
}


def work(combination: Combination) -> list[str]:
    """Machining in words: ``relieve h230 by 3.5 cc``."""
    found = []
    for each in combination.operations:
        unit = MACHINING_UNITS[each]
        amount = combination.machining[f"{each}_{unit}"]
        found.append(f"{_WORK[each].format_map(combination.ids)} {amount:.10g} {unit}")
    return found
