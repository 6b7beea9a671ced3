"""The bundled example and the starter: known answers, worked out by an independent exhaustive program."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli_runner import answer, run

EXAMPLE = Path(__file__).parent.parent / "examples" / "pump-house"
SAME_TOP = ["h255", "c61", "rk100", "s212", "t0", "pr140", "f45"]
GEAR = ("head", "cam", "rocker", "spring", "retainer", "pushrod", "flywheel")

DECK = [
    ("r98", "p271", 0.475, 1, 31, True),
    ("r97", "p281", 0.4826, 1, 34, True),
    ("r975", "p276", 0.475, 1, 71, True),
    ("r97", "p281-dome", 0.475, 1, 91, True),
    ("r98-18", "p272-18", 0.375, 3, 26, False),
    ("r96", "p290", 0.575, 6, 28, False),
]
SHELF = [
    ("r98-18", "p272-18", "g20", 0.8830, 9.1598, 3, 26, False),
    ("r98", "p271", "g20", 0.9830, 9.0503, 3, 31, True),
    ("r98", "p281", "g59", 0.9812, 8.9732, 5, 12, True),
    ("r98", "p276", "g40", 0.9910, 9.0102, 5, 33, True),
    ("r97", "p281", "g20", 0.9906, 9.0421, 5, 34, True),
    ("r975", "p281", "g40", 0.9986, 9.0020, 5, 38, True),
    ("r98", "p276", "g32", 0.7878, 9.2468, 8, 40, False),
    ("r98", "p271", "g-cu03", 0.7750, 9.2955, 9, 40, False),
    ("r98-18", "p272-18", "g32", 1.1878, 8.8170, 18, 33, False),
]
INCH_CUT = 40 * 0.0254
WHOLE = [
    ("r98", "g59", "h255", "c61", "rk115", 0.2, 0.9812, 9.1538, 6.915, 2, 68),
    ("r98", "g59", "h255", "c61", "rk115", 0.3, 0.9812, 9.2473, 6.915, 2, 68),
    ("r98", "g59", "h280", "c61", "rk115", INCH_CUT, 0.9812, 9.2178, 6.915, 2, 98),
    ("r98", "g59", "h255", "c64", "rk110", 0.2, 0.9812, 9.1538, 6.940, 2, 106),
    ("r98", "g59", "h255", "c64", "rk110", 0.3, 0.9812, 9.2473, 6.940, 2, 106),
    ("r975", "g-cu10", "h255", "c61", "rk115", 0.2, 0.9826, 9.2037, 6.915, 2, 107),
    ("r98", "g20+g40", "h255", "c61", "rk115", 0.3, 1.0066, 9.2356, 6.915, 3, 56),
    ("r98", "g-cu10+g20", "h255", "c61", "rk115", 0.2, 0.9906, 9.1620, 6.915, 3, 69),
    ("r98", "g20+g40", "h280", "c61", "rk115", INCH_CUT, 1.0066, 9.2062, 6.915, 3, 86),
    ("r97", "g20", "h255", "c61", "rk115", 0.2, 0.9906, 9.2259, 6.915, 3, 90),
    ("r975", "g40", "h255", "c61", "rk115", 0.2, 0.9986, 9.1840, 6.915, 3, 94),
]


def near(*values: float) -> Any:
    return pytest.approx(values, abs=6e-5)


def stack(each: Any) -> str:
    return "+".join(each["parts"]["gaskets"])


def test_which_rod_and_piston_reach_the_deck() -> None:
    found = answer("find", EXAMPLE / "deck.yaml", "--top", 50)
    assert found["status"] == "complete"
    rows = found["combinations"]
    assert [(each["parts"]["rod"], each["parts"]["piston"]) for each in rows] == [row[:2] for row in DECK]
    for each, (_, _, deck, closeness, cost, holds) in zip(rows, DECK, strict=True):
        assert (each["figures"]["deck_mm"], each["figures"]["cost"]) == near(deck, cost)
        assert (each["closeness"], each["holds_at_worst_case"]) == (closeness, holds)
        assert (each["parts"]["block"], each["parts"]["crank"]) == ("b71", "k60")


def test_only_what_holds_at_worst_case_is_left_there() -> None:
    rows = answer("find", EXAMPLE / "deck.yaml", "--tolerance", "worst_case")["combinations"]
    assert [(each["parts"]["rod"], each["parts"]["piston"]) for each in rows] == [row[:2] for row in DECK if row[-1]]


def test_the_best_from_the_shelf_within_a_budget() -> None:
    rows = answer("find", EXAMPLE / "shelf.yaml", "--top", 50)["combinations"]
    got = [(each["parts"]["rod"], each["parts"]["piston"], stack(each)) for each in rows]
    assert got == [row[:3] for row in SHELF]
    for each, (*_, quench, compression, closeness, cost, holds) in zip(rows, SHELF, strict=True):
        figures = each["figures"]
        assert (figures["quench_mm"], figures["compression"], figures["cost"]) == near(quench, compression, cost)
        assert (each["closeness"], each["holds_at_worst_case"]) == (closeness, holds)
        assert [each["parts"][kind] for kind in GEAR] == SAME_TOP


def test_two_gaskets_from_the_shelf_for_nothing_come_ninth() -> None:
    rows = answer("find", EXAMPLE / "shelf.yaml", "--gaskets", 2, "--top", 50)["combinations"]
    assert len(rows) == 18
    assert [stack(each) for each in rows[:3]] == [row[2] for row in SHELF[:3]]
    ninth = rows[8]
    assert (stack(ninth), ninth["closeness"], ninth["figures"]["cost"]) == ("g20+g40", 6, 0)


def test_a_larger_budget_brings_another_rod() -> None:
    rows = answer("find", EXAMPLE / "shelf.yaml", "--max", "cost=75", "--top", 50)["combinations"]
    assert len(rows) == 15
    assert [(each["parts"]["rod"], each["figures"]["cost"]) for each in rows[:3]] == [
        ("r98-18", 26),
        ("r98", 31),
        ("r975", 71),
    ]


def test_with_nothing_to_spend_three_ways_lead_out() -> None:
    found = answer("find", EXAMPLE / "shelf.yaml", "--max", "cost=0")
    assert found["status"] == "nothing_fits" and not found["combinations"]
    assert {"cost.max", "gaskets", "quench.min"} <= set(found["conflict"]["requirements"])
    ways = {way["requirement"]: way for way in found["conflict"]["ways_out"]}
    assert set(ways) == {"cost.max", "gaskets", "quench.min"}
    opened = {name: way["combination"] for name, way in ways.items()}
    assert {name: (each["parts"]["piston"], stack(each)) for name, each in opened.items()} == {
        "cost.max": ("p281", "g59"),
        "gaskets": ("p281", "g20+g40"),
        "quench.min": ("p281", "g40"),
    }
    assert {name: way["price"] for name, way in ways.items()} == {"cost.max": 12, "gaskets": 0, "quench.min": 0}
    assert opened["quench.min"]["figures"]["quench_mm"] == pytest.approx(0.4986, abs=6e-5)


def whole(gaskets: int, top: int) -> list[Any]:
    found = answer("find", EXAMPLE / "plan.yaml", "--gaskets", gaskets, "--top", top)["combinations"]
    assert isinstance(found, list)
    return found


def test_the_whole_engine_with_two_gaskets() -> None:
    rows = whole(2, len(WHOLE))
    for each, row in zip(rows, WHOLE, strict=True):
        parts, figures = each["parts"], each["figures"]
        assert (parts["rod"], stack(each), parts["head"], parts["cam"], parts["rocker"]) == row[:5]
        numbers = [figures[key] for key in ("quench_mm", "compression", "valve_lift_mm")]
        assert (each["machining"]["mill_mm"], *numbers, figures["cost"]) == near(*row[5:9], row[10])
        assert each["closeness"] == row[9]


def test_the_second_gasket_is_not_needed() -> None:
    singles = [row for row in WHOLE if "+" not in row[1]]
    rows = whole(1, len(singles))
    assert [(each["parts"]["rod"], stack(each), each["figures"]["cost"]) for each in rows] == [
        (row[0], row[1], row[10]) for row in singles
    ]


def test_with_nothing_to_spend_it_is_needed() -> None:
    (only,) = answer("find", EXAMPLE / "plan.yaml", "--max", "cost=0")["combinations"]
    assert (stack(only), only["closeness"], only["machining"]) == ("g20+g40", 26, {})


def test_the_starter_is_laid_once_and_has_answers(tmp_path: Path) -> None:
    shed = tmp_path / "shed"
    assert run("start", shed).exit_code == 0
    laid = {path: path.read_bytes() for path in shed.rglob("*") if path.is_file()}
    assert shed / "plan.yaml" in laid

    found = answer("find", shed / "plan.yaml")
    assert found["status"] == "complete" and len(found["combinations"]) == 10
    first = found["combinations"][0]
    assert [first["parts"][kind] for kind in ("crank", "rod", "piston", "head", "cam", "rocker")] == [
        "k57-32",
        "r99-32",
        "p72-280",
        "h86-25",
        "c64",
        "rk115",
    ]
    assert (stack(first), first["closeness"], first["figures"]["cost"]) == ("g-20thou", 2, 90)

    (shed / "plan.yaml").write_text("plan: my own\ncatalogue: ./catalogue\n", encoding="utf-8")
    laid[shed / "plan.yaml"] = (shed / "plan.yaml").read_bytes()
    again = run("start", shed)
    assert again.exit_code == 2
    assert "nothing was written" in again.output
    assert {path: path.read_bytes() for path in shed.rglob("*") if path.is_file()} == laid
