"""A job's growth: from which datum, by what factors, how well known, and what that is worth in mm.

The part is taken to be at one temperature throughout and free to grow about its anchor: studs that
hold it back and runners hotter than the flange are not in the model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array, Pose
from clearance.heat.materials import expansion_between, material, service_warning
from clearance.job.datum import Datum
from clearance.job.schema import Job
from clearance.motion.result import Sweep
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part


@dataclass(frozen=True, eq=False, kw_only=True)
class Growth:
    """How a part grows.

    Attributes
    ----------
    anchor : (3,) float64
        Point that stays where it is, mm: in the part's frame, or in the bay's once `moved`.
    k_cold, k_hot : float
        Least and largest growth factor; 1 is the size of the mesh.
    spread : float
        Relative half-width of the expansion coefficient.
    text : str
        One line: material, temperatures, factors, source.
    warning : str or None
        Where the part is hotter than its material's service guide.
    """

    anchor: Array
    k_cold: float
    k_hot: float
    spread: float
    text: str
    warning: str | None = None

    def moved(self, pose: Pose) -> Growth:
        """Return the growth with its anchor mapped by `pose`, as the part's mesh is."""
        return replace(self, anchor=pose.apply(self.anchor))


def growth_of(job: Job) -> Growth | None:
    """Return the growth of a job's part, in the part's frame; None for a job without [heat].

    The factors span every temperature from the least to the largest of `ambient` (the engine is
    started cold), `modelled_at` and `part_temperature`.

    Raises
    ------
    InputError
        The part has no material, an unknown one, or one whose growth is not known at these temperatures.
    """
    heat = job.heat
    if heat is None:
        return None
    if job.part.material is None:
        wanted = "add material to [part]; `clearance look --materials` lists those known"
        raise InputError(job.file, "[heat] but no material of the part", wanted, "part.material")
    made_of = material(job.part.material, job.file)
    low, *_, high = sorted((heat.ambient, heat.modelled_at, heat.part_temperature))
    source = expansion_between(made_of, low, high, job.file, "heat")
    k_cold, k_hot = (1.0 + source.strain_at(t) - source.strain_at(heat.modelled_at) for t in (low, high))
    anchor = next(datum for datum in job.datums if datum.name == heat.anchor and datum.on == "part")
    return Growth(
        anchor=anchor_point(anchor),
        k_cold=k_cold,
        k_hot=k_hot,
        spread=made_of.spread,
        text=f"{made_of.name}, {low:g} to {high:g} °C, size of the mesh at {heat.modelled_at:g} °C: grows by a "
        f"factor of {k_cold:.6f} to {k_hot:.6f} about '{heat.anchor}', known to ±{100 * made_of.spread:g} % "
        f"({source.source})",
        warning=service_warning(made_of, high),
    )


def anchor_point(datum: Datum) -> Array:
    """Return the point, (3,) mm, of a datum's frame that growth is about.

    The point of a face, the center of a hole or stud, the middle of an edge.
    """
    if datum.face is not None:
        return np.array(datum.face.point, dtype=np.float64)
    if datum.round is not None:
        return np.array(datum.round.center, dtype=np.float64)
    assert datum.edge is not None
    middle: Array = (np.array(datum.edge.from_) + np.array(datum.edge.to)) / 2
    return middle


def grown(mesh: Mesh, anchor: Array, factor: float) -> Mesh:
    """Return `mesh`, mm, made larger by `factor` about `anchor` (3,), mm, in the same frame."""
    return Mesh(anchor + factor * (mesh.vertices - anchor), mesh.faces)


def grown_part(part: Part, anchor: Array, factor: float) -> Part:
    """Return the part with both its meshes grown by `factor` about `anchor` (3,), mm, in the part's current frame."""
    return replace(part, mesh=grown(part.mesh, anchor, factor), shown=grown(part.shown, anchor, factor))


def growth_spread_mm(found: Sweep, factor: float, growth: Growth) -> float:
    """Return the standard uncertainty, mm, of the clearance at its worst spot from the expansion coefficient.

    The spot on the part grown by `factor` is displaced along the gap by (1 - 1 / factor) times its
    distance from the anchor along the gap; `spread` times that is the half-width a of a rectangular
    distribution, whose standard uncertainty is a / sqrt(3) (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    found : Sweep
        Its `on_part` and `direction` are in the frame of `growth.anchor`, at the neutral pose.
    factor : float
        The growth factor of that sweep.
    growth : Growth
        In the bay's frame.
    """
    along = float((found.on_part - growth.anchor) @ found.direction)
    return abs(along * (1.0 - 1.0 / factor)) * growth.spread / math.sqrt(3.0)


def growth_spread_anywhere_mm(points: Array, growth: Growth) -> Array:
    """Return, (n,) mm, the largest standard uncertainty of the place of (n, 3) points of the part over its growth.

    `points` are of the mesh as modelled (factor 1), in the frame of `growth.anchor`, mm. Along
    whichever direction: no gap at such a point is less certain.
    """
    strain = max(abs(growth.k_cold - 1.0), abs(growth.k_hot - 1.0))
    spread: Array = strain * growth.spread / math.sqrt(3.0) * np.linalg.norm(points - growth.anchor, axis=1)
    return spread
