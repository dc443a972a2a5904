"""The keep-out of a job: everything its part must stay out of within a box, as one closed surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.errors import ClearanceError, InputError
from clearance.frames import Array, identity
from clearance.heat.growth import Growth
from clearance.keepout.blockers import Blocker, blockers_of, box_corners, margin_at
from clearance.keepout.solid import Grid, keep_out_surface, steps_of
from clearance.layout.layout import lay_out
from clearance.layout.placement import Placement, Progress, place
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed, signed_volume
from clearance.verdict.left_out import left_out_notes

MOST_NODES = 20_000_000
"""Nodes of the grid, at most."""

SAMPLES = 4000
"""Places on the finished surface that are asked again."""

LAYERS_MM = 10.0
"""Scan points within a box are brought onto their surfaces by layers no farther apart."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """What was kept of one zone, mm: its gap, its guard without spacing, its widest spacing, and all together."""

    name: str
    gap_mm: float
    guard_mm: float
    spacing_mm: float
    needed_mm: float


@dataclass(frozen=True, eq=False, kw_only=True)
class KeepOut:
    """The solid that the part must stay out of.

    Attributes
    ----------
    mesh : Mesh or None
        Closed, outward; in `frame`, mm. None where nothing in the box is short of any gap.
    low, high : (3,) float64
        The box it holds for, in `frame`, mm.
    resolution_mm : float
        Spacing of the grid.
    over_mm : float
        No place on the surface has more than this in hand beyond what is needed.
    growth : Growth or None
        The growth with heat that is in it.
    notes : tuple of str
    """

    mesh: Mesh | None
    frame: str
    low: Array
    high: Array
    resolution_mm: float
    over_mm: float
    volume_mm3: float
    rows: tuple[Row, ...]
    growth: Growth | None
    notes: tuple[str, ...]


def keep_out(
    job_file: Path,
    *,
    resolution_mm: float,
    margin_mm: float = 50.0,
    region: tuple[float, ...] | None = None,
    frame: str = "part",
    progress: Progress = lambda step: None,
) -> KeepOut:
    """Return the keep-out of a job.

    Parameters
    ----------
    resolution_mm : float
        Spacing of the grid, mm, at most.
    margin_mm : float
        Without a `region` the box is that of the part and this much on all sides.
    region : six floats, optional
        Low and high corner of the box, in `frame`, mm.
    frame : "part" or "bay"
        Frame of the box and of the surface.

    Raises
    ------
    InputError
        For any fault of the job, and for a box or resolution that cannot be.
    """
    placed = place(job_file, progress)
    return keep_out_of(
        placed, resolution_mm=resolution_mm, margin_mm=margin_mm, region=region, frame=frame, progress=progress
    )


def keep_out_of(
    placed: Placement,
    *,
    resolution_mm: float,
    margin_mm: float = 50.0,
    region: tuple[float, ...] | None = None,
    frame: str = "part",
    progress: Progress = lambda step: None,
) -> KeepOut:
    """Return the keep-out around a placed part; see `keep_out`."""
    job, registration = placed.job, placed.registration
    if not registration.converged:
        found = "the part's place in the bay is not proven"
        raise InputError(job.file, found, "place it first: `clearance place` tells what is missing", "register")
    T_bay_frame = registration.T_bay_part if frame == "part" else identity("bay", "bay")
    own = placed.part.mesh if frame == "part" else placed.part.mesh.moved(registration.T_bay_part)
    low, high = _box(job.file, own, margin_mm, region)
    shape = _shape(job.file, low, high, resolution_mm)
    grid = Grid(low, (high - low) / (np.array(shape) - 1), shape, T_bay_frame)
    progress("laying out the zones")
    layout = lay_out(placed, _layers(low, high).moved(T_bay_frame))
    seen = T_bay_frame.apply(box_corners(low, high))
    blockers = blockers_of(layout, seen.min(axis=0), seen.max(axis=0), resolution_mm / 8)
    near = _near(blockers, layout.setting.growth, seen)
    progress(f"measuring against {len(near)} bodies at {np.prod(grid.shape)} places")
    surface = keep_out_surface(near, layout.setting.growth, grid)
    mesh = surface if len(surface.faces) else None
    if mesh is not None:
        progress("checking the surface")
        _prove(mesh, near, layout.setting.growth, grid)
    return KeepOut(
        mesh=mesh,
        frame=frame,
        low=low,
        high=high,
        resolution_mm=resolution_mm,
        over_mm=max(steps_of(resolution_mm, layout.setting.growth).over_mm(b.needed_mm) for b in blockers),
        volume_mm3=signed_volume(mesh) if mesh is not None else 0.0,
        rows=_rows(blockers),
        growth=layout.setting.growth,
        notes=(
            *registration.notes,
            *_stray_notes(blockers),
            *left_out_notes(layout.zones, layout.setting.part.mesh),
        ),
    )


def _box(file: Path, part: Mesh, margin_mm: float, region: tuple[float, ...] | None) -> tuple[Array, Array]:
    if region is None:
        if not (np.isfinite(margin_mm) and margin_mm >= 0):
            raise InputError(file, f"a margin of {margin_mm:g} mm", "give 0 mm or more", "--margin")
        return part.vertices.min(axis=0) - margin_mm, part.vertices.max(axis=0) + margin_mm
    low, high = np.array(region[:3], dtype=np.float64), np.array(region[3:], dtype=np.float64)
    if not (np.isfinite(region).all() and (low < high).all()):
        found = f"the box {' '.join(f'{x:g}' for x in region)} has no inside"
        raise InputError(file, found, "give its low corner first: xmin ymin zmin xmax ymax zmax, mm", "--region")
    return low, high


def _shape(file: Path, low: Array, high: Array, spacing_mm: float) -> tuple[int, int, int]:
    if not (np.isfinite(spacing_mm) and spacing_mm > 0):
        raise InputError(file, f"a resolution of {spacing_mm:g} mm", "give mm above 0", "--resolution")
    counts = np.maximum(np.ceil((high - low) / spacing_mm), 1) + 1
    if float(counts.prod()) > MOST_NODES:
        coarser = spacing_mm * (float(counts.prod()) / MOST_NODES) ** (1 / 3)
        found = f"{float(counts.prod()):.3g} places at {spacing_mm:g} mm, more than {MOST_NODES:.0e}"
        raise InputError(file, found, f"give {coarser * 1.05:.2g} mm or more, or a smaller box", "--resolution")
    x, y, z = (int(n) for n in counts)
    return x, y, z


def _layers(low: Array, high: Array) -> Mesh:
    """Return rectangles across a box and a little beyond: nothing in it is farther than half a layer from one."""
    low, high = low - LAYERS_MM, high + LAYERS_MM
    heights = np.linspace(low[2], high[2], int(np.ceil((high[2] - low[2]) / LAYERS_MM)) + 1)
    square = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    vertices = np.concatenate([np.column_stack([square, np.full(4, z)]) for z in heights])
    start = 4 * np.arange(len(heights))[:, None]
    faces = np.concatenate([start + np.array([0, 1, 2]), start + np.array([0, 2, 3])])
    return Mesh(vertices, faces.astype(np.int64))


def _near(blockers: Sequence[Blocker], growth: Growth | None, box: Array) -> list[Blocker]:
    """Return the blockers that some place of the box is short of."""
    middle, reach = box.mean(axis=0), float(np.linalg.norm(box - box.mean(axis=0), axis=1).max())
    reach *= max(1.0, growth.k_hot) if growth is not None else 1.0
    far = np.array([reach])
    return [
        b for b in blockers if not (margin_at(b, growth, middle[None], -far, far + 1.0, 0.1 * reach) >= far + 1.0).any()
    ]


def _prove(mesh: Mesh, blockers: Sequence[Blocker], growth: Growth | None, grid: Grid) -> None:
    """Ask places all over the surface again, but where it closes the box. Raises ClearanceError if one is short."""
    if not closed(mesh):
        raise ClearanceError("the keep-out's surface is not closed")
    a, b, c = mesh.triangles[np.linspace(0, len(mesh.faces) - 1, SAMPLES).astype(np.int64)].swapaxes(0, 1)
    shares = np.random.default_rng(0).dirichlet([1, 1, 1], len(a))
    places = grid.T_bay_frame.apply(shares[:, :1] * a + shares[:, 1:2] * b + shares[:, 2:] * c)
    own = grid.T_bay_frame.inverse().apply(places)
    ends = grid.low + grid.spacing * (np.array(grid.shape) - 1)
    places = places[((own >= grid.low) & (own <= ends)).all(axis=1)]
    zero, width = np.zeros(len(places)), steps_of(grid.coarsest_mm, growth).apart
    for blocker in blockers:
        if (margin_at(blocker, growth, places, zero - 1.0, zero + 0.01 * width, 0.01 * width) < 0).any():
            raise ClearanceError(f"the keep-out's surface is short of {blocker.obstacle.name}")


def _stray_notes(blockers: Sequence[Blocker]) -> tuple[str, ...]:
    return tuple(
        f"{b.obstacle.name}: {len(b.obstacle.solid)} scan points that no surface supports or no zone claims are kept "
        f"clear of by {b.needed_mm:.1f} mm; look at them"
        for b in blockers
        if not b.obstacle.firm and not isinstance(b.obstacle.solid, Mesh)
    )


def _rows(blockers: Sequence[Blocker]) -> tuple[Row, ...]:
    names = dict.fromkeys(b.obstacle.name for b in blockers)
    rows = []
    for name in names:
        every = [b for b in blockers if b.obstacle.name == name]
        own = [b for b in every if b.obstacle.firm] or every
        widest = max(own, key=lambda b: b.needed_mm)
        rows.append(
            Row(
                name=name,
                gap_mm=widest.obstacle.gap_mm,
                guard_mm=widest.obstacle.doubt_mm + widest.more_mm,
                spacing_mm=widest.obstacle.spacing_mm,
                needed_mm=widest.needed_mm,
            )
        )
    return tuple(rows)
