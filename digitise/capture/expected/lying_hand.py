"""Where a hand lies on the mat, coarsely: what has not the paper's hue, held against hands seen from above.

The photograph is read in the plane of the mat, where paper and ink have one hue and skin has another; then a
usual hand's shape is laid over it at every place, in every direction and in several sizes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.expected.outline import INK_LIGHT
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.photograph import Photograph
from digitise.capture.photo.resample import read_between
from digitise.capture.sheets.field import Board
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array, Pose

_STEP_MM = 3.0
_HEIGHT_MM = 12.0  # of a hand's outline over the mat, where it is widest
_PAPER = 0.25  # of the sheet's cells: the brightest, of paper surely
# Log units off the paper's hue from which on it is skin: half way between the two, within these.  Pale skin
# was off by 0.2, in too much light by 0.1, ink in shade by 0.05.
_LEAST_HUE, _MOST_HUE = 0.07, 0.13
_WARMER = np.array([1.0, -1.0], np.float32) / np.sqrt(np.float32(2.0))  # of red over green, blue over green
_HUE_BYTE = 1000.0  # to find what is half way
_BESIDE_MM = 25.0
_DEGREES = np.arange(0.0, 360.0, 10.0)
_SIZES = (0.82, 0.91, 1.0, 1.1)
_LEAST_ALIKE = 0.3  # 0 is chance


@dataclass(frozen=True)
class Lies:
    """Where a hand lies: its middle on the mat, the turn of its fingers from +y to -x, and its size.

    Attributes
    ----------
    x, y
        World frame, mm.
    turn
        Radians.
    size
        Of the usual hand.
    alike
        How well it agrees with what is seen, from -1 to 1.
    """

    x: float
    y: float
    turn: float
    size: float
    alike: float


def find_lying_hand(
    photo: Photograph, camera: Camera, boards: Sequence[tuple[Board, Pose]], usual: Mesh, limb_below_y: float
) -> Lies:
    """Find a hand on the mat in a photograph from above.

    Parameters
    ----------
    photo, camera
        The photograph and its solved camera.
    boards
        The sheets of the mat, with their poses world_from_board.
    usual
        A usual hand with some forearm, palm down, fingers along +y, its middle at the origin.
    limb_below_y
        The forearm is what lies below this y.

    Raises
    ------
    OutlineError
        No hand lies on the mat.
    """
    x, y = _grid(boards)
    sheet = _on_sheets(boards, x, y)
    skin = _skin(photo, camera, x, y, sheet)
    told = np.where(sheet, np.where(skin, 1.0, -1.0), 0.0)
    every = [(size, turn) for size in _SIZES for turn in np.radians(_DEGREES)]
    lies = max(
        (_best_place(told, usual, limb_below_y, *each) for each in every), key=lambda found: found.alike
    )
    if lies.alike < _LEAST_ALIKE:
        raise OutlineError(
            "no hand was found on the mat in it.",
            where=photo.name,
            do="Lay the bare hand on the middle of the mat, palm down, and take the photograph from above.",
        )
    return replace(lies, x=float(x[0, 0] + lies.x), y=float(y[0, 0] + lies.y))


def _grid(boards: Sequence[tuple[Board, Pose]]) -> tuple[Array, Array]:
    corners = np.concatenate([_corners(board, pose) for board, pose in boards])
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y = np.meshgrid(np.arange(low[0], high[0], _STEP_MM), np.arange(low[1], high[1], _STEP_MM))
    return x, y


def _corners(board: Board, pose: Pose) -> Array:
    width, height = board.size
    ends = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) / 2.0
    return pose.apply(ends * [width, height, 1.0])


def _on_sheets(boards: Sequence[tuple[Board, Pose]], x: Array, y: Array) -> NDArray[np.bool_]:
    """Return which cells (H, W) lie on a sheet."""
    cells = np.zeros(x.shape, np.uint8)
    for board, pose in boards:
        ring = (_corners(board, pose)[:, :2] - [x[0, 0], y[0, 0]]) / _STEP_MM
        cv2.fillConvexPoly(cells, np.round(ring).astype(np.int32), 1)
    return np.asarray(cells > 0)


def _skin(
    photo: Photograph, camera: Camera, x: Array, y: Array, sheet: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return which cells (H, W) are of a warmer hue than paper."""
    at = camera.project(np.stack([x, y, np.full_like(x, _HEIGHT_MM)], axis=-1))
    pitch = max(1, int(np.nanmedian(np.linalg.norm(np.diff(at, axis=1), axis=-1))))
    small = cv2.resize(photo.pixels, None, fx=1 / pitch, fy=1 / pitch, interpolation=cv2.INTER_AREA)
    cells = np.asarray(read_between(small, (at + 0.5) / pitch - 0.5), np.uint8)
    colours = brightness_and_hue(cells, INK_LIGHT)
    bright = sheet & (colours[..., 0] >= np.quantile(colours[..., 0][sheet], 1.0 - _PAPER))
    paper = np.median(colours[bright], axis=0)[1:]
    # skin of any tone is redder and less blue than paper in the same light; a sleeve need not be
    off = (cv2.blur(colours[..., 1:], (3, 3)) - paper) @ _WARMER
    return np.asarray(off > np.clip(_half_way(off[sheet]), _LEAST_HUE, _MOST_HUE))


def _half_way(off: Array) -> float:
    """Return what parts values (n,) into two groups that each vary least (Otsu 1979)."""
    bytes_ = np.clip(off * _HUE_BYTE, 0, 255).astype(np.uint8)
    parted, _ = cv2.threshold(bytes_, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return float(parted) / _HUE_BYTE


def _best_place(told: Array, usual: Mesh, limb_below_y: float, size: float, turn: float) -> Lies:
    """Return where a hand of one size and direction agrees best, from the grid's corner."""
    template = _template(usual, limb_below_y, size, turn)
    agree = cv2.filter2D(told, cv2.CV_64F, template, borderType=cv2.BORDER_CONSTANT) / np.abs(template).sum()
    row, column = np.unravel_index(int(np.argmax(agree)), agree.shape)
    return Lies(float(column * _STEP_MM), float(row * _STEP_MM), float(turn), size, float(agree[row, column]))


def _template(usual: Mesh, limb_below_y: float, size: float, turn: float) -> Array:
    """Return the hand seen from above: 1 on it, -1 beside it, 0 elsewhere and on the forearm; odd (H, W)."""
    cos, sin = np.cos(turn), np.sin(turn)
    rotate = np.array([[cos, -sin], [sin, cos]]) * size / _STEP_MM
    flat = usual.vertices[:, :2]
    half = int(np.linalg.norm(flat, axis=1).max() * size / _STEP_MM + _BESIDE_MM / _STEP_MM) + 1
    cells = np.zeros((2, 2 * half + 1, 2 * half + 1), np.uint8)
    hand = np.all(flat[usual.faces][:, :, 1] > limb_below_y, axis=1)
    at = np.round(flat @ rotate.T + half).astype(np.int32)
    for layer, faces in zip(cells, (usual.faces[hand], usual.faces[~hand]), strict=True):
        for triangle in _distinct(at[faces]):
            cv2.fillConvexPoly(layer, triangle, 1)
    width = 2 * round(_BESIDE_MM / _STEP_MM) + 1
    near = cv2.dilate(cells[0], cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width)))
    arm = cv2.dilate(cells[1], np.ones((9, 9), np.uint8))
    return np.where(cells[0] > 0, 1.0, np.where((near > 0) & (arm == 0), -1.0, 0.0))


def _distinct(triangles: NDArray[np.int32]) -> NDArray[np.int32]:
    """Return triangles (n, 3, 2) without those of the same three cells as another: half of so fine a mesh."""
    across = np.int64(triangles.max() + 1)
    corners = np.sort(triangles @ np.array([1, across]), axis=1)
    _, first = np.unique(corners @ across ** np.array([4, 2, 0]), return_index=True)
    return triangles[first]
