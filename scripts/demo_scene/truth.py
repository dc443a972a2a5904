"""Smallest clearances by brute force over triangles and poses, with a bound; shares no code with the package.

Pieces of part surface (triangles, cut in four) are paired with boxes of poses (roll x lift x shift, cut
in half along their longest side). At the middle of both, the exact distance d to the zone's triangles
is asked for. No point of the piece at any pose of the box is nearer than

    d - piece radius - 2 R sin(half roll / 2) - half lift - half shift,   R = distance from the rock axis,

because distance to a set changes by no more than the point moves. Pieces go when that exceeds the
least d found less the tolerance; when none is left the true minimum lies within [least d - tolerance, least d].
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np

from demo_scene.bay import LIFT_MM, ROCK_AXIS, ROCK_POINT, ROLL_DEG, SHIFT_MM, Solid
from demo_scene.part import Array

BLOCK = 200_000
MOST = 12_000_000


@dataclass(frozen=True)
class Truth:
    """True minimum in [lower_mm, upper_mm]; attained, to within that, at `pose` (roll deg, lift mm, shift mm)."""

    lower_mm: float
    upper_mm: float
    pose: tuple[float, float, float]
    on_part_mm: tuple[float, float, float]


@dataclass(frozen=True)
class _Frontier:
    """Corners (n, 3, 3) at the neutral pose and boxes (n, 3, 2) of roll in rad, lift and shift in mm."""

    corners: Array
    boxes: Array

    def __getitem__(self, keep: Array | slice) -> _Frontier:
        return _Frontier(self.corners[keep], self.boxes[keep])


def moved(points: Array, roll: Array, lift: Array, shift: Array) -> Array:
    """Rock (n, 3) points, each to its own pose: about the rock axis (Rodrigues' formula), then up and forward."""
    axis, away = np.array(ROCK_AXIS), points - ROCK_POINT
    cos, sin = np.cos(roll)[:, None], np.sin(roll)[:, None]
    turned = away * cos + np.cross(axis, away) * sin + (away @ axis)[:, None] * axis * (1 - cos)
    return turned + ROCK_POINT + np.stack([shift, np.zeros_like(lift), lift], axis=1)


def least_clearance(triangles: Array, zone: Solid, rocks: bool, tolerance_mm: float) -> Truth:
    """Bound the least distance of the part's (m, 3, 3) triangles, bay frame, and a zone over the rock or at rest."""
    spans = np.array([np.radians(ROLL_DEG), LIFT_MM, SHIFT_MM]) if rocks else np.zeros((3, 2))
    front = _Frontier(triangles, np.broadcast_to(spans, (len(triangles), 3, 2)).copy())
    best, where, seen = np.inf, (np.zeros(3), np.zeros(3)), 0
    while len(front.corners):
        seen += len(front.corners)
        if seen > MOST:
            raise RuntimeError(f"'{zone.name}': {MOST} pieces did not settle {tolerance_mm} mm; now at {best:.3f} mm")
        middles, poses = front.corners.mean(axis=1), front.boxes.mean(axis=2)
        away = _distance(moved(middles, *poses.T), zone)
        least = int(away.argmin())
        if away[least] < best:
            best, where = float(away[least]), (poses[least], middles[least])
        piece = np.linalg.norm(front.corners - middles[:, None], axis=2).max(axis=1)
        travel = _travel(front, middles, piece)
        open_ = away - piece - travel.sum(axis=1) < best - tolerance_mm
        front = _cut(front[open_], piece[open_], travel[open_])
    roll, lift, shift = (float(v) for v in where[0])
    return Truth(best - tolerance_mm, best, (float(np.degrees(roll)), lift, shift), tuple(where[1].tolist()))


def _distance(points: Array, zone: Solid) -> Array:
    parts = [
        igl.point_mesh_squared_distance(np.ascontiguousarray(points[k : k + BLOCK]), zone.vertices, zone.faces)[0]
        for k in range(0, len(points), BLOCK)
    ]
    distance: Array = np.sqrt(np.concatenate(parts))
    return distance


def _travel(front: _Frontier, middles: Array, piece: Array) -> Array:
    """Farthest any point of a piece moves from the middle of its box: (n, 3) by roll, lift and shift."""
    away = middles - ROCK_POINT
    axis = np.array(ROCK_AXIS)
    radius = np.linalg.norm(away - (away @ axis)[:, None] * axis, axis=1) + piece
    half = (front.boxes[:, :, 1] - front.boxes[:, :, 0]) / 2
    return np.column_stack([2 * radius * np.sin(half[:, 0] / 2), half[:, 1:]])


def _cut(front: _Frontier, piece: Array, travel: Array) -> _Frontier:
    """Cut each pair where it is loosest: the piece into four or the box into two."""
    by_piece = piece >= travel.max(axis=1)
    a, b, c = front.corners[by_piece].transpose(1, 0, 2)
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    quarters = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    boxes = front.boxes[~by_piece]
    side, row = travel[~by_piece].argmax(axis=1), np.arange(len(boxes))
    low, high = boxes.copy(), boxes.copy()
    low[row, side, 1] = high[row, side, 0] = boxes[row, side].mean(axis=1)
    return _Frontier(
        np.concatenate([quarters, front.corners[~by_piece], front.corners[~by_piece]]),
        np.concatenate([np.tile(front.boxes[by_piece], (4, 1, 1)), low, high]),
    )
