"""What place prints can be put back into a job and is nowhere surer than what it came from."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from clearance.frames import rigid
from clearance.job.schema import Register
from clearance.outputs.placement import placement_lines, placement_record
from clearance.registration.register import register
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh


def _part() -> Mesh:
    shape = trimesh.creation.box((300, 120, 80))
    return Mesh(np.asarray(shape.vertices, np.float64) + np.array([40.0, 0, 0]), np.asarray(shape.faces, np.int64))


def _placed(seed: int, converged: bool = True) -> Registration:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(6, 6)) * np.array([1e-3] * 3 + [0.3] * 3)[:, None]
    turn = Rotation.random(random_state=seed).as_matrix()
    return Registration(
        method="landmarks",
        T_bay_part=rigid("bay", "part", turn, rng.uniform(-500, 500, 3)),
        converged=converged,
        residual_rms_mm=0.2,
        residuals=(("stud 1", 0.25),),
        covariance=root @ root.T,
        centre=rng.uniform(-500, 500, 3),
        notes=("a note",),
    )


@given(st.integers(0, 5000))
@settings(max_examples=60)
def test_a_frozen_pose_is_nowhere_surer(seed: int):
    part, placed = _part(), _placed(seed)
    lines = placement_lines(placed, part)
    table = tomllib.loads("\n".join(lines[lines.index('method = "given"') :]))
    frozen = register(Register.model_validate(table), part, None, 0, 0, Path("job.toml"))
    bay = placed.T_bay_part.apply(part.vertices)
    np.testing.assert_allclose(frozen.T_bay_part.apply(part.vertices), bay, atol=1e-6)
    # Four printed decimals of a millimetre and five of a degree at 160 mm.
    assert (frozen.largest_sigma_mm(bay) >= placed.largest_sigma_mm(bay) - 1e-4).all()


def test_lines_and_record_say_the_same():
    part, placed = _part(), _placed(1, converged=False)
    text = "\n".join(placement_lines(placed, part))
    record = placement_record(placed, part)
    assert "NOT settled" in text
    assert "method = " not in text, "a pose that is not proven must not be frozen into a proven one"
    assert record["converged"] is False
    assert "stud 1: 0.250 mm" in text
    assert record["residuals"] == [{"name": "stud 1", "mm": 0.25}]
    assert f"{record['far_ends'][0]['sigma_mm']:.3f} mm" in text
    sigmas = [end["sigma_mm"] for end in record["far_ends"]]
    assert sigmas == sorted(sigmas, reverse=True)
    assert sigmas[0] == pytest.approx(placed.largest_sigma_mm(placed.T_bay_part.apply(part.vertices)).max())
