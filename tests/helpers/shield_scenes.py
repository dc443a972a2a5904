"""Small scenes for shields: a part, zones given by hand, and how they move, without a scan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from brute import point_triangle
from numpy.typing import NDArray

from clearance.distance.inside import Surface
from clearance.frames import identity
from clearance.heat.emitter import Emitter
from clearance.heat.growth import Growth
from clearance.heat.neighbour import Source, placed
from clearance.job.schema import Job
from clearance.layout.layout import Layout
from clearance.motion.pair import pair_motion
from clearance.motion.rock import Rock, rock_from
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.refine import refined
from clearance.scene.zone import Zone
from clearance.scene.zones import Zones
from clearance.shield.blank import Blank
from clearance.shield.panel import Panel, panel
from clearance.shield.plan import Wish
from clearance.shield.sightlines import Sightlines, sightlines
from clearance.shield.surface import joined
from clearance.verdict.setting import Setting

Array = NDArray[np.float64]

SHEET_MM = 0.5
"""Thickness of the sheet of `blank_of`."""

SURE = Registration(
    method="given", T_bay_part=identity("bay", "part"), converged=True, covariance=np.zeros((6, 6)), centre=np.zeros(3)
)


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


def away_from(mesh: Mesh, points: Array) -> Array:
    """Distance of (n, 3) points to a mesh by trying every triangle."""
    triangles = mesh.triangles
    return np.array([point_triangle(point, triangles).min() for point in points])


def box_of(low: tuple[float, float, float], high: tuple[float, float, float], longest: float = 0.0) -> Mesh:
    box = mesh_of(trimesh.creation.box(bounds=np.array([low, high])))
    return refined(box, longest) if longest else box


def lifting(low: float, high: float, roll_deg: tuple[float, float] = (0.0, 0.0)) -> Rock:
    return rock_from(
        point=np.zeros(3), direction=np.array([0.0, 1, 0]), up=np.array([0.0, 0, 1]), forward=np.array([1.0, 0, 0]),
        roll_deg=roll_deg, lift_mm=(low, high), shift_mm=(0.0, 0.0),
    )  # fmt: skip


def zone_of(mesh: Mesh, *, name: str = "wall", kind: str = "chassis", gap: float = 20.0) -> Zone:
    return Zone(
        name=name, table=name, kind=kind, rides="chassis", gap_mm=gap, mesh=mesh, shown=mesh, closed=True,
        stray_points=np.zeros((0, 3)),
    )  # fmt: skip


def laid_out(
    part: Mesh,
    zones: list[Zone],
    rock: Rock | None = None,
    growth: Growth | None = None,
    unclaimed: Array | None = None,
    tolerance_mm: float = 0.0,
) -> Layout:
    own = Part(name="part.stl", mesh=part, shown=part, closed=True, rides="engine", tolerance_mm=tolerance_mm)
    setting = Setting(part=own, registration=SURE, scan=None, rock=rock, growth=growth, confidence=0.95)
    return Layout(
        setting=setting,
        zones=Zones(tuple(zones), np.zeros((0, 3)) if unclaimed is None else unclaimed),
        motions={zone.name: pair_motion("engine", zone.rides, rock) for zone in zones},
        faces=(),
        masks={},
        peeled=0,
    )


def any_job() -> Job:
    """A job for what asks for one where no scan is: nothing is read from it."""
    return Job.model_validate(
        {
            "title": "shield",
            "part": {"file": "part.stl", "unit": "mm", "tolerance": 0.1},
            "register": {"method": "given", "shift": [0.0, 0.0, 0.0]},
            "zone": [{"name": "wall", "kind": "chassis", "where": {"file": "wall.stl", "unit": "mm"}, "gap": 20.0}],
            "file": Path("job.toml"),
        }
    )


def sheet_mesh(across, u: Array, v: Array) -> Mesh:
    """A grid of triangles over `across(u, v)` -> (n, 3)."""
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    index = np.arange(len(grid)).reshape(len(u), len(v))
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    corners = [(a, b, c), (a, c, d)]
    faces = np.concatenate([np.stack([x.ravel() for x in t], axis=1) for t in corners])
    return Mesh(across(grid[:, 0], grid[:, 1]), faces.astype(np.int64))


def cap_mesh(radius: float, angle: float, rings: int = 16) -> Mesh:
    """Cap of a sphere about +z, outward, of angular radius `angle`: a disc of rings mapped up onto it."""
    from scipy.spatial import Delaunay

    polar = [(0.0, 0.0)] + [(k / rings, 2 * np.pi * j / (6 * k)) for k in range(1, rings + 1) for j in range(6 * k)]
    r, phi = np.array(polar).T
    faces = Delaunay(np.column_stack([r * np.cos(phi), r * np.sin(phi)])).simplices.astype(np.int64)
    t = angle * r
    places = radius * np.column_stack([np.sin(t) * np.cos(phi), np.sin(t) * np.sin(phi), np.cos(t)])
    a, b, c = places[faces].swapaxes(0, 1)
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a + b + c) < 0
    faces[inward] = faces[inward][:, ::-1]
    return Mesh(places, faces)


def blank_of(*panels: Panel) -> Blank:
    area = sum(panel.area_mm2 for panel in panels)
    return Blank(
        panels=panels, solid=joined([panel.solid(SHEET_MM) for panel in panels]), wish=wish_of(12.0, sheet=SHEET_MM),
        to_part_mm=12.0, farthest_mm=12.0, checks=(), unseen=(), untrimmed_mm2=area, area_mm2=area, covered_share=1.0,
        bare_mm2=0.0, bare_at=np.zeros(3),
    )  # fmt: skip


def u_panel() -> Panel:
    """A channel about the x axis, open downward: sides of 30 mm, a back of 50 mm, 80 mm long, seen from outside."""
    corners = np.array([[0.0, 25, -30], [0, 25, 0], [0, -25, 0], [0, -25, -30]])
    return panel(corners, np.array([1.0, 0, 0]), (0.0, 110.0), (0.0, 80.0))


def hot_points(low: tuple[float, float], high: tuple[float, float], z: float, step: float = 10.0) -> Array:
    """A grid of points at one height, (n, 3)."""
    x, y = (np.arange(a, b + 1e-9, step) for a, b in zip(low, high, strict=True))
    return np.stack([*np.meshgrid(x, y, indexing="ij"), np.full((len(x), len(y)), z)], axis=-1).reshape(-1, 3)


def lines_to(part: Mesh, points: Array, normal: tuple[float, float, float], rock: Rock | None = None) -> Sightlines:
    """Lines of heat from points that all face one way to a part at one temperature."""
    count = len(part.faces)
    emitter, surface = Emitter(part, np.full(count, 900.0), np.full(count, 0.8)), Surface(part)
    near = placed(points, np.tile(np.array(normal), (len(points), 1)), surface, 0.9)
    source = Source(part=emitter, surface=surface, emissivity=0.8, up=np.array([0.0, 0, 1]))
    return sightlines([(near, pair_motion("engine", "chassis", rock))], source)


def wish_of(standoff: float = 10.0, least: float | None = None, sheet: float = 1.0, pieces: int = 4) -> Wish:
    return Wish(
        standoff_mm=standoff, least_mm=standoff if least is None else least, sheet_mm=sheet, margin_mm=8.0, air_mm=6.0,
        pieces=pieces,
    )  # fmt: skip
