"""Cut off, and cut off again in what carries it on or takes it back: in the end all of it is there, or nothing."""

from __future__ import annotations

import csv
import functools
import json
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests.test_faults import ROOT, SPACERS

COUNT = 2
"""On the shelf at first."""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    return outcomes(tmp_path_factory.mktemp("killed") / "catalogue")


@functools.cache
def outcomes(folder: Path) -> list[dict[str, Any]]:
    folder.mkdir()
    (folder / "spacers.csv").write_text(SPACERS)
    done = subprocess.run(
        [sys.executable, "-m", "tests.killed_again", str(folder)],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    trials: list[dict[str, Any]] = json.loads(done.stdout)
    return trials


def test_every_step_is_tried_with_every_later_one(found: list[dict[str, Any]]) -> None:
    """Note, two files and the note's end take some twenty steps; carrying on takes several more."""
    firsts = Counter(each["how"] for each in found)
    assert firsts["kill"] > 200 and firsts["interrupt"] > 20 and firsts["disk full"] > 20
    assert max(each["first"] for each in found) < 50 and max(each["second"] for each in found) < 59, "none is left out"
    assert any("had been cut off, and has now been completed" in each["said"][0] for each in found)


def test_count_and_history_never_part(found: list[dict[str, Any]]) -> None:
    for each in found:
        (row,) = csv.DictReader(each["files"]["spacers.csv"].splitlines())
        lines = [line.split("\t") for line in each["files"]["history.txt"].splitlines() if not line.startswith("#")]
        there = COUNT
        for _, work, part, count, left, *_ in lines:
            there += int(count)
            assert (work, part, int(left)) == ("put", "s1", there), each
        assert int(row["on_shelf"]) == there, each
        assert lines[-1][3] == "1", "the last command was done"


def test_nothing_is_left_lying_about(found: list[dict[str, Any]]) -> None:
    for each in found:
        assert each["said"][-1] == "", each
        assert set(each["files"]) == {"spacers.csv", "history.txt"}, each


def test_what_was_completed_is_said_and_nothing_else_is_done(found: list[dict[str, Any]]) -> None:
    for each in found:
        for said in each["said"][:-1]:
            assert "an earlier change of spacers.csv, history.txt had been cut off, and has now been" in said
            assert "completed; nothing else" in said or "taken back; nothing else" in said
        if each["how"] != "kill" and len(each["said"]) > 1:
            taken_back = "taken back" in each["said"][0]
            assert taken_back == (each["files"]["history.txt"].count("\tput\t") == 1), each
