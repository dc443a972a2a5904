"""Decide the boxes of a study on all cores, or on a Dask cluster. A worker that dies loses nothing but its box."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import lru_cache
from threading import Lock
from typing import Any

from clearance.errors import ClearanceError, InputError, MissingLibraryError
from clearance.moves.cells import Box, Cells, Decider, Study

Numbered = tuple[int, Box]
MOST_DEATHS = 5
"""Times that workers may die before the study is given up."""

AHEAD = 2
"""Boxes that each other process holds: one at work, one to go on with."""

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
                try:
                    for number, cells in _as_decided(decider, pool, dict(left), AHEAD * (workers - 1)):
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
    decider: Decider, pool: ProcessPoolExecutor, boxes: dict[int, Box], ahead: int
) -> Iterator[tuple[int, Cells]]:
    """Yield what the other processes decide, who are handed a box whenever one is finished, and decide others here."""
    waiting, asked, lock = deque(boxes), dict[Future[Cells], int](), Lock()

    def hand_out(_finished: Future[Cells] | None = None) -> None:
        with lock:
            if not waiting:
                return
            try:
                future = pool.submit(_decide, boxes[waiting[0]])
            except (BrokenProcessPool, RuntimeError):  # What was asked before says so.
                return
            asked[future] = waiting.popleft()
        future.add_done_callback(hand_out)

    for _ in range(ahead):
        hand_out()
    while True:
        with lock:
            own, theirs = waiting.pop() if waiting else None, list(asked)
        if own is not None:
            yield own, decider.decide(boxes[own])
        elif not theirs:
            return
        for done in wait(theirs, timeout=None if own is None else 0, return_when=FIRST_COMPLETED).done:
            yield asked[done], done.result()
            with lock:
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
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl-C ends it without a word: the first process tells.
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
