"""``kitwright sheet``: the build sheet of one combination, or of the ranked list."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kitwright.cli import options
from kitwright.cli.commands.check import machine_pairs, stack_of
from kitwright.cli.output import Status, check_target, deliver, guarded, on_terminal, say
from kitwright.cli.progress import Progress
from kitwright.cli.seen import joined

if TYPE_CHECKING:
    from kitwright.cli.report.found import Question
    from kitwright.cli.report.sheet.content import Others
    from kitwright.solver import Catalogue, Combination, Plan
    from kitwright.solver.result import Answer

EPILOG = options.examples(
    "kitwright sheet plan.yaml --rank 1 --output sheet.html",
    "kitwright sheet plan.yaml --output list.html",
    "kitwright sheet plan.yaml --use rod=r85 --use piston=p28 --output sheet.html",
    "kitwright sheet plan.yaml --rank 2 --output sheet.md",
    one="nothing fits, or the build misses a limit",
)

_MARKDOWN = {".md", ".markdown"}


class SheetFormat(StrEnum):
    """How a sheet is written."""

    HTML = "html"
    MARKDOWN = "markdown"


@guarded
@options.over_the_plan("use")
def sheet(
    plan: options.PlanFile,
    settings: options.Settings,
    use: options.Choices = None,
    machine: options.Machine = None,
    rank: Annotated[
        int | None,
        typer.Option(min=1, metavar="N", help="The sheet of the search's N-th combination.", show_default=False),
    ] = None,
    top: Annotated[
        int,
        typer.Option(min=1, metavar="N", help="How many to list, or to compare with.", rich_help_panel=options.RESULT),
    ] = 10,
    alone: Annotated[
        bool,
        typer.Option(
            "--alone", help="With --use: compare with nothing, and do not search.", rich_help_panel=options.RESULT
        ),
    ] = False,
    seconds: Annotated[
        float,
        typer.Option(
            "--time", min=0.0, metavar="S", help="Stop searching after so many seconds.", rich_help_panel=options.RESULT
        ),
    ] = 60.0,
    form: Annotated[
        SheetFormat | None,
        typer.Option(
            "--format",
            "-f",
            help="How the sheet is written; unless given, by FILE's ending, else html.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    output: options.OutputOption = None,
) -> Status:
    """Write the build sheet: the answer, drawings, plots, mock-up card, shopping list, sums and cautions.

    With --use or --machine it is the sheet of that combination, put together as `check` does; with --rank of one that
    the search finds; with neither of the ranked list. The HTML is one file that needs nothing beside it.
    """
    check_target(output)
    if rank is not None and machine:
        raise ValueError("--rank takes a combination as the search has it; leave out --machine, or --rank")
    written_as = form.value if form else "markdown" if output and output.suffix.lower() in _MARKDOWN else "html"
    if written_as == "html" and output is None and on_terminal(sys.stdout):
        output = _beside(plan)
    settings.use = list(use or ())
    task = _Task(plan, settings, top, seconds, written_as, output)
    if rank is None and (use or machine):
        return task.named(list(use or ()), list(machine or ()), alone)
    return task.searched(rank)


def _beside(plan: Path) -> Path:
    """Name the page in this folder that a terminal gets in place of a screenful of HTML."""
    target = Path(f"{plan.stem}-sheet.html")
    if target.exists():
        raise ValueError(f"`{target}` is there already, and is left as it is; name a file: `--output {target}`")
    return target


class _Task:
    """What was asked, on its way to a sheet."""

    def __init__(
        self, plan: Path, settings: options.Settings, top: int, seconds: float, form: str, output: Path | None
    ) -> None:
        self.plan_file, self.settings = plan, settings
        self.top, self.seconds = top, seconds
        self.form, self.output = form, output

    def _load(self, use: list[str], warn: bool = True) -> tuple[Plan, Catalogue]:
        self.settings.use = use
        return self.settings.load(self.plan_file, warn)

    def _search(self, catalogue: Catalogue, plan: Plan, top: int) -> Answer:
        from kitwright.solver import find

        with Progress() as progress:
            return find(catalogue, plan, top, self.seconds, progress)

    def named(self, use: list[str], machine: list[str], alone: bool) -> Status:
        """Write the sheet of a combination that was put together by name."""
        stack, pins = stack_of(use)
        plan, catalogue = self._load(pins)
        from kitwright.solver.compose import OpenChoiceError, compose, listing

        chosen = plan.but(use={**plan.use, "gasket": stack}) if stack else plan
        try:
            combination = compose(catalogue, chosen, machine_pairs(machine))
        except OpenChoiceError as error:
            say("kitwright: several parts would do; name one of each kind, or ask for the closest with `--rank 1`")
            say(*(f"  --use {kind}=…   {listing(ids)}" for kind, ids in error.kinds.items()))
            return Status.INPUT
        return self._one(combination, chosen, catalogue, self._others(alone))

    def _others(self, alone: bool) -> Others:
        from kitwright.cli.report.sheet.content import Others

        if alone:
            return Others(None, "Left out, as asked: nothing was searched to compare with.")
        plan, catalogue = self._load([], warn=False)
        return Others(self._search(catalogue, plan, self.top))

    def searched(self, rank: int | None) -> Status:
        """Write the sheet of the ranked list, or of one of its combinations."""
        use = list(self.settings.use or ())
        plan, catalogue = self._load(use)
        answer = self._search(catalogue, plan, max(self.top, rank or 0))
        if not answer.combinations:
            return self._nothing(answer, use)
        if rank is not None and rank > len(answer):
            from kitwright.cli.report.verdicts import how_many_fit

            count = how_many_fit("combination", [each.verdict for each in answer])
            told = count if answer.status == "complete" else f"{len(answer)} found in time"
            raise ValueError(f"--rank {rank}: {told}; the last is `--rank {len(answer)}`")
        if rank is None:
            from kitwright.cli.report.found import Question

            question = Question(str(self.plan_file), plan, self.settings.typed(), tuple(use), catalogue, self.top)
            self._write_list(answer, question)
            return Status.ANSWERED if answer.status == "complete" else Status.STOPPED
        from kitwright.cli.report.sheet.content import Others

        status = self._one(answer.combinations[rank - 1].combination, plan, catalogue, Others(answer), rank)
        return status if answer.status == "complete" else Status.STOPPED

    def _nothing(self, answer: Answer, use: list[str]) -> Status:
        if answer.status == "incomplete":
            say(
                f"kitwright: nothing was found in {self.seconds:g} s, and the search is not complete; give it more time"
            )
            return Status.STOPPED
        pins = [word for each in use for word in ("--use", each)]
        command = joined(["kitwright", "find", str(self.plan_file), *self.settings.typed(), *pins])
        say("kitwright: nothing fits, so there is no sheet; what stands in the way, and the ways out:", f"  {command}")
        return Status.NOTHING

    def _write_list(self, answer: Answer, question: Question) -> None:
        from kitwright.cli.report.sheet import written
        from kitwright.cli.report.sheet.content import list_sheet

        deliver(written(list_sheet(answer, question), self.form), self.output)

    def _one(
        self, combination: Combination, plan: Plan, catalogue: Catalogue, others: Others, rank: int | None = None
    ) -> Status:
        from kitwright.cli.report.sheet import written
        from kitwright.cli.report.sheet.content import build_sheet
        from kitwright.solver import check
        from kitwright.solver.mend import mends

        checked = check(combination, plan)
        mending = {} if checked.fits else mends(checked, plan, catalogue)
        deliver(written(build_sheet(checked, plan, others, rank, mending), self.form), self.output)
        return Status.ANSWERED if checked.fits else Status.NOTHING
