"""The header of a builder's own spreadsheet to the fields of a part: by name, by another word, by an abbreviation.

Nothing is likened: a header is a field's name but for case, blanks and unit, or a word of the list below, or an
abbreviation that only one field can have. What fits several fields is a fault, what fits none is left out and told.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from kitwright.catalogs.csv_lines import HEADER, SPREAD
from kitwright.catalogs.problems import RefusedError, clip, did_you_mean
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS
from kitwright.solver.quantity import BARE, COMMON_UNITS, MONEY, TEMPERATURE, Dimension, QuantityError, unit_factor

How = Literal["name", "another word", "abbreviation", "--map"]

KIND = "kind"
"""What a column may be taken for beside the fields."""

_WORDS = {
    "id": "no, nr, number, part, part no, part number, part id, nummer, teil, teilenummer, teilenr, référence, réf, "
    "repère, numéro",
    "name": "description, title, bezeichnung, beschreibung, benennung, désignation, libellé",
    "price": "cost, preis, kosten, prix, coût",
    "on_shelf": "qty, quantity, stock, in stock, on hand, count, menge, anzahl, bestand, lagerbestand, vorrat, "
    "auf lager, quantité, qté, en stock",
    "note": "notes, comment, comments, remark, remarks, bemerkung, bemerkungen, anmerkung, notiz, remarque, remarques, "
    "commentaire",
    "stroke": "hub, course",
    "bore": "bohrung, zylinderbohrung, alésage",
    "length": "länge, laenge, centre to centre, center to center, centre distance, achsabstand, longueur, entraxe",
    "journal": "crankpin, rod journal, hubzapfen, kurbelzapfen, maneton",
    "big_end": "pleuelfuß, tête de bielle",
    "pin": "piston pin, gudgeon pin, wrist pin, bolzen, kolbenbolzen, axe, axe de piston",
    "compression_height": "kompressionshöhe, kompressionshoehe, hauteur de compression",
    "dish": "mulde, muldenvolumen, kolbenmulde",
    "block_height": "blockhöhe, blockhoehe, hauteur de bloc",
    "thickness": "dicke, stärke, compressed thickness, épaisseur",
    "mass": "weight, gewicht, masse, poids",
    "material": "werkstoff, matière, matériau",
    "chamber": "chamber volume, brennraum, brennraumvolumen, volume de chambre",
}
"""Other words that builders write over a column (dictionary words; common practice, no source)."""

_KINDS = {
    "block": "motorblock, bloc, carter",
    "crank": "crankshaft, crankshafts, kurbelwelle, kurbelwellen, vilebrequin, vilebrequins",
    "rod": "conrod, conrods, connecting rod, connecting rods, pleuel, bielle, bielles",
    "piston": "kolben",
    "gasket": "head gasket, head gaskets, dichtung, dichtungen, kopfdichtung, kopfdichtungen, joint, joints, "
    "joint de culasse, joints de culasse",
    "spacer": "entretoise, entretoises",
    "head": "cylinder head, cylinder heads, zylinderkopf, zylinderköpfe, culasse, culasses",
    "cam": "camshaft, camshafts, nockenwelle, nockenwellen, arbre à cames, arbres à cames",
    "rocker": "rocker arm, rocker arms, kipphebel, culbuteur, culbuteurs",
    "spring": "valve spring, valve springs, feder, federn, ventilfeder, ventilfedern, ressort, ressorts",
    "retainer": "federteller",
    "pushrod": "push rod, push rods, stößelstange, stößelstangen, tige de culbuteur, tiges de culbuteur",
    "flywheel": "schwungrad, schwungräder, volant, volants",
}
"""Words for a kind in a file's name (dictionary words; common practice, no source)."""

_NO_FIELD = {"throw": "a throw is half the stroke: write the stroke"}
_BRACKETS = re.compile(r"[\[(]\s*([^\[\]()]*?)\s*[\])]")
_LAST = re.compile(r"^(?P<name>.+?)(?:\s*[,;:]\s*|[\s_]+)(?:in[\s_]+)?(?P<unit>[^\s_,;:]+)$")
_CURRENCY = re.compile(r"[A-Za-z]{2,4}|\W{1,2}")
_UNITS = {'"': "in", "″": "in", "”": "in", "''": "in", "inches": "in", "ccm": "cc", "°": "deg"}
_SHORTEST = 3
"""Letters that an abbreviation of a word has at least."""


@dataclass(frozen=True, slots=True)
class Match:
    """The field that a header stands for: dotted path, unit (empty where the header has none), how it was found."""

    path: str
    unit: str
    how: How
    tolerance: bool = False
    currency: str = ""


def kind_in(name: str) -> tuple[str, str] | None:
    """Find the kind of part that a file's name speaks of, and the word for it; None where it names none, or several.

    >>> kind_in("Kolben 2026"), kind_in("my rods"), kind_in("rods and pistons"), kind_in("shed")
    (('piston', 'kolben'), ('rod', 'rods'), None, None)
    """
    tokens = _tokens(name)
    found: dict[str, str] = {}
    at = 0
    while at < len(tokens):
        for count in range(min(_LONGEST, len(tokens) - at), 0, -1):
            word = " ".join(tokens[at : at + count])
            if word in _KIND_OF:
                found[_KIND_OF[word]] = word
                at += count - 1
                break
        at += 1
    return next(iter(found.items())) if len(found) == 1 else None


class HeaderError(RefusedError):
    """A header that cannot be taken for a field."""


def match_header(
    header: str, fields: Mapping[str, FieldSpec], kinds: Iterable[str], words: Mapping[str, str] | None = None
) -> Match | None:
    """Find the field that a header stands for; None where there is none.

    Args:
        header: as it stands in the file.
        fields: dotted path of each field to its specification.
        kinds: kinds of part in the singular, whose names may stand before a field's: ``rod length``.
        words: field to other words for it, with commas between; those for the fields of parts unless given.

    Raises:
        HeaderError: several fields could be meant, or its unit is of another dimension.

    >>> from kitwright.catalogs.rows import specs_of
    >>> from kitwright.solver.parts import Piston
    >>> match_header("Comp. height (mm)", specs_of(Piston), ["piston"])
    Match(path='compression_height', unit='mm', how='abbreviation', tolerance=False, currency='')
    """
    tolerance = bool(SPREAD.search(header))
    text = SPREAD.sub(" ", header).strip()
    brackets = _BRACKETS.findall(text)
    bare = _BRACKETS.sub(" ", text).strip(" \t:*#_-,;")
    split = _LAST.match(bare)
    tries: list[tuple[str, list[str]]] = [(bare, brackets)]
    if split is not None and not brackets:
        tries.append((split["name"], [split["unit"]]))
    others = _OTHER if words is None else _by_word(words)
    for exact in (True, False):
        for number, (name, units) in enumerate(tries):
            found = _named(name, fields, kinds, others) if exact else _abbreviated(name, fields, header)
            if found is None:
                continue
            path, how = found
            if path == KIND:
                return Match(KIND, "", how)
            unit, currency = _unit(header, path, units, fields[path])
            if number and not (unit or currency):
                continue
            if tolerance and fields[path].form != "quantity":
                continue
            return Match(path, unit, how, tolerance, currency)
    return None


def mapped(header: str, target: str, fields: Mapping[str, FieldSpec]) -> Match | None:
    """Take a header for what ``--map`` says: a field, perhaps with a unit; None where it is to be left out.

    Raises:
        HeaderError: there is no such field, or the unit is not one of its dimension.

    """
    if not target.strip():
        return None
    tolerance = bool(SPREAD.search(target))
    match = HEADER.match(SPREAD.sub(" ", target).strip())
    path, unit = (match["name"].strip(), match["unit"] or "") if match else (target.strip(), "")
    if path == KIND and not unit:
        return Match(KIND, "", "--map")
    if path not in fields:
        raise HeaderError(f"`{clip(path)}` is no field", did_you_mean(path, [*fields, KIND], "fields"))
    own, currency = _unit(header, path, [unit] if unit else _BRACKETS.findall(header), fields[path], bool(unit))
    if tolerance and fields[path].form != "quantity":
        raise HeaderError(f"`{path}` has no ±", f"map the column to `{path}`")
    return Match(path, own, "--map", tolerance, currency)


def why_not(header: str) -> str:
    """Say why a header is left out."""
    tokens = _tokens(_BRACKETS.sub(" ", header))
    return next((text for word, text in _NO_FIELD.items() if word in tokens), "no field is called so")


# names


def _tokens(text: str) -> tuple[str, ...]:
    """Words of a text without case and accents."""
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", unicodedata.normalize("NFKC", text))
    bare = "".join(each for each in unicodedata.normalize("NFKD", parted) if not unicodedata.combining(each))
    return tuple(re.findall(r"[^\W_]+", bare.casefold()))


def _by_word(words_of: Mapping[str, str]) -> dict[str, str]:
    return {" ".join(_tokens(word)): of for of, words in words_of.items() for word in words.split(",")}


_OTHER = _by_word(_WORDS)
_KIND_OF = _by_word(_KINDS) | {
    word.replace("_", " "): kind for kind, spec in KINDS.items() for word in (kind, spec.plural)
}
_LONGEST = max(len(word.split()) for word in _KIND_OF)
"""Words that the longest name of a kind has."""


def _named(
    name: str, fields: Mapping[str, FieldSpec], kinds: Iterable[str], others: Mapping[str, str]
) -> tuple[str, How] | None:
    tokens = _tokens(name)
    if tokens == (KIND,):
        return KIND, "name"
    by_name = {_tokens(path): path for path in fields}
    words = [tokens]
    for kind in kinds:
        before = _tokens(kind)
        if tokens[: len(before)] == before and len(tokens) > len(before):
            words.append(tokens[len(before) :])
    words += [each[:-1] for each in words if len(each) > 1 and each[-1] in ("diameter", "dia", "durchmesser")]
    for each in words:
        if each in by_name:
            return by_name[each], "name"
    for each in words:
        field = others.get(" ".join(each), "")
        if field in fields:
            return field, "another word"
    return None


def _abbreviated(name: str, fields: Mapping[str, FieldSpec], header: str) -> tuple[str, How] | None:
    tokens = _tokens(name)
    if not tokens or any(word in tokens for word in _NO_FIELD):
        return None
    for fits in (_word_by_word, _some_words, _initials):
        found = [path for path in fields if fits(tokens, _tokens(path))]
        if len(found) > 1:
            ways = ", ".join(f"`{path}`" for path in found)
            hint = f'say which: `--map "{header}={found[0]}"`, or leave it out: `--map "{header}="`'
            raise HeaderError(f"column `{clip(header)}` may be {ways}", hint)
        if found:
            return found[0], "abbreviation"
    return None


def _begins(short: str, word: str) -> bool:
    return word == short or (len(short) >= _SHORTEST and word.startswith(short))


def _word_by_word(tokens: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return len(tokens) == len(words) and all(map(_begins, tokens, words))


def _some_words(tokens: tuple[str, ...], words: tuple[str, ...]) -> bool:
    rest = iter(words)
    return len(tokens) < len(words) and all(any(_begins(token, word) for word in rest) for token in tokens)


def _initials(tokens: tuple[str, ...], words: tuple[str, ...]) -> bool:
    return len(tokens) == 1 and len(words) > 1 and tokens[0] == "".join(word[0] for word in words)


# units


def _unit(header: str, path: str, texts: Iterable[str], spec: FieldSpec, typed: bool = False) -> tuple[str, str]:
    """Unit and currency of a column; what stands in brackets and is no unit is a remark.

    Raises:
        HeaderError: it is a unit, and of something else.

    """
    dimension = MONEY if spec.form == "money" else spec.dimension
    for text in filter(None, texts):
        if dimension is MONEY:
            if _CURRENCY.fullmatch(text):
                return "", text
            hint = f'if it is what one engine takes, `--map "{header}={path}"`' if not typed else "leave it out"
            if not typed and len(_tokens(text)) > 1:
                raise HeaderError(f"column `{clip(header)}`: `{clip(text)}` is no currency", hint)
        elif dimension is None or dimension in BARE:
            if text in COMMON_UNITS and not (dimension is None and spec.form != "count"):
                raise HeaderError(f"column `{clip(header)}`: `{path}` has no unit", f'`--map "{header}={path}"`?')
        elif (unit := _of_dimension(text, dimension, header)) is not None:
            return unit, ""
        elif typed:
            likely = " or ".join(dimension.likely)
            raise HeaderError(f"`{clip(text)}` is no unit of {dimension.name}", f"write it in {likely}")
    return "", ""


def _of_dimension(text: str, dimension: Dimension, header: str) -> str | None:
    """The unit as it is written in a catalogue; None where it is no unit at all."""
    if dimension is TEMPERATURE:
        return text if text in ("degC", "degF", "K", "°C", "°F") else None
    if text.casefold() == "grad":
        raise HeaderError(f"column `{clip(header)}`: `{text}` is a degree here and a gon there", "write `deg` or `gon`")
    tries = [_UNITS.get(text.casefold(), text)]
    if text in (text.upper(), text.capitalize()):
        tries += [unit for unit, (owner, _) in COMMON_UNITS.items() if unit.casefold() == text.casefold()]
    owners = [COMMON_UNITS[each][0] for each in tries if each in COMMON_UNITS]
    for each in tries:
        if each in COMMON_UNITS and COMMON_UNITS[each][0] is dimension:
            return each
    if owners:
        message = f"column `{clip(header)}`: `{text}` is a unit of {owners[0].name}, and {dimension.name} is wanted"
        raise HeaderError(message, "another field, or another unit?")
    try:
        unit_factor(text, dimension)
    except QuantityError:
        return None
    return text
