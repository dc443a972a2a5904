"""Bounded closest points with Warp, where it is installed. Apart: Warp reads a kernel's source from its file."""

from collections.abc import Callable

import numpy as np
import warp as wp

wp.config.quiet = True


@wp.kernel
def _distances(mesh: wp.uint64, points: wp.array(dtype=wp.vec3), most: float, found: wp.array(dtype=float)):
    i = wp.tid()
    asked = wp.mesh_query_point_no_sign(mesh, points[i], most)
    distance = most
    if asked.result:
        distance = wp.length(points[i] - wp.mesh_eval_position(mesh, asked.face, asked.u, asked.v))
    found[i] = distance


def least_distance(vertices: np.ndarray, faces: np.ndarray, most_mm: float) -> Callable[[np.ndarray], float]:
    """Return what tells the least distance, mm, of (n, 3) points to a mesh, nothing beyond `most_mm`."""
    wp.init()
    mesh = wp.Mesh(
        wp.array(vertices.astype(np.float32), dtype=wp.vec3, device="cpu"),
        wp.array(faces.astype(np.int32).ravel(), dtype=int, device="cpu"),
    )

    def ask(points: np.ndarray) -> float:
        given = wp.array(points.astype(np.float32), dtype=wp.vec3, device="cpu")
        found = wp.empty(len(points), dtype=float, device="cpu")
        wp.launch(_distances, len(points), inputs=[mesh.id, given, most_mm, found], device="cpu")
        return float(found.numpy().min())

    return ask
