"""How figures, limits, parts and gaps are named to people; shared by all reports."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from kitwright.cli.report.numbers import Style, bare, ranks, style
from kitwright.solver.check import implied_aims, step_of
from kitwright.solver.combination import MACHINING_UNITS, Combination, Missing
from kitwright.solver.plan import IMPLIED_AIMS, MACHINING, REV_CEILING, Goal, Plan
from kitwright.solver.registry import FIGURES, UNITS
from kitwright.solver.result import Checked, Limit, NotEstablished
from kitwright.solver.stopping import Reason
from kitwright.solver.swap import is_dimension

UNKNOWN = "?"
"""What stands in a cell whose figure cannot be computed or proved."""

HELPER_RULES = {
    "quench_positive": "piston to head",
    "clearance_volume_positive": "volume above the piston",
    "head_lift": "lift that the head takes",
    "spring_lift": "lift that the spring takes",
    "gasket_bore_to_bore": "gasket bore to bore",
    "pushrod_mismatch": "adjuster's reach",
    "spring_stress_open": "yield of the spring's wire",
    "ring_to_deck": "top ring in the bore",
    "tags": "block's tags",
}
"""Rules whose id says too little."""

WORK = {"mill": "mill", "relieve": "relieve", "deck_cut": "deck cut", "rebore": "rebore"}

_MISSING_OWNERS = {
    "plan": "the plan gives no {field}",
    "conditions": "the plan's conditions give no {field}",
    "reference": "the plan's reference gives no {field}",
    "measured": "no measured {field}",
    "machining": "no {field}",
}


def words(name: str) -> str:
    """Give a key in words: ``valve_lift`` is valve lift."""
    return name.replace("_", " ")


def unit_of(figure: str) -> str:
    """How a figure's key ends."""
    return FIGURES[figure].unit


def figure_style(figure: str, values: Iterable[float | None], units: str) -> Style:
    """How a figure's values are written."""
    return style(unit_of(figure), values, units, FIGURES[figure].step >= 1 and not unit_of(figure))


def figure_text(figure: str, value: float | None, units: str, sign: bool = False) -> str:
    """Give a figure's value with its unit."""
    return figure_style(figure, [value], units).with_unit(value, sign)


def bound_text(figure: str, bound: float, units: str) -> str:
    """Give a bound as it was asked for: with as many digits as it needs, never fewer."""
    shown = figure_style(figure, [bound], units)
    if shown.scale != 1.0:
        return shown.with_unit(bound)
    short = bare(bound)
    decimals = len(short.partition(".")[2])
    return f"{short if decimals > shown.decimals else shown.text(bound)} {shown.unit}".strip()


def wanted(plan: Plan) -> list[str]:
    """Say what a plan asks for, a phrase each."""
    phrases = [_goal(name, goal, plan.units) for name, goal in plan.goals.items() if _says(goal)]
    if plan.rev_ceiling is not None:
        phrases.append(f"rev ceiling {bare(plan.rev_ceiling)} rpm")
    if plan.use:
        pins = ", ".join(f"{words(kind)} {' + '.join(ids)}" for kind, ids in plan.use.items())
        phrases.append(f"with {pins}")
    if plan.avoid:
        phrases.append(f"without {', '.join(sorted(plan.avoid))}")
    phrases += settings(plan)
    unasked = [_unasked(name, aim, plan) for name, aim in implied_aims(plan).items()]
    if unasked:
        phrases.append(f"aimed at without being asked: {', '.join(unasked)}")
    return phrases


def _says(goal: Goal) -> bool:
    """Whether a goal asks for anything."""
    return goal.aim is not None or goal.minimum is not None or goal.maximum is not None


def _unasked(name: str, aim: float, plan: Plan) -> str:
    """An aim that nobody asked for: ``quench 0.75 mm (its min)``."""
    goal = plan.goals.get(name)
    figure = goal.figure if goal is not None else name
    side = IMPLIED_AIMS.get(figure, "")
    why = f" (its {'min' if side == 'minimum' else 'max'})" if side and goal is not None else ""
    return f"{words(name)} {bound_text(figure, aim, plan.units)}{why}"


def settings(plan: Plan) -> list[str]:
    """Say what a plan allows beside its goals, a phrase each."""
    from kitwright.solver.parts import KINDS

    phrases = []
    if plan.shelf_only:
        every = plan.shelf_only >= set(KINDS)
        kinds = "" if every else f" for {', '.join(words(kind) for kind in KINDS if kind in plan.shelf_only)}"
        phrases.append(f"from the shelf alone{kinds}")
    if plan.kinds is not None:
        looked_at = [words(kind) for kind in KINDS if kind in plan.kinds]
        dropped = [words(kind) for kind in KINDS if kind not in plan.kinds]
        if dropped and len(dropped) < len(looked_at):
            phrases.append(f"leaving out every {', '.join(dropped)}")
        elif dropped:
            phrases.append(f"looking at {', '.join(looked_at)} alone")
    if plan.gaskets > 1:
        phrases.append(f"up to {plan.gaskets} gaskets")
    if plan.machining:
        phrases.append(f"machining: {', '.join(WORK[each] for each in MACHINING if each in plan.machining)}")
    if plan.tolerance != "nominal":
        phrases.append(f"limits hold {MODES[plan.tolerance]}")
    return phrases


MODES = {
    "nominal": "at nominal size",
    "statistical": "statistically (about 92 % of builds, no guarantee)",
    "worst_case": "at worst case",
}


def _goal(name: str, goal: Goal, units: str) -> str:
    low, high, aim = goal.minimum, goal.maximum, goal.aim
    figure = goal.figure
    unit = figure_style(figure, [value for value in (low, high, aim) if value is not None], units)

    def said(value: float) -> str:
        text = bound_text(figure, value, units)
        return text.removesuffix(unit.unit).strip() if unit.unit and text.endswith(unit.unit) else text

    if low is not None and high is not None:
        limits = f"{said(low)} to {said(high)}" if low != high else said(low)
    elif low is not None:
        limits = f"at least {said(low)}"
    elif high is not None:
        limits = f"at most {said(high)}"
    else:
        limits = ""
    text = limits if aim is None else f"{said(aim)} ({limits})" if limits else f"near {said(aim)}"
    weight = f", weight {goal.weight}" if goal.weight != 1 else ""
    return f"{words(name)} {text} {unit.unit}".rstrip() + weight


def limit_name(limit: Limit) -> str:
    """Give a limit in a few words: ``quench min``, ``coil bind``."""
    if limit.kind == "rule":
        return HELPER_RULES.get(limit.name, words(limit.name.replace(".", " ")))
    if limit.name == REV_CEILING:
        return "rev ceiling"
    return f"{words(limit.name)} {limit.limit}"


def tightest(checked: Checked, plan: Plan) -> Limit | None:
    """Give the clearance, lift or ratio with the least to spare, in steps of what matters.

    Money and rated speeds stand in columns of their own, and are met or not.
    """
    known = [
        limit
        for limit in checked.limits
        if limit.figure not in ("", "cost", "rev_limit") and limit.margin is not None and limit.holds is not None
    ]
    return min(known, key=lambda limit: (limit.margin or 0.0) / step_of(limit, plan), default=None)


def missed_at_worst(checked: Checked, plan: Plan) -> list[Limit]:
    """Limits that a fitting combination would miss at the worst corner of all tolerances."""
    from kitwright.solver import check

    worst = check(checked.combination, plan.but(tolerance="worst_case"), spreads=False)
    return [limit for limit in worst.limits if limit.holds is False and limit.figure]


def unproved_at_worst(checked: Checked, plan: Plan) -> list[str]:
    """Goals that are proved as the plan takes the ±, and not at the worst corner: a bound proves, or says nothing."""
    from kitwright.solver import check

    goals = [each for each in checked.limits if each.kind == "goal" and each.holds]
    if not any(FIGURES[each.figure].bound for each in goals):
        return []
    worst = check(checked.combination, plan.but(tolerance="worst_case"), spreads=False)
    held = {(each.name, each.limit) for each in goals}
    open_ = [each for each in worst.limits if each.holds is None and (each.name, each.limit) in held]
    return list(dict.fromkeys(map(limit_name, open_)))


def missed(limit: Limit, units: str) -> str:
    """Say what a limit asks for and what is there instead."""
    name = limit_name(limit)
    if not limit.figure:
        return limit.sentence
    bound, value, margin = limit.bound, limit.value, limit.margin
    if bound is None or value is None or margin is None:
        return f"{name}: {limit.sentence}" if limit.sentence else name
    word = "at least" if limit.limit == "min" else "at most"
    shown = figure_style(limit.figure, [value, margin], units)
    by = shown.with_unit(abs(margin))
    off = f": {by} {'short' if limit.limit == 'min' else 'over'}" if by != shown.with_unit(0.0) else ""
    subject = words(limit.figure) if limit.kind == "rule" else name.removesuffix(f" {limit.limit}")
    why = f" ({limit.sentence})" if limit.sentence else ""
    asked = "more than 0" if limit.strict else f"{word} {bound_text(limit.figure, bound, units)}"
    return f"{subject} is {shown.with_unit(value)}, wanted {asked}{off}{why}"


# parts


def part_names(combination: Combination) -> dict[str, str]:
    """Kind (``gaskets`` for the stack) to the ids as they are shown."""
    return {kind: " + ".join(ids) if isinstance(ids, list) else ids for kind, ids in combination.ids.items()}


def all_parts(combination: Combination, units: str = "mm") -> str:
    """All parts and machining in one line."""
    work = [machining_text(combination, each, units) for each in combination.operations]
    return ", ".join([*part_names(combination).values(), *work])


def machining_style(work: str, values: Iterable[float | None], units: str) -> Style:
    """How amounts of one machining operation are written."""
    return style(MACHINING_UNITS[work], values, units)


def machining_key(work: str) -> str:
    """Give the key of an operation's amount, as in JSON."""
    return f"{work}_{MACHINING_UNITS[work]}"


def machining_text(combination: Combination, work: str, units: str = "mm") -> str:
    """One machining operation with its amount."""
    value = combination.machining[machining_key(work)]
    to = "to " if work == "rebore" else ""
    return f"{WORK[work]} {to}{machining_style(work, [value], units).with_unit(value)}"


# gaps


def missing_text(missing: Iterable[Missing]) -> list[str]:
    """Say what is missing, one phrase a part; of a kind of which there is no part its fields would say nothing."""
    fields: dict[tuple[str, str | None], list[str]] = {}
    phrases: list[str] = []
    for each in missing:
        if each.kind in _MISSING_OWNERS:
            phrases.append(_MISSING_OWNERS[each.kind].format(field=words(each.field)))
        else:
            fields.setdefault((each.kind, each.part), []).append(each.field)
    for (kind, part), names in fields.items():
        phrases.append(f"{words(kind)} {part} has no {', '.join(names)}" if part else f"no {words(kind)} is chosen")
    return phrases


def gaps(combinations: Sequence[tuple[int, Iterable[NotEstablished]]]) -> list[str]:
    """Say what is not established in a list of ranked combinations: a line a goal, nothing said twice."""
    by_goal: dict[str, dict[Missing | None, list[int]]] = {}
    for rank, gaps_of in combinations:
        for gap in gaps_of:
            seen = by_goal.setdefault(gap.goal, {})
            for each in gap.missing or (None,):
                seen.setdefault(each, []).append(rank)
    many = len(combinations) > 1
    lines = []
    for goal, seen in by_goal.items():
        groups: dict[tuple[int, ...], list[Missing]] = {}
        for missing, where in seen.items():
            group = groups.setdefault(tuple(dict.fromkeys(where)), [])
            if missing is not None:
                group.append(missing)
        phrases = []
        for where_all, fields in sorted(groups.items(), key=lambda each: (-len(each[0]), each[0])):
            everywhere = len(where_all) == len(combinations)
            place = "" if not many else "in all: " if everywhere else f"in {ranks(where_all)}: "
            phrases.append(place + ("; ".join(missing_text(fields)) or _unproved(goal)))
        lines.append(f"{words(goal)} — {'; '.join(phrases)}")
    return lines


def _unproved(goal: str) -> str:
    """Why a goal is not established where no field is missing."""
    figure = FIGURES.get(goal)
    return figure.proviso if figure is not None and figure.bound else "it cannot be computed"


def unknown_prices(checked: Checked) -> list[str]:
    """Ids of parts to buy whose price the catalogue does not give."""
    return [each.id for each in checked.buy if each.price is None]


def to_option(requirement: str, setting: object, plan: Plan) -> Mapping[str, str] | None:
    """Give the command-line option that makes a way out's change; None where only the plan's file can."""
    name, _, side = requirement.rpartition(".")
    figure = FIGURES.get(name)
    if figure is not None and side in ("min", "max") and isinstance(setting, int | float):
        unit = UNITS[figure.unit][1]
        return {f"--{side}": f"{name}={bare(float(setting))}{unit}".replace("−", "-")}
    if requirement == REV_CEILING and isinstance(setting, int | float):
        return {"--min": f"{REV_CEILING}={bare(float(setting))}rpm"}
    if requirement == "shelf_only":
        return {"--no-shelf-only": ""}
    if requirement.startswith("use.") and isinstance(setting, str):
        return {"--use": f"{requirement.removeprefix('use.')}={setting}"}
    if requirement == "gaskets" and isinstance(setting, int):
        return {"--gaskets": str(setting)}
    if requirement == "tolerance" and isinstance(setting, str):
        return {"--tolerance": setting}
    if requirement == "machining" and isinstance(setting, list | tuple | set | frozenset):
        allowed = plan.machining | set(map(str, setting))
        return {"--machining": ",".join(each for each in MACHINING if each in allowed)}
    return None


def exact_dimensions(combination: Combination) -> list[tuple[str, str, str]]:
    """Dimensions that count as exact because no ± is given: part, field, as it is written."""
    found = []
    for part in dict.fromkeys((*combination.parts.values(), *combination.gaskets)):
        for name, quantity in part.quantities():
            bore = combination.rebore if (part.kind, name) == ("block", "bore") else None
            shown = bore or quantity
            if not shown.stated and is_dimension(name):
                found.append((part.id, name, str(shown)))
    return found


def longer(stopped_by: Reason | None) -> str:
    """Say what would bring an answer that was stopped further, as sentences that follow others."""
    if stopped_by == "interrupt":
        return ""
    if stopped_by == "memory":
        return (
            " It was stopped because it would take more memory than it may: pinned parts (`--use`), fewer `--kinds` or "
            "`--gaskets`, or a smaller `--top` ask less at once."
        )
    return " `--time` gives it longer."
