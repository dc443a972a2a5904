"""What if: a job as it stands and after each of some moves, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from clearance.frames import Array
from clearance.job.moves import Move
from clearance.layout.layout import Standing, settle, stand
from clearance.layout.placement import Placement, Progress, place
from clearance.moves.displaced import Displaced, moved_by
from clearance.moves.moved_layout import moved_layout, stand_for
from clearance.pipeline import judge
from clearance.verdict.result import CheckResult, Verdict, ZoneResult


@dataclass(frozen=True, eq=False, kw_only=True)
class Case:
    """One what-if.

    Attributes
    ----------
    name : str
    moves : the moves, made one after the other
    centres : of each move's turn, (3,) bay, mm; None for a move without one
    where : Displaced
    after : CheckResult
        In the bay's frame, everything at its moved neutral place. Its job holds the moved motions, but is no
        job file of its own: the scan was taken before the move.
    """

    name: str
    moves: tuple[Move, ...]
    centres: tuple[Array | None, ...]
    where: Displaced
    after: CheckResult


@dataclass(frozen=True, eq=False, kw_only=True)
class WhatIf:
    """A job before and after moves."""

    before: CheckResult
    cases: tuple[Case, ...]


def what_if(job_file: Path, moves: Sequence[Move], progress: Progress = lambda step: None) -> WhatIf:
    """Judge a job as it stands and after each case of moves.

    Moves that share a name are one case, made one after the other; every other move is a case of its own,
    each from the job as it stands. Raises InputError for any fault of the job, its files or the moves.
    """
    placed = place(job_file, progress)
    progress("laying out the zones")
    standing = stand(placed)
    found = [(name, own, *moved_by(own, placed, standing)) for name, own in cases_of(moves)]
    before = judge(placed, settle(placed, standing), _named(progress, "before"))
    cases = []
    for name, own, where, centres in found:
        after = judge_moved(placed, standing, where, _named(progress, name))
        cases.append(Case(name=name, moves=own, centres=centres, where=where, after=after))
    return WhatIf(before=before, cases=tuple(cases))


def _named(progress: Progress, name: str) -> Progress:
    return lambda step: progress(f"{name}: {step}")


def judge_moved(
    placed: Placement, standing: Standing, where: Displaced, progress: Progress = lambda step: None
) -> CheckResult:
    """Return what the zones come to after a move. `standing` is that of the job as it stands."""
    after, layout = moved_layout(placed, stand_for(placed, standing, where), where)
    return judge(after, layout, progress)


def cases_of(moves: Sequence[Move]) -> list[tuple[str, tuple[Move, ...]]]:
    """Return the cases of some moves, in their order: those that share a name together."""
    cases: dict[str, list[Move]] = {}
    for number, move in enumerate(moves, 1):
        cases.setdefault(move.name or f"move {number}", []).append(move)
    return [(name, tuple(own)) for name, own in cases.items()]


@dataclass(frozen=True, eq=False)
class Change:
    """One zone before and after; None where the zone is there only on one side."""

    name: str
    before: ZoneResult | None
    after: ZoneResult | None

    @property
    def newly_short(self) -> bool:
        """Whether it fails now and did not before."""
        return self._is(self.after, Verdict.FAIL) and not self._is(self.before, Verdict.FAIL)

    @property
    def newly_interferes(self) -> bool:
        """Whether part and zone touch now, proven or not ruled out, and surely did not before."""
        return _may_touch(self.after) and not _may_touch(self.before)

    @property
    def freed(self) -> bool:
        """Whether it passes now and did not before."""
        return self._is(self.after, Verdict.PASS) and not self._is(self.before, Verdict.PASS)

    @property
    def lost(self) -> bool:
        """Whether it passed before and does not now."""
        return self._is(self.before, Verdict.PASS) and not self._is(self.after, Verdict.PASS)

    @staticmethod
    def _is(result: ZoneResult | None, verdict: Verdict) -> bool:
        return result is not None and result.verdict is verdict


def _may_touch(result: ZoneResult | None) -> bool:
    return result is not None and result.sweep.clearance.lower <= 0


def changes(before: CheckResult, after: CheckResult) -> tuple[Change, ...]:
    """Pair the zones of two results by name, those of `before` first."""
    old = {zone.zone.name: zone for zone in before.zones}
    new = {zone.zone.name: zone for zone in after.zones}
    return tuple(Change(name, old.get(name), new.get(name)) for name in {**old, **new})
