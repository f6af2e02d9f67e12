"""Short runs of sure points that no line vouches for."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.rectified import STEP_MM
from digitise.geometry.runs import true_runs
from digitise.geometry.view import Edge

_ISLAND_MM = 60.0  # with the jumps 120 mm, along which a calf of 200 mm radius bends by 9 mm
_ISLAND_OFF_MM, _TOP_MM = 10.0, 10.0


def islands(edge: Edge, pixel_mm: float) -> NDArray[np.bool_]:
    """Tell which sure points (n,) stand alone amid unsure ones, away from the line that their like make.

    A dark patch of skin at the rim looks like the rim itself; the jumps to it and back give it away.
    """
    found = np.zeros(len(edge.points), bool)
    runs = true_runs(edge.sure)
    for (_, before), (first, last), (after, _) in zip(runs, runs[1:], runs[2:], strict=False):
        middle = (first + last) // 2
        share = (middle - before + 1) / (after - before + 1)
        line = (1 - share) * edge.points[before - 1] + share * edge.points[after]
        off_mm = abs((edge.points[middle] - line) @ edge.normals[middle]) * pixel_mm
        found[first:last] = (last - first) * STEP_MM < _ISLAND_MM and off_mm > _ISLAND_OFF_MM
    return found


def alone_at_top(sure: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which sure points (n,), from the top down, are a short run beyond a longer doubtful stretch.

    There is no line further up that would give them away.
    """
    found = np.zeros(len(sure), bool)
    runs = true_runs(sure)
    if len(runs) > 1 and runs[0][0] * STEP_MM < _TOP_MM and runs[0][1] * STEP_MM < _ISLAND_MM:
        (first, last), (after, _) = runs[0], runs[1]
        found[first:last] = after - last > last - first
    return found
