"""Where a limb that lies rests on something: there its lower edge may be hidden, and says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.ndimage import maximum_filter1d, median_filter

from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask

_BEYOND_MM = np.arange(6.0, 18.0, STEP_MM)  # clear of the limb's own blur
_NOT_SHEET = 60.0  # squared distance: shadows on the sheet stay below 40, cloth and wood begin at 300
_STEADY_ROWS = 9
_MARGIN_ROWS = 5  # the support's own edge is not square to the limb's


def resting(strip: Strip, panel: Panel, region: Region) -> Region:
    """Return a region whose boundaries are hidden where something other than the sheet lies beyond them.

    A soft support reaches up round the limb, a hard one does not; the picture does not tell which it is.

    Parameters
    ----------
    strip, panel, region
        A lying limb's strip, what is known of the sheet behind it, and the limb in it.
    """
    found = tuple(hidden | _beside(strip, panel, region, index) for index, hidden in enumerate(region.hidden))
    return replace(region, hidden=(found[0], found[1]))


def _beside(strip: Strip, panel: Panel, region: Region, index: int) -> Mask:
    edge, outward = (region.left, region.right)[index], (-1, 1)[index]
    at = np.round((edge[:, None] + outward * _BEYOND_MM - strip.offsets[0]) / STEP_MM).astype(int)
    cells = region.rows[:, None], np.clip(at, 0, len(strip.offsets) - 1)
    known = panel.inside[cells].mean(axis=1) > 0.5
    other = known & (np.median(panel.distance2[cells], axis=1) > _NOT_SHEET)
    steady = median_filter(other, _STEADY_ROWS, mode="nearest")
    return np.asarray(maximum_filter1d(steady.astype(np.uint8), 2 * _MARGIN_ROWS + 1, mode="nearest") > 0)
