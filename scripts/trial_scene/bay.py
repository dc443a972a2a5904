"""One random bay about a part: clutter that leaves it 12 mm of air, scanned from five places, at a random pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from clearance.frames import Pose, rigid
from clearance.scene.mesh import Mesh
from trial_scene.parts import Array
from trial_scene.scanner import Scanner, scanned

AIR_MM = 12.0
CENTRE_OFF_MM = 25.0
"""1 sigma, per axis, by which a user puts the region's centre beside the part's middle."""
SEEN_MM = 2.5


@dataclass(frozen=True, eq=False)
class Scene:
    """A scan whose truth is known.

    Attributes
    ----------
    points, stations : (n, 3), (k, 3) float64, mm, bay frame
    centre, radius : the region, mm, bay frame
    truth : Pose, T_bay_part
    clutter : share of the region's points that are not the part's
    seen : share of the part's outside that has a point of its own within 2.5 mm
    """

    part: Mesh
    points: Array
    stations: Array
    centre: Array
    radius: float
    truth: Pose
    clutter: float
    seen: float


def scene_of(part: Mesh, outside: Array, seed: int, objects: int = 16, scanner: Scanner | None = None) -> Scene:
    """Return bay number `seed` about `part`; `outside` (m, 3) are places of its surface that can be seen at all."""
    rng = np.random.default_rng([7, seed])
    middle = (part.vertices.min(axis=0) + part.vertices.max(axis=0)) / 2
    diagonal = float(np.linalg.norm(np.ptp(part.vertices, axis=0)))
    open_way = _unit(np.array([0.0, 0.0, 0.9]) + rng.normal(0, 0.5, 3) * (1, 1, 0.2))
    bodies = [
        _head(part, rng),
        *_walls(part, middle, open_way, rng),
        *_objects(outside, middle, diagonal, objects, rng),
    ]
    stations = _stations(middle, open_way, rng)
    meshes = [trimesh.Trimesh(part.vertices, part.faces, process=False), *bodies]
    points, owner = scanned(meshes, stations, middle, 0.75 * diagonal, scanner or Scanner(), rng)
    truth = rigid("bay", "part", Rotation.random(rng=rng).as_matrix(), rng.uniform(-1000, 1000, 3))
    centre, radius = middle + rng.normal(0, CENTRE_OFF_MM, 3), 0.5 * diagonal
    inside = np.linalg.norm(points - centre, axis=1) < radius
    own = points[inside & (owner == 0)]
    seen = np.isfinite(cKDTree(own).query(outside, distance_upper_bound=SEEN_MM)[0]).mean() if len(own) else 0.0
    return Scene(
        part, truth.apply(points), truth.apply(stations), truth.apply(centre), radius, truth,
        clutter=float((owner[inside] != 0).mean()), seen=float(seen),
    )  # fmt: skip


def _unit(vector: Array) -> Array:
    found: Array = vector / np.linalg.norm(vector)
    return found


def _head(part: Mesh, rng: np.random.Generator) -> trimesh.Trimesh:
    """The cylinder head behind the flange, with ribs."""
    low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
    size = np.array([high[0] - low[0] + rng.uniform(40, 120), rng.uniform(150, 220), 90.0])
    block = trimesh.creation.box(size, rigid("a", "b", np.eye(3), (0, rng.uniform(-20, 20), -46.0)).matrix)
    ribs = []
    for x in np.arange(-size[0] / 2, size[0] / 2, rng.uniform(45, 80)):
        at = (x, float(rng.choice([-1, 1])) * rng.uniform(60, 80), -1 + rng.uniform(0, 14))
        ribs.append(
            trimesh.creation.box(rng.uniform(8, 24, 3) + np.array([0.0, 10, 4]), rigid("a", "b", np.eye(3), at).matrix)
        )
    return trimesh.util.concatenate([block, *ribs])


def _walls(part: Mesh, middle: Array, open_way: Array, rng: np.random.Generator) -> list[trimesh.Trimesh]:
    """Bulkhead, floor and a side: panels that face the part from the sides the scanner does not look from."""
    found = []
    side = _unit(np.cross(open_way, rng.normal(size=3)))
    for way in (-open_way, side, _unit(-side + 0.2 * rng.normal(size=3)), np.cross(open_way, side)):
        if way @ open_way > 0.3:
            continue
        reach = float(((part.vertices - middle) @ way).max()) + rng.uniform(15, 70)
        turn = Rotation.align_vectors([way], [[0, 0, 1.0]])[0].as_matrix()
        panel = trimesh.creation.box((600, 600, 4), rigid("a", "b", turn, middle + (reach + 2) * way).matrix)
        found.append(panel)
    return found


def _objects(
    outside: Array, middle: Array, diagonal: float, count: int, rng: np.random.Generator
) -> list[trimesh.Trimesh]:
    """Boxes and pipes strewn about the part, `AIR_MM` and more from it."""
    found: list[trimesh.Trimesh] = []
    while len(found) < count:
        turn = Rotation.random(rng=rng).as_matrix()
        at = middle + rng.uniform(0.2, 0.6) * diagonal * _unit(rng.normal(size=3))
        away = np.abs((outside - at) @ turn)
        if rng.random() < 0.5:
            half = rng.uniform(8, 55, 3)
            clear = np.linalg.norm(np.maximum(away - half, 0), axis=1).min()
            body = trimesh.creation.box(2 * half, rigid("a", "b", turn, at).matrix)
        else:
            radius, half_length = rng.uniform(5, 32), rng.uniform(40, 160)
            along = np.maximum(away[:, 2] - half_length, 0)
            clear = (np.hypot(np.hypot(away[:, 0], away[:, 1]), along) - radius).min()
            body = trimesh.creation.capsule(2 * half_length, radius, count=(24, 24))
            body.apply_translation(-body.bounds.mean(axis=0)).apply_transform(rigid("a", "b", turn, at).matrix)
        if clear > AIR_MM:
            found.append(body)
    return found


def _stations(middle: Array, open_way: Array, rng: np.random.Generator) -> Array:
    """Five scanner positions 700 to 1000 mm off, within 70 degrees or so of the open side."""
    ways = [_unit(open_way + 0.95 * _unit(rng.normal(size=3))) for _ in range(5)]
    return np.array([middle + rng.uniform(700, 1000) * way for way in ways])
