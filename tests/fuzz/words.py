"""Words of command lines: plain ones over some files, and values for every option."""

from __future__ import annotations

import random
import re
from functools import cache
from typing import Any

import typer

from kitwright.cli.main import app
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import MACHINING
from kitwright.solver.registry import public_figures
from tests.fuzz import nasty
from tests.fuzz.files import Files, nasty_text, plan_of, some_id
from tests.pages import commands

SECONDS = "2"
"""What a search is given."""


@cache
def known_commands() -> list[tuple[tuple[str, ...], Any]]:
    found = [(path[1:], command) for path, command in commands(typer.main.get_command(app)) if path[1:]]
    return sorted(found, key=lambda each: each[0])


def words_for(files: Files, rng: random.Random) -> list[str]:
    """A plain command over some files."""
    plan = plan_of(files, rng)
    form = ["--format", rng.choice(["table", "json", "csv", "markdown"])]
    time = ["--time", SECONDS]
    mock_up = ["--deck", "0.3 mm down ± 0.02 mm"]
    ways: list[tuple[list[str], int]] = [
        (["find", plan, *form, *time], 6),
        (["check", plan, *form], 4),
        (["check", plan, "--rank", "1", *form, *time], 2),
        (["explain", plan, *form, *time], 3),
        (["stack", plan, *form, *time], 2),
        (["sheet", plan, *time, *rng.choice([["--rank", "1"], [], ["--format", "markdown"]])], 3),
        (["measure-next", plan, *form, *time], 2),
        (["remeasure", plan, *mock_up, *form, *time, *rng.choice([[], ["--dry-run"], ["--take-block-height"]])], 3),
        (["shelf", "check", "catalogue", *form], 4),
        (["shelf", "list", plan, *form], 3),
        (["shelf", "history", "catalogue", *form], 1),
        (["shelf", "take", "--plan", plan, "--rank", "1", *time, *form], 2),
        (["shelf", "put", some_id(files, rng), "--plan", plan, *form], 2),
        (["shelf", "take", some_id(files, rng), rng.choice(["1", "2", "99"]), "--catalogue", "catalogue", *form], 2),
        (["shelf", "add", "gasket", "id=new", "thickness=1 mm", "bore=80 mm", "--catalogue", "catalogue", *form], 2),
        (["start", rng.choice(["shed", ".", "catalogue"])], 1),
    ]
    words = rng.choices([each for each, _ in ways], [weight for _, weight in ways])[0]
    known = {
        option
        for path, command in known_commands()
        if tuple(words[: len(path)]) == path
        for each in command.params
        for option in each.opts
    }
    if "--rank" in words and "--rank" not in known:
        words = [each for each in words if each not in ("--rank", "1")]
    if "--time" in words and "--time" not in known:
        words = [each for each in words if each not in time]
    return list(words)


CHOICES = {
    "form": ("table", "json", "csv", "markdown", "html"),
    "tolerance": ("nominal", "statistical", "worst_case"),
    "units": ("mm", "in"),
    "decimal": ("comma", "point"),
    "seconds": ("0", "0.1", SECONDS, "-1", "nan", "x"),
}


PATHS = ("plan", "place", "catalogue", "output", "file", "folder")


def argument(parameter: Any, files: Files, rng: random.Random) -> str:
    """A value for a parameter of the command line."""
    name = (parameter.name or "").lower()
    wild = rng.random() < 0.15
    if name in CHOICES and (not wild or name == "seconds"):
        return rng.choice(CHOICES[name])
    if name in PATHS:
        return path_word(name, files, rng)
    if (parameter.metavar or "") in ("N", "R", "S") or name in ("gaskets", "samples", "seed"):
        return rng.choice(nasty.NUMBERS if wild else ["1", "2", "3", "0", "-1", "5", "20"])
    return text_word(name, files, rng, wild)


_UNSAFE = re.compile(r"(^|/)\.\.(/|$)|^/|^~")


def path_word(name: str, files: Files, rng: random.Random) -> str:
    """A path inside the case's folder: nothing that a command might write elsewhere."""
    if name == "output":
        return rng.choice(
            [
                "out.txt",
                "out.html",
                "no/out.txt",
                ".",
                "catalogue",
                "plan.yaml",
                "x" * 250,
                "x" * 300,
                "é\u202e.md",
                "out\n.txt",
            ]
        )
    words = [
        *sorted(files),
        "catalogue",
        "catalogue",
        plan_of(files, rng),
        plan_of(files, rng),
        plan_of(files, rng),
        ".",
        "no-such",
    ]
    if rng.random() < 0.1:
        words = [each for each in nasty.WORDS if not _UNSAFE.search(each)]
    return rng.choice(words)


def text_word(name: str, files: Files, rng: random.Random, wild: bool) -> str:
    figure = rng.choice([*sorted(public_figures()), "rev_ceiling", "quench", "compression", "cost"])
    value = rng.choice(
        [nasty_text(rng), f"{rng.uniform(0, 12):.2f}", f"{rng.uniform(0, 2):.2f} mm", "200", "7000 rpm", "1e30", "1e15"]
    )
    kind, part = rng.choice(list(KINDS)), some_id(files, rng)
    if wild:
        return rng.choice(
            [nasty_text(rng), f"{figure}={nasty_text(rng)}", f"{kind}={nasty_text(rng)}", "=", "a=b=c", ",", "a,,b"]
        )
    by_name = {
        "use": f"{kind}={part}",
        "with_": f"{kind}={part}",
        "machine": f"{rng.choice(list(MACHINING))}={value}",
        "avoid": part,
        "part": part,
        "of": part,
        "machining": rng.choice([*MACHINING, ",".join(MACHINING)]),
        "kinds": rng.choice([kind, f"{kind},rod,piston", "block,crank"]),
        "optional": kind,
        "kind": kind,
        "deck": rng.choice(["0.3 mm down", "0.3 mm up ± 0.1 mm", nasty_text(rng)]),
        "chamber": rng.choice(["21 cc", nasty_text(rng)]),
        "fields": rng.choice(
            [f"{part}.stroke={value}", f"{part}.bore={value}", f"id={part}", f"thickness={value}", "mill.max=1 mm"]
        ),
        "weight": f"{figure}={rng.choice(['1', '2', '999999', '0', '-1', '1e9'])}",
        "maps": rng.choice(["a=length [mm]", "=", "Hub=", "x=y=z"]),
        "encoding": rng.choice(
            ["utf-8", "cp1252", "utf-16", "base64", "rot13", "idna", "punycode", "unicode_escape", "zlib", "x" * 99]
        ),
        "date": rng.choice(["2026-05-01", "2026-02-30", "0000-00-00", "9999-12-31", nasty_text(rng)]),
        "free": rng.choice(["rod", "all", "rod,piston", kind]),
    }
    if name in by_name:
        return by_name[name]
    return rng.choice(
        [f"{figure}={value}", f"{figure}={value}", f"{part}.{figure}={value}", f"{kind}={part}", nasty_text(rng)]
    )
