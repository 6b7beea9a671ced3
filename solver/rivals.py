"""Whether a measurement could make another combination the best, and the value at which the order turns.

It looks at a pool of combinations (the first ones of a ranked list, and those that only their ± keeps off it), not at
all there are: what it names is so, what it does not name may still be.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from kitwright.solver.combination import Combination
from kitwright.solver.measure_next import DECK, deck_parts, deck_range
from kitwright.solver.parts import Part
from kitwright.solver.plan import MeasuredDeck, Plan
from kitwright.solver.quantity import LENGTH, Quantity
from kitwright.solver.registry import FIGURES, leaves_of
from kitwright.solver.rules import FITS, rules_of
from kitwright.solver.shares import figures_that_matter
from kitwright.solver.stopping import STOPS, Clock, Reason, tick
from kitwright.solver.stretches import Setting, Stretches, look
from kitwright.solver.swap import Place, is_dimension, quantity, spec_of, with_dimension


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of measured values (SI) and the combination that is then the best; None where none of the pool fits."""

    low: float
    high: float
    best: Combination | None


@dataclass(frozen=True, slots=True)
class Decisive:
    """A measurement by which the best changes.

    Attributes:
        place: whose dimension; the deck has ``parts``.
        parts: for a deck, kind to id of the four parts.
        nominal: as it is written, SI.
        low: lower end of its ±.
        high: upper end.
        stretches: which combination is the best over the ±, ascending.
        other: share of the ± in which another than the present best is.

    """

    place: Place
    parts: tuple[tuple[str, str], ...]
    nominal: float
    low: float
    high: float
    stretches: tuple[Stretch, ...]
    other: float


@dataclass(frozen=True, slots=True)
class Rivalry:
    """What measuring could do to the order of a pool: the present best, and the measurements that change it."""

    best: Combination | None
    pool: tuple[Combination, ...]
    decisive: tuple[Decisive, ...]
    complete: bool
    """Whether every dimension of the pool was looked at before the time ran out."""
    stopped_by: Reason | None = None
    """What ended it, where not."""


def rivalry(
    pool: Sequence[Combination], plan: Plan, seconds: float = 60.0, progress: Callable[[str], None] | None = None
) -> Rivalry:
    """Which measurements make another combination of a pool the best, in the plan's own tolerance mode.

    Each dimension with a ± that moves a limit or an aim is set, by itself and exact, to values over its ±; so is each
    deck of four parts that was not measured yet. Every combination that has the part is judged anew.
    """
    with Clock(seconds) as clock:
        found = _rivalry(pool, plan, progress)
        return found if found.complete else replace(found, stopped_by=clock.reason)


def _rivalry(pool: Sequence[Combination], plan: Plan, progress: Callable[[str], None] | None) -> Rivalry:
    base = {number: look(each, plan) for number, each in enumerate(pool)}
    fitting = [number for number, each in base.items() if not each.broken]
    best = min(fitting, key=lambda number: base[number].key, default=None)
    found: list[Decisive] = []
    complete = True
    try:
        for place, parts, nominal, tolerance, touched, setting in _items(pool, plan):
            tick()
            if progress is not None:
                progress(f"measuring {place.part or 'the deck'} {place.field}")
            low, high = nominal - tolerance, nominal + tolerance
            begins = Stretches(pool, base, touched, setting, tick).over(low, high)
            ends = [start for start, _ in begins[1:]] + [high]
            other = sum(end - start for (start, number), end in zip(begins, ends, strict=True) if number != best)
            if not other:
                continue
            stretches = tuple(
                Stretch(start, end, None if number is None else pool[number])
                for (start, number), end in zip(begins, ends, strict=True)
            )
            found.append(Decisive(place, parts, nominal, low, high, stretches, other / (2 * tolerance)))
    except STOPS:
        complete = False
    found.sort(key=lambda each: (-each.other, each.place.kind, each.place.part or "", each.place.field))
    return Rivalry(None if best is None else pool[best], tuple(pool), tuple(found), complete)


Item = tuple[Place, tuple[tuple[str, str], ...], float, float, list[int], Setting]


def _items(pool: Sequence[Combination], plan: Plan) -> Iterator[Item]:
    """What can be measured: place, parts of a deck, nominal, ±, the combinations that have it, how it is set."""
    figures = (*figures_that_matter(plan), *(rule.figure for rule, _ in rules_of(plan)))
    leaves = {leaf for figure in figures if figure in FIGURES for leaf in leaves_of(figure)}
    fits = {(size.kind, size.field) for rule in FITS for size in (rule.first, rule.second)}
    parts: dict[str, Part] = {part.id: part for each in pool for part in each.different_parts}
    if any("deck" in leaf for leaf in leaves):
        yield from _decks(pool, plan)
    for part in parts.values():
        owner = "gaskets" if part.kind == "gasket" else part.kind
        touched = [number for number, each in enumerate(pool) if part in each.different_parts]
        for path, held in part.quantities():
            known = f"{owner}.{path}" in leaves
            if not held.tolerance or not known or not is_dimension(path) or (part.kind, path) in fits:
                continue
            spec = spec_of(part, path)
            if spec is not None:
                yield Place(part.kind, part.id, path), (), held.si, held.tolerance, touched, _field(part, path, plan)


def _field(part: Part, path: str, plan: Plan) -> Setting:
    spec = spec_of(part, path)
    assert spec is not None and spec.dimension is not None
    dimension, place = spec.dimension, Place(part.kind, part.id, path)
    unit = dimension.likely[0] if dimension.likely else ""

    def setting(combination: Combination, value: float) -> tuple[Combination, Plan]:
        return with_dimension(combination, place, quantity(Fraction(value), 0.0, dimension, unit, True)), plan

    return setting


def _decks(pool: Sequence[Combination], plan: Plan) -> Iterator[Item]:
    done: set[tuple[tuple[str, str], ...]] = set()
    for each in pool:
        parts = deck_parts(each)
        measured = any(deck.parts == dict(parts) for deck in plan.measured_decks)
        if len(parts) < 4 or parts in done or measured:
            continue
        done.add(parts)
        four = Combination({kind: each.parts[kind] for kind, _ in parts})
        nominal, tolerance = deck_range(four, plan)
        if not tolerance:
            continue
        touched = [number for number, other in enumerate(pool) if deck_parts(other) == parts]
        yield DECK, parts, nominal, tolerance, touched, _deck(parts, plan)


def _deck(parts: tuple[tuple[str, str], ...], plan: Plan) -> Setting:
    def setting(combination: Combination, value: float) -> tuple[Combination, Plan]:
        measured = MeasuredDeck(Quantity(Fraction(value), 0.0, True, LENGTH, ""), dict(parts))
        return combination, plan.but(measured_decks=(*plan.measured_decks, measured))

    return setting
