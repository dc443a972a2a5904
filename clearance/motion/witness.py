"""Where on their bodies the closest points lie, and by which translations they come there."""

from __future__ import annotations

import numpy as np
from scipy.optimize import lsq_linear

from clearance.distance.fcl_engine import Closest, EngineDisagreementError
from clearance.frames import Array
from clearance.motion.bodies import Near, primitive
from clearance.motion.pair import PairMotion

SHARES_WEIGH = 1e3
"""Weight, mm, of the condition that a point's weights on its triangle add up to 1."""

OFF_MM = 1e-6
"""By how much a closest approach may differ from the engine's when worked out afresh."""


def clear_witness(
    motion: PairMotion, near: Near, angles: Array, at: Closest, *, between_on_part: bool
) -> tuple[Array, Array, Array, float]:
    """Return the closest points of part and zone at the neutral pose, the shares of the slides, and their distance.

    Solves on_a = U (p + a) + b and on_b = V (z + c), or with b on the other side, for points p and z of
    the two primitives and translations a, b, c, all weights and shares within [0, 1].

    Raises
    ------
    EngineDisagreementError
        If the points found are not as far apart as the engine said.
    """
    columns, constant = _system(motion, near, angles, at, between_on_part=between_on_part)
    p, z, shares = _solved(columns, np.concatenate([at.on_a, at.on_b]) - constant, near, at)
    rotation, shift = motion.zone_to_part(angles, shares)
    distance = float(np.linalg.norm(p - (rotation @ z + shift)))
    if abs(distance - at.distance_mm) > OFF_MM:
        raise EngineDisagreementError(f"witness points are {distance} mm apart, the engine said {at.distance_mm} mm")
    return p, z, shares, distance


def touching_witness(motion: PairMotion, near: Near, angles: Array, at: Closest) -> tuple[Array, Array, Array]:
    """Return points of the two primitives at the neutral pose, and shares of the slides, at which they meet."""
    columns, constant = _system(motion, near, angles, at, between_on_part=True)
    return _solved(columns[:3] - columns[3:], constant[3:] - constant[:3], near, at)


def _system(
    motion: PairMotion, near: Near, angles: Array, at: Closest, *, between_on_part: bool
) -> tuple[Array, Array]:
    """Columns (6, n), of the weights of p, those of z and the shares of a, b, c, and constant (6,), of both points."""
    (u, u_shift), (v, v_shift) = motion.turns(angles)
    a, b, c = motion.slides
    own, other = primitive(near.part, at.owner_a), primitive(near.zone, at.owner_b)
    share, rest = (1.0, 0.0) if between_on_part else (0.0, -1.0)
    first = [u @ own.T, np.zeros((3, len(other))), u @ a.edges.T, share * b.edges.T, np.zeros((3, len(c.edges)))]
    second = [np.zeros((3, len(own))), v @ other.T, np.zeros((3, len(a.edges))), rest * b.edges.T, v @ c.edges.T]
    constant = [u_shift + u @ a.base + share * b.base, v_shift + v @ c.base + rest * b.base]
    return np.vstack([np.hstack(first), np.hstack(second)]), np.concatenate(constant)


def _solved(columns: Array, wanted: Array, near: Near, at: Closest) -> tuple[Array, Array, Array]:
    """Points on the two primitives and shares of the slides, from bounded least squares."""
    own, other = primitive(near.part, at.owner_a), primitive(near.zone, at.owner_b)
    n, m = len(own), len(other)
    sums = np.zeros((2, columns.shape[1]))
    sums[0, :n] = sums[1, n : n + m] = SHARES_WEIGH
    system = np.vstack([columns, sums])
    target = np.concatenate([wanted, [SHARES_WEIGH, SHARES_WEIGH]])
    found = lsq_linear(system, target, bounds=(0, 1), method="bvls", tol=1e-14, max_iter=200).x
    on_own, on_other = found[:n] / found[:n].sum() @ own, found[n : n + m] / found[n : n + m].sum() @ other
    return on_own, on_other, found[n + m :]
