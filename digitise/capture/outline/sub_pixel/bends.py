"""An edge as a line of points at equal steps, where rows alone would cut its corners.

A strip has one point a row.  Where an edge runs almost level, as at the lip of a lobe, neighbours lie many
pixels apart, and what is smoothed over rows lies beside the edge by more than a step of light is sought.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only

_LEVEL = 1.6  # times the usual distance of two rows' points: an edge aslant by 50 degrees
_CUT_PX = 0.7  # by which the smoothing of a straight edge may leave the line: where it bends by 170 px radius
SMOOTH = 4.0  # points, the sd of that smoothing
_EVEN = 2.5  # points, over which the grain of a dim picture, which moves points by 1 px, is no bend
_NEAR = 16  # points: as far as it reaches, four of its sds
_TIGHT = 1.5  # points: of a lip of 35 px radius this cuts off 0.5 px, four would cut off 3.7
_FADE = 3.0  # points over which the one smoothing gives way to the other


@dataclass(frozen=True, eq=False)
class Line:
    """An edge, point by point down the limb.

    Attributes
    ----------
    points
        (m, 2) px, nearly equally far apart.
    rows
        (n,) which of them is the point of each row.
    bent
        (m,) whether it lies at or near a stretch that bends more than smoothing allows, or runs almost level.
    """

    points: Array
    rows: NDArray[np.intp]
    bent: NDArray[np.bool_]

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    def of_rows(self, values: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return what is told of rows (n,) for the line's points (m,): each as the row it leads to."""
        return values[np.searchsorted(self.rows, np.arange(len(self.points)))]

    def smoothed(self, points: Array, sd: float = SMOOTH) -> Array:
        """Return points (m, 2) averaged along the line with an sd in points, less where it is bent."""
        wide = gaussian_filter1d(points, sd, axis=0, mode="nearest")
        if not self.bent.any():
            return np.asarray(wide)
        share = gaussian_filter1d(self.bent.astype(float), _FADE, mode="nearest")[:, None]
        tight = gaussian_filter1d(points, min(sd, _TIGHT), axis=0, mode="nearest")
        return np.asarray((1.0 - share) * wide + share * tight)


def line_through(points: Array) -> Line:
    """Return the line through the points (n, 2) px of all rows, with more where they lie far apart.

    Examples
    --------
    >>> lip = line_through(np.array([[0.0, 0.0], [0.0, 4.0], [0.0, 8.0], [12.0, 8.0], [12.0, 12.0]]))
    >>> lip.rows.tolist(), lip.points[3:5].round(6).tolist()
    ([0, 1, 2, 5, 6], [[4.0, 8.0], [8.0, 8.0]])

    Points on a slope that is the same everywhere stay what they are:

    >>> line_through(np.array([[0.0, 0.0], [3.0, 4.0], [6.0, 8.0]])).bent.tolist()
    [False, False, False]
    """
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    usual = max(float(np.median(step)), 1e-9)
    level = step > _LEVEL * usual
    pieces = np.where(level, np.round(step / usual), 1.0).astype(np.intp)
    rows = np.concatenate([[0], np.cumsum(pieces)])
    at = np.interp(np.arange(rows[-1] + 1), rows, np.arange(len(points)))
    line = np.column_stack([np.interp(at, np.arange(len(points)), each) for each in points.T])
    bent = np.zeros(len(line), bool)
    for first, last in zip(rows[:-1][level], rows[1:][level], strict=True):
        bent[first : last + 1] = True
    wide, even = (gaussian_filter1d(line, sd, axis=0) for sd in (SMOOTH, _EVEN))
    bent[_NEAR:-_NEAR] |= (np.linalg.norm(wide - even, axis=1) > _CUT_PX)[_NEAR:-_NEAR]
    return Line(line, rows, np.asarray(maximum_filter1d(bent, 2 * _NEAR + 1, mode="constant")))


def straight_line(points: Array) -> Line:
    """Return the line through the points (n, 2) px of all rows, taken to bend nowhere."""
    return Line(points, np.arange(len(points)), np.zeros(len(points), bool))
