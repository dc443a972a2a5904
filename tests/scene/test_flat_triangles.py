"""Slivers of zero area go and the mesh stays closed: held against trimesh, libigl and exact fractions."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh

from clearance.scene import flat_triangles
from clearance.scene.flat_triangles import take_out_flat
from clearance.scene.look import as_lines, look
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed, health
from clearance.scene.mesh_io import MeshFile, read_mesh_file


class Builder:
    """A closed mesh whose edges are cut on one side only, with a sliver in each gap."""

    def __init__(self, mesh: trimesh.Trimesh) -> None:
        self.vertices = [tuple(map(float, v)) for v in mesh.vertices]
        self.faces = [tuple(map(int, f)) for f in mesh.faces]

    def cut(self, start: int, end: int, at: float) -> int:
        """Cut the triangle that runs from start to end at a share of that edge; return the new vertex."""
        face = next(f for f in self.faces if (start, end) in zip(f, f[1:] + f[:1], strict=True))
        tip = next(v for v in face if v not in (start, end))
        a, b = np.array(self.vertices[start]), np.array(self.vertices[end])
        middle = len(self.vertices)
        self.vertices.append(tuple((a + at * (b - a)).tolist()))
        self.faces.remove(face)
        self.faces += [(start, middle, tip), (middle, end, tip), (start, end, middle)]
        return middle

    def flat(self) -> int:
        """Count the triangles of zero area, in fractions."""
        return sum(exactly_flat(*(self.vertices[v] for v in face)) for face in self.faces)

    def read(self, folder: Path) -> MeshFile:
        """Write with every digit and read back."""
        lines = ["v " + " ".join(map(repr, v)) for v in self.vertices]
        lines += ["f " + " ".join(str(k + 1) for k in f) for f in self.faces]
        (folder / "m.obj").write_text("\n".join(lines))
        return read_mesh_file(folder / "m.obj", "mm")


def exactly_flat(*corners: tuple[float, ...]) -> bool:
    a, b, c = ([Fraction(x) for x in corner] for corner in corners)
    u, v = [q - p for p, q in zip(a, b, strict=True)], [q - p for p, q in zip(a, c, strict=True)]
    return all(u[i] * v[j] == u[j] * v[i] for i, j in ((0, 1), (1, 2), (2, 0)))


def outside(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def same_surface(mesh: Mesh, was: trimesh.Trimesh, rng: np.random.Generator) -> None:
    """Watertight by trimesh, of the same volume, area and distances, normals as they were."""
    now = outside(mesh)
    assert closed(mesh)
    assert now.is_watertight
    assert now.is_winding_consistent
    assert now.volume == pytest.approx(was.volume, rel=1e-9)
    assert now.area == pytest.approx(was.area, rel=1e-9)
    low, high = was.bounds
    points = rng.uniform(low - 20, high + 20, (500, 3))
    squared = [
        igl.point_mesh_squared_distance(points, np.asarray(m.vertices), np.asarray(m.faces))[0] for m in (now, was)
    ]
    np.testing.assert_allclose(np.sqrt(squared[0]), np.sqrt(squared[1]), rtol=0, atol=1e-9)
    _, nearest, _ = igl.point_mesh_squared_distance(
        now.triangles_center, np.asarray(was.vertices), np.asarray(was.faces)
    )
    assert (np.einsum("ij,ij->i", now.face_normals, was.face_normals[nearest]) > 1 - 1e-9).all()


@pytest.fixture
def cube() -> trimesh.Trimesh:
    return trimesh.creation.box((64, 64, 64))


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def one(b: Builder, start: int, end: int) -> None:
    b.cut(start, end, 0.25)


def several_on_one_side(b: Builder, start: int, end: int) -> None:
    for _ in range(6):
        start = b.cut(start, end, 0.25)


def one_under_the_other(b: Builder, start: int, end: int) -> None:
    """A sliver's own long side is cut again and again: its neighbour across it is a sliver."""
    for k in range(6):
        b.cut(start, end, (k + 1) / 8)
        start, end = end, start


def on_both_sides(b: Builder, start: int, end: int) -> None:
    b.cut(start, end, 0.25)
    b.cut(end, start, 0.25)
    b.cut(start, end, 0.5)


def in_the_same_place(b: Builder, start: int, end: int) -> None:
    """Two slivers back to back on the same three corners."""
    b.cut(start, end, 0.5)
    b.cut(end, start, 0.5)


def at_a_corner(b: Builder, start: int, end: int) -> None:
    """Its three corners are two."""
    b.cut(start, end, 0.0)


@pytest.mark.parametrize(
    "put",
    [one, several_on_one_side, one_under_the_other, on_both_sides, in_the_same_place, at_a_corner],
)
def test_a_cube_with_slivers_is_closed(
    tmp_path: Path, cube: trimesh.Trimesh, rng: np.random.Generator, put: Callable[[Builder, int, int], None]
) -> None:
    for start, end in cube.edges.tolist():
        built = Builder(cube)
        put(built, start, end)
        file = built.read(tmp_path)
        assert (file.degenerate, file.bare) == (built.flat(), 0)
        assert file.degenerate > 0
        same_surface(file.mesh, cube, rng)
        known = set(map(tuple, built.vertices))
        assert all(tuple(v) in known for v in file.mesh.vertices.tolist())


@pytest.mark.parametrize("seed", range(25))
def test_random_edges_cut_at_random_places(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    shape = trimesh.creation.icosphere(subdivisions=1)
    was = trimesh.Trimesh(np.round(shape.vertices * 80), shape.faces, process=False)
    built = Builder(was)
    for _ in range(int(rng.integers(1, 150))):
        face = built.faces[rng.integers(len(built.faces))] if rng.random() < 0.5 else built.faces[-1]
        k = rng.integers(3)
        built.cut(face[k], face[(k + 1) % 3], rng.choice([0.25, 0.5, 0.75]))
    file = built.read(tmp_path)
    assert file.degenerate == built.flat()
    assert (file.bare, file.triangles_in_file) == (0, len(built.faces))
    same_surface(file.mesh, was, rng)


def test_thousands_on_one_edge(cube: trimesh.Trimesh, rng: np.random.Generator) -> None:
    """Two sides of an edge cut at other points, and what lies between them triangulated at random."""
    (start, end), points = cube.edges[0], np.sort(rng.choice(2**20, 4000, replace=False)) / 2**20
    a, b = cube.vertices[start], cube.vertices[end]
    vertices = np.vstack([cube.vertices, a + points[:, None] * (b - a)])
    loop = [int(start), *range(len(cube.vertices), len(vertices)), int(end)]
    left, right = [loop[0], *loop[1:-1:2], loop[-1]], [loop[0], *loop[2:-1:2], loop[-1]]
    faces = [f for f in cube.faces.tolist() if not {start, end} <= set(f)]
    for side, edge in ((left, (start, end)), (right[::-1], (end, start))):
        face = next(f for f in cube.faces.tolist() if edge in zip(f, f[1:] + f[:1], strict=True))
        tip = next(v for v in face if v not in edge)
        faces += [[p, q, tip] for p, q in pairwise(side)]
    ring = left[::-1] + right[1:-1]  # runs against both sides
    stack = [ring]
    while stack:
        part = stack.pop()
        if len(part) < 3:
            continue
        k = int(rng.integers(1, len(part) - 1))
        faces.append([part[0], part[k], part[-1]])
        stack += [part[: k + 1], part[k:]]
    mesh = Mesh(vertices, np.array(faces))
    assert outside(mesh).is_watertight
    done = take_out_flat(mesh)
    assert (done.flat, done.bare) == (len(ring) - 2, 0)
    same_surface(done.mesh, cube, rng)


def test_a_mesh_without_them_is_handed_back(cube: trimesh.Trimesh) -> None:
    mesh = Mesh(np.asarray(cube.vertices), np.asarray(cube.faces))
    assert take_out_flat(mesh).mesh is mesh


def test_an_open_mesh_stays_open(tmp_path: Path, cube: trimesh.Trimesh) -> None:
    """One triangle missing: a sliver on the rim goes, one elsewhere is mended, the hole stays."""
    hole = cube.faces[0].tolist()
    for start, end in cube.edges.tolist():
        built = Builder(cube)
        built.faces.remove(tuple(hole))
        try:
            built.cut(start, end, 0.5)
        except StopIteration:
            continue
        file = built.read(tmp_path)
        found = health(file.mesh)
        rim = {start, end} <= set(hole)
        assert (file.degenerate, file.bare) == (1, 0)
        assert (found.watertight, found.boundary_edges) == (False, 4 if rim else 3)
        assert (found.non_manifold_edges, found.flipped_edges) == (0, 0)
        assert found.area_mm2 == pytest.approx(cube.area - cube.area_faces[0], rel=1e-12)


def test_a_neighbour_wound_the_other_way_is_cut_as_it_is_wound(tmp_path: Path, cube: trimesh.Trimesh) -> None:
    """Winding faults are told as before, not made or mended."""
    built = Builder(cube)
    start, end = cube.edges[0].tolist()
    built.cut(start, end, 0.5)
    other = next(f for f in built.faces if (end, start) in zip(f, f[1:] + f[:1], strict=True))
    built.faces[built.faces.index(other)] = other[::-1]
    found = health(built.read(tmp_path).mesh)
    assert (found.boundary_edges, found.non_manifold_edges, found.flipped_edges) == (0, 0, 4)


def test_lines_that_stand_free_are_told(tmp_path: Path, cube: trimesh.Trimesh) -> None:
    built = Builder(cube)
    n = len(built.vertices)
    built.vertices += [(100.0, 0.0, 0.0), (120.0, 0.0, 0.0), (110.0, 0.0, 0.0)]
    built.faces += [(n, n + 1, n + 2), (n, n, n + 1), (0, 0, 1), (2, 2, 2), (n, n, n)]
    file = built.read(tmp_path)
    # the sliver covers the line from n to n + 1 and the point n, and goes itself: one line
    assert (file.degenerate, file.bare) == (5, 1)
    assert len(file.loose) == 3
    assert any(
        "unchanged, save for 1 lines or points joined" in line for line in as_lines(look(tmp_path / "m.obj", "mm"))
    )


def test_look_tells_that_nothing_changed(tmp_path: Path, cube: trimesh.Trimesh) -> None:
    built = Builder(cube)
    built.cut(*cube.edges[0].tolist(), 0.5)
    built.read(tmp_path)
    text = "\n".join(as_lines(look(tmp_path / "m.obj", "mm")))
    assert "1 triangles of zero area taken out; the surface is unchanged\n" in text
    assert "closed: yes" in text
    assert f"volume: {64**3:.6g} mm³" in text


def test_too_many_are_left_out_as_they_are(cube: trimesh.Trimesh, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(flat_triangles, "MOST", 0)
    built = Builder(cube)
    built.cut(*cube.edges[0].tolist(), 0.5)
    done = take_out_flat(Mesh(np.array(built.vertices), np.array(built.faces)))
    assert (len(done.mesh.faces), done.flat, done.bare) == (13, 1, 0)
    assert not closed(done.mesh)


@pytest.mark.parametrize("seed", range(10))
def test_corners_a_digit_apart(tmp_path: Path, seed: int) -> None:
    """Needles whose area is zero only by rounding: halves of sound neighbours may turn out flat too.

    Nothing may open; edges of four triangles are in some of these meshes as written.
    """
    rng = np.random.default_rng(seed)
    shape = trimesh.creation.icosphere(subdivisions=1)
    was = trimesh.Trimesh(shape.vertices * 80, shape.faces, process=False)
    built = Builder(was)
    for _ in range(40):
        face = built.faces[rng.integers(len(built.faces))]
        built.cut(face[0], face[1], rng.choice([2.0**-52, 2.0**-51, 0.3, 1 - 2.0**-52]))
    file = built.read(tmp_path)
    found = health(file.mesh)
    assert file.degenerate > 0
    assert (found.boundary_edges, found.flipped_edges) == (0, 0)
    assert outside(file.mesh).volume == pytest.approx(was.volume, rel=1e-9)
