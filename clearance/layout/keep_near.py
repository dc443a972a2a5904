"""What of a large scan matters to a job: all that the placed part may come near to, and what places it."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array, Pose
from clearance.heat.growth import Growth
from clearance.job.datum import Datum
from clearance.job.schema import Job
from clearance.job.where import Where
from clearance.motion.field import may_be_lower, sampled_states
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_of
from clearance.scene.beside import beside_mm, moves_by_itself
from clearance.scene.cubes import cubes
from clearance.scene.keep import Box, Keep, NearBody, box_of
from clearance.scene.part import Part
from clearance.unseen.gaps import WIDEST_MM

GUARD_MM = 25.0
"""Guard allowed for beside the gap. More is no harm: what is thinned still counts, at the place of its points."""

MARGIN_MM = 10.0
"""How far settling may move the part before the scan is read again about its new place."""

SPARE_MM = 15.0
"""A zone is kept point by point this much farther than its nearest point, for sparse surfaces count as nearer: where
no row of a line scan has so far to the next, thinning changes no allowance for spacing."""

GRAIN_MM = 2.0
"""Of the part's places one in a cube of this side speaks."""

MOST_NETS = 50
"""Nets told apart by bits of a number; any more are kept point by point."""

DATUM_SIZES = 3.0
"""What is looked at about a datum, in its own sizes."""


class Surroundings:
    """What a placed part needs of a scan.

    Parameters
    ----------
    T_bay_part : Pose or None
        Where the part is, perhaps only roughly; None where that is not known before the scan is read.
    margin_mm : float
        How far any of its places may be from there.
    """

    def __init__(self, job: Job, part: Part, growth: Growth | None, T_bay_part: Pose | None, margin_mm: float) -> None:
        self._job, self._pose, self.margin_mm = job, T_bay_part, margin_mm
        self._part = part
        if T_bay_part is None:
            return
        rest = T_bay_part.apply(part.shown.vertices)
        other = "chassis" if part.rides == "engine" else "engine"
        motion = pair_motion(part.rides, other, rock_of(job.rock))
        self.places = _seen_from_zone(motion, rest)
        grows = 0.0
        if growth is not None:
            radius = float(np.linalg.norm(part.mesh.vertices - growth.anchor, axis=1).max())
            grows = radius * max(growth.k_hot - 1, 1 - growth.k_cold, 0.0)
        self.spare_mm = (
            margin_mm + grows + float(may_be_lower(motion, rest).max()) + _grain(part) + 2 * np.sqrt(3.0) * GRAIN_MM
        )
        self.within_mm = max((zone.required_gap for zone in job.zones), default=0.0) + GUARD_MM + margin_mm + grows

    def keep(self, more: tuple[Box, ...] = ()) -> Keep:
        """Return what is kept: near the part, `more` boxes, shafts to fit, zones that move by themselves, datums."""
        job, about, body = self._job, None, None
        if self._pose is not None:
            out = self.within_mm + self.spare_mm + WIDEST_MM
            about = self.places.min(axis=0) - out, self.places.max(axis=0) + out
            body = NearBody(self.places, self.spare_mm, self.within_mm)
        nets = [zone for zone in job.zones if not zone.where.is_body]
        moving = [zone for zone in nets if moves_by_itself(zone)]
        shafts = [zone.where for zone in nets if zone.fit and not moves_by_itself(zone)]
        held = tuple(zone.where for zone in nets if not zone.where.rest)
        stations = np.array(job.bay.stations if job.bay else (), dtype=np.float64).reshape(-1, 3)
        return Keep(
            body=body,
            boxes=(
                *more,
                *(_wider(box_of(zone.where), beside_mm(zone)) for zone in moving),
                *(box_of(where) for where in (*shafts, *held[MOST_NETS:])),
                *(_about_datum(d) for d in job.datums if d.on == "bay"),
            ),
            nets=held[:MOST_NETS],
            about=about,
            stations=stations,
        )

    def serves(self, T_bay_part: Pose) -> bool:
        """Tell whether the part at another place needs nothing beyond the margin of this one."""
        if self._pose is None:
            return False
        vertices = self._part.shown.vertices
        moved = np.linalg.norm(self._pose.apply(vertices) - T_bay_part.apply(vertices), axis=1)
        return bool(moved.max() <= self.margin_mm)

    def far_zones(self, away_mm: dict[str, float]) -> tuple[Box, ...]:
        """Return boxes that hold the nearest points of zones which lie farther than what is kept.

        `away_mm`: by its name, an upper bound of a zone's clearance.
        """
        low, high = self.places.min(axis=0) - self.spare_mm, self.places.max(axis=0) + self.spare_mm
        found = []
        for zone in self._job.zones:
            reach = away_mm.get(zone.name, 0.0) + SPARE_MM
            if reach > self.within_mm:
                net = box_of(zone.where)
                found.append((np.maximum(net[0], low - reach), np.minimum(net[1], high + reach)))
        return tuple(found)


def _seen_from_zone(motion: PairMotion, rest: Array) -> Array:
    """Return the part's places at rest and at the sampled states, from a zone that stands still, thinned, (n, 3) mm."""
    poses = [motion.poses(state) for state in sampled_states(motion)]
    few = rest[cubes(rest, GRAIN_MM)[0]]
    seen = np.concatenate([few, *((zone.inverse() @ part).apply(few) for part, zone in poses)])
    return seen[cubes(seen, GRAIN_MM)[0]]


def _grain(part: Part) -> float:
    """Return how far the part's surface is from its nearest vertex at most, mm (Jung 1901: longest edge / sqrt 3)."""
    corners = part.shown.triangles
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    return float(edges.max() / np.sqrt(3.0))


def _wider(box: Box, by_mm: float) -> Box:
    return box[0] - by_mm, box[1] + by_mm


def _about_datum(datum: Datum) -> Box:
    """Return the box in which a datum of the bay is looked for."""
    if datum.edge is not None:
        return box_of(
            Where.model_validate({"capsule": {"from": datum.edge.from_, "to": datum.edge.to, "diameter": 20.0}})
        )
    if datum.face is not None:
        middle, size = datum.face.point, datum.face.radius
    else:
        feature = datum.round
        assert feature is not None
        length = (getattr(feature, "length", None) or 0.0) if datum.stud else 0.0
        middle, size = feature.center, max(feature.diameter, length)
    out = DATUM_SIZES * size + 10.0
    return np.array(middle) - out, np.array(middle) + out
