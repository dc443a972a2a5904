"""The certified sweep against closed forms. Lengths in mm."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from brute import distance, signed
from scenes import Scene, judge, posed, rocking

from clearance.motion.pair import PairMotion
from clearance.motion.result import MotionState
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh

STILL = PairMotion()
TOLERANCE = 0.005


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64))


def box(low, high) -> Mesh:
    low, high = np.asarray(low, float), np.asarray(high, float)
    shape = trimesh.creation.box(high - low)
    shape.apply_translation((low + high) / 2)
    return mesh_of(shape)


WALL_OF_POINTS = np.stack(np.meshgrid([0.0], np.arange(-60, 61, 4.0), np.arange(-60, 61, 4.0)), -1).reshape(-1, 3)


@pytest.mark.parametrize("zone_kind", ["points", "mesh"])
@pytest.mark.parametrize(("phi0_deg", "wanted"), [(3.0, 5.0), (10.0, 305 - 300 * np.cos(np.radians(5.0))), (-3.0, 5.0)])
def test_rod_past_a_wall(phi0_deg, wanted, zone_kind):
    """A needle with its tip 300 from the axis, phi0 off the normal of a wall 305 away, rolls by +-5 degrees.

    Where the tip passes the normal the gap is 305 - 300; the ends of the roll and rest alone would say 5.183.
    """
    phi0 = np.radians(phi0_deg)
    tip = 300 * np.array([np.cos(phi0), 0, -np.sin(phi0)])
    needle = Mesh(np.array([tip, tip * 0.9, tip * 0.9 + (0, 1, 0)]), np.array([[0, 1, 2]]))
    if zone_kind == "mesh":
        wall: Mesh | np.ndarray = box((305, -60, -60), (310, 60, 60))
    else:
        # Scan points on the arc's own height, so that the nearest one is straight ahead of the tip.
        heights = np.linspace(-60, 60, 1201)
        wall = np.column_stack([np.full(1201, 305.0), np.zeros(1201), heights])
        if wanted != 5.0:
            wanted = min(np.hypot(305 - 300 * np.cos(a), 0) for a in [np.radians(5.0)])
    found = sweep(needle, False, wall, zone_kind == "mesh", rocking(roll_deg=(-5, 5)), TOLERANCE)
    # Points 0.1 apart: up to 0.05 aside of the foot adds at most 0.05^2 / (2 * 5) = 0.00025.
    assert found.clearance.lower <= wanted + (0.00026 if zone_kind == "points" else 0.0)
    assert wanted <= found.clearance.upper
    assert found.clearance.width <= TOLERANCE
    if wanted == 5.0:
        assert found.clearance.upper < 5.182752 - 0.17
        # Within 5.005 of the wall the tip is within acos(1 - 0.005/300) = 0.33 degrees of the normal.
        assert abs(abs(np.degrees(found.worst.roll_rad)) - 3.0) < 0.34


def torus(tilt_rad: float) -> trimesh.Trimesh:
    shape = trimesh.creation.torus(40.0, 10.0, major_sections=720, minor_sections=180)
    shape.apply_transform(trimesh.transformations.rotation_matrix(tilt_rad, (1, 0, 0)))
    return shape


@pytest.mark.parametrize("tilt_deg", [0.0, 30.0, 90.0])
def test_tilted_torus_above_a_plane(tilt_deg):
    """Centre 80 up, R 40, r 10: 80 - 40 sin(tilt) - 10; 70, 50, 30. Facets are inscribed."""
    tilt = np.radians(tilt_deg)
    shape = torus(tilt)
    shape.apply_translation((0, 0, 80))
    plane = Mesh(np.array([[-300.0, -300, 0], [300, -300, 0], [0, 600, 0]]), np.array([[0, 1, 2]]))
    found = sweep(mesh_of(shape), True, plane, False, STILL, TOLERANCE).clearance
    wanted = 80 - 40 * np.sin(tilt) - 10
    inscribed = 50 * (1 - np.cos(np.pi / 720)) + 10 * (1 - np.cos(np.pi / 180))
    assert wanted - 1e-6 <= found.upper <= wanted + inscribed + 1e-6


def cylinder() -> Mesh:
    return mesh_of(trimesh.creation.cylinder(radius=20.0, height=100.0, sections=720))


@pytest.mark.parametrize(
    ("to_deg", "wanted"), [(0.0, 50.0), (15.0, 100 - 50 * np.cos(np.radians(15)) - 20 * np.sin(np.radians(15))),
                           (60.0, 100 - np.hypot(50, 20))]
)  # fmt: skip
def test_flat_ended_cylinder_tilts_over_a_plane(to_deg, wanted):
    """Centre 100 up, half length 50, radius 20: 100 - 50 cos t - 20 sin t, least at atan(20/50) = 21.80 degrees."""
    plane = Mesh(np.array([[-400.0, -400, -100], [400, -400, -100], [0, 800, -100]]), np.array([[0, 1, 2]]))
    found = sweep(cylinder(), True, plane, False, rocking(roll_deg=(0, to_deg)), TOLERANCE)
    inscribed = 20 * (1 - np.cos(np.pi / 720))
    assert found.clearance.lower <= wanted + inscribed
    assert found.clearance.upper >= wanted - 1e-6
    assert found.clearance.width <= TOLERANCE
    if to_deg == 60.0:
        assert np.degrees(found.worst.roll_rad) == pytest.approx(21.80, abs=1.0)


def test_sphere_slides_past_a_point_and_a_plane():
    """Swept sphere: distance from the point to the segment of centres, less the radius; for a plane the lower end."""
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=5, radius=10.0))
    inscribed = 10 - np.linalg.norm(ball.triangles.mean(axis=1), axis=1).min() + 1e-6
    motion = rocking(lift_mm=(-5, 40), shift_mm=(-3, 7))
    for point, wanted in {(20, 0, 20): 3.0, (60, 0, 44): np.hypot(53, 4) - 10, (0, 30, 17): 20.0}.items():
        found = sweep(ball, True, np.array([point], float), False, motion, TOLERANCE).clearance
        assert found.lower - inscribed <= wanted <= found.upper + 1e-6
        assert found.width <= TOLERANCE
    plane = Mesh(np.array([[-400.0, -400, -30], [400, -400, -30], [0, 800, -30]]), np.array([[0, 1, 2]]))
    found = sweep(ball, True, plane, False, motion, TOLERANCE)
    assert found.clearance.lower - inscribed <= 15.0 <= found.clearance.upper + 1e-6
    assert found.worst.lift_mm == pytest.approx(-5.0, abs=1e-6)
    assert found.evaluations == 1  # Translations need no search.


@pytest.mark.parametrize("turned", ["part", "zone"])
def test_point_on_an_arc_not_on_its_chord(turned):
    """A point 200 from the axis swings past a ball of radius 8 whose middle is 230 from it: 230 - 200 - 8 on the arc.

    The chord of the 10 degrees lies up to 0.76 inside the arc.
    """
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=4, radius=8.0))
    middle = np.array([230.0, 0, 0])
    ball = Mesh(ball.vertices + middle, ball.faces)
    at = np.radians(-7.0)
    point = 200 * np.array([[np.cos(at), 0, -np.sin(at)]])
    motion = rocking("zone", roll_deg=(0, 10)) if turned == "zone" else rocking("part", roll_deg=(-10, 0))
    found = sweep(ball, True, point, False, motion, TOLERANCE)
    facet = 8.0 - np.linalg.norm(ball.triangles.mean(axis=1) - middle, axis=1).min()
    assert found.clearance.lower - facet <= 22.0 <= found.clearance.upper + 1e-9
    # A turn about +y takes +x towards -z: the point, at -7 degrees, comes level by +7; the ball meets it by -7.
    assert np.degrees(found.worst.roll_rad) == pytest.approx(7.0 if turned == "zone" else -7.0, abs=1.0)


def test_tunnelling_is_caught():
    """A needle sweeps through a sheet 0.01 thick that it is clear of at both ends and in the middle of its roll."""
    tip = 300 * np.array([np.cos(0.03), 0, -np.sin(0.03)])
    needle = Mesh(np.array([tip, tip * 0.5, tip * 0.5 + (0, 1, 0)]), np.array([[0, 1, 2]]))
    sheet = box((200, -40, 2.0), (290, 40, 2.01))
    motion = rocking(roll_deg=(-5, 5))
    scene = Scene(needle, False, sheet, True, motion)
    rolls = np.radians([-5, -2.5, 0, 2.5, 5])
    part, zone = posed(scene, [MotionState(roll_rad=r, lift_mm=0, shift_mm=0) for r in rolls])
    assert min(distance(p, z) for p, z in zip(part, zone, strict=True)) > 0.5
    assert sweep(needle, False, sheet, True, motion, 0.02).clearance.upper <= 0
    assert judge(scene) == "interfering"


def test_tunnelling_by_lift_alone():
    """A 4 mm cube lifted by 60 mm through a loose sheet of triangles, clear at both ends."""
    cube, sheet = box((-2, -2, -2), (2, 2, 2)), box((-50, -50, 30), (50, 50, 30.001))
    found = sweep(cube, True, sheet, False, rocking(lift_mm=(0, 60)), 0.02)
    assert found.clearance.upper <= 0
    assert sweep(cube, True, sheet, False, rocking(lift_mm=(0, 27.9)), 0.02).clearance.contains(0.1)


def test_a_body_inside_the_sweep_of_one_big_triangle_is_not_clear():
    """Zone triangle far wider than the part passes over it: the swept prism's walls never come near the part."""
    cube = box((-2, -2, -2), (2, 2, 2))
    sheet = Mesh(np.array([[-5000.0, -5000, -300], [5000, -5000, -300], [0, 9000, -300]]), np.array([[0, 1, 2]]))
    for turned, lift in (("zone", (0, 600)), ("part", (-600, 0))):
        found = sweep(cube, True, sheet, False, rocking(turned, lift_mm=lift), 0.02)
        assert found.contained == (turned == "part")  # Else the part is what is swept, and the sheet crosses it.
        assert found.clearance.upper <= 0
        assert found.clearance.lower >= -np.sqrt(48)  # No deeper than the cube is wide.
    for turned, lift in (("zone", (0, 290)), ("part", (-290, 0))):
        assert sweep(cube, True, sheet, False, rocking(turned, lift_mm=lift), 0.02).clearance.contains(8.0)


@pytest.mark.parametrize("offset", [0.0, 1e5, -3e6])
def test_far_from_the_origin(offset):
    """A cube 5 clear of a point, counted from a surveyor's origin; float64 keeps 1e-9 of 3 km."""
    cube = box(np.array([-2, -2, -2]) + offset, np.array([2, 2, 2]) + offset)
    found = sweep(cube, True, np.array([[7.0, 0, 0]]) + offset, False, STILL, 0.02).clearance
    assert found.lower - 1e-8 <= 5.0 <= found.upper + 1e-8


def test_roll_of_more_than_a_turn():
    """All the way round, a cube at radius 100 passes every point at that radius: nearest is its farthest corner."""
    cube = box((98, -2, -2), (102, 2, 2))
    point = np.array([[-130.0, 0, 0]])
    for half in (180.0, 200.0, 500.0):
        found = sweep(cube, True, point, False, rocking(roll_deg=(-half, half)), 0.02).clearance
        assert found.lower <= 130 - np.hypot(102, 2) <= found.upper + 1e-9
        assert found.width <= 0.02


def test_lift_and_shift_along_one_line_add_up():
    cube = box((-2, -2, -2), (2, 2, 2))
    motion = rocking(up=[1, 0, 0], forward=[1, 0, 0], lift_mm=(0, 4), shift_mm=(0, 3))
    found = sweep(cube, True, np.array([[20.0, 0, 0]]), False, motion, 0.02)
    assert found.clearance.lower <= 20 - 2 - 7 <= found.clearance.upper + 1e-9
    assert (found.worst.lift_mm, found.worst.shift_mm) == pytest.approx((4.0, 3.0), abs=1e-6)


def test_open_part_with_a_point_inside_is_not_clear():
    """A sphere with its top cut off, seen from inside over more than half of all directions."""
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=20.0))
    bowl = Mesh(ball.vertices, ball.faces[ball.triangles[:, :, 2].max(axis=1) < 12])
    motion = rocking(roll_deg=(-3, 3), lift_mm=(-1, 2))
    inside = sweep(bowl, False, np.array([[0.0, 0, 0]]), False, motion, 0.02)
    assert inside.contained
    at_rest = signed(bowl.triangles, np.zeros((1, 3)))[0]
    assert inside.clearance.lower <= at_rest
    assert inside.clearance.upper <= 0.9 * at_rest  # Depth is searched to a tenth of itself.
    above = sweep(bowl, False, np.array([[0.0, 0, 40]]), False, motion, 0.02)
    assert not above.contained
    assert above.clearance.lower > 0


def test_cells_cover_the_roll_and_prove_the_bound():
    rng = np.random.default_rng(8)
    part = mesh_of(trimesh.creation.icosphere(subdivisions=1, radius=15.0))
    motion = rocking(point=[-80, 0, 30], direction=[0.1, 1, 0], roll_deg=(-4, 6), lift_mm=(-2, 5))
    scene = Scene(part, True, rng.normal(size=(30, 3)) * 12 + (60, 0, 0), False, motion)
    found = scene.answer()
    cells = found.cells[np.argsort(found.cells[:, 0])]
    assert found.angles == ("roll",)
    assert (cells[0, 0], cells[-1, 1]) == pytest.approx(motion.rock.roll_rad)
    assert cells[1:, 0] == pytest.approx(cells[:-1, 1], abs=1e-15)
    assert cells[:, 2].min() == found.clearance.lower
    for low, high, floor in cells:
        rolls = rng.uniform(low, high, 3)
        states = [MotionState(roll_rad=r, lift_mm=rng.uniform(-2, 5), shift_mm=0.0) for r in rolls]
        assert min(distance(p, z) for p, z in zip(*posed(scene, states), strict=True)) >= floor


def test_a_search_that_gives_up_does_not_call_a_swallowed_body_clear(monkeypatch):
    """A cube of side 2 rolls into a block of side 100, up to 51 deep; its search ends before it has seen them touch."""
    monkeypatch.setattr("clearance.motion.bounded.FIRST", 9)
    monkeypatch.setattr("clearance.motion.bounded.FINEST", 1.0)
    monkeypatch.setattr("clearance.motion.bounded.MOST_STEPS", 0)
    monkeypatch.setattr("clearance.motion.posed.PlacedBodies.most_evaluations", 9)
    cube, block = box((299, -1, -1), (301, 1, 1)), box((250, -50, -200), (350, 50, -100))
    at = np.arcsin(150 / 300)
    found = sweep(cube, True, block, True, rocking(roll_deg=(-90, np.degrees(at))), 0.02).clearance
    assert found.upper > 0
    assert found.lower <= -(300 * np.cos(at) - 250)  # So far inside the near face is its middle at the end of the roll.


@pytest.mark.parametrize("turned", ["part", "zone"])
@pytest.mark.parametrize("away", [60.0, 15.0])
def test_triangles_without_area_change_nothing(turned, away):
    """Edges and corners of the mesh repeated as triangles; clear at 60, interfering at 15."""
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=2, radius=20.0))
    a, b = ball.faces[:40, 0], ball.faces[:40, 1]
    odd_faces = [np.stack(corners, axis=1) for corners in ((a, a, b), (a, b, a), (a, a, a))]
    flat = Mesh(ball.vertices, np.vstack([ball.faces, *odd_faces]))
    points = np.random.default_rng(2).normal(size=(200, 3)) * 5 + np.array([away, 0, 0])
    motion = rocking(turned, point=[-90, 0, 30], roll_deg=(-4, 4), lift_mm=(-2, 3), shift_mm=(-1, 1))
    plain, odd = (sweep(mesh, True, points, False, motion, 0.02).clearance for mesh in (ball, flat))
    assert odd.lower == pytest.approx(plain.lower, abs=1e-6)
    assert odd.upper == pytest.approx(plain.upper, abs=1e-6)


def test_what_is_dropped_because_it_is_near_only_in_the_middle_was_not_the_worst():
    """A bar level in the middle of its roll; points under its middle are 8 off all the time, those by its end less."""
    bar = box((-200, -5, -5), (200, 5, 5))
    under, end = np.array([[0.0, 0, -13]]), np.array([[199.0, 0, -13]])
    half = np.radians(2.0)
    motion = rocking(point=[0, 0, 0], direction=[0, 1, 0], roll_deg=(-2, 2))
    found = sweep(bar, True, np.vstack([under, end]), False, motion, 0.02).clearance
    # The foot of the perpendicular to the bar's lower face, which turns about the bar's middle.
    assert found.upper == pytest.approx(13 * np.cos(half) - 199 * np.sin(half) - 5, abs=0.02)
