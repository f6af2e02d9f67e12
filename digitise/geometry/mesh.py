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
