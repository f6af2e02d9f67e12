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

from digitise.capture.photo.colour import over_channels
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.foothold import NearMat, look_at_mat
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.geometry.rigid import Array, Pose

_BIN_MM = 5.0  # as the mat's points lie
_WIDTH_MM = (14.0, 55.0)  # an ankle is wider, a blurred edge narrower
_FEET_MM = 200.0  # from the axis: further out nothing hides the limb
_MOST_TRIED = 12  # a stick is among the clearest; grain makes any number
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
# On average along 60 mm of a straight line, where grain cancels: of wood before skin as bright as it, little
# more than the shade of its round sides shows.  By trial on made scenes; shade beside a dark limb's rim shows
# as much along its lower half, so what does not go on straight to the height of a hand has to be clearer.
_CLEAR_TOGETHER = 0.06
_HAND_MM, _CLEARER = 600.0, 2.0
_OVER_GRAIN = 4.0  # of that mean's standard error: neighbouring rows share some of their grain
_MOST = 2.0 / _CLEAR  # a clearer step counts no more
_TOGETHER_MM = 60.0
_EVERY = 3  # rows, 6 mm, in the first search: ten of them take grain off well enough
_FOLLOWED = 0.4  # of the rows within 60 mm
_BESIDE_MM = 6.0  # over which an edge's light is compared
_STRAIGHT = 0.85  # of the rows of its lowest 300 mm, of either edge
_MOSTLY_STRAIGHT = 0.8  # of them, to be looked at more closely: a foot behind breaks an edge
_PARTS_MM = (-10.0, 70.0, 180.0, 300.0)  # foot, ankle, shin
# An edge's mean clearness by that of the middle, looked for as widely: sticks 2.6 to 10, grain on very dark
# skin .9 to 1.8 in the photographs of 60 visits.
_OVER_MIDDLE = 2.0
_STANDING = 0.3  # of the rows of each: before a mat's print an edge is broken


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
        What stands there.
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


def look_in_front(
    pixels: NDArray[np.uint8], strip: Strip, boards: Iterable[tuple[Board, Pose]], *, slender: bool = False
) -> InFront:
    """Look at what stands before a standing limb.

    Parameters
    ----------
    pixels, strip, boards
        The photograph, its strip, and all boards with their poses world_from_board; mats count.
    slender
        Whether the limb may be as straight and narrow as a stick, as a forearm is: none is told then.
    """
    mat, sticks = look_at_mat(pixels, strip, boards), () if slender else find_sticks(strip)
    keep = np.ones(len(mat.offsets), bool)
    for stick in sticks:
        keep &= (mat.offsets < stick.left_mm - _BIN_MM) | (mat.offsets > stick.right_mm + _BIN_MM)
    return InFront(replace(mat, offsets=mat.offsets[keep], covered=mat.covered[keep]), sticks)


@dataclass(frozen=True)
class _Changes:
    """How light changes sideways at each cell of a strip, by the brightness there.

    Attributes
    ----------
    sharp, wide
        (H, W, 3) over 4 mm and over 12 mm.
    power
        (H, W) square of the first.
    row
        (H, W) size of the first where it is sharp, else zero.
    """

    sharp: Values
    wide: Values
    power: Values
    row: Values


def find_sticks(strip: Strip) -> tuple[Stick, ...]:
    """Find what rises straight from the floor and is far narrower than a limb, before it or beside it."""
    changes = _changes(strip)
    found: list[Stick] = []
    tried: list[Stick] = []
    for pair in _pairs(strip, changes):
        stick = Stick(*pair, _LEAST_MM)
        if any(_overlap(stick, other) for other in found) or any(_alike(stick, other) for other in tried):
            continue
        tried.append(stick)
        if len(tried) > _MOST_TRIED:
            break
        for _ in range(3):  # the further it is followed, the better its slope is known
            stick = _followed(strip, changes, _fitted(strip, changes, stick))
        if (
            stick.right_mm - stick.left_mm >= _WIDTH_MM[0]
            and _stands(strip, changes, stick)
            and not any(_overlap(stick, other) for other in found)
        ):
            found.append(stick)
    return tuple(found)


def _stands(strip: Strip, changes: _Changes, stick: Stick) -> bool:
    """Tell whether both edges of a stick are seen from the floor on: lines on a shin end at its foot."""
    clearness = _edges(strip, changes, stick).min(axis=1)
    middle = 0.5 * (stick.left_mm + stick.right_mm)
    between = _edges(strip, changes, replace(stick, left_mm=middle, right_mm=middle)).max(axis=1)
    low = (strip.heights > 0.0) & (strip.heights < _LEAST_MM)
    if clearness[low].mean() < _OVER_MIDDLE * between[low].mean():  # of noise and print all is an edge
        return False
    whole = (strip.heights > 0.0) & (strip.heights < stick.top_mm - _TOGETHER_MM / 2.0)
    held = stick.top_mm > _HAND_MM and (clearness[whole] > 1.0).mean() > _STRAIGHT
    both = clearness > (1.0 if held else _CLEARER)
    parts = [both[(strip.heights > low) & (strip.heights < high)] for low, high in pairwise(_PARTS_MM)]
    return all(len(part) and part.mean() > _STANDING for part in parts)


def _overlap(a: Stick, b: Stick) -> bool:
    """Tell whether two sticks stand in one place at half their lowest height: they are one."""
    middle = np.array([_LEAST_MM / 2.0])
    (a_left, a_right), (b_left, b_right) = a.sides(middle), b.sides(middle)
    return bool(a_right > b_left and a_left < b_right)


def _alike(a: Stick, b: Stick) -> bool:
    """Tell whether two sticks' edges lie so near to each other that they are moved to the same place."""
    ends = np.array([0.0, _LEAST_MM])
    return bool(np.abs(np.subtract(a.sides(ends), b.sides(ends))).max() <= _FINE_MM)


def _pairs(strip: Strip, changes: _Changes) -> list[tuple[float, float, float]]:
    """Return lines that may be a stick's edges: offsets at height zero and slope, clearest first."""
    at = strip.offsets[np.abs(strip.offsets) < _FEET_MM]
    first, last = np.searchsorted(-strip.heights, [-_LEAST_MM, 0.0]).tolist()
    low = slice(first, last, _EVERY)
    pairs = []
    for slope in _SLOPES if last > first else ():
        seen = _along(strip, changes, at, slope, low)
        clear = (maximum_filter1d(seen, 2 * _CELLS + 1, axis=1) > 1.0).mean(axis=0)
        mean = gaussian_filter1d(seen.mean(axis=0), _CELLS / 2.0)
        peaks = np.flatnonzero((mean >= maximum_filter1d(mean, 2 * _CELLS + 1)) & (clear > _MOSTLY_STRAIGHT))
        for n, peak in enumerate(peaks):
            right = peaks[n + 1 :]
            width = at[right] - at[peak]
            for m in right[(width >= _WIDTH_MM[0]) & (width <= _WIDTH_MM[1])]:
                pairs.append((float(min(mean[peak], mean[m])), float(at[peak]), float(at[m]), float(slope)))
    return [pair[1:] for pair in sorted(pairs, reverse=True)]


def _changes(strip: Strip) -> _Changes:
    light = strip.pixels.astype(np.float32)
    sharp, wide = (_change(light, cells) for cells in (_CELLS, _WIDE_CELLS))
    sharp[:, :_WIDE_CELLS] = sharp[:, -_WIDE_CELLS:] = 0.0
    power, wide_power = (over_channels(np.square(change)) for change in (sharp, wide))
    row = np.where(power > _SHARP**2 * wide_power, np.sqrt(power), np.float32(0.0))
    return _Changes(sharp, wide, power, np.asarray(row, np.float32))


def _change(light: Values, cells: int) -> Values:
    """Return by how much light (H, W, 3) differs so many cells to either side, by its brightness there."""
    change = np.zeros_like(light)
    first, last = light[:, : -2 * cells], light[:, 2 * cells :]
    brightness = over_channels(first + last) / 6.0 + _DARKEST  # the mean of three channels on either side
    change[:, cells:-cells] = (last - first) / brightness[..., None]
    return change


def _fitted(strip: Strip, changes: _Changes, stick: Stick) -> Stick:
    """Move a stick's edges to where they are clearest up to its top."""
    rows = (strip.heights > 0.0) & (strip.heights < stick.top_mm)
    best, found = -1.0, stick
    most = min(_FINE_MM, (stick.right_mm - stick.left_mm) / 3.0)
    reach = np.arange(-most, most + STEP_MM / 2, STEP_MM)
    for slope in stick.slope + _FINE_SLOPES:
        clear, ends = 0.0, []
        for end in (stick.left_mm, stick.right_mm):
            mean = _along(strip, changes, end + reach, float(slope))[rows].mean(axis=0)
            top = mean > _AS_CLEAR * mean.max()  # a blurred edge is as clear over several cells
            ends.append(end + float(reach[top].mean()))
            clear += float(mean.max())
        if clear > best + 1e-3:
            best, found = clear, Stick(ends[0], ends[1], float(slope), stick.top_mm)
    return found


def _edges(strip: Strip, changes: _Changes, stick: Stick) -> Array:
    """Return how clear a stick's left and right edge are on every row: (H, 2).

    A round stick's rim is shaded: before what is brighter it ends a little further in.
    """
    beside = STEP_MM * np.arange(-_CELLS, _CELLS + 1)
    lines = np.array([[stick.left_mm], [stick.right_mm]]) + beside
    found = _along(strip, changes, lines.ravel(), stick.slope)
    return np.asarray(found.reshape(len(found), *lines.shape).max(axis=2))


def _followed(strip: Strip, changes: _Changes, stick: Stick) -> Stick:
    """Follow a stick up as far as one of its edges is seen: the other may be lost before skin."""
    either = _edges(strip, changes, stick).max(axis=1)[::-1] > 1.0
    seen = uniform_filter1d(either.astype(float), int(_TOGETHER_MM / STEP_MM), mode="nearest")
    rising = strip.heights[::-1]
    lost = np.flatnonzero((seen < _FOLLOWED) & (rising > _LEAST_MM))
    return replace(stick, top_mm=float(rising[lost[0]] if len(lost) else rising[-1]) + _TOGETHER_MM / 2.0)


def _along(
    strip: Strip, changes: _Changes, offsets_mm: Array, slope: float, rows: slice = slice(None)
) -> Array:
    """Return how clearly lines are edges: in a row by itself, or together along 60 mm of the line.

    Parameters
    ----------
    strip, changes
        A strip and its changes of light.
    offsets_mm
        (n,) where the lines are at height zero.
    slope
        Of all of them, mm per mm.
    rows
        Which of the strip's rows; all by default.

    Returns
    -------
    (H, n) from 1 on an edge is clear; zero outside the strip.
    """
    heights, every = strip.heights[rows, None], np.arange(len(strip.heights))[rows, None]
    at = np.round((offsets_mm + slope * heights - strip.offsets[0]) / STEP_MM).astype(int)
    inside = (at >= 0) & (at < len(strip.offsets))
    cells = every, np.clip(at, 0, len(strip.offsets) - 1)
    size = int(_TOGETHER_MM / (STEP_MM * (rows.step or 1)))
    here, power = changes.sharp[cells], changes.power[cells]
    mean, wide = (
        np.sqrt(over_channels(np.square(uniform_filter1d(part, size, axis=0, mode="nearest"))))
        for part in (here, changes.wide[cells])
    )
    scatter = uniform_filter1d(power, size, axis=0, mode="nearest") - mean**2
    clear = (mean > _SHARP * wide) & (mean**2 > _OVER_GRAIN**2 * scatter / size)
    together = np.where(clear, mean, 0.0) / _CLEAR_TOGETHER
    return np.asarray(inside * np.minimum(np.maximum(changes.row[cells] / _CLEAR, together), _MOST))
