"""Stray points in company: a lone one is a scanner's slip, several together may be a thing scanned too thinly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.motion.field import each_sampled, least_sampled, may_be_lower
from clearance.motion.pair import PairMotion
from clearance.scene.mesh import Mesh

TOGETHER_MM = 20.0
"""Stray points nearer than this to each other belong together."""

COMPANY = 3
"""So many together are no longer taken for slips."""


def in_company(stray: Array) -> Array:
    """Return those of (n, 3) stray points, mm, that stand in groups of `COMPANY` or more."""
    if len(stray) < COMPANY:
        return stray[:0]
    near = cKDTree(stray).sparse_distance_matrix(cKDTree(stray), TOGETHER_MM, output_type="coo_matrix")
    near.data[:] = 1.0  # coincident points are neighbours as well
    _, group = connected_components(near, directed=False)
    return stray[np.bincount(group)[group] >= COMPANY]


def company_of(stray: Array, others: Array | None = None) -> NDArray[np.bool_]:
    """Tell which of (n, 3) stray points, mm, stand in groups: among themselves or with all of the scan's (m, 3)."""
    company = np.zeros(len(stray), dtype=bool)
    for group in (in_company(stray), in_company(stray if others is None else others)):
        if len(group) and len(stray):
            company |= cKDTree(group).query(stray)[0] == 0.0
    return company


def unproven_stray(
    stray: Array, part: Mesh, motion: PairMotion, needed_mm: float, others: Array | None = None
) -> str | None:
    """Return why strays keep a zone from passing, None if they do not.

    They do where one of a group may come nearer to `part` (bay frame, mm) than `needed_mm`. `others`: all stray points
    of the scan, (m, 3) mm, these among them: the edge of a zone cuts no group apart.
    """
    if not len(stray):
        return None
    near = each_sampled(part, stray, motion) - may_be_lower(motion, stray) < needed_mm
    told = near & company_of(stray, others)
    if not told.any():
        return None
    least = least_sampled(part, stray[told], motion)
    return (
        f"{int(told.sum())} scan points that no surface supports stand together and come within "
        f"{max(least, 0.0):.1f} mm; "
        "look at them: scan the place again, or cut them out of the scan if nothing is there"
    )
