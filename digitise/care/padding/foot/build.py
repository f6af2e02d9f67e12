"""What a foot of this build would be without swelling, and by how much the foot differs from that.

Feet without swelling are told by the usual foot's own modes: their mean and covariance over 400 bodies of a
parametric human model (CC0 data), slim to heavy (``tests/unswollen_feet.py``).  The foot is held against the
one of them that most of its surface agrees with; what differs in one place has little say in that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from digitise.care.padding.foot.areas import vertex_areas
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PLACES

# A surface says so much anew every so many mm^2 (ours): swelling is alike over some 30 mm.
_PLACE_MM2 = 900.0
# Beyond this a place is hardly of the build (Cauchy's constant over a usual difference of 1 mm).
_OFF_MM = 2.4
_ROUNDS = 30
# Two feet stand on the mat a little apart: millimetres, and radians of turn.
_SHIFT_SD = np.array([10.0, 10.0, np.radians(10.0)])


@dataclass(frozen=True, eq=False)
class Difference:
    """By how much a foot stands out beyond another form of it, along its normals.

    Attributes
    ----------
    value, sd
        (V,) at each vertex, mm; negative where it lies below.
    """

    value: Array
    sd: Array


@cache
def _builds() -> tuple[Array, Array]:
    """Return mean (K,) and covariance (K, K) of feet without swelling, in standard deviations of feet."""
    with files("digitise.care.padding.foot").joinpath("usual_build.npz").open("rb") as stream:
        stored = np.load(stream, allow_pickle=False)
        return stored["mean"].astype(float), stored["covariance"].astype(float)


def from_build(belief: ShapeBelief) -> Difference:
    """Return by how much a foot stands out beyond what it would be without swelling."""
    mean, covariance = _builds()
    return _against(belief, mean, covariance, belief.covariance[:-PLACES, :-PLACES])


def from_other(belief: ShapeBelief, other: ShapeBelief) -> Difference:
    """Return by how much a foot stands out beyond the other foot, or beyond itself at another visit.

    Right feet are left ones in the mirror, so that their differences from the usual are the same numbers.
    """
    size = len(belief.covariance) - PLACES
    both = belief.covariance[:size, :size] + other.covariance[:size, :size]
    still = np.full((size, size), 0.0)
    return _against(belief, other.surface.parameters[:size], still, both)


def _against(belief: ShapeBelief, mean: Array, spread: Array, known: Array) -> Difference:
    """Hold a foot against the likeliest of the forms N(mean, spread), moved a little on the mat."""
    surface = belief.surface
    vertices, faces = surface.vertices, surface.prior.faces
    normals = vertex_normals(Mesh(vertices, faces))
    motions = surface.motions(np.arange(len(vertices)))
    slopes = np.einsum("kvc,vc->vk", motions, normals)
    own, shift = slopes[:, :-PLACES], slopes[:, -PLACES:]
    off = own @ (surface.parameters[:-PLACES] - mean)
    root = _root(spread)
    design = np.column_stack([own @ root, shift * _SHIFT_SD])
    share = vertex_areas(vertices, faces) / _PLACE_MM2
    x = np.zeros(design.shape[1])
    for _ in range(_ROUNDS):
        left = off - design @ x
        weight = share / (1.0 + (left / _OFF_MM) ** 2)
        x = np.linalg.solve(design.T @ (weight[:, None] * design) + np.eye(len(x)), design.T @ (weight * off))
    value = off - design @ x
    return Difference(value, np.sqrt(np.einsum("vk,kl,vl->v", own, known, own)))


def _root(covariance: Array) -> Array:
    """Return R (K, R) with R R^T the covariance, without directions that it does not have."""
    size, directions = np.linalg.eigh(covariance)
    kept = size > 1e-9
    return np.asarray(directions[:, kept] * np.sqrt(size[kept]))
