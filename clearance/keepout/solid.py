"""The keep-out solid of a box: margins at the nodes of a grid, bounded, and the closed surface around what is short.

Margin of a place: its clearance over all motions less what is needed. Let a place x of a tetrahedron of the grid be
short of a body, z the nearest point of the body in the state where it comes nearest, w the weights of x and n the
corners of the tetrahedron. No corner's clearance exceeds |n - z|, and |y - z| is a function of y with slope 1 and
curvature at most 1 / |y - z|. The corners lie on a sphere of radius R, sqrt(3)/2 spacings (Kuhn's tetrahedra share
the cube's), so that the mean square of |n - x| with the weights w is at most R^2. Hence the interpolated margin
exceeds that of x by no more than R and, where x lies within R of the limit, by no more than
R^2 / (2 (needed - 3 R)). The surface is drawn that far out: nothing short lies outside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from clearance.distance.inside import most_turns, winding_turns
from clearance.frames import Array, Pose
from clearance.heat.growth import Growth
from clearance.keepout.blockers import Blocker, margin_at
from clearance.keepout.tetrahedra import zero_surface
from clearance.motion.sweep import sweep
from clearance.scene.mesh import IntArray, Mesh
from clearance.verdict.enclosed import ENCLOSING

BLOCK = 8
"""Nodes along the side of a block that is asked as a whole first."""

SMALLEST_POCKET = 64
"""Nodes; a free pocket of fewer, closed in all round, is filled."""

WITHIN = ENCLOSING - 0.1
"""Turns of an open mesh about a place at which it counts as enclosed: less than what a check takes exception to."""

CLOSE = 500.0
"""Where the box cuts the solid the surface stands no farther outside it than a diagonal of the grid over this."""

HALF_DIAGONAL = float(np.sqrt(3.0)) / 2


@dataclass(frozen=True, eq=False)
class Grid:
    """Nodes low + spacing * (i, j, k) in the frame `T_bay_frame` maps from, mm; the outermost lie on the box."""

    low: Array
    spacing: Array
    shape: tuple[int, int, int]
    T_bay_frame: Pose

    @property
    def coarsest_mm(self) -> float:
        """Largest spacing along an axis."""
        return float(self.spacing.max())

    def places(self, index: IntArray | Array) -> Array:
        """Return (n, 3) places of (n, 3) node numbers, which may lie between nodes, in the bay, mm."""
        return self.T_bay_frame.apply(self.low + self.spacing * index)


@dataclass(frozen=True)
class Steps:
    """What a grid resolves, mm.

    Attributes
    ----------
    radius : of the sphere about a tetrahedron, times the factor by which the part grows
    tolerance : width of the bounds at the nodes
    apart : no node's value is taken nearer to 0, so that no triangle shrinks to a point
    inside, outside : values are kept down and up to these
    """

    radius: float
    tolerance: float
    apart: float
    inside: float
    outside: float

    def drawn(self, needed_mm: float) -> float:
        """Return the margin at which the surface is drawn about a body, so that it encloses."""
        bend = self.radius**2 / (2 * (needed_mm - 3 * self.radius)) if needed_mm > 3 * self.radius else np.inf
        return min(self.radius, bend) + self.apart

    def over_mm(self, needed_mm: float) -> float:
        """Return the largest margin of any place on the surface about a body."""
        return self.radius + self.drawn(needed_mm) + self.tolerance + self.apart


def steps_of(spacing_mm: float, growth: Growth | None) -> Steps:
    """Return what a grid resolves."""
    grows = max(1.0, growth.k_hot) if growth is not None else 1.0
    radius = HALF_DIAGONAL * spacing_mm * grows
    apart = 0.005 * spacing_mm
    return Steps(radius=radius, tolerance=0.1 * spacing_mm, apart=apart, inside=4 * radius + apart, outside=2 * radius)


def keep_out_surface(blockers: Sequence[Blocker], growth: Growth | None, grid: Grid) -> Mesh:
    """Return the closed surface, in the grid's own frame, around every place of the grid's box that is short.

    No place of the box outside it is nearer to any blocker than is needed, over all motions and
    temperatures; no place on it, within the box, has more than `Steps.over_mm` in hand.
    """
    steps = steps_of(grid.coarsest_mm, growth)
    field = np.full(grid.shape, steps.outside)
    for blocker in blockers:
        _lower(field, blocker, growth, grid, steps)
        _fill_enclosed(field, blocker, growth, grid, steps)
    _fill_pockets(field, blockers, growth, grid, steps)
    near = np.abs(field) < steps.apart
    field[near] = np.where(field[near] < 0, -steps.apart, steps.apart)
    padded = np.pad(field, 1, constant_values=CLOSE * steps.inside)
    return zero_surface(padded, grid.low - grid.spacing, grid.spacing)


def _lower(field: Array, blocker: Blocker, growth: Growth | None, grid: Grid, steps: Steps) -> None:
    """Lower the field (margin less the drawn one) to what one blocker leaves, whole blocks first."""
    counts = [-(-n // BLOCK) for n in grid.shape]
    blocks = np.stack(np.meshgrid(*map(np.arange, counts), indexing="ij"), axis=-1).reshape(-1, 3) * BLOCK
    reach, drawn = (BLOCK - 1) * steps.radius, steps.drawn(blocker.needed_mm)
    centres = grid.places(blocks.astype(np.float64) + (BLOCK - 1) / 2)
    ones = np.ones(len(blocks))
    low, high = drawn - steps.inside - reach, drawn + steps.outside + reach
    margin = margin_at(blocker, growth, centres, low * ones, high * ones, 0.1 * reach)
    for block in blocks[margin <= low]:
        field[tuple(slice(k, k + BLOCK) for k in block)] = -steps.inside
    inner = np.stack(np.meshgrid(*[np.arange(BLOCK)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    nodes = (blocks[(margin > low) & (margin < high)][:, None] + inner).reshape(-1, 3)
    nodes = nodes[(nodes < grid.shape).all(axis=1)]
    nodes = nodes[field[tuple(nodes.T)] > -steps.inside]
    ones = np.ones(len(nodes))
    bounds = (drawn - steps.inside) * ones, (drawn + steps.outside) * ones
    margin = margin_at(blocker, growth, grid.places(nodes), *bounds, steps.tolerance)
    value = np.clip(margin - drawn, -steps.inside, steps.outside)
    field[tuple(nodes.T)] = np.minimum(field[tuple(nodes.T)], value)


def _middle(places: Array, blocker: Blocker, growth: Growth | None) -> tuple[Array, Array, Array]:
    """Return places at the middle of the growth, and how the blocker is seen from the part at the middle motion."""
    if growth is not None:
        places = growth.anchor + (growth.k_cold + growth.k_hot) / 2 * (places - growth.anchor)
    motion = blocker.motion
    return places, *motion.zone_to_part(motion.middle, motion.half_shares)


def _fill_enclosed(field: Array, blocker: Blocker, growth: Growth | None, grid: Grid, steps: Steps) -> None:
    """Fill what lies within an open mesh that is all but closed: a check would not pass a part there."""
    mesh = blocker.obstacle.solid
    if not isinstance(mesh, Mesh) or blocker.obstacle.closed:
        return
    free = np.argwhere(field > 0)
    if not len(free):
        return
    places, rotation, shift = _middle(grid.places(free), blocker, growth)
    seen = Mesh(mesh.vertices @ rotation.T + shift, mesh.faces)
    if most_turns(seen, places[:: max(1, len(places) // 10_000)]) < 0.5:
        return
    field[tuple(free[np.abs(winding_turns(seen, places)) >= WITHIN].T)] = -steps.inside


def _fill_pockets(field: Array, blockers: Sequence[Blocker], growth: Growth | None, grid: Grid, steps: Steps) -> None:
    """Fill pockets of free nodes that lie inside a body or what it sweeps.

    Between two neighbours of a pocket no surface passes at any state, so the whole of it is inside or
    none of it is, and the certified sweep of a speck in its middle tells.
    """
    pocket, count = label(field > 0)
    sizes = np.bincount(pocket.ravel(), minlength=count + 1)
    large = sizes >= SMALLEST_POCKET
    field[(field > 0) & ~large[pocket]] = -steps.inside
    for number in np.flatnonzero(large[1:]) + 1:
        nodes = np.argwhere(pocket == number)
        values = field[tuple(nodes.T)]
        speck = grid.places(nodes[int(np.argmax(values))][None])
        if any(_swallows(blocker, speck, growth) for blocker in blockers):
            field[tuple(nodes.T)] = -steps.inside


def _swallows(blocker: Blocker, place: Array, growth: Growth | None) -> bool:
    """Tell whether a place lies inside a body at some state of its motion."""
    at, _, _ = _middle(place, blocker, growth)
    corners = at[0] + 1e-3 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=np.float64)
    speck = Mesh(corners, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]], dtype=np.int64))
    solid, closed = blocker.obstacle.solid, blocker.obstacle.closed
    return sweep(speck, True, solid, closed, blocker.motion, 0.5).clearance.lower <= 0
