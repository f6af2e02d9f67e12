"""Where skin ends and cloth begins: the hem of a garment round the top of the limb."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.colour import brightness_and_hue
from digitise.capture.region import Region
from digitise.capture.strip import STEP_MM, Strip
from digitise.geometry.rigid import Array

_MARGIN_MM = 6.0  # the hem's rim is seen curved, and its shadow falls on the skin
_WINDOW_MM = 16.0
_GAP_MM = 8.0  # the rows a curved rim crosses are left out of the comparison
_LEAST_CONTRAST = 5.0  # of the variation along the limb of skin and cloth themselves


def skin_rows(strip: Strip, region: Region) -> tuple[slice, float | None]:
    """Return the region's rows below any hem, and the hem's height in mm (None when there is none).

    A hem is a change of colour across the whole width of the limb, above which nothing looks like the
    skin below: a patch of dressing or a tattoo leaves skin beside it and is no hem.
    """
    rows = _row_colours(strip, region)
    window, gap = int(_WINDOW_MM / STEP_MM), int(_GAP_MM / STEP_MM)
    reach = window + gap
    change = np.zeros(len(rows) // 2)
    for row in range(reach, len(change)):
        change[row] = _separation(rows[row - reach : row - gap], rows[row + gap : row + reach])
    if change.max(initial=0.0) < _LEAST_CONTRAST:
        return slice(0, len(rows)), None
    first = int(np.argmax(change)) + int(_MARGIN_MM / STEP_MM)
    return slice(first, len(rows)), float(strip.heights[region.rows[first]])


def _row_colours(strip: Strip, region: Region) -> Array:
    """Colours at five places across the limb in every row: (n, 5, 3)."""
    values = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 1.5), np.uint8))
    across = np.linspace(0.2, 0.8, 5)
    offsets = region.left[:, None] + across * (region.right - region.left)[:, None]
    columns = np.round((offsets - strip.offsets[0]) / STEP_MM).astype(int)
    return np.asarray(values[region.rows[:, None], np.clip(columns, 0, values.shape[1] - 1)], float)


def _separation(above: NDArray[np.float64], below: NDArray[np.float64]) -> float:
    """Least over the width of the change of colour, in units of its variation within the two parts."""
    change = np.linalg.norm(above.mean(axis=0) - below.mean(axis=0), axis=-1)
    within = np.sqrt(np.sum(above.var(axis=0) + below.var(axis=0), axis=-1)) + 0.04
    return float(np.min(change / within))
