"""``kitwright stack``: whether stacked gaskets are needed, and the decks at which that turns."""

from __future__ import annotations

from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded, say_warnings

EPILOG = options.examples(
    "kitwright stack plan.yaml",
    "kitwright stack plan.yaml --gaskets 3 --machining mill",
    "kitwright stack plan.yaml --format json --output stack.json",
    one="neither one gasket nor a stack fits",
)


@guarded
def stack(
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
    """Say whether more than one gasket is needed, with everything else free.

    The closest with one gasket and with several, what each gasket of the catalogue misses alone, and the measured
    decks at which one gasket does.
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

    from kitwright.cli.commands.find import Progress
    from kitwright.cli.report.stacked import write_stack
    from kitwright.solver.stacking import stack as asked

    progress = Progress()
    try:
        answer = asked(catalogue, wanted, seconds, progress)
    finally:
        progress.clear()
    deliver(write_stack(answer, form.value, str(plan)), output)
    return {
        "complete": Status.ANSWERED,
        "nothing_fits": Status.NOTHING,
        "incomplete": Status.STOPPED,
    }[answer.status]
