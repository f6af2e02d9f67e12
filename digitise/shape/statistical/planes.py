"""Tangent planes of a body: what its outline tells of it, and where a surface touches them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only
from digitise.geometry.view import Edge
from digitise.shape.statistical.model import ShapeModel

# One point of an outline is as good as this with all that is wrong alike nearby: 0.7 mm, told anew every
# 20 mm (a finger's breadth of skin, shadow and print), read every 4 mm.
_OUTLINE_SD_MM = 0.7 * float(np.sqrt(20.0 / 4.0))
# An outline's point is matched to a surface's that looks the same way to within 60 degrees, not farther than
# a finger's breadth and a half.
_SAME_WAY, _FARTHEST_MM = 0.5, 25.0


@dataclass(frozen=True, eq=False)
class TangentPlanes:
    """Planes that the body touches from inside.

    Of all surface points in the plane through the origin that is perpendicular to ``along``, the farthest out
    along ``normal`` lies at ``distance`` from the origin.

    Attributes
    ----------
    origin, normal, along
        (N, 3) a point, the outward unit normal and the unit direction along the outline; mm, world frame.
    distance, sd
        (N,) mm.
    view
        (N,) which photograph tells, from 0; -1 for what is known otherwise.
    pixel_mm
        (N,) what one of that photograph's pixels is there; 0 for what is known otherwise.
    """

    origin: Array
    normal: Array
    along: Array
    distance: Array
    sd: Array
    view: NDArray[np.int64]
    pixel_mm: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)


def planes_of_view(camera: Camera, edge: Edge, view: int) -> TangentPlanes:
    """Back-project a body's outline, near the world's origin: each plane holds the camera and a tangent."""
    used = np.flatnonzero(edge.seen)
    rays = camera.rays(edge.points[used])
    outward = camera.rays(edge.points[used] + edge.normals[used]) - rays
    along = np.cross(rays, outward)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.cross(along, rays)
    count = len(used)
    worse = edge.sd_px[used] / np.min(edge.sd_px[used]) if count else np.zeros(0)
    return TangentPlanes(
        np.broadcast_to(camera.centre, (count, 3)).copy(),
        normal,
        along,
        np.zeros(count),
        _OUTLINE_SD_MM * worse,
        np.full(count, view),
        np.full(count, np.linalg.norm(camera.centre) / camera.lens.focal_px),
    )


_NAMES = ("origin", "normal", "along", "distance", "sd", "view", "pixel_mm")


def together(parts: Sequence[TangentPlanes]) -> TangentPlanes:
    """Return all planes as one."""
    return TangentPlanes(*(np.concatenate([getattr(part, name) for part in parts]) for name in _NAMES))


def some_of(planes: TangentPlanes, step: int) -> TangentPlanes:
    """Return every ``step``-th plane."""
    return planes_where(planes, np.arange(len(planes.distance)) % step == 0)


def planes_where(planes: TangentPlanes, keep: NDArray[np.bool_]) -> TangentPlanes:
    """Return the planes that ``keep`` (N,) names."""
    return TangentPlanes(*(getattr(planes, name)[keep] for name in _NAMES))


@dataclass(frozen=True, eq=False)
class Touch:
    """Where a surface reaches farthest towards each of N planes.

    Attributes
    ----------
    reached
        (N,) distance from the plane's origin along its normal, mm; -inf where the surface is elsewhere.
    ends
        (N, 2) the vertices of the edge on which that point lies.
    share
        (N,) how far along it, from the first to the second.
    """

    reached: Array
    ends: NDArray[np.int64]
    share: Array


def touch(vertices: Array, edges: NDArray[np.int64], planes: TangentPlanes) -> Touch:
    """Cut the surface across each outline point, and find the cut's farthest point.

    The cut is the plane through the origin that is perpendicular to ``along``.

    Parameters
    ----------
    vertices, edges
        (V, 3) mm and (E, 2) of the surface.
    planes
        N of them.
    """
    crossed = _crossings(vertices, edges, planes)
    return _touched(len(planes.distance), edges, crossed, crossed.out)


def touch_outline(
    vertices: Array, model: ShapeModel, beside: NDArray[np.int64], planes: TangentPlanes
) -> Touch:
    """Find where a surface's own outline passes nearest to each plane, on the side that looks the same way.

    Where the outline goes in, as between fingers, the farthest point of the cut is of another finger; the
    outline's own points are those at which the surface turns away from the camera.

    Parameters
    ----------
    vertices
        (V, 3) mm.
    model
        Whose faces and edges the surface has.
    beside
        (E, 2) the faces beside each edge.
    planes
        N of them, all told by photographs.
    """
    corners = vertices[model.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    edges = model.edges
    found = Touch(
        np.full(len(planes.distance), -np.inf),
        np.zeros((len(planes.distance), 2), np.int64),
        np.zeros(len(planes.distance)),
    )
    for view in np.unique(planes.view):
        own = np.flatnonzero(planes.view == view)
        towards = np.sum(normals * (planes.origin[own[0]] - corners.mean(axis=1)), axis=1) > 0
        rim = np.flatnonzero(towards[beside[:, 0]] != towards[beside[:, 1]])
        outward = normals[beside[rim]].sum(axis=1)
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        some = TangentPlanes(*(getattr(planes, name)[own] for name in _NAMES))
        crossed = _crossings(vertices, edges[rim], some)
        alike = np.sum(outward[crossed.edge] * some.normal[crossed.plane], axis=1) > _SAME_WAY
        far = np.where(alike, np.abs(crossed.out - some.distance[crossed.plane]), np.inf)
        part = _touched(len(own), edges[rim], crossed, -far, -_FARTHEST_MM)
        found.reached[own], found.ends[own], found.share[own] = part.reached, part.ends, part.share
    return found


@dataclass(frozen=True, eq=False)
class _Crossings:
    """Where edges cross planes: C pairs of both."""

    edge: NDArray[np.int64]
    plane: NDArray[np.int64]
    share: Array
    out: Array


def _crossings(vertices: Array, edges: NDArray[np.int64], planes: TangentPlanes) -> _Crossings:
    # a row for each vertex: picking rows is many times quicker than picking columns
    beside = vertices @ planes.along.T - np.sum(planes.along * planes.origin, axis=1)
    ahead = beside > 0
    # of one dimension, the search is several times quicker
    crossed = np.flatnonzero(ahead[edges[:, 0]] != ahead[edges[:, 1]])
    edge, plane = np.divmod(crossed, max(1, ahead.shape[1]))
    first, second = edges[edge].T
    here = beside[first, plane]
    share = here / (here - beside[second, plane])
    point = vertices[first] + share[:, None] * (vertices[second] - vertices[first])
    out = np.sum((point - planes.origin[plane]) * planes.normal[plane], axis=1)
    return _Crossings(edge, plane, share, out)


def _touched(
    count: int, edges: NDArray[np.int64], crossed: _Crossings, score: Array, least: float = -np.inf
) -> Touch:
    """Return of each of ``count`` planes the crossing of the highest score, where that is above ``least``."""
    best = np.full(count, least)
    np.maximum.at(best, crossed.plane, score)
    chosen = np.flatnonzero((score == best[crossed.plane]) & (score > least))
    reached = np.full(count, -np.inf)
    ends, shares = np.zeros((count, 2), np.int64), np.zeros(count)
    plane = crossed.plane[chosen]
    reached[plane] = crossed.out[chosen]
    ends[plane], shares[plane] = edges[crossed.edge[chosen]], crossed.share[chosen]
    return Touch(reached, ends, shares)
