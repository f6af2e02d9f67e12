"""Skin beyond what was found to be the limb: nearly as white as the sheet in much light, or before print.

And paper within it: before print, whose edges are stronger than the limb's.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter

from digitise.capture.lying.cut import warmer_than
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array

# The sheet is a little warmer within a few mm of a lit limb, whose light falls on it; the rim of a limb that
# was cut short lay 5 to 12 mm beyond what was found.
_BEYOND_MM = np.arange(3.0, 8.0, STEP_MM)
# Paper between a limb's edge and a marker behind it; nearer, the edge's own blur mixes both.
_WITHIN_MM = np.arange(-8.0, -2.0, STEP_MM)
_RIM_MM = np.array([-1.0, -3.0])  # the limb's rim in the shade may be as narrow as that
_AS_DARK = 0.4  # log units: half a step that is seen clearly
_FAR_MM = 120.0  # from the axis: surely sheet
_STEADY_ROWS, _MARGIN_ROWS = 9, 10
# Where so much of a boundary is that of the light on the limb, the rest of it is not to be trusted either.
_MUCH = 0.15


def pale_beyond(strip: Strip, panel: Panel, rows: NDArray[np.intp], offsets: Array, outward: int) -> Mask:
    """Return at which rows (n,) something bright and warmer than the sheet goes on beyond a boundary.

    Parameters
    ----------
    strip, panel
        A lying limb's strip, and what is known of the sheet behind it.
    rows, offsets
        (n,) of the boundary, mm from the axis.
    outward
        1 or -1: which way is out of the limb.
    """
    values = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 1.0), np.uint8))
    far = panel.inside & (np.abs(strip.offsets) > _FAR_MM)
    if not far.any():
        return np.zeros(len(rows), bool)
    warm = warmer_than(values, np.median(values[far, 1:], axis=0)) & panel.inside
    steady = _mostly(warm, strip, rows, offsets, outward, _BEYOND_MM)
    if steady.mean() > _MUCH:
        return np.ones(len(rows), bool)
    return _with_margin(steady)


def skin_beyond(skin: Mask, strip: Strip, rows: NDArray[np.intp], offsets: Array, outward: int) -> Mask:
    """Return at which rows (n,) skin goes on beyond a boundary: that is a step of light on the limb.

    Parameters
    ----------
    skin
        (H, W) True where the hue is clearly the skin's.
    strip, rows, offsets, outward
        As for :func:`pale_beyond`.
    """
    return _with_margin(_mostly(skin, strip, rows, offsets, outward, _BEYOND_MM))


def paper_within(skin: Mask, strip: Strip, rows: NDArray[np.intp], offsets: Array, outward: int) -> Mask:
    """Return at which rows (n,) no skin lies within a boundary: that is an edge of the print behind the limb.

    Parameters
    ----------
    skin, strip, rows, offsets, outward
        As for :func:`skin_beyond`.
    """
    return _with_margin(_mostly(~skin, strip, rows, offsets, outward, _WITHIN_MM))


def shadow_beyond(dark: Mask, strip: Strip, rows: NDArray[np.intp], offsets: Array, outward: int) -> Mask:
    """Return at which rows (n,) the limb's shadow lies beyond a boundary, as dark as the limb's own rim.

    There the step of light is that from light to shade on the limb, and only hue tells its edge.

    Parameters
    ----------
    dark
        (H, W) True where it is dark and not of the skin's hue.
    strip, rows, offsets, outward
        As for :func:`pale_beyond`.
    """
    light = brightness_and_hue(strip.pixels)[..., 0]
    rim, beyond = (
        np.median(light[_cells(strip, rows, offsets, outward, reach)], axis=1)
        for reach in (_RIM_MM, _BEYOND_MM)
    )
    as_dark = median_filter(np.abs(rim - beyond) < _AS_DARK, _STEADY_ROWS, mode="nearest")
    return np.asarray(as_dark & _mostly(dark, strip, rows, offsets, outward, _BEYOND_MM))


def _mostly(
    cells: Mask, strip: Strip, rows: NDArray[np.intp], offsets: Array, outward: int, reach: Array
) -> Mask:
    """Return at which rows (n,) most of the cells so far beyond a boundary (m,), mm, are among some."""
    most = cells[_cells(strip, rows, offsets, outward, reach)].mean(axis=1) > 0.5
    return np.asarray(median_filter(most, _STEADY_ROWS, mode="nearest"), bool)


def _cells(
    strip: Strip, rows: NDArray[np.intp], offsets: Array, outward: int, reach: Array
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows (n, 1) and columns (n, m) of cells so far beyond a boundary (m,), mm."""
    away = offsets[:, None] + outward * reach
    at = np.clip(np.round((away - strip.offsets[0]) / STEP_MM).astype(int), 0, len(strip.offsets) - 1)
    return rows[:, None], at


def _with_margin(steady: Mask) -> Mask:
    return np.asarray(maximum_filter1d(steady.astype(np.uint8), 2 * _MARGIN_ROWS + 1, mode="nearest") > 0)
