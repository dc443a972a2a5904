"""Place the part in the bay as the job says."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array
from clearance.job.datum import Datum
from clearance.job.schema import Register
from clearance.registration.cloud import CloudModel
from clearance.registration.datums import from_datums
from clearance.registration.fine import refined
from clearance.registration.given import given
from clearance.registration.landmarks import from_landmarks
from clearance.registration.model import shape_model
from clearance.registration.result import Registration
from clearance.registration.shape import from_shape
from clearance.scene.mesh import Mesh

Model = Mesh | CloudModel


def register(
    spec: Register,
    part: Mesh,
    scan_points: Array | None,
    accuracy_mm: float,
    noise_mm: float,
    job_file: Path,
    datums: tuple[Datum, ...] = (),
    engine: Model | None = None,
    stations: Array | None = None,
) -> Registration:
    """Return the part's pose in the bay with its uncertainty.

    Parameters
    ----------
    part : Mesh
        Part frame, mm.
    scan_points : (n, 3) float64 or None
        Bay frame, mm; needed where the job asks for `refine` or `datums`.
    accuracy_mm, noise_mm : float
        1 sigma of the scanner and of its points.
    datums : tuple of Datum
        Those that `spec.set_` names, on part and bay.
    engine : Mesh or CloudModel, optional
        The engine in the part's frame: what is looked for and settled in the scan in place of the part.
    stations : (k, 3) float64, optional
        Where the scanner stood, bay frame, mm.

    Raises
    ------
    InputError
        For a pose that is not rigid, landmarks or datums that cannot fix one, or a refine without a scan.
    """
    if spec.method == "given":
        placed = given(spec, part, job_file)
    elif spec.method == "datums":
        if scan_points is None:
            raise InputError(job_file, "needs scan points but the job has no [bay]", "add [bay]", "register.method")
        placed = from_datums(spec.set_, datums, part, scan_points, (accuracy_mm, noise_mm), job_file)
    elif spec.method == "shape":
        assert spec.region is not None
        assert scan_points is not None
        model = shape_model(part if engine is None else engine)
        return from_shape(spec.region, model, scan_points, noise_mm, accuracy_mm, job_file, stations)
    else:
        placed = from_landmarks(spec.pair, part.vertices, float(np.hypot(accuracy_mm, noise_mm)), job_file)
    if not spec.refine:
        return placed
    if scan_points is None:
        raise InputError(job_file, "needs scan points but the job has no [bay]", "add [bay]", "register.refine")
    return refined(placed, part if engine is None else engine, scan_points, accuracy_mm)
