"""Kill `clearance check` at random moments: what is left must be the old report or the new one, whole.

    python scripts/kill_runs.py [--count 50] [--seed 1]

A small seeded job is checked once to know how long it takes; then it is started over an earlier
report and killed (SIGKILL) at a random moment of that time, more often while it writes. After each kill every
file of the report must have the hash that its certificate lists.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

WRITING = "writing the report"


@dataclass(frozen=True)
class Left:
    """What a killed run left behind: what is wrong with it, whether it ended before the kill, whether it replaced."""

    faults: tuple[str, ...]
    ended: bool
    replaced: bool


def start(job: Path, out: Path) -> subprocess.Popen[str]:
    """Start a check of its own process."""
    command = [sys.executable, "-m", "clearance", "check", str(job), "-o", str(out)]
    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=env)


def faults_of(out: Path) -> list[str]:
    """Return what is wrong with a report folder by the hashes that its certificate lists."""
    try:
        listed = json.loads((out / "certificate.json").read_text())["files"]
        json.loads((out / "report.json").read_text())
    except (OSError, ValueError, KeyError) as fault:
        return [f"no whole report: {fault}"]
    found = []
    for name, wanted in listed.items():
        path = out / name
        if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != wanted:
            found.append(f"{name} is not the file that the certificate lists")
    return found


def killed(job: Path, out: Path, *, after_s: float, while_writing: bool) -> Left:
    """Run over an earlier report and kill after a while, counted from the start or from when it begins to write."""
    before = (out / "report.json").read_bytes()
    child = start(job, out)
    assert child.stderr is not None
    if while_writing:
        for line in child.stderr:
            if WRITING in line:
                break
    time.sleep(after_s)
    ended = child.poll() is not None
    child.kill()
    child.communicate()
    faults = faults_of(out)
    beside = [path.name for path in out.parent.iterdir() if path.is_dir() and path != out]
    faults += [f"{name} beside the report looks finished" for name in beside if not name.startswith(f".{out.name}.")]
    replaced = not faults and (out / "report.json").read_bytes() != before
    return Left(tuple(faults), ended, replaced)


def make_job(folder: Path) -> Path:
    """Write a bar between a scanned wall and floor."""
    import numpy as np
    import trimesh

    rng = np.random.default_rng(7)
    u, v = (a.ravel() for a in np.meshgrid(np.arange(-140, 140.1, 2.0), np.arange(-40, 60.1, 2.0)))
    wall = np.column_stack([u, 45 + rng.normal(0, 0.05, u.size), v])
    trimesh.creation.box((200, 40, 40)).export(folder / "bar.stl")
    trimesh.PointCloud(wall).export(folder / "bay.ply")
    (folder / "job.toml").write_text(
        '[part]\nfile = "bar.stl"\nunit = "mm"\ntolerance = 0.1\n'
        '[bay]\nfiles = ["bay.ply"]\nunit = "mm"\naccuracy = 0.05\n'
        '[register]\nmethod = "given"\nshift = [0, 0, 0]\n'
        '[[zone]]\nname = "wall"\nkind = "chassis"\nwhere = { rest = true }\ngap = 5\n'
        "[rock]\naxis = { point = [0, 0, -100], direction = [1, 0, 0] }\nroll = [-1, 1]\n"
    )
    return folder / "job.toml"


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description="Kill checks at random moments.")
    parser.add_argument("--count", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    chance = random.Random(options.seed)
    bad = ended = replaced = 0
    with tempfile.TemporaryDirectory() as name:
        job, out = make_job(Path(name)), Path(name) / "report"
        began = time.monotonic()
        start(job, out).communicate()
        whole_s = time.monotonic() - began
        for number in range(options.count):
            writing = number % 2 == 0
            after = chance.uniform(0, whole_s * (0.4 if writing else 1.0))
            left = killed(job, out, after_s=after, while_writing=writing)
            bad, ended, replaced = bad + bool(left.faults), ended + left.ended, replaced + left.replaced
            state = "ended" if left.ended else "killed"
            when = f"{state} after {after:.2f} s{' of writing' if writing else ''}"
            print(f"run {number}: {when}, {'bad' if left.faults else 'whole'}", flush=True)
            for fault in left.faults:
                print(f"run {number}, {after:.2f} s: {fault}", flush=True)
    print(f"{options.count} runs of {whole_s:.1f} s: {ended} had ended, {replaced} had replaced the report, {bad} bad")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
