"""Whether what is seen over the mat stands where the limb does, or before it: then it hides the limb.

A body before the limb hides the mat's near part, where the limb's own foot does not reach.  The mat is paper
and print, grey whatever its brightness; skin, wood and most cloth are not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.ink import print_told
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

_PITCH_MM = 5.0
_TOES_MM, _HEEL_MM, _HALF_MM = 200.0, 150.0, 70.0  # how far a foot reaches from where the limb stands
_MARGIN_MM = 15.0
COLOURED = 0.2  # log units of hue off the paper's: skin, wood and most cloth are more
_BRIGHTEST = 0.85  # of what is seen: white paper between print has that much
_SAME_HUE = 0.05  # paper's own differs by less, where no phone has bent its colours
_CANDIDATES = 400  # of so many points the hues are looked at
_SHIFTS = 3  # from the least red of a hue's own spread to its middle
_COMMON = 0.1  # of the commonest hue: two feet on home-printed pages leave their paper that much
_DARKEST = -4.0  # log brightness: below, hue is noise
_MOST_HIDDEN = 0.5
_LEAST_CELLS = 40  # 10 cm2
_TOGETHER_MM = 15.0  # across, over which light is averaged: of dark print by itself the hue is noise


@dataclass(frozen=True)
class NearMat:
    """What is seen of the mat's part that lies nearer than the limb's foot.

    Attributes
    ----------
    offsets
        (n,) where the rays to its points pass the limb's axis, mm.
    covered
        (n,) True where something other than paper is seen.
    """

    offsets: Array
    covered: Mask

    def is_covered(self, first_mm: float, last_mm: float) -> bool:
        """Tell whether a body between two offsets stands there; False where it cannot be told."""
        here = (self.offsets > first_mm) & (self.offsets < last_mm)
        return bool(np.count_nonzero(here) >= _LEAST_CELLS and self.covered[here].mean() > _MOST_HIDDEN)


def look_at_mat(pixels: NDArray[np.uint8], strip: Strip, boards: Iterable[tuple[Board, Pose]]) -> NearMat:
    """Look at the part of the mats before the limb's foot.

    Parameters
    ----------
    pixels, strip
        The photograph and its strip.
    boards
        All boards, with their poses world_from_board; the mats among them count.
    """
    boards = tuple(boards)
    points = mat_points(boards)
    if not len(points):
        return NearMat(np.zeros(0), np.zeros(0, bool))
    hue = hue_off_paper(pixels, strip.camera, points, _TOGETHER_MM / strip.pixel_mm())
    offsets = strip.plane_from_world(points)[:, 0]
    told = _before_foot(points, strip) & np.isfinite(hue) & np.isfinite(offsets)
    printed, _ = print_told(pixels, strip.camera, boards, points[told])
    return NearMat(offsets[told], (hue[told] > COLOURED) & ~printed)


def mat_points(boards: Iterable[tuple[Board, Pose]], rim_mm: float = _MARGIN_MM) -> Array:
    """Return points (n, 3) of the mats among the boards, 5 mm apart, world mm, none in their rim."""
    mats = [_cells(board, pose, rim_mm) for board, pose in boards if board.role == "mat"]
    return np.concatenate(mats) if mats else np.zeros((0, 3))


def _cells(board: Board, world_from_board: Pose, rim_mm: float) -> Array:
    x, y = (np.arange(-half + rim_mm, half - rim_mm, _PITCH_MM) for half in board.size / 2.0)
    grid = np.stack([*np.meshgrid(x, y), np.zeros((len(y), len(x)))], axis=-1)
    return world_from_board.apply(grid.reshape(-1, 3))


def _before_foot(points: Array, strip: Strip) -> Mask:
    """Tell which points of the mat lie nearer to the camera than the limb's foot reaches."""
    stand = strip.world_from_plane.translation[:2]
    towards = strip.camera.centre[:2] - stand
    towards = towards / np.linalg.norm(towards)
    reach = _HALF_MM * abs(towards[0]) + towards[1] * (_TOES_MM if towards[1] > 0 else -_HEEL_MM)
    return np.asarray((points[:, :2] - stand) @ towards > reach)


def hue_off_paper(
    pixels: NDArray[np.uint8], camera: Camera, points: Array, across_px: float, paper_px: float | None = None
) -> Array:
    """Return how far the hue at points (n, 3) of mats is from their paper's, log units: (n,).

    NaN where it cannot be told: outside the picture, or as dark as print.  Light is averaged over three rows
    of the picture and over a width of ``across_px``; paper's own hue may be told from another.
    """
    at = camera.project(points)
    size = np.array(camera.size)
    with np.errstate(invalid="ignore"):
        seen = np.all((at > 2) & (at < size - 3), axis=1)
    values = np.full((len(points), 3), np.nan)
    if not seen.any():
        return values[:, 0]
    low = np.floor(at[seen].min(axis=0)).astype(int) - 2
    high = np.ceil(at[seen].max(axis=0)).astype(int) + 3
    crop = pixels[low[1] : high[1], low[0] : high[0]]
    column, row = np.round(at[seen] - low).astype(int).T

    def averaged(width: float) -> Array:
        size = 2 * max(1, round((width - 1.0) / 2.0)) + 1
        return np.asarray(brightness_and_hue(cv2.blur(crop, (size, 3))[row, column]), float)

    values[seen] = averaged(across_px)
    paper = _paper_hue(values if paper_px is None else averaged(paper_px))
    off = np.linalg.norm(values[:, 1:] - paper, axis=1)
    return np.where(values[:, 0] > _DARKEST, off, np.nan)


def _paper_hue(values: Array) -> Array:
    """Return the hue (2,) of paper: that of the brightest points, unless a less red one is commoner.

    A pale foot may be brighter than paper in the shade of its leg, but any skin is redder than white paper in
    the same light, and the brighter half of what is seen of a mat is mostly paper.
    """
    told = values[values[:, 0] > _DARKEST]
    if not len(told):
        return np.zeros(2)
    brightest = np.median(told[told[:, 0] >= np.quantile(told[:, 0], _BRIGHTEST), 1:], axis=0)
    hue = told[told[:, 0] >= np.median(told[:, 0]), 1:]
    found = brightest, _least_red(hue)
    share = [np.mean(np.linalg.norm(hue - each, axis=1) < COLOURED / 2) for each in found]
    return np.asarray(found[int(np.argmax(share))])


def _least_red(hue: Array) -> Array:
    """Return the least red (2,) of the common ones among hues (n, 2)."""
    some = hue[:: len(hue) // _CANDIDATES + 1]
    count = cKDTree(hue).query_ball_point(some, _SAME_HUE, return_length=True)
    red = np.where(count >= _COMMON * count.max(), some[:, 0] - some[:, 1], np.inf)
    found = some[np.argmin(red)]
    for _ in range(_SHIFTS):
        found = np.median(hue[np.linalg.norm(hue - found, axis=1) < _SAME_HUE], axis=0)
    return np.asarray(found)
