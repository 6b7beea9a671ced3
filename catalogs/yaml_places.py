"""Places in a YAML text: its nodes with where they begin and end, and its comments."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import yaml

from kitwright.catalogs.read_yaml import LOADER

Node = yaml.nodes.Node


def comments(text: str) -> list[str]:
    """What stands behind ``#`` outside of values, line by line."""
    values = [
        (token.start_mark.index, token.end_mark.index)
        for token in scanned(text, yaml.scan)
        if isinstance(token, yaml.ScalarToken)
    ]
    found = []
    for match in re.finditer(r"(?:^|(?<=\s))#[^\r\n]*", text):
        while values and values[0][1] <= match.start():
            values.pop(0)
        if not values or not values[0][0] < match.start():
            found.append(match[0].rstrip())
    return found


def kept(old: list[str], new: list[str]) -> bool:
    """Whether every old comment is there still, in its order."""
    rest = iter(new)
    return all(any(each == other for other in rest) for each in old)


def scanned(text: str, work: Callable[..., Any]) -> Any:
    """What the scanner makes of a text that has been read; its places are the text's.

    Reading may be done by libyaml, which takes a tab for a blank behind a value, before a comment or within a word.
    The scanner whose places are used here does not: it is shown a blank, which is as long. What it cannot read all
    the same, libyaml scans.
    """
    try:
        found = work(text.replace("\t", " "), Loader=yaml.SafeLoader)
        return found if isinstance(found, Node | None) else list(found)
    except yaml.YAMLError:
        found = work(text, Loader=LOADER)
        return found if isinstance(found, Node | None) else list(found)


def nodes(text: str) -> Node | None:
    """Nodes of a text with their places; None where it holds none."""
    found: Node | None = scanned(text, yaml.compose)
    return found
