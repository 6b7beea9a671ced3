"""Cautions in an answer: by rank where one build is shown in full, in one line where builds are listed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from kitwright.cli.report.blocks import Items, Paragraph, Title
from kitwright.solver.cautions import Caution, moment, moment_line
from kitwright.solver.hazards import RANKS
from kitwright.solver.plan import Plan
from kitwright.solver.result import Answer, Checked, Conflict, Explanation
from kitwright.solver.stacking import StackAnswer


def caution_blocks(found: Sequence[Caution]) -> Iterator[Items | Title]:
    """Cautions beside one build, a list a rank, worst first."""
    yield Title("Before it runs")
    for rank, title in RANKS.items():
        lines = tuple(each.text for each in found if each.rank == rank)
        if lines:
            yield Items(title, lines)


def ranked_blocks(told: Mapping[str, Sequence[str]], tick: bool = True) -> Iterator[Items]:
    """Lines by the heading of their rank, each with a box to tick where that is wanted."""
    for title, lines in told.items():
        yield Items(title, tuple(lines), tick=tick)


def moment_blocks(builds: Iterable[Checked], plan: Plan) -> Iterator[Paragraph]:
    """The line on speed, cuts, welds and ground parts; nothing where none of them is in play."""
    line = moment_line(builds, plan)
    if line:
        yield Paragraph(f"{line} `check` and the sheet say what to do.")


def caution_data(found: Iterable[Caution]) -> dict[str, Any]:
    """Cautions as sentences, and as data."""
    some = list(found)
    return {
        "cautions": [each.text for each in some],
        "hazards": [
            {"rank": each.rank, "hazard": each.hazard, "text": each.text, "source": each.source} for each in some
        ],
    }


def caution_rows(found: Iterable[Caution]) -> list[dict[str, Any]]:
    """Cautions of one build, a row each."""
    return [{"what": "caution", "name": each.rank, "text": each.text} for each in found]


def moment_data(builds: Iterable[Checked], plan: Plan) -> dict[str, Any]:
    """What is said of a list of builds, as sentences and as data."""
    return caution_data(moment(builds, plan))


def moment_of_engines(engines: Iterable[tuple[Plan, Sequence[Checked]]]) -> dict[str, Any]:
    """What is said of the builds of several engines, each by its own plan, as sentences and as data."""
    return caution_data(dict.fromkeys(each for plan, builds in engines for each in moment(builds, plan)))


def builds_of(answer: Answer) -> Iterator[Checked]:
    """Every build that an answer shows: those that fit, and those that a way out would open."""
    yield from answer.combinations
    if answer.conflict is not None:
        yield from _of_conflict(answer.conflict)


def _of_conflict(conflict: Conflict) -> Iterator[Checked]:
    yield from (each.combination for each in conflict.closest)
    yield from (each.combination for each in conflict.ways_out)


def builds_explained(found: Explanation) -> Iterator[Checked]:
    """Every build that an explanation shows."""
    yield from builds_of(found.answer)
    for conflict in found.other_conflicts:
        yield from _of_conflict(conflict)
    yield from (each.combination for each in found.together)
    yield from (each.combination for each in found.parts_that_would_fit)
    yield from (each.way.combination for each in found.closer)


def builds_stacked(answer: StackAnswer) -> Iterator[Checked]:
    """Every build that the answer on stacks shows."""
    shown = (answer.best_single, answer.best_stack, *(each.combination for each in answer.singles))
    yield from (each for each in shown if each is not None)
