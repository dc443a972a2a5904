"""How deep two bodies interfere at worst over a motion.

Depth of a point is its distance to the surface of the body it is inside; the interference depth is
the largest over the surface points of both bodies. Scan points are taken as they are, mesh surfaces
are sampled and the sample spacing enters the bound.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.bounds import Bound
from clearance.distance.inside import Surface, nearest_face, surface_of
from clearance.distance.near import balls_of_points
from clearance.frames import Array
from clearance.motion.pair import PairMotion, Rigid
from clearance.scene.mesh import Mesh

Solid = Mesh | Array

SAMPLES = 12_000
"""Surface samples per mesh aimed at."""

QUERY_BUDGET = 1_500_000
"""Point queries after which the bound is returned as wide as it then is."""

CELL_MM = 6.0
"""Side of the cubes in which probes are filtered together."""

CALL_COST = 500
"""What asking at all costs, in point queries."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Depth:
    """Deepest interference found and its bound (negative mm = inside)."""

    bound: Bound
    angles: Array
    shares: Array
    on_part: Array
    on_zone: Array
    direction: Array
    evaluations: int


@dataclass(frozen=True, eq=False)
class _Probes:
    """Points of one body, asked against the other's surface; (n, a) `arms` on which they turn."""

    points: Array
    of_zone: bool
    arms: Array
    surface: Surface


def deepest(part: Mesh, zone: Solid, zone_closed: bool, motion: PairMotion, tolerance_mm: float = 0.1) -> Depth:
    """Bound the deepest interference over the motion, best cell first.

    The bound is at most `tolerance_mm` or a tenth of the depth wide, unless the query budget runs
    out first. A sample of a mesh stands for the surface within the covering radius of the sampling,
    which is taken off the lower bound.
    """
    zone_probes, zone_cover = _samples(zone)
    probes = [_Probes(zone_probes, True, motion.arms_mm(zone_probes, of_part=False), surface_of(part))]
    cover = zone_cover
    if isinstance(zone, Mesh) and zone_closed:
        part_probes, part_cover = _samples(part)
        probes.append(_Probes(part_probes, False, motion.arms_mm(part_probes, of_part=True), Surface(zone)))
        cover = max(cover, part_cover)
    return _search(part, probes, cover, motion, tolerance_mm)


def _search(part: Mesh, probes: list[_Probes], cover: float, motion: PairMotion, tolerance_mm: float) -> Depth:
    """Best-first search over cells of angles and slide shares; each cell keeps the probes that still matter."""
    lengths = np.linalg.norm(np.vstack([slide.edges for slide in motion.slides]), axis=1)
    turning = len(motion.hinges)
    low = np.concatenate([motion.low, np.zeros(len(lengths))])
    high = np.concatenate([motion.high, np.ones(len(lengths))])
    everything = [_can_enter(probe, motion) for probe in probes]
    heap: list[tuple[float, int, Array, Array, list[NDArray[np.int64]]]] = [(-np.inf, 0, low, high, everything)]
    upper, best = np.inf, None
    spent = counter = evaluations = 0
    while heap and spent < QUERY_BUDGET:
        floor = heap[0][0]
        known = min(upper, 0.0)
        if known - floor <= max(tolerance_mm, -0.1 * known):
            break
        _, _, a, b, active = heapq.heappop(heap)
        centre, half = (a + b) / 2, (b - a) / 2
        chords, slid = motion.chords(half[:turning]), half[turning:] * lengths
        seen_from = motion.zone_to_part(centre[:turning], centre[turning:])
        left, cell_floor = [], np.inf
        for probe, chosen in zip(probes, active, strict=True):
            signed, closest = probe.surface.signed_distance(_seen(probe.points[chosen], probe, seen_from))
            spent += CALL_COST + len(chosen)
            fall = probe.arms[chosen] @ chords + float(slid.sum())
            if len(chosen) and signed.min() < upper:
                k = int(signed.argmin())
                upper, best = float(signed[k]), (probe, int(chosen[k]), closest[k], centre)
            matters = signed - fall < min(upper, 0.0)
            left.append(chosen[matters])
            cell_floor = min(cell_floor, float((signed - fall)[matters].min(initial=np.inf)))
        evaluations += 1
        if not np.isfinite(cell_floor):
            continue
        arms = np.max([p.arms[c].max(axis=0, initial=0.0) for p, c in zip(probes, left, strict=True)], axis=0)
        cost = np.concatenate([arms * chords, slid])
        if not cost.any():
            heapq.heappush(heap, (cell_floor, counter, a, b, left))
            break
        axis = int(np.argmax(cost))
        for child in range(2):
            ca, cb = a.copy(), b.copy()
            (cb if child == 0 else ca)[axis] = centre[axis]
            counter += 1
            heapq.heappush(heap, (cell_floor, counter, ca, cb, left))
    if best is None:
        raise ValueError("no probe to ask")
    floor = min(heap[0][0] if heap else np.inf, upper, 0.0)
    widest = max(float(np.linalg.norm(p.surface.high - p.surface.low)) for p in probes)
    lower = min(max(floor - cover, -widest), upper)
    return _depth(part, motion, Bound(lower, upper), best, evaluations)


def _can_enter(probe: _Probes, motion: PairMotion) -> NDArray[np.int64]:
    """Return the probes that some pose can bring inside the other body, by balls of them at the middle of the motion.

    Where none can, the surfaces merely cross between samples: the ball nearest to inside is returned.
    """
    seen = _seen(probe.points, probe, motion.zone_to_part(motion.middle, motion.half_shares))
    travel = motion.wander_mm(probe.arms)
    out = np.maximum(np.maximum(probe.surface.low - seen, seen - probe.surface.high), 0)
    over = np.linalg.norm(out, axis=1) - travel
    boxed = np.flatnonzero(over <= max(float(over.min()), 0.0))
    balls = balls_of_points(seen[boxed], CELL_MM)
    farthest = np.zeros(len(balls.centres))
    np.maximum.at(farthest, balls.group, travel[boxed])
    least = probe.surface.signed_distance(balls.centres)[0] - balls.radii - farthest
    return boxed[(least <= max(float(least.min()), 0.0))[balls.group]]


def _seen(points: Array, probe: _Probes, zone_to_part: Rigid) -> Array:
    """Return probe points in the other body's frame."""
    rotation, shift = zone_to_part
    seen: Array = points @ rotation.T + shift if probe.of_zone else (points - shift) @ rotation
    return seen


def _depth(
    part: Mesh, motion: PairMotion, bound: Bound, best: tuple[_Probes, int, Array, Array], evaluations: int
) -> Depth:
    """Bring the witness points of the best pose to the neutral pose."""
    probe, index, closest, centre = best
    angles, shares = np.split(centre, [len(motion.hinges)])
    rotation, shift = motion.zone_to_part(angles, shares)
    point = probe.points[index]
    on_part, on_zone = (closest, point) if probe.of_zone else (point, closest)
    away = on_part - (rotation @ on_zone + shift)
    length = float(np.linalg.norm(away))
    if length > 1e-9:
        direction = away / length * (1.0 if bound.upper > 0 else -1.0)
    else:
        direction = -outward(part, on_part)
    return Depth(
        bound=bound, angles=angles, shares=shares, on_part=on_part, on_zone=on_zone, direction=direction,
        evaluations=evaluations,
    )  # fmt: skip


def outward(mesh: Mesh, point: Array) -> Array:
    """Unit normal of the triangle nearest to `point`; away from the mesh's middle where that has no area."""
    a, b, c = mesh.triangles[nearest_face(mesh, point)]
    normal = np.cross(b - a, c - a)
    if not normal.any():
        normal = point - mesh.vertices.mean(axis=0)
    unit: Array = normal / max(float(np.linalg.norm(normal)), 1e-300)
    return unit


def _samples(solid: Solid) -> tuple[Array, float]:
    """Return surface samples and their covering radius, mm (0 for scan points, which stand for themselves).

    In a triangle with edges of at most h every point lies within h / sqrt(3) of a corner.
    """
    if not isinstance(solid, Mesh):
        return solid, 0.0
    from trimesh.remesh import subdivide_to_size

    corners = solid.triangles
    area = float(
        np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum() / 2
    )
    edge = max(0.5, float(np.sqrt(2 * area / SAMPLES)))
    vertices, _ = subdivide_to_size(solid.vertices, solid.faces, max_edge=edge, max_iter=30)
    return np.unique(np.asarray(vertices, dtype=np.float64), axis=0), edge / np.sqrt(3.0)
