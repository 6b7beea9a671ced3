"""Measured dimensions of a plan: read, looked up, and taken over into the parts."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from kitwright.catalogs.load import Draft
from kitwright.catalogs.nodes import Listing, Node, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.problems import Problem, clip, did_you_mean
from kitwright.catalogs.rows import part_faults, specs_of
from kitwright.catalogs.values import read_line, read_quantity
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import Part
from kitwright.solver.plan import MeasuredDeck, MeasuredField, Plan, Remarks
from kitwright.solver.quantity import Quantity, QuantityError, parse_deck, plain
from kitwright.solver.remeasure import SURPRISE, predicted_deck
from kitwright.solver.swap import with_quantity

SHORT_BLOCK = ("block", "crank", "rod", "piston")
"""Kinds that a measured deck belongs to: all four."""

REMARKS = {
    "predicted": "what had been computed beforehand",
    "date": "when it was measured",
    "instrument": "what it was measured with",
    "note": "anything worth remembering",
    "was": "what was measured before, in words, or entries like the one that they stand in",
}
"""Keys that go with a measurement and change nothing."""

SAID = tuple(key for key in REMARKS if key != "was")
"""Those of them that are one line of text."""

_DEEPEST_DECK = 0.05
"""Metres; a deck further away than this is a slip of the pen."""


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
    remarks: Remarks = field(default_factory=Remarks)

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
        named = [each.parts[kind] for kind in SHORT_BLOCK if kind in each.parts]  # in whatever order they are written
        ids = tuple(part.text.strip() for part in named) or (each.of.text.strip() if each.of else "",)
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
    before = len(problems)
    found = Measured(name, value, where, remarks=_remarks(node, where, problems))
    _was(node.entries.get("was"), name, f"{where}.was", problems)
    if name == "deck":
        _deck(node, found, problems)
    else:
        _of(node, found, problems)
    return found if len(problems) == before else None


def _remarks(table: Table, where: str, problems: list[Problem]) -> Remarks:
    """What goes with a measurement; a date has to be one."""

    def complain(node: Node, message: str, suggestion: str) -> None:
        problems.append(fault(node, message, suggestion, name=where))

    said = {}
    for key in SAID:
        node = table.entries.get(key)
        if node is not None and not is_absent(node):
            said[key] = read_line(node, complain) or ""
            if key == "date" and said[key] and not is_date(said[key]):
                complain(node, f"`{clip(said[key])}` is no date", "write year, month and day: `date: 2026-05-01`")
    return Remarks(**said)


def is_date(text: str) -> bool:
    """Whether a text is a day as year, month and day.

    >>> is_date("2026-05-01"), is_date("2026-02-30"), is_date("1 May 2026")
    (True, False, False)
    """
    try:
        return datetime.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _was(node: Node | None, name: str, where: str, problems: list[Problem]) -> None:
    """Look through what was measured before: text, or mappings with the same dimension."""
    if node is None or is_absent(node):
        return
    for item in node.items if isinstance(node, Listing) else [node]:
        if isinstance(item, Table):
            for key in item.entries:
                if key not in (name, *SAID):
                    suggestion = did_you_mean(key, (name, *SAID), "keys")
                    message = f"`{clip(key)}` is no key of an earlier measurement"
                    problems.append(Problem(message, suggestion, *item.place(key), field=where))
            _remarks(item, where, problems)
        elif isinstance(item, Listing) or item.absent:
            message = f"{in_words(item)} was read, and an earlier measurement is wanted"
            problems.append(fault(item, message, f"write `was: [{{{clip(name)}: …, date: …}}]`", name=where))


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
            decks.append(MeasuredDeck(each.deck, ids, each.remarks))
        elif each.of is not None and (part := parts.get(each.of.text.strip())) is not None:
            changed, value = _replaced(part, each, problems)
            if value is not None:
                parts[part.id] = changed
                fields.append(MeasuredField(part.id, each.name, value, each.remarks))
    for part_id in dict.fromkeys(each.part for each in fields):
        at = next(each.node for each in measured if each.of is not None and each.of.text.strip() == part_id)
        for one in part_faults(parts[part_id]):
            problems.append(replace(one, file=at.file, line=at.line, message=f"as measured, {one.message}"))
    for deck, each in zip(decks, (one for one in measured if one.deck is not None), strict=True):
        _surprise(deck, each, parts, problems)
    return replace(plan, measured_decks=tuple(decks), measured_fields=tuple(fields)), list(parts.values())


def _replaced(part: Part, each: Measured, problems: list[Problem]) -> tuple[Part, Quantity | None]:
    where = f"{each.where}.{clip(each.name)}"
    read = _read_dimension(part, each.name, each.node, where, problems)
    if read is None:
        return part, None
    value, old = read
    _differs(part, each, old, value, problems)
    return with_quantity(part, each.name, value), value


def change_dimension(part: Part, path: str, node: Scalar, where: str, problems: list[Problem]) -> Part:
    """The part with one dimension as a node says it; what is at fault goes to ``problems`` and changes nothing."""
    read = _read_dimension(part, path, node, "", problems)
    if read is None:
        return part
    value, old = read
    if old is not None and not value.stated:  # another value of the same dimension is as sure as the old one
        value = replace(value, tolerance=old.tolerance, stated=old.stated)
    changed = with_quantity(part, path, value)
    faults = [replace(one, file=where, line=0) for one in part_faults(changed)]
    problems += faults
    return part if faults else changed


def _read_dimension(
    part: Part, path: str, node: Scalar, where: str, problems: list[Problem]
) -> tuple[Quantity, Quantity | None] | None:
    """A new value of a part's dimension, and the old one."""

    def complain(at: Node, message: str, suggestion: str) -> None:
        problems.append(fault(at, message, suggestion, part.id, where))

    known = specs_of(type(part))
    outer, _, inner = path.partition(".")
    spec = known.get(outer)
    group: Any = None
    if spec is not None and inner and spec.group is not None:
        group = getattr(part, outer)
        spec = specs_of(spec.group).get(inner)
        if (group is None or not getattr(group, "fitted", True)) and spec is not None:
            complain(node, f"the part has no `{outer}` to measure", "write it into the catalogue first")
            return None
    elif inner:
        spec = None
    if spec is None or spec.form != "quantity":
        complain(node, *_no_dimension(part, path, known))
        return None
    value = read_quantity(node, spec, complain, part.kind, path)
    if value is None:
        return None
    return value, getattr(group if group is not None else part, spec.name)


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
    found = {kind: part for kind in SHORT_BLOCK if (part := parts.get(deck.parts[kind])) is not None}
    if [part.kind for part in found.values()] != list(SHORT_BLOCK):
        return
    predicted = predicted_deck(found)
    if predicted.beyond(deck.deck.si, deck.deck.tolerance) > SURPRISE:
        message = f"predicted {deck_words(predicted.value, predicted.tolerance)}, measured {deck.deck}"
        suggestion = "another rod, or a loose bearing? The measured one is used"
        at = each.node
        problems.append(Problem(message, suggestion, at.file, at.line, field=each.where, severity="warning"))


def deck_words(value: float, tolerance: float = 0.0) -> str:
    """A deck in metres as it is written in a plan.

    >>> deck_words(-0.0005, 0.00023), deck_words(0.0005)
    ('0.5 mm up ± 0.23 mm', '0.5 mm down')
    >>> deck_words(-1.4e-17, 0.00023)
    '0 mm down ± 0.23 mm'
    """
    value = round(value, 12)  # what floats leave of a difference that is nothing
    spread = f" ± {plain(tolerance * 1000, 3)} mm" if round(tolerance * 1000, 3) else ""
    return f"{plain(abs(value) * 1000, 3)} mm {'down' if value >= 0 else 'up'}{spread}"
