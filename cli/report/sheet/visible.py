"""Characters that would turn or hide the text around them, made visible: a part's name comes from anywhere."""

from __future__ import annotations

import unicodedata

_KEPT = {"\n", "\t"}


def visible(text: str) -> str:
    r"""Give a text with control and direction characters written out, and the rest as it is.

    >>> visible("rod\u202e"), visible("Pleuel 98 mm ± 0,05")
    ('rod⟨U+202E⟩', 'Pleuel 98 mm ± 0,05')
    """
    return "".join(each if each in _KEPT or not _hides(each) else f"⟨U+{ord(each):04X}⟩" for each in text)


def _hides(character: str) -> bool:
    """Whether a character is a control, a direction mark or half of a pair; U+00AD may hide in a word, unharmed."""
    category = unicodedata.category(character)
    return category in ("Cc", "Cs") or (category == "Cf" and character not in "\u00ad\u200c\u200d")
