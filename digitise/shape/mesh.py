"""A limb as a closed surface whose volume is the limb's stated volume.

The limb's volume is an expectation, and it is a little less than the volume inside the mean surface: what no
view sees makes a section less round, whichever way it goes.  One surface cannot have the mean support
distance everywhere and the expected area too, so the surface is drawn in where it is uncertain, by the same
multiple q of its sd all round a section, with q such that the section has its expected area.  To first order
this is the set of points that lie in the limb with at least a fixed probability, of the expected size: the
Vorob'ev expectation of a random set (Molchanov, Theory of Random Sets, from memory).  Where a silhouette saw
the limb the surface stays within hundredths of a millimetre of it; a girth cut from the mesh is smaller than
the limb's girth by about half the relative step in area.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier, nearest_tangents
from digitise.shape.limb import MM3_PER_ML, Limb, area, coefficients, volume

RAYS = 144
STEP_MM = 4.0
# Tangent lines per section: at 1 degree their corners stand out by 4e-5 of the radius at most.
_TANGENTS = 360
# Lets a section without any uncertainty still give up what its polygon loses against its curve.
_LEAST_SD_MM = 1e-3


@dataclass(frozen=True)
class _Rings:
    """Sections as distances along equal rays from their centres, and how these shrink per unit of q."""

    distance: Array
    shrink: Array


def limb_mesh(limb: Limb, step: float = STEP_MM, rays: int = RAYS) -> Mesh:
    """Return the limb between its levels as a mesh.

    Parameters
    ----------
    limb
        What to draw.
    step
        Greatest distance between rings, mm.
    rays
        Points per ring.

    Returns
    -------
    Mesh, its volume equal to ``volume(limb, from_mm, to_mm)`` to a millionth, each ring's area to its
    expected area within a few millionths.
    """
    spans = int(np.ceil((limb.to_mm - limb.from_mm) / step))
    z = np.linspace(limb.from_mm, limb.to_mm, spans + 1)
    mean, covariance = coefficients(limb, z)
    rings = _rings(mean, covariance, limb.basis.harmonics, rays)
    wanted = float(volume(limb, limb.from_mm, limb.to_mm).mean) * MM3_PER_ML
    faces = stack_faces(len(z), rays)
    target = area(limb, z).mean
    for _ in range(3):
        # straight lines between rings lose a little volume on a bulging limb: give it back evenly
        vertices = _vertices(_drawn_in(rings, target), mean[:, 1:3], z)
        target = target * wanted / mesh_volume(vertices, faces)
    return Mesh(limb.axis_from_world.inverse().apply(vertices), faces)


def _rings(mean: Array, covariance: Array, harmonics: int, rays: int) -> _Rings:
    theta = 2 * np.pi * np.arange(_TANGENTS) / _TANGENTS
    terms = fourier(theta, harmonics)
    centred = mean.copy()
    centred[:, 1:3] = 0.0
    support = centred @ terms.T
    sd = np.sqrt(np.maximum(np.einsum("mk,nkl,ml->nm", terms, covariance, terms, optimize=True), 0.0))
    index, stretch = nearest_tangents(support, rays)
    distance = np.take_along_axis(support, index, axis=1) * stretch
    shrink = (np.take_along_axis(sd, index, axis=1) + _LEAST_SD_MM) * stretch
    return _Rings(distance, shrink)


def _drawn_in(rings: _Rings, target: Array) -> Array:
    """Return the distances ``distance - q shrink`` whose polygons have the areas ``target`` (S,).

    The polygon's area is a quadratic in q; its lesser root is taken in the form that does not cancel.
    """
    half_sine = 0.5 * np.sin(2 * np.pi / rings.distance.shape[1])
    next_distance, next_shrink = np.roll(rings.distance, -1, axis=1), np.roll(rings.shrink, -1, axis=1)
    surplus = half_sine * np.sum(rings.distance * next_distance, axis=1) - target
    first = half_sine * np.sum(rings.distance * next_shrink + rings.shrink * next_distance, axis=1)
    second = half_sine * np.sum(rings.shrink * next_shrink, axis=1)
    root = np.sqrt(np.maximum(first**2 - 4 * second * surplus, 0.0))
    q = 2 * surplus / (first + root)
    return np.asarray(rings.distance - q[:, None] * rings.shrink)


def _vertices(distance: Array, centre: Array, z: Array) -> Array:
    """Return ring points, then the two cap centres, in the axis frame: (S * rays + 2, 3)."""
    phi = 2 * np.pi * np.arange(distance.shape[1]) / distance.shape[1]
    around = np.stack([np.cos(phi), np.sin(phi)], axis=-1)
    flat = centre[:, None, :] + distance[..., None] * around
    height = np.broadcast_to(z[:, None, None], (*distance.shape, 1))
    rings = np.concatenate([flat, height], axis=-1).reshape(-1, 3)
    caps = np.column_stack([centre[[0, -1]], z[[0, -1]]])
    return np.concatenate([rings, caps])


def stack_faces(n_rings: int, rays: int) -> NDArray[np.int64]:
    """Return the faces of a stack of rings closed by a fan at each end; the fans' centres come last."""
    here = np.arange(n_rings * rays).reshape(n_rings, rays)
    ahead = np.roll(here, -1, axis=1)
    low, low_ahead, high, high_ahead = here[:-1], ahead[:-1], here[1:], ahead[1:]
    bottom, top = n_rings * rays, n_rings * rays + 1
    parts = [
        np.stack([low, low_ahead, high_ahead], axis=-1),
        np.stack([low, high_ahead, high], axis=-1),
        np.stack([ahead[0], here[0], np.full(rays, bottom)], axis=-1),
        np.stack([here[-1], ahead[-1], np.full(rays, top)], axis=-1),
    ]
    return np.concatenate([part.reshape(-1, 3) for part in parts]).astype(np.int64)


def mesh_volume(vertices: Array, faces: NDArray[np.int64]) -> float:
    """Return the volume of a closed mesh, mm^3: the sum of ``v0 . (v1 x v2) / 6`` over its faces."""
    # from a corner of the mesh: from far away the terms would cancel
    corner = vertices[faces] - vertices[0]
    return float(np.sum(corner[:, 0] * np.cross(corner[:, 1], corner[:, 2])) / 6.0)
