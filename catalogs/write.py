"""Parts to YAML, as a builder would have typed them: every dimension in the words in which it was read."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from typing import Any

from kitwright.catalogs.rows import specs_of
from kitwright.solver.fields import flag_alone
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.quantity import Quantity

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./± -]*[A-Za-z0-9.]|[A-Za-z0-9]")
_NOTHING = frozenset({"null", "Null", "NULL"})


def to_yaml(parts: Iterable[Part]) -> str:
    """Write parts as a catalogue file: kinds and fields in their fixed order.

    Fields that stand at what absent means are left out; what is read back is the same part.
    """
    by_kind: dict[str, list[Part]] = {}
    for part in parts:
        by_kind.setdefault(part.kind, []).append(part)
    return "".join(
        f"{cls.plural}:\n" + "".join(map(_row, by_kind[kind])) for kind, cls in KINDS.items() if kind in by_kind
    )


def _row(part: Part) -> str:
    lines = [f"{name}: {text}\n" for name, text in _fields(part)]
    return "- " + "  ".join(lines)


def _fields(owner: Any) -> Iterator[tuple[str, str]]:
    for name, spec in specs_of(type(owner)).items():
        value = getattr(owner, name)
        default = type(owner).__dataclass_fields__[name].default
        if value is None or (not spec.required and value == default):
            continue
        if (flag := flag_alone(value)) is not None:
            yield name, _value(flag)
        elif spec.group is not None:
            yield name, "{" + ", ".join(f"{inner}: {text}" for inner, text in _fields(value)) + "}"
        else:
            yield name, _value(value)


def _value(value: Any) -> str:
    if isinstance(value, Quantity):
        return yaml_text(str(value))
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return yaml_text(str(value))


def yaml_text(text: str) -> str:
    """Quote a text where YAML would read it as something else.

    >>> yaml_text("k57"), yaml_text("k: 57")
    ('k57', '"k: 57"')
    """
    if _PLAIN.fullmatch(text) and text not in _NOTHING and not text.endswith(" ."):
        return text
    quoted = json.dumps(text, ensure_ascii=False)
    return re.sub("[\x85\u2028\u2029\ufeff]", lambda match: f"\\u{ord(match[0]):04x}", quoted)
