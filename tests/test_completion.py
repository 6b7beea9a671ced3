"""What the shell is offered: asked as bash asks, in a process of its own; never a word on standard error."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import select
import shlex
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kitwright.cli.main import main
from kitwright.solver.parts import KINDS
from kitwright.solver.registry import public_figures

EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house"
PLAN = str(EXAMPLE / "plan.yaml")
COMMAND = [sys.executable, "-c", "from kitwright.cli.main import main; main()"]
IDS = {"r95", "r96", "r97", "r975", "r98", "r97-in", "r98-in", "r98-18", "r992-18"}


def ask(line: str, place: int | None = None, folder: Path = EXAMPLE, **more: str) -> list[str]:
    """What is offered for the word at ``place``, the last one unless given."""
    count = len(line.split()) if line.endswith(" ") else len(line.split()) - 1
    asked = {"_KITWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": line}
    asked["COMP_CWORD"] = str(count if place is None else place)
    out, err = io.StringIO(), io.StringIO()
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        for name, value in (asked | more).items():
            patch.setenv(name, value)
        main()
    assert err.getvalue() == ""
    return out.getvalue().split()


def test_a_process_of_its_own_says_the_same() -> None:
    asked = {"_KITWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": f"kitwright find {PLAN} --avoid r9"}
    done = subprocess.run(COMMAND, env=os.environ | asked | {"COMP_CWORD": "4"}, capture_output=True, timeout=60)
    assert done.returncode == 0 and done.stderr == b"" and set(done.stdout.decode().split()) == IDS


def test_commands_and_plans() -> None:
    assert set(ask("kitwright fi")) == {"find", "figures"}
    assert ask("kitwright find p") == ["plan.yaml"], "catalogue files are no plans"
    assert ask("kitwright find pump-house/p", folder=EXAMPLE.parent) == ["pump-house/plan.yaml"]
    assert set(ask("kitwright shelf check ")) == {"catalogue/", "deck.yaml", "plan.yaml", "shelf.yaml"}


def test_parts_of_the_plan_on_the_line() -> None:
    assert set(ask(f"kitwright find {PLAN} --avoid r9", folder=EXAMPLE.parent)) == IDS
    assert set(ask(f"kitwright shelf take r9 --plan {PLAN}", 3, EXAMPLE.parent)) == IDS, "the plan stands behind"
    assert set(ask("kitwright shelf take r9 --catalogue catalogue", 3)) == IDS
    assert set(ask("kitwright shelf history catalogue --part r9")) == IDS
    assert set(ask("kitwright find --avoid r9")) == IDS, "the plan.yaml that lies here"


def test_a_kind_and_then_its_parts() -> None:
    assert ask(f"kitwright find {PLAN} --use r") == ["rod=", "rocker=", "retainer="]
    assert len(ask(f"kitwright find {PLAN} --use ")) == len(KINDS)
    assert set(ask(f"kitwright find {PLAN} --use pist")) >= {"piston=p281", "piston=p281-dome"}


def test_bash_breaks_words_at_the_sign() -> None:
    """`rod=r98` comes as three words, and what follows the sign is wanted."""
    assert set(ask(f"kitwright find {PLAN} --use rod = r98", 6)) == {"r98", "r98-in", "r98-18"}
    assert set(ask(f"kitwright find {PLAN} --use rod =", 5)) == IDS
    assert set(ask(f"kitwright find {PLAN} --use = rod = r98", 7)) == {"r98", "r98-in", "r98-18"}
    assert ask(f"kitwright find {PLAN} --use = ro", 5) == ["rod=", "rocker="]
    assert set(ask(f"kitwright check {PLAN} --use crank = k60 --use rod = r98", 10)) == {"r98", "r98-in", "r98-18"}


def test_figures_kinds_and_works() -> None:
    assert set(ask("kitwright figures ")) == {*public_figures(), "rev_ceiling"}
    assert ask("kitwright figures mean") == ["mean_piston_speed"]
    assert "quench" in ask(f"kitwright check {PLAN} --show q")
    for option in ("--min", "--max", "--aim", "--step", "--weight"):
        assert "quench=" in ask(f"kitwright find {PLAN} {option} que")
    assert ask(f"kitwright find {PLAN} --kinds rod,pis") == ["rod,piston"]
    assert ask(f"kitwright find {PLAN} --machining mill,d") == ["mill,deck_cut"]
    assert ask(f"kitwright check {PLAN} --machine mi") == ["mill="]
    assert ask("kitwright shelf add fly") == ["flywheel"]


def test_other_shells_ask_too() -> None:
    line = {"_TYPER_COMPLETE_ARGS": f"kitwright find {PLAN} --use rod=r98"}
    assert "rod=r98-18" in " ".join(ask("", 0, **line, _KITWRIGHT_COMPLETE="complete_zsh"))


@pytest.mark.parametrize(("shell", "sign"), [("zsh", '"'), ("fish", "")])
def test_an_option_with_its_value_attached(shell: str, sign: str) -> None:
    """zsh and fish compare with the whole word, so that the option stands before what is offered."""

    def offered(words: str) -> set[str]:
        asked = {"_TYPER_COMPLETE_ARGS": f"kitwright find {PLAN} {words}", "_TYPER_COMPLETE_FISH_ACTION": "get-args"}
        lines = ask("", 0, **asked, _KITWRIGHT_COMPLETE=f"complete_{shell}")
        return {each.strip("():'").removeprefix(":((") for each in lines if "r98" in each or "worst" in each}

    assert offered("--use=rod=r98-") == {f"{sign}--use=rod=r98-in{sign}", f"{sign}--use=rod=r98-18{sign}"}
    assert offered("--use rod=r98-") == {f"{sign}rod=r98-in{sign}", f"{sign}rod=r98-18{sign}"}
    assert offered("--avoid=r98-i") == {f"{sign}--avoid=r98-in{sign}"}
    assert offered("--tolerance=wor") == {f"{sign}--tolerance=worst_case{sign}"}


@pytest.mark.parametrize("broken", ["a: [", "cranks:\n- {id: k1, id: k2}\n", "\x00", ""])
def test_a_broken_catalogue_or_plan_offers_nothing_and_says_nothing(tmp_path: Path, broken: str) -> None:
    folder = tmp_path / "shed"
    shutil.copytree(EXAMPLE, folder)
    (folder / "catalogue" / "broken.yaml").write_text(broken)
    offered = ask("kitwright find plan.yaml --avoid r9", folder=folder)
    assert offered == [] if broken else set(offered) == IDS
    (folder / "plan.yaml").write_text("catalogue: [" + broken)
    assert ask("kitwright find plan.yaml --avoid r9", folder=folder) == []


def test_nothing_to_offer_is_no_error(tmp_path: Path) -> None:
    for line in ("kitwright find nowhere.yaml --avoid r", "kitwright find --use rod=", "kitwright shelf take r"):
        assert ask(line, folder=tmp_path) == []
    for words, place in (("kitwright find 'open", "2"), ("", "7"), ("kitwright", "x"), ("kitwright find", "-3")):
        ask("", 0, tmp_path, COMP_WORDS=words, COMP_CWORD=place)


def test_the_heavy_libraries_are_left_alone() -> None:
    code = (
        "import sys\nfrom kitwright.cli.main import main\nmain()\n"
        "sys.exit(bool({'ortools', 'pint', 'pandas'} & set(sys.modules)))"
    )
    asked = {"_KITWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": f"kitwright find {PLAN} --avoid r9"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | asked | {"COMP_CWORD": "4"}, capture_output=True, timeout=60
    )
    assert done.returncode == 0 and b"r98" in done.stdout


@pytest.mark.parametrize(("shell", "mark"), [("zsh", "#compdef kitwright"), ("fish", "complete --command kitwright")])
def test_a_shell_can_be_named(shell: str, mark: str) -> None:
    done = subprocess.run([*COMMAND, "--show-completion", shell], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0 and mark in done.stdout


@pytest.fixture
def at_home(tmp_path: Path) -> dict[str, str]:
    """A home of its own, with the command on the path."""
    script = tmp_path / "bin" / "kitwright"
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\nexec {shlex.join(COMMAND)} "$@"\n')
    script.chmod(0o755)
    home = {"HOME": str(tmp_path), "PATH": f"{script.parent}:{os.environ['PATH']}", "TERM": "dumb", "PS1": "> "}
    return os.environ | home | {"XDG_CONFIG_HOME": str(tmp_path / ".config"), "ZDOTDIR": str(tmp_path)}


def test_fish_completes(at_home: dict[str, str]) -> None:
    if shutil.which("fish") is None:
        pytest.skip("no fish on this machine to complete in")
    subprocess.run([*COMMAND, "--install-completion", "fish"], env=at_home, check=True, timeout=60)

    def offered(line: str) -> set[str]:
        asked = ["fish", "-c", f"complete -C {shlex.quote(line)}"]
        done = subprocess.run(asked, env=at_home, cwd=EXAMPLE, capture_output=True, text=True, timeout=60)
        assert done.stderr == ""
        return {each.partition("\t")[0] for each in done.stdout.splitlines()}

    assert offered("kitwright find p") == {"plan.yaml"}
    assert offered("kitwright find plan.yaml --use rod=r98") == {"rod=r98", "rod=r98-in", "rod=r98-18"}
    assert offered("kitwright find plan.yaml --use=rod=r98-") == {"--use=rod=r98-in", "--use=rod=r98-18"}


def test_zsh_completes(at_home: dict[str, str]) -> None:
    if shutil.which("zsh") is None:
        pytest.skip("no zsh on this machine to complete in")
    subprocess.run([*COMMAND, "--install-completion", "zsh"], env=at_home, check=True, timeout=60)
    terminal, end = pty.openpty()
    shell = subprocess.Popen(
        ["zsh", "-f", "-i"], env=at_home, cwd=EXAMPLE, stdin=end, stdout=end, stderr=end, start_new_session=True
    )
    os.close(end)
    seen = ""

    def after(typed: str, mark: str) -> bool:
        """Whether ``mark`` shows up once ``typed`` was; what showed up before is forgotten."""
        nonlocal seen
        seen, late = "", time.monotonic() + 60
        os.write(terminal, typed.encode())
        while mark not in seen and time.monotonic() < late:
            if select.select([terminal], [], [], 0.1)[0]:
                seen += os.read(terminal, 4096).decode(errors="replace")
        return mark in seen

    try:
        assert after("fpath+=~/.zfunc; autoload -U compinit; compinit -u -D; PS1='re''ady> '\n", "ready> "), seen
        assert after("kitwright find p\t", "lan.yaml"), seen
        assert after("\x15kitwright shelf take r98-i\t", "n "), seen
        assert after("\x15kitwright find plan.yaml --use rod=r98-\t", "rod=r98-in"), seen
        assert "rod=r98-18" in seen
        assert after("\x15kitwright find plan.yaml --use=rod=r98-\t", "--use=rod=r98-in"), seen
        assert "--use=rod=r98-18" in seen
    finally:
        shell.kill()
        shell.wait()
        os.close(terminal)


def test_it_can_be_installed(tmp_path: Path) -> None:
    if shutil.which("bash") is None:
        pytest.skip("no bash on this machine to install the completion into")
    home = {"HOME": str(tmp_path)}
    done = subprocess.run(
        [*COMMAND, "--install-completion", "bash"], env=os.environ | home, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert "kitwright" in (tmp_path / ".bashrc").read_text()
