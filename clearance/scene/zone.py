"""A zone: a named stretch of surroundings with its own required gap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.fit_cylinder import CylinderFit
from clearance.scene.mesh import Mesh


@dataclass(frozen=True, eq=False, kw_only=True)
class Zone:
    """One zone, in the bay's frame at the neutral pose. Exactly one of `points` and `mesh` is set.

    Attributes
    ----------
    name, kind : str
    table : str
        Name of the job's [[zone]] it comes from; differs from `name` where one table gives more than one zone.
    rides : str
        Carrier: "chassis" or "engine".
    gap_mm : float
        Required gap in force: bare, or shielded where the user says it is shielded.
    shielded : bool
    points : (n, 3) float64 or None
        Scan points that decide, mm.
    raw_points : (m, 3) float64 or None
        The same points as scanned, strays with them.
    spacing_mm : (n,) float32 or None
        Local spacing of `points`.
    stray_points : (k, 3) float64
        Scan points inside the zone that nothing supports: shown, not decided on.
    beside : (b, 3) float64 or None
        For a zone with a motion of its own: scan points that hang together with its own but lie outside its place.
    mesh : Mesh or None
        What is measured.
    shown : Mesh or None
        The same surface with its long edges split: what carries colours.
    closed : bool
        For a mesh zone: whether it bounds a solid.
    facet_mm : float
        The mesh may stand outside the body it replaces by up to this much (round primitives).
    fit : CylinderFit or None
        For a shaft completed from scan points: what was fitted. `mesh` is that cylinder, as far as it was seen.
    fit_sigma_mm : float
        1 sigma of the place of the fitted surface where it is least certain; the scanner's accuracy is not in it.
    """

    name: str
    table: str
    kind: str
    rides: str
    gap_mm: float
    shielded: bool = False
    points: Array | None = None
    raw_points: Array | None = None
    spacing_mm: NDArray[np.float32] | None = None
    stray_points: Array
    beside: Array | None = None
    mesh: Mesh | None = None
    shown: Mesh | None = None
    closed: bool = False
    facet_mm: float = 0.0
    fit: CylinderFit | None = None
    fit_sigma_mm: float = 0.0
