"""Edits of a YAML text that leave everything else in it as it is: comments, order, quotes, blank lines, line ends.

Nothing is written anew: text is put in at the places that the scanner names. Every edit is proved before it is given
back: the new text is read, and has to say what the old one said but for the one change that was asked for.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import yaml

from kitwright.catalogs.nodes import Scalar, plain
from kitwright.catalogs.problems import InputError, Problem
from kitwright.catalogs.read_yaml import parse_yaml
from kitwright.catalogs.write import yaml_text
from kitwright.catalogs.yaml_places import comments, kept, nodes
from kitwright.solver.parts import KINDS

Value = str | Mapping[str, Any] | Sequence[Any]
"""What may be written: text, a mapping, a list, nested as they like. Text is written as it would be typed."""

Path = Sequence[str | int]
"""Keys and places in lists, from the top: ``("goals", "quench", "min")``, ``("measured", 0, "date")``."""

WIDEST = 110
"""Columns that a new entry may take on one line."""

_Node = yaml.nodes.Node


class EditError(InputError):
    """The text is laid out in a way that cannot be edited without touching more; nothing was changed."""


def set_value(text: str, path: Path, value: Value, name: str = "") -> str:
    r"""Change the value at a path, or add the key where its mapping has none.

    Args:
        text: the file's text.
        path: where; missing mappings on the way are made.
        value: what is to stand there.
        name: the file, for messages.

    Raises:
        InputError: the text is at fault.
        EditError: the place cannot be changed alone.

    >>> set_value("a: 1   # one\nb: '2'\n", ["b"], "3")
    "a: 1   # one\nb: '3'\n"
    """

    def change(data: Any) -> None:
        for key in path[:-1]:
            if isinstance(data, dict) and not data.get(key):
                data[key] = {}
            data = data[key]
        data[path[-1]] = _data(value)

    return _edited(text, name, lambda top: _set(text, top, path, value), change)


def append_item(text: str, path: Path, value: Value, name: str = "") -> str:
    r"""Add an entry to the list at a path, after its last one; a list that is missing is made.

    A mapping is written in braces, or key by key where the last entry is written so. Arguments and faults as in
    :func:`set_value`.

    >>> append_item("measured:\n- {a: 1}   # first\n# end\n", ["measured"], {"b": "2"})
    'measured:\n- {a: 1}   # first\n- {b: 2}\n# end\n'
    """

    def change(data: Any) -> None:
        for key in path[:-1]:
            data = data[key]
        old = data.get(path[-1]) if isinstance(data, dict) else data[path[-1]]
        data[path[-1]] = [*(old or []), _data(value)]

    return _edited(text, name, lambda top: _append(text, top, path, [value]), change)


def remove_key(text: str, path: Path, name: str = "") -> str:
    r"""Take a key and its value out of a mapping; a comment beside it stays. Faults as in :func:`set_value`.

    >>> remove_key("- {a: 1, b: 2, c: 3}\n".replace("- ", "x: "), ["x", "b"])
    'x: {a: 1, c: 3}\n'
    """

    def change(data: Any) -> None:
        for key in path[:-1]:
            data = data[key]
        del data[path[-1]]

    return _edited(text, name, lambda top: _remove(text, top, path), change)


def append_part(text: str, kind: str, fields: Mapping[str, Value], name: str = "") -> str:
    r"""Add a part to a catalogue file, after the last of its kind, a line a field. Faults as in :func:`set_value`.

    >>> append_part("cranks:\n- id: k57\n  stroke: 57 mm\n", "crank", {"id": "k60", "stroke": "60 mm"})
    'cranks:\n- id: k57\n  stroke: 57 mm\n- id: k60\n  stroke: 60 mm\n'
    """
    return append_parts(text, kind, [fields], name)


def append_parts(text: str, kind: str, parts: Sequence[Mapping[str, Value]], name: str = "") -> str:
    r"""Add several parts at once, which takes no longer than one. All else as in :func:`append_part`.

    >>> append_parts("", "spacer", [{"id": "s1", "thickness": "1 mm"}, {"id": "s2", "thickness": "2 mm"}])
    'spacers:\n- id: s1\n  thickness: 1 mm\n- id: s2\n  thickness: 2 mm\n'
    """
    plural = KINDS[kind].plural

    def change(data: Any) -> None:
        data[plural] = [*(data.get(plural) or []), *map(_data, parts)]

    return _edited(text, name, lambda top: _append(text, top, [plural], parts, lines=True), change)


def find_part(text: str, part_id: str, name: str = "") -> tuple[str, int] | None:
    """Kind's key and place in its list of the part with an id; None where the file has none.

    >>> find_part("cranks: [{id: k57}, {id: k60}]", "k60")
    ('cranks', 1)
    """
    for key, items in _read(text, name).items():
        for place, item in enumerate(items if isinstance(items, list) else ()):
            if isinstance(item, dict) and str(item.get("id", "")).strip() == part_id:
                return key, place
    return None


def ids(text: str, name: str = "") -> set[str]:
    """Ids of all parts of a file.

    >>> sorted(ids("cranks: [{id: k57}, {id: k60}]"))
    ['k57', 'k60']
    """
    items = [each for key in _read(text, name).values() if isinstance(key, list) for each in key]
    return {str(each.get("id", "")).strip() for each in items if isinstance(each, dict)}


def value_at(text: str, path: Path, name: str = "") -> Any:
    """What stands at a path: text, a dict, a list, or None where nothing does."""
    data: Any = _read(text, name)
    for key in path:
        try:
            data = data[key]
        except (KeyError, IndexError, TypeError):
            return None
    return data


# proof


def _edited(text: str, name: str, edit: Callable[[_Node | None], str], change: Callable[[Any], None]) -> str:
    """Make an edit and prove it: the text that comes out says what ``change`` makes of the old text's data."""
    wanted = copy.deepcopy(_read(text, name))
    try:
        change(wanted)
    except (KeyError, IndexError, TypeError, AttributeError):
        raise _refused(name, 0) from None
    new = edit(nodes(text))
    problems: list[Problem] = []
    table = parse_yaml(new, name, problems)
    if table is None or problems or plain(table) != wanted or not kept(comments(text), comments(new)):
        raise _refused(name, 0)
    return new


def _refused(name: str, line: int) -> EditError:
    message = "the file is laid out so that this change would touch more than it should"
    return EditError([Problem(message, "nothing was changed: write it by hand", name, line)])


def _read(text: str, name: str) -> dict[str, Any]:
    problems: list[Problem] = []
    table = parse_yaml(text, name, problems)
    if table is None or problems:
        raise InputError(problems)
    found: dict[str, Any] = plain(table)
    return found


def _data(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _data(each) for key, each in value.items()}
    if isinstance(value, str):
        return value
    if isinstance(value, Sequence):
        return [_data(each) for each in value]
    return str(value)


# places


def _at(text: str, top: _Node | None, path: Path) -> _Node | None:
    """Node at a path, or None where there is none."""
    node = top
    for key in path:
        if isinstance(node, yaml.MappingNode):
            node = next((value for name, value in node.value if name.value == key), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(key, int) and 0 <= key < len(node.value):
            node = node.value[key]
        else:
            return None
    return node


def _end(text: str, node: _Node) -> int:
    """Where a node really ends: the scanner lets a block end where the next token begins, past the comments."""
    while not _in_braces(text, node):
        if isinstance(node, yaml.MappingNode) and node.value:
            node = node.value[-1][1]
        elif isinstance(node, yaml.SequenceNode) and node.value:
            node = node.value[-1]
        else:
            break
    start, end = node.start_mark.index, node.end_mark.index
    return start + len(text[start:end].rstrip())


def _in_braces(text: str, node: _Node) -> bool:
    return not isinstance(node, yaml.ScalarNode) and text[node.start_mark.index : node.start_mark.index + 1] in "{["


def _is_empty(node: _Node) -> bool:
    return isinstance(node, yaml.ScalarNode) and node.start_mark.index == node.end_mark.index


def _is_null(node: _Node) -> bool:
    return isinstance(node, yaml.ScalarNode) and not node.style and Scalar(node.value, "").absent


def _line_end(text: str, at: int) -> int:
    """Where the line ends that a place is in, before its line break."""
    return at + len(re.match(r"[^\r\n]*", text[at:])[0])  # type: ignore[index]


def _after_line(text: str, at: int) -> int:
    """Where the next line begins."""
    end = _line_end(text, at)
    return end + len(re.match(r"\r\n|\r|\n|", text[end:])[0])  # type: ignore[index]


def _line_start(text: str, at: int) -> int:
    return max(text.rfind("\n", 0, at), text.rfind("\r", 0, at)) + 1


def line_break(text: str) -> str:
    r"""Line break of a text: the one that ends its first line.

    >>> line_break("a\r\nb"), line_break("a")
    ('\r\n', '\n')
    """
    found = re.search(r"\r\n|\n|\r", text)
    return found[0] if found else "\n"


def _put(text: str, start: int, end: int, new: str) -> str:
    return text[:start] + new + text[end:]


def _add_lines(text: str, at: int, lines: Sequence[str]) -> str:
    """Put lines in where a line begins, or at the end of a text whose last line is not ended."""
    end = line_break(text)
    block = end.join(lines)
    if at and at == len(text) and text[at - 1] not in "\r\n":
        return text + end + block
    return _put(text, at, at, block + end)


# writing


def _scalar(value: Any, like: _Node | None = None) -> str:
    """One value as it is typed; quoted as ``like`` is, where that is quoted."""
    text = str(value)
    style = like.style if isinstance(like, yaml.ScalarNode) else None
    if style == "'" and text.isprintable():
        return "'" + text.replace("'", "''") + "'"
    return json.dumps(text, ensure_ascii=False) if style == '"' and text.isprintable() else yaml_text(text)


def _flow(value: Any) -> str:
    """A value on one line, in braces and brackets."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(_pair(key, _flow(each)) for key, each in value.items()) + "}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(map(_flow, value)) + "]"
    return _scalar(value)


def _pair(key: Any, written: str) -> str:
    return f"{yaml_text(str(key))}: {written}"


def _entry(value: Value, indent: str, by_line: bool) -> list[str]:
    """Lines of a new list entry, the dash in front."""
    if isinstance(value, Mapping) and value:
        pairs = [_pair(key, _flow(each)) for key, each in value.items()]
        if by_line:
            return [f"{indent}{'- ' if not number else '  '}{pair}" for number, pair in enumerate(pairs)]
        lines = [f"{indent}- {{"]
        for number, pair in enumerate(pairs):
            last = "}" if number == len(pairs) - 1 else ","
            gap = "" if lines[-1].endswith("{") else " "
            if gap and len(lines[-1]) + len(pair) + 2 > WIDEST:
                lines.append(f"{indent}   ")
                gap = ""
            lines[-1] += f"{gap}{pair}{last}"
        return lines
    return [f"{indent}- {_flow(value)}"]


# edits


def _set(text: str, top: _Node | None, path: Path, value: Value) -> str:
    node = _at(text, top, path)
    if node is not None and path:
        if isinstance(node, yaml.ScalarNode):
            return _replace(text, node, value)
        start, end = node.start_mark.index, _end(text, node)
        if not _in_braces(text, node) or "#" in text[start:end]:
            raise _refused("", 0)
        return _put(text, start, end, _flow(value))
    owner = _at(text, top, path[:-1])
    if owner is None or _is_null(owner):
        if len(path) > 1:
            return _set(text, top, path[:-1], {str(path[-1]): value})
        return _new_section(text, str(path[-1]), [_pair(path[-1], _flow(value))])
    if not isinstance(owner, yaml.MappingNode):
        raise _refused("", 0)
    pair = _pair(path[-1], _flow(value))
    if _in_braces(text, owner):
        return _into_braces(text, owner, pair)
    return _new_key(text, top, owner, [pair])


def _replace(text: str, node: yaml.ScalarNode, value: Value) -> str:
    start = node.start_mark.index
    written = _scalar(value, node) if isinstance(value, str) else _flow(value)
    if _is_empty(node):
        return _put(text, start, start, f" {written}" if text[start - 1 : start] != " " else written)
    return _put(text, start, _end(text, node), written)


def _new_key(text: str, top: _Node | None, owner: yaml.MappingNode, lines: Sequence[str]) -> str:
    """Add a key under the last one of a block mapping."""
    if owner is top:
        return _new_section(text, lines[0].partition(":")[0], lines)
    indent = " " * owner.value[0][0].start_mark.column
    at = _after_line(text, _end(text, owner))
    return _add_lines(text, at, [f"{indent}{line}" for line in lines])


def _new_section(text: str, key: str, lines: Sequence[str]) -> str:
    """Add a key at the left edge: under a comment that shows how it would be written, else at the end of the text."""
    shown = list(re.finditer(rf"^# ?{re.escape(key)}:[^\r\n]*(?:(?:\r\n|\n|\r)#[^\r\n]*)*", text, re.M))
    top = nodes(text)
    if shown and not _inside(text, top, shown[-1].end()):
        return _add_lines(text, _after_line(text, shown[-1].end()), lines)
    closed = re.search(r"^\.\.\.\s*(?:#[^\r\n]*)?\s*\Z", text, re.M)
    return _add_lines(text, closed.start() if closed else len(text), lines)


def _inside(text: str, top: _Node | None, at: int) -> bool:
    """Whether a place is within one of the keys at the left edge."""
    entries = top.value if isinstance(top, yaml.MappingNode) else []
    return any(key.start_mark.index <= at < _end(text, value) for key, value in entries)


def _into_braces(text: str, owner: _Node, written: str) -> str:
    """Add an entry at the end of a mapping in braces or a list in brackets."""
    opened = owner.start_mark.index + 1
    if not owner.value:
        return _put(text, opened, opened, written)
    last = owner.value[-1]
    first_node, last_node = last if isinstance(last, tuple) else (last, last)
    end = _end(text, last_node)
    comma = re.match(r"\s*,", text[end:])
    start = first_node.start_mark.index
    lead = text[_line_start(text, start) : start]
    rest = text[end : _line_end(text, end)]
    if lead.strip() or not re.fullmatch(r"\s*,?\s*(?:#.*)?", rest):
        column = end - _line_start(text, end)
        gap = " "
        if column + len(written) + 3 > WIDEST and column > owner.start_mark.column + 1:
            gap = line_break(text) + " " * (owner.start_mark.column + 1)
        return _put(text, end, end, f"{' ' if _is_empty(last_node) else ''},{gap}{written}")  # `{a:,` is one word
    line = f"{lead}{written}{',' if comma else ''}"
    if comma is None:
        text = _put(text, end, end, ",")
    return _add_lines(text, _after_line(text, end), [line])


def _append(text: str, top: _Node | None, path: Path, values: Sequence[Value], lines: bool = False) -> str:
    node = _at(text, top, path)
    if node is None or _is_null(node):
        return _new_list(text, top, path, node, values, lines)
    if not isinstance(node, yaml.SequenceNode):
        raise _refused("", 0)
    if _in_braces(text, node):
        return _into_braces(text, node, ", ".join(map(_flow, values)))
    last = node.value[-1]
    by_line = lines or (isinstance(last, yaml.MappingNode) and not _in_braces(text, last))
    at = _after_line(text, _end(text, last))
    apart = _set_apart(text, node)
    entries = [["", *entry] if apart else entry for entry in _entries(values, " " * node.start_mark.column, by_line)]
    return _add_lines(text, at, [line for entry in entries for line in entry])


def _entries(values: Sequence[Value], indent: str, by_line: bool) -> list[list[str]]:
    return [_entry(value, indent, by_line) for value in values]


def _set_apart(text: str, node: yaml.SequenceNode) -> bool:
    """Whether all entries so far are set apart by a blank line."""
    between = [
        text[_end(text, one) : other.start_mark.index] for one, other in zip(node.value, node.value[1:], strict=False)
    ]
    return bool(between) and all(re.search(r"(?:\r\n|\n|\r)[ \t]*(?:\r|\n)", each) for each in between)


def _new_list(
    text: str, top: _Node | None, path: Path, node: _Node | None, values: Sequence[Value], lines: bool
) -> str:
    entry = [line for each in _entries(values, "", lines) for line in each]
    if node is None:
        if len(path) == 1 and (top is None or isinstance(top, yaml.MappingNode) or _is_null(top)):
            return _new_section(text, str(path[0]), [f"{path[0]}:", *entry])
        return _set(text, top, path, values)
    owner = _at(text, top, path[:-1])
    if owner is None or _in_braces(text, owner):
        return _set(text, top, path, values)
    key = next(key for key, each in owner.value if each is node)
    indent = " " * key.start_mark.column
    if not _is_empty(node):  # a null that is written out makes way
        text = _put(text, text.rindex(":", 0, node.start_mark.index) + 1, node.end_mark.index, "")
    return _add_lines(text, _after_line(text, key.end_mark.index), [f"{indent}{line}" for line in entry])


def _remove(text: str, top: _Node | None, path: Path) -> str:
    owner = _at(text, top, path[:-1])
    if not isinstance(owner, yaml.MappingNode):
        raise _refused("", 0)
    place = next((number for number, (key, _) in enumerate(owner.value) if key.value == path[-1]), None)
    if place is None:
        raise _refused("", 0)
    key, value = owner.value[place]
    start, end = key.start_mark.index, max(_end(text, value), key.end_mark.index)
    if _in_braces(text, owner):
        if place:
            start = _end_of_pair(text, owner.value[place - 1])
        elif len(owner.value) > 1:
            end = owner.value[1][0].start_mark.index
        return _put(text, start, end, "")
    begin, rest = _line_start(text, start), text[end : _line_end(text, end)]
    if text[begin:start].strip():  # the first key stands behind a dash
        if len(owner.value) == 1 or rest.strip():
            raise _refused("", 0)
        return _put(text, start, owner.value[1][0].start_mark.index, "")
    if rest.strip():  # a comment keeps its line
        return _put(text, start, end + len(rest) - len(rest.lstrip()), "")
    return _put(text, begin, _after_line(text, end), "")


def _end_of_pair(text: str, pair: tuple[_Node, _Node]) -> int:
    key, value = pair
    return max(_end(text, value), key.end_mark.index)
