"""[[access]] tables: can the part be put on, its nuts turned, and can it be taken out of the bay?"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from clearance.job.values import Direction, Finite, Line, NotNegative, Point, Positive, Table

WAYS = ("slide", "tool", "path")
Thread = Literal["M5", "M6", "M8", "M10", "M12", "M14", "M16", "M20"]


class Slide(Table):
    """The part slides straight off its studs."""

    along: Direction = Field(description="direction in which the part leaves, bay frame, any length")
    length: Positive = Field(description="mm, how far: the length of the studs beyond the face")


class Tool(Table):
    """A socket or an open-end spanner on a nut, the engine and the part in their places."""

    kind: Literal["socket", "spanner"] = Field(description="socket on a ratchet, or open-end spanner")
    at: Point = Field(description="mm, bay frame, middle of the nut's seat")
    axis: Direction = Field(description="out of the seat, along the stud, any length")
    thread: Thread | None = Field(None, description="thread of the nut: gives the width across flats of ISO 272")
    across_flats: Positive | None = Field(None, description="mm, width across flats, where it is not that of thread")
    diameter: Positive | None = Field(
        None, description="mm, outside of the socket, or across the spanner's head; left out: the usual one"
    )
    length: Positive | None = Field(
        None, description="mm, from the seat to the ratchet's head, extension included, or thickness of the spanner"
    )
    head: Positive | None = Field(None, description="mm, diameter of the ratchet's head; left out: 35")
    head_height: Positive | None = Field(None, description="mm, height of the ratchet's head; left out: 30")
    handle: NotNegative | None = Field(
        None, description="mm, from the stud's axis to the end of the handle; left out: the usual one; 0: no handle"
    )
    handle_width: Positive | None = Field(None, description="mm, across the handle; left out: the usual one")
    swing: Positive | None = Field(
        None, description="degrees, the least free arc of the handle; left out: socket 10, spanner 30 (turned over)"
    )
    above_seat: NotNegative = Field(2.0, description="mm, height above the seat at which the tool begins")

    @model_validator(mode="after")
    def _sized(self) -> Self:
        if (self.thread is None) == (self.across_flats is None):
            raise ValueError('give one of thread = "M8" and across_flats = 13 (mm)')
        if self.swing is not None and self.swing > 180:
            raise ValueError("a swing beyond 180 degrees; write the least arc that turns the nut on")
        if self.kind == "spanner" and self.handle == 0:
            raise ValueError("a spanner without handle; leave handle out, or give its length")
        if self.kind == "spanner" and (self.head is not None or self.head_height is not None):
            raise ValueError("head or head_height beside a spanner; they belong to a socket's ratchet")
        return self


class Turning(Table):
    """A turn about a line while the part moves."""

    axis: Direction = Field(description="direction of the line, bay frame, any length; right-handed")
    degrees: Finite = Field(description="degrees")
    about: Point | None = Field(
        None, description="mm, bay frame, a point of the line as the step begins; left out: the part's middle"
    )


class Step(Table):
    """One step of a path: straight on, turning evenly on the way."""

    shift: Point = Field((0.0, 0.0, 0.0), description="mm, bay frame, from where the step begins")
    turn: Turning | None = Field(None, description="turn about a line that moves along with shift")

    @model_validator(mode="after")
    def _moves(self) -> Self:
        if not any(self.shift) and (self.turn is None or self.turn.degrees == 0):
            raise ValueError("a step that moves nothing; give shift, or turn, or leave the step out")
        if self.turn is not None and abs(self.turn.degrees) > 360:
            raise ValueError("a turn beyond 360 degrees; write it as several steps")
        return self


class Access(Table):
    """[[access]]: one thing that must be possible on the car at rest."""

    name: Line = Field(max_length=50, description="name, each its own")
    slide: Slide | None = Field(None, description="the part slides off its studs")
    tool: Tool | None = Field(None, description="a tool reaches a nut and has its swing")
    path: tuple[Step, ...] = Field((), description="the part leaves the bay, or comes in, step by step from its place")
    gap: NotNegative | None = Field(
        None, description="mm, to keep on the way; left out: 1 about a tool, 0 for a slide or a path"
    )

    @model_validator(mode="after")
    def _exactly_one(self) -> Self:
        named = [way for way in WAYS if getattr(self, way)]
        if len(named) != 1:
            raise ValueError(f"{' and '.join(named) or 'nothing to do'}; give exactly one of slide, tool, path")
        return self

    @property
    def kind(self) -> str:
        """Which of slide, tool, path it is."""
        return next(way for way in WAYS if getattr(self, way))

    @property
    def required_gap(self) -> float:
        """Gap in force, mm."""
        if self.gap is not None:
            return self.gap
        return 1.0 if self.tool is not None else 0.0
