"""One way to answer the benchmark's question, in a process of its own; prints JSON.

What a way imports, and a first run on another, small catalogue that brings in what is imported on use, come before the
clock starts, for all ways alike. The measured catalogue is asked once only: nothing of it is warm.
"""

from __future__ import annotations

import time

STARTED = time.perf_counter()

import importlib  # noqa: E402  the clock starts before anything that takes time
import json  # noqa: E402
import resource  # noqa: E402
import sys  # noqa: E402
import tempfile  # noqa: E402
from itertools import islice  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

WANTED = 20
WARM_UP = 25
"""Parts of the catalogue that is asked first."""

GIGABYTES = 4
"""What the joins in pandas may take; DuckDB keeps such a limit itself."""

WAYS = {
    "search": ("kitwright.solver", "find"),
    "thresholds": ("tests.benchmarks.plain_model", "PlainModel"),
    "division": ("tests.benchmarks.plain_model", "ProductModel"),
    "every_one": ("tests.benchmarks.arrays", "every_one"),
    "on_a_grid": ("tests.benchmarks.arrays", "on_a_grid"),
    "staged": ("tests.benchmarks.arrays", "staged"),
    "pandas": ("tests.benchmarks.joins_pandas", "joined_in_pandas"),
    "duckdb": ("tests.benchmarks.joins_duckdb", "joined_in_duckdb"),
}
"""Way to what answers by it."""

WORST_CASE = "tolerance: worst_case\nallow:"

WIDER = {"max: 1.10 mm": "max: 1.60 mm", "min: 9.5, max: 11.5": "min: 8.5, max: 12.5", "allow:": WORST_CASE}
"""What is changed in the plan, so that the limits leave room for all ± at once."""


def changed(changes: dict[str, str]) -> str:
    """The benchmark's plan with some of its words changed."""
    from tests.benchmarks.generate import PLAN

    text = PLAN
    for before, after in changes.items():
        assert before in text
        text = text.replace(before, after)
    return text


def catalogue(size: int, goals: str = "") -> tuple[Any, Any]:
    """The generated catalogue of a size, and its plan: as it is, with ``motion``, or at ``worst_case``."""
    from tests.benchmarks.generate import question

    text = changed(WIDER) if goals == "worst_case" else ""
    with tempfile.TemporaryDirectory() as folder:
        return question(size, Path(folder), text, motion=goals == "motion")


def keys(answer: Any) -> list[Any]:
    """First three keys of the order of each combination of an answer."""
    return [(each.key[0], each.closeness, float(each.cost or 0.0)) for each in answer]


def answered(way: str, parts: Any, plan: Any, patience: float) -> dict[str, Any]:
    """The keys that a way finds, and what else it tells."""
    module, name = WAYS[way]
    function = getattr(importlib.import_module(module), name)
    if way == "search":
        answer = function(parts, plan, top=WANTED, seconds=600)
        possible = answer.considered.possible
        return {"keys": answer, "possible": possible, "counts": dict(answer.counts), "status": answer.status}
    if way in ("thresholds", "division"):
        model, started = function(parts), time.perf_counter()
        found = list(islice(model.answers(seconds=patience), WANTED))
        if not found:
            return {"keys": [], "failed": f"proves no answer within {patience:.0f} s"}
        # fewer, with time left, would say that no more fit
        assert len(found) == WANTED or time.perf_counter() - started >= 0.99 * patience, f"{way}: {len(found)} answers"
        return {"keys": found}
    result = function(parts, WANTED)
    return {"fit": result[0], "keys": result[1]} if isinstance(result, tuple) else {"keys": result}


def cpu() -> float:
    """Processor seconds of this process so far, all threads together."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def measure(way: str, size: int, goals: str = "", patience: float = 600.0) -> dict[str, Any]:
    """One run in this process: seconds, processor seconds, start-up, peak memory, keys.

    ``patience`` is given in seconds to the plain models, in processor seconds to the joins.
    """
    if way == "pandas":
        resource.setrlimit(resource.RLIMIT_AS, (GIGABYTES << 30, GIGABYTES << 30))
    answered(way, *catalogue(WARM_UP, goals), patience)
    ready = time.perf_counter() - STARTED
    parts, plan = catalogue(size, goals)
    if way in ("pandas", "duckdb"):
        most = round(cpu() + patience)
        resource.setrlimit(resource.RLIMIT_CPU, (most, most + 5))  # ended by SIGXCPU
    used, started = cpu(), time.perf_counter()
    try:
        told = answered(way, parts, plan, patience)
    except Exception as error:
        if "memory" not in type(error).__name__.lower():
            raise
        return {"failed": f"needs more than {GIGABYTES} GB"}
    told |= {"seconds": time.perf_counter() - started, "cpu": cpu() - used, "start_up": ready}
    if way == "search":
        assert told["status"] == "complete", told["status"]
        told["keys"] = keys(told["keys"])
        assert len(told["keys"]) == WANTED
    told["megabytes"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return told


if __name__ == "__main__":
    print(json.dumps(measure(sys.argv[1], int(sys.argv[2]), sys.argv[3], float(sys.argv[4]))))
