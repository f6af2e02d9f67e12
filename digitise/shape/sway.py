"""A limb moves a little between two photographs: by how much, and what that does to what is seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose

# One standard deviation of what a standing limb moves between two photographs a minute apart, its foot on its
# mark: the whole limb to the side or forward, mm, and how far it leans or turns about its foot, degrees. From
# memory: the body's centre sways by 4-7 mm over a minute; a shift of weight leans a leg by some degrees.
SHIFT_SD_MM = 3.0
LEAN_SD_DEG = 1.5
TURN_SD_DEG = 1.5


def sway_modes(cameras: tuple[Camera, ...], axis_from_world: Pose) -> tuple[tuple[Camera, ...], ...]:
    """Return what small movements of the limb between the photographs look like, as moved cameras.

    A limb that has moved before a camera is a camera that has moved, the other way, round the limb. The first
    photograph defines where the limb is; in the second it may have been shifted across its axis, leant either
    way and turned.

    Parameters
    ----------
    cameras
        One per photograph.
    axis_from_world
        Frame of the limb's axis; the limb leans and turns about its origin.

    Returns
    -------
    Five modes of two photographs: the first camera, and the second moved by one sd. None of three or more:
    they contradict each other as soon as the limb moves, and that is tested on the sections they make.

    Examples
    --------
    >>> from synthetic import walking_cameras
    >>> cameras = walking_cameras((90.0, 0.0))
    >>> modes = sway_modes(cameras, Pose.identity())
    >>> len(modes), all(mode[0] is cameras[0] for mode in modes)
    (5, True)

    A limb shifted by 3 mm along x is a camera that stands 3 mm the other way:

    >>> (modes[0][1].centre - cameras[1].centre).round(6).tolist()
    [-3.0, 0.0, 0.0]

    One photograph alone tells nothing of a movement:

    >>> sway_modes(cameras[:1], Pose.identity())
    ()
    """
    if len(cameras) != 2:
        return ()
    steps = [axis_from_world.inverse() @ step @ axis_from_world for step in _steps()]
    first, second = cameras
    return tuple(
        (first, replace(second, camera_from_world=second.camera_from_world @ step)) for step in steps
    )


def _steps() -> list[Pose]:
    still, here, along = np.eye(3), np.zeros(3), np.eye(3)
    shifts = [Pose(still, SHIFT_SD_MM * along[k]) for k in range(2)]
    turns = np.radians([LEAN_SD_DEG, LEAN_SD_DEG, TURN_SD_DEG])
    return [*shifts, *(Pose(Rotation.from_rotvec(turns[k] * along[k]).as_matrix(), here) for k in range(3))]
