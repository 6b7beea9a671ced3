"""The plan: what is wanted of a build, as values that the search, the check and the explanation share.

A plan is made by ``kitwright.catalogs.load_plan`` from a file and the command line, or directly in Python. Goals are
in the unit of their figure (``quench`` in mm, ``compression`` bare): see ``kitwright figures``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from kitwright.solver.quantity import Quantity

Tolerance = Literal["nominal", "statistical", "worst_case"]
TOLERANCES: tuple[Tolerance, ...] = ("nominal", "statistical", "worst_case")
STATISTICAL = (
    "about 92 % of builds where a ± is a flat range and several are of a like size, 99.7 % where each ± is three "
    "standard deviations; no guarantee"
)
"""What the statistical range covers. Source: JCGM 101:2008, 9.2, sums of rectangular quantities (recalled; both drawn
in tests/test_tolerances.py, the first also exact)."""

MACHINING = ("mill", "relieve", "deck_cut", "rebore")
"""Machining operations, in the order in which smaller amounts break a tie."""

MOST_GASKETS = 4
"""Layers that a stack may have when the allowance is lifted; a plan may not allow more."""

REV_CEILING = "rev_ceiling"
"""The goal that is no figure: the speed that every rated part must carry."""

IMPLIED_AIMS = {"quench": "minimum", "valve_lift": "maximum"}
"""Figures whose limit is also their aim, unless an aim is given."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What is wanted of one figure, in the figure's unit.

    ``minimum`` and ``maximum`` are limits: a combination outside is not listed. ``aim`` ranks. ``step`` is the
    smallest difference that matters, ``weight`` a positive whole number.
    """

    figure: str
    aim: float | None = None
    minimum: float | None = None
    maximum: float | None = None
    step: float = 0.05
    weight: int = 1
    unaimed: bool = False
    """Whether it ranks nothing (``aim: none``): its limits alone count, and none stands in for an aim."""
    guard: bool | None = None
    """Whether its limits keep parts apart or in one piece; None: as its figure says (``solver/guards.py``)."""

    @property
    def ranked_by(self) -> float | None:
        """The aim, or the limit that stands in for it."""
        if self.aim is not None or self.unaimed or self.figure not in IMPLIED_AIMS:
            return self.aim
        implied: float | None = getattr(self, IMPLIED_AIMS[self.figure])
        return implied


@dataclass(frozen=True, slots=True)
class Remarks:
    """What goes with a measurement and changes nothing: when, with what, and what was predicted, as it is written."""

    date: str = ""
    instrument: str = ""
    note: str = ""
    predicted: str = ""


@dataclass(frozen=True, slots=True)
class MeasuredDeck:
    """A deck measured with four parts together; positive is down."""

    deck: Quantity
    parts: Mapping[str, str]
    """Kind (block, crank, rod, piston) to id: all four."""
    remarks: Remarks = Remarks()


@dataclass(frozen=True, slots=True)
class MeasuredField:
    """A dimension of one part as it was measured; it replaces value and tolerance of the catalogue's."""

    part: str
    field: str
    value: Quantity
    remarks: Remarks = Remarks()


@dataclass(frozen=True, slots=True)
class Conditions:
    """Surroundings: geometric altitude in metres, exponent of compression, temperatures of parts in kelvin.

    ``float_margin`` is how many times the rev ceiling valve float has to stay above; ``peak_pressure``, absolute in Pa,
    that of firing, None where it is not known.
    ``rope_radius`` is where the starting rope pulls, in metres; None where it is not known.
    """

    altitude: float = 0.0
    polytropic: float = 1.25
    temperatures: Mapping[str, float] = field(default_factory=dict)
    float_margin: float = 1.0
    peak_pressure: float | None = None
    rope_radius: float | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """A range of common practice for a figure, in the figure's unit, and what it is for; it is never a limit.

    Attributes:
        figure: the figure's name.
        words: what the range is for.
        minimum: in the figure's unit; None where it has no lower end.
        maximum: likewise.
        own: whether the builder has written it; else it comes with the tool.
        source: where it comes from; empty for the builder's own.
        assumes: what it holds for, in a few words.
        basis: what it rests on, at length.
        when: fields (``rod.material``) and what they must say for it to apply; a field that is not given rules
            nothing out. ``absent`` asks that there is none.
    """

    figure: str
    words: str
    minimum: float | None = None
    maximum: float | None = None
    own: bool = True
    source: str = ""
    assumes: str = ""
    basis: str = ""
    when: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan. Every field has a value that asks for nothing, so ``Plan()`` lists whatever fits together."""

    name: str = ""
    catalogue: str = ""
    goals: Mapping[str, Goal] = field(default_factory=dict)
    rev_ceiling: float | None = None
    """Speed in rpm that every rated part must carry, and at which speed-dependent figures are taken."""
    ceiling_guards: bool = True
    """Whether the rev ceiling is a guard; ``guard: false`` on the goal takes it off."""
    use: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Kind to the ids that are pinned: one id, or for gaskets the ids of one exact stack."""
    avoid: frozenset[str] = frozenset()
    shelf_only: frozenset[str] = frozenset()
    """Kinds that must come from the shelf."""
    kinds: frozenset[str] | None = None
    """Kinds that are searched; None: all that the catalogue holds."""
    optional: frozenset[str] = frozenset()
    gaskets: int = 1
    machining: frozenset[str] = frozenset()
    tolerance: Tolerance = "nominal"
    measured_decks: tuple[MeasuredDeck, ...] = ()
    measured_fields: tuple[MeasuredField, ...] = ()
    conditions: Conditions = Conditions()
    reference: Mapping[str, Quantity] = field(default_factory=dict)
    advice: Mapping[str, tuple[Advice, ...]] = field(default_factory=dict)
    """Figure to the builder's own ranges, which are shown beside it."""
    waived: frozenset[str] = frozenset()
    """Physical rules by id, or ``rev_ceiling``, that are not asked for: to see what stands behind them."""
    step_clear: bool = False
    """Whether the clearances that physical rules keep above 0 have to be a step at least, as far as they are known."""
    units: Literal["mm", "in"] = "mm"

    def but(self, **changes: object) -> Plan:
        """The same plan with some fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]

    def unpinned(self, kinds: Collection[str]) -> Plan:
        """The same plan with the pins of some kinds let go; a kind that a pin alone brought in is still searched.

        >>> plan = Plan(kinds=frozenset({"rod"}), use={"crank": ("k57",)}).unpinned(["crank"])
        >>> plan.use, sorted(plan.kinds)
        ({}, ['crank', 'rod'])
        """
        use = {kind: ids for kind, ids in self.use.items() if kind not in kinds}
        searched = None if self.kinds is None else self.kinds | (self.use.keys() - use.keys())
        return self.but(use=use, kinds=searched)


@dataclass(frozen=True, slots=True)
class Bench:
    """Several engines that share a catalogue.

    ``engines`` holds a plan each, in the order in which they are written; ``budget`` is the most that all of them
    together may cost, in the catalogue's money; of the parts in ``unshared`` every engine has as many as the shelf
    holds, to see what stands behind them.
    """

    name: str
    engines: Mapping[str, Plan]
    budget: float | None = None
    unshared: frozenset[str] = frozenset()

    def but(self, **changes: object) -> Bench:
        """The same bench with some fields changed."""
        return replace(self, **changes)  # type: ignore[arg-type]
