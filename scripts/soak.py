"""Try the sweep on random scenes against brute force, for as long as you like.

    python scripts/soak.py [--count N] [--seed S]

Without --count it goes on until it is interrupted. Scene S of any run is the same scene everywhere. A scene
on which program and brute force part ways is printed with its seed; exit code 1 if there was any.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "helpers")]

from scenes import judge, random_scene  # noqa: E402

REPORT_EVERY_S = 30.0


def run(first: int, count: int | None) -> int:
    """Judge scenes first, first + 1, ... and report."""
    told: Counter[str] = Counter()
    slowest, slowest_seed = 0.0, first
    started = reported = time.perf_counter()
    try:
        for seed in itertools.count(first) if count is None else range(first, first + count):
            began = time.perf_counter()
            try:
                told[judge(random_scene(seed), seed)] += 1
            except Exception as fault:
                told["wrong"] += 1
                print(f"scene {seed}: {type(fault).__name__}: {fault}", flush=True)
            now = time.perf_counter()
            if now - began > slowest:
                slowest, slowest_seed = now - began, seed
            if now - reported > REPORT_EVERY_S:
                reported = now
                print(f"{sum(told.values())} scenes so far, {told['wrong']} wrong", flush=True)
    except KeyboardInterrupt:
        print()
    print(
        f"{sum(told.values())} scenes from seed {first} in {time.perf_counter() - started:.0f} s: "
        f"{told['clear']} clear, {told['interfering']} interfering, {told['wrong']} wrong; "
        f"slowest {slowest:.1f} s (seed {slowest_seed})"
    )
    return 1 if told["wrong"] else 0


def main() -> int:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Try the sweep on random scenes against brute force.")
    parser.add_argument("--count", type=int, help="how many scenes; endless without")
    parser.add_argument("--seed", type=int, default=0, help="first scene (default 0)")
    options = parser.parse_args()
    return run(options.seed, options.count)


if __name__ == "__main__":
    sys.exit(main())
