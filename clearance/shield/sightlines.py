"""The lines along which the hot part heats what gets too hot: from points of the zones to where they see the part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from clearance.frames import Array
from clearance.heat.emitter import LIFT_MM
from clearance.heat.neighbour import Neighbour, Source
from clearance.motion.pair import PairMotion
from clearance.outputs.raycast import RayMesh
from clearance.scene.mesh import IntArray, Mesh
from clearance.shield.surface import Mask

MOST_POINTS, RAYS = 400, 64
"""Too hot points of a zone, and rays from each, in each of its poses."""

LOOKS = 16
"""Too hot points to which a triangle of the part looks out."""

BEFORE_MM = 0.5
"""A sheet counts as standing before the part where it is met this much earlier."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Sightlines:
    """Rays that carry heat, in the bay's frame with the part at its neutral pose, mm.

    Attributes
    ----------
    start, way : (n, 3) float64
        Place of the too hot point as the part sees it, and the unit vector towards the part.
    length : (n,) float64
        From there to the part.
    face : (n,) int64
        Triangle of the part that is met.
    pose : (n,) int64
        Which pose of which zone the ray belongs to.
    power : (n,) float64
        What it carries: the fourth power of the temperature met, every pose's rays 1 in all.
    hot : (h, 3) float64
        The too hot points at rest.
    """

    start: Array
    way: Array
    length: Array
    face: IntArray
    pose: IntArray
    power: Array
    hot: Array

    def stopped_by(self, sheet: Mesh) -> Array:
        """Return for each ray, (n,) 1 or 0, whether it meets the sheet before the part."""
        stopped: Array = (RayMesh(sheet).first_mm(self.start, self.way) < self.length - BEFORE_MM).astype(np.float64)
        return stopped

    def share_stopped(self, stopped: Array) -> float:
        """Return the share of what is carried that is stopped, in the pose in which that is least."""
        if not len(self.power):
            return 1.0
        return float(np.bincount(self.pose, self.power * stopped).min())

    def bare(self, sheet: Mesh, part: Mesh, need_faces: Mask) -> tuple[float, Array]:
        """Return the area of the needed triangles, mm², that is seen past the sheet at rest, and its middle, (3,) mm.

        A triangle counts with the share of `LOOKS` too hot points, drawn at random of those in its sight, that the
        sheet does not hide from it.
        """
        face = np.flatnonzero(need_faces)
        a, b, c = part.triangles[face].swapaxes(0, 1)
        across = np.cross(b - a, c - a)
        size = np.linalg.norm(across, axis=1)
        normal, centre = across / np.maximum(size, 1e-300)[:, None], (a + b + c) / 3
        chosen = np.random.default_rng(0).integers(len(self.hot), size=(len(face), LOOKS))
        start = np.repeat(centre + LIFT_MM * normal, LOOKS, axis=0)
        way = self.hot[chosen].reshape(-1, 3) - start
        length = np.linalg.norm(way, axis=1)
        way /= np.maximum(length, 1e-300)[:, None]
        seen = (np.einsum("ij,ij->i", way, np.repeat(normal, LOOKS, axis=0)) > 0) & (
            RayMesh(part).first_mm(start, way) > length
        )
        past = seen & (RayMesh(sheet).first_mm(start, way) > length)
        share = past.reshape(-1, LOOKS).sum(axis=1) / np.maximum(seen.reshape(-1, LOOKS).sum(axis=1), 1)
        area = size / 2 * share
        if not area.any():
            return 0.0, np.zeros(3)
        middle: Array = np.average(centre, axis=0, weights=area)
        return float(area.sum()), middle


def sightlines(hot: Sequence[tuple[Neighbour, PairMotion]], source: Source) -> Sightlines:
    """Cast the lines from too hot points, bare, at rest and with every motion at its ends (sampled, cold).

    Parameters
    ----------
    hot : points of each zone and how it moves against the part
    """
    made, number, points_at_rest = [], 0, [np.zeros((0, 3))]
    for near, motion in hot:
        step = -(-len(near.points) // MOST_POINTS)
        points, normals = near.points[::step], near.normals[::step]
        points_at_rest.append(points)
        for turn, shift in sampled_poses(motion):
            found = _cast(points @ turn.T + shift, normals @ turn.T, source)
            if len(found[2]):
                power = found[4] / found[4].sum()
                made.append((*found[:4], np.full(len(power), number, np.int64), power))
                number += 1
    hot_points = np.concatenate(points_at_rest)
    if not made:
        none: Array = np.zeros((0, 3))
        return Sightlines(
            start=none, way=none, length=none[:, 0], face=np.zeros(0, np.int64), pose=np.zeros(0, np.int64),
            power=none[:, 0], hot=none,
        )  # fmt: skip
    start, way, length, face, pose, power = (np.concatenate(column) for column in zip(*made, strict=True))
    return Sightlines(start=start, way=way, length=length, face=face, pose=pose, power=power, hot=hot_points)


def _cast(points: Array, normals: Array, source: Source) -> tuple[Array, Array, Array, IntArray, Array]:
    of_point, face, ways = source.part.sight.lines(points, normals, RAYS)
    start, way = points[of_point], ways.astype(np.float64)
    length = ray_lengths(start, way, source.part.mesh, face)
    sound = np.isfinite(length)
    power = source.part.temperature_K[face] ** 4
    return start[sound], way[sound], length[sound], face[sound], power[sound]


def ray_lengths(start: Array, way: Array, mesh: Mesh, face: IntArray) -> Array:
    """Return how far rays (n, 3), along unit vectors (n, 3), go to the triangles (n,) they meet, mm; inf if edge-on."""
    a, b, c = mesh.triangles[face].swapaxes(0, 1)
    across = np.cross(b - a, c - a)
    steep = np.einsum("ij,ij->i", across, way)
    length = np.einsum("ij,ij->i", across, a - start) / np.where(np.abs(steep) > 0, steep, 1.0)
    sound = (np.abs(steep) > 1e-6 * np.linalg.norm(across, axis=1)) & (length > 0)
    return np.where(sound, length, np.inf)


def sampled_poses(motion: PairMotion) -> Iterator[tuple[Array, Array]]:
    """How the zone is seen from the part: at rest, then at each end of every angle, straight motions in the middle."""
    yield np.eye(3), np.zeros(3)
    moves = list(zip(motion.low, motion.high, strict=True))
    for angles in product(*moves) if moves else ():
        yield motion.zone_to_part(np.array(angles), motion.half_shares)
