"""Where a limb that lies rests on something: there its lower edge is known badly, or not at all.

A hard support that is narrower than the limb leaves the edge in sight, over its top.  A soft one reaches up
round the limb, so that the limb seems to have a dent there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter

from digitise.capture.lying.cut import LIKE_SHEET
from digitise.capture.outline.region import Region
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.runs import true_runs

_BEYOND_MM = np.arange(6.0, 18.0, STEP_MM)  # clear of the limb's own blur
_NOT_SHEET = 150.0  # squared distance: shadows on the sheet stay below 100, cloth and wood begin at 300
# The limb's own shadow in hard light is as dark as a support, but of the sheet's hue (log units; skin beside
# it tinges it by half of this), and runs along the limb farther than a support does.
_SHADOW_HUE, _LONGEST_MM = 0.2, 120.0
_DARKEST = 0.02  # of full light: below, noise has a hue of its own
_STEADY_ROWS = 9
_MARGIN_ROWS = 5  # the support's own edge is not square to the limb's
_ROUND_ROWS = 20  # on either side of a support tell the limb's course
_DENT_MM = 4.0  # within that course: a wrist or knee dips in by less over a support's length
_SMOOTH_ROWS = 2.0


def resting(strip: Strip, panel: Panel, region: Region) -> Region:
    """Return a region whose boundaries are doubtful where something other than the sheet lies beyond them.

    Where they dip in there as well, they are hidden.

    Parameters
    ----------
    strip, panel, region
        A lying limb's strip, what is known of the sheet behind it, and the limb in it.
    """
    rests = (_beside(strip, panel, region, 0), _beside(strip, panel, region, 1))
    dents = (_dented(region, rests[0], 0), _dented(region, rests[1], 1))
    return replace(
        region,
        rests=rests,
        doubtful=(region.doubtful[0] | rests[0], region.doubtful[1] | rests[1]),
        hidden=(region.hidden[0] | dents[0], region.hidden[1] | dents[1]),
    )


def _beside(strip: Strip, panel: Panel, region: Region, index: int) -> Mask:
    edge, outward = (region.left, region.right)[index], (-1, 1)[index]
    at = np.round((edge[:, None] + outward * _BEYOND_MM - strip.offsets[0]) / STEP_MM).astype(int)
    cells = region.rows[:, None], np.clip(at, 0, len(strip.offsets) - 1)
    known = panel.inside[cells].mean(axis=1) > 0.5
    other = known & (np.median(panel.distance2[cells], axis=1) > _NOT_SHEET)
    steady = median_filter(other, _STEADY_ROWS, mode="nearest")
    steady &= ~_shadow(steady & _of_sheets_hue(strip, panel, cells))
    return np.asarray(maximum_filter1d(steady.astype(np.uint8), 2 * _MARGIN_ROWS + 1, mode="nearest") > 0)


def _of_sheets_hue(strip: Strip, panel: Panel, cells: tuple[NDArray[np.intp], NDArray[np.intp]]) -> Mask:
    """Tell in which rows what lies in some cells (n, m) has the sheet's hue, in whatever light."""
    hue = brightness_and_hue(strip.pixels, _DARKEST)[..., 1:]
    sheet = panel.inside & (panel.distance2 < LIKE_SHEET)
    if not sheet.any():
        return np.zeros(len(cells[0]), bool)
    off = np.median(hue[cells], axis=1) - np.median(hue[sheet], axis=0)
    return np.asarray(np.linalg.norm(off, axis=1) < _SHADOW_HUE)


def _shadow(dark: Mask) -> Mask:
    """Tell which rows are of a run that is longer than any support."""
    found = np.zeros(len(dark), bool)
    for first, last in true_runs(dark):
        found[first:last] = (last - first) * STEP_MM > _LONGEST_MM
    return found


def _dented(region: Region, rests: Mask, index: int) -> Mask:
    """Tell where a boundary leaves the limb's course over a support, or has none on one side to keep to."""
    out = (-1, 1)[index] * gaussian_filter1d((region.left, region.right)[index], _SMOOTH_ROWS)
    found = np.zeros(len(rests), bool)
    for first, last in true_runs(rests):
        rows = np.arange(max(first - _ROUND_ROWS, 0), min(last + _ROUND_ROWS, len(rests)))
        clear = rows[~rests[rows]]
        if not (clear < first).any() or not (clear >= last).any():
            found[first:last] = True
            continue
        course = np.polyval(np.polyfit(clear, out[clear], 2), np.arange(first, last))
        found[first:last] = np.abs(course - out[first:last]).max() > _DENT_MM
    return found
