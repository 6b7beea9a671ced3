"""A plan's file, with the command line laid over it, to a :class:`Plan` and its catalogue.

Reading goes in two steps, so that faults of the plan and of the catalogue come together: :func:`read_plan`
needs the plan's text alone; :func:`load_plan` reads the catalogue too, looks every id up and takes the
measured values over.
"""

from __future__ import annotations

import os
from pathlib import Path
from shlex import quote

from kitwright.catalogs.engines import ENGINES, engine_tables, read_budget
from kitwright.catalogs.load import Draft, finish, read_folder
from kitwright.catalogs.nodes import fault
from kitwright.catalogs.overrides import Overrides, lay_over
from kitwright.catalogs.plan_measured import apply_measured
from kitwright.catalogs.plan_text import PlanDraft, PlanReader
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_yaml import read_yaml
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.parts import Gasket, Part
from kitwright.solver.plan import Bench, Plan


def load_plan(path: str | os.PathLike[str], overrides: Overrides | None = None) -> tuple[Plan, Catalogue]:
    """Read a plan and its catalogue, with measured values in the parts' place.

    Warnings about both are in the catalogue's ``warnings``. Of a plan of several engines, ``overrides.engine`` says
    which one is meant.

    Raises:
        InputError: with every fault of plan, command line and catalogue.

    """
    drafts, _, read = _read_whole(path, overrides or Overrides(), one=True)
    return next(iter(drafts.values())).plan, finish(read)


def load_asked(path: str | os.PathLike[str], overrides: Overrides | None = None) -> tuple[Plan | Bench, Catalogue]:
    """The same; a plan of several engines, where ``overrides`` name none of them, is read as a bench of them all.

    Raises:
        InputError: with every fault of plan, command line and catalogue.

    """
    overrides = overrides or Overrides()
    drafts, bench, read = _read_whole(path, overrides, one=False)
    if bench is None or overrides.engine is not None:
        return next(iter(drafts.values())).plan, finish(read)
    return bench.but(engines={name: draft.plan for name, draft in drafts.items()}), finish(read)


def read_plan(path: str | os.PathLike[str], overrides: Overrides | None = None) -> PlanDraft:
    """Read a plan without its catalogue, of several engines the first; faults are in the draft's ``problems``.

    Raises:
        InputError: the file cannot be read as YAML at all, or holds no engine.

    """
    problems: list[Problem] = []
    drafts, _ = _drafts(Path(path), overrides or Overrides(), False, problems)
    if not drafts:
        raise InputError(problems)
    draft = next(iter(drafts.values()))
    draft.problems = problems
    return draft


def _read_whole(
    path: str | os.PathLike[str], overrides: Overrides, one: bool
) -> tuple[dict[str, PlanDraft], Bench | None, Draft]:
    """The engines' plans with what was measured in them, the bench that they make, and the catalogue's parts."""
    problems: list[Problem] = []
    drafts, bench = _drafts(Path(path), overrides, one, problems)
    folder = next((draft.folder for draft in drafts.values()), None)
    if folder is None:
        raise InputError(dict.fromkeys(problems))
    read = read_folder(folder)
    if not read.faults:
        # Looking ids up in half a catalogue would only say what its own faults say already.
        parts = read.parts
        for draft in drafts.values():
            draft.problems = problems
            _look_up(draft, read)
            draft.plan, parts = apply_measured(draft.plan, draft.measured, read, problems)
        read.parts = parts
    problems = list(dict.fromkeys(problems))  # what stands above several engines is read with each of them
    noted = [each for each in problems if each.severity == "warning"]
    faults = [each for each in (*problems, *read.problems) if each.severity == "fault"]
    if faults:
        raise InputError(faults)
    read.problems = [*noted, *read.problems]
    return drafts, bench, read


def _drafts(
    file: Path, overrides: Overrides, one: bool, problems: list[Problem]
) -> tuple[dict[str, PlanDraft], Bench | None]:
    """What a plan's own text says of each engine, and the bench where there are several; one alone has no name."""
    table = read_yaml(file, problems)
    if table is None:
        raise InputError(problems)
    tables = engine_tables(table, problems)
    if tables is None:
        if overrides.engine is not None:
            option = f"--engine {clip(overrides.engine)}"
            problems.append(Problem(f"{file} is the plan of one engine", "leave `--engine` out", option))
        lay_over(table, overrides, problems)
        return {"": PlanReader(file, table, problems).read()}, None
    if overrides.engine is not None:
        if overrides.engine not in tables and tables:
            message = f"{file} has no engine `{clip(overrides.engine)}`"
            suggestion = did_you_mean(overrides.engine, tables, "it has")
            raise InputError([*problems, Problem(message, suggestion, f"--engine {clip(overrides.engine)}")])
        tables = {name: each for name, each in tables.items() if name == overrides.engine}
    elif one and tables:
        named = ", ".join(clip(name) for name in tables)
        message = f"{file} is the plan of several engines: {named}"
        suggestion = f"say which: `--engine {quote(next(iter(tables)))}`; `find` and `explain` take them all"
        raise InputError([*problems, Problem(message, suggestion, str(file), field=ENGINES)])
    drafts = {}
    for name, each in tables.items():
        lay_over(each, overrides, problems)
        drafts[name] = PlanReader(file, each, problems, name).read()
        cost = drafts[name].plan.goals.get("cost")
        if overrides.engine is None and cost is not None and (cost.aim is not None or cost.minimum is not None):
            message = "of several engines the cost can only be limited: what one buys another need not"
            suggestion = "write `cost: {max: …}`, or name one with `--engine`"
            problems.append(Problem(message, suggestion, *each.place("goals"), field="goals.cost"))
    whole = PlanReader(file, table, problems).name()
    return drafts, Bench(whole, {}, read_budget(table, problems))


def _look_up(draft: PlanDraft, read: Draft) -> None:
    """Complain about every id that is not in the catalogue, or is of another kind."""
    parts: dict[str, Part] = {part.id: part for part in read.parts}
    for claim in draft.claims:
        part_id = claim.node.text.strip()
        part = parts.get(part_id)
        if part is None:
            ids = [each.id for each in read.parts if claim.kind in (None, each.kind)]
            what = f"{(claim.kind or 'part').replace('_', ' ')} `{clip(part_id)}`"
            message = f"the catalogue {read.folder} holds no {what}"
            suggestion = did_you_mean(part_id, ids, "it holds") or "it holds none of that kind"
        elif claim.kind is not None and part.kind != claim.kind:
            message = f"`{clip(part_id)}` is a {part.kind.replace('_', ' ')}, and a {claim.kind} is wanted"
            suggestion = f"write `{part.kind}: {clip(part_id)}`, or another id"
        elif isinstance(part, Gasket) and not part.stackable and len(draft.plan.use.get("gasket", ())) > 1:
            if not claim.where.startswith("parts.use"):
                continue
            message = f"the gasket `{clip(part_id)}` may not be one of several"
            suggestion = "pin it alone, or set `stackable: true`"
        else:
            continue
        draft.problems.append(fault(claim.node, message, suggestion, name=claim.where))
