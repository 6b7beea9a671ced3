"""JSON Schema (2020-12) of a catalogue's YAML file and of a plan, so that an editor completes and checks while typing.

Everything is taken from where the readers take it: the dataclasses of the parts, the registry of figures, the plan's
keys. A key that the reader refuses is refused here (``additionalProperties``), and nothing that it takes is refused.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal

from kitwright.catalogs import schema_values as values
from kitwright.catalogs.engines import OF_THE_BENCH
from kitwright.catalogs.plan_goals import BOUNDS, HEAVIEST, SPEED, UNAIMED
from kitwright.catalogs.plan_measured import REMARKS, SHORT_BLOCK
from kitwright.catalogs.plan_text import (
    ALLOW_KEYS,
    CONDITION_KEYS,
    FLOAT_MARGIN,
    GASKETS,
    PART_TEMPERATURE,
    PARTS_KEYS,
    PEAK_PRESSURE,
    PLAN_KEYS,
    POLYTROPIC,
    REFERENCE,
    ROPE_RADIUS,
    TEMPERATURE_WORDS,
    UNITS_SHOWN,
)
from kitwright.catalogs.rows import LONGEST_ID, specs_of
from kitwright.catalogs.schema_values import TEXT, WORD, Schema, or_nothing
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING, MOST_GASKETS, REV_CEILING, TOLERANCES
from kitwright.solver.quantity import LENGTH, MONEY, ROTATION
from kitwright.solver.registry import UNITS, Figure, public_figures

DIALECT = "https://json-schema.org/draft/2020-12/schema"

Subject = Literal["catalogue", "plan"]
SUBJECTS: tuple[Subject, ...] = ("catalogue", "plan")


def schema_text(subject: Subject) -> str:
    """The schema of a catalogue's YAML file or of a plan, as JSON text."""
    made = catalogue_schema() if subject == "catalogue" else plan_schema()
    return json.dumps(_shared(made), ensure_ascii=False, indent=1) + "\n"


def _shared(schema: Schema) -> Schema:
    """The same with each kind of value, which has a title, written once under ``$defs``."""
    shared: dict[str, Schema] = {}

    def walk(node: Any, inside: bool) -> Any:
        if isinstance(node, list):
            return [walk(each, inside) for each in node]
        if not isinstance(node, dict):
            return node
        if inside and "title" in node and "properties" not in node:
            value = {key: each for key, each in node.items() if key != "description"}
            optional = " or nothing" if "null" in node["type"] else ""
            name = re.sub(r"\W+", "_", f"{node['title'].replace('±', 'with tolerance')}{optional}")
            if shared.setdefault(name, value) == value:
                said = {"description": node["description"]} if "description" in node else {}
                return {**said, "$ref": f"#/$defs/{name}"}
        return {key: walk(each, inside or key == "properties") for key, each in node.items()}

    made = {key: walk(each, key != "title") for key, each in schema.items()}
    return made | {"$defs": made.get("$defs", {}) | shared}


def catalogue_schema() -> Schema:
    """JSON Schema of one YAML file of a catalogue: kinds in the plural, each with a list of parts.

    >>> catalogue_schema()["$defs"]["crank"]["required"]
    ['id', 'stroke', 'journal']
    """
    kinds = {
        cls.plural: {
            "description": _first_line(cls),
            "type": ["array", "null"],
            "items": {"$ref": f"#/$defs/{kind}"},
        }
        for kind, cls in KINDS.items()
    }
    return {
        "$schema": DIALECT,
        "title": "kitwright: a file of the catalogue",
        **_mapping(kinds),
        "$defs": {kind: part_schema(cls) for kind, cls in KINDS.items()},
    }


def part_schema(owner: type[Any]) -> Schema:
    """Fields of a kind of part, or of a nested group."""
    known = specs_of(owner)
    fields = {}
    for name, spec in known.items():
        schema = field_schema(spec) if spec.required else or_nothing(field_schema(spec))
        fields[name] = {"description": in_words(spec), **schema}
    needed = [name for name, spec in known.items() if spec.required]
    return {"description": _first_line(owner), **_mapping(fields), **({"required": needed} if needed else {})}


def in_words(spec: FieldSpec) -> str:
    """A field's meaning, with its plausible range and what leaving it out stands for.

    >>> in_words(specs_of(KINDS["piston"])["dish"])
    'volume of the dish; 0 to 200 cc; absent: 0 cc'
    """
    absent = values.absent_in_words(spec)
    said = [spec.meaning, values.range_in_words(spec), f"absent: {absent}" if absent and not spec.required else ""]
    return "; ".join(filter(None, said))


def field_schema(spec: FieldSpec) -> Schema:
    """What a field may hold."""
    if spec.name == "id":
        return values.identity(LONGEST_ID)
    match spec.form:
        case "quantity":
            return values.quantity_of(spec)
        case "quantities":
            return _one_or_list(values.quantity_of(spec), minItems=1, uniqueItems=True)
        case "count":
            return values.count_of(spec.low, spec.high)
        case "money":
            return values.money_of(spec)
        case "flag":
            return values.flag()
        case "choice":
            return {"enum": list(spec.choices)}
        case "tags":
            return _words(spec.choices) if spec.choices else _one_or_list(WORD) | values.TAG_ALONE
        case "text":
            return TEXT
        case "readings":
            return {"type": "string", "pattern": r"\.[cC][sS][vV]\s*$"}
        case "group":
            assert spec.group is not None
            inner = part_schema(spec.group)
            del inner["description"]
            return _either(values.flag(), inner) if spec.or_flag else inner


def plan_schema() -> Schema:
    """JSON Schema of a plan.

    >>> list(plan_schema()["properties"])[:3]
    ['plan', 'catalogue', 'goals']
    """
    return {
        "$schema": DIALECT,
        "title": "kitwright: a plan",
        **_mapping(_described(PLAN_KEYS, _PLAN)),
        "required": ["catalogue"],
    }


def _described(meanings: Mapping[str, str], makers: Mapping[str, Callable[[], Schema]]) -> dict[str, Schema]:
    return {key: {"description": meaning, **makers[key]()} for key, meaning in meanings.items()}


def _mapping(properties: Mapping[str, Schema]) -> Schema:
    """A mapping that takes these keys and no other."""
    return {"type": "object", "properties": dict(properties), "additionalProperties": False}


def _one_or_list(item: Schema, **rules: Any) -> Schema:
    """A list, for which one value may stand."""
    kinds = [item["type"]] if isinstance(item["type"], str) else item["type"]
    alone = {key: each for key, each in item.items() if key != "title"}
    return alone | {"type": [*kinds, "array"], "items": item, **rules}


def _words(words: Iterable[str], **rules: Any) -> Schema:
    """Known words: a list, or one of them."""
    known = {"enum": list(words)}
    return {"anyOf": [{"type": "array", "items": known, **rules}, known]}


def _first_line(owner: type[Any]) -> str:
    return (owner.__doc__ or "").strip().split("\n")[0]


# the plan's keys


def _goals() -> Schema:
    import kitwright.solver.formulas  # noqa: F401  (fills the registry)

    figures = {name: {"description": _figure_in_words(each), **_goal(each)} for name, each in public_figures().items()}
    return or_nothing(_mapping(figures | {REV_CEILING: {"description": SPEED.meaning, **_ceiling()}}))


def _figure_in_words(figure: Figure) -> str:
    unit = UNITS[figure.unit][1]
    return f"{figure.meaning}{f' [{unit}]' if unit else ''}: {figure.formula}"


def _goal(figure: Figure) -> Schema:
    """One value, which is an aim, or limits, aim, step, weight and whether it guards."""
    value = values.quantity(figure.dimension, stated=False)
    shapes = dict.fromkeys(BOUNDS, value)
    shapes["step"] = values.quantity(figure.dimension, "positive", stated=False)
    if isinstance(shapes["step"]["type"], list):
        shapes["step"]["exclusiveMinimum"] = 0
    shapes["weight"] = values.count_of(1, HEAVIEST)
    shapes["aim"] = {"anyOf": [value, {"const": UNAIMED}]}
    shapes["guard"] = values.flag()
    bounds = {key: {"description": meaning, **or_nothing(shapes[key])} for key, meaning in BOUNDS.items()}
    return _either(value, _mapping(bounds) | {"minProperties": 1})


def _ceiling() -> Schema:
    value = values.quantity(ROTATION, "positive", stated=False)
    known = {"min": value, "guard": {"description": BOUNDS["guard"], **or_nothing(values.flag())}}
    return _either(value, _mapping(known) | {"required": ["min"]})


def _either(value: Schema, mapping: Schema) -> Schema:
    """A value or a mapping: the rules of the one do not touch the other."""
    kinds = [value["type"]] if isinstance(value["type"], str) else value["type"]
    return {key: each for key, each in value.items() if key != "title"} | mapping | {"type": [*kinds, "object"]}


def _parts() -> Schema:
    return or_nothing(_mapping(_described(PARTS_KEYS, _PARTS)))


def _use() -> Schema:
    pins = {}
    for kind, cls in KINDS.items():
        most = MOST_GASKETS if kind == "gasket" else 1
        pins[kind] = {"description": _first_line(cls), **_one_or_list(WORD, minItems=1, maxItems=most)}
    return or_nothing(_mapping(pins))


def _shelf_only() -> Schema:
    kinds = _words(KINDS)
    return or_nothing({"anyOf": [{"type": "boolean"}, *kinds["anyOf"], values.flag()]})


def _allow() -> Schema:
    return or_nothing(_mapping(_described(ALLOW_KEYS, _ALLOW)))


def _conditions() -> Schema:
    return or_nothing(_mapping(_described(CONDITION_KEYS, _CONDITIONS)))


def _temperatures() -> Schema:
    known = {"description": in_words(PART_TEMPERATURE), **or_nothing(values.quantity_of(PART_TEMPERATURE))}
    return or_nothing(_mapping(dict.fromkeys(TEMPERATURE_WORDS, known)))


def _reference() -> Schema:
    fields = {
        name: {"description": in_words(spec), **or_nothing(values.quantity_of(spec))}
        for name, spec in REFERENCE.items()
    }
    return or_nothing(_mapping(fields))


def _advice() -> Schema:
    """Ranges by figure and in words, each with ``min``, ``max`` or both in the figure's unit."""
    figures = {}
    for name, figure in public_figures().items():
        end = or_nothing(values.quantity(figure.dimension, "any", stated=False))
        words = {"type": "object", "additionalProperties": _mapping({"min": end, "max": end}) | {"minProperties": 1}}
        figures[name] = {"description": figure.meaning, **or_nothing(words)}
    return or_nothing(_mapping(figures))


def _measured() -> Schema:
    """A list of measurements: a deck with its four parts, or a dimension of one part."""
    four = _mapping({kind: {"description": f"id of the {kind}", **WORD} for kind in SHORT_BLOCK})
    known: dict[str, Schema] = {"deck": {"description": "deck, measured with four parts together", **values.deck()}}
    for name, specs in measurable().items():
        meanings = dict.fromkeys(spec.meaning for spec in specs)
        low = min(spec.low for spec in specs)
        dimension = specs[0].dimension
        assert dimension is not None
        known[name] = {"description": "; or ".join(meanings), **values.quantity(dimension, values.sign_of(low))}
    known["with"] = {"description": "the four parts that a deck was measured with", **four, "required": [*SHORT_BLOCK]}
    known["of"] = {"description": "id of the part that was measured", **WORD}
    remarks = {key: {"description": meaning} for key, meaning in REMARKS.items()}
    entry = {
        **_mapping(known | remarks),
        "if": {"required": ["deck"]},
        "then": {"required": ["with"], "not": {"required": ["of"]}},
        "else": {"required": ["of"], "not": {"required": ["with"]}},
    }
    return {"type": ["array", "null"], "items": entry}


def measurable() -> dict[str, list[FieldSpec]]:
    """Dimensions that can be measured (nested ones as ``mill.step``), to the fields of that name over all kinds."""
    found: dict[str, list[FieldSpec]] = {}
    for cls in KINDS.values():
        for name, spec in specs_of(cls).items():
            inner = specs_of(spec.group).items() if spec.group is not None else ()
            for key, each in ((name, spec), *((f"{name}.{key}", each) for key, each in inner)):
                if each.form == "quantity":
                    found.setdefault(key, []).append(each)
    return found


def _engines() -> Schema:
    own = {key: meaning for key, meaning in PLAN_KEYS.items() if key not in OF_THE_BENCH}
    return or_nothing({"type": "object", "additionalProperties": or_nothing(_mapping(_described(own, _PLAN)))})


_PLAN: dict[str, Callable[[], Schema]] = {
    "plan": lambda: or_nothing(TEXT),
    "catalogue": lambda: WORD,
    "goals": _goals,
    "parts": _parts,
    "allow": _allow,
    "tolerance": lambda: or_nothing({"enum": list(TOLERANCES)}),
    "measured": _measured,
    "conditions": _conditions,
    "reference": _reference,
    "advice": _advice,
    "units": lambda: or_nothing({"enum": list(UNITS_SHOWN)}),
    "engines": _engines,
    "budget": lambda: or_nothing(values.quantity(MONEY, stated=False)),
}

_PARTS: dict[str, Callable[[], Schema]] = {
    "use": _use,
    "avoid": lambda: or_nothing(_one_or_list(WORD)),
    "shelf_only": _shelf_only,
    "kinds": lambda: or_nothing(_words(KINDS, minItems=1)),
    "optional": lambda: or_nothing(_words(KINDS, minItems=1)),
}

_ALLOW: dict[str, Callable[[], Schema]] = {
    "gaskets": lambda: or_nothing(values.count_of(GASKETS.low, GASKETS.high)),
    "machining": lambda: or_nothing(_words(MACHINING)),
}

_CONDITIONS: dict[str, Callable[[], Schema]] = {
    "altitude": lambda: or_nothing(values.quantity(LENGTH)),
    "polytropic": lambda: or_nothing(values.quantity_of(POLYTROPIC)),
    "float_margin": lambda: or_nothing(values.quantity_of(FLOAT_MARGIN)),
    "peak_pressure": lambda: or_nothing(values.quantity_of(PEAK_PRESSURE)),
    "rope_radius": lambda: or_nothing(values.quantity_of(ROPE_RADIUS)),
    "temperatures": _temperatures,
}
