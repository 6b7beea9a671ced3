"""YAML as an editor's language server reads it: the values of YAML 1.2, in which `no` is text and `57` a number."""

from __future__ import annotations

import re
from typing import Any

import yaml


class Core(yaml.SafeLoader):
    """The core schema of YAML 1.2: null, true and false, whole numbers, numbers; all else is text."""


Core.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("null", r"~|null|Null|NULL|", [*"~nN", ""]),
    ("bool", r"true|True|TRUE|false|False|FALSE", list("tTfF")),
    ("int", r"[-+]?[0-9]+", list("-+0123456789")),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", list("-+.0123456789")),
):
    Core.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_pattern})$"), _first)


def values_of(text: str) -> Any:
    """What an editor would hold against a schema."""
    return yaml.load(text, Loader=Core)
