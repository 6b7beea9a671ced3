"""How long the search takes, against other ways; prints Markdown tables: ``python -m tests.benchmarks.bench``.

``--everything`` prints all that README.md beside this file shows, and ``--write`` puts it there. Seconds depend on the
machine: they are shown, never asserted. What is asserted is that all ways give the same answer.
"""

from __future__ import annotations

import argparse
import json
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

from tests.benchmarks.asked import Key, same
from tests.benchmarks.measure import GIGABYTES, WANTED, WORST_CASE, changed

SCENARIO = Path(__file__).parent.parent / "data" / "scenarios" / "stack-not-needed" / "plan.yaml"
README = Path(__file__).with_name("README.md")
BEGIN, END = "<!-- tables: begin -->\n", "<!-- tables: end -->\n"
RUNS = 5
"""Runs of a way of which the middle is shown: of one that takes more than :data:`SHORT` seconds, one alone."""
SHORT = 10.0

COMMAND = "from kitwright.cli.main import main; main()"
IMPORT = "import ortools.sat.python.cp_model"
RATIO = 2.5
"""Whole command against OR-Tools' import alone: what is aimed at."""

WAYS = {
    "search": "search",
    "staged": "arrays, filtered stage by stage",
    "pandas": "staged joins, pandas",
    "duckdb": "staged joins, DuckDB",
    "thresholds": "plain model, thresholds",
    "division": "plain model, division",
    "on_a_grid": "every combination, arrays on a grid",
    "every_one": "every combination, each figure for each",
}
PATIENCE = {"pandas": 120.0, "duckdb": 240.0, "thresholds": 180.0, "division": 180.0}
"""What a way is given that may not end: processor seconds of the joins (DuckDB runs on two cores), else seconds."""
MODELS = ("thresholds", "division")
"""Ways whose answers come one after the other: what they have not proved in their time is extrapolated."""

SMALL, MEDIUM = 50, 400
"""Parts up to which every combination is tried, and up to which the other ways are."""

REFUSED = {
    "compression against money": {"aim: 10.5, min: 9.5, max: 11.5": "aim: 17.5, min: 17, max: 18", "400": "60"},
    "next to no money": {"400": "3"},
    "lift against revs, at worst case": {"min: 6.0 mm": "min: 7.9 mm", "6500": "7500", "allow:": WORST_CASE},
}
"""Reason to what is changed in the plan, so that nothing fits the 200 parts any more."""

lines: list[str] = []
"""What was printed, to be written to the README."""


def say(text: str) -> None:
    """Print a line of a table and keep it."""
    lines.append(text)
    print(text, flush=True)


def head(*names: str) -> None:
    """The head of a table."""
    say(f"| {' | '.join(names)} |\n|{' --- |' * len(names)}")


def row(*cells: object) -> None:
    """A row of a table: numbers with as many places as tell something."""
    say(f"| {' | '.join(map(number, cells))} |")


def number(cell: object) -> str:
    """A cell as text."""
    if isinstance(cell, float):
        return f"{cell:,.0f}" if cell >= 100 else f"{cell:.3g}" if cell >= 1 else f"{cell:.2f}"
    return f"{cell:,}" if isinstance(cell, int) else str(cell)


def run(way: str, size: int, goals: str = "") -> dict[str, Any]:
    """One way in a process of its own; ``failed`` says why it has no answer."""
    patience = PATIENCE.get(way, 1200.0)
    words = [sys.executable, "-m", "tests.benchmarks.measure", way, str(size), goals, str(patience)]
    done = subprocess.run(words, capture_output=True, text=True)
    if done.returncode == -signal.SIGXCPU:
        return {"failed": f"does not finish within {patience:.0f} processor seconds"}
    if done.returncode:
        raise RuntimeError(f"{way}, {size} parts: {done.stderr}")
    found: dict[str, Any] = json.loads(done.stdout)
    found["keys"] = [(int(a), int(b), float(c)) for a, b, c in found.get("keys", ())]
    return found


def middle(runs: list[dict[str, Any]]) -> dict[str, Any]:
    """Several runs of one way as one: the middle of their times, the greatest of their memory."""
    times = {name: median(each[name] for each in runs) for name in ("seconds", "cpu", "start_up")}
    return runs[0] | times | {"megabytes": max(each["megabytes"] for each in runs), "runs": len(runs)}


def compared(size: int) -> dict[str, dict[str, Any]]:
    """Every way at a size, by turns, so that what else the machine does falls on all alike.

    Raises:
        AssertionError: two ways give different answers.
    """
    ways = [way for way in WAYS if way in ("search", "pandas", "duckdb", *MODELS) or size <= SMALL]
    if size > MEDIUM:
        ways = ["search"]
    runs = {way: [run(way, size)] for way in ways}
    quick = [way for way in ways if runs[way][0].get("seconds", SHORT) < SHORT]
    for _ in range(RUNS - 1):
        for way in quick:
            runs[way].append(run(way, size))
    found = {way: each[0] if "failed" in each[0] else middle(each) for way, each in runs.items()}
    expected: list[Key] = found["search"]["keys"]
    for way, each in found.items():
        if "failed" not in each:
            assert way in MODELS or len(each["keys"]) == WANTED, f"{way}: {len(each['keys'])} answers"
            assert same(each["keys"], expected[: len(each["keys"])]), f"{way}: {each['keys']}, search: {expected}"
    counted = {way: each["fit"] for way, each in found.items() if "fit" in each}
    assert len(set(counted.values())) <= 1, counted
    return found


def times(each: dict[str, Any], search: dict[str, Any], clock: str = "seconds") -> float:
    """How many times as long a way takes as the search, for all answers."""
    return float(each[clock] * WANTED / len(each["keys"]) / search[clock])


def note(each: dict[str, Any]) -> str:
    """What there is to say of a way's answer."""
    if "counts" in each:
        return ", ".join(f"{number} {name}" for name, number in each["counts"].items())
    if len(each["keys"]) < WANTED:
        return f"same first {len(each['keys'])} in its time; {WANTED} extrapolated"
    return f"same {WANTED}" + (f"; {each['fit']:,} fit" if "fit" in each else "")


def against(size: int) -> dict[str, float | None]:
    """Rows of the table of ways for one size; each way to how many times as long as the search it takes."""
    from kitwright.solver.candidates import magnitude

    found = compared(size)
    search = found["search"]
    raw = magnitude(search["possible"])
    ratios: dict[str, float | None] = {}
    for way, each in found.items():
        if "failed" in each:
            ratios[way] = None
            row(size, raw, WAYS[way], *[""] * 6, each["failed"])
            continue
        ratios[way] = times(each, search)
        shown = (times(each, search), times(each, search, "cpu")) if way != "search" else ("", "")
        seen = (each["seconds"], each["cpu"], each["start_up"], round(each["megabytes"]))
        row(size, raw, WAYS[way], *seen, *shown, note(each))
    return ratios


def targets(ratios: dict[int, dict[str, float | None]]) -> None:
    """What is aimed at, and whether it is met."""
    say("\nWhat is aimed at, in seconds:\n")
    head("against", "parts", "aimed at, times", "measured, times", "")
    aims = [(way, SMALL, 50.0) for way in ("every_one", "on_a_grid")]
    aims += [(way, 200, 100.0) for way in ("division", "thresholds")]
    aims += [(way, size, 1.0) for way in ("pandas", "duckdb") for size in ratios if size <= MEDIUM]
    for way, size, aimed in aims:
        if size in ratios:
            measured = ratios[size][way]
            met = measured is None or measured >= aimed
            row(WAYS[way], size, aimed, "did not finish" if measured is None else measured, "met" if met else "not met")


def command_ratio(pairs: int) -> None:
    """Whole command and bare import by turns, as a table: the middle of their seconds and of the pairs' ratios."""
    whole, bare = [], []
    for _ in range(pairs + 1):  # the first pair fills the file cache
        for code, words, seconds in ((COMMAND, ["find", str(SCENARIO)], whole), (IMPORT, [], bare)):
            started = time.perf_counter()
            subprocess.run([sys.executable, "-c", code, *words], capture_output=True, check=True)
            seconds.append(time.perf_counter() - started)
    ratio = median(one / other for one, other in zip(whole[1:], bare[1:], strict=True))
    head("start-up", "seconds", "against")
    row("`kitwright find` on a scenario, whole command", median(whole[1:]), "")
    row(f"`{IMPORT}` alone", median(bare[1:]), "")
    row(f"ratio, middle of {pairs} pairs", ratio, f"aimed at: at most {RATIO}")


def other_questions(sizes: list[int]) -> None:
    """The search alone, asked other questions: worst case, motion, and why nothing fits."""
    say("\nOther questions:\n")
    head("parts", "question", "seconds", "processor seconds", "peak memory, MB", "notes")
    for size in sizes:
        asked = {"worst_case": "at worst case, wider limits"}
        if size == 200:
            asked["motion"] = "goals on piston to valve, float speed, dynamic compression"
        for goals, words in asked.items():
            each = run("search", size, goals)
            row(size, words, each["seconds"], each["cpu"], round(each["megabytes"]), note(each))
        if size == 200:
            explained(size)


def explained(size: int) -> None:
    """Rows of explanations of plans that nothing fits."""
    from kitwright.solver import find
    from kitwright.solver.explain import explain
    from kitwright.solver.search import witness
    from tests.benchmarks.generate import question

    for reason, changes in REFUSED.items():
        with tempfile.TemporaryDirectory() as folder:
            parts, plan = question(size, Path(folder), changed(changes))
        used, started = time.process_time(), time.perf_counter()
        told = explain(parts, plan, find, witness, 120.0)
        spent = time.perf_counter() - started, time.process_time() - used
        conflict = told.answer.conflict
        names = ", ".join(conflict.requirements) if conflict is not None else "no conflict proved"
        row(size, f"explain: {reason}", *spent, "", names + ("" if told.complete else "; did not finish"))


def profiles(sizes: list[int]) -> None:
    """Where the processor seconds of one search go, by size."""
    say("\nWhere the processor seconds of one search go:\n")
    found = {}
    for size in sizes:
        words = [sys.executable, "-m", "tests.benchmarks.stages", str(size)]
        found[size] = json.loads(subprocess.run(words, capture_output=True, text=True, check=True).stdout)
    head("stage", *(f"{size} parts" for size in sizes))
    for stage in found[sizes[0]]:
        row(stage, *(f"{found[size][stage]:.3f}" for size in sizes))
    row("the whole", *(f"{sum(round(each, 3) for each in found[size].values()):.3f}" for size in sizes))


def main() -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=[50, 200], help="numbers of parts: 50 200 400 1500")
    parser.add_argument(
        "--profile", type=int, nargs="+", help="only where the time of one search goes, for these sizes"
    )
    parser.add_argument(
        "--everything", action="store_true", help="every table of README.md; takes a quarter of an hour"
    )
    parser.add_argument("--write", action="store_true", help="put the tables into README.md")
    parser.add_argument("--pairs", type=int, default=5, help="paired runs of the whole command")
    asked = parser.parse_args()
    sizes = [50, 200, 400, 1500] if asked.everything else asked.sizes
    if asked.profile:
        profiles(asked.profile)
        return 0
    command_ratio(asked.pairs)
    say(f"\nThe {WANTED} closest of generated catalogues (the joins may take {GIGABYTES} GB):\n")
    names = ("parts", "raw combinations", "way", "seconds", "processor seconds", "start-up, seconds")
    head(*names, "peak memory, MB", "times the search's seconds", "times its processor seconds", "notes")
    targets({size: against(size) for size in sizes})
    other_questions(sizes)
    profiles(sizes)
    if asked.write:
        text = README.read_text("utf-8")
        before, after = text.partition(BEGIN)[0], text.partition(END)[2]
        README.write_text(f"{before}{BEGIN}\n" + "\n".join(lines) + f"\n\n{END}{after}", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
