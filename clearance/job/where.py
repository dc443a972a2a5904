"""Where a zone is, and where to look for the part: shapes in the bay's frame."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from clearance.job.values import FileName, Point, Positive, Table, Unit, Yes


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
    """Sphere, in the frame of what names it."""

    center: Point = Field(description="mm, its middle")
    diameter: Positive = Field(description="mm, across")


class Where(Table):
    """Where a zone is: exactly one of box, cylinder, capsule, sphere, rest, file."""

    box: Box | None = Field(None, description="scan points inside this box")
    cylinder: Rod | None = Field(None, description="scan points inside this flat-ended cylinder")
    capsule: Rod | None = Field(None, description="scan points inside this round-ended cylinder")
    sphere: Sphere | None = Field(None, description="scan points inside this sphere, bay frame")
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


class Region(Table):
    """A ball of the bay in which the part or the engine is looked for."""

    center: Point = Field(description="mm, bay frame")
    radius: Positive = Field(description="mm; about half the part's longest diagonal")
