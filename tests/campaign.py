"""Compare search and twin on many seeds: ``python -m tests.campaign N [--first SEED] [--motion]``."""

from __future__ import annotations

import argparse
import sys
import time

from tests import random_catalogues, random_motion
from tests.test_twin import compare


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, help="how many seeds")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--motion", action="store_true", help="engines with masses, cam timing and valves")
    asked = parser.parse_args()
    question = random_motion.question if asked.motion else random_catalogues.question
    started, differing = time.monotonic(), 0
    for seed in range(asked.first, asked.first + asked.count):
        for line in compare(question, seed):
            differing += 1
            print(line)
    print(f"{asked.count} seeds from {asked.first}, {differing} differences, {time.monotonic() - started:.0f} s")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
