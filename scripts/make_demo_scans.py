"""Make the demo scene: parts, scans, jobs and the truth about them.

    python scripts/make_demo_scans.py OUTDIR      write everything there
    python scripts/make_demo_scans.py --check     make it again and compare with scans_demo/ byte for byte

Seeded: the same library versions give the same bytes. Needs the dev extras (manifold3d). Takes about two minutes.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from demo_scene.bay import (
    HOLE_Y,
    LIFT_MM,
    ROCK_AXIS,
    ROCK_POINT,
    ROLL_DEG,
    SHIFT_MM,
    Solid,
    actuator,
    pose_bay_part,
    surroundings,
)  # fmt: skip
from demo_scene.jobs import BAY_FILES, GAPS, JOBS, RAIL_FILE, access_job_text, hot_job_text, job_text, picked_landmarks
from demo_scene.part import REVISIONS, Array, manifold_of
from demo_scene.scanner import Shots, first_visit, second_visit
from demo_scene.truth import Truth, least_clearance

SHIPPED = Path(__file__).resolve().parent.parent / "scans_demo"
SEED = 20
ROCK = {"point": ROCK_POINT, "axis": ROCK_AXIS, "roll_deg": ROLL_DEG, "lift_mm": LIFT_MM, "shift_mm": SHIFT_MM}
ABOUT = (
    "True place and clearances of the demo scene, mm, bay frame; every minimum lies in [lower_mm, upper_mm]. "
    "Found by brute force over all triangles and a box of poses, cut until the bound was that narrow."
)
AT_REST_MM = 0.05
OVER_ROCK_MM = {"frame rail": 0.1}
USUAL_MM = 0.5
"""Widths of the true minima's bounds: at rest, over the rock for the zone that decides, and for the others."""

Parts = dict[str, tuple[Array, np.ndarray]]


def write_stl(path: Path, vertices: Array, faces: np.ndarray) -> None:
    """Write a binary STL."""
    corners = vertices[faces].astype("<f4")
    record = np.zeros(len(faces), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).astype(np.float64)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record["normal"], record["corners"] = normal / np.where(length > 0, length, 1.0), corners
    path.write_bytes(b"closed mesh".ljust(80) + np.uint32(len(faces)).astype("<u4").tobytes() + record.tobytes())


def write_ply(path: Path, points: Array) -> None:
    """Write points as binary PLY, single precision."""
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\n"
    head += "property float x\nproperty float y\nproperty float z\nend_header\n"
    path.write_bytes(head.encode() + points.astype("<f4").tobytes())


def truth_record(found: Truth) -> dict[str, Any]:
    """Return a true minimum for the record, rounded outward."""
    roll, lift, shift = found.pose
    return {
        "lower_mm": math.floor(found.lower_mm * 1e4) / 1e4,
        "upper_mm": math.ceil(found.upper_mm * 1e4) / 1e4,
        "at": {"roll_deg": roll, "lift_mm": lift, "shift_mm": shift},
        "on_part_mm": [round(c, 4) for c in found.on_part_mm],
    }


def true_clearances(part: tuple[Array, np.ndarray], solids: list[Solid]) -> dict[str, Any]:
    """Return the true minimum to every zone, at rest and over the rock."""
    vertices, faces = part
    pose = pose_bay_part()
    triangles = (vertices @ pose[:3, :3].T + pose[:3, 3])[faces]
    found = {}
    for solid in solids:
        name = "everything else" if solid.name == "rest" else solid.name
        rest = least_clearance(triangles, solid, False, AT_REST_MM)
        rides = name == "wastegate actuator"
        rock = rest if rides else least_clearance(triangles, solid, True, OVER_ROCK_MM.get(name, USUAL_MM))
        found[name] = {"gap_mm": GAPS[name], "at_rest": truth_record(rest), "over_rock": truth_record(rock)}
    return found


def scan_record(file: str, shots: Shots) -> dict[str, Any]:
    """Return what a scan is made of."""
    names, counts = np.unique(shots.met, return_counts=True)
    met = dict(zip(names.tolist(), counts.tolist(), strict=True))
    return {"file": file, "points": len(shots.points), "met": met, "shift_mm": [round(c, 4) for c in shots.shift]}


def make(out: Path) -> None:
    """Write the whole scene into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    parts: Parts = {revision.name: manifold_of(revision) for revision in REVISIONS}
    for name, (vertices, faces) in parts.items():
        write_stl(out / f"{name}.stl", vertices, faces)
    pose, solids, moving = pose_bay_part(), surroundings(), actuator()
    write_stl(out / "actuator.stl", moving.vertices / 10.0, moving.faces)
    in_bay = np.concatenate([v for v, _ in parts.values()]) @ pose[:3, :3].T + pose[:3, 3]
    work_area = np.stack([in_bay.min(axis=0) - (15.0, 10.0, 25.0), in_bay.max(axis=0) + 10.0])
    rng = np.random.default_rng(SEED)
    visits = [*first_visit(solids, work_area, rng), second_visit(solids, work_area, rng)]
    scans = dict(zip((*BAY_FILES, RAIL_FILE), visits, strict=True))
    for name, shots in scans.items():
        write_ply(out / name, shots.points)
    landmarks = picked_landmarks(pose, rng)
    for job in JOBS:
        (out / f"{job.name}.toml").write_text(job_text(job, landmarks), encoding="utf-8", newline="\n")
    mended = next(job for job in JOBS if job.name == "rev_b")
    for folder, text in (("heat", hot_job_text), ("access", access_job_text)):
        (out / folder).mkdir(exist_ok=True)
        (out / folder / "rev_b.toml").write_text(text(mended, landmarks), encoding="utf-8", newline="\n")
    true = {name: true_clearances(part, [*solids, moving]) for name, part in parts.items()}
    record = {
        "about": ABOUT,
        "T_bay_part": pose.tolist(),
        "landmarks": {n: {"part_mm": p, "bay_mm": b, "picked_mm": k} for n, (p, b, k) in landmarks.items()},
        "rock": ROCK,
        "scans": [scan_record(name, shots) for name, shots in scans.items()],
        "hole_in_first_visit": {"zone": "frame rail", "y_mm": HOLE_Y},
        "jobs": {job.name: true[job.part.removesuffix(".stl")] for job in JOBS},
    }
    (out / "truth.json").write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8", newline="\n")


def differences(made: Path, shipped: Path) -> list[str]:
    """Return the names of files that differ or are in one folder only."""
    names = {p.relative_to(folder).as_posix() for folder in (made, shipped) for p in folder.rglob("*") if p.is_file()}
    return [n for n in sorted(names) if _bytes(made / n) != _bytes(shipped / n)]


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


def main() -> int:
    """Read the arguments and do it; 0 if done and, with --check, alike."""
    reader = argparse.ArgumentParser(description="Make the demo scene.")
    reader.add_argument("out", metavar="OUTDIR", nargs="?", type=Path)
    reader.add_argument("--check", action="store_true", help="compare with scans_demo/")
    given = reader.parse_args()
    if (given.out is None) == (not given.check):
        reader.error("give OUTDIR or --check, not both")
    if given.out is not None:
        make(given.out)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        make(Path(folder))
        unlike = differences(Path(folder), SHIPPED)
    print(f"differ: {', '.join(unlike)}" if unlike else "scans_demo/ is as made")
    return 1 if unlike else 0


if __name__ == "__main__":
    sys.exit(main())
