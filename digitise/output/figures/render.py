"""A small renderer: a closed mesh seen from the side or by a camera, shaded, as an array of pixels.

Faces are small, so all of them are drawn at once: for every place within a face's box, whichever faces cover
it put their depth into the buffer, and the nearest one wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array

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
    seen = _nearest(places, mesh.faces, samples).face.reshape(samples[::-1]) >= 0
    return _blocks(seen[..., None].astype(float))[::-1, :, 0]


def _camera_places(local: Array, camera: Camera, window: Window) -> tuple[Array, NDArray[np.int64]]:
    """Return where points (N, 3) of a camera fall, as for :func:`_drawn`, and the size in samples."""
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
        As for :func:`_drawn`, in samples.
    mesh
        Gives faces and light.
    colours
        (N, 3).
    """
    light = _AMBIENT + _KEY * np.maximum(vertex_normals(mesh) @ _LIGHT, 0.0)
    shaded = np.clip(colours * light[:, None], 0.0, 1.0)
    buffer = _drawn(places, mesh.faces, np.column_stack([shaded, np.ones(len(shaded))]), size)
    blocks = _blocks(buffer)
    cover = np.maximum(blocks[..., 3:], 1e-9)
    return np.asarray(np.concatenate([blocks[..., :3] / cover, blocks[..., 3:]], axis=-1)[::-1])


def _drawn(places: Array, faces: NDArray[np.int64], values: Array, size: NDArray[np.int64]) -> Array:
    """Return values (H, W, C) of the nearest faces at whole places, zero where there is none.

    Parameters
    ----------
    places
        (N, 3) x, y and depth towards the eye; x and y in steps of the picture from its lower left.  What lies
        outside the picture is left out.
    faces
        (M, 3).
    values
        (N, C) to be interpolated.
    size
        W, H.
    """
    near = _nearest(places, faces, size)
    found = np.flatnonzero(near.face >= 0)
    a, b, c = (values[faces[near.face[found], n]] for n in range(3))
    u, v = near.u[found, None], near.v[found, None]
    picture = np.zeros((len(near.face), values.shape[1]))
    picture[found] = a + u * (b - a) + v * (c - a)
    return picture.reshape(size[1], size[0], -1)


class _Near(NamedTuple):
    """For every pixel (H * W,) the nearest face (-1 for none), and where on it the pixel lies."""

    face: NDArray[np.int64]
    u: Array
    v: Array


def _nearest(places: Array, faces: NDArray[np.int64], size: NDArray[np.int64]) -> _Near:
    """Find the nearest face for each pixel."""
    corner = places[faces]
    edge_1, edge_2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    twice = edge_1[:, 0] * edge_2[:, 1] - edge_1[:, 1] * edge_2[:, 0]
    # from the farthest to the nearest: where two faces of one pass share a pixel, the last one written stays
    order = np.argsort(corner[:, :, 2].sum(axis=1))
    order = order[twice[order] > 1e-9]
    corner, edge_1, edge_2, twice = corner[order], edge_1[order], edge_2[order], twice[order]
    start = np.clip(np.ceil(corner[:, :, :2].min(axis=1)), 0, size).astype(int)
    reach = np.clip(np.floor(corner[:, :, :2].max(axis=1)), -1, size - 1).astype(int) - start
    depth = np.full(size[0] * size[1], -np.inf)
    near = _Near(np.full(len(depth), -1), np.zeros(len(depth)), np.zeros(len(depth)))
    for dx, dy in np.ndindex(*(reach.max(axis=0, initial=-1) + 1)):
        which = np.flatnonzero((reach[:, 0] >= dx) & (reach[:, 1] >= dy))
        x, y = start[which, 0] + dx, start[which, 1] + dy
        off_x, off_y = x - corner[which, 0, 0], y - corner[which, 0, 1]
        first, second = edge_1[which], edge_2[which]
        u = (off_x * second[:, 1] - off_y * second[:, 0]) / twice[which]
        v = (first[:, 0] * off_y - first[:, 1] * off_x) / twice[which]
        pixel = y * size[0] + x
        z = corner[which, 0, 2] + u * first[:, 2] + v * second[:, 2]
        seen = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (z > depth[pixel])
        pixel = pixel[seen]
        depth[pixel], near.face[pixel] = z[seen], order[which[seen]]
        near.u[pixel], near.v[pixel] = u[seen], v[seen]
    return near
