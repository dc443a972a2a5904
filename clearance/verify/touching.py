"""What the part is meant to touch, worked out again: which scan points, and how much of a mesh, a face may mask.

A face masks what lies in its disc and within `slack_mm` of its plane, where the part does not reach through it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from clearance.frames import Array, Pose
from clearance.job.schema import Job
from clearance.registration.result import Registration
from clearance.scene.contact import LOST_POINTS, SIGMAS, STEP_MM
from clearance.scene.mesh import Mesh
from clearance.scene.scan import Scan
from clearance.verify.target import Target

Mask = NDArray[np.bool_]

SAME_MM = 1e-6
SKIN_MM = 0.05
"""So near to the part's skin it is left open whether a place is inside."""

SAME_MM2 = 1e-3
"""Areas of a few dm2 in a few thousand pieces agree to this."""

SIDE_ON = 1e-3
"""Cosine to the face's normal below which the area of a triangle in its disc is not worked out."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Disc:
    """A face in the bay: middle (3,), unit normal (3,) out of the part, radius, mm."""

    middle: Array
    normal: Array
    radius_mm: float

    def lies(self, points: Array) -> tuple[Array, Array]:
        """Return heights (n,) over the plane, out of the part, and distances (n,) from the middle along it."""
        away = points - self.middle
        height = away @ self.normal
        return height, np.linalg.norm(np.cross(away, self.normal), axis=1)


def discs_of(job: Job, T_bay_part: Pose) -> tuple[Disc, ...]:
    """Return the faces that `part.contact` names, bay frame."""
    faces = [d.face for name in job.part.contact for d in job.datums if d.on == "part" and d.name == name]
    return tuple(
        Disc(
            middle=T_bay_part.apply(np.array(face.point)),
            normal=T_bay_part.rotation @ (np.array(face.normal) / np.linalg.norm(face.normal)),
            radius_mm=face.radius,
        )
        for face in faces
        if face is not None
    )


def slack_of(discs: tuple[Disc, ...], registration: Registration, scan: Scan | None) -> float:
    """Return how far from a plane a point still counts as touching, mm: the step, and sigmas added as squares."""
    placed = max(registration.sigma_mm(disc.middle, disc.normal) for disc in discs)
    if scan is None:
        return STEP_MM + SIGMAS * placed
    sigmas = max(SIGMAS, float(-norm.ppf(LOST_POINTS / (2 * max(len(scan.points), 1)))))
    return STEP_MM + float(np.sqrt((sigmas * scan.noise_mm) ** 2 + (SIGMAS * placed) ** 2))


def may_touch(points: Array, discs: tuple[Disc, ...], slack_mm: float, target: Target, origin: Array) -> Array:
    """Return for (n, 3) points, bay: 1 those surely masked, 0 those surely not, 0.5 at the edge of a disc or slack."""
    told = np.zeros(len(points))
    for disc in discs:
        height, away = disc.lies(points)
        over = np.maximum(np.abs(height) - slack_mm, away - disc.radius_mm)
        near = np.flatnonzero(over <= SAME_MM)
        feet = points[near] + (slack_mm - height[near])[:, None] * disc.normal - origin
        inside, skin = target.inside(feet), target.distance(feet) <= SKIN_MM
        own = np.where(skin | (over[near] > -SAME_MM), 0.5, 1.0)
        own[inside & ~skin] = 0.0
        told[near] = np.maximum(told[near], own)
    return told


def mesh_faults(
    whole: Mesh, left: Mesh, closed: bool, discs: tuple[Disc, ...], slack_mm: float, claimed_mm2: float
) -> list[str]:
    """Return what is wrong with a mesh of which a part was masked. ValueError where that is not worked out here.

    Triangles that no face can mask must be there as they were. Of the others, as much area must be left
    outside the discs as there was, all of it on the old surface, and the claimed area be what is gone.
    """
    flat = np.zeros(len(whole.faces), dtype=bool)
    for disc in discs:
        flat |= _flat(whole, closed, disc, slack_mm)
    kept, same = _among(whole.triangles[~flat], left.triangles)
    faults = []
    if not kept.all():
        faults.append(f"{int((~kept).sum())} triangles are missing that no face of contact may mask")
    before, after = whole.triangles[flat], left.triangles[~same]
    gone = _area(before) - _area(after)
    if abs(gone - claimed_mm2) > SAME_MM2:
        faults.append(f"its certificate masks {claimed_mm2:.3f} mm2, {gone:.3f} mm2 of its surface are gone")
    outside = [_area(soup) - sum(_area_in_disc(soup, disc) for disc in discs) for soup in (before, after)]
    if abs(outside[0] - outside[1]) > SAME_MM2:
        faults.append(f"{outside[0] - outside[1]:.3f} mm2 are gone from outside the discs of contact")
    if len(after) and float(Target(whole).distance(after.reshape(-1, 3)).max()) > SAME_MM:
        faults.append("what is left of it does not lie on its old surface")
    return faults


def check_plain(discs: tuple[Disc, ...], part: Mesh, slack_mm: float) -> None:
    """Raise ValueError where discs share places or the part reaches through a plane: areas do not tell then."""
    for k, disc in enumerate(discs):
        if (disc.lies(part.vertices)[0] > slack_mm).any():
            raise ValueError("the part reaches through a face of contact")
        for other in discs[k + 1 :]:
            if np.linalg.norm(disc.middle - other.middle) < disc.radius_mm + other.radius_mm:
                raise ValueError("faces of contact overlap")


def _flat(mesh: Mesh, closed: bool, disc: Disc, slack_mm: float) -> Mask:
    height = disc.lies(mesh.vertices)[0]
    a, b, c = mesh.triangles.swapaxes(0, 1)
    level = (np.abs(height[mesh.faces]) <= slack_mm + SAME_MM).all(axis=1)
    return np.asarray(level & (np.cross(b - a, c - a) @ disc.normal < 0) if closed else level)


def _among(some: Array, every: Array) -> tuple[Mask, Mask]:
    """Tell which of (n, 3, 3) triangles are among (m, 3, 3), and which of those are one of them."""
    keys = [[tuple(sorted(map(tuple, t))) for t in soup.tolist()] for soup in (some, every)]
    first, second = set(keys[0]), set(keys[1])
    return np.array([k in second for k in keys[0]], dtype=bool), np.array([k in first for k in keys[1]], dtype=bool)


def _area(triangles: Array) -> float:
    a, b, c = triangles.swapaxes(0, 1)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2


def _area_in_disc(triangles: Array, disc: Disc) -> float:
    """Area, mm2, of triangles within the round column over a disc: that of their shadow on its plane, over the cosine.

    A shadow's area in a circle about the origin is the sum over its edges of that of (origin, edge) in the circle.
    """
    if not len(triangles):
        return 0.0
    a, b, c = triangles.swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    cosine = np.abs(normal @ disc.normal) / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
    if (cosine < SIDE_ON).any():
        raise ValueError("a triangle stands on a face of contact")
    side = np.linalg.svd(disc.normal[None])[2][1:]
    corners = (triangles - disc.middle) @ side.T
    signed = sum(_sector(corners[:, k], corners[:, (k + 1) % 3], disc.radius_mm) for k in range(3))
    return float((np.abs(signed) / cosine).sum())


def _sector(p: Array, q: Array, radius: float) -> Array:
    """Signed area (n,) of the triangles (origin, p, q) within the circle of this radius about the origin."""
    way = q - p
    a, b, c = (way**2).sum(axis=1), (p * way).sum(axis=1), (p**2).sum(axis=1) - radius**2
    root = np.sqrt(np.maximum(b**2 - a * c, 0.0))
    a = np.maximum(a, 1e-300)
    enters, leaves = (np.clip((-b + s * root) / a, 0.0, 1.0) for s in (-1, 1))
    first, second = p + enters[:, None] * way, p + leaves[:, None] * way
    round_ = _angle(p, first) + _angle(second, q)
    area: Array = (_cross(first, second) + radius**2 * round_) / 2
    return area


def _cross(p: Array, q: Array) -> Array:
    cross: Array = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    return cross


def _angle(p: Array, q: Array) -> Array:
    return np.asarray(np.arctan2(_cross(p, q), (p * q).sum(axis=1)))
