"""What feet usually are: a mean surface and the ways in which feet differ from it.

Origin: 400 adult feet of a parametric body (CC0 data), slim to heavy, of random swelling, ankle pose and
proportions (length, width and height vary by 4, 5 and 6 % beyond the bodies' own), standing with a flattened
sole.  Principal components of their surfaces, one standard deviation each; the 30 that are kept leave 0.3 mm
rms of a surface that was not among them.  ``tests/usual_feet.py`` makes them anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only


@dataclass(frozen=True, eq=False)
class FootPrior:
    """The usual foot and how feet differ: open at the top, closed below.

    Frame: z up from the mat, toes towards +y, the middle of the foot's footprint at the origin; mm.

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


@lru_cache(maxsize=2)
def usual_foot(side: str) -> FootPrior:
    """Return the prior of a ``left`` or ``right`` foot; the one is the other in a mirror."""
    with files("digitise.shape.foot").joinpath("usual_foot.npz").open("rb") as stream:
        stored = np.load(stream)
        mean, modes = stored["mean"].astype(float), stored["modes"].astype(float)
        faces = stored["faces"].astype(np.int64)
    if side == "left":
        return FootPrior(mean, modes, faces, edges_of(faces))
    mirror = np.array([-1.0, 1.0, 1.0])
    return FootPrior(mean * mirror, modes * mirror, faces[:, ::-1].copy(), edges_of(faces))


def edges_of(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the edges (E, 2) of faces (F, 3), each once."""
    every = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return np.unique(np.sort(every, axis=1), axis=0)
