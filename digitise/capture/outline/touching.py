"""What touches the limb or lies on it: where steps of light tell the edge, and not the region's boundary."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from digitise.capture.outline.bodies import Pair
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.runs import true_runs

TRACK_MEDIAN = 15  # rows: dressings and specks are shorter
TOUCH_MM = 8.0  # about an edge between two bodies: two cells of the steps' table
APART_MM = 8.0  # within the region's boundary by more: another body widens the region
BORDER_CELLS = 3  # beyond a boundary: outside the plain area nothing is known of the backdrop
CLEAR_STEP = 0.06  # of the light: a clear edge between two bodies
_PATCH_MM = 150.0  # a dressing with both jumps of a path that goes round it
_PATCH_OFF_MM = 10.0  # another leg or a stick leaves the limb's course by more


def joined(
    strip: Strip,
    panel: Panel,
    rows: NDArray[np.intp],
    side: NDArray[np.intp],
    pair: Pair,
    index: int,
    free: Mask,
) -> tuple[NDArray[np.intp], Mask, Mask]:
    """Put what steps of light tell of an edge where the region's boundary is not the limb's.

    Returns
    -------
    Columns for every row from the region's first one down, where something touches the limb, and where
    something lies on it.
    """
    outward = (-1, 1)[index]
    told = np.round((pair.offsets[index] - strip.offsets[0]) / STEP_MM).astype(np.intp)
    found = told.copy()
    found[: len(rows)] = side
    beyond = np.clip(side + outward * BORDER_CELLS, 0, panel.inside.shape[1] - 1)
    ends = np.zeros(len(told), bool)
    ends[: len(rows)] = ~panel.inside[rows, beyond]
    within = outward * (found - told) * STEP_MM > APART_MM
    apart = within | (ends & (np.abs(found - told) * STEP_MM > 0))
    apart[len(rows) :] = False
    apart = np.asarray(median_filter(apart, size=TRACK_MEDIAN, mode="nearest"), bool) & free
    patch = _patches(found, apart)
    return np.where(apart & ~patch, told, found), apart & ~patch, patch


def _patches(found: NDArray[np.intp], apart: Mask) -> Mask:
    """Tell where what parts the limb from its rim lies on it, like a dressing: the rim goes straight on."""
    patch = np.zeros(len(apart), bool)
    runs = true_runs(apart)
    for first, last in runs:
        if first == 0 or last == len(apart) or (last - first) * STEP_MM > _PATCH_MM:
            continue
        chord = np.linspace(found[first - 1], found[last], last - first + 2)[1:-1]
        patch[first:last] = np.abs(found[first:last] - chord).max() * STEP_MM <= _PATCH_OFF_MM
    return patch
