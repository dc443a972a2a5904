"""Killed, out of disk, out of memory, input changed under way: the old report stays whole and the message says why."""

from __future__ import annotations

import json
import os
import re
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from clearance.outputs import folder as whole
from clearance.scene import scan_readers

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "scripts"))

from kill_runs import faults_of, killed, make_job  # noqa: E402


def _command(job: Path, out: Path, limit: Callable[[], None], **env: str) -> subprocess.CompletedProcess[str]:
    """Run a check in a child, under limits of the operating system."""
    return subprocess.run(
        [sys.executable, "-m", "clearance", "check", str(job), "-o", str(out), "-q"],
        capture_output=True, text=True, timeout=120, preexec_fn=limit, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT)} | env,
    )  # fmt: skip


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A job and its finished report."""
    folder = tmp_path_factory.mktemp("faults")
    job, out = make_job(folder), folder / "report"
    assert _command(job, out, lambda: None).returncode == 0
    return job, out


def _untouched(out: Path, before: bytes) -> None:
    assert faults_of(out) == []
    assert (out / "report.json").read_bytes() == before
    assert [path.name for path in out.parent.iterdir() if path.is_dir()] == [out.name]


@pytest.mark.parametrize(("after_s", "writing"), [(0.7, False), (0.02, True), (0.2, True)])
def test_killed(reported: tuple[Path, Path], after_s: float, writing: bool) -> None:
    """Old or new, whole, at any moment; `scripts/kill_runs.py` does this fifty times at random."""
    assert killed(*reported, after_s=after_s, while_writing=writing).faults == ()


def test_no_room_for_a_file(reported: tuple[Path, Path], tmp_path: Path) -> None:
    job, _ = reported
    out = tmp_path / "report"
    assert _command(job, out, lambda: None).returncode == 0
    before = (out / "report.json").read_bytes()
    ended = _command(job, out, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000)))
    assert ended.returncode == 2
    assert re.search(r"report.*cannot be written.*too large.*nothing was written", ended.stderr)
    _untouched(out, before)


def test_out_of_memory(reported: tuple[Path, Path], tmp_path: Path) -> None:
    """A scan of 60 million points with room for a fraction of one block: one line, no report, not a verdict's code."""
    job, _ = reported
    for name in ("bar.stl", "job.toml"):
        (tmp_path / name).write_bytes((job.parent / name).read_bytes())
    with (tmp_path / "bay.ply").open("wb") as scan:
        head = "ply\nformat binary_little_endian 1.0\nelement vertex 60000000\n"
        scan.write((head + "".join(f"property double {axis}\n" for axis in "xyz") + "end_header\n").encode())
        scan.truncate(scan.tell() + 60_000_000 * 24)
    most = 1_100_000_000
    ended = _command(
        tmp_path / "job.toml", tmp_path / "report", lambda: resource.setrlimit(resource.RLIMIT_AS, (most, most)),
        OPENBLAS_NUM_THREADS="1",
    )  # fmt: skip
    assert ended.returncode == 2
    assert "memory" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert not (tmp_path / "report").exists()


def test_scan_that_changes_while_it_is_read(scene, run, monkeypatch: pytest.MonkeyPatch) -> None:
    reader, path = scan_readers.READERS["ply"], scene.folder / "bay.ply"

    def growing(file: Path) -> Iterator[np.ndarray]:
        yield from reader(file)
        with path.open("ab") as stream:
            stream.write(b"more")

    monkeypatch.setitem(scan_readers.READERS, "ply", growing)
    ended = run("check", scene.job, "-o", scene.folder / "report")
    assert ended.code == 2
    assert re.search(r"bay\.files.*bay\.ply changed while it was read", ended.err)
    assert not (scene.folder / "report").exists()


def test_where_folders_cannot_be_swapped_in_one_step(reported, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(whole, "exchange", lambda one, other: False)
    old, new = tmp_path / "report", tmp_path / ".report.unfinished"
    for folder, text in ((old, "old"), (new, "new")):
        folder.mkdir()
        (folder / "report.json").write_text(json.dumps(text))
    whole._swap(new, old)
    assert json.loads((old / "report.json").read_text()) == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["report"]
