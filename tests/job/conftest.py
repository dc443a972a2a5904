"""A job that uses every table, on disk with the files it names; and ways to spoil it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from clearance.errors import InputError
from clearance.job.read import read_job
from clearance.job.schema import Job

FULL = """\
title = "Log manifold"
[part]
file = "part.stl"
unit = "mm"
rides = "engine"
material = "316L"
tolerance = 0.3
[bay]
files = ["bay one.ply", "sub/bay2.ply"]
unit = "m"
noise = "auto"
accuracy = 0.1
[register]
method = "landmarks"
pair = [
  { name = "stud 1", part = [0, 0, 0], bay = [100, 0, 0] },
  { name = "stud 2", part = [50, 0, 0], bay = [150, 0, 0] },
  { name = "stud 3", part = [0, 50, 0], bay = [100, 50, 0] },
]
refine = true
[[zone]]
name = "frame rail"
kind = "chassis"
where = { box = { min = [0, 0, 0], max = [10, 20, 30] } }
gap = 20
[[zone]]
name = "left shaft"
kind = "axle"
where = { cylinder = { from = [0, 0, 0], to = [0, 300, 0], diameter = 40 }, solid = true }
gap = 15.0
gap_shielded = 12.0
shielded = false
[[zone]]
name = "tank"
kind = "chassis"
where = { file = "tank.stl", unit = "in" }
gap = 30
[[zone]]
name = "all else"
kind = "line"
rides = "engine"
where = { rest = true }
gap = 8
[rock]
axis = { point = [0, 0, 250], direction = [0, 1, 0] }
roll = [-3.0, 4.0]
up = [0, 0, 1]
forward = [1, 0, 0]
lift = [-2.0, 6.0]
shift = [-1.0, 2.0]
[decision]
confidence = 0.9
"""


@dataclass(frozen=True)
class OnDisk:
    """A folder with job.toml and the files it names."""

    folder: Path

    @property
    def job(self) -> Path:
        return self.folder / "job.toml"

    def edit(self, *swaps: tuple[str, str]) -> None:
        """Swap pieces of the job's text; each must be there once."""
        text = self.job.read_text()
        for old, new in swaps:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        self.job.write_text(text)

    def read(self) -> Job:
        return read_job(self.job)

    def refusal(self) -> str:
        """Return the line with which the job is refused."""
        with pytest.raises(InputError) as refused:
            self.read()
        return str(refused.value)


@pytest.fixture
def disk(tmp_path: Path) -> OnDisk:
    (tmp_path / "sub").mkdir()
    for name in ("part.stl", "bay one.ply", "sub/bay2.ply", "tank.stl"):
        (tmp_path / name).write_bytes(b"not looked into")
    (tmp_path / "job.toml").write_text(FULL)
    return OnDisk(tmp_path)


@pytest.fixture(scope="session")
def full_text() -> str:
    return FULL
