"""Expected error of a place far from the landmarks that placed the part."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array


def target_error(landmarks: Array, targets: Array, localization_error: float) -> Array:
    """Return the root mean square target registration error, (k,), in the unit of the inputs.

    E[TRE^2(r)] = FLE^2 / N (1 + 1/3 sum_k d_k^2 / f_k^2), d_k the distance of the target from
    principal axis k of the landmarks, f_k the rms distance of the landmarks from it (Fitzpatrick,
    West and Maurer 1998, IEEE TMI 17(5):694-702, doi 10.1109/42.736021, eq. 46).

    Parameters
    ----------
    landmarks : (n, 3) float64, not in a line
    targets : (k, 3) float64, same frame
    localization_error : float
        FLE: rms length of a landmark's error vector (sqrt(3) times 1 sigma per axis).

    Raises
    ------
    ValueError
        If the landmarks lie in a line: the error has no bound off it.
    """
    middle = landmarks.mean(axis=0)
    _, spread, axes = np.linalg.svd(landmarks - middle)
    if len(landmarks) < 3 or spread[1] <= 1e-12 * max(spread[0], 1e-300):
        raise ValueError("landmarks in a line fix no turn about it")
    away = _squared_from_axes(landmarks - middle, axes).mean(axis=0)
    ratio = _squared_from_axes(targets - middle, axes) / away
    error: Array = localization_error * np.sqrt((1 + ratio.sum(axis=1) / 3) / len(landmarks))
    return error


def _squared_from_axes(points: Array, axes: Array) -> Array:
    """Return the squared distance, (n, 3), of points from the three axes through the origin."""
    along = points @ axes.T
    squared: Array = (points**2).sum(axis=1, keepdims=True) - along**2
    return squared
