"""[[datum]] tables: named features of the part and of the bay that can be brought together."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from clearance.job.values import Direction, Line, Point, Positive, Table

FEATURES = ("face", "hole", "stud", "edge")


class Face(Table):
    """A flat face: a disc of it."""

    point: Point = Field(description="mm, a point of the face, middle of the disc used")
    normal: Direction = Field(description="out of the material, any length; seated faces look at each other")
    radius: Positive = Field(description="mm, the disc about the point that is flat and seen")


class Hole(Table):
    """A round hole."""

    center: Point = Field(description="mm, middle of the hole in the plane of its face")
    axis: Direction = Field(description="along the hole, out of the face, any length")
    diameter: Positive = Field(description="mm, across the hole")


class Stud(Table):
    """A round stud or pin."""

    center: Point = Field(description="mm, where the axis meets the face the stud stands on")
    axis: Direction = Field(description="out of the face, any length")
    diameter: Positive = Field(description="mm, across the stud")
    length: Positive | None = Field(None, description="mm, from the face to the tip; left out: twice the diameter")


class Edge(Table):
    """A straight edge; from and to name the same ends on the part and in the bay."""

    from_: Point = Field(alias="from", description="mm, one end")
    to: Point = Field(description="mm, other end")

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.from_ == self.to:
            raise ValueError("from and to are the same point; move one")
        return self


class Datum(Table):
    """[[datum]]: a named feature; in the bay it is fitted to the scan near it."""

    name: Line = Field(description="name of the datum, each its own")
    on: Literal["part", "bay"] = Field(description="whose frame it is in")
    face: Face | None = Field(None, description="a flat face")
    hole: Hole | None = Field(None, description="a round hole")
    stud: Stud | None = Field(None, description="a round stud or pin")
    edge: Edge | None = Field(None, description="a straight edge; in the bay taken as stated, it is not fitted")

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        named = [n for n in FEATURES if getattr(self, n) is not None]
        if len(named) != 1:
            raise ValueError(f"{' and '.join(named) or 'no feature'}; give exactly one of face, hole, stud, edge")
        return self

    @property
    def kind(self) -> str:
        """Which of face, hole, stud, edge it is."""
        return next(n for n in FEATURES if getattr(self, n) is not None)

    @property
    def round(self) -> Hole | Stud | None:
        """The hole or stud, if it is one."""
        return self.hole or self.stud


class DatumPair(Table):
    """A datum of the part and the datum of the bay on which it is seated."""

    part: Line = Field(description="name of a datum on the part")
    bay: Line = Field(description="name of a datum in the bay")
