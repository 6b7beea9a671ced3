"""The command to type after a fault."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitwright.cli.seen import joined
from kitwright.cli.usage import plans_in, plans_near, typed_words

if TYPE_CHECKING:
    from kitwright.catalogs.problems import Problem

_ENGINE = re.compile(r"`(--engine [^`]+)`")
_NO_FIGURE = re.compile(r"\bis no figure\b")
_FIGURES = ["All figures:", "  kitwright figures"]


def after_faults(problems: Sequence[Problem], named: dict[str, Any]) -> list[str]:
    """Lines that say what to type once the builder's files or the line that was typed are mended.

    Args:
        problems: what is wrong.
        named: the command's own arguments by name.

    """
    with contextlib.suppress(OSError, ValueError):  # a name that no file can have says enough by itself
        return _after_faults(problems, named)
    return []


def _after_faults(problems: Sequence[Problem], named: dict[str, Any]) -> list[str]:
    plan, catalogue = named.get("plan"), named.get("catalogue") or named.get("place")
    typed = [str(path) for path in (plan, catalogue) if path is not None]
    files = [each.file for each in problems]
    wrong = next((path for path in typed if path in files and not Path(path).is_file()), None)
    if wrong is not None and not (Path(wrong).is_dir() and wrong != str(plan)):
        return _no_such_plan(Path(wrong))
    if any(each.line and each.file not in typed and Path(each.file).is_file() for each in problems):
        words = ["kitwright", "shelf", "check", *(["--plan", typed[0]] if plan is not None else typed[:1])]
        return ["When the catalogue is mended, this looks at all of it:", f"  {joined(words)}"] if typed else []
    if any(file in typed for file in files):
        again = joined(typed_words())
        engine = next(filter(None, (_ENGINE.search(each.suggestion) for each in problems)), None)
        if engine is not None and again:
            return ["For one of them:", f"  {again} {engine[1]}"]
        return ["When the plan is mended, the same again:", f"  {again}"] if again else []
    return _after_words(problems, typed)


def after_words(text: str) -> list[str]:
    """Line that says where a command's words are explained, unless the text itself says what to type."""
    words = typed_words()
    if _NO_FIGURE.search(text):
        return _FIGURES
    if re.search(r"`(kitwright|mkdir|--)|--[a-z]+[= ]", text) or len(words) < 2:
        return []
    return ["How it is typed:", f"  {joined(_command(words))} --help"]


def _after_words(problems: Sequence[Problem], typed: Sequence[str]) -> list[str]:
    said = " ".join(each.message for each in problems)
    if _NO_FIGURE.search(said):
        return _FIGURES
    if re.search(r"\bholds no\b", said) and typed:
        return ["All parts:", f"  {joined(['kitwright', 'shelf', 'list', typed[0]])}"]
    words = typed_words()
    return ["How it is typed:", f"  {joined(_command(words))} --help"] if len(words) > 1 else []


def after_sound(folder: Path, plan: Path | None) -> list[str]:
    """Lines that say what to type once a catalogue is found sound: the question, where a plan asks one of it.

    Args:
        folder: the catalogue.
        plan: one that was named; else what lies in the folder and beside it is looked at.

    """
    with contextlib.suppress(OSError, ValueError):
        near = [str(plan)] if plan is not None else [*plans_in(folder), *plans_in(folder.parent)]
        near.sort(key=lambda each: Path(each).name != "plan.yaml")
        asking = next((each for each in near if _asks(each, folder)), None)
        if asking is not None:
            return ["Next:", f"  {joined(['kitwright', 'find', asking])}"]
    return ["All its parts:", f"  {joined(['kitwright', 'shelf', 'list', str(folder)])}"]


def _asks(plan: str, folder: Path) -> bool:
    """Whether a plan is one of this catalogue."""
    from kitwright.catalogs import read_plan

    asked = read_plan(Path(plan)).folder
    return asked is not None and asked.is_dir() and asked.samefile(folder)


def _command(words: Sequence[str]) -> list[str]:
    """Words of the command itself: ``kitwright shelf take``."""
    return [*words[: 3 if words[1] == "shelf" else 2]]


def _no_such_plan(wrong: Path) -> list[str]:
    """What lies where a plan was looked for: plans in the folder that was named, or beside the name that was typed."""
    if wrong.is_dir():
        near = plans_in(wrong)
        if not near and any(each.suffix.lower() in (".yaml", ".yml", ".csv") for each in wrong.iterdir()):
            return [
                "The folder holds no plan; as a catalogue, this looks at it:",
                "  " + joined(["kitwright", "shelf", "check", str(wrong)]),
            ]
    else:
        near = plans_in(wrong.parent) if wrong.parent.is_dir() else []
    near = near or plans_near()
    if not near:
        return ["A plan and a catalogue to begin with:", "  kitwright start DIR"]
    best = next(iter(difflib.get_close_matches(str(wrong), near, 1, 0.0)), near[0])
    words = [best if word == str(wrong) else word for word in typed_words()]
    others = sorted(set(near) - {best})
    more = [f"Plans beside it: {', '.join(others[:5])}"] if others else []
    return ["A plan that is there:", f"  {joined(words)}", *more]
