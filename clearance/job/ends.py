"""Where the user has looked and found that the surface ends where its scan does."""

from __future__ import annotations

from pydantic import Field

from clearance.job.values import Table
from clearance.job.where import Box


class End(Table):
    """One of bay.ends: a box in which the scanned surface really ends, at an edge or the rim of a real hole."""

    box: Box = Field(description="bay frame; holds the edge itself, a few mm to each side")
