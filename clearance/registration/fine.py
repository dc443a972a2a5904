"""Settle a placed part on the scan points that lie on it, and say how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import igl
import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, Pose, rigid
from clearance.registration.result import Registration
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.open3d_import import open3d

SCHEDULE = ((30.0, 12.0), (15.0, 6.0), (8.0, 3.0), (4.0, 1.5))
"""Correspondence distance and Tukey width of each stage, mm, coarse to fine."""

SAMPLES = 60_000
SEED = 20_240
SHOWN_MM = 2.5
"""A place of the part counts as shown by the scan if a point lies this near."""

LEAST_SHOWN = 0.08
"""Share of the part's surface the scan must show."""

SETTLED_MM = 0.02
"""Largest move of any part vertex that one more step may still make."""

ON_FACE = 0.99
"""Cosine between face normal and the way to the point; below it the point lies beyond an edge and fixes nothing."""

LEAST_FIXED = 0.03
"""Smallest over largest stiffness of the fit, rotations counted at the part's radius, below which a motion is free."""

BLOCKS_MM = (20.0, 50.0, 100.0)
LEAST_BLOCKS = 6
DRAWS = 200
WIDEN = 1.5
"""Residuals cannot show warps of the scan longer than a block: bootstrap sigmas are widened by this."""


@dataclass(frozen=True, eq=False)
class _Fit:
    """Linearised robust fit at a pose: one row per scan point used.

    rows (m, 6) of d(residual)/d(turn about `centre`, shift); residuals (m,) mm; weights (m,);
    points (m, 3) bay, mm.
    """

    rows: Array
    residuals: Array
    weights: Array
    points: Array

    @property
    def normal_matrix(self) -> Array:
        matrix: Array = (self.rows * self.weights[:, None]).T @ self.rows
        return matrix

    def step(self) -> Array:
        """Return the (6,) Gauss-Newton step."""
        pull = self.rows.T @ (self.weights * self.residuals)
        return -np.asarray(np.linalg.lstsq(self.normal_matrix, pull, rcond=None)[0], np.float64)


def refined(start: Registration, part: Mesh, scan_points: Array, accuracy_mm: float) -> Registration:
    """Return `start` settled on the scan by robust point-to-plane fitting (open3d, Tukey weights).

    The covariance is a block bootstrap of the final fit (the largest of several block sizes,
    widened), plus the scanner's accuracy as a shift. `converged` is True only if the start was
    sound, enough of the part is shown, the fit settled within the start's own doubt, and no motion
    is left free.
    """
    pose = _settle(start.T_bay_part, part, scan_points)
    fit = _linearised(pose, part, scan_points, start.centre)
    shown = _share_shown(pose, part, scan_points)
    faults = _faults(start, pose, part, fit, shown)
    if faults:
        notes = (*start.notes, *(f"refine: {fault}" for fault in faults))
        return replace(start, method=f"{start.method}+refine", converged=False, notes=notes)
    covariance = _bootstrap(fit)
    covariance[3:, 3:] += np.eye(3) * accuracy_mm**2
    rms = float(np.sqrt((fit.weights * fit.residuals**2).sum() / fit.weights.sum()))
    note = f"refine: the scan shows {100 * shown:.0f} % of the part; {len(fit.points)} points were fitted"
    return Registration(
        method=f"{start.method}+refine",
        T_bay_part=pose,
        converged=start.converged,
        residual_rms_mm=rms,
        residuals=start.residuals,
        covariance=covariance,
        centre=start.centre,
        notes=(*start.notes, note),
    )


def _settle(start: Pose, part: Mesh, scan_points: Array) -> Pose:
    """Run the coarse-to-fine fit of near scan points to samples of the part's surface."""
    o3d = open3d()
    surface, normals = _samples(part)
    target = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(surface))
    target.normals = o3d.utility.Vector3dVector(normals)
    low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
    pose = start.inverse()
    for distance, width in SCHEDULE:
        seen = pose.apply(scan_points)
        near = ((seen > low - distance) & (seen < high + distance)).all(axis=1)
        if near.sum() < 50:
            break
        source = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(seen[near])))
        estimate = o3d.pipelines.registration.TransformationEstimationPointToPlane(
            o3d.pipelines.registration.TukeyLoss(k=width)
        )
        criteria = o3d.pipelines.registration.ICPConvergenceCriteria(1e-9, 1e-9, 60)
        done = o3d.pipelines.registration.registration_icp(source, target, distance, np.eye(4), estimate, criteria)
        pose = _cleaned(np.asarray(done.transformation)) @ pose
    return pose.inverse()


def _cleaned(matrix: Array) -> Pose:
    """Return the nearest proper rotation with the translation."""
    left, _, right = np.linalg.svd(matrix[:3, :3])
    return rigid("part", "part", left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right, matrix[:3, 3])


def _samples(part: Mesh) -> tuple[Array, Array]:
    """Return points spread evenly over the surface by area (seeded) and their normals, part frame."""
    a, b, c = part.triangles.swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    doubled = np.linalg.norm(normal, axis=1)
    rng = np.random.default_rng(SEED)
    face = rng.choice(len(doubled), SAMPLES, p=doubled / doubled.sum())
    u, v = np.sqrt(rng.random(SAMPLES)), rng.random(SAMPLES)
    points = (1 - u)[:, None] * a[face] + (u * (1 - v))[:, None] * b[face] + (u * v)[:, None] * c[face]
    return points, normal[face] / doubled[face, None]


def _linearised(pose: Pose, part: Mesh, scan_points: Array, centre: Array) -> _Fit:
    """Fit rows of all scan points within the last stage's reach of the part, exact closest points."""
    reach, width = SCHEDULE[-1]
    seen = pose.inverse().apply(scan_points)
    low, high = part.vertices.min(axis=0) - reach, part.vertices.max(axis=0) + reach
    boxed = np.flatnonzero(((seen > low) & (seen < high)).all(axis=1))
    if not len(boxed):
        return _Fit(np.zeros((0, 6)), np.zeros(0), np.zeros(0), np.zeros((0, 3)))
    squared, face, foot = igl.point_mesh_squared_distance(np.ascontiguousarray(seen[boxed]), part.vertices, part.faces)
    a, b, c = part.triangles[np.asarray(face)].swapaxes(0, 1)
    outward = np.cross(b - a, c - a)
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    away = np.asarray(foot) - seen[boxed]
    distance, across = np.sqrt(np.asarray(squared)), (away * outward).sum(axis=1)
    used = (distance < min(reach, width)) & (np.abs(across) > ON_FACE * distance)
    points, distance = scan_points[boxed[used]], across[used]
    on_part, normal = pose.apply(np.asarray(foot)[used]), outward[used] @ pose.rotation.T
    weights = (1 - (distance / width) ** 2) ** 2
    rows = np.hstack([np.cross(on_part - centre, normal), normal])
    return _Fit(rows, distance, weights, points)


def _share_shown(pose: Pose, part: Mesh, scan_points: Array) -> float:
    surface, _ = _samples(part)
    surface = pose.apply(surface[::6])
    low, high = surface.min(axis=0) - SHOWN_MM, surface.max(axis=0) + SHOWN_MM
    near = scan_points[((scan_points > low) & (scan_points < high)).all(axis=1)]
    if not len(near):
        return 0.0
    found = cKDTree(near).query(surface, distance_upper_bound=SHOWN_MM)[0]
    return float(np.isfinite(found).mean())


def _faults(start: Registration, pose: Pose, part: Mesh, fit: _Fit, shown: float) -> list[str]:
    """Return why the fit proves nothing, in words; empty if it is sound."""
    few = len(fit.points) < 200 or _blocks(fit.points, BLOCKS_MM[0]).max() + 1 < LEAST_BLOCKS
    if shown < LEAST_SHOWN or few:
        return [
            f"the scan shows only {100 * shown:.0f} % of the part at this place; "
            "leave refine out if the bay was scanned without it"
        ]
    radius = float(np.linalg.norm(pose.apply(part.vertices) - start.centre, axis=1).max())
    faults = _free_motions(fit, radius)
    step = fit.step()
    left = float(np.linalg.norm(step[3:]) + radius * np.linalg.norm(step[:3]))
    if left > SETTLED_MM and not faults:
        faults.append(f"did not settle: one more step would move the part {left:.3f} mm")
    moved = np.linalg.norm(pose.apply(part.vertices) - start.T_bay_part.apply(part.vertices), axis=1)
    allowed = 5 * start.largest_sigma_mm(pose.apply(part.vertices)) + 3.0
    if (moved > allowed).any():
        worst = int((moved - allowed).argmax())
        faults.append(
            f"moved the part by {moved[worst]:.1f} mm, more than its first placing allows ({allowed[worst]:.1f} mm)"
        )
    return faults


def _free_motions(fit: _Fit, radius: float) -> list[str]:
    """Name motions the scan does not fix: small eigenvalues of the fit, turns measured at the part's radius."""
    scale = np.array([1 / radius] * 3 + [1.0] * 3)
    stiffness, motions = np.linalg.eigh(fit.normal_matrix * np.outer(scale, scale))
    words = []
    for value, motion in zip(stiffness, motions.T, strict=True):
        if value < LEAST_FIXED * stiffness[-1]:
            turn, slide = motion[:3], motion[3:]
            turns = np.linalg.norm(turn) > np.linalg.norm(slide)
            kind, axis = ("turning about", turn) if turns else ("sliding along", slide)
            axis = axis / np.linalg.norm(axis)
            words.append(f"the scan does not fix {kind} [{', '.join(f'{x:.2f}' for x in axis)}]")
    return words


def _blocks(points: Array, size: float) -> IntArray:
    """Number the cubes of side `size` that hold points; return each point's."""
    cubes = np.floor(points / size).astype(np.int64)
    return np.ravel(np.unique(cubes, axis=0, return_inverse=True)[1]).astype(np.int64)


def _bootstrap(fit: _Fit) -> Array:
    """Return the (6, 6) covariance: blocks of the scan redrawn with replacement, the largest over block sizes."""
    best = np.zeros((6, 6))
    rng = np.random.default_rng(SEED)
    for size in BLOCKS_MM:
        block = _blocks(fit.points, size)
        count = int(block.max()) + 1
        if count < LEAST_BLOCKS:
            continue
        weighted = fit.rows * fit.weights[:, None]
        matrices, sides = np.zeros((count, 6, 6)), np.zeros((count, 6))
        np.add.at(matrices, block, weighted[:, :, None] * fit.rows[:, None, :])
        np.add.at(sides, block, weighted * fit.residuals[:, None])
        times = rng.multinomial(count, np.full(count, 1 / count), size=DRAWS)
        drawn = np.einsum("db,bij->dij", times, matrices) + 1e-9 * np.eye(6)
        steps = np.linalg.solve(drawn, np.einsum("db,bi->di", times, sides)[..., None])[..., 0]
        covariance = np.cov(steps.T) * WIDEN**2
        best = covariance if np.trace(covariance[3:, 3:]) > np.trace(best[3:, 3:]) else best
    return best
