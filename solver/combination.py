"""One combination of parts and machining, and the numbers that formulas read from it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

from kitwright.solver.degree_wheel import read_off
from kitwright.solver.fields import FieldSpec, specs
from kitwright.solver.formulas.materials import UnknownMaterialError, material, shear_modulus, wire_strength
from kitwright.solver.parts import KINDS, Block, Cam, Gasket, Part
from kitwright.solver.plan import MACHINING, Plan
from kitwright.solver.quantity import LENGTH, ROTATION, VOLUME, Quantity, unit_factor

NAN = math.nan

_NOTHING = Fraction(0)

NUMBERS = ("altitude", "polytropic", "float_margin", "peak_pressure", "rope_radius")
"""Conditions of a plan that are one number each."""

MACHINING_UNITS = {"mill": "mm", "relieve": "cc", "deck_cut": "mm", "rebore": "mm"}
"""Machining operation to the unit of its amount; a rebore's amount is the bore that is bored to."""

WITHOUT_PART = {
    "rocker.ratio": 1.0,
    "retainer.height_gain": 0.0,
    "spacer.thickness": 0.0,
    "spring_shim.thickness": 0.0,
}
"""What a field stands for when no part of its kind is in the combination; every other field is then unknown."""


@dataclass(frozen=True, slots=True)
class Combination:
    """Parts of one engine by kind (gaskets apart), and machining amounts in SI.

    ``mill``, ``relieve`` and ``deck_cut`` are 0 where unused; ``rebore`` is the bore bored to, or None.
    """

    parts: Mapping[str, Part]
    gaskets: tuple[Gasket, ...] = ()
    mill: Fraction = Fraction(0)
    relieve: Fraction = Fraction(0)
    deck_cut: Fraction = Fraction(0)
    rebore: Quantity | None = None

    def amount(self, operation: str) -> Fraction:
        """Amount of a machining operation in SI (a rebore: the new bore), 0 where unused."""
        if operation == "rebore":
            return self.rebore.exact if self.rebore is not None else _NOTHING
        value: Fraction = getattr(self, operation)
        return value

    @property
    def different_parts(self) -> list[Part]:
        """Every part once, gaskets last."""
        return [*self.parts.values(), *{each.id: each for each in self.gaskets}.values()]

    @property
    def operations(self) -> tuple[str, ...]:
        """Machining operations that are used."""
        return tuple(each for each in MACHINING if self.amount(each))

    @property
    def machining(self) -> dict[str, float]:
        """Used machining amounts by key (``mill_mm``, ``relieve_cc``, ``deck_cut_mm``, ``rebore_mm``)."""
        found = {}
        for each in self.operations:
            unit = MACHINING_UNITS[each]
            factor = unit_factor(unit, VOLUME if unit == "cc" else LENGTH)
            found[f"{each}_{unit}"] = float(self.amount(each) / factor)
        return found

    @property
    def ids(self) -> dict[str, str | list[str]]:
        """Kind to id, ``gaskets`` to the sorted ids of the stack."""
        found: dict[str, str | list[str]] = {}
        for kind in KINDS:
            if kind == "gasket":
                if self.gaskets:
                    found["gaskets"] = sorted(each.id for each in self.gaskets)
            elif kind in self.parts:
                found[kind] = self.parts[kind].id
        return found

    def tie_key(self) -> tuple[Any, ...]:
        """What breaks a tie: ids in the order of the kinds, then the smaller machining amounts."""
        ids: list[Any] = []
        for kind in KINDS:
            if kind == "gasket":
                ids.append(tuple(sorted(each.id for each in self.gaskets)))
            else:
                ids.append(self.parts[kind].id if kind in self.parts else "")
        return (*ids, *(self.amount(each) for each in MACHINING))

    def to_buy(self) -> list[tuple[Part, int]]:
        """Parts that are not on the shelf and how many of each, in the order of the kinds."""
        found: list[tuple[Part, int]] = []
        for kind in KINDS:
            if kind == "gasket":
                layers = Counter(each.id for each in self.gaskets)
                for each in sorted({each.id: each for each in self.gaskets}.values(), key=lambda gasket: gasket.id):
                    missing = layers[each.id] - each.on_shelf
                    if missing > 0:
                        found.append((each, missing))
            elif kind in self.parts and self.parts[kind].on_shelf < 1:
                found.append((self.parts[kind], 1))
        return found

    def labour(self) -> float:
        """Price of all machining that is used, each operation once."""
        total = 0.0
        for each in self.operations:
            owner = self.parts["head" if each in ("mill", "relieve") else "block"]
            total += getattr(owner, each).labour
        return total

    def to_spend(self) -> float:
        """Money still to be spent; NaN where a part to buy has no price."""
        total = self.labour()
        for part, count in self.to_buy():
            total += NAN if part.price is None else part.price * count
        return total


BATCH = "gaskets.batch"
"""Where the tolerances of leaves say which gasket layers stray alike: a number a layer, the same for one batch."""


def batch_of(stack: Sequence[Gasket]) -> tuple[int, ...]:
    """Number of each layer's batch; empty where every layer strays by itself.

    Layers of one id that come from one batch have the number of the first of them, every other layer its own.
    """
    ids = [each.id for each in stack]
    found = tuple(ids.index(each.id) if each.same_batch else layer for layer, each in enumerate(stack))
    return found if len(set(found)) < len(found) else ()


@dataclass(frozen=True, slots=True)
class Missing:
    """A field that is needed and not known; ``part`` is None where no part of the kind is in the combination."""

    kind: str
    part: str | None
    field: str


@dataclass(slots=True)
class Reader:
    """Reads leaves (``crank.stroke``, ``gaskets.thickness``, ``plan.rev_ceiling``) for one combination and plan.

    Values are SI floats (tuples for gasket layers), NaN where unknown. ``tolerances`` holds the ± of those with one.
    """

    combination: Combination
    plan: Plan
    values: dict[str, Any] = field(default_factory=dict)
    tolerances: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        if name not in self.values:
            self.values[name], tolerance = self._read(name)
            if tolerance:
                self.tolerances[name] = tolerance
        return self.values[name]

    def read(self, names: tuple[str, ...]) -> Reader:
        """Make sure that these leaves are read, so that ``values`` and ``tolerances`` hold them."""
        for name in names:
            self[name]
        return self

    def _read(self, name: str) -> tuple[Any, Any]:
        owner, rest, special = _split(name)
        if special:
            return getattr(self, special)(rest)  # type: ignore[no-any-return]
        part = self.combination.parts.get(owner)
        if part is None:
            return WITHOUT_PART.get(name, NAN), 0.0
        if name == "block.bore" and self.combination.rebore is not None:
            return self.combination.rebore.si, self.combination.rebore.tolerance
        return field_value(part, rest)

    def _gaskets(self, rest: str) -> tuple[Any, Any]:
        stack = self.combination.gaskets
        if rest == "count":
            return (float(len(stack)) if stack else NAN), 0.0
        if not stack:
            return (NAN,), 0.0
        layers = [getattr(each, rest) for each in stack]
        tolerances = tuple(each.tolerance for each in layers)
        if any(tolerances) and batch_of(stack):
            self.tolerances[BATCH] = batch_of(stack)
        return tuple(each.si for each in layers), tolerances if any(tolerances) else 0.0

    def _machining(self, rest: str) -> tuple[Any, Any]:
        return float(self.combination.amount(rest)), 0.0

    def _money(self, rest: str) -> tuple[Any, Any]:
        if rest == "to_spend":
            return self.combination.to_spend(), 0.0
        return float(sum(count for _, count in self.combination.to_buy())), 0.0

    def _plan(self, rest: str) -> tuple[Any, Any]:
        ceiling = self.plan.rev_ceiling
        return (NAN if ceiling is None else ceiling * float(unit_factor("rpm", ROTATION))), 0.0

    def _conditions(self, rest: str) -> tuple[Any, Any]:
        if rest in NUMBERS:
            given = getattr(self.plan.conditions, rest)
            return (NAN if given is None else given), 0.0
        return self.plan.conditions.temperatures.get(rest.removeprefix("temperatures."), NAN), 0.0

    def _reference(self, rest: str) -> tuple[Any, Any]:
        given = self.plan.reference.get(rest)
        if given is None:
            return (0.0 if rest in ("mill", "deck_cut", "pushrod_angle") else NAN), 0.0
        return given.si, given.tolerance

    def _measured(self, rest: str) -> tuple[Any, Any]:
        ids = {kind: part.id for kind, part in self.combination.parts.items()}
        for measured in reversed(self.plan.measured_decks):
            if all(ids.get(kind) == part for kind, part in measured.parts.items()):
                return measured.deck.si, measured.deck.tolerance
        return NAN, 0.0

    def missing(self, names: tuple[str, ...]) -> list[Missing]:
        """Which of these leaves are unknown, and whose field each is."""
        found: list[Missing] = []
        for name in names:
            value = self[name]
            if not any(map(math.isnan, value if isinstance(value, tuple) else (value,))):
                continue
            owner, _, rest = name.partition(".")
            if owner == "money":
                found += [
                    Missing(part.kind, part.id, "price") for part, _ in self.combination.to_buy() if part.price is None
                ]
                continue
            kind = "gasket" if owner == "gaskets" else owner
            part = self.combination.parts.get(kind)
            found.append(Missing(kind, part.id if part else None, _GIVEN_BY.get(rest, rest)))
        return list(dict.fromkeys(found))


@cache
def _split(leaf: str) -> tuple[str, str, str]:
    """Whose a leaf is, what of it, and the reader's method for those that are no part's."""
    owner, _, rest = leaf.partition(".")
    return owner, rest, f"_{owner}" if hasattr(Reader, f"_{owner}") else ""


def _property(name: str, field: str = "material") -> Callable[[Part], float]:
    """Reader of one property of a part's material, SI; NaN where it is not given or not in the table."""

    def read(part: Part) -> float:
        called = getattr(part, field, None)
        try:
            return float(getattr(material(called), name)) if called else NAN
        except UnknownMaterialError:
            return NAN

    return read


def _shear_modulus(part: Part) -> float:
    """Shear modulus of a spring's wire, Pa; NaN where material or wire is unknown."""
    name, wire = getattr(part, "material", None), getattr(part, "wire", None)
    try:
        return shear_modulus(name, wire.si) if name and wire is not None else NAN
    except UnknownMaterialError:
        return NAN


def _wire(place: int) -> Callable[[Part], float]:
    """Reader of a wire's torsional yield at 1 mm (Pa) or of its exponent; NaN where wire or strength is unknown."""

    def read(part: Part) -> float:
        name, wire = getattr(part, "material", None), getattr(part, "wire", None)
        try:
            return wire_strength(name, wire.si)[place] if name and wire is not None else NAN
        except UnknownMaterialError:
            return NAN

    return read


DERIVED: dict[str, Callable[[Part], float]] = {
    "elasticity": _property("elasticity"),
    "density": _property("density"),
    "expansion": _property("expansion"),
    "case_expansion": _property("expansion", "case_material"),
    "shear_modulus": _shear_modulus,
    "wire_yield": _wire(0),
    "wire_exponent": _wire(1),
}
"""Leaves that stand for a property of a part's material: Pa, kg/m³, 1/K, none."""

_GIVEN_BY = dict.fromkeys(DERIVED, "material") | {"case_expansion": "case_material"}
"""Derived leaf to the field that it is derived from."""


def field_value(part: Part, path: str) -> tuple[float, float]:
    """SI value and tolerance of a field of a part (``stroke``, ``top_land.height``); NaN where it is not known."""
    if isinstance(part, Cam):
        told = read_off(part, path)
        if told is not None:
            return told
    name, _, inner = path.partition(".")
    if name in DERIVED:
        return DERIVED[name](part), 0.0
    value = getattr(part, name)
    if inner:
        value = getattr(value, inner, None)
    if isinstance(value, Quantity):
        return value.si, value.tolerance
    if value is None and inner:
        return NAN, 0.0
    spec = specs_of(type(part))[name]
    if value is None:
        return (NAN if spec.absent is None else spec.absent), 0.0
    if spec.choices:
        return float(spec.choices.index(value)), 0.0
    return float(value), 0.0


_SPECS = {cls: specs(cls) for cls in KINDS.values()}


def specs_of(kind: type[Part]) -> dict[str, FieldSpec]:
    """Cached :func:`kitwright.solver.fields.specs` of a kind."""
    return _SPECS[kind]


def cut_amounts(part: Part, operation: str) -> tuple[Fraction, ...]:
    """Amounts other than 0 that a part allows of ``mill``, ``relieve`` or ``deck_cut``, in SI."""
    steps = getattr(part, operation, None)
    return steps.amounts()[1:] if steps is not None else ()


def rebores(block: Part) -> tuple[Quantity, ...]:
    """Bores that a block can be bored out to, smallest first."""
    if not isinstance(block, Block) or block.rebore is None:
        return ()
    return tuple(sorted(block.rebore.to, key=lambda bore: bore.exact))
