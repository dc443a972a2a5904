"""The sweep of a pair over the part's growth as well as its motion.

While it grows from cold to hot a triangle sweeps, exactly, the solid between its two sizes: a cone
over the triangle, its apex the anchor, cut off on both sides, which is convex and bounded by eight
triangles. One sweep of all these solids bounds the clearance over all growth factors at once. It
proves nothing where it meets the zone, since the solids do not tell how deep; then `hot_sweep`'s
bound from a few factors stands alone.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from clearance.distance.near import distance_to
from clearance.frames import Array
from clearance.heat.growth import Growth, grown
from clearance.heat.hot_sweep import TOLERANCE_MM, GrowthSweep, sweep_hot
from clearance.motion.bodies import corners
from clearance.motion.pair import PairMotion
from clearance.motion.result import Sweep
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh

SWEEP_TOLERANCE_MM = 0.02
"""Width of the bound sought at one growth factor."""

SAMPLES = 33
"""Growth factors looked at for where a witness of the swept solids came from."""


def sweep_grown(
    part: Mesh,
    part_closed: bool,
    zone: Mesh | Array,
    zone_closed: bool,
    motion: PairMotion,
    growth: Growth,
    tolerance_mm: float = TOLERANCE_MM,
    sweep_tolerance_mm: float = SWEEP_TOLERANCE_MM,
) -> GrowthSweep:
    """Bound the smallest clearance of `part` and `zone` over `motion` and every growth factor.

    Parameters
    ----------
    part : Mesh
        As modelled (factor 1), bay frame at the neutral pose, mm; the other bodies as for `sweep`.
    growth : Growth
        In the bay's frame.
    tolerance_mm : float
        Width of the bound aimed at where the bodies are clear.

    Returns
    -------
    GrowthSweep
        Its bound contains the least clearance for every pose and every factor.
    """

    @cache
    def sweep_at(factor: float) -> Sweep:
        return sweep(grown(part, growth.anchor, factor), part_closed, zone, zone_closed, motion, sweep_tolerance_mm)

    cold, hot = growth.k_cold, growth.k_hot
    radius = float(np.linalg.norm(corners(part) - growth.anchor, axis=1).max())
    ends = min(sweep_at(cold).clearance.upper, sweep_at(hot).clearance.upper)
    floor: float | None = None
    first: tuple[float, ...] = ()
    if cold < hot and ends > 0:
        over_all = sweep(swept_by_growth(part, growth), True, zone, zone_closed, motion, sweep_tolerance_mm)
        if over_all.clearance.lower > 0:
            floor = over_all.clearance.lower
        if over_all.clearance.upper < ends - sweep_tolerance_mm:
            first = (_factor_of(part, growth, over_all.on_part),)
    return sweep_hot(sweep_at, cold, hot, radius, tolerance_mm, floor_mm=floor, first=first)


def swept_by_growth(part: Mesh, growth: Growth) -> Mesh:
    """Return the solids, each closed with its faces outward, that the triangles of `part` sweep from cold to hot.

    A point has as many turns of this mesh about it as there are triangles that pass over it.
    """
    n, faces = len(part.vertices), part.faces
    a, b, c = part.triangles.swapaxes(0, 1)
    outward = np.einsum("ij,ij->i", a - growth.anchor, np.cross(b - a, c - a)) >= 0
    faces = np.where(outward[:, None], faces, faces[:, ::-1])
    walls = [
        np.stack(wall, axis=1)
        for p, q in ((0, 1), (1, 2), (2, 0))
        for wall in (
            (faces[:, p], faces[:, q], faces[:, q] + n),
            (faces[:, p], faces[:, q] + n, faces[:, p] + n),
        )
    ]
    ends = [grown(part, growth.anchor, k).vertices for k in (growth.k_cold, growth.k_hot)]
    return Mesh(np.concatenate(ends), np.concatenate([faces[:, ::-1], faces + n, *walls]))


def _factor_of(part: Mesh, growth: Growth, point: Array) -> float:
    """Return a factor at which the surface of the grown part passes (nearly) through `point` (3,), mm."""
    low, high = growth.k_cold, growth.k_hot
    for _ in range(3):
        factors = np.linspace(low, high, SAMPLES)
        modelled = growth.anchor + (point - growth.anchor) / factors[:, None]
        best = factors[int(np.argmin(factors * distance_to(part, modelled)))]
        step = factors[1] - factors[0]
        low, high = max(growth.k_cold, best - step), min(growth.k_hot, best + step)
    return float(best)
