"""What was typed wrongly, said in plain words and with what to type instead."""

from __future__ import annotations

import contextlib
import itertools
import re
from collections.abc import Iterable, Iterator, Sequence
from contextvars import ContextVar
from enum import Enum
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperGroup

from kitwright.cli.completion import is_plan
from kitwright.cli.seen import quoted, seen

_USAGE_ERROR: Any = typer.BadParameter.__mro__[1]
"""The error that shows a command's usage line above its message; typer has no public name for it."""

_typed: ContextVar[tuple[str, ...]] = ContextVar("typed", default=())

_NUMBERS = (
    (r"valid integer", "a whole number is wanted"),
    (r"valid number", "a number is wanted"),
    (r"greater than or equal to (\S+)", "the least is {}"),
    (r"less than or equal to (\S+)", "the most is {}"),
)
_BOUNDS = ("--aim", "--min", "--max", "--step", "--weight")
_UNQUOTED = re.compile(r"[^\W\d_][\w/²³]*|±|\+/-|[\d.,/]+|up|down")
"""A word that a quantity may have lost with its quotes: a unit, a ±, a number, up or down."""

_MOST_NAMED = 5


def typed_words() -> tuple[str, ...]:
    """Words of the command line that is being run, ``kitwright`` first; none outside of one."""
    return _typed.get()


class Commands(TyperGroup):
    """The commands; what was typed wrongly is said in the builder's words."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        """Keep what was typed, for the messages."""
        _typed.set((info_name or "kitwright", *args))
        with self._in_plain_words():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was typed."""
        with self._in_plain_words():
            return super().invoke(ctx)

    @contextlib.contextmanager
    def _in_plain_words(self) -> Iterator[None]:
        try:
            yield
        except _USAGE_ERROR as error:
            command: Any = self
            for word in typed_words()[1:]:
                command = getattr(command, "commands", {}).get(word, command)
            said = _said(error, command, typed_words())
            if said is None and error.format_message().isprintable():
                raise
            raise _USAGE_ERROR(seen(error.format_message() if said is None else said), error.ctx) from None


def _said(error: Any, command: Any, words: Sequence[str]) -> str | None:
    """Message in plain words; None where typer's own does."""
    text = error.format_message()
    if hasattr(error, "possibilities"):
        return _no_option(error.option_name, command, words)
    if unknown := re.fullmatch(r"No such command '(.*)'\.", text, re.DOTALL):
        return _no_command(unknown[1], command)
    if extra := re.fullmatch(r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)", text, re.DOTALL):
        return _extra(extra[1].split() or [extra[1]], words)  # a word may be of blanks alone
    if "requires an argument" in text and (option := getattr(error, "option_name", "")):
        return f"`{option}` wants a value behind it{_help_of(option, command)}"
    if text.startswith("Missing argument"):
        return _missing(error, command)
    parameter = getattr(error, "param", None)
    if parameter is None or not text.startswith("Invalid value"):
        return None
    return _bad_value(text, parameter, words)


def _no_option(option: str, command: Any, words: Sequence[str]) -> str:
    if re.fullmatch(r"-[\d.].*", option):
        way = "; `kitwright shelf take` takes parts away" if "put" in words else ""
        return f"`{option}` was read as an option, and a number below 0 has no place here{way}"
    name = option.lstrip("-").replace("-", "_").lower()
    said = f"there is no option `{option}`"
    options = [each for parameter in command.params for each in getattr(parameter, "opts", []) if each[:2] == "--"]
    chosen = next((f"{each.opts[0]} {name}" for each in command.params if name in _choices(each)), "")
    figure, ceiling = "", None
    if "--aim" in options:
        from kitwright.catalogs.problems import nearest
        from kitwright.solver.plan import REV_CEILING
        from kitwright.solver.registry import public_figures

        ceiling = REV_CEILING
        figure = nearest(name, [*public_figures(), ceiling])
    near = _near(option, options)
    if figure == ceiling and (figure == name or not (near or chosen)):
        return f"{said}; the rev ceiling is asked for with `--min {ceiling}=…`"
    if figure == name or (figure and not near and not chosen):
        return f"{said}; a figure is asked for with `--aim {figure}=…`, `--min {figure}=…` or `--max {figure}=…`"
    likely = chosen or near
    return f"{said}; did you mean `{likely}`?" if likely else said


def _no_command(name: str, command: Any) -> str | None:
    """A command that there is none of, where an option of another asks for it; None else."""
    option = f"--{name.replace('_', '-').lower()}"
    asked = [
        each
        for each, found in getattr(command, "commands", {}).items()
        if any(option in getattr(parameter, "opts", ()) for parameter in found.params)
    ]
    return f"there is no command `{name}`; it is asked for with `kitwright {asked[0]} … {option}`" if asked else None


def _near(option: str, options: Iterable[str]) -> str:
    from kitwright.catalogs.problems import nearest

    near = nearest(option.lstrip("-"), {each.lstrip("-").replace("-", "_") for each in options})
    return f"--{near.replace('_', '-')}" if near else ""


def _choices(parameter: Any) -> list[str]:
    """What an option takes, where that is one of a few words; typer keeps it in another place from 0.26 on."""
    kind = getattr(getattr(parameter, "type_descriptor", None), "annotation", None)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return [str(each.value) for each in kind]
    return [str(getattr(each, "value", each)) for each in getattr(getattr(parameter, "type", None), "choices", ())]


def _extra(extra: Sequence[str], words: Sequence[str]) -> str:
    """Words too many: most often what was behind a blank in a value without quotes."""
    first = extra[0]
    said = f"`{' '.join(extra)}` is too much here"
    for before, word in itertools.pairwise(words):
        if word != first:
            continue
        place = words.index(word)
        option = words[place - 2] if place > 1 else ""
        if option in _BOUNDS and "=" not in before:
            return f"{said}; write `{option} {before}={first}`"
        if "=" in before or before[:1].isdigit():
            rest = list(itertools.takewhile(_UNQUOTED.fullmatch, words[place:]))
            if rest:
                value = quoted(" ".join([before, *rest]))
                whole = f"{option} {value}" if option.startswith("--") else value
                return f"{said}; a value with a blank in it goes into quotes: `{whole}`"
    if Path(first).suffix in (".yaml", ".yml"):
        return f"{said}; one plan at a time"
    return f"{said}; a value with a blank in it goes into quotes, and an option begins with `--`"


def _help_of(option: str, command: Any) -> str:
    for parameter in command.params:
        if option in getattr(parameter, "opts", ()):
            return f": {parameter.metavar or 'see `-h`'} ({parameter.help})"
    return ""


def plans_in(folder: Path) -> list[str]:
    """Plans that lie in a folder, as they would be typed; none where it cannot be read."""
    with contextlib.suppress(OSError):
        return [str(path) for path in sorted(folder.iterdir()) if is_plan(path)]
    return []


def plans_near() -> list[str]:
    """Plans in this folder, or else in those just below."""
    here = plans_in(Path())
    with contextlib.suppress(OSError):
        below = [each for each in sorted(Path().iterdir()) if each.is_dir() and not each.name.startswith(".")]
        return here or [plan for folder in below for plan in plans_in(folder)]
    return here


def _missing(error: Any, command: Any) -> str | None:
    """A word that has to be there; a plan is looked for here, and for the rest an example of the help is given."""
    name = getattr(error.param, "metavar", "") or str(error.param.name).upper()
    if name != "PLAN":
        found = re.search(r"^ +(kitwright .+)$", command.epilog or "", re.MULTILINE)
        return f"{name} is missing; such as: `{found[1]}`" if found else None
    here = plans_near()[:_MOST_NAMED]
    path = error.ctx.command_path
    if not here:
        return f"no plan is named; write `{path} PLAN`; `kitwright start DIR` lays a plan to begin with"
    more = f"; also here: {', '.join(here[1:])}" if here[1:] else ""
    return f"no plan is named; write `{path} {here[0]}`{more}"


def _bad_value(text: str, parameter: Any, words: Sequence[str]) -> str | None:
    option = parameter.opts[0] if parameter.opts and parameter.opts[0][:1] == "-" else parameter.metavar
    value = next((word for before, word in itertools.pairwise(words) if before in parameter.opts), "")
    read = f"`{option} {value}`".replace(" `", "`")
    if choices := _choices(parameter):
        from kitwright.catalogs.problems import did_you_mean

        return f"{read}: {did_you_mean(value, choices, 'it takes')}"
    for pattern, sentence in _NUMBERS:
        if found := re.search(pattern, text):
            return f"{read}: {sentence.format(*found.groups())}"
    return None
