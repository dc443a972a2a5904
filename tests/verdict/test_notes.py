"""Notes say what a reader must know, and only where it is so."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judging import judged

from clearance.heat.growth import Growth
from clearance.scene.contact import PlacedFace
from clearance.verdict.notes import notes_of, pushing_notes

JOB = SimpleNamespace(rock=None, zones=(), part=SimpleNamespace(contact=()))


@pytest.mark.parametrize(
    ("at", "told"),
    # The cube's face is at x = 10; guard 1.645 x 0.5 = 0.82 mm.
    [(9.0, True), (10.0, True), (10.7, True), (11.0, False), (40.0, False)],
)
def test_points_that_touch_at_rest_may_be_what_the_part_bolts_onto(cube, placed, wall, at: float, told: bool):
    zone, scan = wall(at, gap=5.0)
    registration = placed(sigma_mm=0.5)
    result = judged(zone, cube, registration, scan, None)
    assert any("bolts onto" in note for note in notes_of(JOB, cube, [result], registration, None, 0, {})) is told


@pytest.mark.parametrize(
    ("height", "normal", "told"),
    # 300 mm at 1 % more: 3.0 mm; along the face nothing; within a sealing face's 0.2 mm step nothing is said.
    [(300.0, 1.0, "by 3.0 mm into"), (300.0, -1.0, "by 3.0 mm off"), (0.0, 1.0, None), (15.0, 1.0, None)],
)
def test_a_face_that_growth_moves_along_its_normal_is_told(cube, height, normal, told):
    growth = Growth(anchor=np.zeros(3), k_cold=1.0, k_hot=1.01, spread=0.0, text="grows")
    face = PlacedFace(
        name="flange", point=np.array([5.0, 0, height]), normal=np.array([0, 0, normal]), radius_mm=10, part=cube.mesh
    )
    found = pushing_notes([face], growth)
    assert [note for note in found if told and told in note] == found
    assert bool(found) is (told is not None)


def test_the_nearest_stray_is_told_with_its_place(cube, placed, wall):
    zone, scan = wall(40.0, gap=5.0)
    zone = replace(zone, stray_points=np.array([[35.0, 0.0, 0.0], [12.5, 3.2, -4.4]]))  # The face is at x = 10.
    registration = placed(sigma_mm=0.1)
    result = judged(zone, cube, registration, scan, None)
    (note,) = (n for n in notes_of(JOB, cube, [result], registration, None, 0, {}) if "stray" in n)
    assert "is at 2.50 mm, at [12, 3, -4] in the bay as scanned: look at them" in note
