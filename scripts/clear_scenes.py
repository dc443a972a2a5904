"""Look for unseen places in random scenes where nothing near the part hides, and count false findings.

    python scripts/clear_scenes.py [--count N] [--seed S]

Every scene is looked at three ways: without stations, with stations and all points in one cloud, and
with the scan of each station kept apart. A finding is false if a ray from some station to its middle
meets nothing (told by the scene itself, not by its scan).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from trial_scene.clear import ClearScene, clear_scene  # noqa: E402

from clearance.unseen.find import find_unseen  # noqa: E402
from clearance.unseen.result import Unseen  # noqa: E402

WAYS = ("none", "merged", "apart")


def looked(scene: ClearScene, way: str) -> tuple[Unseen, ...]:
    """Return what is found one of three ways."""
    return find_unseen(
        scene.part,
        scene.scan,
        scene.needs,
        scene.rock,
        stations=None if way == "none" else scene.stations,
        file_of=scene.station_of if way == "apart" else None,
    )


def told(scene: ClearScene, way: str, spot: Unseen) -> str:
    """Return a line about a finding."""
    kind = "FALSE" if scene.open_to_a_station(spot.centre) else "truly hidden"
    place = spot.centre.round().tolist()
    return f"    {way}: {place} {spot.size_mm:.0f} mm wide, {spot.nearest_mm:.1f} of {spot.needed_mm:.1f} mm, {kind}"


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description="False unseen places in random clear scenes.")
    parser.add_argument("--count", type=int, default=20, help="scenes (default 20)")
    parser.add_argument("--seed", type=int, default=1, help="first scene (default 1)")
    options = parser.parse_args()
    quiet, false, slowest = dict.fromkeys(WAYS, 0), dict.fromkeys(WAYS, 0), dict.fromkeys(WAYS, 0.0)
    for seed in range(options.seed, options.seed + options.count):
        scene = clear_scene(seed)
        made = f"{len(scene.scan.points)} points, {len(scene.stations)} stations, {'rocks' if scene.rock else 'still'}"
        print(f"{seed}: {made}, {scene.spare_mm:.0f} mm to spare", flush=True)
        for way in WAYS:
            began = time.perf_counter()
            found = looked(scene, way)
            slowest[way] = max(slowest[way], time.perf_counter() - began)
            quiet[way] += not found
            false[way] += any(scene.open_to_a_station(spot.centre) for spot in found)
            for spot in found:
                print(told(scene, way, spot), flush=True)
    for way in WAYS:
        print(
            f"{way}: nothing found in {quiet[way]} of {options.count}, "
            f"false findings in {false[way]}, slowest {slowest[way]:.1f} s"
        )
    return 1 if any(false.values()) else 0


if __name__ == "__main__":
    raise SystemExit(main())
