"""The goals of a plan: figures with their limits, aims, steps and weights."""

from __future__ import annotations

import re
from collections.abc import Mapping

from kitwright.catalogs.nodes import Node, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.problems import Problem, clip, did_you_mean, nearest
from kitwright.catalogs.values import read_flag, read_quantity
from kitwright.solver.fields import FieldSpec
from kitwright.solver.plan import REV_CEILING, Goal
from kitwright.solver.quantity import ROTATION, QuantityError, parse
from kitwright.solver.registry import UNITS, Figure, public_figures

BOUNDS = {
    "aim": "ranks: the nearer, the earlier; `none` where a limit is not to be its own aim",
    "min": "limit: what is below it is not listed",
    "max": "limit: what is above it is not listed",
    "step": "the smallest difference that matters",
    "weight": "how much a step counts beside the other figures'; 1 unless given",
    "guard": "whether its limits keep parts apart or in one piece: what loosens one is told last, with a caution",
}
"""Keys of a goal and what each does."""

UNAIMED = "none"
"""What ``aim`` says where nothing is aimed at: the limit that would stand in for an aim does not."""

HEAVIEST = 999_999
"""The greatest weight that a goal may have."""

FURTHEST = 1e9
"""The greatest bound, aim or step, in the figure's unit: further than any engine, and small enough for the solver."""

SPEED = FieldSpec("rev ceiling", "quantity", "speed that every part must carry", True, ROTATION, 500, 30_000)


def read_goals(node: Node | None, problems: list[Problem]) -> tuple[dict[str, Goal], float | None]:
    """Goals by figure, and the rev ceiling in rpm."""
    if node is None or is_absent(node):
        return {}, None
    if not isinstance(node, Table):
        suggestion = "write `goals:` and below it `compression: {min: 9.0, max: 10.0}`, say"
        problems.append(fault(node, f"{in_words(node)} was read, and a mapping is wanted", suggestion, name="goals"))
        return {}, None
    figures = figures_by_goal()
    goals: dict[str, Goal] = {}
    ceiling = None
    for name, wanted in node.entries.items():
        where = f"goals.{name}"
        if name == REV_CEILING:
            ceiling = _ceiling(wanted, node.place(name), problems)
        elif name not in figures:
            problems.append(Problem(*no_figure(name, figures), *node.place(name), field=clip(where)))
        else:
            goal = _goal(figures[name], wanted, node.place(name), problems)
            if goal is not None:
                goals[name] = goal
    return goals, ceiling


def figures_by_goal() -> Mapping[str, Figure]:
    """Every figure that can be a goal, by its key there."""
    # Formulas bring numpy in, which a catalogue alone does not need.
    import kitwright.solver.formulas  # noqa: F401

    return public_figures()


def no_figure(name: str, figures: Mapping[str, Figure]) -> tuple[str, str]:
    """Message and suggestion for a name that is no figure's."""
    message = f"`{clip(name)}` is no figure"
    for figure in figures.values():
        if name == figure.key:
            return message, f"the goal key is `{figure.name}`; the unit stands with the value"
    bare = re.sub(r"_(mm2?|cc|rpm|m_s2?|g|g_mm|N|kPa|MPa|Hz|deg|in)$", "", name)
    known = [*figures, REV_CEILING]
    if bare in known:
        return message, f"the goal key is `{bare}`; the unit stands with the value"
    if nearest(name, known):
        return message, did_you_mean(name, known)
    alike = [
        each for each in known if any(word in each for word in re.split(r"[\s_-]+", name.lower()) if len(word) > 3)
    ]
    listed = f": {', '.join(alike[:6])}" if alike else ""
    return message, f"`kitwright figures` lists them all{listed}"


def _goal(figure: Figure, node: Node, place: tuple[str, int], problems: list[Problem]) -> Goal | None:
    where = f"goals.{figure.name}"
    if is_absent(node):
        problems.append(Problem("the goal says nothing", "give it a value, or `{min: …, max: …}`", *place, field=where))
        return None
    table = Table({"aim": node}, node.file, node.line) if isinstance(node, Scalar) else node
    if not isinstance(table, Table):
        message = "a list was read, and one value or a mapping is wanted"
        problems.append(fault(table, message, "write `{min: …, max: …}`", name=where))
        return None
    before = len(problems)
    values: dict[str, float] = {}
    unaimed = False
    guard: bool | None = None
    for key, each in table.entries.items():
        name = f"{where}.{key}"
        if key not in BOUNDS:
            suggestion = did_you_mean(key, BOUNDS, "a goal takes")
            message = f"`{clip(key)}` is no part of a goal"
            problems.append(Problem(message, suggestion, *table.place(key), field=clip(name)))
        elif key == "aim" and isinstance(each, Scalar) and each.text.strip() == UNAIMED:
            unaimed = True
        elif key == "guard":
            guard = _flag(each, name, problems)
        elif not is_absent(each):
            value = _weight(each, name, problems) if key == "weight" else read_bound(figure, key, each, name, problems)
            if value is not None:
                values[key] = value
    if len(problems) == before and not values and not unaimed:
        problems.append(Problem("the goal says nothing", "give it `min`, `max` or `aim`", *place, field=where))
    if len(problems) == before:
        problems.extend(contradictions(values, table, where))
    if len(problems) > before:
        return None
    return Goal(
        figure.name,
        values.get("aim"),
        values.get("min"),
        values.get("max"),
        values.get("step", figure.step),
        int(values.get("weight", 1)),
        unaimed,
        guard,
    )


def read_ceiling_guard(node: Node | None, problems: list[Problem]) -> bool:
    """Whether the rev ceiling guards: it does, unless the goal says ``guard: false``."""
    ceiling = node.entries.get(REV_CEILING) if isinstance(node, Table) else None
    told = ceiling.entries.get("guard") if isinstance(ceiling, Table) else None
    return told is None or _flag(told, f"goals.{REV_CEILING}.guard", problems) is not False


def _flag(node: Node, name: str, problems: list[Problem]) -> bool | None:
    def complain(at: Node, message: str, suggestion: str) -> None:
        problems.append(fault(at, message, suggestion, name=name))

    return None if is_absent(node) else read_flag(node, complain)


def read_bound(figure: Figure, key: str, node: Node, name: str, problems: list[Problem]) -> float | None:
    """One bound of a figure, in the figure's unit."""
    if not isinstance(node, Scalar):
        problems.append(fault(node, f"{in_words(node)} was read, and one value is wanted", name=name))
        return None
    try:
        read = parse(node.text, figure.dimension)
    except QuantityError as error:
        problems.append(fault(node, error.problem, error.suggestion, name=name))
        return None
    if read.stated:
        message = f"`{read}`: a goal has no ±"
        problems.append(
            fault(
                node,
                message,
                "write the band as `min` and `max`, or allow for it with `tolerance`",
                name=name,
            )
        )
        return None
    value = read.to(UNITS[figure.unit][1])
    if abs(value) > FURTHEST:
        most = " ".join(filter(None, (f"{FURTHEST:.0f}", UNITS[figure.unit][1])))
        suggestion = "check the number and the unit" if key == "step" else "leave it out where there is no limit"
        problems.append(fault(node, f"`{read}` is beyond any engine (at most {most})", suggestion, name=name))
        return None
    if key == "step" and value <= 0:
        problems.append(
            fault(node, f"the step `{read}` is not above 0", "the smallest difference that matters", name=name)
        )
        return None
    return value


def _weight(node: Node, name: str, problems: list[Problem]) -> float | None:
    text = node.text.strip() if isinstance(node, Scalar) else ""
    if re.fullmatch(r"\+?\d{1,9}", text) and 0 < int(text) <= HEAVIEST:
        return float(text)
    message = f"{in_words(node)} is no weight"
    problems.append(fault(node, message, "a weight is a positive whole number, such as `2`", name=name))
    return None


def contradictions(values: dict[str, float], table: Table, where: str) -> list[Problem]:
    """What does not go together in bounds and aim."""

    def said(key: str) -> str:
        node = table.entries[key]
        return node.text if isinstance(node, Scalar) else ""

    low, high, aim = values.get("min"), values.get("max"), values.get("aim")
    found = []
    if low is not None and high is not None and low > high:
        message = f"min {said('min')} is above max {said('max')}"
        key = "max" if "max" in table.options else "min"
        found.append(Problem(message, "swap them?", *table.place(key), field=where))
    elif aim is not None and low is not None and aim < low:
        message = f"the aim {said('aim')} is below min {said('min')}"
        found.append(Problem(message, "aim inside the limits", *_later(table, "aim", "min"), field=where))
    elif aim is not None and high is not None and aim > high:
        message = f"the aim {said('aim')} is above max {said('max')}"
        found.append(Problem(message, "aim inside the limits", *_later(table, "aim", "max"), field=where))
    return found


def _later(table: Table, first: str, second: str) -> tuple[str, int]:
    return table.place(second if second in table.options and first not in table.options else first)


def _ceiling(node: Node, place: tuple[str, int], problems: list[Problem]) -> float | None:
    where = f"goals.{REV_CEILING}"

    def complain(at: Node, message: str, suggestion: str) -> None:
        problems.append(fault(at, message, suggestion, name=where))

    if isinstance(node, Table):
        others = [key for key, each in node.entries.items() if key not in ("min", "guard") and not is_absent(each)]
        for key in others:
            message = f"`{clip(key)}`: the rev ceiling is one speed that every rated part must carry"
            hint = "write `--min rev_ceiling=7000rpm`" if key in node.options else "write `rev_ceiling: 7000 rpm`"
            problems.append(Problem(message, hint, *node.place(key), field=where))
        inner = node.entries.get("min")
        if inner is None or others:
            if not others:
                problems.append(Problem("the goal says nothing", "write `rev_ceiling: 7000 rpm`", *place, field=where))
            return None
        node = inner
    if is_absent(node):
        problems.append(Problem("the goal says nothing", "write `rev_ceiling: 7000 rpm`", *place, field=where))
        return None
    read = read_quantity(node, SPEED, complain)
    if read is not None and read.stated:
        complain(node, f"`{read}`: a goal has no ±", "write the speed alone")
        return None
    return read.to("rpm") if read is not None else None
