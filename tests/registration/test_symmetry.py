"""Self-symmetries of bodies whose symmetry is known by construction."""

from __future__ import annotations

import numpy as np
import trimesh

from clearance.registration.model import shape_model
from clearance.registration.shape_hypotheses import places_of
from clearance.registration.symmetry import self_symmetries
from clearance.scene.mesh import Mesh


def _places(shape: trimesh.Trimesh):
    model = shape_model(Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64)))
    voxel = model.diagonal_mm / 100
    return places_of(model.points, model.normals, voxel), voxel


def test_a_box_has_three_half_turns():
    places, voxel = _places(trimesh.creation.box((300, 180, 90)))
    found = self_symmetries(places, voxel)
    angles = [np.degrees(np.arccos(np.clip((np.trace(pose.rotation) - 1) / 2, -1, 1))) for pose in found]
    assert len(found) == 3
    # Places are 1 % of the diagonal apart; a turn settled on them is good to a degree.
    np.testing.assert_allclose(angles, 180, atol=1)


def test_three_unlike_pipes_have_none(elbow):
    model = shape_model(elbow)
    voxel = model.diagonal_mm / 100
    assert self_symmetries(places_of(model.points, model.normals, voxel), voxel) == ()
