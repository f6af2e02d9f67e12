"""The limb told from other bodies that touch it in the picture: the other leg, a hand, a stick, a chair.

Both edges are sought together from the foot to the trunk: between them lies no backdrop and no long step of
light, on each of them does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from digitise.capture.light_steps.inner_edges import CELL_MM, StepTable, step_table
from digitise.capture.light_steps.pairs import (
    CLEAR,
    Jump,
    before_print,
    find_pair,
    inner_border,
    jumps_of,
    strayed_cells,
)
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.geometry.rigid import Array

_UNLIKE = 20.0  # squared distance from the colours of what is behind
_BESIDE_MM = 40.0  # beyond the first guess: a limb before a page's print goes on there
_LIKE_BACKDROP = 12.0  # squared distance of colour
_ANKLE_MM = (80.0, 160.0)  # heights at which the limb is known to stand over its place
_HEEL_MM = -80.0  # a foot in the mat's middle has its ankle that far back
_FOOT_MM = 15.0  # how far off people stand, or an axis is found
_TAKEN = 0.5  # of a jump: a boundary that moves by less goes its own way
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
    jumps
        For each where the edge was lost and something else followed.
    """

    offsets: tuple[Array, Array]
    strength: tuple[Array, Array]
    jumps: tuple[list[Jump], list[Jump]]


def limb_pair(
    pixels: NDArray[np.uint8],
    strip: Strip,
    panel: Panel,
    painted: NDArray[np.int8],
    rows: NDArray[np.intp],
    span: tuple[float, float],
    dressed: Mask,
    *,
    faint: bool = False,
    widths: Array | None = None,
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
    dressed
        (H, W) True where a dressing lies on the limb: its borders are no body's.
    faint
        Whether a long line counts in full however faint it is, as edges are before a backdrop of their tone.
    widths
        (n, 2) least and greatest width of the limb on each row, mm, where something is known of it.
    """
    first = max(span[0] - _BESIDE_MM, float(strip.offsets[0]))
    last = min(span[1] + _BESIDE_MM, float(strip.offsets[-1]))
    first += (strip.offsets[0] - first) % -STEP_MM  # on a column of the strip
    table = step_table(pixels, strip, slice(int(rows[0]), int(rows[-1]) + 1), first, last)
    height, width = table.strength.shape
    corner = round((first - float(strip.offsets[0])) / STEP_MM)
    table = _seen(table, _per_cell(panel.before[rows[0] :, corner:].astype(np.float32), height, width))
    # the lightest skin is near to paper: only plain backdrop is surely none of the limb
    like = panel.inside & ~panel.paper & (panel.distance2 < _LIKE_BACKDROP) & ~panel.before
    plain = np.where(painted == 0, like, 8.0 * (painted < 0))
    backdrop = _per_cell(plain[rows[0] :, corner:], height, width)
    heights = strip.heights[rows][:: int(CELL_MM / STEP_MM)][:height]
    ankle = np.flatnonzero((heights > _ANKLE_MM[0]) & (heights < _ANKLE_MM[1]))
    at_ankle = slice(int(ankle[0]), int(ankle[-1]) + 1) if len(ankle) else slice(0, 0)
    printed = _per_cell(panel.printed[rows[0] :, corner:].astype(np.float32), height, width)
    print_, unlike, patch = (
        _per_cell(cells[rows[0] :, corner:].astype(np.float32), height, width)
        for cells in (
            panel.paper & (panel.distance2 < _UNLIKE),
            (~panel.inside | (panel.distance2 > _UNLIKE)) & ~panel.before,
            dressed,
        )
    )
    by_hue = before_print(print_, unlike, -1), before_print(print_, unlike, 1)
    plainly = np.minimum(backdrop, 1.0)
    inner = inner_border(patch, plainly, -1), inner_border(patch, plainly, 1)
    lines = CLEAR[1] * (table.chains > 0.0) if faint else np.float32(0.0)
    sought = replace(table, strength=np.maximum(table.strength, lines))
    wide = None if widths is None else widths[:: int(CELL_MM / STEP_MM)][:height]
    columns = find_pair(
        _undressed(sought, patch), backdrop, printed, (by_hue, inner), standing(strip), at_ankle, wide
    )
    fine = np.arange(len(rows)) * STEP_MM / CELL_MM - 0.25
    level = np.arange(height)
    offsets, strength, jumps = [], [], []
    for side, hue, border, outward in zip(columns, by_hue, inner, (-1, 1), strict=True):
        beside = np.clip(side.astype(int)[:, None] + np.arange(-1, 2), 0, width - 1)
        seen = np.maximum(table.strength, CLEAR[1] * hue) * (1.0 - border)
        step = seen[level[:, None], beside].max(axis=1)
        jumps.append(jumps_of(outward * side, seen[level, side.astype(int)]))
        middle = first + CELL_MM * (gaussian_filter1d(side, _SMOOTH_CELLS, mode="nearest") + 0.5)
        offsets.append(np.interp(fine, level, middle))
        strength.append(np.interp(fine, level, step))
    return Pair((offsets[0], offsets[1]), (strength[0], strength[1]), (jumps[0], jumps[1]))


def _seen(table: StepTable, before: Values) -> StepTable:
    """Return the table without the edges of what stands before the limb."""
    near = cv2.dilate((before > 0.0).astype(np.uint8), np.ones((1, 3), np.uint8)) > 0
    none = np.float32(0.0)
    return replace(
        table, strength=np.where(near, none, table.strength), chains=np.where(near, none, table.chains)
    )


def _undressed(table: StepTable, patch: Values) -> StepTable:
    """Return the table without the long edges that a dressing's borders are."""
    near = cv2.dilate((patch > 0.0).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return replace(table, chains=np.where(near, np.float32(0.0), table.chains))


def _per_cell(cells: NDArray[np.floating], height: int, width: int) -> NDArray[np.float32]:
    """Average a table of the strip over the cells of a step table."""
    n = int(CELL_MM / STEP_MM)
    whole = np.zeros((height * n, width * n), np.float32)
    part = cells[: height * n, : width * n]
    whole[: part.shape[0], : part.shape[1]] = part
    return np.asarray(whole.reshape(height, n, width, n).mean(axis=(1, 3)))


def standing(strip: Strip) -> tuple[float, float]:
    """Return between which offsets the ankle or wrist stands, or lies, mm.

    An axis through the mat's middle is that of a foot set there, whose ankle is further back; any other axis
    runs through the limb.
    """
    if np.any(strip.world_from_plane.translation[:2]):
        return -_FOOT_MM, _FOOT_MM
    level = float(np.mean(_ANKLE_MM))
    at = strip.plane_from_world(np.array([[0.0, 0.0, level], [0.0, _HEEL_MM, level]]))[:, 0]
    return float(at.min()) - _FOOT_MM, float(at.max()) + _FOOT_MM


def strayed_mm(pair: Pair, index: int, own: Array) -> Array:
    """Tell how far a boundary has jumped to what may be another body: (n,) mm; else zero.

    Parameters
    ----------
    pair
        The edges as steps of light tell them.
    index
        0 for the left boundary, 1 for the right.
    own
        (n,) the boundary's offsets, mm: jumps that it does not take part in, as round a dressing, are none.
    """
    outward, n = (-1, 1)[index], len(own)
    cells = np.clip(np.round((np.arange((n + 1) // 2) + 0.25) * CELL_MM / STEP_MM).astype(int), 0, n - 1)
    at = outward * own[cells]

    def taken(jump: Jump) -> bool:
        moved = at[min(jump.last, len(at) - 1)] - at[min(jump.first, len(at) - 1)]
        return bool(jump.way * moved > _TAKEN * CELL_MM * (jump.last - jump.first))

    lost = strayed_cells([jump for jump in pair.jumps[index] if taken(jump)], len(at))
    fine = np.round(np.arange(n) * STEP_MM / CELL_MM - 0.25).astype(int)
    return np.asarray(CELL_MM * lost[np.clip(fine, 0, len(lost) - 1)])
