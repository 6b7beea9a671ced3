"""What stands on a build sheet: of one combination, or of the ranked list."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from kitwright.cli.report.at_speed import at_speed_blocks
from kitwright.cli.report.blocks import Block, Column, Command, Items, Paragraph, Table, Title
from kitwright.cli.report.cautioned import ranked_blocks
from kitwright.cli.report.checked import exact_text, figure_blocks, limit_blocks, money_line, parts_table, verdict
from kitwright.cli.report.found import Question, combination_table, find_report
from kitwright.cli.report.mending import mend_blocks
from kitwright.cli.report.notes import decompressor_text
from kitwright.cli.report.numbers import money
from kitwright.cli.report.sheet.card import mock_up_blocks, shopping_blocks
from kitwright.cli.report.sheet.drawing import stack_drawings
from kitwright.cli.report.sheet.page import Group, Picture, Section, Sheet, SheetBlock, Tile, Tiles
from kitwright.cli.report.sheet.plots import alternatives_plot, motion_plots, spread_plots
from kitwright.cli.report.sums import step_blocks
from kitwright.cli.report.verdicts import HEADS, is_at_most
from kitwright.cli.report.words import MODES, all_parts, figure_style, gaps, machining_text, missing_text, wanted, words
from kitwright.solver.cautions import sheet_cautions
from kitwright.solver.check import View
from kitwright.solver.mend import Mend
from kitwright.solver.notes import notes
from kitwright.solver.plan import STATISTICAL, Plan
from kitwright.solver.registry import public_figures
from kitwright.solver.result import Answer, Checked, Limit
from kitwright.solver.trace import Step, trace

_TILES = (
    "compression",
    "quench",
    "deck",
    "displacement",
    "valve_lift",
    "piston_to_valve_intake",
    "piston_to_valve_exhaust",
    "coil_bind_margin",
    "rev_limit",
    "cost",
)
"""Figures that stand at the top, where they are known, whatever the plan asks for."""

_HAND = (("Engine", ""), ("Built by", ""), ("Measured by", ""), ("Date", ""))


@dataclass(frozen=True, slots=True)
class Others:
    """The list that a combination is compared with: what the search answered, or why there is none."""

    answer: Answer | None = None
    why_not: str = ""


def _decompressor(checked: Checked, plan: Plan) -> Iterator[Paragraph]:
    found = notes(checked, plan).decompressor
    if found is not None:
        yield Paragraph(decompressor_text(found))


def build_sheet(
    checked: Checked,
    plan: Plan,
    others: Others,
    rank: int | None = None,
    mends: Mapping[Limit, tuple[Mend, ...]] | None = None,
) -> Sheet:
    """Lay out the sheet of one combination.

    One that does not fit has nothing to fill in, to tick or to buy: what would mend it stands there instead.
    """
    fits = checked.fits
    place = f"rank {rank}" if rank is not None else "as named"
    head = (
        ("Plan", plan.name or "without a name"),
        ("Build", place),
        ("Limits", MODES[plan.tolerance]),
        ("Lengths", {"mm": "millimetres", "in": "inches and thou"}[plan.units]),
        *(_HAND if fits else ()),
    )
    to_do: tuple[Section, ...] = ()
    mend: tuple[Section, ...] = ()
    if fits:
        to_do = (
            Section("shopping", "Shopping list", tuple(shopping_blocks(checked, plan))),
            Section("mock-up", "Mock-up card", tuple(mock_up_blocks(checked, plan))),
        )
    else:
        mend = (Section("mend", "What would mend it", tuple(_mends(checked, plan, mends or {}))),)
    sections = (
        Section("answer", "The answer", tuple(_answer(checked, plan))),
        *mend,
        Section("before", "Before it runs", tuple(ranked_blocks(sheet_cautions(checked), fits))),
        Section("stack", "The stack", tuple(_side_by_side(stack_drawings(checked, plan)))),
        Section("limits", "Limits and what is to spare", tuple(limit_blocks(checked, plan))),
        Section(
            "turn", "Through two turns", (*_decompressor(checked, plan), *_side_by_side(motion_plots(checked, plan)))
        ),
        Section("spread", "How far it may stray", tuple(_spread(checked, plan))),
        Section("money", "Against the others", tuple(_others(checked, others))),
        *to_do,
        Section("open", "What is not established", tuple(_open(checked, plan))),
        Section("figures", "Every figure", (*figure_blocks(checked, plan), *at_speed_blocks(checked, plan))),
        Section("sums", "The sums, line by line", tuple(_sums(checked, plan))),
    )
    title = f"{plan.name or 'Build sheet'}: {HEADS[checked.verdict]}"
    return Sheet(title, _lead(checked, plan), head, sections)


def _lead(checked: Checked, plan: Plan) -> str:
    """The parts, and before anything else what is not established."""
    parts = all_parts(checked.combination, plan.units)
    if checked.verdict != "on_paper":
        return parts
    return f"{parts}. Not established: {', '.join(words(each.goal) for each in checked.not_established)}."


def _mends(checked: Checked, plan: Plan, mends: Mapping[Limit, tuple[Mend, ...]]) -> Iterator[Block]:
    """What would mend it, as ``check`` says it."""
    found = tuple(mend_blocks(mends, checked, plan))
    yield from found
    if not found:
        yield Paragraph("No single change mends it.")


def _side_by_side(blocks: Sequence[Picture | Paragraph]) -> Iterator[SheetBlock]:
    """Pictures beside one another, the sentences on what is not drawn below."""
    pictures = tuple(each for each in blocks if isinstance(each, Picture))
    if pictures:
        yield Group("pictures", pictures)
    yield from (each for each in blocks if not isinstance(each, Picture))


def _answer(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    yield from verdict(checked, plan)
    asked = list(dict.fromkeys(goal.figure for goal in plan.goals.values()))
    shown = list(dict.fromkeys([*(name for name in asked if name in public_figures()), *_TILES]))
    yield Tiles(tuple(_tile(name, checked, plan) for name in shown if name in checked.figures))
    told = wanted(plan.but(use={}))
    if told:
        yield Paragraph(f"Wanted: {'; '.join(told)}.")
    yield parts_table(checked, plan)


def _tile(name: str, checked: Checked, plan: Plan) -> Tile:
    value = checked.figures[name]
    low, high = checked.spread.get(name, {}).get("worst_case", (value, value))
    form = figure_style(name, [value, low, high], plan.units)
    note = f"worst case {form.text(low)} to {form.text(high)}" if form.text(low) != form.text(high) else ""
    at_most = "at most " if name == "rev_limit" and is_at_most(checked) else ""
    return Tile(words(name), f"{at_most}{form.with_unit(value)}", note)


def _spread(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    plots = spread_plots(checked, plan)
    if not plots:
        yield Paragraph("Neither quench nor compression can be computed: nothing to draw.")
        return
    if any(isinstance(each, Picture) for each in plots):
        yield Paragraph(
            "Made-up builds: every dimension with a ± is drawn evenly from its range, independently of the others. "
            "What has no ± does not move. The longer line is the nominal value. Between the ends of the statistical "
            f"range, which stands with the figures, lie {STATISTICAL}."
        )
    yield from _side_by_side(plots)


def _others(checked: Checked, others: Others) -> Iterator[SheetBlock]:
    answer = others.answer
    if answer is None or not answer.combinations:
        yield Paragraph(others.why_not or "No combination fits the plan, so there is nothing to compare with.")
        return
    builds = [(str(rank), each) for rank, each in enumerate(answer.combinations, 1)]
    key = checked.combination.tie_key()
    chosen = next((name for name, each in builds if each.combination.tie_key() == key), None)
    if chosen is None:
        chosen = "this"
        builds.append((chosen, checked))
    if answer.status == "incomplete":
        yield Paragraph("The search was stopped before it was complete: others may be closer or cheaper.", "bad")
    yield from _side_by_side([alternatives_plot(builds, chosen)])
    where = "This build is not among them." if chosen == "this" else f"This build has rank {chosen}."
    yield Paragraph(f"Numbers are ranks of the list below; this build is ringed. {where}")
    common, table = combination_table(answer.combinations, answer.plan)
    if common:
        yield Paragraph(f"In {'all of them' if len(answer) > 1 else 'it'}: {', '.join(common)}.")
    yield table


def _open(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    goals = gaps([(1, checked.not_established)])
    if goals:
        yield Items("Goals that cannot be computed or proved", tuple(goals))
    else:
        yield Paragraph("Every goal of the plan can be computed and proved from the data.")
    view = View(checked.combination, plan)
    by_reason: dict[str, list[str]] = {}
    for name in public_figures():
        if name not in checked.figures:
            why = "; ".join(missing_text(view.missing(name))) or "the values given do not go together"
            by_reason.setdefault(why, []).append(words(name))
    if by_reason:
        lines = tuple(f"{', '.join(names)} — {why}" for why, names in by_reason.items())
        yield Items("Figures that cannot be worked out, and what they want for", lines)
    exact = exact_text(checked)
    if exact:
        yield Paragraph(f"Taken as exact, because no ± is given: {exact}.")


def _sums(checked: Checked, plan: Plan) -> Iterator[SheetBlock]:
    steps: dict[str, Step] = {}
    for name in checked.figures:
        for step in trace(checked.combination, plan, name):
            steps.setdefault(step.figure, step)
    yield Paragraph(
        "Every formula once, first things first; what a later one takes from an earlier one stands under its name. "
        "Nominal sizes, cold and at rest; shown to six digits, worked out with all of them."
    )
    groups = []
    for number, step in enumerate(steps.values(), 1):
        formula, table = step_blocks(number, step)
        groups.append(Group("sum", (formula, table)))
    yield Group("sums", tuple(groups))


# the ranked list


def list_sheet(answer: Answer, question: Question) -> Sheet:
    """Lay out the sheet of the ranked list."""
    plan = answer.plan
    report = find_report(answer, question, cautions=False)
    title = next(each.text for each in report if isinstance(each, Title))
    blocks = [each for each in report if not isinstance(each, Title)]
    first = answer.combinations[0]
    head = (
        ("Plan", plan.name or "without a name"),
        ("Builds", f"the {len(answer)} closest" if len(answer) > 1 else "one"),
        ("Limits", MODES[plan.tolerance]),
        ("Lengths", {"mm": "millimetres", "in": "inches and thou"}[plan.units]),
        *_HAND,
    )
    builds = [(str(rank), each) for rank, each in enumerate(answer.combinations, 1)]
    rest = tuple(each for each in blocks if not isinstance(each, Command))
    commands = tuple(each for each in blocks if isinstance(each, Command))
    sections = (
        Section("answer", "The answer", rest),
        Section("before", "Before one runs", tuple(ranked_blocks(sheet_cautions(*answer.combinations)))),
        Section("money", "Against the others", tuple(_side_by_side([alternatives_plot(builds, None)]))),
        Section("stack", "The stack of the first", tuple(_side_by_side(stack_drawings(first, plan)))),
        Section("shopping", "What is to be bought and done", tuple(_shopping(answer))),
        Section("next", "One build in full", (*_next(question), *commands)),
    )
    return Sheet(title, f"The first: {_lead(first, plan)}", head, sections)


def _shopping(answer: Answer) -> Iterator[Block]:
    rows = []
    for rank, each in enumerate(answer.combinations, 1):
        bought = ", ".join(f"{one.count} × {one.id}" if one.count > 1 else one.id for one in each.buy) or "nothing"
        work = ", ".join(
            machining_text(each.combination, one, answer.plan.units) for one in each.combination.operations
        )
        rows.append((str(rank), bought, work or "nothing", money(each.labour), money(each.cost)))
    columns = (
        Column("rank", "right"),
        Column("buy", wraps=True),
        Column("machine", wraps=True),
        Column("labour", "right"),
        Column("cost", "right"),
    )
    yield Table(columns, tuple(rows), "By build")
    if len(answer) == 1:
        yield Paragraph(money_line(answer.combinations[0]))


def _next(question: Question) -> Iterator[Block]:
    words_ = ("kitwright", "sheet", question.plan_file, *question.typed, *question.pinned_words, "--rank", "1")
    yield Command("Mock-up card, plots and sums of the first", (*words_, "--output", "first.html"))
