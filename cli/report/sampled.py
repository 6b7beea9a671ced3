"""The report on builds drawn at random within the tolerances, and on whose tolerance decides."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from kitwright.cli.report.as_json import limit_data
from kitwright.cli.report.blocks import Column, Paragraph, Table
from kitwright.cli.report.numbers import bare
from kitwright.cli.report.places import place_data, place_key, place_short
from kitwright.cli.report.words import bound_text, figure_style, limit_name, words
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.sampling import Distribution, Held, Sampled
from kitwright.solver.shares import Share, figures_that_matter

_SHOWN = (2.5, 50.0, 97.5)
_MOST = 4


def _percent(share: float) -> str:
    """Give a share in per cent; never 100 for less than all, nor 0 for more than none."""
    for decimals in (1, 2, 3, 4):
        text = f"{100 * share:.{decimals}f}"
        if share in (0.0, 1.0) or float(text) not in (0.0, 100.0):
            return f"{text} %"
    return f"{100 * share:.4f} %"


def distribution_text(distribution: Distribution) -> str:
    """Say how dimensions are taken to lie within their ±."""
    if distribution.shape == "rectangular":
        return "every value within a ± as likely as another (rectangular)"
    return f"heaped in the middle (normal), a ± being {bare(distribution.sigmas)} standard deviations"


def sampled_blocks(found: Sampled, plan: Plan) -> Iterator[Paragraph | Table]:
    """Shares of builds inside the limits, and percentiles."""
    yield Paragraph(
        f"Of {found.count:,} builds drawn within the ±, {_percent(found.all.share)} keep every limit "
        f"(95 % interval {_percent(found.all.low)} to {_percent(found.all.high)}).",
        "plain",
    )
    if found.alone is not None:
        yield Paragraph(_cylinders(found.cylinders, found.alone))
    uncounted = " A limit that is not established is not counted." if found.uncounted else ""
    alike = ", gaskets of one batch alike" if found.one_batch else ""
    drawn = f"Drawn with {distribution_text(found.distribution)}; every part by itself{alike}; seed {found.seed}."
    yield Paragraph(drawn + uncounted)
    columns = (Column("limit"), Column("wanted", "right"), Column("builds inside", "right"), Column("95 %", "right"))
    yield Table(columns, tuple(_limit(each, plan.units) for each in found.limits), "Builds inside each limit")
    matter = [name for name in figures_that_matter(plan) if name in found.figures]
    matter += [each.limit.figure for each in found.limits if each.limit and each.limit.figure in found.figures]
    rows = []
    for name in dict.fromkeys(matter):
        each = found.figures[name]
        form = figure_style(name, [each.percentiles[at] for at in _SHOWN], plan.units)
        rows.append((words(name), *(form.text(each.percentiles[at]) for at in _SHOWN), form.unit))
    if rows:
        heads = [f"{bare(at)} % below" if at != 50 else "middle" for at in _SHOWN]
        yield Table(
            (Column("figure"), *(Column(head, "right") for head in heads), Column("unit")),
            tuple(rows),
            "Where the builds lie",
        ).without_empty()


def _cylinders(number: int, alone: Held) -> str:
    """Say what the cylinders of an engine share, and how often one of them alone would be right."""
    every = "both" if number == 2 else f"all {number}"
    return (
        f"Cylinder by cylinder: each has its own rod, piston, rockers, springs, retainers, spring shims and pushrods; "
        f"block, crank, gaskets, head and cam are shared, and so is a measured deck. A build counts where {every} "
        f"cylinders keep every limit; one alone does in {_percent(alone.share)}."
    )


def _limit(each: Held, units: str) -> tuple[str, ...]:
    limit = each.limit
    assert limit is not None and limit.bound is not None
    sign = ">" if limit.strict else "≥" if limit.limit == "min" else "≤"
    name = words(limit.figure) if limit.kind == "rule" else limit_name(limit)
    bound = f"{sign} {bound_text(limit.figure, limit.bound, units)}"
    return name, bound, _percent(each.share), f"{_percent(each.low)} to {_percent(each.high)}"


def sampled_data(found: Sampled) -> dict[str, Any]:
    """Write what the builds show."""
    distribution: dict[str, Any] = {"shape": found.distribution.shape}
    if found.distribution.shape == "normal":
        distribution["sigmas"] = found.distribution.sigmas
    return {
        "count": found.count,
        "seed": found.seed,
        "distribution": distribution,
        "cylinders": found.cylinders,
        **_held(found.all),
        **({"one_cylinder": _held(found.alone)} if found.alone is not None else {}),
        "limits": [{**limit_data(each.limit), **_held(each)} for each in found.limits if each.limit is not None],
        "figures": {
            FIGURES[name].key: {
                "mean": each.mean,
                "deviation": each.deviation,
                "percentiles": {bare(at): value for at, value in each.percentiles.items()},
            }
            for name, each in found.figures.items()
        },
    }


def _held(each: Held) -> dict[str, Any]:
    return {"inside": each.kept, "share": each.share, "interval": [each.low, each.high]}


def sampled_rows(found: Sampled) -> list[dict[str, Any]]:
    """Write one row a limit and a figure."""
    text = f"{found.count} samples; seed {found.seed}; {found.distribution.shape}"
    rows: list[dict[str, Any]] = [{"what": "samples", "name": "every limit", "value": found.all.share, "text": text}]
    if found.alone is not None:
        row = {"what": "samples", "name": "every limit, one cylinder alone", "value": found.alone.share, "text": text}
        rows.append(row)
    for each in found.limits:
        if each.limit is not None:
            limit = each.limit
            row = {"what": "samples", "name": limit.name, "figure": FIGURES[limit.figure].key, "limit": limit.limit}
            rows.append({**row, "bound": limit.bound, "value": each.share, "text": "share of builds inside"})
    for name, strayed in found.figures.items():
        for at, value in strayed.percentiles.items():
            rows.append({"what": "percentile", "name": FIGURES[name].key, "value": value, "text": bare(at)})
    return rows


# shares


def share_blocks(found: Mapping[str, tuple[Share, ...]], plan: Plan) -> Iterator[Table]:
    """Whose ± decides each figure that is limited or aimed at."""
    rows = []
    for name, some in found.items():
        for number, each in enumerate(some[:_MOST]):
            shares = f"{100 * each.variance:.0f} %", f"{100 * each.worst_case:.0f} %"
            rows.append((words(name) if not number else "", place_short(each.place), *shares))
        if len(some) > _MOST:
            rest = some[_MOST:]
            sums = sum(each.variance for each in rest), sum(each.worst_case for each in rest)
            of_all = f"{100 * sums[0]:.0f} %", f"{100 * sums[1]:.0f} %"
            rows.append(("", f"{len(rest)} more" if len(rest) > 1 else place_short(rest[0].place), *of_all))
    if rows:
        columns = (Column("figure"), Column("±"), Column("of variance", "right"), Column("of worst case", "right"))
        yield Table(columns, tuple(rows), "Whose ± decides")


def share_data(found: Mapping[str, tuple[Share, ...]]) -> dict[str, Any]:
    """Write the shares by figure."""
    return {
        FIGURES[name].key: [
            {**place_data(each.place), "variance": each.variance, "worst_case": each.worst_case} for each in some
        ]
        for name, some in found.items()
    }


def share_rows(found: Mapping[str, tuple[Share, ...]]) -> list[dict[str, Any]]:
    """Write one row a figure and dimension."""
    return [
        {"what": "share", "name": place_key(each.place), "figure": FIGURES[name].key, "value": each.variance}
        | {"text": f"{each.worst_case!r} of worst case"}
        for name, some in found.items()
        for each in some
    ]
