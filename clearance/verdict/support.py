"""The scan near the part brought onto the surfaces that its points support, so that no noise extreme decides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.distance.near import balls_of_points, distance_to
from clearance.scene.mesh import Mesh
from clearance.scene.scan import Scan
from clearance.scene.supported import supported

CELL_MM = 6.0
"""Side of the cubes in which scan points are filtered together."""


def with_support(scan: Scan, part: Mesh, within_mm: float) -> Scan:
    """Return the scan with its points near the part on the surface that their neighbours show.

    The smallest of many noisy distances lies several sigma below the surface; the smallest distance
    to the surface does not. A point that stands off what its neighbours agree on becomes a stray.

    Parameters
    ----------
    part : Mesh
        Bay frame, neutral pose, mm.
    within_mm : float
        Points farther than this from it stay as they are.

    Returns
    -------
    Scan
        `raw` holds the points as scanned.
    """
    usable = np.flatnonzero(~scan.stray)
    chosen_from = usable if scan.thinned is None else np.flatnonzero(~scan.stray & ~scan.thinned)
    low, high = part.vertices.min(axis=0) - within_mm, part.vertices.max(axis=0) + within_mm
    near_by = scan.points[chosen_from]
    boxed = chosen_from[((near_by >= low) & (near_by <= high)).all(axis=1)]
    if scan.noise_mm == 0 or not len(boxed):
        return replace(scan, raw=scan.points)
    balls = balls_of_points(scan.points[boxed], CELL_MM)
    near = distance_to(part, balls.centres) - balls.radii <= within_mm
    chosen = np.searchsorted(usable, boxed[near[balls.group]])
    found = supported(scan.points[usable], chosen, scan.noise_mm)
    points, stray = scan.points.copy(), scan.stray.copy()
    points[usable[chosen]] = found.points
    stray[usable[chosen[found.alone]]] = True
    return replace(scan, points=points, stray=stray, raw=scan.points)
