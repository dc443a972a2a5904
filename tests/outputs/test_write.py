"""Whole or not at all: what is left on disk after success, faults, interrupts and foreign folders."""

from __future__ import annotations

import csv
import errno
import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from clearance.errors import InputError
from clearance.outputs import folder as folder_module
from clearance.outputs import write
from clearance.outputs.pictures import Picture
from clearance.outputs.worst_points import worst_points_csv
from clearance.outputs.write import check_folder, write_results

EVERYTHING = {
    "report.html", "report.json", "fixes/fix_1.ply", "certificate.json", "worst_points.csv", "job.toml",
    "pictures/part.png",
    "pictures/worst_ceiling.png", "pictures/worst_floor.png", "clearance_part.ply", "clearance_part.glb",
    "clearance_zone_ceiling.ply", "clearance_zone_ceiling.glb", "clearance_zone_floor.ply", "clearance_zone_floor.glb",
}  # fmt: skip


def _files(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """One tiny picture instead of rendering: what is tested here is the folder."""

    def one(result: object, folder: Path) -> tuple[Picture, ...]:
        folder.mkdir()
        Image.new("RGB", (4, 4)).save(folder / "part.png")
        return (Picture(folder / "part.png", "the part"),)

    monkeypatch.setattr(write, "write_pictures", one)


def test_everything_is_there(result, tmp_path: Path):
    folder = tmp_path / "deep" / "report"
    write_results(result, folder)
    assert _files(folder) == EVERYTHING
    assert [path.name for path in folder.parent.iterdir()] == ["report"]
    assert json.loads((folder / "report.json").read_text())["verdict"] == "fail"
    job = tomllib.loads((folder / "job.toml").read_text())
    assert (folder / job["part"]["file"]).resolve() == tmp_path / "sphere.stl"


def test_worst_points_are_the_nearest_ones(result, tmp_path: Path, quick):
    write_results(result, tmp_path / "report")
    rows = list(csv.DictReader((tmp_path / "report" / "worst_points.csv").open()))
    assert list(rows[0]) == ["zone", "x_mm", "y_mm", "z_mm", "clearance_mm", "gap_mm", "margin_mm"]
    ceiling = [row for row in rows if row["zone"] == "ceiling"]
    assert len(ceiling) == 200
    # The top vertex of the lifted sphere: 60 - (50 + 5) = 5 mm, 3 mm short of 8.
    assert [float(ceiling[0][k]) for k in ("z_mm", "clearance_mm", "margin_mm")] == pytest.approx([50, 5, -3], abs=1e-4)
    heights = [float(row["z_mm"]) for row in ceiling]
    assert heights == sorted(heights, reverse=True)


def test_a_zone_named_like_a_formula_stays_text(result):
    first, *others = result.zones
    named = replace(first, zone=replace(first.zone, name="=1+1"))
    rows = worst_points_csv(replace(result, zones=(named, *others))).splitlines()
    assert rows[1].startswith("'=1+1,")


def test_an_earlier_report_is_replaced_whole(result, tmp_path: Path, quick):
    folder = tmp_path / "report"
    write_results(result, folder)
    (folder / "clearance_zone_gone.ply").write_text("of a zone that the job no longer has")
    (folder / ".DS_Store").write_text("left by a file manager")
    write_results(result, folder)
    assert not (folder / "clearance_zone_gone.ply").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


@pytest.mark.parametrize(
    "fault", [KeyboardInterrupt(), ValueError("bug"), OSError(errno.ENOSPC, "No space left on device")]
)
@pytest.mark.parametrize("step", ["write_meshes", "write_pictures", "report_page"])
def test_a_fault_leaves_the_old_report_and_nothing_else(result, tmp_path: Path, quick, monkeypatch, step, fault):
    folder = tmp_path / "report"
    write_results(result, folder)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}

    def broken(*arguments: object) -> None:
        raise fault

    monkeypatch.setattr(write, step, broken)
    with pytest.raises(InputError if isinstance(fault, OSError) else type(fault)) as caught:
        write_results(result, folder)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["report"]
    if isinstance(fault, OSError):
        assert "No space left on device" in str(caught.value)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize("fault", [KeyboardInterrupt, OSError])
def test_a_fault_between_the_two_renames_brings_the_old_report_back(result, tmp_path: Path, quick, monkeypatch, fault):
    folder = tmp_path / "report"
    write_results(result, folder)
    (folder / "desktop.ini").write_text("mark of the old one")
    rename = Path.rename

    def broken(self: Path, target: Path) -> Path:
        if self.name.endswith(".unfinished"):
            raise fault
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", broken)
    monkeypatch.setattr(folder_module, "exchange", lambda one, other: False)  # as where the system has no such call
    with pytest.raises((KeyboardInterrupt, InputError)):
        write_results(result, folder)
    assert (folder / "desktop.ini").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["report"]


def test_foreign_folders_are_refused_untouched(result, tmp_path: Path, quick):
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "dog.jpg").write_text("dog")
    with pytest.raises(InputError, match=r"other files \(dog\.jpg\); choose an empty or a new one"):
        write_results(result, folder)
    assert _files(tmp_path) == {"photos/dog.jpg"}


def test_own_files_put_into_a_report_are_not_deleted(result, tmp_path: Path, quick):
    folder = tmp_path / "report"
    write_results(result, folder)
    (folder / "my notes.txt").write_text("keep")
    with pytest.raises(InputError, match=r"my notes\.txt"):
        check_folder(folder)


@pytest.mark.parametrize("text", ["not json", "[]", '{"format": "other/1"}'])
def test_a_report_of_another_program_is_refused(tmp_path: Path, text: str):
    (tmp_path / "report.json").write_text(text)
    with pytest.raises(InputError, match="other files"):
        check_folder(tmp_path)


def test_an_empty_folder_is_taken(result, tmp_path: Path, quick):
    (tmp_path / "report").mkdir()
    write_results(result, tmp_path / "report")
    assert (tmp_path / "report" / "report.html").exists()


def test_files_and_the_working_folder_are_refused(tmp_path: Path, monkeypatch):
    (tmp_path / "file").write_text("x")
    for place in ("file", "file/report"):
        with pytest.raises(InputError, match="file"):
            check_folder(tmp_path / place)
    (tmp_path / "inside").mkdir()
    monkeypatch.chdir(tmp_path / "inside")
    for place in (".", ".."):
        with pytest.raises(InputError, match="working folder"):
            check_folder(Path(place))


def test_a_linked_folder_stays_a_link(result, tmp_path: Path, quick):
    (tmp_path / "disk").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "disk", target_is_directory=True)
    write_results(result, tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "disk" / "report.json").exists()
    shutil.rmtree(tmp_path / "disk")
