"""Where skin ends and cloth begins: the hem of a garment round the top of the limb."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from digitise.capture.outline.region import Region
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

_MARGIN_MM = 6.0  # the hem's rim is seen curved, and its shadow falls on the skin
_WINDOW_MM = 16.0
_GAP_MM = 8.0  # the rows a curved rim crosses are left out of the comparison
_REACH = int(_WINDOW_MM / STEP_MM) + int(_GAP_MM / STEP_MM)
_SLANT_MM = 8.0  # a hem hangs a little aslant, either way
_NEARER = 0.5
_SKIN_MM = 30.0  # of skin above: more than the shine of a seam
# Of the variation along the limb of skin and cloth themselves: no bare leg shows more in 42 pictures.
_LEAST_CONTRAST = 5.0
_LOWEST_MM = 60.0  # further down the mat's print and the toes make changes of their own
_LEAST_CLOTH_MM, _BARE_MM = 20.0, 100.0


def skin_rows(strip: Strip, region: Region) -> tuple[slice, float | None]:
    """Return the region's rows below any hem, and the hem's height in mm (None when there is none).

    A hem is a change of colour across the whole width of the limb, above which nothing looks like the
    skin below: a patch of dressing or a tattoo leaves skin beside it or above it and is no hem.
    """
    rows = _row_colours(strip, region)
    contrast = _contrast(rows, len(rows) // 2)
    if _aslant(contrast).max(initial=0.0) < _LEAST_CONTRAST:
        return slice(0, len(rows)), None
    middle = int(np.argmax(contrast.min(axis=1)))
    if _skin_again(rows, middle, _REACH):
        return slice(0, len(rows)), None
    first = middle + int(_MARGIN_MM / STEP_MM)
    return slice(first, len(rows)), float(strip.heights[region.rows[first]])


def cloth_round(strip: Strip, region: Region, top: int) -> NDArray[np.bool_]:
    """Tell on which of a region's rows (n,) cloth goes all round the lower half: a sock, a bandage.

    Parameters
    ----------
    strip, region
        A strip and the limb in it.
    top
        The first row below a garment's hem, where skin begins.
    """
    colours = _row_colours(strip, region)[..., 1:]  # a lobe's shade changes brightness as sharply
    last = int(np.count_nonzero(strip.heights[region.rows] > _LOWEST_MM))
    cloth = np.zeros(len(colours), bool)
    contrast = _contrast(colours, last)
    contrast[: top + _REACH] = 0.0
    runs = true_runs(_aslant(contrast) > _LEAST_CONTRAST)
    ends = [first + int(np.argmax(contrast[first:end].min(axis=1))) for first, end in runs]
    # what is above a change in the upper half is a garment whose hem was passed over
    ends = [end for end in ends if end >= max(len(colours) // 2, top + int(_BARE_MM / STEP_MM))]
    margin = int(_MARGIN_MM / STEP_MM)
    skin, covered = colours[top], False
    for above, row, below in zip([top, *ends], ends, [*ends[1:], last], strict=False):
        before, after = (colours[part].mean(axis=0) for part in (slice(above, row), slice(row, below)))
        if not covered:
            skin, covered = before, True
        else:
            covered = not _nearer(after, skin, before)
        if covered and (below - row) * STEP_MM >= _LEAST_CLOTH_MM:
            cloth[row - margin : below + margin] = True
    return cloth


def _contrast(rows: Array, count: int) -> Array:
    """Return by how much the colours above and below each of the first rows differ: (count, 5)."""
    window, gap = int(_WINDOW_MM / STEP_MM), int(_GAP_MM / STEP_MM)
    contrast = np.zeros((count, rows.shape[1]))
    many = min(count, len(rows) - _REACH + 1) - _REACH
    if many > 0:
        # a window that starts at row k is the k-th
        parts = np.lib.stride_tricks.sliding_window_view(rows[: count + _REACH], window, axis=0)
        mean, variance = parts.mean(axis=-1), parts.var(axis=-1)
        above, below = slice(0, many), slice(_REACH + gap, _REACH + gap + many)
        found = _separation(mean[above] - mean[below], variance[above] + variance[below])
        contrast[_REACH : _REACH + many] = found
    return contrast


def _aslant(contrast: Array) -> Array:
    """Return the contrast (n, 5) of the worst place across the limb, of a hem that may hang aslant: (n,)."""
    slack = 2 * int(_SLANT_MM / STEP_MM) + 1
    return np.asarray(maximum_filter1d(contrast, slack, axis=0, mode="nearest").min(axis=1))


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
    return bool(np.count_nonzero(_nearer(above, skin, other)) * STEP_MM >= _SKIN_MM)


def _nearer(colours: Array, skin: Array, other: Array) -> NDArray[np.bool_]:
    """Tell which colours (..., 5, 3) are at all five places skin's (5, 3) rather than something else's."""
    apart, beside = (np.linalg.norm(colours - each, axis=-1) for each in (skin, other))
    return np.asarray((apart < _NEARER * beside).all(axis=-1))


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
