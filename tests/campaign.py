"""Compare search and twin on many seeds: ``python -m tests.campaign N [--first SEED] [--motion] [--explain]``.

With ``--explain`` the plans ask too much, and what is compared is every claim of their explanations.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests import random_catalogues, random_motion
from tests.explained import differences
from tests.test_twin import compare


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, help="how many seeds")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--motion", action="store_true", help="engines with masses, cam timing and valves")
    parser.add_argument("--explain", action="store_true", help="explanations of plans that nothing fits")
    asked = parser.parse_args()
    question = random_motion.question if asked.motion else random_catalogues.question
    started, differing = time.monotonic(), 0
    for seed in range(asked.first, asked.first + asked.count):
        for line in differences(question, seed) if asked.explain else compare(question, seed):
            differing += 1
            print(line)
    print(f"{asked.count} seeds from {asked.first}, {differing} differences, {time.monotonic() - started:.0f} s")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
