"""The motion that a zone is proved over: its own path, or the pointing of the link it rides on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.verify.claims import ZoneCertificate
from clearance.verify.links import Pointing, Shaft, axes_fault, shaft_of, state_beyond
from clearance.verify.paths import Motion, Path, path_of


@dataclass(frozen=True, eq=False)
class Moves:
    """A zone's motion, coordinates from the setting's origin.

    Attributes
    ----------
    states : Path or Shaft
        Places the zone at a named pose.
    path : Motion
        What proofs run over; it holds all states.
    """

    states: Path | Shaft
    path: Motion

    @property
    def joint(self) -> Path:
        """Whose roll, travel and slides name a pose."""
        return self.states if isinstance(self.states, Path) else self.states.joint


def moves_of(
    job: Job, table: ZoneTable, entry: ZoneCertificate, origin: Array
) -> tuple[Moves | None, list[str], str | None]:
    """Return a zone's motion, faults of its certificate's link, and why the link was not proved to hold all states."""
    link = next((link for link in job.links if link.name == table.rides), None)
    if link is None:
        path = path_of(job, table, origin)
        return Moves(path, path), [], None
    shaft = shaft_of(job, table, link, origin)
    said = {sweep.link_axes for sweep in entry.sweeps}
    axes, columns = next(iter(said)), entry.sweeps[0].columns()
    if len(said) != 1 or axes is None:
        return None, ["its certificate does not tell the axes of its link's cells"], None
    if columns is None or columns[0].shape[1] != 2:
        return None, ["its certificate's cells are not those of a link"], None
    along, low, high = np.array(axes), columns[0].min(axis=0), columns[1].max(axis=0)
    moves = Moves(shaft, Pointing(shaft.inner, along, low, high))
    if (why := axes_fault(shaft, along)) is not None:
        return moves, [why], None
    try:
        why = state_beyond(shaft, along, low, high)
    except ValueError:
        return moves, [], "that its link's cells hold every state was not settled"
    return moves, [] if why is None else [why], None
