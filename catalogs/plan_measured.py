"""Measured dimensions of a plan: read, looked up, and taken over into the parts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from kitwright.catalogs.load import Draft
from kitwright.catalogs.nodes import Listing, Node, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.problems import Problem, clip, did_you_mean
from kitwright.catalogs.rows import part_faults, specs_of
from kitwright.catalogs.values import read_quantity
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import Part
from kitwright.solver.plan import MeasuredDeck, MeasuredField, Plan
from kitwright.solver.quantity import Quantity, QuantityError, parse_deck, plain

SHORT_BLOCK = ("block", "crank", "rod", "piston")
"""Kinds that a measured deck belongs to: all four."""

REMARKS = {
    "date": "when it was measured",
    "instrument": "what it was measured with",
    "note": "anything worth remembering",
    "was": "what was known before",
}
"""Keys that go with a measurement and change nothing."""

_DEEPEST_DECK = 0.05
"""Metres; a deck further away than this is a slip of the pen."""

_SURPRISE = 0.05e-3
"""Metres that a measured deck may lie outside its prediction before it is worth a warning."""


@dataclass(slots=True)
class Measured:
    """One entry of ``measured``: a deck with its four parts, or a field of one part."""

    name: str
    node: Scalar
    where: str
    parts: dict[str, Scalar] = field(default_factory=dict)
    """For a deck: kind to id."""
    of: Scalar | None = None
    deck: Quantity | None = None

    @property
    def claims(self) -> Iterable[tuple[Scalar, str | None, str]]:
        """Ids to look up: node, kind, where."""
        for kind, node in self.parts.items():
            yield node, kind, f"{self.where}.with.{kind}"
        if self.of is not None:
            yield self.of, None, f"{self.where}.of"


def read_measured(node: Node | None, problems: list[Problem]) -> list[Measured]:
    """Entries of ``measured`` as far as the plan's text says them."""
    if node is None or is_absent(node):
        return []
    if not isinstance(node, Listing):
        message = f"{in_words(node)} was read, and a list is wanted"
        problems.append(fault(node, message, "start every measurement with `- `", name="measured"))
        return []
    found = []
    seen: dict[tuple[str, ...], Scalar] = {}
    for index, item in enumerate(node.items, 1):
        each = _entry(item, f"measured[{index}]", problems)
        if each is None:
            continue
        ids = tuple(part.text.strip() for part in each.parts.values()) or (each.of.text.strip() if each.of else "",)
        first = seen.setdefault((each.name, *ids), each.node)
        if first is not each.node:
            message = f"`{each.name}` of {', '.join(ids)} is measured twice, in line {first.line} too"
            problems.append(fault(each.node, message, "keep one; `was` remembers the other", name=each.where))
        else:
            found.append(each)
    return found


def _entry(node: Node, where: str, problems: list[Problem]) -> Measured | None:
    if not isinstance(node, Table):
        suggestion = "write `- {chamber: 21.2 cc ± 0.2 cc, of: h22}`"
        problems.append(fault(node, f"{in_words(node)} is no measurement", suggestion, name=where))
        return None
    names = [key for key in node.entries if key not in (*REMARKS, "with", "of")]
    if len(names) != 1:
        what = f"{len(names)} dimensions ({', '.join(map(clip, names))})" if names else "no dimension"
        message = f"the measurement names {what}"
        problems.append(Problem(message, "one dimension an entry", node.file, node.line, field=where))
        return None
    name = names[0]
    value = node.entries[name]
    if not isinstance(value, Scalar) or value.absent:
        message = f"{in_words(value)} was read, and a measured value is wanted"
        problems.append(Problem(message, "a number and a unit", *node.place(name), field=f"{where}.{clip(name)}"))
        return None
    found = Measured(name, value, where)
    before = len(problems)
    if name == "deck":
        _deck(node, found, problems)
    else:
        _of(node, found, problems)
    return found if len(problems) == before else None


def _deck(table: Table, found: Measured, problems: list[Problem]) -> None:
    where = f"{found.where}.deck"
    if "of" in table.entries:
        message = "a deck belongs to four parts together, not to one"
        problems.append(Problem(message, f"write `with: {{{_four()}}}`", *table.place("of"), field=where))
    else:
        _with(table, found, problems)
    try:
        found.deck = parse_deck(found.node.text, found.node.origin)
    except QuantityError as error:
        problems.append(fault(found.node, error.problem, error.suggestion, name=where))
        return
    if abs(found.deck.si) > _DEEPEST_DECK:
        message = f"a deck of {found.deck} is impossible"
        problems.append(fault(found.node, message, "check the number and the unit", name=where))


def _four() -> str:
    return ", ".join(f"{kind}: …" for kind in SHORT_BLOCK)


def _with(table: Table, found: Measured, problems: list[Problem]) -> None:
    where = f"{found.where}.with"
    node = table.entries.get("with")
    if not isinstance(node, Table):
        what = "the four parts are not named" if node is None or is_absent(node) else f"{in_words(node)} was read"
        place = table.place("with" if node is not None else "deck")
        problems.append(Problem(what, f"write `with: {{{_four()}}}`", *place, field=where))
        return
    for kind, each in node.entries.items():
        if kind not in SHORT_BLOCK:
            message = f"`{clip(kind)}` has no part in a deck"
            suggestion = did_you_mean(kind, SHORT_BLOCK, "it belongs to")
            problems.append(Problem(message, suggestion, *node.place(kind), field=where))
        elif not isinstance(each, Scalar) or each.absent:
            message = f"{in_words(each)} was read, and an id is wanted"
            problems.append(Problem(message, "name one part", *node.place(kind), field=where))
        else:
            found.parts[kind] = each
    missing = [kind for kind in SHORT_BLOCK if is_absent(node.entries.get(kind))]
    if missing:
        message = f"{' and '.join(missing)} not named: a measured deck holds for exactly four parts"
        problems.append(Problem(message, f"write `with: {{{_four()}}}`", node.file, node.line, field=where))


def _of(table: Table, found: Measured, problems: list[Problem]) -> None:
    node = table.entries.get("of")
    where = f"{found.where}.of"
    if "with" in table.entries:
        message = f"`with` goes with a deck; `{clip(found.name)}` is measured on one part"
        problems.append(Problem(message, "write `of: ID`", *table.place("with"), field=where))
    elif not isinstance(node, Scalar) or node.absent:
        message = f"which part the {clip(found.name)} was measured on is not said"
        problems.append(Problem(message, "write `of: ID`", *table.place(found.name), field=where))
    else:
        found.of = node


def apply_measured(
    plan: Plan, measured: list[Measured], read: Draft, problems: list[Problem]
) -> tuple[Plan, list[Part]]:
    """Take measured values over: the plan with them, and the parts with measured fields in place."""
    parts = {part.id: part for part in read.parts}
    fields: list[MeasuredField] = []
    decks: list[MeasuredDeck] = []
    for each in measured:
        if each.deck is not None:
            ids = {kind: node.text.strip() for kind, node in each.parts.items()}
            decks.append(MeasuredDeck(each.deck, ids))
        elif each.of is not None and (part := parts.get(each.of.text.strip())) is not None:
            changed, value = _replaced(part, each, problems)
            if value is not None:
                parts[part.id] = changed
                fields.append(MeasuredField(part.id, each.name, value))
    for part_id in dict.fromkeys(each.part for each in fields):
        at = next(each.node for each in measured if each.of is not None and each.of.text.strip() == part_id)
        for one in part_faults(parts[part_id]):
            problems.append(replace(one, file=at.file, line=at.line, message=f"as measured, {one.message}"))
    for deck, each in zip(decks, (one for one in measured if one.deck is not None), strict=True):
        _surprise(deck, each, parts, problems)
    return replace(plan, measured_decks=tuple(decks), measured_fields=tuple(fields)), list(parts.values())


def _replaced(part: Part, each: Measured, problems: list[Problem]) -> tuple[Part, Quantity | None]:
    where = f"{each.where}.{clip(each.name)}"

    def complain(node: Node, message: str, suggestion: str) -> None:
        problems.append(fault(node, message, suggestion, part.id, where))

    known = specs_of(type(part))
    outer, _, inner = each.name.partition(".")
    spec = known.get(outer)
    group: Any = None
    if spec is not None and inner and spec.group is not None:
        group = getattr(part, outer)
        spec = specs_of(spec.group).get(inner)
        if group is None and spec is not None:
            complain(each.node, f"the part has no `{outer}` to measure", "write it into the catalogue first")
            return part, None
    elif inner:
        spec = None
    if spec is None or spec.form != "quantity":
        complain(each.node, *_no_dimension(part, each.name, known))
        return part, None
    value = read_quantity(each.node, spec, complain, part.kind, each.name)
    if value is None:
        return part, None
    _differs(part, each, getattr(group if group is not None else part, spec.name), value, problems)
    new: Any = value if group is None else replace(group, **{inner: value})
    return replace(part, **{outer: new}), value


def _no_dimension(part: Part, name: str, known: dict[str, FieldSpec]) -> tuple[str, str]:
    owner = part.kind.replace("_", " ")
    dimensions = [key for key, spec in known.items() if spec.form == "quantity"]
    for key, spec in known.items():
        if spec.group is not None:
            dimensions += [f"{key}.{inner}" for inner, each in specs_of(spec.group).items() if each.form == "quantity"]
    return f"`{clip(name)}` is no dimension of a {owner}", did_you_mean(name, dimensions, "dimensions")


def _differs(part: Part, each: Measured, old: Quantity | None, new: Quantity, problems: list[Problem]) -> None:
    if old is not None and old.stated and abs(new.si - old.si) > old.tolerance + new.tolerance:
        message = f"measured {new}, and the catalogue says {old}"
        suggestion = "another part, or a mistake in one of the two?"
        at = each.node
        problems.append(Problem(message, suggestion, at.file, at.line, part.id, each.name, severity="warning"))


def _surprise(deck: MeasuredDeck, each: Measured, parts: dict[str, Part], problems: list[Problem]) -> None:
    """Warn where a measured deck lies outside what the four parts' dimensions allow."""
    found: list[Any] = [parts.get(deck.parts[kind]) for kind in SHORT_BLOCK]
    if [part.kind for part in found if part is not None] != list(SHORT_BLOCK):
        return
    block, crank, rod, piston = found
    reach = rod.length.si + crank.stroke.si / 2
    if piston.pin_offset is not None:
        reach = max(reach**2 - piston.pin_offset.si**2, 0.0) ** 0.5
    predicted = block.block_height.si - reach - piston.compression_height.si
    allowed = block.block_height.tolerance + crank.stroke.tolerance / 2
    allowed += rod.length.tolerance + piston.compression_height.tolerance
    if abs(deck.deck.si - predicted) > allowed + deck.deck.tolerance + _SURPRISE:
        word = "down" if predicted >= 0 else "up"
        said = f"{plain(abs(predicted) * 1000, 3)} mm {word} ± {plain(allowed * 1000, 3)} mm"
        message = f"predicted {said}, measured {deck.deck}"
        suggestion = "another rod, or a loose bearing? The measured one is used"
        at = each.node
        problems.append(Problem(message, suggestion, at.file, at.line, field=each.where, severity="warning"))
