"""What nobody saw of zones with a motion of their own: it moves with them, not with the rock alone.

A hole in an arm, or the end of its scan, may lie far from the part at rest and come near it as the arm swings. So
for every such zone the rims on its own points are looked at again over its own motion, for what that zone needs.
Rims are those of the whole scan: where the zone's place cuts the surface there is none. The surface may go on at the
outer end of a swing by more than the needed clearance: as far as `OUTER_MM`, for what the scan lacks there is the tip.
Where each station has its own file, no surface goes on where one of them saw through.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.motion.field import may_come_within
from clearance.motion.pair import PairMotion
from clearance.motion.rock import Rock
from clearance.motion.zone_motion import Travel
from clearance.scene.beside import OUTER, OUTER_MM
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.unseen.edges import edges_of, not_ended
from clearance.unseen.gaps import SMALLEST_MM, WIDEST_MM, find_gaps
from clearance.unseen.holes import STUD_MM, holes_of
from clearance.unseen.reach import FineReach, Owners
from clearance.unseen.result import Needed, Unseen
from clearance.unseen.rims import PATCH, Rims, find_rims
from clearance.unseen.stations import not_explained, seen_free, sights_of
from clearance.unseen.told import completed, told_edge, told_hole, within_any

THIN_MM = 1.0
"""Scan points are thinned to one in a cube of this side: holes of `SMALLEST_MM` still show."""

OUTWARD = 0.7
"""Least cosine of a rim's direction and the way out from the line of the swing at the outer end."""

LONGER = 1.5
"""An arm is not taken to go on by more than so many times its farthest scanned point's way from the line."""

BESIDE_MM, BESIDE_SPACINGS, OWN_GRAIN_MM = 40.0, 5.0, 3.0
"""Points are looked for rims with their neighbours: so far about a zone's own, in mm and in its widest spacings."""

MOVES = ", as this zone moves,"


@dataclass(frozen=True, eq=False)
class Looked:
    """The scan and what is known of how it was taken: as in `clearance.unseen.find.find_unseen`."""

    scan: Scan
    stations: Array | None
    file_of: IntArray | None
    ends: Sequence[Array]
    rock: Rock | None


def find_moving(part: Part, looked: Looked, needs: Sequence[Needed], motions: Mapping[str, PairMotion]) -> list[Unseen]:
    """Return the unseen places about zones with a motion of their own, in which something could come too near.

    `motions`: how each zone moves against the part, by its name.
    """
    found: list[Unseen] = []
    for need in needs:
        motion = motions.get(need.zone.name)
        if motion is None or (motion.travel is None and motion.stroke is None and motion.shaft is None):
            continue
        if need.zone.points is not None or need.zone.fit is not None:
            found += _about(part, looked, need, motion)
    return found


def _about(part: Part, looked: Looked, need: Needed, motion: PairMotion) -> list[Unseen]:
    scan, rock = looked.scan, looked.rock
    swing = motion.travel if motion.shaft is None else None
    own = need.zone.points if need.zone.points is not None else _vertices(need.zone)
    beyond = max(need.needed_mm, OUTER_MM if swing is not None else 0.0)
    own = own[may_come_within(part.mesh, own, motion, need.needed_mm + beyond + STUD_MM)]
    if not len(own):
        return []
    points, out = scan.points[~scan.stray], beyond + WIDEST_MM
    low, high = own.min(axis=0) - out, own.max(axis=0) + out
    near = points[((points >= low) & (points <= high)).all(axis=1)]
    near = near[cubes(near, THIN_MM)[0]]
    about = _beside(near, own, need.zone)
    if len(about) <= PATCH + 1:
        return []
    tree = Neighbours(near)
    rims = not_ended(find_rims(about, Neighbours(about)), looked.ends)
    rims = rims.of(_on(need.zone, rims))
    if not len(rims.points):
        return []
    reach = FineReach(part.mesh, part.closed, motion)
    owners = Owners([need], near.min(axis=0), near.max(axis=0))
    each, sights = sights_of(scan, looked.stations, looked.file_of, low, high, SMALLEST_MM / 2)
    gaps = find_gaps(rims, tree)
    holes = holes_of(not_explained(gaps, sights, each, scan.noise_mm) if sights else gaps, reach, owners)
    rims = rims.of(~completed(rims, [need], scan.noise_mm))
    go_on = np.zeros(len(rims.points)) if swing is None else _go_on_mm(rims, swing)
    seen = partial(seen_free, sights=sights if each else [], margin_mm=3 * scan.noise_mm + SMALLEST_MM / 4)
    edges = edges_of(rims, tree, near, reach, owners, go_on, seen) if len(rims.points) else []
    return [
        *(told_hole(hole, owners, rock, MOVES) for hole in holes),
        *(told_edge(edge, owners, rock, MOVES) for edge in edges if not within_any(edge.centre, holes)),
    ]


def _beside(points: Array, own: Array, zone: Zone) -> Array:
    """Return those of the scan points that tell whether a zone's `own` points are rims: its own cut makes none."""
    widest = 0.0 if zone.spacing_mm is None else float(zone.spacing_mm.max())
    within = max(BESIDE_MM, BESIDE_SPACINGS * widest)
    tree = cKDTree(own[cubes(own, OWN_GRAIN_MM)[0]], balanced_tree=False, compact_nodes=False)
    away = tree.query(points, distance_upper_bound=within + 2 * OWN_GRAIN_MM, workers=-1)[0]
    return points[np.isfinite(away)]


def _vertices(zone: Zone) -> Array:
    """Return the vertices of a fitted shaft's surface, finely split."""
    shown = zone.shown if zone.shown is not None else zone.mesh
    assert shown is not None
    return shown.vertices


def _on(zone: Zone, rims: Rims) -> NDArray[np.bool_]:
    """Tell which rims lie on a zone: within the local spacing of its points or its fitted surface."""
    if zone.points is None:
        assert zone.mesh is not None
        return np.asarray(Surface(zone.mesh).nearest(rims.points, signed=False)[0] <= rims.spacing_mm)
    tree = cKDTree(zone.points, balanced_tree=False, compact_nodes=False)
    return np.asarray(tree.query(rims.points, workers=-1)[0] <= rims.spacing_mm)


def _go_on_mm(rims: Rims, swing: Travel) -> Array:
    """Return how far, (n,) mm, the surface may go on at the outer end of a swing; 0 at other rims."""
    offset = rims.points - swing.point
    away: Array = offset - np.outer(offset @ swing.direction, swing.direction)
    radii = np.linalg.norm(away, axis=1)
    farthest = float(radii.max())
    outward = np.einsum("ni,ni->n", rims.outward, away) > OUTWARD * radii
    return np.where(outward & (radii > OUTER * farthest), min(OUTER_MM, LONGER * farthest), 0.0)
