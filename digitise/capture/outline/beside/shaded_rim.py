"""The limb's rim in its own shade, just beyond the step that was taken for its edge.

Skin that is lit from one side goes over into shade a few pixels before it ends, and there it is darker than
the backdrop beyond: the greater step is where the shade begins.  Sharpening leaves a dark line beyond an edge
as well, but that has the backdrop's colour.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from digitise.capture.light_steps.profiles import light_beside
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array

# From the edge outwards, pixels: skin in the light, the rim, and the backdrop beyond the blur of its colour
_SKIN_PX, _RIM_PX, _BEYOND_PX = np.arange(-10.0, -7.0), np.array([2.0, 3.0, 4.0]), np.arange(8.0, 11.0)
# Of 50 000 sure points of 60 made visits 161 have both, among them 30 of the 127 that lie more than 3 px off.
_DARKER = 0.06  # of the light beyond
_COLOURED = 0.3  # of the way from the backdrop's colour to the skin's: blur leaves a twentieth there
_LEAST_MM = 24.0  # half a line of the steps' table


def shaded_rim(pixels: NDArray[np.uint8], points: Array, normals: Array) -> Mask:
    """Tell where the limb may as well end a few pixels further out, beyond a rim in shade: (n,).

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    points, normals
        (n, 2) points of the edge, ``STEP_MM`` apart along the limb, and their normals out of it, pixels.
    """
    skin, rim, beyond = (light_beside(pixels, points, normals, at) for at in (_SKIN_PX, _RIM_PX, _BEYOND_PX))
    darker = beyond[:, 0] - rim[:, 0] > _DARKER * beyond[:, 0]
    own, there = _colour(skin) - _colour(beyond), _colour(rim) - _colour(beyond)
    coloured = np.sum(there * own, axis=1) > _COLOURED * np.sum(own**2, axis=1)
    mostly = uniform_filter1d((darker & coloured).astype(float), int(_LEAST_MM / STEP_MM), mode="nearest")
    return np.asarray(mostly >= 0.5)


def _colour(light: Array) -> Array:
    """Return colour differences by brightness, (n, 2) of (n, 3); light below a thousandth has none."""
    return np.asarray(light[:, 1:] / np.maximum(light[:, :1], 1e-3))
