"""How long the search takes, against three other ways; prints Markdown: ``python -m tests.benchmarks.bench``.

Seconds depend on the machine: they are shown, never asserted. What is asserted is that all ways give the same answer.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

from kitwright.solver import Catalogue, find
from kitwright.solver.candidates import magnitude
from kitwright.solver.explain import explain
from kitwright.solver.result import Answer
from kitwright.solver.search import witness
from tests.benchmarks.generate import PLAN, question
from tests.benchmarks.plain_model import Key, PlainModel, exhaustive

SCENARIO = Path(__file__).parent.parent / "data" / "scenarios" / "stack-not-needed" / "plan.yaml"
WANTED = 20
SOLVED_AGAIN = 2
"""Answers of the plain model that are timed; the rest are extrapolated."""

PATIENCE = 120.0
"""Seconds that the plain model is given for them, and an explanation."""

COMMAND = "from kitwright.cli.main import main; main()"
IMPORT = "import ortools.sat.python.cp_model"
RATIO = 2.5
"""Whole command against OR-Tools' import alone: what is aimed at."""


WORST_CASE = "tolerance: worst_case\nallow:"

REFUSED = {
    "compression against money": {"aim: 10.5, min: 9.5, max: 11.5": "aim: 17.5, min: 17, max: 18", "400": "60"},
    "next to no money": {"400": "3"},
    "lift against revs, at worst case": {"min: 6.0 mm": "min: 7.9 mm", "6500": "7500", "allow:": WORST_CASE},
}
"""Reason to what is changed in the plan, so that nothing fits the 200 parts any more."""


def catalogue(size: int, motion: bool = False) -> tuple[Catalogue, Any]:
    """The generated catalogue of a size, and its plan."""
    with tempfile.TemporaryDirectory() as folder:
        return question(size, Path(folder), motion=motion)


def keys(answer: Answer) -> list[Key]:
    """First three keys of the order of each combination."""
    return [(each.key[0], each.closeness, float(each.cost or 0.0)) for each in answer]


def measure(size: int, motion: bool = False) -> dict[str, Any]:
    """One search in this process: seconds, raw combinations, peak memory."""
    parts, plan = catalogue(size, motion)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.perf_counter()
    answer = find(parts, plan, top=WANTED, seconds=600)
    spent = time.perf_counter() - started
    assert answer.status == "complete"
    assert len(answer) == WANTED
    return {
        "seconds": spent,
        "possible": answer.considered.possible,
        "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "before": before / 1024,
        "counts": dict(answer.counts),
        "keys": keys(answer),
    }


def explained(size: int) -> dict[str, Any]:
    """One explanation of a plan that nothing fits, by each reason: seconds, the conflict and whether it is whole."""
    found: dict[str, Any] = {}
    for reason, changes in REFUSED.items():
        text = PLAN
        for before, after in changes.items():
            assert before in text
            text = text.replace(before, after)
        with tempfile.TemporaryDirectory() as folder:
            parts, plan = question(size, Path(folder), text)
        started = time.perf_counter()
        told = explain(parts, plan, find, witness, PATIENCE)
        conflict = told.answer.conflict
        note = ", ".join(conflict.requirements) if conflict is not None else "no conflict proved"
        found[reason] = time.perf_counter() - started, note + ("" if told.complete else "; did not finish")
    return found


def searched(size: int, runs: int = 3, motion: bool = False) -> dict[str, Any]:
    """The search in processes of their own: the middle of their seconds, the greatest of their memory."""
    found = []
    for _ in range(runs):
        words = [sys.executable, "-m", "tests.benchmarks.bench", "--measure", str(size)]
        words += ["--motion"] if motion else []
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        found.append(json.loads(done.stdout))
    result: dict[str, Any] = found[0]
    result["seconds"] = median(each["seconds"] for each in found)
    result["megabytes"] = max(each["megabytes"] for each in found)
    result["keys"] = [(int(unproved), int(closeness), float(cost)) for unproved, closeness, cost in result["keys"]]
    return result


def command_ratio(pairs: int) -> tuple[float, float, float]:
    """Whole command and bare import by turns: the middle of the pairs' ratios, and of each one's seconds."""
    whole, bare = [], []
    for _ in range(pairs + 1):  # the first pair fills the file cache
        for code, words, seconds in ((COMMAND, ["find", str(SCENARIO)], whole), (IMPORT, [], bare)):
            started = time.perf_counter()
            subprocess.run([sys.executable, "-c", code, *words], capture_output=True, check=True)
            seconds.append(time.perf_counter() - started)
    ratios = [one / other for one, other in zip(whole[1:], bare[1:], strict=True)]
    return median(ratios), median(whole[1:]), median(bare[1:])


def plain(size: int, expected: list[Key]) -> tuple[float, int]:
    """The plain model solved again and again: seconds, and how many answers it proved in the time it was given."""
    parts, _ = catalogue(size)
    started = time.perf_counter()
    found = []
    for key in PlainModel(parts).answers(seconds=PATIENCE):
        found.append(key)
        if len(found) == SOLVED_AGAIN:
            break
    spent = time.perf_counter() - started
    assert same(found, expected[: len(found)]), f"plain model {found}, search {expected[: len(found)]}"
    return spent, len(found)


def every(size: int, expected: list[Key]) -> tuple[float, int]:
    """All combinations as arrays: seconds, and how many fit."""
    parts, _ = catalogue(size)
    started = time.perf_counter()
    count, best = exhaustive(parts, WANTED)
    spent = time.perf_counter() - started
    assert same(best, expected), f"exhaustive {best}, search {expected}"
    return spent, count


def same(one: list[Key], other: list[Key]) -> bool:
    """Whether two lists of keys are the same, money within a hundredth."""
    return len(one) == len(other) and all(
        a[:2] == b[:2] and abs(a[2] - b[2]) < 0.01 for a, b in zip(one, other, strict=True)
    )


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=[50, 200], help="numbers of parts: 50 200 400 1500")
    parser.add_argument("--pairs", type=int, default=5, help="paired runs of the whole command")
    parser.add_argument("--measure", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--motion", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        print(json.dumps(measure(asked.measure, asked.motion)))
        return 0
    ratio, whole, bare = command_ratio(asked.pairs)
    print("| what | seconds | against |\n| --- | --- | --- |")
    print(f"| `kitwright find` on a scenario, whole command | {whole:.2f} | |")
    print(f"| `{IMPORT}` alone | {bare:.2f} | |")
    print(f"| ratio, middle of {asked.pairs} pairs | {ratio:.2f} | aimed at: at most {RATIO} |\n", flush=True)
    print(f"The {WANTED} closest, proven, of generated catalogues:\n")
    print(
        "| parts | raw combinations | way | seconds | peak memory, MB | notes |\n| --- | --- | --- | --- | --- | --- |"
    )
    for size in asked.sizes:
        result = searched(size)
        raw = magnitude(result["possible"])
        counts = ", ".join(f"{number} {name}" for name, number in result["counts"].items())
        print(
            f"| {size} | {raw} | search | {result['seconds']:.2f} | {result['megabytes']:.0f} | {counts} |", flush=True
        )
        spent, proved = plain(size, result["keys"])
        if proved == SOLVED_AGAIN:
            note = f"same first {proved}; {WANTED} extrapolated: {spent / proved * WANTED:.0f} s"
        else:
            note = f"did not finish: {proved} of {SOLVED_AGAIN} proved"
        way = f"one plain model, solved again for {SOLVED_AGAIN} answers"
        print(f"| {size} | {raw} | {way} | {spent:.1f} | | {note} |", flush=True)
        if size <= 50:
            spent, count = every(size, result["keys"])
            note = f"{count:,} fit; same {WANTED}"
            print(f"| {size} | {raw} | every combination, arrays | {spent:.2f} | | {note} |", flush=True)
        if size == 200:
            for reason, (spent, note) in explained(size).items():
                print(f"| {size} | {raw} | explain: {reason} | {spent:.2f} | | {note} |", flush=True)
            result = searched(size, motion=True)
            counts = ", ".join(f"{number} {name}" for name, number in result["counts"].items())
            way = "search, goals on piston to valve, float speed, dynamic compression"
            took, memory = f"{result['seconds']:.2f}", f"{result['megabytes']:.0f}"
            print(f"| {size} | {raw} | {way} | {took} | {memory} | {counts} |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
