"""Nothing is left out: every scan point in a zone's place is proved on, or touches, or belongs to its fitted shaft.

The places are asked afresh from the job: what a box, a ball, a rod or the rest of the scan holds, and what the job
leaves out of that rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.job.schema import Job
from clearance.job.where import Where
from clearance.scene.scan import Scan
from clearance.scene.zones import Zones
from clearance.verify.claims import Certificate, FitClaim
from clearance.verify.fitted import TRIM, heights
from clearance.verify.target import Target
from clearance.verify.touching import Disc, may_touch

Mask = NDArray[np.bool_]

EDGE_MM = 1e-6
"""A point so near to the edge of a place may count as in or out."""

NOISE_ALIKE = 1.5
"""Two robust estimates of the noise about one shaft differ by less than this factor."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """What is asked about: the rebuilt scene and what may be masked. `fits`: by a table's name, its claimed shaft."""

    job: Job
    scan: Scan
    zones: Zones
    target: Target
    origin: Array
    discs: tuple[Disc, ...]
    slack_mm: float
    fits: dict[str, tuple[FitClaim, float]]


def held_by(where: Where, points: Array) -> Array:
    """Return by how much, (n,) mm, points lie outside a place for scan points; below 0 inside."""
    if where.box is not None:
        low, high = np.array(where.box.min), np.array(where.box.max)
        beyond: Array = np.maximum(low - points, points - high).max(axis=1)
        return beyond
    if where.sphere is not None:
        return np.asarray(np.linalg.norm(points - np.array(where.sphere.center), axis=1) - where.sphere.diameter / 2)
    rod = where.cylinder or where.capsule
    assert rod is not None
    start, end = np.array(rod.from_), np.array(rod.to)
    length = float(np.linalg.norm(end - start))
    along = (points - start) @ (end - start) / length
    away = np.linalg.norm(np.cross(points - start, (end - start) / length), axis=1)
    if where.cylinder is not None:
        return np.asarray(np.maximum(away - rod.diameter / 2, np.maximum(-along, along - length)))
    past = np.maximum(np.maximum(-along, along - length), 0.0)
    return np.asarray(np.hypot(away, past) - rod.diameter / 2)


def left_out_faults(asked: Asked, certificate: Certificate) -> list[str]:
    """Return which scan points were left out of their zone, or of what no zone claims, without reason."""
    points, stray = asked.scan.points, asked.scan.stray
    nets = [table for table in asked.job.zones if not table.where.is_body]
    taken = np.zeros(len(points), dtype=bool)
    surely: dict[str, Mask] = {}
    for table in (t for t in nets if not t.where.rest):
        outside = held_by(table.where, points)
        surely[table.name] = outside <= -EDGE_MM
        taken |= outside <= EDGE_MM
    for left_out in asked.job.bay.left_out if asked.job.bay is not None else ():
        taken |= held_by(left_out.where, points) <= EDGE_MM
    surely |= {table.name: ~taken for table in nets if table.where.rest}
    # Where points are peeled off onto the engine, strays follow the zone that has decided points: not asked.
    peels = asked.job.engine is not None and asked.job.engine.peel
    faults = []
    for table in nets:
        own = [zone for zone in asked.zones.zones if zone.table == table.name]
        decided = _stacked([zone.points for zone in own])
        strays = _stacked([zone.stray_points for zone in own])
        mask = surely[table.name]
        lost = points[mask & ~stray][~_among(points[mask & ~stray], decided)]
        alone = points[:0] if peels else points[mask & stray]
        lost_strays = alone[~_among(alone, np.vstack([decided, strays]))]
        faults += _unexplained(asked, table.name, lost, lost_strays)
        if asked.discs and table.fit is None:
            faults += _masked(asked, certificate, table.name, points[mask])
    if not any(table.where.rest for table in nets) and not _among(points[~taken], asked.zones.unclaimed).all():
        faults.append("scan points of no zone were left out")
    return faults


def _unexplained(asked: Asked, name: str, lost: Array, lost_strays: Array) -> list[str]:
    """Points may be missing where they touch, or lie in or on the fitted shaft between its ends."""
    every = np.vstack([lost, lost_strays])
    told = _touch(asked, every) > 0
    if name in asked.fits:
        claim, noise_mm = asked.fits[name]
        outside, along = heights(lost, claim)
        length = float(np.linalg.norm(np.subtract(claim.to_mm, claim.from_mm)))
        on = outside <= TRIM * NOISE_ALIKE * noise_mm + claim.sigma_mm
        told[: len(lost)] |= on & (along >= -EDGE_MM) & (along <= length + EDGE_MM)
    if told.all():
        return []
    first = ", ".join(f"{x:.1f}" for x in every[~told][0])
    return [f"{name}: {int((~told).sum())} scan point(s) were left out though they touch nothing, one at [{first}] mm"]


def _masked(asked: Asked, certificate: Certificate, name: str, points: Array) -> list[str]:
    """The certificate must say how many points of a table touch; those that may ride with the engine count twice."""
    names = {zone.name for zone in asked.zones.zones if zone.table == name}
    said = sum(entry.contact.points for entry in certificate.zones if entry.name in names and entry.contact)
    told = _touch(asked, points)
    least, most = int((told == 1).sum()), int((told > 0).sum())
    if asked.job.engine is not None and asked.job.engine.peel:
        most *= 2
    if least <= said <= most:
        return []
    return [f"{name}: its certificate masks {said} scan points, {least} to {most} lie on the faces of contact"]


def _touch(asked: Asked, points: Array) -> Array:
    if not asked.discs or not len(points):
        return np.zeros(len(points))
    return may_touch(points, asked.discs, asked.slack_mm, asked.target, asked.origin)


def _stacked(lots: list[Any]) -> Array:
    return np.vstack([np.zeros((0, 3)), *(lot for lot in lots if lot is not None)])


def _among(some: Array, every: Array) -> Mask:
    """Tell which of (n, 3) points are among (m, 3), bit by bit."""
    if not len(every) or not len(some):
        return np.zeros(len(some), dtype=bool)
    return np.asarray(cKDTree(every).query(some)[0] == 0.0)
