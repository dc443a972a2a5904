"""Motions that a fit leaves free, against shapes whose freedoms are known."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from clearance.registration.free_motions import free_motions

CENTRE, RADIUS = np.array([10.0, -20.0, 30.0]), 100.0


def _normal_matrix(points: np.ndarray, normals: np.ndarray) -> np.ndarray:
    rows = np.hstack([np.cross(points - CENTRE, normals), normals])
    return rows.T @ rows


def _sphere(count: int = 2000) -> np.ndarray:
    way = np.random.default_rng(0).normal(size=(count, 3))
    return way / np.linalg.norm(way, axis=1)[:, None]


def _signless(notes: list[str]) -> str:
    return " ".join(notes).replace("-", "")


def test_a_box_is_fixed():
    way = np.repeat(np.vstack([np.eye(3), -np.eye(3)]), 200, axis=0)
    across = np.random.default_rng(1).uniform(-80, 80, way.shape) * (way == 0)
    assert free_motions(_normal_matrix(CENTRE + 60 * way + across, way), CENTRE, RADIUS) == []


def test_a_plane_slides_two_ways_and_turns():
    points = np.random.default_rng(2).uniform(-80, 80, (500, 3)) * (1, 1, 0) + CENTRE
    found = free_motions(_normal_matrix(points, np.tile([0.0, 0, 1], (500, 1))), CENTRE, RADIUS)
    assert sum("sliding along" in note for note in found) == 2
    assert sum("turning about [0.00, 0.00, 1.00]" in note.replace("-", "") for note in found) == 1


def test_a_bore_slides_along_and_spins_about_its_axis():
    turn = np.random.default_rng(3).uniform(0, 2 * np.pi, 800)
    way = np.column_stack([np.cos(turn), np.zeros(800), np.sin(turn)])
    points = 20 * way + (50, 0, 5) + np.outer(np.random.default_rng(4).uniform(-90, 90, 800), [0, 1, 0])
    found = free_motions(_normal_matrix(points, way), CENTRE, RADIUS)
    assert len(found) == 2
    assert "sliding along [0.00, 1.00, 0.00]" in _signless(found)
    assert "turning about [0.00, 1.00, 0.00]" in _signless(found)
    # The line is named by its point nearest the centre of turns, y = -20.
    assert "through [50, 20, 5]" in _signless(found)


def test_a_ball_turns_about_every_line_through_its_middle():
    way = _sphere()
    found = free_motions(_normal_matrix(70 * way + (40, 0, 0), way), CENTRE, RADIUS)
    assert len(found) == 3
    # Each line is named by its point nearest the centre of turns, and passes through the middle of the ball.
    for note in found:
        line, through = (np.array(json.loads(triple)) for triple in re.findall(r"\[[^]]*\]", note))
        assert "turning about" in note
        # The direction is told to 0.01, over the 51 mm between middle and centre; the point to 1 mm.
        assert np.linalg.norm(np.cross(np.array([40.0, 0, 0]) - through, line)) < 1.5


@pytest.mark.parametrize("radius", [50.0, 500.0])
def test_a_ball_in_its_seat_is_told_the_same_at_any_reach(radius):
    way = _sphere()
    assert len(free_motions(_normal_matrix(70 * way + CENTRE, way), CENTRE, radius)) == 3
