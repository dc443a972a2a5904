"""Scan points that the user says are no neighbours."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from clearance.job.values import Line, Table
from clearance.job.where import Where


class LeftOut(Table):
    """One of bay.left_out: what the part bolts onto, or a mock-up of it. What a zone names by a shape stays in it."""

    name: Line = Field(description="what it is, for the report")
    where: Where = Field(description="the scan points left out: one of box, cylinder, capsule, sphere")

    @model_validator(mode="after")
    def _is_a_net(self) -> Self:
        if self.where.rest or self.where.is_body:
            raise ValueError("where is rest, a file or solid; give a box, cylinder, capsule or sphere about the points")
        return self
