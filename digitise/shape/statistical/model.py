"""What a part of the body usually looks like: a mean surface and the ways in which others differ from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only


@dataclass(frozen=True, eq=False)
class ShapeModel:
    """A usual shape and how others differ from it: a surface, open where the limb goes on.

    Frame: z up from the mat, toes or fingers towards +y, the middle of the footprint at the origin; mm.

    Attributes
    ----------
    mean
        (V, 3) vertices.
    modes
        (K, V, 3) displacements, each of one standard deviation.
    faces
        (F, 3) vertex indices, outward.
    edges
        (E, 2) vertex indices, each edge of the faces once.
    """

    mean: Array
    modes: Array
    faces: NDArray[np.int64]
    edges: NDArray[np.int64]

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)


def edges_of(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the edges (E, 2) of faces (F, 3), each once."""
    every = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return np.unique(np.sort(every, axis=1), axis=0)


def beside_edges(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the two faces (E, 2) beside each of :func:`edges_of`; a rim's edge has the same one twice."""
    every = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    _, which = np.unique(np.sort(every, axis=1), axis=0, return_inverse=True)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.argsort(which.reshape(-1), kind="stable")
    ranked = which.reshape(-1)[order]
    first = np.flatnonzero(np.diff(ranked, prepend=-1))
    last = np.append(first[1:], len(ranked)) - 1
    return np.stack([owner[order[first]], owner[order[last]]], axis=1)
