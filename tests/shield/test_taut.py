"""The line round a section: taut round convex shapes, pressed in where there is no room, never nearer than stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from shield_scenes import box_of, mesh_of

from clearance.shield.folding import LEAST_FACE_MM, nearest_on
from clearance.shield.section import Section, section_of
from clearance.shield.taut import SAG_MM, taut

AXES = np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]])
BACK = np.array([0.0, 1.0])


def _around(mesh, reach: float = 20.0) -> Section:
    return section_of(mesh, AXES, -50.0, 50.0, reach)


def _length(line: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(np.vstack([line, line[:1]]), axis=0), axis=1).sum())


def test_distances_are_lower_bounds_within_two_cells():
    section = _around(box_of((-20, -30, -10), (20, 30, 10)))
    index = np.argwhere(section.away_mm > 0)
    places = section.low + index
    true = np.linalg.norm(np.maximum(np.abs(places) - (30, 10), 0.0), axis=1)
    found = section.away_mm[tuple(index.T)]
    assert (found <= true + 1e-9).all()
    assert (found >= true - 3.0).all()


def test_round_a_rod_it_is_a_polygon_about_the_circle():
    """No shorter than the circle at the standoff, and longer by its sag at most (Steiner: 2 pi for each mm)."""
    rod = mesh_of(trimesh.creation.cylinder(radius=25.0, height=200.0, sections=128))
    rod = rod.moved(_turned())
    line = taut(_around(rod), 15.0, 15.0, BACK)
    assert nearest_on(_around(rod), np.vstack([line, line[:1]])) >= 15.0 - 1.5
    assert 2 * np.pi * 40 * 0.99 < _length(line) < 2 * np.pi * (40 + SAG_MM + 4)
    assert len(line) < 16


def test_a_hollow_is_bridged():
    """Two boxes 60 mm apart: the taut line about both is that about their hull."""
    both = trimesh.util.concatenate(
        [trimesh.creation.box(bounds=[[-20, a, -10], [20, a + 20, 10]]) for a in (-50.0, 30.0)]
    )
    line = taut(_around(mesh_of(both)), 10.0, 10.0, BACK)
    hull = taut(_around(box_of((-20, -50, -10), (20, 50, 10))), 10.0, 10.0, BACK)
    assert _length(line) == pytest.approx(_length(hull), abs=8.0)


def test_it_is_pressed_in_but_never_nearer_than_the_least():
    section = _around(box_of((-20, -30, -10), (20, 30, 10)))
    free = taut(section, 15.0, 6.0, BACK)
    pressed_section = section.without(np.array([[0.0, -28.0]]), np.array([9.0]))  # leaves 9 mm below the box
    pressed = taut(pressed_section, 15.0, 6.0, BACK)
    assert nearest_on(section, free) >= 15.0 - 1.5
    assert 5.0 <= nearest_on(section, pressed) < 10.0
    assert not pressed_section.taken[pressed_section.cell(pressed)].any()


def test_without_room_it_goes_through_what_is_taken_rather_than_into_the_part():
    section = _around(box_of((-20, -30, -10), (20, 30, 10)))
    shut = replace(section, taken=np.ones_like(section.taken))
    assert nearest_on(section, taut(shut, 15.0, 6.0, BACK)) >= 6.0 - 1.5


def test_faces_can_be_bent():
    rod = mesh_of(trimesh.creation.cylinder(radius=25.0, height=200.0, sections=128)).moved(_turned())
    line = taut(_around(rod), 15.0, 15.0, BACK)
    assert np.linalg.norm(np.diff(line, axis=0), axis=1)[1:-1].min() >= LEAST_FACE_MM


def _turned():
    from clearance.frames import rigid

    return rigid("bay", "part", np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]]), (0.0, 0.0, 0.0))
