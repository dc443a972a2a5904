"""Fit the datums of the bay to the scan points near the place where they are stated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from clearance.errors import InputError
from clearance.frames import Array, unit_vector
from clearance.job.datum import Datum, Edge, Face, Hole, Stud
from clearance.registration.datum_result import FORM_MM, WIDEN, FittedDatum, across, patch_covariance

REACH_MM = 4.0
"""How far a feature may lie from where it is stated."""

TURN_MOST = np.cos(np.radians(15.0))
"""Cosine of the largest turn between a fitted direction and the stated one."""

LEAST_POINTS = 40
PLANE_STEPS = 30
TUKEY = 4.685
"""Tukey's constant: 95 % efficiency on Gaussian residuals."""

FOOT_MM = 1.0
"""Height above its face below which a stud's surface is left out: fillet, bead or the face itself."""

LEAST_AGREEING = 0.5
"""Share of the points about a stud that must lie on it; a cylinder beside it touches fewer."""

OUT_OF_ROUND_MM = 0.25
"""Root mean square of the residuals' means by direction beyond which the surface is another one, or one beside it.

A cylinder of the right diameter that touches the surface from beside gives 0.5 mm and more where 60 degrees agree.
"""

ARC_STEP = 5.0
ARC_STUD, ARC_HOLE = 60.0, 120.0
"""Degrees of the round that must be seen: below these the centre of a noisy arc wanders by more than the noise."""

BIN_SPACINGS = 3.0
"""Width along the rim, in point spacings, of the stretches in which the innermost point stands for the edge."""

RIM_HIGH, RIM_SPREAD = 0.27, 0.1
"""Point spacings by which the edge so read lies outside the true one, and 1 sigma of that.

In trials with synthetic scans: 0.15 to 0.26 for points on a grid, 0.25 to 0.41 for points strewn at random, and 0.43
for a finer reading, point by point.
"""

FILLED = 0.3
"""Density of points inside a hole, over that of its face, above which there is no hole."""

EDGE_MM = 0.5
"""1 sigma of each end of an edge, across it, that is picked on a scan (common practice)."""


def fit_datum(datum: Datum, scan_points: Array, noise_mm: float, job_file: Path) -> FittedDatum:
    """Return a datum of the bay as the scan shows it.

    A face is a Tukey-reweighted plane, a stud a cylinder of the stated diameter, a hole a circle of
    the stated diameter through the edge that the points of its face leave. An edge is taken as stated.

    Parameters
    ----------
    scan_points : (n, 3) float64, mm, bay frame
    noise_mm : float
        1 sigma of the scan's points.

    Raises
    ------
    InputError
        If too few points lie there, or they do not show the feature.
    """
    fault = _Fault(datum, job_file)
    if datum.face is not None:
        return _fit_face(datum.face, scan_points, fault)
    if datum.stud is not None:
        return _fit_stud(datum.stud, scan_points, noise_mm, fault)
    if datum.hole is not None:
        return _fit_hole(datum.hole, scan_points, fault)
    assert datum.edge is not None
    return _stated_edge(datum.edge, noise_mm, datum.name)


class _Fault:
    """Raises faults of one datum."""

    def __init__(self, datum: Datum, job_file: Path) -> None:
        self.name, self.kind, self.job_file = datum.name, datum.kind, job_file
        self.key = f"datum '{datum.name}': {datum.kind}"

    def few(self, count: int, where: str) -> None:
        if count < LEAST_POINTS:
            found = f"{count} scan points {where}"
            wanted = f"a fit needs {LEAST_POINTS}: check its place and size, or scan it closer"
            raise InputError(self.job_file, found, wanted, self.key)

    def turned(self, direction: Array, stated: Array) -> None:
        cosine = float(np.clip(direction @ stated, -1, 1))
        if cosine < TURN_MOST:
            found = f"the scan shows it turned by {np.degrees(np.arccos(cosine)):.0f} degrees from what is stated"
            raise InputError(self.job_file, found, "state its direction to within 15 degrees", self.key)

    def moved(self, by: float) -> None:
        if by > REACH_MM:
            found = f"the scan shows it {by:.1f} mm from where it is stated"
            raise InputError(self.job_file, found, f"state its place to within {REACH_MM:g} mm", self.key)

    def arc(self, degrees: float, least: float) -> None:
        if degrees < least:
            found = f"the scan shows {degrees:.0f} degrees of the round"
            raise InputError(self.job_file, found, f"{least:.0f} are needed: scan it from more sides", self.key)

    def others(self, share: float, where: str) -> None:
        if share < LEAST_AGREEING:
            found = f"only {100 * share:.0f} % of the scan points {where} lie on a cylinder of that diameter"
            raise InputError(self.job_file, found, "check its place, diameter and length", self.key)

    def shape(self, out_of_round: float, noise_mm: float) -> None:
        if out_of_round > max(OUT_OF_ROUND_MM, noise_mm):
            found = f"the surface there differs from a cylinder of that diameter by {out_of_round:.2f} mm rms"
            raise InputError(self.job_file, found, "check its place and diameter", self.key)

    def no_hole(self, inside: int, within: float) -> None:
        found = f"the points of the face leave no hole there: {inside} lie within {within:.1f} mm of its centre"
        raise InputError(self.job_file, found, "check its centre and diameter, or scan it closer", self.key)


def _fit_face(face: Face, scan: Array, fault: _Fault) -> FittedDatum:
    stated, point = unit_vector(face.normal), np.array(face.point)
    where = f"within {face.radius:g} mm of the face's point and {REACH_MM:g} mm of its plane"
    centre, normal, near, weights = _plane_near(scan, point, stated, (0.0, face.radius), where, fault)
    used = near[weights > 0]
    fault.few(len(used), "agree on a plane there")
    covariance, rms = _plane_covariance(used, weights[weights > 0], centre, normal)
    return _fitted(fault, centre, normal, covariance + _form(normal, face.radius, along=True), (len(used), rms), point)


def _plane_near(
    scan: Array, point: Array, stated: Array, ring: tuple[float, float], where: str, fault: _Fault
) -> tuple[Array, Array, Array, Array]:
    """Return centroid, normal, points (n, 3) and weights (n,) of the plane near a stated one.

    Fitted twice: about the stated plane, whose tilt may cut into the scan, then about the plane so found.
    """
    normal = stated
    for _ in range(2):
        near = _ring(scan, point, normal, *ring)
        fault.few(len(near), where)
        centre, normal, weights = robust_plane(near, stated)
        fault.turned(normal, stated)
        point = point - normal * float((point - centre) @ normal)
    return centre, normal, near, weights


def robust_plane(points: Array, stated: Array) -> tuple[Array, Array, Array]:
    """Return centroid (3,), unit normal (3,) on the side of `stated`, and Tukey weights (n,) of a plane.

    Starts from the points' median height along `stated`; weights are Tukey's biweight at 4.685 robust
    sigmas (1.4826 median absolute residual), repeated to rest.
    """
    normal, heights = stated, points @ stated
    residuals = heights - np.median(heights)
    weights = np.ones(len(points))
    for _ in range(PLANE_STEPS):
        weights = _tukey(residuals)
        centre = weights @ points / weights.sum()
        last = normal
        normal = np.linalg.svd((points - centre) * np.sqrt(weights)[:, None], full_matrices=False)[2][2]
        normal = normal * np.copysign(1.0, normal @ stated)
        residuals = (points - centre) @ normal
        if np.linalg.norm(normal - last) < 1e-9:
            break
    return centre, normal, weights


def _tukey(residuals: Array) -> Array:
    width = max(TUKEY * 1.4826 * float(np.median(np.abs(residuals))), 1e-3)
    weights: Array = np.maximum(1 - (residuals / width) ** 2, 0) ** 2
    return weights


def _plane_covariance(points: Array, weights: Array, centre: Array, normal: Array) -> tuple[Array, float]:
    """Return the (6, 6) covariance of place and direction (height along the normal, two tilts) and the rms, mm."""
    side = across(normal)
    residuals = (points - centre) @ normal
    rows = np.column_stack([np.ones(len(points)), (points - centre) @ side.T])
    back = np.zeros((6, 3))
    back[:3, 0] = normal
    back[3:, 1:] = -side.T
    return back @ patch_covariance(rows, residuals, weights, points) @ back.T, _rms(residuals, weights)


def _fit_stud(stud: Stud, scan: Array, noise_mm: float, fault: _Fault) -> FittedDatum:
    axis, foot, radius = unit_vector(stud.axis), np.array(stud.center), stud.diameter / 2
    length = stud.length or 2 * stud.diameter
    along = (scan - foot) @ axis
    near = scan[(along > FOOT_MM) & (along < length)]
    near = near[np.linalg.norm(np.cross(near - foot, axis), axis=1) < radius + REACH_MM]
    where = f"within {radius + REACH_MM:g} mm of the stud's axis, {FOOT_MM:g} to {length:g} mm above its foot"
    fault.few(len(near), where)
    line, weights = _robust_axis(near, foot + axis * length / 2, axis, radius, noise_mm)
    used, weights = near[weights > 0], weights[weights > 0]
    fault.few(len(used), "agree on a cylinder of that diameter")
    fault.others(len(used) / len(near), where)
    direction = line[1]
    place = line[0] + direction * float(np.average((used - line[0]) @ direction, weights=weights))
    fault.turned(direction, axis)
    side, away = across(direction), used - place
    height = away @ direction
    outward = away - height[:, None] * direction
    distance = np.linalg.norm(outward, axis=1)
    fault.arc(_arc_seen(outward @ side.T), ARC_STUD)
    fault.shape(_out_of_round(outward @ side.T, distance - radius), noise_mm)
    pull = -(outward / distance[:, None]) @ side.T
    rows, back = np.hstack([pull, height[:, None] * pull]), np.kron(np.eye(2), side.T)
    covariance = back @ patch_covariance(rows, distance - radius, weights, used) @ back.T
    covariance += _form(direction, max(float(np.ptp(height)) / 2, FORM_MM), along=False)
    numbers = len(used), _rms(distance - radius, weights)
    return _fitted(fault, place, direction, covariance, numbers, foot + axis * float((place - foot) @ axis))


def _robust_axis(points: Array, middle: Array, axis: Array, radius: float, noise_mm: float) -> tuple[Array, Array]:
    """Return point and unit direction, (2, 3), of the axis of a cylinder of that radius, and Tukey weights (n,).

    soft_l1 from a wide to a narrow scale, then Tukey's biweight repeated to rest.
    """
    side, arm = across(axis), max(float(np.ptp(points @ axis)) / 2, 1.0)

    def line(x: Array) -> Array:
        return np.stack([middle + x[:2] @ side, unit_vector(axis + x[2:] @ side / arm)])

    def off(x: Array, root_weights: Array) -> Array:
        place, direction = line(x)
        away: Array = root_weights * (np.linalg.norm(np.cross(points - place, direction), axis=1) - radius)
        return away

    even, x = np.ones(len(points)), np.zeros(4)
    for scale in (1.0, max(3 * noise_mm, 0.1)):
        x = least_squares(off, x, loss="soft_l1", f_scale=scale, args=(even,)).x
    weights = _tukey(off(x, even))
    for _ in range(PLANE_STEPS):
        last, x = x, least_squares(off, x, args=(np.sqrt(weights),)).x
        weights = _tukey(off(x, even))
        if np.abs(x - last).max() < 1e-6:
            break
    return line(x), weights


def _fit_hole(hole: Hole, scan: Array, fault: _Fault) -> FittedDatum:
    axis, point, radius = unit_vector(hole.axis), np.array(hole.center), hole.diameter / 2
    around = radius + REACH_MM + max(2 * radius, 8.0)
    where = f"on its face, {radius:g} to {around:g} mm from the hole's centre"
    centre, normal, ring, weights = _plane_near(scan, point, axis, (radius, around), where, fault)
    fault.few(int((weights > 0).sum()), "agree on a plane about the hole")
    covariance, rms = _plane_covariance(ring[weights > 0], weights[weights > 0], centre, normal)
    start = point - normal * float((point - centre) @ normal)
    disc = _ring(scan, start, normal, 0.0, around)
    disc = disc[np.abs((disc - centre) @ normal) < max(TUKEY * rms, 0.1)]
    side = across(normal)
    found, rim, arc, spacing = _rim(disc @ side.T - start @ side.T, radius, fault)
    fault.arc(arc, ARC_HOLE)
    away = rim - found
    distance = np.linalg.norm(away, axis=1)
    outward = away / distance[:, None]
    residuals = distance - distance.mean()
    variance = float((residuals**2).sum()) / max(len(rim) - 2, 1) * WIDEN**2
    inverse = np.linalg.inv(outward.T @ outward)
    by_radius = inverse @ outward.sum(axis=0) * RIM_SPREAD * spacing
    covariance[:3] = covariance[:, :3] = 0.0
    covariance[:3, :3] = side.T @ (inverse * variance + np.outer(by_radius, by_radius)) @ side
    covariance += _form(normal, radius, along=False)
    place = start + found @ side
    return _fitted(fault, place, normal, covariance, (len(rim), float(np.sqrt((residuals**2).mean()))), start)


def _rim(flat: Array, radius: float, fault: _Fault) -> tuple[Array, Array, float, float]:
    """Return a hole's centre (2,), the points (k, 2) next to its edge, in the plane, the degrees seen, the spacing.

    In every stretch of the rim the innermost point beyond a window is taken, the circle of the known
    radius plus `RIM_HIGH` spacings is fitted (soft_l1), and the window is drawn closer about it.
    """
    spacing = _spacing(flat)
    rim_radius = radius + RIM_HIGH * spacing
    bins = max(8, round(2 * np.pi * radius / (BIN_SPACINGS * spacing)))
    least, centre, rim = 2 * spacing, np.zeros(2), flat

    def off(x: Array, rim: Array) -> Array:
        away: Array = np.linalg.norm(rim - x, axis=1) - rim_radius
        return away

    for window in (min(REACH_MM, radius), REACH_MM / 2, REACH_MM / 4, least, least, least, least):
        reach = max(window, least)
        away = flat - centre
        distance = np.linalg.norm(away, axis=1)
        kept = np.abs(distance - rim_radius) < reach
        order = np.flatnonzero(kept)[np.argsort(distance[kept], kind="stable")]
        stretch = np.floor((np.arctan2(away[order, 1], away[order, 0]) / (2 * np.pi) + 0.5) * bins)
        rim = flat[order[np.unique(stretch, return_index=True)[1]]]
        if len(rim) < 4:
            break
        centre = least_squares(off, centre, loss="soft_l1", f_scale=spacing / 2, args=(rim,)).x
    fault.moved(float(np.linalg.norm(centre)))
    clear = max(radius - least, radius / 2)
    inside = int((np.linalg.norm(flat - centre, axis=1) < clear).sum())
    if len(rim) < 4 or inside > FILLED * np.pi * (clear / spacing) ** 2:
        fault.no_hole(inside, clear)
    return centre, rim, 360.0 * len(rim) / bins, spacing


def _spacing(flat: Array) -> float:
    """Return one over the root of the density of points in a plane: 6 neighbours lie within pi d^2 of it."""
    sixth = np.asarray(cKDTree(flat).query(flat, k=[7])[0])
    return float(np.median(sixth)) * float(np.sqrt(np.pi / 6))


def _arc_seen(away: Array) -> float:
    """Return degrees of the round in which points (n, 2) lie, in steps of `ARC_STEP`, sparse ones left out."""
    step = np.floor(np.degrees(np.arctan2(away[:, 1], away[:, 0])) / ARC_STEP)
    counts = np.unique(step, return_counts=True)[1]
    return ARC_STEP * int((counts >= counts.max() / 5).sum())


def _out_of_round(away: Array, residuals: Array) -> float:
    """Return the rms, over the points (n, 2), of the mean residual of each point's 15 degrees of the round."""
    step = np.floor(np.degrees(np.arctan2(away[:, 1], away[:, 0])) / 15.0)
    _, number, counts = np.unique(step, return_inverse=True, return_counts=True)
    means = np.bincount(np.ravel(number), residuals) / counts
    return float(np.sqrt((counts * means**2).sum() / counts.sum()))


def _stated_edge(edge: Edge, noise_mm: float, name: str) -> FittedDatum:
    start, end = np.array(edge.from_), np.array(edge.to)
    length = float(np.linalg.norm(end - start))
    direction, sigma = (end - start) / length, float(np.hypot(EDGE_MM, noise_mm))
    flat = np.eye(3) - np.outer(direction, direction)
    covariance = np.zeros((6, 6))
    covariance[:3, :3] = flat * sigma**2 / 2
    covariance[3:, 3:] = flat * 2 * (sigma / length) ** 2
    note = f"datum '{name}': edge taken as stated, each end ± {sigma:.2f} mm (1 sigma); it is not fitted to the scan"
    return FittedDatum(name=name, place=(start + end) / 2, direction=direction, covariance=covariance, note=note)


def _ring(scan: Array, point: Array, axis: Array, inner: float, outer: float) -> Array:
    """Return the points within `REACH_MM` of the plane and between two distances from the axis."""
    boxed = scan[(np.abs(scan - point) < outer + REACH_MM).all(axis=1)]
    height = (boxed - point) @ axis
    away = np.linalg.norm(boxed - point - height[:, None] * axis, axis=1)
    ring: Array = boxed[(np.abs(height) < REACH_MM) & (away >= inner) & (away < outer)]
    return ring


def _form(direction: Array, arm: float, *, along: bool) -> Array:
    """Return the (6, 6) covariance of a feature's own form, along its direction (a face) or across it (an axis)."""
    straight = np.outer(direction, direction)
    flat = np.eye(3) - straight
    form = np.zeros((6, 6))
    form[:3, :3] = (straight if along else flat) * FORM_MM**2
    form[3:, 3:] = flat * (FORM_MM / arm) ** 2
    return form


def _rms(residuals: Array, weights: Array) -> float:
    return float(np.sqrt((weights * residuals**2).sum() / weights.sum()))


def _fitted(
    fault: _Fault, place: Array, direction: Array, covariance: Array, numbers: tuple[int, float], stated: Array
) -> FittedDatum:
    """Return the datum with a note that says how far it lies from where it was stated."""
    count, rms = numbers
    off = stated - place
    straight = float(off @ direction)
    by = abs(straight) if fault.kind == "face" else float(np.linalg.norm(off - straight * direction))
    fault.moved(by)
    note = (
        f"datum '{fault.name}': {fault.kind} fitted to {count} scan points, rms {rms:.2f} mm, "
        f"{by:.2f} mm from where it is stated"
    )
    return FittedDatum(
        name=fault.name, place=place, direction=direction, covariance=covariance, count=count, rms_mm=rms, note=note
    )
