"""Uncertainty of one zone's clearance, each component in mm, combined as the GUM says.

Components that differ from place to place are taken where they hurt most: wherever the clearance,
less what is uncertain there, could fall below what was found at the worst spot.
"""

from __future__ import annotations

import numpy as np

from clearance.motion.field import may_be_lower
from clearance.motion.result import ClearanceField, Sweep
from clearance.motion.pair import PairMotion
from clearance.motion.sweep import sweep as swept
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.verdict.conformance import combined, guard_factor, rectangular
from clearance.verdict.result import Budget

CLASS_RATIO = 1.25
"""Points whose spacings differ by less than this factor are swept together."""

CLASS_TOLERANCE_MM = 0.05
"""Width of the bound sought for a class."""


def budget(
    *,
    zone: Zone,
    sweep: Sweep,
    part: Part,
    part_field: ClearanceField,
    motion: PairMotion,
    registration: Registration,
    scan: Scan | None,
    confidence: float,
) -> Budget:
    """Work out the budget of a zone.

    Independent components are combined as the root of the sum of squares (JCGM 100:2008, 5.1.2);
    the part's tolerance is a rectangular distribution of half-width a, standard uncertainty
    a / sqrt(3) (JCGM 100:2008, 4.3.7). The guard is k u, k the one-sided normal quantile of
    `confidence` (JCGM 106:2012, 8.3.2), plus the spacing allowance, which is not a random error but
    a surface that may stand between the points.
    """
    measured = zone.points is not None and scan is not None
    noise = scan.noise_mm if measured and scan is not None else 0.0
    accuracy = scan.accuracy_mm if measured and scan is not None else 0.0
    spacing = _spacing(zone, sweep, part, motion)
    quantile = guard_factor(confidence)
    rest = combined([noise, accuracy, rectangular(part.tolerance_mm)])
    reach = zone.gap_mm + spacing + quantile * rest
    registered = _placement(sweep, part.shown, part_field, motion, registration, reach, quantile)
    standard = combined([registered, rest])
    return Budget(
        registration=registered,
        noise=noise,
        accuracy=accuracy,
        spacing=spacing,
        tolerance=part.tolerance_mm,
        growth=0.0,
        standard=standard,
        guard=quantile * standard + spacing,
    )


def _spacing(zone: Zone, sweep: Sweep, part: Part, motion: PairMotion) -> float:
    """Least a such that sweep.lower - a bounds the clearance of every point less the spacing around it.

    Every place of the scanned surface has a scan point within the local spacing, so by the triangle
    inequality the surface is nearer than its nearest point by at most that. Points are taken in
    classes of like spacing and each class is swept, so that sparse points far off do not count as
    if they were near.
    """
    if zone.points is None or zone.spacing_mm is None:
        return 0.0
    allowance, left = 0.0, np.ones(len(zone.points), dtype=bool)
    lower = max(sweep.clearance.lower, 0.0)
    while left.any():
        widest = float(zone.spacing_mm[left].max())
        if widest <= allowance:
            break
        group = left & (zone.spacing_mm > widest / CLASS_RATIO)
        left &= ~group
        own = swept(part.mesh, part.closed, zone.points[group], False, motion, CLASS_TOLERANCE_MM).clearance.lower
        allowance = max(allowance, widest - (max(own, lower) - lower))
    return allowance


def _placement(
    sweep: Sweep,
    part: Mesh,
    field: ClearanceField,
    motion: PairMotion,
    registration: Registration,
    reach: float,
    quantile: float,
) -> float:
    """Return the largest 1 sigma of the place of any part vertex that may come within `reach` of the zone, mm.

    At the worst spot along the gap; elsewhere along whichever direction is least certain.
    """
    at_worst = registration.sigma_mm(sweep.on_part, sweep.direction)
    sigma = registration.largest_sigma_mm(part.vertices)
    near = field.values_mm - may_be_lower(motion, part.vertices) < reach + quantile * sigma
    return max(at_worst, float(sigma[near].max(initial=0.0)))
