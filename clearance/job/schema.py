"""What a job file may say: every key with its unit, default and allowed range.

Keys are those of the TOML file. Rules within one table live here, rules across tables in `check`.
Lengths in the job file's own coordinates are mm unless a table has a `unit`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from clearance.job.access import Access
from clearance.job.datum import Datum, DatumPair
from clearance.job.ends import End
from clearance.job.heat import Emissivity, Heat, LimitC, Shield
from clearance.job.left_out import LeftOut
from clearance.job.motions import Link, Rock, Stroke, Travel
from clearance.job.values import (
    Carrier,
    Direction,
    FileName,
    Finite,
    Kind,
    Line,
    Made,
    NotNegative,
    Point,
    Row,
    Table,
    Unit,
    Yes,
)
from clearance.job.where import Region, Where


class Part(Table):
    """[part]: the mesh being checked."""

    file: FileName = Field(description="mesh of the part: STL OBJ PLY OFF GLB 3MF, relative to the job file")
    unit: Unit = Field(description="unit of the file's coordinates: mm cm m in")
    rides: Carrier = Field("engine", description="what the part moves with")
    material: Line | None = Field(
        None, description="what it is made of; `clearance look --materials` lists those known"
    )
    made: Made | None = Field(None, description="how it is made: gives a usual tolerance where none is stated")
    tolerance: NotNegative | None = Field(
        None, description="mm, the finished part's surface lies within ± this of the mesh; 0 is allowed"
    )
    contact: tuple[Line, ...] = Field(
        (), description="names of face datums on the part that are meant to touch: left out of the clearance"
    )

    @model_validator(mode="after")
    def _has_tolerance(self) -> Self:
        if self.tolerance is None and self.made is None:
            raise ValueError('neither tolerance nor made; add tolerance = 0.3 (mm) or made = "printed metal"')
        return self


class Bay(Table):
    """[bay]: the scan of the surroundings; its frame is the bay's frame."""

    files: tuple[FileName, ...] = Field(min_length=1, description="scans, merged: PLY PCD XYZ LAS LAZ E57, or meshes")
    unit: Unit = Field(description="unit of the files' coordinates: mm cm m in")
    noise: Literal["auto"] | NotNegative = Field(
        "auto", description='mm, 1 sigma of the points about the surface, or "auto": measured'
    )
    accuracy: NotNegative = Field(
        description="mm, 1 sigma: the scanner's own stated error, warp over the whole scan included; 0 is allowed"
    )
    stations: tuple[Point, ...] = Field(
        (), description="mm, bay frame, where the scanner stood: one a file, in the order of files, or all of one scan"
    )
    ends: tuple[End, ...] = Field(
        (), description="where you have looked and the surface really ends where its scan does: boxes about its edges"
    )
    left_out: tuple[LeftOut, ...] = Field(
        (), description="scan points that are no neighbours, such as what the part bolts onto: nothing there is checked"
    )


class Engine(Table):
    """[engine]: a mesh or a scan of the engine in the part's frame; it is placed, and the part with it."""

    file: FileName = Field(description="mesh or scan of the engine, in the part's frame")
    unit: Unit = Field(description="unit of the file's coordinates: mm cm m in")
    peel: Yes = Field(False, description="true: scan points that lie on the engine ride with it and leave the chassis")


class Turn(Table):
    """A turn about an axis through the frame's origin."""

    axis: Direction = Field(description="direction of the axis, any length")
    degrees: Finite = Field(description="degrees, right-handed")


class Landmark(Table):
    """One point known on the part and in the bay."""

    name: Line = Field(description="name, for the report")
    part: Point = Field(description="mm, the point in the part's frame")
    bay: Point = Field(description="mm, the same point in the bay's frame")


class Register(Table):
    """[register]: how the part is placed in the bay."""

    method: Literal["given", "landmarks", "datums", "shape"] = Field(
        description="given: you state the place; landmarks: from points known on both; datums: seated on named "
        "features; shape: found in a region of the scan that shows it"
    )
    matrix: tuple[Row, Row, Row, Row] | None = Field(
        None, description="given: T_bay_part, 4 rows of 4, translation in mm"
    )
    shift: Point | None = Field(None, description="given: mm, applied after turn")
    turn: Turn | None = Field(None, description="given: turn about the part frame's origin")
    sigma_shift: NotNegative = Field(
        0.0, description="given: mm, 1 sigma of each coordinate of the given place; 0 = taken as exact"
    )
    sigma_turn: NotNegative = Field(
        0.0, description="given: degrees, 1 sigma of the given turn about each axis; 0 = taken as exact"
    )
    pair: tuple[Landmark, ...] = Field((), description="landmarks: 3 or more, not in a line")
    set_: tuple[DatumPair, ...] = Field(
        (), alias="set", description="datums: a pair of faces first, then holes, studs or edges, by name"
    )
    region: Region | None = Field(None, description="shape: where in the bay to look")
    refine: Yes = Field(
        False, description="settle the part on the scan points that lie on it (they must show the part)"
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        place = self.matrix is not None or self.shift is not None or self.turn is not None
        if self.method == "given":
            if not place:
                raise ValueError('method "given" without a place; add matrix, or shift and/or turn')
            if self.matrix is not None and (self.shift is not None or self.turn is not None):
                raise ValueError("matrix beside shift or turn; keep matrix, or shift and turn, not both")
        elif place or self.sigma_shift or self.sigma_turn:
            raise ValueError(
                f'matrix, shift, turn or a sigma beside method "{self.method}"; '
                'leave them out or write method = "given"'
            )
        for key, values, method in (
            ("pair", self.pair, "landmarks"),
            ("set", self.set_, "datums"),
            ("region", self.region, "shape"),
        ):
            if values and self.method != method:
                raise ValueError(f'{key} beside method "{self.method}"; leave {key} out or write method = "{method}"')
        if self.method == "landmarks" and len(self.pair) < 3:
            raise ValueError(f"{len(self.pair)} landmark pair(s); give 3 or more, not in a line")
        if self.method == "datums" and not self.set_:
            raise ValueError('method "datums" without set; add set = [{ part = "name", bay = "name" }, ...]')
        if self.method == "shape" and self.region is None:
            raise ValueError(
                'method "shape" without region; add region = { center = [x, y, z], radius = r } about the part in the '
                "scan: in a whole bay too much else looks alike. Or give three landmarks"
            )
        return self


class Zone(Table):
    """[[zone]]: a named stretch of surroundings with its own required gap."""

    name: Line = Field(max_length=50, description="name of the zone, each its own")
    kind: Kind = Field(description="what it is; access is room for a socket or a hand")
    rides: Line = Field("chassis", description="what it moves with: chassis, engine or the name of a [[link]]")
    where: Where = Field(description="where it is: exactly one of box, cylinder, capsule, sphere, rest, file")
    fit: Literal["cylinder"] | None = Field(
        None, description="cylinder: a straight round shaft is fitted to the scan points and completes them"
    )
    travel: Travel | None = Field(None, description="its swing about a joint, as an axle's with the suspension")
    stroke: Stroke | None = Field(None, description="its straight motion, as an actuator rod's")
    gap: NotNegative = Field(description="mm, clearance required of it, bare")
    gap_shielded: NotNegative | None = Field(None, description="mm, clearance required of it behind a heat shield")
    shielded: Yes = Field(False, description="true: a heat shield is fitted and gap_shielded applies")
    limit: LimitC | None = Field(
        None, description="degrees C that it stands, or the name of a class: for `clearance shield`"
    )
    emissivity: Emissivity = Field(
        0.95,
        description="emissivity of its surface, above 0 to 1, or a surface's name: for `clearance shield`",
    )

    @model_validator(mode="after")
    def _shield_has_gap(self) -> Self:
        if self.shielded and self.gap_shielded is None:
            raise ValueError("shielded = true without gap_shielded; add gap_shielded, mm")
        return self

    @property
    def required_gap(self) -> float:
        """Gap in force, mm."""
        return self.gap_shielded if self.shielded and self.gap_shielded is not None else self.gap


class Decision(Table):
    """[decision]: how sure a pass or fail must be."""

    confidence: Annotated[float, Field(ge=0.5, lt=1.0, strict=True)] = Field(
        0.95, description="probability, one-sided, 0.5 to below 1"
    )


class Job(Table):
    """A whole job file.

    `file` is the job file's own path; it is not a key of the file. Paths inside stay as written and
    are relative to `folder`.
    """

    title: Line = Field("Clearance check", description="title of the report")
    part: Part = Field(description="the mesh being checked")
    bay: Bay | None = Field(
        None,
        description="the scan of the surroundings, in the bay's frame; left out where every zone is a body",
    )
    register_: Register = Field(alias="register", description="how the part is placed in the bay")
    datums: tuple[Datum, ...] = Field(
        (), alias="datum", description="named features of the part and the bay, for register.set"
    )
    zones: tuple[Zone, ...] = Field(
        alias="zone", min_length=1, description="named stretches of surroundings, each with its own required gap"
    )
    rock: Rock | None = Field(
        None, description="the engine's motion on its mounts, away from how it was scanned; left out: nothing moves"
    )
    engine: Engine | None = Field(None, description="a reference that the part is placed by")
    links: tuple[Link, ...] = Field((), alias="link", description="shafts whose ends ride on different carriers")
    heat: Heat | None = Field(None, description="the part's temperature in use; left out: it is checked cold")
    shield: Shield | None = Field(None, description="the heat shield that `clearance shield` sizes")
    access: tuple[Access, ...] = Field((), description="what must be possible on the car at rest: slides, tools, paths")
    decision: Decision = Field(
        default_factory=lambda: Decision(confidence=0.95), description="how sure a pass or fail must be"
    )
    file: Path = Field(Path("job.toml"), exclude=True)

    @property
    def folder(self) -> Path:
        """Folder that paths in the job are relative to."""
        return self.file.parent

    def path(self, relative: Path) -> Path:
        """Return a path of the job, seen from the working directory."""
        return self.folder / relative


FORESEEN: dict[str, tuple[str, ...]] = {
    "register": ("shape",),
}
"""Keys that the design foresees and this version refuses, so that nothing asked for is silently left undone."""


def as_toml_tree(job: Job) -> dict[str, Any]:
    """Return the job as plain tables with every default filled in and None left out."""
    return job.model_dump(mode="json", by_alias=True, exclude_none=True)
