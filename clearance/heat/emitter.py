"""The hot part as what it sends out: triangles with temperature and emissivity, and how much they see of each other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.heat.radiation import black_body, temperature_of
from clearance.heat.sight import RAYS, Sight
from clearance.heat.view_factor import point_to_triangles
from clearance.scene.mesh import IntArray, Mesh

SELF_RAYS = 32
"""Rays by which a triangle's view of the part itself is told; only means over many triangles are used."""

LIFT_MM = 0.02
"""How far off its surface a triangle's own rays start."""


Hidden = Callable[[Array, Array, IntArray], NDArray[np.bool_]]
"""Of rays from (k, 3), mm, along unit vectors (k, 3) to triangles (k,) of a body: whether something stands before."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """What (n,) surface elements see of a hot body.

    Attributes
    ----------
    factor : view factor, body to all
    black_W_m2 : what would arrive of it were it black, W/m²: sum of view factor times sigma T⁴
    own_W_m2 : what arrives of its own radiation, that mirrored from one place of it to another included, W/m²
    mirrored : sum of view factor times the share of what falls on the body from elsewhere that it throws back
    """

    factor: Array
    black_W_m2: Array
    own_W_m2: Array
    mirrored: Array

    @property
    def hot_K(self) -> Array:
        """Temperature of what is seen, (n,) K, weighted by how much is seen of it; 0 where nothing is."""
        return temperature_of(self.black_W_m2 / np.maximum(self.factor, 1e-300))


class Emitter:
    """A hot body in the bay.

    What one place of the body sees of another it gets as from a black one, which is the most there is.

    Parameters
    ----------
    mesh : Mesh
        mm, triangles small beside their distance from what they heat; closed, normals outward.
    temperature_K, emissivity : (m,) float64
        Per triangle.
    """

    def __init__(self, mesh: Mesh, temperature_K: Array, emissivity: Array) -> None:
        self.mesh, self.temperature_K, self.emissivity = mesh, temperature_K, emissivity
        self.sight = Sight(mesh)
        corners = mesh.triangles
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals = across / np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
        middles = corners.mean(axis=1) + LIFT_MM * normals
        itself = self.sight.gathered(middles, normals, np.ones((len(corners), 1)), SELF_RAYS)[:, 0]
        power, grey = black_body(temperature_K), 1 - emissivity
        self._weights = np.stack(
            [np.ones(len(corners)), power, (emissivity + grey * itself) * power, grey * (1 - itself)], axis=1
        )

    @property
    def hottest_K(self) -> float:
        """Temperature of the hottest triangle, K."""
        return float(self.temperature_K.max())

    def seen_by(self, points: Array, normals: Array, rays: int = RAYS) -> Seen:
        """Return what (n, 3) elements with (n, 3) normals see, sampled: within `sight.sampling_bound(rays)`."""
        return _seen(self.sight.gathered(points, normals, self._weights, rays))

    def seen_past(self, points: Array, normals: Array, hidden: Hidden, rays: int = RAYS) -> Seen:
        """Return what `seen_by` does, without what `hidden` says is hidden by something else."""
        of_point, face, ways = self.sight.lines(points, normals, rays)
        left = ~hidden(points[of_point], ways.astype(np.float64), face)
        of_point, weights = of_point[left], self._weights[face[left]]
        return _seen(np.stack([np.bincount(of_point, w, len(points)) for w in weights.T], axis=1) / rays)

    def integrated(self, points: Array, normals: Array) -> Seen:
        """Return what (n, 3) elements with (n, 3) normals see, by integration over the visible triangles.

        Each triangle's view factor is exact; the share of it that is in sight is told by rays to four points
        of it, so what is left of error lies on the triangles at the edge of what is hidden.
        """
        rows = [self._shares(point, normal) @ self._weights for point, normal in zip(points, normals, strict=True)]
        return _seen(np.array(rows).reshape(-1, self._weights.shape[1]))

    def _shares(self, point: Array, normal: Array) -> Array:
        """View factor of what is visible of each triangle, (m,)."""
        corners = self.mesh.triangles
        factor = point_to_triangles(point, normal, corners)
        before = np.flatnonzero(factor > 0)
        targets = np.einsum("ti,mij->mtj", _SAMPLES, corners[before])
        ways = (targets - point).reshape(-1, 3)
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        met = self.sight.first_hit(np.broadcast_to(point, ways.shape), ways.astype(np.float32)).reshape(-1, 4)
        factor[before] *= (met == before[:, None]).mean(axis=1)
        return factor


_SAMPLES = np.array([[1 / 3, 1 / 3, 1 / 3], [0.6, 0.2, 0.2], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]])


def _seen(gathered: Array) -> Seen:
    factor, black, own, mirrored = gathered.T
    return Seen(factor=factor, black_W_m2=black, own_W_m2=own, mirrored=mirrored)
