"""What the leg that stands on a foot tells of it: upright planes round its lowest sections."""

from __future__ import annotations

import numpy as np

from digitise.shape.limb import Limb, radius
from digitise.shape.statistical.planes import TangentPlanes

HIGHEST_MM = 165.0  # up to which the usual foot knows the leg above it
_RINGS_MM = 10.0
_DIRECTIONS = 24
# The leg's lowest sections are correlated over 40 mm, four rings, and all round by six directions.
_LEG_SD_MM = 1.0
_RING_FACTOR = float(np.sqrt(4.0 * 3.0))


def planes_of_leg(limb: Limb) -> TangentPlanes:
    """Return what the leg's lowest sections say: upright planes round them, up to ``HIGHEST_MM``.

    The limb's axis is the world's z.
    """
    heights = np.arange(limb.from_mm + 2.0, min(HIGHEST_MM, limb.to_mm), _RINGS_MM)
    theta, z = (
        each.ravel() for each in np.meshgrid(2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS, heights)
    )
    told = radius(limb, theta, z)
    count = len(z)
    zero, up = np.zeros(count), np.tile([0.0, 0.0, 1.0], (count, 1))
    return TangentPlanes(
        np.column_stack([zero, zero, z]),
        np.column_stack([np.cos(theta), np.sin(theta), zero]),
        up,
        np.asarray(told.mean),
        _RING_FACTOR * np.hypot(told.sd, _LEG_SD_MM),
        np.full(count, -1),
        zero,
    )
