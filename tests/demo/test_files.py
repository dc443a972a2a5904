"""The shipped demo: jobs a reader accepts, closed parts, scans that lie on the surfaces they were taken from."""

from __future__ import annotations

import tomllib

import igl
import numpy as np
import pytest
import trimesh

from clearance.job.schema import Job

JOBS = ("rev_a", "rev_b", "rev_b_gap_in_scan", "heat/rev_b", "access/rev_b")
SIX_SIGMA_MM = 6 * 0.25 + 0.25
"""Six times the noise at the flattest angle, and the stations' own shifts (0.05 mm, 1 sigma, each way)."""


@pytest.mark.parametrize("name", JOBS)
def test_jobs_hold_to_the_schema(demo_folder, name):
    job = Job.model_validate(tomllib.loads((demo_folder / f"{name}.toml").read_text()))
    assert [z.name for z in job.zones] == [
        "frame rail", "left shaft", "brake line", "bulkhead", "wastegate actuator", "everything else",
    ]  # fmt: skip
    named = [job.part.file, *job.bay.files, *(z.where.file for z in job.zones if z.where.file)]
    assert all(((demo_folder / name).parent / file).is_file() for file in named)


def test_all_of_it_is_small(demo_folder):
    assert sum(p.stat().st_size for p in demo_folder.rglob("*")) <= 10e6


@pytest.mark.parametrize("name", ["rev_a", "rev_b", "actuator"])
def test_meshes_are_closed(demo_folder, read_stl, name):
    """Every edge is walked once each way, and the volume is positive: closed and outward."""
    corners = read_stl(demo_folder / f"{name}.stl")
    _, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    there, times = np.unique(edges, axis=0, return_counts=True)
    assert (times == 1).all()
    assert np.array_equal(there, np.unique(edges[:, ::-1], axis=0))
    assert np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) > 0


@pytest.mark.parametrize("name", ["rev_a", "rev_b"])
def test_part_is_a_manifold_with_through_bores(demo_folder, read_stl, name):
    """Euler's number 2 - 2g, g handles: a tree of pipes with n openings into one hollow has g = n - 1 of its own.

    Four ports, one turbine opening and the sensor's hole make 6 openings, 5 handles; ten head studs and
    four turbine studs are a handle each; between runners (3 windows, of which the turbine's neck splits
    none) 3 more handles of the outside.
    """
    corners = read_stl(demo_folder / f"{name}.stl")
    mesh = trimesh.Trimesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), process=True)
    assert mesh.body_count == 1
    assert mesh.euler_number == 2 - 2 * (5 + 10 + 4 + 3)


def test_scan_lies_on_the_true_surfaces(demo_folder, read_ply, truth, true_surfaces):
    """All points but the flying ones lie within six sigma of a surface; flying ones stand well off."""
    everything = trimesh.util.concatenate(list(true_surfaces.values()))
    for scan in truth["scans"]:
        points = read_ply(demo_folder / scan["file"])
        assert len(points) == scan["points"]
        off = _off(points, everything)
        flying = scan["met"].get("flying", 0)
        assert flying <= 0.003 * len(points)
        assert (off > SIX_SIGMA_MM).sum() <= flying
        assert np.sqrt(np.mean(off[off < SIX_SIGMA_MM] ** 2)) == pytest.approx(0.17, abs=0.05)


def test_rail_stands_where_closed_form_says(demo_folder, read_ply, truth):
    """Rail points on top lie about the plane z = 200 by no more than the stations' shifts on average."""
    first, second = [s["file"] for s in truth["scans"][:-1]], [truth["scans"][-1]["file"]]
    for files in (first, second):
        points = np.concatenate([read_ply(demo_folder / file) for file in files])
        x, y, z = points.T
        top = points[(np.abs(x + 128) < 12) & (np.abs(y) < 150) & (np.abs(z - 200) < 2)]
        assert len(top) > 1000
        assert abs(top[:, 2].mean() - 200) < 0.1


def test_hole_is_in_the_first_scan_and_filled_by_the_second(demo_folder, read_ply, truth):
    low, high = truth["hole_in_first_visit"]["y_mm"]
    net = np.array([[-150, low + 0.5, 156], [-106, high - 0.5, 203.5]])

    def within(file: str) -> int:
        points = read_ply(demo_folder / file)
        return int(((points > net[0]) & (points < net[1])).all(axis=1).sum())

    assert sum(within(scan["file"]) for scan in truth["scans"] if scan["file"] != "bay_rail.ply") <= 3
    assert within("bay_rail.ply") > 5000


def _off(points: np.ndarray, surface: trimesh.Trimesh) -> np.ndarray:
    squared = igl.point_mesh_squared_distance(points, np.asarray(surface.vertices), np.asarray(surface.faces))[0]
    return np.sqrt(squared)
