"""A whole study: every box decided once, on whatever does the work, and kept as soon as it is finished."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from clearance.errors import StoppedError
from clearance.moves.cells import Cells, Decider, Study, joined
from clearance.moves.store import Store, study_key
from clearance.moves.workers import Numbered, cores, decide_here, decide_on_cluster, decide_on_cores
from clearance.provenance import versions

BOXES = 64
"""About how many boxes are open when the work is handed out: an interrupt loses at most the boxes at work."""


@dataclass(frozen=True, kw_only=True)
class How:
    """How a study is worked out.

    Attributes
    ----------
    keep : Path or None
        File in which finished boxes are kept.
    resume : bool
        Take from it what is finished; else the study starts anew.
    cluster : str or None
        Address of a Dask scheduler.
    workers : int or None
        Processes on this machine; None: all cores; 1: this process.
    """

    keep: Path | None = None
    resume: bool = False
    cluster: str | None = None
    workers: int | None = None


def solve(study: Study, how: How, told: Callable[[int, int], None] = lambda done, of: None) -> tuple[Cells, int]:
    """Return the cells of the whole range, and how many boxes were taken from what was kept.

    `told` is called with the boxes done and their number. Raises InputError where the file of kept cells or
    the cluster cannot be used, StoppedError where the user stops and cells are kept.
    """
    decider = Decider(study)
    decided, open_ = decider.opened(BOXES)
    boxes = list(enumerate(open_))
    store = Store(how.keep, study_key(study, versions())) if how.keep is not None else None
    done: dict[int, Cells] = {}
    try:
        if store is not None:
            if not how.resume:
                store.forget()
            done = store.finished()
        taken = len(done)
        told(taken, len(boxes))
        for number, cells in _decided(decider, [box for box in boxes if box[0] not in done], how):
            if store is not None:
                store.add(number, cells)
            done[number] = cells
            told(len(done), len(boxes))
    except KeyboardInterrupt as stop:
        if how.keep is None:
            raise
        raise StoppedError(kept_words(how.keep, f"{sum(len(own.low) for own in done.values())}")) from stop
    finally:
        if store is not None:
            store.close()
    return joined([decided, *(done[number] for number in sorted(done))]), taken


def kept_words(keep: Path, cells: str) -> str:
    """Return what a user who stops is told."""
    return (
        f"stopped; no folder is written, but {cells} cells are kept in {keep}; the same command with --resume goes on"
    )


def _decided(decider: Decider, left: list[Numbered], how: How) -> Iterator[tuple[int, Cells]]:
    if how.cluster is not None:
        return decide_on_cluster(decider.study, left, how.cluster)
    workers = min(how.workers or cores(), len(left))
    return decide_on_cores(decider, left, workers) if workers > 1 else decide_here(decider, left)
