"""Bundled files, and what is changed in them: bytes, values, lines, the whole."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from functools import cache
from importlib import resources
from pathlib import Path

from tests.fuzz import nasty

ROOT = Path(__file__).parent.parent.parent


Files = dict[str, bytes]


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


_ID = re.compile(rb"id: ?['\"]?([\w=@<>{}.-]{1,30})|^([a-z][\w-]{0,20}),", re.MULTILINE)


def some_id(files: Files, rng: random.Random) -> str:
    found = sorted({(one or two).decode() for data in files.values() for one, two in _ID.findall(data[:100_000])})
    return rng.choice([*found, "no-such"]) if rng.random() < 0.95 else rng.choice(nasty.WORDS)


def nasty_text(rng: random.Random) -> str:
    """A value that somebody might write, or would never."""
    way = rng.random()
    if way < 0.45:
        return f"{rng.choice(nasty.NUMBERS)}{rng.choice(['', ' '])}{rng.choice(nasty.UNITS)}"
    if way < 0.6:
        return rng.choice(nasty.NUMBERS)
    if way < 0.7:
        spread = f"{rng.choice(nasty.NUMBERS)} {rng.choice(nasty.UNITS)}"
        return f"{rng.uniform(-10, 200):.3g} {rng.choice(nasty.UNITS)} ± {spread}"
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
