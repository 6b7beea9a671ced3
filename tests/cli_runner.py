"""Runs the command line inside the test's own process."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from typer import testing

from kitwright.cli.main import app

SCENARIOS = Path(__file__).parent / "data" / "scenarios"
WIDEST = 100

testing._get_command = cache(testing._get_command)  # type: ignore[attr-defined]
"""Typer makes all commands anew for each call, which takes longer than many a command itself."""


def run(*words: str | Path) -> Any:
    """Result of a command; an exception that got out of it fails the test."""
    result = testing.CliRunner().invoke(app, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert "Traceback" not in result.output
    return result


def plan(scenario: str) -> Path:
    """The plan of a scenario."""
    return SCENARIOS / scenario / "plan.yaml"


def answer(*words: str | Path) -> Any:
    """What a command answers in JSON."""
    return json.loads(run(*words, "--format", "json").stdout)
