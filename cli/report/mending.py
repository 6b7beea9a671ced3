"""The report on what would mend a missed limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from kitwright.cli.report.as_json import limit_data
from kitwright.cli.report.blocks import Items, Paragraph
from kitwright.cli.report.numbers import bare, money, style
from kitwright.cli.report.words import WORK, figure_text, limit_name, machining_key, words
from kitwright.solver.mend import Mend, Sort
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked, Limit

_MOST: Mapping[Sort, int] = {"part": 3, "machining": 4, "dimension": 3}
"""Lines of each sort under one limit."""


def mend_blocks(found: Mapping[Limit, tuple[Mend, ...]], checked: Checked, plan: Plan) -> Iterator[Items | Paragraph]:
    """Single changes: those that mend everything once, then what else mends each limit."""
    if not found:
        return
    every: list[Mend] = []
    for mends in found.values():
        every += [each for each in mends if each.fits and not any(_same(each, other) for other in every)]
    if every:
        yield Items("One change that mends everything", tuple(_lines(every, checked, plan, False)))
    for limit, mends in found.items():
        if _asked_for_more(limit, found):
            continue
        whole = {each.sort for each in mends if each.fits}
        alone = ", but not everything" if whole or len(found) > 1 else ""
        lines = _lines([each for each in mends if each.sort not in whole], checked, plan, not alone)
        name = limit_name(limit)
        if lines:
            yield Items(f"One change that mends {name}{alone}", tuple(lines))
        elif not whole:
            yield Paragraph(f"No single change mends {name}.")


def _asked_for_more(limit: Limit, found: Iterable[Limit]) -> bool:
    """Whether another missed limit asks more of the same figure: what mends this one alone is no build to make."""
    return any(
        limit.bound is not None
        and other.bound is not None
        and (other.figure, other.limit) == (limit.figure, limit.limit)
        and (other.bound > limit.bound if limit.limit == "min" else other.bound < limit.bound)
        for other in found
    )


def _same(one: Mend, other: Mend) -> bool:
    return _what(one) == _what(other)


def _what(each: Mend) -> tuple[object, ...]:
    return each.sort, each.kind, each.part, each.replaces, each.field


def _lines(mends: list[Mend], checked: Checked, plan: Plan, more: bool) -> list[str]:
    """A line a mend, the first few of each sort; of a dimension asked for by two limits the greater change counts."""
    lines = []
    for sort, most in _MOST.items():
        some = [each for each in mends if each.sort == sort]
        lines += [_line(each, checked, plan, more) for each in some[:most]]
        if len(some) > most:
            left = len(some) - most
            noun = {"part": "part", "machining": "amount", "dimension": "dimension"}[sort]
            lines.append(f"… and {left} more {noun if left == 1 else noun + 's'}; `--format json` has them all")
    return lines


def mend_text(each: Mend, units: str) -> str:
    """Say what is changed."""
    if each.sort == "part":
        if not each.replaces:
            return f"{each.part} on top in the stack"
        if not each.part:
            return f"the stack without {each.replaces}"
        return f"{words(each.kind)} {each.part} for {each.replaces}"
    if each.sort == "machining":
        amount = style(each.unit, [each.old, each.new], units)
        if each.kind == "rebore":
            return f"rebore {each.part} to {amount.with_unit(each.new)}" if each.new else f"no rebore of {each.part}"
        was = f", not {amount.with_unit(each.old)}" if each.old else ""
        if not each.new:
            return f"no {WORK[each.kind]} of {each.part}{was}"
        return f"{WORK[each.kind]} {each.part} by {amount.with_unit(each.new)}{was}"
    article = "an" if words(each.kind)[0] in "aeiou" else "a"
    new, old = _size(each.new, each, units), _size(each.old, each, units)
    return f"{article} {words(each.kind)} with {words(each.field).replace('.', ' ')} {new} ({each.part} has {old})"


def _size(value: float, each: Mend, units: str) -> str:
    if each.unit == "in":
        return style("mm", [each.old * 25.4, each.new * 25.4], units).with_unit(value * 25.4)
    if each.unit in ("mm", "cc"):
        return style(each.unit, [each.old, each.new], units).with_unit(value)
    return f"{bare(value)} {each.unit}".strip()


def _line(each: Mend, checked: Checked, plan: Plan, more: bool) -> str:
    said = [mend_text(each, plan.units)]
    if each.limit.figure and each.after.value is not None:
        shown = figure_text(each.limit.figure, each.after.value, plan.units)
        said.append(f"{words(each.limit.figure)} is then {shown}")
    if each.sort != "dimension":
        if each.cost is None:
            said.append("its price is not known")
        elif checked.cost is not None and abs(each.cost - checked.cost) > 0.005:
            by = each.cost - checked.cost
            said.append(f"{money(abs(by))} {'more' if by > 0 else 'less'} to spend")
    if each.breaks:
        said.append(f"but it breaks {', '.join(dict.fromkeys(map(limit_name, each.breaks)))}")
    elif more and not each.fits:
        said.append("others stay missed")
    return "; ".join(said)


def mend_data(found: Mapping[Limit, tuple[Mend, ...]]) -> list[dict[str, Any]]:
    """Write the mends, each with the limit that it mends."""
    return [_data(each) for mends in found.values() for each in mends]


def _data(each: Mend) -> dict[str, Any]:
    change: dict[str, Any] = {"sort": each.sort, "kind": each.kind, "part": each.part or None}
    if each.sort == "part":
        change["replaces"] = each.replaces or None
    elif each.sort == "machining":
        change = {"sort": each.sort, "work": each.kind, "part": each.part}
        change |= {"from": each.old, "to": each.new, "unit": each.unit}
    else:
        metric = 25.4 if each.unit == "in" else 1.0
        unit = "mm" if each.unit == "in" else each.unit
        change |= {"field": each.field, "from": each.old * metric, "to": each.new * metric, "unit": unit}
    return {
        "limit": limit_data(each.limit),
        **change,
        "value": each.after.value,
        "margin": each.after.margin,
        "breaks": [limit_data(some) for some in each.breaks],
        "fits": each.fits,
        "cost": None if each.sort == "dimension" else each.cost,
        "parts": each.combination.ids,
        "machining": each.combination.machining,
    }


def mend_rows(found: Mapping[Limit, tuple[Mend, ...]]) -> list[dict[str, Any]]:
    """Write one row a mend."""
    rows = []
    for limit, mends in found.items():
        for each in mends:
            key = each.kind if each.sort == "part" else machining_key(each.kind) if each.sort == "machining" else ""
            rows.append(
                {
                    "what": f"mend_{each.sort}",
                    "name": f"{each.part or each.replaces}.{key or each.field}",
                    "figure": limit.name,
                    "limit": limit.limit,
                    "bound": limit.bound,
                    "value": each.after.value,
                    "margin": each.after.margin,
                    "holds": each.fits,
                    "text": mend_text(each, "mm"),
                }
            )
    return rows
