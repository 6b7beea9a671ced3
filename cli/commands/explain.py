"""``kitwright explain``: which requirements fight, the closest that can be had, the ways out with their price."""

from __future__ import annotations

from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded, say_warnings

EPILOG = options.examples(
    "kitwright explain plan.yaml",
    "kitwright explain plan.yaml --max cost=0 --tolerance worst_case",
    "kitwright explain plan.yaml --format markdown --output why.md",
)


@guarded
def explain(
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
    seconds: Annotated[
        float,
        typer.Option(
            "--time", min=0.0, metavar="S", help="Stop after so many seconds.", rich_help_panel=options.RESULT
        ),
    ] = 120.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Say why nothing fits a plan, and what would: or, where something fits, which requirements bind.

    The smallest set of requirements that cannot hold together, the best that can be had of each, every single
    change that opens an answer with its price, and what a part that would fit has to measure.
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

    from kitwright.cli.report.explained import write_explanation
    from kitwright.cli.report.found import Question
    from kitwright.solver.explain import explain as explained
    from kitwright.solver.search import find, witness

    found = explained(catalogue, wanted, find, witness, seconds)
    question = Question(str(plan), wanted, settings.typed(), tuple(use or ()), catalogue, 1)
    deliver(write_explanation(found, form.value, question), output)
    if not found.complete:
        return Status.STOPPED
    return Status.ANSWERED if found.answer.combinations else Status.NOTHING
