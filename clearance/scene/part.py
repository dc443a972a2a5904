"""The part being checked."""

from __future__ import annotations

from dataclasses import dataclass, replace

from clearance.frames import Pose
from clearance.scene.mesh import Mesh


@dataclass(frozen=True, eq=False, kw_only=True)
class Part:
    """The part, in its own (modelled) frame or, once placed, in the bay's.

    Attributes
    ----------
    name : str
        File name, for messages.
    mesh : Mesh
        Part frame, mm: what is measured.
    shown : Mesh
        The same surface with its long edges split: what carries colours and patches.
    closed : bool
        Whether every edge is shared by exactly two triangles. If not (a scan of the delivered
        part), inside is decided by winding number and the report says so.
    rides : str
        Carrier: "engine" or "chassis".
    tolerance_mm : float
        Half-width of the finished part's tolerance, mm.
    tolerance_source : str or None
        Where the tolerance is from, one sentence, if the job does not state it.
    material : str or None
    """

    name: str
    mesh: Mesh
    shown: Mesh
    closed: bool
    rides: str
    tolerance_mm: float
    tolerance_source: str | None = None
    material: str | None = None

    def moved(self, pose: Pose) -> Part:
        """Return the part with both meshes mapped by `pose`."""
        return replace(self, mesh=self.mesh.moved(pose), shown=self.shown.moved(pose))
