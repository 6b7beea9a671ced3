"""How the notes beside a combination's figures are said, and written as JSON."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from kitwright.catalogs.advice import default_advice
from kitwright.cli.report.blocks import Items, Paragraph
from kitwright.cli.report.numbers import style
from kitwright.cli.report.words import bound_text, figure_style, figure_text, words
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.fields import Decompressor
from kitwright.solver.formulas.firing import EXPONENT, RISE
from kitwright.solver.notes import (
    BALANCE,
    BalanceChange,
    GasEstimate,
    Notes,
    PushrodNeed,
    Remark,
    Stocked,
    Timing,
    notes,
)
from kitwright.solver.plan import Advice, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Checked

_SIDES = {
    "intake_opens": ("intake opens", "before top", "after top"),
    "intake_closes": ("closes", "after bottom", "before bottom"),
    "exhaust_opens": ("exhaust opens", "before bottom", "after bottom"),
    "exhaust_closes": ("closes", "after top", "before top"),
}
ONE_PLANE = (
    "This is balance in one plane, with the rod taken as two masses and the crank pin's own moment left out. On a "
    "twin, count what hangs on each throw; what rocks the engine end to end is not in it."
)

PRACTICE = "common practice, no source"
USUAL = f"Usual ranges, no verdict; {PRACTICE}, where none is named (a plan's own `advice` takes their place)"


def notes_on(checked: Checked, plan: Plan, catalogue: Catalogue | None) -> Notes:
    """The notes on a combination, with the bundled ranges where the plan has none of its own."""
    return notes(checked, plan, catalogue, default_advice())


def note_blocks(found: Notes, units: str) -> Iterator[Paragraph | Items]:
    """The notes as blocks of a report."""
    if found.timing:
        yield Items("Valve events, by the lobe lift that they belong to", tuple(_timing(found.timing, units)))
    if found.decompressor is not None:
        yield Paragraph(decompressor_text(found.decompressor))
    if found.pushrod is not None:
        yield Paragraph(" ".join(_pushrod(found.pushrod, units)))
    if found.balance is not None:
        yield Paragraph(" ".join(_balance(found.balance, units)))
    if found.gas is not None:
        yield Paragraph(_gas(found.gas, units))
    own = [each for each in found.remarks if each.ranges[0].own]
    usual = [each for each in found.remarks if not each.ranges[0].own]
    if own:
        yield Items("Your own ranges, from the plan's `advice`", tuple(_remark(each, units) for each in own))
    if usual:
        yield Items(USUAL, tuple(_remark(each, units) for each in usual))


def _timing(timing: Sequence[Timing], units: str) -> Iterator[str]:
    for each in timing:
        lift = style("mm", [each.lobe_lift], units).with_unit(each.lobe_lift)
        said = []
        for name, (what, usual, other) in _SIDES.items():
            if name in each.events:
                shown = figure_text(name, abs(each.events[name]), units).removesuffix(" deg")
                said.append(f"{what} {shown}° {usual if each.events[name] >= 0 else other}")
        if "overlap" in each.events:
            both = each.events["overlap"]
            shown = figure_text("overlap", abs(both), units).removesuffix(" deg")
            said.append(f"overlap {shown}°" if both >= 0 else f"no overlap, {shown}° between them")
        seat = " (seat)" if each.seat else ""
        yield f"at {lift}{seat}: {', '.join(said)}"


def decompressor_text(known: Decompressor) -> str:
    """What is known of a cam's decompressor, and what counts from it."""
    said = []
    if known.lift is not None:
        said.append(f"holds its valve {known.lift} open")
    if known.closes is not None:
        said.append(f"lets it shut {known.closes} before top dead centre")
    if known.reach is not None:
        said.append(f"reaches {known.reach} from the cam's axis")
    text = f"Decompressor: {', '.join(said) or 'fitted'}."
    if known.closes is None:
        return f"{text} Its closing is not known, and with it neither cranking pressure nor rope force."
    return f"{text} Cranking pressure and rope force count from where the gas is trapped."


def _pushrod(need: PushrodNeed, units: str) -> Iterator[str]:
    def length(value: float) -> str:
        return figure_text("pushrod_length", value, units)

    yield f"Pushrod needed: {length(need.needed)}."
    nearest, shelf = need.nearest, need.on_shelf
    if nearest is not None:
        where = "on the shelf" if nearest.on_shelf > 0 else "to buy"
        off = f"{_off(nearest, units)}, {where}"
        yield f"The nearest in the catalogue is {nearest.id}, {length(nearest.length)} ({off})."
        if shelf is not None and shelf != nearest:
            yield f"The nearest on the shelf is {shelf.id}, {length(shelf.length)} ({_off(shelf, units)})."
    if need.blanks:
        yield f"Can be cut to {length(need.needed)}: {', '.join(need.blanks)}."
    elif nearest is None:
        yield f"Have one cut to {length(need.needed)}."
    yield "Measure with an adjustable one and look at the sweep on the valve's tip before any is cut or bought."


def _off(stocked: Stocked, units: str) -> str:
    shown = figure_style("pushrod_mismatch", [stocked.over], units)
    if shown.text(abs(stocked.over)) == shown.text(0.0):
        return "as long as is needed"
    return f"{shown.with_unit(abs(stocked.over))} {'longer' if stocked.over > 0 else 'shorter'} than needed"


def _balance(change: BalanceChange, units: str) -> Iterator[str]:
    said = []
    for name in BALANCE:
        before, now = change.before.get(name), change.now.get(name)
        if before is not None and now is not None:
            said.append(f"{words(name)} {figure_text(name, before, units)} → {figure_text(name, now, units)}")
    if said:
        yield f"Balance, reference → now: {'; '.join(said)}."
    if change.wanted is not None:
        factor = figure_text("balance_factor", change.before["balance_factor"], units)
        text = f"To keep the factor of {factor} the counterweight needs {_moment(change.wanted)}"
        if change.given is not None:
            more = change.wanted - change.given
            text += f"; this crank has {_moment(change.given)}, {_moment(abs(more))} {'less' if more > 0 else 'more'}"
        yield f"{text}."
    yield ONE_PLANE


def _gas(gas: GasEstimate, units: str) -> str:
    pressure = figure_text("peak_pressure_estimate", gas.pressure, units)
    said = f"Estimate, in no limit: at {pressure} the gas presses on the piston with {_force(gas.load, units)}"
    if gas.net is not None:
        said += f", of which the rev ceiling's inertia leaves the rod {_force(gas.net, units)}"
    return (
        f"{said}. It is the air's pressure × compression^{EXPONENT} × {RISE}: full throttle, petrol, a fast burn at "
        "the best time; common practice, no source. Give `peak_pressure` under the plan's `conditions` to have the gas "
        "load, what is left before the rod buckles and the big end's pressure as figures."
    )


def _force(value: float, units: str) -> str:
    return figure_text("gas_load", value, units)


def _moment(value: float) -> str:
    return style("g_mm", [value]).with_unit(value)


def _remark(remark: Remark, units: str) -> str:
    """Where a value lies among its ranges, the other ranges, what they assume and a source that is one."""

    def named(advice: Advice) -> str:
        return f"{advice.words}: {range_text(advice, units)}"

    near, above, below = remark.within, remark.above, remark.below
    if near:
        said = f"within {'; '.join(map(named, near))}"
    elif above is not None and below is not None:
        near = (above, below)
        last = range_text(replace(above, minimum=None), units)
        said = f"between {above.words}: {last}, and {below.words}: {range_text(replace(below, maximum=None), units)}"
    else:
        near = tuple(each for each in (above, below) if each is not None)
        said = f"{'above' if below is None else 'below'} {named(near[0])}"
    others = [named(each) for each in remark.ranges if each not in near]
    if others:
        said += f"; others: {'; '.join(others)}"
    first = remark.ranges[0]
    if first.assumes:
        said += f". For: {first.assumes}"
    sources = dict.fromkeys(each.source for each in remark.ranges if each.source not in ("", PRACTICE))
    if sources:
        said += f". Source: {'; '.join(sources)}"
    return f"{words(remark.figure)} {figure_text(remark.figure, remark.value, units)} — {said}"


def range_text(advice: Advice, units: str) -> str:
    """A range with its unit: ``0.90 to 1.15 mm``, ``from 2.00 mm``."""
    low, high = advice.minimum, advice.maximum
    if low is None:
        return f"up to {bound_text(advice.figure, high or 0.0, units)}"
    if high is None:
        return f"from {bound_text(advice.figure, low, units)}"
    unit = figure_style(advice.figure, [low, high], units).unit
    first = bound_text(advice.figure, low, units)
    return f"{first.removesuffix(unit).strip() if unit else first} to {bound_text(advice.figure, high, units)}"


def notes_data(found: Notes) -> dict[str, Any]:
    """The notes for JSON: keys with their units, nothing where nothing is known."""
    return {
        "timing": [
            {
                "lobe_lift_mm": each.lobe_lift,
                "seat": each.seat,
                **{FIGURES[name].key: value for name, value in each.events.items()},
            }
            for each in found.timing
        ],
        "decompressor": _decompressor_data(found.decompressor),
        "pushrod": _pushrod_data(found.pushrod),
        "balance": _balance_data(found.balance),
        "gas_estimate": None
        if found.gas is None
        else {
            "peak_pressure_kPa": found.gas.pressure,
            "gas_load_N": found.gas.load,
            "rod_net_compression_N": found.gas.net,
            "from": "estimate; common practice, no source",
        },
        "advice": [
            {
                "figure": FIGURES[remark.figure].key,
                "value": remark.value,
                "for": each.words,
                "min": each.minimum,
                "max": each.maximum,
                "within": each in remark.within,
                "from": "plan" if each.own else each.source,
                "assumes": each.assumes or None,
            }
            for remark in found.remarks
            for each in remark.ranges
        ],
    }


def _decompressor_data(known: Decompressor | None) -> dict[str, Any] | None:
    if known is None:
        return None
    sizes = {"closes_deg": (known.closes, "deg"), "lift_mm": (known.lift, "mm"), "reach_mm": (known.reach, "mm")}
    return {key: None if size is None else size.to(unit) for key, (size, unit) in sizes.items()}


def _pushrod_data(need: PushrodNeed | None) -> dict[str, Any] | None:
    if need is None:
        return None

    def stocked(each: Stocked | None) -> dict[str, Any] | None:
        if each is None:
            return None
        return {"id": each.id, "length_mm": each.length, "mismatch_mm": each.over, "on_shelf": each.on_shelf}

    return {
        "needed_mm": need.needed,
        "nearest": stocked(need.nearest),
        "nearest_on_shelf": stocked(need.on_shelf),
        "cut": list(need.blanks),
    }


def _balance_data(change: BalanceChange | None) -> dict[str, Any] | None:
    if change is None:
        return None

    def keyed(values: Mapping[str, float]) -> dict[str, float]:
        return {FIGURES[name].key: value for name, value in values.items()}

    return {
        "before": keyed(change.before),
        "now": keyed(change.now),
        "counterweight_wanted_g_mm": change.wanted,
        "counterweight_moment_g_mm": change.given,
    }
