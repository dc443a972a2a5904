"""The hot part of a job, as it stands in the bay, with the shield about it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.distance.inside import Surface
from clearance.errors import InputError
from clearance.frames import Array, Pose, unit_vector
from clearance.heat.emissivity import emissivity_of
from clearance.heat.emitter import Emitter
from clearance.heat.neighbour import Source, moved_out
from clearance.heat.surface_temperature import Sheets
from clearance.job.heat import Heat, HeatRegion, Shield
from clearance.job.schema import Job
from clearance.scene.mesh import Mesh
from clearance.units import kelvin


def source_of(job: Job, heat: Heat, shield: Shield, part: Mesh, T_bay_part: Pose) -> Source:
    """Return the part, (bay frame, mm, long edges split), as a source of heat.

    Raises
    ------
    InputError
        An unknown surface, a region that holds no triangle.
    """
    middles = T_bay_part.inverse().apply(part.triangles.mean(axis=1))
    own, _ = emissivity_of(heat.emissivity, job.file, "heat.emissivity")
    temperature, emissivity = np.full(len(middles), heat.part_temperature), np.full(len(middles), own)
    for region in heat.region:
        key = f"heat.region '{region.name}'"
        inside = _inside(region, middles)
        if not inside.any():
            raise InputError(job.file, "no triangle of the part has its middle in it", "move it (part frame, mm)", key)
        temperature[inside] = region.temperature
        if region.emissivity is not None:
            emissivity[inside], _ = emissivity_of(region.emissivity, job.file, f"{key}: emissivity")
    sheet, _ = emissivity_of(shield.emissivity, job.file, "shield.emissivity")
    hot_K = temperature + kelvin(0.0)
    return Source(
        part=Emitter(part, hot_K, emissivity),
        surface=Surface(part),
        outer=Emitter(moved_out(part, shield.build_mm), hot_K, np.full(len(middles), sheet)),
        sheets=Sheets(
            count=shield.sheets,
            standoff_m=shield.least_mm / 1e3,
            between_m=shield.between / 1e3,
            emissivity=sheet,
        ),
        build_mm=shield.build_mm,
        emissivity=float(emissivity.max()),
        up=unit_vector(job.rock.up if job.rock else (0.0, 0.0, 1.0)),
    )


def _inside(region: HeatRegion, middles: Array) -> NDArray[np.bool_]:
    """Tell which of (m, 3) points, part frame, lie in a region."""
    if region.box is not None:
        low, high = np.array(region.box.min), np.array(region.box.max)
        boxed: NDArray[np.bool_] = np.logical_and.reduce((middles >= low) & (middles <= high), axis=1)
        return boxed
    assert region.sphere is not None
    away: Array = np.linalg.norm(middles - np.array(region.sphere.center), axis=1)
    return away <= region.sphere.diameter / 2
