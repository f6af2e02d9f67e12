"""Where the sheets' own print makes steps of light: the borders of pages and of their markers."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.page_colour import is_page
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array, Pose

# half a cell of the steps' table; pages taped by hand and solved from their markers lie within 1-2 mm
_HALF_MM = 3.0
_DRAWN_ROWS = 4  # so far on is an edge drawn to the side by its neighbours
_SIDE_MM = 2.0  # as far as such a page lies from where its markers say


def printed_lines(strip: Strip, boards: Iterable[tuple[Board, Pose]]) -> Mask:
    """Return the strip's cells (H, W) on or beside a known line of print, whether or not the limb hides it.

    Parameters
    ----------
    strip
        The photograph's strip.
    boards
        The sheets in its room, each with its pose world_from_board.
    """
    drawn = np.zeros((len(strip.heights), len(strip.offsets)), np.uint8)
    width = 1 + 2 * round(_HALF_MM / STEP_MM)
    for board, pose in boards:
        rings = np.stack([_paper(board), *board.corners])
        flat = np.concatenate([rings, np.zeros_like(rings[..., :1])], axis=-1)
        cv2.polylines(drawn, strip.outlines(pose.apply(flat)), True, 1, width)
    return np.asarray(drawn > 0)


def upright_sides(strip: Strip, boards: Iterable[tuple[Board, Pose]]) -> Array:
    """Return where upright sides of print behind the limb run: offsets (k, H), mm, NaN where they do not.

    They are those of pages, and of the markers on any backdrop.

    Parameters
    ----------
    strip
        The photograph's strip.
    boards
        The sheets in its room, each with its pose world_from_board.
    """
    found = []
    for board, pose in boards:
        if board.role != "backdrop":
            continue
        for ring in [*board.corners, *([_paper(board)] if is_page(board) else [])]:
            corners = strip.plane_from_world(pose.apply(np.concatenate([ring, np.zeros((4, 1))], axis=1)))
            if np.isfinite(corners).all():  # it does not reach behind the camera
                found += _upright_sides(strip, corners)
    return np.array(found).reshape(-1, len(strip.heights))


def _upright_sides(strip: Strip, corners: Array) -> list[Array]:
    """Return the upright sides of a quadrangle (4, 2) in the strip's plane: offsets (H,) each."""
    found = []
    for ends in zip(corners, np.roll(corners, 1, axis=0), strict=True):
        low, high = sorted(ends, key=lambda corner: float(corner[1]))
        if abs(high[0] - low[0]) < high[1] - low[1]:
            levels, across = [low[1], high[1]], [low[0], high[0]]
            found.append(np.interp(strip.heights, levels, across, left=np.nan, right=np.nan))
    return found


def on_side(strip: Strip, sides: Array, points: Array) -> NDArray[np.bool_]:
    """Tell which points (n, 2) px of an edge lie on a side of print (k, H), which is a clear step as well."""
    if not len(sides):
        return np.zeros(len(points), bool)
    offsets, heights = strip.plane_from_photo(points).T
    rows = np.clip(np.round((strip.heights[0] - heights) / STEP_MM).astype(int), 0, sides.shape[1] - 1)
    found = (np.abs(sides[:, rows] - offsets) < _SIDE_MM).any(axis=0)
    return np.asarray(maximum_filter1d(found, 2 * _DRAWN_ROWS + 1, mode="nearest"))


def _paper(board: Board) -> Array:
    """Return the sheet's own corners, (4, 2) mm."""
    return np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]]) * board.size
