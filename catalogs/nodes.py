"""What a file says before anything is made of it: text, lists and mappings, each with its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from kitwright.catalogs.problems import Problem
from kitwright.solver.quantity import Origin

BESIDE = ""
"""Key of what stands in a group's own place beside the group's fields, and contradicts them."""
YES = ("true", "yes")
"""Words for true."""
_NOTHING = frozenset({"", "~", "null", "Null", "NULL"})


@dataclass(slots=True)
class Scalar:
    """One value as it is written. On the command line ``file`` is the option and ``line`` is 0."""

    text: str
    file: str
    line: int = 0
    quoted: bool = False

    @property
    def absent(self) -> bool:
        """Nothing, or null: as if the key were not there."""
        return not self.quoted and self.text in _NOTHING

    @property
    def origin(self) -> Origin:
        """Place, as a quantity keeps it."""
        return Origin(self.file, self.line)


@dataclass(slots=True)
class Listing:
    """A list."""

    items: list[Node]
    file: str
    line: int = 0


@dataclass(slots=True)
class Table:
    """A mapping; ``lines`` holds the line of each key, ``options`` the keys that the command line has set."""

    entries: dict[str, Node]
    file: str
    line: int = 0
    lines: dict[str, int] = field(default_factory=dict)
    options: dict[str, str] = field(default_factory=dict)

    def place(self, key: str) -> tuple[str, int]:
        """File and line of a key; for one that came from the command line the option and 0."""
        if key in self.options:
            return self.options[key], 0
        return self.file, self.lines.get(key, self.line)


Node = Scalar | Listing | Table


@dataclass(slots=True)
class Row:
    """One part as it was read: its kind in the singular and its fields."""

    kind: str
    table: Table


def put_at(table: Table, path: Sequence[str], node: Scalar | Listing) -> None:
    """Set an entry that may be nested: columns and fields on the command line name it with dots.

    Beside the fields of a group, `true` in the group's own place says nothing more and goes; anything else is kept as
    :data:`BESIDE` them.

    >>> table = Table({}, "cams.csv", 1)
    >>> put_at(table, ["decompressor"], Scalar("true", "cams.csv", 2))
    >>> put_at(table, ["decompressor", "closes"], Scalar("60 deg", "cams.csv", 2))
    >>> plain(table)
    {'decompressor': {'closes': '60 deg'}}
    """
    for key in path[:-1]:
        inner = table.entries.get(key)
        if not isinstance(inner, Table):
            group = Table({}, table.file, node.line)
            if inner is not None and not _is_true(inner):
                group.entries[BESIDE] = inner
            table.entries[key], table.lines[key] = group, node.line
            inner = group
        table = inner
    last = path[-1]
    there = table.entries.get(last)
    if not isinstance(there, Table):
        table.entries[last], table.lines[last] = node, node.line
    elif not _is_true(node):
        there.entries[BESIDE] = node


def _is_true(node: Node) -> bool:
    return isinstance(node, Scalar) and node.text.strip().lower() in YES


def is_absent(node: Node | None) -> bool:
    """Whether nothing was given."""
    return node is None or (isinstance(node, Scalar) and node.absent)


def plain(node: Node) -> Any:
    """A node without its places: text (None where absent), lists and dicts."""
    if isinstance(node, Scalar):
        return None if node.absent else node.text
    if isinstance(node, Listing):
        return [plain(each) for each in node.items]
    return {key: plain(each) for key, each in node.entries.items()}


def in_words(node: Node) -> str:
    """Say what was read: ``a list``, ``a mapping`` or the text itself."""
    if isinstance(node, Scalar):
        return f"`{node.text[:60]}`" if node.text else "nothing"
    return "a list" if isinstance(node, Listing) else "a mapping"


def fault(node: Node, message: str, suggestion: str = "", part: str = "", name: str = "") -> Problem:
    """Make a fault at the place of ``node``."""
    read = node.text if isinstance(node, Scalar) else ""
    return Problem(message, suggestion, node.file, node.line, part, name, read)
