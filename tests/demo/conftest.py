"""The demo scene as shipped, and as the script that makes it knows it to be."""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scans_demo"


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    return DEMO


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    return json.loads((DEMO / "truth.json").read_text())


def _read_stl(path: Path) -> np.ndarray:
    """Corners (m, 3, 3) of a binary STL, read by its layout: 80 bytes, count, then 50 bytes a triangle."""
    raw = path.read_bytes()
    (count,) = struct.unpack_from("<I", raw, 80)
    assert len(raw) == 84 + 50 * count
    record = np.frombuffer(raw, np.dtype([("n", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")]), count, 84)
    return record["corners"].astype(np.float64)


def _read_ply(path: Path) -> np.ndarray:
    """Points (n, 3) of a binary PLY that holds x y z and nothing else."""
    head, _, body = path.read_bytes().partition(b"end_header\n")
    assert b"binary_little_endian" in head
    assert head.count(b"property float") == 3
    return np.frombuffer(body, "<f4").reshape(-1, 3).astype(np.float64)


@pytest.fixture(scope="session")
def read_stl() -> Callable[[Path], np.ndarray]:
    return _read_stl


@pytest.fixture(scope="session")
def read_ply() -> Callable[[Path], np.ndarray]:
    return _read_ply


@pytest.fixture(scope="session")
def parts_in_bay(truth: dict[str, Any]) -> dict[str, np.ndarray]:
    """Corners (m, 3, 3) of each revision in its true place, mm."""
    pose = np.array(truth["T_bay_part"])
    return {n: _read_stl(DEMO / f"{n}.stl") @ pose[:3, :3].T + pose[:3, 3] for n in ("rev_a", "rev_b")}


@pytest.fixture(scope="session")
def true_surfaces() -> dict[str, trimesh.Trimesh]:
    """The solids that were scanned, by the name of their zone."""
    pytest.importorskip("manifold3d")
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        from demo_scene.bay import surroundings
    finally:
        sys.path.remove(str(ROOT / "scripts"))
    return {s.name: trimesh.Trimesh(s.vertices, s.faces, process=False) for s in surroundings()}
