"""Where skin ends and cloth begins: the hem of a garment round the top of the limb."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import maximum_filter1d

from digitise.capture.outline.region import Region
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.geometry.rigid import Array

_MARGIN_MM = 6.0  # the hem's rim is seen curved, and its shadow falls on the skin
_WINDOW_MM = 16.0
_GAP_MM = 8.0  # the rows a curved rim crosses are left out of the comparison
_SLANT_MM = 8.0  # a hem hangs a little aslant, either way
_NEARER = 0.5
_SKIN_MM = 30.0  # of skin above: more than the shine of a seam
_LEAST_CONTRAST = 5.0  # of the variation along the limb of skin and cloth themselves


def skin_rows(strip: Strip, region: Region) -> tuple[slice, float | None]:
    """Return the region's rows below any hem, and the hem's height in mm (None when there is none).

    A hem is a change of colour across the whole width of the limb, above which nothing looks like the
    skin below: a patch of dressing or a tattoo leaves skin beside it or above it and is no hem.
    """
    rows = _row_colours(strip, region)
    window, gap = int(_WINDOW_MM / STEP_MM), int(_GAP_MM / STEP_MM)
    reach = window + gap
    half = len(rows) // 2
    contrast = np.zeros((half, rows.shape[1]))
    if half > reach:
        # a window that starts at row k is the k-th
        parts = np.lib.stride_tricks.sliding_window_view(rows[: half + reach], window, axis=0)
        mean, variance = parts.mean(axis=-1), parts.var(axis=-1)
        above, below = slice(0, half - reach), slice(reach + gap, half + gap)
        contrast[reach:] = _separation(mean[above] - mean[below], variance[above] + variance[below])
    slack = 2 * int(_SLANT_MM / STEP_MM) + 1
    aslant = maximum_filter1d(contrast, slack, axis=0, mode="nearest").min(axis=1)
    if aslant.max(initial=0.0) < _LEAST_CONTRAST:
        return slice(0, len(rows)), None
    middle = int(np.argmax(contrast.min(axis=1)))
    if _skin_again(rows, middle, reach):
        return slice(0, len(rows)), None
    first = middle + int(_MARGIN_MM / STEP_MM)
    return slice(first, len(rows)), float(strip.heights[region.rows[first]])


def _skin_again(rows: Array, hem: int, reach: int) -> bool:
    """Tell whether skin goes on above a dressing that reaches round the limb.

    Parameters
    ----------
    rows
        (n, 5, 3) colours at five places across the limb, from the trunk down.
    hem, reach
        Row of a change of colour, and how many rows on either side of it tell the colours.
    """
    above, below = rows[: max(hem - reach, 0)], rows[hem + reach // 2 : hem + 2 * reach]
    if not len(above) or not len(below):
        return False
    skin, other = below.mean(axis=0), rows[max(hem - reach, 0) : max(hem - reach // 2, 1)].mean(axis=0)
    # cloth has folds of its own: what is skin again is nearer to the skin below than to the cloth between
    nearer = np.linalg.norm(above - skin, axis=-1) < _NEARER * np.linalg.norm(above - other, axis=-1)
    return bool(np.count_nonzero(nearer.all(axis=1)) * STEP_MM >= _SKIN_MM)


def _row_colours(strip: Strip, region: Region) -> Array:
    """Colours at five places across the limb in every row: (n, 5, 3)."""
    smooth = np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 1.5), np.uint8)
    across = np.linspace(0.2, 0.8, 5)
    offsets = region.left[:, None] + across * (region.right - region.left)[:, None]
    columns = np.round((offsets - strip.offsets[0]) / STEP_MM).astype(int)
    colours = smooth[region.rows[:, None], np.clip(columns, 0, smooth.shape[1] - 1)]
    return np.asarray(brightness_and_hue(colours), float)


def _separation(change: Array, variance: Array) -> Array:
    """Return changes of colour (n, 5, 3) in units of the variation within both parts: (n, 5)."""
    within = np.sqrt(np.sum(variance, axis=-1)) + 0.04
    return np.asarray(np.linalg.norm(change, axis=-1) / within)
