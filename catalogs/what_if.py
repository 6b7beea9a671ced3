"""Changes to a combination as they are typed: ``mill=0.25mm``, ``rod=r86``, ``head.chamber=22cc``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from kitwright.catalogs.nodes import Scalar, Table
from kitwright.catalogs.plan_goals import read_goals
from kitwright.catalogs.plan_measured import SHORT_BLOCK, change_dimension
from kitwright.catalogs.plan_text import read_conditions
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.combination import MACHINING_UNITS, Combination
from kitwright.solver.compose import compose
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import MACHINING, REV_CEILING, MeasuredDeck, Plan
from kitwright.solver.quantity import LENGTH, VOLUME, Quantity, QuantityError, parse_deck
from kitwright.solver.swap import quantity

CONDITIONS = ("altitude", "polytropic", "float_margin", "peak_pressure", "rope_radius")
TEMPERATURES = "temperatures"
NO_PART = "none"

_WANTED = "mill=0.25mm, gasket=g050, head.chamber=22cc, rev_ceiling=7000rpm, say"


@dataclass(slots=True)
class _Changes:
    """What was typed, sorted by what it is about."""

    use: dict[str, list[str]] = field(default_factory=dict)
    machining: dict[str, str] = field(default_factory=dict)
    sizes: list[tuple[str, str, Scalar]] = field(default_factory=list)
    conditions: dict[str, Scalar] = field(default_factory=dict)
    temperatures: dict[str, Scalar] = field(default_factory=dict)
    ceiling: Scalar | None = None
    deck: Scalar | None = None


def apply_changes(
    texts: Sequence[str], catalogue: Catalogue, plan: Plan, combination: Combination
) -> tuple[Combination, Plan, tuple[str, ...]]:
    """Apply changes to a combination, all together: it and its plan as they are then, and notes.

    Raises:
        InputError: with every change that cannot be read.
        ChoiceError: an unknown id, an amount that the part does not allow.

    """
    problems: list[Problem] = []
    changes = _sort(texts, problems)
    changed = plan
    conditions = Table(dict(changes.conditions), "", 0)
    if changes.temperatures:
        conditions.entries[TEMPERATURES] = Table(dict(changes.temperatures), "", 0)
    if conditions.entries:
        changed = changed.but(conditions=read_conditions(conditions, plan.conditions, problems))
    if changes.ceiling is not None:
        _, ceiling = read_goals(Table({REV_CEILING: changes.ceiling}, "", 0), problems)
        changed = changed.but(rev_ceiling=ceiling if ceiling is not None else plan.rev_ceiling)
    made = _compose(changes, catalogue, plan, combination)
    ids = {kind: part.id for kind, part in made.parts.items()}
    if changes.deck is not None:
        changed = _deck(changes.deck, ids, changed, problems)
    for owner, path, node in changes.sizes:
        made = _size(owner, path, node, made, problems)
    if problems:
        raise InputError(problems)
    use = {kind: _ids(made, kind) for kind in changed.use if _ids(made, kind)}
    return made, changed.but(use=use), tuple(_notes(changes, plan, ids))


def _ids(made: Combination, kind: str) -> tuple[str, ...]:
    if kind == "gasket":
        return tuple(each.id for each in made.gaskets)
    return (made.parts[kind].id,) if kind in made.parts else ()


def _sort(texts: Sequence[str], problems: list[Problem]) -> _Changes:
    found = _Changes()
    seen: set[str] = set()
    for text in texts:
        option = f"--what-if {clip(text)}"
        left, equals, right = (each.strip() for each in text.partition("="))
        if not equals or not left or not right:
            problems.append(Problem(f"`{clip(text)}` is not of the form WHAT=VALUE", f"write {_WANTED}", option))
            continue
        if left in seen and left != "gasket":
            problems.append(Problem(f"`{clip(left)}` is changed twice", "keep one of the two", option))
            continue
        seen.add(left)
        node = Scalar(right, option, 0, True)
        owner, dot, path = left.partition(".")
        if left in MACHINING:
            found.machining[left] = right
        elif left in KINDS:
            found.use.setdefault(left, []).append(right)
        elif left == REV_CEILING:
            found.ceiling = node
        elif left == "deck":
            found.deck = node
        elif left.removeprefix("conditions.") in CONDITIONS:
            found.conditions[left.removeprefix("conditions.")] = node
        elif owner == TEMPERATURES and dot:
            found.temperatures[path] = node
        elif dot:
            found.sizes.append((owner, path, node))
        else:
            known = (*MACHINING, *KINDS, REV_CEILING, "deck", *CONDITIONS)
            message = f"`{clip(left)}` is nothing that can be changed"
            problems.append(Problem(message, did_you_mean(left, known, f"write {_WANTED}; also"), option))
    return found


def _compose(changes: _Changes, catalogue: Catalogue, plan: Plan, combination: Combination) -> Combination:
    """The combination with other parts and other machining, put together as ``check`` does it."""
    use: dict[str, tuple[str, ...]] = {
        kind: ids for kind in KINDS if kind not in changes.use and (ids := _ids(combination, kind))
    }
    for kind, named in changes.use.items():
        if named != [NO_PART]:
            use[kind] = tuple(named)
    machining: dict[str, str | Quantity] = {}
    for work in combination.operations:
        machining[work] = _amount(combination, work)
    machining.update(changes.machining)
    return compose(catalogue, plan.but(use=use, optional=frozenset(KINDS)), machining)


def _amount(combination: Combination, work: str) -> Quantity:

    if work == "rebore" and combination.rebore is not None:
        return replace(combination.rebore, tolerance=0.0, stated=False)
    unit = MACHINING_UNITS[work]
    return quantity(combination.amount(work), 0.0, VOLUME if unit == "cc" else LENGTH, unit)


def _deck(node: Scalar, ids: Mapping[str, str], plan: Plan, problems: list[Problem]) -> Plan:
    missing = [kind for kind in SHORT_BLOCK if kind not in ids]
    if missing:
        message = f"a deck belongs to four parts, and there is no {' and no '.join(missing)}"
        problems.append(Problem(message, "", node.file))
        return plan
    try:
        deck = parse_deck(node.text)
    except QuantityError as error:
        problems.append(Problem(error.problem, error.suggestion, node.file))
        return plan
    measured = MeasuredDeck(deck, {kind: ids[kind] for kind in SHORT_BLOCK})
    return plan.but(measured_decks=(*plan.measured_decks, measured))


def _size(owner: str, path: str, node: Scalar, made: Combination, problems: list[Problem]) -> Combination:
    parts: list[Part] = [*made.parts.values(), *made.gaskets]
    named = [part for part in parts if owner in (part.id, part.kind)]
    ids = list(dict.fromkeys(part.id for part in named))
    if not ids:
        known = [*(part.kind for part in parts), *(part.id for part in parts)]
        message = f"`{clip(owner)}` is no part of this combination"
        problems.append(Problem(message, did_you_mean(owner, list(dict.fromkeys(known)), "it has"), node.file))
        return made
    if len(ids) > 1:
        message = f"the stack has {' and '.join(ids)}: which {owner} is meant is not said"
        problems.append(Problem(message, f"write `{ids[0]}.{path}=…`", node.file))
        return made
    changed = change_dimension(named[0], path, node, node.file, problems)
    if changed.kind == "gasket":
        return replace(made, gaskets=tuple(changed if each.id == changed.id else each for each in made.gaskets))  # type: ignore[misc]
    return replace(made, parts={kind: changed if kind == changed.kind else each for kind, each in made.parts.items()})


def _notes(changes: _Changes, plan: Plan, ids: Mapping[str, str]) -> list[str]:
    """What would surprise: a deck that was measured stays where it is whatever its parts measure."""
    notes = []
    moved = {f"{owner}.{path}" for owner, path, _ in changes.sizes}
    in_deck = {"block.block_height", "crank.stroke", "rod.length", "piston.compression_height"}
    named = {f"{kind}.{path}" for owner, path, _ in changes.sizes for kind, part in ids.items() if owner == part}
    measured = any(all(ids.get(kind) == part for kind, part in each.parts.items()) for each in plan.measured_decks)
    if measured and changes.deck is None and (moved | named) & in_deck:
        notes.append("The deck was measured with these four parts, so that it stays as measured: ask `deck=…` too.")
    return notes
