"""The strip: a photograph resampled to millimetres along and across the limb's axis.

Every point of the strip lies on one upright plane through the axis that faces the camera, so a row is
(nearly) one height and a column one distance from the axis, whatever the picture's size or tilt.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.resample import read_between
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

STEP_MM = 2.0
HALF_WIDTH_MM = 340.0
LOWEST_MM = 20.0
_LEAST_DISTANCE_MM = 150.0
_LEAST_ROWS = 30
_FAR_CELLS = 9999.0  # far outside any strip, and drawn without overflow
_UPRIGHT = 0.5  # cosine of an axis to the vertical: below, the limb lies


@dataclass(frozen=True)
class Strip:
    """A photograph seen in the plane through the limb's axis.

    Attributes
    ----------
    camera
        The photograph's camera, in the world frame, mm.
    world_from_plane
        Pose whose source frame has x = offset to the right as seen, y = height along the axis, mm.
    heights
        (H,) heights of the rows, mm, falling from the trunk to the foot.
    offsets
        (W,) distances of the columns from the axis, mm, growing to the right as seen.
    pixels
        (H, W, 3) uint8 RGB.
    """

    camera: Camera
    world_from_plane: Pose
    heights: Array
    offsets: Array
    pixels: NDArray[np.uint8]

    @property
    def lies(self) -> bool:
        """Whether the limb lies rather than stands."""
        return bool(abs(self.world_from_plane.rotation[2, 1]) < _UPRIGHT)

    def photo_from_plane(self, offsets: Array, heights: Array) -> Array:
        """Map plane coordinates (...,) in mm to photograph pixels (..., 2)."""
        points = np.stack([offsets, heights, np.zeros_like(offsets)], axis=-1)
        return self.camera.project(self.world_from_plane.apply(points))

    def plane_from_world(self, points: Array) -> Array:
        """Cast world points (..., 3) through the camera onto the plane: (..., 2) offset and height, mm."""
        local = self.world_from_plane.inverse()
        eye = local.apply(self.camera.centre)
        ray = local.apply(points) - eye
        depth = np.divide(
            -eye[2], ray[..., 2:], out=np.full_like(ray[..., 2:], np.nan), where=ray[..., 2:] < 0
        )
        return np.asarray((eye + depth * ray)[..., :2])

    def plane_from_photo(self, pixels: Array) -> Array:
        """Map photograph pixels (..., 2) to plane coordinates (..., 2): offset and height, mm."""
        return self.plane_from_world(self.camera.centre + self.camera.rays(pixels))

    def pixel_mm(self) -> float:
        """Return the size of a photograph's pixel at the middle of the limb, mm."""
        middle = float(self.heights[len(self.heights) // 2])
        ends = self.photo_from_plane(np.array([-50.0, 50.0]), np.full(2, middle))
        return float(100.0 / np.linalg.norm(ends[1] - ends[0]))

    def cells(self, plane: Array) -> Array:
        """Map plane coordinates (..., 2) in mm to (column, row) positions in the strip."""
        column = (plane[..., 0] - self.offsets[0]) / STEP_MM
        row = (self.heights[0] - plane[..., 1]) / STEP_MM
        return np.stack([column, row], axis=-1)

    def outlines(self, rings: Array) -> list[NDArray[np.int32]]:
        """Cast closed outlines (m, n, 3) in the world onto whole cells (n, 2), column and row.

        Those that reach behind the camera, and so not behind the limb, are left out.
        """
        cells = np.round(np.clip(self.cells(self.plane_from_world(rings)), -_FAR_CELLS, _FAR_CELLS))
        return [ring.astype(np.int32) for ring in cells if np.isfinite(ring).all()]


def facing_plane(camera: Camera, axis_from_world: Pose) -> Pose:
    """Return world_from_plane of the plane through the axis that faces the camera (its z to the camera).

    Raises
    ------
    OutlineError
        When the camera is so near the limb's axis that it looks along it.
    """
    world_from_axis = axis_from_world.inverse()
    up = world_from_axis.rotation[:, 2]
    towards = camera.centre - world_from_axis.translation
    towards = towards - up * (towards @ up)
    distance = float(np.linalg.norm(towards))
    if not distance > _LEAST_DISTANCE_MM:
        raise OutlineError(
            f"the camera was only {distance:.0f} mm from the limb's axis.",
            do="Take the photograph from 1 to 2 m away, at knee height, across the limb.",
        )
    towards /= distance
    return Pose(np.column_stack([np.cross(up, towards), up, towards]), world_from_axis.translation)


def rectify(pixels: NDArray[np.uint8], camera: Camera, axis_from_world: Pose, top_mm: float) -> Strip:
    """Resample a photograph (H, W, 3) uint8 into the strip.

    It reaches up to the height ``top_mm``, or as far as the picture shows the axis.

    Raises
    ------
    OutlineError
        When the photograph does not look at the limb.
    """
    plane = facing_plane(camera, axis_from_world)
    heights = _seen(np.arange(top_mm, LOWEST_MM, -STEP_MM), camera, plane)
    offsets = np.arange(-HALF_WIDTH_MM, HALF_WIDTH_MM + STEP_MM / 2, STEP_MM)
    empty = Strip(camera, plane, heights, offsets, np.zeros((0, 0, 3), np.uint8))
    grid = empty.photo_from_plane(*np.broadcast_arrays(offsets[None, :], heights[:, None]))
    if len(heights) < _LEAST_ROWS:
        raise OutlineError(
            "the photograph does not show the space above the mat before a backdrop.",
            do="Take it with mat, limb and backdrop in the picture.",
        )
    shrink = _shrinking(grid)
    small = cv2.resize(pixels, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    cut = read_between(np.asarray(small), (grid + 0.5) / shrink - 0.5)
    return Strip(camera, plane, heights, offsets, np.asarray(cut, np.uint8))


def _seen(heights: Array, camera: Camera, world_from_plane: Pose) -> Array:
    """Return the heights (n,), which fall, from the first on whose point of the axis is in the picture."""
    axis = world_from_plane.apply(np.outer(heights, [0.0, 1.0, 0.0]))
    pixels = camera.project(axis)
    seen = np.all((pixels >= 0) & (pixels <= np.array(camera.size) - 1), axis=1)
    return heights[np.argmax(seen) :] if seen.any() else heights[:0]


def _shrinking(grid: Array) -> int:
    # averaging over one cell of the strip before resampling keeps out aliases and noise
    pitch = np.linalg.norm(np.diff(grid, axis=1), axis=-1)
    return max(1, int(np.nanmedian(pitch)))
