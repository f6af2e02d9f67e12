"""What a photograph says of a limb: a camera and the limb's edges seen by it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only

# Shorter unsure stretches are bridged by the rest without harm.
_UNSURE_GAP_MM = 8.0
_UNSURE_NOTED_MM = 20.0


@dataclass(frozen=True, eq=False)
class Edge:
    """One side of the limb's outline in one photograph, ordered from the foot (hand) to the trunk.

    Attributes
    ----------
    points
        (N, 2) sub-pixel positions in pixels, pixel centres on integers, lens distortion included.
    normals
        (N, 2) unit vectors in the picture, pointing out of the limb.
    sd_px
        (N,) standard deviation of each position along its normal, pixels.
    sure
        (N,) False where the edge could not be told from its surroundings with confidence.
    seen
        (N,) False where something hides the edge, or lies against it unseen: such points say nothing.
    """

    points: Array
    normals: Array
    sd_px: Array
    sure: NDArray[np.bool_]
    seen: NDArray[np.bool_]

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    def pick(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Edge:
        """Return the points for which ``which`` (N,) is True, or those of these numbers in this order."""
        return Edge(
            self.points[which], self.normals[which], self.sd_px[which], self.sure[which], self.seen[which]
        )


@dataclass(frozen=True, eq=False)
class View:
    """A photograph reduced to what the shape needs.

    Attributes
    ----------
    name
        The photograph's file name, for messages.
    camera
        Where it was taken, in the world frame (mat), mm.
    edges
        The limb's edges in it, left side of the picture first.
    """

    name: str
    camera: Camera
    edges: tuple[Edge, ...]


def unsure_parts(z: Array) -> list[tuple[float, float]]:
    """Return from where to where, 20 mm or more, unsure points at heights (n,) mm make an edge unsure.

    Examples
    --------
    >>> unsure_parts(np.array([100.0, 104.0, 110.0, 124.0, 126.0, 140.0, 146.0, 152.0, 160.0]))
    [(140.0, 160.0)]
    >>> unsure_parts(np.array([]))
    []
    """
    z = np.sort(z)
    parts = [part for part in np.split(z, np.flatnonzero(np.diff(z) > _UNSURE_GAP_MM) + 1) if len(part)]
    return [(float(p[0]), float(p[-1])) for p in parts if p[-1] - p[0] >= _UNSURE_NOTED_MM]
