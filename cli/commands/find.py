"""``kitwright find``: the combinations that fit, closest first."""

from __future__ import annotations

from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.options import one_engine
from kitwright.cli.output import STATUS, Status, check_target, deliver, guarded
from kitwright.cli.progress import Progress

EPILOG = options.examples(
    "kitwright find plan.yaml",
    "kitwright find plan.yaml --aim compression=10.5 --max cost=250",
    "kitwright find plan.yaml --tolerance worst_case --top 3",
    "kitwright find plan.yaml --trade-off",
    "kitwright find bench.yaml --engine pump",
    "kitwright find plan.yaml --format csv --output builds.csv",
)


@guarded
@options.over_the_plan()
def find(
    plan: options.PlanFile,
    settings: options.Settings,
    top: Annotated[
        int, typer.Option(min=1, metavar="N", help="How many to list.", rich_help_panel=options.RESULT)
    ] = 10,
    seconds: options.Seconds = 60.0,
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

    Where nothing fits, the answer says why, and what would open one. A plan of several engines is answered for all of
    them together: parts on the shelf are allotted among them, closest in sum.
    """
    check_target(output)
    wanted, catalogue = settings.load_asked(plan)

    from kitwright.cli.report import write_find
    from kitwright.cli.report.found import Question
    from kitwright.solver import find as search
    from kitwright.solver.plan import Bench

    if isinstance(wanted, Bench):
        if trade_off:
            raise one_engine(wanted, plan, "--trade-off")
        from kitwright.cli.report.benched import write_bench
        from kitwright.solver.bench import find_for_bench

        with Progress() as progress:
            allotted = find_for_bench(catalogue, wanted, top, seconds, progress)
        text = write_bench(allotted, form.value, settings.questions(plan, wanted, catalogue), wanted.name, top)
        deliver(text, output)
        return STATUS[allotted.status]
    question = Question(str(plan), wanted, settings.typed(), tuple(settings.use or ()), catalogue, top)
    with Progress() as progress:
        if trade_off:
            from kitwright.cli.report.traded import write_trade_off
            from kitwright.solver.trade_off import trade_off as traded

            found = traded(catalogue, wanted, seconds, progress)
            text, status = write_trade_off(found, form.value, question), found.answer.status
        else:
            answer = search(catalogue, wanted, top, seconds, progress, why=True)
            text, status = write_find(answer, form.value, question), answer.status
    deliver(text, output)
    return STATUS[status]
