"""Measurements as they are typed on the command line, to entries of a plan's ``measured``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from kitwright.catalogs.nodes import Listing, Scalar, Table, is_absent, plain
from kitwright.catalogs.plan_measured import REMARKS, SHORT_BLOCK
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.rows import specs_of
from kitwright.solver.candidates import candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import Plan


@dataclass(slots=True)
class Reading:
    """One measurement: a deck with its four parts, or a dimension of one part.

    Attributes:
        name: ``deck``, or the field, nested ones with a dot.
        text: what was read, as it was typed.
        option: the option as it was typed, for messages.
        parts: for a deck, kind to id.
        of: for anything else, the part's id.

    """

    name: str
    text: str
    option: str
    parts: dict[str, str] = field(default_factory=dict)
    of: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """What was measured: the dimension and the ids; two readings of one thing have one key."""
        return (self.name, *((self.parts.get(kind, "") for kind in SHORT_BLOCK) if self.name == "deck" else [self.of]))

    def node(self) -> Table:
        """Give the entry as a plan's reader takes it; messages name the option."""

        def scalar(text: str) -> Scalar:
            return Scalar(text, self.option, 0, True)

        found = Table({self.name: scalar(self.text)}, self.option)
        if self.name == "deck":
            found.entries["with"] = Table({kind: scalar(each) for kind, each in self.parts.items()}, self.option)
        else:
            found.entries["of"] = scalar(self.of)
        return found


def key_of(entry: Mapping[str, Any]) -> tuple[str, ...]:
    """Give the key of an entry as it stands in a plan.

    >>> key_of({"chamber": "21.2 cc", "of": "h22", "date": "2026-05-01"})
    ('chamber', 'h22')
    """
    parts = entry.get("with")
    if isinstance(parts, Mapping):
        return ("deck", *(str(parts.get(kind) or "").strip() for kind in SHORT_BLOCK))
    names = [each for each in entry if each not in (*REMARKS, "of")]
    return (*names, str(entry.get("of") or "").strip())


@dataclass(slots=True)
class ShortBlock:
    """The four parts of a mock-up as far as they are known, how each came to be known, and what is left open."""

    parts: dict[str, str]
    how: dict[str, str]
    """Kind to ``named``, ``pinned in the plan`` or ``the only one that can be meant``."""
    choices: dict[str, tuple[str, ...]]
    """Kinds that are open to the ids that could be meant."""


def short_block(named: Sequence[str], plan: Plan, catalogue: Catalogue) -> ShortBlock:
    """Find the four parts that a deck was measured with: those that are named, pinned, or the only ones.

    Args:
        named: ``KIND=ID`` as typed, several in one text with commas.
        plan: its pins stand in for what is not named.
        catalogue: the parts.

    Raises:
        InputError: a text is not of that form, a kind is not of the short block, an id is not in the catalogue.

    """
    problems: list[Problem] = []
    parts: dict[str, str] = {}
    for text in (each for many in named for each in many.split(",")):
        option = f"--with {clip(text.strip())}"
        kind, equals, part_id = (each.strip() for each in text.partition("="))
        if not equals or not part_id:
            problems.append(Problem("not of the form KIND=ID", "write `--with rod=r85`", option))
        elif kind not in SHORT_BLOCK:
            message = f"`{clip(kind)}` has no part in a deck"
            problems.append(Problem(message, did_you_mean(kind, SHORT_BLOCK, "it belongs to"), option))
        elif parts.setdefault(kind, part_id) != part_id:
            problems.append(Problem(f"two of a {kind} are named", "a mock-up has one", option))
        elif (part := catalogue.get(part_id)) is None or part.kind != kind:
            known = [each.id for each in catalogue.of_kind(kind)]
            message = f"the catalogue holds no {kind} `{clip(part_id)}`"
            problems.append(Problem(message, did_you_mean(part_id, known, "it holds"), option))
    if problems:
        raise InputError(problems)
    how = dict.fromkeys(parts, "named")
    for kind in SHORT_BLOCK:
        if kind not in parts and kind in plan.use:
            parts[kind], how[kind] = plan.use[kind][0], "pinned in the plan"
    slots = candidates(catalogue, plan.but(use={**plan.use, **{kind: (each,) for kind, each in parts.items()}})).slots
    choices: dict[str, tuple[str, ...]] = {}
    for kind in SHORT_BLOCK:
        if kind in parts:
            continue
        ids = tuple(part.id for part in slots.get(kind, catalogue.of_kind(kind)) if part is not None)
        if len(ids) == 1:
            parts[kind], how[kind] = ids[0], "the only one that can be meant"
        else:
            choices[kind] = ids
    return ShortBlock(
        {kind: parts[kind] for kind in SHORT_BLOCK if kind in parts},
        {kind: how[kind] for kind in SHORT_BLOCK if kind in how},
        choices,
    )


def field_readings(
    chambers: Sequence[str], fields: Sequence[str], owners: Sequence[str], plan: Plan, catalogue: Catalogue
) -> list[Reading]:
    """Make readings of single parts, each with the part that it belongs to.

    The part is named before the dimension (``k61.counterweight_radius=33 mm``), or by ``--of``, or is the only one of
    its kind that can be meant: pinned in the plan, or alone in the catalogue.

    Args:
        chambers: volumes, as typed behind ``--chamber``.
        fields: ``[ID.]FIELD=VALUE``, as typed behind ``--set``.
        owners: ids, as typed behind ``--of``.
        plan: its pins.
        catalogue: the parts.

    Raises:
        InputError: with every option at fault.

    """
    problems: list[Problem] = []
    found: list[Reading] = []
    used: set[str] = set()
    for part_id in owners:
        if catalogue.get(part_id.strip()) is None:
            ids = [part.id for part in catalogue]
            message = f"the catalogue holds no part `{clip(part_id)}`"
            problems.append(Problem(message, did_you_mean(part_id, ids, "it holds"), f"--of {clip(part_id)}"))
    named = [part for each in owners if (part := catalogue.get(each.strip())) is not None]
    typed = [("chamber", text, f"--chamber {clip(text)}") for text in chambers]
    for text in fields:
        left, equals, value = (each.strip() for each in text.partition("="))
        option = f"--set {clip(text)}"
        if not equals or not left or not value:
            message = "not of the form ID.FIELD=VALUE"
            problems.append(Problem(message, "write `--set k61.counterweight_radius='33.0 mm ± 0.02 mm'`", option))
            continue
        typed.append((left, value, option))
    for left, value, option in typed:
        owner, name = _split(left, catalogue)
        try:
            part = owner or _owner(name, named, plan, catalogue, option)
        except InputError as error:
            problems += error.problems
            continue
        used.add(part.id)
        found.append(Reading(name, value, option, of=part.id))
    for part in named:
        if part.id not in used and not problems:
            message = f"nothing that is measured belongs to this {part.kind.replace('_', ' ')}"
            suggestion = f"write `--set FIELD=VALUE` beside it ({', '.join(_dimensions(part.kind)[:4])} …)"
            problems.append(Problem(message, suggestion, f"--of {clip(part.id)}"))
    if problems:
        raise InputError(problems)
    return found


def _split(left: str, catalogue: Catalogue) -> tuple[Part | None, str]:
    """Part and field of ``k61.stroke``; no part for ``stroke`` and ``mill.max``."""
    places = [place for place, character in enumerate(left) if character == "."]
    for place in places:
        part = catalogue.get(left[:place].strip())
        if part is not None:
            return part, left[place + 1 :].strip()
    return None, left


def _dimensions(kind: str) -> list[str]:
    """Fields of a kind that can be measured, nested ones with a dot."""
    found = []
    for name, spec in specs_of(KINDS[kind]).items():
        if spec.form == "quantity":
            found.append(name)
        elif spec.group is not None:
            found += [f"{name}.{inner}" for inner, each in specs_of(spec.group).items() if each.form == "quantity"]
    return found


def _owner(name: str, named: Sequence[Part], plan: Plan, catalogue: Catalogue, option: str) -> Part:
    """Find the part that a dimension was measured on."""
    kinds = [kind for kind in KINDS if name in _dimensions(kind)]
    if not kinds:
        before, dot, after = name.partition(".")
        known = {each for kind in KINDS for each in _dimensions(kind)}
        if dot and after in known:
            ids = [part.id for part in catalogue]
            message = f"the catalogue holds no part `{clip(before)}`"
            raise InputError([Problem(message, did_you_mean(before, ids, "it holds"), option)])
        message = f"`{clip(name)}` is no dimension of any part"
        raise InputError([Problem(message, did_you_mean(name, sorted(known), "dimensions"), option)])
    mine = [part for part in named if part.kind in kinds]
    if len(mine) == 1:
        return mine[0]
    if not mine:
        pinned = [plan.use[kind][0] for kind in kinds if kind in plan.use and len(plan.use[kind]) == 1]
        alone = [part.id for kind in kinds for part in catalogue.of_kind(kind)]
        for some in (pinned, alone):
            if len(some) == 1 and (part := catalogue.get(some[0])) is not None:
                return part
    if named and not mine:
        other = named[-1]
        message = f"`{other.id}` is a {other.kind.replace('_', ' ')}, and `{name}` is no dimension of one"
        ids = [part.id for kind in kinds for part in catalogue.of_kind(kind)]
        raise InputError([Problem(message, did_you_mean("", ids, "write `--of` with one of"), option)])
    ids = [part.id for part in mine] or [part.id for kind in kinds for part in catalogue.of_kind(kind)]
    message = f"which part the {name.replace('_', ' ')} was measured on is not said"
    example = f"write `--set {ids[0] if ids else 'ID'}.{name}=…`"
    more = f" ({', '.join(ids[:8])}{' …' if len(ids) > 8 else ''})" if ids else ""
    raise InputError([Problem(message, f"{example}, or `--of ID`{more}", option)])


def lay_readings(plan: Table, readings: Iterable[Reading]) -> None:
    """Put readings in a plan's nodes, each in the place of the entry for the same thing."""
    node = plan.entries.get("measured")
    if node is None or is_absent(node):
        node = plan.entries["measured"] = Listing([], plan.file, plan.line)
    if not isinstance(node, Listing):
        return
    for reading in readings:
        place = next(
            (
                at
                for at, each in enumerate(node.items)
                if isinstance(each, Table) and key_of(plain(each)) == reading.key
            ),
            None,
        )
        if place is None:
            node.items.append(reading.node())
        else:
            node.items[place] = reading.node()


def refuse_twins(readings: Iterable[Reading]) -> None:
    """Refuse two readings of one thing in one command.

    Raises:
        InputError: there are some.

    """
    first: dict[tuple[str, ...], Reading] = {}
    twins = [each for each in readings if first.setdefault(each.key, each) is not each]
    if twins:
        raise InputError(
            Problem(
                f"measured twice: `{first[each.key].option}` says it too",
                "give the one that holds, or the mean",
                each.option,
            )
            for each in twins
        )
