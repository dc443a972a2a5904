"""A pose from seating datums of the part on datums of the bay (3-2-1, ISO 5459)."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
from scipy.stats import chi2

from clearance.errors import InputError
from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.job.datum import Datum, DatumPair
from clearance.registration.datum_fit import fit_datum
from clearance.registration.datum_part import part_datums
from clearance.registration.datum_rows import Seat, SeatFit, linearised, start_pose
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh

STEPS = 50
STILL = 1e-7
"""Largest step, rad and mm, at which the iteration rests."""

FREE = 1e-6
"""Smallest over largest stiffness, turns counted at the part's radius, below which a motion is free.

Two studs 1 mm apart on a part of 500 mm radius would hold it better than that.
"""

AGREE = 0.999
"""Confidence of the chi-squared test that datums which over-constrain the part agree within their uncertainty."""


def from_datums(
    pairs: tuple[DatumPair, ...],
    datums: tuple[Datum, ...],
    part: Mesh,
    scan_points: Array,
    scanner_mm: tuple[float, float],
    job_file: Path,
) -> Registration:
    """Return the weighted least-squares pose that seats the part's datums on those of the bay.

    Each bay datum is fitted to the scan near it; the part's are taken from the model as stated. A face
    pair holds three freedoms (one shift, two turns; the faces look at each other), a hole or stud
    pair two (shifts across the bay's axis, of the part's centre in the plane of its face), an edge
    pair two (distance of both ends across the bay's edge, in the plane of the face). Gauss-Newton on
    the rigid motions, weighted by the covariance of the bay datums; the pose's covariance is
    (J^T C^-1 J)^-1 plus the scanner's accuracy as a shift, about the centroid of the bay datums.
    Where the pairs hold more than six freedoms, they must agree by a chi-squared test at `AGREE`, or
    `converged` is False and a note names the pair at fault.

    Parameters
    ----------
    part : Mesh
        Part frame, mm.
    scan_points : (n, 3) float64, mm, bay frame
    scanner_mm : (accuracy, noise)
        1 sigma of the scanner and of its points.

    Raises
    ------
    InputError
        If a datum is not found in the scan or not on the part, or the pairs leave a motion free.
    """
    accuracy, noise = scanner_mm
    by_name = {datum.name: datum for datum in datums}
    on_part = part_datums([by_name[pair.part] for pair in pairs], part, job_file)
    in_bay = [fit_datum(by_name[pair.bay], scan_points, noise, job_file) for pair in pairs]
    seats = [Seat(p, b) for p, b in zip(on_part, in_bay, strict=True)]
    centre = np.mean([bay.place for bay in in_bay], axis=0)
    radius = float(np.linalg.norm(part.vertices - part.vertices.mean(axis=0), axis=1).max())
    pose = start_pose(seats)
    _refuse_free(pose, seats, centre, radius, job_file)
    pose, total = _settled(pose, seats, centre)
    fit = linearised(pose, seats, centre)
    covariance = np.linalg.inv(fit.rows.T @ np.linalg.solve(fit.covariance, fit.rows))
    covariance[3:, 3:] += np.eye(3) * accuracy**2
    limit = _limit(len(fit.residuals) - 6)
    agree = np.isfinite(total) and total <= limit
    doubts = _alike(seats, centre, radius) if agree else [_which_is_off(seats, centre, radius, fit)]
    apart = fit.apart_mm(seats)
    return Registration(
        method="datums",
        T_bay_part=pose,
        converged=bool(agree),
        residual_rms_mm=float(np.sqrt(np.mean(np.square(apart)))),
        residuals=tuple((seat.name, mm) for seat, mm in zip(seats, apart, strict=True)),
        covariance=covariance,
        centre=centre,
        notes=(*(bay.note for bay in in_bay), *doubts),
    )


def _settled(pose: Pose, seats: list[Seat], centre: Array) -> tuple[Pose, float]:
    """Take Gauss-Newton steps; return the pose and r^T C^-1 r, the weighted sum of squares, infinite if not at rest."""
    for _ in range(STEPS):
        fit = linearised(pose, seats, centre)
        weighted = np.linalg.solve(fit.covariance, np.column_stack([fit.rows, fit.residuals]))
        step = -np.linalg.lstsq(fit.rows.T @ weighted[:, :6], fit.rows.T @ weighted[:, 6], rcond=None)[0]
        angle = float(np.linalg.norm(step[:3]))
        turn = rotation_about(step[:3], angle) if angle > 1e-11 else np.eye(3)
        pose = rigid("bay", "bay", turn, centre + step[3:] - turn @ centre) @ pose
        if np.abs(step).max() < STILL:
            fit = linearised(pose, seats, centre)
            return pose, float(fit.residuals @ np.linalg.solve(fit.covariance, fit.residuals))
    return pose, float("inf")


def _limit(spare: int) -> float:
    return float(chi2.ppf(AGREE, spare)) if spare > 0 else np.inf


def _refuse_free(pose: Pose, seats: list[Seat], centre: Array, radius: float, job_file: Path) -> None:
    """Raise InputError that says in words how the part can still move and which datum would hold it."""
    free = _free_motions(pose, seats, centre, radius)
    if not len(free):
        return
    turns, slides = _turns_and_slides(free, radius)
    words = [f"turn about {_triple(axis, 2)} through {_triple(through, 0)}" for axis, through in _lines(turns, centre)]
    words += [f"slide along {_triple(slide, 2)}" for slide in slides]
    if len(slides) > 1:
        wanted = "add a hole or stud, and a second one or an edge if none is there"
    elif len(slides):
        wanted = "add a hole or stud, or an edge or a face across that way"
    else:
        wanted = "add a second hole or stud away from that line, or an edge"
    raise InputError(job_file, f"the part is still free to {' and to '.join(words)}", wanted, "register.set")


def _free_motions(pose: Pose, seats: list[Seat], centre: Array, radius: float) -> Array:
    """Return the free motions (k, 6), turns at `radius` and shifts, both mm."""
    fit = linearised(pose, seats, centre)
    rows = fit.rows * np.array([1 / radius] * 3 + [1.0] * 3) * np.where(fit.is_turn, radius, 1.0)[:, None]
    stiffness, motions = np.linalg.eigh(rows.T @ rows)
    free: Array = motions.T[stiffness < FREE * stiffness[-1]]
    return free


def _turns_and_slides(free: Array, radius: float) -> tuple[Array, Array]:
    """Part the free motions (k, 6) into turns with their shift, and pure slides (m, 3), unit."""
    left, size, _ = np.linalg.svd(free[:, :3], full_matrices=True)
    size = np.concatenate([size, np.zeros(len(free) - len(size))])
    sorted_ = left.T @ free
    turns, slides = sorted_[size > 1e-4], sorted_[size <= 1e-4][:, 3:]
    turns = turns / np.array([radius] * 3 + [1.0] * 3)
    if len(slides):
        slides = np.linalg.svd(slides)[2][: len(slides)]
    return turns, slides * np.copysign(1.0, slides.sum(axis=1, keepdims=True) + 1e-9)


def _lines(turns: Array, centre: Array) -> list[tuple[Array, Array]]:
    """Return unit direction and a point of the line about which each motion (6,) turns."""
    lines = []
    for turn in turns:
        rate, slide = turn[:3], turn[3:]
        axis = rate / np.linalg.norm(rate) * np.copysign(1.0, rate.sum() + 1e-12)
        lines.append((axis, centre + np.cross(rate, slide) / (rate @ rate)))
    return lines


def _triple(values: Array, digits: int) -> str:
    return "[" + ", ".join(f"{x:.{digits}f}" for x in np.round(values, digits) + 0.0) + "]"


def _alike(seats: list[Seat], centre: Array, radius: float) -> list[str]:
    """Name holes or studs that could be swapped, the part turned, and agree as well."""
    return [
        f"'{first.bay.name}' and '{second.bay.name}' would fit as well if swapped, the part turned half round: "
        "that they are named rightly was not checked; an edge added to register.set would tell"
        for first, second in combinations([seat for seat in seats if seat.part.is_axis], 2)
        if _agree(_swapped(seats, first, second), centre, radius)
    ]


def _which_is_off(seats: list[Seat], centre: Array, radius: float, fit: SeatFit) -> str:
    """Name two datums that look swapped, or those without which the others agree."""
    for first, second in combinations(seats, 2):
        alike = first.part.kind == second.part.kind or (first.part.is_axis and second.part.is_axis)
        if alike and _agree(_swapped(seats, first, second), centre, radius):
            return f"'{first.bay.name}' and '{second.bay.name}' look swapped: swap them in register.set"
    apart = fit.apart_mm(seats)
    doubtful = [n for n, seat in enumerate(seats) if _agree([s for s in seats if s is not seat], centre, radius)]
    if doubtful:
        named = " or ".join(f"{seats[n].name} ({apart[n]:.2f} mm apart)" for n in doubtful)
        return f"{named} does not agree with the other datums within its uncertainty: check its place and size"
    worst = int(np.argmax(apart))
    return (
        f"the datums do not agree within their uncertainty: {seats[worst].name} is {apart[worst]:.2f} mm apart; "
        "check the places and sizes of all"
    )


def _agree(seats: list[Seat], centre: Array, radius: float) -> bool:
    """Tell whether the pairs hold the part and agree within their uncertainty."""
    if all(seat.part.kind != "face" for seat in seats):
        return False
    start = start_pose(seats)
    if len(_free_motions(start, seats, centre, radius)):
        return False
    total = _settled(start, seats, centre)[1]
    return bool(np.isfinite(total) and total <= _limit(len(linearised(start, seats, centre).residuals) - 6))


def _swapped(seats: list[Seat], first: Seat, second: Seat) -> list[Seat]:
    swap = {id(first): second.bay, id(second): first.bay}
    return [Seat(seat.part, swap.get(id(seat), seat.bay)) for seat in seats]
