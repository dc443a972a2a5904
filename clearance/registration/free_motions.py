"""Motions of a part that a fit leaves free, in words."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array

LEAST_FIXED = 0.01
"""Smallest over largest stiffness of the fit, rotations counted at the part's radius, below which a motion is free.

A round pipe that is faceted in the mesh seems to resist turning about its axis by less than 0.001.
"""


def free_motions(normal_matrix: Array, centre: Array, radius_mm: float) -> list[str]:
    """Name the motions that the scan does not fix: small eigenvalues of the fit.

    Parameters
    ----------
    normal_matrix : (6, 6) float64
        Turns (rad) about `centre` first, then shifts (mm), bay frame.
    radius_mm : float
        Reach of the part from `centre`, at which turns are measured.
    """
    scale = np.array([1 / radius_mm] * 3 + [1.0] * 3)
    stiffness, motions = np.linalg.eigh(normal_matrix * np.outer(scale, scale))
    free = motions.T[stiffness < LEAST_FIXED * stiffness[-1]]
    return [f"the scan does not fix {_in_words(motion, centre, radius_mm)}" for motion in free]


def _in_words(motion: Array, centre: Array, radius: float) -> str:
    """Say what a small motion (turn at `radius`, shift at `centre`) is: a slide, or a turn about a line."""
    turn, slide = motion[:3] / radius, motion[3:]
    if np.linalg.norm(motion[:3]) < np.linalg.norm(slide):
        return f"sliding along {_triple(slide / np.linalg.norm(slide), 2)}"
    through = centre + np.cross(turn, slide) / (turn @ turn)
    return f"turning about {_triple(turn / np.linalg.norm(turn), 2)} through {_triple(through, 0)}"


def _triple(values: Array, digits: int) -> str:
    return "[" + ", ".join(f"{x:.{digits}f}" for x in np.round(values, digits) + 0.0) + "]"
