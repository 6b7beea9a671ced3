"""Ranges of common practice: those that come with the tool, and a plan's own in their place."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from pathlib import Path

from kitwright.catalogs.nodes import Node, Table, fault, in_words, is_absent
from kitwright.catalogs.plan_goals import contradictions, figures_by_goal, no_figure, read_bound
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_yaml import read_yaml
from kitwright.catalogs.values import is_visible
from kitwright.solver.plan import Advice
from kitwright.solver.registry import Figure

_BOUNDS = ("min", "max")
_LONGEST = 80
"""Characters that the words of a range may have."""

Ranges = Mapping[str, tuple[Advice, ...]]


def read_advice(node: Node | None, problems: list[Problem]) -> Ranges:
    """A plan's own ranges by figure; a figure that it names without a range is there with none."""
    return _read(node, problems, own=True)


@cache
def default_advice() -> Ranges:
    """The ranges that come with the tool, ``advice.yaml`` beside this module; common practice, no source.

    Raises:
        InputError: the file has been changed into one that cannot be read.

    >>> [each.words for each in default_advice()["cranking_gauge_pressure"]][0]
    'pump petrol 87 AKI'
    """
    problems: list[Problem] = []
    with resources.as_file(resources.files("kitwright.catalogs") / "advice.yaml") as path:
        table = read_yaml(Path(path), problems)
    found = _read(table, problems, own=False)
    if problems:
        raise InputError(problems)
    return found


def _read(node: Node | None, problems: list[Problem], own: bool) -> dict[str, tuple[Advice, ...]]:
    if node is None or is_absent(node):
        return {}
    if not isinstance(node, Table):
        suggestion = "write `advice: {compression: {pump petrol: {min: 9.0, max: 10.0}}}`"
        problems.append(fault(node, f"{in_words(node)} was read, and a mapping is wanted", suggestion, name="advice"))
        return {}
    figures = figures_by_goal()
    found: dict[str, tuple[Advice, ...]] = {}
    for name, ranges in node.entries.items():
        where = clip(f"advice.{name}")
        if name not in figures:
            problems.append(Problem(*no_figure(name, figures), *node.place(name), field=where))
        elif is_absent(ranges):
            found[name] = ()
        elif not isinstance(ranges, Table):
            message = f"{in_words(ranges)} was read, and a mapping of words to a range is wanted"
            problems.append(fault(ranges, message, "write `{pump petrol: {min: …, max: …}}`", name=where))
        else:
            read = [_range(figures[name], words, ranges, problems, own) for words in ranges.entries]
            found[name] = tuple(each for each in read if each is not None)
    return found


def _range(figure: Figure, words: str, table: Table, problems: list[Problem], own: bool) -> Advice | None:
    node, where = table.entries[words], clip(f"advice.{figure.name}.{words}")
    if not words.strip() or len(words) > _LONGEST or not is_visible(words):
        message = f"what a range is for takes 1 to {_LONGEST} characters that can be seen"
        problems.append(Problem(message, "such as `pump petrol`", *table.place(words), field=where))
        return None
    if not isinstance(node, Table):
        message = f"{in_words(node)} was read, and a range is wanted"
        problems.append(fault(node, message, "write `{min: …, max: …}`", name=where))
        return None
    before = len(problems)
    values: dict[str, float] = {}
    for key, each in node.entries.items():
        if key not in _BOUNDS:
            message = f"`{clip(key)}` is no part of a range"
            suggestion = did_you_mean(key, _BOUNDS, "a range takes")
            problems.append(Problem(message, suggestion, *node.place(key), field=where))
        elif not is_absent(each):
            value = read_bound(figure, key, each, f"{where}.{key}", problems)
            if value is not None:
                values[key] = value
    if len(problems) == before and not values:
        problems.append(fault(node, "the range says nothing", "give it `min`, `max` or both", name=where))
    if len(problems) == before:
        problems.extend(contradictions(values, node, where))
    if len(problems) > before:
        return None
    return Advice(figure.name, words, values.get("min"), values.get("max"), own)
