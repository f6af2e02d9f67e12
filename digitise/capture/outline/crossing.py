"""Which of two bodies that cross in the picture stands before the other: whose line goes on past the corner.

Below the corner where they meet, backdrop is seen between them, and so are both their edges. Above it one
edge is left. If it goes on from the limb's, the limb stands before the other body; if from the other's, the
other body hides the limb's own edge. It does so as well where it leaves little of the limb's width.

Where the gap between them opens wide below the corner, as between thighs, neither stands before the other:
skin is pressed on skin above it. What shows there is the crease between both, beside the limb's own line.

Thighs that meet do so up to the groin, side by side as hips are: seen from the inner side the other one
stands before the limb, however straight the limb's line seems to go on.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.lines import median_line
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

_LIKE_BACKDROP = 12.0  # squared distance
_TOLD_MM = 60.0  # along which both edges are fitted by straight lines, and the one edge is compared with them
_LEAST_ROWS = 10
_CORNER_MM = 12.0  # on either side: there the gap is within the picture's blur, or a shadow
_WIDEST_MM = 60.0  # of the gap
_NARROWEST_MM = 4.0
_INWARD_MM = 2.0
_BLUR_ROWS = 3  # 6 mm below the corner, where the picture's blur fills the gap
_NARROWER = 0.65  # a knee is three quarters as wide as its calf, seen from any side
_CLEARLY_MM = 3.0  # by so much nearer the one edge lies to the other body's line
# Of a gap, mm of width per mm of height: between the thighs of ten made bodies, seen from before, 0.37 to
# 0.53; between legs one behind the other, seen from the side, up to 0.3
_WEDGE = 0.33
_BROKEN_MM = 16.0
_TOP_MM = 40.0  # a hem and its rim
_ASIDE = 0.5  # sine of 30 degrees: nearer to the front thighs press, nearer to the side any part may hide
_NOTCH_ROWS = 11  # 22 mm: what the corner's own blur moves
_KEEPS_MM = 1.0  # two pixels: so far from its own line an edge above the corner is still told by it
_UNIFORM = 12.0**-0.5  # sd of what lies anywhere within a width, by that width


def other_before(strip: Strip, panel: Panel, region: Region, index: int) -> Mask:
    """Tell on which rows of a boundary the edge is that of another body, which stands before the limb.

    Parameters
    ----------
    strip, panel, region
        The photograph's strip, what is known of the backdrop, and the limb in it.
    index
        0 for the left boundary, 1 for the right.
    """
    found = np.zeros(len(region.rows), bool)
    if strip.lies:
        return found
    touched = region.touched[index]
    runs = true_runs(touched)
    far = _far_edge(strip, panel, region, index)
    own = (-1, 1)[index] * (region.left, region.right)[index]
    width = region.right - region.left
    lost = region.hidden[index] | (region.strayed_mm[index] > 0.0)
    for first, last in runs:
        crosses = any(_goes_on_from_other(own, far, *corner) for corner in _corners(first, last, len(own)))
        if crosses or _cuts_in(np.where(lost, np.nan, width), first, last):
            found[first:last] = True
        elif first * STEP_MM < _TOP_MM and _other_thigh_before(strip, index):
            seen = _gap_rows(far, first, last)
            found[first : min(int(seen[0]), last) if len(seen) else last] = True
    return found


def _other_thigh_before(strip: Strip, index: int) -> bool:
    """Tell whether another leg that is seen beside a boundary stands nearer to the camera at the groin.

    Toes point along y, so it stands beside the limb along x, towards the side on which it is seen.
    """
    right, towards = strip.world_from_plane.rotation[:2, 0], strip.world_from_plane.rotation[:2, 2]
    beyond = (-1, 1)[index] * right[0]
    return bool(abs(beyond) > _ASIDE and np.sign(beyond) * towards[0] > _ASIDE)


def creased(strip: Strip, panel: Panel, region: Region, index: int) -> Array:
    """Tell how far off the limb's own edge may be where skin is pressed on skin: (n,) sd in mm, else 0.

    The limb's own line, carried on from below, and the other body's cross at the corner; the crease above
    lies anywhere between them, never outside the limb's. Where it keeps to that it is as good as it.

    Parameters
    ----------
    strip, panel, region
        The photograph's strip, what is known of the backdrop, and the limb in it.
    index
        0 for the left boundary, 1 for the right.
    """
    found = np.zeros(len(region.rows))
    if strip.lies:
        return found
    outward, edge = (-1, 1)[index], (region.left, region.right)[index]
    far = _far_edge(strip, panel, region, index)
    for first, last in true_runs(region.touched[index]):
        corner = _wedge(far - outward * edge, first, last)
        if corner is None:
            continue
        end, opening = corner
        above = np.arange(first, min(int(end), last))
        below = np.arange(int(end), min(int(end + _TOLD_MM / STEP_MM), len(edge)))[_BLUR_ROWS:]
        line = np.polyfit(below, edge[below], 1)
        within = outward * (np.polyval(line, above) - edge[above])
        left = np.flatnonzero(median_filter(within, _NOTCH_ROWS, mode="nearest") > _KEEPS_MM)
        gone = above[: left[-1] + 1] if len(left) else above[:0]
        found[gone] = _UNIFORM * opening * (end - gone) * STEP_MM
    return found


def _wedge(gap: Array, first: int, last: int) -> tuple[float, float] | None:
    """Return the row at which a gap (n,) mm below a run closes, and by how much it opens, mm per mm down.

    None where it does not open like a wedge, or no gap is seen.
    """
    rows = _gap_rows(gap, first, last)[: int((_CORNER_MM + _TOLD_MM) / STEP_MM)]
    if len(rows) < _LEAST_ROWS:
        return None
    slope, intercept = median_line(rows, gap[rows])
    if slope < _WEDGE * STEP_MM:
        return None
    return float(-intercept / slope), float(slope / STEP_MM)


def _gap_rows(gap: Array, first: int, last: int) -> NDArray[np.intp]:
    """Return the rows on which a gap (n,), NaN where there is none, is seen at the lower end of a run."""
    reach = int((_CORNER_MM + _TOLD_MM) / STEP_MM)
    rows = first + np.flatnonzero(np.isfinite(gap[first : last + reach]))
    # backdrop seen by chance further up is no part of the gap below
    broken = np.flatnonzero(np.diff(rows) * STEP_MM > _BROKEN_MM)
    return rows[broken[-1] + 1 :] if len(broken) else rows


def _cuts_in(width: Array, first: int, last: int) -> bool:
    """Tell whether the limb is far narrower within a run than below it: upwards no limb tapers so.

    Widths (n,) mm, NaN where the edge is lost.
    """
    reach = int(_TOLD_MM / STEP_MM)
    below, within = (part[np.isfinite(part)] for part in (width[last : last + reach], width[first:last]))
    if len(below) < _LEAST_ROWS or len(within) < reach:
        return False
    steady = uniform_filter1d(within, _LEAST_ROWS, mode="nearest")
    return bool(steady.min() < _NARROWER * np.median(below))


def _corners(first: int, last: int, count: int) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Yield rows outside either end of a run, and rows within it."""
    near, reach = int(_CORNER_MM / STEP_MM), int((_CORNER_MM + _TOLD_MM) / STEP_MM)
    for end, way in ((last, 1), (first - 1, -1)):
        outside = end + way * np.arange(near, reach)
        inside = end - way * np.arange(near, reach)
        yield outside[(outside >= 0) & (outside < count)], inside[(inside >= first) & (inside < last)]


def _goes_on_from_other(own: Array, far: Array, outside: NDArray[np.intp], inside: NDArray[np.intp]) -> bool:
    """Compare the edge within a run with the lines of both bodies' edges outside; outward is positive."""
    outside = outside[np.isfinite(far[outside])]
    if len(outside) < _LEAST_ROWS or len(inside) < _LEAST_ROWS:
        return False
    if own[inside[-1]] > own[inside[0]] - _INWARD_MM:
        return False  # a body that crosses before the limb leaves less and less of it
    off = []
    for edge in (own, far):
        line = np.polyfit(outside, edge[outside], 1)
        off.append(float(np.median(np.abs(own[inside] - np.polyval(line, inside)))))
    return off[1] + _CLEARLY_MM < off[0]


def _far_edge(strip: Strip, panel: Panel, region: Region, index: int) -> Array:
    """Return where beyond a narrow gap of backdrop the next body begins, (n,) mm outward; NaN without one."""
    outward, edge = (-1, 1)[index], (region.left, region.right)[index]
    steps = np.arange(0.0, _WIDEST_MM, STEP_MM)
    at = np.round((edge[:, None] + outward * steps - strip.offsets[0]) / STEP_MM).astype(int)
    cells = region.rows[:, None], np.clip(at, 0, len(strip.offsets) - 1)
    like = panel.inside[cells] & (panel.distance2[cells] < _LIKE_BACKDROP)
    begin = np.argmax(like, axis=1)
    after = np.arange(len(steps)) > begin[:, None]
    end = np.argmax(after & ~like & panel.inside[cells], axis=1)
    told = like.any(axis=1) & (begin * STEP_MM < _CORNER_MM) & (end > begin)
    told &= (end - begin) * STEP_MM >= _NARROWEST_MM
    return np.where(told, outward * edge + steps[end], np.nan)
