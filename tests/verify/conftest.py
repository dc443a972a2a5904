"""A small report, made once: a bar on the engine between a scanned wall, a scanned floor and a solid post."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from report_kinds import write_kind

from clearance.outputs.certificate import content_sha256
from clearance.outputs.write import write_results
from clearance.pipeline import check
from clearance.provenance import sha256_of

JOB = """\
title = "bar between wall, floor and post"
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.05
ends = [{ box = { min = [-200, -200, -200], max = [200, 200, 200] } }]
[register]
method = "landmarks"
pair = [
  { name = "a", part = [-60, -20, -20], bay = [-60, -20, -20] },
  { name = "b", part = [60, -20, -20], bay = [60, -20, -20] },
  { name = "c", part = [60, 20, -20], bay = [60, 20, -20] },
  { name = "d", part = [-60, 20, 20], bay = [-60, 20, 20.1] },
]
[[zone]]
name = "wall"
kind = "chassis"
where = { box = { min = [-200, 30, -200], max = [200, 60, 200] } }
gap = 5
[[zone]]
name = "floor"
kind = "line"
where = { rest = true }
gap = 8
[[zone]]
name = "post"
kind = "chassis"
where = { box = { min = [-10, -70, 0], max = [10, -50, 90] }, solid = true }
gap = 6
[rock]
axis = { point = [0, 0, -100], direction = [1, 0, 0] }
roll = [-1, 1]
lift = [-1, 2]
shift = [-1, 1]
"""


def _sheets() -> np.ndarray:
    """Wall at y = 45 and floor at z = -45, noise of 0.05 mm across, seeded."""
    rng = np.random.default_rng(7)
    u, v = (x.ravel() for x in np.meshgrid(np.arange(-60, 60.1, 4.0), np.arange(-30, 30.1, 4.0)))
    wall = np.column_stack([u, 45 + rng.normal(0, 0.05, u.size), v])
    floor = np.column_stack([u, v - 10, -45 + rng.normal(0, 0.05, u.size)])
    return np.vstack([wall, floor])


@dataclass(frozen=True)
class Folder:
    """Inputs and, in `report`, the report made of them."""

    root: Path

    @property
    def report(self) -> Path:
        return self.root / "report"

    def edit(self, name: str, change: Callable[[dict[str, Any]], None]) -> None:
        path = self.report / name
        tree = json.loads(path.read_text())
        change(tree)
        path.write_text(json.dumps(tree))

    def edit_text(self, name: str, old: str, new: str) -> None:
        text = (self.report / name).read_text()
        assert old in text
        (self.report / name).write_text(text.replace(old, new))

    def rehash(self) -> None:
        """Make every hash right again, as one would who knows how the report is made."""
        inputs = {path.name: sha256_of(path) for path in self.root.iterdir() if path.is_file()}
        self.edit("report.json", lambda t: [x.update(sha256=inputs[Path(x["file"]).name]) for x in t["inputs"]])
        tree = json.loads((self.report / "report.json").read_text())

        def change(certificate: dict[str, Any]) -> None:
            certificate["report_sha256"] = content_sha256(tree)
            certificate["files"] = {name: sha256_of(self.report / name) for name in certificate["files"]}

        self.edit("certificate.json", change)


def make(root: Path, job: str = JOB) -> Folder:
    trimesh.creation.box((120, 40, 40)).export(root / "bar.stl")
    trimesh.PointCloud(_sheets()).export(root / "bay.ply")
    (root / "job.toml").write_text(job)
    write_results(check(root / "job.toml"), root / "report")
    return Folder(root)


@pytest.fixture
def build(tmp_path: Path) -> Callable[..., Folder]:
    """Make a report of the same scene with one line of its job replaced."""
    return lambda old="", new="": make(tmp_path, JOB.replace(old, new) if old else JOB)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    """The report nobody touches."""
    return make(tmp_path_factory.mktemp("made"))


@pytest.fixture
def folder(made: Folder, tmp_path: Path) -> Folder:
    """A copy to tamper with."""
    shutil.copytree(made.root, tmp_path / "copy")
    return Folder(tmp_path / "copy")


def make_kind(kind: str, root: Path) -> Folder:
    """Make a report of one of the jobs in `report_kinds`."""
    write_results(check(write_kind(kind, root)), root / "report")
    return Folder(root)


@pytest.fixture(scope="session")
def kinds(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Folder]:
    """Reports nobody touches, by kind, each made when it is first asked for."""
    return cache(lambda kind: make_kind(kind, tmp_path_factory.mktemp("kind")))


@pytest.fixture
def copy_of(kinds: Callable[[str], Folder], tmp_path: Path) -> Callable[[str], Folder]:
    """Copies of them to tamper with."""

    def copied(kind: str) -> Folder:
        shutil.copytree(kinds(kind).root, tmp_path / "copy")
        return Folder(tmp_path / "copy")

    return copied


@pytest.fixture
def make_of(tmp_path: Path) -> Callable[[str], Folder]:
    """Make a report of one of the kinds anew."""
    return lambda kind: make_kind(kind, tmp_path)
