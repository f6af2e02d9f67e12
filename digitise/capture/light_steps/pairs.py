"""Two edges sought together through a table of steps of light, and where such an edge jumps."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from digitise.capture.light_steps.inner_edges import CELL_MM, StepTable
from digitise.capture.surroundings.sheet_colour import Values
from digitise.geometry.rigid import Array

_LEAST_CELLS = 7  # 28 mm: a thin wrist seen from the side
_MOST_CELLS = 75  # 300 mm
CLEAR = (0.01, 0.06)  # strengths from which an edge counts, and counts in full
_CROSSED = 1.5  # price of a long edge within the limb, by an edge's gain
_MARGIN_CELLS = 2  # an edge's own line is not within the limb
_BACKDROP = 0.5  # price of a cell of backdrop within the limb
_BY_PRINT = 0.8  # of an edge's gain: a step where print is known tells of the print, seldom of the limb
_BEND = 0.2  # price of a cell sideways between rows
# Price of a cell by which the two are closer, or further apart, than the limb is wide.  By trial on made
# scenes: at 0.5 shade within a limb of its backdrop's tone was still followed.
_OFF_WIDTH = 2.0
_BIG = 1e6
_PRINT_CELLS = 2  # beside an edge before print: 8 mm, of skin within and of print beyond
_STEEP = 3  # cells in a row of 45 degrees: a jump
_UNSUPPORTED = 0.3  # of a clear edge, on average: nothing leads there
_SINGLE_MM, _BACK_MM = 100.0, 200.0  # beyond a jump, and up to the one back, the edge is another body's
_ROUND_MM = 20.0
_END_MM = 100.0


class Jump(NamedTuple):
    """A jump of an edge.

    Attributes
    ----------
    first, last
        Rows of the steps' table between which it jumps.
    way
        1 outwards, -1 inwards, going down.
    """

    first: int
    last: int
    way: int


def jumps_of(outward: Array, step: Array) -> list[Jump]:
    """Return where an edge (n,) cells, outward positive, jumps over rows on which nothing leads there."""
    clear = np.clip((step - CLEAR[0]) / (CLEAR[1] - CLEAR[0]), 0.0, 1.0)
    moves = np.diff(outward)
    return [
        Jump(int(run[0]), int(run[-1]) + 1, int(moves[run[0]]))
        for run in np.split(np.arange(len(moves)), np.flatnonzero(np.diff(moves)) + 1)
        if moves[run[0]] and len(run) >= _STEEP and clear[run[0] : run[-1] + 2].mean() < _UNSUPPORTED
    ]


def strayed_cells(jumps: list[Jump], count: int) -> Array:
    """Tell how far an edge has jumped, on rows (count,) that may be another body's, cells."""
    lost = np.zeros(count)
    around, single, far = (int(mm / CELL_MM) for mm in (_ROUND_MM, _SINGLE_MM, _BACK_MM))
    for first, last, way in jumps:
        size = float(last - first)
        _raise(lost, max(first - around, 0), last + around, size)
        # rows fall: the outer side is below a jump outward and above one back in, up to the jump that ends it
        if way > 0:
            ends = [n for n, _, back in jumps if last <= n < last + far and back < 0]
            # at the very top both edges close in over the end of the limb, or of its garment
            alone = last + (single if first * CELL_MM > _END_MM else 0)
            _raise(lost, first, min(ends, default=alone), size)
        else:
            starts = [n for _, n, back in jumps if first - far < n <= first and back > 0]
            _raise(lost, max(starts, default=max(first - single, 0)), last, size)
    return lost


def _raise(lost: Array, first: int, last: int, size: float) -> None:
    lost[first:last] = np.maximum(lost[first:last], size)


def before_print(print_: Values, unlike: Values, outward: int) -> Values:
    """Tell how clearly each cell is an edge of the limb before printed paper.

    Print makes steps of light of either sign, among which the limb's own are lost; paper and ink are of one
    hue.

    Parameters
    ----------
    print_
        (h, w) share of each cell that shows printed paper.
    unlike
        (h, w) share of each cell that shows no known backdrop.
    outward
        -1 for the limb's left edge, 1 for its right.

    Returns
    -------
    (h, w), 0 to 1.
    """
    away = range(1, _PRINT_CELLS + 1)
    within = np.mean([_shifted(unlike, -outward * n) for n in away], axis=0)
    beyond = np.mean([_shifted(print_, outward * n) for n in away], axis=0)
    rows = uniform_filter1d(np.minimum(within, beyond), 2 * _PRINT_CELLS + 1, axis=0, mode="nearest")
    return np.asarray(np.clip(2.0 * rows - 1.0, 0.0, 1.0), np.float32)


def inner_border(patch: Values, backdrop: Values, outward: int) -> Values:
    """Tell how surely an edge at each cell is the border of a patch on the limb: skin goes on beyond it.

    Parameters
    ----------
    patch
        (h, w) share of each cell on a dressing.
    backdrop
        (h, w) share of each cell known to show backdrop.
    outward
        -1 for the limb's left edge, 1 for its right.

    Returns
    -------
    (h, w), 0 to 1.
    """
    within = np.maximum(_shifted(patch, -outward), _shifted(patch, -2 * outward))
    beyond = np.minimum(
        _shifted(1.0 - patch - backdrop, outward), _shifted(1.0 - patch - backdrop, 2 * outward)
    )
    border = np.clip(np.minimum(within, beyond), 0.0, 1.0)
    return np.asarray(maximum_filter1d(border, 5, axis=1), np.float32)  # its step reaches over two cells


def _shifted(cells: Values, columns: int) -> Values:
    """Return for each cell the one so many columns further on; beyond the table there is none."""
    moved = np.zeros_like(cells)
    if columns > 0:
        moved[:, :-columns] = cells[:, columns:]
    else:
        moved[:, -columns:] = cells[:, :columns]
    return moved


def find_pair(
    table: StepTable,
    backdrop: NDArray[np.float32],
    printed: NDArray[np.float32],
    sides: tuple[tuple[Values, Values], tuple[Values, Values]],
    feet: tuple[float, float],
    foot_rows: slice,
    widths: Array | None = None,
) -> tuple[Array, Array]:
    """Find the limb's two edges among all steps of light.

    Parameters
    ----------
    table
        Steps of light; rows fall from the trunk to the foot.
    backdrop
        (h, w) share of each cell known to show backdrop.
    printed
        (h, w) share of each cell on a known line of print.
    sides
        For the left and the right edge (h, w) how clearly it runs there before print, and how surely what
        runs there is the border of something that lies on the limb.
    feet
        Offsets between which the limb stands, mm; it reaches over some of this.
    foot_rows
        Rows in which that holds.
    widths
        (h, 2) least and greatest width that the limb may have, mm; None where nothing is known of it.

    Returns
    -------
    (h,) columns of the left and of the right edge, in cells, fractions none.
    """
    height, width = table.strength.shape
    left, right = np.triu_indices(width, _LEAST_CELLS)
    keep = right - left <= _MOST_CELLS
    left, right = left[keep], right[keep]
    gain = np.clip((table.strength - CLEAR[0]) / (CLEAR[1] - CLEAR[0]), 0.0, 1.0)
    gain *= 1.0 - _BY_PRINT * printed
    left_gain, right_gain = (
        np.maximum(gain, by_hue) * (1.0 - inner) for by_hue, inner in zip(*sides, strict=True)
    )
    crossed = np.clip((table.chains - CLEAR[0]) / (CLEAR[1] - CLEAR[0]), 0.0, 1.0)
    cost = np.cumsum(_CROSSED * crossed, axis=1)
    plain = np.cumsum(_BACKDROP * backdrop, axis=1)
    ends = (np.array(feet) - table.first_mm) / CELL_MM
    off_foot = (right < ends[0]) | (left > ends[1])
    inner_left, inner_right = left + _MARGIN_CELLS, right - _MARGIN_CELLS - 1
    scores = np.empty((height, len(left)), np.float32)
    for row in range(height):
        scores[row] = (
            left_gain[row, left]
            + right_gain[row, right]
            - (cost[row, inner_right] - cost[row, inner_left])
            - (plain[row, right - 1] - plain[row, left])
        )
    scores[foot_rows] -= _BIG * off_foot
    if widths is not None:
        least, most = (widths.T[..., None] / CELL_MM).astype(np.float32)
        wide = (right - left).astype(np.float32)
        scores -= _OFF_WIDTH * np.maximum(np.maximum(least - wide, wide - most), 0.0)
    return _best_pair(scores, left, right, width)


def _best_pair(
    scores: NDArray[np.float32], left: NDArray[np.intp], right: NDArray[np.intp], width: int
) -> tuple[Array, Array]:
    """Viterbi's algorithm over pairs of columns, each of which moves by one cell at most from row to row."""
    height = len(scores)
    moves = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    price = np.array([[_BEND * (a * a + b * b)] for a, b in moves], np.float32)
    # every pair's place in a square table with a margin, and the places from which each move reaches it
    across = width + 2
    padded = np.full(across * across, -_BIG * _BIG, np.float32)
    here = (left + 1) * across + right + 1
    reachable = here + np.array([[a * across + b] for a, b in moves])
    choices = np.empty((height, len(left)), np.int8)
    total = scores[0]
    for row in range(1, height):
        padded[here] = total
        reached = padded.take(reachable) - price
        choices[row] = np.argmax(reached, axis=0)
        total = reached.max(axis=0) + scores[row]
    index = np.full((width, width), -1)
    index[left, right] = np.arange(len(left))
    at = int(np.argmax(total))
    path = np.empty((height, 2))
    for row in range(height - 1, -1, -1):
        path[row] = left[at], right[at]
        if row:
            a, b = moves[choices[row, at]]
            at = int(index[left[at] + a, right[at] + b])
    return path[:, 0], path[:, 1]
