"""The same inputs give the same report, byte for byte but for the time it took, whatever the number of threads."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def _checked(job: Path, out: Path, threads: int, seed: int) -> Path:
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    env = os.environ | {name: str(threads) for name in names} | {"PYTHONHASHSEED": str(seed), "PYTHONPATH": str(ROOT)}
    cpus = {min(os.sched_getaffinity(0))} if threads == 1 else os.sched_getaffinity(0)
    command = [sys.executable, "-m", "clearance", "check", str(job), "-o", str(out), "-q"]
    ended = subprocess.run(
        command,
        env=env,
        preexec_fn=lambda: os.sched_setaffinity(0, cpus),
        timeout=120,
        capture_output=True,
        check=False,
    )
    assert ended.returncode in (0, 1, 3), ended.stderr
    return out


def _without_time(path: Path) -> object:
    """Return what a file says but for the time, and for hashes of files that tell the time."""
    if path.name == "report.json":
        return {key: value for key, value in json.loads(path.read_text()).items() if key != "timing_s"}
    if path.name == "certificate.json":
        tree = json.loads(path.read_text())
        tree["files"].pop("report.html")
        return tree
    if path.name == "report.html":
        return re.sub(r"Took [\d.]+ s", "", path.read_text())
    return path.read_bytes()


def test_same_again(scene) -> None:
    one = _checked(scene.job, scene.folder / "one", 1, 1)
    two = _checked(scene.job, scene.folder / "two", 4, 2)
    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    assert names == sorted(path.relative_to(two) for path in two.rglob("*") if path.is_file())
    assert len(names) > 10
    assert [str(name) for name in names if _without_time(one / name) != _without_time(two / name)] == []
