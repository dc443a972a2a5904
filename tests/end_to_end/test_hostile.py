"""Whole jobs built so that the gap does not hold, or was not proven, where a pass would be the easy answer."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from clearance.errors import InputError
from clearance.pipeline import check
from clearance.verdict.result import CheckResult, Verdict

Array = NDArray[np.float64]
PART = trimesh.creation.box((80, 60, 20))
"""Its underside is z = -10."""

FACE = """
[[datum]]
name = "foot"
on = "part"
face = {{ point = [0, 0, {at}], normal = [0, 0, -1], radius = {radius} }}
"""
LIFT = """
[rock]
axis = {{ point = [0, 0, 0], direction = [0, 1, 0] }}
roll = [0, 0]
lift = [{low}, {high}]
"""


def _grid(z: float, half_u: float, half_v: float, pitch: float, noise: float = 0.02) -> Array:
    u, v = np.meshgrid(np.arange(-half_u, half_u + 1e-9, pitch), np.arange(-half_v, half_v + 1e-9, pitch))
    return np.column_stack([u.ravel(), v.ravel(), z + np.random.default_rng(3).normal(0, noise, u.size)])


def _zone(name: str, where: str, gap: float, more: str = "") -> str:
    return f'[[zone]]\nname = "{name}"\nkind = "chassis"\nwhere = {where}\ngap = {gap}\n{more}\n'


REST = "{ rest = true }"
FILE = '{ file = "zone.ply", unit = "mm" }'


def _check(
    folder: Path,
    zones: str,
    *,
    part: trimesh.Trimesh = PART,
    scan: Array | None = None,
    zone: trimesh.Trimesh | None = None,
    contact: bool = False,
    accuracy: float = 0.05,
    more: str = "",
) -> CheckResult:
    part.export(folder / "part.ply")
    touches = 'contact = ["foot"]' if contact else ""
    job = f'[part]\nfile = "part.ply"\nunit = "mm"\ntolerance = 0\n{touches}\n'
    if scan is not None:
        trimesh.PointCloud(scan).export(folder / "bay.ply")
        job += f'[bay]\nfiles = ["bay.ply"]\nunit = "mm"\naccuracy = {accuracy}\n'
    if zone is not None:
        zone.export(folder / "zone.ply")
    job += f'[register]\nmethod = "given"\nshift = [0, 0, 0]\n{zones}\n{more}'
    (folder / "job.toml").write_text(job)
    return check(folder / "job.toml")


FOOT = trimesh.creation.box((40, 40, 20))
SHELF = {
    "scan": {"scan": _grid(-10, 60, 60, 2), "zones": _zone("shelf", REST, 2)},
    "body": {"zone": trimesh.creation.box((120, 120, 40), transform=trimesh.transformations.translation_matrix(
        (0, 0, -30))), "zones": _zone("shelf", FILE, 2)},
}  # fmt: skip


@pytest.mark.parametrize("kind", SHELF)
def test_a_part_does_not_touch_what_it_moves_against(tmp_path: Path, kind: str):
    """Pushed 8 mm down it goes through the shelf, which was left out: a pass before."""
    more = FACE.format(at=-10, radius=45) + LIFT.format(low=-8.0, high=0.0)
    with pytest.raises(InputError, match="moves against the part"):
        _check(tmp_path, part=FOOT, contact=True, more=more, **SHELF[kind])


@pytest.mark.parametrize("kind", SHELF)
def test_a_part_that_rides_with_what_it_touches_may_rock(tmp_path: Path, kind: str):
    given = SHELF[kind] | {"zones": SHELF[kind]["zones"].replace("gap = 2", 'rides = "engine"\ngap = 2')}
    more = FACE.format(at=-10, radius=32) + LIFT.format(low=-8.0, high=0.0)
    assert _check(tmp_path, part=FOOT, contact=True, more=more, **given).masks["shelf"] is not None


@pytest.mark.parametrize(
    ("at", "radius", "told"),
    [(-10, 150, "but the face reaches 28 mm"), (-13, 40, "no surface on the plane")],
    ids=["disc far wider than the face", "plane 3 mm off the part"],
)
def test_a_face_that_the_part_does_not_have_leaves_nothing_out(tmp_path: Path, at: int, radius: int, told: str):
    runner = trimesh.creation.box((90, 20, 14), transform=trimesh.transformations.translation_matrix((60, 0, -2)))
    part = trimesh.util.concatenate([FOOT, runner])  # 1 mm above the deck
    with pytest.raises(InputError, match=told):
        _check(tmp_path, _zone("deck", REST, 5), part=part, scan=_grid(-10, 160, 60, 2), contact=True,
               more=FACE.format(at=at, radius=radius))  # fmt: skip


def test_a_hole_on_the_parts_side_of_a_face_is_told(tmp_path: Path):
    """The part hangs from z = 10; a floor 30 mm below it has a hole as wide as that is away from the face."""
    floor = _grid(-40, 120, 120, 2)
    floor = floor[np.hypot(floor[:, 0], floor[:, 1]) > 28]
    head = _grid(10, 120, 120, 2)
    face = FACE.format(at=10, radius=60).replace("[0, 0, -1]", "[0, 0, 1]")
    zones = _zone("floor", "{ box = { min = [-200, -200, -60], max = [200, 200, -20] } }", 25) + _zone("head", REST, 0)
    result = _check(tmp_path, zones, scan=np.vstack([floor, head]), contact=True, more=face)
    assert result.verdict is Verdict.UNDECIDED
    assert any("hole" in place.advice for place in result.unseen), result.reason


def test_a_zone_edge_does_not_cut_strays_apart(tmp_path: Path):
    company = np.array([[-6.0, 0, -20], [-2, 1, -20.5], [2, 0, -20], [6, 1, -20.2]])
    sides = [
        _zone(name, f"{{ box = {{ min = [{low}, -300, -100], max = [{low + 300}, 300, 0] }} }}", 20)
        for name, low in (("left", -300), ("right", 0))
    ]
    result = _check(tmp_path, "".join(sides), scan=np.vstack([_grid(-60, 150, 150, 3), company]))
    assert result.verdict is Verdict.UNDECIDED
    assert "no surface supports" in result.reason


def test_a_handful_of_points_near_the_part_shows_no_surface(tmp_path: Path):
    scan = np.vstack([_grid(-30, 8, 4, 2.2), _grid(-400, 200, 200, 5)])
    result = _check(tmp_path, _zone("rail", REST, 12), scan=scan)
    assert result.verdict is Verdict.UNDECIDED
    assert "scan points lie about the part" in result.reason


@pytest.mark.parametrize(
    ("z", "pitch", "accuracy"), [(-21, 20.0, 0.05), (-21.5, 1.5, 3.0)], ids=["sparse", "poorly known"]
)
def test_points_of_no_zone_have_a_guard_of_their_own(tmp_path: Path, z: float, pitch: float, accuracy: float):
    """The one zone is a body far off, without any guard; 10 mm are required, the points lie 11 and 11.5 mm off."""
    rail = _zone("rail", "{ box = { min = [200, -50, -50], max = [220, 50, 50] }, solid = true }", 10)
    result = _check(tmp_path, rail, scan=_grid(z, 160, 160, pitch, noise=0.0), accuracy=accuracy)
    assert result.verdict is Verdict.UNDECIDED
    assert "no zone" in result.reason


def _holed_block() -> trimesh.Trimesh:
    """100 mm cube, finely split, with a square 25 mm wide missing from its upper face."""
    block = trimesh.creation.box((100, 100, 100)).subdivide().subdivide().subdivide()
    x, y, z = block.triangles_center.T
    lost = (z > 49.9) & (np.abs(x) < 12) & (np.abs(y) < 12)
    return trimesh.Trimesh(block.vertices, block.faces[~lost], process=False)


def test_a_rod_that_goes_into_an_open_part_is_not_clear(tmp_path: Path):
    """Outside at rest and at the middle of the motion, 40 mm within the block at its end, touching nothing."""
    wire = "{ cylinder = { from = [0, 0, 80], to = [0, 0, 200], diameter = 3 }, solid = true }"
    result = _check(tmp_path, _zone("wire", wire, 3), part=_holed_block(), more=LIFT.format(low=-70.0, high=70.0))
    assert result.verdict is Verdict.UNDECIDED
    assert "not closed" in result.reason


def test_a_part_that_goes_into_an_open_zone_is_not_clear(tmp_path: Path):
    part = trimesh.creation.box((6, 6, 60), transform=trimesh.transformations.translation_matrix((0, 0, 120)))
    result = _check(tmp_path, _zone("block", FILE, 3), part=part, zone=_holed_block(),
                    more=LIFT.format(low=-110.0, high=60.0))  # fmt: skip
    assert result.verdict is Verdict.UNDECIDED
    assert "not closed" in result.reason


def test_a_name_that_turns_the_line_about_is_refused(tmp_path: Path):
    body = "{ box = { min = [-100, -100, -40], max = [100, 100, -20] }, solid = true }"
    with pytest.raises(InputError, match="direction of writing"):
        _check(tmp_path, _zone("rail \\u202e ssap", body, 5))


def test_many_holes_in_the_mating_surface_do_not_crowd_out_a_hole_elsewhere(tmp_path: Path):
    """Only the worst places are listed; 25 bolt holes that the part covers come before the one in the floor."""
    part = trimesh.creation.box((160, 160, 20))
    floor, head = _grid(-40, 120, 120, 2), _grid(10, 120, 120, 2)
    floor = floor[np.hypot(floor[:, 0], floor[:, 1]) > 28]
    for x in range(-60, 61, 30):
        for y in range(-60, 61, 30):
            head = head[np.hypot(head[:, 0] - x, head[:, 1] - y) > 9]
    face = FACE.format(at=10, radius=116).replace("[0, 0, -1]", "[0, 0, 1]")
    zones = _zone("floor", "{ box = { min = [-200, -200, -60], max = [200, 200, -20] } }", 25) + _zone("head", REST, 0)
    result = _check(tmp_path, zones, part=part, scan=np.vstack([floor, head]), contact=True, more=face)
    by_name = {zone.zone.name: zone.verdict for zone in result.zones}
    assert by_name["floor"] is Verdict.UNDECIDED, result.reason


SWING = "travel = {{ about = [-300, 0, {z}], axis = [0, 1, 0], degrees = [-45, {up}] }}"
"""Of an arm from its joint at x = -300 along +x; at -33.7 degrees one as long as this goes through the part."""


def _arm(to: float = 100.0, z: float = -200.0) -> Array:
    """Return the flat arm, 40 mm wide, as far as it was scanned."""
    u, v = np.meshgrid(np.arange(-290, to + 1e-9, 2.0), np.arange(-20, 21, 2.0))
    return np.column_stack([u.ravel(), v.ravel(), z + np.random.default_rng(4).normal(0, 0.02, u.size)])


def _swings(to: float, rest: str, up: float = 0.0) -> str:
    where = f"{{ box = {{ min = [-310, -30, -220], max = [{to}, 30, -180] }} }}"
    return _zone("arm", where, 15, SWING.format(z=-200, up=up)) + rest


FLOOR = _zone("floor", "{ box = { min = [-500, -300, -300], max = [500, 300, -230] } }", 20)


@pytest.mark.parametrize("rest", [FLOOR, FLOOR.replace("-230", "0"), _zone("floor", REST, 20)],
                         ids=["tip in no zone", "tip in a box that holds all", "tip in the rest"])  # fmt: skip
def test_a_tip_that_the_zones_place_cuts_off_swings_too(tmp_path: Path, rest: str):
    result = _check(tmp_path, _swings(-170, rest), scan=np.vstack([_arm(), _grid(-260, 400, 200, 4)]))
    assert result.verdict is Verdict.UNDECIDED
    assert "just beside the zone's place" in result.reason


def _whole_arm(to: float) -> Array:
    """Return the same arm 15 mm thick, seen on its upper side, its sides and its end."""
    down = np.arange(-201.0, -215.1, -2.0)
    x, z = (a.ravel() for a in np.meshgrid(np.arange(-290, to + 1e-9, 2.0), down))
    y, low = (a.ravel() for a in np.meshgrid(np.arange(-20, 21, 2.0), down))
    sides = [np.column_stack([x, np.full(x.size, side), z]) for side in (-20.0, 20.0)]
    return np.vstack([_arm(to), *sides, np.column_stack([np.full(y.size, to), y, low])])


@pytest.mark.parametrize("below", [-260, -500], ids=["floor near beneath", "floor far beneath"])
def test_an_arm_that_is_wholly_in_its_zone_and_wholly_scanned_passes(tmp_path: Path, below: int):
    """Its joint is held by a bracket in the rest. The end of the arm comes within 51 mm of the part."""
    bracket = _grid(0, 30, 30, 2)[:, [2, 0, 1]] + [-300, 0, -205]
    scan = np.vstack([_whole_arm(to=-30), bracket, _grid(below, 400, 400, 4)])
    result = _check(tmp_path, _swings(0, _zone("else", REST, 20)), scan=scan)
    assert result.verdict is Verdict.PASS, result.reason
    assert result.zones[0].zone.beside is not None
    assert len(result.zones[0].zone.beside) > 0


@pytest.mark.parametrize("below", [-260, -500], ids=["floor near beneath", "floor far beneath"])
def test_the_unseen_tip_of_an_arm_swings_too(tmp_path: Path, below: int):
    """Half of the arm was scanned, and the floor under all of it: that what is beneath was seen shows no end of it."""
    scan = np.vstack([_arm(to=-170), _grid(below, 400, 400, 4)])
    result = _check(tmp_path, _swings(100, _zone("floor", REST, 20)), scan=scan)
    assert result.verdict is Verdict.UNDECIDED
    assert "as this zone moves" in result.reason


@pytest.mark.parametrize(("pitch", "frames", "jitter"), [(5.5, 20, 0.05), (7.5, 7, 0.2), (20, 20, 0.3), (60, 60, 0.2)])
def test_frames_of_a_coarse_grid_do_not_pass_for_a_dense_scan(tmp_path: Path, pitch: float, frames: int, jitter: float):
    """A stud 8 mm high fits between the points of the floor 50 mm below, and 48 are needed."""
    scan = np.repeat(_grid(-60, 4 * 60, 4 * 60, pitch, 0.0), frames, axis=0)
    scan += np.random.default_rng(0).normal(0, jitter, scan.shape)
    result = _check(tmp_path, _zone("floor", REST, 48), scan=scan)
    assert result.verdict is Verdict.UNDECIDED


def test_a_scan_rounded_to_a_centimetre_proves_nothing(tmp_path: Path):
    """The floor is 15.2 mm below the part; in metres with two decimals it stands at 20 mm."""
    floor = _grid(-25.2, 150, 150, 3)
    np.savetxt(tmp_path / "bay.xyz", floor / 1000, fmt="%.2f")
    PART.export(tmp_path / "part.ply")
    job = '[part]\nfile = "part.ply"\nunit = "mm"\ntolerance = 0\n[register]\nmethod = "given"\nshift = [0, 0, 0]\n'
    job += '[bay]\nfiles = ["bay.xyz"]\nunit = "m"\naccuracy = 0.05\n' + _zone("floor", REST, 16)
    (tmp_path / "job.toml").write_text(job)
    with pytest.raises(InputError, match="steps of 10 mm"):
        check(tmp_path / "job.toml")
