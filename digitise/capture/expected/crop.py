"""The part of a photograph round a foot or hand, at about a millimetre a pixel, and surfaces drawn on it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array

Mask = NDArray[np.bool_]
_NEAREST_MM = 150.0  # what is nearer to the camera is not drawn
_WIDEST = 1.1  # tangent of the angle off the lens's axis beyond which nothing is drawn
_FRACTION_BITS = 4


@dataclass(frozen=True, eq=False)
class Crop:
    """A part of a photograph, reduced.

    Attributes
    ----------
    pixels
        (H, W, 3) uint8 RGB.
    camera
        Of the photograph.
    corner
        (2,) the photograph's pixel whose outer corner is the crop's.
    shrink
        Photograph's pixels per pixel of the crop.
    mm
        Of the body per pixel of the crop.
    """

    pixels: NDArray[np.uint8]
    camera: Camera
    corner: Array
    shrink: float
    mm: float

    @property
    def part(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """First column and row of the part in the photograph, and its width and height there."""
        rows, columns = self.pixels.shape[:2]
        size = round(columns * self.shrink), round(rows * self.shrink)
        return (int(self.corner[0]), int(self.corner[1])), size

    def to_photo(self, points: Array) -> Array:
        """Map positions (..., 2) in the crop to the photograph's pixels."""
        return (points + 0.5) * self.shrink - 0.5 + self.corner

    def from_photo(self, points: Array) -> Array:
        """Map photograph pixels (..., 2) to positions in the crop."""
        return (points - self.corner + 0.5) / self.shrink - 0.5

    def drawn(self, surface: Mesh) -> Mask:
        """Return where a surface covers the crop (H, W)."""
        mask = np.zeros(self.pixels.shape[:2], np.uint8)
        x, y, depth = self.camera.camera_from_world.apply(surface.vertices).T
        # far to the side the lens's polynomial would fold what it does not show back into the picture
        shown = (depth > _NEAREST_MM) & (np.hypot(x, y) < _WIDEST * depth)
        at = self.from_photo(self.camera.project(surface.vertices))
        limit = 4.0 * max(mask.shape)
        fixed = np.round(np.clip(np.nan_to_num(at), -limit, limit) * 2**_FRACTION_BITS).astype(np.int32)
        triangles = fixed[surface.faces[np.all(shown[surface.faces], axis=1)]]
        ends = (np.array(mask.shape[::-1]) + 1) * 2**_FRACTION_BITS
        beyond = (triangles.max(axis=1) < -(2**_FRACTION_BITS)) | (triangles.min(axis=1) > ends)
        for triangle in triangles[~np.any(beyond, axis=1)]:
            cv2.fillConvexPoly(mask, triangle, 255, shift=_FRACTION_BITS)
        return np.asarray(mask > 0)

    def disc(self, radius_mm: float) -> NDArray[np.uint8]:
        """Return a round structuring element."""
        width = 2 * max(1, round(radius_mm / self.mm)) + 1
        return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width)), np.uint8)


def crop_round(
    pixels: NDArray[np.uint8], camera: Camera, body: Mesh, margin_mm: float, step_mm: float
) -> Crop | None:
    """Cut out the part of a photograph (H, W, 3) round an expected body; None where it is not in the picture.

    Parameters
    ----------
    pixels, camera
        The photograph.
    body
        Where it is expected.
    margin_mm
        Of surroundings on every side.
    step_mm
        Of the body per pixel of the crop, or more where the photograph is coarser.
    """
    at = camera.project(body.vertices)
    depth = float(np.median(camera.camera_from_world.apply(body.vertices)[:, 2]))
    if not np.all(np.isfinite(at)) or depth < _NEAREST_MM:
        return None
    pixel_mm = depth / camera.lens.focal_px
    size = np.array(camera.size)
    low = np.floor(np.clip(at.min(axis=0) - margin_mm / pixel_mm, 0, size)).astype(int)
    high = np.ceil(np.clip(at.max(axis=0) + margin_mm / pixel_mm, 0, size)).astype(int)
    shrink = max(1.0, step_mm / pixel_mm)
    width, height = (int(side) for side in (high - low) // shrink)
    if min(width, height) < 2 * margin_mm / step_mm / 4:
        return None
    # a whole number of reduced pixels, so that both grids keep one corner
    wide, tall = round(width * shrink), round(height * shrink)
    part = pixels[low[1] : low[1] + tall, low[0] : low[0] + wide]
    reduced = cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA)
    return Crop(np.asarray(reduced, np.uint8), camera, low.astype(float), shrink, pixel_mm * shrink)
