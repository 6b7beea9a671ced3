"""What is impossible between the fields of one part."""

from __future__ import annotations

from collections.abc import Iterator

from kitwright.solver.fields import MOST_STEPS, DurationAt
from kitwright.solver.parts import Block, Cam, Gasket, Head, Part, Piston, Pushrod, Spring
from kitwright.solver.quantity import Quantity


def faults_of(part: Part) -> Iterator[tuple[str, str, str]]:
    """What is impossible between the fields of one part: field, problem, suggestion."""
    if isinstance(part, Piston) and part.dish and part.dome and part.dish.exact and part.dome.exact:
        yield (
            "dome",
            f"both a dish ({part.dish}) and a dome ({part.dome})",
            "give their difference as the greater of the two",
        )
    if isinstance(part, Piston) and part.skirt_length and part.skirt_below_pin:
        whole = part.compression_height.exact + part.skirt_below_pin.exact
        if part.skirt_length.exact > whole:
            yield (
                "skirt_length",
                f"skirt of {part.skirt_length} on a piston of {1000 * float(whole):.10g} mm from crown to edge",
                "measure what bears on the bore, along it",
            )
    if isinstance(part, Head) and part.mill is not None and part.chamber_area is None:
        yield (
            "mill",
            "milling is allowed, but chamber_area is not given",
            "milling takes outline area × depth: measure the outline",
        )
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
        yield (
            "free_length",
            f"free length {part.free_length} is not above solid height {part.solid_height}",
            "swap them?",
        )
    if isinstance(part, Spring) and part.wire and part.coil_diameter and part.coil_diameter.exact <= part.wire.exact:
        yield (
            "coil_diameter",
            f"mean coil diameter {part.coil_diameter} is not above the wire {part.wire}",
            "swap them?",
        )
    if (
        isinstance(part, Spring)
        and part.active_coils
        and part.total_coils
        and part.active_coils.exact > part.total_coils.exact
    ):
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
        yield (
            name,
            f"{at.duration} at {at.lift} is not shorter than the seat duration {seat}",
            "swap the two durations?",
        )
    if cam.seat_lift and cam.seat_lift.exact >= lift.exact:
        yield (
            "seat_lift",
            f"seat lift {cam.seat_lift} is not below the lobe lift {lift}",
            "durations are quoted near the seat",
        )


def _machining_faults(part: Part) -> Iterator[tuple[str, str, str]]:
    for name in ("mill", "relieve", "deck_cut"):
        steps = getattr(part, name, None)
        if steps is None:
            continue
        for word, amount in (("max", steps.max), ("step", steps.step)):
            if amount.stated:
                yield (
                    name,
                    f"{word} {amount} has a ±, and an amount of machining is exact",
                    f"write `{word}: {amount.text.partition('±')[0].partition('+/-')[0].strip()}`; "
                    "what comes out is measured",
                )
        if steps.step.exact > steps.max.exact:
            yield name, f"step {steps.step} is above max {steps.max}", "swap them?"
        elif steps.max.exact / steps.step.exact > MOST_STEPS:
            count = int(steps.max.exact / steps.step.exact)
            yield (
                name,
                f"max {steps.max} in steps of {steps.step} is {count} steps",
                f"at most {MOST_STEPS}: a coarser step?",
            )
    if isinstance(part, Block) and part.rebore:
        for bore in part.rebore.to:
            if bore.exact <= part.bore.exact:
                yield "rebore", f"rebore to {bore} is not above the bore {part.bore}", "a rebore makes it larger"
