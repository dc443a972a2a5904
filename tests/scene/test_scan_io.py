"""Scans written by other programs come back as they were; broken files are refused in one line."""

from __future__ import annotations

import resource
from pathlib import Path

import laspy
import numpy as np
import pye57
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from clearance.errors import InputError
from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.open3d_import import open3d
from clearance.scene.scan_io import read_scan
from clearance.scene.surface_samples import sample_surface


@pytest.fixture
def points() -> Array:
    return np.random.default_rng(7).normal(0, 100, (500, 3))


def write_ply(path: Path, points: Array, form: str, kind: str = "double", extra: bool = True) -> None:
    """Write a point PLY by hand: intensity before and a byte after the coordinates, to shift the records."""
    order = {"binary_little_endian": "<", "binary_big_endian": ">", "ascii": "="}[form]
    number = order + {"double": "f8", "float": "f4"}[kind]
    record = np.dtype([("intensity", f"{order}f4"), *((axis, number) for axis in "xyz"), ("flag", "u1")])
    table = np.zeros(len(points), record)
    for column, axis in enumerate("xyz"):
        table[axis] = points[:, column]
    header = f"ply\nformat {form} 1.0\ncomment by hand\nelement vertex {len(points)}\nproperty float intensity\n"
    header += "".join(f"property {kind} {axis}\n" for axis in "xyz") + "property uchar flag\nend_header\n"
    if form == "ascii":
        body = "".join(f"0 {x!r} {y!r} {z!r} 1\n" for x, y, z in points.tolist()).encode()
    else:
        body = table.tobytes()
    path.write_bytes(header.encode() + body)


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_own_properties_in_float64(tmp_path: Path, points: Array, form: str) -> None:
    far = points + 1e6  # where float32 has steps of 0.06
    write_ply(tmp_path / "a.ply", far, form)
    scan = read_scan([tmp_path / "a.ply"], "mm")
    assert scan.points.dtype == np.float64
    np.testing.assert_array_equal(scan.points, far)
    assert (scan.files[0].kept, scan.files[0].no_return, scan.files[0].triangles) == (500, 0, 0)


@pytest.mark.parametrize("extension", ["ply", "pcd", "xyz"])
@pytest.mark.parametrize("ascii_", [True, False])
def test_open3d_writers(tmp_path: Path, points: Array, extension: str, ascii_: bool) -> None:
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    path = tmp_path / f"a.{extension}"
    assert o3d.io.write_point_cloud(str(path), cloud, write_ascii=ascii_)
    # open3d keeps float32 in PCD and prints six digits in ASCII PLY: half a step of 0.001 mm at 100 mm
    np.testing.assert_allclose(read_scan([path], "mm").points, points, atol=5.1e-4)


def test_compressed_pcd_drops_points_without_return(tmp_path: Path, points: Array) -> None:
    o3d = open3d()
    holed = points.copy()
    holed[::10] = np.nan
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(holed))
    assert o3d.io.write_point_cloud(str(tmp_path / "a.pcd"), cloud, compressed=True)
    scan = read_scan([tmp_path / "a.pcd"], "mm")
    assert (scan.files[0].kept, scan.files[0].no_return) == (450, 50)
    np.testing.assert_allclose(scan.points, points[np.arange(500) % 10 != 0], atol=1e-4)


@pytest.mark.parametrize(
    ("name", "head", "separator", "order"),
    [
        ("a.xyz", "", " ", (0, 1, 2)),
        ("b.txt", "# made by a scanner\n// more\n500\n", "\t", (0, 1, 2)),
        ("c.csv", "X,Y,Z\n", ",", (0, 1, 2)),
        ("d.csv", "id;z;y;x\n", ";", (2, 1, 0)),
        ("e.csv", "\ufeff\"x\",\"y\",\"z\"\r\n", ", ", (0, 1, 2)),
    ],
)  # fmt: skip
def test_text(tmp_path: Path, points: Array, name: str, head: str, separator: str, order: tuple[int, ...]) -> None:
    rows = points[:, order].tolist()
    first = ["7"] if head.startswith("id") else []
    body = "".join(separator.join([*first, *map(repr, row), "99"]) + "\n" for row in rows)
    (tmp_path / name).write_text(head + body, encoding="utf-8")
    np.testing.assert_array_equal(read_scan([tmp_path / name], "mm").points, points)


@pytest.mark.parametrize("extension", ["las", "laz"])
def test_las_applies_scale_and_offset_in_float64(tmp_path: Path, points: Array, extension: str) -> None:
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales, header.offsets = np.array([1e-4] * 3), np.array([6e5, 5e6, 100.0])
    las = laspy.LasData(header)
    metres = points / 1000 + header.offsets
    las.x, las.y, las.z = metres.T
    las.write(str(tmp_path / f"a.{extension}"))
    scan = read_scan([tmp_path / f"a.{extension}"], "m")
    # stored in steps of 0.1 mm; 5e9 mm in float64 has steps of 1e-6
    np.testing.assert_allclose(scan.points - 1000 * header.offsets, points, atol=0.0501)


def write_e57(path: Path, points_m: Array, **options: Array) -> None:
    file = pye57.E57(str(path), mode="w")
    data = dict(zip(("cartesianX", "cartesianY", "cartesianZ"), points_m.T.copy(), strict=True))
    file.write_scan_raw(data, **options)
    file.write_scan_raw(data)
    file.close()


def test_e57_poses_of_all_scans(tmp_path: Path, points: Array) -> None:
    turn = np.array([np.sqrt(0.5), 0, 0, np.sqrt(0.5)])  # w x y z: a quarter turn about z
    write_e57(tmp_path / "a.e57", points / 1000, rotation=turn, translation=np.array([1.0, 2.0, 3.0]))
    scan = read_scan([tmp_path / "a.e57"], "m")
    x, y, z = points.T
    np.testing.assert_allclose(scan.points[:500], np.column_stack([1000 - y, 2000 + x, 3000 + z]), atol=1e-3)
    np.testing.assert_allclose(scan.points[500:], points, atol=1e-3)


def test_e57_invalid_points_are_dropped(tmp_path: Path, points: Array) -> None:
    file = pye57.E57(str(tmp_path / "a.e57"), mode="w")
    invalid = (np.arange(500) % 4 == 0).astype(np.int8)
    names = ("cartesianX", "cartesianY", "cartesianZ")
    file.write_scan_raw({**dict(zip(names, (points / 1000).T.copy(), strict=True)), "cartesianInvalidState": invalid})
    file.close()
    scan = read_scan([tmp_path / "a.e57"], "m")
    assert (scan.files[0].kept, scan.files[0].no_return) == (375, 125)
    np.testing.assert_allclose(scan.points, points[invalid == 0], atol=1e-3)


def test_files_are_merged_in_order_and_scaled(tmp_path: Path, points: Array) -> None:
    np.savetxt(tmp_path / "a.xyz", points / 25.4, fmt="%.17g")
    write_ply(tmp_path / "b.ply", points / 25.4, "ascii")
    scan = read_scan([tmp_path / "a.xyz", tmp_path / "b.ply"], "in")
    np.testing.assert_allclose(scan.points, np.vstack([points, points]), rtol=1e-12)
    assert [file.format for file in scan.files] == ["xyz", "ply"]


def test_box_keeps_only_what_lies_inside(tmp_path: Path, points: Array) -> None:
    write_ply(tmp_path / "a.ply", points, "binary_little_endian")
    low, high = np.full(3, -50.0), np.full(3, 80.0)
    scan = read_scan([tmp_path / "a.ply"], "mm", box=(low, high))
    inside = ((points >= low) & (points <= high)).all(axis=1)
    np.testing.assert_array_equal(scan.points, points[inside])
    assert scan.files[0].outside == (~inside).sum()


def test_mesh_scan_covers_its_surface(tmp_path: Path) -> None:
    trimesh.creation.box((40, 30, 20)).export(tmp_path / "a.stl")
    scan = read_scan([tmp_path / "a.stl"], "mm")
    assert scan.files[0].triangles == 12
    assert scan.files[0].sample_mm == 1.0
    surface, _ = trimesh.sample.sample_surface(trimesh.creation.box((40, 30, 20)), 20_000, seed=1)
    # Jung: a triangle with edges of at most 1 mm lies within 1/sqrt(3) mm of its corners
    assert cKDTree(scan.points).query(surface)[0].max() <= 1 / np.sqrt(3)
    on_box = np.abs(np.abs(scan.points) - (20, 15, 10)).min(axis=1)
    assert on_box.max() < 1e-12
    assert (np.abs(scan.points) <= np.array([20, 15, 10]) + 1e-12).all()


def test_points_beside_the_triangles_of_a_mesh_scan_are_kept(tmp_path: Path, points: Array) -> None:
    corners = np.array([[0.0, 0, 0], [100, 0, 0], [0, 100, 0]])
    flat = np.array([[500.0, 500, 500], [501, 500, 500], [502, 500, 500]])  # a triangle without area was seen as well
    mesh = trimesh.Trimesh(np.vstack([corners, flat, points]), [[0, 1, 2], [3, 4, 5]], process=False)
    mesh.export(tmp_path / "partly.ply")
    read = read_scan([tmp_path / "partly.ply"], "mm").points
    away, _ = cKDTree(read).query(np.vstack([corners, flat, points]))
    assert away.max() < 1e-3  # trimesh writes single precision


def test_slivers_do_not_explode() -> None:
    # 1 m long and 0.01 mm wide: about 2000 pieces, not a million
    sliver = Mesh(np.array([[0.0, 0, 0], [1000, 0, 0], [1000, 0.01, 0]]), np.array([[0, 1, 2]]))
    samples, _ = sample_surface(sliver)
    assert 1000 < len(samples) < 5000


# ---- refusals -----------------------------------------------------------------------------------


def refused(path: Path, unit: str = "mm") -> str:
    with pytest.raises(InputError) as caught:
        read_scan([path], unit, where="job.toml")
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("job.toml: bay: files: ")
    assert path.name in message
    return message


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian"])
@pytest.mark.parametrize("keep", [0.2, 0.6, 0.95])
def test_cut_off_ply(tmp_path: Path, points: Array, form: str, keep: float) -> None:
    write_ply(tmp_path / "a.ply", points, form)
    content = (tmp_path / "a.ply").read_bytes()
    (tmp_path / "a.ply").write_bytes(content[: int(keep * len(content))])
    message = refused(tmp_path / "a.ply")
    assert "500 points promised" in message or "unreadable numbers" in message


@pytest.mark.parametrize("extension", ["las", "laz", "e57", "pcd"])
@pytest.mark.parametrize("keep", [0.05, 0.6, 0.97])
def test_cut_off(tmp_path: Path, points: Array, extension: str, keep: float) -> None:
    path = tmp_path / f"a.{extension}"
    if extension == "e57":
        write_e57(path, points / 1000)
    elif extension == "pcd":
        o3d = open3d()
        o3d.io.write_point_cloud(str(path), o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points)))
    else:
        las = laspy.LasData(laspy.LasHeader(point_format=0, version="1.2"))
        las.x, las.y, las.z = points.T
        las.write(str(path))
    read_scan([path], "m" if extension == "e57" else "mm")
    content = path.read_bytes()
    path.write_bytes(content[: int(keep * len(content))])
    refused(path, "m" if extension == "e57" else "mm")


def test_lying_headers_do_not_allocate(tmp_path: Path, points: Array) -> None:
    many = b"3000000000"
    write_ply(tmp_path / "a.ply", points, "binary_little_endian")
    write_ply(tmp_path / "b.ply", points, "ascii")
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    for name, options in (("a", {}), ("b", {"write_ascii": True}), ("c", {"compressed": True})):
        o3d.io.write_point_cloud(str(tmp_path / f"{name}.pcd"), cloud, **options)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for path in sorted(tmp_path.iterdir()):
        path.write_bytes(
            path.read_bytes().replace(b"vertex 500", b"vertex " + many).replace(b"POINTS 500", b"POINTS " + many)
        )
        assert many.decode() in refused(path)
    # kB; the least of the lies would take 36 GB
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 100_000


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.xyz", "1 2 3\n4 5 nan\n100 inf 0\n", "2 points are not finite numbers, the first is point 1"),
        ("b.xyz", "1 2 3\n4 5\n", "unreadable numbers"),
        ("c.xyz", "1 2 3\n4 5 six\n", "unreadable numbers"),
        ("d.xyz", "hello world again\n", "neither numbers nor headings"),
        ("e.xyz", "# nothing\n", "no line with numbers"),
        ("f.csv", "1,5;2,5;3,5\n", "decimal commas"),
        ("g.csv", "a,b,c\n1,2,3\n", "headings"),
        ("h.ply", "ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\n"
                  "end_header\n", "no point"),
        ("i.ply", "ply\nformat ascii 1.0\nelement vertex 1\nproperty float u\nend_header\n1\n", "no x, y, z"),
        ("j.ply", "not ply", "not 'ply'"),
        ("k.pcd", "VERSION .7\nDATA what\n", "not a PCD file"),
        ("l.pcd", "FIELDS a b c\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nPOINTS 1\nDATA ascii\n1 2 3\n", "no x, y, z"),
        ("m.las", "LASF but not really", "not a LAS file, or cut off in its header"),
        ("n.laz", "nothing like it", "not a LAS file, or cut off in its header"),
        ("p.dwg", "x", "unknown file type"),
        ("q.xyz", "", "empty"),
        ("r.xyz", "0 0 0\n1 1 1\n", "wrong unit?"),
        ("s.xyz", "0 0 0\n300000 0 0\n", "wrong unit?"),
    ],
)  # fmt: skip
def test_bad_files(tmp_path: Path, name: str, content: str, said: str) -> None:
    (tmp_path / name).write_text(content)
    assert said in refused(tmp_path / name)


def test_e57_is_metres_and_garbage_is_refused_and_left_alone(tmp_path: Path, points: Array) -> None:
    write_e57(tmp_path / "a.e57", points / 1000)
    message = refused(tmp_path / "a.e57", "mm")
    assert "'m'" in message
    assert "'mm'" in message
    (tmp_path / "b.e57").write_bytes(b"ASTM-E57" + bytes(200))
    assert "unreadable E57" in refused(tmp_path / "b.e57", "m")
    assert (tmp_path / "b.e57").exists()


def test_las_that_names_records_without_end_is_refused_at_once(tmp_path: Path, points: Array) -> None:
    las = laspy.LasData(laspy.LasHeader(point_format=6, version="1.4"))
    las.x, las.y, las.z = points.T
    las.write(str(tmp_path / "a.las"))
    whole = (tmp_path / "a.las").read_bytes()
    for at in (100, 243):  # number of records before and after the points
        (tmp_path / "a.las").write_bytes(whole[:at] + b"\xff\xff\xff\xff" + whole[at + 4 :])
        assert "do not fit" in refused(tmp_path / "a.las")


def test_size_hint_names_the_unit(tmp_path: Path) -> None:
    (tmp_path / "a.xyz").write_text("0 0 0\n2 0 0\n")
    assert '"m" would make it 2000 mm' in refused(tmp_path / "a.xyz", "mm")


@given(st.binary(min_size=1, max_size=200), st.sampled_from(["ply", "pcd", "xyz", "csv", "las", "laz", "e57"]))
def test_random_bytes_never_crash(tmp_path_factory: pytest.TempPathFactory, content: bytes, kind: str) -> None:
    path = tmp_path_factory.mktemp("r") / f"r.{kind}"
    path.write_bytes({"ply": b"ply\n", "pcd": b"FIELDS x y z\n", "las": b"LASF"}.get(kind, b"") + content)
    try:
        read_scan([path], "m")
    except InputError as fault:
        assert "\n" not in str(fault)  # noqa: PT017
