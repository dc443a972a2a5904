"""Roll worked out from mounts and torque, against the statics of springs."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from pydantic import ValidationError

from clearance.job.motions import Rock
from clearance.job.mounts import Mount, roll_rate, strayed_mm

AXIS = {"point": (0, 0, 0), "direction": (0, 3, 0)}
TWO = ({"at": (250, 40, 0), "rate": (0, 0, 200)}, {"at": (-300, -70, 0), "rate": (0, 0, 150)})


def mounts(*tables) -> list[Mount]:
    return [Mount.model_validate(table) for table in tables]


def rock(**more) -> Rock:
    return Rock.model_validate({"axis": AXIS, **more})


def test_two_mounts_about_a_line():
    """K = sum k r^2 = 200e3 * 0.25^2 + 150e3 * 0.30^2 = 26 kN m / rad; 1200 N m turn it by 2.64442 degrees."""
    assert roll_rate(mounts(*TWO), (0, 0, 0), (0, 3, 0)) == pytest.approx(26e3, rel=1e-12)
    found = rock(mounts=TWO, torque=(-600, 1200)).roll_degrees
    assert found == pytest.approx((-1.32221, 2.64442), abs=5e-6)


def test_a_mount_on_the_line_or_soft_across_its_arm_holds_nothing():
    on_line = {"at": (0, 500, 0), "rate": (900, 900, 900)}
    along_arm = {"at": (400, 0, 0), "rate": (900, 0, 0)}
    assert roll_rate(mounts(*TWO, on_line, along_arm), (0, 0, 0), (0, 1, 0)) == pytest.approx(26e3, rel=1e-12)


def test_a_free_engine_turns_about_the_middle_of_alike_springs():
    """Eight alike springs in the corners of a box turn about lines through their middle by T / sum k r^2;
    about a line h beside it, held there, they turn by less: T / (sum k r^2 + sum k h^2)."""
    k, a, torque = 100.0, 200.0, 500.0
    box = mounts(*({"at": at, "rate": (k, k, k)} for at in product((a, -a), (90, -90), (a, -a))))
    places = np.array([[300.0, 0, 0], [0, 120, -400.0]])
    assert strayed_mm(box, (0, 55, 0), (0, 1, 0), torque, places) == pytest.approx(0.0, abs=1e-9)
    h = 80.0
    own = torque * 1e3 / (8 * k * 2 * a**2)
    held = torque * 1e3 / (8 * k * (2 * a**2 + h**2))
    off = np.linalg.norm(
        own * np.cross([0, 1, 0], places) - held * np.cross([0, 1, 0], places - [h, 0, 0]), axis=1
    ).max()
    assert strayed_mm(box, (h, 0, 0), (0, 1, 0), torque, places) == pytest.approx(off, rel=1e-9)


def test_mounts_that_leave_a_direction_free_tell_nothing_of_the_free_engine():
    assert strayed_mm(mounts(*TWO), (0, 0, 0), (0, 1, 0), 100.0, np.ones((1, 3))) is None


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "no roll; add roll"),
        ({"roll": (-1, 1), "mounts": TWO}, "roll beside mounts"),
        ({"mounts": TWO}, "go together"),
        ({"torque": (-1, 1)}, "go together"),
        ({"mounts": TWO, "torque": (0, 120e3)}, "roll 264 degrees"),
        ({"mounts": ({"at": (0, 9, 0), "rate": (1, 1, 1)},), "torque": (0, 1)}, "do not hold"),
        ({"mounts": TWO, "torque": (5, 10)}, "leaves out 0"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(more, said):
    with pytest.raises(ValidationError, match=said):
        rock(**more)
