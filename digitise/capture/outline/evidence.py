"""How much each cell of a strip looks like the limb rather than like what is behind it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel, squared_distance
from digitise.capture.surroundings.sheet_colour import Mask, Values

CLIP = 4.0  # no single cell may outvote its neighbours: log-likelihood ratio bound
CLIP_BELOW = 0.5  # a floor is less well known than the panel
_BESIDE_MM = (40.0, 120.0)  # far enough out to miss an instep above the ankle bones
_LEAST_FLOOR_SD = np.array([0.06, 0.03, 0.03], np.float32)
_FLOOR_SHADOW_WEIGHT = 0.7
_UNLIKE = 5.0  # squared distance from which a cell is more likely limb than surroundings
_BINS = np.array([28, 28, 28])
_LOW = np.array([-5.6, -1.0, -1.6], np.float32)
_HIGH = np.array([0.1, 1.8, 1.2], np.float32)


def region_evidence(
    strip: Strip, panel: Panel, lowest: int, first: NDArray[np.intp], last: NDArray[np.intp]
) -> tuple[Values, Values]:
    """Compare limb and surroundings cell by cell, once for the left and once for the right boundary.

    Before the panel the surroundings are known.  Below it (floor, skirting) every height has a colour
    of its own, which is read a little further out on the same row.
    """
    values = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 0.7), np.uint8))
    columns = np.arange(values.shape[1])
    margin = int(6.0 / STEP_MM)
    inside = (columns >= first + margin) & (columns <= last - margin)
    seen = panel.inside.copy()
    seen[lowest + 1 :] = False
    before_panel = np.full(seen.shape, -CLIP, np.float32)
    limb = _log_density(values, inside & seen)
    before_panel[seen] = np.clip(limb - _panel_log_density(panel), -CLIP, CLIP)[seen]
    found = []
    for edge, outward in ((first, -1), (last, 1)):
        evidence = before_panel.copy()
        below = slice(lowest + 1, None)
        evidence[below] = _floor_evidence(values[below], edge[below], outward)
        found.append(evidence)
    return found[0], found[1]


def _floor_evidence(values: Values, edge: NDArray[np.intp], outward: int) -> Values:
    """Tell how unlike its row's surroundings each cell (h, W, 3) is; ``edge`` (h, 1) is a first guess."""
    near, far = (int(mm / STEP_MM) for mm in _BESIDE_MM)
    beside = edge + outward * np.arange(near, far)
    row = np.arange(len(values))[:, None]
    around = values[row, np.clip(beside, 0, values.shape[1] - 1)]
    colour = gaussian_filter1d(np.median(around, axis=1), 2.0, axis=0, mode="nearest")
    spread = 1.4826 * np.median(np.abs(around - colour[:, None]), axis=1)
    spread = gaussian_filter1d(spread, 4.0, axis=0, mode="nearest")
    spread = np.maximum(spread, _LEAST_FLOOR_SD).astype(np.float32)
    difference = values - colour[:, None]
    distance2 = squared_distance(difference / spread[:, None], difference[..., 0], _FLOOR_SHADOW_WEIGHT)
    return np.asarray(np.clip(0.1 * (distance2 - _UNLIKE), -CLIP_BELOW, CLIP_BELOW), np.float32)


def _bins(values: Values) -> NDArray[np.intp]:
    scaled = (values - _LOW) * (_BINS / (_HIGH - _LOW)).astype(np.float32)
    return np.asarray(np.clip(scaled, 0, _BINS - 1), np.intp)


def _log_density(values: Values, where: Mask) -> Values:
    """Log density of colours, per unit of each value, learnt from the cells ``where``."""
    index = _bins(values)
    counts = np.zeros(_BINS, np.float32)
    chosen = index[where]
    np.add.at(counts, (chosen[:, 0], chosen[:, 1], chosen[:, 2]), 1.0)
    share = gaussian_filter(counts, 0.8, mode="nearest") / max(len(chosen), 1)
    # one in fifty cells may be anything: dressings, tattoos, reflections
    share = 0.98 * share + 0.02 / counts.size
    cell = np.prod((_HIGH - _LOW) / _BINS)
    return np.asarray(np.log(share / cell)[index[..., 0], index[..., 1], index[..., 2]], np.float32)


def _panel_log_density(panel: Panel) -> Values:
    # a Gaussian of the least spread that find_panel grants, plus one cell in fifty of anything
    peak = 1.0 / ((2 * np.pi) ** 1.5 * 0.05 * 0.02 * 0.02)
    anything = 0.02 / np.prod(_HIGH - _LOW)
    return np.asarray(np.log(0.98 * peak * np.exp(-0.5 * panel.distance2) + anything), np.float32)
