"""A small renderer: a closed mesh seen from the side or by a camera, shaded, as an array of pixels.

Faces are small, so all of them are drawn at once: of every row of pixels that a face covers the two ends are
found, all pixels between put their depth into the buffer, and the nearest one wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array

_ON_EDGE = 1e-9  # a share of a corner: rounding of a pixel on an edge
# A pixel is drawn from so many by so many samples.
_SAMPLES = 2
_AMBIENT, _KEY = 0.42, 0.62
# Towards the light in the picture: left, up, towards the eye.
_LIGHT = np.array([-0.45, 0.35, 0.82])
_LIGHT /= np.linalg.norm(_LIGHT)


@dataclass(frozen=True)
class Picture:
    """A rendered view.

    Attributes
    ----------
    pixels
        (H, W, 4) RGBA from 0 to 1, transparent where nothing is.
    extent
        Left, right, bottom, top of the picture: mm across and along from the side, pixels of the photograph,
        y downward, by a camera.
    """

    pixels: Array
    extent: tuple[float, float, float, float]


@dataclass(frozen=True)
class Window:
    """The part of a photograph that a picture shows, and how finely.

    Attributes
    ----------
    corner
        (2,) x and y where its first pixel begins, pixels of the photograph, whose own first pixel begins at
        -0.5.
    size
        (width, height) of the picture, its own pixels.
    scale
        Pixels of the photograph per pixel of the picture.
    """

    corner: Array
    size: tuple[int, int]
    scale: float


def side_view(mesh: Mesh, colours: Array, theta: float, mm_per_pixel: float) -> Picture:
    """Return a mesh seen from the side, z upward.

    Parameters
    ----------
    mesh
        In a frame whose z is up in the picture.
    colours
        (N, 3) of its vertices, from 0 to 1.
    theta
        Direction of the eye from the z axis, radians from x towards y.
    mm_per_pixel
        Scale.
    """
    eye = np.array([np.cos(theta), np.sin(theta), 0.0])
    right = np.array([-np.sin(theta), np.cos(theta), 0.0])
    view = np.stack([right, [0.0, 0.0, 1.0], eye])
    seen = Mesh(mesh.vertices @ view.T, mesh.faces)
    points = seen.vertices
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    step = mm_per_pixel / _SAMPLES
    size = np.ceil((high - low) / mm_per_pixel).astype(int) * _SAMPLES + 2 * _SAMPLES
    places = np.column_stack([(points[:, :2] - low) / step + _SAMPLES, points[:, 2]])
    pixels = _shaded(places, seen, colours, size)
    left, bottom = low - mm_per_pixel
    across, along = size * step
    return Picture(pixels, (float(left), float(left + across), float(bottom), float(bottom + along)))


def camera_view(mesh: Mesh, colours: Array, camera: Camera, window: Window) -> Picture:
    """Return a mesh as a camera sees it, the distortion of its lens included.

    Parameters
    ----------
    mesh
        In the camera's world, all of it before the camera, its faces so small that their edges stay straight
        in the picture.
    colours
        (N, 3) of its vertices, from 0 to 1.
    camera
        The camera.
    window
        What to show.
    """
    local = camera.camera_from_world.apply(mesh.vertices)
    places, samples = _camera_places(local, camera, window)
    pixels = _shaded(places, Mesh(local * (1.0, -1.0, -1.0), mesh.faces), colours, samples)
    (left, top), (across, along) = window.corner, window.scale * np.array(window.size)
    return Picture(pixels, (float(left), float(left + across), float(top + along), float(top)))


def camera_cover(mesh: Mesh, camera: Camera, window: Window) -> Array:
    """Return how much of each pixel (H, W) a mesh covers, from 0 to 1; see :func:`camera_view`."""
    places, samples = _camera_places(camera.camera_from_world.apply(mesh.vertices), camera, window)
    rows = _rows(places, mesh.faces, samples)
    some = rows.last >= rows.first
    size = samples[0] * samples[1] + 1
    begins, ends = (
        np.bincount(rows.start[some] + column[some], minlength=size) for column in (rows.first, rows.last + 1)
    )
    seen = np.cumsum(begins - ends)[:-1].reshape(samples[::-1]) > 0
    return _blocks(seen[..., None].astype(float))[::-1, :, 0]


def _camera_places(local: Array, camera: Camera, window: Window) -> tuple[Array, NDArray[np.int64]]:
    """Return where points (N, 3) of a camera fall, as for :func:`_rows`, and the size in samples."""
    own = (camera.lens.pixels_from_plane(local[:, :2] / local[:, 2:]) - window.corner) / window.scale
    samples = np.array(window.size) * _SAMPLES
    # y is up in the buffer; in the picture 1 / z is linear over a face, z is not
    x, y = (_SAMPLES * own - 0.5).T
    return np.column_stack([x, samples[1] - 1 - y, 1.0 / local[:, 2]]), samples


def _blocks(samples: Array) -> Array:
    """Return the means (H, W, C) over the samples of each pixel."""
    parts = [samples[i::_SAMPLES, j::_SAMPLES] for i, j in np.ndindex(_SAMPLES, _SAMPLES)]
    return np.asarray(sum(parts[1:], parts[0]) / len(parts))


def _shaded(places: Array, mesh: Mesh, colours: Array, size: NDArray[np.int64]) -> Array:
    """Return RGBA (H, W, 4) of a mesh in the frame of the eye: right, up, towards the eye.

    Parameters
    ----------
    places, size
        As for :func:`_rows`, in samples.
    mesh
        Gives faces and light.
    colours
        (N, 3).
    """
    light = _AMBIENT + _KEY * np.maximum(vertex_normals(mesh) @ _LIGHT, 0.0)
    # a picture has 256 steps: numbers of half the length will do
    shaded = np.clip(colours * light[:, None], 0.0, 1.0).astype(np.float32)
    near = _nearest(places, mesh.faces, size)
    corners = mesh.faces[near.face].T
    shares = np.stack([1.0 - near.u - near.v, near.u, near.v]).astype(np.float32)
    parts = [shaded[corner] * share[:, None] for corner, share in zip(corners, shares, strict=True)]
    buffer = np.zeros((size[0] * size[1], 4), np.float32)
    buffer[near.pixel, :3] = parts[0] + parts[1] + parts[2]
    buffer[near.pixel, 3] = 1.0
    blocks = _blocks(buffer.reshape(size[1], size[0], 4)).astype(float)
    cover = np.maximum(blocks[..., 3:], 1e-9)
    return np.asarray(np.concatenate([blocks[..., :3] / cover, blocks[..., 3:]], axis=-1)[::-1])


class _Near(NamedTuple):
    """What is nearest to the eye: numbers of pixels, each with its face and where on it the pixel lies."""

    pixel: NDArray[np.int64]
    face: NDArray[np.int64]
    u: Array
    v: Array


class _Rows(NamedTuple):
    """The rows of pixels that faces turned to the eye cover.

    Attributes
    ----------
    face
        (R,) number of the face.
    first, last
        (R,) columns of the first and the last pixel, the last before the first where there is none.
    start
        (R,) number of the pixel at column 0.
    at_edge, step
        (3, R), (3, R): u, v and depth at column 0 of the row, and by how much they grow per column.
    """

    face: NDArray[np.int64]
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    start: NDArray[np.int64]
    at_edge: Array
    step: Array


def _rows(places: Array, faces: NDArray[np.int64], size: NDArray[np.int64]) -> _Rows:
    """Return the rows of pixels that faces cover.

    Parameters
    ----------
    places
        (N, 3) x, y and depth towards the eye; x and y in steps of the picture from its lower left.  What lies
        outside the picture is left out.
    faces
        (M, 3).
    size
        W, H.
    """
    corner = places[faces]
    first, second = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    twice = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    facing = np.flatnonzero(twice > 1e-9)
    corner, first, second, twice = corner[facing], first[facing], second[facing], twice[facing]
    bottom = np.clip(np.ceil(corner[:, :, 1].min(axis=1)), 0, size[1]).astype(int)
    top = np.clip(np.floor(corner[:, :, 1].max(axis=1)), -1, size[1] - 1).astype(int)
    count = np.maximum(top - bottom + 1, 0)
    y = np.arange(np.sum(count)) - np.repeat(np.cumsum(count) - count - bottom, count)
    # u and v grow from 0 at the first corner to 1 at the second and at the third
    across = np.stack([second[:, 1], -first[:, 1]]) / twice
    up = np.stack([-second[:, 0], first[:, 0]]) / twice
    left = -across * corner[:, 0, 0] - up * corner[:, 0, 1]
    part = np.repeat(left, count, axis=1) + np.repeat(up, count, axis=1) * y
    inside = np.concatenate([part, 1.0 - part.sum(axis=0, keepdims=True)])
    slope = np.concatenate([across, -across.sum(axis=0, keepdims=True)])
    low, high = np.zeros(len(y)), np.full(len(y), size[0] - 1.0)
    for own, grows in zip(inside, np.repeat(slope, count, axis=1), strict=True):
        # the line on which this share of a corner is zero, to rounding, bounds the row on one side
        with np.errstate(divide="ignore", invalid="ignore"):
            bound = (-_ON_EDGE - own) / grows
        np.maximum(low, bound, out=low, where=grows > 0)
        np.minimum(high, bound, out=high, where=grows < 0)
        high[(grows == 0) & (own < -_ON_EDGE)] = -1.0
    climb = np.stack([first[:, 2], second[:, 2]])
    depth = np.repeat(corner[:, 0, 2], count) + np.sum(part * np.repeat(climb, count, axis=1), axis=0)
    steps = np.concatenate([across, np.sum(across * climb, axis=0, keepdims=True)])
    return _Rows(
        np.repeat(facing, count),
        np.ceil(low).astype(int),
        np.floor(high).astype(int),
        y * size[0],
        np.concatenate([part, depth[None]]),
        np.repeat(steps, count, axis=1),
    )


def _nearest(places: Array, faces: NDArray[np.int64], size: NDArray[np.int64]) -> _Near:
    """Find the nearest face for each pixel on which there is one; on an edge of two faces there are both."""
    rows = _rows(places, faces, size)
    count = np.maximum(rows.last - rows.first + 1, 0)
    x = np.arange(np.sum(count)) - np.repeat(np.cumsum(count) - count - rows.first, count)
    pixel = np.repeat(rows.start, count) + x
    z = np.repeat(rows.at_edge[2], count) + np.repeat(rows.step[2], count) * x
    depth = np.full(size[0] * size[1], -np.inf)
    np.maximum.at(depth, pixel, z)
    seen = np.flatnonzero(z == depth[pixel])
    row, x = np.repeat(np.arange(len(count)), count)[seen], x[seen]
    u, v = (rows.at_edge[n][row] + rows.step[n][row] * x for n in (0, 1))
    return _Near(pixel[seen], rows.face[row], u, v)
