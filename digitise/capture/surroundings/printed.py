"""Where the sheets' own print makes steps of light: the borders of pages and of their markers."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.rigid import Array, Pose

# half a cell of the steps' table; pages taped by hand and solved from their markers lie within 1-2 mm
_HALF_MM = 3.0


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


def _paper(board: Board) -> Array:
    """Return the sheet's own corners, (4, 2) mm."""
    return np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]]) * board.size
