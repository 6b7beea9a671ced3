"""Parts and plans made of the fields and figures that there are, with values at the ends of their ranges."""

from __future__ import annotations

import random
from typing import Any

from kitwright.catalogs.plan_text import PLAN_KEYS
from kitwright.catalogs.problems import Problem
from kitwright.catalogs.read_yaml import parse_yaml, rows_of
from kitwright.catalogs.rows import build, specs_of
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING
from kitwright.solver.registry import public_figures
from tests.fuzz import nasty
from tests.fuzz.files import nasty_text

VISIBLE = [word for word in nasty.WORDS if word.isprintable() and word.strip() and len(word) < 400]


SHARED = {"bore": "72 mm", "pin": "16 mm", "journal": "30 mm", "big_end": "30 mm"}


def part_of(kind: str, rng: random.Random, often: float, wild: float) -> dict[str, str]:
    """Fields of a part; where nothing wild is asked for, those that are at fault are drawn anew or left out."""
    known = specs_of(KINDS[kind])
    fields: dict[str, str] = {}
    wanted = [
        name
        for name, spec in known.items()
        if name != "id" and spec.form != "readings" and (spec.required or rng.random() < often)
    ]
    if kind == "pushrod":
        wanted = [name for name in wanted if name not in ("length", "cut_to")] + [rng.choice(["length", "cut_to"])]
    if "mill" in wanted:
        wanted.append("chamber_area")
    for again in range(12):
        for name in wanted:
            if name not in fields:
                fields[name] = field_of(kind, name, known[name], rng, wild)
        at_fault = faults_of(kind, fields)
        if wild or not at_fault:
            break
        for name in at_fault & fields.keys():
            del fields[name]
            if again > 6 and not known[name].required and name not in ("length", "cut_to"):
                wanted = [each for each in wanted if each != name]
    return fields


def field_of(kind: str, name: str, spec: FieldSpec, rng: random.Random, wild: float) -> str:
    if name in SHARED and rng.random() < 0.97:
        return "80 mm" if kind == "gasket" else SHARED[name]
    if name == "block_height" and rng.random() < 0.9:  # within reach of stroke / 2 + rod + compression height
        return f"{rng.uniform(100, 180):.2f} mm"
    if kind == "crank" and name == "stroke" and rng.random() < 0.7:
        return rng.choice(["57 mm", "2.244 in", "60 mm ± 0.05 mm"])
    if kind == "rod" and name == "length" and rng.random() < 0.7:
        return rng.choice(["85 mm", "86 mm", "94.5 mm ± 0.02 mm"])
    if kind == "piston" and name == "compression_height" and rng.random() < 0.7:
        return rng.choice(["28 mm", "27 mm", "30 mm"])
    if kind == "gasket" and name == "thickness" and rng.random() < 0.7:
        return rng.choice(["0.5 mm", "1 mm ± 0.05 mm", "30 thou"])
    if name in ("fits", "tags") and rng.random() < 0.9:
        return "[a72]"
    return value_of(spec, rng, wild)


def faults_of(kind: str, fields: dict[str, str]) -> set[str]:
    """Fields of a part that its reader complains of."""
    text = f"{KINDS[kind].plural}:\n- {{id: x, {', '.join(f'{name}: {each}' for name, each in fields.items())}}}"
    problems: list[Problem] = []
    table = parse_yaml(text.encode("utf-8", "replace").decode(), "", problems)
    for row in rows_of(table, problems) if table is not None else ():
        build(row, problems)
    named = {each.field.partition(".")[0] for each in problems}
    return named if named & fields.keys() else set(fields) if problems else set()


def value_of(spec: FieldSpec, rng: random.Random, wild: float) -> str:
    """A value of a field: in its range or at its ends, now and then anything at all."""
    if rng.random() < wild:
        return quoted(nasty_text(rng))
    if spec.or_flag and rng.random() < 0.5:
        return rng.choice(["true", "false", "yes", "no"])
    if spec.group is not None:
        return group_of(spec.group, rng, wild)
    match spec.form:
        case "quantity":
            assert spec.dimension is not None
            unit = spec.dimension.likely[0] if spec.dimension.likely else ""
            number = number_in(spec.low, spec.high, rng)
            spread = rng.choice(["", "", "", f" ± {number_in(0, (spec.high - spec.low) / 20, rng)} {unit}"])
            return f"{number} {unit}{spread}".strip() if spec.dimension.likely else f"{number}{spread.rstrip()}"
        case "quantities":
            return rng.choice(["[72.5 mm]", "[72.25 mm, 73 mm]", f"[{number_in(spec.low, spec.high, rng)} mm]"])
        case "count":
            return str(round(rng.choice([spec.low, spec.low + 1, spec.high, rng.uniform(spec.low, spec.high)])))
        case "money":
            return rng.choice(["0", "1", "12.5", "1000000", "0.0001", "33"])
        case "choice":
            return rng.choice(spec.choices)
        case "flag":
            return rng.choice(["true", "false", "yes", "no"])
        case "tags":
            return rng.choice(["[a72]", "[b, c]", "a72", "[]", "['=1', '<b>']"])
        case _:
            return quoted(rng.choice([*VISIBLE, "plain", "a name"]))


def number_in(low: float, high: float, rng: random.Random) -> str:
    way = rng.random()
    value = (
        low if way < 0.1 else high if way < 0.2 else rng.uniform(low, low + (high - low) * rng.choice([1, 0.3, 0.05]))
    )
    return f"{value:.{rng.choice([2, 4, 6])}f}".rstrip("0").rstrip(".") or "0"


def group_of(owner: type[Any], rng: random.Random, wild: float) -> str:
    known = specs_of(owner)
    fields = {name: value_of(spec, rng, wild) for name, spec in known.items() if spec.required or rng.random() < 0.5}
    if {"max", "step"} <= set(fields) and rng.random() < 0.8:
        unit = fields["max"].split()[-1]
        fields["max"], fields["step"] = f"{rng.choice([0.5, 1, 2])} {unit}", f"{rng.choice([0.1, 0.25, 0.5])} {unit}"
    return "{" + ", ".join(f"{name}: {text}" for name, text in fields.items()) + "}"


def quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def plan_text(rng: random.Random, ids: list[tuple[str, str]], wild: float) -> bytes:
    """A plan that asks for many things at once."""
    figures = public_figures()
    goals = []
    for name in rng.sample(sorted(figures), rng.choice([0, 0, 0, 1, 2, 3, 12])):
        unit = {"": "", "mm": "mm", "cc": "cc", "deg": "deg", "rpm": "rpm"}.get(figures[name].unit)
        if unit is None:
            unit = figures[name].dimension.likely[0] if figures[name].dimension.likely else ""
        one, two = sorted(rng.choice([0.0, 1.0, 8.0, 11.5, 200.0, 7000.0, rng.uniform(-5, 50)]) for _ in range(2))
        bounds = rng.choice(
            [
                f"min: {one} {unit}",
                f"max: {two} {unit}",
                f"aim: {one} {unit}",
                f"aim: {two} {unit}",
                f"min: {one} {unit}, max: {two} {unit}",
            ]
        )
        if rng.random() < wild + 0.005:
            bounds += f", {rng.choice(['min', 'max', 'aim', 'step', 'weight'])}: {quoted(nasty_text(rng))}"
        if rng.random() < 0.1:
            bounds += f", step: {rng.choice(['1e-30', '1e-9', '0.01', '1e8'])} {unit}"
            bounds += f", weight: {rng.choice([1, 999999])}"
        goals.append(f"  {name}: {{{bounds}}}")
    if rng.random() < 0.3:
        goals.append(f"  rev_ceiling: {rng.choice([500, 7000, 30000])} rpm")
    lines = ["plan: grown", "catalogue: ./catalogue", "goals:" if goals else "goals: {}", *goals]
    if rng.random() < 0.3 and ids:
        kind, part = rng.choice(ids)
        lines.append(f"parts: {{use: {{{kind}: {quoted(part)}}}, optional: [{rng.choice(list(KINDS))}]}}")
    elif rng.random() < 0.3:
        shelf = rng.choice(["true", "[rod]", "false"])
        lines.append(f"parts: {{shelf_only: {shelf}, kinds: [block, crank, rod, piston, gasket]}}")
    if rng.random() < 0.6:
        lines.append(f"allow: {{gaskets: {rng.choice([1, 2, 4])}, machining: [{', '.join(MACHINING)}]}}")
    lines.append(f"tolerance: {rng.choice(['nominal', 'statistical', 'worst_case'])}")
    if rng.random() < 0.3:
        lines.append(
            f"conditions: {{altitude: {rng.choice([-500, 0, 9000])} m, polytropic: {rng.choice([1, 1.25, 1.67])}, "
            "temperatures: {piston: 600 degC, barrel: -60 degC}}"
        )
    if rng.random() < 0.3:
        lines.append(
            "reference: {pushrod: 141.0 mm, gasket_stack: 1.0 mm, base_radius: 12.0 mm, pushrod_angle: 60 deg, "
            "balance_factor: 0.5, reciprocating_mass: 300 g}"
        )
    if rng.random() < 0.02:
        lines.append(rng.choice(nasty.LINES))
    if rng.random() < wild:
        lines.append(f"{rng.choice(list(PLAN_KEYS))}: {quoted(nasty_text(rng))}")
    if rng.random() < 0.08:
        lines.append("engines: {one: , two: {allow: {gaskets: 2}}}\nbudget: 500")
    return "\n".join(lines).encode("utf-8", "surrogatepass")
