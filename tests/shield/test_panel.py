"""A folded panel: where it lies, what its folds are, what a cut leaves."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import u_panel

from clearance.shield.panel import panel


def test_lengths_on_the_flat_are_those_in_space():
    """Folding along straight lines is an isometry (Gauss): every triangle keeps its sides."""
    made = u_panel()
    for a, b in ((0, 1), (1, 2), (2, 0)):
        flat, bent = (m.vertices[m.faces[:, a]] - m.vertices[m.faces[:, b]] for m in (made.flat, made.inner))
        assert np.linalg.norm(flat, axis=1) == pytest.approx(np.linalg.norm(bent, axis=1), abs=1e-9)
    assert made.area_mm2 == pytest.approx(110 * 80)


def test_folds_of_a_channel_are_square_and_turn_toward_the_part():
    folds = u_panel().folds
    assert folds[:, 0] == pytest.approx([30.0, 80.0])
    assert np.degrees(folds[:, 1]) == pytest.approx([90.0, 90.0])
    away = panel(np.array([[0.0, 25, 30], [0, 25, 0], [0, -25, 0]]), np.array([1.0, 0, 0]), (0.0, 80.0), (0.0, 9.0))
    assert np.degrees(away.folds[:, 1]) == pytest.approx([-90.0])


def test_the_sheet_goes_outward():
    solid = u_panel().solid(1.0)
    shape = trimesh.Trimesh(solid.vertices, solid.faces)
    assert shape.is_watertight
    assert solid.vertices[:, 2].max() == pytest.approx(1.0, abs=1e-6)
    assert np.abs(solid.vertices[:, 1]).max() == pytest.approx(26.0, abs=1e-6)


def test_a_stretch_begins_and_ends_within_the_section():
    part = panel(np.array([[0.0, 25, -30], [0, 25, 0], [0, -25, 0]]), np.array([1.0, 0, 0]), (10.0, 60.0), (5.0, 9.0))
    assert part.inner.vertices.min(axis=0) == pytest.approx([5.0, -5.0, -20.0])
    assert part.inner.vertices.max(axis=0) == pytest.approx([9.0, 25.0, 0.0])


def test_a_cut_runs_straight_through_cells_and_drops_crumbs():
    made = u_panel().cut(u_panel().inner.vertices[:, 0] - 12.3)
    assert made.area_mm2 == pytest.approx(110 * (80 - 12.3))
    assert made.flat.vertices[:, 1].min() == pytest.approx(12.3)
    assert not len(u_panel().cut(u_panel().inner.vertices[:, 0] - 78.0).flat.faces)  # 220 mm² are left
