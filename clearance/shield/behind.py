"""How hot the neighbours get behind a blank as it is: where it stands, and with what is seen past it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.heat.emitter import Emitter, Seen
from clearance.heat.neighbour import Neighbour, Source, heated_length_m, placed, temperatures
from clearance.heat.sight import RAYS
from clearance.heat.surface_temperature import Surroundings
from clearance.motion.pair import PairMotion
from clearance.outputs.raycast import RayMesh
from clearance.scene.mesh import IntArray, Mesh
from clearance.shield.sightlines import BEFORE_MM, ray_lengths, sampled_poses
from clearance.shield.sizing import CANDIDATES, FINE_RAYS
from clearance.shield.surface import Mask
from clearance.units import celsius

MOST_POINTS = 2000
"""Points of a zone that are looked at in each pose."""


class Behind:
    """A blank before its part, ready for questions.

    The sheet gets heat as a wide parallel surface at the temperature of what is nearest to it of the part, and stands
    at each place between the neighbour and that; what a neighbour sees of the part past the sheet heats it as well.

    Parameters
    ----------
    source : the part, with the build of the shield
    blank : Mesh
        Its solid, bay frame, neutral pose, mm; closed.
    """

    def __init__(self, source: Source, blank: Mesh) -> None:
        assert source.sheets is not None
        self._part, self._rays = source.part, RayMesh(blank)
        _, near, _ = source.surface.nearest(blank.triangles.mean(axis=1), signed=False)
        grey = np.full(len(blank.faces), source.sheets.emissivity)
        sheet = Emitter(blank, source.part.temperature_K[near], grey)
        self._source = replace(source, part=sheet, surface=Surface(blank), outer=sheet, build_mm=0.0)

    def hottest_C(self, near: Neighbour, motion: PairMotion, arounds: Mapping[str, Surroundings]) -> dict[str, float]:
        """Return the hottest point, °C, in each of the surroundings: at rest and with every motion at its ends.

        Sampled, cold. View factors of the hottest points are known within `sampling_bound(FINE_RAYS)`.
        """
        step = -(-len(near.points) // MOST_POINTS)
        points, normals = near.points[::step], near.normals[::step]
        hottest = dict.fromkeys(arounds, -np.inf)
        for turn, shift in sampled_poses(motion):
            here = placed(points @ turn.T + shift, normals @ turn.T, self._source.surface, near.emissivity)
            seen, past = self._looked(here, RAYS)
            length_m = heated_length_m(here, seen, past)
            coarse = [self._temperatures(here, around, seen, past, length_m) for around in arounds.values()]
            few = here.at(np.unique(np.concatenate([np.argsort(-t)[:CANDIDATES] for t in coarse])))
            seen, past = self._looked(few, FINE_RAYS)
            for name, around in arounds.items():
                found = self._temperatures(few, around, seen, past, length_m)
                hottest[name] = max(hottest[name], celsius(float(found.max())))
        return hottest

    def _looked(self, near: Neighbour, rays: int) -> tuple[Seen, Seen]:
        """What points see of the sheet, and of the part past it."""
        return (
            self._source.part.seen_by(near.points, near.normals, rays),
            self._part.seen_past(near.points, near.normals, self._hidden, rays),
        )

    def _temperatures(self, near: Neighbour, around: Surroundings, seen: Seen, past: Seen, length_m: float) -> Array:
        return temperatures(near, self._source, around, behind=True, seen=seen, past=past, length_m=length_m)

    def _hidden(self, start: Array, way: Array, face: IntArray) -> Mask:
        return self._rays.first_mm(start, way) < ray_lengths(start, way, self._part.mesh, face) - BEFORE_MM
