"""YAML to nodes: every value stays the text that was written, every key and value knows its line.

Only the plain part of YAML is read: mappings, lists and text. Anchors, aliases, tags, merge keys and several
documents in one file are refused, so that a small file can never unfold into a large one or make an object.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

from kitwright.catalogs.nodes import Listing, Node, Row, Scalar, Table, in_words, is_absent
from kitwright.catalogs.problems import Problem, clip, did_you_mean
from kitwright.solver.parts import KINDS, PLURALS
from kitwright.solver.stopping import tick

LOADER: type[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

LARGEST_FILE = 20_000_000
"""Bytes; a larger file is refused unread."""

DEEPEST = 20
"""Levels of nesting; a catalogue needs five."""

MOST_NODES = 1_000_000
"""Keys and values in one file."""

_AT_A_TIME = 1_000
"""Events that are taken between two looks at the clock."""

_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff]")

_UNSHOWN_BREAK = re.compile("[\x85\u2028\u2029]")
"""Line breaks to YAML and to terminals, and to hardly any editor: what stands behind one would be a line unseen."""

_ENDS_IN_DIGIT = re.compile(r"(?:^|[\s.±+-])\d+$")
_DECIMALS = re.compile(r"\d+(?:[\s±+/-].*|[^\W\d].*)?")
"""What may stand behind a decimal comma: `5`, `5 cc`, `05 mm ± 0.1 mm`."""

_IN_PLAIN_WORDS = (
    (
        "mapping values are not allowed",
        "a second `: ` on one line",
        "text with a colon in it is written in quotes",
    ),
    ("expected ',' or ']'", "a `[` is not closed, or a comma is missing", "close the list with `]`"),
    ("expected ',' or '}'", "a `{` is not closed, or a comma is missing", "close the mapping with `}`"),
    ("flow sequence", "a `[` is not closed, or a comma is missing", "close the list with `]`"),
    ("flow mapping", "a `{` is not closed, or a comma is missing", "close the mapping with `}`"),
    ("expected ':'", "a key without its colon", "write `key: value`"),
    ("unexpected end of stream", "a quote is opened and not closed", "close the quote"),
    ("quoted scalar", "a quote is opened and not closed", "close the quote"),
    (
        "expected '-'",
        "a list entry does not line up with the ones above it",
        "every `-` of a list stands in one column",
    ),
    (
        "block collection",
        "a list entry does not line up with the ones above it",
        "every `-` stands in one column",
    ),
    ("expected key", "a key does not line up with the ones above it", "keys of one part stand in one column"),
    (
        "block mapping",
        "a key does not line up with the ones above it",
        "keys of one part stand in one column",
    ),
    (
        "sequence entries are not allowed",
        "a `-` where a value is wanted",
        "start the list on a line of its own",
    ),
    ("cannot start any token", "a character that cannot begin a value", "write the value in quotes"),
    ("document start", "text after the end of the document", "one file holds one document"),
    ("nesting", "nested too deeply", "a catalogue needs five levels"),
)


def read_text(path: Path, problems: list[Problem]) -> str | None:
    """Text of a file; what keeps it from being read is added to ``problems``."""
    data = read_data(path, problems)
    return None if data is None else decoded(data, str(path), problems)


def read_data(path: Path, problems: list[Problem]) -> bytes | None:
    """Bytes of a file; what keeps it from being read is added to ``problems``."""
    name = str(path)
    try:
        if not path.is_file():
            what = "is a folder" if path.is_dir() else "is no ordinary file" if path.exists() else "does not exist"
            problems.append(Problem(f"{what}, and a file is wanted", "check the path", name))
            return None
        size = path.stat().st_size
        if size > LARGEST_FILE:
            limit = f"{LARGEST_FILE // 1_000_000} MB are read at most"
            problems.append(Problem(f"the file has {size / 1e6:.0f} MB", f"{limit}: split it", name))
            return None
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        problems.append(Problem(f"cannot be read: {reason}", "check the path and its permissions", name))
        return None


def decoded(data: bytes, name: str, problems: list[Problem]) -> str | None:
    """Text of a file's bytes, without a byte-order mark; what keeps it from being text is added to ``problems``."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        problems.append(Problem("the file is UTF-16", "save it as UTF-8", name))
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = len(re.findall(rb"\r\n|\r|\n", data[: error.start])) + 1
        byte = f"byte 0x{data[error.start]:02x}"
        problems.append(Problem(f"the file is not UTF-8 ({byte})", "save it as UTF-8", name, line))
        return None
    if text.startswith("\ufeff"):
        problems.append(Problem("the file begins with two byte-order marks", "save it anew as UTF-8", name, 1))
        return None
    if found := _UNPRINTABLE.search(text):
        what = f"a control character (0x{ord(found[0]):02x}) is in the file"
        problems.append(Problem(what, "is it a text file? delete the character", name, _line_of(text, found.start())))
        return None
    if found := _UNSHOWN_BREAK.search(text):
        what = f"a line break that editors do not show (U+{ord(found[0]):04X}) is in the file"
        problems.append(Problem(what, "delete it, or end the line there", name, _line_of(text, found.start())))
        return None
    return text


def _line_of(text: str, place: int) -> int:
    """Line of a place, whichever way the lines end."""
    return len(re.findall(r"\r\n|\r|\n", text[:place])) + 1


def read_yaml(path: Path, problems: list[Problem]) -> Table | None:
    """Read the mapping at the top of a YAML file; None where it cannot be used, which ``problems`` explains.

    An empty file is an empty mapping.
    """
    text = read_text(path, problems)
    return None if text is None else parse_yaml(text, str(path), problems)


def parse_yaml(text: str, name: str, problems: list[Problem]) -> Table | None:
    """As :func:`read_yaml`, from text; ``name`` is the file in messages."""
    builder = _Builder(name)
    try:
        for event in yaml.parse(text, Loader=LOADER):
            if not builder.take(event):
                break
    except yaml.YAMLError as error:
        problems.extend(builder.problems)
        problems.append(_syntax(error, text, name))
        return None
    problems.extend(builder.problems)
    if builder.refused:
        return None
    top = builder.top
    if top is None or is_absent(top):
        return Table({}, name, 1)
    if not isinstance(top, Table):
        message = f"the file holds {in_words(top)}, and a mapping of keys to values is wanted"
        problems.append(Problem(message, "every line at the left edge is a key and a colon", name, top.line))
        return None
    return top


class _Builder:
    """Nodes out of YAML's events, with a stack instead of recursion."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.problems: list[Problem] = []
        self.refused = False
        self.top: Node | None = None
        self._stack: list[tuple[Listing | Table, list[Scalar]]] = []
        self._nodes = 0
        self._events = 0
        self._documents = 0
        self._commas: dict[int, tuple[str, Problem]] = {}
        """Values that commas have ended, as they were written, and what was said of them."""

    def _refuse(self, event: Any, message: str, suggestion: str) -> None:
        self.refused = True
        self.problems.append(Problem(message, suggestion, self.name, event.start_mark.line + 1))

    def take(self, event: Any) -> bool:
        """One event more; False where there is no use in going on.

        Raises:
            OutOfTimeError: the time of the question that it is read for is up.

        """
        self._events += 1
        if self._events % _AT_A_TIME == 0:
            tick()
        kind = type(event)
        if kind is yaml.ScalarEvent:
            self._check(event)
            scalar = Scalar(event.value, self.name, event.start_mark.line + 1, event.style not in (None, ""))
            self._add(scalar)
        elif kind is yaml.MappingStartEvent:
            self._check(event)
            self._open(Table({}, self.name, event.start_mark.line + 1))
        elif kind is yaml.SequenceStartEvent:
            self._check(event)
            self._open(Listing([], self.name, event.start_mark.line + 1))
        elif kind in (yaml.MappingEndEvent, yaml.SequenceEndEvent):
            done, _ = self._stack.pop()
            self._add(done)
        elif kind is yaml.AliasEvent:
            self._refuse(event, f"the alias `*{clip(event.anchor)}` is not followed", "write the value out")
            return False
        elif kind is yaml.DocumentStartEvent:
            self._documents += 1
            if self._documents > 1:
                self._refuse(event, "a second document starts here", "one file holds one document: delete the `---`")
                return False
        if len(self._stack) > DEEPEST:
            self._refuse(event, f"nested more than {DEEPEST} levels deep", "a catalogue needs five")
            return False
        self._nodes += 1
        if self._nodes > MOST_NODES:
            self._refuse(event, f"more than {MOST_NODES} keys and values", "split the file")
            return False
        return True

    def _check(self, event: Any) -> None:
        if event.anchor is not None:
            self._refuse(
                event,
                f"the anchor `&{clip(event.anchor)}` is not read",
                "write the value out where it is used",
            )
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self._refuse(event, f"the tag `{clip(tag)}` is not read", "delete it: values are plain text here")

    def _open(self, node: Listing | Table) -> None:
        self._stack.append((node, []))

    def _add(self, node: Node) -> None:
        if not self._stack:
            self.top = node
            return
        owner, pending = self._stack[-1]
        if isinstance(owner, Listing):
            owner.items.append(node)
        elif pending:
            self._entry(owner, pending.pop(), node)
        elif isinstance(node, Scalar):
            pending.append(node)
        else:
            self.refused = True
            message = f"{in_words(node)} stands where a key is wanted"
            self.problems.append(Problem(message, "a key is one word, then a colon", self.name, node.line))
            pending.append(Scalar("", self.name, node.line))

    def _entry(self, owner: Table, key: Scalar, value: Node) -> None:
        if key.text == "<<" and not key.quoted:
            self.refused = True
            message = "the merge key `<<` is not read"
            self.problems.append(Problem(message, "write the fields out", self.name, key.line))
        elif key.text in owner.entries:
            first = owner.lines[key.text]
            message = f"the key `{clip(key.text)}` stands twice: in line {first} and in line {key.line}"
            parts = key.text in PLURALS and isinstance(value, Listing)
            suggestion = f"move its parts up to those of line {first}" if parts else "delete one of the two"
            self.problems.append(Problem(message, suggestion, self.name, key.line))
        elif not self._decimal_comma(owner, key, value):
            owner.entries[key.text] = value
            owner.lines[key.text] = key.line

    def _decimal_comma(self, owner: Table, key: Scalar, value: Node) -> bool:
        """Say whether a key is what stands behind a decimal comma: between braces a comma ends the value."""
        last = next(reversed(owner.entries), None)
        before = owner.entries.get(last) if last is not None else None
        if last is None or not isinstance(before, Scalar) or key.quoted or not is_absent(value):
            return False
        if before.quoted or not _ENDS_IN_DIGIT.search(before.text) or not _DECIMALS.fullmatch(key.text):
            return False
        written, told = self._commas.pop(id(before), (before.text, None))
        written, point = f"{written},{key.text}", f"{before.text}.{key.text}"
        message = f"the comma in `{last}: {clip(written)}` ends the value"
        problem = Problem(message, f"write a decimal point: `{last}: {clip(point)}`", self.name, key.line)
        self.problems = [each for each in self.problems if each is not told] + [problem]
        owner.entries[last] = whole = Scalar(point, before.file, before.line)
        self._commas[id(whole)] = (written, problem)
        return True


def _syntax(error: yaml.YAMLError, text: str, name: str) -> Problem:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    said = f"{getattr(error, 'problem', '') or ''} {getattr(error, 'context', '') or ''}"
    lines = text.splitlines()
    number = min(mark.line + 1 if mark else 1, max(len(lines), 1))
    shown = lines[number - 1].strip() if lines else ""
    if mark is not None and mark.line < len(lines) and "\t" in re.match(r"\s*", lines[mark.line])[0]:  # type: ignore[index]
        return Problem("a tab at the start of the line", "indent with spaces", name, number, read=shown)
    if "character" in said and mark is not None and mark.line < len(lines):
        at = lines[mark.line][mark.column : mark.column + 1]
        if at == "\t":
            return Problem("a tab where a value is wanted", "use spaces", name, number, read=shown)
    unknown = ("", f"this is no YAML ({said.strip() or error})", "look at this line and the one above it")
    _, message, suggestion = next((each for each in _IN_PLAIN_WORDS if each[0] in said), unknown)
    begun = getattr(error, "context_mark", None)
    since = f" (begun in line {begun.line + 1})" if begun is not None and begun.line + 1 < number else ""
    return Problem(f"{message}{since}: `{clip(shown)}`", suggestion, name, number, read=shown)


def rows_of(table: Table, problems: list[Problem]) -> Iterator[Row]:
    """Go through the parts of a catalogue file; what is no part is added to ``problems``."""
    if {"goals", "catalogue"} & table.entries.keys() and not PLURALS.keys() & table.entries.keys():
        message = "this is a plan, and it lies in the catalogue's folder, which is for parts"
        problems.append(Problem(message, "move it out, beside the folder", *table.place(next(iter(table.entries)))))
        return
    for key, value in table.entries.items():
        file, line = table.place(key)
        kind = PLURALS.get(key)
        if kind is None:
            problems.append(Problem(f"`{clip(key)}` is no kind of part", _meant(key), file, line))
        elif is_absent(value):
            continue
        elif not isinstance(value, Listing):
            message = f"`{key}` is {in_words(value)}, and a list of parts is wanted"
            problems.append(Problem(message, "start every part with `- id: …`", file, value.line))
        else:
            for item in value.items:
                if isinstance(item, Table):
                    yield Row(kind, item)
                else:
                    message = f"an entry of `{key}` is {in_words(item)}, and a part is wanted"
                    problems.append(Problem(message, "write `- id: …` and its fields", file, item.line))


def _meant(key: str) -> str:
    if key in KINDS:
        return f"did you mean `{KINDS[key].plural}`?"
    return did_you_mean(key, PLURALS, "kinds")
