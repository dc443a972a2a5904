"""Loops over poses as a user would write them with the libraries alone: no bound proven between poses.

The scan is turned back about the rock axis instead of the part, which is the same distance and spares a rebuild.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from bench_scene.shapes import Array
from bench_scene.sweeps import AXIS
from clearance.frames import rotation_about

Ask = Callable[[Array], float]
"""Points of the scan, (n, 3) mm, to their least distance, mm."""


@dataclass(frozen=True)
class Loop:
    """A plain loop: `prepare(part, points, bound_mm)` builds what asks one pose."""

    name: str
    prepare: Callable[[Any, Array, float], Ask]
    most_points: int | None = None

    def run(self, body: Any, scan: Array, poses: Array, bound_mm: float) -> tuple[float | None, float, float, float]:
        """Return the least distance, build time, wall and CPU seconds a pose.

        Where only some points are asked, for the loop is too slow, times are scaled up and no distance is told.
        """
        share = 1.0 if self.most_points is None else min(1.0, self.most_points / len(scan))
        scan = scan[:: round(1 / share)] if share < 1 else scan
        began = time.perf_counter()
        ask = self.prepare(body, scan, bound_mm)
        build = time.perf_counter() - began
        ask(scan[:100])  # Warp compiles at the first question.
        wall, cpu, least = time.perf_counter(), time.process_time(), np.inf
        for angle in poses:
            turn = rotation_about(AXIS[1], -float(angle))
            least = min(least, ask((scan - AXIS[0]) @ turn.T + AXIS[0]))
        each = (time.perf_counter() - wall) / len(poses) / share
        return least if share == 1 else None, build, each, (time.process_time() - cpu) / len(poses) / share


def _open3d(body: Any, scan: Array, bound_mm: float) -> Ask:
    from clearance.scene.open3d_import import open3d

    o3d = open3d()
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        o3d.core.Tensor(body.vertices.astype(np.float32)), o3d.core.Tensor(body.faces.astype(np.uint32))
    )
    return lambda points: float(scene.compute_distance(o3d.core.Tensor(points.astype(np.float32))).numpy().min())


def _igl(body: Any, scan: Array, bound_mm: float) -> Ask:
    import igl

    tree = igl.AABB()
    tree.init(body.vertices, body.faces)
    return lambda points: float(
        np.sqrt(np.min(tree.squared_distance(body.vertices, body.faces, np.ascontiguousarray(points))[0]))
    )


def _trimesh(body: Any, scan: Array, bound_mm: float) -> Ask:
    import trimesh

    query = trimesh.proximity.ProximityQuery(trimesh.Trimesh(body.vertices, body.faces, process=False))
    return lambda points: float(query.on_surface(points)[1].min())


def _kd_tree(body: Any, scan: Array, bound_mm: float) -> Ask:
    tree = cKDTree(body.vertices, balanced_tree=False, compact_nodes=False)
    return lambda points: float(tree.query(points, workers=-1)[0].min())


def _kd_tree_bounded(body: Any, scan: Array, bound_mm: float) -> Ask:
    tree = cKDTree(body.vertices, balanced_tree=False, compact_nodes=False)
    return lambda points: float(tree.query(points, workers=-1, distance_upper_bound=bound_mm + 25.0)[0].min())


def _fcl(body: Any, scan: Array, bound_mm: float) -> Ask:
    import fcl

    model = fcl.BVHModel()
    model.beginModel(len(body.faces), len(body.vertices))
    model.addSubModel(body.vertices, body.faces)
    model.endModel()
    part, ball = fcl.CollisionObject(model), fcl.Sphere(1e-6)

    def ask(points: Array) -> float:
        return min(
            fcl.distance(
                part, fcl.CollisionObject(ball, fcl.Transform(point)), fcl.DistanceRequest(), fcl.DistanceResult()
            )
            for point in points
        )

    return ask


def _warp(body: Any, scan: Array, bound_mm: float) -> Ask:
    from bench_scene.warp_loop import least_distance

    return least_distance(body.vertices, body.faces, bound_mm + 1.0)


LOOPS = (
    Loop("open3d closest points", _open3d),
    Loop("libigl closest points", _igl),
    Loop("KD-tree of part vertices", _kd_tree),
    Loop("KD-tree of part vertices, bound given", _kd_tree_bounded),
    Loop("python-fcl, a ball a point", _fcl, 2000),
    Loop("trimesh closest points", _trimesh, 400),
    Loop("Warp closest points, bound given", _warp),
)
