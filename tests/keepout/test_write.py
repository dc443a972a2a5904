"""The file holds the surface, whole; the command says what it is and refuses what it cannot do."""

from __future__ import annotations

import json

import numpy as np
import pytest
import trimesh
from solid_jobs import solid_zone
from typer.testing import CliRunner

from clearance.cli import app
from clearance.errors import InputError
from clearance.keepout.keepout import keep_out
from clearance.keepout.write import write_mesh

BALL = solid_zone("sphere = { center = [0, 0, 0], diameter = 40 }", 12, name="ball")
BOX = ["--region", "-40", "-40", "-40", "40", "40", "40", "--resolution", "3"]


@pytest.mark.parametrize("name", ["out.stl", "out.PLY"])
def test_the_file_is_the_surface(job, tmp_path, name):
    found = keep_out(job(BALL), resolution_mm=3.0, region=(-40, -40, -40, 40, 40, 40))
    write_mesh(found.mesh, tmp_path / name, "a comment")
    read = trimesh.load(tmp_path / name, file_type=name[-3:].lower())
    assert read.is_watertight
    # Single precision: 40 mm to 2e-6 mm.
    assert read.volume == pytest.approx(found.volume_mm3, rel=1e-6)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["job.toml", "part.stl", name])


def test_the_command_writes_and_tells(job, tmp_path):
    out = tmp_path / "solid.stl"
    run = CliRunner().invoke(app, ["keepout", str(job(BALL)), "-o", str(out), "-q", *BOX])
    assert run.exit_code == 0, run.output
    assert "ball" in run.output
    assert "12.00" in run.output
    assert trimesh.load(out).is_watertight
    run = CliRunner().invoke(app, ["keepout", str(job(BALL)), "-o", str(out), "-q", "--json", *BOX])
    told = json.loads(run.output)
    assert told["volume_mm3"] == pytest.approx(4 / 3 * np.pi * 32**3, rel=0.1)


def test_nothing_is_written_where_nothing_is_near(job, tmp_path):
    away = solid_zone("sphere = { center = [900, 0, 0], diameter = 40 }", 12)
    run = CliRunner().invoke(app, ["keepout", str(job(away)), "-o", str(tmp_path / "no.stl"), "-q", *BOX])
    assert run.exit_code == 0
    assert "nothing was written" in run.output
    assert not (tmp_path / "no.stl").exists()


@pytest.mark.parametrize("name", ["solid.obj", "nowhere/solid.stl"])
def test_a_file_that_cannot_be_is_refused_before_anything_is_worked_out(job, tmp_path, name):
    with pytest.raises(InputError, match="-o"):
        CliRunner().invoke(app, ["keepout", str(job(BALL)), "-o", str(tmp_path / name)], catch_exceptions=False)
