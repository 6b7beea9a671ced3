"""The report on what to measure next: for one combination, and over the combinations of a list."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kitwright.cli.report.as_json import limit_data
from kitwright.cli.report.blocks import Items, Paragraph, Report, Title
from kitwright.cli.report.places import (
    Sizes,
    dimension_of,
    place_data,
    place_key,
    place_text,
    unit_and_factor,
)
from kitwright.cli.report.words import all_parts, limit_name, longer, settings
from kitwright.solver.combination import Combination
from kitwright.solver.measure_next import DECK, Interval, Measurement, MeasureNext, deck_parts
from kitwright.solver.plan import Plan
from kitwright.solver.rivals import Decisive, Rivalry, Stretch
from kitwright.solver.swap import Place

_MOST = 3
_LEAST = 0.005
"""Share of a ± below which a measurement is not worth a line."""


def next_blocks(found: MeasureNext, combination: Combination, plan: Plan) -> Iterator[Items | Paragraph]:
    """What to measure next for one combination that does not hold at worst case."""
    if found.answer == "holds":
        return
    if found.answer == "fails":
        names = list(dict.fromkeys(map(limit_name, found.limits)))
        verb = "fails" if len(names) == 1 else "fail"
        said = f"{', '.join(names)} {verb} whatever the parts measure within their ±"
        yield Paragraph(f"Nothing to measure would save it: {said}.")
        return
    deciding = [each for each in found.measurements if each.settles >= _LEAST][:_MOST]
    if deciding:
        lines = tuple(_line(each, combination, plan) for each in deciding)
        yield Items("What to measure next (with all the rest at its worst)", lines)
    elif found.measurements:
        yield Paragraph("No measurement of one dimension alone settles whether it holds at worst case.")
    if len(found.enough) > 1 or (found.enough and not deciding):
        named = ", ".join(_named(place, combination) for place in found.enough)
        yield Paragraph(f"It would hold at worst case if these measure as they are written: {named}.")


def _named(place: Place, combination: Combination) -> str:
    if place == DECK:
        return f"the deck with {' '.join(part for _, part in deck_parts(combination))}"
    return f"the {place_text(place)}"


def _line(each: Measurement, combination: Combination, plan: Plan) -> str:
    ends = [end for some in (each.holds, *each.fails) if some for end in some]
    sizes = Sizes(dimension_of(each.place, combination), [each.nominal, each.low, each.high, *ends], plan.units)
    deck = each.place == DECK
    shown = sizes.deck(each.nominal) if deck else sizes.text(each.nominal)
    written = f"{shown} ± {sizes.text(each.nominal - each.low)}"
    says = []
    if each.holds is not None:
        says.append(f"it holds {_range(each.holds, each, sizes)}")
    if each.fails:
        says.append(f"it fails {' and '.join(_range(some, each, sizes) for some in each.fails)}")
    settled = f"{100 * each.settles:.0f} % of its ± settles it"
    return f"{_named(each.place, combination)}, {written}: {'; '.join(says)} ({settled})"


def _range(some: Interval, each: Measurement | Decisive, sizes: Sizes) -> str:
    text = sizes.deck if each.place == DECK else sizes.text
    if each.place != DECK:
        if some[0] <= each.low:
            return f"up to {text(some[1])}"
        if some[1] >= each.high:
            return f"from {text(some[0])}"
    if each.place == DECK:  # `from 0.66 mm up to 0.51 mm up` would read as `up to`
        return f"between {text(some[0])} and {text(some[1])}"
    return f"from {text(some[0])} to {text(some[1])}"


def next_data(found: MeasureNext, combination: Combination) -> dict[str, Any]:
    """Write what to measure next for one combination; values in the dimension's own metric unit."""
    return {
        "answer": found.answer,
        "limits": [limit_data(each) for each in found.limits],
        "measurements": [_measurement(each, combination) for each in found.measurements],
        "enough": [place_data(each) for each in found.enough],
    }


def _measurement(each: Measurement, combination: Combination) -> dict[str, Any]:
    unit, factor = unit_and_factor(dimension_of(each.place, combination))
    return {
        **place_data(each.place),
        **({"with": dict(deck_parts(combination))} if each.place == DECK else {}),
        "unit": unit,
        "nominal": each.nominal / factor,
        "low": each.low / factor,
        "high": each.high / factor,
        "holds": None if each.holds is None else [end / factor for end in each.holds],
        "fails": [[end / factor for end in some] for some in each.fails],
        "settles": each.settles,
        "width": each.width,
        "limits": [{each.kind: each.name, "limit": each.limit} for each in each.limits],
    }


def next_rows(found: MeasureNext, combination: Combination) -> list[dict[str, Any]]:
    """Write one row a measurement: its place, nominal, and where it holds."""
    rows = []
    for each in found.measurements:
        _, factor = unit_and_factor(dimension_of(each.place, combination))
        row = {"what": "measure_next", "name": place_key(each.place), "value": each.nominal / factor}
        row["text"] = f"settles {each.settles:.4f} of its tolerance"
        if each.holds is not None:
            row["worst_case_low"], row["worst_case_high"] = (end / factor for end in each.holds)
        rows.append(row)
    return rows


# over a list


def rivals_report(found: Rivalry, plan: Plan) -> Report:
    """Which measurement would make another combination the best."""
    report: Report = [Title(f"{plan.name}: what to measure next", 1)]
    if found.best is not None:
        report.append(Paragraph(f"The best as the parts are written: {all_parts(found.best)}."))
    elif found.pool:
        report.append(Paragraph("As the parts are written, none of these holds every limit."))
    if settings(plan):
        report.append(Paragraph(f"Asked with: {'; '.join(settings(plan))}."))
    if found.decisive:
        for each in found.decisive[:_MOST]:
            report.append(
                Items(_head(each, found, plan), tuple(_stretch(some, each, found, plan) for some in each.stretches))
            )
        more = found.decisive[_MOST:]
        if more:
            names = ", ".join(_where(each) for each in more)
            report.append(Paragraph(f"Less often, these change the best too: {names}."))
    elif found.complete:
        report.append(Paragraph("No single measurement within the ± changes which of these is the best."))
    if not found.complete:
        report.append(Paragraph(f"Stopped before every dimension was looked at.{longer(found.stopped_by)}", "bad"))
    count = len(found.pool)
    report.append(
        Paragraph(
            f"Looked at {'one combination' if count == 1 else f'{count} combinations'}: the first of the list and the "
            "first at nominal size. Others may come up too; `--top` looks at more. A measured value counts as exact."
        )
    )
    return report


def _where(each: Decisive) -> str:
    if each.place == DECK:
        return f"the deck with {' '.join(part for _, part in each.parts)}"
    return f"the {place_text(each.place)}"


def _sizes(each: Decisive, found: Rivalry, plan: Plan) -> Sizes:
    owner = next(
        (some for some in found.pool if any(part.id == each.place.part for part in some.different_parts)), None
    )
    dimension = dimension_of(each.place, owner or found.pool[0])
    ends = [end for some in each.stretches for end in (some.low, some.high)]
    return Sizes(dimension, [each.nominal, *ends], plan.units)


def _head(each: Decisive, found: Rivalry, plan: Plan) -> str:
    sizes = _sizes(each, found, plan)
    shown = sizes.deck(each.nominal) if each.place == DECK else sizes.text(each.nominal)
    where = _where(each)
    share = f"{100 * each.other:.0f} % of its ± changes the best"
    return f"{where[0].upper()}{where[1:]}, {shown} ± {sizes.text(each.nominal - each.low)} ({share})"


def _stretch(some: Stretch, each: Decisive, found: Rivalry, plan: Plan) -> str:
    span = _range((some.low, some.high), each, _sizes(each, found, plan))
    if some.best is None:
        return f"{span}: none of these"
    return f"{span}: {'as now, ' if some.best is found.best else ''}{_different(some.best, found)}"


def _different(best: Combination, found: Rivalry) -> str:
    """Name a combination by what is not the same in all of the pool."""
    texts = [all_parts(each).split(", ") for each in found.pool]
    common = set(texts[0]).intersection(*texts) if len(texts) > 1 else set()
    return ", ".join(each for each in all_parts(best).split(", ") if each not in common) or all_parts(best)


def rivals_data(found: Rivalry, plan: Plan) -> dict[str, Any]:
    """Write which measurement would make another combination the best."""
    numbers = {id(each): number for number, each in enumerate(found.pool, 1)}

    def number(each: Combination | None) -> int | None:
        return None if each is None else numbers[id(each)]

    measurements = []
    for each in found.decisive:
        sizes = _sizes(each, found, plan)
        measurements.append(
            {
                **place_data(each.place),
                **({"with": dict(each.parts)} if each.parts else {}),
                "unit": sizes.unit,
                "nominal": each.nominal / sizes.factor,
                "low": each.low / sizes.factor,
                "high": each.high / sizes.factor,
                "changes_best": each.other,
                "best": [
                    {"from": some.low / sizes.factor, "to": some.high / sizes.factor, "combination": number(some.best)}
                    for some in each.stretches
                ],
            }
        )
    pool = [{"combination": number(each), "parts": each.ids, "machining": each.machining} for each in found.pool]
    status = "complete" if found.complete else "incomplete"
    return {"plan": plan.name, "status": status, "best": number(found.best), "pool": pool, "measurements": measurements}


def rivals_rows(found: Rivalry, plan: Plan) -> tuple[list[str], list[dict[str, Any]]]:
    """Write one row a stretch of measured values."""
    rows = []
    for each in found.decisive:
        sizes = _sizes(each, found, plan)
        for some in each.stretches:
            rows.append(
                {
                    "measure": place_key(each.place),
                    "with": " ".join(part for _, part in each.parts),
                    "unit": sizes.unit,
                    "nominal": each.nominal / sizes.factor,
                    "from": some.low / sizes.factor,
                    "to": some.high / sizes.factor,
                    "changes_best": each.other,
                    "best": all_parts(some.best) if some.best is not None else "",
                }
            )
    return ["measure", "with", "unit", "nominal", "from", "to", "changes_best", "best"], rows
