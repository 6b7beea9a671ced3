"""The report on what ``find`` answers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.cautioned import moment_blocks
from kitwright.cli.report.nothing import nothing_report
from kitwright.cli.report.numbers import money, ranks, seconds
from kitwright.cli.report.verdicts import (
    NO_TOLERANCES,
    VERDICTS,
    WORST,
    closeness_line,
    how_many_fit,
    is_at_most,
    left_out_of_rating,
    marked,
    noted_parts,
    of_them_on_paper,
    without_tolerance_text,
)
from kitwright.cli.report.words import (
    UNKNOWN,
    WORK,
    figure_style,
    gaps,
    limit_name,
    longer,
    machining_key,
    machining_style,
    machining_text,
    missed_at_worst,
    part_names,
    tightest,
    unknown_prices,
    unproved_at_worst,
    wanted,
    words,
)
from kitwright.solver.candidates import combinations_possible
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import NONE_AT_SPEED, none_at_speed
from kitwright.solver.check import aims_of
from kitwright.solver.plan import MACHINING, REV_CEILING, Plan
from kitwright.solver.result import Answer, Checked, Considered, Limit

_REASONS = 6
"""Reasons for parts that drop out that are listed; the rest is counted."""

_IDS = 10

NOMINAL_QUENCH = (
    "Nominal sizes: a quench computed without tolerance is no clearance at speed. Ask again with "
    "`--tolerance worst_case`, and measure at mock-up."
)


@dataclass(frozen=True, slots=True)
class Question:
    """What was asked, as far as the report needs it: the words that were typed, and the catalogue."""

    plan_file: str
    plan: Plan
    typed: tuple[str, ...]
    """Options over the plan, without the parts that were pinned."""
    pinned: tuple[str, ...]
    """``KIND=ID`` that were typed."""
    catalogue: Catalogue
    top: int

    @property
    def pinned_words(self) -> tuple[str, ...]:
        """The typed pins as options."""
        return tuple(word for each in self.pinned for word in ("--use", each))


def find_report(answer: Answer, question: Question, cautions: bool = True) -> Report:
    """Everything that ``find`` has to say, as blocks; without the line of cautions where a page says them in full."""
    if answer.status == "nothing_fits":
        return nothing_report(answer, question)
    report: Report = [Title(_headline(answer, question), 1)]
    asked = wanted(answer.plan)
    if asked:
        report.append(Paragraph(f"Wanted: {'; '.join(asked)}."))
    if answer.status == "incomplete":
        report.append(Paragraph(_incomplete(answer), "bad"))
    if answer.combinations:
        common, table = combination_table(answer.combinations, answer.plan)
        if common:
            report.append(Paragraph(f"In {'all of them' if len(answer) > 1 else 'it'}: {', '.join(common)}."))
        report.append(table)
        report += moment_blocks(answer.combinations, answer.plan) if cautions else []
        report += _notes(answer)
    report.append(Paragraph(_searched(answer, question)))
    left = left_out(answer.considered, answer.plan)
    if left:
        report.append(Items("Parts that can be in no combination", tuple(left)))
    if answer.combinations:
        report.append(Command("Everything about the first", check_words(answer.combinations[0], question)))
    return report


def _headline(answer: Answer, question: Question) -> str:
    count, name = len(answer), answer.plan.name or question.plan_file
    verdicts = [each.verdict for each in answer]
    if answer.status == "incomplete":
        return f"{name}: {count} found before the search was stopped"
    if count >= question.top:
        listed = "the closest combination" if count == 1 else f"the {count} closest combinations"
        return f"{name}: {listed}{of_them_on_paper(verdicts)}"
    return f"{name}: {how_many_fit('combination', verdicts)}"


def _incomplete(answer: Answer) -> str:
    known = f" Proved so far: {answer.proven}." if answer.proven else ""
    return (
        f"Stopped after {seconds(answer.seconds)}, before the search was complete: what is listed may not be the "
        f"closest.{known}{longer(answer.stopped_by)}"
    )


def _searched(answer: Answer, question: Question) -> str:
    possible = combinations_possible(answer.considered.possible)
    text = f"Searched: {possible}; {len(answer)} listed"
    if answer.status == "incomplete":
        return f"{text}, not complete after {seconds(answer.seconds)}."
    rest = ", and no other fits" if len(answer) < question.top else f" (`--top {2 * question.top}` lists more)"
    return f"{text}{rest}; proven complete in {seconds(answer.seconds)}."


def left_out(considered: Considered, plan: Plan) -> list[str]:
    """Say why parts dropped out before the search, a line a reason; what the plan itself says is left out.

    Parts that would have a partner but for others that are out share one line: they are not the cause.
    """
    reasons: dict[str, list[str]] = {}
    own = {f"{' + '.join(ids)} is pinned" for ids in plan.use.values()} | {"avoided"}
    for part in considered.parts_out:
        if part.why not in own and not part.follows:
            reasons.setdefault(part.why, []).append(part.id)
    lines = [f"{_some(ids)}: {why}" for why, ids in reasons.items()][:_REASONS]
    followers = [part.id for part in considered.parts_out if part.follows]
    if followers:
        lines.append(f"{_some(followers)}: fit only parts that are out themselves")
    rest = sum(len(ids) for ids in list(reasons.values())[_REASONS:])
    if rest:
        lines.append(f"and {rest} more; `--format json` names them all")
    return lines


def _some(ids: Sequence[str]) -> str:
    more = f" and {len(ids) - _IDS} more" if len(ids) > _IDS else ""
    return f"{', '.join(ids[:_IDS])}{more}"


def check_words(checked: Checked, question: Question) -> tuple[str, ...]:
    """Give the ``check`` command for a combination, as short as the plan and the catalogue allow."""
    found = ["kitwright", "check", question.plan_file]
    typed = {text.partition("=")[0].strip() for text in question.pinned}
    for key, value in checked.combination.ids.items():
        kind, ids = ("gasket", value) if key == "gaskets" else (key, [value])
        settled = kind not in typed and tuple(ids) == question.plan.use.get(kind)
        alone = len(question.catalogue.of_kind(kind)) == 1 and kind not in question.plan.optional
        if settled or (alone and len(ids) == 1):
            continue
        for each in ids:
            found += ["--use", f"{kind}={each}"]
    for work in checked.combination.operations:
        key = machining_key(work)
        unit = key.rpartition("_")[2]
        found += ["--machine", f"{work}={checked.combination.machining[key]:.10g}{unit}"]
    return (*found, *question.typed)


# the table


def combination_table(combinations: Sequence[Checked], plan: Plan) -> tuple[list[str], Table]:
    """Say what all combinations have in common, and a table of where they differ."""
    common, columns, cells = _parts(combinations, plan)
    for column, texts, said_once in _figures(combinations, plan):
        if said_once and len(combinations) > 1 and len(set(texts)) == 1 and UNKNOWN not in texts[0]:
            common.append(said_once)
        else:
            columns.append(column)
            cells.append(texts)
    head = {
        Column("rank", "right", "parts"): [str(rank) for rank in range(1, len(combinations) + 1)],
        Column("verdict", group="parts"): [VERDICTS[each.verdict] for each in combinations],
        Column("closeness", "right", "parts"): [str(each.closeness) for each in combinations],
        Column("cost", "right", "parts"): [money(each.cost) for each in combinations],
    }
    held = [WORST[each.holds_at_worst_case] for each in combinations]
    if plan.tolerance == "worst_case" and set(held) == {WORST[True]}:
        pass  # every limit is judged there
    elif len(combinations) > 1 and set(held) == {NO_TOLERANCES}:
        common.append(f"worst case: {NO_TOLERANCES}")
    else:
        head[Column("worst case", group="parts")] = held
    rows = tuple(zip(*head.values(), *cells, strict=True))
    return common, Table((*head, *columns), rows, keys=1)


def _parts(combinations: Sequence[Checked], plan: Plan) -> tuple[list[str], list[Column], list[list[str]]]:
    names = [_names(each) for each in combinations]
    kinds = list(dict.fromkeys(kind for each in names for kind in each))
    alone = len(combinations) == 1
    common: list[str] = []
    columns: list[Column] = []
    cells: list[list[str]] = []
    for kind in kinds:
        texts = [each.get(kind, "none") for each in names]
        if len(set(texts)) == 1 and not (alone and kind in ("rod", "piston", "gaskets")):
            common.append(f"{words(kind)} {texts[0]}")
        else:
            columns.append(Column(words(kind), group="parts"))
            cells.append(texts)
    for work in MACHINING:
        key = machining_key(work)
        amounts = [each.combination.machining.get(key) for each in combinations]
        if not any(amounts):
            continue
        if len(set(amounts)) == 1:
            common.append(machining_text(combinations[0].combination, work, plan.units))
            continue
        shown = machining_style(work, amounts, plan.units)
        columns.append(Column(f"{WORK[work]} [{shown.unit}]", "right", "parts"))
        cells.append([shown.text(amount) or "–" for amount in amounts])
    return common, columns, cells


def _names(checked: Checked) -> dict[str, str]:
    """Ids by kind, those of parts with a note marked."""
    noted = {part for part, _ in noted_parts(checked)}
    return {kind: marked(text, noted) for kind, text in part_names(checked.combination).items()}


def _figures(combinations: Sequence[Checked], plan: Plan) -> Iterator[tuple[Column, list[str], str]]:
    """Columns of figures, their cells, and what is said once where all are the same (empty: never)."""
    aimed = aims_of(plan)
    shown = [(name, name) for name in plan.goals if name not in ("cost", "rev_limit")]
    if "quench" not in plan.goals:
        shown.append(("quench", "quench"))
    shown.append((REV_CEILING, "rev_limit"))
    for goal, figure in shown:
        values = [each.figures.get(figure) for each in combinations]
        form = figure_style(figure, values, plan.units)
        texts = []
        for each, value in zip(combinations, values, strict=True):
            open_ = any(gap.goal == goal for gap in each.not_established)
            text = f"at most {form.text(value)}" if _bounded(figure, each, value) else form.text(value)
            texts.append(f"{text} {UNKNOWN}".strip() if open_ else text or UNKNOWN)
        unit = f" [{form.unit}]" if form.unit else ""
        once = "" if goal in aimed else f"{words(figure)} {texts[0].removesuffix(UNKNOWN).strip()} {form.unit}".strip()
        if figure == "rev_limit":
            out = {", ".join(left_out_of_rating(each)) for each in combinations}
            if len(out) == 1 and "" not in out:
                once = f"{once}; without {out.pop()}"
        yield Column(f"{words(figure)}{unit}", "right", "figures"), texts, once
    spare = [_spare(each, plan) for each in combinations]
    if any(spare):
        yield Column("tightest", group="figures"), spare, ""


def _bounded(figure: str, checked: Checked, value: float | None) -> bool:
    return figure == "rev_limit" and value is not None and is_at_most(checked)


def _spare(checked: Checked, plan: Plan) -> str:
    limit = tightest(checked, plan)
    if limit is None or limit.margin is None:
        return ""
    form = figure_style(limit.figure, [limit.margin], plan.units)
    return f"{limit_name(limit)} {form.with_unit(limit.margin, sign=True)}"


# notes


def _notes(answer: Answer) -> Report:
    combinations, plan = answer.combinations, answer.plan
    notes: Report = []
    if len(combinations) == 1:
        notes.append(Paragraph(closeness_line(combinations[0])))
    notes += _noted(combinations)
    notes += _left_out_of_revs(combinations)
    missing = gaps([(rank, each.not_established) for rank, each in enumerate(combinations, 1)])
    if missing:
        notes.append(Items(f"Not established ({UNKNOWN} in the table)", tuple(missing)))
    priceless: dict[str, list[int]] = {}
    for rank, each in enumerate(combinations, 1):
        for part in unknown_prices(each):
            priceless.setdefault(part, []).append(rank)
    if priceless and "cost" not in plan.goals:
        listed = ", ".join(f"{part} (in {ranks(where)})" for part, where in priceless.items())
        notes.append(Paragraph(f"Without a price, so that the cost is open: {listed}."))
    bare: dict[str, list[int]] = {}
    for rank, each in enumerate(combinations, 1):
        if each.holds_at_worst_case is not None and each.without_tolerance:
            bare.setdefault(without_tolerance_text(each), []).append(rank)
    if bare:
        lines = tuple(f"{ranks(where)}: {names}" for names, where in bare.items())
        notes.append(Items("No tolerance is given for any size under these limits", lines))
    if plan.tolerance != "worst_case":
        notes += _at_worst_case(combinations, plan)
    if plan.tolerance == "nominal" and any("quench" in each.figures for each in combinations):
        notes.append(Paragraph(NOMINAL_QUENCH))
    notes += not_to_be_run(combinations)
    return notes


def not_to_be_run(combinations: Sequence[Checked]) -> Iterator[Items]:
    """Of listed builds, those in which the piston meets the head at the rev ceiling."""
    touching = [rank for rank, each in enumerate(combinations, 1) if none_at_speed(each)]
    if touching:
        yield Items("Not to be run at the rev ceiling", (f"{ranks(touching)}: {NONE_AT_SPEED}",))


def _at_worst_case(combinations: Sequence[Checked], plan: Plan) -> Iterator[Items]:
    """How far figures may stray over their limits; the same figures of several combinations together."""
    worst: dict[tuple[str, ...], list[int]] = {}
    for rank, each in enumerate(combinations, 1):
        if each.holds_at_worst_case is False:
            worst.setdefault(tuple(strays(missed_at_worst(each, plan), plan.units)), []).append(rank)
    unproved: dict[str, list[int]] = {}
    for rank, each in enumerate(combinations, 1):
        open_ = unproved_at_worst(each, plan) if each.holds_at_worst_case else []
        if open_:
            unproved.setdefault(", ".join(open_), []).append(rank)
    if unproved:
        lines = (f"{ranks(where)}: {names}" for names, where in unproved.items())
        yield Items("Not established with every tolerance at its worst", tuple(lines))
    if worst:
        lines = (f"{ranks(where)}: {', '.join(figures)}" for figures, where in worst.items())
        yield Items("Outside the limits with every tolerance at its worst", tuple(lines))


def _noted(combinations: Sequence[Checked]) -> Iterator[Items]:
    """The notes of the parts that are listed."""
    told = dict.fromkeys(each for checked in combinations for each in noted_parts(checked))
    if told:
        yield Items("Notes of the parts", tuple(f"{part}: {note}" for part, note in told))


def _left_out_of_revs(combinations: Sequence[Checked]) -> Iterator[Paragraph]:
    """What the rev limit does not know: kinds that are not there, and parts without a rating."""
    every = [tuple(left_out_of_rating(each)) for each in combinations]
    values = {each.figures.get("rev_limit") for each in combinations}
    said_once = len(combinations) > 1 and len(set(every)) == len(values) == 1 and None not in values  # above the table
    out = {} if said_once else dict.fromkeys(kind for kinds in every for kind in kinds)
    unrated = dict.fromkeys(one.part for each in combinations for one in each.unrated if one.part is not None)
    told = [f"no rating for {', '.join(unrated)}"] if unrated else []
    told += [f"without {', '.join(out)}"] if out else []
    if told:
        head = "No speed is proved" if values == {None} else "The rev limit is at most what it says"
        yield Paragraph(f"{head}: {'; '.join(told)}.")


def strays(limits: Sequence[Limit], units: str) -> Iterator[str]:
    """How far each figure goes beyond its limits: ``quench 0.725 to 1.275 mm``."""
    ends: dict[str, dict[str, float]] = {}
    for limit in limits:
        if limit.value is not None:
            ends.setdefault(limit.figure, {})[limit.limit] = limit.value
    for figure, sides in ends.items():
        form = figure_style(figure, sides.values(), units)
        if len(sides) == 2:
            yield f"{words(figure)} {form.text(sides['min'])} to {form.with_unit(sides['max'])}"
        else:
            side = "down to" if "min" in sides else "up to"
            yield f"{words(figure)} {side} {form.with_unit(next(iter(sides.values())))}"
