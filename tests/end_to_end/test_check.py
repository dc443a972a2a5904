"""The whole command on a small scene whose clearances are known in closed form."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest
import trimesh


def test_check_writes_a_report_whose_numbers_are_right(scene, run):
    out = scene.folder / "report"
    ended = run("check", scene.job, "-o", out)
    assert ended.code == 0, ended.err
    report = json.loads((out / "report.json").read_text())
    assert report["verdict"] == "pass"
    wall, floor = report["zones"]
    # Bar half-width 20 about the origin; rock about x through (0, 0, -100), 1 degree either way, lift -1 to 2.
    a = np.radians(1)
    y = max(20 * np.cos(a) - z * np.sin(s) for z in (80, 120) for s in (a, -a))
    assert wall["clearance_mm"]["lower"] == pytest.approx(45 - y, abs=0.3)  # noise of 0.05 mm, 2 mm pitch
    low = -100 + min(80 * np.cos(a) - 20 * np.sin(a), 80) - 1
    assert floor["clearance_mm"]["lower"] == pytest.approx(low + 45, abs=0.3)
    assert abs(wall["worst_pose"]["roll_deg"]) == pytest.approx(1, abs=0.02)
    assert floor["worst_pose"]["lift_mm"] == pytest.approx(-1)
    assert report["unseen"] == []
    assert "NOT checked" in report["unseen_looked_for"], "the job says not where the scanner stood"
    for name in ("report.html", "clearance_part.ply", "clearance_part.glb", "worst_points.csv", "job.toml"):
        assert (out / name).stat().st_size > 0
    assert "report.html" in ended.out


def test_effective_job_gives_the_same_report(scene, run):
    first, second = scene.folder / "one", scene.folder / "two"
    run("check", scene.job, "-o", first)
    assert run("check", first / "job.toml", "-o", second).code == 0
    one, two = (json.loads((d / "report.json").read_text()) for d in (first, second))
    assert one["zones"] == two["zones"]


def test_a_gap_it_cannot_hold_fails(scene, run):
    scene.edit("gap = 5", "gap = 40")
    ended = run("check", scene.job, "-o", scene.folder / "r")
    assert ended.code == 1
    report = json.loads((scene.folder / "r" / "report.json").read_text())
    assert report["verdict"] == "fail"
    assert report["fixes"][0]["zone"] == "wall"
    # The part must move away from the wall at +y.
    assert report["fixes"][0]["direction"][1] < -0.9


def test_a_gap_inside_the_doubt_is_undecided(scene, run):
    run("check", scene.job, "-o", scene.folder / "r")
    lower = json.loads((scene.folder / "r" / "report.json").read_text())["zones"][0]["clearance_mm"]["lower"]
    scene.edit("gap = 5", f"gap = {lower - 0.05:.3f}")
    ended = run("check", scene.job, "-o", scene.folder / "r")
    assert ended.code == 3
    assert "UNDECIDED" in ended.out


def test_points_of_no_zone_keep_it_from_passing(scene, run):
    scene.edit("where = { rest = true }", "where = { box = { min = [-200, -100, -46], max = [200, 100, -44] } }")
    scene.edit('name = "wall"', 'name = "wall strip"')
    scene.edit("min = [-200, 30, -200], max = [200, 60, 200]", "min = [-200, 30, 50], max = [200, 60, 70]")
    scene.edit("gap = 5", "gap = 30")
    ended = run("check", scene.job, "-o", scene.folder / "r")
    assert ended.code == 3, ended.out
    assert "no zone" in ended.out


def test_no_rock_and_an_open_part(scene, run):
    bar = trimesh.creation.box((200, 40, 40))
    trimesh.Trimesh(bar.vertices, bar.faces[:-1], process=False).export(scene.folder / "bar.stl")
    scene.job.write_text(scene.job.read_text().split("[rock]")[0])
    ended = run("check", scene.job, "-o", scene.folder / "r", "--json")
    assert ended.code == 0
    report = json.loads(ended.out)
    assert report["zones"][0]["clearance_mm"]["upper"] == pytest.approx(25, abs=0.3)
    assert report["zones"][0]["worst_pose"]["roll_deg"] is None
    html = (scene.folder / "r" / "report.html").read_text()
    assert "not a closed surface" in html


def test_two_scans_merge(scene, run):

    points = np.asarray(trimesh.load(scene.folder / "bay.ply").vertices)
    trimesh.PointCloud(points[::2]).export(scene.folder / "one.ply")
    trimesh.PointCloud(points[1::2]).export(scene.folder / "two.ply")
    scene.edit('files = ["bay.ply"]', 'files = ["one.ply", "two.ply"]')
    assert run("check", scene.job, "-o", scene.folder / "r").code == 0


def test_a_part_swallowed_by_a_zone_of_mixed_winding_fails(scene, run):
    shell = trimesh.creation.box((600, 600, 600))
    faces = np.array([face[::-1] if i % 2 else face for i, face in enumerate(shell.faces)])
    trimesh.Trimesh(shell.vertices, faces, process=False).export(scene.folder / "shell.stl")
    scene.edit("where = { rest = true }", 'where = { file = "shell.stl", unit = "mm" }')
    assert run("check", scene.job, "-o", scene.folder / "r").code == 1


def test_a_cable_inside_a_part_of_mixed_winding_fails(scene, run):
    bar = trimesh.load(scene.folder / "bar.stl")
    faces = np.array([face[::-1] if i % 2 else face for i, face in enumerate(bar.faces)])
    trimesh.Trimesh(bar.vertices, faces, process=False).export(scene.folder / "bar.stl")
    points = np.asarray(trimesh.load(scene.folder / "bay.ply").vertices)
    x, angle = np.meshgrid(np.arange(-60, 61, 2.0), np.arange(0, 6.2, 0.6))
    cable = np.column_stack([x.ravel(), 3 * np.cos(angle.ravel()), 3 * np.sin(angle.ravel())])
    trimesh.PointCloud(np.vstack([points, cable])).export(scene.folder / "bay.ply")
    assert run("check", scene.job, "-o", scene.folder / "r").code == 1


def test_a_thinly_scanned_wire_in_no_zone_keeps_the_job_from_passing(scene, run):
    scene.edit("where = { rest = true }", "where = { box = { min = [-200, -60, -60], max = [200, 65, -30] } }")
    assert run("check", scene.job, "-o", scene.folder / "r").code == 0
    points = np.asarray(trimesh.load(scene.folder / "bay.ply").vertices)
    wire = np.column_stack([np.linspace(-80, 80, 12), np.zeros(12), np.full(12, 24.0)])
    trimesh.PointCloud(np.vstack([points, wire])).export(scene.folder / "bay.ply")
    ended = run("check", scene.job, "-o", scene.folder / "r")
    assert ended.code == 3
    assert "belong to no zone" in " ".join(ended.out.split())


def test_a_terminal_that_lacks_a_character_is_no_fault(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "clearance", "new", "Ω.toml"],
        cwd=tmp_path, env={**os.environ, "PYTHONIOENCODING": "latin-1"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "wrote ?.toml" in done.stdout
