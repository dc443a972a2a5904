"""What `look` found out about one file. How it is found and told is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from clearance.frames import Array
from clearance.scene.mesh_health import MeshHealth
from clearance.scene.wall import Wall


@dataclass(frozen=True, eq=False, kw_only=True)
class Look:
    """Findings about one file. Lengths are in `length_unit`.

    Attributes
    ----------
    path : Path
    format : str
    length_unit : str
        "mm" where the user gave the unit, else "file units".
    low, high : (3,) float64
        Bounding box.
    extents_mm : dict
        For each unit, the (3,) extents in mm if that were the file's unit.
    guess, guess_reason : str or None, str
        Likely unit. Only told, never used.
    mesh : MeshFindings or None
    scan : ScanFindings or None
        Exactly one is set.
    """

    path: Path
    format: str
    length_unit: str
    low: Array
    high: Array
    extents_mm: dict[str, Array]
    guess: str | None
    guess_reason: str
    mesh: MeshFindings | None = None
    scan: ScanFindings | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class MeshFindings:
    """Counts, health, wall and mass (g by material; empty unless closed and in mm) of a mesh."""

    vertices: int
    triangles: int
    degenerate: int
    bare: int
    health: MeshHealth
    wall: Wall | None
    mass_g: dict[str, float]


@dataclass(frozen=True, eq=False, kw_only=True)
class ScanFindings:
    """Counts, local spacing (5 %, median, 95 %; None of too few points), noise (1 sigma) and strays of a scan.

    `grain` is the step in which its coordinates come, 0 where none was found, and `grain_why` how that is known.
    """

    points: int
    no_return: int
    spacing: tuple[float, float, float] | None
    noise: float
    strays: int
    grain: float
    grain_why: str
