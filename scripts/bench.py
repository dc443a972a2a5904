"""Time the program beside the plain scripts a user would write with the same libraries, on seeded scenes.

    python scripts/bench.py [--only sweep|plain|mesh|check|page|room|start] [--sizes 500000 5000000]
                            [--form ply|laz] [--folder DIR] [--loops WORD...] [--poses N] [--side N]

Every row is measured in this run; ratios hold within a run. CPU times are given beside wall times, since
other work on the machine stretches only the latter. Plain loops are timed over `--poses` of the 81
poses and scaled up, which the row says. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

import numpy as np  # noqa: E402
from bench_scene.files import SEED, write_scene  # noqa: E402
from bench_scene.loops import LOOPS, Loop  # noqa: E402
from bench_scene.pages import page_rows  # noqa: E402
from bench_scene.room import room_rows  # noqa: E402
from bench_scene.shapes import Array, bay, part  # noqa: E402
from bench_scene.sweeps import MOTIONS, mesh_of, points_near, swept  # noqa: E402

POSES = 81
Row = tuple[str, str, str, str, str]


def timed(work: Callable[[], object]) -> tuple[object, float, float]:
    """Return the result, wall and CPU seconds."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = work()
    return result, time.perf_counter() - wall, time.process_time() - cpu


def peak_mb() -> float:
    """Return the peak memory of this process, MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def sweep_rows(count: int) -> tuple[list[Row], float, float]:
    """Sweep a bay of `count` points; also the CPU time and upper bound of roll alone, for the plain loops."""
    body, scan = mesh_of(part()), points_near(count)
    swept(mesh_of(part(2000)), scan[:1000], MOTIONS["roll"])  # loads the libraries
    rows, roll_s, upper = [], 0.0, 0.0
    for name, motion in MOTIONS.items():
        found, wall, cpu = timed(lambda m=motion: swept(body, scan, m))
        bound = found.clearance
        said = f"[{bound.lower:.4f}, {bound.upper:.4f}] mm, {found.evaluations} queries"
        rows.append((f"sweep, {name}, {count} points", f"{wall:.2f}", f"{cpu:.2f}", "", said))
        if name == "roll":
            roll_s, upper = wall, bound.upper
    return rows, roll_s, upper


def plain_rows(count: int, loops: list[str], poses: int, roll_s: float, bound_mm: float) -> Iterator[Row]:
    """Run plain loops over roll alone on the points within 60 mm of the part's box, the first on the whole bay too."""
    body, scan = mesh_of(part()), points_near(count, crop_mm=60.0)
    chosen = np.radians(np.linspace(-4, 4, POSES))[np.linspace(0, POSES - 1, poses).round().astype(int)]
    for loop in LOOPS:
        if any(word in loop.name for word in loops):
            yield _loop_row(loop, body, scan, chosen, roll_s, bound_mm)
            if loop is LOOPS[0]:
                yield _loop_row(loop, body, points_near(count), chosen[-1:], roll_s, bound_mm)


def _loop_row(loop: Loop, body: object, scan: Array, poses: Array, roll_s: float, bound_mm: float) -> Row:
    name = f"{loop.name}, {POSES} poses, {len(scan)} points"
    try:
        least, build, each, cpu = loop.run(body, scan, poses, bound_mm)
    except ImportError as fault:
        return name, "", "", "", f"not installed: {fault.name}"
    whole = build + each * POSES
    said = f"least {least:.4f} mm" if least is not None else ""
    return (
        name,
        f"{whole:.1f}",
        f"{cpu * POSES:.1f}",
        f"{whole / roll_s:.0f}",
        f"{said}; scaled from {len(poses)} poses",
    )


def mesh_rows() -> list[Row]:
    """Sweep a bay of a million triangles."""
    body, surroundings = mesh_of(part()), mesh_of(bay(1_000_000))
    rows = []
    for name, motion in MOTIONS.items():
        found, wall, cpu = timed(lambda m=motion: swept(body, surroundings, m))
        said = f"[{found.clearance.lower:.4f}, {found.clearance.upper:.4f}] mm, {found.evaluations} queries"
        rows.append((f"sweep, {name}, mesh of {len(surroundings.faces)}", f"{wall:.2f}", f"{cpu:.2f}", "", said))
    return rows


def child_row(name: str, command: list[str]) -> Row:
    """Run a command of its own and tell its time and peak memory."""
    wall = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=_env())
    _, status, used = os.wait4(child.pid, 0)
    seconds = time.perf_counter() - wall
    said = f"peak {used.ru_maxrss / 1024:.0f} MB, exit {os.waitstatus_to_exitcode(status)}"
    return name, f"{seconds:.1f}", f"{used.ru_utime + used.ru_stime:.1f}", "", said


def _env() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(ROOT)}


def check_row(folder: Path, count: int, form: str, command: str) -> Row:
    """Run `check` or `place` from files to the end."""
    job = write_scene(folder, count, form=form)
    words = [sys.executable, "-m", "clearance", command, str(job), "-q", "-o"]
    out = folder / (f"report_{count}_{form}" if command == "check" else f"placed_{count}_{form}.png")
    size = (folder / f"bay_{count}.{form}").stat().st_size / 1e6
    return child_row(f"{command}, {count} points, {form.upper()} {size:.0f} MB", [*words, str(out)])


def main() -> None:
    """Read the command line, run, print the table."""
    parser = argparse.ArgumentParser(description="Time the program beside plain scripts.")
    parser.add_argument("--only", nargs="*", default=["start", "sweep", "plain", "mesh", "page", "check", "room"])
    parser.add_argument("--sizes", nargs="*", type=int, default=[500_000, 5_000_000])
    parser.add_argument("--form", nargs="*", default=["ply"], choices=["ply", "laz"])
    parser.add_argument("--command", default="check", choices=["check", "place"])
    parser.add_argument("--folder", type=Path, default=ROOT / ".cache" / "bench")
    parser.add_argument("--loops", nargs="*", default=[""], help="words in the names of plain loops to run")
    parser.add_argument("--poses", type=int, default=4)
    parser.add_argument("--side", type=int, default=64, help="moves along each of the three shifts of room's study")
    options = parser.parse_args()
    before = os.getloadavg()
    print("| what | s | CPU s | times the sweep | |\n|---|---|---|---|---|")
    for row in _rows(options):
        print("| " + " | ".join(row) + " |", flush=True)
    _print_machine(before)


def _rows(options: argparse.Namespace) -> Iterator[Row]:
    """Yield the rows asked for as they are measured."""
    if "start" in options.only:
        yield child_row("clearance --help", [sys.executable, "-m", "clearance", "--help"])
    for count in options.sizes:
        if {"sweep", "plain"} & set(options.only):
            found, roll_s, upper = sweep_rows(count)
            yield from found
            if "plain" in options.only:
                yield from plain_rows(count, options.loops, options.poses, roll_s, upper)
        if "check" in options.only:
            yield from (check_row(options.folder, count, form, options.command) for form in options.form)
    if "mesh" in options.only:
        yield from mesh_rows()
    if "page" in options.only:
        yield from page_rows()
    if "room" in options.only:
        yield from room_rows(options.side)


def _print_machine(before: tuple[float, ...]) -> None:
    versions = ", ".join(f"{name} {metadata.version(name)}" for name in ("numpy", "scipy", "libigl", "python-fcl"))
    load = f"load {before[0]:.1f} before, {os.getloadavg()[0]:.1f} after, {os.cpu_count()} processors"
    print(f"\nSeed {SEED}; Python {platform.python_version()}, {versions}; {platform.machine()}, {load}.")
    print(f"Peak of the benchmark itself {peak_mb():.0f} MB.")


if __name__ == "__main__":
    main()
