"""The engine reference: a mesh or a scan of the engine in the part's frame."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.frames import Array
from clearance.job.schema import Job
from clearance.provenance import InputFile, sha256_of
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed
from clearance.scene.mesh_io import EXTENSIONS, read_mesh_file
from clearance.scene.ply_header import read_header
from clearance.scene.scan_io import read_scan
from clearance.scene.winding import outward, wound_alike

KEY = "engine.file"


@dataclass(frozen=True, eq=False, kw_only=True)
class Engine:
    """The engine in the part's frame. Exactly one of `mesh` and `points` is set.

    Attributes
    ----------
    mesh : Mesh or None
    points : (n, 3) float64 or None
        mm, of a scan.
    peel : bool
        Whether scan points of the bay that lie on it ride with it.
    """

    mesh: Mesh | None = None
    points: Array | None = None
    peel: bool


def read_engine(job: Job) -> tuple[Engine | None, tuple[InputFile, ...]]:
    """Read the job's engine reference; None where it has none.

    Raises InputError as `read_mesh_file` and `read_scan`.
    """
    if job.engine is None:
        return None, ()
    path, unit = job.path(job.engine.file), job.engine.unit
    name, digest = job.engine.file.as_posix(), sha256_of(path)
    if _is_mesh(path.suffix.lower().lstrip("."), job):
        read = read_mesh_file(path, unit, key=KEY, where=job.file)
        mesh = wound_alike(read.mesh)
        record = InputFile(file=name, sha256=digest, unit=unit, triangles=read.triangles_in_file)
        return Engine(mesh=outward(mesh) if closed(mesh) else mesh, peel=job.engine.peel), (record,)
    scan = read_scan([path], unit, key=KEY, where=job.file)
    record = InputFile(file=name, sha256=digest, unit=unit, points=scan.files[0].kept)
    return Engine(points=scan.points, peel=job.engine.peel), (record,)


def _is_mesh(extension: str, job: Job) -> bool:
    """Tell whether the file holds triangles: by its extension, a PLY by what its header promises."""
    assert job.engine is not None
    if extension != "ply":
        return extension in EXTENSIONS
    try:
        return read_header(job.path(job.engine.file)).count("face") > 0
    except (OSError, ValueError):  # the mesh reader tells what is wrong
        return True
