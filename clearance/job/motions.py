"""What moves: the engine on its mounts, an axle with its suspension, an actuator rod, a shaft between carriers."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from clearance.job.values import Direction, Line, Point, Range, Roll, Table


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


class Travel(Table):
    """A zone's swing about a joint, away from the pose in which the bay was scanned."""

    about: Point = Field(description="mm, bay frame, a point on the line it swings about")
    axis: Direction = Field(description="direction of that line, any length; the swing is right-handed about it")
    degrees: Roll = Field(description="degrees [lowest, highest], contains 0")


class Stroke(Table):
    """A zone's straight motion along a line, away from the pose in which the bay was scanned."""

    axis: Direction = Field(description="direction of positive stroke, any length")
    mm: Range = Field(description="mm [lowest, highest], contains 0")


class Link(Table):
    """[[link]]: a straight round shaft whose ends ride on different carriers."""

    name: Line = Field(description="name, for rides")
    engine: Point = Field(description="mm, bay frame, middle of the joint that rides on the engine")
    chassis: Point = Field(
        description="mm, bay frame, middle of the joint on the chassis side; a zone's travel moves this end"
    )

    @model_validator(mode="after")
    def _has_length(self) -> Self:
        if self.engine == self.chassis:
            raise ValueError("engine and chassis are the same point; give the two ends of the shaft")
        return self
