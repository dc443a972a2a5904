"""Random scenes, their keep-outs, and small parts set right against them from outside: does `check` pass every one?

Scenes: solids and scanned walls, with rock, axle travel, stroke, a link and growth with heat in turn. Of solids the
whole check must pass; of scans, which do not go all round a part, every zone before what was not seen is asked.
Prints one line a scene and ends with 1 if any part outside a keep-out does not pass.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial.transform import Rotation

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

from clearance.distance.body import mesh_body  # noqa: E402
from clearance.distance.fcl_engine import FclBody  # noqa: E402
from clearance.distance.inside import winding_says_inside  # noqa: E402
from clearance.keepout.keepout import KeepOut, keep_out_of  # noqa: E402
from clearance.layout.layout import lay_out  # noqa: E402
from clearance.layout.placement import Placement, place  # noqa: E402
from clearance.pipeline import judge  # noqa: E402
from clearance.scene.mesh import Mesh  # noqa: E402
from clearance.verdict.judge import judge_zone, nearest_unclaimed  # noqa: E402
from clearance.verdict.result import Verdict  # noqa: E402

TOUCH_MM = 0.02
"""How near to the keep-out a part is set."""


def main() -> None:
    """Run the trials."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--scenes", type=int, default=25)
    arguments.add_argument("--parts", type=int, default=20, help="parts a scene")
    arguments.add_argument("--seed", type=int, default=0)
    given = arguments.parse_args()
    bad = total = 0
    for seed in range(given.seed, given.seed + given.scenes):
        with tempfile.TemporaryDirectory() as folder:
            failed, asked, told = trial(Path(folder), seed, given.parts)
        bad, total = bad + len(failed), total + asked
        print(f"scene {seed}: {told}, {asked} parts outside, {len(failed)} not passed", *failed, sep="\n  ", flush=True)
    print(f"{total} parts outside their keep-outs, {bad} not passed")
    sys.exit(1 if bad else 0)


def trial(folder: Path, seed: int, parts: int) -> tuple[list[str], int, str]:
    """Build a scene and try parts. Returns what was said of those that did not pass, how many were tried, the scene."""
    rng = np.random.default_rng(seed)
    job, scanned, told = random_job(folder, rng)
    placed = place(job)
    found = keep_out_of(placed, resolution_mm=float(rng.uniform(3, 7)), margin_mm=40.0)
    if found.mesh is None:
        return [], 0, told
    failed, asked, solid = [], 0, FclBody(mesh_body(found.mesh))
    for _ in range(parts):
        mesh = part_outside(found, solid, rng)
        if mesh is None:
            continue
        asked += 1
        why = why_not_passed(placed, mesh, scanned)
        if why is not None:
            failed.append(why)
    return failed, asked, told


def why_not_passed(placed: Placement, mesh: Mesh, scanned: bool) -> str | None:
    """Judge another part in the place of the job's; return what keeps it from passing, None if nothing does."""
    own = replace(placed, part=replace(placed.part, mesh=mesh, shown=mesh, closed=True))
    layout = lay_out(own)
    if not scanned:
        result = judge(own, layout)
        return None if result.verdict is Verdict.PASS else result.reason
    results = [judge_zone(zone, layout.motions[zone.name], layout.setting) for zone in layout.zones.zones]
    for result in results:
        if result.verdict is not Verdict.PASS:
            return f"{result.zone.name}: {result.reason}"
    unclaimed = nearest_unclaimed(layout.zones.unclaimed, layout.setting, results)
    return None if unclaimed is None else f"points of no zone within {unclaimed} mm"


def part_outside(found: KeepOut, body: FclBody, rng: np.random.Generator) -> Mesh | None:
    """Return a small part in the box, outside the keep-out and as good as touching it; None where none was found."""
    assert found.mesh is not None
    solid, small = found.mesh, _small(rng)
    for _ in range(40):
        face = solid.triangles[rng.integers(len(solid.faces))]
        normal = np.cross(face[1] - face[0], face[2] - face[0])
        normal /= np.linalg.norm(normal)
        start = face.mean(axis=0) - normal * (small.vertices @ normal).min()

        def free(by: float, start=start, normal=normal) -> bool:
            moved = Mesh(small.vertices + start + by * normal, small.faces)
            inside = (moved.vertices > found.low).all() and (moved.vertices < found.high).all()
            apart = FclBody(mesh_body(moved)).closest(body).distance_mm > 1e-6
            return bool(inside and apart and not winding_says_inside(solid, moved.vertices[:1])[0])

        out = next((by for by in (0.02, 0.5, 2.0, 6.0, 15.0) if free(by)), None)
        if out is None:
            continue
        within = 0.0
        while out - within > TOUCH_MM:
            middle = (out + within) / 2
            within, out = (within, middle) if free(middle) else (middle, out)
        return Mesh(small.vertices + start + out * normal, small.faces)
    return None


def _small(rng: np.random.Generator) -> Mesh:
    size = float(rng.uniform(2, 15))
    shapes = (
        lambda: trimesh.creation.box(size * rng.uniform(0.2, 1, 3)),
        lambda: trimesh.creation.icosphere(subdivisions=1, radius=size / 2),
        lambda: trimesh.convex.convex_hull(rng.normal(size=(8, 3)) * size / 2),
        lambda: trimesh.creation.cylinder(radius=size / 8, height=2 * size, sections=12),
    )
    shape = shapes[int(rng.integers(len(shapes)))]()
    turn = Rotation.random(rng=rng).as_matrix()
    return Mesh(np.asarray(shape.vertices, float) @ turn.T, np.asarray(shape.faces, np.int64))


def random_job(folder: Path, rng: np.random.Generator) -> tuple[Path, bool, str]:
    """Write a part and a job about it, bay frame near the part's. Returns the job, whether it has a scan, and words."""
    trimesh.creation.box([60, 60, 60]).export(folder / "part.stl")
    scanned, hot = rng.random() < 0.35, rng.random() < 0.4
    turn = rng.normal(size=3).round(3).tolist()
    text = [
        'title = "keep-out trial"',
        '[part]\nfile = "part.stl"\nunit = "mm"\nmaterial = "316L"',
        f"tolerance = {rng.choice([0.0, 0.3])}",
        f'[register]\nmethod = "given"\nshift = [5, -3, 2]\nturn = {{ axis = {turn}, degrees = {rng.uniform(0, 40)} }}',
        f"sigma_shift = {rng.choice([0.0, 0.2])}\nsigma_turn = {rng.choice([0.0, 0.1])}",
    ]
    zones = [_zone(rng, number, hot) for number in range(int(rng.integers(1, 4)))]
    if scanned:
        trimesh.PointCloud(_walls(rng)).export(folder / "bay.ply")
        text.append('[bay]\nfiles = ["bay.ply"]\nunit = "mm"\naccuracy = 0.05')
        zones.append(f'[[zone]]\nname = "scan"\nkind = "chassis"\nwhere = {{ rest = true }}\ngap = {rng.uniform(2, 9)}')
    moves = rng.random() < 0.85
    if moves:
        text.append(_rock(rng))
    if moves and not hot and rng.random() < 0.4:
        zones.append(
            '[[zone]]\nname = "shaft"\nkind = "axle"\nrides = "link"\ngap = 5.0\n'
            "where = { cylinder = { from = [70, -60, 0], to = [70, 90, 0], diameter = 18 }, solid = true }\n"
            "travel = { about = [70, 300, 0], axis = [1, 0, 0], degrees = [-4, 3] }\n"
            '[[link]]\nname = "link"\nengine = [70, -60, 0]\nchassis = [70, 200, 0]'
        )
    if hot:
        text.append(
            '[heat]\npart_temperature = 600\nambient = 20\nanchor = "flange"\n[[datum]]\nname = "flange"\non = "part"\n'
            "face = { point = [-30, 0, 0], normal = [-1, 0, 0], radius = 20 }"
        )
    job = folder / "job.toml"
    job.write_text("\n".join([*text, *zones]))
    words = [name for name, there in (("scan", scanned), ("rock", moves), ("heat", hot)) if there]
    return job, scanned, f"{len(zones)} zones, {' and '.join(words) or 'still'}"


def _zone(rng: np.random.Generator, number: int, hot: bool) -> str:
    centre = rng.normal(size=3)
    centre = (centre / np.linalg.norm(centre) * rng.uniform(60, 90)).round(2)
    half = rng.uniform(5, 25, 3).round(2)
    other = (centre + rng.normal(size=3) * 40).round(2)
    shape = (
        f"box = {{ min = {(centre - half).tolist()}, max = {(centre + half).tolist()} }}",
        f"sphere = {{ center = {centre.tolist()}, diameter = {half[0] * 2} }}",
        f"capsule = {{ from = {centre.tolist()}, to = {other.tolist()}, diameter = {half[1]} }}",
    )[int(rng.integers(3))]
    lines = [
        f'[[zone]]\nname = "zone {number}"\nkind = "chassis"\ngap = {rng.choice([0.0, 2.0, 6.0, 15.0])}',
        f"where = {{ {shape}, solid = true }}",
        f'rides = "{rng.choice(["chassis", "engine"])}"',
    ]
    if not hot and rng.random() < 0.4:
        lines.append(f"stroke = {{ axis = {rng.normal(size=3).round(3).tolist()}, mm = [-2, {rng.uniform(1, 12)}] }}")
    if shape.startswith("box") and not hot and rng.random() < 0.4:  # a finely cut one is built anew at every angle
        lines.append(
            f"travel = {{ about = {other.tolist()}, axis = [1, 0.5, 0], degrees = [-5, {rng.uniform(1, 9)}] }}"
        )
    return "\n".join(lines)


def _rock(rng: np.random.Generator) -> str:
    point, direction = (rng.normal(size=3) * 40).round(2).tolist(), rng.normal(size=3).round(3).tolist()
    low, high = rng.uniform(0, 5, 2)
    return (
        f"[rock]\naxis = {{ point = {point}, direction = {direction} }}\nroll = [{-low}, {high}]\n"
        f"lift = [-1.0, {rng.uniform(0, 5)}]\nshift = [0, {rng.choice([0.0, 3.0])}]"
    )


def _walls(rng: np.random.Generator) -> np.ndarray:
    """Two scanned walls beside the part, with noise, coarser to one side, and a few strays in company."""
    u, v = np.meshgrid(np.arange(-130, 130.1, 2.5), np.arange(-130, 130.1, 2.5))
    u, v = u.ravel() * (1 + 0.3 * (u.ravel() > 0)), v.ravel()
    first = np.column_stack([u, np.full(u.size, 75.0), v])
    second = np.column_stack([u, v, np.full(u.size, -70.0)])
    walls = np.vstack([first[first[:, 2] > -65], second[second[:, 1] < 70]])
    strays = np.array([[-60.0, 20, 50], [-55.0, 24, 55], [-58.0, 14, 49], [-61.0, 22, 58]])
    return np.vstack([walls + rng.normal(size=walls.shape) * 0.08, strays[: int(rng.integers(0, 5))]])


if __name__ == "__main__":
    main()
