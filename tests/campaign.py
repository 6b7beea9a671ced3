"""Compare search and twin on many seeds: ``python -m tests.campaign N [--first SEED] [--motion] [--explain]``.

With ``--explain`` the plans ask too much, and what is compared is every claim of their explanations; seeds whose parts
leave no such plan are passed over.
"""

from __future__ import annotations

import argparse
import sys
import time

from tests import random_catalogues, random_motion
from tests.explained import differences, refused
from tests.test_twin import compare


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, help="how many questions")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--motion", action="store_true", help="engines with masses, cam timing and valves")
    parser.add_argument("--explain", action="store_true", help="explanations of plans that nothing fits")
    asked = parser.parse_args()
    question = random_motion.question if asked.motion else random_catalogues.question
    started, differing, seed, done = time.monotonic(), 0, asked.first, 0
    while done < asked.count:
        if asked.explain:
            done += refused(question, seed) is not None
            lines = differences(question, seed)
        else:
            done += 1
            lines = compare(question, seed)
        for line in lines:
            differing += 1
            print(line, flush=True)
        seed += 1
    spent = time.monotonic() - started
    print(f"{done} questions, seeds {asked.first} to {seed - 1}: {differing} differences, {spent:.0f} s")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
