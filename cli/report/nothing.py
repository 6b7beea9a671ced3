"""The report where nothing fits: why, what is closest, the ways out, what to type next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.cautioned import builds_of, moment_blocks
from kitwright.cli.report.numbers import money, seconds
from kitwright.cli.report.verdicts import is_at_most
from kitwright.cli.report.words import figure_text, machining_text, part_names, to_option, wanted, words
from kitwright.solver.candidates import combinations_possible
from kitwright.solver.combination import Combination
from kitwright.solver.compose import listing
from kitwright.solver.plan import REV_CEILING, Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked, Closest, Conflict, WayOut
from kitwright.solver.wording import requirement_words

if TYPE_CHECKING:
    from kitwright.cli.report.found import Question


GUARD_WARNING = (
    "What loosens a guard gives away room between parts, or strength, that you asked for: it stands last, and no "
    "command is offered for it. Measure at mock-up and ask a qualified machinist before you take it."
)


def nothing_report(answer: Answer, question: Question) -> Report:
    """Everything that is to be said where nothing fits, as blocks."""
    from kitwright.cli.report.found import left_out

    plan, conflict = answer.plan, answer.conflict
    report: Report = [Title(f"{plan.name or question.plan_file}: nothing fits", 1)]
    asked = wanted(plan)
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    if conflict is not None:
        report += conflict_blocks(conflict, answer)
    gone = emptied(answer, question)
    left = left_out(answer.considered, plan)
    if gone:  # what does not fit for want of these parts is not worth a word
        report.append(Items("The plan leaves nothing to choose from", tuple(gone)))
    elif left:
        report.append(Items("Parts that can be in no combination", tuple(left)))
    possible = combinations_possible(answer.considered.possible)
    report.append(Paragraph(f"Searched: {possible}; none fits, proven in {seconds(answer.seconds)}."))
    report += moment_blocks(builds_of(answer), plan)
    follow = next_command(answer, question)
    if follow is not None:
        report.append(follow)
    return report


def conflict_blocks(conflict: Conflict, answer: Answer) -> Report:
    """Why nothing fits, the closest that can be had, and the ways out."""
    plan = answer.plan
    blocks: Report = []
    if conflict.because:
        blocks.append(Paragraph(conflict.because, "bad"))
    if conflict.requirements:
        blocks.append(Items("These cannot hold together", requirement_lines(conflict.requirements, plan)))
    told = [each for each in conflict.closest if each.value is not None and each.figure in FIGURES]
    shown = [each.combination.combination for each in told]
    shown += [each.combination.combination for each in conflict.ways_out]
    common = in_common(shown)
    if common:
        blocks.append(Paragraph(f"In all that follows: {', '.join(common)}."))
    if told:
        rows = tuple(
            (
                requirement_words(plan, each.requirement),
                f"{_bounded(each)}{figure_text(each.figure or '', each.value, plan.units)}",
                with_only(each.combination.combination, common),
            )
            for each in told
        )
        columns = (Column("wanted", wraps=True), Column("best", "right"), Column("with", wraps=True))
        blocks.append(Table(columns, rows, "The closest that can be had while all the others hold"))
    if conflict.ways_out:
        ways = tuple(
            (
                str(number),
                f"{way.change} (loosens a guard)" if way.loosens_guard else way.change,
                money(way.price),
                opened(way.combination, common),
            )
            for number, way in enumerate(conflict.ways_out, 1)
        )
        heads = (
            Column("way", "right"),
            Column("change", wraps=True),
            Column("cost", "right"),
            Column("opens", wraps=True),
        )
        blocks.append(Table(heads, ways, "Ways out, cheapest first"))
        if any(way.loosens_guard for way in conflict.ways_out):
            blocks.append(Paragraph(GUARD_WARNING, "open"))
    return blocks


def requirement_lines(names: Sequence[str], plan: Plan) -> tuple[str, ...]:
    """Requirements as the plan writes them, each with what it says."""
    return tuple(f"{each}: {requirement_words(plan, each)}" for each in names)


def in_common(combinations: Sequence[Combination]) -> list[str]:
    """Parts that all of several combinations have, with their kinds; none where there is only one."""
    if len(combinations) < 2:
        return []
    names = [part_names(each) for each in combinations]
    return [f"{words(kind)} {name}" for kind, name in names[0].items() if all(each.get(kind) == name for each in names)]


def with_only(combination: Combination, common: Sequence[str]) -> str:
    """Parts and machining of a combination in one line, without those that were said before."""
    said = set(common)
    names = [name for kind, name in part_names(combination).items() if f"{words(kind)} {name}" not in said]
    return ", ".join([*names, *(machining_text(combination, each) for each in combination.operations)]) or "just these"


def opened(checked: Checked, common: Sequence[str]) -> str:
    """What a change opens, in one line, without the parts that were said before; marked where not all is proved."""
    text = with_only(checked.combination, common)
    return f"{text} (on paper)" if checked.verdict == "on_paper" else text


def _bounded(each: Closest) -> str:
    """The word before a speed that a part without a rating may not carry."""
    return "at most " if each.requirement == REV_CEILING and is_at_most(each.combination) else ""


def emptied(answer: Answer, question: Question) -> list[str]:
    """Give the kinds of which the plan itself leaves no part, and why each is out."""
    why = {
        part.id: part.why
        for part in answer.considered.parts_out
        if part.why in ("avoided", "not on the shelf") or part.why.endswith(" is pinned")
    }
    lines = []
    for kind in question.catalogue.kinds:
        reasons: dict[str, list[str]] = {}
        for part in question.catalogue.of_kind(kind):
            reasons.setdefault(why.get(part.id, ""), []).append(part.id)
        if "" not in reasons:
            said = "; ".join(f"{listing(ids)} {reason}" for reason, ids in reasons.items())
            lines.append(f"{words(kind)}: {said}")
    return lines


def next_command(answer: Answer, question: Question, command: str = "find") -> Command | None:
    """Give the command that takes the first way out that options can take, or that takes longer to find one."""
    asked = (*question.pinned_words, *question.typed)
    if answer.conflict is None:
        purpose = "To say what stands in the way takes longer"
        return Command(purpose, ("kitwright", command, question.plan_file, *asked, "--time", "600"))
    for way in answer.conflict.ways_out:
        if not way.loosens_guard and options_of((way,), answer.plan):
            return way_command((way,), question)
    return None


def way_command(ways: Sequence[WayOut], question: Question) -> Command:
    """Give the command that makes some changes together; each must have an option."""
    asked = (*question.pinned_words, *question.typed)
    added: tuple[str, ...] = ()
    for option in options_of(ways, question.plan):
        asked = _without(asked, option)
        added += option
    said = "; ".join(way.change for way in ways)
    purpose = f"The first way out that a command can take ({said})"
    return Command(purpose, ("kitwright", "find", question.plan_file, *asked, *added))


def options_of(ways: Sequence[WayOut], plan: Plan) -> list[tuple[str, ...]]:
    """Give the options that make some changes; none where one of them only the plan's file can make."""
    found = [to_option(way.requirement, way.to, plan) for way in ways]
    if not all(found):
        return []
    return [tuple(word for pair in (option or {}).items() for word in pair if word) for option in found]


def _without(asked: tuple[str, ...], option: tuple[str, ...]) -> tuple[str, ...]:
    """What was typed, less what a new option replaces: the same option, for the same goal where it names one."""
    name, value = option[0], option[1] if len(option) > 1 else ""
    kept: list[str] = []
    words = iter(asked)
    for word in words:
        if not word.startswith("--") or word != name or not value:
            kept.append(word)
            continue
        old = next(words, "")
        if "=" in value and old.partition("=")[0] != value.partition("=")[0]:
            kept += [word, old]
    return tuple(kept)
