"""Generated catalogues of four sizes for the benchmarks: standard dimensions with the near misses of a real shelf.

``kitwright``'s own tests and benchmarks alone use them; the parts are invented. Run as a program it writes a catalogue
and a plan to a folder: ``python -m tests.benchmarks.generate 200 FOLDER``.
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
        "pushrods": 25,
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
        "pushrods": 45,
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
        "pushrods": 170,
        "flywheels": 10,
    },
}
"""Number of parts to how many of each kind."""

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


def rows(size: int, seed: int = 1) -> dict[str, list[dict[str, object]]]:
    """The catalogue of one size as YAML data."""
    rng = random.Random(seed)
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


def write(size: int, folder: Path, plan: str = PLAN, seed: int = 1) -> Path:
    """Write catalogue and plan of one size below a folder; returns the plan's path."""
    (folder / "catalogue").mkdir(parents=True, exist_ok=True)
    (folder / "catalogue" / "parts.yaml").write_text(
        yaml.safe_dump(rows(size, seed), sort_keys=False, allow_unicode=True), "utf-8"
    )
    path = folder / "plan.yaml"
    path.write_text(plan, "utf-8")
    return path


def question(size: int, folder: Path, plan: str = PLAN, seed: int = 1) -> tuple[Catalogue, Plan]:
    """Catalogue and plan of one size, read back from files in a folder."""
    read, catalogue = load_plan(write(size, folder, plan, seed))
    return catalogue, read


if __name__ == "__main__":
    print(write(int(sys.argv[1]), Path(sys.argv[2])))
