"""What is wrong with the input: one :class:`Problem` each; :class:`InputError` carries them all at once."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Severity = Literal["fault", "warning"]

_LONGEST_LIST = 20


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or only odd, and where it was read.

    Attributes:
        message: what was read, and what is wrong with it.
        suggestion: what was probably meant, or what to do next.
        file: file as the user named it, or the command-line option.
        line: counted from 1; 0 where no line can be named.
        part: id of the part.
        field: field of the part, or key of the plan (``goals.quench``).
        read: the text that was read.
        severity: a ``fault`` stops, a ``warning`` never does.

    """

    message: str
    suggestion: str = ""
    file: str = ""
    line: int = 0
    part: str = ""
    field: str = ""
    read: str = ""
    severity: Severity = "fault"

    @property
    def place(self) -> str:
        """``file:line``, or as much of it as is known."""
        return f"{self.file}:{self.line}" if self.line else self.file

    def __str__(self) -> str:
        about = [f"part `{clip(self.part)}`"] if self.part else []
        named = clip(self.field, 100)
        about += [f"field `{named}`" if self.part else f"`{named}`"] if named else []
        said = f"{self.message}; {self.suggestion}" if self.suggestion else self.message
        return printable(": ".join(text for text in (clip(self.place, 400), ", ".join(about), said) if text))


class RefusedError(ValueError):
    """A text that cannot be taken: ``problem`` says why, ``suggestion`` what to do."""

    def __init__(self, problem: str, suggestion: str) -> None:
        super().__init__(f"{problem}; {suggestion}")
        self.problem, self.suggestion = problem, suggestion


class InputError(Exception):
    """The input is at fault; ``problems`` holds all that could be found, in the order of files and lines."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda each: (each.file, each.line)))
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(map(str, self.problems))


def printable(text: str) -> str:
    r"""Text with everything that a terminal would act on written as an escape.

    >>> printable("a" + chr(27) + "[31m")
    'a\\x1b[31m'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def clip(text: str, most: int = 60) -> str:
    """Text short enough for a message.

    >>> clip("a" * 10, 4)
    'aaaa…'
    """
    return text if len(text) <= most else f"{text[:most]}…"


def nearest(word: str, known: Iterable[str]) -> str:
    """Find the known word that ``word`` looks like, or nothing.

    >>> nearest("strok", ["stroke", "journal"])
    'stroke'
    """
    names = {each.lower(): each for each in known}
    plain = word.strip().lower().replace("-", "_").replace(" ", "_")[:80]
    if plain in names:
        return names[plain]
    found = difflib.get_close_matches(plain, names, n=1, cutoff=0.65)
    return names[found[0]] if found else ""


def did_you_mean(word: str, known: Iterable[str], what: str = "known") -> str:
    """Suggest the nearest known word, or all that are known.

    >>> did_you_mean("strok", ["stroke", "journal"])
    'did you mean `stroke`?'
    >>> did_you_mean("x", ["stroke", "journal"], "fields")
    'fields: stroke, journal'
    """
    names = list(known)
    near = nearest(word, names)
    if near:
        return f"did you mean `{near}`?"
    if not names:
        return ""
    more = f" … and {len(names) - _LONGEST_LIST} more" if len(names) > _LONGEST_LIST else ""
    return f"{what}: {', '.join(names[:_LONGEST_LIST])}{more}"
