"""The kinds of part: one frozen dataclass each, every field with its dimension, plausible range and meaning.

Loader, CSV headers, JSON Schema, starter template and the search's slots all read these classes; a new kind is one
class here. An optional field that is absent is ``None``: unknown, never 0, unless the field says what absent means.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from fractions import Fraction
from typing import Any, ClassVar, Literal

from kitwright.solver.quantity import (
    ANGLE,
    AREA,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    MOMENT,
    RATIO,
    ROTATION,
    STIFFNESS,
    VOLUME,
    Dimension,
    Origin,
    Quantity,
)

Form = Literal["quantity", "quantities", "count", "money", "text", "tags", "flag", "group"]

MOST_STEPS = 1000
"""Machining steps that one operation on one part may have."""


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """What a field of a part is.

    ``low`` and ``high`` are the plausible range in the dimension's first likely unit (counts and money: as they are);
    a value outside is impossible, a fault. ``absent`` is what a field that is not given stands for, where it stands
    for anything. ``group`` is the dataclass of a nested field.
    """

    name: str
    form: Form
    meaning: str
    required: bool
    dimension: Dimension | None = None
    low: float = 0.0
    high: float = 0.0
    absent: float | None = None
    group: type[Any] | None = None


def _of(form: Form, meaning: str, required: bool = False, **more: Any) -> Any:
    metadata = {"form": form, "meaning": meaning, "required": required, **more}
    if required:
        return field(metadata=metadata, kw_only=True)
    return field(default=more.get("default"), metadata=metadata, kw_only=True)


def _need(dimension: Dimension, low: float, high: float, meaning: str) -> Any:
    return _of("quantity", meaning, True, dimension=dimension, low=low, high=high)


def _may(dimension: Dimension, low: float, high: float, meaning: str, absent: float | None = None) -> Any:
    return _of("quantity", meaning, dimension=dimension, low=low, high=high, absent=absent)


def _count(low: int, high: int, meaning: str, default: int) -> Any:
    return _of("count", meaning, low=low, high=high, default=default)


def _group(kind: type[Any], meaning: str) -> Any:
    return _of("group", meaning, group=kind)


def _labour() -> Any:
    return _of("money", "price of the work, charged once", low=0, high=1e6, default=0.0)


def specs(owner: type[Any]) -> dict[str, FieldSpec]:
    """Field name to specification of a part kind or of a nested group, in the order of the catalogue's table."""
    found = {}
    for each in fields(owner):
        data = each.metadata
        if "form" in data:
            known = {key: data[key] for key in ("dimension", "low", "high", "absent", "group") if key in data}
            found[each.name] = FieldSpec(each.name, data["form"], data["meaning"], data["required"], **known)
    return found


@dataclass(frozen=True, slots=True)
class LengthSteps:
    """Metal that may be taken off in steps: ``mill`` and ``deck_cut``."""

    max: Quantity = _need(LENGTH, 0.001, 20, "most that may come off")
    step: Quantity = _need(LENGTH, 0.001, 20, "smallest cut, and the grid of cuts")
    labour: float = _labour()

    def amounts(self) -> tuple[Fraction, ...]:
        """0, step, 2 × step … up to max, exact, in metres."""
        return _steps(self.max.exact, self.step.exact)


@dataclass(frozen=True, slots=True)
class VolumeSteps:
    """Chamber volume that may be opened in steps: ``relieve``."""

    max: Quantity = _need(VOLUME, 0.01, 200, "most that the chamber may be opened")
    step: Quantity = _need(VOLUME, 0.01, 200, "smallest opening, and the grid of openings")
    labour: float = _labour()

    def amounts(self) -> tuple[Fraction, ...]:
        """0, step, 2 × step … up to max, exact, in cubic metres."""
        return _steps(self.max.exact, self.step.exact)


def _steps(most: Fraction, step: Fraction) -> tuple[Fraction, ...]:
    return tuple(step * index for index in range(int(most / step) + 1))


@dataclass(frozen=True, slots=True)
class Rebore:
    """Bores that the cylinder may be bored out to."""

    to: tuple[Quantity, ...] = _of("quantities", "bores that it can be bored to", True, dimension=LENGTH, low=20, high=200)
    labour: float = _labour()


@dataclass(frozen=True, slots=True)
class TopLand:
    """The crevice round the piston's top land."""

    height: Quantity = _need(LENGTH, 0.1, 40, "height of the top land")
    clearance: Quantity = _need(LENGTH, 0.01, 5, "bore less land, on diameter")


@dataclass(frozen=True, slots=True)
class DurationAt:
    """A duration and the lobe lift at which it is measured."""

    lift: Quantity = _need(LENGTH, 0.01, 15, "lobe lift at which the duration is measured")
    duration: Quantity = _need(ANGLE, 60, 450, "crank degrees above that lobe lift")


@dataclass(frozen=True, slots=True)
class CutTo:
    """Lengths that a pushrod blank can be cut to."""

    min: Quantity = _need(LENGTH, 20, 600, "shortest")
    max: Quantity = _need(LENGTH, 20, 600, "longest")


@dataclass(frozen=True, slots=True)
class Part:
    """What every part has: an id that is unique over the catalogue, money, shelf and tags.

    ``price`` is for what one engine takes (gaskets: one layer); ``None`` means unknown.
    """

    kind: ClassVar[str] = ""
    plural: ClassVar[str] = ""

    id: str = _of("text", "unique over the catalogue", True)
    name: str | None = _of("text", "what the builder calls it")
    price: float | None = _of("money", "price of what one engine takes", low=0, high=1e6)
    on_shelf: int = _count(0, 10_000, "how many are on the shelf", 0)
    fits: tuple[str, ...] = _of("tags", "goes only on a block that carries one of these tags", default=())
    note: str | None = _of("text", "anything worth remembering")
    origin: Origin | None = field(default=None, kw_only=True)

    def quantities(self) -> Iterator[tuple[str, Quantity]]:
        """Every dimension that is given, nested ones as ``mill.step``."""
        for name, spec in specs(type(self)).items():
            value = getattr(self, name)
            if isinstance(value, Quantity):
                yield name, value
            elif spec.group is not None and value is not None:
                for inner in specs(spec.group):
                    each = getattr(value, inner)
                    if isinstance(each, Quantity):
                        yield f"{name}.{inner}", each


KINDS: dict[str, type[Part]] = {}
"""Kind in the singular to its class, in the order that ties between combinations are broken by."""


def _kind(cls: type[Part]) -> type[Part]:
    KINDS[cls.kind] = cls
    return cls


@_kind
@dataclass(frozen=True, slots=True)
class Block(Part):
    """A block or barrel with its bore."""

    kind: ClassVar[str] = "block"
    plural: ClassVar[str] = "blocks"

    bore: Quantity = _need(LENGTH, 20, 200, "cylinder bore")
    block_height: Quantity = _need(LENGTH, 40, 600, "crank centreline to deck")
    cylinders: int = _count(1, 16, "number of cylinders", 1)
    tags: tuple[str, ...] = _of("tags", "what parts name in `fits` to go on this block", default=())
    barrel_foot: Quantity | None = _may(LENGTH, 0, 400, "crank centreline to the lower end of the bore")
    cam_to_crank: Quantity | None = _may(LENGTH, 10, 400, "centre distance of cam and crank")
    counterweight_room: Quantity | None = _may(LENGTH, 10, 400, "radius free for the counterweight")
    rod_room: Quantity | None = _may(LENGTH, 10, 400, "radius free for the rod's big end")
    deck_cut: LengthSteps | None = _group(LengthSteps, "what may come off the deck")
    rebore: Rebore | None = _group(Rebore, "oversize bores")


@_kind
@dataclass(frozen=True, slots=True)
class Crank(Part):
    """A crankshaft."""

    kind: ClassVar[str] = "crank"
    plural: ClassVar[str] = "cranks"

    stroke: Quantity = _need(LENGTH, 15, 250, "stroke: twice the throw")
    journal: Quantity = _need(LENGTH, 8, 120, "rod journal diameter")
    journal_width: Quantity | None = _may(LENGTH, 4, 120, "width of the rod journal between its cheeks")
    counterweight_radius: Quantity | None = _may(LENGTH, 10, 250, "outer radius of the counterweight")
    counterweight_moment: Quantity | None = _may(MOMENT, 0, 1e6, "counterweight's mass times its radius")
    max_rpm: Quantity | None = _may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Rod(Part):
    """A connecting rod."""

    kind: ClassVar[str] = "rod"
    plural: ClassVar[str] = "rods"

    length: Quantity = _need(LENGTH, 30, 400, "length, centre to centre")
    big_end: Quantity = _need(LENGTH, 8, 120, "journal diameter that it is made for")
    pin: Quantity = _need(LENGTH, 5, 60, "piston pin diameter")
    width: Quantity | None = _may(LENGTH, 4, 120, "width of the big end")
    small_end_mass: Quantity | None = _may(MASS, 1, 5000, "mass of the small end, weighed level")
    big_end_mass: Quantity | None = _may(MASS, 1, 5000, "mass of the big end, weighed level")
    outer_radius: Quantity | None = _may(LENGTH, 5, 150, "greatest radius of the big end, bolts included")
    shank_area: Quantity | None = _may(AREA, 0.05, 50, "least section of the shank")
    material: str | None = _of("text", "material, as in the table of materials")
    max_load: Quantity | None = _may(FORCE, 100, 1e6, "maker's load limit in tension")
    max_rpm: Quantity | None = _may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Piston(Part):
    """A piston."""

    kind: ClassVar[str] = "piston"
    plural: ClassVar[str] = "pistons"

    bore: Quantity = _need(LENGTH, 20, 200, "cylinder bore that it is made for")
    compression_height: Quantity = _need(LENGTH, 8, 120, "pin centre to crown edge")
    pin: Quantity = _need(LENGTH, 5, 60, "pin diameter")
    pin_offset: Quantity | None = _may(LENGTH, 0, 5, "pin centre beside the bore's centreline", absent=0.0)
    dish: Quantity | None = _may(VOLUME, 0, 200, "volume of the dish", absent=0.0)
    dome: Quantity | None = _may(VOLUME, 0, 200, "volume of the dome", absent=0.0)
    mass: Quantity | None = _may(MASS, 10, 5000, "mass with pin, rings and clips")
    skirt_below_pin: Quantity | None = _may(LENGTH, 1, 150, "pin centre to the skirt's lower edge")
    top_land: TopLand | None = _group(TopLand, "crevice round the top land")
    pocket_depth_intake: Quantity | None = _may(LENGTH, 0, 20, "depth of the intake valve pocket")
    pocket_depth_exhaust: Quantity | None = _may(LENGTH, 0, 20, "depth of the exhaust valve pocket")


@_kind
@dataclass(frozen=True, slots=True)
class Gasket(Part):
    """One layer of head gasket."""

    kind: ClassVar[str] = "gasket"
    plural: ClassVar[str] = "gaskets"

    thickness: Quantity = _need(LENGTH, 0.02, 8, "compressed thickness")
    bore: Quantity = _need(LENGTH, 20, 220, "bore of the gasket")
    free_thickness: Quantity | None = _may(LENGTH, 0.02, 12, "thickness before it is torqued down")
    stackable: bool = _of("flag", "whether it may be one of several", default=True)


@_kind
@dataclass(frozen=True, slots=True)
class Spacer(Part):
    """A spacer under a separate barrel: raises the deck."""

    kind: ClassVar[str] = "spacer"
    plural: ClassVar[str] = "spacers"

    thickness: Quantity = _need(LENGTH, 0.02, 30, "thickness: raises the deck")


@_kind
@dataclass(frozen=True, slots=True)
class Head(Part):
    """A cylinder head."""

    kind: ClassVar[str] = "head"
    plural: ClassVar[str] = "heads"

    chamber: Quantity = _need(VOLUME, 0.5, 500, "chamber volume, plug and valves in")
    chamber_area: Quantity | None = _may(AREA, 0.5, 400, "chamber's outline area at the face")
    mill: LengthSteps | None = _group(LengthSteps, "what may come off the face")
    relieve: VolumeSteps | None = _group(VolumeSteps, "what the chamber may be opened by")
    max_valve_lift: Quantity | None = _may(LENGTH, 0.5, 30, "greatest valve lift that the head takes")
    installed_height: Quantity | None = _may(LENGTH, 10, 100, "spring height, valve shut")
    retainer_room: Quantity | None = _may(LENGTH, 0.2, 50, "retainer to guide, valve shut")
    intake_valve: Quantity | None = _may(LENGTH, 5, 100, "intake valve head diameter")
    exhaust_valve: Quantity | None = _may(LENGTH, 5, 100, "exhaust valve head diameter")
    intake_valves: int = _count(1, 4, "intake valves per cylinder", 1)
    exhaust_valves: int = _count(1, 4, "exhaust valves per cylinder", 1)
    intake_port: Quantity | None = _may(LENGTH, 5, 100, "intake port diameter at its smallest")
    flow_coefficient: Quantity | None = _may(RATIO, 0.05, 1.0, "mean intake flow coefficient over the opening")
    valve_angle: Quantity | None = _may(ANGLE, 0, 60, "valve stem against the cylinder's axis")
    valve_drop: Quantity | None = _may(LENGTH, -10, 50, "valve face below the head's face, valve shut, before milling")


@_kind
@dataclass(frozen=True, slots=True)
class Cam(Part):
    """A camshaft."""

    kind: ClassVar[str] = "cam"
    plural: ClassVar[str] = "cams"

    intake_lobe_lift: Quantity = _need(LENGTH, 0.5, 20, "intake lobe lift, before any rocker")
    exhaust_lobe_lift: Quantity = _need(LENGTH, 0.5, 20, "exhaust lobe lift, before any rocker")
    intake_duration: Quantity | None = _may(ANGLE, 90, 450, "intake seat duration, crank degrees")
    exhaust_duration: Quantity | None = _may(ANGLE, 90, 450, "exhaust seat duration, crank degrees")
    seat_lift: Quantity | None = _may(LENGTH, 0, 2, "lobe lift at which the seat durations are quoted", absent=0.0)
    intake_duration_at: DurationAt | None = _group(DurationAt, "intake duration at a checking lift")
    exhaust_duration_at: DurationAt | None = _group(DurationAt, "exhaust duration at a checking lift")
    lobe_separation: Quantity | None = _may(ANGLE, 80, 130, "lobe separation, cam degrees")
    intake_centreline: Quantity | None = _may(ANGLE, 70, 150, "intake centreline, crank degrees after top dead centre")
    lash_intake: Quantity | None = _may(LENGTH, 0, 1.5, "intake lash at the valve", absent=0.0)
    lash_exhaust: Quantity | None = _may(LENGTH, 0, 1.5, "exhaust lash at the valve", absent=0.0)
    base_radius: Quantity | None = _may(LENGTH, 3, 60, "base circle radius")
    core_radius: Quantity | None = _may(LENGTH, 3, 60, "greatest radius of the core between the lobes")
    decompressor: bool | None = _of("flag", "whether it carries a decompressor")
    max_rpm: Quantity | None = _may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Rocker(Part):
    """The rockers of one engine."""

    kind: ClassVar[str] = "rocker"
    plural: ClassVar[str] = "rockers"

    ratio: Quantity = _need(RATIO, 0.5, 3, "valve motion over lobe motion (the intake's, if they differ)")
    exhaust_ratio: Quantity | None = _may(RATIO, 0.5, 3, "the exhaust's ratio; absent: the same")
    inertia: Quantity | None = _may(INERTIA, 0, 10_000, "moment of inertia about the shaft")
    valve_arm: Quantity | None = _may(LENGTH, 5, 150, "shaft centre to valve tip")


@_kind
@dataclass(frozen=True, slots=True)
class Spring(Part):
    """The valve springs of one engine."""

    kind: ClassVar[str] = "spring"
    plural: ClassVar[str] = "springs"

    solid_height: Quantity = _need(LENGTH, 5, 80, "height, coils touching")
    rate: Quantity | None = _may(STIFFNESS, 0.5, 300, "spring rate")
    free_length: Quantity | None = _may(LENGTH, 10, 120, "free length")
    wire: Quantity | None = _may(LENGTH, 0.8, 8, "wire diameter")
    coil_diameter: Quantity | None = _may(LENGTH, 6, 80, "mean coil diameter")
    active_coils: Quantity | None = _may(RATIO, 1.5, 20, "active coils")
    total_coils: Quantity | None = _may(RATIO, 2, 25, "total coils")
    material: str | None = _of("text", "material, as in the table of materials")
    max_lift: Quantity | None = _may(LENGTH, 0.5, 30, "maker's lift limit")
    max_rpm: Quantity | None = _may(ROTATION, 500, 30_000, "maker's speed limit")
    moving_mass: Quantity | None = _may(MASS, 1, 2000, "valve-train mass that the spring must follow, at the valve")


@_kind
@dataclass(frozen=True, slots=True)
class Retainer(Part):
    """The spring retainers of one engine."""

    kind: ClassVar[str] = "retainer"
    plural: ClassVar[str] = "retainers"

    height_gain: Quantity | None = _may(LENGTH, -5, 5, "installed height gained over the standard retainer", absent=0.0)


@_kind
@dataclass(frozen=True, slots=True)
class SpringShim(Part):
    """The shims under the springs of one engine."""

    kind: ClassVar[str] = "spring_shim"
    plural: ClassVar[str] = "spring_shims"

    thickness: Quantity = _need(LENGTH, 0.02, 8, "thickness: lowers the installed height")


@_kind
@dataclass(frozen=True, slots=True)
class Pushrod(Part):
    """The pushrods of one engine, of one length or cut to length."""

    kind: ClassVar[str] = "pushrod"
    plural: ClassVar[str] = "pushrods"

    length: Quantity | None = _may(LENGTH, 20, 600, "length over the ends")
    cut_to: CutTo | None = _group(CutTo, "lengths that it can be cut to")
    mass: Quantity | None = _may(MASS, 1, 500, "mass of one")


@_kind
@dataclass(frozen=True, slots=True)
class Flywheel(Part):
    """A flywheel."""

    kind: ClassVar[str] = "flywheel"
    plural: ClassVar[str] = "flywheels"

    max_rpm: Quantity = _need(ROTATION, 500, 30_000, "maker's speed limit; over it the rim can burst")


PLURALS: dict[str, str] = {cls.plural: kind for kind, cls in KINDS.items()}
"""Catalogue key to kind in the singular."""


def faults_of(part: Part) -> Iterator[tuple[str, str, str]]:
    """What is impossible between the fields of one part: field, problem, suggestion."""
    if isinstance(part, Piston) and part.dish and part.dome and part.dish.exact and part.dome.exact:
        yield "dome", f"both a dish ({part.dish}) and a dome ({part.dome})", "give their difference as the greater of the two"
    if isinstance(part, Head) and part.mill is not None and part.chamber_area is None:
        yield "mill", "milling is allowed, but chamber_area is not given", "milling takes outline area × depth: measure the outline"
    if isinstance(part, Pushrod) and (part.length is None) == (part.cut_to is None):
        given = "neither" if part.length is None else "both"
        yield "length", f"{given} of `length` and `cut_to` given", "a stocked pushrod has a length, a blank has cut_to"
    if isinstance(part, Pushrod) and part.cut_to and part.cut_to.min.exact > part.cut_to.max.exact:
        yield "cut_to", f"min {part.cut_to.min} is above max {part.cut_to.max}", "swap them?"
    if isinstance(part, Gasket) and part.free_thickness and part.free_thickness.exact < part.thickness.exact:
        yield (
            "free_thickness",
            f"free thickness {part.free_thickness} is less than compressed {part.thickness}",
            "a gasket gets thinner when it is torqued down: swap them?",
        )
    if isinstance(part, Spring) and part.free_length and part.free_length.exact <= part.solid_height.exact:
        yield "free_length", f"free length {part.free_length} is not above solid height {part.solid_height}", "swap them?"
    if isinstance(part, Spring) and part.wire and part.coil_diameter and part.coil_diameter.exact <= part.wire.exact:
        yield "coil_diameter", f"mean coil diameter {part.coil_diameter} is not above the wire {part.wire}", "swap them?"
    if isinstance(part, Spring) and part.active_coils and part.total_coils and part.active_coils.exact > part.total_coils.exact:
        yield "active_coils", f"{part.active_coils} active of {part.total_coils} coils", "swap them?"
    if isinstance(part, Cam):
        for valve in ("intake", "exhaust"):
            yield from _cam_faults(part, valve)
    yield from _machining_faults(part)


def _cam_faults(cam: Cam, valve: str) -> Iterator[tuple[str, str, str]]:
    lift: Quantity = getattr(cam, f"{valve}_lobe_lift")
    seat: Quantity | None = getattr(cam, f"{valve}_duration")
    at: DurationAt | None = getattr(cam, f"{valve}_duration_at")
    name = f"{valve}_duration_at"
    if at and at.lift.exact >= lift.exact:
        yield name, f"checking lift {at.lift} is not below the lobe lift {lift}", "is it the lift at the valve?"
    if at and seat and at.duration.exact >= seat.exact:
        yield name, f"{at.duration} at {at.lift} is not shorter than the seat duration {seat}", "swap the two durations?"
    if cam.seat_lift and cam.seat_lift.exact >= lift.exact:
        yield "seat_lift", f"seat lift {cam.seat_lift} is not below the lobe lift {lift}", "durations are quoted near the seat"


def _machining_faults(part: Part) -> Iterator[tuple[str, str, str]]:
    for name in ("mill", "relieve", "deck_cut"):
        steps = getattr(part, name, None)
        if steps is None:
            continue
        if steps.step.exact > steps.max.exact:
            yield name, f"step {steps.step} is above max {steps.max}", "swap them?"
        elif steps.max.exact / steps.step.exact > MOST_STEPS:
            count = int(steps.max.exact / steps.step.exact)
            yield name, f"max {steps.max} in steps of {steps.step} is {count} steps", f"at most {MOST_STEPS}: a coarser step?"
    if isinstance(part, Block) and part.rebore:
        for bore in part.rebore.to:
            if bore.exact <= part.bore.exact:
                yield "rebore", f"rebore to {bore} is not above the bore {part.bore}", "a rebore makes it larger"


