"""Sides of the bay in words."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.motion.rock import Rock

SIDES = ("above", "below", "in front", "behind", "the left", "the right")


def side(direction: Array, rock: Rock | None) -> str:
    """Return from which side a look along minus `direction` (3,) comes: in words where the job tells up and forward."""
    if rock is None:
        return f"the direction {at(direction, 2)}"
    left = np.cross(rock.up, rock.forward)
    axes = np.stack([rock.up, -rock.up, rock.forward, -rock.forward, left, -left])
    return SIDES[int(np.argmax(axes @ direction))]


def at(place: Array, decimals: int = 0) -> str:
    """Return (3,) numbers as `[x, y, z]`."""
    return "[" + ", ".join(f"{x + 0.0:.{decimals}f}" for x in np.round(place, decimals)) + "]"
