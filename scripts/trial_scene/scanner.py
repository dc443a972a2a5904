"""Rays from a few stations, with range noise (white and going together over 15 mm), flying points, a flattest angle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import trimesh
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from trial_scene.parts import Array

WAVES = 200


@dataclass(frozen=True)
class Scanner:
    """1 sigma, mm, of the range: white, and going together over `length` mm; ray pitch at the part, mm."""

    white: float = 0.32
    together: float = 0.24
    length: float = 15.0
    flying: float = 0.005
    flattest_deg: float = 78.0
    pitch: float = 1.1


def scanned(
    bodies: list[trimesh.Trimesh], stations: Array, at: Array, half: float, scanner: Scanner, rng: np.random.Generator
) -> tuple[Array, NDArray[np.int64]]:
    """Return points (n, 3) and the body each lies on, -1 for a flying point; rays cover `half` mm about `at`."""
    corners = np.concatenate([body.triangles for body in bodies])
    owner = np.repeat(np.arange(len(bodies)), [len(body.faces) for body in bodies])
    scene: Any = EmbreeScene()
    held = TriangleMesh(scene, np.ascontiguousarray(corners, np.float32))
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    points, owners = [], []
    for eye in stations:
        ways = _ways(eye, at, half, scanner.pitch, rng)
        origins = np.ascontiguousarray(np.broadcast_to(eye, ways.shape), np.float32)
        face = np.asarray(
            scene.run(origins, ways.astype(np.float32), query="INTERSECT", output=True)["primID"], np.int64
        )
        ways, face = ways[face >= 0], face[face >= 0]
        cosine = np.einsum("ij,ij->i", normal[face], ways)
        kept = np.abs(cosine) > np.cos(np.radians(scanner.flattest_deg))
        ways, face, cosine = ways[kept], face[kept], cosine[kept]
        reach = np.einsum("ij,ij->i", normal[face], corners[face, 0] - eye) / cosine
        hit = eye + reach[:, None] * ways
        off = scanner.white * rng.standard_normal(len(hit)) + scanner.together * _field(hit, scanner.length, rng)
        whose = owner[face]
        fly = rng.random(len(hit)) < scanner.flying
        off[fly], whose[fly] = -rng.uniform(2, 120, int(fly.sum())), -1
        points.append(hit + off[:, None] * ways)
        owners.append(whose)
    del held
    return np.concatenate(points), np.concatenate(owners)


def _ways(eye: Array, at: Array, half: float, pitch: float, rng: np.random.Generator) -> Array:
    middle = at - eye
    reach = float(np.linalg.norm(middle))
    middle /= reach
    right = np.cross(middle, [0.31, 0.2, 0.93])
    right /= np.linalg.norm(right)
    up = np.cross(right, middle)
    steps = np.arange(-half, half, pitch)
    u, v = (g.ravel() + 0.4 * pitch * rng.uniform(-1, 1, g.size) for g in np.meshgrid(steps, steps))
    ways: Array = middle + (u[:, None] * right + v[:, None] * up) / reach
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return ways


def _field(points: Array, length: float, rng: np.random.Generator) -> Array:
    """Smooth random field of 1 sigma 1 with Gaussian correlation: a sum of random cosines (Rahimi and Recht 2007)."""
    waves, phases = rng.normal(0, 1 / length, (WAVES, 3)), rng.uniform(0, 2 * np.pi, WAVES)
    total = np.zeros(len(points))
    for wave, phase in zip(waves.astype(np.float32), phases, strict=True):
        total += np.cos(points.astype(np.float32) @ wave + np.float32(phase))
    return total * np.sqrt(2 / WAVES)
