"""Are the stated sigmas of a refined pose honest? Redraws scan noise many times and compares.

    python scripts/error_bars.py [--draws 60] [--points 15000] [--sigma 0.4] [--seed 1]

A manifold-like part of known pose is scanned from one side with noise of one total sigma that is white
or goes together over 5, 15 or 40 mm, and settled by the real `refined`, each time from a fresh start.
Printed for each place: the true scatter of the gap there over the sigma stated for it, on average.
1 is honest, less is conservative, more is a promise not kept. Exit code 0 only if every ratio lies
within the limits.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np
import trimesh

from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.registration.fine import refined
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh

LENGTHS_MM = (0.0, 5.0, 15.0, 40.0)
LEAST, MOST = 0.4, 1.2
"""Limits of the ratio: true scatter over stated sigma."""

WAVES = 400
"""Plane waves of which a noise field is made."""

START_MM, START_DEG = 0.5, 0.1
"""1 sigma, per axis, of where the fit starts."""

SEEN_FROM = np.array([0.3, 0.6, 0.74])
PLACES = (
    ("near the middle", (100.0, 21.0, 0.0), (0.0, 1.0, 0.0)),
    ("collector's end", (225.0, 150.0, 40.0), (1.0, 0.0, 0.0)),
    ("branch's end", (60.0, -40.0, 138.0), (0.0, 0.0, 1.0)),
    ("well off the part", (320.0, -80.0, -60.0), (0.6, 0.0, -0.8)),
)
"""Where gaps are asked for: name, point in the part's frame, mm, and the gap's direction."""


@dataclass(frozen=True, eq=False)
class Trial:
    """A part, its true pose and the places of it that the scanner sees with their normals, (n, 3) mm, bay frame."""

    part: Mesh
    pose: Pose
    points: Array
    normals: Array


def trial(points: int) -> Trial:
    """Build the part and about so many seen places."""
    pipes = [((0, 0, 0), (200, 0, 0), 21), ((200, 0, 0), (200, 150, 40), 25), ((60, 0, 0), (60, -40, 120), 18)]
    shape = trimesh.util.concatenate(
        [trimesh.creation.cylinder(radius=r, segment=[start, end], sections=48) for start, end, r in pipes]
    )
    pose = rigid("bay", "part", rotation_about((1, 2, -3), 1.9), (500, -200, 900))
    places, face = trimesh.sample.sample_surface(shape, 4 * points, seed=0)
    normals = shape.face_normals[face]
    seen = np.flatnonzero(normals @ SEEN_FROM > 0.2)[:points]
    part = Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))
    return Trial(part, pose, pose.apply(places[seen]), normals[seen] @ pose.rotation.T)


def noise(rng: np.random.Generator, points: Array, sigma_mm: float, length_mm: float) -> Array:
    """Return (n,) Gaussian errors whose correlation over a distance d is exp(-d^2 / 2 length^2); white if it is 0.

    A sum of plane waves with normally distributed wave vectors: the spectrum of that correlation.
    """
    if not length_mm:
        return rng.normal(0, sigma_mm, len(points))
    waves, phases = rng.normal(0, 1 / length_mm, (WAVES, 3)), rng.uniform(0, 2 * np.pi, WAVES)
    field: Array = sigma_mm * np.sqrt(2 / WAVES) * np.cos(points @ waves.T + phases).sum(axis=1)
    return field


def settled(scene: Trial, rng: np.random.Generator, sigma_mm: float, length_mm: float) -> Registration:
    """Scan once and settle from a start drawn afresh."""
    off = noise(rng, scene.points, sigma_mm, length_mm)
    turn = np.radians(START_DEG) * rng.normal(size=3)
    centre = scene.pose.apply(scene.part.centroid)
    rotation = rotation_about(turn, float(np.linalg.norm(turn)))
    shift = START_MM * rng.normal(size=3)
    start = Registration(
        method="given",
        T_bay_part=rigid("bay", "bay", rotation, centre + shift - rotation @ centre) @ scene.pose,
        converged=True,
        covariance=np.diag([np.radians(START_DEG) ** 2] * 3 + [START_MM**2] * 3),
        centre=centre,
    )
    return refined(start, scene.part, scene.points + off[:, None] * scene.normals, 0.0)


def ratios(scene: Trial, draws: int, sigma_mm: float, length_mm: float, seed: int) -> tuple[Array, Array]:
    """Return the true scatter of the gap at each place, mm, and its ratio to the root mean square stated sigma.

    Raises
    ------
    RuntimeError
        If a fit does not converge: every start is within its own doubt.
    """
    rng = np.random.default_rng(seed)
    errors, stated = np.empty((draws, len(PLACES))), np.empty((draws, len(PLACES)))
    for draw in range(draws):
        found = settled(scene, rng, sigma_mm, length_mm)
        if not found.converged:
            raise RuntimeError("; ".join(found.notes))
        for k, (_, place, way) in enumerate(PLACES):
            true, direction = scene.pose.apply(place), scene.pose.rotation @ way
            errors[draw, k] = (found.T_bay_part.apply(place) - true) @ direction
            stated[draw, k] = found.sigma_mm(true, direction)
    scatter: Array = np.sqrt((errors**2).mean(axis=0))
    return scatter, scatter / np.sqrt((stated**2).mean(axis=0))


def main() -> int:
    """Run the trial and print its table."""
    parser = argparse.ArgumentParser(description="Compare stated sigmas of refined poses with their true scatter.")
    parser.add_argument("--draws", type=int, default=60)
    parser.add_argument("--points", type=int, default=15_000)
    parser.add_argument("--sigma", type=float, default=0.4, help="total noise, mm")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    scene, honest, began = trial(options.points), True, time.perf_counter()
    print(f"{len(scene.points)} points, noise {options.sigma} mm, {options.draws} draws; true scatter mm / ratio")
    print("\t".join(["correlation", *(name for name, _, _ in PLACES)]))
    for length in LENGTHS_MM:
        scatter, ratio = ratios(scene, options.draws, options.sigma, length, options.seed)
        cells = [f"{s:.3f} / {r:.2f}" for s, r in zip(scatter, ratio, strict=True)]
        print("\t".join([f"{length:g} mm" if length else "white", *cells]), flush=True)
        honest &= bool((ratio > LEAST).all() and (ratio < MOST).all())
    print(f"{'honest' if honest else 'NOT honest'}: limits {LEAST} to {MOST}; {time.perf_counter() - began:.0f} s")
    return 0 if honest else 1


if __name__ == "__main__":
    sys.exit(main())
