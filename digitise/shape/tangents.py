"""Limb edges become samples of the support function.

An edge point and the edge's direction there back-project to a plane that touches the limb.  Cut at the
height of the rim point, the plane is a tangent line of that section.  Everything here is in the axis frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.errors import ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import Edge, View

# Points nearer than this along the edge come from the same pixels: they count as one reading.  At this step
# the sagitta of an edge of 500 px radius is 0.02 px.
BLOCK_PX = 8.0
_STEP_PX = 0.5
_LEAST_POINTS = 8
# Cosine of 60 degrees: a limb's profile never leans that far from its axis.
_LEAST_ALONG = 0.5


@dataclass(frozen=True, eq=False)
class Planes:
    """The tangent planes of one edge, before it is known where on them the limb touches.

    Attributes
    ----------
    centre
        (3,) optical centre, mm.
    ray
        (N, 3) unit direction through the edge point.
    normal
        (N, 3) unit outward normal of the plane.
    shift_per_px
        (N,) how far the plane moves outward per pixel and per mm of distance along the ray.
    sd_px
        (N,) sd of the edge point along its picture normal.
    sure
        (N,) False where the edge is not to be trusted.
    """

    centre: Array
    ray: Array
    normal: Array
    shift_per_px: Array
    sd_px: Array
    sure: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Samples:
    """Samples of the support function from one edge.

    Attributes
    ----------
    theta, z, h
        (N,) direction (radians), height and support distance (mm).
    mm_per_px
        (N,) change of h per pixel of edge shift.
    sd_px, sure
        As in :class:`Planes`.
    """

    theta: Array
    z: Array
    h: Array
    mm_per_px: Array
    sd_px: Array
    sure: NDArray[np.bool_]

    def within(self, low: float, high: float) -> NDArray[np.bool_]:
        """(N,) True for the samples between two heights, mm."""
        return (self.z >= low) & (self.z <= high)

    def pick(self, keep: NDArray[np.bool_]) -> Samples:
        """Return the samples where ``keep`` is True."""
        return Samples(
            self.theta[keep],
            self.z[keep],
            self.h[keep],
            self.mm_per_px[keep],
            self.sd_px[keep],
            self.sure[keep],
        )


def block_edge(edge: Edge, length_px: float = BLOCK_PX) -> Edge:
    """Average an edge over blocks of its length; a block with an unsure point is unsure.

    The sd of a block is the rms of its points': readings from the same pixels do not average out.
    """
    steps = np.linalg.norm(np.diff(edge.points, axis=0), axis=1)
    block = np.concatenate([[0.0], np.cumsum(steps)]) // length_px
    _, start, count = np.unique(block, return_index=True, return_counts=True)
    points = np.add.reduceat(edge.points, start) / count[:, None]
    normals = np.add.reduceat(edge.normals, start)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    sd = np.sqrt(np.add.reduceat(edge.sd_px**2, start) / count)
    sure, seen = (np.logical_and.reduceat(flags, start) for flags in (edge.sure, edge.seen))
    return Edge(points, normals, sd, sure, seen)


def tangent_planes(camera: Camera, edge: Edge, axis_from_world: Pose) -> Planes:
    """Back-project an edge to its tangent planes in the axis frame."""
    out = _STEP_PX * edge.normals
    along = np.stack([-out[:, 1], out[:, 0]], axis=1)
    beside = edge.points + np.stack([np.zeros_like(out), -along, along, -out, out])
    ray, before, after, inner, outer = camera.rays(beside) @ axis_from_world.rotation.T
    normal = np.cross(before, after)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    shift = np.sum(normal * (outer - inner), axis=1) / (2 * _STEP_PX)
    outward = np.sign(shift)
    return Planes(
        axis_from_world.apply(camera.centre),
        ray,
        normal * outward[:, None],
        np.abs(shift),
        edge.sd_px,
        edge.sure,
    )


def touch(planes: Planes, tangential: Array) -> Samples:
    """Cut each plane at the height where it touches the limb.

    Parameters
    ----------
    planes
        Tangent planes of one edge.
    tangential
        (N,) coordinate of the touching point along ``(-sin theta, cos theta)``: dh/dtheta there, mm.

    Returns
    -------
    Samples.
    """
    nx, ny, nz = planes.normal.T
    flat = np.hypot(nx, ny)
    theta = np.arctan2(ny, nx)
    across = np.stack([-np.sin(theta), np.cos(theta)], axis=1)
    reach = np.sum(planes.ray[:, :2] * across, axis=1)
    distance = (tangential - across @ planes.centre[:2]) / reach
    z = planes.centre[2] + distance * planes.ray[:, 2]
    h = (planes.normal @ planes.centre - nz * z) / flat
    return Samples(theta, z, h, distance * planes.shift_per_px / flat, planes.sd_px, planes.sure)


def usable_edges(views: tuple[View, ...], axis_from_world: Pose) -> tuple[tuple[Edge, ...], ...]:
    """Return every view's edges in blocks, without the blocks that run across the axis.

    Where an edge turns along a hem, a toe or the end of a limb it is no rim of a section.

    Raises
    ------
    ShapeError
        When a view lacks an edge on either side, an edge has too few or damaged points, or none is seen.
    """
    return tuple(_usable(view, axis_from_world) for view in views)


def _usable(view: View, axis_from_world: Pose) -> tuple[Edge, ...]:
    if len(view.edges) < 2:
        raise ShapeError(
            "The limb's edge is needed on both sides of the picture.",
            where=view.name,
            do="Check the outline, or take the photograph again with the whole limb in the picture.",
        )
    kept = [_usable_edge(edge, view, axis_from_world) for edge in view.edges]
    if not any(len(edge.points) for edge in kept):
        raise ShapeError(
            "The limb's edges are hidden, or do not run along its axis.",
            where=view.name,
            do="Check the axis points and the outline.",
        )
    return tuple(kept)


def _usable_edge(edge: Edge, view: View, axis_from_world: Pose) -> Edge:
    """Return an edge in blocks; without a point where next to nothing of it is seen along the axis.

    Raises
    ------
    ShapeError
        When its points are too few or damaged.
    """
    damaged = not np.all(np.isfinite(edge.points)) or not np.all(edge.sd_px > 0)
    if len(edge.points) < _LEAST_POINTS or damaged:
        raise ShapeError(
            "An edge of the limb has too few usable points.",
            where=view.name,
            do="Correct the outline by hand or take the photograph again.",
        )
    blocks = block_edge(edge)
    planes = tangent_planes(view.camera, blocks, axis_from_world)
    along = np.hypot(planes.normal[:, 0], planes.normal[:, 1]) > _LEAST_ALONG
    keep = along & blocks.seen
    return blocks.pick(keep if np.count_nonzero(keep) > 1 else np.zeros_like(keep))


def view_planes(
    cameras: tuple[Camera, ...], edges: tuple[tuple[Edge, ...], ...], axis_from_world: Pose
) -> tuple[tuple[Planes, ...], ...]:
    """Return the tangent planes of every edge of every view."""
    return tuple(
        tuple(tangent_planes(camera, edge, axis_from_world) for edge in sides)
        for camera, sides in zip(cameras, edges, strict=True)
    )


def common_centre(views: tuple[tuple[Planes, ...], ...], names: tuple[str, ...]) -> Array:
    """Return the point (2,) nearest to the middle rays of all views, seen along the axis, mm.

    Raises
    ------
    ShapeError
        When all photographs look from nearly the same or the opposite direction.
    """
    matrix, right = np.zeros((2, 2)), np.zeros(2)
    for view in views:
        middle = np.mean([planes.ray[:, :2].mean(axis=0) for planes in view if len(planes.ray)], axis=0)
        across = np.array([-middle[1], middle[0]]) / np.linalg.norm(middle)
        matrix += np.outer(across, across)
        right += across * (across @ view[0].centre[:2])
    # eigenvalues are 1 +- cos(angle) for two views; 0.06 is the lesser one at 20 degrees
    if np.linalg.eigvalsh(matrix)[0] < 0.06:
        raise ShapeError(
            "The photographs look at the limb from nearly the same direction.",
            where=", ".join(names),
            do="Take a second photograph from a quarter turn round the limb.",
        )
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
