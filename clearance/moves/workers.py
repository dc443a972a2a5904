"""Decide the boxes of a study on all cores, or on a Dask cluster. A worker that dies loses nothing but its box."""

from __future__ import annotations

import multiprocessing
import os
import pickle
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

from clearance.errors import ClearanceError, InputError, MissingLibraryError
from clearance.moves.cells import Box, Cells, Decider, Study

Numbered = tuple[int, Box]
MOST_DEATHS = 5
"""Times that workers may die before the study is given up."""

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "TBB_NUM_THREADS", "IGL_NUM_THREADS")

_decider: Decider | None = None


def decide_here(decider: Decider, boxes: Iterable[Numbered]) -> Iterator[tuple[int, Cells]]:
    """Decide boxes in this process."""
    for number, box in boxes:
        yield number, decider.decide(box)


def decide_on_cores(decider: Decider, boxes: list[Numbered], workers: int) -> Iterator[tuple[int, Cells]]:
    """Decide boxes in this process and `workers` - 1 others; what one that dies had not finished is decided again.

    This process begins with the last box, the others with the first, so that nobody waits for them to start.
    """
    packed, left = pickle.dumps(decider.study), dict(boxes)
    for _ in range(MOST_DEATHS):
        try:
            with _one_thread_each(), _pool(workers - 1, packed) as pool:
                asked = {pool.submit(_decide, box): number for number, box in left.items()}
                try:
                    for number, cells in _as_decided(decider, asked, left):
                        del left[number]
                        yield number, cells
                except (GeneratorExit, KeyboardInterrupt):
                    pool.shutdown(wait=False, cancel_futures=True)
                    raise
            return
        except BrokenProcessPool:
            continue
    raise ClearanceError(f"worker processes died {MOST_DEATHS} times; finished cells are kept: --resume")


def _pool(others: int, packed: bytes) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(others, multiprocessing.get_context("spawn"), initializer=_ready, initargs=(packed,))


def _as_decided(
    decider: Decider, asked: dict[Future[Cells], int], boxes: dict[int, Box]
) -> Iterator[tuple[int, Cells]]:
    """Yield what the other processes have decided, and decide what none of them has begun."""
    own = list(asked)
    while asked:
        while own and not own[-1].cancel():
            own.pop()
        if own:
            number = asked.pop(own.pop())
            yield number, decider.decide(boxes[number])
        for done in wait(asked, timeout=0 if own else None, return_when=FIRST_COMPLETED).done:
            if not done.cancelled():
                yield asked[done], done.result()
                del asked[done]


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let libraries start no threads of their own in the processes started meanwhile."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


def decide_on_cluster(study: Study, boxes: list[Numbered], address: str) -> Iterator[tuple[int, Cells]]:
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
            client.submit(_decide_packed, held, box, retries=MOST_DEATHS, pure=False): number for number, box in boxes
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


def _decide(box: Box) -> Cells:
    assert _decider is not None
    return _decider.decide(box)


def _decide_packed(packed: bytes, box: Box) -> Cells:
    return _decider_of(packed).decide(box)


@lru_cache(maxsize=1)
def _decider_of(packed: bytes) -> Decider:
    study: Any = pickle.loads(packed)
    return Decider(study)
