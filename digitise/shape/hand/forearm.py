"""The forearm beyond what the usual hand knows of it: its rim, drawn on along itself."""

from __future__ import annotations

import numpy as np

from digitise.geometry.mesh import Mesh
from digitise.shape.hand.prior import WRIST
from digitise.shape.statistical.surface import PlacedShape

_ON_MM = 160.0


def forearm_beyond(surface: PlacedShape) -> Mesh:
    """Return a tube from a hand's open end away from its wrist; world frame, mm."""
    faces = surface.prior.faces
    every = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    sides, count = np.unique(np.sort(every, axis=1), axis=0, return_counts=True)
    rim, ends = np.unique(sides[count == 1], return_inverse=True)
    near = surface.vertices[rim]
    away = near.mean(axis=0) - surface.vertices[WRIST]
    away[2] = 0.0
    far = near + _ON_MM * away / np.linalg.norm(away)
    first, second = ends.reshape(-1, 2).T
    there = len(rim)
    walls = np.concatenate(
        [
            np.column_stack([first, second, second + there]),
            np.column_stack([first, second + there, first + there]),
        ]
    )
    return Mesh(np.concatenate([near, far]), walls)
