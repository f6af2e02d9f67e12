"""What the photographs show, back-projected, with the ways in which cameras and limb may be off."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.support import support_of
from digitise.geometry.view import Edge, View
from digitise.shape.basis import Basis
from digitise.shape.tangents import Planes, Samples, common_centre, touch, usable_edges, view_planes

# One standard deviation of what a standing limb moves between two photographs a minute apart, its foot on its
# mark: the whole limb to the side or forward, mm, and how far it leans or turns about its foot, degrees. The
# body's centre, 0.9 m up, sways by 4-7 mm over a minute (from memory): a leg leans by 0.25-0.45 degrees. More
# would explain errors of the tape as movement, see docs/decisions/0010-what-two-photographs-tell.md.
SHIFT_SD_MM = 0.8
LEAN_SD_DEG = 0.3
TURN_SD_DEG = 0.3
# in how many ways a limb sways before a camera, the first of them across its line of sight
SWAY_WAYS, ACROSS = 5, 2


@dataclass(frozen=True, eq=False)
class Scene:
    """The tangent planes of all views' edges.

    Attributes
    ----------
    names
        Of the photographs.
    nominal
        Planes per view and edge.
    moved
        The same with cameras moved by one sd: along each mode of the calibration's doubt, then as each way in
        which the limb may have swayed between the photographs looks.
    doubts
        How many of these belong to the calibration.
    centre
        (2,) point nearest to all middle rays, mm.
    swayed
        By how many times more than usual the limb may have moved between the photographs.
    """

    names: tuple[str, ...]
    nominal: tuple[tuple[Planes, ...], ...]
    moved: tuple[tuple[tuple[Planes, ...], ...], ...]
    doubts: int
    centre: Array
    swayed: float = 1.0

    @property
    def still(self) -> Scene:
        """The scene of a thing that cannot have swayed."""
        return replace(self, moved=self.moved[: self.doubts])


def make_scene(views: tuple[View, ...], axis: Pose, modes: tuple[tuple[Camera, ...], ...]) -> Scene:
    """Back-project all edges, with the cameras as they are and as each mode moves them.

    Raises
    ------
    ShapeError
        When a view lacks a usable edge, or all look from one side.
    """
    edges = usable_edges(views, axis)
    names = tuple(view.name for view in views)
    cameras = tuple(view.camera for view in views)
    nominal = view_planes(cameras, edges, axis)
    instead = (*modes, *sway_modes(cameras, axis))
    moved = tuple(_moved(cameras, other, edges, nominal, axis) for other in instead)
    return Scene(names, nominal, moved, len(modes), common_centre(nominal, names))


def _moved(
    cameras: tuple[Camera, ...],
    instead: tuple[Camera, ...],
    edges: tuple[tuple[Edge, ...], ...],
    nominal: tuple[tuple[Planes, ...], ...],
    axis: Pose,
) -> tuple[tuple[Planes, ...], ...]:
    """Return the planes with other cameras; those of cameras that stay are the nominal ones themselves."""
    return tuple(
        planes if other is camera else view_planes((other,), (sides,), axis)[0]
        for camera, other, sides, planes in zip(cameras, instead, edges, nominal, strict=True)
    )


def touch_centre(planes: Planes, centre: Array) -> Samples:
    """Touch a limb of no thickness at ``centre`` (2,): the first guess of each rim point's depth."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, centre[1] * np.cos(theta) - centre[0] * np.sin(theta))


def touch_limb(planes: Planes, sections: Array) -> Samples:
    """Touch a limb whose ``sections`` (N, 2 K + 1) are those where its rim points were last seen."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, support_of(sections, theta, 1))


def mode_columns(nominal: Planes, moved: list[Planes], samples: Samples, basis: Basis, mean: Array) -> Array:
    """Return by how much the samples stand out too far when each camera mode is true, (N, J) mm.

    Direction, height and distance of a sample all move with its camera, so residuals are compared.
    """
    sections = basis.sections(mean, samples.z)
    here = samples.h - support_of(sections, samples.theta)
    columns = np.zeros((len(here), len(moved)))
    for number, planes in enumerate(moved):
        if planes is not nominal:
            there = touch_limb(planes, sections)
            columns[:, number] = here - (there.h - basis.support(mean, there.theta, there.z))
    return columns


def sway_modes(cameras: tuple[Camera, ...], axis_from_world: Pose) -> tuple[tuple[Camera, ...], ...]:
    """Return what small movements of the limb between the photographs look like, as moved cameras.

    A limb that has moved before a camera is a camera that has moved, the other way, round the limb. The first
    photograph defines where the limb is; in each other one it may have been shifted and leant, across the
    line of sight and along it, and turned.

    Parameters
    ----------
    cameras
        One per photograph.
    axis_from_world
        Frame of the limb's axis; the limb leans and turns about its origin.

    Returns
    -------
    ``SWAY_WAYS`` modes for each photograph but the first: all cameras, that one moved by one sd; the first
    ``ACROSS`` of them across its line of sight, where an outline shows a movement best.

    Examples
    --------
    >>> from synthetic import walking_cameras
    >>> cameras = walking_cameras((90.0, 0.0, 45.0))
    >>> modes = sway_modes(cameras, Pose.identity())
    >>> len(modes), all(mode[0] is cameras[0] for mode in modes)
    (10, True)

    A limb shifted by 0.8 mm along y, across the sight of a camera on the x axis, is a camera that stands
    0.8 mm the other way:

    >>> (0.0 + (modes[0][1].centre - cameras[1].centre).round(6)).tolist()
    [0.0, -0.8, 0.0]

    One photograph alone tells nothing of a movement:

    >>> sway_modes(cameras[:1], Pose.identity())
    ()
    """
    modes = []
    for n in range(1, len(cameras)):
        for step in _steps(axis_from_world.apply(cameras[n].centre)):
            seen = cameras[n].camera_from_world @ axis_from_world.inverse() @ step @ axis_from_world
            modes.append((*cameras[:n], replace(cameras[n], camera_from_world=seen), *cameras[n + 1 :]))
    return tuple(modes)


def _steps(centre: Array) -> list[Pose]:
    """Return movements of one sd each before a camera: shift, lean across its sight, both along it, turn."""
    away = centre[:2] / np.linalg.norm(centre[:2])
    along, up, still = np.array([*away, 0.0]), np.array([0.0, 0.0, 1.0]), np.eye(3)
    across = np.cross(up, along)
    found = []
    for way in (across, along):
        found += [Pose(still, SHIFT_SD_MM * way), _turned(LEAN_SD_DEG, np.cross(up, way))]
    return [*found, _turned(TURN_SD_DEG, up)]


def _turned(degrees: float, about: Array) -> Pose:
    return Pose(Rotation.from_rotvec(np.radians(degrees) * about).as_matrix(), np.zeros(3))
