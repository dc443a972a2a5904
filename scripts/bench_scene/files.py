"""Write the benchmark's files: part, bay as points (PLY, LAZ) or mesh, job."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import laspy
import numpy as np
import trimesh

from bench_scene.shapes import Array, Shape, bay, part

SEED = 20_261
BLOCK = 1_000_000
NOISE_MM = 0.3

JOB = """title = "bench"
[part]
file = "{part}"
unit = "mm"
rides = "engine"
tolerance = 0.3
[bay]
files = ["{bay}"]
unit = "mm"
accuracy = 0.1
{stations}
[register]
method = "given"
shift = [0.0, 0.0, 0.0]
sigma_shift = 0.1
[rock]
axis = {{ point = [0.0, 250.0, 0.0], direction = [1.0, 0.0, 0.0] }}
roll = [-4.0, 4.0]
up = [0.0, 0.0, 1.0]
forward = [0.0, 1.0, 0.0]
lift = [-0.5, 0.5]
shift = [-0.5, 0.5]
[[zone]]
name = "frame rail"
kind = "chassis"
where = {{ box = {{ min = [-620.0, -120.0, -200.0], max = [620.0, -40.0, -120.0] }} }}
gap = 5.0
[[zone]]
name = "axle shaft"
kind = "axle"
where = {{ box = {{ min = [40.0, -60.0, -200.0], max = [500.0, 60.0, -120.0] }} }}
travel = {{ about = [480.0, -20.0, -170.0], axis = [0.0, 1.0, 0.0], degrees = [-4.0, 4.0] }}
gap = 5.0
[[zone]]
name = "surroundings"
kind = "chassis"
where = {{ rest = true }}
gap = 5.0
"""


def points(count: int, seed: int = SEED) -> Iterator[Array]:
    """Yield noisy points of the bay's surface in blocks, (n, 3) mm, at random over its area; one in 50 000 flies."""
    vertices, faces = bay(60_000)
    corners = vertices[faces]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normals = np.cross(u, v)
    area = np.linalg.norm(normals, axis=1)
    normals /= np.maximum(area, 1e-12)[:, None]
    ends = np.cumsum(area) / area.sum()
    for number, start in enumerate(range(0, count, BLOCK)):
        rng = np.random.default_rng([seed, number])
        n = min(BLOCK, count - start)
        face = np.searchsorted(ends, rng.random(n)).clip(max=len(faces) - 1)
        a, b = rng.random((2, n))
        flip = a + b > 1
        a, b = np.where(flip, 1 - a, a), np.where(flip, 1 - b, b)
        found = corners[face, 0] + a[:, None] * u[face] + b[:, None] * v[face]
        found += rng.normal(0, NOISE_MM, n)[:, None] * normals[face]
        flying = rng.random(n) < 1 / 50_000
        found[flying] += rng.normal(0, 40.0, (int(flying.sum()), 3))
        yield found


def write_ply(path: Path, count: int) -> None:
    """Write the bay's points as binary PLY, float32, as scanners do."""
    with path.open("wb") as stream:
        head = f"ply\nformat binary_little_endian 1.0\nelement vertex {count}\n"
        stream.write((head + "".join(f"property float {a}\n" for a in "xyz") + "end_header\n").encode())
        for block in points(count):
            stream.write(block.astype("<f4").tobytes())


def write_laz(path: Path, count: int) -> None:
    """Write the bay's points as LAZ, in steps of 0.01 mm."""
    header = laspy.LasHeader(point_format=0, version="1.2")
    header.scales, header.offsets = np.full(3, 0.01), np.zeros(3)
    with laspy.open(path, mode="w", header=header) as writer:
        for block in points(count):
            record = laspy.ScaleAwarePointRecord.zeros(len(block), header=header)
            record.x, record.y, record.z = block.T
            writer.write_points(record)


def write_mesh(path: Path, shape: Shape) -> None:
    """Write a mesh, binary PLY or STL by the name."""
    trimesh.Trimesh(*shape, process=False).export(path)


def write_scene(
    folder: Path, count: int, *, form: str = "ply", stations: str = "", part_triangles: int = 200_000
) -> Path:
    """Write part, bay of `count` points and job into `folder` where they are not there yet; return the job."""
    folder.mkdir(parents=True, exist_ok=True)
    drawn = folder / f"part_{part_triangles}.stl"
    scan = folder / f"bay_{count}.{form}"
    if not drawn.exists():
        write_mesh(drawn, part(part_triangles))
    if not scan.exists():
        unfinished = scan.with_name(f"_{scan.name}")
        (write_laz if form == "laz" else write_ply)(unfinished, count)
        unfinished.rename(scan)
    job = folder / f"job_{count}_{form}{'_stations' if stations else ''}.toml"
    job.write_text(JOB.format(part=drawn.name, bay=scan.name, stations=stations), encoding="utf-8")
    return job
