"""The limb told by steps of light alone: where no backdrop is behind it, or one of the skin's own tone."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from digitise.capture.light_steps.inner_edges import CELL_MM
from digitise.capture.outline.bodies import Pair, limb_pair, strayed_mm
from digitise.capture.outline.by_steps.widths import Widths
from digitise.capture.outline.evidence import CLIP
from digitise.capture.outline.region import FOOT_TOP_MM, Region
from digitise.capture.outline.touching import TOUCH_MM, TRACK_MEDIAN
from digitise.capture.outline.track import no_limb
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel, relearnt
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array

_BROKEN_MM = 40.0  # half of it without a clear step on both sides: there the limb ends
# half of it without any: where a step turns its sign, at a hem or a floor, it fades along 48
_FADED_MM = 140.0
_LEAP_CELLS = 10  # 40 mm sideways where nothing leads: the limb has ended
_ALONE_MM = 200.0  # about the axis, where no backdrop tells the limb
_CLEAR_ALONE = 0.05  # of the light: without a backdrop only a clear edge counts
_LEAST_ALONE_MM = 250.0
_LEAST_CLEAR = 0.75  # of the rows
_LEAST_LINE = 0.015  # of the light, beyond the grain: where that keeps along 60 mm, an edge goes on
_LIKE_BACKDROP = 12.0  # squared distance
# A limb is of its backdrop's tone where a stripe of it is, along so much of it: one of nearly that tone
# takes it on where it turns from the light to the shade.  Of 35 pictures in which colour left an edge in
# doubt, three of such limbs have that stripe on 40 to 99 % of the rows; of the others those with backdrop
# beyond both edges have it on fewer than 2 %.
_STRIPE_MM, _STRIPED = 10.0, 0.2
# Of 6,400 points that were not sure on limbs found by their width in 23 pictures 68 % lay within 2.3 mm, 84 %
# within 6, 92 % within 12: the tail decides.
_UNSURE_MM = 6.0
_JUST_BEYOND_MM = np.arange(4.0, 16.0, STEP_MM)
_RIM_MM = 6.0  # about where a page or a frame begins: it lies up to 4 mm from where its markers say
_LEAST_BESIDE = 0.2  # of the rows before the backdrop; beside a gap between two bodies none


def find_alone(
    pixels: NDArray[np.uint8], strip: Strip, panel: Panel, painted: NDArray[np.int8]
) -> Region | None:
    """Find a limb with no backdrop behind it, where steps of light alone tell it; None where they do not.

    Parameters
    ----------
    pixels, strip, panel, painted
        As of :func:`~digitise.capture.outline.segmentation.find_region`.
    """
    nothing = np.zeros(panel.inside.shape, bool)
    # without a first guess a white dressing before print is as good as print
    panel = replace(panel, inside=panel.inside & ~panel.paper, paper=nothing)
    return _region_of_steps(pixels, strip, panel, painted, _CLEAR_ALONE, _BROKEN_MM)


def find_own_tone(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    name: str,
    painted: NDArray[np.int8] | None = None,
) -> Region:
    """Tell a limb from a backdrop of its own tone: colour tells nothing there, steps of light do.

    What lies between two bodies looks like the backdrop as well; there backdrop lies beyond neither edge.

    Parameters
    ----------
    pixels, strip, panel, name, painted
        As of :func:`~digitise.capture.outline.segmentation.find_region`.

    Raises
    ------
    OutlineError
        When no such limb is seen.
    """
    painted = np.zeros(panel.inside.shape, np.int8) if painted is None else painted
    unknown = _only_print(panel)
    region = _region_of_steps(pixels, strip, unknown, painted, _LEAST_LINE, _FADED_MM, faint=True)
    if region is None:
        raise no_limb(name)
    _require_striped(strip, panel, region, name)
    beyond, share = _beside_backdrop(strip, panel, region)
    if share.min() < _LEAST_BESIDE:
        raise no_limb(name)
    return replace(region, touched=(~beyond[0], ~beyond[1]))


def _require_striped(strip: Strip, panel: Panel, region: Region, name: str) -> None:
    """Require that a stripe of a limb is of its backdrop's tone."""
    plain = panel.inside & ~panel.paper & ~panel.before
    before = plain[region.rows].any(axis=1)
    striped = plain & _within(strip, region) & (panel.distance2 < _LIKE_BACKDROP)
    wide = np.count_nonzero(striped, axis=1)[region.rows] * STEP_MM >= _STRIPE_MM
    if not before.any() or wide[before].mean() < _STRIPED:
        raise no_limb(name)


def _beside_backdrop(strip: Strip, panel: Panel, region: Region) -> tuple[tuple[Mask, Mask], Array]:
    """Tell where backdrop lies beyond each boundary, and on which share of the rows before it, (2,)."""
    plain = panel.inside & ~panel.paper & ~panel.before
    before = plain[region.rows].any(axis=1)
    like = plain & (relearnt(strip, panel, _within(strip, region)) < _LIKE_BACKDROP)
    left, right = (_mostly_beyond(strip, like, region, n) for n in (0, 1))
    share = [side[before].mean() if before.any() else 0.0 for side in (left, right)]
    return (left, right), np.array(share)


def _within(strip: Strip, region: Region) -> Mask:
    """Return the cells (H, W) between the boundaries of a region."""
    within = np.zeros((len(strip.heights), len(strip.offsets)), bool)
    within[region.rows] = (strip.offsets > region.left[:, None]) & (strip.offsets < region.right[:, None])
    return within


def find_of_width(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    name: str,
    painted: NDArray[np.int8] | None = None,
    *,
    widths: Widths,
) -> Region:
    """Tell a limb that is about so wide by steps of light, where what looks like the backdrop is none of it.

    Parameters
    ----------
    pixels, strip, panel, name, painted
        As of :func:`~digitise.capture.outline.segmentation.find_region`.
    widths
        Between which widths it lies.

    Raises
    ------
    OutlineError
        When no such limb is seen.
    """
    painted = np.zeros(panel.inside.shape, np.int8) if painted is None else painted
    bounds = widths.bounds(strip.heights)
    region = _region_of_steps(
        pixels, strip, panel, painted, _LEAST_LINE, _FADED_MM, faint=True, widths=bounds
    )
    if region is None:
        raise no_limb(name)
    return replace(region, unsure_mm=_UNSURE_MM)


def find_own_tone_of_width(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    name: str,
    painted: NDArray[np.int8] | None = None,
    *,
    widths: Widths,
) -> Region:
    """Tell a limb that is about so wide from a backdrop of its own tone.

    Parameters
    ----------
    pixels, strip, panel, name, painted, widths
        As of :func:`find_of_width`.

    Raises
    ------
    OutlineError
        When no such limb is seen.
    """
    region = find_of_width(pixels, strip, _only_print(panel), name, painted, widths=widths)
    if _beside_backdrop(strip, panel, region)[1].max() < _LEAST_BESIDE:
        raise no_limb(name)
    return region


def _only_print(panel: Panel) -> Panel:
    """Return a panel of which nothing is known but its print: its plain colour may be the limb's."""
    return replace(panel, inside=panel.inside & panel.paper, printed=panel.printed | _rim(panel))


def _leap(pair: Pair, strip: Strip) -> int:
    """Return the row below the lowest place above the foot where either edge leaps sideways."""
    per_cell = int(CELL_MM / STEP_MM)
    ends = [
        per_cell * jump.last for side in pair.jumps for jump in side if jump.last - jump.first >= _LEAP_CELLS
    ]
    return max((row for row in ends if strip.heights[row] > FOOT_TOP_MM), default=0)


def _rim(panel: Panel) -> Mask:
    """Return the cells (H, W) about the border of the plain backdrop, where paper or a frame begins."""
    plain = (panel.inside & ~panel.paper).astype(np.uint8)
    size = 1 + 2 * round(_RIM_MM / STEP_MM)
    window = np.ones((1, size), np.uint8)
    return np.asarray(cv2.dilate(plain, window) > cv2.erode(plain, window))


def _mostly_beyond(strip: Strip, where: Mask, region: Region, index: int) -> Mask:
    """Tell on which rows most of the cells just beyond a boundary are among those ``where`` (H, W)."""
    edge, outward = (region.left, region.right)[index], (-1, 1)[index]
    at = np.round((edge[:, None] + outward * _JUST_BEYOND_MM - strip.offsets[0]) / STEP_MM).astype(int)
    cells = where[region.rows[:, None], np.clip(at, 0, len(strip.offsets) - 1)]
    return np.asarray(median_filter(cells.mean(axis=1) > 0.5, size=TRACK_MEDIAN, mode="nearest"), bool)


def _region_of_steps(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    painted: NDArray[np.int8],
    least: float,
    broken_mm: float,
    *,
    faint: bool = False,
    widths: Array | None = None,
) -> Region | None:
    """Find a limb by steps of light: up to where they are no higher than ``least`` of it along some mm."""
    every = np.arange(len(strip.heights))
    nothing = np.zeros(panel.inside.shape, bool)
    pair = limb_pair(
        pixels, strip, panel, painted, every, (-_ALONE_MM, _ALONE_MM), nothing, faint=faint, widths=widths
    )
    # where the width is known, one edge that is lost tells of the other
    clear = (np.minimum if widths is None else np.maximum)(*pair.strength) > least
    top = _leap(pair, strip) if faint and widths is None else 0
    gap = int(broken_mm / STEP_MM) // 2
    lost = uniform_filter1d(clear[top:].astype(float), 2 * gap, mode="nearest") < 0.5
    broken = top + np.flatnonzero(lost & (strip.heights[top:] > FOOT_TOP_MM))
    top = int(broken[-1]) + gap if len(broken) else top
    rows = every[top:]
    if len(rows) * STEP_MM < _LEAST_ALONE_MM or clear[rows].mean() < _LEAST_CLEAR:
        return None
    left, right = (offsets[top:] for offsets in pair.offsets)
    inside = (strip.offsets > left[:, None]) & (strip.offsets < right[:, None])
    evidence = np.full((len(every), len(strip.offsets)), -CLIP, np.float32)
    evidence[rows] = np.where(inside, CLIP, -CLIP)
    told = []
    for side in (left, right):
        map_ = evidence.copy()
        here = map_[rows]
        here[np.abs(strip.offsets - side[:, None]) <= TOUCH_MM] = 0.0
        map_[rows] = here
        told.append(map_)
    doubtful = [strength[top:] < _CLEAR_ALONE for strength in pair.strength]
    above_foot = strip.heights[rows] > FOOT_TOP_MM
    # what the path does on its way down to the limb's end is no jump of its edges
    left_jumps, right_jumps = ([j for j in side if j.last * CELL_MM > top * STEP_MM] for side in pair.jumps)
    own = replace(pair, jumps=(left_jumps, right_jumps))
    hidden = [(strayed_mm(own, n, pair.offsets[n])[top:] > 0.0) & above_foot for n in (0, 1)]
    nowhere = np.zeros(len(rows))
    touched = np.ones(len(rows), bool)
    return Region(
        rows,
        left,
        right,
        (told[0], told[1]),
        (doubtful[0], doubtful[1]),
        (touched, touched),
        (hidden[0], hidden[1]),
        (nowhere, nowhere),
        ~above_foot,
        (~touched, ~touched),
        (~touched, ~touched),
        (~touched, ~touched),
        sides=panel.sides,
    )
