"""What the shell offers while a command is being typed: plans, ids of parts, figures, kinds.

Nothing here ever prints or raises: a plan or a catalogue that is at fault gives nothing to offer, and the command
itself says later what is wrong. Only ids are read of a catalogue, so that the answer is there at once.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import re
import shlex
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import wraps
from pathlib import Path

import typer

INSTRUCTION = "_KITWRIGHT_COMPLETE"
"""Environment variable with which a shell asks."""

SHELLS = ("bash", "zsh", "fish", "powershell", "pwsh")

_MOST_READ = 100_000
"""Bytes that are looked at to tell a plan from another YAML file."""

_ZSH_LAST = "compdef _kitwright_completion kitwright"
_ZSH_INSTEAD = f"""if [[ $funcstack[1] == _kitwright ]]; then
  _kitwright_completion
else
  {_ZSH_LAST}
fi
"""

_WORD = re.compile(r"""(?:[^\s'"\\]|\\.|'[^']*'?|"(?:[^"\\]|\\.)*"?)+""")

_ATTACHED = re.compile(r"--[a-z-]+=")
_ZSH_OFFERED = re.compile(r"""^(_arguments '\*: :\(\()?\"""")

_line: list[str] = []
"""Words of the line, those behind the cursor among them."""

Offer = Callable[[typer.Context, str], list[str]]


def name_shell(words: Sequence[str]) -> None:
    """Let ``--install-completion zsh`` mean zsh; typer by itself takes the shell that it runs in, whatever is named."""
    for option, word in itertools.pairwise(words):
        if option in ("--install-completion", "--show-completion") and word in SHELLS:
            os.environ["_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION"] = "1"


def mend_zsh() -> None:
    """Let the first tab key in a zsh complete, too.

    zsh loads an installed completion when it is first wanted; what typer installs then only says which function
    completes, and is not called before the second tab.
    """
    script = Path.home() / ".zfunc" / "_kitwright"
    with contextlib.suppress(OSError):
        text = script.read_text(encoding="utf-8")
        if text.rstrip().endswith(_ZSH_LAST):
            script.write_text(text.rstrip().removesuffix(_ZSH_LAST) + _ZSH_INSTEAD, encoding="utf-8")


def is_asked() -> bool:
    """Whether a shell asks what could come next."""
    return INSTRUCTION in os.environ


def answer(run: Callable[[], None]) -> None:
    """Let the command line answer the shell, without a word on standard error, whatever happens."""
    _line.clear()
    after_sign = _join_words()
    said, other = io.StringIO(), io.StringIO()
    with (
        contextlib.suppress(Exception, SystemExit, KeyboardInterrupt),
        contextlib.redirect_stderr(other),
        contextlib.redirect_stdout(said),
    ):
        run()
    lines = said.getvalue().splitlines()
    if after_sign:  # the shell has what stands before the sign already
        lines = [line.partition("=")[2] if "=" in line else line for line in lines]
    lines = [_with_option(line) for line in lines]
    with contextlib.suppress(OSError):
        sys.stdout.write("".join(f"{line}\n" for line in lines))
        sys.stdout.flush()


def _join_words() -> bool:
    """Put words together again that bash has broken at ``=``: ``rod``, ``=``, ``r8`` were typed as ``rod=r8``.

    Whether the word that is being typed is one of those.
    """
    with contextlib.suppress(Exception):
        _line.extend(_word(each) for each in _WORD.findall(os.environ.get("_TYPER_COMPLETE_ARGS", "")))
        if os.environ[INSTRUCTION] != "complete_bash":
            return False
        words = _WORD.findall(os.environ["COMP_WORDS"])
        place = int(os.environ["COMP_CWORD"])
        joined: list[str] = []
        new_place = place
        for number, word in enumerate([*words, ""] if place == len(words) else words):
            if joined and (word == "=" or words[number - 1] == "="):
                joined[-1] += word
                new_place -= number <= place
            else:
                joined.append(word)
        os.environ["COMP_WORDS"] = " ".join(joined)
        os.environ["COMP_CWORD"] = str(new_place)
        _line.extend(_word(each) for number, each in enumerate(joined) if number != new_place)
        value = joined[new_place].removeprefix("--")  # in `--use=ro` the shell has the option, and no value yet
        return "=" in words[max(place - 1, 0) : place + 1] and (
            not joined[new_place].startswith("--") or value.count("=") > 1
        )
    return False


def _with_option(line: str) -> str:
    """Put `--use=` before what is offered for `--use=ro`: zsh and fish compare with the whole word, bash has broken it.

    A line of zsh's holds what is offered in quotes, the first of them behind an opening.
    """
    shell, typed = os.environ.get(INSTRUCTION), os.environ.get("_TYPER_COMPLETE_ARGS", "")
    attached = _ATTACHED.match(_line[-1]) if _line and not typed.endswith(" ") else None
    if attached is None or shell not in ("complete_zsh", "complete_fish"):
        return line
    if shell == "complete_fish":
        return f"{attached[0]}{line}"
    return _ZSH_OFFERED.sub(lambda found: f"{found[0]}{attached[0]}", line, count=1)


def _word(raw: str) -> str:
    """A word without the quotes that it was typed with."""
    with contextlib.suppress(ValueError):
        return "".join(shlex.split(raw))
    return raw


def _offering(find: Callable[[typer.Context, str], Iterable[str]]) -> Offer:
    """Keep what begins as it was typed, and give nothing where anything goes wrong."""

    @wraps(find)
    def offer(ctx: typer.Context, incomplete: str) -> list[str]:
        with contextlib.suppress(Exception):
            return [each for each in find(ctx, incomplete) if each.startswith(incomplete)]
        return []

    return offer


# what there is


@_offering
def plans(ctx: typer.Context, incomplete: str) -> Iterator[str]:
    """Plans, and folders on the way to one."""
    folder, slash, _ = incomplete.rpartition("/")
    before = folder + slash
    for path in sorted(Path(before or ".").iterdir()):
        if path.name.startswith("."):
            continue
        if path.is_dir():
            yield f"{before}{path.name}/"
        elif is_plan(path):
            yield f"{before}{path.name}"


@_offering
def ids(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """Ids of all parts."""
    return [part for _, part in _parts()]


@_offering
def pins(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """``KIND=ID``: kinds first, the ids where only one kind can be meant."""
    from kitwright.solver.parts import KINDS

    kinds = [kind for kind in KINDS if f"{kind}=".startswith(incomplete)]
    if "=" not in incomplete and len(kinds) != 1:
        return [f"{kind}=" for kind in kinds]
    return [f"{kind}={part}" for kind, part in _parts()]


@_offering
def figures(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """Names of figures."""
    return sorted(_figures())


@_offering
def bounds(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """``FIGURE=``."""
    return [f"{name}=" for name in sorted(_figures())]


@_offering
def kind(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """One kind of part."""
    from kitwright.solver.parts import KINDS

    return KINDS


@_offering
def kinds(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """Kinds of part, with commas between."""
    from kitwright.solver.parts import KINDS

    return _listed(incomplete, KINDS)


@_offering
def lobes(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """``CAM.VALVE``."""
    return [f"{part}.{valve}" for kind, part in _parts() if kind == "cam" for valve in ("intake", "exhaust")]


@_offering
def works(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """Machining operations, with commas between."""
    from kitwright.solver.plan import MACHINING

    return _listed(incomplete, MACHINING)


@_offering
def amounts(ctx: typer.Context, incomplete: str) -> Iterable[str]:
    """``WORK=``."""
    from kitwright.solver.plan import MACHINING

    return [f"{name}=" for name in MACHINING]


def _listed(incomplete: str, words: Iterable[str]) -> list[str]:
    before, comma, _ = incomplete.rpartition(",")
    there = before.split(",")
    return [f"{before}{comma}{word}" for word in words if word not in there]


def _figures() -> list[str]:
    from kitwright.solver.plan import REV_CEILING
    from kitwright.solver.registry import public_figures

    return [*public_figures(), REV_CEILING]


# the plan and its catalogue


def is_plan(path: Path) -> bool:
    """Whether a YAML file says where its catalogue is."""
    if path.suffix.lower() not in (".yaml", ".yml") or not path.is_file():
        return False
    with path.open("rb") as file:
        return any(
            line.startswith(b"catalogue:") for line in file.read(_MOST_READ).removeprefix(b"\xef\xbb\xbf").splitlines()
        )


def _folder() -> Path | None:
    """Catalogue that the line names, itself or through a plan; else through the one plan that lies here."""
    for option in ("--catalogue", "--plan"):
        for word, value in itertools.pairwise(_line):
            if word == option:
                return Path(value) if option == "--catalogue" else _of_plan(Path(value))
    for path in map(Path, _line[1:]):
        if is_plan(path):
            return _of_plan(path)
        if path.is_dir() and "shelf" in _line:
            return path
    if any(word.endswith((".yaml", ".yml")) for word in _line):
        return None  # a plan is named that is not there
    here = [path for path in sorted(Path().iterdir()) if is_plan(path)]
    mine = [path for path in here if path.name == "plan.yaml"] or here
    return _of_plan(mine[0]) if len(mine) == 1 else None


def _of_plan(plan: Path) -> Path | None:
    from kitwright.catalogs import read_plan

    return read_plan(plan).folder


def _parts() -> list[tuple[str, str]]:
    """Kind and id of every part of the catalogue; none of one that cannot be read."""
    folder = _folder()
    if folder is None:
        return []
    from kitwright.catalogs.load import ids_of

    return ids_of(folder)
