"""``kitwright find``: the combinations that fit, closest first."""

from __future__ import annotations

import sys
import time
from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded, say_warnings

EPILOG = options.examples(
    "kitwright find plan.yaml",
    "kitwright find plan.yaml --aim compression=10.5 --max cost=250",
    "kitwright find plan.yaml --tolerance worst_case --top 3",
    "kitwright find plan.yaml --trade-off",
    "kitwright find plan.yaml --format csv --output builds.csv",
)

STATUS = {"complete": Status.ANSWERED, "nothing_fits": Status.NOTHING, "incomplete": Status.STOPPED}


@guarded
def find(
    plan: options.PlanFile,
    aim: options.Aims = None,
    minimum: options.Minima = None,
    maximum: options.Maxima = None,
    step: options.Steps = None,
    weight: options.Weights = None,
    use: options.Pins = None,
    avoid: options.Avoided = None,
    shelf_only: options.ShelfOnly = None,
    kinds: options.Kinds = None,
    optional: options.Optional = None,
    gaskets: options.Gaskets = None,
    machining: options.Machining = None,
    tolerance: options.Tolerance = None,
    units: options.UnitsOption = None,
    top: Annotated[
        int, typer.Option(min=1, metavar="N", help="How many to list.", rich_help_panel=options.RESULT)
    ] = 10,
    seconds: Annotated[
        float,
        typer.Option(
            "--time", min=0.0, metavar="S", help="Stop after so many seconds.", rich_help_panel=options.RESULT
        ),
    ] = 60.0,
    trade_off: Annotated[
        bool,
        typer.Option(
            "--trade-off",
            help="Only those that no other beats on both closeness and money.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """List the combinations of parts that fit the plan, closest first.

    Where nothing fits, the answer says why, and what would open one.
    """
    check_target(output)
    settings = options.Settings(
        aim=aim,
        minimum=minimum,
        maximum=maximum,
        step=step,
        weight=weight,
        use=use,
        avoid=avoid,
        kinds=kinds,
        optional=optional,
        machining=machining,
        shelf_only=shelf_only,
        gaskets=gaskets,
        tolerance=tolerance,
        units=units,
    )
    from kitwright.catalogs import load_plan

    wanted, catalogue = load_plan(plan, settings.overrides())
    say_warnings(catalogue.warnings, f"kitwright shelf check --plan {plan}")

    from kitwright.cli.report import write_find
    from kitwright.cli.report.found import Question
    from kitwright.solver import find as search

    progress = Progress()
    question = Question(str(plan), wanted, settings.typed(), tuple(use or ()), catalogue, top)
    if trade_off:
        from kitwright.cli.report.traded import write_trade_off
        from kitwright.solver.trade_off import trade_off as traded

        try:
            found = traded(catalogue, wanted, seconds, progress)
        finally:
            progress.clear()
        deliver(write_trade_off(found, form.value, question), output)
        return STATUS[found.answer.status]
    try:
        answer = search(catalogue, wanted, top, seconds, progress, why=True)
    finally:
        progress.clear()
    deliver(write_find(answer, form.value, question), output)
    return STATUS[answer.status]


class Progress:
    """One line on standard error that is written over and over, on a terminal and not in the first second."""

    def __init__(self) -> None:
        self.started = time.monotonic()
        self.last = 0.0
        self.shown = 0

    def __call__(self, text: str) -> None:
        """Show a line of progress, if it is time for one."""
        now = time.monotonic()
        if now - self.started < 1.0 or now - self.last < 0.1 or not sys.stderr.isatty():
            return
        self.last = now
        line = f"{now - self.started:.0f} s  {text}"[:79]
        print("\r" + line.ljust(self.shown), end="", file=sys.stderr, flush=True)
        self.shown = len(line)

    def clear(self) -> None:
        """Take the line away again."""
        if self.shown:
            print("\r" + " " * self.shown + "\r", end="", file=sys.stderr, flush=True)
            self.shown = 0
