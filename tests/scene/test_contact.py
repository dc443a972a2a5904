"""Only what a face is meant to touch is left out: a flange of closed form seated on points and on meshes."""

from __future__ import annotations

from dataclasses import replace

import igl
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation
from scipy.stats import norm

from clearance.frames import rigid
from clearance.job.schema import Job
from clearance.scene.contact import PlacedFace, contact_slack_mm, placed_faces, without_contact
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone

SLACK = 0.5
FLANGE_RADIUS, FACE_RADIUS = 30.0, 40.0


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


def _flange(*more: trimesh.Trimesh) -> Mesh:
    """A round flange, 10 mm thick, whose face is z = 0 and looks down."""
    disc = trimesh.creation.cylinder(FLANGE_RADIUS, 10, sections=256)
    disc.apply_translation((0, 0, 5))
    return _mesh(trimesh.util.concatenate([disc, *more]))


def _dowel() -> trimesh.Trimesh:
    pin = trimesh.creation.cylinder(4, 20, sections=64)
    pin.apply_translation((15, 0, 0))
    return pin


def _face(part: Mesh, radius: float = FACE_RADIUS) -> PlacedFace:
    return PlacedFace(name="flange", point=np.zeros(3), normal=np.array([0.0, 0, -1]), radius_mm=radius, part=part)


def _points(points, **more) -> Zone:
    spacing = np.arange(len(points), dtype=np.float32)
    return Zone(
        name="head", table="head", kind="chassis", rides="engine", gap_mm=5.0,
        points=points, spacing_mm=spacing, **{"stray_points": np.zeros((0, 3)), **more},
    )  # fmt: skip


def _solid(mesh: Mesh, closed: bool = True) -> Zone:
    return Zone(
        name="head", table="head", kind="chassis", rides="engine", gap_mm=5.0,
        stray_points=np.zeros((0, 3)), mesh=mesh, shown=mesh, closed=closed,
    )  # fmt: skip


def _plane(rng, noise=0.1, count=20_000):
    xy = rng.uniform(-80, 80, (count, 2))
    return np.column_stack([xy, np.clip(rng.normal(0, noise, count), -0.45, 0.45)])


def _nearest(part: Mesh, points) -> float:
    return float(np.sqrt(igl.point_mesh_squared_distance(points, part.vertices, part.faces)[0].min()))


def test_the_plane_within_the_disc_goes_and_the_plane_beyond_it_counts():
    points = _plane(np.random.default_rng(1))
    zone, lost = without_contact(_points(points), [_face(_flange())], SLACK)
    in_disc = np.hypot(points[:, 0], points[:, 1]) <= FACE_RADIUS
    assert lost.points == in_disc.sum()
    assert (zone.points == points[~in_disc]).all()
    assert (zone.spacing_mm == np.flatnonzero(~in_disc)).all(), "spacings stay with their points"
    # Beyond the disc the plane is 10 mm from the flange's rim.
    assert _nearest(_flange(), zone.points) == pytest.approx(FACE_RADIUS - FLANGE_RADIUS, abs=0.2)


def test_a_flange_wider_than_its_face_still_touches_beyond_it():
    zone, _ = without_contact(_points(_plane(np.random.default_rng(1))), [_face(_flange(), 20.0)], SLACK)
    assert _nearest(_flange(), zone.points) < 0.45


def test_what_stands_off_the_plane_within_the_disc_counts():
    rng = np.random.default_rng(2)
    head = np.column_stack([rng.uniform([27, -6], [39, 6], (300, 2)), rng.uniform(0.6, 6, 300)])
    port = np.column_stack([rng.uniform(-6, 6, (200, 2)), rng.uniform(-30, -0.6, 200)])
    zone, lost = without_contact(_points(np.vstack([_plane(rng), head, port])), [_face(_flange())], SLACK)
    kept = {tuple(p) for p in zone.points}
    assert all(tuple(p) in kept for p in np.vstack([head, port]))
    assert lost.proud == (np.hypot(head[:, 0], head[:, 1]) <= FACE_RADIUS).sum() > 200
    assert lost.behind == 200


@pytest.mark.parametrize("height", [-SLACK - 1e-9, -SLACK + 1e-9, SLACK - 1e-9, SLACK + 1e-9])
def test_the_slack_is_the_limit_on_both_sides(height: float):
    zone, lost = without_contact(_points(np.array([[3.0, 4, height], [70, 0, 0]])), [_face(_flange())], SLACK)
    assert lost.points == (abs(height) < SLACK)
    assert len(zone.points) == 2 - lost.points


def test_nothing_of_the_scan_on_the_face_is_told_as_nothing():
    points = np.array([[0.0, 0, 9], [50, 0, 0]])
    zone, lost = without_contact(_points(points), [_face(_flange())], SLACK)
    assert (lost.points, lost.area_mm2) == (0, 0.0)
    assert (zone.points == points).all()


def test_where_the_part_goes_through_the_plane_the_plane_counts():
    points = _plane(np.random.default_rng(3))
    zone, lost = without_contact(_points(points), [_face(_flange(_dowel()))], SLACK)
    pierced = np.hypot(points[:, 0] - 15, points[:, 1]) < 4 * np.cos(np.pi / 64)
    assert lost.kept == pytest.approx(pierced.sum(), abs=3), "64 flats instead of a circle"
    assert (np.hypot(zone.points[:, 0] - 15, zone.points[:, 1]) < 3.9).sum() > 30


def test_strays_are_treated_alike():
    on, off = np.array([[1.0, 2, 0.1]]), np.array([[1.0, 2, 4]])
    both = np.vstack([on, off])
    zone, lost = without_contact(_points(both, stray_points=both), [_face(_flange())], SLACK)
    assert (lost.points, lost.proud) == (2, 2)
    assert (zone.points == off).all()
    assert (zone.stray_points == off).all()


def test_a_turned_bay_makes_no_difference():
    rng = np.random.default_rng(4)
    points = _plane(rng)
    pose = rigid("bay", "part", Rotation.random(rng=rng).as_matrix(), rng.normal(size=3) * 400)
    table = {
        "part": {"file": "part.stl", "unit": "mm", "tolerance": 0.1, "contact": ["flange"]},
        "register": {"method": "given", "shift": [0, 0, 0]},
        "datum": [
            {"name": "flange", "on": "part", "face": {"point": [0, 0, 0], "normal": [0, 0, -9], "radius": FACE_RADIUS}}
        ],
        "zone": [{"name": "a", "kind": "line", "gap": 1, "where": {"sphere": {"center": [0, 0, 0], "diameter": 1}}}],
    }
    part = Part(name="part.stl", mesh=_flange(), shown=_flange(), closed=True, rides="engine", tolerance_mm=0.1)
    faces = placed_faces(Job.model_validate(table), part.moved(pose), pose)
    zone, lost = without_contact(_points(pose.apply(points)), faces, SLACK)
    _, straight = without_contact(_points(points), [_face(_flange())], SLACK)
    assert lost == straight
    assert _nearest(part.moved(pose).mesh, zone.points) == pytest.approx(10, abs=0.2)


def _head() -> Mesh:
    block = trimesh.creation.box((200, 160, 60))
    block.apply_translation((0, 0, -30))
    return _mesh(block)


def test_a_solid_is_cut_along_the_disc():
    zone, lost = without_contact(_solid(_head()), [_face(_flange())], SLACK)
    assert np.pi * (FACE_RADIUS - 0.05) ** 2 <= lost.area_mm2 <= np.pi * FACE_RADIUS**2
    left = trimesh.Trimesh(zone.mesh.vertices, zone.mesh.faces, process=False)
    whole = trimesh.Trimesh(_head().vertices, _head().faces, process=False)
    assert left.area == pytest.approx(whole.area - lost.area_mm2, rel=1e-9)
    points, _ = trimesh.sample.sample_surface(left, 20_000, seed=1)
    assert _nearest(_flange(), points) == pytest.approx(10.0, abs=0.5), "20 000 samples lie about 2 mm apart"
    assert not zone.closed
    assert trimesh.Trimesh(zone.shown.vertices, zone.shown.faces).area == pytest.approx(left.area, rel=1e-9)


def test_a_boss_on_the_solid_still_counts():
    boss = trimesh.creation.box((8, 8, 5), transform=trimesh.transformations.translation_matrix((20, 0, 2.5)))
    mesh = _mesh(trimesh.util.concatenate([trimesh.Trimesh(_head().vertices, _head().faces), boss]))
    zone, _ = without_contact(_solid(mesh), [_face(_flange())], SLACK)
    left = trimesh.Trimesh(zone.mesh.vertices, zone.mesh.faces, process=False)
    points, _ = trimesh.sample.sample_surface(left, 40_000, seed=1)
    assert ((np.abs(points[:, :2] - (20, 0)) <= 4).all(axis=1) & (points[:, 2] > 1)).any()


def test_a_part_that_reaches_into_the_solid_leaves_it_whole():
    solid = _solid(_head())
    zone, lost = without_contact(solid, [_face(_flange(_dowel()))], SLACK)
    assert zone.mesh is solid.mesh
    assert zone.closed
    assert lost.area_mm2 == 0
    assert lost.kept_mesh


def test_a_part_within_the_solid_touches_its_face_from_inside():
    """The face looks the way the solid does: nothing seats there, and all of it counts."""
    upside_down = Mesh(_flange().vertices * (1, -1, -1), _flange().faces)
    face = replace(_face(upside_down), normal=np.array([0.0, 0, 1]))
    solid = _solid(_head())
    assert without_contact(solid, [face], SLACK)[0].mesh is solid.mesh


def test_a_sheet_counts_where_a_pin_goes_through_it():
    sheet = Mesh(np.array([[-90.0, -90, 0], [90, -90, 0], [90, 90, 0], [-90, 90, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    zone, lost = without_contact(_solid(sheet, closed=False), [_face(_flange(_dowel()))], SLACK)
    assert lost.kept_mesh
    corners = zone.mesh.triangles.mean(axis=1)
    pierced = np.hypot(corners[:, 0] - 15, corners[:, 1]) < 4
    assert pierced.any()
    within = np.hypot(corners[:, 0], corners[:, 1]) < FACE_RADIUS - 1
    assert (np.hypot(corners[within, 0] - 15, corners[within, 1]) < 5.5).all(), "pieces of 1 mm about the pin, no more"
    assert lost.area_mm2 == pytest.approx(np.pi * (FACE_RADIUS**2 - 4**2), rel=0.01)


def test_two_faces_add_up():
    faces = [replace(_face(_flange(), 20.0), point=np.array([x, 0.0, 0])) for x in (-40.0, 40.0)]
    _, lost = without_contact(_solid(_head()), faces, SLACK)
    assert lost.area_mm2 == pytest.approx(2 * np.pi * 20**2, rel=0.01)


@pytest.mark.parametrize(("noise", "placed", "count"), [(0.1, 0.0, 100), (0.3, 0.2, 10_000), (0.0, 0.0, 5)])
def test_slack_covers_step_noise_and_placement(noise: float, placed: float, count: int):
    slack = contact_slack_mm(noise, placed, count)
    assert slack >= 0.2 + np.hypot(3 * noise, 3 * placed) - 1e-12
    if noise and not placed:
        assert count * 2 * norm.sf((slack - 0.2) / noise) <= 0.01 * 1.001, "chance points expected outside"
