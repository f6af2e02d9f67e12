"""The limb told from other bodies that touch it in the picture: the other leg, a hand, a stick, a chair.

Both edges are sought together from the foot to the trunk: between them lies no backdrop and no long step of
light, on each of them does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from digitise.capture.light_steps.inner_edges import CELL_MM, StepTable, step_table
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Values
from digitise.geometry.rigid import Array

_LEAST_CELLS = 7  # 28 mm: a thin wrist seen from the side
_MOST_CELLS = 75  # 300 mm
_CLEAR = (0.01, 0.06)  # strengths from which an edge counts, and counts in full
_CROSSED = 1.5  # price of a long edge within the limb, by an edge's gain
_MARGIN_CELLS = 2  # an edge's own line is not within the limb
_BACKDROP = 0.5  # price of a cell of backdrop within the limb
_BY_PRINT = 0.8  # of an edge's gain: a step where print is known tells of the print, seldom of the limb
_UNLIKE = 20.0  # squared distance from the colours of what is behind
_PRINT_CELLS = 2  # beside an edge before print: 8 mm, of skin within and of print beyond
_BEND = 0.2  # price of a cell sideways between rows
_BIG = 1e6


_BESIDE_MM = 40.0  # beyond the first guess: a limb before a page's print goes on there
_LIKE_BACKDROP = 12.0  # squared distance of colour
_ANKLE_MM = (80.0, 160.0)  # heights at which the limb is known to stand over the mat's middle
_HEEL_MM = -80.0  # a foot in the mat's middle has its ankle that far back
_FOOT_MM = 15.0  # how far off the mat's middle people stand
_STEEP = 3  # cells in a row of 45 degrees: a jump
_UNSUPPORTED = 0.3  # of a clear edge, on average: nothing leads there
_SINGLE_MM, _BACK_MM = 100.0, 200.0  # beyond a jump, and up to the one back, the edge is another body's
_ROUND_MM = 20.0
_END_MM = 100.0
_SMOOTH_CELLS = 1.5  # takes the staircase of whole cells off


@dataclass(frozen=True)
class Pair:
    """The limb's two edges as steps of light tell them.

    Attributes
    ----------
    offsets
        For the left and the right edge (n,) offsets from the axis, mm, one for each row asked for.
    strength
        For each (n,) height of the step there, by the light around it.
    strayed_mm
        For each (n,) by how far the edge jumped where it was lost and something else followed; else zero.
    """

    offsets: tuple[Array, Array]
    strength: tuple[Array, Array]
    strayed_mm: tuple[Array, Array]


def limb_pair(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    painted: NDArray[np.int8],
    rows: NDArray[np.intp],
    span: tuple[float, float],
) -> Pair:
    """Find the limb's edges on rows (n,) of the strip, from steps of light.

    Parameters
    ----------
    pixels, strip, panel
        The photograph, its strip and what is known of the backdrop.
    painted
        (H, W) 1 where a person painted limb, -1 background.
    rows
        Consecutive rows, from the trunk down to the foot.
    span
        Offsets between which the limb and all that touches it lie, mm.
    """
    first = max(span[0] - _BESIDE_MM, float(strip.offsets[0]))
    last = min(span[1] + _BESIDE_MM, float(strip.offsets[-1]))
    first += (strip.offsets[0] - first) % -STEP_MM  # on a column of the strip
    table = step_table(pixels, strip, slice(int(rows[0]), int(rows[-1]) + 1), first, last)
    height, width = table.strength.shape
    corner = round((first - float(strip.offsets[0])) / STEP_MM)
    like = panel.inside & (panel.distance2 < _LIKE_BACKDROP)
    plain = np.where(painted == 0, like, 8.0 * (painted < 0))
    backdrop = _per_cell(plain[rows[0] :, corner:], height, width)
    heights = strip.heights[rows][:: int(CELL_MM / STEP_MM)][:height]
    ankle = np.flatnonzero((heights > _ANKLE_MM[0]) & (heights < _ANKLE_MM[1]))
    at_ankle = slice(int(ankle[0]), int(ankle[-1]) + 1) if len(ankle) else slice(0, 0)
    printed = _per_cell(panel.printed[rows[0] :, corner:].astype(np.float32), height, width)
    told = [
        _per_cell(cells[rows[0] :, corner:].astype(np.float32), height, width)
        for cells in (panel.paper & (panel.distance2 < _UNLIKE), panel.inside & (panel.distance2 > _UNLIKE))
    ]
    by_hue = before_print(told[0], told[1], -1), before_print(told[0], told[1], 1)
    columns = find_pair(table, backdrop, printed, by_hue, standing(strip), at_ankle)
    fine = np.arange(len(rows)) * STEP_MM / CELL_MM - 0.25
    level = np.arange(height)
    offsets, strength, strayed = [], [], []
    for side, outward in zip(columns, (-1, 1), strict=True):
        beside = np.clip(side.astype(int)[:, None] + np.arange(-1, 2), 0, width - 1)
        seen = np.maximum(table.strength, _CLEAR[1] * by_hue[max(outward, 0)])
        step = seen[level[:, None], beside].max(axis=1)
        lost = _strayed(outward * side, seen[level, side.astype(int)])
        middle = first + CELL_MM * (gaussian_filter1d(side, _SMOOTH_CELLS, mode="nearest") + 0.5)
        offsets.append(np.interp(fine, level, middle))
        strength.append(np.interp(fine, level, step))
        strayed.append(CELL_MM * lost[np.clip(np.round(fine).astype(int), 0, height - 1)])
    return Pair((offsets[0], offsets[1]), (strength[0], strength[1]), (strayed[0], strayed[1]))


def _per_cell(cells: NDArray[np.floating], height: int, width: int) -> NDArray[np.float32]:
    """Average a table of the strip over the cells of a step table."""
    n = int(CELL_MM / STEP_MM)
    whole = np.zeros((height * n, width * n), np.float32)
    part = cells[: height * n, : width * n]
    whole[: part.shape[0], : part.shape[1]] = part
    return np.asarray(whole.reshape(height, n, width, n).mean(axis=(1, 3)))


def standing(strip: Strip) -> tuple[float, float]:
    """Return between which offsets the ankle or wrist stands, or lies, mm."""
    if strip.lies:  # its axis runs through it, wherever the mat is
        return -_FOOT_MM, _FOOT_MM
    level = float(np.mean(_ANKLE_MM))
    at = strip.plane_from_world(np.array([[0.0, 0.0, level], [0.0, _HEEL_MM, level]]))[:, 0]
    return float(at.min()) - _FOOT_MM, float(at.max()) + _FOOT_MM


def _strayed(outward: Array, step: Array) -> Array:
    """Tell how far an edge (n,) cells, outward positive, has jumped to what may be another body; else 0."""
    lost = np.zeros(len(outward))
    clear = np.clip((step - _CLEAR[0]) / (_CLEAR[1] - _CLEAR[0]), 0.0, 1.0)
    moves = np.diff(outward)
    jumps = []
    for run in np.split(np.arange(len(moves)), np.flatnonzero(np.diff(moves)) + 1):
        if moves[run[0]] and len(run) >= _STEEP and clear[run[0] : run[-1] + 2].mean() < _UNSUPPORTED:
            jumps.append((int(run[0]), int(run[-1]) + 1, int(moves[run[0]])))
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
        (h, w) share of each cell that shows something before a known backdrop.
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
    by_hue: tuple[Values, Values],
    feet: tuple[float, float],
    foot_rows: slice,
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
    by_hue
        For the left and the right edge (h, w) how clearly it runs there before print.
    feet
        Offsets between which the limb stands, mm; it reaches over some of this.
    foot_rows
        Rows in which that holds.

    Returns
    -------
    (h,) columns of the left and of the right edge, in cells, fractions none.
    """
    height, width = table.strength.shape
    left, right = np.triu_indices(width, _LEAST_CELLS)
    keep = right - left <= _MOST_CELLS
    left, right = left[keep], right[keep]
    gain = np.clip((table.strength - _CLEAR[0]) / (_CLEAR[1] - _CLEAR[0]), 0.0, 1.0)
    gain *= 1.0 - _BY_PRINT * printed
    left_gain, right_gain = (np.maximum(gain, side) for side in by_hue)
    crossed = np.clip((table.chains - _CLEAR[0]) / (_CLEAR[1] - _CLEAR[0]), 0.0, 1.0)
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
    return _best_pair(scores, left, right, width)


def _best_pair(
    scores: NDArray[np.float32], left: NDArray[np.intp], right: NDArray[np.intp], width: int
) -> tuple[Array, Array]:
    """Viterbi's algorithm over pairs of columns, each of which moves by one cell at most from row to row."""
    height = len(scores)
    moves = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    price = np.array([_BEND * (a * a + b * b) for a, b in moves], np.float32)
    padded = np.full((width + 2, width + 2), -_BIG * _BIG, np.float32)
    choices = np.empty((height, len(left)), np.int8)
    total = scores[0]
    for row in range(1, height):
        padded[left + 1, right + 1] = total
        reached = np.stack([padded[left + 1 + a, right + 1 + b] for a, b in moves]) - price[:, None]
        choices[row] = np.argmax(reached, axis=0)
        total = reached[choices[row], np.arange(len(left))] + scores[row]
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
