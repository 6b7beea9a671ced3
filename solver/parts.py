"""The kinds of part: one frozen dataclass each, every field with its dimension, plausible range and meaning.

Loader, CSV headers, JSON Schema, starter template and the search's slots all read these classes; a new kind is one
class here. An optional field that is absent is ``None``: unknown, never 0, unless the field says what absent means.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar

from kitwright.solver.fields import (
    Adjuster,
    CutTo,
    Decompressor,
    DurationAt,
    LengthSteps,
    Readings,
    Rebore,
    TopLand,
    VolumeSteps,
    choice,
    count,
    group,
    group_or_flag,
    may,
    need,
    of,
    specs,
    words,
)
from kitwright.solver.quantity import (
    ANGLE,
    AREA,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    MOMENT,
    PRESSURE,
    RATIO,
    ROTATION,
    STIFFNESS,
    VOLUME,
    Origin,
    Quantity,
)

_VALVE_DROP = (
    "lowest point of the valve's face (the one nearest the piston) below the head's face, the head lying face up, "
    "along the cylinder, valve shut, before milling; negative: it stands proud. Measured at the face's centre: take "
    "half the valve's diameter × sin(valve angle) off"
)
POCKET_FLOORS = ("parallel", "flat")
"""What the floor of a piston's valve pocket may be; a plain crown is a flat floor of depth 0."""
WELDED, GROUND = "welded", "ground"
"""What may have been done to a part that carries load."""


def _reworked() -> Any:
    """What was done to a part since its maker let go of it."""
    return words((WELDED, GROUND), "what was done to it since it was made; empty says nothing of it")


@dataclass(frozen=True, slots=True)
class Part:
    """What every part has: an id that is unique over the catalogue, money, shelf and tags.

    ``price`` is for what one engine takes (gaskets: one layer); ``None`` means unknown.
    """

    kind: ClassVar[str] = ""
    plural: ClassVar[str] = ""

    id: str = of("text", "unique over the catalogue", True)
    name: str | None = of("text", "what the builder calls it")
    price: float | None = of("money", "price of what one engine takes", low=0, high=1e6)
    on_shelf: int = count(0, 10_000, "how many are on the shelf", 0)
    fits: tuple[str, ...] = of("tags", "goes only on a block that carries one of these tags", default=())
    note: str | None = of("text", "anything worth remembering")
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

    bore: Quantity = need(LENGTH, 20, 200, "cylinder bore")
    block_height: Quantity = need(LENGTH, 40, 600, "crank centreline to deck")
    cylinders: int = count(1, 16, "number of cylinders", 1)
    tags: tuple[str, ...] = of("tags", "what parts name in `fits` to go on this block", default=())
    barrel_foot: Quantity | None = may(LENGTH, 0, 400, "crank centreline to the lower end of the bore")
    cam_to_crank: Quantity | None = may(LENGTH, 10, 400, "centre distance of cam and crank")
    cam_to_barrel: Quantity | None = may(LENGTH, 1, 200, "cam's axis to the nearest edge of the barrel's foot")
    counterweight_room: Quantity | None = may(LENGTH, 10, 400, "radius free for the counterweight")
    rod_room: Quantity | None = may(LENGTH, 10, 400, "radius free for the rod's big end")
    material: str | None = of("text", "material of the block or barrel, as in the table of materials")
    case_material: str | None = of("text", "material of the case under a separate barrel, if it is another")
    deck_cut: LengthSteps | None = group(LengthSteps, "what may come off the deck")
    rebore: Rebore | None = group(Rebore, "oversize bores")


@_kind
@dataclass(frozen=True, slots=True)
class Crank(Part):
    """A crankshaft."""

    kind: ClassVar[str] = "crank"
    plural: ClassVar[str] = "cranks"

    stroke: Quantity = need(LENGTH, 15, 250, "stroke: twice the throw")
    journal: Quantity = need(LENGTH, 8, 120, "rod journal diameter")
    journal_width: Quantity | None = may(LENGTH, 4, 120, "width of the rod journal between its cheeks")
    counterweight_radius: Quantity | None = may(LENGTH, 10, 250, "outer radius of the counterweight")
    counterweight_moment: Quantity | None = may(MOMENT, 0, 1e6, "counterweight's mass times its radius")
    main_clearance: Quantity | None = may(LENGTH, 0, 1, "play of the main bearings, on diameter")
    material: str | None = of("text", "material, as in the table of materials")
    reworked: tuple[str, ...] = _reworked()
    max_rpm: Quantity | None = may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Rod(Part):
    """A connecting rod."""

    kind: ClassVar[str] = "rod"
    plural: ClassVar[str] = "rods"

    length: Quantity = need(LENGTH, 30, 400, "length, centre to centre")
    big_end: Quantity = need(LENGTH, 8, 120, "journal diameter that it is made for")
    pin: Quantity = need(LENGTH, 5, 60, "piston pin diameter")
    width: Quantity | None = may(LENGTH, 4, 120, "width of the big end")
    small_end_mass: Quantity | None = may(MASS, 1, 5000, "mass of the small end, weighed level")
    big_end_mass: Quantity | None = may(MASS, 1, 5000, "mass of the big end, weighed level")
    outer_radius: Quantity | None = may(LENGTH, 5, 150, "greatest radius of the big end, bolts included")
    shank_area: Quantity | None = may(AREA, 0.05, 50, "least section of the shank")
    radius_of_gyration: Quantity | None = may(
        LENGTH, 0.5, 40, "the shank's least radius of gyration: √(second moment / area)"
    )
    yield_strength: Quantity | None = may(PRESSURE, 20_000, 3_000_000, "yield strength of the rod's material")
    big_end_clearance: Quantity | None = may(LENGTH, 0, 1, "play of the big end on its journal, on diameter")
    pin_clearance: Quantity | None = may(LENGTH, 0, 1, "play of the piston pin in the small end, on diameter")
    material: str | None = of("text", "material, as in the table of materials")
    max_load: Quantity | None = may(FORCE, 100, 1e6, "maker's load limit in tension")
    reworked: tuple[str, ...] = _reworked()
    max_rpm: Quantity | None = may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Piston(Part):
    """A piston."""

    kind: ClassVar[str] = "piston"
    plural: ClassVar[str] = "pistons"

    bore: Quantity = need(LENGTH, 20, 200, "cylinder bore that it is made for")
    compression_height: Quantity = need(LENGTH, 8, 120, "pin centre to crown edge")
    pin: Quantity = need(LENGTH, 5, 60, "pin diameter")
    pin_offset: Quantity | None = may(LENGTH, 0, 5, "pin centre beside the bore's centreline", absent=0.0)
    dish: Quantity | None = may(VOLUME, 0, 200, "volume of the dish", absent=0.0)
    dome: Quantity | None = may(VOLUME, 0, 200, "volume of the dome", absent=0.0)
    mass: Quantity | None = may(MASS, 10, 5000, "mass with pin, rings and clips")
    skirt_below_pin: Quantity | None = may(LENGTH, 1, 150, "pin centre to the skirt's lower edge")
    skirt_clearance: Quantity | None = may(LENGTH, 0, 2, "bore less skirt, on diameter, across the pin")
    skirt_length: Quantity | None = may(LENGTH, 3, 250, "length of skirt that bears, along the bore")
    pin_clearance: Quantity | None = may(LENGTH, 0, 1, "play of the pin in the piston's bosses, on diameter")
    top_land: TopLand | None = group(TopLand, "crevice round the top land")
    pocket_depth_intake: Quantity | None = may(
        LENGTH, 0, 20, "depth of the intake valve pocket along the cylinder, under the valve's lowest point"
    )
    pocket_depth_exhaust: Quantity | None = may(
        LENGTH, 0, 20, "depth of the exhaust valve pocket along the cylinder, under the valve's lowest point"
    )
    pocket_floor: str | None = choice(
        POCKET_FLOORS,
        "floor of the valve pockets: parallel to the valve's face, or flat (square to the cylinder's axis)",
    )
    material: str | None = of("text", "material, as in the table of materials")


@_kind
@dataclass(frozen=True, slots=True)
class Gasket(Part):
    """One layer of head gasket."""

    kind: ClassVar[str] = "gasket"
    plural: ClassVar[str] = "gaskets"

    thickness: Quantity = need(LENGTH, 0.02, 8, "compressed thickness")
    bore: Quantity = need(LENGTH, 20, 220, "bore of the gasket")
    free_thickness: Quantity | None = may(LENGTH, 0.02, 12, "thickness before it is torqued down")
    stackable: bool = of("flag", "whether it may be one of several", default=True)
    same_batch: bool = of("flag", "whether several of it come from one batch, and so stray alike", default=False)


@_kind
@dataclass(frozen=True, slots=True)
class Spacer(Part):
    """A spacer under a separate barrel: raises the deck."""

    kind: ClassVar[str] = "spacer"
    plural: ClassVar[str] = "spacers"

    thickness: Quantity = need(LENGTH, 0.02, 30, "thickness: raises the deck")


@_kind
@dataclass(frozen=True, slots=True)
class Head(Part):
    """A cylinder head."""

    kind: ClassVar[str] = "head"
    plural: ClassVar[str] = "heads"

    chamber: Quantity = need(VOLUME, 0.5, 500, "chamber volume, plug and valves in")
    chamber_area: Quantity | None = may(AREA, 0.5, 400, "chamber's outline area at the face")
    mill: LengthSteps | None = group(LengthSteps, "what may come off the face")
    relieve: VolumeSteps | None = group(VolumeSteps, "what the chamber may be opened by")
    max_valve_lift: Quantity | None = may(LENGTH, 0.5, 30, "greatest valve lift that the head takes")
    installed_height: Quantity | None = may(LENGTH, 10, 100, "spring height, valve shut")
    retainer_room: Quantity | None = may(LENGTH, 0.2, 50, "retainer to guide, valve shut")
    intake_valve: Quantity | None = may(LENGTH, 5, 100, "intake valve head diameter")
    exhaust_valve: Quantity | None = may(LENGTH, 5, 100, "exhaust valve head diameter")
    intake_valves: int = count(1, 4, "intake valves per cylinder", 1)
    exhaust_valves: int = count(1, 4, "exhaust valves per cylinder", 1)
    intake_port: Quantity | None = may(LENGTH, 5, 100, "intake port diameter at its smallest")
    flow_coefficient: Quantity | None = may(RATIO, 0.05, 1.0, "mean intake flow coefficient over the opening")
    valve_angle: Quantity | None = may(ANGLE, 0, 60, "valve stem against the cylinder's axis")
    valve_drop: Quantity | None = may(LENGTH, -10, 50, _VALVE_DROP)


@_kind
@dataclass(frozen=True, slots=True)
class Cam(Part):
    """A camshaft."""

    kind: ClassVar[str] = "cam"
    plural: ClassVar[str] = "cams"

    intake_lobe_lift: Quantity = need(LENGTH, 0.5, 20, "intake lobe lift, before any rocker")
    exhaust_lobe_lift: Quantity = need(LENGTH, 0.5, 20, "exhaust lobe lift, before any rocker")
    intake_duration: Quantity | None = may(ANGLE, 90, 450, "intake seat duration, crank degrees")
    exhaust_duration: Quantity | None = may(ANGLE, 90, 450, "exhaust seat duration, crank degrees")
    seat_lift: Quantity | None = may(LENGTH, 0, 2, "lobe lift at which the seat durations are quoted", absent=0.0)
    intake_duration_at: DurationAt | None = group(DurationAt, "intake duration at a checking lift")
    exhaust_duration_at: DurationAt | None = group(DurationAt, "exhaust duration at a checking lift")
    lobe_separation: Quantity | None = may(ANGLE, 80, 130, "lobe separation, cam degrees")
    intake_centreline: Quantity | None = may(ANGLE, 70, 150, "intake centreline, crank degrees after top dead centre")
    lash_intake: Quantity | None = may(LENGTH, 0, 1.5, "intake lash at the valve", absent=0.0)
    lash_exhaust: Quantity | None = may(LENGTH, 0, 1.5, "exhaust lash at the valve", absent=0.0)
    base_radius: Quantity | None = may(LENGTH, 3, 60, "base circle radius")
    core_radius: Quantity | None = may(LENGTH, 3, 60, "greatest radius of the core between the lobes")
    intake_readings: Readings | None = of("readings", "CSV of the intake's degree wheel: angle and lobe lift")
    exhaust_readings: Readings | None = of("readings", "CSV of the exhaust's degree wheel: angle and lobe lift")
    decompressor: Decompressor | None = group_or_flag(Decompressor, "decompressor; `true` where no more is known of it")
    reworked: tuple[str, ...] = _reworked()
    max_rpm: Quantity | None = may(ROTATION, 500, 30_000, "maker's speed limit")


@_kind
@dataclass(frozen=True, slots=True)
class Rocker(Part):
    """The rockers of one engine."""

    kind: ClassVar[str] = "rocker"
    plural: ClassVar[str] = "rockers"

    ratio: Quantity = need(RATIO, 0.5, 3, "valve motion over lobe motion (the intake's, if they differ)")
    exhaust_ratio: Quantity | None = may(RATIO, 0.5, 3, "the exhaust's ratio; absent: the same")
    inertia: Quantity | None = may(
        INERTIA,
        0,
        10_000,
        "moment of inertia about the shaft; counts with `valve_arm`, absent: the spring's row has it",
    )
    valve_arm: Quantity | None = may(LENGTH, 5, 150, "shaft centre to valve tip")
    adjuster: Adjuster | None = group(Adjuster, "how far the adjuster reaches")


_MOVING = (
    "mass that the spring must follow, at the valve: valve, retainer, keys and a third of the spring, and of rocker "
    "and pushrod what their own rows do not weigh; a rocker's `inertia` and a pushrod's `mass` are added to it"
)


@_kind
@dataclass(frozen=True, slots=True)
class Spring(Part):
    """The valve springs of one engine."""

    kind: ClassVar[str] = "spring"
    plural: ClassVar[str] = "springs"

    solid_height: Quantity = need(LENGTH, 5, 80, "height, coils touching")
    rate: Quantity | None = may(STIFFNESS, 0.5, 300, "spring rate")
    free_length: Quantity | None = may(LENGTH, 10, 120, "free length")
    wire: Quantity | None = may(LENGTH, 0.8, 8, "wire diameter")
    coil_diameter: Quantity | None = may(LENGTH, 6, 80, "mean coil diameter")
    active_coils: Quantity | None = may(RATIO, 1.5, 20, "active coils")
    total_coils: Quantity | None = may(RATIO, 2, 25, "total coils")
    material: str | None = of("text", "material, as in the table of materials")
    max_lift: Quantity | None = may(LENGTH, 0.5, 30, "maker's lift limit")
    max_rpm: Quantity | None = may(ROTATION, 500, 30_000, "maker's speed limit")
    moving_mass: Quantity | None = may(MASS, 1, 2000, _MOVING)


@_kind
@dataclass(frozen=True, slots=True)
class Retainer(Part):
    """The spring retainers of one engine."""

    kind: ClassVar[str] = "retainer"
    plural: ClassVar[str] = "retainers"

    height_gain: Quantity | None = may(LENGTH, -5, 5, "installed height gained over the standard retainer", absent=0.0)


@_kind
@dataclass(frozen=True, slots=True)
class SpringShim(Part):
    """The shims under the springs of one engine."""

    kind: ClassVar[str] = "spring_shim"
    plural: ClassVar[str] = "spring_shims"

    thickness: Quantity = need(LENGTH, 0.02, 8, "thickness: lowers the installed height")


@_kind
@dataclass(frozen=True, slots=True)
class Pushrod(Part):
    """The pushrods of one engine, of one length or cut to length."""

    kind: ClassVar[str] = "pushrod"
    plural: ClassVar[str] = "pushrods"

    length: Quantity | None = may(LENGTH, 20, 600, "length over the ends")
    cut_to: CutTo | None = group(CutTo, "lengths that it can be cut to")
    mass: Quantity | None = may(MASS, 1, 500, "mass of one; absent: the spring's row has it")


@_kind
@dataclass(frozen=True, slots=True)
class Flywheel(Part):
    """A flywheel."""

    kind: ClassVar[str] = "flywheel"
    plural: ClassVar[str] = "flywheels"

    max_rpm: Quantity = need(ROTATION, 500, 30_000, "maker's speed limit; over it the rim can burst")


PLURALS: dict[str, str] = {cls.plural: kind for kind, cls in KINDS.items()}
"""Catalogue key to kind in the singular."""
