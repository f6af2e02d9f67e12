"""Where two feet stand on the mat: the ground that they hide in every photograph."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.foothold import COLOURED, hue_off_paper, mat_points
from digitise.capture.surroundings.ink import print_told
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

_CELL_MM = 5.0
_LEAST_CELLS = 160  # 40 cm2: less than half of a small foot, and more than a shadow or a toy
_LEAST_LENGTH_MM = 120.0  # half of a small foot's: print tells of what lies up to 20 mm beyond
_SPECK_CELLS = 5  # toenails and marks on the skin
_LEAST_VIEWS = 2
_TOGETHER_MM = 6.0  # across, over which light is averaged: of dark print by itself the hue is noise
_PAPER_PX = 3.0  # but beside a pale foot an average is no paper's hue
_RIM_MM = 3.0  # of each page: a foot may stand across the line where two of them meet
# An ankle's middle stands some 65 mm before the back of the heel, as on the mat's plan; adults' feet are 220
# to 290 mm long (from memory).
_HEEL_MM, _TOES_MM, _ABOUT_MM = 65.0, 190.0, 30.0
_AT_RIM_MM = 20.0  # of the mat's points, which leave out its rim
_ONE_FOOT_MM = 170.0  # across: more is two feet that touch
_DO = "Let both feet stand on the mat, a hand's breadth apart; photograph from the front and from both sides."


@dataclass(frozen=True)
class Stands:
    """Where both limbs of a person stand on the mat.

    Attributes
    ----------
    left, right
        (x, y) of each ankle's middle, world, mm; the toes point to +y.
    """

    left: tuple[float, float]
    right: tuple[float, float]


def find_stands(views: Sequence[tuple[NDArray[np.uint8], Camera, Sequence[tuple[Board, Pose]]]]) -> Stands:
    """Find the two feet on the mat.

    A point of the ground under a foot is hidden in every photograph, whereas what a leg hides in one is seen
    as paper from another side: what no photograph shows as paper, and at least two as something else, is
    foot (the visual hull on the ground).

    Parameters
    ----------
    views
        For each photograph its pixels (H, W, 3), camera, and the sheets with their poses world_from_board.

    Raises
    ------
    OutlineError
        Not two feet are found.
    """
    try:
        return _feet(*_ground(views, by_print=False))
    except OutlineError as error:
        # the palest feet have the hue of paper in their shade; print that they hide tells them, more coarsely
        try:
            return _feet(*_ground(views, by_print=True), least_mm=_LEAST_LENGTH_MM)
        except OutlineError:
            raise error from None


def _feet(ground: Mask, corner: Array, least_mm: float = 0.0) -> Stands:
    """Find the two feet among cells (H, W) of the ground, the first of which lies at ``corner``.

    What is shorter than ``least_mm`` is none.
    """
    rim = corner[1], corner[1] + _CELL_MM * (ground.shape[0] - 1)
    pieces = [corner + _CELL_MM * piece for piece in _components(ground) if len(piece) >= _LEAST_CELLS]
    feet = [piece for piece in pieces if len(_about_ankle(piece, rim)[0]) and np.ptp(piece[:, 1]) >= least_mm]
    if len(feet) != 2:
        found = {0: "No foot was", 1: "One foot was"}.get(len(feet), f"{len(feet)} things were")
        raise OutlineError(f"{found} found on the mat where two should stand.", do=_DO)
    return Stands(*sorted(_ankle(foot, rim) for foot in feet))


def _ground(
    views: Sequence[tuple[NDArray[np.uint8], Camera, Sequence[tuple[Board, Pose]]]], *, by_print: bool
) -> tuple[Mask, Array]:
    """Return the cells (H, W) of the mats that no photograph shows as paper, and the first one's (x, y)."""
    hits = [_covered(pixels, camera, boards, by_print=by_print) for pixels, camera, boards in views]
    every = np.concatenate([cells for cells, _ in hits])
    if not len(every):
        raise OutlineError("No mat is seen.", do=_DO)
    first, last = every.min(axis=0), every.max(axis=0)
    shape = tuple(last - first + 1)[::-1]
    paper, other = np.zeros(shape, int), np.zeros(shape, int)
    for cells, covered in hits:
        layer = np.full(shape, -1, np.int8)
        column, row = (cells - first).T
        layer[row, column] = covered
        other += _filled(layer == 1)
        paper += _filled(layer == 0) & ~_filled(layer == 1)
    return (paper == 0) & (other >= _LEAST_VIEWS), _CELL_MM * first


def _filled(seen: Mask) -> Mask:
    """Close holes of a few cells, such as print, and take specks off."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_SPECK_CELLS, _SPECK_CELLS))
    closed = cv2.morphologyEx(seen.astype(np.uint8), cv2.MORPH_CLOSE, kernel)
    return np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, kernel) > 0)


def _covered(
    pixels: NDArray[np.uint8], camera: Camera, boards: Iterable[tuple[Board, Pose]], *, by_print: bool
) -> tuple[NDArray[np.int64], Mask]:
    """Return the cells (n, 2) of the mats of which a photograph tells, and whether something hides them."""
    boards = tuple(boards)
    points = mat_points(boards, _RIM_MM)
    if not len(points):
        return np.zeros((0, 2), np.int64), np.zeros(0, bool)
    away = float(np.linalg.norm(camera.centre - points.mean(axis=0)))
    across = _TOGETHER_MM * camera.lens.focal_px / away
    hue = hue_off_paper(pixels, camera, points, across, _PAPER_PX)
    told, covered = np.isfinite(hue), hue > COLOURED
    if by_print:
        printed, hidden = print_told(pixels, camera, boards, points)
        told, covered = told | printed | hidden, covered & ~printed | hidden
    return np.round(points[told, :2] / _CELL_MM).astype(np.int64), covered[told]


def _components(cells: Mask) -> list[NDArray[np.int64]]:
    """Return the connected pieces of a mask, each as (n, 2) columns and rows."""
    count, labels = cv2.connectedComponents(cells.astype(np.uint8), connectivity=4)
    return [np.argwhere(labels == n)[:, ::-1] for n in range(1, count)]


def _ankle(foot: Array, rim: tuple[float, float]) -> tuple[float, float]:
    """Return the ankle over a foot's points (n, 2), mm; from its toes where its heel is beyond the mat."""
    if np.ptp(foot[:, 0]) > _ONE_FOOT_MM:
        raise OutlineError("The two feet touch, so they cannot be told apart.", do=_DO)
    here, ankle = _about_ankle(foot, rim)
    return float(np.median(here)), ankle  # a spur of print beside the foot does not move it


def _about_ankle(foot: Array, rim: tuple[float, float]) -> tuple[Array, float]:
    """Return where across a foot's points about its ankle lie (m,), none if it is no foot, and the ankle."""
    heel, toes = float(foot[:, 1].min()), float(foot[:, 1].max())
    cut = heel - rim[0] < _AT_RIM_MM and rim[1] - toes > _AT_RIM_MM
    ankle = toes - _TOES_MM if cut else heel + _HEEL_MM
    return foot[np.abs(foot[:, 1] - ankle) < _ABOUT_MM, 0], ankle
