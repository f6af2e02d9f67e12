"""A surface of triangles cut by planes: its part on one side, that part's volume, and the section itself."""

from __future__ import annotations

import numpy as np
from trimesh.intersections import slice_faces_plane

from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array


def cut(body: Mesh, inward: Array, origin: Array) -> Mesh:
    """Return the part of a surface on the inward side of a plane, open where it was cut."""
    kept, triangles, _ = slice_faces_plane(  # type: ignore[no-untyped-call]
        body.vertices, body.faces, inward, origin
    )
    return Mesh(np.asarray(kept, float), np.asarray(triangles, np.int64))


def flux(body: Mesh, across: Array) -> float:
    """Return the volume (mm^3) of a body whose openings all lie in planes that hold the direction ``across``.

    Gauss's theorem for the field (x . across) across: through such openings nothing flows.
    """
    corners = body.vertices[body.faces]
    areas = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return float(np.sum((areas @ across) * (corners.mean(axis=1) @ across)))


def crossed(body: Mesh, origin: Array, normal: Array) -> Array:
    """Return the points (N, 3) in which a plane crosses the edges of a surface."""
    beyond = (body.vertices - origin) @ normal
    edges = np.concatenate([body.faces[:, [0, 1]], body.faces[:, [1, 2]], body.faces[:, [2, 0]]])
    near, far = beyond[edges[:, 0]], beyond[edges[:, 1]]
    over = (near < 0) != (far < 0)
    share = (near[over] / (near[over] - far[over]))[:, None]
    start, end = body.vertices[edges[over, 0]], body.vertices[edges[over, 1]]
    return np.asarray(start + share * (end - start))
