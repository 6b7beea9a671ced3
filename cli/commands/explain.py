"""``kitwright explain``: which requirements fight, the closest that can be had, the ways out with their price."""

from __future__ import annotations

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded

EPILOG = options.examples(
    "kitwright explain plan.yaml",
    "kitwright explain plan.yaml --max cost=0 --tolerance worst_case",
    "kitwright explain plan.yaml --format markdown --output why.md",
)


@guarded
@options.over_the_plan()
def explain(
    plan: options.PlanFile,
    settings: options.Settings,
    seconds: options.Seconds = 120.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Say why nothing fits a plan, and what would: or, where something fits, which requirements bind.

    The smallest set of requirements that cannot hold together, the best that can be had of each, every single
    change that opens an answer with its price, and what a part that would fit has to measure.
    """
    check_target(output)
    wanted, catalogue = settings.load_asked(plan)

    from kitwright.cli.progress import Progress
    from kitwright.cli.report.explained import write_explanation
    from kitwright.cli.report.found import Question
    from kitwright.solver.explain import explain as explained
    from kitwright.solver.plan import Bench
    from kitwright.solver.search import find, witness

    if isinstance(wanted, Bench):
        from kitwright.cli.report.benched import write_bench_explanation
        from kitwright.solver.bench_explain import explain_bench

        with Progress() as progress:
            told = explain_bench(catalogue, wanted, seconds, progress)
        questions = settings.questions(plan, wanted, catalogue)
        deliver(write_bench_explanation(told, form.value, questions, wanted.name), output)
        if not told.complete:
            return Status.STOPPED
        return Status.ANSWERED if len(told.answer) else Status.NOTHING
    found = explained(catalogue, wanted, find, witness, seconds)
    question = Question(str(plan), wanted, settings.typed(), tuple(settings.use or ()), catalogue, 1)
    deliver(write_explanation(found, form.value, question), output)
    if not found.complete:
        return Status.STOPPED
    return Status.ANSWERED if found.answer.combinations else Status.NOTHING
