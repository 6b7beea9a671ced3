"""The mock-up card and the shopping list of one combination."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from operator import attrgetter

from kitwright.catalogs.write import yaml_text
from kitwright.cli.report.blocks import Column, Items, Paragraph, Section, Table
from kitwright.cli.report.checked import money_line
from kitwright.cli.report.numbers import Style, bare, money, style
from kitwright.cli.report.sheet.page import Card, SheetBlock
from kitwright.cli.report.stacked import place
from kitwright.cli.report.words import bound_text, figure_style, machining_text, words
from kitwright.solver.check import View
from kitwright.solver.compose import OWNER
from kitwright.solver.guards import CLEARANCES
from kitwright.solver.mock_up import REDO, STEPS, Measurement, as_measured, card, consumables, step_hazards
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import FORCE, LENGTH, PRESSURE, VOLUME, Quantity, unit_factor
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Checked, Limit
from kitwright.solver.rules import rules_of

ON_INCH_GAUGES = {"N": "lb", "kPa": "psi"}
"""Unit of a figure to what a gauge for an inch engine reads."""

_AS_PINT = {"lb": ("lbf", FORCE), "psi": ("psi", PRESSURE)}

MAKERS = "maker's figure ____"
"""What stands for a limit that neither the plan nor a physical rule gives: a line to write on."""

CLEAR = "must clear: > 0"
"""What stands where two parts must not touch and nothing more is asked."""


def mock_up_blocks(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    """The card, what is done again after a change, and where the readings go."""
    yield Paragraph(
        "Take the readings in this order and write them down with the instrument's name. Where the maker's figure is "
        "to be written, nobody has given a limit yet: look it up in the maker's sheet; until then nothing passes."
    )
    rows: list[tuple[str, ...] | Section] = []
    lines = card(checked)
    numbers = _numbers(lines)
    step = 0
    for each in lines:
        if each.step != step:
            step = each.step
            told = [hazard.at_bench for hazard in step_hazards(lines, step)]
            note = " ".join(f"{text[0].upper()}{text[1:]}." for text in told)
            rows.append(Section(f"{numbers[step]}. {STEPS[step]}", note))
        rows.append((each.what, each.where, each.tool, expected(each, checked, plan), limit(each, checked, plan)))
    columns = (
        Column("measure"),
        Column("where and how", wraps=True),
        Column("with", wraps=True),
        Column("expected"),
        Column("limit", wraps=True),
    )
    yield Card(Table(columns, tuple(rows), "Mock-up card"), "reading")
    yield Items("After a change, do again", tuple(_again(numbers)))
    readings = tuple(_measured_lines(checked, plan))
    if readings:
        yield Items(
            "Readings go into the plan under `measured`, in place of the dots (of the deck, `down` or `up`); then ask "
            "again",
            readings,
            whole=True,
        )


def _numbers(lines: Sequence[Measurement]) -> dict[int, int]:
    """Steps that the card has, and the number that each is shown with: without gaps."""
    return {step: number for number, step in enumerate(dict.fromkeys(each.step for each in lines), 1)}


def _again(numbers: Mapping[int, int]) -> Iterator[str]:
    """What was changed, and the steps that are done again, by the numbers that the card shows."""
    for what, steps in REDO:
        shown = [numbers[step] for step in steps if step in numbers]
        if shown:
            yield f"{what}: {'steps' if len(shown) > 1 else 'step'} {runs(shown)}"


def runs(numbers: Sequence[int]) -> str:
    """Ascending numbers in few words.

    >>> runs([3, 4, 5, 6, 8, 10, 11])
    '3 to 6, 8, 10 and 11'
    """
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][-1] + 1:
            found[-1].append(number)
        else:
            found.append([number])
    told = [word for run in found for word in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run))]
    return f"{', '.join(told[:-1])} and {told[-1]}" if len(told) > 1 else "".join(told)


def _measured_lines(checked: Checked, plan: Plan) -> Iterator[str]:
    ids = {kind: part.id for kind, part in checked.combination.parts.items()}
    short = [kind for kind in ("block", "crank", "rod", "piston") if kind in ids]
    if len(short) == 4:
        named = ", ".join(f"{kind}: {yaml_text(ids[kind])}" for kind in short)
        yield f"`- {{deck: … {plan.units} (down or up) ± … {plan.units}, with: {{{named}}}}}`"
    if "head" in ids:
        yield f"`- {{chamber: … cc ± … cc, of: {yaml_text(ids['head'])}}}`"


def expected(line: Measurement, checked: Checked, plan: Plan) -> str:
    """What a reading should come out at: a figure with its worst case, or the dimension as the catalogue has it."""
    name = line.compare
    if not name:
        return line.accept or ""
    if name in FIGURES:
        value, low, high = _figure(line, checked, plan)
        if math.isnan(value):
            return "not known"
        form = _form(name, checked, plan, (value, low, high))
        if name == "deck":  # the word says what a sign might hide
            shown, least, most = (place(each, form) for each in (value, low, high))
            return shown if least == most else f"{shown} (between {least} and {most})"
        shown = form.with_unit(value)
        if FIGURES[name].bound == "low":
            return f"{form.with_unit(low)} or more"
        return shown if form.text(low) == form.text(high) else f"{shown} ({form.text(low)} to {form.text(high)})"
    kind, _, field = name.partition(".")
    if kind == "machining":
        return machining_text(checked.combination, field, plan.units).removeprefix(f"{words(field)} ")
    quantities = list(dict.fromkeys(_quantities(kind, field, checked)))
    return " + ".join(written(each, plan.units) for each in quantities) if quantities else "not known"


def written(quantity: Quantity, units: str) -> str:
    """A dimension as the card says it: lengths in the plan's units, volumes in cc, all else as it was written.

    >>> from kitwright.solver.quantity import LENGTH, parse
    >>> written(parse("59 ± 2 thou", LENGTH), "mm"), written(parse("57.00 mm", LENGTH), "in")
    ('1.499 ± 0.051 mm', '2.2441 in')
    """
    text, unit = str(quantity), {LENGTH: "mm", VOLUME: "cc"}.get(quantity.dimension)
    if unit is None or (text.endswith(f" {unit}") and (unit == "cc" or units == "mm")):
        return text
    factor = float(unit_factor(unit, quantity.dimension))
    value, spread = quantity.si / factor, quantity.tolerance / factor
    form = style(unit, [value, spread], units)
    return f"{form.text(value)} ± {form.with_unit(spread)}" if quantity.stated else form.with_unit(value)


def _figure(line: Measurement, checked: Checked, plan: Plan) -> tuple[float, float, float]:
    """A figure in the state in which it is measured, and its worst case; NaN where it is not known."""
    there = as_measured(line, checked.combination)
    value = checked.figures.get(line.compare, math.nan)
    if there == checked.combination and (FIGURES[line.compare].public or math.isfinite(value)):
        return value, *checked.spread.get(line.compare, {}).get("worst_case", (value, value))
    view = View(there, plan)
    return view.value(line.compare), *view.spread(line.compare, "worst_case")


def _quantities(kind: str, field: str, checked: Checked) -> Iterator[Quantity]:
    combination = checked.combination
    if kind == "gaskets":
        yield from (getattr(each, field) for each in combination.gaskets)
    elif (kind, field) == ("block", "bore") and combination.rebore is not None:
        yield combination.rebore
    elif kind in combination.parts:
        value = attrgetter(field)(combination.parts[kind])
        if isinstance(value, Quantity):
            yield value


def limit(line: Measurement, checked: Checked, plan: Plan) -> str:
    """What a reading has to keep: the plan's bounds, a physical rule, the part's own ±, or that nothing is known."""
    name = line.compare
    if line.accept and not name:
        return ""
    if name == "piston_travel":  # what the maker answers for is the stroke
        name = "crank.stroke"
    if name == "flywheel.max_rpm":
        return f"at least {bare(plan.rev_ceiling)} rpm" if plan.rev_ceiling is not None else MAKERS
    if name in FIGURES and as_measured(line, checked.combination) != checked.combination:
        lines = card(checked)
        again = next((each.step for each in lines if each.compare == name and each.before != line.before), None)
        return f"as it will run: step {_numbers(lines)[again]}" if again is not None else MAKERS
    if name in FIGURES:
        open_ = [_must_keep(name, plan)] if any(each.figure == name for each in checked.unworked) else []
        asked = _asked(name, checked)
        goals = [each for each in asked if each.kind == "goal"]
        if goals:
            told = []
            for each in goals:
                word = "at least" if each.limit == "min" else "at most"
                told.append(f"{word} {_bound(name, each, checked, plan)}")
            return ", ".join(dict.fromkeys([*told, *open_]))
        if asked:
            return ", ".join(dict.fromkeys(_rule_bound(each, plan) for each in asked))
        return open_[0] if open_ else CLEAR if line.clears or name in CLEARANCES else MAKERS
    if line.clears:
        return CLEAR
    kind, _, field = name.partition(".")
    if kind == "machining":
        return "as asked"
    return "within its ±" if any(each.stated for each in _quantities(kind, field, checked)) else MAKERS


def _form(name: str, checked: Checked, plan: Plan, expected: Sequence[float] | None = None) -> Style:
    """How a figure's reading is written.

    In inches what is expected and its bounds are in one unit, force in lb and pressure in psi, as such gauges read.
    ``expected`` is what is read in the state in which it is measured; without it, that of the finished build.
    """
    values: list[float | None] = [checked.figures.get(name), *checked.spread.get(name, {}).get("worst_case", ())]
    if expected is not None:
        values = list(expected)
    if plan.units == "in":
        values += [each.bound for each in _asked(name, checked)]
    gauge = ON_INCH_GAUGES.get(FIGURES[name].unit) if plan.units == "in" else None
    if gauge is not None:
        return Style(gauge, FIGURES[name].factor / float(unit_factor(*_AS_PINT[gauge])), 1)
    return figure_style(name, values, plan.units)


def _asked(name: str, checked: Checked) -> list[Limit]:
    """Limits on a figure, or on both valves' together."""
    family = {name, name.removesuffix("_intake").removesuffix("_exhaust")}
    return [each for each in checked.limits if each.figure in family and each.bound is not None]


def _bound(name: str, limit: Limit, checked: Checked, plan: Plan) -> str:
    form = _form(name, checked, plan)
    bound = limit.bound or 0.0
    return form.with_unit(bound) if form.scale != 1.0 else bound_text(limit.figure, bound, plan.units)


def _rule_bound(limit: Limit, plan: Plan) -> str:
    """What a physical rule asks: ``more than 0``."""
    bound = bound_text(limit.figure, limit.bound, plan.units) if limit.bound else "0"
    return f"{'more than' if limit.strict else 'at least'} {bound}"


def _must_keep(figure: str, plan: Plan) -> str:
    """What a physical rule that cannot be worked out asks of the reading."""
    bound = next((bound for rule, bound in rules_of(plan) if rule.figure == figure), 0.0)
    if figure in CLEARANCES:
        return f"must clear: ≥ {bound_text(figure, bound, plan.units)}" if bound else CLEAR
    if figure == "spring_yield_margin":  # what the wire bears is what nobody has said
        return MAKERS
    return f"at least {bound_text(figure, bound, plan.units) if bound else '0'}"


def shopping_blocks(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    """What is there, what is to be bought and done, what is used up, and what it comes to."""
    have: list[tuple[str, ...]] = []
    buy: list[tuple[str, ...]] = []
    missing = {each.id: each.count for each in checked.buy}
    for kind, part, count in _each(checked):
        wanted = missing.get(part.id, 0)
        if count > wanted:
            have.append((words(kind), part.id, part.name or "", str(count - wanted), ""))
        if wanted:
            price = None if part.price is None else part.price * wanted
            buy.append((words(kind), part.id, part.name or "", str(wanted), money(price)))
    machine = []
    for work in checked.combination.operations:
        owner = checked.combination.parts[OWNER[work]]
        text = machining_text(checked.combination, work, plan.units)
        machine.append((words(owner.kind), owner.id, text, "1", money(getattr(owner, work).labour)))
    rows: list[tuple[str, ...] | Section] = []
    by_whom = "By a machinist, measured before and after." if machine else ""
    for title, lines in (("Have, on the shelf", have), ("Buy", buy), ("Machine, labour", machine)):
        rows.append(Section(title, by_whom if lines is machine else ""))
        rows += lines or [("nothing", "", "", "", "")]
    columns = (
        Column("what"),
        Column("id"),
        Column("name or work", wraps=True),
        Column("count", "right"),
        Column("cost", "right"),
    )
    yield Table(columns, tuple(rows), "Have, buy, machine")
    yield Paragraph(money_line(checked))
    yield Items("Consumables, not in the sum", consumables(checked))


def _each(checked: Checked) -> Iterator[tuple[str, Part, int]]:
    combination = checked.combination
    for kind in KINDS:
        if kind == "gasket":
            for part in dict.fromkeys(combination.gaskets):
                yield kind, part, combination.gaskets.count(part)
        elif kind in combination.parts:
            yield kind, combination.parts[kind], 1
