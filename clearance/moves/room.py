"""Where could it go: the whole of `clearance room`, from a job and a range of moves to what can be said of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from clearance.errors import InputError, StoppedError
from clearance.frames import Array
from clearance.job.moves import Move, MoveTurn
from clearance.layout.layout import Standing, settle, stand
from clearance.layout.placement import Placement, Progress, place
from clearance.moves.answers import FreeBox, Smallest, largest_box, smallest_move
from clearance.moves.cells import Cells, Decider, Study
from clearance.moves.displaced import at_rest, centre_of, moved_by
from clearance.moves.room_job import demanded
from clearance.moves.search import Ruling
from clearance.moves.solve import BOXES, How, kept_words, solve
from clearance.moves.space import MoveSpace
from clearance.moves.what_if import judge_moved
from clearance.pipeline import judge
from clearance.verdict.result import CheckResult


@dataclass(frozen=True, eq=False, kw_only=True)
class Range:
    """What is asked for.

    Attributes
    ----------
    of : Move
        What is moved, and the zones that go along; its shift and turn do not matter.
    low, high : (6,) float64
        mm and degrees of the rotation vector.
    step_mm, step_deg : resolution
    mm_per_deg : weight of turns
    most : int
        Distances asked at most; what is left then is undecided.
    """

    of: Move
    low: Array
    high: Array
    step_mm: float
    step_deg: float
    mm_per_deg: float
    most: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Room:
    """What was found.

    Attributes
    ----------
    today : Ruling of no move; None where it is not in the range
    smallest : of the free moves
    box : the largest box of free moves about today, if today is free
    checked : the job judged after the smallest move, by the whole chain; None without one
    box_checked : the same at the middle of the box
    taken, evaluations : boxes taken from what was kept; distances asked
    """

    job: Path
    title: str
    asked: Range
    study: Study
    cells: Cells
    today: Ruling | None
    smallest: Smallest
    box: FreeBox | None
    checked: CheckResult | None
    box_checked: CheckResult | None
    taken: int

    @property
    def given_up(self) -> float:
        """Share of the range that was left in cells coarser than the resolution, when `most` distances were asked."""
        coarse = (self.cells.high - self.cells.low).max(axis=1, initial=0) > 1
        left = coarse & (self.cells.ruling == Ruling.UNDECIDED)
        return float(self.cells.poses[left].sum() / self.study.space.poses)

    def share(self, ruling: Ruling) -> float:
        """Return the share of the range that has a ruling, 0 to 1."""
        return float(self.cells.poses[self.cells.ruling == ruling].sum() / self.study.space.poses)


def room(job_file: Path, asked: Range, how: How, progress: Progress = lambda step: None) -> Room:
    """Decide which moves of a range keep every gap of a job. Raises InputError for any fault."""
    placed = place(job_file, progress)
    progress("laying out the zones")
    found = stand(placed)
    space = _space(asked, placed, found, job_file)
    demands = demanded(placed, found, asked.of, space)
    study = Study(space=space, demands=demands, most=max(1, asked.most // BOXES))
    progress(f"deciding {space.poses} cells of moves")
    cells, taken = solve(study, how, lambda done, of: progress(f"box {done} of {of}"))
    try:
        return _answered(placed, found, asked, study, cells, taken, progress)
    except KeyboardInterrupt as stop:
        if how.keep is None:
            raise
        raise StoppedError(kept_words(how.keep, "all")) from stop


def _answered(
    placed: Placement, found: Standing, asked: Range, study: Study, cells: Cells, taken: int, progress: Progress
) -> Room:
    """Find the smallest move and the largest box, and judge by the whole chain what is reported of them."""
    progress("looking for the smallest move")
    decider = Decider(study)
    today = _today(decider)
    smallest = smallest_move(cells, decider)
    if smallest.move is not None:
        smallest = _rounded(smallest, decider)
    box = largest_box(cells, study.space) if today is Ruling.FREE else None

    def judged(move: Array, of: str) -> CheckResult:
        def named(step: str) -> None:
            progress(f"checking {of}: {step}")

        if not move.any():
            return judge(placed, settle(placed, found), named)
        return judge_moved(placed, found, moved_by([as_move(asked.of, move, study.space)], placed, found)[0], named)

    return Room(
        job=placed.job.file,
        title=placed.job.title,
        asked=asked,
        study=study,
        cells=cells,
        today=today,
        smallest=smallest,
        box=box,
        checked=judged(smallest.move, "the smallest move") if smallest.move is not None else None,
        box_checked=judged((box.low + box.high) / 2, "the middle of the box") if box is not None else None,
        taken=taken,
    )


def as_move(of: Move, move: Array, space: MoveSpace) -> Move:
    """Return a move (6,), mm and rad, as a [[move]] of what `of` names."""
    angle = float(np.degrees(np.linalg.norm(move[3:])))
    shift = (float(move[0]), float(move[1]), float(move[2]))
    if angle == 0.0:
        return of.model_copy(update={"shift": shift, "turn": None, "about": None})
    x, y, z = (float(v) for v in move[3:] / np.linalg.norm(move[3:]))
    about = (float(space.about[0]), float(space.about[1]), float(space.about[2]))
    return of.model_copy(update={"shift": shift, "turn": MoveTurn(axis=(x, y, z), degrees=angle), "about": about})


def _space(asked: Range, placed: Placement, standing: Standing, job_file: Path) -> MoveSpace:
    if (asked.low > asked.high).any():
        raise InputError(job_file, "a range is reversed", "write LOW HIGH", "the range of moves")
    if (asked.low == asked.high).all():
        raise InputError(job_file, "no range of moves", "give at least one, such as --z -5 10", "the range of moves")
    if np.abs([asked.low[3:], asked.high[3:]]).max() > 90:
        raise InputError(job_file, "a turn beyond 90 degrees", "write degrees from -90 to 90", "the range of moves")
    if asked.of.about is not None:
        about = np.array(asked.of.about)
    else:
        about = centre_of(asked.of, at_rest(placed.job, standing), placed, standing)
    scale = np.array([1.0, 1, 1, *np.radians([1.0, 1, 1])])
    return MoveSpace(
        low=asked.low * scale,
        high=asked.high * scale,
        step_mm=asked.step_mm,
        step_rad=float(np.radians(asked.step_deg)),
        about=about,
        mm_per_rad=float(np.degrees(asked.mm_per_deg)),
    )


def _today(decider: Decider) -> Ruling | None:
    space, still = decider.space, np.zeros(6)
    if (space.low > 0).any() or (space.high < 0).any():
        return None
    return decider.rule(still, still, decider.everything())[0]


def _rounded(found: Smallest, decider: Decider) -> Smallest:
    """Return the move in few digits, away from no move, where it is proven to keep every gap so, too."""
    space, move = decider.space, found.move
    assert move is not None
    told = move * np.array([1.0, 1, 1, *np.degrees([1.0, 1, 1])])
    for digits in (2, 3, 4):
        scale = 10.0 ** (digits + np.array([0, 0, 0, 1, 1, 1]))
        short = np.copysign(np.ceil(np.abs(told) * scale - 1e-6) / scale, told)
        short[3:] = np.radians(short[3:])
        if ((short >= space.low) & (short <= space.high)).all() and decider.keeps(short):
            return replace(found, move=short + 0.0, size_mm=float(space.size_mm(short)))
    return found
