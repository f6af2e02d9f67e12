"""Straight things that stand before the limb: a stick, a crutch, a chair's leg. What is behind is not seen.

Each rises from the floor between two straight, sharp edges, far less apart than a limb's.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, uniform_filter1d

from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.foothold import NearMat, look_at_mat
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.geometry.rigid import Array, Pose

_BIN_MM = 5.0  # as the mat's points lie
_WIDTH_MM = (14.0, 55.0)  # a stick, a chair's leg; an ankle is wider, a blurred edge narrower
_FEET_MM = 200.0  # from the axis: further out nothing hides the limb
_FINE_MM = 6.0  # as far as an edge is moved to where it is clearest
_FINE_SLOPES = 0.002 * np.array([0, -1, 1, -2, 2, -3, 3, -4, 4, -5, 5])  # of equals the first is kept
_AS_CLEAR = 0.9  # of the clearest place
_SLOPES = np.linspace(-0.12, 0.12, 25)  # 7 degrees: leant further, it does not stand by itself
_LEAST_MM = 300.0  # shorter, it hides no more than a foot
_CELLS = 1  # on either side of a line, over which its step is taken: 4 mm
_WIDE_CELLS, _SHARP = 3, 0.5  # of the change over 12 mm lies within 4: a third where it is even
_DARKEST = 10.0  # grey levels: below, a share of them is noise
# Of the brightness: skin's shade changes by less over 4 mm but at its rim; by trial on made scenes.
_CLEAR = 0.15
_MOST = 2.0  # a clearer step counts no more
_TOGETHER_MM = 60.0
_FOLLOWED = 0.4  # of the rows within 60 mm
_BESIDE_MM = 6.0  # over which an edge's light is compared
_STRAIGHT = 0.85  # of the rows of its lowest 300 mm, of either edge
_PARTS_MM = (-10.0, 70.0, 180.0, 300.0)  # foot, ankle, shin
_STANDING = 0.5  # of the rows of each


@dataclass(frozen=True)
class Stick:
    """A straight thing before the limb, in the plane through the limb's axis.

    Attributes
    ----------
    left_mm, right_mm
        Offsets of its two edges from the axis at height zero, mm.
    slope
        By which both change with height, mm per mm.
    top_mm
        Height up to which it was followed, mm.
    """

    left_mm: float
    right_mm: float
    slope: float
    top_mm: float

    def sides(self, heights: Array) -> tuple[Array, Array]:
        """Return the offsets (n,) of its two edges at heights (n,), mm; NaN above its top."""
        lean = np.where(heights <= self.top_mm, self.slope * heights, np.nan)
        return self.left_mm + lean, self.right_mm + lean


@dataclass(frozen=True)
class InFront:
    """What stands before the limb in a photograph.

    Attributes
    ----------
    mat
        What is seen of the mat before the limb's foot, beside the sticks.
    sticks
        Sticks, crutches, chairs' legs.
    """

    mat: NearMat
    sticks: tuple[Stick, ...]

    def cells(self, strip: Strip) -> Mask:
        """Return the strip's cells (H, W) that show a stick, its blurred edges included."""
        found = np.zeros((len(strip.heights), len(strip.offsets)), bool)
        for stick in self.sticks:
            left, right = stick.sides(strip.heights)
            found |= (strip.offsets >= left[:, None] - STEP_MM) & (strip.offsets <= right[:, None] + STEP_MM)
        return found

    def hides(self, strip: Strip, points: Array, heights: Array) -> Mask:
        """Tell which points (n, 2) px at heights (n,) mm lie on a stick, or nearly."""
        found = np.zeros(len(points), bool)
        for stick in self.sticks:
            left, right = stick.sides(heights)
            first = strip.photo_from_plane(left - _BESIDE_MM, heights)
            across = strip.photo_from_plane(right + _BESIDE_MM, heights) - first
            share = np.sum((points - first) * across, axis=1) / np.sum(across**2, axis=1)
            found |= (share > 0.0) & (share < 1.0)
        return found


def nothing_in_front() -> InFront:
    """Return what stands before a limb that lies: nothing rises from the floor there."""
    return InFront(NearMat(np.zeros(0), np.zeros(0, bool)), ())


def look_in_front(pixels: NDArray[np.uint8], strip: Strip, boards: Iterable[tuple[Board, Pose]]) -> InFront:
    """Look at what stands before a standing limb.

    Parameters
    ----------
    pixels, strip
        The photograph and its strip.
    boards
        All boards, with their poses world_from_board; the mats among them count.
    """
    mat = look_at_mat(pixels, strip, boards)
    sticks = find_sticks(strip)
    keep = np.ones(len(mat.offsets), bool)
    for stick in sticks:
        keep &= (mat.offsets < stick.left_mm - _BIN_MM) | (mat.offsets > stick.right_mm + _BIN_MM)
    return InFront(replace(mat, offsets=mat.offsets[keep], covered=mat.covered[keep]), sticks)


def find_sticks(strip: Strip) -> tuple[Stick, ...]:
    """Find what rises straight from the floor and is far narrower than a limb, before it or beside it."""
    steps = _steps(strip)
    low = (strip.heights > 0.0) & (strip.heights < _LEAST_MM)
    found: list[Stick] = []
    for first, last, slope in _pairs(strip, steps, np.flatnonzero(low)):
        stick = Stick(first, last, slope, _LEAST_MM)
        if any(_overlap(stick, other) for other in found):
            continue
        for _ in range(3):  # the further it is followed, the better its slope is known
            stick = _followed(strip, steps, _fitted(strip, steps, stick))
        if _stands(strip, steps, stick) and not any(_overlap(stick, other) for other in found):
            found.append(stick)
    return tuple(found)


def _stands(strip: Strip, steps: Values, stick: Stick) -> bool:
    """Tell whether both edges of a stick are seen from the floor on: lines on a shin end at its foot."""
    both = np.minimum(*_clear(strip, steps, stick))
    parts = [both[(strip.heights > low) & (strip.heights < high)] for low, high in pairwise(_PARTS_MM)]
    middle = _along(strip, steps, 0.5 * (stick.left_mm + stick.right_mm), stick.slope)[
        strip.heights < _LEAST_MM
    ]
    # of noise and print everything is an edge
    return all(len(part) and part.mean() > _STANDING for part in parts) and (middle > _CLEAR).mean() < 0.5


def _overlap(a: Stick, b: Stick) -> bool:
    """Tell whether two sticks stand in one place at half their lowest height: they are one."""
    middle = np.array([_LEAST_MM / 2.0])
    (a_left, a_right), (b_left, b_right) = a.sides(middle), b.sides(middle)
    return bool(a_right > b_left and a_left < b_right)


def _pairs(strip: Strip, steps: Values, rows: NDArray[np.intp]) -> list[tuple[float, float, float]]:
    """Return lines that may be a stick's edges: offsets at height zero and slope, clearest first."""
    at = np.flatnonzero(np.abs(strip.offsets) < _FEET_MM)
    pairs: list[tuple[float, float, float, float]] = []
    for slope in _SLOPES if len(rows) else ():
        moved = np.round(slope * strip.heights[rows] / STEP_MM).astype(int)
        seen = steps[rows[:, None], np.clip(at + moved[:, None], 0, steps.shape[1] - 1)]
        clear, mean = (seen > _CLEAR).mean(axis=0), gaussian_filter1d(seen.mean(axis=0), _CELLS / 2.0)
        peaks = np.flatnonzero((mean >= maximum_filter1d(mean, 2 * _CELLS + 1)) & (clear > _STRAIGHT))
        for n, first in enumerate(peaks):
            for last in peaks[n + 1 :]:
                if _WIDTH_MM[0] <= (last - first) * STEP_MM <= _WIDTH_MM[1]:
                    ends = strip.offsets[at[[first, last]]].tolist()
                    pairs.append((float(min(mean[first], mean[last])), *ends, float(slope)))
    return [pair[1:] for pair in sorted(pairs, reverse=True)]


def _steps(strip: Strip) -> Values:
    """Tell how sharply colour changes sideways at each cell, by the brightness there: (H, W)."""
    light = strip.pixels.astype(np.float32)
    sharp, wide = (_change(light, cells) for cells in (_CELLS, _WIDE_CELLS))
    steps = np.where(sharp > _SHARP * wide, np.minimum(sharp, _MOST), np.float32(0.0))
    steps[:, :_WIDE_CELLS] = steps[:, -_WIDE_CELLS:] = 0.0
    return np.asarray(steps, np.float32)


def _change(light: Values, cells: int) -> Values:
    """Return how much light (H, W, 3) differs so many cells to either side, by its brightness there."""
    size = np.zeros(light.shape[:2], np.float32)
    first, last = light[:, : -2 * cells], light[:, 2 * cells :]
    difference = np.linalg.norm(last - first, axis=2)
    size[:, cells:-cells] = difference / (0.5 * (first + last).mean(axis=2) + _DARKEST)
    return size


def _fitted(strip: Strip, steps: Values, stick: Stick) -> Stick:
    """Move a stick's edges to where they are clearest up to its top."""
    rows = (strip.heights > 0.0) & (strip.heights < stick.top_mm)
    best, found = -1.0, stick
    most = min(_FINE_MM, (stick.right_mm - stick.left_mm) / 3.0)
    reach = np.arange(-most, most + STEP_MM / 2, STEP_MM)
    for slope in stick.slope + _FINE_SLOPES:
        clear, ends = 0.0, []
        for end in (stick.left_mm, stick.right_mm):
            mean = np.array([_along(strip, steps, end + off, slope)[rows].mean() for off in reach])
            top = mean > _AS_CLEAR * mean.max()  # a blurred edge is as clear over several cells
            ends.append(end + float(reach[top].mean()))
            clear += float(mean.max())
        if clear > best + 1e-3:
            best, found = clear, Stick(ends[0], ends[1], float(slope), stick.top_mm)
    return found


def _clear(strip: Strip, steps: Values, stick: Stick) -> list[Mask]:
    """Tell on which rows (H,) its left and its right edge is clear."""
    return [_along(strip, steps, edge, stick.slope) > _CLEAR for edge in (stick.left_mm, stick.right_mm)]


def _followed(strip: Strip, steps: Values, stick: Stick) -> Stick:
    """Follow a stick up as far as one of its edges is seen: the other may be lost before skin."""
    either = np.maximum(*_clear(strip, steps, stick))[::-1]
    size = int(_TOGETHER_MM / STEP_MM)
    seen = uniform_filter1d(either.astype(float), size, mode="nearest")
    rising = strip.heights[::-1]
    lost = np.flatnonzero((seen < _FOLLOWED) & (rising > _LEAST_MM))
    return replace(stick, top_mm=float(rising[lost[0]] if len(lost) else rising[-1]) + _TOGETHER_MM / 2.0)


def _along(strip: Strip, steps: Values, offset_mm: float, slope: float) -> Values:
    """Return the steps along a line, (H,); zero outside the strip."""
    at = np.round((offset_mm + slope * strip.heights - strip.offsets[0]) / STEP_MM).astype(int)
    inside = (at >= 0) & (at < steps.shape[1])
    return np.asarray(inside * steps[np.arange(len(at)), np.clip(at, 0, steps.shape[1] - 1)])
