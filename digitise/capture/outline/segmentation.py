"""The limb as a region of the strip: which cells are limb, and its left and right boundary."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, minimum_filter1d

from digitise.capture.light_steps.viterbi import best_path
from digitise.capture.outline.bodies import Pair, limb_pair, strayed_mm
from digitise.capture.outline.by_steps.find import find_alone
from digitise.capture.outline.crossing import creased, other_before
from digitise.capture.outline.evidence import CLIP, CLIP_BELOW, region_evidence
from digitise.capture.outline.region import FOOT_TOP_MM, Region
from digitise.capture.outline.touching import (
    APART_MM,
    BORDER_CELLS,
    CLEAR_STEP,
    TOUCH_MM,
    TRACK_MEDIAN,
    joined,
)
from digitise.capture.outline.track import STANDS_OUT, no_limb, track
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.dressing import dressings
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.errors import OutlineError
from digitise.geometry.rigid import Array

_PAINTED = 40.0  # what a person painted outvotes everything nearby
_SEARCH_MM = 24.0
_LEAST_BEYOND = 0.1  # of the rows
_FADE_ROWS = 12
_LEAST_STEP = 0.01  # less is no edge at all
_STEP_BELOW = 0.05  # of the light: a floor tells nothing, so the step has to
_AGREE_BELOW_MM = 5.0
_BELOW_MM = 8.0  # beside a floor another foot stands out as well: a clear step is not left by more
_BEYOND_MM = np.arange(-2.0, 12.0, STEP_MM)  # as far as a step is fitted about an edge
_WITHIN_MM = np.arange(-30.0, 2.0, STEP_MM)  # as deep as a second edge is sought
_RIM_MM = np.arange(-6.0, 2.0, STEP_MM)
_OUT_OF_WINDOW = 1e3  # finite, so that a first guess that jumps still leaves a path
_STIFFNESS = 1.0
_REACH = 4
_AGREE_MM = 12.0
_LEAST_AGREEMENT = 0.7  # of the evidence's bound, on average over both sides
_LEAST_AGREEMENT_BELOW = 0.2  # beside a floor the step itself has to tell


def find_region(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    name: str,
    painted: NDArray[np.int8] | None = None,
) -> Region:
    """Tell the limb from everything round it.

    Parameters
    ----------
    pixels, strip, panel
        The photograph, its strip and what is known of the backdrop in it.
    name
        The photograph's name, for messages.
    painted
        (H, W) 1 where a person painted limb, -1 background, 0 elsewhere; None when nothing was painted.

    Raises
    ------
    OutlineError
        When no plain backdrop or no limb before it is seen.
    """
    painted = np.zeros(panel.inside.shape, np.int8) if painted is None else painted
    panel = _painted_panel(panel, painted)
    try:
        rows, left, right = track(strip, panel, name)
        if _one_sided(panel, rows, left, right):
            raise no_limb(name)
    except OutlineError:
        alone = find_alone(pixels, strip, panel, painted)
        if alone is None:
            raise
        return alone
    sides = [np.asarray(median_filter(side, size=TRACK_MEDIAN, mode="nearest")) for side in (left, right)]
    every = np.arange(rows[0], len(strip.heights))
    span = (float(strip.offsets[left.min()]), float(strip.offsets[right.max()]))
    dressed, pale = dressings(strip, panel, rows, sides[0], sides[1])
    pair = limb_pair(pixels, strip, panel, painted, every, span, dressed)
    free = ~(painted[every] != 0).any(axis=1)  # what a person drew needs no other evidence
    sides_of = [joined(strip, panel, rows, sides[index], pair, index, free) for index in (0, 1)]
    first, last = (_extended(rows, side, len(strip.heights)) for side, *_ in sides_of)
    touched, patch = (sides_of[0][1], sides_of[1][1]), (sides_of[0][2], sides_of[1][2])
    evidence = region_evidence(strip, panel, int(rows[-1]), first, last)
    seen = [np.where(panel.before, np.float32(0.0), map_) for map_ in evidence]
    told = [np.where(painted == 0, map_, _PAINTED * painted).astype(np.float32) for map_ in seen]
    for index, edge in enumerate((first, last)):
        _keep_apart(told[index], every, edge, (-1, 1)[index], touched[index])
    region = _refine(strip, rows, (first, last), (told[0], told[1]), pair, touched, patch)
    printed = [_at_boundary(strip, panel.paper, region, n, _BEYOND_MM) for n in (0, 1)]
    beside = [_at_boundary(strip, dressed, region, n, _WITHIN_MM) for n in (0, 1)]
    padded = [_at_boundary(strip, pale, region, n, _RIM_MM) for n in (0, 1)]
    plain = [~region.touched[n] & ~region.below for n in (0, 1)]
    return replace(
        region,
        printed=(printed[0] & plain[0], printed[1] & plain[1]),
        dressed=(beside[0], beside[1]),
        padded=(padded[0], padded[1]),
        before=(other_before(strip, panel, region, 0), other_before(strip, panel, region, 1)),
        creased_mm=(creased(strip, panel, region, 0), creased(strip, panel, region, 1)),
        sides=panel.sides,
        steps=pair.offsets,
    )


def _one_sided(panel: Panel, rows: NDArray[np.intp], left: NDArray[np.intp], right: NDArray[np.intp]) -> bool:
    """Tell whether a known backdrop lies beyond one boundary alone: a strip of the limb is no limb."""
    last = panel.inside.shape[1] - 1
    beyond = [
        panel.inside[rows, np.clip(side + out * BORDER_CELLS, 0, last)].mean()
        for side, out in ((left, -1), (right, 1))
    ]
    return bool(min(beyond) < _LEAST_BEYOND)


def _keep_apart(
    evidence: Values, every: NDArray[np.intp], edge: NDArray[np.intp], outward: int, touched: Mask
) -> None:
    """Let nothing count beyond an edge that another body touches, nor near it but the step of light."""
    rows = every[touched]
    depth = outward * (np.arange(evidence.shape[1]) - edge[rows]) * STEP_MM
    here = evidence[rows]
    here[depth > TOUCH_MM] = -CLIP
    here[np.abs(depth) <= TOUCH_MM] = 0.0
    evidence[rows] = here


def _painted_panel(panel: Panel, painted: NDArray[np.int8]) -> Panel:
    certain = np.where(painted > 0, 100.0 * STANDS_OUT, 0.0)
    distance2 = np.where(painted == 0, panel.distance2, certain).astype(np.float32)
    inside = panel.inside | ((painted != 0) & _near_panel(panel))
    return replace(panel, inside=inside, distance2=distance2)


def _near_panel(panel: Panel) -> Mask:
    return np.broadcast_to(panel.inside.any(axis=1, keepdims=True), panel.inside.shape)


def _extended(rows: NDArray[np.intp], side: NDArray[np.intp], height: int) -> NDArray[np.intp]:
    """Carry a boundary straight on above its rows: (height, 1) columns."""
    return np.concatenate([np.full(rows[0], side[0]), side])[:height, None]


def _refine(
    strip: Strip,
    rows: NDArray[np.intp],
    guesses: tuple[NDArray[np.intp], NDArray[np.intp]],
    evidence: tuple[Values, Values],
    pair: Pair,
    touched: tuple[Mask, Mask],
    patch: tuple[Mask, Mask],
) -> Region:
    """Move each boundary to where the evidence changes over, within a window round the first guess."""
    height, width = evidence[0].shape
    every = np.arange(rows[0], height)
    before_panel = every <= rows[-1]
    offsets, doubtful = [], []
    for index, (guess, outward, map_) in enumerate(zip(guesses, (-1, 1), evidence, strict=True)):
        gain = outward * np.cumsum(map_, axis=1, dtype=np.float64)[every]
        depth = outward * STEP_MM * (np.arange(width) - guess[every])
        clear_below = ~before_panel & (pair.strength[index] > CLEAR_STEP)
        reach = np.where(touched[index], STEP_MM, np.where(clear_below, _BELOW_MM, _SEARCH_MM))[:, None]
        scores = np.where(np.abs(depth) <= reach, gain, gain - _OUT_OF_WINDOW).astype(np.float32)
        path = best_path(scores, stiffness=_STIFFNESS, reach=_REACH)
        offsets.append(strip.offsets[0] + STEP_MM * (path + 0.5))  # between the cells it parts
        agreement = agreement_across(map_, every, path, outward)
        least = np.where(before_panel, _LEAST_AGREEMENT * CLIP, _LEAST_AGREEMENT_BELOW * CLIP_BELOW)
        # a step is told along 48 mm: near where it fades it tells less of its place
        steady = minimum_filter1d(pair.strength[index], 2 * _FADE_ROWS + 1, mode="nearest")
        apart = np.abs(offsets[-1] - pair.offsets[index]) > _AGREE_BELOW_MM
        agreement[~before_panel & ((pair.strength[index] < _STEP_BELOW) | apart)] = 0.0
        faint = np.where(touched[index], steady < CLEAR_STEP, agreement < least)
        doubtful.append(faint | patch[index])
    above_foot = strip.heights[every] > FOOT_TOP_MM
    hidden = [touched[index] & (pair.strength[index] < _LEAST_STEP) for index in (0, 1)]
    strayed = [
        np.where(
            above_foot & (np.abs(own - pair.offsets[index]) < APART_MM), strayed_mm(pair, index, own), 0.0
        )
        for index, own in enumerate(offsets)
    ]
    nowhere = np.zeros_like(before_panel)
    return Region(
        every,
        offsets[0],
        offsets[1],
        evidence,
        (doubtful[0], doubtful[1]),
        touched,
        (hidden[0], hidden[1]),
        (strayed[0], strayed[1]),
        ~before_panel,
        (nowhere, nowhere),
        (nowhere, nowhere),
        (nowhere, nowhere),
    )


def _at_boundary(strip: Strip, where: Mask, region: Region, index: int, beyond_mm: Array) -> Mask:
    """Tell on which rows a boundary has any of the cells ``where`` (H, W) so far beyond it."""
    edge, outward = (region.left, region.right)[index], (-1, 1)[index]
    at = np.round((edge[:, None] + outward * beyond_mm - strip.offsets[0]) / STEP_MM).astype(int)
    return np.asarray(where[region.rows[:, None], np.clip(at, 0, len(strip.offsets) - 1)].any(axis=1))


def agreement_across(evidence: Values, rows: NDArray[np.intp], path: NDArray[np.intp], outward: int) -> Array:
    """Half the difference of the evidence just inside and just outside a boundary: (n,)."""
    reach = np.arange(1, int(_AGREE_MM / STEP_MM) + 1)
    sides = []
    for away in (-outward * reach, outward * reach):
        columns = np.clip(path[:, None] + away, 0, evidence.shape[1] - 1)
        sides.append(evidence[rows[:, None], columns].mean(axis=1))
    return np.asarray(gaussian_filter1d((sides[0] - sides[1]) / 2.0, 2.0, mode="nearest"))
