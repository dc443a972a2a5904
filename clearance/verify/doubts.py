"""What keeps a clear zone from passing besides its clearance: strays in company, points of no zone, open shells."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.verify.cells import prove_cells
from clearance.verify.paths import Motion
from clearance.verify.target import Target

COMPANY, TOGETHER_MM = 3, 20.0
"""So many stray points so near each other are no slips of the scanner."""

ENCLOSING_TURNS = 0.9
"""An open shell that covers this share of all directions, seen from the part, may hold it."""

QUESTIONS = 2_000_000


def in_company(points: Array) -> Array:
    """Return those of (n, 3) stray points, mm, that stand together with others."""
    pairs = cKDTree(points).query_pairs(TOGETHER_MM, output_type="ndarray") if len(points) else np.zeros((0, 2), int)
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    _, group = connected_components(links, directed=False)
    kept: Array = points[np.bincount(group, minlength=1)[group] >= COMPANY] if len(points) else points
    return kept


def comes_within(
    target: Target, path: Motion, points: Array, needed_mm: float, factors: tuple[float, float] = (1.0, 1.0)
) -> bool:
    """Tell whether any of (n, 3) points may come nearer to the part than `needed_mm`, somewhere in the motion.

    `factors`: between which the part grows.
    """
    if not len(points) or needed_mm <= 0:
        return False
    box = path.angle_low[None], path.angle_high[None]
    claim, grown = np.array([needed_mm]), np.array([factors])
    ended = prove_cells(target, path, points[:, None], *box, claim, QUESTIONS, grown)
    return ended.nearer_mm is not None or ended.gave_up


def encloses(zone: Mesh, part: Mesh) -> bool:
    """Tell whether an open zone mesh all but surrounds the part."""
    return bool(np.abs(Target(zone).turns(part.vertices)).max() >= ENCLOSING_TURNS)
