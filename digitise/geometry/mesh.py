"""A surface of triangles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array


@dataclass(frozen=True)
class Mesh:
    """Triangles in the world frame, outward; closed where a solid is meant.

    Attributes
    ----------
    vertices
        (N, 3) in the world frame, mm.
    faces
        (M, 3) vertex indices, counter-clockwise seen from outside.
    """

    vertices: Array
    faces: NDArray[np.int64]


def plane_cut(body: Mesh, origin: Array, normal: Array) -> Array:
    """Return the points (N, 3) in which a plane crosses the edges of a surface, in no order."""
    beyond = (body.vertices - origin) @ normal
    behind = (beyond < 0)[body.faces]
    # few faces cross: the rest is passed over before their edges are taken apart
    faces = body.faces[behind.any(axis=1) & ~behind.all(axis=1)]
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    near, far = beyond[edges[:, 0]], beyond[edges[:, 1]]
    over = (near < 0) != (far < 0)
    share = (near[over] / (near[over] - far[over]))[:, None]
    start, end = body.vertices[edges[over, 0]], body.vertices[edges[over, 1]]
    return np.asarray(start + share * (end - start))


def vertex_normals(mesh: Mesh) -> Array:
    """Return the outward unit normals (N, 3) of a mesh's vertices, each face weighted by its area."""
    corner = mesh.vertices[mesh.faces]
    faces = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.zeros_like(mesh.vertices)
    for axis in range(3):
        for n in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, n], faces[:, axis], len(total))
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12))
