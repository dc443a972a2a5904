"""Growth with heat, the other way round: the part keeps its size and the bay shrinks about the anchor.

A part grown by k about a is as far from a point x as k times the distance of a + g (x - a), g = 1 / k,
from the part as modelled. So g is one more coordinate of the motion, lengths are seen smaller by g, and
one proof over a range of g holds for every temperature. While g changes by h, what is seen of x moves by
h |x - a| and a claim by h times itself. From the materials table on, all of it is worked out here.
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
from clearance.verify.paths import Motion

SAME_FACTOR = 1e-12
SAME_MM = 1e-6
GROWTH = "growth"


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
        return (np.array(datum.edge.from_) + np.array(datum.edge.to)) / 2.0
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


@dataclass(frozen=True, eq=False)
class Grown:
    """A motion as the part as modelled sees it, 1 / k its last coordinate. `anchor` counts from the path's origin."""

    path: Motion
    anchor: Array
    k_cold: float
    k_hot: float

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the angles and of the growth."""
        return (*self.path.names, GROWTH)

    @property
    def angle_low(self) -> Array:
        """(a + 1,) with the hottest last: there the bay is seen smallest."""
        return np.append(self.path.angle_low, 1 / self.k_hot)

    @property
    def angle_high(self) -> Array:
        """(a + 1,) with the coldest last."""
        return np.append(self.path.angle_high, 1 / self.k_cold)

    @property
    def slide_low(self) -> Array:
        """(k,) mm."""
        return self.path.slide_low

    @property
    def slide_high(self) -> Array:
        """(k,) mm."""
        return self.path.slide_high

    def scale(self, angles: Array) -> Array:
        """1 / k."""
        return angles[:, -1]

    def seen(self, points: Array, angles: Array, slides: Array) -> Array:
        """Place (m, c, 3) zone points."""
        away = self.path.seen(points, angles[:, :-1], slides) - self.anchor
        shrunk: Array = self.anchor + angles[:, -1, None, None] * away
        return shrunk

    def edges(self, angles: Array) -> Array:
        """Directions (m, k, 3) of the slides, shrunk."""
        return self.path.edges(angles[:, :-1]) * angles[:, -1, None, None]

    def falls(self, points: Array, angles: Array, half_angles: Array, slides: Array, half_slides: Array) -> Array:
        """Farthest (m, a + 1), mm: first the growth brings all to its middle, then the angles, shrunk by that."""
        turned = self.path.falls(points, angles[:, :-1], half_angles[:, :-1], slides, half_slides)
        away = np.linalg.norm(self.path.seen(points, angles[:, :-1], slides) - self.anchor, axis=2).max(axis=1)
        away = away + half_slides.sum(axis=1) + turned.sum(axis=1)
        return np.column_stack([turned * angles[:, -1:], half_angles[:, -1] * away])
