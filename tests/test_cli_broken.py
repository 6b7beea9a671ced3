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


PLAN = str(Path(__file__).parent.parent / "examples" / "pump-house" / "plan.yaml")

TYPED = [
    (["find", PLAN, "--min", "quench=0.7", "mm"], "it goes into quotes: `--min 'quench=0.7 mm'`"),
    (["remeasure", PLAN, "--deck", "0.4", "mm", "up", "--dry-run"], "`--deck '0.4 mm up'`"),
    (["remeasure", PLAN, "--chamber", "22", "cc", "±", "0.1", "cc"], "`--chamber '22 cc ± 0.1 cc'`"),
    (["find", PLAN, "--min", "compression", "8"], "write `--min compression=8`"),
    (["find", PLAN, "other.yaml"], "`other.yaml` is too much here; one plan at a time"),
    (["find", PLAN, " "], "` ` is too much here; a value with a blank in it goes into quotes"),
    (["find", PLAN, ""], "`` is too much here; a value with a blank in it goes into quotes"),
    (["find", PLAN, "--compression", "8"], "`--aim compression=…`, `--min compression=…`"),
    (["find", PLAN, "--quensh", "8"], "`--aim quench=…`"),
    (["find", PLAN, "--gasket", "2"], "no option `--gasket`; did you mean `--gaskets`?"),
    (["find", PLAN, "--rev-ceiling", "4000"], "the rev ceiling is asked for with `--min rev_ceiling=…`"),
    (["find", PLAN, "--rev-cieling", "4000"], "the rev ceiling is asked for with `--min rev_ceiling=…`"),
    (["what-if", PLAN], "no command `what-if`; it is asked for with `kitwright check … --what-if`"),
    (["trade_off", PLAN], "it is asked for with `kitwright find … --trade-off`"),
    (["what-if now", PLAN], "No such command 'what-if now'"),
    (["find", PLAN, "--worst-case"], "did you mean `--tolerance worst_case`?"),
    (["find", PLAN, "--json"], "did you mean `--format json`?"),
    (["find", PLAN, "--tolerance", "worst"], "`--tolerance worst`: did you mean `worst_case`?"),
    (["find", PLAN, "--format", "xml"], "`--format xml`: it takes: table, json, csv, markdown"),
    (["find", PLAN, "--top", "all"], "`--top all`: a whole number is wanted"),
    (["find", PLAN, "--top", "0"], "`--top 0`: the least is 1"),
    (["find", PLAN, "--time", "soon"], "`--time soon`: a number is wanted"),
    (["check", PLAN, "--sigmas", "99"], "`--sigmas 99`: the most is 10"),
    (["find", PLAN, "--avoid"], "`--avoid` wants a value behind it: ID (Leave a part out.)"),
    (["shelf", "put", "g20", "-1", "--plan", PLAN], "`kitwright shelf take` takes parts away"),
    (["shelf", "add"], "KIND is missing; such as: `kitwright shelf add rod --catalogue shed/catalogue`"),
]


@pytest.mark.parametrize(("words", "said"), TYPED, ids=lambda each: each[-1] if isinstance(each, list) else "")
def test_what_is_typed_wrongly_is_answered_with_what_to_type(words: list[str], said: str) -> None:
    result = run(*words)
    assert result.exit_code == 2 and result.stdout == ""
    assert said in result.stderr


NEXT = [
    (["find", PLAN, "--aim", "compresion=8"], "All figures:\n  kitwright figures\n"),
    (["find", PLAN, "--use", "rod=zz"], f"All parts:\n  kitwright shelf list {PLAN}\n"),
    (["find", PLAN, "--max", "cost=abc"], "How it is typed:\n  kitwright find --help\n"),
    (["figures", "quensh"], "All figures:\n  kitwright figures\n"),
    (["start", PLAN], "How it is typed:\n  kitwright start --help\n"),
    (["shelf", "take", "zz", "--plan", PLAN], f"All parts:\n  kitwright shelf list {PLAN}\n"),
    (["find", PLAN, "--output", "nowhere/x.txt"], "`mkdir -p nowhere` makes it\n"),
]


@pytest.mark.parametrize(("words", "said"), NEXT, ids=lambda each: each[0] if isinstance(each, list) else None)
def test_a_fault_in_what_was_typed_ends_with_the_next_command(words: list[str], said: str) -> None:
    result = run(*words)
    assert result.exit_code == 2 and result.stderr.endswith(said)


def test_a_plan_at_fault_ends_with_the_same_command_again(tmp_path: Path) -> None:
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "rods.csv").write_text("id\n")
    plan = tmp_path / "my plan.yaml"
    plan.write_text("catalogue: ./cat\n")
    result = run("find", plan, "--top", "2")
    assert f"{plan}:1: `catalogue`: there is no folder `./cat`, seen from the plan; did you mean `c`?" in result.stderr
    assert result.stderr.endswith(f"When the plan is mended, the same again:\n  kitwright find '{plan}' --top 2\n")


def test_a_plan_that_is_not_there_is_answered_with_those_that_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("find", "plan.yaml").stderr.endswith("A plan and a catalogue to begin with:\n  kitwright start DIR\n")
    assert "no plan is named; write `kitwright find PLAN`" in run("find").stderr
    for name in ("bench/plan.yaml", "bench/sprint.yaml"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("catalogue: ./parts\n")
    for typed in ("bench/sprnt.yaml", "sprint.yaml"):
        said = run("find", typed, "--top", "3").stderr
        assert "A plan that is there:\n  kitwright find bench/sprint.yaml --top 3\n" in said
        assert "Plans beside it: bench/plan.yaml\n" in said
    assert "A plan that is there:\n  kitwright find bench/" in run("find", "bench").stderr
    assert (
        "no plan is named; write `kitwright find bench/plan.yaml`; also here: bench/sprint.yaml" in run("find").stderr
    )
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "rods.csv").write_text("id\n")
    assert run("find", "parts").stderr.endswith("as a catalogue, this looks at it:\n  kitwright shelf check parts\n")
