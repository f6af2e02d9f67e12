"""A band beside the edge too narrow for a second edge: a sliver of another leg, or the limb's rim in shade.

Of the light that steps at the edge a good part comes back a few pixels further in. Whether the limb ends at
the one flank of the band or at the other is told by nothing within it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from digitise.capture.light_steps.profiles import light_beside
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array

# From the edge outwards, pixels: outside it, in the band, and beyond what a second edge could be told from
_OUTSIDE_PX, _BAND_PX, _WITHIN_PX = np.arange(4.0, 7.0), np.array([-3.0, -2.0]), np.arange(-9.0, -6.0)
# By trial on eighteen made and composed visits: so much of 31 points on a sliver, and 3 % of all others
_BACK = 0.4  # of the step at the edge
_CLEAR = 0.06  # of the light within
_LEAST_MM = 24.0  # half a line of the steps' table


def narrow_band(pixels: NDArray[np.uint8], points: Array, normals: Array) -> Mask:
    """Tell where an edge may as well lie a few pixels further in: (n,).

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    points, normals
        (n, 2) points of the edge, ``STEP_MM`` apart along the limb, and their normals out of it, pixels.
    """
    outside, band, within = (
        light_beside(pixels, points, normals, at)[:, 0] for at in (_OUTSIDE_PX, _BAND_PX, _WITHIN_PX)
    )
    step, back = band - outside, within - band
    found = (back * np.sign(-step) > _BACK * np.abs(step)) & (np.abs(back) > _CLEAR * within)
    mostly = uniform_filter1d(found.astype(float), int(_LEAST_MM / STEP_MM), mode="nearest")
    return np.asarray(mostly >= 0.5)
