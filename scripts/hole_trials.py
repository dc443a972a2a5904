"""Plant holes at random places of a scanned rail, a ball above each nearer than needed, and count those missed.

    python scripts/hole_trials.py [--count N] [--seed S] [--bare]

By the scan points that are left, each nearer by its local spacing, every ball would pass; by the rail itself it
fails: a hole missed is a false pass.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from trial_scene.rail import rail_scene  # noqa: E402

from clearance.unseen.find import find_unseen  # noqa: E402

WIDTHS_MM = (10.0, 20.0, 40.0, 80.0)


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description="Random holes in the scan of a rail.")
    parser.add_argument("--count", type=int, default=20, help="holes of each width (default 20)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--bare", action="store_true", help="no allowance for the spacing: many more holes count")
    parser.add_argument("--widths", type=float, nargs="*", default=WIDTHS_MM, help="mm")
    options = parser.parse_args()
    missed_any = False
    for width in options.widths:
        missed, covered, slowest = 0, 0, 0.0
        for number in range(options.count):
            scene = rail_scene(width, np.random.default_rng([options.seed, int(10 * width), number]), not options.bare)
            if scene is None:
                covered += 1
                continue
            began = time.perf_counter()
            found = find_unseen(scene.part, scene.scan, scene.needs, None)
            slowest = max(slowest, time.perf_counter() - began)
            if not found:
                missed += 1
                where, true, left = scene.place.round().tolist(), scene.true_mm, scene.left_mm
                print(f"    missed at {where}, truly {true:.1f}, left {left:.1f}, floor {scene.floor}", flush=True)
        missed_any |= missed > 0
        asked = options.count - covered
        print(
            f"{width:g} mm: missed {missed} of {asked}, slowest {slowest:.1f} s; in {covered} more scenes the spacing "
            "covers every hole of this width",
            flush=True,
        )
    return 1 if missed_any else 0


if __name__ == "__main__":
    raise SystemExit(main())
