"""``kitwright check``: one combination, every figure and every limit."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated

import typer

from kitwright.cli import completion, options
from kitwright.cli.output import Status, check_target, deliver, guarded, say

DEPTH = "In depth"


class Drawn(StrEnum):
    """How dimensions are drawn within their ±."""

    RECTANGULAR = "rectangular"
    NORMAL = "normal"


EPILOG = options.examples(
    "kitwright check plan.yaml --use rod=r85 --use piston=p28 --use gasket=g05",
    "kitwright check plan.yaml --use gasket=g05 --use gasket=g10",
    "kitwright check plan.yaml --use rod=r85 --machine mill=0.25mm --format json",
    "kitwright check plan.yaml --use rod=r85 --show compression",
    "kitwright check plan.yaml --use rod=r85 --what-if mill=0.25mm",
    "kitwright check plan.yaml --use rod=r85 --samples 100000 --seed 1",
    one="a limit is missed",
)


@guarded
@options.over_the_plan("use")
def check(
    plan: options.PlanFile,
    settings: options.Settings,
    use: options.Choices = None,
    machine: options.Machine = None,
    show: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FIGURE",
            autocompletion=completion.figures,
            help="Print the sum behind a figure instead, line by line, to follow with a calculator",
            show_default=False,
        ),
    ] = None,
    what_if: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT=VALUE",
            help="What moves if this changes; again for several together: mill=0.25mm, gasket=g050, head.chamber=22cc, "
            "deck='0.3 mm down', altitude=500m, rev_ceiling=7000rpm",
            rich_help_panel=DEPTH,
            show_default=False,
        ),
    ] = None,
    steps: Annotated[
        bool,
        typer.Option(
            "--sensitivities",
            help="What each 0.01 mm (1 thou) of deck, gasket, mill … and 0.1 cc does.",
            rich_help_panel=DEPTH,
            show_default=False,
        ),
    ] = False,
    whose: Annotated[
        bool,
        typer.Option("--shares", help="Whose ± decides each figure.", rich_help_panel=DEPTH, show_default=False),
    ] = False,
    samples: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=1_000_000,
            metavar="N",
            help="Draw so many builds within the ±: how many keep every limit.",
            rich_help_panel=DEPTH,
            show_default=False,
        ),
    ] = None,
    seed: Annotated[
        int, typer.Option(min=0, metavar="S", help="Seed of the draw: the same builds again.", rich_help_panel=DEPTH)
    ] = 1,
    distribution: Annotated[
        Drawn, typer.Option(help="How a dimension lies within its ±.", rich_help_panel=DEPTH)
    ] = Drawn.RECTANGULAR,
    sigmas: Annotated[
        float,
        typer.Option(
            min=0.5,
            max=10.0,
            metavar="K",
            help="Standard deviations that a ± is, where drawn as normal.",
            rich_help_panel=DEPTH,
        ),
    ] = 3.0,
    form: options.FormatOption = options.Format.TABLE,
    output: options.OutputOption = None,
) -> Status:
    """Work out one combination: every figure, every limit with its margin, what is not established.

    A kind that is not named has to be pinned in the plan, or the catalogue holds one part of it alone.
    """
    check_target(output)
    stack, settings.use = stack_of(use or ())
    wanted, catalogue = settings.load(plan)

    from kitwright.cli.report import write_check
    from kitwright.solver import check as work_out
    from kitwright.solver.compose import OpenChoiceError, compose, listing

    if stack:  # a stack that the plan does not allow is a limit that is missed, not a mistake in the plan
        wanted = wanted.but(use={**wanted.use, "gasket": stack})
    try:
        combination = compose(catalogue, wanted, machine_pairs(machine or ()))
    except OpenChoiceError as error:
        say("kitwright: several parts would do; name one of each kind")
        say(*(f"  --use {kind}=…   {listing(ids)}" for kind, ids in error.kinds.items()))
        return Status.INPUT
    checked = work_out(combination, wanted)
    if show:
        from kitwright.cli.report import write_sums

        deliver(write_sums(checked, wanted, show, form.value), output)
        return Status.ANSWERED
    from kitwright.cli.report.depth import Depth
    from kitwright.solver.check import View
    from kitwright.solver.measure_next import measure_next
    from kitwright.solver.mend import mends
    from kitwright.solver.sampling import Distribution, sample
    from kitwright.solver.shares import shares_of
    from kitwright.solver.what_if import compare, sensitivities

    view = View(combination, wanted)
    asked = None
    if what_if:
        from kitwright.catalogs.what_if import apply_changes

        changed, then, notes = apply_changes(what_if, catalogue, wanted, combination)
        asked = compare(checked, work_out(changed, then), then, tuple(what_if), notes)
    drawn = Distribution(distribution.value, sigmas)
    depth = Depth(
        measure_next(combination, wanted),
        {} if checked.fits else mends(checked, wanted, catalogue),
        shares_of(view),
        whose,
        asked,
        sensitivities(view) if steps else None,
        sample(checked, view, samples, seed, drawn) if samples else None,
    )
    deliver(write_check(checked, wanted, form.value, catalogue, depth), output)
    final = asked.after if asked is not None else checked
    return Status.ANSWERED if final.fits else Status.NOTHING


def stack_of(use: Sequence[str]) -> tuple[tuple[str, ...], list[str]]:
    """Split what was typed as ``--use`` into the ids of the gasket stack and everything else as it was typed."""
    gaskets = [text for text in use if text.partition("=")[0].strip() == "gasket"]
    return tuple(text.partition("=")[2].strip() for text in gaskets), [text for text in use if text not in gaskets]


def machine_pairs(texts: Sequence[str]) -> dict[str, str]:
    """Give the operations that were typed as ``--machine``, each with its amount as text.

    Raises:
        ValueError: no ``WORK=AMOUNT``, or an operation twice.

    """
    found: dict[str, str] = {}
    for text in texts:
        work, equals, amount = text.partition("=")
        if not equals or not work.strip() or not amount.strip():
            raise ValueError(f"--machine {text}: write WORK=AMOUNT, such as `--machine mill=0.25mm`")
        if work.strip() in found:
            raise ValueError(f"--machine {text}: {work.strip()} is named twice")
        found[work.strip()] = amount.strip()
    return found
