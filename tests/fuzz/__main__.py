"""Throw hostile input at the tool: ``python -m tests.fuzz SECONDS [--seed N] [--keep FOLDER]``.

Each case is one seed: bundled files with bytes, values and lines changed, catalogues made of the fields there are with
values at the ends of their ranges, spreadsheets, degree wheels, bombs, command lines, quantities. Each must end in an
answer or in a message, with exit status 0 to 3, within time and memory, without a traceback or a hidden one, without
network, other programs or files elsewhere; commands that only read leave every file as it was. What is at fault is
kept as a folder with its files and its command.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import select
import shlex
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from tests.fuzz.cases import case
from tests.fuzz.files import ROOT

PATIENCE = 300.0
"""Seconds after which a case hangs."""

AT_ONCE = 3000
"""Cases that one process runs."""


class Child:
    """A process that runs cases; killed and made anew where one hangs or takes it down."""

    def __init__(self) -> None:
        self.errors = tempfile.TemporaryFile()  # noqa: SIM115  (it lives as long as the process)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.fuzz.worker"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self.errors,
        )
        self.count = 0

    def ask(self, seed: int) -> dict[str, Any]:
        """The verdict on a seed."""
        stdin, stdout = self.process.stdin, self.process.stdout
        assert stdin is not None and stdout is not None
        self.count += 1
        stdin.write(f"{seed}\n".encode())
        stdin.flush()
        ready, _, _ = select.select([stdout], [], [], PATIENCE)
        line = stdout.readline() if ready else b""
        if line:
            found: dict[str, Any] = json.loads(line)
            return found
        given = case(seed)
        wrong = f"hangs: no answer in {PATIENCE:.0f} s" if not ready else f"took the process down: {self.end()}"
        self.end()
        return {"about": given.about, "command": given.command, "wrong": [wrong]}

    def end(self) -> str:
        """End the process; what it said last."""
        self.process.kill()
        self.process.wait()
        self.errors.seek(0)
        return f"status {self.process.returncode}, {self.errors.read()[-400:].decode(errors='replace')}"

    @property
    def usable(self) -> bool:
        """Whether it may run another case."""
        return self.process.poll() is None and self.count < AT_ONCE


def keep(folder: Path, seed: int, wrong: list[str]) -> Path:
    """Lay a case down to be looked at."""
    given = case(seed)
    place = folder / str(seed)
    for name, data in given.files.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)
    place.mkdir(parents=True, exist_ok=True)
    told = [f"kitwright {shlex.join(given.words)}", *map(repr, given.texts), "", *wrong, ""]
    (place / "case.txt").write_text("\n".join(told), encoding="utf-8", errors="backslashreplace")
    return place


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seconds", type=float, help="how long; the case that is running is finished")
    parser.add_argument("--seed", type=int, default=0, help="the first seed; the others count up from it")
    parser.add_argument("--keep", type=Path, help="folder for the cases at fault; a temporary one unless given")
    asked = parser.parse_args()
    folder = asked.keep or Path(tempfile.mkdtemp(prefix="kitwright-fuzz-"))
    started, seed, child = time.monotonic(), asked.seed, Child()
    ends: Counter[str] = Counter()
    faults: Counter[str] = Counter()
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with contextlib.suppress(KeyboardInterrupt):
        while time.monotonic() - started < asked.seconds:
            if not child.usable:
                child.end()
                child = Child()
            verdict = child.ask(seed)
            ends[f"{verdict['command'] or verdict['about']} → {verdict.get('status')}"] += 1
            if child.process.poll() is not None and child.count == 1 and seed == asked.seed:
                print(verdict["wrong"][0])
                return 2
            if verdict["wrong"]:
                faults[verdict["wrong"][0].split("(")[-1]] += 1
                place = keep(folder, seed, verdict["wrong"])
                said = "; ".join(" ".join(each.split()) for each in verdict["wrong"])
                print(f"seed {seed}, {verdict['about']}, {verdict['command']}: {said[:600]}")
                print(f"  {place}", flush=True)
            seed += 1
    child.end()
    print("cases by command and exit status: " + ", ".join(f"{end}: {count}" for end, count in sorted(ends.items())))
    took = time.monotonic() - started
    print(f"{seed - asked.seed} cases from seed {asked.seed}, {sum(faults.values())} at fault, {took:.0f} s")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
