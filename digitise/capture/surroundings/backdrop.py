"""The plain part of the backdrop: where it is in the strip, and what colour it has beside the limb."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.page_colour import find_print, grown
from digitise.capture.surroundings.plain_areas import Area
from digitise.capture.surroundings.printed import printed_lines, upright_sides
from digitise.capture.surroundings.sheet_colour import LEAST_SD, Mask, Values, fit_sheet, smooth_fit
from digitise.geometry.rigid import Array, Pose

_TUBE_MM = 90.0  # about the axis: the limb's own place
_GOES_ON = 0.6  # of a row beside the limb: another leg and its foot may stand there too
_LEAST_BESIDE = 20  # cells, 40 mm: fewer tell nothing
_ABOVE = 0.15  # of its height: sheets reach higher than the limb
_WALL = 0.8  # of that part must look like the wall (ours)
_TOGETHER_ROWS = 5
_LEAST_RIM_MM2 = 4000.0
_CORE_MM = 25.0  # half width of the limb's own place round its axis
_CORE_TOP_MM = 350.0  # an upright forearm ends little above
# What a darkening counts: a shadow changes brightness far more than hue.  The second is for limbs of the
# backdrop's hue, which only their shading tells from it.
SHADOW_WEIGHTS = (0.2, 1.0)
_DEEPEST_SHADOW = 0.9  # log units: soft shadows indoors keep more than a third of the light
_INLIER = 12.0  # squared distance, about 3.5 sd of one channel


@dataclass(frozen=True)
class Panel:
    """The plain backdrop as seen in a strip.

    Attributes
    ----------
    inside
        (H, W) True where the strip shows a backdrop, plain or a page on it, or the limb before it.
    distance2
        (H, W) squared distance from the backdrop's colour in its own standard deviations, shadows
        counted lightly; zero outside ``inside``.
    printed
        (H, W) True where known print makes a step of light, unless the limb hides it.
    paper
        (H, W) True where printed paper is behind, whose print makes steps of light of its own.
    before
        (H, W) True where something narrow stands before the limb: what is behind it is not seen.
    sides
        (k, H) offsets of upright sides of print, mm, NaN where they do not run; None where none are known.
    """

    inside: Mask
    distance2: NDArray[np.float32]
    printed: Mask
    paper: Mask
    before: Mask
    sides: Array | None = None


def find_panel(
    strip: Strip,
    areas: Iterable[Area],
    shadow_weight: float = SHADOW_WEIGHTS[0],
    boards: Iterable[tuple[Board, Pose]] = (),
    before: Mask | None = None,
) -> Panel:
    """Learn the backdrop's colour from its rim, then measure how far every point is from it.

    Parameters
    ----------
    strip
        The photograph's strip.
    areas
        Plain areas that may be seen in it.
    shadow_weight
        What a darkening within a soft shadow's depth counts, 0 to 1.
    boards
        All sheets in the room with their poses world_from_board: their print is no edge of the limb.
    before
        (H, W) True where something narrow stands before the limb; None for nothing.
    """
    values = brightness_and_hue(strip.pixels)
    boards = tuple(boards)
    inside = np.zeros(values.shape[:2], bool)
    distance2 = np.zeros(values.shape[:2], np.float32)
    limb = (np.abs(strip.offsets) < _CORE_MM) & (strip.heights < _CORE_TOP_MM)[:, None]
    print_ = find_print(strip, values, () if strip.lies else _backdrops(boards), limb)
    border, on_border = np.zeros_like(inside), print_.distance2.copy()
    for area in areas:
        whole, rim = _paint(strip, area, inside)
        if rim.sum() * STEP_MM**2 < _LEAST_RIM_MM2:
            continue
        core = whole & limb
        below = _below_in(strip, area) & ~inside & ~whole
        found = _distance2_from_backdrop(values, whole, rim, core, shadow_weight)
        if below.any():
            whole |= _going_on(strip, below, found)
            found = _distance2_from_backdrop(values, whole, rim, core, shadow_weight)
        beyond = _filled(strip, area.beyond, inside.shape) & ~inside & ~whole & ~print_.border
        if beyond.any():
            with_it = _distance2_from_backdrop(
                values, whole | beyond, rim, (whole | beyond) & limb, shadow_weight
            )
            if _is_wall(beyond, with_it):
                whole, found = whole | beyond, with_it
        distance2[whole] = found[whole]
        inside |= whole
        beside = print_.border & grown(whole)
        on_border[beside] = np.minimum(on_border, found)[beside]
        border |= beside
    paper = (print_.paper | border) & ~inside
    distance2[paper] = on_border[paper]
    before = np.zeros_like(inside) if before is None else before
    return Panel(
        inside | paper, distance2, printed_lines(strip, boards), paper, before, upright_sides(strip, boards)
    )


def relearnt(strip: Strip, panel: Panel, limb: Mask) -> NDArray[np.float32]:
    """Measure how far every point is from the backdrop's colour, learnt anew from what lies outside a limb.

    Skin of nearly that colour may fill more of the panel than the panel itself, and pass for it.

    Parameters
    ----------
    strip, panel
        The photograph's strip, and what is known of the backdrop in it.
    limb
        (H, W) where the limb was found.

    Returns
    -------
    (H, W) squared distance as of :class:`Panel`.
    """
    values = brightness_and_hue(strip.pixels)
    nothing = np.zeros_like(limb)
    whole = panel.inside & ~panel.paper & ~panel.before & ~grown(limb)
    return _distance2_from_backdrop(values, whole, nothing, nothing, SHADOW_WEIGHTS[0])


def _backdrops(boards: Iterable[tuple[Board, Pose]]) -> list[tuple[Board, Pose]]:
    return [placed for placed in boards if placed[0].role == "backdrop"]


def _paint(strip: Strip, area: Area, taken: Mask) -> tuple[Mask, Mask]:
    """Return the strip's cells in the area, and those in its rim."""
    whole = _filled(strip, area.outline, taken.shape) & ~taken
    return whole, whole & ~_filled(strip, area.inner, taken.shape)


def _filled(strip: Strip, ring: Array, shape: tuple[int, ...]) -> Mask:
    """Return the strip's cells within a closed outline (n, 3) in the world."""
    layer = np.zeros(shape, np.uint8)
    if len(ring):
        cv2.fillPoly(layer, strip.outlines(ring[None]), 1)
    return np.asarray(layer > 0)


def _below_in(strip: Strip, area: Area) -> Mask:
    """Return the strip's cells below an area; none of a limb that lies, whose rows are not level."""
    shape = (len(strip.heights), len(strip.offsets))
    if strip.lies:
        return np.zeros(shape, bool)
    return _filled(strip, area.below, shape)


def _going_on(strip: Strip, below: Mask, distance2: Values) -> Mask:
    """Return how far down the backdrop goes on: as long as its colour fills what is seen beside the limb."""
    beside = below & (np.abs(strip.offsets) > _TUBE_MM)
    like = beside & (distance2 < _INLIER)
    rows = np.flatnonzero(np.count_nonzero(beside, axis=1) >= _LEAST_BESIDE)
    counts = np.stack([np.count_nonzero(each[rows], axis=1) for each in (like, beside)]).astype(float)
    share = np.divide(*uniform_filter1d(counts, _TOGETHER_ROWS, axis=1, mode="nearest"))
    other = np.flatnonzero(share < _GOES_ON)
    last = rows[other[0]] if len(other) else below.shape[0]
    found = below.copy()
    found[last:] = False
    return found


def _is_wall(beyond: Mask, distance2: Values) -> bool:
    """Tell whether a wall goes on to its corner: above the limb nothing stands before it."""
    rows = np.flatnonzero(beyond.any(axis=1))
    top = beyond.copy()
    top[rows[0] + int(_ABOVE * (rows[-1] - rows[0])) + 1 :] = False
    return bool(np.mean(distance2[top] < _INLIER) > _WALL)


def _distance2_from_backdrop(
    values: Values, whole: Mask, rim: Mask, core: Mask, shadow_weight: float
) -> Values:
    backdrop, spread = fit_sheet(values, whole, rim, core)
    for _ in range(2):
        difference = values - backdrop
        plain = whole & (squared_distance(difference / spread, difference[..., 0], shadow_weight) < _INLIER)
        backdrop = smooth_fit(values, plain, backdrop)
        spread = _at_least(_spread(_sparse(values - backdrop, plain)))
    difference = values - backdrop
    return squared_distance(difference / spread, difference[..., 0], shadow_weight)


def squared_distance(scaled: Values, darkening: Values, shadow_weight: float) -> Values:
    """Squared length of colour differences in standard deviations, a shadow counted lightly.

    Parameters
    ----------
    scaled
        (..., 3) differences of brightness and the two hues, each in its standard deviation.
    darkening
        (...) log brightness less that of the surroundings: beyond the depth of any soft shadow it
        counts in full.
    shadow_weight
        What a darkening within a shadow's depth counts.
    """
    beyond = np.minimum(darkening + _DEEPEST_SHADOW, 0.0)
    within = np.minimum(darkening, 0.0) - beyond
    full = np.maximum(scaled[..., 0], 0.0)
    per_unit = np.divide(scaled[..., 0], darkening, out=np.zeros_like(darkening), where=darkening < 0)
    shade = full + per_unit * (beyond + shadow_weight * within)
    return np.asarray(shade**2 + scaled[..., 1] ** 2 + scaled[..., 2] ** 2, np.float32)


def _sparse(values: Values, where: Mask) -> Values:
    """Every fifth of the values chosen, which says as much of their spread: (n, 3)."""
    return values.reshape(-1, 3)[np.flatnonzero(where)[::5]]


def _at_least(spread: NDArray[np.floating]) -> NDArray[np.float32]:
    return np.asarray(np.maximum(spread, LEAST_SD), np.float32)


def _spread(residuals: Values) -> NDArray[np.float32]:
    # compressed photographs have many exact repeats and a few large errors: heed both the middle and the tail
    size = np.abs(residuals)
    return np.asarray(np.maximum(1.4826 * np.median(size, axis=0), np.quantile(size, 0.9, axis=0) / 1.645))
