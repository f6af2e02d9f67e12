"""A surface of triangles cut by planes: its part on one side, and that part's volume."""

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
