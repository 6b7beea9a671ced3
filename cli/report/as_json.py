"""Results as JSON: unrounded, metric, keys with their units; what cannot be computed is absent."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

from kitwright.cli.report.at_speed import at_speed_data
from kitwright.cli.report.cautioned import builds_of, caution_data, moment_data
from kitwright.cli.report.notes import notes_data, notes_on
from kitwright.cli.report.verdicts import because_data, is_at_most
from kitwright.cli.report.words import exact_dimensions
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.cautions import CAUTION_GUARD, hazards
from kitwright.solver.combination import Missing
from kitwright.solver.plan import Plan
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked, Closest, Conflict, Limit, NotEstablished, Purchase, WayOut

_UNSEEN = re.compile("[\x7f-\x9f\xad\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ud800-\udfff]")


def dumped(value: Any) -> str:
    r"""JSON text; a number that is none (NaN, infinite) becomes null.

    What cannot be seen, turns text round or is half a character is written as an escape: the same text to a reader.

    >>> dumped("5 mm" + chr(0x202e))
    '"5 mm\\u202e"\n'
    """
    text = json.dumps(_clean(value), ensure_ascii=False, indent=2, allow_nan=False)
    return _UNSEEN.sub(lambda match: f"\\u{ord(match[0]):04x}", text) + "\n"


def _clean(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _clean(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_clean(each) for each in value]
    if isinstance(value, set | frozenset):
        return sorted(map(str, value))
    return value


def answer_data(answer: Answer) -> dict[str, Any]:
    """Write what ``find`` answers."""
    return {
        "plan": answer.plan.name,
        "status": answer.status,
        "combinations": [{"rank": rank, **combination_data(each)} for rank, each in enumerate(answer.combinations, 1)],
        "considered": {
            "possible": answer.considered.possible,
            "parts_out": [
                {"id": part.id, "why": part.why, **({"follows": True} if part.follows else {})}
                for part in answer.considered.parts_out
            ],
        },
        "conflict": conflict_data(answer.conflict),
        **({"proven": answer.proven} if answer.status == "incomplete" else {}),
        **moment_data(builds_of(answer), answer.plan),
        "seconds": answer.seconds,
    }


def combination_data(checked: Checked) -> dict[str, Any]:
    """One combination, as it stands in a list."""
    return {
        **verdict_data(checked),
        "closeness": checked.closeness,
        **_common(checked),
        "points": dict(checked.points),
        "steps_off": dict(checked.points),
        "holds_at_worst_case": checked.holds_at_worst_case,
        "buy": buy_data(checked.buy),
        "labour": checked.labour,
        "not_established": gaps_data(checked.not_established),
        **_revs(checked),
    }


def check_data(checked: Checked, plan: Plan, catalogue: Catalogue | None = None) -> dict[str, Any]:
    """Write what ``check`` answers."""
    return {
        "plan": plan.name,
        "fits": checked.fits,
        **verdict_data(checked),
        "closeness": checked.closeness,
        **_common(checked),
        "points": dict(checked.points),
        "steps_off": dict(checked.points),
        "spread": {
            FIGURES[name].key: {mode: list(ends) for mode, ends in modes.items()}
            for name, modes in checked.spread.items()
        },
        "limits": [limit_data(limit) for limit in checked.limits],
        "not_established": gaps_data(checked.not_established),
        "not_worked_out": [
            {"rule": each.rule, "figure": FIGURES[each.figure].key, "missing": [_missing(one) for one in each.missing]}
            for each in checked.unworked
        ],
        "holds_at_worst_case": checked.holds_at_worst_case,
        "without_tolerance": [{limit.kind: limit.name, "limit": limit.limit} for limit in checked.without_tolerance],
        **_revs(checked),
        "exact": [
            {"part": part, "field": field, "value": value}
            for part, field, value in exact_dimensions(checked.combination)
        ],
        "buy": buy_data(checked.buy),
        "labour": checked.labour,
        **at_speed_data(checked, plan),
        **notes_data(notes_on(checked, plan, catalogue)),
        **caution_data(hazards(checked, plan)),
    }


def _common(checked: Checked) -> dict[str, Any]:
    return {
        "parts": checked.combination.ids,
        "machining": checked.combination.machining,
        "figures": {
            FIGURES[name].key: int(value) if _counts(name) else value
            for name, value in checked.figures.items()
            if math.isfinite(value)
        },
    }


def _counts(name: str) -> bool:
    """Whether a figure is a number of things."""
    return not FIGURES[name].unit and FIGURES[name].step == 1.0


def _revs(checked: Checked) -> dict[str, Any]:
    if not checked.rev_limit_by:
        return {}
    return {"rev_limit_by": checked.rev_limit_by, "rev_limit_is_at_most": is_at_most(checked)}


def verdict_data(checked: Checked) -> dict[str, Any]:
    """The verdict and its reasons."""
    return {"verdict": checked.verdict, "because": because_data(checked)}


def limit_data(limit: Limit) -> dict[str, Any]:
    """Write a limit of a goal or a rule."""
    return {
        limit.kind: limit.name,
        "figure": FIGURES[limit.figure].key if limit.figure else None,
        "limit": limit.limit,
        "bound": limit.bound,
        "value": limit.value,
        "margin": limit.margin,
        "holds": limit.holds,
        **({"sentence": limit.sentence} if limit.sentence else {}),
    }


def buy_data(buy: Iterable[Purchase]) -> list[dict[str, Any]]:
    """Write what has to be bought."""
    return [{"id": each.id, "count": each.count, "price": each.price} for each in buy]


def gaps_data(gaps: Iterable[NotEstablished]) -> list[dict[str, Any]]:
    """Goals that are not established, and what is missing."""
    return [{"goal": gap.goal, "missing": [_missing(each) for each in gap.missing]} for gap in gaps]


def _missing(missing: Missing) -> dict[str, Any]:
    return {"part": missing.part, "kind": missing.kind, "field": missing.field}


def conflict_data(conflict: Conflict | None) -> dict[str, Any] | None:
    """Why nothing fits."""
    if conflict is None:
        return None
    return {
        "requirements": list(conflict.requirements),
        "because": conflict.because,
        "closest": [_closest_data(each) for each in conflict.closest],
        **({"closest_within": [_closest_data(each) for each in conflict.within]} if conflict.within else {}),
        "ways_out": [way_data(each) for each in conflict.ways_out],
    }


def way_data(way: WayOut) -> dict[str, Any]:
    """Write a change that opens an answer."""
    return {
        "requirement": way.requirement,
        "change": way.change,
        "to": way.to,
        "price": way.price,
        "loosens_guard": way.loosens_guard,
        **({"caution": CAUTION_GUARD} if way.loosens_guard else {}),
        "combination": combination_data(way.combination),
    }


def _closest_data(near: Closest) -> dict[str, Any]:
    return {
        "requirement": near.requirement,
        "figure": FIGURES[near.figure].key if near.figure in FIGURES else near.figure,
        "value": near.value,
        "combination": combination_data(near.combination),
    }
