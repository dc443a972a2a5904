"""Uncertainty of one zone's clearance, each component in mm, combined as the GUM says.

Components that differ from place to place are taken where they hurt most: wherever the clearance,
less what is uncertain there, could fall below what was found at the worst spot.
"""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.heat.growth import growth_spread_anywhere_mm
from clearance.motion.field import may_be_lower, may_come_within
from clearance.motion.pair import PairMotion
from clearance.motion.result import ClearanceField, Sweep
from clearance.motion.sweep import sweep as swept
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.verdict.conformance import combined, guard_factor, rectangular
from clearance.verdict.result import Budget
from clearance.verdict.setting import Setting

CLASS_RATIO = 1.25
"""Points whose spacings differ by less than this factor are swept together."""

CLASS_TOLERANCE_MM = 0.05
"""Width of the bound sought for a class."""


def budget(
    *,
    zone: Zone,
    sweep: Sweep,
    part: Part,
    factor: float,
    part_field: ClearanceField,
    motion: PairMotion,
    setting: Setting,
) -> Budget:
    """Work out the budget of a zone.

    Independent components are combined as the root of the sum of squares (JCGM 100:2008, 5.1.2);
    the part's tolerance is a rectangular distribution of half-width a, standard uncertainty
    a / sqrt(3) (JCGM 100:2008, 4.3.7). The guard is k u, k the one-sided normal quantile of
    `confidence` (JCGM 106:2012, 8.3.2), plus the spacing allowance, which is not a random error but
    a surface that may stand between the points.

    Parameters
    ----------
    part : Part
        Bay frame, neutral pose, grown by `factor`, at which `sweep` found its worst.
    """
    scan, measured = setting.scan, zone.points is not None or zone.fit is not None
    noise = scan.noise_mm if scan is not None and zone.points is not None else 0.0
    accuracy = scan.accuracy_mm if scan is not None and measured else 0.0
    spacing = _spacing(zone, sweep, part, motion, setting.unlike_mm(factor))
    quantile = guard_factor(setting.confidence)
    rest = combined([noise, accuracy, zone.fit_sigma_mm, rectangular(part.tolerance_mm)])
    reach = zone.gap_mm + spacing + quantile * rest
    registered, growth = _places(sweep, part, factor, part_field, motion, setting, reach, quantile)
    standard = combined([registered, growth, rest])
    return Budget(
        registration=registered,
        noise=noise,
        accuracy=accuracy,
        fit=zone.fit_sigma_mm,
        spacing=spacing,
        tolerance=part.tolerance_mm,
        growth=growth,
        standard=standard,
        guard=quantile * standard + spacing,
    )


def _spacing(zone: Zone, sweep: Sweep, part: Part, motion: PairMotion, unlike_mm: float) -> float:
    """Least a such that sweep.lower - a bounds the clearance of every point less the spacing around it.

    Every place of the scanned surface has a scan point within the local spacing, so by the triangle
    inequality the surface is nearer than its nearest point by at most that. Points are taken in
    classes of like spacing and each class is swept, so that sparse points far off do not count as
    if they were near; those farther than `lower` by more than their spacing do not count at all.
    `unlike_mm`: how far any place of the part lies, at another temperature, from where it is here.
    """
    if zone.points is None or zone.spacing_mm is None:
        return 0.0
    allowance, lower = 0.0, max(sweep.clearance.lower, 0.0)
    left = may_come_within(part.mesh, zone.points, motion, lower + unlike_mm + zone.spacing_mm.astype(np.float64))
    while left.any():
        widest = float(zone.spacing_mm[left].max())
        if widest <= allowance:
            break
        group = left & (zone.spacing_mm > widest / CLASS_RATIO)
        left &= ~group
        own = swept(part.mesh, part.closed, zone.points[group], False, motion, CLASS_TOLERANCE_MM).clearance.lower
        allowance = max(allowance, widest - (max(own - unlike_mm, lower) - lower))
    return allowance


def _places(
    sweep: Sweep,
    part: Part,
    factor: float,
    field: ClearanceField,
    motion: PairMotion,
    setting: Setting,
    reach: float,
    quantile: float,
) -> tuple[float, float]:
    """Return the largest 1 sigma, mm, of the pose and of the growth at any vertex that may come within `reach`.

    At the worst spot along the gap; elsewhere along whichever direction is least certain.
    """
    registration, vertices = setting.registration, part.shown.vertices
    sigma, grows = registration.largest_sigma_mm(vertices), _growth_sigma(vertices, factor, setting)
    may_be = field.values_mm - may_be_lower(motion, vertices) - setting.unlike_mm(factor)
    near = may_be < reach + quantile * np.hypot(sigma, grows)
    at_worst = registration.sigma_mm(sweep.on_part, sweep.direction)
    grown_there = float(_growth_sigma(sweep.on_part[None], factor, setting)[0])
    return max(at_worst, float(sigma[near].max(initial=0.0))), max(grown_there, float(grows[near].max(initial=0.0)))


def _growth_sigma(places: Array, factor: float, setting: Setting) -> Array:
    """Return 1 sigma, (n,) mm, of the growth of places (n, 3) of the part grown by `factor`, bay, mm."""
    growth = setting.growth
    if growth is None:
        return np.zeros(len(places))
    return growth_spread_anywhere_mm(growth.anchor + (places - growth.anchor) / factor, growth)
