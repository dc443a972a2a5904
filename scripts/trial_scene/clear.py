"""Random parts in the open in a box-like bay: everything is farther off than needed, nothing hides near the part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import trimesh
from numpy.typing import NDArray

from clearance.motion.rock import Rock
from clearance.scene.condition import condition
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.unseen.result import Needed
from trial_scene.rays import Array, Bar, Box, Shots, scanned

RAIL = 4
"""Number of the rail among the bodies: floor, back and both sides come before it."""

ROCK_MM = 14.0
"""More than the rock of `_rock` moves any place within 180 mm of its axis: 180 sin 3 degrees, lift and shift."""


@dataclass(frozen=True)
class ClearScene:
    """What `find_unseen` asks for, the `bodies` behind the scan, and how much farther off than needed they all are."""

    part: Part
    scan: Scan
    needs: tuple[Needed, ...]
    rock: Rock | None
    stations: Array
    station_of: NDArray[np.int64]
    bodies: tuple[Box | Bar, ...]
    spare_mm: float

    def open_to_a_station(self, place: Array) -> bool:
        """Tell whether some station truly had nothing before a (3,) place."""
        away = place - self.stations
        range_mm = np.linalg.norm(away, axis=1)
        for eye, way, beyond in zip(self.stations, away / range_mm[:, None], range_mm, strict=True):
            if min(body.hit(eye, way[None])[0][0] for body in self.bodies) > beyond:
                return True
        return False


def part_of(shape: trimesh.Trimesh, rides: str = "engine") -> Part:
    """Return a mesh as a printed part in its place."""
    mesh = Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))
    return Part(name="part.stl", mesh=mesh, shown=mesh, closed=True, rides=rides, tolerance_mm=0.0)


def scan_of(shots: Shots) -> Scan:
    """Return the shots as a conditioned scan."""
    return condition(shots.points, "auto", 0.05)


def zone_of(name: str, scan: Scan, mask: NDArray[np.bool_], gap_mm: float) -> Zone:
    """Return the zone of some of a scan's points."""
    good = mask & ~scan.stray
    return Zone(
        name=name, table=name, kind="chassis", rides="chassis", gap_mm=gap_mm, points=scan.points[good],
        spacing_mm=scan.spacing_mm[good], stray_points=scan.points[mask & scan.stray],
    )  # fmt: skip


def needs_of(scan: Scan, body: NDArray[np.int64], rail: Sequence[int], gap_mm: float, guard_mm: float) -> list[Needed]:
    """Return the rail's zone and everything else's, each with the same gap."""
    on_rail = np.isin(body, rail)
    zones = [zone_of("rail", scan, on_rail, gap_mm), zone_of("everything else", scan, ~on_rail, gap_mm)]
    return [Needed(zone=zone, needed_mm=gap_mm + guard_mm) for zone in zones]


def clear_scene(seed: int, pitch_mm: tuple[float, float] = (2.0, 3.0)) -> ClearScene:
    """Make a scene: 3 or 4 stations, noise 0.2 to 0.3 mm, 0.5 % strays; odd ones rock."""
    rng = np.random.default_rng(seed)
    shape = _shape(rng)
    rock = _rock(rng) if seed % 2 else None
    gap, spare = float(rng.uniform(8, 30)), float(rng.uniform(5, 40))
    away = gap + 2.5 + spare + (ROCK_MM if rock else 0.0)
    low, high = shape.bounds[0] - away, shape.bounds[1] + away
    stations, bodies = _stations(rng), _bay(low, high, rng)
    pitch, noise = float(rng.uniform(*pitch_mm)), float(rng.uniform(0.2, 0.3))
    shots = scanned(bodies, stations, np.zeros(3), 320.0, pitch, rng, noise)
    scan = scan_of(shots)
    needs = tuple(needs_of(scan, shots.body, [RAIL], gap, 2.5))
    return ClearScene(part_of(shape), scan, needs, rock, stations, shots.station, tuple(bodies), spare)


def _shape(rng: np.random.Generator) -> trimesh.Trimesh:
    """Return a log with branches, within 150 mm of the middle."""
    log = trimesh.creation.cylinder(rng.uniform(15, 30), rng.uniform(140, 260), sections=48)
    log.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2 + rng.uniform(-0.2, 0.2), [1, 0, 0]))
    bodies = [log]
    for _ in range(int(rng.integers(1, 4))):
        branch = trimesh.creation.cylinder(rng.uniform(10, 20), 90, sections=32)
        branch.apply_translation([0, 0, 45])
        branch.apply_transform(trimesh.transformations.rotation_matrix(rng.uniform(0, 6.28), [0, 1, 0]))
        branch.apply_translation([0, rng.uniform(-60, 60), 0])
        bodies.append(branch)
    joined: trimesh.Trimesh = trimesh.boolean.union(bodies)
    return joined


def _bay(low: Array, high: Array, rng: np.random.Generator) -> list[Box | Bar]:
    """Return floor, back and sides outside the box from `low` to `high`, with a rail on the floor under the part."""
    width, tall = rng.uniform(25, 50, 2)
    floor = low[2] - tall - rng.uniform(0, 80)
    x = float(rng.uniform(low[0] + width, high[0] - width))
    back, right, left = low[0] - rng.uniform(0, 80), low[1] - rng.uniform(0, 80), high[1] + rng.uniform(0, 80)
    return [
        Box((-900, -900, floor - 20), (900, 900, floor)),
        Box((back - 10, -900, floor), (back, 900, 300)),
        Box((-900, right - 10, floor), (500, right, 60)),
        Box((-900, left, floor), (500, left + 10, 60)),
        Box((x - width / 2, right, low[2] - tall), (x + width / 2, left, low[2])),
        Bar((high[0] + 15, right, low[2] - 5), (high[0] + 15, left, low[2] - 5), 8.0),
    ]


def _stations(rng: np.random.Generator) -> Array:
    """Return 3 or 4 places in front of and above the part, well apart from each other."""
    turns = np.radians([-70.0, -10.0, 65.0, 20.0])[: int(rng.integers(3, 5))] + rng.uniform(-0.2, 0.2)
    lifts = np.radians(rng.uniform(40, 70, len(turns)))
    ways = np.column_stack([np.cos(turns) * np.cos(lifts), np.sin(turns) * np.cos(lifts), np.sin(lifts)])
    places: Array = ways * rng.uniform(600, 900, (len(turns), 1))
    return places


def _rock(rng: np.random.Generator) -> Rock:
    along = np.array([0.0, 1.0, 0.0])
    point = rng.uniform(-20, 20, 3)
    return Rock(
        point=point, direction=along, roll_rad=(float(np.radians(-3)), float(np.radians(3))),
        lift_mm=(-2.0, 3.0), shift_mm=(-2.0, 2.0), up=np.array([0.0, 0.0, 1.0]), forward=np.array([1.0, 0.0, 0.0]),
    )  # fmt: skip
