"""First guesses for the joint solve: the pose of one flat board in one photograph."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Lens
from digitise.geometry.rigid import Array, Pose

_AGREE_PX = 8.0
_AGREE_SHARE = 0.02  # of the board's extent in the picture: leaves room for lens distortion


def board_pose(lens: Lens, xyz: Array, pixels: Array) -> Pose | None:
    """Guess camera-from-board from points on a flat board, some of which may be wrong.

    A flat board explains its picture almost equally well from two sides; both are refined and the better is
    taken, which must see the printed side.

    Parameters
    ----------
    lens
        A guess of the lens.
    xyz
        (N, 3) mm, in the board's plane z = 0, N at least 4.
    pixels
        (N, 2) px.

    Returns
    -------
    The pose, or None when fewer than half of the points agree on one.
    """
    plane = lens.plane_from_pixels(pixels) * lens.focal_px
    agree = _agreeing(xyz, plane)
    if 2 * np.count_nonzero(agree) < len(xyz):
        return None
    matrix = np.diag([lens.focal_px, lens.focal_px, 1.0])
    seen = np.ascontiguousarray(plane[agree])
    flat = np.ascontiguousarray(xyz[agree])
    guesses = _candidates(flat, seen, matrix)
    facing = [
        pose for pose in guesses if pose.inverse().translation[2] > 0 and np.all(pose.apply(flat)[:, 2] > 0)
    ]
    if not facing:
        return None
    return min(facing, key=lambda pose: _misfit(pose, flat, seen, lens.focal_px))


def _agreeing(xyz: Array, plane: Array) -> NDArray[np.bool_]:
    extent = float(np.max(np.ptp(plane, axis=0)))
    _, mask = cv2.findHomography(xyz[:, :2], plane, cv2.RANSAC, max(_AGREE_PX, _AGREE_SHARE * extent))
    return np.zeros(len(xyz), bool) if mask is None else np.asarray(mask).ravel() > 0


def _candidates(xyz: Array, seen: Array, matrix: Array) -> list[Pose]:
    none = np.zeros(4)
    _, turns, shifts, _ = cv2.solvePnPGeneric(xyz, seen, matrix, none, flags=cv2.SOLVEPNP_IPPE)
    refined = [
        cv2.solvePnPRefineLM(xyz, seen, matrix, none, turn.copy(), shift.copy())
        for turn, shift in zip(turns, shifts, strict=True)
    ]
    return [
        Pose(np.asarray(cv2.Rodrigues(turn)[0]), np.asarray(shift, float).ravel()) for turn, shift in refined
    ]


def _misfit(pose: Pose, xyz: Array, seen: Array, focal_px: float) -> float:
    local = pose.apply(xyz)
    return float(np.sum((focal_px * local[:, :2] / local[:, 2:] - seen) ** 2))
