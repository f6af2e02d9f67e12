"""A surface of triangles: cut by planes, welded, its faces divided.

A general library for meshes does the same and is loaded for a third of a second by every command that needs
one of these; the tests hold them against it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array

_ON_PLANE = 1e-8  # mm: rounding of a point on a plane


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


def part_beyond(body: Mesh, inward: Array, origin: Array) -> Mesh:
    """Return the part of a surface on the inward side of a plane, open where it was cut.

    Faces that the plane crosses are cut in it; points that several of them make there are not one.

    Parameters
    ----------
    body
        The surface.
    inward
        (3,) into the half space that is kept, of any length.
    origin
        (3,) a point of the plane.
    """
    ahead = (body.vertices - origin) @ inward
    ahead[np.abs(ahead) < _ON_PLANE * np.linalg.norm(inward)] = 0.0
    inside = ahead >= 0.0
    count = inside[body.faces].sum(axis=1)
    vertices, faces = [body.vertices], [body.faces[count == 3]]
    size = len(body.vertices)
    for kept in (1, 2):
        # each such face turned so that the corner that is alone on its side comes first
        crossed = body.faces[count == kept]
        alone = np.argmax(inside[crossed] == (kept == 1), axis=1)
        a, b, c = np.take_along_axis(crossed, (alone[:, None] + np.arange(3)) % 3, axis=1).T
        on_b, on_c = (_between(body.vertices, ahead, a, far) for far in (b, c))
        at_b = size + np.arange(len(a))
        at_c = at_b + len(a)
        vertices += [on_b, on_c]
        size += 2 * len(a)
        if kept == 1:
            faces.append(np.column_stack([a, at_b, at_c]))
        else:
            faces += [np.column_stack([at_b, b, c]), np.column_stack([at_b, c, at_c])]
    return Mesh(np.concatenate(vertices), np.concatenate(faces))


def _between(vertices: Array, ahead: Array, near: NDArray[np.int64], far: NDArray[np.int64]) -> Array:
    """Return the points (N, 3) in which edges cross the plane from which vertices are ``ahead`` (V,)."""
    share = (ahead[near] / (ahead[near] - ahead[far]))[:, None]
    return np.asarray(vertices[near] + share * (vertices[far] - vertices[near]))


def welded(body: Mesh, digits: int) -> Mesh:
    """Return a surface whose vertices that agree to so many decimals are one, without faces that are none."""
    _, first, number = np.unique(
        np.round(body.vertices, digits), axis=0, return_index=True, return_inverse=True
    )
    faces = number.reshape(-1)[body.faces]
    a, b, c = faces.T
    return used(Mesh(body.vertices[first], faces[(a != b) & (b != c) & (c != a)]))


def used(body: Mesh) -> Mesh:
    """Return a surface without vertices that belong to no face."""
    there, faces = np.unique(body.faces, return_inverse=True)
    return Mesh(body.vertices[there], faces.reshape(body.faces.shape))


def quartered(body: Mesh, which: NDArray[np.bool_]) -> Mesh:
    """Return a surface with some of its faces (M,) divided in four at the middles of their edges."""
    a, b, c = chosen = body.faces[which].T
    edges = np.sort(np.concatenate([np.column_stack(ends) for ends in ((a, b), (b, c), (c, a))]), axis=1)
    each, number = np.unique(edges, axis=0, return_inverse=True)
    ab, bc, ca = len(body.vertices) + number.reshape(chosen.shape)
    quarters = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return Mesh(
        np.concatenate([body.vertices, body.vertices[each].mean(axis=1)]),
        np.concatenate([body.faces[~which], *(np.column_stack(one) for one in quarters)]),
    )


def flux(body: Mesh, across: Array) -> float:
    """Return the volume (mm^3) of a body whose openings all lie in planes that hold the direction ``across``.

    Gauss's theorem for the field (x . across) across: through such openings nothing flows.
    """
    corners = body.vertices[body.faces]
    areas = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return float(np.sum((areas @ across) * (corners.mean(axis=1) @ across)))


def vertex_normals(mesh: Mesh) -> Array:
    """Return the outward unit normals (N, 3) of a mesh's vertices, each face weighted by its area."""
    corner = mesh.vertices[mesh.faces]
    faces = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.zeros_like(mesh.vertices)
    for axis in range(3):
        for n in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, n], faces[:, axis], len(total))
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12))
