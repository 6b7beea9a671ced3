"""What a terminal would act on, written out: names and paths come from files and command lines, and from anywhere.

Every text on its way to people goes through here, once, at the end: reports before they are laid out (``blocks``),
messages where they are said (``output.say``), cells of CSV. JSON and HTML have escapes of their own.
"""

from __future__ import annotations

import shlex
import unicodedata
from collections.abc import Iterable


def seen(text: str, keep: str = "") -> str:
    r"""Text on one line with controls, direction marks and half characters as escapes; ``keep`` stays as it is.

    >>> seen("rod\x1b[31m\nverdict: fits"), seen("98 mm ± 0.05 mm")
    ('rod\\x1b[31m\\nverdict: fits', '98 mm ± 0.05 mm')
    """
    if text.isprintable():
        return text
    return "".join(
        each
        if each.isprintable() or each in keep or unicodedata.category(each) == "Zs"
        else each.encode("unicode_escape").decode()
        for each in text
    )


def on_one_line(text: str) -> str:
    r"""As :func:`seen`, with a blank where the text of a note goes on in another line.

    >>> on_one_line("bought used\nsound"), on_one_line("\a")
    ('bought used sound', '\\x07')
    """
    return text if text.isprintable() else seen(text.replace("\r\n", " ").replace("\n", " ").replace("\t", " "))


def quoted(word: str) -> str:
    r"""A word of a command as a shell takes it; one that cannot be shown raw as bash and zsh read escapes.

    >>> quoted("my plan.yaml"), quoted("a\x1b.yaml")
    ("'my plan.yaml'", "$'a\\x1b.yaml'")
    """
    if word.isprintable():
        return shlex.quote(word)
    return "$'" + "".join(_in_dollar_quotes(each) for each in word) + "'"


def _in_dollar_quotes(character: str) -> str:
    if character in "\\'":
        return f"\\{character}"
    if character.isprintable():
        return character
    if "\udc80" <= character <= "\udcff":  # a byte of a name that is no UTF-8
        return f"\\x{ord(character) - 0xDC00:02x}"
    number = ord(character)
    # Two digits alone are a byte; above it the shell writes the character in the terminal's encoding.
    return f"\\x{number:02x}" if number < 0x80 else f"\\U{number:08x}"


def joined(words: Iterable[str]) -> str:
    """Words of a command as one line that can be copied.

    >>> joined(["kitwright", "find", "my plan.yaml"])
    "kitwright find 'my plan.yaml'"
    """
    return " ".join(map(quoted, words))
