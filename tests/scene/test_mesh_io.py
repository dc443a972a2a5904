"""Meshes written by other programs come back as they were; broken files are refused in one line."""

from __future__ import annotations

import json
import resource
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from clearance.errors import InputError
from clearance.scene.mesh_health import closed
from clearance.scene.mesh_io import equal_rows, read_mesh, read_mesh_file
from clearance.scene.open3d_import import open3d


@pytest.fixture
def box() -> trimesh.Trimesh:
    return trimesh.creation.box((100, 20, 30))


def sorted_rows(rows: np.ndarray) -> np.ndarray:
    return rows[np.lexsort(rows.T)]


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "ply_ascii", "off", "3mf"])
def test_trimesh_writers(tmp_path: Path, box: trimesh.Trimesh, kind: str) -> None:
    path = tmp_path / f"box.{kind.split('_')[0]}"
    if kind == "ply_ascii":
        path.write_bytes(trimesh.exchange.ply.export_ply(box, encoding="ascii"))
    elif kind == "stl_ascii":
        path.write_text(trimesh.exchange.stl.export_stl_ascii(box))
    else:
        box.export(path)
    mesh = read_mesh(path, "mm")
    assert mesh.vertices.dtype == np.float64
    assert mesh.faces.dtype == np.int64
    assert closed(mesh)
    np.testing.assert_array_equal(sorted_rows(mesh.vertices), sorted_rows(np.asarray(box.vertices)))
    # the same triangles, as sets of corner coordinates
    mine = {frozenset(map(tuple, t)) for t in mesh.triangles.tolist()}
    assert mine == {frozenset(map(tuple, t)) for t in box.triangles.tolist()}


@pytest.mark.parametrize(
    ("extension", "options"),
    [("stl", {}), ("ply", {}), ("ply", {"write_ascii": True}), ("obj", {}), ("off", {})],
)
def test_open3d_writers(tmp_path: Path, extension: str, options: dict[str, bool]) -> None:
    o3d = open3d()
    torus = o3d.geometry.TriangleMesh.create_torus(80.0, 20.0)
    torus.compute_triangle_normals()
    torus.compute_vertex_normals()
    path = tmp_path / f"torus.{extension}"
    assert o3d.io.write_triangle_mesh(str(path), torus, **options)
    mesh = read_mesh(path, "mm")
    assert len(mesh.faces) == len(torus.triangles)
    assert closed(mesh)
    # ASCII writers print six or more digits of 100 mm
    np.testing.assert_allclose(mesh.vertices.max(axis=0), np.asarray(torus.vertices).max(axis=0), atol=1e-3)


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1.0), ("cm", 10.0), ("in", 25.4)])
def test_units_scale(tmp_path: Path, box: trimesh.Trimesh, unit: str, factor: float) -> None:
    box.export(tmp_path / "box.stl")
    size = np.ptp(read_mesh(tmp_path / "box.stl", unit).vertices, axis=0)
    np.testing.assert_allclose(size, factor * np.array([100, 20, 30]), rtol=1e-12)


def test_scene_transforms_are_applied_and_mirrors_keep_the_winding(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    half = trimesh.creation.box((0.1, 0.1, 0.1))
    scene.add_geometry(half, node_name="a", transform=trimesh.transformations.translation_matrix((1, 0, 0)))
    scene.add_geometry(half, node_name="b", transform=np.diag([-1.0, 1.0, 1.0, 1.0]))
    scene.export(tmp_path / "two.glb")
    mesh = read_mesh(tmp_path / "two.glb", "m")
    np.testing.assert_allclose(mesh.vertices.min(axis=0), (-50, -50, -50), atol=1e-4)
    np.testing.assert_allclose(mesh.vertices.max(axis=0), (1050, 50, 50), atol=1e-4)
    a, b, c = (mesh.triangles[:, k] for k in range(3))
    assert np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6 == pytest.approx(2 * 100.0**3, rel=1e-5)


def test_quads_are_cut_into_triangles(tmp_path: Path) -> None:
    (tmp_path / "quad.off").write_text("OFF\n4 1 0\n0 0 0\n10 0 0\n10 10 0\n0 10 0\n4 0 1 2 3\n")
    assert len(read_mesh(tmp_path / "quad.off", "mm").faces) == 2


def test_degenerate_triangles_are_dropped_and_counted(tmp_path: Path) -> None:
    (tmp_path / "d.obj").write_text(
        "v 0 0 0\nv 10 0 0\nv 0 10 0\nv 20 0 0\nv 5 5 0\nf 1 2 3\nf 1 2 4\nf 1 1 2\nf 2 3 5\n"
    )
    file = read_mesh_file(tmp_path / "d.obj", "mm")
    # 1 2 3 is cut at vertex 5; 1 2 4 reaches beyond it, to where nothing else is
    assert (file.triangles_in_file, file.degenerate, file.bare, len(file.mesh.faces)) == (4, 3, 1, 2)
    assert len(file.mesh.vertices) == 4
    np.testing.assert_array_equal(file.loose, [[20, 0, 0]])


def test_equal_vertices_become_one(tmp_path: Path, box: trimesh.Trimesh) -> None:
    box.export(tmp_path / "box.stl")  # STL repeats every corner: 36 vertices
    assert len(read_mesh(tmp_path / "box.stl", "mm").vertices) == 8


@given(st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 1.0 + 2e-16, -3.5])] * 3), min_size=1, max_size=40))
def test_equal_rows_agrees_with_numpy(rows: list[tuple[float, float, float]]) -> None:
    array = np.array(rows)
    first, label = equal_rows(array)
    np.testing.assert_array_equal(array[first][label], array)
    assert len(first) == len(np.unique(array + 0.0, axis=0))
    assert (np.diff(first) > 0).all()


# ---- refusals -----------------------------------------------------------------------------------


def refused(path: Path, unit: str = "mm") -> str:
    with pytest.raises(InputError) as caught:
        read_mesh(path, unit)
    message = str(caught.value)
    assert "\n" not in message
    assert path.name in message
    return message


def test_names_job_file_key_and_mesh(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"job\.toml: part: file: .*gone\.stl: no such file"):
        read_mesh(tmp_path / "gone.stl", "mm", where="job.toml")


def test_missing_empty_folder_unknown(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "gone.stl")
    (tmp_path / "e.stl").touch()
    assert "empty" in refused(tmp_path / "e.stl")
    (tmp_path / "folder.stl").mkdir()
    assert "not a file" in refused(tmp_path / "folder.stl")
    (tmp_path / "a.step").write_text("x")
    message = refused(tmp_path / "a.step")
    assert all(kind in message for kind in ("stl", "obj", "ply", "off", "glb", "3mf"))


def written(tmp_path: Path, box: trimesh.Trimesh, name: str) -> tuple[Path, bytes]:
    path = tmp_path / name
    box.export(path)
    return path, path.read_bytes()


@pytest.mark.parametrize("name", ["b.stl", "b.ply", "b.off", "b.glb", "b.3mf"])
@pytest.mark.parametrize("keep", [0.1, 0.5, 0.9])
def test_cut_off(tmp_path: Path, box: trimesh.Trimesh, name: str, keep: float) -> None:
    path, content = written(tmp_path, box, name)
    path.write_bytes(content[: int(keep * len(content))])
    refused(path, "m" if name.endswith("glb") else "mm")


@pytest.mark.parametrize("keep", [0.5, 0.9])
def test_cut_off_ascii(tmp_path: Path, box: trimesh.Trimesh, keep: float) -> None:
    text = trimesh.exchange.stl.export_stl_ascii(box)
    (tmp_path / "a.stl").write_text(text[: int(keep * len(text))])
    refused(tmp_path / "a.stl")
    content = trimesh.exchange.ply.export_ply(box, encoding="ascii")
    (tmp_path / "a.ply").write_bytes(content[: int(keep * len(content))])
    refused(tmp_path / "a.ply")


def test_ascii_stl_without_one_vertex(tmp_path: Path, box: trimesh.Trimesh) -> None:
    lines = trimesh.exchange.stl.export_stl_ascii(box).splitlines()
    del lines[next(n for n, line in enumerate(lines) if line.startswith("vertex"))]
    (tmp_path / "a.stl").write_text("\n".join(lines))
    assert "35 vertices, 12 finished facets" in refused(tmp_path / "a.stl")


def lying_glb(count: int) -> bytes:
    tree = {
        "asset": {"version": "2.0"},
        "accessors": [{"componentType": 5126, "count": count, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "nodes": [{"mesh": 0}], "scenes": [{"nodes": [0]}], "scene": 0,
    }  # fmt: skip
    body = json.dumps(tree).encode()
    body += b" " * (-len(body) % 4)
    return struct.pack("<4sII", b"glTF", 2, 20 + len(body)) + struct.pack("<I4s", len(body), b"JSON") + body


def test_lying_headers_do_not_allocate(tmp_path: Path, box: trimesh.Trimesh) -> None:
    many = 3_000_000_000
    stl, content = written(tmp_path, box, "b.stl")
    stl.write_bytes(content[:80] + struct.pack("<I", many) + content[84:])
    ply, content = written(tmp_path, box, "b.ply")
    ply.write_bytes(content.replace(b"element vertex 8", b"element vertex %d" % many))
    faces = tmp_path / "f.ply"
    faces.write_bytes(content.replace(b"element face 12", b"element face %d" % many))
    off, content = written(tmp_path, box, "b.off")
    off.write_bytes(content.replace(b"8 12", b"%d 12" % many))
    glb = tmp_path / "b.glb"
    glb.write_bytes(lying_glb(many))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for path in (stl, ply, faces, off, glb):
        assert str(many) in refused(path, "m" if path.suffix == ".glb" else "mm")
    # kB; the least of the lies would take 36 GB
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("g.stl", b"not a mesh at all, just some words that go on for more than eighty-four bytes, as this line does"),
        ("h.stl", bytes(84)),
        ("i.stl", b"solid x\nendsolid x\n"),
        ("g.ply", b"ply\nformat binary_little_endian 1.0\nnonsense\nend_header\n"),
        ("h.ply", b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
                  b"end_header\n0 0 0\n9 0 0\n0 9 0\n"),
        ("g.off", b"OFF\n"),
        ("h.off", b"OFF\n3 1 0\n0 0 0\n9 0 0\n0 9 0\n3 0 1 7\n"),
        ("g.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n"),
        ("h.obj", b"v 0 0 zero\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"),
        ("i.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n"),
        ("j.obj", b"v 0 0 nan\nv 10 0 0\nv 0 10 0\nf 1 2 3\n"),
        ("k.obj", b"v 0 0 0\nv 10 0 0\nv 20 0 0\nf 1 2 3\n"),
        ("g.glb", b"glTF" + bytes(20)),
        ("g.3mf", b"PK\x03\x04 and then nothing"),
    ],
)  # fmt: skip
def test_garbled(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    refused(tmp_path / name, "m" if name.endswith("glb") else "mm")


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_not_finite_in_binary(tmp_path: Path, box: trimesh.Trimesh, value: float) -> None:
    path, content = written(tmp_path, box, "b.stl")
    path.write_bytes(content[:96] + struct.pack("<f", value) + content[100:])
    assert "not finite" in refused(path)


def test_implausible_size_names_the_unit_that_fits(tmp_path: Path, box: trimesh.Trimesh) -> None:
    path, _ = written(tmp_path, box, "b.stl")
    message = refused(path, "m")
    assert "wrong unit?" in message
    # diagonal of 100 x 20 x 30: sqrt(11300) = 106.3 file units
    assert "106301" in message
    assert '"mm" would make it 106.3 mm' in message
    small = box.copy()
    small.apply_scale(0.01)
    small.export(tmp_path / "s.stl")
    assert '"m" would make it 1063 mm' in refused(tmp_path / "s.stl", "mm")


def test_stated_units(tmp_path: Path, box: trimesh.Trimesh) -> None:
    path, _ = written(tmp_path, box, "b.3mf")
    message = refused(path, "in")
    assert "'mm'" in message
    assert "'in'" in message
    model = "3D/3dmodel.model"
    with zipfile.ZipFile(path) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(tmp_path / "inch.3mf", "w") as archive:
        for name, content in entries.items():
            archive.writestr(name, content.replace(b"millimeter", b"inch") if name == model else content)
    assert np.ptp(read_mesh(tmp_path / "inch.3mf", "in").vertices, axis=0)[0] == pytest.approx(2540.0)
    assert "'in'" in refused(tmp_path / "inch.3mf", "mm")
    small = box.copy()
    small.apply_scale(0.001)
    small.export(tmp_path / "b.glb")
    assert "'m'" in refused(tmp_path / "b.glb", "mm")
    assert np.ptp(read_mesh(tmp_path / "b.glb", "m").vertices, axis=0)[0] == pytest.approx(100.0, rel=1e-6)


@given(st.binary(min_size=1, max_size=300), st.sampled_from(["stl", "obj", "ply", "off", "glb", "3mf"]))
def test_random_bytes_never_crash(tmp_path_factory: pytest.TempPathFactory, content: bytes, kind: str) -> None:
    path = tmp_path_factory.mktemp("r") / f"r.{kind}"
    path.write_bytes({"ply": b"ply\n", "off": b"OFF\n", "glb": b"glTF"}.get(kind, b"") + content)
    with pytest.raises(InputError):
        read_mesh(path, "mm")
