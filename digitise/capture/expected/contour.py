"""The line round a mask, to a fraction of a pixel.

First where the smoothed mask passes one half; then, where inside and outside differ clearly in light, where
the light does: a pixel that is half skin is counted as skin or not by its colour, which need not be half way.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.expected.crop import Mask
from digitise.capture.photo.resample import read_between
from digitise.geometry.rigid import Array

_SMOOTH_MM = 1.4
_REACH_MM = 2.7
# Light is taken from so far on either side: beyond the blur, this side of the next thing.
_NEAR_MM, _FAR_MM = 2.0, 4.0
_MOST_MOVED_MM = 1.5
_STEP_MM = 0.15
_LEAST_STEP = 0.2  # of the logarithms: skin varies by a tenth over some mm
_LEAST_HUE_STEP = 0.08  # skin's hue varies less than its light; paper in shade was off by 0.05
_LEAST_CONTRAST = 0.06  # of full light (ours)


def contour(whole: Mask, mm: float) -> tuple[Array, Array]:
    """Return the mask's outer line (N, 2), smoothed, and outward normals (N, 2), in the crop's pixels."""
    lines, _ = cv2.findContours(whole.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(lines, key=len)
    line = _smoothed(longest[:, 0].astype(float), 2.2 / mm)
    along = np.roll(line, -3, axis=0) - np.roll(line, 3, axis=0)
    # y points down: with a positive area the line runs clockwise as seen, its outside to the left
    outside = np.sign(cv2.contourArea(longest, oriented=True))
    normals = outside * np.column_stack([along[:, 1], -along[:, 0]])
    return line, normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)


def _smoothed(line: Array, sigma: float) -> Array:
    """Smooth a closed line (N, 2) along itself; ``sigma`` in its points."""
    reach = min(int(4 * sigma) + 1, len(line))
    padded = np.concatenate([line[-reach:], line, line[:reach]]).astype(np.float32)
    smooth = cv2.GaussianBlur(padded, (1, 2 * reach + 1), 0, sigmaY=sigma)
    return np.asarray(smooth[reach:-reach], float)


def on_half_mask(line: Array, normals: Array, whole: Mask, mm: float) -> Array:
    """Move each point along its normal to where the smoothed mask passes one half."""
    soft = cv2.GaussianBlur(whole.astype(np.float32), (0, 0), _SMOOTH_MM / mm)
    steps = np.linspace(-_REACH_MM, _REACH_MM, 25) / mm
    at = line[:, None, :] + steps[:, None] * normals[:, None, :]
    values = read_between(soft, at)
    first = np.clip(np.argmax(values < 0.5, axis=1), 1, len(steps) - 1)
    rows = np.arange(len(line))
    inner, outer = values[rows, first - 1], values[rows, first]
    share = np.clip((inner - 0.5) / np.maximum(inner - outer, 1e-3), 0.0, 1.0)
    return np.asarray(line + (steps[first - 1] + share * (steps[1] - steps[0]))[:, None] * normals)


def on_half_light(line: Array, normals: Array, light: NDArray[np.float32], mm: float) -> Array:
    """Move each point along its normal to where the light is half way between inside and outside.

    Points where inside and outside hardly differ, or where no such place is near, stay.

    Parameters
    ----------
    line, normals
        (N, 2) points and unit outward normals, pixels.
    light
        (H, W, 3) linear light, 0 to 1.
    mm
        Per pixel.
    """
    inside, outside = _both_sides(line, normals, light, mm)
    step = inside - outside
    size = np.linalg.norm(step, axis=1)
    offsets = np.arange(-_MOST_MOVED_MM, _MOST_MOVED_MM + _STEP_MM / 2, _STEP_MM)
    along = read_between(light, line[:, None] + offsets[:, None] / mm * normals[:, None])
    share = np.einsum("nki,ni->nk", along - outside[:, None], step) / np.maximum(size, 1e-9)[:, None] ** 2
    falls = (share[:, :-1] >= 0.5) & (share[:, 1:] < 0.5)
    # of several the one nearest to the mask's line
    cost = np.where(falls, np.abs(offsets[:-1] + _STEP_MM / 2), np.inf)
    first, rows = np.argmin(cost, axis=1), np.arange(len(line))
    before, after = share[rows, first], share[rows, first + 1]
    moved = offsets[first] + _STEP_MM * (before - 0.5) / np.maximum(before - after, 1e-6)
    sure = (size > _LEAST_CONTRAST) & falls.any(axis=1)
    return np.asarray(line + np.where(sure, moved, 0.0)[:, None] / mm * normals)


def differs(line: Array, normals: Array, colours: NDArray[np.float32], mm: float) -> Mask:
    """Tell at which points (N,) inside and outside differ in brightness or hue.

    Parameters
    ----------
    line, normals
        (N, 2) points and unit outward normals, pixels.
    colours
        (H, W, 3) log brightness and hues.
    mm
        Per pixel.
    """
    inside, outside = _both_sides(line, normals, colours, mm)
    step = inside - outside
    hue = np.linalg.norm(step[:, 1:], axis=1) > _LEAST_HUE_STEP
    return np.asarray(hue | (np.linalg.norm(step, axis=1) > _LEAST_STEP))


def just_inside(line: Array, normals: Array, values: NDArray[np.float32], mm: float) -> Array:
    """Return the means (N, 3) of values (H, W, 3) a little inside of points."""
    return _both_sides(line, normals, values, mm)[0]


def _both_sides(line: Array, normals: Array, values: NDArray[np.float32], mm: float) -> list[Array]:
    """Return the means (N, 3) of values a little inside of points and a little outside."""
    away = np.array([_NEAR_MM, (_NEAR_MM + _FAR_MM) / 2.0, _FAR_MM]) / mm
    at = away[:, None] * normals[:, None]
    return [read_between(values, line[:, None] + side * at).mean(axis=1) for side in (-1.0, 1.0)]
