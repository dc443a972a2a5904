"""Candidates side by side, through the command."""

from __future__ import annotations

from pathlib import Path

import trimesh
from solid_jobs import HEAD, solid_zone
from typer.testing import CliRunner

from clearance.cli import app
from clearance.outputs.compare import folders


def test_each_candidate_gets_its_report_and_the_table_compares_them(tmp_path, monkeypatch):
    """A wall at 30 that wants 10: a part that reaches to 15 has 5 in hand, one to 25 is 5 short."""
    monkeypatch.chdir(tmp_path)
    for name, reach in (("short", 15), ("long", 25)):
        trimesh.creation.box(bounds=[[-5, -5, -5], [reach, 5, 5]]).export(f"{name}.stl")
    (tmp_path / "job.toml").write_text(
        f"{HEAD}shift = [0, 0, 0]\n{solid_zone('box = { min = [30, -50, -50], max = [40, 50, 50] }', 10, name='wall')}"
    )
    (tmp_path / "part.stl").write_bytes((tmp_path / "short.stl").read_bytes())
    run = CliRunner().invoke(app, ["check", "job.toml", "-q", "-o", "out", "--part", "short.stl", "--part", "long.stl"])
    assert run.exit_code == 1, run.output
    row = {
        line.split()[0]: line.split()[1:3] for line in run.output.splitlines() if line.startswith(("short ", "long "))
    }
    assert row["short"][0] == "PASS"
    assert 4.95 <= float(row["short"][1]) <= 5.0
    assert row["long"][0] == "FAIL"
    assert -5.05 <= float(row["long"][1]) <= -5.0
    page = (tmp_path / "out" / "compare.html").read_text()
    for name in ("short", "long"):
        assert f'href="{name}/report.html"' in page
        assert (tmp_path / "out" / name / "report.html").exists()


def test_a_candidates_folder_is_named_by_its_file_and_by_its_way_where_two_share_a_name():
    assert list(folders((Path("old/rev a.stl"), Path("new/rev b.stl"))).values()) == ["rev-a", "rev-b"]
    assert list(folders((Path("old/rev a.stl"), Path("new/rev a.stl"))).values()) == ["old-rev-a", "new-rev-a"]
