"""Sizes that do not make sense together are told, with the keys that may be wrong."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.scene.mesh import Mesh
from clearance.scene.plausible import check_near_scan


def test_a_part_larger_than_the_scan_names_both_units():
    box = trimesh.creation.box((300, 200, 100))
    part = Mesh(np.asarray(box.vertices, np.float64), np.asarray(box.faces, np.int64))
    job = SimpleNamespace(file=Path("job.toml"), part=SimpleNamespace(unit="mm"), bay=SimpleNamespace(unit="mm"))
    scan = np.random.default_rng(1).uniform(0, 60, (100, 3))
    with pytest.raises(InputError, match="374 mm across, the whole scan only") as fault:
        check_near_scan(job, part, scan)
    assert fault.value.key == "part.unit or bay.unit"
    assert "\n" not in str(fault.value)
