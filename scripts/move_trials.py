"""Cells of moves on random small scenes against dense brute force: numpy and scipy's rotations, no code of the program.

    python scripts/move_trials.py [--count N] [--seed S]

For each scene corners of the finest grid (at most 100, half of them the smallest, the others drawn) are tried over
some hundred states of the motion.
A free cell that holds a failing corner and a blocked one that holds a passing corner are counted, and the smallest
move found is held against the smallest passing corner. Exit code 1 if anything is wrong.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "helpers")]

from move_scenes import grid_of, least, move_scene  # noqa: E402

from clearance.moves.answers import smallest_move  # noqa: E402
from clearance.moves.cells import Decider  # noqa: E402
from clearance.moves.search import Ruling  # noqa: E402

SAME_MM = 1e-5
SLACK = 1.01
"""A corner passes where brute force finds more than so many needs: the states tried may miss the worst by that much."""

MOST_CORNERS = 100


def judge(seed: int) -> Counter[str]:
    """Return what came of one scene."""
    made, told = move_scene(seed), Counter[str]()
    space, rng = made.space, np.random.default_rng((seed, 5))
    decider = Decider(made.study())
    cells = decider.decide(decider.whole())
    found = smallest_move(cells, decider)
    grid = grid_of(space)
    if len(grid) > MOST_CORNERS:
        near = np.argsort(space.size_mm(grid), kind="stable")[: MOST_CORNERS // 2]
        grid = np.vstack([grid[near], grid[rng.choice(len(grid), MOST_CORNERS // 2, replace=False)]])
    values = least(made, grid, rng, count=24, refine=1)
    low, high = space.edge(cells.low), space.edge(cells.high)
    for move, value in zip(grid, values, strict=True):
        inside = ((low <= move + 1e-12) & (move <= high + 1e-12)).all(axis=1)
        rulings = set(cells.ruling[inside].tolist())
        for ruling in rulings:
            told[f"corners in {Ruling(ruling).name.lower()} cells"] += 1
        told["FREE CELL WITH A FAILING POSE"] += Ruling.FREE in rulings and value < made.need_mm - SAME_MM
        told["BLOCKED CELL WITH A PASSING POSE"] += Ruling.BLOCKED in rulings and value > SLACK * made.need_mm
    passing = values > SLACK * made.need_mm
    if passing.any():
        best = float(space.size_mm(grid[passing]).min())
        told["scenes with a dense optimum"] += 1
        told["SMALLEST MOVE LARGER THAN THE DENSE OPTIMUM"] += found.size_mm > best + 1e-9
        told["DENSE OPTIMUM BELOW WHAT IS PROVEN"] += best < found.at_least_mm - 1e-9
    if found.move is not None:
        told["smallest moves found"] += 1
        told["SMALLEST MOVE FAILS"] += least(made, found.move[None], rng)[0] < made.need_mm - SAME_MM
    told["poses"] += space.poses
    for ruling in Ruling:
        told[f"poses {ruling.name.lower()}"] += int(cells.poses[cells.ruling == ruling].sum())
    return told


def main(count: int, seed: int) -> int:
    """Try scenes and print what came of them."""
    total, start = Counter[str](), time.perf_counter()
    for number in range(seed, seed + count):
        told = judge(number)
        if wrong := {name: n for name, n in told.items() if name.isupper() and n}:
            print(f"scene {number}: {wrong}", flush=True)
        total += told
        total["scenes"] += 1
    print(f"{time.perf_counter() - start:.0f} s")
    for name, n in sorted(total.items()):
        print(f"{n:>9} {name}")
    wrong = sum(n for name, n in total.items() if name.isupper())
    print(f"{wrong:>9} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    sys.exit(main(chosen.count, chosen.seed))
