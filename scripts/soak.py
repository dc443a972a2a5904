"""Try the sweep on random scenes against closed forms and brute force, for as long as you like.

    python scripts/soak.py [--count N] [--seed S]
    python scripts/soak.py --small [--count N] [--seed S] [--state FILE]

Without --count it goes on until it is interrupted. Scene S of any run is the same scene everywhere. A scene
on which the program and the truth part ways is printed with its seed; exit code 1 if there was any.

--small tries small scenes, thousands a minute, through travel and stroke too, and counts the passes that are
not true. With --state its counts are kept in FILE and a later run with the same FILE goes on from there.
"""

from __future__ import annotations

import argparse
import itertools
import json
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "helpers")]

from scenes import judge, random_scene  # noqa: E402
from small_scenes import judge_small  # noqa: E402

REPORT_EVERY_S = 30.0


def judge_large(seed: int) -> tuple[str, ...]:
    """Return what came of a scene of tests/helpers/scenes.py, "wrong" if the program is."""
    try:
        return (judge(random_scene(seed), seed),)
    except Exception as fault:
        print(f"scene {seed}: {type(fault).__name__}: {fault}", flush=True)
        return ("wrong",)


def judge_one_small(seed: int) -> tuple[str, ...]:
    """Return what came of a scene of tests/helpers/small_scenes.py, "wrong" if the program is."""
    try:
        told = judge_small(seed)
    except Exception as fault:
        print(f"scene {seed}: {type(fault).__name__}: {fault}", flush=True)
        return ("wrong",)
    for fault in told.faults:
        print(f"scene {seed}: {fault}", flush=True)
    wrong = ("wrong",) if told.faults else ()
    false_pass = ("false pass",) if any(fault.startswith("false pass") for fault in told.faults) else ()
    wide = ("wider than asked",) if told.wide else ()
    return (f"{told.kind} {told.verdict}", *wide, *wrong, *false_pass)


def run(seeds: Iterable[int], judged: Callable[[int], tuple[str, ...]], state: Path | None) -> int:
    """Judge scenes one by one and report; return the exit code."""
    kept = json.loads(state.read_text()) if state is not None and state.exists() else {"scenes": 0, "told": {}}
    told, scenes, seed = Counter(kept["told"]), int(kept["scenes"]), None
    slowest, slowest_seed = 0.0, None
    started = reported = time.perf_counter()
    try:
        for seed in seeds:
            began = time.perf_counter()
            told.update(judged(seed))
            scenes += 1
            now = time.perf_counter()
            if now - began > slowest:
                slowest, slowest_seed = now - began, seed
            if now - reported > REPORT_EVERY_S:
                reported = now
                print(f"{scenes} scenes so far, to seed {seed}: {told['wrong']} wrong", flush=True)
                _keep(state, seed, scenes, told)
    except KeyboardInterrupt:
        print()
    _keep(state, seed, scenes, told)
    counts = ", ".join(f"{count} {name}" for name, count in sorted(told.items()) if name != "wrong")
    print(
        f"{scenes} scenes, the last of seed {seed}, this run {time.perf_counter() - started:.0f} s: {counts}, "
        f"{told['wrong']} wrong; slowest {slowest:.1f} s (seed {slowest_seed})"
    )
    return 1 if told["wrong"] else 0


def _keep(state: Path | None, seed: int | None, scenes: int, told: Counter[str]) -> None:
    """Write counts and the next seed, whole or not at all."""
    if state is None or seed is None:
        return
    new = state.with_suffix(state.suffix + ".new")
    new.write_text(json.dumps({"next_seed": seed + 1, "scenes": scenes, "told": dict(told)}, indent=1))
    new.replace(state)


def main() -> int:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Try the sweep on random scenes against known truth.")
    parser.add_argument("--count", type=int, help="how many scenes; endless without")
    parser.add_argument("--seed", type=int, default=0, help="first scene (default 0)")
    parser.add_argument("--small", action="store_true", help="small scenes, thousands a minute, every motion")
    parser.add_argument("--state", type=Path, help="file of counts to go on from and to keep up to date")
    options = parser.parse_args()
    first = options.seed
    if options.state is not None and options.state.exists():
        first = int(json.loads(options.state.read_text())["next_seed"])
    seeds = itertools.count(first) if options.count is None else range(first, first + options.count)
    return run(seeds, judge_one_small if options.small else judge_large, options.state)


if __name__ == "__main__":
    sys.exit(main())
