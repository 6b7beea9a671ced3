"""One case out of one seed: files in a folder and the words of a command line."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from kitwright.catalogs.headers import _WORDS
from kitwright.catalogs.rows import specs_of
from kitwright.solver.parts import KINDS
from tests.fuzz import nasty
from tests.fuzz.files import Files, corpus, mutate, nasty_text, sound
from tests.fuzz.grammar import number_in, part_of, plan_text, quoted, value_of
from tests.fuzz.words import SECONDS, argument, known_commands, words_for

WRITING = {"start", "remeasure", "shelf add", "shelf import", "shelf take", "shelf put"}


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


def mutated(rng: random.Random) -> Case:
    """A bundled file with a few things changed."""
    files = dict(rng.choice(corpus())) if rng.random() < 0.4 else sound(rng)
    for name in rng.sample(sorted(files), min(len(files), rng.choice([1, 1, 1, 2]))):
        files[name] = mutate(files[name], rng)
    if rng.random() < 0.05:
        name = rng.choice(["x.yml", "x.txt", ".x.yaml", "history.txt", "a/b.yaml", "parts.csv", "kinds.CSV"])
        files[f"catalogue/{name}"] = mutate(b"gaskets:\n- {id: x, thickness: 1 mm, bore: 73 mm}\n", rng)
    return Case(0, "mutated", files, words_for(files, rng))


def grown(rng: random.Random) -> Case:
    """A catalogue made of the fields there are, and a plan that asks for much."""
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
    words = words_for(files, rng)
    firsts = dict(reversed(ids))
    if words[0] == "check" and "--rank" not in words:  # one part of each kind, so that there is something to look at
        words += [word for kind, part in firsts.items() for word in ("--use", f"{kind}={part}")]
    if words[0] == "remeasure":
        four = [f"{kind}={firsts[kind]}" for kind in ("block", "crank", "rod", "piston") if kind in firsts]
        words += ["--with", ",".join(four)]
    return Case(0, "grown", files, words)


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


def imported(rng: random.Random) -> Case:
    """A builder's own sheet, in any separator and encoding, with headers in any words."""
    kind = rng.choice(list(KINDS))
    specs = {name: spec for name, spec in specs_of(KINDS[kind]).items() if spec.form != "group"}
    names = ["id", *rng.sample(sorted(specs), rng.randint(0, min(6, len(specs))))]
    names += [name for name, spec in specs.items() if spec.required and name not in names]
    pool = sorted(str(each) for each in _WORDS)
    header = []
    for name in names:
        spec = specs.get(name)
        unit = spec.dimension.likely[0] if spec and spec.dimension and spec.dimension.likely else ""
        shown = rng.choice([name, name, name, name.replace("_", " ").title()])
        shown = rng.choice(pool) if rng.random() < 0.05 else shown
        unit = rng.choice([f" [{unit}]", f" ({unit})", f" {unit}", f" [{unit}]"]) if unit else ""
        header.append(shown + (unit if rng.random() < 0.98 else f" [{rng.choice(nasty.UNITS)}]"))
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
            if rng.random() < 0.01:
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
    step = rng.choice([5, 10, 20, 1])
    top = rng.uniform(0.1, 12)
    rows = [(angle, max(0.0, top * math.sin(math.pi * (angle + 20) / 260))) for angle in range(-20, 241, step)]
    lines = ["angle [deg],lift [mm]", *(f"{angle},{lift:.2f}" for angle, lift in rows)]
    data = "\n".join(lines).encode()
    if rng.random() < 0.8:
        data = mutate(data, rng)
    files = next(dict(each) for each in corpus() if "deck.yaml" in each)
    readings = b"intake_readings: lobe.csv, exhaust_readings: lobe.csv"
    cams = b"\ncams:\n- {id: wheel, intake_lobe_lift: %.2f mm, exhaust_lobe_lift: 5 mm, %s}\n" % (top, readings)
    files["catalogue/measured.yaml"] = cams if rng.random() < 0.8 else mutate(cams, rng)
    files["catalogue/lobe.csv"] = data
    return Case(0, "wheel", files, words_for(files, rng))


def bomb(rng: random.Random) -> Case:
    """Something that unfolds, nests or repeats."""
    files = dict(corpus()[0])
    made = rng.choice(nasty.bombs(rng.choice([10, 1000, 30_000, 100_000])))
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
