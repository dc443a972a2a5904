"""The picture of a placement shows the scan in the colour of its distance, and is written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image

from clearance.errors import InputError
from clearance.frames import rigid
from clearance.outputs.placement_picture import INKS, STEPS_MM, write_placement_picture
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh

BOX = trimesh.creation.box((120, 80, 40))
PART = Mesh(np.asarray(BOX.vertices, np.float64), np.asarray(BOX.faces, np.int64))


def _placed(converged: bool = True) -> Registration:
    return Registration(
        method="given",
        T_bay_part=rigid("bay", "part", np.eye(3), (500.0, 0.0, 100.0)),
        converged=converged,
        covariance=np.zeros((6, 6)),
        centre=np.array([500.0, 0.0, 100.0]),
    )


def _top(height: float) -> np.ndarray:
    """Points over the top of the box (at z = 120 in the bay), `height` above it."""
    x, y = np.meshgrid(np.arange(-55, 56, 1.0), np.arange(-35, 36, 1.0))
    return np.column_stack([500 + x.ravel(), y.ravel(), np.full(x.size, 120 + height)])


@pytest.mark.parametrize("step", range(len(STEPS_MM)))
def test_points_get_the_colour_of_their_distance(tmp_path: Path, step: int):
    low = 0.0 if step == 0 else STEPS_MM[step - 1]
    path = tmp_path / "placement.png"
    write_placement_picture(_placed(), PART, _top((low + STEPS_MM[step]) / 2), path)
    pixels = np.asarray(Image.open(path))[60:].reshape(-1, 3).astype(int)
    counts = [int((np.abs(pixels - ink).max(axis=1) < 12).sum()) for ink in INKS]
    assert counts[step] > 1000
    assert sum(counts) - counts[step] < 0.05 * counts[step]


def test_a_scan_that_shows_nothing_here_still_gives_a_picture(tmp_path: Path):
    path = tmp_path / "placement.png"
    write_placement_picture(_placed(False), PART, np.full((5, 3), 1e4), path)
    assert Image.open(path).size[0] > 1000


def test_an_unwritable_place_is_told_and_leaves_nothing(tmp_path: Path):
    with pytest.raises(InputError, match=r"cannot be written"):
        write_placement_picture(_placed(), PART, _top(0), tmp_path / "no such folder" / "x.png")
    assert not list(tmp_path.iterdir())
