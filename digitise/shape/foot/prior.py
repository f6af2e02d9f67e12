"""What feet usually are: a mean surface and the ways in which feet differ from it.

Origin: 400 adult feet of a parametric body (CC0 data), slim to heavy, of random swelling, ankle pose and
proportions (length, width and height vary by 4, 5 and 6 % beyond the bodies' own), standing with a flattened
sole.  Principal components of their surfaces, one standard deviation each; the 30 that are kept leave 0.3 mm
rms of a surface that was not among them.  ``tests/usual_feet.py`` makes them anew.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np

from digitise.anatomy import Side
from digitise.shape.statistical.model import ShapeModel, edges_of


@lru_cache(maxsize=2)
def usual_foot(side: Side) -> ShapeModel:
    """Return the prior of a ``left`` or ``right`` foot; the one is the other in a mirror."""
    with files("digitise.shape.foot").joinpath("usual_foot.npz").open("rb") as stream:
        stored = np.load(stream)
        mean, modes = stored["mean"].astype(float), stored["modes"].astype(float)
        faces = stored["faces"].astype(np.int64)
    if side == Side.LEFT:
        return ShapeModel(mean, modes, faces, edges_of(faces))
    mirror = np.array([-1.0, 1.0, 1.0])
    return ShapeModel(mean * mirror, modes * mirror, faces[:, ::-1].copy(), edges_of(faces))
