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

WIDER = {"max: 1.10 mm": "max: 1.60 mm", "min: 9.5, max: 11.5": "min: 8.5, max: 12.5", "allow:": WORST_CASE}
"""What is changed in the plan, so that the limits leave room for all ± at once."""

REFUSED = {
    "compression against money": {"aim: 10.5, min: 9.5, max: 11.5": "aim: 17.5, min: 17, max: 18", "400": "60"},
    "next to no money": {"400": "3"},
    "lift against revs, at worst case": {"min: 6.0 mm": "min: 7.9 mm", "6500": "7500", "allow:": WORST_CASE},
}
"""Reason to what is changed in the plan, so that nothing fits the 200 parts any more."""


def changed(changes: dict[str, str]) -> str:
    """The benchmark's plan with some of its words changed."""
    text = PLAN
    for before, after in changes.items():
        assert before in text
        text = text.replace(before, after)
    return text


def catalogue(size: int, goals: str = "") -> tuple[Catalogue, Any]:
    """The generated catalogue of a size, and its plan: as it is, with ``motion``, or at ``worst_case``."""
    text = changed(WIDER) if goals == "worst_case" else ""
    with tempfile.TemporaryDirectory() as folder:
        return question(size, Path(folder), text, motion=goals == "motion")


def keys(answer: Answer) -> list[Key]:
    """First three keys of the order of each combination."""
    return [(each.key[0], each.closeness, float(each.cost or 0.0)) for each in answer]


def measure(size: int, goals: str = "") -> dict[str, Any]:
    """One search in this process: seconds, raw combinations, peak memory."""
    parts, plan = catalogue(size, goals)
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
        with tempfile.TemporaryDirectory() as folder:
            parts, plan = question(size, Path(folder), changed(changes))
        started = time.perf_counter()
        told = explain(parts, plan, find, witness, PATIENCE)
        conflict = told.answer.conflict
        note = ", ".join(conflict.requirements) if conflict is not None else "no conflict proved"
        found[reason] = time.perf_counter() - started, note + ("" if told.complete else "; did not finish")
    return found


def searched(size: int, runs: int = 3, goals: str = "") -> dict[str, Any]:
    """The search in processes of their own: the middle of their seconds, the greatest of their memory."""
    found = []
    for _ in range(runs):
        words = [sys.executable, "-m", "tests.benchmarks.bench", "--measure", str(size)]
        words += ["--goals", goals] if goals else []
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


def told(result: dict[str, Any]) -> str:
    """Counts of a search in words."""
    return ", ".join(f"{number} {name}" for name, number in result["counts"].items())


def row(size: int, raw: str, way: str, seconds: float, note: str, megabytes: float | None = None) -> None:
    """Print a row of the table."""
    memory = "" if megabytes is None else f"{megabytes:.0f}"
    print(f"| {size} | {raw} | {way} | {seconds:.2f} | {memory} | {note} |", flush=True)


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=[50, 200], help="numbers of parts: 50 200 400 1500")
    parser.add_argument("--pairs", type=int, default=5, help="paired runs of the whole command")
    parser.add_argument("--measure", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--goals", default="", choices=["", "motion", "worst_case"], help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        print(json.dumps(measure(asked.measure, asked.goals)))
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
        row(size, raw, "search", result["seconds"], told(result), result["megabytes"])
        spent, proved = plain(size, result["keys"])
        if proved == SOLVED_AGAIN:
            again = spent / proved * WANTED
            note = f"same first {proved}; {WANTED} extrapolated: {again:.0f} s, {again / result['seconds']:.0f} times"
        else:
            note = f"did not finish: {proved} of {SOLVED_AGAIN} proved"
        row(size, raw, f"one plain model, solved again for {SOLVED_AGAIN} answers", spent, note)
        if size <= 50:
            spent, count = every(size, result["keys"])
            note = f"{count:,} fit; same {WANTED}; {spent / result['seconds']:.0f} times"
            row(size, raw, "every combination, arrays", spent, note)
        worst = searched(size, 1, "worst_case")
        row(size, raw, "search at worst case, wider limits", worst["seconds"], told(worst), worst["megabytes"])
        if size == 200:
            for reason, (spent, note) in explained(size).items():
                row(size, raw, f"explain: {reason}", spent, note)
            moved = searched(size, goals="motion")
            way = "search, goals on piston to valve, float speed, dynamic compression"
            row(size, raw, way, moved["seconds"], told(moved), moved["megabytes"])
    return 0


if __name__ == "__main__":
    sys.exit(main())
