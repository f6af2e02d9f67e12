"""Where a mat's own print is seen: nothing stands there, whatever the colour of its light."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.sheets.field import Board
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

# A marker's border is ink, one module wide, with paper round it.  It has eight modules a side at most.
_HALF_MODULE = 1.0 / 16.0
_ALONG = np.linspace(0.1, 0.9, 5)
_LEAST_PX = 3.0  # between ink and paper: closer, blur mixes them
# Log units.  Of 5,200 such places in twenty pictures of made visits those that a body hid showed -0.4 to 0.4
# between ink and paper, those that were seen 1.4 to 5; one in a hundred lay between.
_CONTRAST = 0.9
_WITHIN_MM = 40.0  # a marker's middle is so far from its border: what hides all of that hides it
_ABOUT_MM = 20.0  # as far as from one marker to the next on a printed roll: in plain middles the hue tells


def print_told(
    pixels: NDArray[np.uint8], camera: Camera, boards: Iterable[tuple[Board, Pose]], points: Array
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell which points of mats lie beside a marker's border whose ink and paper are seen, or are hidden.

    Parameters
    ----------
    pixels, camera
        The photograph and its camera.
    boards
        All boards, with their poses world_from_board; the mats among them count.
    points
        (n, 3) points of the mats, world, mm.

    Returns
    -------
    For each point (n,) whether print is seen beside it, and whether something hides it; neither where no
    place that can be told is near.
    """
    nowhere = np.zeros(len(points), bool)
    mats = [_border(board, pose) for board, pose in boards if board.role == "mat" and len(board.ids)]
    if not mats or not len(points):
        return nowhere, nowhere
    ink, paper = np.concatenate(mats, axis=1)
    at = camera.project(ink), camera.project(paper)
    size = np.array(camera.size)
    with np.errstate(invalid="ignore"):
        told = np.linalg.norm(at[0] - at[1], axis=1) >= _LEAST_PX
        for each in at:
            told &= np.all((each >= 0) & (each <= size - 1), axis=1)
    if not told.any():
        return nowhere, nowhere
    dark, light = (_brightness(pixels, each[told]) for each in at)
    distance, nearest = cKDTree((ink[told] + paper[told]) / 2.0).query(points)
    near, seen = distance < _ABOUT_MM, (light - dark > _CONTRAST)[nearest]
    return near & seen, (distance < _WITHIN_MM) & ~seen


def _border(board: Board, world_from_board: Pose) -> Array:
    """Return points on the ink of a board's markers' borders, and on the paper beside each: (2, n, 3)."""
    first, second = board.corners, np.roll(board.corners, -1, axis=1)
    middle = board.corners.mean(axis=1, keepdims=True)[:, :, None]
    on = first[:, :, None] + _ALONG[:, None] * (second - first)[:, :, None]  # (markers, 4, along, 2)
    out = (first + second)[:, :, None] / 2.0 - middle
    both = np.stack([on - 2.0 * _HALF_MODULE * out, on + 2.0 * _HALF_MODULE * out]).reshape(2, -1, 2)
    return np.stack([world_from_board.apply(np.column_stack([each, np.zeros(len(each))])) for each in both])


def _brightness(pixels: NDArray[np.uint8], at: Array) -> Array:
    column, row = np.round(at).astype(int).T
    return np.asarray(brightness_and_hue(pixels[row, column])[:, 0], float)
