"""Settle a placed part on the scan points that lie on it, and say how sure that is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import igl
import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.registration.result import Registration
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.open3d_import import open3d

SCHEDULE = ((30.0, 12.0), (15.0, 6.0), (8.0, 3.0), (4.0, 1.5))
"""Correspondence distance and Tukey width of each stage, mm, coarse to fine."""

COARSE_STEPS = 40
SAMPLES = 60_000
MOST_POINTS = 40_000
"""Scan points fitted at most, drawn at random (seeded): more add time, not certainty, as their errors go together."""

SEED = 20_240
SHOWN_MM = 2.5
"""A place of the part counts as shown by the scan if a point lies this near."""

LEAST_SHOWN = 0.08
"""Share of the part's surface the scan must show."""

LEAST_AGREEING = 0.5
"""Share of the scan points within the last stage's distance that must lie within its Tukey width.

Points strewn evenly through that distance give width over distance, 0.375; points of the part itself nearly 1.
"""

LEAST_POINTS = 200
POLISH_STEPS = 30
STILL_MM, SETTLED_MM = 1e-5, 0.002
"""Largest move of any part vertex at which stepping ends, and which the last of all steps may still make."""

ON_FACE, TOUCHING_MM = 0.99, 1e-6
"""Cosine between face normal and the way to the point; below it the point lies beyond an edge and fixes nothing.

A point nearer than `TOUCHING_MM` lies on the face whatever the cosine.
"""

ALONG = 0.7
"""Cosine between the scan's own normal and the face's; below it the point belongs to something else."""

PATCH_MM = 4.0
"""Radius over which the scan's own normals are fitted, or three times its spacing if that is more."""

LEAST_FIXED = 0.01
"""Smallest over largest stiffness of the fit, rotations counted at the part's radius, below which a motion is free.

A round pipe that is faceted in the mesh seems to resist turning about its axis by less than 0.001.
"""

MOVE_SIGMAS, MOVE_SLACK_MM = 4.0, 1.0
"""How far settling may move a vertex: so many of the first placing's sigmas, and what parts differ from their model."""

BLOCKS_MM = (20.0, 50.0, 100.0)
LEAST_BLOCKS = 6
DRAWS = 200
WIDEN = 2.0
"""Residuals cannot show warps of the scan longer than a block: bootstrap sigmas are widened by this.

In a trial with synthetic scans they were low by 1.4 to 2.0 where scan errors go together over 15 to 40 mm. Longer
warps belong to the scanner's stated accuracy.
"""


@dataclass(frozen=True, eq=False)
class _Near:
    """Scan points near the part and the scan's own normals there, either sign; (n, 3) each, bay frame, mm."""

    points: Array
    normals: Array


@dataclass(frozen=True, eq=False)
class _Fit:
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
        matrix: Array = (self.rows * self.weights[:, None]).T @ self.rows
        return matrix

    def step(self) -> Array:
        """Return the (6,) Gauss-Newton step."""
        pull = self.rows.T @ (self.weights * self.residuals)
        return np.asarray(np.linalg.lstsq(self.normal_matrix, pull, rcond=None)[0], np.float64)


def refined(start: Registration, part: Mesh, scan_points: Array, accuracy_mm: float) -> Registration:
    """Return `start` settled on the scan by robust point-to-plane fitting with Tukey weights.

    Coarse to fine by open3d against samples of the part's surface, then Gauss-Newton steps against
    its exact closest points. The covariance is a block bootstrap of the final fit (the largest of
    several block sizes, widened), plus the scanner's accuracy as a shift. `converged` is True only
    if the start was sound, enough of the part is shown, the points near it agree with it, the fit
    settled within the start's own doubt, and no motion is left free; else the pose stays `start`'s
    and a note says why.

    Parameters
    ----------
    part : Mesh
        Part frame, mm.
    scan_points : (n, 3) float64, mm, bay frame
    accuracy_mm : float
        1 sigma of the scanner's own error.
    """
    near = _near(start.T_bay_part, part, scan_points)
    pose, fit, last_mm = _polished(_coarse(start.T_bay_part, part, near), part, near, start.centre)
    shown = _share_shown(pose, part, near)
    faults = _faults(start, pose, part, fit, shown, last_mm)
    method = f"{start.method}+refine"
    if faults:
        notes = (*start.notes, *(f"refine: {fault}" for fault in faults))
        return replace(start, method=method, converged=False, notes=notes)
    covariance = _bootstrap(fit, _radius(pose, part, start.centre))
    covariance[3:, 3:] += np.eye(3) * accuracy_mm**2
    note = (
        f"refine: the scan shows {100 * shown:.0f} % of the part; {len(fit.points)} points were fitted, "
        f"{100 * fit.agreeing:.0f} % of those within {SCHEDULE[-1][0]:g} mm"
    )
    return replace(
        start,
        method=method,
        T_bay_part=pose,
        residual_rms_mm=float(np.sqrt((fit.weights * fit.residuals**2).sum() / fit.weights.sum())),
        covariance=covariance,
        notes=(*start.notes, note),
    )


def _near(start: Pose, part: Mesh, scan_points: Array) -> _Near:
    """Return the scan points, bay frame, within the first stage's reach of the part, thinned to `MOST_POINTS`."""
    reach = SCHEDULE[0][0]
    seen = start.inverse().apply(scan_points)
    low, high = part.vertices.min(axis=0) - reach, part.vertices.max(axis=0) + reach
    boxed = np.flatnonzero(((seen > low) & (seen < high)).all(axis=1))
    if len(boxed):
        tree = cKDTree(_samples(part)[0], compact_nodes=False)
        boxed = boxed[np.isfinite(tree.query(seen[boxed], distance_upper_bound=reach)[0])]
    if len(boxed) > MOST_POINTS:
        boxed = np.sort(np.random.default_rng(SEED).choice(boxed, MOST_POINTS, replace=False))
    points = np.ascontiguousarray(scan_points[boxed])
    return _Near(points, _normals(points))


def _normals(points: Array) -> Array:
    """Return the normal of a plane through the neighbours of each point, either sign."""
    if len(points) < LEAST_POINTS:
        return np.zeros_like(points)
    spacing = float(np.median(np.asarray(cKDTree(points, compact_nodes=False).query(points, k=[2])[0])))
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamRadius(max(PATCH_MM, 3 * spacing)))
    return np.asarray(cloud.normals, np.float64)


def _coarse(start: Pose, part: Mesh, near: _Near) -> Pose:
    """Run the coarse-to-fine fit of scan points to samples of the part's surface."""
    if len(near.points) < LEAST_POINTS:
        return start
    o3d = open3d()
    surface, normals = _samples(part)
    target = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(surface))
    target.normals = o3d.utility.Vector3dVector(normals)
    pose = start.inverse()
    for distance, width in SCHEDULE:
        source = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(pose.apply(near.points))))
        estimate = o3d.pipelines.registration.TransformationEstimationPointToPlane(
            o3d.pipelines.registration.TukeyLoss(k=width)
        )
        criteria = o3d.pipelines.registration.ICPConvergenceCriteria(1e-6, 1e-6, COARSE_STEPS)
        done = o3d.pipelines.registration.registration_icp(source, target, distance, np.eye(4), estimate, criteria)
        pose = _cleaned(np.asarray(done.transformation)) @ pose
    return pose.inverse()


def _cleaned(matrix: Array) -> Pose:
    """Return the nearest proper rotation with the translation."""
    left, _, right = np.linalg.svd(matrix[:3, :3])
    return rigid("part", "part", left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right, matrix[:3, 3])


def _polished(pose: Pose, part: Mesh, near: _Near, centre: Array) -> tuple[Pose, _Fit, float]:
    """Take Gauss-Newton steps against the mesh itself; return the pose, its fit and how far the last step moved, mm."""
    fit, moved = _linearised(pose, part, near, centre), np.inf
    radius = _radius(pose, part, centre)
    for _ in range(POLISH_STEPS):
        if len(fit.points) < LEAST_POINTS or moved <= STILL_MM:
            break
        step = fit.step()
        angle = float(np.linalg.norm(step[:3]))
        moved = float(np.linalg.norm(step[3:])) + radius * angle
        turn = rotation_about(step[:3], angle) if angle > 1e-12 else np.eye(3)
        pose = rigid("bay", "bay", turn, centre + step[3:] - turn @ centre) @ pose
        fit = _linearised(pose, part, near, centre)
    return pose, fit, moved


def _radius(pose: Pose, part: Mesh, centre: Array) -> float:
    return float(np.linalg.norm(pose.apply(part.vertices) - centre, axis=1).max())


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


def _linearised(pose: Pose, part: Mesh, near: _Near, centre: Array) -> _Fit:
    """Fit rows of the scan points within the last stage's Tukey width of the part, exact closest points."""
    distance_most, width = SCHEDULE[-1]
    if not len(near.points):
        return _Fit(np.zeros((0, 6)), np.zeros(0), np.zeros(0), near.points, 0.0)
    seen = np.ascontiguousarray(pose.inverse().apply(near.points))
    squared, face, foot = igl.point_mesh_squared_distance(seen, part.vertices, part.faces)
    a, b, c = part.triangles[np.asarray(face)].swapaxes(0, 1)
    outward = np.cross(b - a, c - a)
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-300)
    distance = np.sqrt(np.asarray(squared))
    across = ((seen - np.asarray(foot)) * outward).sum(axis=1)
    facing = np.abs(across) >= ON_FACE * distance - TOUCHING_MM
    turned = outward @ pose.rotation.T
    used = facing & (distance < width) & (np.abs((turned * near.normals).sum(axis=1)) > ALONG)
    on_part, normal = pose.apply(np.asarray(foot)[used]), turned[used]
    return _Fit(
        rows=np.hstack([np.cross(on_part - centre, normal), normal]),
        residuals=across[used],
        weights=(1 - (distance[used] / width) ** 2) ** 2,
        points=near.points[used],
        agreeing=float(used.sum() / max(1, (facing & (distance < distance_most)).sum())),
    )


def _share_shown(pose: Pose, part: Mesh, near: _Near) -> float:
    if not len(near.points):
        return 0.0
    surface = pose.apply(_samples(part)[0][::6])
    found = cKDTree(near.points).query(surface, distance_upper_bound=SHOWN_MM)[0]
    return float(np.isfinite(found).mean())


def _faults(start: Registration, pose: Pose, part: Mesh, fit: _Fit, shown: float, last_mm: float) -> list[str]:
    """Return why the fit proves nothing, in words; empty if it is sound."""
    few = len(fit.points) < LEAST_POINTS or _blocks(fit.points, BLOCKS_MM[0]).max() + 1 < LEAST_BLOCKS
    if shown < LEAST_SHOWN or few:
        return [
            f"the scan shows only {100 * shown:.0f} % of the part at this place; "
            "leave refine out if the bay was scanned without it"
        ]
    faults = _free_motions(fit, start.centre, _radius(pose, part, start.centre))
    if last_mm > SETTLED_MM and not faults:
        faults.append(f"did not settle: the last step still moved the part {last_mm:.3f} mm; check the first placing")
    if fit.agreeing < LEAST_AGREEING:
        faults.append(
            f"only {100 * fit.agreeing:.0f} % of the scan points within {SCHEDULE[-1][0]:g} mm of the part lie on it; "
            "leave refine out if something else stands in its place in the scan"
        )
    placed = pose.apply(part.vertices)
    moved = np.linalg.norm(placed - start.T_bay_part.apply(part.vertices), axis=1)
    allowed = MOVE_SIGMAS * start.largest_sigma_mm(placed) + MOVE_SLACK_MM
    if (moved > allowed).any():
        worst = int((moved - allowed).argmax())
        faults.append(
            f"moved the part by {moved[worst]:.1f} mm where its first placing allows {allowed[worst]:.1f} mm; "
            "check the landmarks, or the sigmas of the given pose"
        )
    return faults


def _free_motions(fit: _Fit, centre: Array, radius: float) -> list[str]:
    """Name motions the scan does not fix: small eigenvalues of the fit, turns measured at the part's radius."""
    scale = np.array([1 / radius] * 3 + [1.0] * 3)
    stiffness, motions = np.linalg.eigh(fit.normal_matrix * np.outer(scale, scale))
    free = motions.T[stiffness < LEAST_FIXED * stiffness[-1]]
    return [f"the scan does not fix {_motion_in_words(motion, centre, radius)}" for motion in free]


def _motion_in_words(motion: Array, centre: Array, radius: float) -> str:
    """Say what a small motion (turn at `radius`, shift at `centre`) is: a slide, or a turn about a line."""
    turn, slide = motion[:3] / radius, motion[3:]
    if np.linalg.norm(motion[:3]) < np.linalg.norm(slide):
        return f"sliding along {_triple(slide / np.linalg.norm(slide), 2)}"
    through = centre + np.cross(turn, slide) / (turn @ turn)
    return f"turning about {_triple(turn / np.linalg.norm(turn), 2)} through {_triple(through, 0)}"


def _triple(values: Array, digits: int) -> str:
    return "[" + ", ".join(f"{x:.{digits}f}" for x in np.round(values, digits) + 0.0) + "]"


def _blocks(points: Array, size: float) -> IntArray:
    """Number the cubes of side `size` that hold points; return each point's."""
    cubes = np.floor(points / size).astype(np.int64)
    return np.ravel(np.unique(cubes, axis=0, return_inverse=True)[1]).astype(np.int64)


def _bootstrap(fit: _Fit, radius: float) -> Array:
    """Return the (6, 6) covariance: blocks of the scan redrawn with replacement, the largest over block sizes."""
    scale = np.array([radius] * 3 + [1.0] * 3)
    best = np.zeros((6, 6))
    rng = np.random.default_rng(SEED)
    weighted = fit.rows * fit.weights[:, None]
    for size in BLOCKS_MM:
        block = _blocks(fit.points, size)
        count = int(block.max()) + 1
        if count < LEAST_BLOCKS:
            continue
        matrices, sides = np.zeros((count, 6, 6)), np.zeros((count, 6))
        np.add.at(matrices, block, weighted[:, :, None] * fit.rows[:, None, :])
        np.add.at(sides, block, weighted * fit.residuals[:, None])
        times = rng.multinomial(count, np.full(count, 1 / count), size=DRAWS)
        drawn = np.einsum("db,bij->dij", times, matrices) + 1e-9 * np.eye(6)
        steps = np.linalg.solve(drawn, np.einsum("db,bi->di", times, sides)[..., None])[..., 0]
        covariance = np.cov(steps.T) * WIDEN**2
        best = covariance if np.diag(covariance) @ scale**2 > np.diag(best) @ scale**2 else best
    return best
