"""What the photographs show, back-projected, with the ways in which cameras and limb may have moved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import Edge, View
from digitise.shape.basis import Basis
from digitise.shape.sway import sway_modes
from digitise.shape.tangents import Planes, Samples, common_centre, touch, usable_edges, view_planes


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
    """

    names: tuple[str, ...]
    nominal: tuple[tuple[Planes, ...], ...]
    moved: tuple[tuple[tuple[Planes, ...], ...], ...]
    doubts: int
    centre: Array


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


def touch_limb(planes: Planes, basis: Basis, mean: Array, z: Array) -> Samples:
    """Touch the current limb, whose rim points were last seen at heights ``z`` (N,)."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, basis.design(theta, z, turned=1) @ mean)


def mode_columns(nominal: Planes, moved: list[Planes], samples: Samples, basis: Basis, mean: Array) -> Array:
    """Return by how much the samples stand out too far when each camera mode is true, (N, J) mm.

    Direction, height and distance of a sample all move with its camera, so residuals are compared.
    """
    here = samples.h - basis.design(samples.theta, samples.z) @ mean
    columns = np.zeros((len(here), len(moved)))
    for number, planes in enumerate(moved):
        if planes is not nominal:
            there = touch_limb(planes, basis, mean, samples.z)
            columns[:, number] = here - (there.h - basis.design(there.theta, there.z) @ mean)
    return columns
