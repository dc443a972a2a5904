"""Settle a placed part on the scan points that lie on it, and say how sure that is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, Pose
from clearance.registration.bootstrap import LEAST_BLOCKS, block_count, covariance
from clearance.registration.cloud import CloudModel
from clearance.registration.fit_rows import LEAST_POINTS, SCHEDULE, Fit, Near, near_points
from clearance.registration.free_motions import free_motions
from clearance.registration.result import Registration
from clearance.registration.settle import coarse, polished, radius_about
from clearance.registration.surface import Surface, surface_of
from clearance.scene.mesh import Mesh

SHOWN_MM = 2.5
"""A place of the part counts as shown by the scan if a point lies this near; times the surface's scale."""

LEAST_SHOWN = 0.08
"""Share of the part's surface the scan must show."""

LEAST_AGREEING = 0.5
"""Share of the scan points within the last stage's distance that must lie within its Tukey width.

Points strewn evenly through that distance give width over distance, 0.375; points of the part itself nearly 1.
"""

SETTLED_MM = 0.002
"""Largest move of any place of the part that the last of all steps may still make; times the surface's scale."""

MOVE_SIGMAS, MOVE_SLACK_MM = 4.0, 1.0
"""How far settling may move a place: so many of the first placing's sigmas, and what parts differ from their model."""


def refined(start: Registration, part: Mesh | CloudModel, scan_points: Array, accuracy_mm: float) -> Registration:
    """Return `start` settled on the scan by robust point-to-plane fitting with Tukey weights.

    Coarse to fine by open3d against samples of the part's surface, then Gauss-Newton steps against
    its exact closest points, or against the plane at the nearest point of a cloud model. The covariance
    is a block bootstrap of the final fit (the largest of several block sizes, widened), plus the
    scanner's accuracy as a shift. `converged` is True only if the start was sound, enough of the part
    is shown, the points near it agree with it, the fit settled within the start's own doubt, and no
    motion is left free; else the pose stays `start`'s and a note says why.

    Parameters
    ----------
    part : Mesh or CloudModel
        Part frame, mm. All lengths of the fit grow with the spacing of a cloud model coarser than an
        engine scan.
    scan_points : (n, 3) float64, mm, bay frame
    accuracy_mm : float
        1 sigma of the scanner's own error.
    """
    surface = surface_of(part)
    near = near_points(start.T_bay_part, surface, scan_points)
    pose, fit, last_mm = polished(coarse(start.T_bay_part, surface, near), surface, near, start.centre)
    shown = _share_shown(pose, surface, near)
    faults = _faults(start, pose, surface, fit, shown, last_mm)
    method = f"{start.method}+refine"
    if faults:
        notes = _with_notes(start, [f"refine: {fault}" for fault in faults])
        return replace(start, method=method, converged=False, notes=notes)
    spread = covariance(fit, radius_about(start.centre, pose, surface), surface.scale)
    spread[3:, 3:] += np.eye(3) * accuracy_mm**2
    note = (
        f"refine: the scan shows {100 * shown:.0f} % of the part; {len(fit.points)} points were fitted, "
        f"{100 * fit.agreeing:.0f} % of those within {SCHEDULE[-1][0] * surface.scale:.3g} mm"
    )
    return replace(
        start,
        method=method,
        T_bay_part=pose,
        residual_rms_mm=fit.rms_mm,
        covariance=spread,
        notes=_with_notes(start, [note]),
    )


def _with_notes(start: Registration, told: list[str]) -> tuple[str, ...]:
    """Add notes; those of a start that proves nothing stay last, where the reason of a verdict is read."""
    return (*start.notes, *told) if start.converged else (*told, *start.notes)


def _share_shown(pose: Pose, surface: Surface, near: Near) -> float:
    if not len(near.points):
        return 0.0
    places = pose.apply(surface.samples[::6])
    found = cKDTree(near.points).query(places, distance_upper_bound=SHOWN_MM * surface.scale)[0]
    return float(np.isfinite(found).mean())


def _faults(start: Registration, pose: Pose, surface: Surface, fit: Fit, shown: float, last_mm: float) -> list[str]:
    """Return why the fit proves nothing, in words; empty if it is sound."""
    few = len(fit.points) < LEAST_POINTS or block_count(fit.points, surface.scale) < LEAST_BLOCKS
    if shown < LEAST_SHOWN or few:
        return [
            f"the scan shows only {100 * shown:.0f} % of the part at this place; "
            "leave refine out if the bay was scanned without it"
        ]
    faults = free_motions(fit.normal_matrix, start.centre, radius_about(start.centre, pose, surface))
    if last_mm > SETTLED_MM * surface.scale and not faults:
        faults.append(f"did not settle: the last step still moved the part {last_mm:.3f} mm; check the first placing")
    if fit.agreeing < LEAST_AGREEING:
        faults.append(
            f"only {100 * fit.agreeing:.0f} % of the scan points within {SCHEDULE[-1][0] * surface.scale:.3g} mm "
            "of the part lie on it; leave refine out if something else stands in its place in the scan"
        )
    return faults + _moved_too_far(start, pose, surface)


def _moved_too_far(start: Registration, pose: Pose, surface: Surface) -> list[str]:
    """Say so if settling went beyond the first placing's own doubt."""
    placed = pose.apply(surface.outline)
    moved = np.linalg.norm(placed - start.T_bay_part.apply(surface.outline), axis=1)
    allowed = MOVE_SIGMAS * start.largest_sigma_mm(placed) + MOVE_SLACK_MM * surface.scale
    if (moved <= allowed).all():
        return []
    worst = int((moved - allowed).argmax())
    return [
        f"moved the part by {moved[worst]:.1f} mm where its first placing allows {allowed[worst]:.1f} mm; "
        "check the landmarks, or the sigmas of the given pose"
    ]
