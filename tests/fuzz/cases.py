"""One case out of one seed: files in a folder and the words of a command line."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import typer

from kitwright.catalogs.plan_text import PLAN_KEYS
from kitwright.catalogs.problems import Problem
from kitwright.catalogs.read_yaml import parse_yaml, rows_of
from kitwright.catalogs.rows import build, specs_of
from kitwright.cli.main import app
from kitwright.solver.fields import FieldSpec
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING
from kitwright.solver.registry import public_figures
from tests.fuzz import nasty
from tests.pages import commands

ROOT = Path(__file__).parent.parent.parent
WRITING = {"start", "remeasure", "shelf add", "shelf import", "shelf take", "shelf put"}
SEARCHING = {"find", "explain", "stack", "sheet", "measure-next", "remeasure", "check", "shelf take", "shelf put"}
SECONDS = "2"
"""What a search is given."""

Files = dict[str, bytes]


@dataclass
class Case:
    """Files below the case's folder, and what is typed in it."""

    seed: int
    about: str
    files: Files
    words: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    """Quantities to be read, in place of a command."""

    @property
    def command(self) -> str:
        """``find`` or ``shelf take``."""
        return " ".join(self.words[: 2 if self.words[:1] == ["shelf"] else 1])


def case(seed: int) -> Case:
    """The case of a seed."""
    rng = random.Random(seed)
    makers: list[tuple[Callable[[random.Random], Case], int]] = [
        (mutated, 34),
        (grown, 26),
        (typed, 16),
        (imported, 12),
        (wheel, 4),
        (bomb, 4),
        (quantities, 4),
    ]
    made = rng.choices([each for each, _ in makers], [weight for _, weight in makers])[0](rng)
    made.seed = seed
    return made


@cache
def corpus() -> list[Files]:
    """Plans with their catalogues: the starter, the examples, the scenarios, the broken ones."""
    folders = [
        *sorted((ROOT / "examples").glob("*/")),
        *sorted((ROOT / "tests" / "data" / "scenarios").glob("*/")),
        *sorted((ROOT / "tests" / "broken").glob("*/")),
        Path(str(resources.files("kitwright.catalogs") / "starter")),
    ]
    found = []
    for folder in folders:
        paths = sorted(path for path in folder.rglob("*") if path.suffix in (".yaml", ".csv"))
        files = {str(path.relative_to(folder)): path.read_bytes() for path in paths}
        if any(name.startswith("catalogue/") for name in files):
            found.append(files)
    return found


def sound(rng: random.Random) -> Files:
    """A plan and catalogue without faults, small ones more often."""
    whole = [files for files in corpus() if "plan.yaml" in files or any("/" not in name for name in files)]
    whole = [files for files in whole if len(b"".join(files.values())) > 600]
    return dict(rng.choice(whole))


def plan_of(files: Files, rng: random.Random) -> str:
    plans = sorted(name for name in files if "/" not in name and name.endswith(".yaml"))
    return rng.choice(plans) if plans else "plan.yaml"


# what stands in files


def nasty_text(rng: random.Random) -> str:
    """A value that somebody might write, or would never."""
    way = rng.random()
    if way < 0.45:
        return f"{rng.choice(nasty.NUMBERS)}{rng.choice(['', ' '])}{rng.choice(nasty.UNITS)}"
    if way < 0.6:
        return rng.choice(nasty.NUMBERS)
    if way < 0.7:
        return f"{rng.uniform(-10, 200):.3g} {rng.choice(nasty.UNITS)} ± {rng.choice(nasty.NUMBERS)} {rng.choice(nasty.UNITS)}"
    return rng.choice(nasty.WORDS)


def mutate(data: bytes, rng: random.Random) -> bytes:
    """One to a few changes to a file's bytes."""
    for _ in range(rng.choice([1, 1, 1, 2, 3, 8])):
        data = rng.choice([_bytes, _value, _value, _value, _line, _line, _whole])(data, rng)
    return data


def _bytes(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data) + 1)
    end = min(len(data), at + rng.choice([0, 1, 1, 3, 20, 200]))
    way = rng.random()
    if way < 0.35:
        return data[:at] + rng.choice(nasty.BYTES) + data[end:]
    if way < 0.5:
        return data[:at] + data[end:]
    if way < 0.6:
        return data[:at] + data[at:end] * rng.choice([2, 3, 50]) + data[end:]
    if way < 0.7 and at < len(data):
        return data[:at] + bytes([data[at] ^ (1 << rng.randrange(8))]) + data[at + 1 :]
    if way < 0.8:
        return data[:at]
    return data[:at] + rng.choice(nasty.WORDS).encode("utf-8", "surrogatepass") + data[end:]


_VALUE = re.compile(rb"(?<=[:,\[{ ])[^:,\[\]{}\n]+(?=[,\]}\n])")


def _value(data: bytes, rng: random.Random) -> bytes:
    places = [match.span() for match in _VALUE.finditer(data)]
    if not places:
        return _bytes(data, rng)
    start, end = rng.choice(places)
    text = nasty_text(rng)
    if rng.random() < 0.5:
        text = '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return data[:start] + b" " + text.encode("utf-8", "surrogatepass") + data[end:]


def _line(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    other = rng.randrange(len(lines))
    way = rng.random()
    if way < 0.25:
        lines.insert(at, rng.choice(nasty.LINES).encode())
    elif way < 0.4:
        lines.insert(at, lines[other])
    elif way < 0.55:
        del lines[at]
    elif way < 0.7:
        lines[at], lines[other] = lines[other], lines[at]
    elif way < 0.8:
        lines[at] = b" " * rng.choice([1, 2, 7]) + lines[at]
    elif way < 0.9:
        lines[at] = lines[at].lstrip()
    else:
        lines[at] = lines[at][: len(lines[at]) // 2]
    return b"\n".join(lines)


def _whole(data: bytes, rng: random.Random) -> bytes:
    ways: list[Callable[[bytes], bytes]] = [
        lambda each: each.replace(b"\n", b"\r\n"),
        lambda each: each.replace(b"\n", b"\r"),
        lambda each: b"\xef\xbb\xbf" + each,
        lambda each: each.decode("utf-8", "replace").encode("utf-16"),
        lambda each: each.decode("utf-8", "replace").encode("cp1252", "replace"),
        lambda each: each + each,
        lambda each: each.replace(b",", b";"),
        lambda each: each.replace(b".", b","),
        lambda each: each.replace(b" mm", b" in"),
        lambda each: each.replace(b" mm", b""),
        lambda each: each.replace(b"  ", b"\t"),
        lambda each: b"",
        lambda each: each.rstrip(b"\n"),
    ]
    return rng.choice(ways)(data)


def mutated(rng: random.Random) -> Case:
    """A bundled file with a few things changed."""
    files = dict(rng.choice(corpus())) if rng.random() < 0.4 else sound(rng)
    for name in rng.sample(sorted(files), min(len(files), rng.choice([1, 1, 1, 2]))):
        files[name] = mutate(files[name], rng)
    if rng.random() < 0.05:
        files[
            f"catalogue/{rng.choice(['x.yml', 'x.txt', '.x.yaml', 'history.txt', 'a/b.yaml', 'parts.csv', 'kinds.CSV'])}"
        ] = mutate(b"gaskets:\n- {id: x, thickness: 1 mm, bore: 73 mm}\n", rng)
    return Case(0, "mutated", files, words_for(files, rng))


# made by the grammar of the fields

VISIBLE = [word for word in nasty.WORDS if word.isprintable() and word.strip() and len(word) < 400]
SHARED = {"bore": "72 mm", "pin": "16 mm", "journal": "30 mm", "big_end": "30 mm"}


def value_of(spec: FieldSpec, rng: random.Random, wild: float) -> str:
    """A value of a field: in its range or at its ends, now and then anything at all."""
    if rng.random() < wild:
        return quoted(nasty_text(rng))
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


def grown(rng: random.Random) -> Case:
    """A catalogue made of the fields there are, with values at the ends of their ranges, and a plan that asks for much."""
    wild = rng.choice([0, 0, 0, 0, 0, 0, 0.01, 0.1])
    lines: list[str] = []
    ids: list[tuple[str, str]] = []
    missing = rng.choice([None, None, None, *KINDS])
    for kind, owner in KINDS.items():
        if kind == missing:
            continue
        lines.append(f"{owner.plural}:")
        often = rng.choice([0.2, 0.6, 1.0])
        for number in range(rng.choice([1, 1, 2, 3])):
            part = f"{kind}{number}"
            ids.append((kind, part))
            fields = {"id": quoted(part), **part_of(kind, rng, often, wild)}
            lines.append("- {" + ", ".join(f"{name}: {text}" for name, text in fields.items()) + "}")
    plan = plan_text(rng, ids, wild)
    files = {"catalogue/parts.yaml": "\n".join(lines).encode("utf-8", "surrogatepass"), "plan.yaml": plan}
    return Case(0, "grown", files, words_for(files, rng))


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
        if rng.random() < wild + 0.03:
            bounds += f", {rng.choice(['min', 'max', 'aim', 'step', 'weight'])}: {quoted(nasty_text(rng))}"
        if rng.random() < 0.1:
            bounds += f", step: {rng.choice(['1e-30', '1e-9', '0.01', '1e9', '1e30'])} {unit}, weight: {rng.choice([1, 999999])}"
        goals.append(f"  {name}: {{{bounds}}}")
    if rng.random() < 0.3:
        goals.append(f"  rev_ceiling: {rng.choice([500, 7000, 30000])} rpm")
    lines = ["plan: grown", "catalogue: ./catalogue", "goals:" if goals else "goals: {}", *goals]
    if rng.random() < 0.3 and ids:
        kind, part = rng.choice(ids)
        lines.append(f"parts: {{use: {{{kind}: {quoted(part)}}}, optional: [{rng.choice(list(KINDS))}]}}")
    elif rng.random() < 0.3:
        lines.append(
            f"parts: {{shelf_only: {rng.choice(['true', '[rod]', 'false'])}, kinds: [block, crank, rod, piston, gasket]}}"
        )
    if rng.random() < 0.6:
        lines.append(f"allow: {{gaskets: {rng.choice([1, 2, 4])}, machining: [{', '.join(MACHINING)}]}}")
    lines.append(f"tolerance: {rng.choice(['nominal', 'statistical', 'worst_case'])}")
    if rng.random() < 0.3:
        lines.append(
            f"conditions: {{altitude: {rng.choice([-500, 0, 9000])} m, polytropic: {rng.choice([1, 1.25, 1.67])}, temperatures: {{piston: 600 degC, barrel: -60 degC}}}}"
        )
    if rng.random() < 0.3:
        lines.append(
            "reference: {pushrod: 141.0 mm, gasket_stack: 1.0 mm, base_radius: 12.0 mm, pushrod_angle: 60 deg, balance_factor: 0.5, reciprocating_mass: 300 g}"
        )
    if rng.random() < 0.1:
        lines.append(rng.choice(nasty.LINES))
    if rng.random() < wild:
        lines.append(f"{rng.choice(list(PLAN_KEYS))}: {quoted(nasty_text(rng))}")
    if rng.random() < 0.08:
        lines.append("engines: {one: , two: {allow: {gaskets: 2}}}\nbudget: 500")
    return "\n".join(lines).encode("utf-8", "surrogatepass")


# command lines


@cache
def known_commands() -> list[tuple[tuple[str, ...], Any]]:
    found = [(path[1:], command) for path, command in commands(typer.main.get_command(app)) if path[1:]]
    return sorted(found, key=lambda each: each[0])


def words_for(files: Files, rng: random.Random) -> list[str]:
    """A plain command over some files."""
    plan = plan_of(files, rng)
    form = ["--format", rng.choice(["table", "json", "csv", "markdown"])]
    time = ["--time", SECONDS]
    mock_up = ["--deck", "0.3 mm down ± 0.02 mm"]
    ways: list[tuple[list[str], int]] = [
        (["find", plan, *form, *time], 6),
        (["check", plan, *form], 4),
        (["check", plan, "--rank", "1", *form, *time], 2),
        (["explain", plan, *form, *time], 3),
        (["stack", plan, *form, *time], 2),
        (["sheet", plan, *time, *rng.choice([["--rank", "1"], [], ["--format", "markdown"]])], 3),
        (["measure-next", plan, *form, *time], 2),
        (["remeasure", plan, *mock_up, *form, *time, *rng.choice([[], ["--dry-run"], ["--take-block-height"]])], 3),
        (["shelf", "check", "catalogue", *form], 4),
        (["shelf", "list", plan, *form], 3),
        (["shelf", "history", "catalogue", *form], 1),
        (["shelf", "take", "--plan", plan, "--rank", "1", *time, *form], 2),
        (["shelf", "put", some_id(files, rng), "--plan", plan, *form], 2),
        (["shelf", "take", some_id(files, rng), rng.choice(["1", "2", "99"]), "--catalogue", "catalogue", *form], 2),
        (["shelf", "add", "gasket", "id=new", "thickness=1 mm", "bore=80 mm", "--catalogue", "catalogue", *form], 2),
        (["start", rng.choice(["shed", ".", "catalogue"])], 1),
    ]
    words = rng.choices([each for each, _ in ways], [weight for _, weight in ways])[0]
    known = {
        option
        for path, command in known_commands()
        if tuple(words[: len(path)]) == path
        for each in command.params
        for option in each.opts
    }
    if "--rank" in words and "--rank" not in known:
        words = [each for each in words if each not in ("--rank", "1")]
    if "--time" in words and "--time" not in known:
        words = [each for each in words if each not in time]
    return list(words)


_ID = re.compile(rb"id: ?['\"]?([\w=@<>{}.-]{1,30})|^([a-z][\w-]{0,20}),", re.MULTILINE)


def some_id(files: Files, rng: random.Random) -> str:
    found = sorted({(one or two).decode() for data in files.values() for one, two in _ID.findall(data[:100_000])})
    return rng.choice([*found, "no-such"]) if rng.random() < 0.95 else rng.choice(nasty.WORDS)


def typed(rng: random.Random) -> Case:
    """A command line with options of every kind, over sound files."""
    files = sound(rng)
    path, command = rng.choice(known_commands())
    words = list(path)
    for parameter in command.params:
        if parameter.name in ("help", "install_completion", "show_completion"):
            continue
        needed = parameter.param_type_name == "argument"
        if rng.random() > (0.92 if needed else 0.13):
            continue
        for _ in range(rng.choice([1, 1, 2]) if parameter.multiple or parameter.nargs != 1 else 1):
            value = [] if getattr(parameter, "is_flag", False) else [argument(parameter, files, rng)]
            words += value if needed else [rng.choice(parameter.opts), *value]
    if rng.random() < 0.05:
        words.insert(rng.randrange(len(words) + 1), rng.choice(nasty.WORDS))
    if any("--time" in each.opts for each in command.params) and "--time" not in words:
        words += ["--time", SECONDS]
    return Case(0, "typed", files, [word for word in words if "\x00" not in word])


CHOICES = {
    "form": ("table", "json", "csv", "markdown", "html"),
    "tolerance": ("nominal", "statistical", "worst_case"),
    "units": ("mm", "in"),
    "decimal": ("comma", "point"),
    "seconds": ("0", "0.1", SECONDS, "-1", "nan", "x"),
}
PATHS = ("plan", "place", "catalogue", "output", "file", "folder")


def argument(parameter: Any, files: Files, rng: random.Random) -> str:
    """A value for a parameter of the command line."""
    name = (parameter.name or "").lower()
    wild = rng.random() < 0.15
    if name in CHOICES and (not wild or name == "seconds"):
        return rng.choice(CHOICES[name])
    if name in PATHS:
        return path_word(name, files, rng)
    if (parameter.metavar or "") in ("N", "R", "S") or name in ("gaskets", "samples", "seed"):
        return rng.choice(nasty.NUMBERS if wild else ["1", "2", "3", "0", "-1", "5", "20"])
    return text_word(name, files, rng, wild)


_UNSAFE = re.compile(r"(^|/)\.\.(/|$)|^/|^~")


def path_word(name: str, files: Files, rng: random.Random) -> str:
    """A path inside the case's folder: nothing that a command might write elsewhere."""
    if name == "output":
        return rng.choice(
            [
                "out.txt",
                "out.html",
                "no/out.txt",
                ".",
                "catalogue",
                "plan.yaml",
                "x" * 250,
                "x" * 300,
                "é\u202e.md",
                "out\n.txt",
            ]
        )
    words = [
        *sorted(files),
        "catalogue",
        "catalogue",
        plan_of(files, rng),
        plan_of(files, rng),
        plan_of(files, rng),
        ".",
        "no-such",
    ]
    if rng.random() < 0.1:
        words = [each for each in nasty.WORDS if not _UNSAFE.search(each)]
    return rng.choice(words)


def text_word(name: str, files: Files, rng: random.Random, wild: bool) -> str:
    figure = rng.choice([*sorted(public_figures()), "rev_ceiling", "quench", "compression", "cost"])
    value = rng.choice(
        [nasty_text(rng), f"{rng.uniform(0, 12):.2f}", f"{rng.uniform(0, 2):.2f} mm", "200", "7000 rpm", "1e30", "1e15"]
    )
    kind, part = rng.choice(list(KINDS)), some_id(files, rng)
    if wild:
        return rng.choice(
            [nasty_text(rng), f"{figure}={nasty_text(rng)}", f"{kind}={nasty_text(rng)}", "=", "a=b=c", ",", "a,,b"]
        )
    by_name = {
        "use": f"{kind}={part}",
        "with_": f"{kind}={part}",
        "machine": f"{rng.choice(list(MACHINING))}={value}",
        "avoid": part,
        "part": part,
        "of": part,
        "machining": rng.choice([*MACHINING, ",".join(MACHINING)]),
        "kinds": rng.choice([kind, f"{kind},rod,piston", "block,crank"]),
        "optional": kind,
        "kind": kind,
        "deck": rng.choice(["0.3 mm down", "0.3 mm up ± 0.1 mm", nasty_text(rng)]),
        "chamber": rng.choice(["21 cc", nasty_text(rng)]),
        "fields": rng.choice(
            [f"{part}.stroke={value}", f"{part}.bore={value}", f"id={part}", f"thickness={value}", "mill.max=1 mm"]
        ),
        "weight": f"{figure}={rng.choice(['1', '2', '999999', '0', '-1', '1e9'])}",
        "maps": rng.choice(["a=length [mm]", "=", "Hub=", "x=y=z"]),
        "encoding": rng.choice(
            ["utf-8", "cp1252", "utf-16", "base64", "rot13", "idna", "punycode", "unicode_escape", "zlib", "x" * 99]
        ),
        "date": rng.choice(["2026-05-01", "2026-02-30", "0000-00-00", "9999-12-31", nasty_text(rng)]),
        "free": rng.choice(["rod", "all", "rod,piston", kind]),
    }
    if name in by_name:
        return by_name[name]
    return rng.choice(
        [f"{figure}={value}", f"{figure}={value}", f"{part}.{figure}={value}", f"{kind}={part}", nasty_text(rng)]
    )


# sheets, wheels, bombs, quantities


def imported(rng: random.Random) -> Case:
    """A builder's own sheet, in any separator and encoding, with headers in any words."""
    from kitwright.catalogs.headers import _WORDS

    kind = rng.choice(list(KINDS))
    specs = {name: spec for name, spec in specs_of(KINDS[kind]).items() if spec.form != "group"}
    names = ["id", *rng.sample(sorted(specs), rng.randint(0, min(6, len(specs))))]
    names += [name for name, spec in specs.items() if spec.required and name not in names]
    pool = sorted(str(each) for each in _WORDS)
    header = []
    for name in names:
        spec = specs.get(name)
        unit = spec.dimension.likely[0] if spec and spec.dimension and spec.dimension.likely else ""
        shown = rng.choice([name, name, name.replace("_", " ").title(), rng.choice(pool)])
        unit = rng.choice(["", f" [{unit}]", f" ({unit})", f" {unit}", f" [{unit}]"]) if unit else ""
        header.append(shown + (unit if rng.random() < 0.95 else f" [{rng.choice(nasty.UNITS)}]"))
    rows = []
    for number in range(rng.choice([0, 1, 3, 8])):
        row = []
        for name in names:
            spec = specs.get(name)
            if name == "id" or spec is None:
                row.append(f"n{number}")
            elif spec.form == "quantity":
                row.append(number_in(spec.low, spec.high, rng).replace(".", rng.choice([".", ".", ","])))
            else:
                row.append(value_of(spec, rng, 0).strip("'"))
            if rng.random() < 0.03:
                row[-1] = nasty_text(rng)
        rows.append(row)
    separator = rng.choice([",", ";", "\t", "|", ",", ";"])
    end = rng.choice(["\n", "\r\n", "\r"])

    def cell(text: str) -> str:
        return '"' + text.replace('"', '""') + '"' if re.search(r'[",;|\t\r\n]', text) and rng.random() < 0.9 else text

    lines = [separator.join(map(cell, row)) for row in [header, *rows]]
    if rng.random() < 0.1:
        lines.insert(0, rng.choice([f"sep={separator}", "# a remark", "", "Parts list", ";;;"]))
    data = end.join(lines).encode(
        rng.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le"]), "replace"
    )
    if rng.random() < 0.4:
        data = mutate(data, rng)
    files = sound(rng)
    name = rng.choice([f"{KINDS[kind].plural}.csv", "sheet.csv"])
    files[name] = data
    words = [
        "shelf",
        "import",
        name,
        "catalogue",
        *rng.choice([["--yes"], [], ["--kind", kind], ["--yes", "--kind", kind]]),
    ]
    words += rng.choice(
        [
            [],
            [],
            ["--decimal", "comma"],
            ["--decimal", "point"],
            ["--encoding", rng.choice(["cp1252", "utf-16", "latin-1", "base64"])],
        ]
    )
    words += ["--format", rng.choice(["table", "json", "csv", "markdown"])]
    return Case(0, "imported", files, words)


def wheel(rng: random.Random) -> Case:
    """A degree wheel's readings that a cam names."""
    import math

    step = rng.choice([5, 10, 20, 1])
    top = rng.uniform(0.1, 12)
    rows = [(angle, max(0.0, top * math.sin(math.pi * (angle + 20) / 260))) for angle in range(-20, 241, step)]
    lines = ["angle [deg],lift [mm]", *(f"{angle},{lift:.2f}" for angle, lift in rows)]
    data = "\n".join(lines).encode()
    if rng.random() < 0.8:
        data = mutate(data, rng)
    files = next(dict(each) for each in corpus() if "deck.yaml" in each)
    cams = (
        b"\ncams:\n- {id: wheel, intake_lobe_lift: %.2f mm, exhaust_lobe_lift: 5 mm, intake_readings: lobe.csv, exhaust_readings: lobe.csv}\n"
        % top
    )
    files["catalogue/measured.yaml"] = cams if rng.random() < 0.8 else mutate(cams, rng)
    files["catalogue/lobe.csv"] = data
    return Case(0, "wheel", files, words_for(files, rng))


def bomb(rng: random.Random) -> Case:
    """Something that unfolds, nests or repeats."""
    files = dict(corpus()[0])
    made = rng.choice(nasty.bombs(rng.choice([10, 1000, 30_000, 200_000])))
    name = rng.choice(["plan.yaml", "catalogue/rods.csv", "catalogue/bomb.yaml", "catalogue/history.txt", "rods.csv"])
    files["plan.yaml"] = files.get("plan.yaml", b"catalogue: ./catalogue\n")
    files[name] = made
    words = words_for(files, rng)
    if name == "rods.csv":
        words = ["shelf", "import", name, "catalogue", "--yes"]
    return Case(0, "bomb", files, words)


def quantities(rng: random.Random) -> Case:
    """Two hundred quantities."""

    def glued() -> Iterator[str]:
        for _ in range(rng.choice([1, 2, 2, 3, 5])):
            yield rng.choice(
                [
                    rng.choice(nasty.NUMBERS),
                    rng.choice(nasty.UNITS),
                    rng.choice([" ", "±", "+/-", "e", "/", "-", ".", "up", "down"]),
                ]
            )

    texts = [nasty_text(rng) if rng.random() < 0.5 else "".join(glued()) for _ in range(200)]
    return Case(0, "quantities", {}, [], texts)
