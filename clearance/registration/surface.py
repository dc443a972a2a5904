"""Where scan points meet what they are fitted to: one face for a mesh and for a cloud model."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.registration.cloud import SEED, CloudModel
from clearance.scene.mesh import Mesh

SAMPLES = 60_000

ON_FACE, TOUCHING_MM = 0.99, 1e-6
"""Cosine between face normal and the way to the point; below it the point lies beyond an edge and fixes nothing.

A point nearer than `TOUCHING_MM` lies on the face whatever the cosine.
"""

FINE_SPACING_MM = 2.0
"""Spacing of a cloud model up to which lengths are those for a mesh; of a coarser one they grow with it."""


@dataclass(frozen=True, eq=False)
class Feet:
    """Nearest places of a surface to n queries, in its frame, mm.

    places, normals (n, 3); across (n,): signed distance along the normal;
    facing (n,) bool: the query lies over the surface, not past its edge.
    """

    places: Array
    normals: Array
    across: Array
    facing: NDArray[np.bool_]


class MeshSurface:
    """Exact closest points of a mesh.

    samples, normals (n, 3): points spread evenly by area (seeded) with the face normals there;
    outline (k, 3): the vertices, no place moves farther than they do; `scale`: 1.
    """

    def __init__(self, mesh: Mesh) -> None:
        self._vertices, self._faces = mesh.vertices, mesh.faces
        a, b, c = mesh.triangles.swapaxes(0, 1)
        across = np.cross(b - a, c - a)
        doubled = np.linalg.norm(across, axis=1)
        self._outward = across / np.maximum(doubled, 1e-300)[:, None]
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)
        rng = np.random.default_rng(SEED)
        face = rng.choice(len(doubled), SAMPLES, p=doubled / doubled.sum())
        u, v = np.sqrt(rng.random(SAMPLES))[:, None], rng.random(SAMPLES)[:, None]
        self.samples: Array = (1 - u) * a[face] + u * (1 - v) * b[face] + u * v * c[face]
        self.normals: Array = self._outward[face]
        self.outline: Array = mesh.vertices
        self.scale = 1.0

    def feet(self, queries: Array) -> Feet:
        """Return the nearest place to each of (n, 3) points."""
        squared, face, place = self._tree.squared_distance(self._vertices, self._faces, np.ascontiguousarray(queries))
        outward = self._outward[np.asarray(face)]
        across = ((queries - place) * outward).sum(axis=1)
        facing = np.abs(across) >= ON_FACE * np.sqrt(np.asarray(squared)) - TOUCHING_MM
        return Feet(np.asarray(place, np.float64), outward, across, facing)


class CloudSurface:
    """The plane at the nearest point of a cloud model.

    samples, normals, outline: those of the model. `scale`: by what every length of a fit grows, so that an
    outdoor scan is fitted as an engine bay is.
    """

    def __init__(self, model: CloudModel) -> None:
        self.samples, self.normals, self.outline = model.points, model.normals, model.points
        self.scale = max(1.0, model.spacing_mm / FINE_SPACING_MM)
        self._reach = model.spacing_mm
        self._tree = cKDTree(model.points, compact_nodes=False)

    def feet(self, queries: Array) -> Feet:
        """Return the foot of each of (n, 3) points on the plane at the nearest model point."""
        index = self._tree.query(queries)[1]
        normals, away = self.normals[index], queries - self.samples[index]
        across = (away * normals).sum(axis=1)
        places = queries - across[:, None] * normals
        facing = np.linalg.norm(places - self.samples[index], axis=1) <= self._reach
        return Feet(places, normals, across, facing)


Surface = MeshSurface | CloudSurface


def surface_of(model: Mesh | CloudModel) -> Surface:
    """Return `model` ready to be asked for feet."""
    return MeshSurface(model) if isinstance(model, Mesh) else CloudSurface(model)
