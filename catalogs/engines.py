"""Several engines in one plan: what stands above them holds for all, what stands in one goes before it."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

from kitwright.catalogs.nodes import Table, fault, in_words, is_absent
from kitwright.catalogs.plan_goals import read_goals
from kitwright.catalogs.problems import Problem, clip

ENGINES, BUDGET = "engines", "budget"

OF_THE_BENCH = ("plan", "catalogue", "measured", "units", ENGINES, BUDGET)
"""Keys of a plan that belong to all its engines together."""


def engine_tables(plan: Table, problems: list[Problem]) -> dict[str, Table] | None:
    """The plan of each engine by name, as if it stood alone; None where the plan is of one engine.

    Mappings are laid one over the other, key by key; any other value of an engine stands in the place of the plan's.
    """
    node = plan.entries.get(ENGINES)
    if is_absent(node):
        if not is_absent(plan.entries.get(BUDGET)):
            message = "a `budget` is for several engines together"
            suggestion = "for one engine write `goals: {cost: {max: …}}`"
            problems.append(Problem(message, suggestion, *plan.place(BUDGET), field=BUDGET))
            return {}
        return None
    assert node is not None
    if not isinstance(node, Table) or not node.entries:
        message = "no engine is named" if isinstance(node, Table) else f"{in_words(node)} was read"
        suggestion = "write a mapping: `engines: {pump: {goals: …}, sledge: {goals: …}}`"
        problems.append(fault(node, message, suggestion, name=ENGINES))
        return {}
    shared = {key: value for key, value in plan.entries.items() if key not in (ENGINES, BUDGET)}
    found = {}
    for name, own in node.entries.items():
        if not name.strip() or not name.isprintable():  # it is typed behind --engine, and stands in every answer
            what = f"the engine's name `{clip(name)}` holds a character that cannot be seen" if name.strip() else ""
            place = (node.file, node.lines.get(name, node.line))
            problems.append(
                Problem(what or "an engine has no name", "letters, digits and blanks", *place, field=ENGINES)
            )
            continue
        if is_absent(own):
            own = Table({}, node.file, node.lines.get(name, node.line))
        if not isinstance(own, Table):
            message = f"{in_words(own)} was read, and the engine's plan is wanted"
            problems.append(fault(own, message, "write a mapping: `goals`, `parts`, `allow` …", name=clip(name)))
            continue
        for key in own.entries:
            if key in OF_THE_BENCH:
                message = f"`{key}` belongs to all engines together"
                suggestion = f"write it above `{ENGINES}`"
                problems.append(Problem(message, suggestion, *own.place(key), field=clip(f"{ENGINES}.{name}.{key}")))
        mine = {key: value for key, value in own.entries.items() if key not in OF_THE_BENCH}
        base = Table(shared, plan.file, plan.line, plan.lines, plan.options)
        found[name] = _over(deepcopy(base), replace(own, entries=mine))
    return found


def _over(base: Table, own: Table) -> Table:
    """One mapping laid over another."""
    found = Table(dict(base.entries), base.file, base.line, {**base.lines, **own.lines}, dict(base.options))
    for key, node in own.entries.items():
        below = base.entries.get(key)
        found.entries[key] = _over(below, node) if isinstance(below, Table) and isinstance(node, Table) else node
    return found


def read_budget(plan: Table, problems: list[Problem]) -> float | None:
    """The most that all engines together may cost, in the catalogue's money."""
    node = plan.entries.get(BUDGET)
    if node is None or is_absent(node):
        return None
    file, line = plan.place(BUDGET)
    goal = Table({"max": node}, file, line, {"max": line})
    faults: list[Problem] = []
    goals, _ = read_goals(Table({"cost": goal}, file, line, {"cost": line}), faults)
    problems += [replace(each, field=BUDGET) for each in faults]
    return goals["cost"].maximum if "cost" in goals else None
