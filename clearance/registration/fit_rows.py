"""The scan points that lie on a placed part, and the linearised robust fit at that pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, Pose
from clearance.registration.cloud import SEED, plane_normals, plane_radius
from clearance.registration.surface import Surface

SCHEDULE = ((30.0, 12.0), (15.0, 6.0), (8.0, 3.0), (4.0, 1.5))
"""Correspondence distance and Tukey width of each stage, mm, coarse to fine; times the surface's scale."""

MOST_POINTS = 40_000
"""Scan points fitted at most, drawn at random (seeded): more add time, not certainty, as their errors go together."""

LEAST_POINTS = 200

ALONG = 0.7
"""Cosine between the scan's own normal and the surface's; below it the point belongs to something else."""


@dataclass(frozen=True, eq=False)
class Near:
    """Scan points near the part and the scan's own normals there, either sign; (n, 3) each, bay frame, mm."""

    points: Array
    normals: Array


@dataclass(frozen=True, eq=False)
class Fit:
    """Linearised robust fit at a pose: one row per scan point used.

    rows (m, 6) of d(residual)/d(turn about the centre, shift); residuals (m,) mm; weights (m,);
    points (m, 3) bay, mm; `agreeing`: share of the near points that are used.
    """

    rows: Array
    residuals: Array
    weights: Array
    points: Array
    agreeing: float

    @property
    def normal_matrix(self) -> Array:
        """(6, 6) sum of weighted outer products of the rows."""
        matrix: Array = (self.rows * self.weights[:, None]).T @ self.rows
        return matrix

    @property
    def rms_mm(self) -> float:
        """Weighted root mean square residual."""
        return float(np.sqrt((self.weights * self.residuals**2).sum() / self.weights.sum()))

    def step(self) -> Array:
        """Return the (6,) Gauss-Newton step."""
        pull = self.rows.T @ (self.weights * self.residuals)
        return np.asarray(np.linalg.lstsq(self.normal_matrix, pull, rcond=None)[0], np.float64)


def near_points(start: Pose, surface: Surface, scan_points: Array) -> Near:
    """Return the scan points, bay frame, within the first stage's reach of the part, thinned to `MOST_POINTS`."""
    reach = SCHEDULE[0][0] * surface.scale
    seen = start.inverse().apply(scan_points)
    low, high = surface.outline.min(axis=0) - reach, surface.outline.max(axis=0) + reach
    boxed = np.flatnonzero(((seen > low) & (seen < high)).all(axis=1))
    if len(boxed):
        tree = cKDTree(surface.samples, compact_nodes=False)
        boxed = boxed[np.isfinite(tree.query(seen[boxed], distance_upper_bound=reach)[0])]
    if len(boxed) > MOST_POINTS:
        boxed = np.sort(np.random.default_rng(SEED).choice(boxed, MOST_POINTS, replace=False))
    points = np.ascontiguousarray(scan_points[boxed])
    if len(points) < LEAST_POINTS:
        return Near(points, np.zeros_like(points))
    return Near(points, plane_normals(points, plane_radius(points)))


def linearised(pose: Pose, surface: Surface, near: Near, centre: Array) -> Fit:
    """Fit rows of the scan points within the last stage's Tukey width of the part, turns about `centre`."""
    distance_most, width = (length * surface.scale for length in SCHEDULE[-1])
    if not len(near.points):
        return Fit(np.zeros((0, 6)), np.zeros(0), np.zeros(0), near.points, 0.0)
    feet = surface.feet(pose.inverse().apply(near.points))
    turned = feet.normals @ pose.rotation.T
    distance = np.abs(feet.across)
    alike = np.abs((turned * near.normals).sum(axis=1)) > ALONG
    used = feet.facing & (distance < width) & alike
    place, normal = pose.apply(feet.places[used]), turned[used]
    return Fit(
        rows=np.hstack([np.cross(place - centre, normal), normal]),
        residuals=feet.across[used],
        weights=(1 - (distance[used] / width) ** 2) ** 2,
        points=near.points[used],
        agreeing=float(used.sum() / max(1, (feet.facing & (distance < distance_most)).sum())),
    )
