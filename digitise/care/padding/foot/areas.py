"""The parts of a foot that are looked at: its back, and behind the ankle bones on either side.

They are fixed on the usual foot, whose vertices every foot shares, so that they lie at the same place on all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import Side
from digitise.care.surface.chart import Mask
from digitise.care.surface.foot_way import FootPlanes, way_on
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array
from digitise.shape.foot.prior import usual_foot

TOP, BEHIND_OUTER, BEHIND_INNER = (
    "top of the foot",
    "behind the outer ankle bone",
    "behind the inner ankle bone",
)
AHEAD = np.array([0.0, 1.0, 0.0])
# On the usual foot, by eye (ours): how steep its back may be, and where the hollows behind the bones lie.
_UPWARD, _SIDEWAYS = 0.35, 0.35
_BEHIND_MM, _BEHIND_Z_MM = (-120.0, -80.0), (40.0, 105.0)
_TOP_MM = 150.0
# The crease of the ankle is no place on the back of the foot.
CLEAR_OF_BEND_MM = 8.0


@dataclass(frozen=True, eq=False)
class FootAreas:
    """The parts of a usual foot of one side.

    Attributes
    ----------
    of
        By the part's name (V,) whether a vertex is of it.
    planes
        The planes across the usual foot.
    """

    of: dict[str, Mask]
    planes: FootPlanes


@lru_cache(maxsize=2)
def foot_areas(side: Side) -> FootAreas:
    """Return the parts of a ``left`` or ``right`` foot."""
    model = usual_foot(side)
    body = Mesh(model.mean, model.faces)
    normals = vertex_normals(body)
    planes = way_on(body, AHEAD, _TOP_MM)[1]
    _, y, z = model.mean.T
    ahead = y - planes.bend[1]
    top = (normals[:, 2] > _UPWARD) & (ahead > CLEAR_OF_BEND_MM) & (ahead < planes.begin_mm)
    outward = -1.0 if side == Side.LEFT else 1.0
    behind = (y > _BEHIND_MM[0]) & (y < _BEHIND_MM[1]) & (z > _BEHIND_Z_MM[0]) & (z < _BEHIND_Z_MM[1])
    sideways = outward * normals[:, 0]
    return FootAreas(
        {
            TOP: top,
            BEHIND_OUTER: behind & (sideways > _SIDEWAYS),
            BEHIND_INNER: behind & (sideways < -_SIDEWAYS),
        },
        planes,
    )


def side_words(side: Side, across: float) -> str:
    """Return on which side of the foot's middle a place lies; ``across`` in mm towards the person's right."""
    outward = -across if side == Side.LEFT else across
    return "middle" if abs(outward) < _MIDDLE_MM else "outer side" if outward > 0 else "inner side"


_MIDDLE_MM = 12.0


def vertex_areas(vertices: Array, faces: NDArray[np.int64]) -> Array:
    """Return the area (V,), mm^2, that each vertex stands for: a third of its faces'."""
    corners = vertices[faces]
    face = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    return np.asarray(np.bincount(faces.ravel(), np.repeat(face / 3.0, 3), len(vertices)), float)
