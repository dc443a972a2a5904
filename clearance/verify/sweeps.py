"""The sweeps of one zone: do their cells cover the motion, does every cell hold, does the bound over all of them?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.verify.cells import prove_cells
from clearance.verify.claims import SweepClaim, ZoneCertificate, ZoneClaim
from clearance.verify.cover import hole
from clearance.verify.moves import Moves
from clearance.verify.prove import Outcome
from clearance.verify.target import Target

EPS_MM = 0.01
"""A claim counts as proved again where all but this much of it is."""

QUESTIONS = 20_000_000
"""Distances asked per zone before it gives up."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Body:
    """What a zone is proved on: points (n, 3) or a mesh, from the setting's origin. `closed`: it has an inside."""

    solid: Array | Mesh
    closed: bool

    @property
    def pieces(self) -> Array:
        """(n, c, 3) points or triangles."""
        return self.solid.triangles if isinstance(self.solid, Mesh) else self.solid[:, None]


def eps_mm(lower: float) -> float:
    """Return how much of a claim need not be proved."""
    return min(EPS_MM, max(lower, 0.0) / 2)


def prove_sweeps(
    target: Target,
    moves: Moves,
    body: Body,
    zone: Zone,
    row: ZoneClaim,
    entry: ZoneCertificate,
    factors: tuple[float, float],
) -> tuple[list[str], str | None, int]:
    """Return faults, why something stayed unproved, and the questions asked. `factors`: between which the part grows.

    Each sweep's cells are proved at its own growth factor; where there is more than one, the zone's bound at all.
    """
    faults: list[str] = []
    boxes = [_whole(moves, row, factors)] if row.clearance_mm.lower > 0 and factors[0] < factors[1] else []
    for sweep in entry.sweeps:
        own, cells = _cells(moves, sweep, zone.facet_mm)
        faults += own
        if cells is not None and sweep.clearance_mm.lower > 0:
            boxes.append(cells)
    if not boxes:
        return faults, None, 0
    low, high, claims, grown = (np.concatenate(columns) for columns in zip(*boxes, strict=True))
    ended = prove_cells(target, moves.path, body.pieces, low, high, claims, QUESTIONS, grown)
    said, unproved = _say(ended, "a cell of its certificate claims {claimed:.3f} mm, a pose in it has {nearer:.3f} mm")
    faults, asked = faults + said, ended.distances
    if row.clearance_mm.lower <= 0:
        return faults, unproved, asked
    if _swallowed(target, moves, body):
        faults.append("one body lies inside the other")
    if zone.spacing_mm is not None and not faults and unproved is None:
        said, unproved, more = _spacing(
            target, moves, body, np.asarray(zone.spacing_mm, dtype=np.float64), row, factors
        )
        faults, asked = faults + said, asked + more
    return faults, unproved, asked


Boxes = tuple[Array, Array, Array, Array]
"""Low and high angles (k, a), what is to be proved (k,), mm, least and largest growth factor (k, 2)."""


def _whole(moves: Moves, row: ZoneClaim, factors: tuple[float, float]) -> Boxes:
    """One box of all poses and all temperatures: there the zone's own bound must hold."""
    lower, path = row.clearance_mm.lower, moves.path
    return path.angle_low[None], path.angle_high[None], np.array([lower - eps_mm(lower)]), np.array([factors])


def _cells(moves: Moves, sweep: SweepClaim, facet_mm: float) -> tuple[list[str], Boxes | None]:
    """Return what is wrong with a sweep's cells as such, and the cells with what is to be proved of each."""
    path, columns = moves.path, sweep.columns()
    if columns is None or len(set(sweep.angles)) != len(sweep.angles):
        return ["its certificate's cells have the wrong shape"], None
    if unknown := sorted(set(sweep.angles) - set(path.names)):
        return [f"its certificate has a motion that the zone has not: {', '.join(unknown)}"], None
    low, high, bounds = columns
    order, faults = [path.names.index(name) for name in sweep.angles], []
    if (why := hole(path.angle_low[order], path.angle_high[order], low, high)) is not None:
        faults.append(f"its certificate does not cover the motion: {why}")
    still = [name for k, name in enumerate(path.names) if k not in order and path.angle_low[k] < path.angle_high[k]]
    if still:
        faults.append(f"its certificate leaves out the {still[0]}")
    lower = sweep.clearance_mm.lower
    if lower > 0 and abs(min(float(bounds.min()), sweep.clearance_mm.upper - facet_mm) - lower) > 1e-9:
        faults.append(f"the least bound of its cells is {bounds.min():.6f} mm, its sweep says {lower:.6f} mm")
    full_low, full_high = np.zeros((len(low), len(path.names))), np.zeros((len(low), len(path.names)))
    full_low[:, order], full_high[:, order] = low, high
    return faults, (full_low, full_high, bounds - eps_mm(lower), np.full((len(low), 2), sweep.factor))


def _spacing(
    target: Target, moves: Moves, body: Body, spacing: Array, row: ZoneClaim, factors: tuple[float, float]
) -> tuple[list[str], str | None, int]:
    """The spacing allowance must be enough at every point, at every pose and temperature."""
    low, high, whole, grown = _whole(moves, row, factors)
    allowed = whole - row.budget_mm.spacing + spacing
    ended = prove_cells(target, moves.path, body.pieces, low, high, allowed[None], QUESTIONS, grown)
    fault = (
        f"its spacing allowance of {row.budget_mm.spacing:.3f} mm is too small: a point comes within "
        "{nearer:.3f} mm, and {claimed:.3f} mm would be needed where points are so far apart"
    )
    return *_say(ended, fault), ended.distances


def _say(ended: Outcome, fault: str) -> tuple[list[str], str | None]:
    if ended.nearer_mm is not None and ended.claimed_mm is not None:
        return [fault.format(claimed=ended.claimed_mm, nearer=ended.nearer_mm)], None
    return [], f"gave up after {ended.distances} distances" if ended.gave_up else None


def _swallowed(target: Target, moves: Moves, body: Body) -> bool:
    """Tell whether a body lies inside the other at the middle of the motion.

    Where surfaces never touch, that cannot change over the motion, nor with the growth: asked of the part as modelled.
    """
    solid, path = body.solid, moves.path
    points = solid.vertices[np.unique(solid.faces)] if isinstance(solid, Mesh) else solid
    angles, slides = (path.angle_low + path.angle_high) / 2, (path.slide_low + path.slide_high) / 2
    seen = path.seen(points[:, None], *(np.repeat(x[None], len(points), axis=0) for x in (angles, slides)))[:, 0]
    if target.inside(seen).any():
        return True
    if not (isinstance(solid, Mesh) and body.closed):
        return False
    place = np.empty_like(solid.vertices)
    place[np.unique(solid.faces)] = seen
    corners = target.mesh.vertices[np.unique(target.mesh.faces)]
    return bool(Target(Mesh(place, solid.faces)).inside(corners).any())
