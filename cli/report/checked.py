"""The report on what ``check`` answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from kitwright.cli.report.at_speed import at_speed_blocks
from kitwright.cli.report.blocks import Column, Items, Paragraph, Report, Section, Table, Title
from kitwright.cli.report.cautioned import caution_blocks
from kitwright.cli.report.notes import note_blocks, notes_on
from kitwright.cli.report.numbers import Style, money
from kitwright.cli.report.verdicts import (
    HEADS,
    TONES,
    asked_and_physical,
    counted,
    is_at_most,
    rule_words,
    verdict_blocks,
    without_tolerance_text,
)
from kitwright.cli.report.words import (
    MODES,
    UNKNOWN,
    bound_text,
    exact_dimensions,
    figure_style,
    figure_text,
    limit_name,
    machining_text,
    missed,
    missed_at_worst,
    missing_text,
    tightest,
    unproved_at_worst,
    wanted,
    words,
)
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import hazards
from kitwright.solver.check import View
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import STATISTICAL, Plan
from kitwright.solver.registry import GROUPS, public_figures
from kitwright.solver.result import Checked, Limit
from kitwright.solver.untoleranced import without_tolerances


def check_report(
    checked: Checked,
    plan: Plan,
    catalogue: Catalogue | None = None,
    early: Report | None = None,
    further: Report | None = None,
) -> Report:
    """Everything that ``check`` has to say; ``early`` stands after the verdict, ``further`` after the limits."""
    report: Report = [Title(f"{plan.name}: {HEADS[checked.verdict]}", 1, TONES[checked.verdict])]
    report += verdict(checked, plan, titled=True)
    report += early or []
    asked = wanted(plan.but(use={}))
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    report.append(parts_table(checked, plan))
    report.append(Paragraph(money_line(checked)))
    report += limit_blocks(checked, plan)
    report += further or []
    report += figure_blocks(checked, plan)
    report += at_speed_blocks(checked, plan)
    report += note_blocks(notes_on(checked, plan, catalogue), plan.units)
    exact = exact_text(checked)
    if exact:
        report.append(Paragraph(f"Taken as exact, because no ± is given: {exact}."))
    report += caution_blocks(hazards(checked, plan))
    return report


def verdict(checked: Checked, plan: Plan, titled: bool = False) -> Iterator[Paragraph | Items]:
    """Say whether it fits and why not, what is tightest, and how it stands at the worst corner of all tolerances.

    ``titled``: the title has said the verdict.
    """
    yield from verdict_blocks(checked, plan, titled)
    if not checked.fits:
        return
    spare = _spare(checked, plan)
    if spare:
        yield Paragraph(spare)
    if plan.tolerance != "worst_case":
        if checked.holds_at_worst_case is None:
            yield Paragraph("At worst case: no tolerances given, so there is no worst corner to look at.")
        elif checked.holds_at_worst_case:
            open_ = unproved_at_worst(checked, plan)
            proved = checked.verdict == "fits" and not open_
            what = "It still fits" if proved else "What can be worked out still holds"
            but = f"; not established then: {', '.join(open_)}" if open_ else ""
            yield Paragraph(f"{what} with every tolerance at its worst{but}.")
        else:
            lines = tuple(missed(limit, plan.units) for limit in missed_at_worst(checked, plan))
            yield Items("With every tolerance at its worst it does not fit", lines)
    if checked.without_tolerance and checked.holds_at_worst_case is not None:
        yield Paragraph(f"No tolerance is given for any size under: {without_tolerance_text(checked)}.")


def _spare(checked: Checked, plan: Plan) -> str:
    limit = tightest(checked, plan)
    if limit is None or limit.margin is None:
        return ""
    return f"Tightest: {limit_name(limit)}, {figure_text(limit.figure, limit.margin, plan.units)} to spare."


def parts_table(checked: Checked, plan: Plan) -> Table:
    """Give every part and every cut: where it comes from and what it costs."""
    combination = checked.combination
    buy = {each.id: each for each in checked.buy}
    rows = []
    for kind in KINDS:
        parts: Sequence[Part] = (
            combination.gaskets if kind == "gasket" else [combination.parts[kind]] if kind in combination.parts else []
        )
        for part in dict.fromkeys(parts):
            count = parts.count(part)
            times = f"{count} × " if count > 1 else ""
            missing = buy[part.id].count if part.id in buy else 0
            where = "shelf" if not missing else "to buy" if missing == count else f"{missing} to buy"
            price = money(part.price * missing if part.price is not None else None) if missing else ""
            rows.append((words(kind), times + part.id, part.name or "", where, price, part.note or ""))
    for work in combination.operations:
        owner = combination.parts["head" if work in ("mill", "relieve") else "block"]
        labour = money(getattr(owner, work).labour)
        rows.append(
            ("machining", machining_text(combination, work, plan.units), owner.id, "by a machinist", labour, "")
        )
    columns = (
        Column("part"),
        Column("id"),
        Column("name", wraps=True),
        Column("where"),
        Column("cost", "right"),
        Column("note", wraps=True),
    )
    return Table(columns, tuple(rows), "Parts").without_empty()


def money_line(checked: Checked) -> str:
    """Say in a line what is to be bought and what it comes to."""
    bought = [f"{each.count} × {each.id}" if each.count > 1 else each.id for each in checked.buy]
    if not bought and not checked.labour:
        return "Everything is on the shelf: nothing to spend."
    listed = f"To buy: {', '.join(bought)}; " if bought else ""
    labour = f"labour {money(checked.labour)}; " if checked.labour else ""
    unknown = [each.id for each in checked.buy if each.price is None]
    total = f"together {money(checked.cost)}" if not unknown else f"no price for {', '.join(unknown)}"
    told = f"{listed}{labour}{total}."
    return f"{told[0].upper()}{told[1:]}"


# limits


def limit_blocks(checked: Checked, plan: Plan) -> Iterator[Table | Paragraph]:
    """What was asked and what must not touch, apart, missed ones first; what fits by nominal size is a sentence."""
    asked, physical = asked_and_physical(checked.limits)
    mode = MODES[plan.tolerance]
    for title, limits in (("What you asked", asked), ("What must not touch or break", physical)):
        if limits:
            yield _limit_table(f"{title}, {mode}: {counted(limits)}", limits, plan)
    if checked.unworked:
        told = "; ".join(
            f"{rule_words(each.rule)} ({'; '.join(missing_text(each.missing))})" for each in checked.unworked
        )
        yield Paragraph(f"Cannot be worked out, so measure at mock-up: {told}.", "open")
    apart = [each for each in checked.limits if not each.figure and each not in asked]
    lost = [each for each in apart if each.holds is False]
    if lost:
        yield _limit_table("Parts that do not go together", lost, plan)
    fits = [limit_name(each) for each in apart if each.holds]
    if fits:
        yield Paragraph(f"Go together by nominal size: {', '.join(dict.fromkeys(fits))}.")


def _limit_table(title: str, limits: Sequence[Limit], plan: Plan) -> Table:
    order = {False: 0, None: 1, True: 2}
    columns = (
        Column("limit"),
        Column("wanted", "right"),
        Column("is", "right"),
        Column("margin", "right"),
        Column("holds"),
    )
    rows = tuple(_limit(limit, plan.units) for limit in sorted(limits, key=lambda each: order[each.holds]))
    return Table(columns, rows, title).without_empty()


def _limit(limit: Limit, units: str) -> tuple[str, ...]:
    holds = {True: "yes", False: "NO", None: "not established"}[limit.holds]
    if not limit.figure:
        return limit_name(limit), "", "", "", holds
    values = [each for each in (limit.value, limit.margin) if each is not None]
    form = figure_style(limit.figure, values, units)
    bound = ""
    if limit.bound is not None:
        sign = ">" if limit.strict else "≥" if limit.limit == "min" else "≤"
        bound = f"{sign} {bound_text(limit.figure, limit.bound, units)}"
    name = limit_name(limit) if limit.kind == "rule" else words(limit.name)
    value, margin = limit.value, limit.margin
    shown = form.with_unit(value) if value is not None else UNKNOWN
    return name, bound, shown, form.with_unit(margin, sign=True) if margin is not None else "", holds


# figures


def figure_blocks(checked: Checked, plan: Plan) -> Iterator[Table | Paragraph]:
    """Give every figure with its ranges, by group, and what the ranges are."""
    entries = public_figures()
    silent = without_tolerances(checked, View(checked.combination, plan))
    rows: list[tuple[str, ...] | Section] = []
    ranged = False
    for group in GROUPS:
        names = [name for name in checked.figures if entries[name].group == group]
        if not names:
            continue
        rows.append(Section(group))
        rows += [_figure(name, checked, plan.units, name in silent) for name in names]
        ranged |= any(low != high for name in names for low, high in checked.spread.get(name, {}).values())
    if not ranged:
        rows = [each if isinstance(each, Section) else each[:3] for each in rows]
    ranges = (Column("worst case", "right"), Column("statistical", "right")) if ranged else ()
    columns = (Column("figure"), Column("value", "right"), Column("unit"), *ranges)
    yield Table(columns, tuple(rows), "Figures").without_empty()
    if ranged:
        yield Paragraph(f"Statistical: each ± on its own, root of the sum of squares. It covers {STATISTICAL}.")
    elif silent and checked.spread:
        yield Paragraph(f"No figure has a range: {NO_TOLERANCES}.")


NO_TOLERANCES = "no tolerances given"


def _figure(name: str, checked: Checked, units: str, silent: bool) -> tuple[str, ...]:
    value = checked.figures[name]
    spread = checked.spread.get(name, {})
    ends = [end for pair in spread.values() for end in pair]
    form = figure_style(name, [value, *ends], units)
    ranges = [_range(spread.get(mode), form) for mode in ("worst_case", "statistical")]
    if silent and spread:
        ranges = [NO_TOLERANCES, ""]
    shown = "rev limit, at most" if name == "rev_limit" and is_at_most(checked) else words(name)
    return shown, form.text(value), form.unit, *ranges


def _range(ends: tuple[float, float] | None, form: Style) -> str:
    if ends is None:
        return ""
    low, high = map(form.text, ends)
    return f"{low} to {high}" if low != high else ""


def exact_text(checked: Checked) -> str:
    """Name the dimensions that count as exact, part by part; empty where there are none."""
    fields: dict[str, list[str]] = {}
    for part, field, _ in exact_dimensions(checked.combination):
        fields.setdefault(part, []).append(words(field).replace(".", " "))
    return "; ".join(f"{part} {_listed(names)}" for part, names in fields.items())


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
