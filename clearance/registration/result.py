"""What a registration tells: the pose, how it ended and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array, Pose


@dataclass(frozen=True, eq=False, kw_only=True)
class Registration:
    """Pose of the part in the bay with its uncertainty.

    Attributes
    ----------
    method : str
        "given", "landmarks", "datums" or "shape", with "+refine" where refined.
    T_bay_part : Pose
    converged : bool
        False until proven: a refine that did not settle leaves it False.
    residual_rms_mm : float or None
        Root mean square of what the method fitted; None where it fits nothing.
    residuals : tuple of (name, mm)
        One per landmark or pair of datums.
    covariance : (6, 6) float64
        Of small motions about `centre`, bay frame: rotation (rad) first, then translation (mm).
        A point p moves by rotation x (p - centre) + translation.
    centre : (3,) float64, mm, bay frame
    runner_up_ratio : float or None
        Score of the next best pose over the best one; None where no search is made.
    runner_up : Pose or None
        That next best pose.
    notes : tuple of str
        Plain sentences for the report.
    """

    method: str
    T_bay_part: Pose
    converged: bool = False
    residual_rms_mm: float | None = None
    residuals: tuple[tuple[str, float], ...] = ()
    covariance: Array
    centre: Array
    runner_up_ratio: float | None = None
    runner_up: Pose | None = None
    notes: tuple[str, ...] = ()

    def sigma_mm(self, point: Array, direction: Array) -> float:
        """Return 1 sigma of the position of `point` (bay, mm) along the unit vector `direction`.

        First-order propagation g S g^T (JCGM 100:2008, 5.2) with g = [(p - c) x n, n].
        """
        g = np.concatenate([np.cross(point - self.centre, direction), direction])
        return float(np.sqrt(max(0.0, g @ self.covariance @ g)))

    def largest_sigma_mm(self, points: Array) -> Array:
        """Return 1 sigma, (n,) mm, of each of (n, 3) points (bay, mm) along its least certain direction.

        The covariance of a point is J S J^T with J = [-[p - c]x, I]; its largest eigenvalue is the
        variance along that direction.
        """
        x, y, z = (points - self.centre).T
        zero = np.zeros_like(x)
        turn = np.stack([zero, z, -y, -z, zero, x, y, -x, zero], axis=1).reshape(-1, 3, 3)
        jacobian = np.concatenate([turn, np.broadcast_to(np.eye(3), turn.shape)], axis=2)
        spread = jacobian @ self.covariance @ jacobian.swapaxes(1, 2)
        sigma: Array = np.sqrt(np.maximum(np.linalg.eigvalsh(spread)[:, -1], 0.0))
        return sigma
