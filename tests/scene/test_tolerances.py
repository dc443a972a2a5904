"""Usual tolerances against the published table and the rules of the trade."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
import trimesh

from clearance.job.schema import Job
from clearance.scene.inputs import read_part
from clearance.scene.tolerances import default_tolerance

DCTG_12 = [(10, 4.2), (10.1, 4.4), (63, 5.6), (100, 6), (160, 7), (250, 8), (400, 9), (401, 10), (630, 10)]
"""ISO 8062-3:2007, table 2, read off a stored copy: size mm, whole width of the tolerance mm."""


@pytest.mark.parametrize(("size", "width"), DCTG_12)
def test_cast_is_half_of_the_standards_width(size: float, width: float):
    tolerance, source = default_tolerance("cast", size)
    assert tolerance == width / 2
    assert "ISO 8062-3:2007" in source
    assert f"{width / 2:.2f} mm" in source


@pytest.mark.parametrize(("size", "tolerance"), [(20, 0.2), (100, 0.2), (250, 0.5), (400, 0.8)])
def test_printed_metal_takes_the_wider_end(size: float, tolerance: float):
    """± 0.2 mm up to 100 mm, ± 0.2 % above (common practice)."""
    found, source = default_tolerance("printed metal", size)
    assert found == pytest.approx(tolerance)
    assert "common practice" in source


def test_welded_tube_takes_the_wider_end():
    assert default_tolerance("welded tube", 500)[0] == 2.0


@pytest.mark.parametrize(
    ("keys", "tolerance", "told"),
    [
        ('made = "printed metal"', 0.6, True),
        ('made = "printed metal"\ntolerance = 0.0', 0.0, False),
        ('made = "cast"\ntolerance = 0.25', 0.25, False),
    ],
)
def test_what_is_stated_stands_and_the_longest_side_counts(tmp_path, keys: str, tolerance: float, told: bool):
    corners = trimesh.creation.box((300, 40, 20))
    corners.export(tmp_path / "bar.stl")
    tree = tomllib.loads(
        f'[part]\nfile = "bar.stl"\nunit = "mm"\n{keys}\n[register]\nmethod = "given"\nshift = [0, 0, 0]\n'
        '[[zone]]\nname = "rod"\nkind = "line"\ngap = 1\n'
        "where = { sphere = { center = [0, 0, 90], diameter = 9 }, solid = true }\n"
    )
    part, _ = read_part(Job.model_validate({**tree, "file": tmp_path / "job.toml"}))
    assert part.tolerance_mm == pytest.approx(tolerance)
    assert (part.tolerance_source is not None) == told
    assert np.isfinite(part.tolerance_mm)
