"""What only looks odd across parts is a warning, says why, and never stops."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from kitwright.catalogs import load

BLOCK = "- {id: b72, bore: 72 mm, block_height: 142.00 mm, tags: [stud-86], price: 20}\n"
CRANK = "- {id: k57, stroke: 57 mm, journal: 30 mm, price: 20}\n"
ROD = "- {id: r85, length: 85 mm, big_end: 30 mm, pin: 16 mm, price: 20}\n"
PISTON = "- {id: p280, bore: 72 mm, compression_height: 28 mm, pin: 16 mm, price: 20}\n"


def warnings(folder: Path, **more: str) -> list[str]:
    rows = {"blocks": BLOCK, "cranks": CRANK, "rods": ROD, "pistons": PISTON}
    for kind, text in more.items():
        rows[kind] = rows.get(kind, "") + text
    text = "".join(f"{kind}:\n{each}" for kind, each in rows.items())
    (folder / "parts.yaml").write_text(text, encoding="utf-8")
    return [warning.removeprefix(f"{folder / 'parts.yaml'}:") for warning in load(folder).warnings]


def test_parts_that_go_together_bring_no_warning(tmp_path: Path) -> None:
    assert warnings(tmp_path) == []


def test_a_throw_written_as_a_stroke(tmp_path: Path) -> None:
    (said,) = warnings(tmp_path, cranks="- {id: k28, stroke: 28.5 mm, journal: 30 mm, price: 20}\n")
    assert "part `k28`, field `stroke`: a stroke of 28.5 mm leaves the piston 14.75 mm down with every rod" in said
    assert "is it the throw? The stroke would be 57.00 mm" in said


def test_a_stroke_that_no_doubling_explains(tmp_path: Path) -> None:
    (said,) = warnings(tmp_path, cranks="- {id: k20, stroke: 20 mm, journal: 30 mm, price: 20}\n")
    assert "19.00 mm down with every rod and piston; is a rod or a piston missing" in said


def test_a_long_rod_excuses_a_short_stroke(tmp_path: Path) -> None:
    rod = "- {id: r99, length: 99 mm, big_end: 30 mm, pin: 16 mm, price: 20}\n"
    said = warnings(tmp_path, cranks="- {id: k28, stroke: 28.5 mm, journal: 30 mm, price: 20}\n", rods=rod)
    assert not [each for each in said if "`k28`" in each]


def test_a_rod_for_other_blocks_excuses_nothing(tmp_path: Path) -> None:
    rod = "- {id: r99, length: 99 mm, big_end: 30 mm, pin: 16 mm, price: 20, fits: [other]}\n"
    said = warnings(tmp_path, cranks="- {id: k28, stroke: 28.5 mm, journal: 30 mm, price: 20}\n", rods=rod)
    assert any("is it the throw?" in each for each in said)


@pytest.mark.parametrize("more", ["", ", outer_radius: 20 mm"])
def test_a_rod_measured_over_its_edges(tmp_path: Path, more: str) -> None:
    (said,) = warnings(tmp_path, rods=f"- {{id: r109, length: 109 mm, big_end: 30 mm, pin: 16 mm, price: 20{more}}}\n")
    assert "part `r109`, field `length`: a length of 109 mm puts the piston 23.50 mm out with every crank" in said
    assert "measured across the outer edges? From centre to centre it would be" in said


def test_a_rod_far_too_long(tmp_path: Path) -> None:
    (said,) = warnings(tmp_path, rods="- {id: r200, length: 200 mm, big_end: 30 mm, pin: 16 mm, price: 20}\n")
    assert "mm out with every crank and piston; is a crank or a piston missing" in said


def test_a_tag_that_no_block_carries_is_told_once(tmp_path: Path) -> None:
    heads = "".join(f"- {{id: h{n}, chamber: 22 cc, fits: [stud-68], price: 1}}\n" for n in range(3))
    (said,) = warnings(tmp_path, heads=heads)
    assert "part `h0`, field `fits`: no block carries the tag `stud-68` (and 2 more); did you mean `stud-86`?" in said


@pytest.mark.parametrize(
    ("kind", "row", "words"),
    [
        (
            "cranks",
            "- {id: x, stroke: 57 mm, journal: 28 mm, price: 1}\n",
            "no big end matches the journal 28 mm; there are 30",
        ),
        (
            "rods",
            "- {id: x, length: 85 mm, big_end: 32 mm, pin: 16 mm, price: 1}\n",
            "no journal matches the big end 32 mm",
        ),
        (
            "rods",
            "- {id: x, length: 85 mm, big_end: 30 mm, pin: 15 mm, price: 1}\n",
            "no piston's pin matches the rod's pin 15 mm",
        ),
        (
            "pistons",
            "- {id: x, bore: 68 mm, compression_height: 28 mm, pin: 16 mm, price: 1}\n",
            "no cylinder bore matches the piston's bore 68 mm; there are 72 mm",
        ),
        (
            "blocks",
            "- {id: x, bore: 63 mm, block_height: 142 mm, price: 1}\n",
            "no piston's bore matches the cylinder bore 63 mm",
        ),
        (
            "gaskets",
            "- {id: x, thickness: 1 mm, bore: 60 mm, price: 1}\n",
            "a gasket bore of 60 mm is smaller than every cylinder",
        ),
    ],
)
def test_a_size_that_nothing_matches(tmp_path: Path, kind: str, row: str, words: str) -> None:
    (said,) = warnings(tmp_path, **{kind: row})
    assert "part `x`" in said
    assert words in said


def test_a_near_miss_has_its_own_message(tmp_path: Path) -> None:
    crank = "- {id: k70, stroke: 57 mm, journal: 70 mm, price: 1}\n"
    rod = "- {id: r70, length: 85 mm, big_end: 2.7559 in, pin: 16 mm, price: 1}\n"
    (said,) = warnings(tmp_path, cranks=crank, rods=rod)
    assert "part `r70`, field `big_end`: the big end 2.7559 in misses the journal 70 mm of `k70` by 0.00014 mm" in said
    assert "write one size in both" in said


def test_sizes_equal_within_a_tenth_of_a_micrometre_match(tmp_path: Path) -> None:
    rod = "- {id: r, length: 85 mm, big_end: 30.00009 mm, pin: 16 mm, price: 1}\n"
    assert warnings(tmp_path, rods=rod) == []


def test_a_bore_after_boring_counts(tmp_path: Path) -> None:
    block = "- {id: b70, bore: 70 mm, block_height: 142 mm, rebore: {to: [72 mm]}, price: 1}\n"
    piston = "- {id: p70, bore: 70 mm, compression_height: 28 mm, pin: 16 mm, price: 1}\n"
    assert warnings(tmp_path, blocks=block) == []
    assert warnings(tmp_path, blocks=block, pistons=piston) == []


def test_parts_without_a_price_are_told_together(tmp_path: Path) -> None:
    rows = "".join(f"- {{id: g{n:02}, thickness: 1 mm, bore: 73 mm}}\n" for n in range(12))
    shelf = "- {id: g99, thickness: 1 mm, bore: 73 mm, on_shelf: 1}\n"
    (said,) = warnings(tmp_path, gaskets=rows + shelf)
    assert "not on the shelf and without a price: g00, g01" in said
    assert "(12 parts)" in said
    assert "g99" not in said


def test_a_material_that_the_table_does_not_hold(tmp_path: Path) -> None:
    rod = "- {id: r, length: 85 mm, big_end: 30 mm, pin: 16 mm, price: 1, material: unobtainium}\n"
    (said,) = warnings(tmp_path, rods=rod)
    assert "field `material`: no material is called `unobtainium`" in said


def test_many_of_one_sort_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"- {{id: k{n}, stroke: 57 mm, journal: {40 + n} mm, price: 1}}\n" for n in range(30))
    said = warnings(tmp_path, cranks=rows)
    assert len(said) == 21
    assert said[-1] == "… and 10 more like the last one"


def test_a_catalogue_of_one_kind_is_not_odd(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_text(f"cranks:\n{CRANK}", encoding="utf-8")
    assert load(tmp_path).warnings == ()


def test_a_large_catalogue_loads_quickly(tmp_path: Path) -> None:
    pick = random.Random(7)
    rows: dict[str, list[str]] = {"blocks": [], "cranks": [], "rods": [], "pistons": []}
    for n in range(60):
        rows["blocks"].append(f"- {{id: b{n}, bore: 72 mm, block_height: {pick.uniform(140, 150):.2f} mm, price: 1}}\n")
    for n in range(440):
        rows["cranks"].append(
            f"- {{id: k{n}, stroke: {pick.uniform(20, 70):.3f} mm ± 0.05 mm, journal: 30 mm, price: 1}}\n"
        )
    for n in range(500):
        length = pick.uniform(75, 130)
        rows["rods"].append(f"- {{id: r{n}, length: {length:.3f} mm, big_end: 30 mm, pin: 16 mm, price: 1}}\n")
        height = pick.uniform(24, 34)
        rows["pistons"].append(
            f"- {{id: p{n}, bore: 72 mm, compression_height: {height:.3f} mm, pin: 16 mm, price: 1}}\n"
        )
    (tmp_path / "a.yaml").write_text(
        "".join(f"{kind}:\n{''.join(each)}" for kind, each in rows.items()), encoding="utf-8"
    )
    started = time.perf_counter()
    assert len(load(tmp_path)) == 1500
    # A second is the promise; the margin is for slow machines.
    assert time.perf_counter() - started < 4
