"""What a job file may say: every key with its unit, default and allowed range.

Keys are those of the TOML file. Rules within one table live here, rules across tables in `check`.
Lengths in the job file's own coordinates are mm unless a table has a `unit`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from clearance.job.datum import Datum, DatumPair
from clearance.job.values import (
    Carrier,
    Direction,
    FileName,
    Finite,
    Kind,
    Line,
    NotNegative,
    Point,
    Positive,
    Range,
    Roll,
    Row,
    Table,
    Unit,
    Yes,
)


class Part(Table):
    """[part]: the mesh being checked."""

    file: FileName = Field(description="mesh of the part: STL OBJ PLY OFF GLB 3MF, relative to the job file")
    unit: Unit = Field(description="unit of the file's coordinates: mm cm m in")
    rides: Carrier = Field("engine", description="what the part moves with")
    material: Line | None = Field(None, description="name, for the report")
    tolerance: NotNegative = Field(
        description="mm, the finished part's surface lies within ± this of the mesh; 0 is allowed"
    )


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

    method: Literal["given", "landmarks", "datums"] = Field(
        description="given: you state the place; landmarks: from points known on both; datums: seated on named features"
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
        for key, values, method in (("pair", self.pair, "landmarks"), ("set", self.set_, "datums")):
            if values and self.method != method:
                raise ValueError(f'{key} beside method "{self.method}"; leave {key} out or write method = "{method}"')
        if self.method == "landmarks" and len(self.pair) < 3:
            raise ValueError(f"{len(self.pair)} landmark pair(s); give 3 or more, not in a line")
        if self.method == "datums" and not self.set_:
            raise ValueError('method "datums" without set; add set = [{ part = "name", bay = "name" }, ...]')
        return self


class Box(Table):
    """Axis-parallel box, bay frame."""

    min: Point = Field(description="mm, low corner")
    max: Point = Field(description="mm, high corner")

    @model_validator(mode="after")
    def _has_inside(self) -> Self:
        for axis, low, high in zip("xyz", self.min, self.max, strict=True):
            if low >= high:
                raise ValueError(f"min {low:g} is not below max {high:g} along {axis}; write the low corner as min")
        return self


class Rod(Table):
    """Cylinder (flat ends) or capsule (round ends), bay frame."""

    from_: Point = Field(alias="from", description="mm, one end of the axis")
    to: Point = Field(description="mm, other end of the axis")
    diameter: Positive = Field(description="mm, across")

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.from_ == self.to:
            raise ValueError("from and to are the same point; move one, or use a sphere")
        return self


class Sphere(Table):
    """Sphere, bay frame."""

    center: Point = Field(description="mm, bay frame")
    diameter: Positive = Field(description="mm, across")


class Where(Table):
    """Where a zone is: exactly one of box, cylinder, capsule, sphere, rest, file."""

    box: Box | None = Field(None, description="scan points inside this box")
    cylinder: Rod | None = Field(None, description="scan points inside this flat-ended cylinder")
    capsule: Rod | None = Field(None, description="scan points inside this round-ended cylinder")
    sphere: Sphere | None = Field(None, description="scan points inside this sphere")
    rest: Yes = Field(False, description="true: all scan points in no other zone")
    file: FileName | None = Field(None, description="a mesh in the bay frame that is the zone itself")
    unit: Unit | None = Field(None, description="unit of the file's coordinates: mm cm m in; goes with file")
    solid: Yes = Field(
        False, description="true: the box, cylinder, capsule or sphere is the body itself, not a net for points"
    )

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        named = [n for n in ("box", "cylinder", "capsule", "sphere", "file") if getattr(self, n) is not None]
        named += ["rest"] if self.rest else []
        if len(named) != 1:
            raise ValueError(
                f"{' and '.join(named) or 'none of its keys'}; "
                "give exactly one of box, cylinder, capsule, sphere, rest = true, file"
            )
        if (self.file is None) != (self.unit is None):
            raise ValueError(
                'file without unit; add unit = "mm" (or cm, m, in)'
                if self.file
                else "unit without file; leave unit out: shapes are in mm"
            )
        if self.solid and named[0] in ("rest", "file"):
            raise ValueError(
                f"solid beside {named[0]}; leave solid out: it belongs to box, cylinder, capsule or sphere"
            )
        return self

    @property
    def is_body(self) -> bool:
        """Whether the zone is a body of its own rather than scan points."""
        return self.file is not None or self.solid


class Zone(Table):
    """[[zone]]: a named stretch of surroundings with its own required gap."""

    name: Line = Field(max_length=50, description="name of the zone, each its own")
    kind: Kind = Field(description="what it is; access is room for a socket or a hand")
    rides: Carrier = Field("chassis", description="what it moves with")
    where: Where = Field(description="where it is: exactly one of box, cylinder, capsule, sphere, rest, file")
    gap: NotNegative = Field(description="mm, clearance required of it, bare")
    gap_shielded: NotNegative | None = Field(None, description="mm, clearance required of it behind a heat shield")
    shielded: Yes = Field(False, description="true: a heat shield is fitted and gap_shielded applies")

    @model_validator(mode="after")
    def _shield_has_gap(self) -> Self:
        if self.shielded and self.gap_shielded is None:
            raise ValueError("shielded = true without gap_shielded; add gap_shielded, mm")
        return self

    @property
    def required_gap(self) -> float:
        """Gap in force, mm."""
        return self.gap_shielded if self.shielded and self.gap_shielded is not None else self.gap


class Axis(Table):
    """The line about which the engine rolls."""

    point: Point = Field(description="mm, bay frame, any point on the axis")
    direction: Direction = Field(description="any length; roll is right-handed about it")


class Rock(Table):
    """[rock]: the engine's motion on its mounts, away from the pose in which the bay was scanned."""

    axis: Axis = Field(description="the line about which the engine rolls")
    roll: Roll = Field(description="degrees [lowest, highest], contains 0")
    up: Direction = Field((0.0, 0.0, 1.0), description="direction of lift, any length")
    forward: Direction = Field((1.0, 0.0, 0.0), description="direction of shift, any length")
    lift: Range = Field((0.0, 0.0), description="mm [lowest, highest] along up, contains 0")
    shift: Range = Field((0.0, 0.0), description="mm [lowest, highest] along forward, contains 0")


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
    "": ("engine", "heat", "access"),
    "part": ("contact",),
    "bay": ("stations",),
    "register": ("region", "shape"),
    "zone": ("fit", "travel", "stroke", "limit", "emissivity"),
    "rock": ("mounts", "torque"),
}
"""Keys that the design foresees and this version refuses, so that nothing asked for is silently left undone."""


def as_toml_tree(job: Job) -> dict[str, Any]:
    """Return the job as plain tables with every default filled in and None left out."""
    return job.model_dump(mode="json", by_alias=True, exclude_none=True)
