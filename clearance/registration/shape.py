"""Register by shape: find the part, or the engine, in a region of the scan, and tell if that is in doubt."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from clearance.frames import Array, Pose, rigid
from clearance.job.where import Region
from clearance.registration.fine import refined
from clearance.registration.model import Model
from clearance.registration.result import Registration
from clearance.registration.shape_hypotheses import hypotheses, places_of
from clearance.registration.shape_region import bulging, look_at
from clearance.registration.shape_score import Judge, Scored
from clearance.registration.symmetry import self_symmetries

VOXELS = 100
"""Voxels along the model's diagonal."""

TRIED = 24
"""First poses, far from each other, that are settled and scored."""

APART_DEGREES, APART_SHARE = 8.0, 0.03
"""First poses nearer than this, turn and shift as a share of the diagonal, are one."""

CLEAR = 0.75
"""Runner-up's score over the best one's, above which it is not told which is right."""

LEAST_SCORE = 0.1
"""Share of the model that must be met."""

MOST_CONTRADICTED = 0.03
"""Share of the model that may lie where the scanner saw past it."""

LEAST_VOTES = 3
"""First poses that must have led to the best one."""

SEED = 20_242


def from_shape(
    region: Region,
    model: Model,
    scan_points: Array,
    noise_mm: float,
    accuracy_mm: float,
    job_file: Path,
    stations: Array | None = None,
) -> Registration:
    """Return the pose of `model` in the scan, found without a first guess and settled.

    Pairs of places with like features give many first poses; those that the scan bears out best are settled
    and scored by the share of the model with a scan point on it and alike normals. Not converged if
    another pose scores nearly as well, too little of the model is met, the scanner saw past too much
    of it, too few first poses led there, or the last fit finds a fault.

    Parameters
    ----------
    scan_points : (n, 3) float64, mm, bay frame
    noise_mm, accuracy_mm : float
        1 sigma of the scan's points and of the scanner.
    stations : (k, 3) float64, optional
        Where the scanner stood, bay frame, mm: tells outside from inside, and what was seen to be empty.

    Raises
    ------
    InputError
        If the region is far larger than the model or holds too few points.
    """
    voxel = max(model.diagonal_mm / VOXELS, 4 * noise_mm)
    looked = look_at(region, scan_points, stations, model.diagonal_mm, voxel, job_file)
    signed = model.signed and looked.signed
    if not signed and looked.signed:
        looked = replace(looked, normals=bulging(looked.points, looked.normals, voxel))
    normals = model.normals if signed else bulging(model.points, model.normals, voxel)
    places, scan = places_of(model.points, normals, voxel), places_of(looked.points, looked.normals, voxel)
    judge = Judge(model.points, normals, places, scan, looked, signed, voxel)
    turns, shifts, _ = hypotheses(places, scan, voxel, signed, SEED)
    found = [
        replace(judge.scored(judge.settled(rigid("bay", "part", turns[i], shifts[i]))), votes=votes)
        for i, votes in _far_apart(turns, shifts, judge.middle, model.diagonal_mm)
    ]
    ranked = judge.gathered(found)
    if not ranked:
        return _registration(_nowhere(judge, region), None, ["nothing in the region resembles the model"], voxel, model)
    others = [judge.scored(judge.settled(ranked[0].pose @ turn)) for turn in self_symmetries(places, voxel)]
    ranked = judge.gathered([*ranked, *(replace(other, votes=0) for other in others)])
    start = _registration(ranked[0], ranked[1] if len(ranked) > 1 else None, _doubts(ranked), voxel, model)
    return refined(start, model.surface, scan_points, accuracy_mm)


def _nowhere(judge: Judge, region: Region) -> Scored:
    return judge.scored(rigid("bay", "part", np.eye(3), np.array(region.center) - judge.middle))


def _far_apart(turns: Array, shifts: Array, middle: Array, diagonal: float) -> list[tuple[int, int]]:
    """Return the best `TRIED` first poses that are far from each other, with how many lie about each."""
    picked: list[tuple[int, int]] = []
    taken = np.zeros(len(turns), bool)
    centres = turns @ middle + shifts
    least = 1 + 2 * np.cos(np.radians(APART_DEGREES))
    for i in range(len(turns)):
        if taken[i]:
            continue
        near = np.einsum("kij,ij->k", turns, turns[i]) > least
        near &= np.linalg.norm(centres - centres[i], axis=1) < APART_SHARE * diagonal
        picked.append((i, int((near & ~taken).sum())))
        taken |= near
        if len(picked) >= TRIED:
            break
    return picked


def _doubts(ranked: list[Scored]) -> list[str]:
    """Return why the best pose is not proven, in words; empty if it is."""
    best, doubts = ranked[0], []
    if len(ranked) > 1 and ranked[1].score > CLEAR * best.score:
        share = 100 * ranked[1].score / max(best.score, 1e-9)
        doubts.append(
            f"ambiguous: the part fits at {_in_words(best.pose)} and {share:.0f} % as well at "
            f"{_in_words(ranked[1].pose)}; use landmarks, or scan a feature that tells the two apart"
        )
    if best.score < LEAST_SCORE:
        doubts.append(f"the scan bears out only {100 * best.score:.0f} % of the part at the best place found")
    if best.contradicted > MOST_CONTRADICTED:
        doubts.append(
            f"{100 * best.contradicted:.0f} % of the part would stand where the scanner saw past it: "
            "the part found is not there, or is another one"
        )
    if best.votes < LEAST_VOTES:
        doubts.append(f"only {best.votes} first poses led to the best one: it may be chance")
    return doubts


def _in_words(pose: Pose) -> str:
    """Name a pose by its origin and its turn."""
    at = ", ".join(f"{x:.0f}" for x in pose.translation)
    turn = pose.rotation
    axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    angle = float(np.degrees(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1))))
    if np.linalg.norm(axis) < 1e-6:
        values, vectors = np.linalg.eigh(turn + turn.T)
        axis = vectors[:, int(values.argmax())]
    about = ", ".join(f"{x:.2f}" for x in axis / np.linalg.norm(axis))
    return f"origin [{at}] turned {angle:.0f} degrees about [{about}]"


def _registration(best: Scored, other: Scored | None, doubts: list[str], voxel: float, model: Model) -> Registration:
    """Return the start for the last fit, sure to half a voxel at the model's rim."""
    middle = (model.points.min(axis=0) + model.points.max(axis=0)) / 2
    sigma = voxel / 2
    note = f"shape: {100 * best.score:.0f} % of what can be seen of the part is borne out by the scan"
    return Registration(
        method="shape",
        T_bay_part=best.pose,
        converged=not doubts,
        covariance=np.diag([(2 * sigma / model.diagonal_mm) ** 2] * 3 + [sigma**2] * 3),
        centre=best.pose.apply(middle),
        runner_up_ratio=None if other is None else other.score / max(best.score, 1e-9),
        runner_up=None if other is None else other.pose,
        notes=(note, *(f"shape: {doubt}" for doubt in reversed(doubts))),
    )
