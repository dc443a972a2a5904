"""Growth with heat, worked out from the job and the table of materials; what a report says of it, checked.

How a growing part is proved is told in `prove`: between two temperatures each triangle grows along straight lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array, Pose
from clearance.heat.expansion import ROOM_C, Expansion
from clearance.heat.materials import material
from clearance.job.schema import Job
from clearance.verify.claims import Certificate, ZoneCertificate, ZoneClaim

SAME_FACTOR = 1e-12
SAME_MM = 1e-6


@dataclass(frozen=True, eq=False, kw_only=True)
class Growing:
    """How the part grows: `anchor` (3,), mm, bay frame, least and largest factor, relative half-width of both."""

    anchor: Array
    k_cold: float
    k_hot: float
    spread: float

    def modelled(self, points: Array, factor: float) -> Array:
        """Return where points of the part grown by `factor` are on the part as modelled."""
        back: Array = self.anchor + (points - self.anchor) / factor
        return back

    def sigma_mm(self, point: Array, factor: float) -> float:
        """Return 1 sigma of the place of a point (3,) of the part grown by `factor`, whichever way it is looked at.

        Rectangular, its half-width the spread times the largest strain times the distance from the anchor
        (JCGM 100:2008, 4.3.7).
        """
        strain = max(abs(self.k_cold - 1.0), abs(self.k_hot - 1.0))
        away = float(np.linalg.norm(self.modelled(point, factor) - self.anchor))
        return self.spread * strain * away / math.sqrt(3.0)


def growing_of(job: Job, T_bay_part: Pose) -> Growing | None:
    """Return how the job's part grows, None where the job has no [heat]. Raises InputError as reading it does."""
    heat = job.heat
    if heat is None:
        return None
    made_of = material(job.part.material or "", job.file)
    least, most = (f(heat.ambient, heat.part_temperature, heat.modelled_at) for f in (min, max))
    source = next((e for e in made_of.expansions if _range(e)[0] <= least and most <= _range(e)[1]), None)
    if source is None:
        raise InputError(job.file, "growth is not known at these temperatures", "name another material", "heat")
    cold, modelled, hot = _strains(source, np.array([least, heat.modelled_at, most]))
    return Growing(
        anchor=T_bay_part.apply(_anchor(job, heat.anchor)),
        k_cold=1.0 + cold - modelled,
        k_hot=1.0 + hot - modelled,
        spread=made_of.spread,
    )


def _range(source: Expansion) -> tuple[float, float]:
    return min(source.reference_C, ROOM_C), max(to for to, _ in source.mean)


def _strains(source: Expansion, at_C: Array) -> tuple[float, ...]:
    """Mean coefficient, linear between the values of the table, times the difference from its reference."""
    to, per_K = np.array(source.mean).T
    return tuple(float(x) for x in 1e-6 * np.interp(at_C, to, per_K) * (at_C - source.reference_C))


def _anchor(job: Job, name: str) -> Array:
    """Return the point of the datum on the part that growth is about, part frame."""
    datum = next(d for d in job.datums if d.on == "part" and d.name == name)
    if datum.edge is not None:
        middle: Array = (np.array(datum.edge.from_) + np.array(datum.edge.to)) / 2
        return middle
    if datum.face is not None:
        return np.array(datum.face.point)
    holes = [feature for feature in (datum.hole, datum.stud) if feature is not None]
    return np.array(holes[0].center)


def growth_faults(certificate: Certificate, growing: Growing | None) -> list[str]:
    """Return where what the certificate says of growth is not what the job makes of it."""
    said = certificate.growth
    if said is None or growing is None:
        return [] if said is None and growing is None else ["the certificate and the job differ on growth with heat"]
    faults = []
    for name, own in (("k_cold", growing.k_cold), ("k_hot", growing.k_hot)):
        if abs(getattr(said, name) - own) > SAME_FACTOR:
            faults.append(f"the certificate has {name} {getattr(said, name):.9f}, the job makes it {own:.9f}")
    if (off := float(np.linalg.norm(np.array(said.anchor_mm) - growing.anchor))) > SAME_MM:
        faults.append(f"the certificate's part grows about a point {off:.3g} mm off its anchor")
    return faults


def factor_faults(row: ZoneClaim, entry: ZoneCertificate, growing: Growing | None) -> list[str]:
    """Return what is wrong with the growth factors of a zone's sweeps and with what its row says of growth."""
    factors = sorted(sweep.factor for sweep in entry.sweeps)
    if growing is None:
        grows = factors != [1.0] or row.growth_factor != 1.0 or row.hot or row.budget_mm.growth != 0
        return ["its part grows, though the job has no heat"] if grows else []
    cold, hot, faults = growing.k_cold, growing.k_hot, []
    if abs(factors[0] - cold) > SAME_FACTOR or abs(factors[-1] - hot) > SAME_FACTOR:
        faults.append(
            f"its sweeps are of factors {factors[0]:.6f} to {factors[-1]:.6f}, the job's are {cold:.6f} to {hot:.6f}"
        )
    if row.hot != (row.growth_factor - cold > hot - row.growth_factor):
        faults.append("its worst is not at the temperature it says")
    least = growing.sigma_mm(np.array(row.on_part_mm), row.growth_factor)
    if row.budget_mm.growth < least - SAME_MM:
        faults.append(
            f"its budget has {row.budget_mm.growth:g} mm for the growth, at the witness point it is {least:g} mm"
        )
    return faults
