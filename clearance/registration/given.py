"""A pose the user states."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.frames import Pose, rigid, rotation_about
from clearance.job.schema import Register
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.units import radians


def given(spec: Register, part: Mesh, job_file: Path) -> Registration:
    """Return the stated pose of `part` (part frame, mm) with the stated uncertainty, turns about its centroid.

    Raises
    ------
    InputError
        If `matrix` is not a rigid motion.
    """
    if spec.matrix is not None:
        try:
            pose = Pose("bay", "part", np.array(spec.matrix))
        except ValueError as fault:
            wanted = "give 4 rows: a pure rotation, a translation in mm, and [0, 0, 0, 1]"
            raise InputError(job_file, str(fault), wanted, "register.matrix") from fault
    else:
        turn = np.eye(3) if spec.turn is None else rotation_about(spec.turn.axis, radians(spec.turn.degrees))
        pose = rigid("bay", "part", turn, spec.shift or (0.0, 0.0, 0.0))
    variance = [radians(spec.sigma_turn) ** 2] * 3 + [spec.sigma_shift**2] * 3
    exact = not (spec.sigma_shift or spec.sigma_turn)
    return Registration(
        method="given",
        T_bay_part=pose,
        converged=True,
        covariance=np.diag(variance),
        centre=pose.apply(part.centroid),
        notes=("the given pose was taken as exact: sigma_shift and sigma_turn are 0",) if exact else (),
    )
