"""What ``check`` says beyond figures and limits: mends, what to measure, what if, samples, shares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from kitwright.cli.report import measuring, mending, sampled, what_if
from kitwright.cli.report.as_csv import Row, check_rows
from kitwright.cli.report.as_json import check_data
from kitwright.cli.report.blocks import Report
from kitwright.cli.report.cautioned import caution_rows
from kitwright.cli.report.checked import check_report
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import hazards
from kitwright.solver.measure_next import MeasureNext
from kitwright.solver.mend import Mend
from kitwright.solver.plan import Plan
from kitwright.solver.result import Checked, Limit
from kitwright.solver.sampling import Sampled
from kitwright.solver.shares import Share
from kitwright.solver.what_if import Sensitivity, WhatIf


@dataclass(frozen=True, slots=True)
class Depth:
    """Answers beside the plain check; None and empty where they were not asked for, or say nothing."""

    measure: MeasureNext
    mends: Mapping[Limit, tuple[Mend, ...]] = field(default_factory=dict)
    shares: Mapping[str, tuple[Share, ...]] = field(default_factory=dict)
    show_shares: bool = False
    what_if: WhatIf | None = None
    sensitivities: tuple[Sensitivity, ...] | None = None
    sampled: Sampled | None = None


def deep_report(checked: Checked, plan: Plan, catalogue: Catalogue, depth: Depth) -> Report:
    """All that ``check`` has to say; what was asked for on top of the figures comes first."""
    if depth.what_if is not None:
        report = what_if.what_if_report(depth.what_if, plan)
        if depth.sensitivities is not None:
            report.append(what_if.sensitivity_table(depth.sensitivities, plan))
        return report
    asked: Report = []
    if depth.sampled is not None:
        asked += sampled.sampled_blocks(depth.sampled, plan)
    if depth.sampled is not None or depth.show_shares:
        asked += sampled.share_blocks(depth.shares, plan)
    if depth.sensitivities is not None:
        asked.append(what_if.sensitivity_table(depth.sensitivities, plan))
    early: Report = [
        *mending.mend_blocks(depth.mends, checked, plan),
        *measuring.next_blocks(depth.measure, checked.combination, plan),
    ]
    return check_report(checked, plan, catalogue, early, asked)


def deep_data(checked: Checked, plan: Plan, catalogue: Catalogue, depth: Depth) -> dict[str, Any]:
    """All that ``check`` answers, for JSON: the keys of the plain check, and further ones beside them."""
    data = check_data(checked, plan, catalogue)
    data["mends"] = mending.mend_data(depth.mends)
    data["measure_next"] = measuring.next_data(depth.measure, checked.combination)
    data["shares"] = sampled.share_data(depth.shares)
    if depth.what_if is not None:
        data["what_if"] = what_if.what_if_data(depth.what_if)
    if depth.sensitivities is not None:
        data["sensitivities"] = what_if.sensitivity_data(depth.sensitivities)
    if depth.sampled is not None:
        data["samples"] = sampled.sampled_data(depth.sampled)
    return data


def deep_rows(checked: Checked, plan: Plan, depth: Depth) -> tuple[list[str], list[Row]]:
    """All that ``check`` answers, one fact a row."""
    header, rows = check_rows(checked)
    rows = [
        *rows,
        *mending.mend_rows(depth.mends),
        *measuring.next_rows(depth.measure, checked.combination),
        *sampled.share_rows(depth.shares),
        *caution_rows(hazards(checked, plan)),
    ]
    if depth.what_if is not None:
        rows += what_if.what_if_rows(depth.what_if)
    if depth.sensitivities is not None:
        rows += what_if.sensitivity_rows(depth.sensitivities)
    if depth.sampled is not None:
        rows += sampled.sampled_rows(depth.sampled)
    return header, rows
