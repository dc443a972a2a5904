"""Decide the boxes of a study on all cores, or on a Dask cluster. A worker that dies loses nothing but its box."""

from __future__ import annotations

import multiprocessing
import os
import pickle
from collections.abc import Iterable, Iterator
from concurrent.futures import CancelledError, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from functools import lru_cache
from typing import Any

from clearance.errors import ClearanceError, InputError, MissingLibraryError
from clearance.moves.cells import Cells, Decider, Study
from clearance.moves.space import IntArray

Box = tuple[int, IntArray, IntArray]
MOST_DEATHS = 5
"""Times that workers may die before the study is given up."""

_decider: Decider | None = None


def decide_here(study: Study, boxes: Iterable[Box]) -> Iterator[tuple[int, Cells]]:
    """Decide boxes in this process."""
    decider = Decider(study)
    for number, low, high in boxes:
        yield number, decider.decide(low, high)


def decide_on_cores(study: Study, boxes: list[Box], workers: int) -> Iterator[tuple[int, Cells]]:
    """Decide boxes in `workers` processes; where one dies, what it had not finished is decided again."""
    packed, left = pickle.dumps(study), {box[0]: box for box in boxes}
    for _ in range(MOST_DEATHS):
        try:
            with ProcessPoolExecutor(
                workers, multiprocessing.get_context("spawn"), initializer=_ready, initargs=(packed,)
            ) as pool:
                asked = {pool.submit(_decide, low, high): number for number, low, high in left.values()}
                try:
                    for done in as_completed(asked):
                        cells = done.result()
                        del left[asked[done]]
                        yield asked[done], cells
                except GeneratorExit:
                    pool.shutdown(wait=False, cancel_futures=True)
                    raise
            return
        except BrokenProcessPool:
            continue
    raise ClearanceError(f"worker processes died {MOST_DEATHS} times; finished cells are kept: --resume")


def decide_on_cluster(study: Study, boxes: list[Box], address: str) -> Iterator[tuple[int, Cells]]:
    """Decide boxes on a Dask cluster; the scheduler hands what a lost worker had to another.

    Raises
    ------
    InputError
        If there is no scheduler at `address`.
    MissingLibraryError
        If `distributed` is not installed.
    """
    try:
        import distributed as dask
    except ImportError as fault:
        raise MissingLibraryError("--cluster needs the package distributed: pip install clearance[cluster]") from fault
    packed = pickle.dumps(study)
    try:
        client: Any = dask.Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as fault:
        wanted = "start one with `dask scheduler`, workers with `dask worker ADDRESS`"
        raise InputError(address, "no Dask scheduler answers", wanted, "--cluster") from fault
    with client:
        held = client.scatter(packed, broadcast=True)
        asked = {
            client.submit(_decide_packed, held, low, high, retries=MOST_DEATHS, pure=False): number
            for number, low, high in boxes
        }
        for done in dask.as_completed(asked):  # type: ignore[no-untyped-call]
            try:
                cells = done.result()
            except (dask.KilledWorker, CancelledError) as fault:
                raise ClearanceError(
                    f"the cluster lost its workers ({fault}); finished cells are kept: --resume"
                ) from fault
            yield asked[done], cells


def cores() -> int:
    """Return how many processes this one may use at once."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _ready(packed: bytes) -> None:
    global _decider
    _decider = Decider(pickle.loads(packed))


def _decide(low: IntArray, high: IntArray) -> Cells:
    assert _decider is not None
    return _decider.decide(low, high)


def _decide_packed(packed: bytes, low: IntArray, high: IntArray) -> Cells:
    return _decider_of(packed).decide(low, high)


@lru_cache(maxsize=1)
def _decider_of(packed: bytes) -> Decider:
    study: Any = pickle.loads(packed)
    return Decider(study)


__all__ = ["Box", "cores", "decide_here", "decide_on_cluster", "decide_on_cores"]
