"""What moves: the engine on its mounts, an axle with its suspension, an actuator rod, a shaft between carriers."""

from __future__ import annotations

import math
from typing import Self

from pydantic import Field, model_validator

from clearance.job.mounts import Mount, roll_rate
from clearance.job.values import Direction, Line, Point, Range, Roll, Table

MOST_WORKED_OUT = 10.0
"""Degrees of roll up to which mounts count as linear and turns as small: sine and angle differ by half a percent."""


class Axis(Table):
    """The line about which the engine rolls."""

    point: Point = Field(description="mm, bay frame, any point on the axis")
    direction: Direction = Field(description="any length; roll is right-handed about it")


class Rock(Table):
    """[rock]: the engine's motion on its mounts, away from the pose in which the bay was scanned."""

    axis: Axis = Field(description="the line about which the engine rolls")
    roll: Roll | None = Field(
        None, description="degrees [lowest, highest], contains 0; left out where mounts and torque give it"
    )
    mounts: tuple[Mount, ...] = Field((), description="the engine's mounts, instead of roll")
    torque: Range | None = Field(
        None, description="N m [lowest, highest] on the engine about the axis, contains 0: on and off the throttle"
    )
    up: Direction = Field((0.0, 0.0, 1.0), description="direction of lift, any length")
    forward: Direction = Field((1.0, 0.0, 0.0), description="direction of shift, any length")
    lift: Range = Field((0.0, 0.0), description="mm [lowest, highest] along up, contains 0")
    shift: Range = Field((0.0, 0.0), description="mm [lowest, highest] along forward, contains 0")

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        worked_out = bool(self.mounts) or self.torque is not None
        if self.roll is None and not worked_out:
            raise ValueError("no roll; add roll = [lowest, highest], degrees, or mounts and torque")
        if self.roll is not None and worked_out:
            raise ValueError("roll beside mounts or torque; keep roll, or mounts and torque, not both")
        if worked_out and (not self.mounts or self.torque is None):
            raise ValueError("mounts and torque go together; add the one that is missing")
        if worked_out:
            self._check_mounts()
        return self

    def _check_mounts(self) -> None:
        assert self.torque is not None
        rate = roll_rate(self.mounts, self.axis.point, self.axis.direction)
        most = math.degrees(max(map(abs, self.torque)) / rate) if rate > 0 else math.inf
        if most > MOST_WORKED_OUT:
            found = "do not hold the engine about the axis" if math.isinf(most) else f"let it roll {most:.3g} degrees"
            raise ValueError(
                f"the mounts {found}; rates are N/mm and torque N m: up to {MOST_WORKED_OUT:g} degrees can be worked "
                "out, beyond that state roll"
            )

    @property
    def roll_degrees(self) -> tuple[float, float]:
        """Roll in force, degrees [lowest, highest]: as stated, or torque over the mounts' roll rate."""
        if self.roll is not None:
            return self.roll
        assert self.torque is not None
        rate = roll_rate(self.mounts, self.axis.point, self.axis.direction)
        low, high = (math.degrees(torque / rate) for torque in self.torque)
        return low, high


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
