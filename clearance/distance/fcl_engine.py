"""Adapter to python-fcl: exact distance between two bodies at a pose.

fcl returns 0 where surfaces cross and "clear" where one body lies wholly inside the other; depth
and containment are answered in `inside` and by the sweep.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import fcl
import numpy as np

from clearance.distance.body import Body
from clearance.errors import ClearanceError
from clearance.frames import Array


class EngineDisagreementError(ClearanceError):
    """Two computations of the same distance differ: a fault of the program, never a verdict."""


@dataclass(frozen=True, eq=False)
class Closest:
    """Closest approach of two bodies.

    `distance_mm` is 0 where surfaces cross or touch. `on_a`, `on_b` (3,) are the witness points
    with body a posed, `owner_a`, `owner_b` the source primitives they lie on.
    """

    distance_mm: float
    on_a: Array
    on_b: Array
    owner_a: int
    owner_b: int


class FclBody:
    """A body with its bounding volume hierarchy, built once and queried at many poses."""

    def __init__(self, body: Body) -> None:
        if not len(body.faces):
            raise ValueError("a body needs at least one triangle")
        model = fcl.BVHModel()
        model.beginModel(len(body.faces), len(body.vertices))
        model.addSubModel(body.vertices, body.faces)
        model.endModel()
        self._object: Any = fcl.CollisionObject(model, fcl.Transform())
        self.owner = body.owner

    def place(self, rotation: Array, translation: Array) -> None:
        """Pose the body: x -> rotation x + translation, mm."""
        self._object.setTransform(fcl.Transform(rotation, translation))

    def closest(self, other: FclBody) -> Closest:
        """Return the exact closest approach to `other` at the present poses (float64, about 1e-12 mm)."""
        result = fcl.DistanceResult()
        distance = max(
            0.0, fcl.distance(self._object, other._object, fcl.DistanceRequest(enable_nearest_points=True), result)
        )
        on_a, on_b = (np.asarray(p, dtype=np.float64) for p in result.nearest_points)
        if not np.isfinite(distance) or (distance > 0 and abs(float(np.linalg.norm(on_a - on_b)) - distance) > 1e-7):
            raise EngineDisagreementError(f"distance {distance} mm does not match its witness points {on_a}, {on_b}")
        return Closest(distance, on_a, on_b, int(self.owner[result.b1]), int(other.owner[result.b2]))
