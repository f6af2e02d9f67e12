"""Pinhole cameras with radial distortion.

Camera frame as in OpenCV: x right, y down, z forward; pixel centres lie on integer coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array, Pose
from digitise.geometry.values import read_only

_UNDISTORT_ROUNDS = 20
# Nearer to the limb's axis than this, a camera sees the sides so slantwise that foot, knee or trunk hide what
# lies behind them.  From 1.5 m away it is a phone held 2.1 m above the mat: nobody takes a side view so.
_ALONG_DEG = 35.0


@dataclass(frozen=True, eq=False)
class Lens:
    """Intrinsics of a camera with square pixels.

    Attributes
    ----------
    focal_px
        Focal length in pixels.
    centre_px
        (2,) principal point (x, y) in pixels.
    k1, k2
        Radial distortion, OpenCV's convention: ``r' = r (1 + k1 r^2 + k2 r^4)`` in focal units.
    """

    focal_px: float
    centre_px: Array
    k1: float = 0.0
    k2: float = 0.0

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    def pixels_from_plane(self, plane: Array) -> Array:
        """Map ideal image-plane points (..., 2) in focal units to distorted pixels."""
        r2 = plane[..., :1] ** 2 + plane[..., 1:] ** 2
        return np.asarray(self.focal_px * plane * (1.0 + r2 * (self.k1 + r2 * self.k2)) + self.centre_px)

    def plane_from_pixels(self, pixels: Array) -> Array:
        """Map distorted pixels (..., 2) to ideal image-plane points in focal units.

        Newton's iteration on the radius; exact to rounding while the distortion is monotonic there.
        """
        distorted = (pixels - self.centre_px) / self.focal_px
        target = np.linalg.norm(distorted, axis=-1, keepdims=True)
        r = target.copy()
        for _ in range(_UNDISTORT_ROUNDS):
            r2 = r * r
            error = r * (1.0 + r2 * (self.k1 + r2 * self.k2)) - target
            slope = np.maximum(1.0 + r2 * (3.0 * self.k1 + 5.0 * r2 * self.k2), 0.1)
            r = r - error / slope
            if np.all(np.abs(error) < 1e-14):
                break
        return np.asarray(distorted * np.divide(r, target, out=np.ones_like(r), where=target > 0))


@dataclass(frozen=True, eq=False)
class Camera:
    """A lens at a place.

    Attributes
    ----------
    lens
        Intrinsics.
    camera_from_world
        Pose; the world is the frame of the mat, mm.
    size
        (width, height) of the picture in pixels.
    """

    lens: Lens
    camera_from_world: Pose
    size: tuple[int, int]

    @property
    def centre(self) -> Array:
        """Optical centre (3,) in the world, mm."""
        return self.camera_from_world.inverse().translation

    def project(self, points: Array) -> Array:
        """Project world points (..., 3) in mm to pixels (..., 2); NaN for points not in front."""
        local = self.camera_from_world.apply(points)
        depth = np.where(local[..., 2:] > 0, local[..., 2:], np.nan)
        return self.lens.pixels_from_plane(local[..., :2] / depth)

    def rays(self, pixels: Array) -> Array:
        """Return unit viewing directions (..., 3) in the world through pixels (..., 2)."""
        plane = self.lens.plane_from_pixels(pixels)
        local = np.concatenate([plane, np.ones_like(plane[..., :1])], axis=-1)
        local /= np.linalg.norm(local, axis=-1, keepdims=True)
        return local @ self.camera_from_world.rotation


def looks_along(camera: Camera, axis_from_world: Pose) -> bool:
    """Tell whether a camera stands near the limb's axis, seen from the axis's origin."""
    x, y, z = axis_from_world.apply(camera.centre)
    return bool(np.hypot(x, y) < np.tan(np.radians(_ALONG_DEG)) * abs(z))
