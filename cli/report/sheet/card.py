"""The mock-up card and the shopping list of one combination."""

from __future__ import annotations

import math
from collections.abc import Iterator
from operator import attrgetter

from kitwright.catalogs.write import yaml_text
from kitwright.cli.report.blocks import Column, Items, Paragraph, Section, Table
from kitwright.cli.report.checked import money_line
from kitwright.cli.report.numbers import bare, money
from kitwright.cli.report.sheet.page import Card, SheetBlock
from kitwright.cli.report.stacked import place
from kitwright.cli.report.words import bound_text, figure_style, machining_text, words
from kitwright.solver.check import View
from kitwright.solver.compose import OWNER
from kitwright.solver.mock_up import REDO, STEPS, Measurement, as_measured, card, consumables
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import Quantity
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Checked

OPEN = "not established"
"""What stands for a limit that neither the plan nor a physical rule gives."""


def mock_up_blocks(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    """The card, what is done again after a change, and where the readings go."""
    yield Paragraph(
        "Take the readings in this order and write them down with the instrument's name. A limit that is not "
        "established stands neither in the plan nor in the data: it is no pass; look it up in the maker's sheet."
    )
    rows: list[tuple[str, ...] | Section] = []
    step = 0
    for each in card(checked):
        if each.step != step:
            step = each.step
            rows.append(Section(f"{step}. {STEPS[step]}"))
        rows.append((each.what, each.where, each.tool, expected(each, checked, plan), limit(each, checked, plan)))
    columns = (
        Column("measure"),
        Column("where and how", wraps=True),
        Column("with", wraps=True),
        Column("expected"),
        Column("limit", wraps=True),
    )
    yield Card(Table(columns, tuple(rows), "Mock-up card"), "reading")
    yield Items("After a change, do again", tuple(f"{what}: steps {steps}" for what, steps in REDO))
    lines = tuple(_measured_lines(checked))
    if lines:
        yield Items(
            "Readings go into the plan under `measured`, in place of the dots; then ask again", lines, whole=True
        )


def _measured_lines(checked: Checked) -> Iterator[str]:
    ids = {kind: part.id for kind, part in checked.combination.parts.items()}
    short = [kind for kind in ("block", "crank", "rod", "piston") if kind in ids]
    if len(short) == 4:
        named = ", ".join(f"{kind}: {yaml_text(ids[kind])}" for kind in short)
        yield f"`- {{deck: … mm down ± … mm, with: {{{named}}}}}`"
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
        form = figure_style(name, [value, low, high], plan.units)
        if name == "deck":  # the word says what a sign might hide
            shown, least, most = (place(each, form) for each in (value, low, high))
            return shown if least == most else f"{shown} ({least} to {most})"
        shown = form.with_unit(value)
        if FIGURES[name].bound == "low":
            return f"{form.with_unit(low)} or more"
        return shown if form.text(low) == form.text(high) else f"{shown} ({form.text(low)} to {form.text(high)})"
    kind, _, field = name.partition(".")
    if kind == "machining":
        return machining_text(checked.combination, field, plan.units).removeprefix(f"{words(field)} ")
    quantities = list(dict.fromkeys(_quantities(kind, field, checked)))
    return " + ".join(map(str, quantities)) if quantities else "not known"


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
        return f"at least {bare(plan.rev_ceiling)} rpm" if plan.rev_ceiling is not None else OPEN
    if name in FIGURES and as_measured(line, checked.combination) != checked.combination:
        return "as it will run: step 6"
    if name in FIGURES:
        family = {name, name.removesuffix("_intake").removesuffix("_exhaust")}
        asked = [each for each in checked.limits if each.figure in family and each.bound is not None]
        goals = [each for each in asked if each.kind == "goal"]
        if goals:
            told = []
            for each in goals:
                word = "at least" if each.limit == "min" else "at most"
                told.append(f"{word} {bound_text(each.figure, each.bound or 0.0, plan.units)}")
            return ", ".join(dict.fromkeys(told))
        if asked:
            return "more than 0" if any(each.strict for each in asked) else "at least 0"
        return OPEN
    kind, _, field = name.partition(".")
    if kind == "machining":
        return "as asked"
    return "within its ±" if any(each.stated for each in _quantities(kind, field, checked)) else OPEN


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
    for title, lines in (("Have, on the shelf", have), ("Buy", buy), ("Machine, labour", machine)):
        rows.append(Section(title))
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
