"""Look for a part of known pose in random synthetic bays, and count what is found, missed and wrongly accepted.

    python scripts/registration_trials.py [--count N] [--seed S] [--no-stations]

Only bays in which 30 to 60 % of the part is seen and 70 to 85 % of the region's points are other things
count; the others are passed over. Right: within 0.5 degrees and 1 mm of the truth.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from trial_scene.bay import Scene, scene_of  # noqa: E402
from trial_scene.parts import four_into_one  # noqa: E402

from clearance.job.where import Region  # noqa: E402
from clearance.registration.model import shape_model  # noqa: E402
from clearance.registration.result import Registration  # noqa: E402
from clearance.registration.shape import from_shape  # noqa: E402

RIGHT_DEGREES, RIGHT_MM = 0.5, 1.0


def off(placed: Registration, scene: Scene) -> tuple[float, float]:
    """Return by how many degrees, and mm at the part's middle, a pose is off."""
    turn = scene.truth.rotation.T @ placed.T_bay_part.rotation
    sine = np.linalg.norm([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]) / 2
    middle = scene.part.vertices.mean(axis=0)
    shift = np.linalg.norm(placed.T_bay_part.apply(middle) - scene.truth.apply(middle))
    return float(np.degrees(np.arctan2(sine, (np.trace(turn) - 1) / 2))), float(shift)


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description="Registration by shape in random synthetic bays.")
    parser.add_argument("--count", type=int, default=40, help="bays that count (default 40)")
    parser.add_argument("--seed", type=int, default=100, help="first bay (default 100)")
    parser.add_argument("--no-stations", action="store_true", help="do not tell where the scanner stood")
    options = parser.parse_args()
    part = four_into_one()
    model = shape_model(part)
    seed, turns, shifts, right, accepted_wrong, accepted = options.seed - 1, [], [], 0, 0, 0
    tried = 0
    while tried < options.count:
        seed += 1
        scene = scene_of(part, model.points, seed)
        if not (0.3 <= scene.seen <= 0.6 and 0.7 <= scene.clutter <= 0.85):
            continue
        tried += 1
        began = time.perf_counter()
        region = Region(center=tuple(scene.centre.tolist()), radius=scene.radius)
        known = None if options.no_stations else scene.stations
        placed = from_shape(region, model, scene.points, 0.4, 0.05, Path("job.toml"), known)
        spent = time.perf_counter() - began
        degrees, mm = off(placed, scene)
        good = degrees < RIGHT_DEGREES and mm < RIGHT_MM
        right, accepted = right + good, accepted + placed.converged
        accepted_wrong += placed.converged and not good
        if good:
            turns.append(degrees)
            shifts.append(mm)
        print(
            f"bay {seed}: {100 * scene.seen:.0f} % seen, clutter {100 * scene.clutter:.0f} %, {degrees:.3f} degrees "
            f"{mm:.3f} mm, {'converged' if placed.converged else 'not converged'}, runner-up "
            f"{placed.runner_up_ratio or 0:.2f}, {spent:.1f} s" + ("" if placed.converged else f" {placed.notes}"),
            flush=True,
        )
    middle = f"median {np.median(turns):.3f} degrees {np.median(shifts):.3f} mm; " if turns else ""
    print(f"{right} of {tried} right; {middle}{accepted} converged, {accepted_wrong} of them wrong")
    return 1 if accepted_wrong else 0


if __name__ == "__main__":
    sys.exit(main())
