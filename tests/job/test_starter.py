"""The starter runs as it is and passes; what it claims holds by closed-form distances at sampled poses."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.job.describe import describe
from clearance.job.read import read_job
from clearance.job.starter import PART, write_starter
from clearance.job.where import Rod, Where
from clearance.pipeline import check
from clearance.verdict.result import Verdict


@pytest.fixture
def started(tmp_path: Path) -> Path:
    job = tmp_path / "job.toml"
    assert write_starter(job) == [job, tmp_path / PART]
    return job


def _distance(where: Where, points: np.ndarray) -> float:
    """Return the smallest distance of points from a solid: textbook formulas of box, rod and sphere."""
    if where.box is not None:
        low, high = np.array(where.box.min), np.array(where.box.max)
        return float(np.linalg.norm(np.maximum(0, np.maximum(low - points, points - high)), axis=1).min())
    if where.sphere is not None:
        away = np.linalg.norm(points - np.array(where.sphere.center), axis=1)
        return float(away.min() - where.sphere.diameter / 2)
    rod = where.cylinder or where.capsule
    assert isinstance(rod, Rod)
    start, axis = np.array(rod.from_), np.array(rod.to) - np.array(rod.from_)
    length = float(np.linalg.norm(axis))
    along = (points - start) @ axis / length
    beside = np.linalg.norm(points - start - along[:, None] * axis / length, axis=1)
    beyond = np.maximum(0, np.maximum(-along, along - length))
    if where.capsule is not None:
        return float(np.hypot(beside, beyond).min() - rod.diameter / 2)
    return float(np.hypot(np.maximum(0, beside - rod.diameter / 2), beyond).min())


def _rocked(points: np.ndarray, rock, roll: float, lift: float, shift: float) -> np.ndarray:
    turn = trimesh.transformations.rotation_matrix(np.radians(roll), rock.axis.direction, rock.axis.point)
    return trimesh.transform_points(points, turn) + lift * np.array(rock.up) + shift * np.array(rock.forward)


def test_it_passes_and_no_sampled_pose_contradicts_it(started):
    result = check(started)
    assert result.verdict is Verdict.PASS, result.reason
    job, rock = result.job, result.job.rock
    part = trimesh.load(started.parent / PART).subdivide_to_size(3.0)
    placed = part.vertices + np.array(job.register_.shift)
    still = [(0.0, 0.0, 0.0)]
    moved = list(product(np.linspace(*rock.roll, 9), rock.lift, rock.shift))
    for zone, told in zip(job.zones, result.zones, strict=True):
        poses = still if zone.rides == job.part.rides else moved
        sampled = min(_distance(zone.where, _rocked(placed, rock, *pose)) for pose in poses)
        assert told.sweep.clearance.lower <= sampled, zone.name
        # Points 3 mm apart on a surface stand at most 3/sqrt(3) mm from any spot of it; the roll
        # steps of 0.7 degrees at 0.35 m add 2 mm at most beside a sampled pose (half a step).
        assert sampled <= told.sweep.clearance.upper + 3 / 3**0.5 + 2.2, zone.name
        assert zone.gap + 1 < sampled < 3 * zone.gap, "the gap should look sensible beside the clearance"


def test_it_shows_every_kind_of_place_and_both_carriers(started):
    zones = read_job(started).zones
    shown = {name for zone in zones for name in ("box", "cylinder", "capsule", "sphere") if getattr(zone.where, name)}
    assert shown == {"box", "cylinder", "capsule", "sphere"}
    assert {zone.rides for zone in zones} == {"chassis", "engine"}
    assert len({zone.kind for zone in zones}) >= 4


def test_every_key_of_the_reference_is_shown_or_named(started):
    text = started.read_text("utf-8")
    keys = set(re.findall(r"^  ([\w.\[\]]+) ", describe(), re.MULTILINE))
    assert len(keys) > 40
    lacking = {key for key in keys if not re.search(rf"\b{re.split(r'[.]', key)[-1]}\b", text)}
    assert not lacking


def test_the_commented_scan_works_when_uncommented(started):
    text = started.read_text("utf-8")
    table = text[text.index("# [bay]") : text.index("# Where the part sits")]
    started.write_text(text.replace(table, re.sub(r"^# ", "", table, flags=re.MULTILINE)), "utf-8")
    (started.parent / "bay.ply").write_bytes(b"x")
    job = read_job(started)
    assert job.bay is not None
    assert job.bay.files == (Path("bay.ply"),)


def test_the_commented_landmarks_work_when_uncommented(started):
    text = started.read_text("utf-8")
    given = text[text.index('method = "given"') : text.index("# Instead of all the lines above: landmarks")]
    table = text[text.index('# method = "landmarks"') : text.index("# refine")]
    text = text.replace(given, "").replace(table, re.sub(r"^# ", "", table, flags=re.MULTILINE))
    started.write_text(text, "utf-8")
    pairs = read_job(started).register_.pair
    assert len(pairs) == 3
    part = trimesh.load(started.parent / PART)
    _, away, _ = trimesh.proximity.closest_point_naive(part, [pair.part for pair in pairs])
    assert away.max() < 1.0  # mm: landmarks lie on the part


def test_the_part_is_a_closed_runner_of_the_stated_size(started):
    part = trimesh.load(started.parent / PART)
    assert part.is_watertight
    assert part.is_winding_consistent
    # Solids of revolution, mm3: disc, straights, and the bend by Pappus. An inscribed polygon of n
    # sides has n/2/pi * sin(2 pi/n) of the circle's area (18: 0.980); the bend's chords take a little more.
    solid = np.pi * (45**2 * 8 + 21**2 * (52 + 40 + np.pi / 2 * 70))
    assert 0.96 * solid < part.volume < 0.985 * solid
    assert np.allclose(part.bounds[0], [0, -45, -110], atol=1)
    assert 10_000 < (started.parent / PART).stat().st_size < 20_000


@pytest.mark.parametrize("name", ["job.toml", PART])
def test_nothing_is_overwritten_and_nothing_left_behind(name, tmp_path):
    (tmp_path / name).write_text("mine")
    with pytest.raises(InputError, match="exists already") as refused:
        write_starter(tmp_path / "job.toml")
    assert refused.value.where == str(tmp_path / name)
    assert [p.name for p in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_a_dangling_link_is_not_written_through(tmp_path):
    (tmp_path / "job.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="exists already"):
        write_starter(tmp_path / "job.toml")
    assert [p.name for p in tmp_path.iterdir()] == ["job.toml"]


def test_the_parts_own_name_is_refused(tmp_path):
    with pytest.raises(InputError, match="name of the example part"):
        write_starter(tmp_path / PART)
    assert not list(tmp_path.iterdir())


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(InputError, match="choose a folder that exists"):
        write_starter(tmp_path / "none" / "job.toml")


def test_a_write_that_breaks_off_leaves_nothing(tmp_path, monkeypatch):
    class Full(Exception):
        """Stands for a stop in the middle of writing."""

    def stop(path, mode="r", *rest, _open=Path.open, **more):
        if path.name == PART:
            raise Full
        return _open(path, mode, *rest, **more)

    monkeypatch.setattr(Path, "open", stop)
    with pytest.raises(Full):
        write_starter(tmp_path / "job.toml")
    assert not list(tmp_path.iterdir())
