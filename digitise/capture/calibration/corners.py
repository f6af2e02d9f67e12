"""Sub-pixel marker corners: edge profiles in linear light, a line per side, corners where lines meet.

Blur happens to light, before the camera applies its tone curve.  In the values stored in a picture a blurred
edge between dark and bright therefore looks shifted towards the dark; after undoing the curve it does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.photograph import linear_light
from digitise.geometry.rigid import Array

MODULES_ACROSS = 8  # black square: six data modules and a border of one on both sides
CORNER_FLOOR_PX = 0.1  # paper, print and lens model are not better than this
UNREFINED_SD_PX = 1.0  # whole-pixel contour corners of the detector
_PROFILES = 24
_SAMPLES = 31
_ROUNDS = 3
_CONTOUR_SHORT_PX = 0.7  # half a pixel, and the shift by the tone curve
_MAX_MOVE_PX = 4.0  # a contour is off by more only where something else than the side was found
_REACH_MODULES = 0.7  # stays inside the black border and inside a white margin of at least 0.7 module
_REACH_PX = (6.0, 20.0)
_REACH_BLURS = 5.0  # 2.5 to span the edge, as much again to see the plateaus beside it
_FEWEST_PROFILES = 8
_MAX_LINE_RMS_PX = 0.6
_MIN_CONTRAST = 0.004  # of full white, linear light
_LIGHT = linear_light(np.arange(256, dtype=np.uint8))


@dataclass(frozen=True)
class _Lines:
    """Side lines of all markers, (M, 4) each.

    A line runs through ``start + u * direction + (offset + slope * (u - mean)) * normal``; ``offset_var`` is
    the variance of the offset at ``mean``, ``slope_var`` that of the slope.
    """

    start: Array
    direction: Array
    normal: Array
    mean: Array
    offset: Array
    slope: Array
    offset_var: Array
    slope_var: Array
    blur: Array
    good: NDArray[np.bool_]


def refine_corners(grey: NDArray[np.uint8], corners: Array) -> tuple[Array, Array, Array]:
    """Place marker corners to sub-pixel precision.

    Parameters
    ----------
    grey
        (H, W) luma of an sRGB picture.
    corners
        (M, 4, 2) px, clockwise as seen, right to about two pixels.

    Returns
    -------
    corners : (M, 4, 2) px
        Refined where the sides could be measured, otherwise as given.
    sd : (M, 4) px
        Standard deviation along either axis, never below ``CORNER_FLOOR_PX``.
    blur : (M,) px
        Standard deviation of the edge blur, NaN where it could not be measured.
    """
    current = _grown(corners)
    widest = np.clip(_REACH_MODULES * _modules(corners), 1.0, _REACH_PX[1])
    reach = widest
    for _ in range(_ROUNDS):
        lines = _measure_sides(grey, current, reach)
        reach = np.clip(_REACH_BLURS * lines.blur, np.minimum(_REACH_PX[0], widest), widest)
        placed, sd = _meet(lines)
        near = np.linalg.norm(placed - corners, axis=-1) < _MAX_MOVE_PX
        current = np.where(near[..., None], placed, current)
    good = np.all(lines.good & near, axis=1)
    current = np.where(good[:, None, None], current, _grown(corners))
    blur = np.median(lines.blur, axis=1)
    # a contour in stored values falls short by about the blur; neighbours seen through blur disturb lines too
    softness = np.clip(blur, 1.0, _MAX_MOVE_PX)[:, None]
    sd = np.where(good[:, None], np.hypot(sd, CORNER_FLOOR_PX * softness), UNREFINED_SD_PX * softness)
    blur = np.where(good, blur, np.nan)
    return current, sd, blur


def _grown(corners: Array) -> Array:
    """Move every side outwards by what the detector's contour falls short: it joins dark pixels' centres."""
    before = corners - np.roll(corners, 1, axis=1)
    after = corners - np.roll(corners, -1, axis=1)
    before /= np.maximum(np.linalg.norm(before, axis=-1, keepdims=True), 1e-9)
    after /= np.maximum(np.linalg.norm(after, axis=-1, keepdims=True), 1e-9)
    sine = np.abs(before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0])
    return corners + _CONTOUR_SHORT_PX * (before + after) / np.maximum(sine, 0.3)[..., None]


def _modules(corners: Array) -> Array:
    """Return (M, 4) size of one module square to each side, px."""
    side = np.roll(corners, -1, axis=1) - corners
    normal = _quarter_turn(side / np.linalg.norm(side, axis=-1, keepdims=True))
    opposite = 0.5 * (np.roll(corners, -2, axis=1) + np.roll(corners, -3, axis=1))
    depth: Array = np.abs(np.sum((opposite - corners) * normal, axis=-1))
    return depth / MODULES_ACROSS


def _quarter_turn(vectors: Array) -> Array:
    """Turn so that the sides of a marker, clockwise as seen, get normals pointing outwards."""
    return np.stack([vectors[..., 1], -vectors[..., 0]], axis=-1)


def _measure_sides(grey: NDArray[np.uint8], corners: Array, reach: Array) -> _Lines:
    side = np.roll(corners, -1, axis=1) - corners
    length = np.maximum(np.linalg.norm(side, axis=-1), 1e-9)
    direction = side / length[..., None]
    normal = _quarter_turn(direction)
    # blur rounds the corners, so the ends of a side say nothing about its line
    skip = np.minimum(np.maximum(0.1 * length, 3.0), 0.25 * length)
    share = np.linspace(0.0, 1.0, _PROFILES)
    along = skip[..., None] + (length - 2 * skip)[..., None] * share
    across = reach[..., None] * np.linspace(-1.0, 1.0, _SAMPLES)
    where = (
        corners[:, :, None, None]
        + direction[:, :, None, None] * along[..., None, None]
        + normal[:, :, None, None] * across[:, :, None, :, None]
    )
    light, inside = _sample(grey, where)
    crossing, blur, usable = _crossings(light, across)
    return _fit_lines(corners, direction, normal, along, crossing, blur, usable & inside)


def _sample(grey: NDArray[np.uint8], where: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Interpolate light at (..., S, 2) px; also tell (...) which profiles lie wholly in the picture."""
    height, width = grey.shape
    x, y = where[..., 0], where[..., 1]
    left, top = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
    u, v = (x - left).astype(np.float32), (y - top).astype(np.float32)
    inside = np.all((left >= 0) & (left < width - 1) & (top >= 0) & (top < height - 1), axis=-1)
    at = np.clip(top, 0, height - 2) * width + np.clip(left, 0, width - 2)
    flat = grey.reshape(-1)
    a, b, c, d = (_LIGHT.take(flat.take(at + step)) for step in (0, 1, width, width + 1))
    upper, lower = a * (1 - u) + b * u, c * (1 - u) + d * u
    return (upper * (1 - v) + lower * v).astype(np.float64), inside


def _crossings(light: Array, across: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Locate the dark-bright edge on every profile.

    An edge blurred by anything symmetric keeps its place as the area under the profile: with plateaus scaled
    to 0 and 1, the edge lies where a step of equal area would.  The window follows the blur of the side.

    Parameters
    ----------
    light
        (M, 4, K, S) profiles from the dark inside to the bright outside.
    across
        (M, 4, S) px, position of the samples.

    Returns
    -------
    crossing : (M, 4, K) px
    blur : (M, 4) px
    usable : (M, 4, K)
    """
    step = across[..., 1:2] - across[..., :1]
    ends = _SAMPLES // 5
    mean = np.mean(light, axis=2)
    scaled = _between_plateaus(mean, mean[..., :ends].mean(-1), mean[..., -ends:].mean(-1))
    middle = across[..., -1] - step[..., 0] * (np.sum(scaled, axis=-1) - 0.5)
    # for a Gaussian edge the integral of t (1 - t) is sigma / sqrt(pi)
    blur = np.sqrt(np.pi) * step[..., 0] * np.sum(np.maximum(scaled * (1 - scaled), 0.0), axis=-1)
    half = np.clip(2.5 * blur, 2.0 * step[..., 0], 0.7 * across[..., -1])
    distance = across - middle[..., None]
    soft = np.clip((half[..., None] - np.abs(distance)) / step + 0.5, 0.0, 1.0)
    inner = (distance < -half[..., None]).astype(float) + 1e-12
    outer = (distance > half[..., None]).astype(float) + 1e-12
    dark = np.einsum("mjks,mjs->mjk", light, inner) / inner.sum(-1)[..., None]
    bright = np.einsum("mjks,mjs->mjk", light, outer) / outer.sum(-1)[..., None]
    t = _between_plateaus(light, dark, bright)
    # area of (1 - t) minus area of a step at the middle, inside the window
    shift = np.einsum("mjks,mjs->mjk", 0.5 - t, soft) * step
    crossing = middle[..., None] + shift
    usable = (bright - dark > _MIN_CONTRAST) & (np.abs(crossing) < 0.9 * across[..., -1:])
    return crossing, blur, usable


def _between_plateaus(light: Array, dark: Array, bright: Array) -> Array:
    contrast = np.maximum(bright - dark, 1e-6)
    return (light - dark[..., None]) / contrast[..., None]


def _fit_lines(
    corners: Array,
    direction: Array,
    normal: Array,
    along: Array,
    crossing: Array,
    blur: Array,
    usable: NDArray[np.bool_],
) -> _Lines:
    """Fit a line per side by iteratively reweighted least squares (Tukey's biweight)."""
    weight = usable.astype(float)
    for _ in range(4):
        total = np.maximum(weight.sum(-1), 1e-9)
        mean = (weight * along).sum(-1) / total
        offset = (weight * crossing).sum(-1) / total
        lever = along - mean[..., None]
        spread = np.maximum((weight * lever**2).sum(-1), 1e-9)
        slope = (weight * lever * crossing).sum(-1) / spread
        residual = crossing - offset[..., None] - slope[..., None] * lever
        scale = _mad(residual, usable)
        weight = usable * np.maximum(1 - (residual / (5 * scale[..., None])) ** 2, 0.0) ** 2
    count = (weight > 0).sum(-1)
    variance = (weight * residual**2).sum(-1) / np.maximum(total - 2, 1.0)
    good = (count >= _FEWEST_PROFILES) & (np.sqrt(variance) < _MAX_LINE_RMS_PX)
    offset, slope = np.where(good, offset, 0.0), np.where(good, slope, 0.0)
    return _Lines(
        corners, direction, normal, mean, offset, slope, variance / total, variance / spread, blur, good
    )


def _mad(residual: Array, usable: NDArray[np.bool_]) -> Array:
    """Return (M, 4) robust scale of the residuals, px, with a floor against a perfect fit."""
    # numpy's median of what is usable takes ten times as long on so many short rows
    ordered = np.sort(np.where(usable, np.abs(residual), np.inf), axis=-1)
    count = np.maximum(usable.sum(-1, keepdims=True), 1)
    middle = np.concatenate([(count - 1) // 2, count // 2], axis=-1)
    size = np.take_along_axis(ordered, middle, axis=-1).mean(-1)
    return np.maximum(1.4826 * np.where(np.isfinite(size), size, 1.0), 0.02)


def _meet(lines: _Lines) -> tuple[Array, Array]:
    """Intersect every side with the side before it: corners (M, 4, 2) and their sd (M, 4), px."""
    tilt = lines.slope[..., None]
    facing = lines.normal - tilt * lines.direction
    # the line is facing . x = level
    level = np.sum(facing * lines.start, axis=-1) + lines.offset - lines.slope * lines.mean
    pairs = np.stack([np.roll(facing, 1, axis=1), facing], axis=2)
    levels = np.stack([np.roll(level, 1, axis=1), level], axis=2)
    det = pairs[..., 0, 0] * pairs[..., 1, 1] - pairs[..., 0, 1] * pairs[..., 1, 0]
    safe = np.where(np.abs(det) < 1e-3, 1.0, det)
    inverse = (
        np.stack(
            [
                np.stack([pairs[..., 1, 1], -pairs[..., 0, 1]], axis=-1),
                np.stack([-pairs[..., 1, 0], pairs[..., 0, 0]], axis=-1),
            ],
            axis=-2,
        )
        / safe[..., None, None]
    )
    placed = np.einsum("mjab,mjb->mja", inverse, levels)
    length = np.linalg.norm(np.roll(lines.start, -1, axis=1) - lines.start, axis=-1)
    at_start = lines.offset_var + lines.slope_var * lines.mean**2
    at_end = lines.offset_var + lines.slope_var * (length - lines.mean) ** 2
    variances = np.stack([np.roll(at_end, 1, axis=1), at_start], axis=-1)
    trace = np.einsum("mjab,mjb->mj", inverse**2, variances)
    bad = np.abs(det) < 1e-3
    return np.where(bad[..., None], np.inf, placed), np.sqrt(trace / 2)
