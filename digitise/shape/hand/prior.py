"""What hands usually are: a mean surface and the ways in which hands differ from it.

Origin: 280 adult hands of a parametric body (CC0 data), slim to heavy, lying with their palm on the mat, of
random proportions (size varies by 8 %, length, width and height by 3, 3 and 5 % beyond the bodies' own),
fingers nearly closed to wide, stretched or a little bent, and random swelling.  Principal components of
their surfaces, one standard deviation each.  ``tests/usual_hands.py`` makes them anew.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import Side
from digitise.geometry.rigid import Array
from digitise.shape.statistical.model import ShapeModel, beside_edges, edges_of
from digitise.shape.statistical.planes import TangentPlanes, Touch, touch_outline
from digitise.shape.statistical.surface import PlacedShape

WRIST, MIDDLE = -6, -4
"""Which of the surface's last points, that no face has, are the wrist and the middle knuckle."""
PALM, THUMB, MIDDLE_FINGER = 1, 2, 4
"""Parts among :func:`parts_of_hand`."""
FOREARM_MM = 90.0
"""So far beyond the wrist the usual hand knows the forearm."""


@lru_cache(maxsize=2)
def usual_hand(side: Side) -> ShapeModel:
    """Return the prior of a ``left`` or ``right`` hand, palm down; the one is the other in a mirror.

    Its last points are joints: wrist, knuckles of index to little finger, last of the middle finger.
    """
    stored = _stored()
    mean, modes = stored["mean"].astype(float), stored["modes"].astype(float)
    faces = stored["faces"].astype(np.int64)
    if side == Side.LEFT:
        return ShapeModel(mean, modes, faces, edges_of(faces))
    mirror = np.array([-1.0, 1.0, 1.0])
    return ShapeModel(mean * mirror, modes * mirror, faces[:, ::-1].copy(), edges_of(faces))


@lru_cache(maxsize=1)
def parts_of_hand() -> NDArray[np.uint8]:
    """Return the part of each vertex: 0 forearm, 1 palm, 2 thumb, 3 to 6 fingers."""
    return np.asarray(_stored()["parts"], np.uint8)


def outline_of_hand(surface: PlacedShape, planes: TangentPlanes) -> Touch:
    """Return where a hand's outline touches planes, each finger its own."""
    return touch_outline(surface.vertices, surface.prior, _beside(), planes)


def along_hand(surface: PlacedShape) -> tuple[Array, Array]:
    """Return the wrist (3,) on the mat, mm, and the horizontal unit vector (3,) to the middle knuckle."""
    points = surface.vertices[[WRIST, MIDDLE]] * [1.0, 1.0, 0.0]
    away = points[1] - points[0]
    return points[0], away / np.linalg.norm(away)


@lru_cache(maxsize=1)
def _stored() -> dict[str, NDArray[np.generic]]:
    with files("digitise.shape.hand").joinpath("usual_hand.npz").open("rb") as stream:
        return dict(np.load(stream))


@lru_cache(maxsize=1)
def _beside() -> NDArray[np.int64]:
    # a mirror turns every face's corners round, and changes neither edges nor what is beside them
    return beside_edges(np.asarray(_stored()["faces"], np.int64))
