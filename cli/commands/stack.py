"""``kitwright stack``: whether stacked gaskets are needed, and the decks at which that turns."""

from __future__ import annotations

from kitwright.cli import options
from kitwright.cli.output import STATUS, Status, check_target, deliver, guarded
from kitwright.cli.progress import Progress

EPILOG = options.examples(
    "kitwright stack plan.yaml",
    "kitwright stack plan.yaml --gaskets 3 --machining mill",
    "kitwright stack plan.yaml --format json --output stack.json",
    one="neither one gasket nor a stack fits",
)


@guarded
@options.over_the_plan()
def stack(
    plan: options.PlanFile,
    settings: options.Settings,
    seconds: options.Seconds = 120.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Say whether more than one gasket is needed, with everything else free.

    The closest with one gasket and with several, what each gasket of the catalogue misses alone, and the measured
    decks at which one gasket does.
    """
    check_target(output)
    wanted, catalogue = settings.load(plan)

    from kitwright.cli.report.stacked import write_stack
    from kitwright.solver.stacking import stack as asked

    with Progress() as progress:
        answer = asked(catalogue, wanted, seconds, progress)
    deliver(write_stack(answer, form.value, str(plan)), output)
    return STATUS[answer.status]
