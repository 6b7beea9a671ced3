"""What a plan's own text says, before its catalogue is read: every section, every fault with file and line."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, cast

from kitwright.catalogs.advice import read_advice
from kitwright.catalogs.nodes import Listing, Node, Scalar, Table, fault, in_words, is_absent
from kitwright.catalogs.plan_goals import read_ceiling_guard, read_goals
from kitwright.catalogs.plan_measured import Measured, read_measured
from kitwright.catalogs.problems import Problem, clip, did_you_mean, nearest
from kitwright.catalogs.values import read_count, read_flag, read_line, read_quantity
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS, PLURALS
from kitwright.solver.plan import MACHINING, MOST_GASKETS, STATISTICAL, TOLERANCES, Conditions, Plan
from kitwright.solver.quantity import (
    ANGLE,
    LENGTH,
    MASS,
    PRESSURE,
    RATIO,
    TEMPERATURE,
    Dimension,
    Quantity,
    QuantityError,
    parse,
)
from kitwright.solver.registry import FIGURES, leaves_of

PLAN_KEYS = {
    "plan": "the plan's name, as it stands over the answers",
    "catalogue": "folder of the parts, relative to the plan",
    "goals": "what is wanted: any figure, with limits, an aim, or both",
    "parts": "which parts may be taken",
    "allow": "what may be done to make parts fit",
    "tolerance": f"how the ± of parts are taken; nominal unless given; statistical is {STATISTICAL}",
    "measured": "what was read on the bench; it replaces what the catalogue says",
    "conditions": "surroundings that some figures depend on",
    "reference": "what ran before: a pushrod length known to be right and for what, masses and balance",
    "advice": "your own ranges by figure, shown beside it and never a limit",
    "units": "how lengths are shown; mm unless given",
    "engines": "several engines that share the catalogue: name to a plan, laid over what stands above",
    "budget": "the most that all engines together may cost",
}
"""Keys of a plan and what each is for."""

PARTS_KEYS = {
    "use": "parts that are settled: kind to id; gaskets also a list, one exact stack",
    "avoid": "ids of parts that are not to be seen",
    "shelf_only": "true, or the kinds that must come from the shelf",
    "kinds": "the kinds that are looked at; all unless given",
    "optional": "kinds that may also be left out of the build",
}
"""Keys of a plan's ``parts``."""

ALLOW_KEYS = {
    "gaskets": "most gaskets in one stack; 1 unless given",
    "machining": "operations that may be carried out; none unless given",
}
"""Keys of a plan's ``allow``."""

CONDITION_KEYS = {
    "altitude": "height above the sea, geometric",
    "polytropic": "exponent of compression; 1.25 unless given",
    "float_margin": "how many times the rev ceiling the float speed must at least be; 1.0 unless given",
    "peak_pressure": "absolute peak pressure of firing, as measured or computed for this engine",
    "rope_radius": "radius at which the starting rope pulls: rope pulley and half the rope",
    "temperatures": "temperatures of parts, of the barrel, of the case and of the air",
}
"""Keys of a plan's ``conditions``."""

UNITS_SHOWN = ("mm", "in")
"""How lengths may be shown."""

_TEMPERATURES = "conditions.temperatures."
TEMPERATURE_WORDS = tuple(
    dict.fromkeys(
        leaf.removeprefix(_TEMPERATURES)
        for name in FIGURES
        for leaf in leaves_of(name)
        if leaf.startswith(_TEMPERATURES)
    )
)
"""What a temperature may be given for: what some figure reads, so that none is taken and ignored."""

GASKETS = FieldSpec("gaskets", "count", ALLOW_KEYS["gaskets"], False, None, 1, MOST_GASKETS)
ALTITUDE = (-500.0, 9000.0)
"""Metres above the sea that a plan may name."""

POLYTROPIC = FieldSpec("polytropic", "quantity", CONDITION_KEYS["polytropic"], False, RATIO, 1.0, 1.67)
PEAK_PRESSURE = FieldSpec("peak_pressure", "quantity", CONDITION_KEYS["peak_pressure"], False, PRESSURE, 1000, 30_000)
FLOAT_MARGIN = FieldSpec("float_margin", "quantity", CONDITION_KEYS["float_margin"], False, RATIO, 1.0, 2.0)
ROPE_RADIUS = FieldSpec("rope_radius", "quantity", CONDITION_KEYS["rope_radius"], False, LENGTH, 5, 1000)
PART_TEMPERATURE = FieldSpec("temperature", "quantity", "temperature of a part", False, TEMPERATURE, -60, 600)


def _reference(low: float, high: float, meaning: str, name: str, dimension: Dimension = LENGTH) -> FieldSpec:
    return FieldSpec(name, "quantity", meaning, False, dimension, low, high)


REFERENCE: dict[str, FieldSpec] = {
    "pushrod": _reference(20, 600, "a pushrod length known to be right", "pushrod"),
    "gasket_stack": _reference(0, 30, "compressed gasket stack that it was right for", "gasket_stack"),
    "base_radius": _reference(3, 60, "base circle radius that it was right for", "base_radius"),
    "mill": _reference(0, 20, "head milling that it was right for", "mill"),
    "deck_cut": _reference(0, 20, "deck cut that it was right for", "deck_cut"),
    "pushrod_angle": _reference(0, 60, "pushrod against the cylinder", "pushrod_angle", ANGLE),
    "reciprocating_mass": _reference(10, 5000, "reciprocating mass that ran before", "reciprocating_mass", MASS),
    "rotating_mass": _reference(10, 5000, "big end of the rod that ran before", "rotating_mass", MASS),
    "balance_factor": _reference(-0.5, 1.5, "balance factor that it ran with", "balance_factor", RATIO),
}
"""Keys of the plan's ``reference``: a pushrod and what it was right for, and the balance of what ran before."""


@dataclass(slots=True)
class Claim:
    """An id that the plan names, to be looked up: ``kind`` is None where any kind will do."""

    node: Scalar
    kind: str | None
    where: str


@dataclass(slots=True)
class PlanDraft:
    """A plan as far as its own text says it; ids and measured fields are not looked up yet."""

    plan: Plan
    folder: Path | None
    """The catalogue's folder; None where the plan does not say it."""
    claims: list[Claim]
    measured: list[Measured]
    problems: list[Problem]


def read_conditions(table: Table, base: Conditions, problems: list[Problem]) -> Conditions:
    """Conditions as nodes say them, over others; faults go to ``problems``."""
    read = PlanReader(Path(table.file), Table({"conditions": table}, table.file, table.line), problems).conditions(base)
    return replace(read, temperatures={**base.temperatures, **read.temperatures})


def _beside(start: Path, wrong: Path) -> str:
    """Where a catalogue may lie instead: in a folder beside the one that is not there, of such a name or alone."""
    with contextlib.suppress(OSError):
        there = [each.name for each in sorted((start / wrong).parent.iterdir()) if _holds_parts(each)]
        near = nearest(wrong.name, there) or (there[0] if len(there) == 1 else "")
        if near:
            return f"did you mean `{wrong.parent / near}`?"
    return "write where the catalogue is, or `kitwright start DIR` lays a starter"


def _holds_parts(folder: Path) -> bool:
    return folder.is_dir() and any(each.suffix.lower() in (".yaml", ".yml", ".csv") for each in folder.iterdir())


class PlanReader:
    """Goes through the plan's sections; every fault goes to ``problems``."""

    def __init__(self, file: Path, table: Table, problems: list[Problem], engine: str = "") -> None:
        self.file = file
        self.engine = engine
        self.table = table
        self.problems = problems
        self.claims: list[Claim] = []

    def read(self) -> PlanDraft:
        """The plan, and what is still to be looked up in its catalogue."""
        self._known(self.table, PLAN_KEYS, "")
        goals, ceiling = read_goals(self.table.entries.get("goals"), self.problems)
        parts = self._section("parts", PARTS_KEYS)
        allow = self._section("allow", ALLOW_KEYS)
        use = self._use(parts.entries.get("use"))
        avoid = self._avoid(parts.entries.get("avoid"), use)
        gaskets = self._gaskets(allow, use)
        catalogue = self._text("catalogue")
        measured = read_measured(self.table.entries.get("measured"), self.problems)
        for each in measured:
            self.claims += [Claim(node, kind, where) for node, kind, where in each.claims]
        plan = Plan(
            name=f"{self.name()}, {self.engine}" if self.engine else self.name(),
            catalogue=catalogue,
            goals=goals,
            rev_ceiling=ceiling,
            ceiling_guards=read_ceiling_guard(self.table.entries.get("goals"), self.problems),
            use={kind: tuple(node.text.strip() for node in ids) for kind, ids in use.items()},
            avoid=frozenset(avoid),
            shelf_only=self._shelf_only(parts.entries.get("shelf_only")),
            kinds=self._kind_set(parts.entries.get("kinds"), "parts.kinds"),
            optional=self._kind_set(parts.entries.get("optional"), "parts.optional") or frozenset(),
            gaskets=gaskets,
            machining=self._machining(allow.entries.get("machining")),
            tolerance=cast(Any, self._choice("tolerance", TOLERANCES)),
            conditions=self.conditions(Conditions()),
            reference=self._reference(),
            advice=read_advice(self.table.entries.get("advice"), self.problems),
            units=cast(Literal["mm", "in"], self._choice("units", UNITS_SHOWN)),
        )
        folder = self._folder(catalogue)
        return PlanDraft(plan, folder, self.claims, measured, self.problems)

    def name(self) -> str:
        """The plan's name: its file's, unless it says one."""
        return self._text("plan") or self.file.stem

    def _folder(self, text: str) -> Path | None:
        if text:
            folder = self.file.parent / text
            with contextlib.suppress(OSError):
                if folder.exists():
                    return folder
            message = f"there is no folder `{clip(text)}`, seen from the plan"
            suggestion = _beside(self.file.parent, Path(text))
            self.problems.append(fault(self.table.entries["catalogue"], message, suggestion, name="catalogue"))
            return None
        if is_absent(self.table.entries.get("catalogue")):
            message = "the plan does not say where its catalogue is"
            suggestion = "write `catalogue: ./catalogue`, relative to the plan"
            self.problems.append(Problem(message, suggestion, str(self.file), 1, field="catalogue"))
        return None

    def _complain(self, where: str) -> Any:
        def complain(node: Node, message: str, suggestion: str) -> None:
            self.problems.append(fault(node, message, suggestion, name=where))

        return complain

    def _known(self, table: Table, keys: Iterable[str], where: str) -> None:
        for key in table.entries:
            if key not in keys:
                owner = where or "a plan"
                message = f"`{clip(key)}` is no key of {owner}"
                suggestion = did_you_mean(key, keys, "keys")
                name = clip(f"{where}.{key}" if where else key)
                self.problems.append(Problem(message, suggestion, *table.place(key), field=name))

    def _section(self, name: str, keys: Iterable[str]) -> Table:
        node = self.table.entries.get(name)
        if isinstance(node, Table):
            self._known(node, keys, name)
            return node
        if node is not None and not is_absent(node):
            message = f"{in_words(node)} was read, and a mapping is wanted"
            self.problems.append(fault(node, message, f"keys: {', '.join(keys)}", name=name))
        return Table({}, self.table.file, self.table.line)

    def _text(self, key: str) -> str:
        node = self.table.entries.get(key)
        if node is None or is_absent(node):
            return ""
        return read_line(node, self._complain(key)) or ""

    def _choice(self, key: str, choices: tuple[str, ...]) -> str:
        node = self.table.entries.get(key)
        if node is None or is_absent(node):
            return choices[0]
        if isinstance(node, Scalar) and node.text.strip() in choices:
            return node.text.strip()
        suggestion = did_you_mean(node.text if isinstance(node, Scalar) else "", choices, "one of")
        self.problems.append(fault(node, f"{in_words(node)} is no choice for `{key}`", suggestion, name=key))
        return choices[0]

    def _items(self, node: Node | None, where: str) -> list[Scalar]:
        """Words of a list; one word stands for a list of one."""
        if node is None or is_absent(node):
            return []
        found = []
        for item in node.items if isinstance(node, Listing) else [node]:
            if isinstance(item, Scalar) and item.text.strip() and not item.absent:
                found.append(item)
            else:
                message = f"{in_words(item)} was read, and a word is wanted"
                self.problems.append(fault(item, message, "write a list: `[a, b]`", name=where))
        return found

    def _kind(self, word: str, file: str, line: int, where: str) -> str | None:
        if word in KINDS:
            return word
        suggestion = f"did you mean `{PLURALS[word]}`?" if word in PLURALS else did_you_mean(word, KINDS, "kinds")
        self.problems.append(Problem(f"`{clip(word)}` is no kind of part", suggestion, file, line, field=clip(where)))
        return None

    def _kind_set(self, node: Node | None, where: str) -> frozenset[str] | None:
        if node is None or is_absent(node):
            return None
        items = self._items(node, where)
        found = [self._kind(item.text.strip(), item.file, item.line, where) for item in items]
        if isinstance(node, Listing) and not node.items:
            self.problems.append(fault(node, "the list is empty", "name a kind, or leave the key out", name=where))
        return frozenset(kind for kind in found if kind)

    def _shelf_only(self, node: Node | None) -> frozenset[str]:
        if node is None or is_absent(node):
            return frozenset()
        if isinstance(node, Listing):
            return self._kind_set(node, "parts.shelf_only") or frozenset() if node.items else frozenset()
        if isinstance(node, Scalar) and node.text.strip() in (*KINDS, *PLURALS):
            return self._kind_set(node, "parts.shelf_only") or frozenset()
        flag = read_flag(node, self._complain("parts.shelf_only"))
        return frozenset(KINDS) if flag else frozenset()

    def _machining(self, node: Node | None) -> frozenset[str]:
        found = set()
        for item in self._items(node, "allow.machining"):
            word = item.text.strip()
            if word in MACHINING:
                found.add(word)
            else:
                suggestion = did_you_mean(word, MACHINING, "operations")
                message = f"`{clip(word)}` is no machining operation"
                self.problems.append(fault(item, message, suggestion, name="allow.machining"))
        return frozenset(found)

    def _use(self, node: Node | None) -> dict[str, list[Scalar]]:
        if node is None or is_absent(node):
            return {}
        if not isinstance(node, Table):
            message = f"{in_words(node)} was read, and a mapping of kind to id is wanted"
            self.problems.append(fault(node, message, "write `use: {block: b72}`", name="parts.use"))
            return {}
        use: dict[str, list[Scalar]] = {}
        for word, value in node.entries.items():
            where = f"parts.use.{word}"
            kind = self._kind(word, *node.place(word), where)
            if kind is None:
                continue
            ids = self._items(value, where)
            if not ids:
                message = "no id is named"
                self.problems.append(Problem(message, "name one, or delete the line", *node.place(word), field=where))
            elif len(ids) > 1 and kind != "gasket":
                named = " and ".join(f"`{clip(each.text)}`" for each in ids)
                message = f"{named}: an engine takes one {kind.replace('_', ' ')}"
                self.problems.append(fault(ids[-1], message, "pin one; only gaskets are stacked", name=where))
            else:
                use[kind] = ids
                self.claims += [Claim(each, kind, where) for each in ids]
        return use

    def _avoid(self, node: Node | None, use: dict[str, list[Scalar]]) -> list[str]:
        items = self._items(node, "parts.avoid")
        self.claims += [Claim(each, None, "parts.avoid") for each in items]
        pinned = {each.text.strip(): (each, kind) for kind, ids in use.items() for each in ids}
        for item in items:
            pin, kind = pinned.get(item.text.strip(), (None, ""))
            if pin is not None:
                there = f"{pin.file}:{pin.line}" if pin.line else pin.file
                message = f"`{clip(item.text.strip())}` is to be avoided and used ({there}: {kind})"
                self.problems.append(fault(item, message, "delete one of the two", name="parts.avoid"))
        return [item.text.strip() for item in items]

    def _gaskets(self, allow: Table, use: dict[str, list[Scalar]]) -> int:
        node = allow.entries.get("gaskets")
        most = 1
        if node is not None and not is_absent(node):
            most = read_count(node, GASKETS, self._complain("allow.gaskets")) or MOST_GASKETS
        stack = use.get("gasket", [])
        if len(stack) > most:
            message = f"{len(stack)} gaskets are pinned, and a stack may have {most}"
            suggestion = f"write `allow: {{gaskets: {len(stack)}}}`" if len(stack) <= MOST_GASKETS else "pin fewer"
            at = node if node is not None and isinstance(node, Scalar) and not node.line else stack[-1]
            self.problems.append(fault(at, message, suggestion, name="parts.use.gasket"))
        return most

    def conditions(self, base: Conditions) -> Conditions:
        """The plan's conditions, over others."""
        table = self._section("conditions", CONDITION_KEYS)
        found = base
        altitude = self._altitude(table)
        polytropic = self._condition(table, "polytropic", POLYTROPIC)
        if altitude is not None:
            found = replace(found, altitude=altitude.si)
        if polytropic is not None:
            found = replace(found, polytropic=polytropic.si)
        margin = self._condition(table, "float_margin", FLOAT_MARGIN)
        if margin is not None:
            found = replace(found, float_margin=margin.si)
        peak = self._condition(table, "peak_pressure", PEAK_PRESSURE)
        if peak is not None:
            found = replace(found, peak_pressure=peak.si)
        rope_radius = self._condition(table, "rope_radius", ROPE_RADIUS)
        if rope_radius is not None:
            found = replace(found, rope_radius=rope_radius.si)
        node = table.entries.get("temperatures")
        if node is None or is_absent(node):
            return found
        where = "conditions.temperatures"
        if not isinstance(node, Table):
            message = f"{in_words(node)} was read, and a mapping is wanted"
            self.problems.append(fault(node, message, "write `temperatures: {rod: 120 degC}`", name=where))
            return found
        self._known(node, TEMPERATURE_WORDS, where)
        read = {word: self._temperature(node, word) for word in node.entries if word in TEMPERATURE_WORDS}
        return replace(found, temperatures={word: each.si for word, each in read.items() if each is not None})

    def _temperature(self, table: Table, word: str) -> Quantity | None:
        return self._condition(table, word, PART_TEMPERATURE, "conditions.temperatures")

    def _condition(self, table: Table, name: str, spec: FieldSpec, section: str = "conditions") -> Quantity | None:
        """One condition; a ± on it would go into no spread, so that it is refused."""
        read = self._quantity(table, name, spec, section)
        return read if read is None else self._exact(read, table.entries[name], f"{section}.{name}")

    def _exact(self, read: Quantity, node: Node, name: str) -> Quantity | None:
        if not read.stated:
            return read
        self._complain(name)(
            node, f"`{read}`: a condition has no ±", "write the value alone, or ask at both ends of it"
        )
        return None

    def _reference(self) -> dict[str, Quantity]:
        table = self._section("reference", REFERENCE)
        read = {name: self._quantity(table, name, spec, "reference") for name, spec in REFERENCE.items()}
        return {name: each for name, each in read.items() if each is not None}

    def _altitude(self, table: Table) -> Quantity | None:
        node = table.entries.get("altitude")
        complain = self._complain("conditions.altitude")
        if node is None or is_absent(node):
            return None
        if not isinstance(node, Scalar):
            complain(node, f"{in_words(node)} was read, and one value is wanted", "such as `300 m`")
            return None
        number = clip(node.text.strip())
        # The general messages would offer inches for a height above the sea.
        if re.fullmatch(r"-?\d+(\.\d+)?", number):
            complain(node, f"`{number}` has no unit", f"write `{number} m` or `{number} ft`")
            return None
        try:
            read = parse(node.text, LENGTH, node.origin)
        except QuantityError as error:
            complain(node, error.problem, error.suggestion)
            return None
        if not ALTITUDE[0] <= read.si <= ALTITUDE[1]:
            message = f"an altitude of {read} is impossible (-500 m to 9000 m)"
            in_metres = read.text.endswith(" m")
            complain(node, message, "check the number and the unit" if in_metres else f"it is {read.si:.0f} m")
            return None
        return self._exact(read, node, "conditions.altitude")

    def _quantity(self, table: Table, name: str, spec: FieldSpec, section: str) -> Quantity | None:
        node = table.entries.get(name)
        if node is None or is_absent(node):
            return None
        return read_quantity(node, spec, self._complain(f"{section}.{name}"))
