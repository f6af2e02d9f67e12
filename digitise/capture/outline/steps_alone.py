"""A limb with no known backdrop behind it, told by steps of light alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from digitise.capture.outline.bodies import limb_pair
from digitise.capture.outline.evidence import CLIP
from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel

_TOUCH_MM = 8.0  # about an edge between two bodies: two cells of the steps' table
_FOOT_TOP_MM = 130.0  # below, an instep may turn off as sharply as a lost edge jumps
_BROKEN_MM = 40.0  # without a clear step on both sides: there the limb ends
_ALONE_MM = 160.0  # about the axis, where no backdrop tells the limb
_CLEAR_ALONE = 0.05  # of the light: without a backdrop only a clear edge counts
_LEAST_ALONE_MM = 250.0
_LEAST_CLEAR = 0.75  # of the rows


def region_of_steps(
    pixels: NDArray[np.uint8], strip: Strip, panel: Panel, painted: NDArray[np.int8]
) -> Region | None:
    """Find a limb with no backdrop behind it, where steps of light alone tell it; None where they do not."""
    every = np.arange(len(strip.heights))
    pair = limb_pair(pixels, strip, panel, painted, every, (-_ALONE_MM, _ALONE_MM))
    clear = np.minimum(*pair.strength) > _CLEAR_ALONE
    gap = int(_BROKEN_MM / STEP_MM) // 2
    broken = np.flatnonzero(uniform_filter1d(clear.astype(float), 2 * gap) < 0.5)
    broken = broken[strip.heights[broken] > _FOOT_TOP_MM]
    top = int(broken[-1]) + gap if len(broken) else 0
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
        here[np.abs(strip.offsets - side[:, None]) <= _TOUCH_MM] = 0.0
        map_[rows] = here
        told.append(map_)
    doubtful = [strength[top:] < _CLEAR_ALONE for strength in pair.strength]
    above_foot = strip.heights[rows] > _FOOT_TOP_MM
    hidden = [(strayed[top:] > 0.0) & above_foot for strayed in pair.strayed_mm]
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
    )
