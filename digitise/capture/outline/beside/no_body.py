"""Second edges within an outline's that are no other body's: a dressing's borders and the rim of a hem."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.capture.outline.beside.double_edge import SecondEdge
from digitise.capture.photo.rectified import STEP_MM
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

_END_ROWS = 8  # 16 mm, of a second edge
_SHALLOWER = 0.6  # of its depth: the border of a dressing stays within a quarter of it
_HEM_MM = 80.0  # a rolled hem of 30 mm, its curve of 25, half a line of the steps; another leg shows further


def beside_dressing(second: SecondEdge, dressed: NDArray[np.bool_]) -> SecondEdge:
    """Leave out the second edges that a dressing's borders make, with their ends.

    A dressing is cut square, and skin goes on above it; another body comes out from behind the limb slowly,
    or goes on to the top.
    """
    joint = (second.depth_px > 0.0) | second.near
    keep = np.ones(len(dressed), bool)
    for first, last in true_runs(joint):
        depth = second.depth_px[first:last]
        inner = depth > 0.0
        if inner.any() and dressed[first:last][inner].mean() > 0.5:
            keep[first:last] = first == 0 or _comes_out_slowly(depth[inner])
    return second.without(~keep)


def beneath_hem(second: SecondEdge) -> tuple[SecondEdge, NDArray[np.bool_]]:
    """Leave out a second edge that a hem's rim and its shadow make; tell its rows (n,), from the top down.

    Cloth stands off the skin, and its rim is seen curved: at the sides it hangs lower than in the middle.
    """
    joint = np.append((second.depth_px > 0.0) | second.near, False)
    by_hem = np.arange(len(second.near)) < int(np.argmin(joint))
    if np.count_nonzero(second.depth_px[by_hem] > 0.0) * STEP_MM > _HEM_MM:
        by_hem[:] = False
    return second.without(by_hem), by_hem


def _comes_out_slowly(depth: Array) -> bool:
    """Tell whether a second edge (n,) px deep begins or ends far nearer to the first one than it runs."""
    ends = [float(np.median(part)) for part in (depth[:_END_ROWS], depth[-_END_ROWS:])]
    return min(ends) < _SHALLOWER * float(np.median(depth))
