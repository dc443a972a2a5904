"""Laid flat: what is developable comes out as its closed form, what is not keeps the stretch that Gauss leaves it."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import cap_mesh, mesh_of, sheet_mesh

from clearance.scene.mesh import Mesh
from clearance.shield.unroll import laid_flat, signed_areas, stretches

RADIUS, LENGTH = 30.0, 80.0


def _pipe(turn: float, steps: int = 60) -> Mesh:
    return sheet_mesh(
        lambda u, v: np.column_stack([RADIUS * np.cos(u), RADIUS * np.sin(u), v]),
        np.linspace(0, turn, steps + 1),
        np.linspace(0, LENGTH, 30),
    )


def _closed_pipe() -> Mesh:
    mesh = _pipe(2 * np.pi)
    first_column = 30 * 60
    return Mesh(mesh.vertices, np.where(mesh.faces >= first_column, mesh.faces - first_column, mesh.faces))


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8])
def test_part_of_a_pipe_is_a_rectangle(share: float):
    flat = laid_flat(_pipe(2 * np.pi * share))
    # 60 chords instead of the arc are 2e-4 short at most.
    assert np.sort(np.ptp(flat.places, axis=0)) == pytest.approx(
        sorted([2 * np.pi * RADIUS * share, LENGTH]), rel=0.002
    )
    assert flat.worst_distortion < 0.002
    assert not flat.folded


def test_a_whole_pipe_is_cut_open_along_its_length():
    flat = laid_flat(_closed_pipe())
    assert np.ptp(flat.places, axis=0) == pytest.approx([2 * np.pi * RADIUS, LENGTH], rel=0.002)
    assert signed_areas(flat.places, flat.mesh.faces).sum() == pytest.approx(2 * np.pi * RADIUS * LENGTH, rel=0.002)


def test_part_of_a_cone_is_a_sector():
    # Slant s: the sector's angle is 2 pi sin(half angle) for a full turn; here a third of one.
    half = np.radians(25)
    cone = sheet_mesh(
        lambda u, s: np.column_stack([s * np.sin(half) * np.cos(u), s * np.sin(half) * np.sin(u), -s * np.cos(half)]),
        np.linspace(0, 2 * np.pi / 3, 50), np.linspace(60, 140, 30),
    )  # fmt: skip
    flat = laid_flat(cone)
    angle = 2 * np.pi / 3 * np.sin(half)
    corners = flat.places[[0, 29, 30 * 49, 30 * 50 - 1]]
    assert np.linalg.norm(corners[1] - corners[3]) == pytest.approx(2 * 140 * np.sin(angle / 2), rel=0.003)
    assert np.linalg.norm(corners[0] - corners[2]) == pytest.approx(2 * 60 * np.sin(angle / 2), rel=0.003)
    assert flat.worst_distortion < 0.003


@pytest.mark.parametrize("angle", [0.3, 0.6, 1.0, 1.4])
def test_a_cap_keeps_at_least_milnors_ratio_of_scales(angle: float):
    # Milnor 1969: of all maps of a cap of angular radius a, the azimuthal equidistant one has the least ratio of
    # largest to smallest scale, a / sin(a). A minimum of energy is not that map, but not far from it.
    flat = laid_flat(cap_mesh(40.0, angle))
    ratio, least = flat.stretch.max() / flat.stretch.min(), angle / np.sin(angle)
    # Facets leave out the last half ring of 16 rings: 3 % of a quadratic growth, 6 %.
    assert ratio - 1 >= 0.94 * (least - 1)
    assert ratio - 1 <= 1.5 * (least - 1)
    assert flat.distortion >= (np.sqrt(0.94 * (least - 1) + 1) - 1) * 0.9
    assert not flat.folded


def test_seen_from_outside_it_is_not_mirrored():
    # A half pipe with its outer side to the viewer: the vertex order of every triangle stays counter-clockwise.
    flat = laid_flat(_pipe(np.pi))
    a, b, c = flat.mesh.triangles.swapaxes(0, 1)
    outward = np.cross(b - a, c - a)
    assert (np.einsum("ij,ij->i", outward[:, :2], (a + b + c)[:, :2]) > 0).all()
    assert (signed_areas(flat.places, flat.mesh.faces) > 0).all()


def test_stretches_of_a_known_map():
    flat = sheet_mesh(lambda u, v: np.column_stack([u, v, 0 * u]), np.arange(0, 5.0), np.arange(0, 4.0))
    places = flat.vertices[:, :2] @ np.array([[1.1, 0.0], [0.0, 0.8]])
    assert stretches(flat, places) == pytest.approx(np.tile([0.8, 1.1], (len(flat.faces), 1)))


@pytest.mark.parametrize(
    "shape", [trimesh.creation.icosphere(subdivisions=2), trimesh.creation.torus(30.0, 10.0)], ids=["ball", "torus"]
)
def test_what_has_no_rim_is_refused(shape):
    with pytest.raises(ValueError, match="needs a rim"):
        laid_flat(mesh_of(shape))
