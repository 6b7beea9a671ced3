"""The verdict on a combination, and what stands beside it: the same words, colours and data in every answer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from kitwright.cli.report.blocks import Items, Paragraph, Tone
from kitwright.cli.report.words import figure_text, gaps, limit_name, missed, words
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Plan
from kitwright.solver.result import Because, Checked, Limit, NotEstablished, VerdictName

VERDICTS: dict[VerdictName, str] = {"fits": "fits", "on_paper": "on paper", "does_not_fit": "does not fit"}
"""A verdict as it stands in a cell."""

HEADS: dict[VerdictName, str] = {
    "fits": "it fits",
    "on_paper": "it fits on paper",
    "does_not_fit": "it does not fit",
}
"""A verdict as it stands in a heading."""

TONES: dict[VerdictName, Tone] = {"fits": "good", "on_paper": "open", "does_not_fit": "bad"}
"""How a verdict is marked: green for what fits, and for nothing else."""

NO_TOLERANCES = "no tolerances given"

WORST = {True: "holds", False: "no", None: NO_TOLERANCES}
"""Whether a combination holds at worst case, as it stands in a cell."""

RATED = ("crank", "rod", "cam", "spring", "flywheel")
"""Kinds whose rating the rev limit takes in."""


def how_many_fit(thing: str, verdicts: Sequence[VerdictName]) -> str:
    """How many of a list fit, and how many on paper alone: a heading promises no more than the verdicts below it.

    >>> how_many_fit("combination", ["fits", "fits", "on_paper"]), how_many_fit("allotment", ["on_paper"])
    ('2 combinations fit, one more fits on paper', 'one allotment fits on paper')
    """
    told: list[str] = []
    for name, end in (("fits", ""), ("on_paper", " on paper")):
        count = sum(each == name for each in verdicts)
        which = "more" if told else thing if count == 1 else f"{thing}s"
        if count:
            told.append(f"{'one' if count == 1 else count} {which} {'fits' if count == 1 else 'fit'}{end}")
    return ", ".join(told)


def of_them_on_paper(verdicts: Sequence[VerdictName]) -> str:
    """What follows the number of a list's entries where some fit on paper alone; empty where none does.

    >>> of_them_on_paper(["on_paper", "on_paper"]), of_them_on_paper(["fits", "on_paper"]), of_them_on_paper(["fits"])
    (', on paper', ', one of them on paper', '')
    """
    count = sum(each == "on_paper" for each in verdicts)
    if not count:
        return ""
    return ", on paper" if count == len(verdicts) else f", {'one' if count == 1 else count} of them on paper"


def because_text(reason: Because, units: str) -> str:
    """One reason for a verdict, in words."""
    if reason.limit is not None:
        return missed(reason.limit, units)
    return gaps([(1, (NotEstablished(reason.name, reason.missing),))])[0]


def because_data(checked: Checked) -> list[dict[str, Any]]:
    """Reasons for a verdict, as data and in words; metric, as all data is."""
    return [{"code": each.code, each.about: each.name, "text": because_text(each, "mm")} for each in checked.because]


def steps_text(checked: Checked) -> str:
    """Closeness, broken down: ``22 steps off: compression 15, valve lift 6, pushrod mismatch 1``."""
    if not checked.points:
        return "nothing is aimed at"
    told = steps_by_aim(checked)
    if not told:
        return f"on every aim, to the step: {', '.join(map(words, checked.points))}"
    return f"{checked.closeness} {'step' if checked.closeness == 1 else 'steps'} off: {told}"


def steps_by_aim(checked: Checked) -> str:
    """How many steps each aim is off, most first, where the sum stands beside it: ``compression 15, valve lift 6``."""
    off = sorted(((name, count) for name, count in checked.points.items() if count), key=lambda each: -each[1])
    return ", ".join(f"{words(name)} {count}" for name, count in off)


def left_out_of_rating(checked: Checked) -> list[str]:
    """Kinds that carry a rating and are not in the combination, in words."""
    return [words(kind) for kind in KINDS if kind in RATED and kind not in checked.combination.parts]


def is_at_most(checked: Checked) -> bool:
    """Whether the rev limit is no more than an upper bound: a part without a rating, or none of its kind."""
    return bool(left_out_of_rating(checked) or checked.unrated)


def rev_limit_text(checked: Checked, units: str) -> str:
    """The rev limit, and what it does not know: ``rev limit at most 4500 rpm; without flywheel``."""
    value = checked.figures.get("rev_limit")
    out = left_out_of_rating(checked)
    unrated = [each.part for each in checked.unrated if each.part is not None]
    open_ = [f"no rating for {', '.join(unrated)}"] if unrated else []
    open_ += [f"without {', '.join(out)}"] if out else []
    if value is None:
        return "; ".join(["rev limit not established", *open_])
    at_most = "at most " if open_ else ""
    return "; ".join([f"rev limit {at_most}{figure_text('rev_limit', value, units)}", *open_])


def asked_and_physical(limits: Sequence[Limit]) -> tuple[list[Limit], list[Limit]]:
    """Limits that were asked for, and limits on what must not touch or break; fits by size are among neither."""
    asked = [each for each in limits if each.kind == "goal" or (not each.figure and each.holds is False and _own(each))]
    return asked, [each for each in limits if each.kind == "rule" and each.figure]


def _own(limit: Limit) -> bool:
    """Whether a limit without a figure is the plan's own: gaskets, machining, shelf, pins, avoided parts."""
    return limit.name.partition(".")[0] in ("gaskets", "machining", "avoid", "use", "shelf_only")


def counted(limits: Sequence[Limit]) -> str:
    """How many of some limits hold: ``5 hold``, ``4 of 5 hold, 1 not established``."""
    held = sum(each.holds is True for each in limits)
    failed = sum(each.holds is False for each in limits)
    open_ = len(limits) - held - failed
    if held == len(limits):
        return {0: "none", 1: "1 holds", 2: "both hold"}.get(held, f"all {held} hold")
    told = [f"{held} of {len(limits)} hold"]
    told += [f"{failed} missed"] if failed else []
    told += [f"{open_} not established"] if open_ else []
    return ", ".join(told)


def verdict_blocks(checked: Checked, plan: Plan, titled: bool = False) -> Iterator[Paragraph | Items]:
    """The verdict, its reasons, what was counted, and the lines that stand beside every verdict.

    ``titled``: a title has said the verdict, so that it is not said again.
    """
    asked, physical = asked_and_physical(checked.limits)
    told = [f"What you asked: {counted(asked)}." if asked else "Nothing was asked of a figure."]
    told.append(f"What must not touch or break: {counted(physical)}." if physical else "")
    if checked.unworked:
        count = len(checked.unworked)
        more = f"{count} more cannot be worked out and must be measured"
        told.append(f"{more}: {', '.join(rule_words(each.rule) for each in checked.unworked)}.")
    head = HEADS[checked.verdict]
    why = "nothing that can be worked out fails, but not everything is proved" if checked.verdict == "on_paper" else ""
    said = why if titled else ": ".join(filter(None, (head, why)))
    if said:
        yield Paragraph(f"{said[0].upper()}{said[1:]}.", TONES[checked.verdict])
    reasons = tuple(because_text(each, plan.units) for each in checked.because)
    if reasons:
        yield Items("Because" if checked.verdict == "does_not_fit" else "Not established", reasons)
    if checked.verdict == "does_not_fit":
        open_ = gaps([(1, checked.not_established)])
        if open_:
            yield Items("Not established", tuple(open_))
    yield Paragraph(" ".join(filter(None, told)))
    quench = checked.figures.get("quench")
    stands = "quench not established" if quench is None else f"quench {figure_text('quench', quench, plan.units)}"
    rev = rev_limit_text(checked, plan.units)
    by = f"; set by {checked.rev_limit_by}" if checked.rev_limit_by else ""
    yield Paragraph(f"{stands[0].upper()}{stands[1:]}. {rev[0].upper()}{rev[1:]}{by}. {closeness_line(checked)}")


def closeness_line(checked: Checked) -> str:
    """Closeness as a sentence."""
    text = steps_text(checked)
    return f"{text[0].upper()}{text[1:]}."


def rule_words(rule: str) -> str:
    """A physical rule in a few words."""
    return limit_name(Limit("rule", rule, "", "min", None, None, None))


def without_tolerance_text(checked: Checked) -> str:
    """Name the limits that rest on sizes without any ±."""
    return ", ".join(dict.fromkeys(limit_name(limit) for limit in checked.without_tolerance))


def noted_parts(checked: Checked) -> list[tuple[str, str]]:
    """Parts that carry a note: id and note."""
    return [(part.id, part.note) for part in checked.combination.different_parts if part.note]


def marked(text: str, noted: set[str]) -> str:
    """Ids as they stand in a list, those of parts with a note marked."""
    return " + ".join(f"{each} (note)" if each in noted else each for each in text.split(" + "))
