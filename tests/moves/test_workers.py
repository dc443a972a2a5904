"""However the work is done, interrupted or lost, the cells are the same; what is finished is not done again."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import replace

import numpy as np
import pytest
from move_scenes import move_scene

from clearance.errors import StoppedError
from clearance.moves.cells import Decider
from clearance.moves.solve import How, solve

SEED, FINER = 1, 4


@pytest.fixture(scope="module")
def study():
    made = move_scene(SEED).study()
    space = replace(made.space, step_mm=made.space.step_mm / FINER, step_rad=made.space.step_rad / FINER)
    return replace(made, space=space)


@pytest.fixture(scope="module")
def alone(study):
    return solve(study, How(workers=1))[0]


def _same(a, b) -> bool:
    return all(np.array_equal(getattr(a, name), getattr(b, name)) for name in ("low", "high", "ruling", "blocker"))


def test_two_processes_find_the_same_and_a_killed_one_loses_nothing(study, alone):
    killed = []

    def told(done: int, _of: int) -> None:
        if done and not killed:
            for child in _children():
                os.kill(child, signal.SIGKILL)
                killed.append(child)
                break

    cells, taken = solve(study, How(workers=2), told)
    assert killed
    assert taken == 0
    assert _same(cells, alone)


def _children() -> list[int]:
    """Worker processes of this one, by Linux's /proc: those that run Python's spawned main."""
    found = []
    for name in os.listdir("/proc"):  # noqa: PTH208
        if not name.isdigit():
            continue
        try:
            stat = open(f"/proc/{name}/stat").read()  # noqa: SIM115, PTH123
            line = open(f"/proc/{name}/cmdline").read()  # noqa: SIM115, PTH123
        except OSError:
            continue
        if int(stat.rsplit(")", 1)[1].split()[1]) == os.getpid() and "spawn_main" in line:
            found.append(int(name))
    return found


def test_an_interrupted_study_goes_on_where_it_was(study, alone, tmp_path, monkeypatch):
    kept = tmp_path / "kept.sqlite"

    def stops(done: int, _of: int) -> None:
        if done == 5:
            raise KeyboardInterrupt

    with pytest.raises(StoppedError, match=f"[1-9][0-9]* cells are kept in {kept}; the same command with --resume"):
        solve(study, How(keep=kept, workers=1), stops)
    asked = []
    decide = Decider.decide
    monkeypatch.setattr(Decider, "decide", lambda self, box: asked.append(box.low) or decide(self, box))
    cells, taken = solve(study, How(keep=kept, resume=True, workers=1))
    assert taken == 5
    assert len(asked) == len(np.unique(asked, axis=0))
    first = len(asked)
    assert _same(cells, alone)
    again, taken = solve(study, How(keep=kept, resume=True, workers=1))
    assert len(asked) == first
    assert taken == first + 5
    assert _same(again, alone)
    solve(study, How(keep=kept, workers=1))
    assert len(asked) > first


def test_another_study_takes_nothing_from_what_was_kept(study, tmp_path):
    kept = tmp_path / "kept.sqlite"
    solve(study, How(keep=kept, workers=1))
    other = move_scene(5).study()
    assert solve(other, How(keep=kept, resume=True, workers=1))[1] == 0


def test_a_cluster_finds_the_same_and_a_killed_worker_loses_nothing(study, alone):
    distributed = pytest.importorskip("distributed", reason="optional extra")
    killed = []
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        pids = list(client.run(os.getpid).values())
        assert len(pids) == 2

        def told(done: int, _of: int) -> None:
            if done and not killed:
                os.kill(pids[0], signal.SIGKILL)
                killed.append(pids[0])
                time.sleep(0.2)

        cells, _ = solve(study, How(cluster=cluster.scheduler_address), told)
    assert killed
    assert _same(cells, alone)
