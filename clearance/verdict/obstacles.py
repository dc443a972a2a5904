"""Zones as obstacles to anything within a box: the gap of each with a guard that holds all over the box."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from clearance.access.obstacle import Obstacle
from clearance.frames import Array
from clearance.heat.growth import growth_spread_anywhere_mm
from clearance.scene.zone import Zone
from clearance.scene.zones import Zones
from clearance.verdict.budget import CLASS_RATIO
from clearance.verdict.conformance import combined, guard_factor, rectangular
from clearance.verdict.setting import Setting
from clearance.verdict.suspects import company_of

UNCLAIMED = "points of no zone"


def obstacles_of(
    zone: Zone, setting: Setting, corners: Array, gap_mm: float, coarse_mm: float = 0.0
) -> tuple[Obstacle, ...]:
    """Return a zone as obstacles: a mesh, or its scan points in classes of like spacing, and strays in company.

    Parameters
    ----------
    corners : (k, 3) float64, bay frame, mm
        Hull of every place that matters. Variances are convex functions of the place (of a point's pose and
        of its growth), so that none within exceeds the largest at the corners.
    gap_mm : float
        Clearance required of it.
    coarse_mm : float
        Points no farther apart than this are taken as one class.
    """
    doubt = guard_over(zone, setting, corners)
    scan = setting.scan
    strays = zone.stray_points[company_of(zone.stray_points, scan.points[scan.stray] if scan is not None else None)]
    found = [Obstacle(name=zone.name, solid=strays, gap_mm=gap_mm, doubt_mm=doubt, firm=False)] if len(strays) else []
    if zone.mesh is not None:
        found.append(Obstacle(name=zone.name, solid=zone.mesh, closed=zone.closed, gap_mm=gap_mm, doubt_mm=doubt))
        return tuple(found)
    for points, widest in classes_of(zone, coarse_mm):
        found.append(Obstacle(name=zone.name, solid=points, gap_mm=gap_mm, doubt_mm=doubt, spacing_mm=widest))
    return tuple(found)


def unclaimed_obstacles(
    zones: Zones, setting: Setting, corners: Array, gap_mm: float, doubt_mm: float, coarse_mm: float = 0.0
) -> tuple[Obstacle, ...]:
    """Return scan points of no zone as obstacles that block nothing for sure, in classes of like spacing.

    `doubt_mm` is the least guard; a zone of such points may have a larger one.
    """
    if not len(zones.unclaimed):
        return ()
    lone = unclaimed_zone(zones.unclaimed, zones.unclaimed_spacing_mm, gap_mm)
    doubt = max(doubt_mm, guard_over(lone, setting, corners))
    return tuple(
        Obstacle(name=UNCLAIMED, solid=points, gap_mm=gap_mm, doubt_mm=doubt, spacing_mm=widest, firm=False)
        for points, widest in classes_of(lone, coarse_mm)
    )


def unclaimed_zone(points: Array, spacing_mm: Array | None, gap_mm: float) -> Zone:
    """Return scan points of no zone, (n, 3) mm, as a zone of their own."""
    return Zone(
        name=UNCLAIMED,
        table=UNCLAIMED,
        kind="chassis",
        rides="chassis",
        gap_mm=gap_mm,
        points=points,
        spacing_mm=None if spacing_mm is None else spacing_mm.astype(np.float32),
        stray_points=points[:0],
    )


def guard_over(zone: Zone, setting: Setting, corners: Array) -> float:
    """Return k u, mm: the guard of a zone without its spacing, for whatever lies in the hull of `corners` (k, 3).

    The components are those of `budget`, each the largest there is in the hull.
    """
    scan, measured = setting.scan, zone.points is not None or zone.fit is not None
    growth = setting.growth
    components = [
        float(setting.registration.largest_sigma_mm(corners).max()),
        scan.noise_mm if scan is not None and zone.points is not None else 0.0,
        scan.accuracy_mm if scan is not None and measured else 0.0,
        zone.fit_sigma_mm,
        rectangular(setting.part.tolerance_mm),
        float(growth_spread_anywhere_mm(corners, growth).max()) if growth is not None else 0.0,
    ]
    return guard_factor(setting.confidence) * combined(components)


def classes_of(zone: Zone, coarse_mm: float) -> Iterator[tuple[Array, float]]:
    """Return scan points grouped by spacing, and the widest spacing of each group, mm: the groups of `budget`."""
    assert zone.points is not None
    if zone.spacing_mm is None:
        yield zone.points, 0.0
        return
    left = np.ones(len(zone.points), dtype=bool)
    while left.any():
        widest = float(zone.spacing_mm[left].max())
        group = left & ((zone.spacing_mm > widest / CLASS_RATIO) | (widest <= coarse_mm))
        left &= ~group
        yield zone.points[group], widest
