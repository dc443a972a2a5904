"""Boxes and obstacles for accesses."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from clearance.access.moving import Body
from clearance.access.obstacle import Obstacle
from clearance.scene.mesh import Mesh


def _box(low, high) -> Mesh:
    shape = trimesh.creation.box(bounds=[low, high])
    return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64))


@pytest.fixture
def cube() -> Body:
    """A cube with edges of 20 about the origin."""
    return Body(mesh=_box([-10, -10, -10], [10, 10, 10]))


@pytest.fixture
def block() -> Callable[..., Obstacle]:
    """Return a function that makes a box an obstacle."""

    def make(low, high, **more) -> Obstacle:
        return Obstacle(**{"name": "block", "solid": _box(low, high), "closed": True, **more})

    return make
