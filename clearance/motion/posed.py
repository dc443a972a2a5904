"""The smallest clearance over all translations at given angles, and its search over the angles.

Translations are never searched. Where one body sees all of them in its own frame whatever the angles,
it is built once as what it sweeps and then only placed. Where both bodies turn and a translation lies
between the turns (part on the engine, zone swung on the chassis), the zone is built anew at each
travel, swept in the middle frame, from those of its primitives that may still matter in the cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from clearance.distance.body import Body, Slide, mesh_body, point_body
from clearance.distance.fcl_engine import PARALLEL_LOSS, Closest, FclBody
from clearance.distance.inside import Surface
from clearance.distance.near import Balls, balls_of_mesh, balls_of_points
from clearance.frames import Array
from clearance.motion.bodies import CELL_MM, SLACK_MM, Near, Solid, corners, shared_arms
from clearance.motion.branch import MOST_EVALUATIONS, UNKNOWN, Known, Look, Minimum, minimise, search
from clearance.motion.pair import PairMotion, Rigid
from clearance.scene.mesh import IntArray, Mesh

MANY = 300
"""Candidates beyond which cubes of them are asked first."""

MOST_BUILT = 8_000_000
"""Primitives of a zone that is built anew at each travel times looks, most of which build few: some ten seconds."""

BUILT = 64
"""Zones built at a travel that are kept: a search may come back to a cell, but memory has an end."""


def posed(motion: PairMotion, near: Near) -> PlacedBodies | RebuiltZone:
    """Return the near pieces of a pair made ready for distances at any angles."""
    part_turns = any(h.of_part and h.high > h.low for h in motion.hinges)
    zone_turns = any(not h.of_part and h.high > h.low for h in motion.hinges)
    if part_turns and zone_turns and len(motion.slides[1].edges):
        return RebuiltZone(motion, near)
    return PlacedBodies(motion, near, into_zone=not zone_turns)


class PlacedBodies:
    """Both bodies built once, each with the translations that are constant in its frame.

    Over a cell the clearance falls below its value at the centre by no more than the sum over the
    angles of arm x chord: going from the centre to a state of the cell one angle at a time, each step
    turns one body about one axis, and no point of it moves farther than its distance from the axis
    times the chord 2 sin(h / 2) of the half width h. The same holds with the other body turned back
    instead, so the smaller of the two arms counts. Clearance is the least over translations, and a
    least of functions falls no faster than they do.
    """

    most_evaluations = MOST_EVALUATIONS

    def __init__(self, motion: PairMotion, near: Near, *, into_zone: bool) -> None:
        self._motion, self._cap_mm = motion, near.within_mm
        of_part, between, of_zone = motion.slides
        (u, _), (v, _) = motion.turns(motion.low)
        self._between = np.zeros(3)
        self.between_on_part = not (len(between.edges) and into_zone)
        if not self.between_on_part:
            of_zone = of_zone.plus(between.reversed().turned(v.T))
        elif len(between.edges):
            of_part = of_part.plus(between.turned(u.T))
        else:
            self._between = between.base
        self._part = FclBody(_swept(near.part, of_part))
        self._zone = FclBody(_swept(near.zone, of_zone))
        self._arms = shared_arms(motion, near.part, near.zone)
        self.excess_mm = self._part.excess_mm(self._zone)

    def closest(self, angles: Array) -> Closest:
        """Return the closest approach, in the middle frame, over all translations."""
        (u, u_shift), (v, v_shift) = self._motion.turns(angles)
        self._part.place(u, u_shift + self._between)
        self._zone.place(v, v_shift)
        return self._part.closest(self._zone)

    def search(
        self, tolerance_mm: float, max_evaluations: int, known: Known = UNKNOWN, wanted_mm: float | None = None
    ) -> Minimum:
        """Bound the smallest clearance over the box of angles; with `wanted_mm` until it is known to be so large."""
        return minimise(
            lambda at: self.closest(at).distance_mm,
            lambda half: self._arms * self._motion.chords(half),
            self._motion.low,
            self._motion.high,
            tolerance_mm,
            self.excess_mm,
            max_evaluations,
            self._cap_mm,
            known,
            wanted_mm,
        )


@dataclass(frozen=True, eq=False)
class _Kept:
    """Zone primitives that may matter in a cell, and the angles at whose travel they are built."""

    angles: Array
    travel: float
    chosen: IntArray
    arms: Array
    cap_mm: float


class RebuiltZone:
    """Part rocked by the engine, zone swung on the chassis, lift and shift between the two turns.

    The fall over a cell is that of `PlacedBodies`; a translation in the middle frame turns with neither
    body. A zone primitive is left out of a cell where its distance at the cell's centre, less what
    the cell's angles and all translations can bring it nearer, is more than a clearance already
    attained: that clearance then caps the cell's bound.
    """

    between_on_part = False

    def __init__(self, motion: PairMotion, near: Near) -> None:
        self._motion, self._near = motion, near
        self._part = FclBody(_swept(near.part, motion.slides[0]))
        self._surface = Surface(near.part)
        self._part_arms = motion.arms_mm(corners(near.part), of_part=True).max(axis=0)
        self._balls = _balls(near.zone)
        self._arms = motion.arms_mm(self._balls.centres, of_part=False) + self._balls.radii[:, None]
        edges = np.concatenate([slide.edges for slide in motion.slides])
        longest = 2 * float(self._balls.radii.max()) + float(np.linalg.norm(edges, axis=1).sum())
        self.excess_mm = PARALLEL_LOSS * min(self._part.longest_edge_mm, longest)
        self._travel_at = motion.angles.index("travel")
        self.most_evaluations = int(np.clip(MOST_BUILT // len(self._arms), 100, MOST_EVALUATIONS))
        self._built = lru_cache(maxsize=BUILT)(self._build)

    def closest(self, angles: Array) -> Closest:
        """Return the closest approach, in the middle frame, over all translations."""
        kept = self._choose(angles, np.zeros(len(angles)), np.arange(len(self._arms)), self._near.within_mm)
        found = self._ask(angles, kept)
        return Closest(found.distance_mm, found.on_a, found.on_b, found.owner_a, int(kept.chosen[found.owner_b]))

    def search(
        self, tolerance_mm: float, max_evaluations: int, known: Known = UNKNOWN, wanted_mm: float | None = None
    ) -> Minimum:
        """Bound the smallest clearance over the box of angles; with `wanted_mm` until it is known to be so large."""
        low, high = self._motion.low, self._motion.high
        return search(self._look, low, high, tolerance_mm, self.excess_mm, max_evaluations, known, wanted_mm)

    def _look(self, low: Array, high: Array, before: object, least: float) -> Look:
        centre = (low + high) / 2
        kept = before if isinstance(before, _Kept) else None
        if kept is None or kept.travel != centre[self._travel_at]:
            candidates = np.arange(len(self._arms)) if kept is None else kept.chosen
            kept = self._choose(centre, (high - low) / 2, candidates, min(least, self._near.within_mm))
        arms = kept.arms
        found = self._ask(centre, kept)
        return Look(found.distance_mm, lambda half: arms * self._motion.chords(half), kept.cap_mm, kept)

    def _ask(self, angles: Array, kept: _Kept) -> Closest:
        (u, u_shift), _ = self._motion.turns(angles)
        self._part.place(u, u_shift)
        return self._part.closest(self._built(kept))

    def _build(self, kept: _Kept) -> FclBody:
        _, (v, v_shift) = self._motion.turns(kept.angles)
        _, between, of_zone = self._motion.slides
        slide = of_zone.turned(v).plus(between.reversed())
        return FclBody(_swept(_moved(self._near.zone, kept.chosen, v, v_shift), slide))

    def _away(self, points: Array, zone_to_part: Rigid) -> Array:
        """Distance, (n,) mm, of points of the zone to the part."""
        rotation, shift = zone_to_part
        return self._surface.nearest(points @ rotation.T + shift, signed=False)[0]

    def _choose(self, centre: Array, half: Array, candidates: IntArray, within_mm: float) -> _Kept:
        """Keep the candidates that may come within `within_mm` in a cell, and build them at its travel."""
        motion = self._motion
        fall = np.minimum(self._arms[candidates], self._part_arms) @ motion.chords(half) + motion.reach_mm
        seen_from = motion.zone_to_part(centre, motion.half_shares)
        if len(candidates) > MANY:
            balls = balls_of_points(self._balls.centres[candidates], CELL_MM)
            least = (self._away(balls.centres, seen_from) - balls.radii)[balls.group] - self._balls.radii[candidates]
            stays = least - fall <= within_mm + SLACK_MM
            stays[least.argmin()] = True
            candidates, fall = candidates[stays], fall[stays]
        least = self._away(self._balls.centres[candidates], seen_from) - self._balls.radii[candidates]
        stays = least - fall <= within_mm + SLACK_MM
        stays[least.argmin()] = True
        chosen = candidates[stays]
        return _Kept(
            angles=centre,
            travel=float(centre[self._travel_at]),
            chosen=chosen,
            arms=np.minimum(self._arms[chosen].max(axis=0), self._part_arms),
            cap_mm=within_mm,
        )


def _balls(solid: Solid) -> Balls:
    """One ball for each primitive."""
    if isinstance(solid, Mesh):
        return balls_of_mesh(solid)
    return Balls(solid, np.zeros(len(solid)), np.arange(len(solid), dtype=np.int64))


def _swept(solid: Solid, slide: Slide) -> Body:
    return mesh_body(solid, slide) if isinstance(solid, Mesh) else point_body(solid, slide)


def _moved(solid: Solid, chosen: IntArray, rotation: Array, shift: Array) -> Solid:
    """Return the chosen primitives, turned, without the vertices that none of them uses."""
    if not isinstance(solid, Mesh):
        return solid[chosen] @ rotation.T + shift
    used, faces = np.unique(solid.faces[chosen], return_inverse=True)
    return Mesh(solid.vertices[used] @ rotation.T + shift, faces.reshape(-1, 3).astype(np.int64))
