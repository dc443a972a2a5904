"""Write a job of a small cube and solid zones, and take its keep-out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import trimesh
from solid_jobs import HEAD

from clearance.keepout.keepout import KeepOut, keep_out

Taken = Callable[..., KeepOut]


@pytest.fixture
def job(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes a job from the text of its tables and the part's place."""

    def write(tables: str, place: str = "shift = [0, 0, 0]") -> Path:
        trimesh.creation.box([10, 10, 10]).export(tmp_path / "part.stl")
        (tmp_path / "job.toml").write_text(f"{HEAD}{place}\n{tables}")
        return tmp_path / "job.toml"

    return write


@pytest.fixture
def taken(job: Callable[..., Path]) -> Taken:
    """Return a function from a job's tables to its keep-out."""

    def take(tables: str, region: tuple[float, ...], resolution: float = 2.0, **more) -> KeepOut:
        place = more.pop("place", "shift = [0, 0, 0]")
        return keep_out(job(tables, place), resolution_mm=resolution, region=region, **more)

    return take
