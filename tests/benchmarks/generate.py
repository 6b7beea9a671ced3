"""Generated catalogues of five sizes for the benchmarks: standard dimensions with the near misses of a real shelf.

``kitwright``'s own tests and benchmarks alone use them; the parts are invented. Run as a program it writes a catalogue
and a plan to a folder: ``python -m tests.benchmarks.generate 200 FOLDER`` (``--motion`` adds cam timing and springs).
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import yaml

from kitwright.catalogs import load_plan
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.plan import Plan

SIZES = {
    25: {
        "blocks": 1,
        "cranks": 2,
        "rods": 3,
        "pistons": 3,
        "gaskets": 3,
        "heads": 2,
        "cams": 2,
        "rockers": 1,
        "springs": 2,
        "retainers": 1,
        "pushrods": 3,
        "flywheels": 2,
    },
    50: {
        "blocks": 1,
        "cranks": 4,
        "rods": 8,
        "pistons": 8,
        "gaskets": 6,
        "heads": 3,
        "cams": 4,
        "rockers": 2,
        "springs": 4,
        "retainers": 2,
        "pushrods": 6,
        "flywheels": 2,
    },
    200: {
        "blocks": 1,
        "cranks": 15,
        "rods": 45,
        "pistons": 45,
        "gaskets": 16,
        "heads": 12,
        "cams": 16,
        "rockers": 3,
        "springs": 14,
        "retainers": 3,
        "pushrods": 27,
        "flywheels": 3,
    },
    400: {
        "blocks": 2,
        "cranks": 30,
        "rods": 90,
        "pistons": 90,
        "gaskets": 30,
        "heads": 24,
        "cams": 40,
        "rockers": 6,
        "springs": 30,
        "retainers": 5,
        "pushrods": 48,
        "flywheels": 5,
    },
    1500: {
        "blocks": 5,
        "cranks": 120,
        "rods": 360,
        "pistons": 420,
        "gaskets": 60,
        "heads": 80,
        "cams": 150,
        "rockers": 10,
        "springs": 100,
        "retainers": 10,
        "pushrods": 175,
        "flywheels": 10,
    },
}
"""Number of parts to how many of each kind."""

SEEDS = {25: 44, 50: 3}
"""Seeds other than 1, so that every size has answers to :data:`PLAN`."""

PLAN = """\
plan: benchmark
catalogue: ./catalogue
goals:
  compression: {aim: 10.5, min: 9.5, max: 11.5}
  quench: {min: 0.70 mm, max: 1.10 mm}
  valve_lift: {max: 8.0 mm, min: 6.0 mm}
  rev_ceiling: 6500 rpm
  cost: {max: 400}
allow:
  gaskets: 3
  machining: [mill]
"""

MOTION_PLAN = PLAN.replace(
    "  rev_ceiling:",
    """\
  piston_to_valve_intake: {min: 2.0 mm}
  piston_to_valve_exhaust: {min: 2.5 mm}
  float_speed: {min: 6800 rpm, step: 50 rpm}
  dynamic_compression: {aim: 8.0, min: 7.0, max: 9.0, step: 0.05}
  rev_ceiling:""",
)
"""The same with goals on what a cycle has to be scanned for."""


def rows(size: int, seed: int | None = None) -> dict[str, list[dict[str, object]]]:
    """The catalogue of one size as YAML data."""
    rng = random.Random(SEEDS.get(size, 1) if seed is None else seed)
    counts = SIZES[size]

    def tenth(low: float, high: float, step: float = 0.1) -> float:
        return round(low + step * rng.randint(0, round((high - low) / step)), 4)

    def common(letter: str, number: int) -> dict[str, object]:
        return {
            "id": f"{letter}{number:04d}",
            "price": rng.choice([12, 18, 25, 38, 45, 60, 79.5]),
            "on_shelf": int(rng.random() < 0.25),
        }

    def dimension(value: float, tolerance: float = 0.05) -> str:
        return f"{value:g} mm ± {tolerance:g} mm"

    heights = [142.0, 142.5, 143.0, 150.0, 135.0]
    journals = [30, 30, 30, 32, 36]
    pins = [16, 16, 16, 15, 18]
    data: dict[str, list[dict[str, object]]] = {kind: [] for kind in counts}
    for i in range(counts["blocks"]):
        data["blocks"].append(common("b", i) | {"bore": "72 mm", "block_height": dimension(heights[i], 0.1)})
    for i in range(counts["cranks"]):
        rating = {"max_rpm": f"{rng.choice([6000, 7000, 8000])} rpm"} if rng.random() < 0.9 else {}
        data["cranks"].append(
            common("k", i)
            | {"stroke": dimension(tenth(53, 64, 0.5)), "journal": f"{rng.choice(journals)} mm", **rating}
        )
    for i in range(counts["rods"]):
        rating = {"max_rpm": f"{rng.choice([6000, 7000, 8000])} rpm"} if rng.random() < 0.9 else {}
        data["rods"].append(
            common("r", i)
            | {
                "length": dimension(tenth(80, 90, 0.25)),
                "big_end": f"{rng.choice(journals)} mm",
                "pin": f"{rng.choice(pins)} mm",
            }
            | rating
        )
    for i in range(counts["pistons"]):
        crown = rng.choice(
            [{}, {}, {"dish": f"{tenth(1, 5, 0.5)} cc ± 0.2 cc"}, {"dome": f"{tenth(0.5, 3, 0.5)} cc ± 0.2 cc"}]
        )
        data["pistons"].append(
            common("p", i)
            | {"bore": "72 mm", "compression_height": dimension(tenth(25, 32, 0.1)), "pin": f"{rng.choice(pins)} mm"}
            | crown
        )
    for i in range(counts["gaskets"]):
        data["gaskets"].append(
            common("g", i)
            | {"thickness": dimension(tenth(0.25, 1.6, 0.05), 0.05), "bore": f"{rng.choice([72.5, 73, 73.5, 74])} mm"}
        )
    for i in range(counts["heads"]):
        data["heads"].append(
            common("h", i)
            | {
                "chamber": f"{tenth(17, 27, 0.5)} cc ± 0.4 cc",
                "chamber_area": "34 cm2",
                "mill": {"max": "1.6 mm", "step": "0.1 mm", "labour": 20},
                "installed_height": dimension(tenth(32, 37, 0.5), 0.2),
                "retainer_room": dimension(tenth(8, 11, 0.5), 0.2),
            }
        )
    for i in range(counts["cams"]):
        lift = tenth(5.0, 7.6, 0.1)
        rating = {"max_rpm": "7500 rpm"} if rng.random() < 0.9 else {}
        data["cams"].append(
            common("c", i)
            | {
                "intake_lobe_lift": dimension(lift),
                "exhaust_lobe_lift": dimension(round(lift - rng.choice([0, 0.1, 0.2]), 4)),
            }
            | {"lash_intake": "0.1 mm", "lash_exhaust": "0.15 mm", "base_radius": dimension(tenth(12, 14, 0.25))}
            | rating
        )
    for i in range(counts["rockers"]):
        data["rockers"].append(common("o", i) | {"ratio": rng.choice([1.0, 1.1, 1.2, 1.25, 1.3])})
    for i in range(counts["springs"]):
        rating = {"max_rpm": f"{rng.choice([5500, 6500, 7000, 8000])} rpm"} if rng.random() < 0.9 else {}
        data["springs"].append(common("s", i) | {"solid_height": dimension(tenth(20, 26, 0.25), 0.2)} | rating)
    for i in range(counts["retainers"]):
        data["retainers"].append(common("t", i) | {"height_gain": f"{tenth(0, 1.5, 0.5)} mm"})
    for i in range(counts["pushrods"]):
        data["pushrods"].append(common("u", i) | {"length": dimension(tenth(136, 146, 0.25), 0.1)})
    for i in range(counts["flywheels"]):
        data["flywheels"].append(common("f", i) | {"max_rpm": f"{rng.choice([6000, 7500, 9000])} rpm"})
    return data


def with_motion(data: dict[str, list[dict[str, object]]], seed: int = 5) -> dict[str, list[dict[str, object]]]:
    """The same rows with valve positions, pockets, springs and cam timing; what was there stays as it is."""
    rng = random.Random(seed)
    found = {kind: [dict(row) for row in each] for kind, each in data.items()}
    for row in found["pistons"]:
        row["pocket_depth_intake"] = f"{rng.choice([1, 1.5, 2])} mm ± 0.1 mm"
        row["pocket_depth_exhaust"] = "1.5 mm ± 0.1 mm"
    for row in found["heads"]:
        row["valve_drop"] = f"{rng.choice([3, 4, 5])} mm ± 0.1 mm"
        row["valve_angle"] = f"{rng.choice([0, 8, 12])} deg"
    for row in found["cams"]:
        seat = rng.choice([262, 268, 274, 280])
        row["intake_duration"] = f"{seat} deg"
        row["exhaust_duration"] = f"{seat + 4} deg"
        row["intake_duration_at"] = {"lift": "1 mm", "duration": f"{seat - 50} deg"}
        row["exhaust_duration_at"] = {"lift": "1 mm", "duration": f"{seat - 46} deg"}
        row["lobe_separation"] = f"{rng.choice([104, 106, 108])} deg"
        row["intake_centreline"] = f"{rng.choice([102, 104, 106])} deg"
    for row in found["springs"]:
        row["rate"] = f"{rng.choice([14, 16, 18, 20])} N/mm"
        row["free_length"] = f"{rng.choice([42, 44, 46])} mm"
        row["moving_mass"] = "110 g"
    return found


def write(size: int, folder: Path, plan: str = "", seed: int | None = None, motion: bool = False) -> Path:
    """Write catalogue and plan of one size below a folder; returns the plan's path."""
    (folder / "catalogue").mkdir(parents=True, exist_ok=True)
    data = with_motion(rows(size, seed)) if motion else rows(size, seed)
    (folder / "catalogue" / "parts.yaml").write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), "utf-8")
    path = folder / "plan.yaml"
    path.write_text(plan or (MOTION_PLAN if motion else PLAN), "utf-8")
    return path


def question(
    size: int, folder: Path, plan: str = "", seed: int | None = None, motion: bool = False
) -> tuple[Catalogue, Plan]:
    """Catalogue and plan of one size, read back from files in a folder."""
    read, catalogue = load_plan(write(size, folder, plan, seed, motion))
    return catalogue, read


if __name__ == "__main__":
    print(write(int(sys.argv[1]), Path(sys.argv[2]), motion="--motion" in sys.argv))
