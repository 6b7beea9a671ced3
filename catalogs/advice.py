"""Usual ranges: those that come with the tool, each with its source, and a plan's own in their place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path

from kitwright.catalogs.nodes import Node, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.plan_goals import contradictions, figures_by_goal, no_figure, read_bound
from kitwright.catalogs.problems import InputError, Problem, clip, did_you_mean
from kitwright.catalogs.read_yaml import read_yaml
from kitwright.catalogs.values import is_visible
from kitwright.solver.plan import Advice
from kitwright.solver.registry import Figure

_BOUNDS = ("min", "max")
_SAID = ("assumes", "basis")
"""What the bundled file says of all ranges of a figure."""

_LONGEST = 80
"""Characters that the words of a range may have."""

Ranges = Mapping[str, tuple[Advice, ...]]


def read_advice(node: Node | None, problems: list[Problem]) -> Ranges:
    """A plan's own ranges by figure; a figure that it names without a range is there with none."""
    return _read(node, problems)


@cache
def default_advice() -> Ranges:
    """The ranges that come with the tool, ``advice.yaml`` beside this module; each says where it comes from.

    Raises:
        InputError: the file has been changed into one that cannot be read.

    >>> first = default_advice()["cranking_gauge_pressure"][0]
    >>> first.words, first.source
    ('petrol of 87 AKI (92 RON)', 'common practice, no source')
    """
    problems: list[Problem] = []
    with resources.as_file(resources.files("kitwright.catalogs") / "advice.yaml") as path:
        found = bundled_advice(read_yaml(Path(path), problems), problems)
    if problems:
        raise InputError(problems)
    return found


def bundled_advice(table: Node | None, problems: list[Problem]) -> Ranges:
    """Ranges in the form of ``advice.yaml``: a figure's ``ranges`` with what is said of all of them.

    A range has ``source`` beside its bounds, and may have ``when``: fields of parts and what they must say.
    """
    if not isinstance(table, Table):
        raise TypeError("advice.yaml holds a mapping of figures")
    bare = Table({}, table.file, table.line, dict(table.lines))
    said: dict[tuple[str, str], dict[str, str]] = {}
    when: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
    for name, about in table.entries.items():
        ranges = about.entries.get("ranges") if isinstance(about, Table) else None
        if not isinstance(about, Table) or not isinstance(ranges, Table):
            problems.append(fault(about, "a figure has `ranges`, `assumes` and `basis`", name=f"advice.{name}"))
            continue
        kept = Table({}, ranges.file, ranges.line, dict(ranges.lines))
        for words, each in ranges.entries.items():
            entries = dict(each.entries) if isinstance(each, Table) else {}
            whole = {key: about.entries.get(key) for key in _SAID} | {"source": entries.pop("source", None)}
            said[name, words] = {key: text.text for key, text in whole.items() if isinstance(text, Scalar)}
            if not all(said[name, words].get(key) for key in whole):
                missing = "a range says its `source`, and a figure what it `assumes` and its `basis`"
                problems.append(fault(each, missing, name=f"advice.{name}.{words}"))
            asked = entries.pop("when", None)
            fields = asked.entries.items() if isinstance(asked, Table) else ()
            when[name, words] = tuple((key, text.text) for key, text in fields if isinstance(text, Scalar))
            kept.entries[words] = Table(entries, each.file, each.line)
        bare.entries[name] = kept
    found = _read(bare, problems)

    def told(each: Advice) -> Advice:
        about = {"source": "", "assumes": "", "basis": "", **said[each.figure, each.words]}
        return replace(
            each,
            own=False,
            source=about["source"],
            assumes=about["assumes"],
            basis=about["basis"],
            when=when[each.figure, each.words],
        )

    return {name: tuple(map(told, ranges)) for name, ranges in found.items()}


def _read(node: Node | None, problems: list[Problem]) -> dict[str, tuple[Advice, ...]]:
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
            read = [_range(figures[name], words, ranges, problems) for words in ranges.entries]
            found[name] = tuple(each for each in read if each is not None)
    return found


def _range(figure: Figure, words: str, table: Table, problems: list[Problem]) -> Advice | None:
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
    return Advice(figure.name, words, values.get("min"), values.get("max"))
