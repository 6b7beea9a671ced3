"""Small files with questions that are too large: ``python -m tests.hostile`` measures them, the tests ask smaller ones.

Each is a catalogue and a plan of a few kilobytes. A command with ``--time S`` has to be done with it within S + 1 s, in
bounded memory, with an answer or with what is proved so far.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

Parts = dict[str, list[dict[str, Any]]]

SECONDS = 5
"""The time limit of every question that is measured."""

GOALS: dict[str, Any] = {"quench": {"aim": "1.0 mm", "min": "0.2 mm", "max": "4.0 mm"}}


def parts(blocks: int = 1, cranks: int = 1, rods: int = 1, pistons: int = 1, gaskets: int = 1, heads: int = 1) -> Parts:
    """A catalogue in which everything fits everything: parts of a kind are equal, gaskets differ in thickness."""

    def equal(letter: str, count: int, sizes: dict[str, Any]) -> list[dict[str, Any]]:
        return [{"id": f"{letter}{number:06d}", "price": 10, **sizes} for number in range(count)]

    return {
        "blocks": equal("b", blocks, {"bore": "72 mm", "block_height": "142 mm"}),
        "cranks": equal("k", cranks, {"stroke": "57 mm", "journal": "30 mm"}),
        "rods": equal("r", rods, {"length": "85 mm", "big_end": "30 mm", "pin": "16 mm"}),
        "pistons": equal("p", pistons, {"bore": "72 mm", "compression_height": "28 mm", "pin": "16 mm"}),
        "gaskets": [
            {"id": f"g{number:06d}", "price": 5, "bore": "73 mm", "thickness": f"{0.2 + 0.0137 * number:.4f} mm"}
            for number in range(gaskets)
        ],
        "heads": equal("h", heads, {"chamber": "24 cc"}),
    }


def lay(folder: Path, held: Parts, plan: dict[str, Any]) -> Path:
    """Write a catalogue and a plan; answers the plan's path."""
    (folder / "catalogue").mkdir(parents=True, exist_ok=True)
    (folder / "catalogue" / "all.yaml").write_text(yaml.safe_dump(held, sort_keys=False), encoding="utf-8")
    (folder / "plan.yaml").write_text(
        yaml.safe_dump({"plan": "hostile", "catalogue": "./catalogue", **plan}, sort_keys=False), encoding="utf-8"
    )
    return folder / "plan.yaml"


def stacks(folder: Path, gaskets: int = 120, deep: int = 4) -> Path:
    """Millions of stacks of gaskets of different thickness."""
    goals = GOALS | {"compression": {"aim": 9.0, "min": 5.0, "max": 14.0}}
    return lay(folder, parts(gaskets=gaskets), {"goals": goals, "allow": {"gaskets": deep}})


def equals(folder: Path, count: int = 200) -> Path:
    """Equal cranks, rods and pistons: one class each, millions of combinations behind it."""
    return lay(folder, parts(cranks=count, rods=count, pistons=count, gaskets=3), {"goals": GOALS})


def near(folder: Path, count: int = 150) -> Path:
    """Cranks, rods and pistons that differ by hundredths: nothing is alike, and all of it fits."""
    held = parts(cranks=count, rods=count, pistons=count, gaskets=6, heads=4)
    for kind, field, size in (
        ("cranks", "stroke", 57.0),
        ("rods", "length", 85.0),
        ("pistons", "compression_height", 28.0),
    ):
        for number, part in enumerate(held[kind]):
            part[field] = f"{size + 0.00137 * number * (1 + len(kind)):.5f} mm"
            part["price"] = 10 + number * 0.37
    goals = GOALS | {"compression": {"aim": 9.0, "min": 5.0, "max": 14.0}, "rod_ratio": {"aim": 1.5, "step": 0.0001}}
    return lay(folder, held, {"goals": goals, "allow": {"gaskets": 2}})


def four_engines(folder: Path, wanted: int = 8) -> Path:
    """Engines that all want the same parts, of which the shelf holds one each."""
    held = parts(gaskets=wanted, heads=wanted, rods=wanted, pistons=wanted, cranks=wanted)
    for kind in held.values():
        for part in kind:
            del part["price"]
            part["on_shelf"] = 1
    held["blocks"] = [held["blocks"][0] | {"id": f"b{number}"} for number in range(4)]
    engines = {f"engine{number}": {"parts": {"use": {"block": f"b{number}"}}} for number in range(4)}
    return lay(folder, held, {"goals": GOALS, "engines": engines})


def milled(folder: Path) -> Path:
    """Machining in steps so fine that one head and one block have thousands of states each."""
    held = parts(heads=3, gaskets=4)
    for head in held["heads"]:
        head |= {"chamber_area": "33 cm2", "mill": {"max": "1 mm", "step": "0.001 mm", "labour": 5}}
        head |= {"relieve": {"max": "5 cc", "step": "0.01 cc", "labour": 5}}
    held["blocks"][0] |= {"deck_cut": {"max": "1 mm", "step": "0.001 mm", "labour": 5}}
    return lay(folder, held, {"goals": GOALS, "allow": {"machining": ["mill", "relieve", "deck_cut"], "gaskets": 2}})


def long(folder: Path, count: int = 60_000) -> Path:
    """A catalogue that takes longer to read than there is time."""
    return lay(folder, parts(pistons=count), {"goals": GOALS})


QUESTIONS: dict[str, tuple[Any, tuple[str, ...]]] = {
    "120 gaskets in stacks of four": (stacks, ("find",)),
    "the same, explained": (
        stacks,
        ("explain", "--aim", "quench=none", "--max", "quench=0.21mm", "--min", "quench=0.2mm"),
    ),
    "the same, stack": (stacks, ("stack",)),
    "the same, traded off": (stacks, ("find", "--trade-off")),
    "the same, measured": (stacks, ("measure-next",)),
    "the same, a sheet": (stacks, ("sheet", "--rank", "1")),
    "200 equal parts of three kinds": (equals, ("find",)),
    "the same, --top 1000000": (equals, ("find", "--top", "1000000")),
    "the same, --top 1000000, JSON": (equals, ("find", "--top", "1000000", "--format", "json")),
    "the same, explained, ": (
        equals,
        ("explain", "--aim", "quench=none", "--max", "quench=0.21mm", "--min", "quench=0.2mm"),
    ),
    "the same, a list as a sheet": (equals, ("sheet", "--top", "100000")),
    "150 near parts of three kinds": (near, ("find",)),
    "the same, explained.": (near, ("explain", "--max", "cost=0")),
    "the same, stack.": (near, ("stack",)),
    "the same, --top 20000": (near, ("find", "--top", "20000")),
    "four engines, the same eight parts": (four_engines, ("find",)),
    "the same, explained...": (four_engines, ("explain",)),
    "fine machining": (milled, ("find",)),
    "fine machining, stack": (milled, ("stack",)),
    "60,000 pistons": (long, ("find",)),
}


def measured(plan: Path, words: Iterable[str], seconds: float = SECONDS) -> tuple[float, float, int, str]:
    """Seconds, peak memory in MB, exit status and the first line of one command in a process of its own."""
    command = words if isinstance(words, list) else list(words)
    code = (
        "import sys, resource, subprocess, time; t = time.monotonic();"
        "done = subprocess.run(sys.argv[1:], capture_output=True, text=True);"
        "t = time.monotonic() - t;"
        "print(t, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024, done.returncode);"
        "print((done.stderr.strip() + ' | ' + done.stdout.strip()[:300]).replace(chr(10), ' / ')[:300])"
    )
    entry = [sys.executable, "-m", "kitwright.cli.entry", command[0], str(plan), *command[1:], "--time", f"{seconds:g}"]
    done = subprocess.run([sys.executable, "-c", code, *entry], capture_output=True, text=True, check=True, timeout=900)
    numbers, _, told = done.stdout.partition("\n")
    taken, memory, status = numbers.split()
    return float(taken), float(memory), int(status), told.strip()


def main() -> None:
    """Measure all questions, or those whose names hold a word that is given."""
    for name, (make, words) in QUESTIONS.items():
        if any(word not in name for word in sys.argv[1:]):
            continue
        with tempfile.TemporaryDirectory() as folder:
            started = time.monotonic()
            taken, memory, status, told = measured(make(Path(folder)), words)
            del started
        print(f"{name:40} {taken:6.1f} s {memory:7.0f} MB  status {status}  {told[:150]}", flush=True)


if __name__ == "__main__":
    main()
