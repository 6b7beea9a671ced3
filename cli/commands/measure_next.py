"""``kitwright measure-next``: the measurement that could make another combination the best."""

from __future__ import annotations

import time
from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded, say
from kitwright.cli.progress import Progress
from kitwright.cli.seen import quoted

EPILOG = options.examples(
    "kitwright measure-next plan.yaml",
    "kitwright measure-next plan.yaml --tolerance worst_case --top 8",
    "kitwright measure-next plan.yaml --format json --output next.json",
)


@guarded
@options.over_the_plan()
def measure_next(
    plan: options.PlanFile,
    settings: options.Settings,
    top: Annotated[
        int,
        typer.Option(
            min=1,
            max=50,
            metavar="N",
            help="How many combinations of each list to look at.",
            rich_help_panel=options.RESULT,
        ),
    ] = 5,
    seconds: options.Seconds = 60.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Say which one measurement could change which combination is the best, and where it turns.

    It looks at the first combinations of the plan's list, and at the first at nominal size, which only their ± may
    keep off the list.
    """
    check_target(output)
    started = time.monotonic()
    wanted, catalogue = settings.load(plan)

    from kitwright.cli.report import write_rivals
    from kitwright.solver import find as search
    from kitwright.solver.rivals import rivalry

    def left() -> float:
        return max(seconds - (time.monotonic() - started), 0.0)

    with Progress() as progress:
        answers = [search(catalogue, wanted, top, left(), progress)]
        if wanted.tolerance != "nominal":
            answers.append(search(catalogue, wanted.but(tolerance="nominal"), top, left(), progress))
        pool = {each.combination.tie_key(): each.combination for answer in answers for each in answer.combinations}
        found = rivalry(tuple(pool.values()), wanted, left(), progress)
    if not pool:
        cut = any(answer.status == "incomplete" for answer in answers)
        say(
            "kitwright: stopped before any combination was found"
            if cut
            else "kitwright: nothing fits, not even at nominal size",
            f"  `kitwright find {quoted(str(plan))}` says why",
        )
        return Status.STOPPED if cut else Status.NOTHING
    deliver(write_rivals(found, wanted, form.value), output)
    return Status.ANSWERED if found.complete else Status.STOPPED
