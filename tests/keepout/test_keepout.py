"""Keep-outs against closed forms: volume, what they hold, frames, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from solid_jobs import solid_zone as zone

from clearance.distance.inside import winding_says_inside
from clearance.errors import InputError
from clearance.scene.mesh_health import closed

SHARE = 0.10
"""Volume may exceed the exact one by this share: the demand on the product."""

CUBE = (-60.0, -60, -60, 60, 60, 60)
ROLL = "[rock]\naxis = { point = [0, 0, 0], direction = [0, 1, 0] }\nroll = [-20.0, 25.0]\n"


def holds(found, places: np.ndarray) -> np.ndarray:
    return winding_says_inside(found.mesh, places)


def check_volume(found, exact: float) -> None:
    assert closed(found.mesh)
    assert exact <= found.volume_mm3 <= (1 + SHARE) * exact


def test_about_a_sphere_it_is_the_larger_sphere(taken):
    found = taken(zone("sphere = { center = [0, 0, 0], diameter = 60 }", 10), CUBE)
    check_volume(found, 4 / 3 * np.pi * 40**3)
    way = np.random.default_rng(0).normal(size=(400, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    assert holds(found, 39.999 * way).all()
    assert not holds(found, (40 + found.over_mm) * way).any()


def test_before_a_wall_it_ends_at_the_gap(taken):
    found = taken(zone("box = { min = [-300, -300, -300], max = [300, 300, -20] }", 10), CUBE, 1.5)
    check_volume(found, 120 * 120 * 50)
    edge = np.random.default_rng(1).uniform(-59, 59, (400, 2))
    assert holds(found, np.column_stack([edge, np.full(400, -10.001)])).all()
    assert not holds(found, np.column_stack([edge, np.full(400, -10 + found.over_mm)])).any()


def test_about_a_cylinder_it_is_the_thicker_cylinder(taken):
    found = taken(zone("cylinder = { from = [0, -300, 0], to = [0, 300, 0], diameter = 50 }", 10), CUBE)
    check_volume(found, np.pi * 35**2 * 120)


def test_a_cylinder_that_the_part_rolls_past_sweeps_a_ring_with_round_ends(taken):
    """Radius 10 and gap 10 about a circle of radius 40: half discs of radius 20 and an arc of the ring 20 to 60."""
    shaft = zone("cylinder = { from = [40, -300, 0], to = [40, 300, 0], diameter = 20 }", 10)
    found = taken(shaft + ROLL, (-65, -10, -65, 65, 10, 65))
    check_volume(found, 20 * (np.pi * 20**2 + np.radians(45) * (60**2 - 20**2) / 2))
    # The part turns by +25 degrees about y; seen from it the shaft turns by -25.
    for degrees in (-25, 3, 20):
        a = np.radians(degrees)
        centre = 40 * np.array([np.cos(a), 0, -np.sin(a)])
        assert holds(found, centre + 19.9 * np.array([[0, 0, 1.0], [0, 0, -1], [1, 0, 0], [-1, 0, 0]])).all(), degrees


def test_a_stroke_lengthens_a_sphere_into_a_capsule(taken):
    ball = zone("sphere = { center = [0, 0, 0], diameter = 20 }", 10, "stroke = { axis = [1, 0, 0], mm = [0, 30] }")
    found = taken(ball, (-30.0, -30, -30, 60, 30, 30))
    check_volume(found, 4 / 3 * np.pi * 20**3 + 30 * np.pi * 20**2)


def test_lift_goes_the_other_way_for_the_part(taken):
    """The engine lifts by up to 20: seen from the part the sphere sinks by as much."""
    ball = zone("sphere = { center = [0, 0, 0], diameter = 30 }", 10)
    rock = "[rock]\naxis = { point = [0, 0, 0], direction = [0, 1, 0] }\nroll = [0.0, 0.0]\nlift = [0.0, 20.0]\n"
    found = taken(ball + rock, (-30.0, -30, -50, 30, 30, 30))
    check_volume(found, 4 / 3 * np.pi * 25**3 + 20 * np.pi * 25**2)
    assert holds(found, np.array([[0, 0, -44.9], [0, 0, 24.9]])).all()
    assert not holds(found, np.array([[0, 0, 24.9 + 2.3]])).any()


def test_the_inside_of_a_body_far_from_its_skin_is_part_of_it(taken):
    found = taken(zone("box = { min = [-40, -40, -40], max = [40, 40, 40] }", 0.0), CUBE, 2.5)
    assert holds(found, np.zeros((1, 3))).all()
    assert 80**3 <= found.volume_mm3 <= 85**3


def test_a_plate_that_strokes_leaves_no_hollow(taken):
    """Two large triangles a side sweep a prism whose middle is far from any edge of it."""
    plate = zone(
        "box = { min = [-50, -50, -1], max = [50, 50, 1] }", 1, "stroke = { axis = [0, 0, 1], mm = [-40, 40] }"
    )
    found = taken(plate, CUBE, 3.0)
    z = np.linspace(-41, 41, 30)
    assert holds(found, np.column_stack([np.full(30, 20.0), np.full(30, -7.0), z])).all()


def test_growth_keeps_the_hot_part_out_as_well(taken):
    """316L to 600 degrees grows by about 1 %: a place 100 from the anchor on the near side comes 1 nearer."""
    heat = (
        '[heat]\npart_temperature = 600\nanchor = "foot"\n[[datum]]\nname = "foot"\non = "part"\n'
        "face = { point = [-60, 0, 0], normal = [-1, 0, 0], radius = 5 }\n"
    )
    wall = zone("box = { min = [40, -300, -300], max = [300, 300, 300] }", 10)
    cold, hot = (taken(wall + more, CUBE, 1.5) for more in ("", heat))
    grows = hot.growth.k_hot - 1
    assert 0.008 < grows < 0.013
    # The limit is at x = 30 for a place at temperature; the anchor is at -60: (x + 60) (1 + grows) - 60 = 30.
    limit = 90 / (1 + grows) - 60
    assert holds(hot, np.array([[limit + 0.01, 3, 4]])).all()
    assert not holds(cold, np.array([[limit + 0.01, 3, 4]])).any()


def test_both_frames_hold_the_same_solid(taken):
    place = "shift = [30, -20, 10]\nturn = { axis = [1, 2, 3], degrees = 50 }"
    ball = zone("sphere = { center = [30, -20, 10], diameter = 40 }", 10)
    own = taken(ball, (-45.0, -45, -45, 45, 45, 45), place=place)
    bay = taken(ball, (-15.0, -65, -35, 75, 25, 55), place=place, frame="bay")
    assert np.allclose(own.mesh.vertices.mean(axis=0), 0, atol=1.0)
    assert np.allclose(bay.mesh.vertices.mean(axis=0), [30, -20, 10], atol=1.0)
    assert own.volume_mm3 == pytest.approx(bay.volume_mm3, rel=0.01)


def test_nothing_near_gives_no_solid(taken):
    assert taken(zone("sphere = { center = [900, 0, 0], diameter = 40 }", 10), CUBE).mesh is None


@pytest.mark.parametrize(
    ("region", "resolution", "key"),
    [(CUBE[::-1], 2.0, "--region"), (CUBE, 0.0, "--resolution"), (CUBE, 0.05, "--resolution")],
)
def test_what_cannot_be_is_refused(taken, region, resolution, key):
    with pytest.raises(InputError, match=key):
        taken(zone("sphere = { center = [0, 0, 0], diameter = 40 }", 10), region, resolution)
