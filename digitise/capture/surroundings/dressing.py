"""Dressings on the limb: patches that are neither skin nor backdrop, and end above and below."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask, Values

_HUE = 0.2  # log units off the skin's: veins, redness and shade differ by less
# Skin that hard light leaves in the dark differs by more, and would make one patch with a pale dressing.
_PALE, _PALE_HUE = 0.3, 0.45  # log units brighter than the skin, and off its hue
_BRIGHTNESS = 0.7  # beyond what shading does across the limb's middle
_LIKE_BACKDROP = 12.0  # squared distance
_LEAST_MM2, _LEAST_MM = 400.0, 15.0  # a plaster
_ON_LIMB = 0.7  # of a patch: what lies beside the limb is no dressing on it
_MOST_MM = 220.0  # taller things are sticks, cloth or walls
_RIM = 5  # cells
_STEP_HUE, _STEP_BRIGHTNESS = 0.15, 0.35  # log units, at its border
_FILLED = 0.6  # of its own box: patches are cut square


def dressings(
    strip: Strip, panel: Panel, rows: NDArray[np.intp], left: NDArray[np.intp], right: NDArray[np.intp]
) -> tuple[Mask, Mask]:
    """Return the strip's cells (H, W) that lie on a dressing, and those on a pale one, which no lit skin is.

    Parameters
    ----------
    strip, panel
        The photograph's strip, and what is known of the backdrop.
    rows, left, right
        (n,) rows of a first guess of the limb, and its first and last column in each.
    """
    values = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 1.0), np.uint8))
    skin = np.median(values[rows[:, None], _across(left, right)].reshape(-1, 3), axis=0)
    off = values - skin
    limb = _limb(strip, rows, left, right)
    hue, bright = np.linalg.norm(off[..., 1:], axis=-1), off[..., 0] > _BRIGHTNESS
    known = panel.inside & (panel.distance2 < _LIKE_BACKDROP)
    known[: rows[0]] = True
    other, pale = (hue > _HUE) | bright, (hue > _PALE_HUE) & (off[..., 0] > _PALE)
    top = int(rows[0])
    found = _patches(values, pale & ~known, limb, top)
    return found | _patches(values, other & ~known, limb, top), found


def _patches(values: Values, other: Mask, limb: Mask, top: int) -> Mask:
    """Return those pieces of cells unlike skin that are shaped as a dressing on the limb is."""
    # along a limb's rim runs a line of mixed colour, which would join a patch there to everything
    patches = cv2.morphologyEx(other.astype(np.uint8), cv2.MORPH_OPEN, np.ones((_RIM, _RIM), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(patches, connectivity=4)
    on_limb = np.bincount(labels[limb], minlength=count)
    keep = np.zeros(count, bool)
    for label in range(1, count):
        x, y, width, height, area = stats[label]
        inside = y > top + 1 and x > 0 and x + width < other.shape[1] and y + height < len(other)
        keep[label] = (
            inside
            and area * STEP_MM**2 >= _LEAST_MM2
            # as wide on average: a slanting sliver of another leg in the limb's shadow fills a wider box
            and area / max(width, height) * STEP_MM >= _LEAST_MM
            and height * STEP_MM <= _MOST_MM
            and area >= _FILLED * width * height
            and on_limb[label] >= _ON_LIMB * area
            and _ends_sharply(values, labels == label, limb)
        )
    return np.asarray(keep[labels])


def _ends_sharply(values: Values, patch: Mask, limb: Mask) -> bool:
    """Tell whether colour changes within a few cells round a patch on the limb: shade fades slowly."""
    near, wide = (np.ones((n, n), np.uint8) for n in (3, 9))
    cells = patch.astype(np.uint8)
    within = patch & ~(cv2.erode(cells, wide) > 0)
    beyond = limb & (cv2.dilate(cells, wide) > 0) & ~(cv2.dilate(cells, near) > 0)
    if not beyond.any():
        return False
    step = np.median(values[within], axis=0) - np.median(values[beyond], axis=0)
    return bool(np.linalg.norm(step[1:]) > _STEP_HUE or abs(step[0]) > _STEP_BRIGHTNESS)


def _across(left: NDArray[np.intp], right: NDArray[np.intp]) -> NDArray[np.intp]:
    share = np.linspace(0.25, 0.75, 9)
    return np.round(left[:, None] + share * (right - left)[:, None]).astype(np.intp)


def _limb(strip: Strip, rows: NDArray[np.intp], left: NDArray[np.intp], right: NDArray[np.intp]) -> Mask:
    """Return the cells (H, W) of a first guess of the limb, carried straight on below it."""
    every = np.clip(np.arange(len(strip.heights)) - rows[0], 0, len(rows) - 1)
    columns = np.arange(len(strip.offsets))
    inside = (columns >= left[every][:, None]) & (columns <= right[every][:, None])
    inside[: rows[0]] = False
    return np.asarray(inside)
