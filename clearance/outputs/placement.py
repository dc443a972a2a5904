"""What `clearance place` tells: the pose, what it fits, how sure it is at the part's far ends."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.units import degrees


def far_ends(registration: Registration, part: Mesh) -> list[tuple[list[float], float]]:
    """Return the part's outermost vertices along x, y and z (bay, mm) with 1 sigma of each, mm, least sure first."""
    placed = registration.T_bay_part.apply(part.vertices)
    ends = placed[np.unique(np.concatenate([placed.argmin(axis=0), placed.argmax(axis=0)]))]
    sigma = registration.largest_sigma_mm(ends)
    return [(ends[i].tolist(), float(sigma[i])) for i in np.argsort(-sigma, kind="stable")]


def placement_record(registration: Registration, part: Mesh) -> dict[str, Any]:
    """Return the placement as plain data: mm, bay frame."""
    return {
        "method": registration.method,
        "converged": registration.converged,
        "T_bay_part": registration.T_bay_part.matrix.tolist(),
        "residual_rms_mm": registration.residual_rms_mm,
        "residuals": [{"name": name, "mm": mm} for name, mm in registration.residuals],
        "runner_up_ratio": registration.runner_up_ratio,
        "runner_up": None if registration.runner_up is None else registration.runner_up.matrix.tolist(),
        "far_ends": [{"at_mm": at, "sigma_mm": sigma} for at, sigma in far_ends(registration, part)],
        "notes": list(registration.notes),
    }


def placement_lines(registration: Registration, part: Mesh) -> list[str]:
    """Return the placement as lines for the terminal; where it settled, also as lines for the job file."""
    state = "settled" if registration.converged else "NOT settled: no verdict can rest on it"
    lines = [f"placed by {registration.method}: {state}"]
    if registration.residual_rms_mm is not None:
        lines.append(f"residual rms {registration.residual_rms_mm:.3f} mm")
    lines += [f"  {name}: {mm:.3f} mm" for name, mm in registration.residuals]
    lines.append("1 sigma at the part's far ends (bay, mm):")
    for at, sigma in far_ends(registration, part):
        lines.append("  [" + ", ".join(f"{x:.1f}" for x in at) + f"]: {sigma:.3f} mm")
    if registration.runner_up is not None and registration.runner_up_ratio is not None:
        lines.append(f"next best place, which fits {registration.runner_up_ratio:.2f} times as well: T_bay_part")
        lines += ["  [" + ", ".join(f"{x:.4f}" for x in row) + "]" for row in registration.runner_up.matrix]
    lines += [f"note: {note}" for note in registration.notes]
    return lines + (_frozen(registration, part) if registration.converged else [])


def _frozen(registration: Registration, part: Mesh) -> list[str]:
    """Return the pose as lines of a job file."""
    rows = ", ".join(
        "[" + ", ".join(repr(round(float(x), 12)) for x in row) + "]" for row in registration.T_bay_part.matrix
    )
    shift, turn = frozen_sigmas(registration, part)
    return [
        "to freeze this pose, let [register] hold these lines and no others:",
        'method = "given"',
        f"matrix = [{rows}]",
        f"sigma_shift = {shift:.4f}   # mm",
        f"sigma_turn = {turn:.5f}   # degrees",
    ]


def frozen_sigmas(registration: Registration, part: Mesh) -> tuple[float, float]:
    """Return sigma_shift (mm) and sigma_turn (degrees) of a given pose that is nowhere surer than `registration`.

    With s 1 sigma of the part's centroid and w of the turn, a place r off the centroid is at most
    s + w r uncertain whatever their correlation; a given pose makes that sqrt(s^2 + (w r)^2), which
    times sqrt(2) is never less.
    """
    middle = registration.T_bay_part.apply(part.centroid)
    shift = float(registration.largest_sigma_mm(middle[None])[0])
    turn = float(np.sqrt(max(0.0, np.linalg.eigvalsh(registration.covariance[:3, :3])[-1])))
    return math.sqrt(2.0) * shift, degrees(math.sqrt(2.0) * turn)
