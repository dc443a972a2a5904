"""Complete a half-seen straight round shaft: a robust cylinder through the scan points of a zone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from clearance.errors import InputError
from clearance.frames import Array, unit_vector
from clearance.scene.cylinder_sigma import axis_covariance, covariance_of, surface_variance, unround, worst_sigma
from clearance.scene.neighbours import Neighbours

Mask = NDArray[np.bool_]

LEAST_POINTS, LEAST_ARC = 60, 60.0
"""Points and degrees of the round that must be seen: below, radius and axis trade against each other within noise."""

LEAST_AGREEING = 0.5
"""Share of the zone's points that must lie on the cylinder; of two surfaces alike in size neither is the shaft."""

OUT_OF_SHAPE_MM = 0.35
"""Rms of the mean residuals of the surface's patches beyond which it is no straight round shaft (common practice)."""

LEAST_WIDTH_MM = 1.0
"""Least distance from a cylinder within which points are looked at while it is sought."""

TAPER_MM = 0.5
"""Change of the radius over the length, if it stands out of the fit's own doubt, beyond which it is no shaft."""

OVAL_SIGMAS = 4.0
"""Residuals that ask for an oval so surely are no chance."""

END_POINTS, END_MM, END_SPACINGS = 5, 5.0, 50.0
"""The shaft's end has so many more points of it within the larger of so many mm and mean steps along the axis."""

ARC_STEP = 5.0
TUKEY = 4.685
"""Tukey's constant: 95 % efficiency on Gaussian residuals."""

SEED, TRIES, LOOKED_AT, REFINED, FITTED_FIRST = 1, 1500, 1200, 10, 3000
PATCH_POINTS = (16, 48, 144)
STEPS = 30


@dataclass(frozen=True, eq=False, kw_only=True)
class CylinderFit:
    """A cylinder fitted to scan points, bay frame.

    Attributes
    ----------
    from_, to : (3,) float64
        Ends of the axis, mm: as far as the scan shows the shaft. It may go on beyond.
    radius_mm : float
    sigma_radius_mm : float
        1 sigma of the radius.
    sigma_axis_mm : (2,) float64
        1 sigma of the axis, across it, at `from_` and at `to`, in its least certain direction.
    sigma_surface_mm : float
        1 sigma of the surface where it is least certain: either end, seen side or not, usual roundness in it.
    rms_mm : float
        Of the points that agree, about the cylinder.
    arc_degrees : float
        How much of the round the scan shows.
    agreeing : float
        Share of the points that lie on the cylinder, 0 to 1.
    """

    from_: Array
    to: Array
    radius_mm: float
    sigma_radius_mm: float
    sigma_axis_mm: Array
    sigma_surface_mm: float
    rms_mm: float
    arc_degrees: float
    agreeing: float

    @property
    def length_mm(self) -> float:
        """How much of the shaft's length the scan shows, mm."""
        return float(np.linalg.norm(self.to - self.from_))


@dataclass(frozen=True, eq=False)
class _Cylinder:
    """Axis through `place` (3,) along the unit vector `axis` (3,), radius."""

    place: Array
    axis: Array
    radius: float

    def side(self) -> Array:
        """(2, 3) unit vectors across the axis."""
        u = unit_vector(np.cross(self.axis, np.eye(3)[int(np.argmin(np.abs(self.axis)))]))
        return np.stack([u, np.cross(self.axis, u)])

    def seen_from_axis(self, points: Array) -> tuple[Array, Array, Array]:
        """Return place along the axis (n,), distance from it (n,), outward unit vectors in `side` (n, 2)."""
        away = points - self.place
        flat = away @ self.side().T
        distance = np.maximum(np.linalg.norm(flat, axis=1), 1e-12)
        return away @ self.axis, distance, flat / distance[:, None]


def fit_cylinder(points: Array, noise_mm: float, job_file: Path, zone: str) -> tuple[CylinderFit, Mask]:
    """Fit a cylinder to scan points, some of which may show other things.

    Candidates from pairs of surface normals (their cross product is the axis), scored by how many
    points they explain; the best are refined by least squares, soft_l1 and then Tukey's biweight
    repeated to rest. The covariance is the largest of (a) that of noise of which the share that nearest
    neighbours have in common goes together over patches of pi (10 mm)^2, and (b) the scatter of the
    pulls of patches of the surface (`clearance.scene.cylinder_sigma`); widened.

    Parameters
    ----------
    points : (n, 3) float64, mm, bay frame, strays left out
    noise_mm : float
        1 sigma of the points about the surface.
    job_file, zone
        For messages.

    Returns
    -------
    fit : CylinderFit
    explained : (n,) bool
        Points that the cylinder holds: inside it or within 3 noise + 1 sigma of the fit there outside
        it, and between its ends. The rest show something else.

    Raises
    ------
    InputError
        If too few points lie there, too few agree, they show too little of the round, or they bend.
    """
    fault = _Fault(job_file, zone)
    fault.few(len(points))
    middle, width = points.mean(axis=0), max(4 * noise_mm, LEAST_WIDTH_MM)
    found = _best(points - middle, noise_mm, width, fault)
    weights, noise = _weights(points - middle, found, width, noise_mm)
    along, distance, outward = found.seen_from_axis(points - middle)
    residual = distance - found.radius
    near = np.abs(residual) <= 3 * noise
    fault.others(float(near.mean()), found.radius)
    fault.arc(_arc_seen(outward[near]))
    most = max(1.5 * noise_mm, OUT_OF_SHAPE_MM)
    fault.shape(max(noise, _out_of_shape(along[near], outward[near], residual[near])), most)
    ends = _ends(along[near])
    covariance = covariance_of(along, outward, residual, weights, found.radius)
    fault.taper(_taper(along, outward, residual, weights), 3 * worst_sigma(covariance, ends))
    unround_mm, oval_mm, sigmas = unround(along, outward, residual, weights, found.radius)
    sigma_surface = float(np.hypot(worst_sigma(covariance, ends), unround_mm))
    fault.oval(oval_mm, sigmas, 3 * sigma_surface)
    allowed = 3 * noise + np.sqrt(surface_variance(covariance, along, outward))
    explained = (residual <= allowed) & (along >= ends[0]) & (along <= ends[1])
    fit = CylinderFit(
        from_=middle + found.place + ends[0] * found.axis,
        to=middle + found.place + ends[1] * found.axis,
        radius_mm=found.radius,
        sigma_radius_mm=float(np.sqrt(covariance[4, 4])),
        sigma_axis_mm=np.sqrt([np.linalg.eigvalsh(axis_covariance(covariance, end))[-1] for end in ends]),
        sigma_surface_mm=sigma_surface,
        rms_mm=float(np.sqrt((residual[near] ** 2).mean())),
        arc_degrees=_arc_seen(outward[near]),
        agreeing=float(near.mean()),
    )
    return fit, explained


class _Fault:
    """Raises faults of one zone."""

    def __init__(self, job_file: Path, zone: str) -> None:
        self.job_file, self.key = job_file, f"zone '{zone}': fit"

    def tell(self, found: str, wanted: str) -> InputError:
        return InputError(self.job_file, found, wanted, self.key)

    def few(self, count: int) -> None:
        if count < LEAST_POINTS:
            raise self.tell(
                f"{count} scan point(s) to fit a cylinder to",
                f"{LEAST_POINTS} are needed: check the zone's place and size, or scan it closer",
            )

    def others(self, share: float, radius: float) -> None:
        if share < LEAST_AGREEING:
            raise self.tell(
                f"only {100 * share:.0f} % of the scan points lie on the best cylinder, {2 * radius:.1f} mm across",
                f"{100 * LEAST_AGREEING:.0f} % are needed: draw the zone closer about the shaft, or leave fit out",
            )

    def arc(self, degrees: float) -> None:
        if degrees < LEAST_ARC:
            raise self.tell(
                f"the scan shows {degrees:.0f} degrees of the round",
                f"{LEAST_ARC:.0f} are needed: scan it from more sides, or give the shaft as a solid cylinder",
            )

    def shape(self, out_of_shape: float, most: float) -> None:
        if out_of_shape > most:
            raise self.tell(
                f"the surface departs from a straight round shaft by {out_of_shape:.2f} mm rms",
                f"at most {most:.2f} mm is: draw the zone about a straight stretch of one diameter, or leave fit out",
            )

    def taper(self, by: float, least: float) -> None:
        if abs(by) > max(least, TAPER_MM):
            raise self.tell(
                f"its radius changes by {abs(by):.1f} mm along its length",
                "draw the zone about a stretch of one diameter, or leave fit out",
            )

    def oval(self, error: float, sigmas: float, most: float) -> None:
        if sigmas > OVAL_SIGMAS and error > most:
            raise self.tell(
                f"it is not round: the seen side is that of an oval, and the unseen side may stand {error:.1f} mm off",
                f"at most {most:.1f} mm is allowed for: scan more sides and leave fit out, or give it as a mesh",
            )


def _best(points: Array, noise_mm: float, width: float, fault: _Fault) -> _Cylinder:
    """Return the cylinder that most points lie on."""
    spread = float(np.linalg.norm(np.ptp(points, axis=0)))
    rng = np.random.default_rng(SEED)
    at = rng.choice(len(points), min(LOOKED_AT, len(points)), replace=False)
    place, normal = points[at], _normals(points, at, noise_mm)
    thin = points[rng.choice(len(points), min(FITTED_FIRST, len(points)), replace=False)]
    tight = max(3 * noise_mm, LEAST_WIDTH_MM / 2)
    fitted = [_roughly(thin, c, width) for c in _candidates(place, normal, width, rng)]
    fitted = [c for c in fitted if c.radius < spread]
    if not fitted:
        raise fault.tell("the scan points show no round surface", "check the zone's place, or leave fit out")
    return _settled(points, max(fitted, key=lambda c: _score(c, place, normal, tight)), width, noise_mm)


def _candidates(place: Array, normal: Array, width: float, rng: np.random.Generator) -> list[_Cylinder]:
    """Return the cylinders through pairs of (m, 3) points with normals that explain the most of them, best first."""
    first, second = rng.integers(0, len(place), (2, TRIES))
    axis = np.cross(normal[first], normal[second])
    sine = np.linalg.norm(axis, axis=1)
    ok = sine > np.sin(np.radians(15.0))
    first, second, axis = first[ok], second[ok], axis[ok] / sine[ok, None]
    apart = place[first] - place[second]
    apart = apart - np.einsum("ij,ij->i", apart, axis)[:, None] * axis
    # The normals' signs are unknown: p1 - r n1 = p2 - r n2 with n2 as it is or turned.
    made: list[_Cylinder] = []
    for sign in (1.0, -1.0):
        between = normal[first] - sign * normal[second]
        square = np.einsum("ij,ij->i", between, between)
        radius = np.einsum("ij,ij->i", apart, between) / np.maximum(square, 1e-12)
        miss = np.linalg.norm(apart - radius[:, None] * between, axis=1)
        for k in np.flatnonzero((square > 0.05) & (np.abs(radius) > width) & (miss < 2 * width)):
            centre = place[first[k]] - radius[k] * normal[first[k]]
            made.append(_Cylinder(centre, axis[k], float(abs(radius[k]))))
    scored = [(_score(c, place, normal, width), c) for c in made]
    scored.sort(key=lambda pair: -pair[0])
    return [c for _, c in scored[:REFINED]]


def _score(cylinder: _Cylinder, points: Array, normals: Array, width: float) -> float:
    """Sum over points of 1 - (residual / width)^2 where their normals agree (MSAC: Torr and Zisserman 2000)."""
    away = points - cylinder.place
    flat = away - (away @ cylinder.axis)[:, None] * cylinder.axis
    distance = np.linalg.norm(flat, axis=1)
    level = np.abs(np.einsum("ij,ij->i", flat, normals)) > 0.9 * distance
    off = ((distance - cylinder.radius) / width) ** 2
    return float(np.maximum(1 - off, 0)[level].sum())


def _normals(points: Array, at: NDArray[np.int64], noise_mm: float) -> Array:
    """Return unit normals (m, 3), of either sign, of the planes through patches eight noises wide or more."""
    tree = Neighbours(points)
    for k in PATCH_POINTS:
        distance, index = tree.nearest(points[at], min(k, len(points)))
        if float(np.median(distance[:, -1])) >= 8 * noise_mm:
            break
    patch = points[index] - points[index].mean(axis=1, keepdims=True)
    _, axes = np.linalg.eigh(np.einsum("mki,mkj->mij", patch, patch))
    return np.asarray(axes[:, :, 0], np.float64)


def _roughly(points: Array, cylinder: _Cylinder, width: float) -> _Cylinder:
    """Return the cylinder after two soft_l1 fits to the points about it."""
    for reach in (2 * width, width):
        _, distance, outward = cylinder.seen_from_axis(points)
        near = points[(np.abs(distance - cylinder.radius) <= reach) & _seen(outward)]
        if len(near) < LEAST_POINTS // 2:
            break
        cylinder = _least(near, cylinder, np.ones(len(near)), "soft_l1", width / 4)
    return cylinder


def _settled(points: Array, cylinder: _Cylinder, width: float, noise_mm: float) -> _Cylinder:
    """Return the cylinder after Tukey steps, repeated to rest."""
    for _ in range(STEPS):
        weights, _ = _weights(points, cylinder, width, noise_mm)
        used = weights > 0
        if used.sum() < LEAST_POINTS // 2:
            break
        last = cylinder
        cylinder = _least(points[used], cylinder, np.sqrt(weights[used]), "linear", 1.0)
        moved = np.linalg.norm(np.cross(last.place - cylinder.place, cylinder.axis)) + abs(
            last.radius - cylinder.radius
        )
        if moved < 1e-5:
            break
    return cylinder


def _weights(points: Array, cylinder: _Cylinder, width: float, noise_mm: float) -> tuple[Array, float]:
    """Return Tukey weights (n,), nil where the round is hardly seen, and the robust sigma they rest on."""
    _, distance, outward = cylinder.seen_from_axis(points)
    off = distance - cylinder.radius
    near = np.abs(off) <= width
    if not near.any():
        return np.zeros(len(points)), noise_mm
    seen = np.zeros(len(points), dtype=bool)
    seen[near] = _seen(outward[near])
    sigma = max(noise_mm, 1.4826 * float(np.median(np.abs(off[seen]))), 1e-6)
    return np.where(seen, np.maximum(1 - (off / (TUKEY * sigma)) ** 2, 0) ** 2, 0.0), sigma


def _least(
    points: Array, start: _Cylinder, root_weights: Array, loss: Literal["linear", "soft_l1"], scale: float
) -> _Cylinder:
    """Return the cylinder of least squared distances from `start` on."""
    side, along = start.side(), (points - start.place) @ start.axis
    middle = start.place + start.axis * float(along.mean())
    arm = max(float(np.ptp(along)) / 2, 1e-3)

    def cylinder(x: Array) -> _Cylinder:
        return _Cylinder(middle + x[:2] @ side, unit_vector(start.axis + x[2:4] @ side / arm), float(x[4]))

    def off(x: Array) -> Array:
        c = cylinder(x)
        distance = np.linalg.norm(np.cross(points - c.place, c.axis), axis=1)
        return np.asarray(root_weights * (distance - c.radius), np.float64)

    begin = np.array([0.0, 0, 0, 0, start.radius])
    return cylinder(least_squares(off, begin, loss=loss, f_scale=scale, max_nfev=30).x)


def _steps(outward: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for directions (n, 2) how many lie in each occupied step of the round, and the step (n,) of each."""
    step = np.floor(np.degrees(np.arctan2(outward[:, 1], outward[:, 0])) / ARC_STEP)
    _, label, counts = np.unique(step, return_inverse=True, return_counts=True)
    return counts, np.ravel(label)


def _seen(outward: Array) -> Mask:
    """Tell which directions (n, 2) lie where the round is seen: in steps no sparser than a fifth of the fullest.

    A few points of other things on the far side would else decide the radius.
    """
    if not len(outward):
        return np.zeros(0, dtype=bool)
    counts, label = _steps(outward)
    return np.asarray((counts >= counts.max() / 5)[label])


def _arc_seen(outward: Array) -> float:
    """Return degrees of the round in which directions (n, 2) lie, in steps of `ARC_STEP`, sparse ones left out."""
    if not len(outward):
        return 0.0
    counts, _ = _steps(outward)
    return ARC_STEP * int((counts >= counts.max() / 5).sum())


def _out_of_shape(along: Array, outward: Array, residual: Array) -> float:
    """Return the rms over the points of the mean residual of each one's patch, a tenth of the length by 15 degrees."""
    tenth = max(float(np.ptp(along)) / 10, 1e-6)
    cells = np.stack([along / tenth, np.degrees(np.arctan2(outward[:, 1], outward[:, 0])) / 15.0], axis=1)
    _, label = np.unique(np.floor(cells), axis=0, return_inverse=True)
    label = np.ravel(label)
    counts = np.bincount(label)
    means = np.bincount(label, residual) / counts
    return float(np.sqrt((counts * means**2).sum() / counts.sum()))


def _taper(along: Array, outward: Array, residual: Array, weights: Array) -> float:
    """Return by how much the radius changes over the length, mm: a least squares step with a taper beside the rest."""
    rows = np.column_stack([outward, outward * along[:, None], np.ones(len(along)), along])
    root = np.sqrt(weights)[:, None]
    step = np.linalg.lstsq(rows * root, residual * root[:, 0], rcond=None)[0]
    return float(step[5] * np.ptp(along[weights > 0]))


def _ends(along: Array) -> Array:
    """Return (2,) the first and the last place along the axis that the next few points do not leave alone."""
    ordered = np.sort(along)
    reach = max(END_SPACINGS * float(np.ptp(ordered)) / len(ordered), END_MM)
    last = len(ordered) - END_POINTS
    first_ok = np.flatnonzero(ordered[END_POINTS:] - ordered[:last] <= reach)
    if not len(first_ok):
        return ordered[[0, -1]]
    return np.array([ordered[first_ok[0]], ordered[first_ok[-1] + END_POINTS]])
