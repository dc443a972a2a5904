"""Real scans of open licence, read as their own headers say (scripts/fetch_test_data.py)."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import laspy
import numpy as np
import pye57
import pytest

from clearance.errors import InputError
from clearance.scene.condition import condition
from clearance.scene.mesh_health import health
from clearance.scene.mesh_io import read_mesh_file
from clearance.scene.open3d_import import open3d
from clearance.scene.scan_io import read_scan

pytestmark = pytest.mark.real_data

# (file, unit in which its extents are those of a bay). Surveys of kilometres are read as mm: a test of numbers.
LAS = [
    ("simple.las", "mm"), ("simple.laz", "mm"), ("test1_4.las", "mm"),
    ("1_4_w_evlr.laz", "mm"), ("autzen_trim.laz", "mm"), ("plane.laz", "m"), ("vegetation_1_3.las", "m"),
    ("extrabytes.las", "mm"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "unit"), LAS)
def test_las_counts_and_extents_of_the_header(real_data: Path, name: str, unit: str) -> None:
    path = real_data / "las" / name
    with laspy.open(path) as reader:
        header = reader.header
    scan = read_scan([path], unit)
    factor = {"mm": 1.0, "m": 1000.0}[unit]
    assert scan.files[0].kept == header.point_count == len(scan.points)
    step = factor * np.max(header.scales) * 1.01 + 1e-6
    np.testing.assert_allclose(scan.points.min(axis=0), factor * header.mins, atol=step)
    np.testing.assert_allclose(scan.points.max(axis=0), factor * header.maxs, atol=step)


def test_las_and_laz_of_one_survey_agree(real_data: Path) -> None:
    las, laz = (read_scan([real_data / "las" / f"simple.{kind}"], "mm").points for kind in ("las", "laz"))
    np.testing.assert_array_equal(las, laz)


def test_survey_in_its_true_unit_is_too_large(real_data: Path) -> None:
    with pytest.raises(InputError, match="wrong unit"):
        read_scan([real_data / "las" / "simple.las"], "m")


@pytest.mark.parametrize(("name", "count"), [("source", 69_792), ("target", 69_088)])
def test_lidar_agrees_with_open3d(real_data: Path, name: str, count: int) -> None:
    path = real_data / "lidar" / f"{name}.ply"
    head = re.search(rb"element vertex (\d+)", path.read_bytes()[:1000])
    assert head is not None
    assert int(head[1]) == count
    scan = read_scan([path], "m")
    assert scan.files[0].kept == count
    reference = np.asarray(open3d().io.read_point_cloud(str(path)).points) * 1000
    np.testing.assert_array_equal(scan.points, reference)


def test_lidar_repeats_do_not_shrink_the_spacing(real_data: Path) -> None:
    # 5107 points of this scan are exactly 0 0 0: the scanner's mark for no return
    scan = condition(read_scan([real_data / "lidar" / "source.ply"], "m").points, "auto", 20.0)
    assert (scan.points == 0).all(axis=1).sum() == 5107
    assert scan.spacing_mm.min() > 0
    # published range precision of such scanners is a few mm to a few cm, 1 sigma (common practice)
    assert 0.5 < scan.noise_mm < 50


def test_lidar_through_pcd_and_e57(real_data: Path, tmp_path: Path) -> None:
    """No registry carries a real E57 or PCD; the real scan is written as both by their own libraries."""
    points = read_scan([real_data / "lidar" / "source.ply"], "m").points
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points / 1000))
    o3d.io.write_point_cloud(str(tmp_path / "a.pcd"), cloud, compressed=True)
    pcd = read_scan([tmp_path / "a.pcd"], "m")
    np.testing.assert_allclose(pcd.points, points, atol=0.005)  # float32 of 58 m: steps of 0.004 mm
    file = pye57.E57(str(tmp_path / "a.e57"), mode="w")
    file.write_scan_raw(dict(zip(("cartesianX", "cartesianY", "cartesianZ"), (points / 1000).T.copy(), strict=True)))
    file.close()
    e57 = read_scan([tmp_path / "a.e57"], "m")
    stated = pye57.E57(str(tmp_path / "a.e57"))
    assert e57.files[0].kept == stated.get_header(0).point_count == len(points)
    stated.close()
    np.testing.assert_allclose(e57.points, points, atol=0.005)


# vertices and triangles that the Stanford repository's headers state
DRAGON = [("", 437_645, 871_414), ("_res2", 100_250, 202_520), ("_res3", 22_998, 47_794), ("_res4", 5_205, 11_102)]


@pytest.mark.parametrize(("suffix", "vertices", "triangles"), DRAGON)
def test_dragon_counts(real_data: Path, suffix: str, vertices: int, triangles: int) -> None:
    path = real_data / "dragon" / f"dragon_vrip{suffix}.ply"
    file = read_mesh_file(path, "m")
    assert file.triangles_in_file == triangles
    assert len(file.mesh.faces) == triangles - file.degenerate
    assert len(file.mesh.vertices) <= vertices
    # the repository gives the dragon no size; its range images were taken at 0.35 mm, it is a hand-sized figure
    assert 200 < np.linalg.norm(np.ptp(file.mesh.vertices, axis=0)) < 300


def test_dragon_health_agrees_with_open3d(real_data: Path) -> None:
    path = real_data / "dragon" / "dragon_vrip_res3.ply"
    file = read_mesh_file(path, "m")
    found = health(file.mesh)
    o3d = open3d()
    reference = o3d.t.geometry.TriangleMesh.from_legacy(
        o3d.geometry.TriangleMesh(
            o3d.utility.Vector3dVector(file.mesh.vertices), o3d.utility.Vector3iVector(file.mesh.faces)
        )
    ).to_legacy()
    bad = len(reference.get_non_manifold_edges(allow_boundary_edges=False))
    assert found.boundary_edges + found.non_manifold_edges == bad
    # the repository's README: "the decimated model has some holes that we detected with software"
    assert not found.watertight
    assert found.area_mm2 == pytest.approx(reference.get_surface_area(), rel=1e-5)


def test_dragon_as_a_scan(real_data: Path) -> None:
    scan = read_scan([real_data / "dragon" / "dragon_vrip_res3.ply"], "m")
    assert scan.files[0].triangles > 40_000
    assert scan.files[0].kept >= 22_000
    assert np.isfinite(scan.points).all()


def test_overlapping_views(real_data: Path) -> None:
    for name, count in (("hippo1", 6104), ("hippo2", 4387)):
        path = real_data / "cgal" / f"{name}.ply"
        if not path.exists():
            pytest.skip("the Debian package of these is not reachable from every machine")
        scan = read_scan([path], "m")
        assert scan.files[0].kept == count


def test_fetching_again_fetches_nothing(real_data: Path, tmp_path: Path) -> None:
    script = Path(__file__).resolve().parents[2] / "scripts" / "fetch_test_data.py"
    empty = subprocess.run(
        [sys.executable, str(script), "--list", "--folder", str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert empty.stdout.count("missing") == 5
    listed = subprocess.run([sys.executable, str(script), "--list"], capture_output=True, text=True, check=True)
    assert listed.stdout.count(": there") >= 3
