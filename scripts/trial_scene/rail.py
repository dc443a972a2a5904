"""A square rail with a hole in its scan and a ball above the hole: what was removed would have been too near."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from clearance.scene.condition import condition
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.unseen.result import Needed
from trial_scene.clear import part_of, zone_of
from trial_scene.rays import Array

SIDE_MM, LONG_MM = 40.0, 400.0
GAP_MM, GUARD_MM = 20.0, 1.0
"""Required gap, and the guard without the allowance for the spacing of the points, which is added to it."""

NOISE_MM = 0.2
PITCH_MM = (1.5, 2.0)


@dataclass(frozen=True)
class RailScene:
    """What `find_unseen` asks for.

    Attributes
    ----------
    place : (3,) float64, mm
        Middle of the hole, on the rail.
    true_mm, left_mm : float
        Clearance of the ball to the rail as it is, and to the scan points.
    floor : bool
        Whether a floor below the rail was scanned too.
    """

    part: Part
    scan: Scan
    needs: tuple[Needed, ...]
    place: Array
    width_mm: float
    true_mm: float
    left_mm: float
    floor: bool


def rail_points(pitch_mm: float, rng: np.random.Generator) -> Array:
    """Return points (n, 3), mm, of the top z = 0 and both sides of a rail along y, jittered, with noise across."""
    half = SIDE_MM / 2
    along = np.arange(-LONG_MM / 2, LONG_MM / 2, pitch_mm)
    flat = []
    for width in (SIDE_MM, SIDE_MM, SIDE_MM):
        s, y = (g.ravel() for g in np.meshgrid(np.arange(pitch_mm / 2, width, pitch_mm), along))
        jitter = 0.3 * pitch_mm * rng.uniform(-1, 1, (2, len(s)))
        flat.append((s + jitter[0], y + jitter[1], rng.normal(0, NOISE_MM, len(s))))
    (a, b, c), (d, e, f), (g, h, i) = flat
    return np.concatenate(
        [
            np.column_stack([a - half, b, c]),
            np.column_stack([half + f, e, -d]),
            np.column_stack([-half + i, h, -g]),
        ]
    )


def floor_points(low_mm: float, pitch_mm: float, rng: np.random.Generator) -> Array:
    """Return points of a floor at z = -`low_mm` to both sides of the rail."""
    x, y = (g.ravel() for g in np.meshgrid(np.arange(-200, 200, pitch_mm), np.arange(-200, 200, pitch_mm)))
    points = np.column_stack([x, y, np.full(len(x), -low_mm)])
    points += 0.3 * pitch_mm * rng.uniform(-1, 1, points.shape)
    return points[np.abs(points[:, 0]) > SIDE_MM / 2]


def to_rail_mm(place: Array) -> float:
    """Return the distance of a (3,) place outside the rail to its surface, mm, exact."""
    half = SIDE_MM / 2
    return float(np.hypot(max(abs(place[0]) - half, 0.0), max(place[2], 0.0)))


def _ball(place: Array, width: float, rng: np.random.Generator) -> tuple[Array, float]:
    """Return middle and radius of a ball over the hole, its height such that the rail is too near."""
    radius, height = float(rng.uniform(2, 15)), GAP_MM - float(rng.uniform(0.1, 12)) * width / 80
    over = SIDE_MM / 2 - abs(place[0]) < width / 2
    way = np.array([np.sign(place[0]) * rng.uniform(0, 1) if over else 0.0, 0, 1])
    off = rng.uniform(-1, 1, 3) * width / 10
    return place + off * (1, 1, 0) + way / np.linalg.norm(way) * (radius + height), radius


def rail_scene(width_mm: float, rng: np.random.Generator, by_spacing: bool, tries: int = 2000) -> RailScene | None:
    """Make a scene in which the rail is too near to a ball, and the scan points that are left would let it pass.

    The hole is a ball of `width_mm` about a random place of the rail's top, often over its edge. A point
    counts as nearer by its own local spacing if `by_spacing`, as in the budget. None where no such place was
    found: the spacing covers such holes.
    """
    pitch = float(rng.uniform(*PITCH_MM))
    whole = rail_points(pitch, rng)
    spacing = condition(whole, "auto", 0.05).spacing_mm * by_spacing
    for _ in range(tries):
        place = np.array([rng.uniform(-20, 20), rng.uniform(-100, 100), 0.0])
        middle, radius = _ball(place, width_mm, rng)
        kept = np.linalg.norm(whole - place, axis=1) > width_mm / 2
        away = np.linalg.norm(whole[kept] - middle, axis=1) - radius
        passes = float((away - spacing[kept]).min()) >= GAP_MM + GUARD_MM
        if passes and to_rail_mm(middle) - radius < GAP_MM:
            return _scene(whole[kept], place, width_mm, middle, radius, pitch, by_spacing, rng)
    return None


def _scene(
    left: Array, place: Array, width: float, middle: Array, radius: float, pitch: float, by_spacing: bool,
    rng: np.random.Generator,
) -> RailScene:  # fmt: skip
    floor = bool(rng.random() < 0.5)
    points = np.concatenate([left, floor_points(rng.uniform(60, 120), pitch, rng)]) if floor else left
    scan = condition(points, "auto", 0.05)
    ball = trimesh.creation.icosphere(4, radius)
    ball.apply_translation(middle)
    zone = zone_of("rail", scan, np.ones(len(scan.points), bool), GAP_MM)
    away = np.linalg.norm(scan.points[~scan.stray] - middle, axis=1) - radius
    allowance = float(away.min() - (away - by_spacing * scan.spacing_mm[~scan.stray]).min())
    needs = (Needed(zone=zone, needed_mm=GAP_MM + GUARD_MM + allowance),)
    true, left_mm = to_rail_mm(middle) - radius, float(away.min())
    return RailScene(part_of(ball, "chassis"), scan, needs, place, width, true, left_mm, floor)
