"""The command line's settings, laid over a plan's nodes before they are read.

A setting from the command line goes through the same checks as one from the file; where a message would name
file and line, it names the option as it was typed: ``--min quench=0.7mm``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from kitwright.catalogs.nodes import Listing, Scalar, Table, is_absent
from kitwright.catalogs.problems import Problem, clip
from kitwright.catalogs.readings import Reading, lay_readings
from kitwright.solver.plan import REV_CEILING


@dataclass(slots=True)
class Overrides:
    """What the command line says, as it was typed; ``None`` and empty lists leave the plan alone.

    ``aim``, ``minimum``, ``maximum``, ``step`` and ``weight`` hold ``figure=value``, each replacing that
    bound of that goal. ``use`` holds ``kind=id`` and replaces the pin of that kind; ``gasket=…`` repeats for
    a stack. ``avoid`` adds ids. ``kinds``, ``optional`` and ``machining`` (words, or words with commas) and
    all single settings replace the plan's. ``measured`` holds readings, each in the place of the plan's own of the same
    thing. ``engine`` names the one that is meant of a plan's several.
    """

    aim: list[str] = field(default_factory=list)
    minimum: list[str] = field(default_factory=list)
    maximum: list[str] = field(default_factory=list)
    step: list[str] = field(default_factory=list)
    weight: list[str] = field(default_factory=list)
    use: list[str] = field(default_factory=list)
    avoid: list[str] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    optional: list[str] = field(default_factory=list)
    machining: list[str] = field(default_factory=list)
    shelf_only: bool | list[str] | None = None
    gaskets: int | None = None
    tolerance: str | None = None
    units: str | None = None
    measured: list[Reading] = field(default_factory=list)
    engine: str | None = None


_BOUNDS = {"aim": "aim", "minimum": "min", "maximum": "max", "step": "step", "weight": "weight"}
"""Field of :class:`Overrides` to the key in a goal, which is the option's name too."""


def lay_over(plan: Table, overrides: Overrides, problems: list[Problem]) -> None:
    """Change the nodes of ``plan`` to what the command line says."""
    for name, bound in _BOUNDS.items():
        for text in getattr(overrides, name):
            _goal(plan, bound, text, problems)
    _pins(plan, overrides.use, problems)
    _avoid(plan, overrides.avoid)
    for name in ("kinds", "optional"):
        _words(plan, "parts", name, f"--{name}", getattr(overrides, name))
    _words(plan, "allow", "machining", "--machining", overrides.machining)
    if isinstance(overrides.shelf_only, list):
        _words(plan, "parts", "shelf_only", "--shelf-only", overrides.shelf_only)
    elif overrides.shelf_only is not None:
        option = "--shelf-only" if overrides.shelf_only else "--no-shelf-only"
        _put(_section(plan, "parts"), "shelf_only", str(overrides.shelf_only).lower(), option)
    if overrides.gaskets is not None:
        _put(_section(plan, "allow"), "gaskets", str(overrides.gaskets), f"--gaskets {overrides.gaskets}")
    for name in ("tolerance", "units"):
        value = getattr(overrides, name)
        if value is not None:
            _put(plan, name, value, f"--{name} {clip(value)}")
    if overrides.measured:
        lay_readings(plan, overrides.measured)


def _section(owner: Table | None, key: str) -> Table | None:
    """Find or make the mapping under a key; None where the plan holds something else there."""
    if owner is None:
        return None
    node = owner.entries.get(key)
    if node is None or is_absent(node):
        node = owner.entries[key] = Table({}, owner.file, owner.line)
        owner.lines.setdefault(key, owner.line)
    return node if isinstance(node, Table) else None


def _put(table: Table | None, key: str, text: str, option: str) -> None:
    if table is not None:
        table.entries[key] = Scalar(text, option, 0, True)
        table.options[key] = option


def _pairs(name: str, texts: Iterable[str], wanted: str, problems: list[Problem]) -> Iterator[tuple[str, str, str]]:
    """Left side, right side and the option as it was typed."""
    for text in texts:
        option = f"--{name} {clip(text)}"
        left, equals, right = text.partition("=")
        if not equals or not left.strip() or not right.strip():
            problems.append(
                Problem(f"`{clip(text)}` is not of the form {wanted}", f"write `--{name} {wanted}`", option)
            )
        else:
            yield left.strip(), right.strip(), option


def _goal(plan: Table, bound: str, text: str, problems: list[Problem]) -> None:
    for figure, value, option in _pairs(bound, [text], "FIGURE=VALUE", problems):
        goals = _section(plan, "goals")
        if goals is None:
            continue
        goal = goals.entries.get(figure)
        if isinstance(goal, Scalar) and not goal.absent:
            bare = "min" if figure == REV_CEILING else "aim"
            goals.entries[figure] = Table({bare: goal}, goal.file, goal.line, {bare: goal.line})
        elif goal is None or is_absent(goal):
            goals.options[figure] = option
        _put(_section(goals, figure), bound, value, option)


def _pins(plan: Table, texts: list[str], problems: list[Problem]) -> None:
    pins: dict[str, list[Scalar]] = {}
    for kind, part_id, option in _pairs("use", texts, "KIND=ID", problems):
        pins.setdefault(kind, []).append(Scalar(part_id, option, 0, True))
    use = _section(_section(plan, "parts"), "use") if pins else None
    if use is None:
        return
    for kind, ids in pins.items():
        option = ids[-1].file
        use.entries[kind] = ids[0] if len(ids) == 1 else Listing(list(ids), option)
        use.options[kind] = option


def _avoid(plan: Table, ids: list[str]) -> None:
    parts = _section(plan, "parts") if ids else None
    if parts is None:
        return
    node = parts.entries.get("avoid")
    if node is None or is_absent(node):
        node = Listing([], parts.file, parts.line)
    elif isinstance(node, Scalar):
        node = Listing([node], node.file, node.line)
    if isinstance(node, Listing):
        node.items.extend(Scalar(part_id.strip(), f"--avoid {clip(part_id)}", 0, True) for part_id in ids)
        parts.entries["avoid"] = node


def _words(plan: Table, section: str, key: str, option: str, texts: list[str]) -> None:
    table = _section(plan, section) if texts else None
    if table is None:
        return
    typed = f"{option} {clip(','.join(texts))}"
    words = [word.strip() for text in texts for word in text.split(",") if word.strip()]
    table.entries[key] = Listing([Scalar(word, typed, 0, True) for word in words], typed)
    table.options[key] = typed
