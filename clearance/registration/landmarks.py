"""A pose from points known on the part and found in the bay."""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import numpy as np
from scipy.stats import norm, t

from clearance.errors import InputError
from clearance.frames import Array, Pose, rigid
from clearance.job.schema import Landmark
from clearance.registration.result import Registration
from clearance.registration.target_error import target_error

LINE_RATIO, NEAR_LINE_RATIO = 0.02, 0.1
"""Width over length of the landmark set below which it is refused as a line, and below which that is noted."""

NEAREST_MM = 1.0
"""Two landmarks nearer than this are taken for one point named twice."""

PICKING_MM = 0.1
"""1 sigma per axis to which a hole's or a stud's middle is found at best, whatever the residuals say."""

SURE = 0.99
"""Confidence up to which the sigma widened for few landmarks covers a one-sided decision."""

FAR_END = 3.0
"""Expected error at the part's far end over that of a landmark beyond which the landmarks stand too close."""

OFF_MM = 2.0
"""A landmark farther off than this, or than five times what scan noise explains, is taken for a wrong pick."""

EXPLAINED = 4.0
"""A slip is named where undoing it makes the rms residual so many times smaller."""

MOST_PERMUTED = 6
"""Landmarks up to which every order of them is tried for a look-alike; of more, every exchange of two."""

SCALE_OFF = 0.02
"""Difference of size of the two landmark sets beyond which a wrong unit or pair is suspected."""


def from_landmarks(
    pairs: tuple[Landmark, ...], part_vertices: Array, scanner_mm: float, job_file: Path
) -> Registration:
    """Return the least-squares pose of three or more landmarks and its covariance.

    1 sigma per axis of a landmark is estimated from the residuals r: sum r^2 / (3 n - 6), which is
    E[FRE^2] = (1 - 2 / n) FLE^2 with FLE^2 = 3 sigma^2 (Fitzpatrick, West and Maurer 1998, IEEE TMI
    17(5):694-702, doi 10.1109/42.736021). It is widened by Student's t over the normal quantile at
    `SURE` (JCGM 100:2008, G.3), for three landmarks by 1.95, and never taken below `scanner_mm`
    and `PICKING_MM` together: residuals that are small by luck prove nothing.

    Parameters
    ----------
    part_vertices : (n, 3) float64, mm, part frame
    scanner_mm : float
        1 sigma of the scanner's accuracy and noise together.

    Raises
    ------
    InputError
        If landmarks coincide, lie in a line, or differ in size between part and bay like another unit.
    """
    part, bay, hints = _checked(pairs, job_file)
    pose = kabsch(part, bay)
    residuals = np.linalg.norm(pose.apply(part) - bay, axis=1)
    floor = float(np.hypot(scanner_mm, PICKING_MM))
    sigma = max(_sigma_from(residuals), floor)
    centre = bay.mean(axis=0)
    off = bool(residuals.max() > max(OFF_MM, 5 * floor))
    notes = [_far_end_note(bay, pose.apply(part_vertices), sigma), *hints]
    if not off:
        notes += _look_alikes(pairs, part, bay, pose, max(OFF_MM, 5 * floor))
    if off:
        notes.append(_which_is_off(pairs, part, bay, residuals))
    return Registration(
        method="landmarks",
        T_bay_part=pose,
        converged=not off,
        residual_rms_mm=float(np.sqrt((residuals**2).mean())),
        residuals=tuple((pair.name, float(r)) for pair, r in zip(pairs, residuals, strict=True)),
        covariance=landmark_covariance(bay - centre, sigma),
        centre=centre,
        notes=tuple(notes),
    )


def _look_alikes(pairs: tuple[Landmark, ...], part: Array, bay: Array, pose: Pose, fits_mm: float) -> list[str]:
    """Say so where the landmarks fit as well with some of them exchanged, in quite another pose."""
    count = len(pairs)
    orders = permutations(range(count)) if count <= MOST_PERMUTED else (_exchanged(count, *p) for p in _couples(count))
    for order in orders:
        other = kabsch(part[list(order)], bay)
        moved = np.linalg.norm(other.apply(part) - pose.apply(part), axis=1).max()
        if moved > 2 * fits_mm and np.linalg.norm(other.apply(part[list(order)]) - bay, axis=1).max() <= fits_mm:
            names = ", ".join(f"'{pairs[i].name}'" for i in range(count) if order[i] != i)
            said = f"the landmarks fit as well with {names} exchanged"
            return [f"{said}: look at the pictures, is the part the right way round?"]
    return []


def _couples(count: int) -> list[tuple[int, int]]:
    return [(i, j) for i in range(count) for j in range(i)]


def _exchanged(count: int, i: int, j: int) -> tuple[int, ...]:
    order = list(range(count))
    order[i], order[j] = order[j], order[i]
    return tuple(order)


def kabsch(part: Array, bay: Array) -> Pose:
    """Return the rotation and translation that bring (n, 3) `part` points nearest to `bay` in the least-squares sense.

    Kabsch 1976 with the sign that keeps it a rotation (Umeyama 1991, IEEE PAMI 13(4):376-380,
    doi 10.1109/34.88573), scale fixed at 1.
    """
    middle_part, middle_bay = part.mean(axis=0), bay.mean(axis=0)
    left, _, right = np.linalg.svd((bay - middle_bay).T @ (part - middle_part))
    sign = np.diag([1.0, 1.0, np.sign(np.linalg.det(left) * np.linalg.det(right))])
    rotation = left @ sign @ right
    return rigid("bay", "part", rotation, middle_bay - rotation @ middle_part)


def landmark_covariance(about_centre: Array, sigma_mm: float) -> Array:
    """Return the (6, 6) covariance, rotation first, of a least-squares pose about the landmarks' centroid.

    `about_centre` (n, 3), mm, from the centroid; independent errors of `sigma_mm` per axis. The
    inverse of the normal matrix of d = w x p + t; its trace at a target is the formula of
    `target_error`.
    """
    squared = (about_centre**2).sum(axis=1)
    turn = np.eye(3) * squared.sum() - about_centre.T @ about_centre
    covariance = np.zeros((6, 6))
    covariance[:3, :3] = np.linalg.inv(turn) * sigma_mm**2
    covariance[3:, 3:] = np.eye(3) * sigma_mm**2 / len(about_centre)
    return covariance


def _checked(pairs: tuple[Landmark, ...], job_file: Path) -> tuple[Array, Array, list[str]]:
    """Return the points on part and in bay, and what is doubtful about them. Raises InputError for what cannot work."""
    part = np.array([p.part for p in pairs], dtype=np.float64)
    bay = np.array([p.bay for p in pairs], dtype=np.float64)
    shape = min(_width_over_length(part, pairs, "part", job_file), _width_over_length(bay, pairs, "bay", job_file))
    scale = float(np.linalg.norm(bay - bay.mean(axis=0)) / np.linalg.norm(part - part.mean(axis=0)))
    if not 0.5 < scale < 2:
        found = f"the landmarks are {scale:.4g} times as far apart in the bay as on the part"
        raise InputError(job_file, found, "give both in mm", "register.pair")
    hints = []
    if shape < NEAR_LINE_RATIO:
        hints.append("the landmarks lie nearly in a line: turns about it are poorly fixed; add one well off it")
    if abs(scale - 1) > SCALE_OFF:
        hints.append(f"the landmarks are {scale:.3f} times as far apart in the bay as on the part")
    return part, bay, hints


def _sigma_from(residuals: Array) -> float:
    freedom = 3 * len(residuals) - 6
    widened = t.ppf(SURE, freedom) / norm.ppf(SURE)
    return float(np.sqrt((residuals**2).sum() / freedom) * widened)


def _width_over_length(points: Array, pairs: tuple[Landmark, ...], side: str, job_file: Path) -> float:
    """Return how far the set is from a line. Raises InputError if it is one, or points coincide."""
    for i in range(len(points)):
        for j in range(i):
            apart = float(np.linalg.norm(points[i] - points[j]))
            if apart < NEAREST_MM:
                found = f"'{pairs[j].name}' and '{pairs[i].name}' are {apart:.2g} mm apart in {side}"
                raise InputError(job_file, found, "give points far apart, each once", "register.pair")
    away = points - points.mean(axis=0)
    spread = np.linalg.svd(away, compute_uv=False)
    ratio = float(spread[1] / spread[0])
    if ratio < LINE_RATIO:
        axis = np.linalg.svd(away)[2][0]
        width = float(np.linalg.norm(away - np.outer(away @ axis, axis), axis=1).max())
        found = f"the {len(points)} landmarks lie in a line in {side}, to within {width:.2g} mm"
        raise InputError(job_file, found, "add one well off that line", "register.pair")
    return ratio


def _far_end_note(bay: Array, vertices: Array, sigma: float) -> str:
    """Say what the landmarks promise at the part's farthest vertex."""
    each = np.sqrt(3.0) * sigma
    error = target_error(bay, vertices, each)
    worst = int(error.argmax())
    place = ", ".join(f"{x:.0f}" for x in vertices[worst])
    note = f"expected placement error at the part's far end [{place}]: {error[worst]:.2f} mm rms"
    close = "; the landmarks stand close together for this part: spread them wider"
    return note + close if error[worst] > FAR_END * each else note


def _which_is_off(pairs: tuple[Landmark, ...], part: Array, bay: Array, residuals: Array) -> str:
    """Name the likeliest slip: two landmarks swapped, a mirrored axis, or one wrong pick."""
    rms = _rms(part, bay)
    swaps = {(j, i): _rms(part, _swapped(bay, j, i)) for i in range(len(pairs)) for j in range(i)}
    first, second = min(swaps, key=swaps.__getitem__)
    if swaps[first, second] < rms / EXPLAINED:
        return f"landmarks '{pairs[first].name}' and '{pairs[second].name}' look swapped: swap their bay points"
    if _rms(part * (-1, 1, 1), bay) < rms / EXPLAINED:
        return "the landmarks fit only as a mirror image: check the signs of the coordinates"
    if len(pairs) == 3:
        off = f"'{pairs[int(residuals.argmax())].name}' is {residuals.max():.2f} mm off"
        return f"the landmarks do not fit each other: {off}; pick them again"
    without = [_rms(np.delete(part, k, axis=0), np.delete(bay, k, axis=0)) for k in range(len(pairs))]
    worst = int(np.argmin(without))
    return (
        f"landmark '{pairs[worst].name}' does not fit the others: rms residual "
        f"{rms:.2f} mm with it, {without[worst]:.2f} mm without; pick it again"
    )


def _swapped(points: Array, i: int, j: int) -> Array:
    order = np.arange(len(points))
    order[[i, j]] = j, i
    return points[order]


def _rms(part: Array, bay: Array) -> float:
    return float(np.sqrt(((kabsch(part, bay).apply(part) - bay) ** 2).sum(axis=1).mean()))
