"""Every folder under ``tests/broken`` is refused, with the message that stands beside it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kitwright.catalogs import InputError, load, load_plan

BROKEN = Path(__file__).parent / "broken"
CASES = sorted(path.parent for path in BROKEN.glob("*/expected.txt"))


def refusal(case: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        if (case / "plan.yaml").exists():
            load_plan(case / "plan.yaml")
        else:
            load(case / "catalogue")
    return caught.value


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_message_says_what_was_read_and_what_was_meant(case: Path) -> None:
    error = refusal(case)
    text = str(error)
    for fragment in (case / "expected.txt").read_text(encoding="utf-8").splitlines():
        assert fragment in text
    assert text.isprintable() or {c for c in text if not c.isprintable()} == {"\n"}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_problem_names_its_file_and_a_line_that_exists(case: Path) -> None:
    for problem in refusal(case).problems:
        assert problem.severity == "fault"
        assert problem.message
        place = Path(problem.file)
        assert place.exists() or "no such folder" in problem.message
        if problem.line:
            assert problem.line <= place.read_bytes().count(b"\n") + 1


def test_there_are_many_cases_and_each_folder_has_one() -> None:
    assert len(CASES) >= 70
    assert {case.name for case in CASES} == {path.name for path in BROKEN.iterdir() if path.is_dir()}


def test_faults_come_in_the_order_of_files_and_lines() -> None:
    problems = refusal(BROKEN / "faults-in-several-files").problems
    assert [Path(each.file).name for each in problems] == ["bad.csv", "cranks.yaml", "rods.csv"]
    lines = [each.line for each in refusal(BROKEN / "several-faults-at-once").problems]
    assert lines == sorted(lines)
    assert len(lines) == 5


def test_an_alias_bomb_is_refused_before_it_unfolds() -> None:
    assert len(str(refusal(BROKEN / "yaml-alias-bomb"))) < 5000


def test_no_message_speaks_of_the_reader() -> None:
    words = re.compile(r"Traceback|NoneType|yaml\.|Error\b|\bPython\b")
    for case in CASES:
        assert not words.search(str(refusal(case)).replace("python/object", "")), case.name
