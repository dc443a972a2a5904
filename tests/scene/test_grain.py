"""The step that a scan's coordinates were rounded to is found, told, and refused where it matters."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.frames import Array
from clearance.scene.look import as_lines, look
from clearance.scene.scan_io import read_scan, sift_scan
from clearance.scene.sieve import Sieve


@pytest.fixture
def points() -> Array:
    rng = np.random.default_rng(11)
    flat = rng.uniform(-300, 300, (6000, 2))
    return np.column_stack([flat, -56 + rng.normal(0, 0.1, len(flat))])


@pytest.fixture
def grid() -> Array:
    x, y = np.meshgrid(np.arange(-150, 150.0, 2), np.arange(-150, 150.0, 2))
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, -50.0)])


def _ply(path: Path, points: Array, kind: str) -> None:
    name = {"f4": "float", "f8": "double"}[kind]
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\n"
    head += "".join(f"property {name} {axis}\n" for axis in "xyz") + "end_header\n"
    path.write_bytes(head.encode() + points.astype("<" + kind).tobytes())


def _las(path: Path, points: Array, scale: float) -> None:
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales, header.offsets = np.full(3, scale), np.array([10.0, 20.0, 0.0])
    las = laspy.LasData(header)
    las.x, las.y, las.z = points.T
    las.write(str(path))


def _text(path: Path, points: Array, form: str) -> None:
    np.savetxt(path, points, fmt=form)


def _python(path: Path, points: Array) -> None:
    path.write_text("".join(f"{x!r} {y!r} {z!r}\n" for x, y, z in points.tolist()))


def _ascii_pcd(path: Path, points: Array) -> None:
    head = "VERSION .7\nFIELDS x y z\nSIZE 8 8 8\nTYPE F F F\nCOUNT 1 1 1\n"
    head += f"WIDTH {len(points)}\nHEIGHT 1\nPOINTS {len(points)}\nDATA ascii\n"
    path.write_text(head + "".join(f"{x:.2f} {y:.2f} {z:.2f}\n" for x, y, z in points.tolist()))


def _ascii_ply(path: Path, points: Array) -> None:
    head = f"ply\nformat ascii 1.0\nelement vertex {len(points)}\nproperty uchar flag\n"
    head += "".join(f"property double {axis}\n" for axis in "xyz") + "end_header\n"
    path.write_text(head + "".join(f"7 {x:.2f} {y:.2f} {z:.2f}\n" for x, y, z in points.tolist()))


COARSE = {
    "las scale": ("a.las", "m", lambda p, f: _las(f, p / 1000, 0.01), 10.0),
    "laz scale": ("a.laz", "m", lambda p, f: _las(f, p / 1000, 0.01), 10.0),
    "decimals": ("a.xyz", "m", lambda p, f: _text(f, p / 1000, "%.2f"), 10.0),
    "decimals of z alone": ("a.xyz", "m", lambda p, f: np.savetxt(f, p / 1000, fmt=["%.5f", "%.5f", "%.2f"]), 10.0),
    "decimals, noughts left out": ("a.xyz", "m", lambda p, f: _python(f, np.round(p / 1000, 2)), 10.0),
    "six digits": ("a.csv", "mm", lambda p, f: _text(f, p + np.array([2e6, 0, 0]), "%.6g"), 10.0),
    "ascii ply": ("a.ply", "m", lambda p, f: _ascii_ply(f, p / 1000), 10.0),
    "ascii pcd": ("a.pcd", "m", lambda p, f: _ascii_pcd(f, p / 1000), 10.0),
    "single precision": ("a.ply", "mm", lambda p, f: _ply(f, p + 1e8, "f4"), 8.0),
    "single precision kept as double": ("a.ply", "mm", lambda p, f: _ply(f, (p + 1e8).astype("f4"), "f8"), 8.0),
    "round values": ("a.ply", "mm", lambda p, f: _ply(f, np.round(p, -1), "f8"), 10.0),
    "round values in metres": ("a.ply", "m", lambda p, f: _ply(f, np.round(p / 1000, 2), "f4"), 10.0),
}  # fmt: skip


def _sift(path: Path, unit: str, accuracy: float) -> None:
    sift_scan([path], unit, Sieve(None), accuracy, key="bay.files", where="job.toml")


@pytest.mark.parametrize("case", COARSE)
def test_coarse_steps_are_found_and_refused(tmp_path: Path, points: Array, case: str):
    name, unit, write, step = COARSE[case]
    write(points, tmp_path / name)
    assert read_scan([tmp_path / name], unit).files[0].grain_mm == pytest.approx(step)
    with pytest.raises(InputError, match=f"steps of {step:g} mm") as told:
        _sift(tmp_path / name, unit, 0.1)
    assert "more decimals, a finer scale or nearer to the origin" in told.value.wanted
    assert name in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(("accuracy", "refused"), [(0.05, True), (0.28, True), (0.3, False)])
def test_a_step_of_a_millimetre_needs_an_accuracy_it_does_not_outweigh(
    tmp_path: Path, points: Array, accuracy: float, refused: bool
):
    """1 mm / sqrt(12) = 0.289 mm, the standard deviation of rounding."""
    _las(tmp_path / "a.las", points / 1000, 0.001)
    if refused:
        with pytest.raises(InputError, match="steps of 1 mm"):
            _sift(tmp_path / "a.las", "m", accuracy)
    else:
        _sift(tmp_path / "a.las", "m", accuracy)


FINE = {
    "las": ("a.las", "m", lambda p, f: _las(f, p / 1000, 0.0001)),
    "text": ("a.xyz", "m", lambda p, f: _text(f, p / 1000, "%.4f")),
    "six digits": ("a.xyz", "m", lambda p, f: _text(f, p / 1000, "%.6g")),
    "exponents": ("a.txt", "mm", lambda p, f: _text(f, p, "%.18e")),
    "single precision": ("a.ply", "mm", lambda p, f: _ply(f, p + 1e5, "f4")),
}  # fmt: skip


@pytest.mark.parametrize("case", FINE)
def test_fine_steps_pass_without_any_accuracy(tmp_path: Path, points: Array, case: str):
    name, unit, write = FINE[case]
    write(points, tmp_path / name)
    _sift(tmp_path / name, unit, 0.0)


@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("turned", [False, True])
def test_the_pitch_of_a_regular_grid_is_not_taken_for_rounding(tmp_path: Path, grid: Array, noise: float, turned: bool):
    rng = np.random.default_rng(2)
    grid[:, 2] += noise * rng.normal(size=len(grid))
    grid = np.vstack([grid, grid[:, [2, 0, 1]]])
    if turned:
        grid = rng.permutation(grid)
    for unit, scaled in (("mm", grid), ("m", grid / 1000)):
        _ply(tmp_path / "a.ply", scaled, "f8")
        _python(tmp_path / "a.xyz", scaled)
        for name in ("a.ply", "a.xyz"):
            _sift(tmp_path / name, unit, 0.0)


def test_a_meshed_scan_far_from_the_origin_is_refused(tmp_path: Path):
    ball = trimesh.creation.icosphere(4, 200)
    ball.apply_translation([1e8, 0, 0])
    ball.export(tmp_path / "a.stl")
    with pytest.raises(InputError, match="steps of 8 mm"):
        _sift(tmp_path / "a.stl", "mm", 1.0)


def test_look_tells_it(tmp_path: Path, points: Array):
    _text(tmp_path / "a.xyz", points / 1000, "%.2f")
    told = look(tmp_path / "a.xyz", "m")
    assert "  steps of the coordinates: 10 mm (the decimals written)" in as_lines(told)


def _numbered(path: Path, points: Array, first: int, count: int, separator: str = " ") -> None:
    rows = np.column_stack([np.arange(first, first + count), points[:count]])
    np.savetxt(path, rows, fmt=["%d", "%.3f", "%.3f", "%.3f"], delimiter=separator)


@pytest.mark.parametrize(("name", "separator"), [("a.xyz", " "), ("a.csv", ","), ("a.txt", "\t")])
@pytest.mark.parametrize("first", [0, 1, 5000])
def test_a_first_column_that_counts_the_rows_is_refused(
    tmp_path: Path, points: Array, name: str, separator: str, first: int
):
    _numbered(tmp_path / name, points, first, 3000, separator)
    with pytest.raises(InputError, match="counts the rows") as told:
        read_scan([tmp_path / name], "mm")
    assert "delete that column" in told.value.wanted


def test_a_column_of_numbers_under_headings_is_no_harm(tmp_path: Path, points: Array):
    _numbered(tmp_path / "b.csv", points, 1, 3000, ",")
    (tmp_path / "a.csv").write_text("n,x,y,z\n" + (tmp_path / "b.csv").read_text())
    np.testing.assert_allclose(read_scan([tmp_path / "a.csv"], "mm").points, points[:3000], atol=5.1e-4)


def test_three_columns_that_count_up_are_points(tmp_path: Path):
    line = np.column_stack([np.arange(500.0), np.zeros(500), np.zeros(500)])
    np.savetxt(tmp_path / "a.xyz", line, fmt="%.3f")
    np.testing.assert_array_equal(read_scan([tmp_path / "a.xyz"], "mm").points, line)
