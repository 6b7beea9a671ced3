"""Every broken input is refused with status 2, whole message, no traceback, nothing on standard output."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli_runner import run

BROKEN = Path(__file__).parent / "broken"
CASES = sorted(each.parent for each in BROKEN.glob("*/expected.txt"))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_broken_input_is_refused(case: Path) -> None:
    if (case / "plan.yaml").exists():
        result, status = run("find", case / "plan.yaml"), 2
        assert result.stdout == ""
        said = result.stderr
    else:
        result, status = run("shelf", "check", "--catalogue", case / "catalogue"), 1
        said = result.stdout
    assert result.exit_code == status
    for fragment in (case / "expected.txt").read_text(encoding="utf-8").splitlines():
        assert fragment in said


def test_there_are_cases() -> None:
    assert len(CASES) > 100


@pytest.mark.parametrize("case", CASES[::12], ids=lambda case: case.name)
def test_check_refuses_them_too(case: Path) -> None:
    if (case / "plan.yaml").exists():
        result = run("check", case / "plan.yaml")
    else:
        result = run("shelf", "list", "--catalogue", case / "catalogue")
    assert result.exit_code == 2 and result.stdout == "" and "at fault" in result.stderr
