"""Which points of the bay's scan lie on the engine, and so ride with it."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.registration.cloud import CloudModel, cloud_model
from clearance.registration.result import Registration
from clearance.scene.engine import Engine
from clearance.scene.mesh import Mesh
from clearance.scene.peeled import Peeled
from clearance.scene.scan import Scan

Mask = NDArray[np.bool_]

SIGMAS = 3.0
"""How many standard uncertainties off the engine's surface a point may lie and still be on it."""

MODEL_MM = 0.3
"""What an engine departs from its mesh by without anybody calling it another engine (common practice)."""

AROUND, ASIDE = 16, 0.5
"""Points of an engine's scan looked at to tell whether it goes on all round a place, and how far to one side their
mean may be, against their mean distance: 2/pi on the rim of a sheet (centroid of a half disc), sqrt(2)/pi on the edge
of a box, 0 amid a surface."""

DOUBT = 2.0
"""Points within so many times the reach may be on the engine: they count as riding on it and as standing still."""


def model_of(engine: Engine) -> Mesh | CloudModel:
    """Return the engine reference as something to fit to the scan."""
    if engine.mesh is not None:
        return engine.mesh
    assert engine.points is not None
    return cloud_model(engine.points)


def peel(engine: Mesh | CloudModel, placed: Registration, scan: Scan) -> Peeled:
    """Tell which points of the scan lie on the engine.

    A point is on the engine if it lies within 3 standard uncertainties of its surface: the point's
    noise, the scanner's accuracy and the engine's placement there, combined as the root of the sum
    of squares (JCGM 100:2008, 5.1.2), plus what an engine departs from its model by. Where the engine
    is a scan, its points must also lie all round: what is flush with it beyond its rim is in doubt.

    Parameters
    ----------
    engine : Mesh or CloudModel
        In the frame that `placed` maps into the bay, mm.
    """
    pose = placed.T_bay_part
    places = engine.vertices if isinstance(engine, Mesh) else engine.points
    reach_most = MODEL_MM + SIGMAS * float(
        np.hypot(np.hypot(scan.noise_mm, scan.accuracy_mm), placed.largest_sigma_mm(_corners(pose.apply(places))).max())
    )
    local = pose.inverse().apply(scan.points)
    low, high = places.min(axis=0) - DOUBT * reach_most, places.max(axis=0) + DOUBT * reach_most
    near = np.flatnonzero(((local >= low) & (local <= high)).all(axis=1))
    on, doubtful = np.zeros(len(local), dtype=bool), np.zeros(len(local), dtype=bool)
    if len(near):
        away = _distance(engine, local[near])
        sigma = placed.largest_sigma_mm(scan.points[near])
        reach = MODEL_MM + SIGMAS * np.sqrt(scan.noise_mm**2 + scan.accuracy_mm**2 + sigma**2)
        on[near] = (away <= reach) & _within_rim(engine, local[near])
        doubtful[near] = (away <= DOUBT * reach) & ~on[near]
    return Peeled(on, doubtful)


def _corners(points: Array) -> Array:
    """Return the (8, 3) corners of the points' bounding box: no place within is less sure than all of them."""
    ends = np.stack([points.min(axis=0), points.max(axis=0)])
    return np.stack([ends[[i, j, k], [0, 1, 2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)])


def _distance(engine: Mesh | CloudModel, points: Array) -> Array:
    """Distance, (n,) mm, to the mesh, or to the local plane of the cloud where it has points beside."""
    if isinstance(engine, Mesh):
        squared, _, _ = igl.point_mesh_squared_distance(np.ascontiguousarray(points), engine.vertices, engine.faces)
        return np.sqrt(np.asarray(squared, np.float64))
    apart, index = cKDTree(engine.points, compact_nodes=False).query(points)
    across = np.abs(((points - engine.points[index]) * engine.normals[index]).sum(axis=1))
    beside: Array = np.where(apart <= 2 * engine.spacing_mm, across, apart)
    return beside


def _within_rim(engine: Mesh | CloudModel, points: Array) -> Mask:
    """Tell about which (n, 3) points the engine goes on all round: its nearest points are not all to one side."""
    if isinstance(engine, Mesh):
        return np.ones(len(points), dtype=bool)
    tree = cKDTree(engine.points, compact_nodes=False)
    index = np.asarray(tree.query(points, min(AROUND, len(engine.points)))[1])
    offset = engine.points[index] - points[:, None]
    aside = np.linalg.norm(offset.mean(axis=1), axis=1)
    return np.asarray(aside <= ASIDE * np.linalg.norm(offset, axis=2).mean(axis=1))
