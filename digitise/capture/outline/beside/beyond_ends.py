"""A second edge within an edge, beyond its ends: how far it may still go on, and how far off the first is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

LEAST_PX = 5.0  # a sliver narrower than that is one with the edge
LONG_MM = 44.0
GAP_ROWS = 15
OFF_RIM_PX = 12.0  # a rim's own shade makes lines up to 8 px within
_BODY_MM = 60.0  # a line that long is another body's, and does not end within the limb
_WAVER_PX = 3
_FAINT = 0.75  # of what counts, on average: grain at its clearest within the window shows less
_ENDS_MM, _FAR_MM = 24.0, 150.0  # beyond a second edge's ends the two are one line: at least, at most
# but two legs that lie within millimetres of each other along 200 mm, one behind the other, may do so again
# a calf further on, in a rim's shade where nothing tells it: by trial on three made visits
_AS_LONG = 1.5
# A line leaves its course on such a share of its rows: on made visits other legs' ends on up to 0.12 of them,
# lines that grain makes in the dark on 0.15 and more.
_COURSE_ROWS, _LEAVES_PX, MOST_UNSTEADY = 11, 3.0, 0.135
# lines found by chance leave it on 0.4, another leg's of 350 and 550 mm beside shaded skin on 0.16 and 0.18
_MOSTLY_UNSTEADY = 0.25
_HAND_MM = 200.0, 250.0  # longer than a hand; where the line is doubtful, by more


def slices(where: Mask) -> list[slice]:
    """Return the runs of True, in order."""
    return [slice(first, last) for first, last in true_runs(where).tolist()]


def unsteadiness(deep: Array) -> float:
    """Return on which share of its rows a line (n,) pixels deep leaves its own course."""
    return float(np.mean(np.abs(deep - median_filter(deep, _COURSE_ROWS, mode="nearest")) > _LEAVES_PX))


def running_together(joint: Mask, deep: Array, clearness: Array, surely: Mask) -> Mask:
    """Tell rows beyond a second edge's ends on which it may still go on, too near the first or too faint.

    Parameters
    ----------
    joint, deep
        (n,) where there is a second edge, and its depth, pixels.
    clearness
        (n, m) steps by the least that counts, from ``LEAST_PX`` on.
    surely
        (n,) where it is surely another body's, and too deep to be a shade of the rim.
    """
    near = np.zeros(len(joint), bool)
    tail = round(LONG_MM / STEP_MM)
    for run in slices(joint):
        first, last = run.start, run.stop
        for end, inner, way in (
            (first, min(first + tail, last) - 1, -1),
            (last - 1, max(last - tail, first), 1),
        ):
            slope = (deep[end] - deep[inner]) / max(abs(inner - end), 1)
            length = (last - first) * STEP_MM
            other = surely[run].mean() > 0.5
            far = _AS_LONG * length if other else 0.0
            rows = _beyond(end, way, int(max(_FAR_MM, far) / STEP_MM), len(joint))
            course = deep[end] + slope * np.abs(rows - end)
            # fingers' lines reach the region's top
            long = length >= (_BODY_MM if first > 0 else _HAND_MM[0 if other else 1])
            long &= unsteadiness(deep[run]) <= MOST_UNSTEADY
            near[rows if long else rows[: _goes_on(course, clearness[rows])]] = True
    return near & ~joint


def beyond_deep_ends(joint: Mask, deep: Array) -> Array:
    """Return how far off an edge (n,) may be, px, where a long second edge within it was lost at a depth.

    What shows beyond the limb does not end at once: the outer edge is that body's until both would meet.
    """
    off = np.zeros(len(joint))
    tail = round(LONG_MM / STEP_MM)
    for run in slices(joint):
        length = run.stop - run.start
        if length * STEP_MM < _HAND_MM[1] or unsteadiness(deep[run]) > _MOSTLY_UNSTEADY:
            continue
        endings = (run.start, -1, deep[run][:tail][::-1]), (run.stop - 1, 1, deep[run][-tail:])
        for end, way, ending in endings:
            last = float(np.median(ending))
            if last <= OFF_RIM_PX:
                continue
            slope = min(float(np.polyfit(np.arange(tail), ending, 1)[0]), 0.0)
            reach = min(_AS_LONG * length, last / max(-slope, 1e-6))
            rows = _beyond(end, way, int(reach), len(off))
            off[rows] = np.maximum(off[rows], last)
    return off


def _beyond(end: int, way: int, reach: int, count: int) -> NDArray[np.intp]:
    """Return the rows, of ``count``, within ``reach`` of an ``end`` in one ``way``, the nearest first."""
    rows = end + way * np.arange(1, reach + 1)
    return np.asarray(rows[(rows >= 0) & (rows < count)], np.intp)


def _goes_on(course: Array, clearness: Array) -> int:
    """Count rows on which a line goes on beyond its end, given where it would run: (n,) pixels."""
    at = np.round(course - LEAST_PX).astype(int)
    window = at[:, None] + np.arange(-_WAVER_PX, _WAVER_PX + 1)
    known = (window >= 0) & (window < clearness.shape[1])
    columns = np.clip(window, 0, clearness.shape[1] - 1)
    seen = np.where(known, clearness[np.arange(len(at))[:, None], columns], 0.0).max(axis=1, initial=0.0)
    faint = uniform_filter1d(seen, GAP_ROWS, mode="nearest") > _FAINT if len(seen) else seen > 0
    goes_on = faint | ((course < LEAST_PX) & (course > 1.0))
    goes_on[: int(_ENDS_MM / STEP_MM)] = True
    return int(np.argmin(goes_on)) if not goes_on.all() else len(goes_on)
