"""The reports on several engines off one bench."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from kitwright.cli.report.as_csv import answer_rows, combination_row, csv_text
from kitwright.cli.report.as_json import combination_data, dumped
from kitwright.cli.report.blocks import Column, Command, Items, Paragraph, Report, Table, Title
from kitwright.cli.report.cautioned import moment_blocks, moment_of_engines
from kitwright.cli.report.checked import money_line
from kitwright.cli.report.found import Question, check_words, combination_table
from kitwright.cli.report.nothing import GUARD_WARNING
from kitwright.cli.report.numbers import money, seconds
from kitwright.cli.report.verdicts import VERDICTS, how_many_fit, of_them_on_paper
from kitwright.cli.report.words import all_parts, longer, wanted
from kitwright.solver.bench import Allotment, BenchAnswer
from kitwright.solver.bench_explain import BUDGET, BenchExplanation, BenchRequirement, BenchWay
from kitwright.solver.cautions import CAUTION_GUARD
from kitwright.solver.plan import Bench, Plan
from kitwright.solver.requirements import bound_of
from kitwright.solver.result import Answer, Checked, Considered, VerdictName
from kitwright.solver.wording import requirement_words, said

SHARING = (
    "What lies on the shelf is taken once. A part with a price may be bought again; one without a price is one thing. "
    "`check` of one engine sees the whole shelf."
)


def write_bench(answer: BenchAnswer, form: str, questions: Mapping[str, Question], name: str, top: int) -> str:
    """Write what ``find`` answers of several engines, in one of the formats."""
    if form == "json":
        return dumped(bench_data(answer))
    if form == "csv":
        return csv_text(bench_rows(answer))
    from kitwright.cli.report import laid_out

    return laid_out(bench_report(answer, questions, name, top), form)


def write_bench_explanation(found: BenchExplanation, form: str, questions: Mapping[str, Question], name: str) -> str:
    """Write what ``explain`` answers of several engines, in one of the formats."""
    if form == "json":
        return dumped(explanation_data(found))
    if form == "csv":
        return csv_text(explanation_rows(found))
    from kitwright.cli.report import laid_out

    return laid_out(explanation_report(found, questions, name), form)


# find


def bench_report(answer: BenchAnswer, questions: Mapping[str, Question], name: str, top: int) -> Report:
    """Everything that ``find`` has to say of several engines, as blocks."""
    count = len(answer)
    verdicts = [_verdict(each) for each in answer]
    closest = "the closest allotment" if count == 1 else f"the {count} closest allotments"
    listed = f"{closest}{of_them_on_paper(verdicts)}"
    heads = {
        "complete": listed if count >= top else how_many_fit("allotment", verdicts),
        "nothing_fits": "nothing fits all of them",
        "incomplete": f"{count} found before the search was stopped",
    }
    report: Report = [Title(f"{name}: {heads[answer.status]}", 1), *_asked(answer.bench)]
    if answer.allotments:
        report.append(_sums(answer))
        for engine, question in questions.items():
            report += _engine(engine, [each.engines[engine] for each in answer], question)
    report += _contested(answer)
    if answer.status == "nothing_fits":
        report += _nothing(answer, questions)
    elif answer.status == "incomplete":
        told = "in order, the closest there are" if count else "nothing"
        text = f"Stopped after {seconds(answer.seconds)}; what is listed is {told}.{longer(answer.stopped_by)}"
        report.append(Paragraph(text, "bad"))
    else:
        rest = "no other allotment fits" if count < top else f"`--top {2 * top}` lists more"
        report.append(Paragraph(f"Proven complete in {seconds(answer.seconds)}; {rest}."))
    return report


def _asked(bench: Bench) -> Iterator[Any]:
    lines = tuple(f"{engine}: {'; '.join(wanted(plan)) or 'whatever fits'}" for engine, plan in bench.engines.items())
    yield Items("Wanted", lines)
    if bench.budget is not None:
        yield Paragraph(f"All of them together may cost {money(bench.budget)}.")


def _sums(answer: BenchAnswer) -> Table:
    columns = [Column("rank", "right"), Column("closeness", "right"), Column("cost", "right")]
    columns += [Column(f"{engine}: closeness", "right") for engine in answer.bench.engines]
    rows = []
    for rank, each in enumerate(answer, 1):
        own = [str(checked.closeness) for checked in each.engines.values()]
        rows.append((str(rank), str(each.closeness), money(each.cost), *own))
    return Table(tuple(columns), tuple(rows))


def _engine(engine: str, chosen: Sequence[Any], question: Question) -> Iterator[Any]:
    yield Title(engine)
    common, table = combination_table(chosen, question.plan)
    if common:
        yield Paragraph(f"In {'all of them' if len(chosen) > 1 else 'it'}: {', '.join(common)}.")
    yield table
    yield from moment_blocks(chosen, question.plan)
    spent = money_line(chosen[0])
    yield Paragraph(f"For the first: {spent[0].lower()}{spent[1:]}")
    yield Command("Everything about the first", check_words(chosen[0], question))


def _contested(answer: BenchAnswer) -> Iterator[Any]:
    closest = {name: each.combinations[0] for name, each in answer.alone.items() if len(each)}
    if answer.contested:
        lines = []
        for part in answer.contested:
            chosen = {name: checked for name, checked in _first(answer).items() if part in _ids(checked)}
            told = [f"{name} {'buys another' if _buys(each, part) else 'gets it'}" for name, each in chosen.items()]
            lines.append(f"{part}: {', '.join(told)}" if told else part)
        yield Items("Wanted by more engines than the shelf holds", tuple(lines))
        yield Paragraph(SHARING)
    if answer.allotments and len(closest) == len(answer.alone):
        first = answer.allotments[0]
        alone = {name: each.closeness for name, each in closest.items()}
        if sum(alone.values()) != first.closeness:
            nearer = ", ".join(f"{name} {count}" for name, count in alone.items())
            yield Paragraph(f"Closeness with the whole shelf and all the money to itself: {nearer}.")


def _first(answer: BenchAnswer) -> Mapping[str, Any]:
    return answer.allotments[0].engines if answer.allotments else {}


def _ids(checked: Any) -> set[str]:
    combination = checked.combination
    return {part.id for part in (*combination.parts.values(), *combination.gaskets)}


def _buys(checked: Any, part: str) -> bool:
    return any(each.id == part for each in checked.buy)


def _nothing(answer: BenchAnswer, questions: Mapping[str, Question]) -> Iterator[Any]:
    for name in answer.hopeless:
        yield Paragraph(f"{name}: nothing fits, even with the whole shelf to itself.", "bad")
        question = questions[name]
        words = ("kitwright", "explain", question.plan_file, *question.pinned_words, *question.typed)
        yield Command("Why, and what would", words)
    if not answer.hopeless:
        yield Paragraph("Each engine has an answer alone; they have none together.", "bad")
        question = next(iter(questions.values()))
        yield Command("Why, and what would", ("kitwright", "explain", question.plan_file, *_shared_words(question)))


def _shared_words(question: Question) -> tuple[str, ...]:
    """What was typed, without the engine that stands in one engine's question."""
    typed = list(question.typed)
    if "--engine" in typed:
        at = typed.index("--engine")
        del typed[at : at + 2]
    return (*question.pinned_words, *typed)


# explain


def explanation_report(found: BenchExplanation, questions: Mapping[str, Question], name: str) -> Report:
    """Everything that ``explain`` has to say of several engines, as blocks."""
    answer = found.answer
    heads = {"complete": "something fits", "nothing_fits": "nothing fits all of them", "incomplete": "not decided"}
    paper = of_them_on_paper([_verdict(each) for each in answer.allotments[:1]])
    report: Report = [Title(f"{name}: {heads[answer.status]}{paper}", 1), *_asked(answer.bench)]
    if answer.allotments:
        first = answer.allotments[0]
        report.append(Paragraph(f"The closest allotment: closeness {first.closeness}, cost {money(first.cost)}."))
        report.append(Items("It takes", tuple(_lines(first))))
    if found.hopeless:
        report += _nothing(answer, questions)
    if found.conflict:
        lines = tuple(requirement_text(each, answer.bench) for each in found.conflict)
        report.append(Items("These cannot hold together; each one left out lets the others", lines))
    if answer.allotments:
        report += _contested(answer)
    if found.priceless:
        report.append(Paragraph(_no_price(found)))
    if found.ways:
        title = "Ways out, cheapest first" if found.conflict else "What would bring a closer allotment"
        report.append(Items(title, tuple(way_text(way, answer.bench) for way in found.ways)))
        if any(way.loosens_guard for way in found.ways):
            report.append(Paragraph(GUARD_WARNING, "open"))
        if not found.ways[0].loosens_guard:
            report.append(Items("The first of them takes", tuple(_lines(found.ways[0].allotment))))
    elif found.conflict and found.complete:
        report.append(Paragraph("No single change opens an allotment."))
    for plan, builds in _builds(answer.bench, [*answer.allotments, *(each.allotment for each in found.ways)]):
        report += (each for each in moment_blocks(builds, plan) if each not in report)
    if not found.complete:
        text = f"Stopped after {seconds(answer.seconds)}, before everything was looked at; what stands here is proven."
        report.append(Paragraph(f"{text}{longer(found.stopped_by)}", "bad"))
    if answer.allotments:
        question = next(iter(questions.values()))
        report.append(Command("All of them", ("kitwright", "find", question.plan_file, *_shared_words(question))))
    return report


def _no_price(found: BenchExplanation) -> str:
    """What a price would do for parts that ran out."""
    names = found.priceless
    if len(names) == 1:
        return f"{names[0]} ran out and has no price; with a `price` in the catalogue another could be bought."
    return f"{', '.join(names)} ran out and have no price; one with a `price` in the catalogue could be bought again."


def _lines(allotment: Allotment) -> Iterator[str]:
    for name, checked in allotment.engines.items():
        verdict = VERDICTS[checked.verdict]
        yield f"{name}: {verdict}; {all_parts(checked.combination)}; cost {money(checked.cost)}"


def _verdict(allotment: Allotment) -> VerdictName:
    """The verdict on an allotment: on paper where one of its engines is."""
    return "on_paper" if any(each.verdict == "on_paper" for each in allotment.engines.values()) else "fits"


def requirement_text(each: BenchRequirement, bench: Bench) -> str:
    """A requirement of a bench in the builder's words."""
    if each.engine:
        return f"{each.engine}: {requirement_words(bench.engines[each.engine], each.name)}"
    if each.name == BUDGET:
        return f"together at most {money(bench.budget)}"
    return f"{each.name} goes into one engine only"


def way_text(way: BenchWay, bench: Bench) -> str:
    """A way out in the builder's words, with what it comes to."""
    each = way.requirement
    if not each.engine:
        change = f"a budget of {money(way.to)}" if each.name == BUDGET else f"another {each.name}, for nothing so far"
    else:
        plan = bench.engines[each.engine]
        bound = bound_of(plan, each.name)
        told = requirement_words(plan, each.name)
        change = f"{each.engine}: without {told}"
        if bound is not None and way.to is not None:
            change = f"{each.engine}: {said(bound[0], way.to, plan.units)} in place of {told}"
    guard = " (loosens a guard)" if way.loosens_guard else ""
    return f"{change}{guard}: closeness {way.allotment.closeness}, cost {money(way.allotment.cost)}"


# JSON and CSV


def bench_data(answer: BenchAnswer) -> dict[str, Any]:
    """Write what ``find`` answers of several engines, for JSON."""
    return {
        "plan": answer.bench.name,
        "engines": list(answer.bench.engines),
        "budget": answer.bench.budget,
        "status": answer.status,
        "allotments": [{"rank": rank, **allotment_data(each)} for rank, each in enumerate(answer, 1)],
        "alone": {name: _alone(each) for name, each in answer.alone.items()},
        "contested": list(answer.contested),
        **moment_of_engines(_builds(answer.bench, answer.allotments)),
        "seconds": answer.seconds,
    }


def _builds(bench: Bench, allotments: Iterable[Allotment]) -> Iterator[tuple[Plan, list[Checked]]]:
    """Each engine's plan, and its builds in some allotments."""
    some = list(allotments)
    return ((plan, [each.engines[engine] for each in some]) for engine, plan in bench.engines.items())


def _alone(answer: Answer) -> dict[str, Any] | None:
    best = next(iter(answer.combinations), None)
    return None if best is None else {"closeness": best.closeness, "cost": best.cost}


def allotment_data(allotment: Allotment) -> dict[str, Any]:
    """Write one allotment."""
    engines = {name: combination_data(checked) for name, checked in allotment.engines.items()}
    return {"closeness": allotment.closeness, "cost": allotment.cost, "engines": engines}


def bench_rows(answer: BenchAnswer) -> tuple[list[str], list[dict[str, Any]]]:
    """One row an engine of each allotment."""
    rows: list[dict[str, Any]] = []
    for rank, each in enumerate(answer, 1):
        for engine, checked in each.engines.items():
            own = {"rank": rank, "engine": engine, "closeness": checked.closeness, **combination_row(checked)}
            rows.append(own | {"closeness_in_all": each.closeness, "cost_in_all": each.cost})
    every = [checked for each in answer for checked in each.engines.values()]
    plan = next(iter(answer.bench.engines.values()))
    header, _ = answer_rows(Answer(plan, "complete", tuple(every), Considered(0)))
    return ["rank", "engine", "closeness_in_all", "cost_in_all", *header[1:]], rows


def explanation_data(found: BenchExplanation) -> dict[str, Any]:
    """Write what ``explain`` answers of several engines, for JSON."""
    return {
        **bench_data(found.answer),
        **moment_of_engines(
            _builds(found.answer.bench, [*found.answer.allotments, *(each.allotment for each in found.ways)])
        ),
        "hopeless": list(found.hopeless),
        "without_price": list(found.priceless),
        "conflict": [{"engine": each.engine or None, "requirement": each.name} for each in found.conflict],
        "ways_out": [
            {
                "engine": way.requirement.engine or None,
                "requirement": way.requirement.name,
                "to": way.to,
                "loosens_guard": way.loosens_guard,
                **({"caution": CAUTION_GUARD} if way.loosens_guard else {}),
                "allotment": allotment_data(way.allotment),
            }
            for way in found.ways
        ],
        "complete": found.complete,
    }


def explanation_rows(found: BenchExplanation) -> tuple[list[str], list[dict[str, Any]]]:
    """One row a requirement of the conflict, a way out, an engine that nothing fits."""
    rows: list[dict[str, Any]] = [{"what": "hopeless", "engine": name} for name in found.hopeless]
    rows += [{"what": "conflict", "engine": each.engine, "requirement": each.name} for each in found.conflict]
    for way in found.ways:
        own = {"what": "way out", "engine": way.requirement.engine, "requirement": way.requirement.name, "to": way.to}
        rows.append(own | {"closeness": way.allotment.closeness, "cost": way.allotment.cost})
    return ["what", "engine", "requirement", "to", "closeness", "cost"], rows
