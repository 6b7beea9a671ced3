"""The shelf's counts: a plain model agrees with any sequence of edits, and two at once never lose one."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitwright.catalogs import InputError, load
from kitwright.catalogs.import_sheet import understand, write
from kitwright.catalogs.stock import add, history, move
from tests.cli_runner import run

YAML = """\
# what the shed holds
gaskets:   # by the layer
  - {id: g05, thickness: 0.5 mm, bore: 73 mm, price: 4, on_shelf: 3}  # copper
  - id: g10
    thickness: 1.0 mm
    bore: 73 mm      # measured
    price: 5
"""
CSV = "id,length [mm],big_end [mm],pin [mm],price,on_shelf\nr85,85,30,16,20,2\nr86,86,30,16,20,\n"
IDS = ("g05", "g10", "r85", "r86")
THERE = {"g05": 3, "g10": 0, "r85": 2, "r86": 0}


def shed(folder: Path) -> Path:
    (folder / "gaskets.yaml").write_text(YAML, encoding="utf-8")
    (folder / "rods.csv").write_text(CSV, encoding="utf-8")
    return folder


def counts(folder: Path) -> dict[str, int]:
    return {part.id: part.on_shelf for part in load(folder)}


NEW = ("g20", "r90", "s1")
EDITS = st.lists(
    st.one_of(
        st.tuples(
            st.sampled_from(["take", "put"]),
            st.dictionaries(st.sampled_from([*IDS, *NEW]), st.integers(-1, 4), min_size=1, max_size=3),
        ),
        st.tuples(
            st.sampled_from(["add", "import"]),
            st.dictionaries(st.sampled_from([*NEW, "g05"]), st.integers(0, 4), min_size=1, max_size=2),
        ),
    ),
    max_size=8,
)


def fields(part: str) -> dict[str, str]:
    """Fields of a part to add, by the first letter of its id."""
    kinds = {
        "g": {"thickness": "2 mm", "bore": "73 mm"},
        "r": {"length": "90 mm", "big_end": "30 mm", "pin": "16 mm"},
        "s": {"thickness": "1 mm"},
    }
    return {"id": part, "price": "3", **kinds[part[0]]}


def sheet(folder: Path, wanted: dict[str, int]) -> Path:
    """The same parts as a builder's own sheet."""
    kinds = {"g": "gaskets", "r": "rods", "s": "spacers"}
    names = ["id", "price", "thickness", "bore", "length", "big_end", "pin"]
    lines = [";".join(["Kind", *names, "Stock"])]
    for part, count in wanted.items():
        said = fields(part)
        lines.append(";".join([kinds[part[0]], *(said.get(name, "") for name in names), str(count)]))
    path = folder / "sheet.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def edit(folder: Path, work: str, wanted: dict[str, int]) -> int:
    """Make one edit; how many lines of history it is."""
    if work == "add":
        part, count = next(iter(wanted.items()))
        kind = {"g": "gasket", "r": "rod", "s": "spacer"}[part[0]]
        add(load(folder), kind, fields(part) | {"on_shelf": str(count)})
        return 1
    if work == "import":
        held = load(folder)
        with tempfile.TemporaryDirectory() as other:
            write(understand(sheet(Path(other), wanted), held), held)
        return len(wanted)
    moved = move(load(folder), wanted, work)  # type: ignore[arg-type]
    there = counts(folder)
    assert {each.id: each.left for each in moved} == {each: there[each] for each in wanted}
    return len(wanted)


def after(model: dict[str, int], work: str, wanted: dict[str, int]) -> dict[str, int] | None:
    """What the plain model says; None where the edit cannot be made."""
    if work in ("add", "import"):
        new = dict([next(iter(wanted.items()))]) if work == "add" else wanted
        return None if model.keys() & new.keys() else model | new
    sign = -1 if work == "take" else 1
    if any(n < 1 or each not in model or model[each] + sign * n < 0 for each, n in wanted.items()):
        return None
    return model | {each: model[each] + sign * n for each, n in wanted.items()}


@given(EDITS)
@settings(max_examples=40, deadline=None)
def test_any_sequence_of_edits_is_that_of_a_plain_model(edits: list[tuple[str, dict[str, int]]]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = shed(Path(name))
        model, lines = dict(THERE), 0
        for work, wanted in edits:
            then = after(model, work, wanted)
            if then is not None:
                lines += edit(folder, work, wanted)
                model = then
            else:
                before = [path.read_bytes() for path in sorted(folder.iterdir())]
                with pytest.raises(InputError):
                    edit(folder, work, wanted)
                assert [path.read_bytes() for path in sorted(folder.iterdir())] == before
            assert counts(folder) == model
        assert len(history(folder)) == lines
        text = (folder / "gaskets.yaml").read_text(encoding="utf-8")
        assert all(remark in text for remark in ("# what the shed holds", "# by the layer", "# copper", "# measured"))
        assert load(folder).warnings == ()


def test_twenty_takes_at_once_of_ten(tmp_path: Path) -> None:
    folder = shed(tmp_path)
    move(load(folder), {"g10": 10}, "put")
    code = (
        "import os, sys\nfrom kitwright.catalogs import InputError, load\nfrom kitwright.catalogs.stock import move\n"
        "def take():\n    try:\n        move(load(sys.argv[1]), {'g10': 1}, 'take')\n"
        "    except InputError:\n        return 9\n    return 0\n"
        "children = []\n"
        "for _ in range(20):\n    child = os.fork()\n"
        "    if not child:\n        os._exit(take())\n    children.append(child)\n"
        "print(*(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children))\n"
    )
    asked = [sys.executable, "-c", code, str(folder)]
    done = subprocess.run(asked, env=os.environ, capture_output=True, text=True, timeout=240, check=True)
    ends = [int(each) for each in done.stdout.split()]
    assert sorted(ends) == [0] * 10 + [9] * 10
    assert counts(folder)["g10"] == 0
    taken = [each for each in history(folder) if each.work == "take"]
    assert sorted(each.left for each in taken) == list(range(10))


def test_a_new_part_is_read_before_it_is_written(tmp_path: Path) -> None:
    folder = shed(tmp_path)
    part, path = add(load(folder), "gasket", {"id": "g07", "thickness": "0.7 mm ± 0.05 mm", "bore": "73 mm"}, "found")
    assert path.name == "gaskets.yaml" and part.id == "g07"
    assert load(folder).get("g07") is not None
    head = {"id": "h22", "chamber": "22 cc", "chamber_area": "30 cm2", "mill.max": "0.5 mm", "mill.step": "0.1 mm"}
    assert add(load(folder), "head", head)[1].name == "heads.yaml"
    found = load(folder).get("h22")
    assert found is not None and found.mill.max.si == pytest.approx(0.0005)  # type: ignore[attr-defined]
    assert (
        add(load(folder), "rod", {"id": "r84", "length": "84 mm", "big_end": "30 mm", "pin": "16 mm"})[1].name
        == "rods.csv"
    )
    for fields, words in (
        ({"id": "g07", "thickness": "0.7 mm", "bore": "73 mm"}, "the id `g07` is taken already"),
        ({"id": "g1", "thickness": "57", "bore": "73 mm"}, "`57` has no unit"),
        ({"id": "g1", "thickness": "57 mm", "bore": "73 mm"}, "thicker than any gasket"),
        ({"id": "g1", "bore": "73 mm"}, "`thickness` is missing"),
        ({"id": "g1", "thicknes": "1 mm", "bore": "73 mm"}, "`thicknes` is no field of gaskets"),
    ):
        before = (folder / "gaskets.yaml").read_bytes()
        with pytest.raises(InputError, match=words):
            add(load(folder), "gasket", fields)
        assert (folder / "gaskets.yaml").read_bytes() == before
    assert [each.work for each in history(folder)] == ["add"] * 3


def test_commands(tmp_path: Path) -> None:
    folder = shed(tmp_path)
    result = run("shelf", "take", "g05", "2", "--catalogue", folder, "--note", "hill sprint")
    assert result.exit_code == 0 and "2 parts taken from the shelf" in result.stdout
    assert result.stderr.endswith(f"To put it back:\n  kitwright shelf put g05 2 --catalogue {folder}\n")
    refused = run("shelf", "take", "g05", "2", "--catalogue", folder)
    assert refused.exit_code == 2
    assert "2 of `g05` wanted, and 1 on the shelf; nothing was changed" in refused.stderr
    unknown = run("shelf", "put", "g055", "--catalogue", folder)
    assert unknown.exit_code == 2 and "did you mean `g05`?" in unknown.stderr
    assert run("shelf", "put", "g05", "--catalogue", folder, "--format", "json").exit_code == 0
    listed = run("shelf", "history", "--catalogue", folder).stdout
    assert "hill sprint" in listed and listed.index("take") < listed.index("put")
    assert run("shelf", "history", "--catalogue", folder, "--part", "r85", "--format", "csv").stdout.count("\n") == 1
    assert "neither a part nor a rank is named" in run("shelf", "take", "--catalogue", folder).stderr
    assert "a rank is of a plan's builds" in run("shelf", "take", "--catalogue", folder, "--rank", "1").stderr
    added = run("shelf", "add", "gasket", "id=g07", "thickness=0.7 mm", "bore=73 mm", "--catalogue", folder)
    assert added.exit_code == 0 and counts(folder)["g07"] == 0
    assert "is no kind of part" in run("shelf", "add", "gaskt", "--catalogue", folder).stderr


def test_a_whole_build(tmp_path: Path) -> None:
    assert run("start", tmp_path / "shed").exit_code == 0
    plan = tmp_path / "shed" / "plan.yaml"
    before = counts(tmp_path / "shed" / "catalogue")
    done = run("shelf", "take", "--plan", plan, "--rank", "1")
    assert done.exit_code == 0
    after = counts(tmp_path / "shed" / "catalogue")
    taken = {each for each in before if after[each] != before[each]}
    assert len(taken) > 5 and all(after[each] == before[each] - 1 for each in taken)
    entries = history(tmp_path / "shed" / "catalogue")
    assert {each.part for each in entries} == taken
    lines = done.stderr.partition("To put them back:\n")[2].splitlines()
    assert len(lines) == len(taken)
    for line in lines:  # what it says undoes it
        assert run(*shlex.split(line)[1:]).exit_code == 0
    assert counts(tmp_path / "shed" / "catalogue") == before


def test_what_is_read_can_be_changed(tmp_path: Path) -> None:
    """A tab behind a value, a plus before a count: as the readers take them, so do the edits."""
    folder = shed(tmp_path)
    yaml = YAML.replace("on_shelf: 3}", "on_shelf:\t+3\t}").replace("73 mm      #", "73 mm\t#")
    (folder / "gaskets.yaml").write_text(yaml, encoding="utf-8")
    (folder / "rods.csv").write_text(CSV.replace("20,2", "20,+2"), encoding="utf-8")
    assert counts(folder) == THERE
    assert run("shelf", "put", "g05", "2", "--catalogue", folder).exit_code == 0
    assert run("shelf", "take", "r85", "--catalogue", folder).exit_code == 0
    assert counts(folder) == {**THERE, "g05": 5, "r85": 1}
    assert (folder / "gaskets.yaml").read_text(encoding="utf-8") == yaml.replace("+3", "5")


def commands_in(text: str) -> list[list[str]]:
    """Commands that a message gives to copy."""
    return [shlex.split(line)[1:] for line in text.splitlines() if line.startswith("  kitwright ")]


@pytest.mark.parametrize("work", ["put", "take"])
def test_a_build_of_one_of_several_engines_is_taken_as_the_message_says(tmp_path: Path, work: str) -> None:
    plan = tmp_path / "a shed" / "two engines.yaml"
    plan.parent.mkdir()
    shed(plan.parent)
    (plan.parent / "more").mkdir()
    for name in ("gaskets.yaml", "rods.csv"):
        (plan.parent / name).rename(plan.parent / "more" / name)
    engines = "engines:\n  the saw: {parts: {use: {rod: r85}}}\n  winch: {}\n"
    plan.write_text(f"plan: two\ncatalogue: ./more\nparts: {{kinds: [rod, gasket]}}\n{engines}", encoding="utf-8")
    refused = run("shelf", work, "--plan", plan, "--rank", "1")
    assert refused.exit_code == 2
    (command,) = commands_in(refused.stderr)
    assert command[-2:] == ["--engine", "the saw"]
    before = counts(plan.parent / "more")
    assert run(*command).exit_code == 0
    step = 1 if work == "put" else -1
    assert counts(plan.parent / "more") == {**before, "r85": before["r85"] + step, "g05": before["g05"] + step}
    assert history(plan.parent / "more")[-1].note == "build 1 of two engines.yaml, the saw"
    undone = commands_in(run(*command).stderr)
    assert undone and all(run(*each).exit_code == 0 for each in undone)
    no_rank = run("shelf", work, "r85", "--plan", plan, "--engine", "winch")
    assert no_rank.exit_code == 2 and "a rank says which" in no_rank.stderr


def test_a_build_that_is_not_there_is_looked_for_with_the_same_engine(tmp_path: Path) -> None:
    shed(tmp_path)
    plan = tmp_path.parent / f"{tmp_path.name} plan.yaml"
    plan.write_text(
        f"catalogue: {tmp_path}\nparts: {{kinds: [rod], use: {{rod: r85}}}}\nengines: {{the saw: {{}}}}\n",
        encoding="utf-8",
    )
    result = run("shelf", "take", "--plan", plan, "--rank", "7", "--engine", "the saw")
    assert result.exit_code == 1
    (command,) = commands_in(result.stderr)
    assert run(*command).exit_code == 0 and command[-2:] == ["--engine", "the saw"]
