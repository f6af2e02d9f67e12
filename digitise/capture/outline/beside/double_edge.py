"""A second edge just within the first: a sliver of another leg, or a stick, shows beside the limb.

The sliver is too narrow for the table of steps; seen along the edge that was found, the limb's own end is a
second line of steps beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    gaussian_filter1d,
    map_coordinates,
    maximum_filter1d,
    median_filter,
)
from scipy.special import ndtr

from digitise.capture.light_steps.inner_edges import along_lines
from digitise.capture.light_steps.profiles import USUAL_BLUR_PX, sample_light
from digitise.capture.outline.beside.beyond_ends import (
    GAP_ROWS,
    LEAST_PX,
    LONG_MM,
    MOST_UNSTEADY,
    OFF_RIM_PX,
    beyond_deep_ends,
    running_together,
    slices,
    unsteadiness,
)
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array

_DEEPEST_MM = 22.0
_OWN_PX = 3.5  # the edge's own blur reaches that far
_OWN_HUE_PX = 8.0  # colour is blurred by twice as much
_SLOPES = np.linspace(-0.4, 0.4, 9)  # a limb and what is behind it part at small angles
_HALF_PX = 6  # a shade that changes over a longer way is no end of a body
_COLOUR_WEIGHT = 0.5  # colour is kept at half resolution
_LEAST = 0.06  # of the light: veins and hairs are fainter along 50 mm
_BY_GRAIN = 2.7  # times what the skin at that depth shows where no second edge is,
_PLAIN_SHARE = 0.3  # that is, on three tenths of the edge at least,
# nor more than this times what deep skin shows: a sliver may run beside the whole limb, now nearer, now
# further. On edges of five limbs with none the grain next to the edge is 1.2 to 1.7 times the deeper skin's
_NEXT_TO_EDGE = 2.0
_DEEP_SHARE = 0.3  # of the depths, those with the least grain
_GRAIN_ROWS = 31  # 60 mm: light falls off slowly
# Of full light: on 20 edges of made pictures steps of 0.13 at a light of 0.02, of 0.05 at 0.1.
_NOISE = 0.0025
_CLEAR = 0.5  # of the light: no grain of skin reaches it
_FILLED = 0.7  # of a line's rows
_CLEAR_MEAN = 1.25  # times the least that counts, on average along a line
# What grain makes ends sooner, so a line that long may be fainter: by so much here and there, and on average.
_VERY_LONG_MM, _FAINTER, _FAINTER_MEAN = 150.0, 0.75, 0.95
_CLEAR_SHARE = 0.25  # of a run: the rest of it is then the same line, only fainter
_SD_PX = 2.5  # of an edge within another one's blur: our estimate
# Beside a line, where its light is compared: within twice a picture's usual blur, and where shade shows.
_BESIDE_PX = np.array([-6.0, -4.0, -2.0, 2.0, 4.0, 6.0])
_SHARP = 0.5  # of the change over 12 px lies within 4: a third where it is even, two thirds at a blur of 2 px
# Of the change over 8 px within 4, by what a picture's blur leaves there of a body's end. Where gloss on very
# dark skin ends it is 0.56 to 0.64, where other legs do 0.85 and more.
_SHARP_NEAR = 0.72
_DARKEST_BESIDE = 0.02  # of the light
_SURELY = 0.75  # of a line's rows
_TOGETHER_ROWS = 6.0  # 12 mm: a mean over some 40 mm of a line
_LAST = 4  # samples at the end, where shading explains every step


@dataclass(frozen=True)
class SecondEdge:
    """Where the limb ends within the edge that was found.

    Attributes
    ----------
    depth_px
        (n,) how far within, pixels along the normal; zero where there is no second edge. Half way to it where
        it is so faint that the first may be the limb's as well.
    sd_px
        (n,) how well the limb's own edge is known there, pixels, so that it covers both; beyond an end at
        which the second edge was lost at a depth as well.
    near
        (n,) True close to its ends, where the two run into each other.
    """

    depth_px: Array
    sd_px: Array
    near: Mask

    def without(self, rows: Mask) -> SecondEdge:
        """Return what is left when there is none on some rows (n,)."""
        return SecondEdge(
            np.where(rows, 0.0, self.depth_px), np.where(rows, 0.0, self.sd_px), self.near & ~rows
        )

    def without_those_on(self, rows: Mask) -> SecondEdge:
        """Return what is left without the second edges of which most lie on some rows (n,)."""
        drop = np.zeros(len(rows), bool)
        for run in slices((self.depth_px > 0.0) | self.near):
            inner = self.depth_px[run] > 0.0
            drop[run] = inner.any() and rows[run][inner].mean() > 0.5
        return self.without(drop)


def no_second_edge(count: int) -> SecondEdge:
    """Return what is known where no second edge is sought."""
    return SecondEdge(np.zeros(count), np.zeros(count), np.zeros(count, bool))


def second_edge(
    pixels: NDArray[np.uint8],
    points: Array,
    normals: Array,
    pixel_mm: float,
    printed: Mask,
    blur_px: float = USUAL_BLUR_PX,
) -> SecondEdge:
    """Look for a second edge within one that was found.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    points, normals
        (n, 2) points of the edge, ``STEP_MM`` apart along the limb, and their normals out of it, pixels.
    pixel_mm
        Size of a pixel at the limb, mm.
    printed
        (n,) True where printed paper is behind: the edge is told by hue there, whose blur reaches further in.
    blur_px
        Standard deviation of the picture's point spread.
    """
    depth = np.arange(_OWN_PX, _DEEPEST_MM / pixel_mm)
    smooth = gaussian_filter1d(
        median_filter(points, size=(9, 1), mode="nearest"), 2.0, axis=0, mode="nearest"
    )
    light = sample_light(pixels, smooth[:, None] - depth[None, :, None] * normals[:, None])
    first = round(LEAST_PX - _OWN_PX)
    steps = along_lines(_steps_on_shading(light, depth), pixel_mm, STEP_MM, _SLOPES)[:, first:]
    grain = np.quantile(steps, _PLAIN_SHARE, axis=0)
    grain = np.minimum(grain, _NEXT_TO_EDGE * np.quantile(grain, _DEEP_SHARE))
    noise = _noise(light[..., 0])[:, None]
    least = np.maximum(np.clip(_BY_GRAIN * grain, _LEAST, _CLEAR), _BY_GRAIN * noise)
    own = printed[:, None] & (depth[first:] < _OWN_HUE_PX)
    clearness = steps / least
    ridge = ~own & (steps >= maximum_filter1d(steps, 5, axis=1)) & (clearness > _FAINTER)
    clear = _long_lines(ridge & (clearness > 1.0), clearness, LONG_MM, _CLEAR_MEAN)
    faint = ridge & (depth[first:] > _OWN_HUE_PX) & ~printed[:, None]  # a rim has faint lines of its own
    long = clear | _long_lines(faint, clearness, _VERY_LONG_MM, _FAINTER_MEAN)
    strength = np.where(long, steps, 0.0)
    found = strength.max(axis=1) > 0.0
    if not found.any():
        return no_second_edge(len(points))
    rows = np.arange(len(points))
    deep = np.interp(rows, rows[found], depth[first + strength.argmax(axis=1)][found])
    gap = np.ones((GAP_ROWS, 1), np.uint8)
    joint = cv2.morphologyEx(found.astype(np.uint8)[:, None], cv2.MORPH_CLOSE, gap)[:, 0] > 0
    doubt = np.zeros(len(points), bool)
    for run in slices(joint):
        shape = _shape(light[run, :, 0], deep[run] - depth[0], blur_px)
        faint = clear[run].any(axis=1).mean() < _CLEAR_SHARE
        unlikely = not shape.is_end or faint or unsteadiness(deep[run]) > MOST_UNSTEADY
        # so near to the edge the shade of a rim that the model of shading does not fit looks the same
        at_rim = float(np.median(deep[run])) < _OWN_HUE_PX
        joint[run] = not shape.is_shade and not (unlikely and at_rim)
        doubt[run] = unlikely
    near = running_together(joint, deep, clearness, joint & ~doubt & (deep > OFF_RIM_PX))
    off = beyond_deep_ends(joint, deep) * ~joint
    deep = np.where(doubt, 0.5, 1.0) * np.where(joint, deep, 0.0)
    sd = np.where(doubt, deep, np.where(joint, _SD_PX, off))
    return SecondEdge(deep, sd, near | (off > 0.0))


def _noise(light: NDArray[np.float32]) -> Array:
    """Return what a picture's noise makes of steps on each row of brightness (n, m), by its light: (n,).

    Light falls off along a limb; where very dark skin has least of it noise is far more than elsewhere.
    """
    row = median_filter(light.mean(axis=1), size=_GRAIN_ROWS, mode="nearest")
    return np.asarray(_NOISE / np.maximum(row, _NOISE))


class _Shape(NamedTuple):
    """How the light changes across a line within the limb.

    Attributes
    ----------
    is_shade
        It grows slowly darker outwards, as where the flank turns away or a shadow ends: no end of a body.
    is_end
        A body surely ends there. A limb's rim turns away from the light: what shows beyond it is brighter, or
        darkest next to it, where light hardly reaches between two bodies. What is evenly darker may as well
        be a sharp shadow on the limb.
    """

    is_shade: bool
    is_end: bool


def _shape(brightness: NDArray[np.float32], at: Array, blur_px: float) -> _Shape:
    """Tell a line's shape from brightness (n, m) along lines into the limb; it is at (n,)."""
    columns = at[:, None] + _BESIDE_PX
    rows = np.broadcast_to(np.arange(len(at))[:, None], columns.shape)
    beside = map_coordinates(brightness, [rows, columns], order=1, mode="nearest")
    beside /= np.maximum(beside.mean(axis=1, keepdims=True), 1e-3)
    lines = gaussian_filter1d(beside, _TOGETHER_ROWS, axis=0, mode="nearest").T
    outer, next_out, outside, inside, next_in, inner = lines
    step = inside - outside
    within, around = (2.0 * ndtr(px / blur_px) - 1.0 for px in _BESIDE_PX[3:5])
    slow = step < _SHARP * (inner - outer)
    slow |= step < _SHARP_NEAR * within / around * (next_in - next_out)
    shade = (step >= 0.0) & slow
    end = (step < 0.0) | (outer - outside > _DARKEST_BESIDE)
    return _Shape(bool(shade.mean() > _SURELY), bool(end.mean() > 0.5))


def _long_lines(ridge: Mask, clearness: Array, least_mm: float, least_mean: float) -> Mask:
    """Keep those ridges that make long unbroken lines, clear on the whole; noise makes short broken ones."""
    joined = cv2.dilate(ridge.astype(np.uint8), np.ones((5, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    rows = np.maximum(stats[:, cv2.CC_STAT_HEIGHT], 1)
    where = labels[ridge]
    filled = np.bincount(where, minlength=count) / rows
    mean = np.bincount(where, clearness[ridge], minlength=count) / np.maximum(filled * rows, 1.0)
    keep = (rows * STEP_MM >= least_mm) & (filled > _FILLED) & (mean > least_mean)
    keep[0] = False
    return np.asarray(keep[labels] & ridge)


def _steps_on_shading(light: NDArray[np.float32], depth: Array) -> NDArray[np.float32]:
    """Measure at every depth the step that the shading of a round limb leaves unexplained.

    A round body's shade is linear in the cosine and the sine of the angle by which it turns away: at a small
    depth d within its rim, in d and the root of d.

    Parameters
    ----------
    light
        (n, m, 3) light along n lines into the limb.
    depth
        (m,) of the samples, pixels.

    Returns
    -------
    (n, m, 3) signed steps by the light around, colour counted less.
    """
    answer = np.zeros((len(depth), len(depth)))
    for k, place in enumerate(depth[:-_LAST]):
        window = slice(max(k - _HALF_PX, 0), k + _HALF_PX + 1)
        d = depth[window]
        shading = np.linalg.qr(np.stack([np.ones_like(d), np.sqrt(d), d], axis=1))[0]
        step = ndtr((d - place) / USUAL_BLUR_PX)
        rest = step - shading @ (shading.T @ step)
        answer[window, k] = rest / max(float(rest @ rest), 1e-2)
    weights = np.array([1.0, _COLOUR_WEIGHT, _COLOUR_WEIGHT])
    relative = light * weights / np.maximum(light[..., :1].mean(axis=1, keepdims=True), 1e-3)
    return np.asarray(np.einsum("nmc,mk->nkc", relative, answer), np.float32)
