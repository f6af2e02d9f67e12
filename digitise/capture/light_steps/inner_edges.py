"""Steps of light all over the limb and round it: where one body ends before another, skin before skin too.

The shading of a single limb is smooth over a centimetre; where it ends before something else, the light steps
within the picture's blur, even between two legs of one colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.special import ndtr

from digitise.capture.light_steps.profiles import USUAL_BLUR_PX, sample_light
from digitise.capture.photo.colour import over_channels
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.sheet_colour import Values
from digitise.geometry.rigid import Array

CELL_MM = 4.0  # of the table: finer than any limb's bend
_FINEST_MM = 0.5
_STEP_HALVES_PX = (6, 11)  # a shade that changes over a longer way is no end of a body
_LINE_MM = 24.0  # half length of a straight piece of an edge
_SLOPES = np.linspace(-0.8, 0.8, 13)  # mm across per mm along
_DARKEST = 0.01  # of full light: below, a share of the light is noise
_COLOUR_WEIGHT = 0.5  # colour is kept at half resolution
_GRAIN_CELLS = 19  # 76 mm: an edge fills less than half of it, so the median passes it over
_GRAIN_FACTOR = 2.0
_LEAST_CHAIN = 0.02  # of the light, beyond the grain
_FLANK = 0.6  # of a step's own answer: nearer to it than a window, less is its flank
_CHAIN_MM = 80.0  # a fold, a scar or a dressing's side is shorter


@dataclass(frozen=True)
class StepTable:
    """How clearly an upright edge runs through each cell.

    Attributes
    ----------
    strength
        (h, w) height of the step by the light around it; rows and columns of ``CELL_MM``.
    chains
        (h, w) the same where a long edge's middle line runs, zero elsewhere.
    first_mm
        Offset of the first column's left side, mm.
    """

    strength: Values
    chains: Values
    first_mm: float


def step_table(
    pixels: NDArray[np.uint8], strip: Strip, rows: slice, first_mm: float, last_mm: float
) -> StepTable:
    """Measure the steps of light between two offsets from the axis.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    strip
        Its strip.
    rows
        Rows of the strip in which to look.
    first_mm, last_mm
        Offsets between which to look, mm.
    """
    per_cell = max(1, int(CELL_MM / max(strip.pixel_mm(), _FINEST_MM)))
    pitch = CELL_MM / per_cell
    count = int((last_mm - first_mm) / CELL_MM)
    offsets = first_mm + pitch * (np.arange(count * per_cell) + 0.5)
    per_row = int(CELL_MM / STEP_MM)
    heights = strip.heights[rows]
    height = len(heights) // per_row
    heights = heights[: height * per_row, None]
    light = sample_light(pixels, strip.photo_from_plane(*np.broadcast_arrays(offsets[None, :], heights)))
    light = light.reshape(height, per_row, *light.shape[1:]).mean(axis=1)
    steps = np.min(
        [along_lines(relative_steps(light, half), pitch, CELL_MM, _SLOPES) for half in _STEP_HALVES_PX],
        axis=0,
    )
    strength = _prominence(steps.reshape(height, count, per_cell).max(axis=2))
    reach = max(1, round(min(_STEP_HALVES_PX) * pitch / CELL_MM))
    strength[strength < _FLANK * maximum_filter1d(strength, 2 * reach + 1, axis=1)] = 0.0
    return StepTable(strength, _long_chains(strength), first_mm)


@lru_cache(maxsize=8)
def _step_kernel(half: int) -> NDArray[np.float32]:
    """Return the filter whose answer is a step's height, whatever the slope it stands on: (2 half + 1,)."""
    s = np.arange(-half, half + 1.0)
    step = ndtr(s / USUAL_BLUR_PX)
    basis = np.linalg.qr(np.stack([np.ones_like(s), s], axis=1))[0]
    rest = step - basis @ (basis.T @ step)
    return np.asarray(rest / (rest @ rest), np.float32)


def relative_steps(light: NDArray[np.float32], half: int) -> NDArray[np.float32]:
    """Return signed steps across columns by the light around them.

    Parameters
    ----------
    light
        (H, W, 3) brightness and two colour differences, one pixel per column.
    half
        Half length of the window, pixels.

    Returns
    -------
    (H, W, 3), colour counted less.
    """
    answer = cv2.filter2D(light, -1, _step_kernel(half)[None, :])
    around = cv2.blur(light[..., 0], (2 * half + 1, 1))
    answer[:, :half] = answer[:, -half:] = 0.0
    weights = np.array([1.0, _COLOUR_WEIGHT, _COLOUR_WEIGHT], np.float32)
    return np.asarray(answer * weights / (around[..., None] + _DARKEST), np.float32)


def along_lines(steps: NDArray[np.float32], pitch: float, row_mm: float, slopes: Array) -> Values:
    """Return the greatest mean step along a straight piece through each place.

    Parameters
    ----------
    steps
        (H, W, c) signed steps: in a mean of them grain cancels, an edge does not.
    pitch, row_mm
        Distances of columns and of rows, mm.
    slopes
        Of the pieces to try, mm across per mm along.

    Returns
    -------
    (H, W) length of the greatest mean.
    """
    height, width, channels = steps.shape
    reach = round(_LINE_MM / row_mm)
    rows = np.arange(-reach, reach + 1)
    beside = int(np.ceil(np.abs(slopes).max() * _LINE_MM / pitch)) + 1
    padded = np.zeros((height + 2 * reach, width + 2 * beside, channels), np.float32)
    padded[reach : reach + height, beside : beside + width] = steps
    best = np.zeros((height, width), np.float32)
    for slope in slopes:
        mean = np.zeros(steps.shape, np.float32)
        for row, column in zip(rows, np.round(slope * rows * row_mm / pitch).astype(int), strict=True):
            low = beside + column
            mean += padded[reach + row : reach + row + height, low : low + width]
        np.maximum(best, over_channels(np.square(mean)), out=best)
    return np.asarray(np.sqrt(best) / len(rows))


def _prominence(strength: Values) -> Values:
    """Take off what veins, hairs and grain make all round a place."""
    levels = np.round(1000.0 * np.clip(strength, 0.0, 0.25)).astype(np.uint8)
    grain = cv2.medianBlur(levels, _GRAIN_CELLS).astype(np.float32) / 1000.0
    return np.asarray(np.maximum(strength - _GRAIN_FACTOR * grain, 0.0), np.float32)


def _long_chains(strength: Values) -> Values:
    """Keep the middle lines of edges that go on for long."""
    ridge = (strength >= maximum_filter1d(strength, 3, axis=1)) & (strength > _LEAST_CHAIN)
    joined = cv2.dilate(ridge.astype(np.uint8), np.ones((7, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    long = stats[:, cv2.CC_STAT_HEIGHT] * CELL_MM >= _CHAIN_MM
    long[0] = False
    return np.where(ridge & long[labels], strength, 0.0).astype(np.float32)
