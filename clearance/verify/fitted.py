"""A shaft completed from scan points: fitted again by trimmed least squares, and proved as a prism round the claim.

Four offsets, across the claimed axis at its two ends, and the radius are found. Points farther off than
`TRIM` sigma are dropped and the rest fitted again until nothing changes. At least half of the zone's
points must lie on the cylinder: then no other can hold more of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from clearance.frames import Array
from clearance.scene.fit_cylinder import CylinderFit
from clearance.scene.mesh import Mesh
from clearance.verify.claims import FitClaim
from clearance.verify.target import Index

TRIM = 3.0
ROUNDS = 40
LEAST_SHARE, LEAST_ARC_DEG = 0.5, 60.0
AGREE_SIGMAS, AGREE_MM = 2.0, 0.02
"""The claimed surface may lie this many of its own sigmas, and this much, off the one fitted here."""

SAME_MM = 1e-6
EXCESS_MM = 0.002
"""The prism stands outside the cylinder by no more."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Refit:
    """The cylinder fitted here.

    Attributes
    ----------
    off_mm : float
        Farthest that its surface lies from the claimed one, between the claimed ends.
    sigma_mm : float
        1 sigma of its surface where least certain, of independent noise alone: no honest claim is smaller.
    noise_mm : float
        1 sigma of the points about it.
    share : float
        Of the points, those within `TRIM` sigma.
    arc_deg : float
        Of the round that those show.
    """

    off_mm: float
    sigma_mm: float
    noise_mm: float
    share: float
    arc_deg: float


def across(claim: FitClaim) -> tuple[Array, Array, Array, float]:
    """Return the start (3,), unit direction (3,), two directions (2, 3) across, and the length of a claimed axis."""
    start, end = np.array(claim.from_mm), np.array(claim.to_mm)
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    _, _, frame = np.linalg.svd(along[None])
    return start, along, frame[1:], length


def heights(points: Array, claim: FitClaim) -> tuple[Array, Array]:
    """Return how far (n, 3) points lie outside the claimed cylinder's round, and their places along its axis, mm."""
    start, along, side, _ = across(claim)
    away = points - start
    return np.linalg.norm(away @ side.T, axis=1) - claim.radius_mm, away @ along


def refit(points: Array, claim: FitClaim, noise_mm: float) -> Refit:
    """Fit a cylinder to (n, 3) points, mm, from the claimed one on."""
    start, along, side, length = across(claim)
    away = points - start
    flat, share = away @ side.T, away @ along / length

    def off(x: Array, chosen: Index) -> Array:
        tilt = (x[2:4] - x[:2]) / length
        beside = flat[chosen] - x[:2] - share[chosen, None] * (x[2:4] - x[:2])
        # Distance from the tilted axis: what of `beside` lies along it does not count.
        distance = np.sqrt((beside**2).sum(axis=1) - (beside @ tilt) ** 2 / (1 + tilt @ tilt))
        return np.asarray(distance - x[4], dtype=np.float64)

    x, every = np.array([0.0, 0, 0, 0, claim.radius_mm]), np.arange(len(points), dtype=np.int64)
    sigma, chosen = _spread(off(x, every), noise_mm), every[:0]
    for _ in range(ROUNDS):
        near = np.flatnonzero(np.abs(off(x, every)) <= TRIM * sigma)
        if len(near) < 6 or np.array_equal(near, chosen):
            break
        chosen = near
        x = least_squares(off, x, args=(chosen,), method="lm").x
        sigma = _spread(off(x, chosen), noise_mm)
    residual = off(x, every)
    on = np.abs(residual) <= TRIM * sigma
    outward = (flat - x[:2] - share[:, None] * (x[2:4] - x[:2]))[on]
    return Refit(
        off_mm=float(max(np.linalg.norm(x[:2]), np.linalg.norm(x[2:4])) + abs(x[4] - claim.radius_mm)),
        sigma_mm=_white_sigma(outward, share[on], residual[on]),
        noise_mm=sigma,
        share=float(on.mean()),
        arc_deg=_arc_deg(outward),
    )


def _spread(residual: Array, noise_mm: float) -> float:
    return max(noise_mm, 1.4826 * float(np.median(np.abs(residual))), 1e-6)


def _white_sigma(outward: Array, share: Array, residual: Array) -> float:
    """1 sigma of the surface, largest over both ends and every direction, if all points err on their own."""
    if len(residual) < 6:
        return np.inf
    unit = outward / np.linalg.norm(outward, axis=1, keepdims=True)
    rows = np.column_stack([unit * (1 - share)[:, None], unit * share[:, None], np.ones(len(unit))])
    covariance = np.linalg.pinv(rows.T @ rows) * float(residual @ residual) / len(residual)
    angle = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    round_ = np.column_stack([np.cos(angle), np.sin(angle)])
    none, one = np.zeros_like(round_), np.ones((len(round_), 1))
    ends = np.vstack([np.hstack([round_, none, one]), np.hstack([none, round_, one])])
    return float(np.sqrt(np.einsum("ni,ij,nj->n", ends, covariance, ends).max()))


def _arc_deg(outward: Array) -> float:
    """360 degrees less the widest stretch of the round in which there are no points."""
    angle = np.sort(np.arctan2(outward[:, 1], outward[:, 0]))
    if len(angle) < 2:
        return 0.0
    gaps = np.diff(np.append(angle, angle[0] + 2 * np.pi))
    return float(np.degrees(2 * np.pi - gaps.max()))


def fit_faults(claim: FitClaim | None, rebuilt: CylinderFit | None, found: Refit | None, stated_mm: float) -> list[str]:
    """Return what is wrong with a claimed cylinder. `stated_mm`: 1 sigma in the zone's budget."""
    if claim is None or rebuilt is None or found is None:
        return (
            [] if claim is None and rebuilt is None and stated_mm == 0 else ["it and the job differ on a fitted shaft"]
        )
    faults = []
    moved = max(
        float(np.linalg.norm(np.array(claim.from_mm) - rebuilt.from_)),
        float(np.linalg.norm(np.array(claim.to_mm) - rebuilt.to)),
        abs(claim.radius_mm - rebuilt.radius_mm),
    )
    if moved > SAME_MM:
        faults.append(f"its shaft lies {moved:.3g} mm off the one that the job's fit gives")
    if abs(stated_mm - claim.sigma_mm) > SAME_MM:
        faults.append(f"its budget has {stated_mm:g} mm for the fit, its certificate {claim.sigma_mm:g} mm")
    if found.share < LEAST_SHARE:
        faults.append(f"only {100 * found.share:.0f} % of its scan points lie on its shaft")
    if found.arc_deg < LEAST_ARC_DEG:
        faults.append(f"its scan points show {found.arc_deg:.0f} degrees of its shaft")
    if claim.sigma_mm < found.sigma_mm:
        faults.append(
            f"its shaft is said to be sure to {claim.sigma_mm:.3g} mm, noise alone makes {found.sigma_mm:.3g} mm"
        )
    if found.off_mm > AGREE_SIGMAS * claim.sigma_mm + AGREE_MM:
        faults.append(
            f"its shaft lies {found.off_mm:.3f} mm off the one fitted again, more than {AGREE_SIGMAS:g} x "
            f"{claim.sigma_mm:.3f} mm"
        )
    return faults


def prism(claim: FitClaim) -> Mesh:
    """Return a closed prism that holds the claimed cylinder and stands out by `EXCESS_MM` at most, bay frame."""
    start, along, side, length = across(claim)
    sides = max(12, int(np.ceil(np.pi / np.arccos(claim.radius_mm / (claim.radius_mm + EXCESS_MM)))))
    angle = 2 * np.pi * (np.arange(sides) + 0.25) / sides
    ring = claim.radius_mm / np.cos(np.pi / sides) * (np.column_stack([np.cos(angle), np.sin(angle)]) @ side)
    ends = [start, start + length * along]
    vertices = np.vstack([*(end + ring for end in ends), *(end[None] for end in ends)])
    here = np.arange(sides)
    beside = np.roll(here, -1)
    first, last = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    faces = np.vstack(
        [
            np.stack([here, beside, beside + sides], axis=1),
            np.stack([here, beside + sides, here + sides], axis=1),
            np.stack([first, beside, here], axis=1),
            np.stack([last, here + sides, beside + sides], axis=1),
        ]
    )
    return Mesh(vertices, faces.astype(np.int64))
