"""Cells of moves against brute force: numpy and scipy's rotations, no code of the program but the mesh type.

A free cell must hold no failing pose, a blocked one no passing pose. Brute force finds an upper bound of the least
clearance (some hundred states of the motion, thickened where it is least): a pose is failing where that is below the
need. A pose is taken for passing where it is above the need by more than 1 % of it: the states tried may miss the
worst one by that much.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from move_scenes import grid_of, least, move_scene

from clearance.moves.answers import largest_box, smallest_move
from clearance.moves.cells import Decider
from clearance.moves.search import Ruling

SAME_MM = 1e-5
"""What two float64 computations may differ by."""

SEEDS = (1, 3, 4, 5, 7, 10)


@pytest.fixture(scope="module")
def solved():
    found = {}
    for seed in SEEDS:
        made = move_scene(seed)
        decider = Decider(made.study())
        found[seed] = made, decider, decider.decide(decider.whole())
    return found


def test_cells_cover_the_range_once(solved):
    for made, _, cells in solved.values():
        assert int(cells.poses.sum()) == made.space.poses
        grid = np.zeros(made.space.counts, int)
        for low, high in zip(cells.low, cells.high, strict=True):
            grid[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] += 1
        assert (grid == 1).all()


def test_no_free_cell_holds_a_failing_pose_and_no_blocked_one_a_passing_pose(solved):
    met = dict.fromkeys(Ruling, 0)
    for seed, (made, _, cells) in solved.items():
        rng = np.random.default_rng(seed)
        grid = grid_of(made.space)
        grid = grid[rng.choice(len(grid), min(len(grid), 60), replace=False)]
        low, high = made.space.edge(cells.low), made.space.edge(cells.high)
        for move, clearance in zip(grid, least(made, grid, rng, count=30, refine=2), strict=True):
            inside = ((low <= move + 1e-12) & (move <= high + 1e-12)).all(axis=1)
            for ruling in set(cells.ruling[inside].tolist()):
                met[Ruling(ruling)] += 1
                if ruling == Ruling.FREE:
                    assert clearance >= made.need_mm - SAME_MM
                if ruling == Ruling.BLOCKED:
                    assert clearance <= 1.01 * made.need_mm
    assert met[Ruling.FREE] > 20
    assert met[Ruling.BLOCKED] > 20


def test_the_smallest_move_is_no_larger_than_the_dense_optimum_and_keeps_the_need(solved):
    """The dense optimum is the smallest grid corner whose clearance, by brute force, is at least the need."""
    found_any = 0
    for seed, (made, decider, cells) in solved.items():
        rng, space = np.random.default_rng(seed), made.space
        found = smallest_move(cells, decider)
        grid = grid_of(space)
        order = np.argsort(space.size_mm(grid), kind="stable")[:150]
        passing = [i for i in order if least(made, grid[i][None], rng, count=20, refine=1)[0] >= 1.01 * made.need_mm]
        if passing:
            assert found.size_mm <= space.size_mm(grid[passing[0]]) + 1e-9
        if found.move is None:
            continue
        found_any += 1
        assert least(made, found.move[None], rng)[0] >= made.need_mm - SAME_MM
        for i in order[space.size_mm(grid[order]) < found.at_least_mm - 1e-9]:
            assert least(made, grid[i][None], rng)[0] <= 1.01 * made.need_mm
    assert found_any >= 3


def test_the_box_about_today_holds_free_cells_alone(solved):
    boxes = 0
    for made, _, cells in solved.values():
        box = largest_box(cells, made.space)
        if box is None:
            continue
        boxes += 1
        low, high = made.space.edge(cells.low), made.space.edge(cells.high)
        varied = made.space.varied
        overlaps = ((low < box.high - 1e-9) & (high > box.low + 1e-9))[:, varied].all(axis=1)
        assert overlaps.any()
        assert (cells.ruling[overlaps] == Ruling.FREE).all()
        assert (box.low <= 0).all()
        assert (box.high >= 0).all()
    assert boxes


@pytest.mark.parametrize(("parameters", "seed"), [(4, 5), (5, 5), (6, 7)])
def test_many_parameters_at_once_are_ruled_on_rightly_and_given_up_in_time(parameters, seed, monkeypatch):
    """Far more poses than can be looked at: what is ruled on is right, the rest is undecided, memory is bounded."""
    monkeypatch.setattr("clearance.moves.cells.MOST_OPEN", 400)
    made, most = move_scene(seed, parameters), 2000
    decider = Decider(replace(made.study(), most=most))
    cells = decider.decide(decider.whole())
    assert made.space.poses >= 4**parameters
    assert len(made.space.varied) == parameters
    assert int(cells.poses.sum()) == made.space.poses
    assert cells.evaluations < 1.5 * most
    rng = np.random.default_rng(seed)
    moves = made.space.low + rng.random((40, 6)) * (made.space.high - made.space.low)
    low, high = made.space.edge(cells.low), made.space.edge(cells.high)
    ruled = 0
    for move, clearance in zip(moves, least(made, moves, rng, count=30, refine=2), strict=True):
        inside = ((low <= move) & (move <= high)).all(axis=1)
        ruling = cells.ruling[inside][0]
        ruled += ruling != Ruling.UNDECIDED
        if ruling == Ruling.FREE:
            assert clearance >= made.need_mm - SAME_MM
        if ruling == Ruling.BLOCKED:
            assert clearance <= 1.01 * made.need_mm
    assert ruled >= 4


def test_boxes_of_work_and_what_was_decided_before_cover_the_grid_once():
    made = move_scene(4)
    decided, boxes = Decider(made.study()).opened(20)
    assert len(boxes) == 20
    grid = np.zeros(made.space.counts, int)
    parts = [(decided.low, decided.high), *((box.low[None], box.high[None]) for box in boxes)]
    for lows, highs in parts:
        for low, high in zip(lows, highs, strict=True):
            grid[tuple(slice(a, b) for a, b in zip(low, high, strict=True))] += 1
    assert (grid == 1).all()
