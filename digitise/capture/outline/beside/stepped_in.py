"""Where an edge steps in and out again: something before the limb hides the limb's own edge there."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d, maximum_filter1d

from digitise.capture.photo.rectified import STEP_MM
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

# Lines are laid through an edge on either side of a step: nearer, the edge is rounded off as it is smoothed.
_FROM_MM, _TO_MM = 6.0, 20.0
# No limb without lobes shows one step in and the next one out, so large and so far apart, on the edges of 40
# photo-real legs; lobes do, up to 30 mm apart.
_LEAST_MM = 6.0
_APART_MM = 40.0, 300.0


def stepped_in(outward: Array) -> NDArray[np.bool_]:
    """Tell on which rows (n,) an edge lies within a stretch that begins with a step in and ends with one out.

    Parameters
    ----------
    outward
        (n,) how far out the edge lies on each of consecutive rows, ``STEP_MM`` apart, mm.

    Examples
    --------
    An edge 12 mm further in along 80 mm; a bulge is none:

    >>> edge = np.full(200, 60.0)
    >>> edge[100:140] -= 12.0
    >>> np.flatnonzero(stepped_in(edge))[[0, -1]].tolist()
    [97, 142]
    >>> bool(stepped_in(120.0 - edge).any())
    False
    """
    found = np.zeros(len(outward), bool)
    step = _steps(outward)
    # lines that reach across a step show smaller ones the other way on either side of it
    most = maximum_filter1d(np.abs(step), 2 * int(_TO_MM / STEP_MM) + 1)
    runs = true_runs((np.abs(step) == most) & (most > _LEAST_MM))
    for (first, _), (_, last) in pairwise(runs):
        into, out = step[first], step[last - 1]
        if into < 0.0 < out and _APART_MM[0] <= STEP_MM * (last - first) <= _APART_MM[1]:
            found[first:last] = True
    return found


def _steps(outward: Array) -> Array:
    """Return by how far the line ahead of each row lies further out there than the line behind it."""
    near, far = int(_FROM_MM / STEP_MM), int(_TO_MM / STEP_MM)
    at = np.arange(near, far + 1)
    # the intercept of a line by least squares is a weighted sum
    weights = np.linalg.pinv(np.stack([np.ones(len(at)), at], axis=1))[0]
    kernel = np.zeros(2 * far + 1)
    kernel[far + at], kernel[far - at] = weights, -weights
    step = correlate1d(outward, kernel, mode="nearest")
    step[:far] = step[-far:] = 0.0
    return np.asarray(step)
