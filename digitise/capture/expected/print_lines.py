"""Where a body's outline runs along the sheets' own print, with paper within it: it is the print's edge.

White skin in much light is hardly told from white paper, nor dark skin from ink, and then the next thing that
differs is taken for its edge: a marker, a cell of one, or the page's own border behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.capture.sheets.field import Board
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

# Pages are taped by hand and solved from their markers to about this, and so right is an outline.
_NEAR_MM = 2.0
_ALONG = float(np.cos(np.radians(20.0)))
_BESIDE = 3  # points of the outline: on its way from the body's edge to the print's it is neither's


@dataclass(frozen=True)
class Print:
    """Corners of pages (P, 4, 3) and of the markers on them (M, 4, 3), in order round; world frame, mm."""

    pages: Array
    markers: Array


def print_of(boards: Sequence[tuple[Board, Pose]]) -> Print:
    """Return the print of sheets with their poses world_from_board."""
    around = np.array([[-0.5, 0.5], [0.5, 0.5], [0.5, -0.5], [-0.5, -0.5]])
    pages = [_placed((around * board.size)[None], pose) for board, pose in boards]
    markers = [_placed(board.corners, pose) for board, pose in boards]
    none = np.zeros((0, 4, 3))
    return Print(np.concatenate([none, *pages]), np.concatenate([none, *markers]))


def _placed(rings: Array, pose: Pose) -> Array:
    return pose.apply(np.concatenate([rings, np.zeros((*rings.shape[:2], 1))], axis=2))


def along_print(points: Array, normals: Array, camera: Camera, known: Print, mm: float) -> NDArray[np.bool_]:
    """Return at which points (N,) an outline runs along a border of a page, marker or marker's cell.

    Parameters
    ----------
    points, normals
        (N, 2) of the outline, in the photograph's pixels.
    camera, known
        The photograph's camera and the print in it.
    mm
        Of the body per pixel.
    """
    near = _NEAR_MM / mm
    border, _ = _beside(points, normals, camera.project(known.pages), near)
    marker, cell = _beside(points, normals, camera.project(known.markers), near)
    return np.asarray(border | marker | cell)


def with_beside(which: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return some points (N,) of a closed outline with those beside them."""
    found = which.copy()
    for step in range(1, _BESIDE + 1):
        found |= np.roll(which, step) | np.roll(which, -step)
    return found


def _beside(
    points: Array, normals: Array, rings: Array, near: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which points (N,) run along a side of rings (R, 4, 2), and which within one along its sides."""
    rings = rings[np.isfinite(rings).all(axis=(1, 2))]
    way = np.roll(rings, -1, axis=1) - rings
    length = np.maximum(np.linalg.norm(way, axis=2), 1e-9)
    way = way / length[..., None]
    away = points[:, None, None] - rings
    ahead = np.sum(away * way, axis=3)
    aside = away[..., 0] * way[..., 1] - away[..., 1] * way[..., 0]
    turned = normals[:, None, None]
    alike = np.abs(turned[..., 0] * way[..., 1] - turned[..., 1] * way[..., 0]) > _ALONG
    on = alike & (np.abs(aside) < near) & (ahead > -near) & (ahead < length + near)
    within = np.all(aside > 0, axis=2) | np.all(aside < 0, axis=2)
    return on.any(axis=(1, 2)), (within & alike.any(axis=2)).any(axis=1)
